//! Limits against hand calculation, and against the study that they invert.

use crate::common;

use common::plan;
use common::simple::{Simple, float, hinge, spring};
use proptest::prelude::*;
use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, Work, service_states};
use railtrue::input::{ErrorKind, Plan};
use railtrue::structure::Machine;
use railtrue::study::{ArrangementLimits, Basis, Depth, LimitsResult, Reach, Status, Verdict, drawn_below, fresh, limits, limits_steps};

const DEPTH: Depth = Depth { rough_draws: 200, single_draws: 1000, common_draws: 4000, set_draws: 4000 };

fn evaluator(plan: &Plan) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()
}

fn whole(plan: &Plan) -> LimitsResult {
    limits(&[evaluator(plan)], DEPTH, 1, &|| {}).unwrap()
}

fn found(plan: &Plan) -> ArrangementLimits {
    whole(plan).arrangements.remove(0)
}

/// One block a rail and no yield but the blocks': 75,000 N a millimetre of span. Static safety 3 of 30,000 N is reached
/// at 10,000 N a block, which is 0.13333 mm; the life there is 430 km of 100 km required.
fn springs(errors: &str) -> Simple {
    Simple {
        blocks: vec![(0.0, 0.0)],
        bridge_axial_n_per_um: 1e6,
        errors: format!("[errors]\n{errors}"),
        requirement: "[requirement]\nlife_km = { least = 100 }\nstatic_safety = { least = 3 }\n".into(),
        ..Simple::default()
    }
}

const SPAN_MM: f64 = 10_000.0 / 75_000.0;

#[track_caller]
fn near(got: Reach, expected: f64, relative: f64) {
    let Reach::Scale(got) = got else { panic!("{got:?} against {expected}") };
    assert!((got / expected - 1.0).abs() <= relative, "{got} against {expected}");
}

#[track_caller]
fn at_least(a: Reach, b: Reach) {
    let value = |r: Reach| match r {
        Reach::Never => 0.0,
        Reach::Scale(s) => s,
        Reach::Always => f64::INFINITY,
    };
    assert!(value(a) >= value(b), "{a:?} below {b:?}");
}

#[test]
fn ref_one_uniform_error_on_springs_in_series() {
    // By hand: in the worst case the tolerance is the span itself; of a uniform error 95 in 100 lie inside 0.95 of it.
    let plan = plan(&springs("span = { plus_minus_mm = 0.1, distribution = \"uniform\", inspected = true }\n").text());
    let a = found(&plan);
    let span = &a.sources[0];
    // A bracket of 2 %, and what stiff parts still yield (2e-3).
    near(span.alone.worst.reach, SPAN_MM / 0.1, 0.025);
    near(span.alone.quantile.reach, SPAN_MM / 0.95 / 0.1, 0.035);
    // With one error only, alone and beside the others are the same.
    near(span.among.worst.reach, SPAN_MM / 0.1, 0.025);
    at_least(span.alone.quantile.reach, span.alone.quantile.sure);
    at_least(span.alone.quantile.possible, span.alone.quantile.reach);
    assert_eq!(span.alone.quantile.stopped_by, Some(1), "static safety stops it");
    // Drawn down to 0.1 mm, and shown to hold.
    let rounded = span.rounded[0].as_ref().unwrap();
    assert!((rounded.source.upper - 0.1).abs() < 1e-12 && rounded.least.unwrap().status == Status::Met);
}

#[test]
fn ref_two_uniform_errors_together_and_one_beside_the_other() {
    // By hand: the worst case adds both; of the sum of uniform errors inside +-a and +-b the share beyond s is
    // (a + b - s)^2 / (4 a b), so the 95 % quantile is a + b - sqrt(0.2 a b).
    let (a, b) = (0.03_f64, 0.02_f64);
    let uniform = "distribution = \"uniform\", inspected = true }\n";
    let text = format!("span = {{ plus_minus_mm = 0.03, {uniform}bridge_length = {{ plus_minus_mm = 0.02, {uniform}");
    let plan = plan(&springs(&text).text());
    let found = found(&plan);
    near(found.all.worst.reach, SPAN_MM / (a + b), 0.025);
    near(found.all.quantile.reach, SPAN_MM / (a + b - (0.2 * a * b).sqrt()), 0.035);
    near(found.sources[0].among.worst.reach, (SPAN_MM - b) / a, 0.025);
    near(found.sources[0].alone.worst.reach, SPAN_MM / a, 0.025);
    near(found.sources[1].among.worst.reach, (SPAN_MM - a) / b, 0.025);
    // What is set at installation is the span alone here, beside the made length.
    near(found.installation.worst.reach, (SPAN_MM - b) / a, 0.025);
    let set = found.set.unwrap();
    assert_eq!((set.basis, set.errors.clone()), (Basis::Planned, plan.errors.clone()));
    assert!(set.worst.high < 1.0 && (set.worst.high - (a + b) / SPAN_MM).abs() < 5e-3, "it holds for every installation");
}

#[test]
fn ref_travel_of_a_float_is_the_limit_of_the_span() {
    // By hand: 0.9 of a travel of 1 mm in the worst case, and that over 0.95 for a uniform error.
    let mut simple = springs("span = { plus_minus_mm = 0.2, distribution = \"uniform\", inspected = true }\n");
    simple.joints[1][1] = float(1.0, 1.0, 0.1, 300.0);
    simple.requirement = "[requirement]\nlife_km = { least = 100 }\nfloat_travel_used = { most = 0.9 }\n".into();
    let span = found(&plan(&simple.text())).sources.remove(0);
    near(span.alone.worst.reach, 0.9 / 0.2, 0.025);
    near(span.alone.quantile.reach, 0.9 / 0.95 / 0.2, 0.035);
}

#[test]
fn ref_heat_alone_takes_its_part_or_all_of_the_limit() {
    // By hand: bridge and frame grow apart by 12e-6 x 1200 mm = 0.0144 mm a kelvin, so 5 K leave 0.13333 - 0.072 mm.
    let hot = |kelvin: f64| {
        let mut simple = springs("span = { plus_minus_mm = 0.1, distribution = \"uniform\", inspected = true }\n");
        let c = 20.0 + kelvin;
        simple.requirement += &format!("[temperature]\n[[temperature.season]]\nname = \"hot\"\nshare = 1\nbridge_c = {c}\nframe_c = {c}\n");
        found(&plan(&simple.text()))
    };
    let warm = hot(5.0);
    near(warm.sources[0].alone.worst.reach, (SPAN_MM - 0.072) / 0.1, 0.04);
    assert!(warm.zero.at > 0.5 && warm.zero.at < 1.0 && warm.perfect.at < 0.3);
    // 10 K take 0.144 mm: nothing is left, although the perfect machine at rest is well inside.
    let hot = hot(10.0);
    assert!(hot.zero.at > 1.0 && hot.perfect.at < 0.3);
    for limit in [hot.sources[0].alone.worst, hot.sources[0].alone.quantile, hot.all.worst, hot.all.quantile] {
        assert_eq!((limit.reach, limit.sure, limit.stopped_by), (Reach::Never, Reach::Never, Some(1)));
    }
    let none = hot.set.unwrap_err();
    assert!(none.requirement == Some(1) && none.used_at_zero > 1.0);
}

#[test]
fn check_an_error_that_loads_nothing_has_no_limit() {
    let mut simple = springs("span = { plus_minus_mm = 0.1 }\n");
    simple.joints[1][1] = "{ law = \"free\" }".into();
    let span = found(&plan(&simple.text())).sources.remove(0);
    assert_eq!((span.alone.quantile.reach, span.alone.worst.reach, span.alone.quantile.stopped_by), (Reach::Always, Reach::Always, None));
    assert!(span.rounded[0].is_none());
}

#[test]
fn check_sets_are_rounded_down_verified_and_leave_what_is_made_as_planned() {
    let uniform = "distribution = \"uniform\", inspected = true }\n";
    let text = |span: f64, length: f64| {
        format!("span = {{ plus_minus_mm = {span:?}, {uniform}bridge_length = {{ plus_minus_mm = {length:?}, {uniform}")
    };
    // The span is planned too wide: it alone is scaled, to the drawn value below what is left beside the length.
    let wide = plan(&springs(&text(1.0, 0.02)).text());
    let a = found(&wide);
    let set = a.set.unwrap();
    assert_eq!(set.basis, Basis::InstallationScaled);
    let value = |kind| set.errors.get(kind).unwrap().upper;
    assert_eq!((value(ErrorKind::BridgeLength), value(ErrorKind::Span)), (0.02, 0.1));
    assert_eq!(value(ErrorKind::Span), drawn_below(value(ErrorKind::Span)));
    assert!(set.verdicts.len() == 2 && set.verdicts.iter().all(|v| v.status == Status::Met && v.draws == 4000));
    // The length is too wide too: both are scaled.
    let set = found(&plan(&springs(&text(1.0, 0.5)).text())).set.unwrap();
    assert_eq!(set.basis, Basis::AllScaled);
    assert!(set.errors.sources.iter().all(|s| (s.upper - drawn_below(s.upper)).abs() < 1e-12 && s.upper > 0.0 && s.lower == -s.upper));
    // An error that loads next to nothing is not tightened with the rest: a height, with ends that turn about x.
    let mut simple = springs(&format!("{}height = {{ plus_minus_mm = 2.0, {uniform}", text(1.0, 0.02)));
    simple.joints.iter_mut().for_each(|joints| joints[3] = hinge(1e-5));
    simple.block_moment = 0.001;
    let plan_with_height = plan(&simple.text());
    let set = found(&plan_with_height).set.unwrap();
    assert_eq!(set.errors.get(ErrorKind::Height), plan_with_height.errors.get(ErrorKind::Height));
    assert_eq!(set.errors.get(ErrorKind::Span).unwrap().upper, 0.1);
    // Planned so wide that what is left of it cannot be drawn: no set, and it is said.
    let mut simple = springs(&text(1.0, 0.5));
    simple.block_n_per_um = (1e5, 200.0);
    assert!(found(&plan(&simple.text())).set.is_err());
}

#[test]
fn check_same_bits_with_1_and_3_threads() {
    let plan = plan(&springs("span = { plus_minus_mm = 0.1 }\nbridge_length = { plus_minus_mm = 0.05 }\n").text());
    let with = |threads: usize| rayon_pool(threads, || whole(&plan));
    assert!(with(1) == with(3));
}

fn rayon_pool<T: Send>(threads: usize, work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(work)
}

/// Share of fresh installations that meet every requirement, at a scale of all tolerances.
fn share_at(plan: &Plan, scale: f64, draws: u64) -> f64 {
    let mut scaled = plan.clone();
    scaled.errors.sources.iter_mut().for_each(|s| (s.lower, s.upper) = (scale * s.lower, scale * s.upper));
    let e = evaluator(&scaled);
    let sampler = Draws::new(&scaled, e.machine.rails());
    let service = service_states(&scaled);
    let outcomes = run(0, draws, fresh(1) + 7, Work::default, |work, _, rng| e.evaluate(&sampler.draw(rng), &service, work).unwrap());
    let share = |r| Verdict::of(r, &outcomes, &e.perfect(), e.machine.float_count() > 0).share;
    plan.requirements.iter().map(share).fold(1.0, f64::min)
}

/// An error to one side alone is spread from nothing to its limit: the same limits as one to both sides, rounded on its own side.
#[test]
fn ref_an_error_to_one_side_has_the_same_limits() {
    for (limits, side) in [("lower_mm = 0.0, upper_mm = 0.1", 1.0), ("lower_mm = -0.1, upper_mm = 0.0", -1.0)] {
        let plan = plan(&springs(&format!("span = {{ {limits}, distribution = \"uniform\", inspected = true }}\n")).text());
        let span = found(&plan).sources.remove(0);
        near(span.alone.worst.reach, SPAN_MM / 0.1, 0.025);
        near(span.among.worst.reach, SPAN_MM / 0.1, 0.025);
        near(span.alone.quantile.reach, SPAN_MM / 0.95 / 0.1, 0.035);
        for rounded in span.rounded {
            let source = rounded.unwrap().source;
            assert_eq!(if side > 0.0 { (source.lower, source.upper) } else { (-source.upper, -source.lower) }, (0.0, 0.1));
        }
    }
}

/// A zone has no lower limit but nothing: it has a worst case all the same. By hand: a rail beside its line by less than its zone
/// misfits the bridge by no more, and a wave that fills its zone about its line misfits it by half of that at least.
#[test]
fn check_a_zone_of_straightness_has_a_worst_case() {
    let plan = plan(&springs("straightness_lateral_a = { zone_mm = 0.1 }\n").text());
    let Reach::Scale(scale) = found(&plan).sources[0].alone.worst.reach else { panic!("no limit") };
    assert!(scale > 0.97 * SPAN_MM / 0.1 && scale < 2.0 * SPAN_MM / 0.1, "{scale}");
}

/// By hand: of a uniform error of +-a beside one of +-b the share (a + b - s)^2 / (4 a b) is beyond s; here 0.0297 of installations.
#[test]
fn ref_a_rounded_limit_is_verified_beside_the_others_as_planned() {
    let uniform = "distribution = \"uniform\", inspected = true }\n";
    let text = format!("span = {{ plus_minus_mm = 0.1, {uniform}bridge_length = {{ plus_minus_mm = 0.06, {uniform}");
    let span = found(&plan(&springs(&text).text())).sources.remove(0);
    let [alone, among] = span.rounded.map(|r| r.unwrap());
    assert!((among.source.upper - 0.1).abs() < 1e-12 && (alone.source.upper - 0.1).abs() < 1e-12);
    let beyond = (0.1 + 0.06 - SPAN_MM).powi(2) / (4.0 * 0.1 * 0.06);
    let share = among.least.unwrap().share;
    assert!((share - (1.0 - beyond)).abs() < 4.0 * (beyond / 1000.0_f64).sqrt() && share < 0.99, "{share}");
    assert_eq!(alone.least.unwrap().share, 1.0);
}

/// What is lost of the life in the worst case is that of the installation that stands in the worst corner.
#[test]
fn check_the_loss_of_life_of_a_set_in_its_worst_case() {
    let mut simple = springs("span = { plus_minus_mm = 0.002 }\nbridge_length = { plus_minus_mm = 0.001 }\n");
    simple.requirement = "[requirement]\nlife_km = { least = 1 }\nlife_loss = { most = 0.9 }\n".into();
    let plan = plan(&simple.text());
    let e = evaluator(&plan);
    let installation =
        railtrue::input::Installation { span_mm: 0.002, bridge_length_mm: -0.001, ..railtrue::input::Installation::perfect(&plan) };
    let life_km = e.evaluate(&installation, &service_states(&plan), &mut Work::default()).unwrap().life_km;
    let used = (1.0 - life_km / e.perfect().life_km) / 0.9;
    assert!(used > 0.1 && used < 0.9, "{used}");
    let set = found(&plan).set.unwrap();
    assert!((set.worst.low / used - 1.0).abs() < 1e-6, "{:?} against {used}", set.worst);
    // The bound of the life is no more than a twentieth off.
    assert!(set.worst.high >= set.worst.low && set.worst.high < (1.0 - life_km / e.perfect().life_km / 1.06) / 0.9);
}

/// With too few installations nothing can be shown, whatever the tolerances do: no set, and the requirement that was not shown.
#[test]
fn check_a_set_that_too_few_draws_can_show_is_none() {
    let mut simple = springs("span = { plus_minus_mm = 0.1 }\n");
    simple.joints[1][1] = "{ law = \"free\" }".into();
    simple.requirement =
        "[requirement]\nlife_km = { least = 100, quantile = 0.5, confidence = 0.9 }\nstatic_safety = { least = 3 }\n".into();
    let plan = plan(&simple.text());
    let depth = Depth { rough_draws: 20, single_draws: 20, common_draws: 20, set_draws: 20 };
    let none = limits(&[evaluator(&plan)], depth, 1, &|| {}).unwrap().arrangements.remove(0).set.unwrap_err();
    assert_eq!(none.verdicts.iter().map(|v| v.status).collect::<Vec<_>>(), [Status::Met, Status::Undecided]);
    assert!(none.requirement == Some(1) && none.used_at_zero < 1.0, "{none:?}");
}

#[test]
fn check_progress_is_heard_as_often_as_was_said() {
    let plan = plan(&springs("span = { plus_minus_mm = 0.1 }\nbridge_length = { plus_minus_mm = 0.02 }\n").text());
    let heard = std::sync::atomic::AtomicU64::new(0);
    let count = || {
        heard.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    };
    let depth = Depth { rough_draws: 20, single_draws: 20, common_draws: 20, set_draws: 20 };
    let both = [evaluator(&plan), evaluator(&plan)];
    limits(&both, depth, 1, &count).unwrap();
    assert_eq!((limits_steps(&both), heard.into_inner()), (10, 10), "two arrangements of two errors, three steps more each");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, ..ProptestConfig::default() })]
    #[test]
    fn check_limits_invert_studies(span in 0.05..0.5_f64, drift in 0.05..0.5_f64, tilt in 0.1..1.0_f64, floats in any::<bool>(), least in 2.0..5.0_f64) {
        let mut simple = Simple {
            errors: format!("[errors]\nspan = {{ plus_minus_mm = {span} }}\nparallelism = {{ plus_minus_mm = {drift}, distribution = \"uniform\" }}\nend_squareness_b = {{ plus_minus_mrad = {tilt} }}\nstraightness_lateral_a = {{ zone_mm = {drift} }}\n"),
            requirement: format!("[requirement]\nlife_km = {{ least = 20000 }}\nstatic_safety = {{ least = {least} }}\nfloat_travel_used = {{ most = 0.8 }}\n"),
            ..Simple::default()
        };
        if floats {
            simple.joints[1] = [spring(200.0), float(1.0, 5.0, 0.5, 200.0), spring(200.0), hinge(0.1), hinge(0.1), hinge(0.1)];
        }
        let plan = plan(&simple.text());
        let limit = found(&plan).all.quantile;
        let Reach::Scale(scale) = limit.reach else { panic!("{limit:?}") };
        // The limit's own 4,000 draws and the study's 8,000 both scatter: four standard deviations of the difference, and the
        // bracket of 2 % to the inside.
        let scatter = 4.0 * (0.95 * 0.05 * (1.0 / 4000.0 + 1.0 / 8000.0_f64)).sqrt();
        let share = share_at(&plan, scale, 8000);
        prop_assert!(share >= 0.95 - scatter && share <= 0.95 + scatter + 0.02, "{share} at the limit");
        let above = share_at(&plan, 1.05 * scale, 8000);
        prop_assert!(above < 0.95 && above < share, "{above} at 5 % above it");
        // The interval of the scale holds the root that a study of twice as many draws has.
        let (Reach::Scale(sure), Reach::Scale(possible)) = (limit.sure, limit.possible) else { panic!("{limit:?}") };
        prop_assert!(sure <= scale && scale <= possible && possible / sure < 1.2);
        prop_assert!(share_at(&plan, 0.98 * sure, 8000) > 0.95 - 0.5 * scatter && share_at(&plan, 1.04 * possible, 8000) < 0.95 + 0.5 * scatter);
    }
}
