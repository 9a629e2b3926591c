//! A survey of known rails gives those rails and their loads; what cannot be seen is said; uncertainty is kept.

use crate::common;

use common::{close, stated};
use railtrue::evaluate::{Evaluator, Outcome, ServiceState, Work};
use railtrue::geometry::Rails;
use railtrue::input::plan::DragStates;
use railtrue::input::survey::{Survey, read_survey};
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::survey::{Check, Conformity, Evaluated, GUARD, VERTICAL, checks, decide, evaluate_survey};
use std::fmt::Write as _;

const PLAN: &str = include_str!("../examples/panel-bridge.toml");
const INSTALLATION: &str = include_str!("../examples/panel-bridge-installation.toml");

pub(crate) fn plan() -> Plan {
    read_plan(PLAN, "plan.toml").unwrap()
}

/// The same plan with stiff joints that take nothing up: every error between the rails loads the blocks.
pub(crate) fn rigid_plan() -> Plan {
    let text = PLAN.replace(", take_up_mm = 1.5", "").replace(", take_up_mrad = 10", "");
    assert!(!text.contains("take_up_m"));
    read_plan(&text, "plan.toml").unwrap()
}

/// The rails of an installation, without what belongs to the bridge and the trucks.
fn rails_only(plan: &Plan, whole: &Installation) -> Installation {
    Installation {
        span_mm: whole.span_mm,
        parallelism_mm: whole.parallelism_mm,
        height_mm: whole.height_mm,
        vertical_parallelism_mm: whole.vertical_parallelism_mm,
        cross_level_rad: whole.cross_level_rad,
        cross_level_twist_rad: whole.cross_level_twist_rad,
        residual: whole.residual.clone(),
        ..Installation::perfect(plan)
    }
}

fn known(plan: &Plan) -> Installation {
    rails_only(plan, &stated(INSTALLATION, plan).installation)
}

/// How a made-up instrument stands: turned about x, y, z, shifted.
#[derive(Clone, Copy)]
pub(crate) struct Stand {
    pub(crate) turn: [f64; 3],
    pub(crate) shift: [f64; 3],
}

pub(crate) const STRAIGHT: Stand = Stand { turn: [0.0; 3], shift: [0.0; 3] };

/// Points and cross-levels of an installation's rails at every pad, as an instrument would write them; `noise` gives numbers
/// to add, in mm and mm/m.
pub(crate) fn points(plan: &Plan, installation: &Installation, stand: Stand, head: &str, noise: &mut dyn FnMut() -> f64) -> String {
    let rails = Rails::new(plan).unwrap();
    let turned = nalgebra::Rotation3::from_euler_angles(stand.turn[0], stand.turn[1], stand.turn[2]);
    let mut text = format!("{head}rail,pad,x_mm,y_mm,z_mm,cross_level_mm_per_m\n");
    for (rail, name) in ["A", "B"].iter().enumerate() {
        for (i, x) in plan.frame.anchors_x_mm.iter().enumerate() {
            let [v, w, roll] = rails.line_at(rail, *x, installation);
            let y = if rail == 1 { plan.frame.span_mm } else { 0.0 };
            let p = turned * nalgebra::Vector3::new(*x, y + v + noise(), w + noise()) + nalgebra::Vector3::from(stand.shift);
            // An instrument that turns with its axes reads the roll in them.
            let seen = roll * 1e3 + if head.contains("levels = instrument") { stand.turn[0] * 1e3 } else { 0.0 } + noise();
            writeln!(text, "{name},{},{:.9},{:.9},{:.9},{seen:.9}", i + 1, p.x, p.y, p.z).unwrap();
        }
    }
    text
}

pub(crate) const SHARP: &str =
    "# u_point_mm = 0.0001\n# u_level_mm_per_m = 0.0001\n# frame_c = 20\n# u_temperature_k = 0\n# bridge = off\n";

fn survey(plan: &Plan, text: &str) -> Survey {
    read_survey(text.as_bytes(), "survey.csv", plan, &[], &[]).unwrap_or_else(|p| panic!("{p}"))
}

pub(crate) fn evaluated(plan: &Plan, text: &str) -> Evaluated {
    evaluate_survey(plan, &Rails::new(plan).unwrap(), &survey(plan, text)).unwrap()
}

pub(crate) fn checked(plan: &Plan, e: &Evaluated) -> Vec<Check> {
    checks(plan, &Rails::new(plan).unwrap(), &e.measured, 1)
}

pub(crate) fn get<'c>(list: &'c [Check], key: &str) -> &'c Check {
    list.iter().find(|c| c.key == key).unwrap()
}

pub(crate) fn still() -> impl FnMut() -> f64 {
    || 0.0
}

/// Standard normal numbers of a fixed seed (Box-Muller on a linear congruential generator).
fn normal(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut uniform = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    };
    move || (-2.0 * uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * uniform()).cos()
}

/// Outcome and peak loads along the stroke of both arrangements without heat.
fn loads(plan: &Plan, installation: &Installation) -> Vec<(Outcome, Vec<f64>)> {
    let one = |i: usize| {
        let evaluator = Evaluator::new(Machine::new(plan, i).unwrap(), DragStates::BothSigns).unwrap();
        let mut work = Work::default();
        let outcome = evaluator.evaluate(installation, &[ServiceState::still()], &mut work).unwrap();
        (outcome, work.stroke_peak_n)
    };
    (0..plan.arrangements.len()).map(one).collect()
}

pub(crate) fn same_loads(plan: &Plan, a: &Installation, b: &Installation, tolerance: f64) {
    for (x, y) in loads(plan, a).iter().zip(&loads(plan, b)) {
        close("peak loads along the stroke", &x.1, &y.1, tolerance);
        assert!((x.0.life_km / y.0.life_km - 1.0).abs() < 3.0 * tolerance, "{} against {}", x.0.life_km, y.0.life_km);
    }
}

#[test]
fn check_a_survey_of_known_rails_gives_their_loads() {
    let plan = rigid_plan();
    let known = known(&plan);
    let stand = Stand { turn: [0.0, 0.0, 2.2], shift: [1500.0, -820.0, 412.0] };
    let text = points(&plan, &known, stand, &format!("# z_axis = gravity\n{SHARP}"), &mut still());
    let e = evaluated(&plan, &text);
    same_loads(&plan, &e.measured.mean(Installation::perfect(&plan)), &known, 2e-3);
    let list = checked(&plan, &e);
    // The residuals of the file have an offset and a slope of their own: the lines are those of the whole profiles.
    assert!((get(&list, "span").value - 0.7).abs() < 0.01);
    assert!((get(&list, "vertical_parallelism").value - 0.4).abs() < 0.05);
    assert!((get(&list, "cross_level_a").value - 0.3).abs() < 1e-3);
}

#[test]
fn check_the_answer_does_not_depend_on_where_the_instrument_stands() {
    let plan = plan();
    let known = known(&plan);
    let head = format!("# z_axis = gravity\n{SHARP}");
    let here = evaluated(&plan, &points(&plan, &known, STRAIGHT, &head, &mut still()));
    let there = Stand { turn: [0.0, 0.0, -1.4], shift: [-12_000.0, 9_000.0, -300.0] };
    let there = evaluated(&plan, &points(&plan, &known, there, &head, &mut still()));
    for (a, b) in checked(&plan, &here).iter().zip(&checked(&plan, &there)) {
        assert!((a.value - b.value).abs() < 1e-4, "{}: {} against {}", a.key, a.value, b.value);
    }
    assert!((there.said.iter().filter(|s| s.contains("turned by 80.2")).count()) == 1, "{:?}", there.said);
}

#[test]
fn check_only_a_height_difference_comes_back_with_its_loads() {
    let plan = rigid_plan();
    let high = Installation { height_mm: 0.8, ..Installation::perfect(&plan) };
    let text = points(&plan, &high, STRAIGHT, &format!("# z_axis = gravity\n{SHARP}"), &mut still());
    let e = evaluated(&plan, &text);
    assert!((get(&checked(&plan, &e), "height").value - 0.8).abs() < 1e-4);
    let found = e.measured.mean(Installation::perfect(&plan));
    assert!((found.height_mm - 0.8).abs() < 1e-4);
    same_loads(&plan, &found, &high, 1e-3);
}

#[test]
fn check_only_equal_roll_on_both_rails_comes_back_with_its_loads() {
    let plan = rigid_plan();
    let rolled = Installation { cross_level_rad: [0.4e-3; 2], ..Installation::perfect(&plan) };
    let text = points(&plan, &rolled, STRAIGHT, &format!("# z_axis = gravity\n{SHARP}"), &mut still());
    let found = evaluated(&plan, &text).measured.mean(Installation::perfect(&plan));
    same_loads(&plan, &found, &rolled, 1e-3);
    // It is no rigid motion: the loads differ from those of perfect rails.
    let (bent, perfect) = (loads(&plan, &rolled), loads(&plan, &Installation::perfect(&plan)));
    assert!(bent[0].0.peak_load_n > 1.05 * perfect[0].0.peak_load_n);
}

#[test]
fn check_without_gravity_heights_and_rolls_turn_together() {
    let plan = rigid_plan();
    let rolled = Installation { cross_level_rad: [0.4e-3; 2], height_mm: 0.3, ..Installation::perfect(&plan) };
    let head = format!("# z_axis = free\n# levels = instrument\n{SHARP}");
    // The instrument stands crooked by 2 mm/m: rolls and heights are read in its axes.
    let text = points(&plan, &rolled, Stand { turn: [2e-3, 0.0, 0.3], shift: [5.0, 7.0, 11.0] }, &head, &mut still());
    let e = evaluated(&plan, &text);
    let found = e.measured.mean(Installation::perfect(&plan));
    assert!(found.height_mm.abs() < 1e-9, "height and tilt look alike: {}", found.height_mm);
    same_loads(&plan, &found, &rolled, 2e-3);
    assert!(e.said.iter().any(|s| s.contains("cross-levels by the same angle")));
}

#[test]
fn check_without_gravity_and_rolls_the_height_is_not_seen() {
    let plan = plan();
    let high = Installation { height_mm: 0.8, ..Installation::perfect(&plan) };
    let text = points(&plan, &high, STRAIGHT, SHARP, &mut still());
    let e = evaluated(&plan, &text);
    assert_eq!(get(&checked(&plan, &e), "height").decision.verdict, Conformity::NotSeen);
    assert!(e.findings.iter().any(|f| f.what.contains("height of rail B over A cannot be seen")));
    assert_eq!(get(&checked(&plan, &e), "vertical_parallelism").decision.verdict, Conformity::Pass);
}

#[test]
fn check_a_common_yaw_is_said_and_where_the_frame_is_known_it_is_kept() {
    let plan = rigid_plan();
    let crooked = Stand { turn: [0.0, 0.0, 0.2e-3], shift: [0.0; 3] };
    let perfect = Installation::perfect(&plan);
    let own = evaluated(&plan, &points(&plan, &perfect, crooked, &format!("# z_axis = gravity\n{SHARP}"), &mut still()));
    assert!(own.said.iter().any(|s| s.contains("common yaw") && s.contains("skew")), "{:?}", own.said);
    same_loads(&plan, &own.measured.mean(perfect.clone()), &perfect, 1e-3);
    // In the plan's axes it acts as a skew of yaw x span (physics: s_B - s_A = +t S).
    let head = format!("# z_axis = gravity\n# frame = plan\n{SHARP}");
    let kept = evaluated(&plan, &points(&plan, &perfect, crooked, &head, &mut still()));
    let skew = 0.2e-3 * plan.frame.span_mm;
    let skewed = Installation { drive_offset_mm: [-skew / 2.0, skew / 2.0], ..perfect.clone() };
    same_loads(&plan, &kept.measured.mean(perfect), &skewed, 5e-3);
}

#[test]
fn check_gauge_and_level_alone_give_span_height_and_cross_level() {
    let plan = plan();
    let known = known(&plan);
    let rails = Rails::new(&plan).unwrap();
    let mut text = String::from(
        "# u_gauge_mm = 0.0001\n# u_height_mm = 0.0001\n# u_level_mm_per_m = 0.0001\n# frame_c = 20\n# u_temperature_k = 0\n# bridge = off\nstation,gauge,height,cross_level_a,cross_level_b\n",
    );
    for x in &plan.frame.anchors_x_mm {
        let [a, b] = [0, 1].map(|rail| rails.line_at(rail, *x, &known));
        writeln!(text, "{x},{:.6},{:.6},{:.6},{:.6}", plan.frame.span_mm + b[0] - a[0], b[1] - a[1], a[2] * 1e3, b[2] * 1e3).unwrap();
    }
    let e = evaluated(&plan, &text);
    let list = checked(&plan, &e);
    assert!((get(&list, "span").value - 0.7).abs() < 0.01 && get(&list, "span").decision.verdict == Conformity::Pass);
    assert!((get(&list, "cross_level_b").value + 0.2).abs() < 1e-3);
    // The shape of each rail for itself is only known as far as the difference tells.
    let spread = get(&list, "straightness_lateral_a").uncertainty;
    assert!(spread > 0.01, "one rail's shape is not seen by the gauge: {spread}");
}

#[test]
fn check_pure_noise_on_perfect_rails_does_not_read_as_bad_rails() {
    let plan = plan();
    let perfect = Installation::perfect(&plan);
    let mut wide = 0;
    for seed in 0..6 {
        let mut n = normal(seed);
        let head = "# z_axis = gravity\n# u_point_mm = 0.03\n# u_level_mm_per_m = 0.03\n# frame_c = 20\n# bridge = off\n";
        let text = points(&plan, &perfect, STRAIGHT, head, &mut || 0.03 * n());
        let e = evaluated(&plan, &text);
        let list = checked(&plan, &e);
        // Joining the dots would read as 0.03 x (about 3.4, the range of 14 normals) = 0.10.
        let straight: Vec<f64> = list.iter().filter(|c| c.key.starts_with("straightness")).map(|c| c.value).collect();
        wide += straight.iter().filter(|v| **v > 0.08).count();
        // The stiff machine is not told to live shorter than half of what perfect rails give it.
        let found = e.measured.mean(perfect.clone());
        let floating = 1;
        let lives: Vec<f64> = [&found, &perfect].iter().map(|i| loads(&plan, i)[floating].0.life_km).collect();
        assert!(lives[0] > 0.75 * lives[1], "seed {seed}: {lives:?}");
        for c in list.iter().filter(|c| c.lower.is_some()) {
            assert!(c.value.abs() < 4.0 * c.uncertainty, "seed {seed}: {} {} u {}", c.key, c.value, c.uncertainty);
        }
    }
    assert!(wide <= 2, "{wide} of 24 profiles read as wide as the dots");
}

#[test]
fn check_a_stretch_that_was_never_read_is_not_called_certain() {
    let plan = plan();
    let text = points(&plan, &known(&plan), STRAIGHT, &format!("# z_axis = gravity\n{SHARP}"), &mut still());
    let cut: String = text
        .lines()
        .filter(|l| !["B,6,", "B,7,", "B,8,", "B,9,"].iter().any(|p| l.starts_with(p)))
        .fold(String::new(), |t, l| t + l + "\n");
    let (whole, part) = (evaluated(&plan, &text), evaluated(&plan, &cut));
    let deviation = |e: &Evaluated, pad: usize| e.measured.profiles[VERTICAL].root.row(14 + pad - 1).norm();
    assert!(deviation(&part, 7) > 10.0 * deviation(&whole, 7), "{} {}", deviation(&part, 7), deviation(&whole, 7));
    assert!(deviation(&part, 7) > 5.0 * deviation(&part, 2));
    // The settled pad 8 was not read: its straightness may not pass with certainty that it does not have.
    let u = |e: &Evaluated| get(&checked(&plan, e), "straightness_vertical_b").uncertainty;
    assert!(u(&part) > 5.0 * u(&whole));
}

#[test]
fn check_a_settled_pad_is_not_smoothed_away() {
    let plan = plan();
    let head = "# z_axis = gravity\n# u_point_mm = 0.008\n# u_level_mm_per_m = 0.02\n# frame_c = 20\n# bridge = off\n";
    let mut found = 0;
    for seed in 0..8 {
        let mut n = normal(seed);
        let text = points(&plan, &known(&plan), STRAIGHT, head, &mut || 0.008 * n());
        let e = evaluated(&plan, &text);
        let named = e.findings.iter().any(|f| f.what.contains("stands out") && f.place.contains("rail B, pad 8"));
        assert_eq!(named, e.measured.settled[VERTICAL].contains(&(1, 7)));
        found += usize::from(named);
    }
    // It stands 0.045 mm, 5 to 6 uncertainties, under the smooth line through the others.
    assert!(found >= 7, "found in {found} of 8 surveys");
}

#[test]
fn check_true_values_lie_inside_the_stated_uncertainty() {
    let plan = plan();
    let known = known(&plan);
    let truth = checked(&plan, &evaluated(&plan, &points(&plan, &known, STRAIGHT, &format!("# z_axis = gravity\n{SHARP}"), &mut still())));
    let (mut inside, mut all) = (0, 0);
    for seed in 10..22 {
        let mut n = normal(seed);
        let head = "# z_axis = gravity\n# u_point_mm = 0.02\n# u_level_mm_per_m = 0.02\n# frame_c = 20\n# bridge = off\n";
        let list = checked(&plan, &evaluated(&plan, &points(&plan, &known, STRAIGHT, head, &mut || 0.02 * n())));
        for (t, c) in truth.iter().zip(&list).filter(|(_, c)| c.lower.is_some()) {
            all += 1;
            inside += usize::from((t.value - c.value).abs() < 1.96 * c.uncertainty);
        }
    }
    // 96 values at 95 %: fewer than 84 inside happens once in 10,000 such tests.
    assert!(all == 96 && (84..=96).contains(&inside), "{inside} of {all}");
}

/// ISO 14253-1 with 95 %: guard band of 1.645 u (normal quantile, computed).
#[test]
fn ref_guard_band() {
    assert!((GUARD - 1.6449).abs() < 5e-5);
    let verdict = |v: f64| decide(v, 0.1, Some(-1.0), 1.0).verdict;
    assert_eq!(verdict(1.0 - 1.6448 * 0.1), Conformity::NotDecidable);
    assert_eq!(verdict(1.0 - 1.6449 * 0.1), Conformity::Pass);
    assert_eq!(verdict(1.0 + 1.6448 * 0.1), Conformity::NotDecidable);
    assert_eq!(verdict(-1.0 - 1.6449 * 0.1), Conformity::Fail);
    assert_eq!(verdict(f64::NAN), Conformity::NotDecidable);
    // The uncertainty that would decide it decides it.
    let open = decide(0.9, 0.1, Some(-1.0), 1.0);
    let u = open.deciding_uncertainty.unwrap();
    assert_eq!(decide(0.9, u * 0.999, Some(-1.0), 1.0).verdict, Conformity::Pass);
    assert_eq!(decide(1.1, u * 0.999, Some(-1.0), 1.0).verdict, Conformity::Fail);
}

#[test]
fn check_temperatures_of_frame_and_tape_are_taken_out_by_hand() {
    let plan = plan();
    // Frame at 30 degC has grown by 11.7e-6 x 10 x 2600 = 0.3042 mm; a steel tape at 10 degC reads 11.5e-6 x 10 x 2600 = 0.299 mm too much.
    let rows = |gauge: f64| plan.frame.anchors_x_mm.iter().fold(String::new(), |t, x| t + &format!("{x},{gauge}\n"));
    let head = "# u_gauge_mm = 0.01\n# bridge = off\n# frame_c = 30\n# tape_c = 10\n# u_temperature_k = 0.5\nstation,gauge\n";
    let list = checked(&plan, &evaluated(&plan, &(head.to_string() + &rows(2600.3042 + 0.299))));
    let span = get(&list, "span");
    assert!(span.value.abs() < 1e-3, "{}", span.value);
    // 0.01 / sqrt(14) of reading, 0.5 K on frame and tape: 0.0152 and 0.015 mm.
    let expected = (1e-4 / 14.0 + 0.0152_f64.powi(2) + 0.01495_f64.powi(2)).sqrt();
    assert!((span.uncertainty / expected - 1.0).abs() < 0.02, "{} against {expected}", span.uncertainty);
}

#[test]
fn check_the_deflection_of_a_travelling_bridge_is_not_counted_twice() {
    let plan = plan();
    let perfect = Installation::perfect(&plan);
    let still_head = format!("# z_axis = gravity\n{SHARP}");
    // What the supports give under the bridge's own weight: the readings of a bridge that travels with the prism.
    let text = points(&plan, &perfect, STRAIGHT, &still_head.replace("bridge = off", "bridge = travelling"), &mut still());
    let e = evaluated(&plan, &text);
    let said = e.said.iter().find(|s| s.contains("freed of the deflection")).unwrap();
    let lift: Vec<f64> = e.corrected.readings.iter().filter(|r| r.quantity.name() == "vertical").map(|r| r.value).collect();
    // Undeflected readings under a bridge that presses the rail down mean rails that stand too high by the deflection.
    // Weight by hand: 62/2 + 30 (half the slide) + 9 + trucks' share is 45 to 80 kg a rail on four blocks of 60 N/um.
    let by_hand = |kg: f64| kg * 9.80665 / (4.0 * 60_000.0);
    assert!(lift.iter().all(|w| *w > by_hand(45.0) && *w < by_hand(85.0)), "{said} {lift:?}");
}

/// The demo's survey, and one by gauge that leaves heights to the plan: predictions eight at a time against each drawn
/// installation by itself.
#[test]
fn check_predictions_are_what_each_drawn_installation_is_alone() {
    use railtrue::draw::{Draws, run};
    use railtrue::evaluate::service_states;
    use railtrue::survey::predict;
    let plan = plan();
    let evaluators: Vec<Evaluator<'_>> =
        (0..2).map(|a| Evaluator::new(Machine::new(&plan, a).unwrap(), plan.study.drag).unwrap()).collect();
    let service = service_states(&plan);
    let mut gauge = String::from("# u_gauge_mm = 0.05\n# frame_c = 20\n# u_temperature_k = 0\n# bridge = off\nstation,gauge\n");
    for x in &plan.frame.anchors_x_mm {
        writeln!(gauge, "{x},{:.3}", plan.frame.span_mm + 0.2 * (x / 700.0).sin()).unwrap();
    }
    for text in [include_str!("../examples/panel-bridge-survey.csv"), &gauge] {
        let e = evaluated(&plan, text);
        let draws = Draws::new(&plan, evaluators[0].machine.rails());
        let predictions = predict(&plan, &evaluators.iter().collect::<Vec<_>>(), &e.measured, 5, 9).unwrap();
        for (evaluator, prediction) in evaluators.iter().zip(&predictions) {
            let alone = run(0, 5, 9, Work::default, |work, _, rng| {
                let rest = draws.draw(rng);
                let numbers = e.measured.numbers(rng);
                evaluator.evaluate(&e.measured.drawn(rest, &numbers), &service, work).unwrap()
            });
            for (together, alone) in prediction.outcomes.iter().zip(alone) {
                let of = |o: &Outcome| [o.life_km, o.peak_load_n, o.joint_force_n, o.static_safety].map(f64::ln);
                close("life, load, force, safety", &of(together), &of(&alone), 1e-6);
                close("tool point", &[together.tool_displacement_mm], &[alone.tool_displacement_mm], 2e-6);
            }
        }
    }
}
