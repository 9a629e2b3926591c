//! Laws of the studies: threads, replay, limits, the trade's rule.

use crate::common;

use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, Outcome, Reading, ServiceState, Work, service_states};
use railtrue::input::plan::DragStates;
use railtrue::input::{ErrorKind, Installation, Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::study::{Length, SEQUENCE, Status, Verdict, monte_carlo, sources_alone};
use railtrue::sweep::drawn;

fn demo() -> Plan {
    read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
}

fn evaluators(plan: &Plan) -> Vec<Evaluator<'_>> {
    (0..plan.arrangements.len()).map(|a| Evaluator::new(Machine::new(plan, a).unwrap(), plan.study.drag).unwrap()).collect()
}

#[test]
fn check_same_bits_with_1_2_and_7_threads() {
    let plan = demo();
    let evaluators = evaluators(&plan);
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| monte_carlo(&evaluators, Length::Fixed(300), 5, &|_| {}).unwrap())
    };
    let one = with(1);
    assert!(one == with(2) && one == with(7));
}

#[test]
fn check_a_draw_is_replayed_by_its_number() {
    // A study runs eight installations side by side through one map; alone, the machine itself is asked. Draws are the same
    // bits; outcomes agree to what weak directions of the take-ups leave.
    let plan = demo();
    let evaluators = evaluators(&plan);
    let draws = Draws::new(&plan, evaluators[0].machine.rails());
    let again = run(137, 1, 11, || (), |(), _, rng| draws.draw(rng));
    let mut work = Work::default();
    for evaluator in &evaluators {
        let outcome = evaluator.evaluate(&again[0], &service_states(&plan), &mut work).unwrap();
        let drawn = &drawn(evaluator, 11, 200).unwrap()[137];
        for (one, other) in [
            (outcome.life_km, drawn.life_km),
            (outcome.peak_load_n, drawn.peak_load_n),
            (outcome.joint_force_n, drawn.joint_force_n),
            (outcome.tool_displacement_mm, drawn.tool_displacement_mm),
        ] {
            assert!((one / other - 1.0).abs() < 1e-6, "{one} against {other}");
        }
    }
}

#[test]
fn check_drawn_errors_stay_inside_their_limits() {
    let mut plan = demo();
    plan.errors.sources.iter_mut().for_each(|s| s.inspected = true);
    let machine = Machine::new(&plan, 0).unwrap();
    let draws = Draws::new(&plan, machine.rails());
    let limit = |kind| plan.errors.get(kind).unwrap().upper;
    let zone = limit(ErrorKind::StraightnessLateral(0));
    let mut largest: f64 = 0.0;
    for i in run(0, 2000, 3, || (), |(), _, rng| draws.draw(rng)) {
        assert!(i.span_mm.abs() <= limit(ErrorKind::Span) && i.parallelism_mm.abs() <= limit(ErrorKind::Parallelism));
        assert!(i.seats.iter().flatten().all(|s| s[..3].iter().all(|v| v.abs() <= limit(ErrorKind::Seat))));
        assert!((i.drive_offset_mm[1] - i.drive_offset_mm[0]).abs() <= limit(ErrorKind::Skew) + 1e-15);
        let profile = &i.residual[0][0];
        let (low, high) = profile.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        assert!(high - low <= zone + 1e-12);
        largest = largest.max(high - low);
    }
    assert!(largest > 0.8 * zone, "profiles use their zone: {largest} of {zone}");
}

/// Largest horizontal parallelism, all else perfect, with which the required life is still reached.
fn parallelism_limit(plan: &Plan, arrangement: usize) -> f64 {
    let evaluator = Evaluator::new(Machine::new(plan, arrangement).unwrap(), DragStates::Law).unwrap();
    let mut work = Work::default();
    let still = [ServiceState::still()];
    let mut reaches = |g1: f64| {
        let mut installation = Installation::perfect(plan);
        installation.parallelism_mm = g1;
        evaluator.evaluate(&installation, &still, &mut work).unwrap().life_km >= 30_000.0
    };
    let (mut low, mut high) = (0.0, 100.0);
    for _ in 0..40 {
        let mid = f64::midpoint(low, high);
        if reaches(mid) { low = mid } else { high = mid }
    }
    low
}

#[test]
fn ref_fractions_of_a_millimetre_stiff_millimetres_floating() {
    // Common practice, no source: stiff joints want the two axes within fractions of a millimetre, floating joints open
    // that to millimetres. From the demo's model, for its required life.
    let plan = demo();
    let (stiff, floating) = (parallelism_limit(&plan, 0), parallelism_limit(&plan, 1));
    assert!((0.05..0.8).contains(&stiff), "stiff: {stiff} mm");
    assert!((2.0..20.0).contains(&floating), "floating: {floating} mm");
}

#[test]
fn check_more_error_never_gives_more_life_far_out() {
    let plan = demo();
    for evaluator in evaluators(&plan) {
        let mut work = Work::default();
        let mut last = f64::INFINITY;
        for step in 1..12 {
            let mut installation = Installation::perfect(&plan);
            installation.parallelism_mm = 0.5 * f64::from(1 << step) / 2.0;
            let life = evaluator.evaluate(&installation, &[ServiceState::still()], &mut work).unwrap().life_km;
            assert!(life <= last * (1.0 + 1e-3), "{}: {life} after {last}", evaluator.machine.name());
            last = life;
        }
    }
}

#[test]
fn check_shares_of_stroke_seasons_and_duty_add_up() {
    let plan = demo();
    let sum = |v: Vec<f64>| (v.iter().sum::<f64>() - 1.0).abs() < 1e-12;
    assert!(sum(plan.frame.station_share.clone()));
    assert!(sum(plan.duty.iter().map(|c| c.share).collect()));
    assert!(sum(service_states(&plan).iter().map(|s| s.share).collect()));
    // 60 % of the distance lies in the first half of the stroke, where the hat of the middle station is shared.
    let first: f64 = plan.frame.station_share[..10].iter().sum();
    let middle = plan.frame.station_share[10];
    assert!((first + middle * 0.6 - 0.6).abs() < 1e-12, "{first} {middle}");
}

#[test]
fn check_shaft_wind_up_is_thrust_times_compliance() {
    // One motor at A (then at B): in the state with its own wind-up, the far drive's thrust times r^2 / k is the lag.
    for (motor, far, sign) in [("a", 1, -1.0), ("b", 0, 1.0)] {
        let shaft = format!("kind = \"shaft\"\nmotor_at = \"{motor}\"\nshaft_n_m_per_mrad = 1.5\npinion_radius_mm = 24");
        let text = include_str!("../examples/panel-bridge.toml");
        let line = text.lines().find(|l| l.starts_with("kind = \"two\"")).unwrap();
        let plan = read_plan(&text.replace(line, &shaft), "shaft.toml").unwrap();
        let machine = Machine::new(&plan, 0).unwrap();
        let taken_up = railtrue::structure::TakenUp::default();
        for case in 0..plan.duty.len() {
            let s = railtrue::structure::Situation {
                station_x_mm: 2000.0,
                case,
                thermal: Default::default(),
                skew_mm: machine.wind_up_mm(case),
                drag: railtrue::structure::Drag::Law,
            };
            let r = machine.respond(&Installation::perfect(&plan), &taken_up, &s).unwrap();
            let lag = sign * r.drive_n[far] * 24.0 * 24.0 / 1.5e6;
            assert!((machine.wind_up_mm(case) - lag).abs() < 1e-12, "{lag} against {}", machine.wind_up_mm(case));
        }
        assert!(machine.wind_up_mm(1).abs() > 0.01, "speeding up winds the shaft");
    }
}

#[test]
fn check_a_float_with_too_much_drag_is_found_to_stick() {
    let text = include_str!("../examples/panel-bridge.toml").replace("drag_n = 15", "drag_n = 4000");
    let plan = read_plan(&text, "drag.toml").unwrap();
    let sticks = |plan: &Plan| {
        let evaluators = evaluators(plan);
        let study = monte_carlo(&evaluators, Length::Fixed(200), 1, &|_| {}).unwrap();
        study.arrangements[1].findings.iter().any(|f| f.what == "a float never slides")
    };
    assert!(sticks(&plan));
    assert!(!sticks(&demo()));
}

#[test]
fn check_zone_shares_by_hand() {
    // Stations 500 mm apart from 500 to 3500, all of the distance in the first 250 mm: the first station's hat holds
    // (1 + 1/2)/2 = 3/4 of it, the second's 1/4.
    let zones = "[[zone]]\nfrom_mm = 500\nto_mm = 750\nshare = 1\n[[zone]]\nfrom_mm = 750\nto_mm = 3500\nshare = 0\n";
    let text = common::simple::Simple::default().text() + zones;
    let share = common::plan(&text).frame.station_share;
    common::close("shares", &share, &[0.75, 0.25, 0.0, 0.0, 0.0, 0.0, 0.0], 1e-12);
}

#[test]
fn ref_verdicts_stand_on_clopper_pearson() {
    // 59 of 59 show 95/95 (Wilks 1941), 58 of 58 do not yet; none of 59 shows the opposite.
    let plan = demo();
    let good = evaluators(&plan)[1].perfect();
    let bad = Outcome { life_km: 1.0, ..good };
    let life = plan.requirements[0];
    let status = |good_ones: usize, bad_ones: usize| {
        let all: Vec<Outcome> = std::iter::repeat_n(good, good_ones).chain(std::iter::repeat_n(bad, bad_ones)).collect();
        Verdict::of(&life, &all, &good, true).status
    };
    assert_eq!(status(59, 0), Status::Met);
    assert_eq!(status(58, 0), Status::Undecided);
    assert_eq!(status(0, 59), Status::NotMet);
    assert_eq!(status(9_400, 600), Status::NotMet);
    assert_eq!(status(9_600, 400), Status::Met);
    assert_eq!(status(9_500, 500), Status::Undecided);
}

/// A float in y beside nothing but a span error: it stands still while the error times its slide stiffness is less than its drag.
/// By hand: 100 N over 1 N/um are 0.1 mm, which half of the uniform errors inside +-0.2 mm do not pass.
#[test]
fn ref_share_of_installations_whose_float_never_slides() {
    use common::simple::{Simple, float};
    let errors = "[errors]\nspan = { plus_minus_mm = 0.2, distribution = \"uniform\" }\n".to_string();
    let share = |drag_n: f64| {
        let mut simple = Simple { errors: errors.clone(), ..Simple::default() };
        simple.joints[1][1] = float(3.0, drag_n, 1.0, 300.0);
        let plan = common::plan(&simple.text());
        let study = monte_carlo(&evaluators(&plan), Length::Fixed(300), 1, &|_| {}).unwrap();
        let found = study.arrangements[0].findings.iter().find(|f| f.what == "a float never slides");
        found.map_or(0.0, |f| f.amount.split(' ').next().unwrap().parse::<f64>().unwrap())
    };
    assert_eq!((share(0.0), share(1000.0)), (0.0, 100.0));
    // Four standard deviations of 300 draws.
    assert!((share(100.0) - 50.0).abs() < 4.0 * 100.0 * (0.25_f64 / 300.0).sqrt(), "{} %", share(100.0));
}

/// JCGM 101 wants sequences of 10,000 draws, the two-stage count ten of them at least; a study by digits is one of as many draws.
#[test]
fn check_a_study_by_digits_runs_until_they_are_reached() {
    let errors = "[errors]\nspan = { plus_minus_mm = 0.05, distribution = \"uniform\" }\n".to_string();
    let blocks = vec![(0.0, 0.0)];
    let plan = common::plan(&common::simple::Simple { errors, blocks, ..common::simple::Simple::default() }.text());
    let study = |length: Length| monte_carlo(&evaluators(&plan), length, 1, &|_| {}).unwrap();
    let settled = study(Length::Digits { digits: 1, most: 1_000_000 });
    assert_eq!(settled.settled, Some(true));
    assert!(settled.draws >= 10 * SEQUENCE && settled.draws < 1_000_000 && settled.draws % SEQUENCE == 0, "{}", settled.draws);
    let fixed = study(Length::Fixed(settled.draws));
    assert_eq!(fixed.settled, None);
    let mean = |s: &railtrue::study::StudyResult| s.arrangements[0].tally.of(Reading::PeakLoad).mean();
    assert_eq!(mean(&settled), mean(&fixed));
    // Three digits are not reached by two sequences and a bit.
    let short = study(Length::Digits { digits: 3, most: 2 * SEQUENCE + 100 });
    assert_eq!((short.settled, short.draws), (Some(false), 2 * SEQUENCE + 100));
}

/// The shaft's wind-up loads a machine in service by itself, without any heat; two drives in step and one season do not.
#[test]
fn check_wind_up_counts_beside_the_errors_alone() {
    let shaft = "kind = \"shaft\"\nmotor_at = \"a\"\nshaft_n_m_per_mrad = 1.5\npinion_radius_mm = 24";
    let mut simple = common::simple::Simple { bridge_kg: 100.0, ..common::simple::Simple::default() };
    simple.duty = "[[duty]]\nname = \"speeding up\"\nshare = 1\npayload_y_mm = 600\nacceleration_m_per_s2 = [3, 0, 0]\n".into();
    let alone = |kind: &str| {
        let plan = common::plan(&crate::golden_small::changed(&simple.text(), &[("kind = \"two\"", kind)]));
        let evaluator = evaluators(&plan).remove(0);
        let life_km = evaluator.perfect().life_km;
        sources_alone(&evaluator).unwrap().into_iter().map(|a| (a.source, a.limit, a.life_km < life_km)).collect::<Vec<_>>()
    };
    assert_eq!(alone("kind = \"two\""), []);
    assert_eq!(alone(shaft), [("temperatures and shaft wind-up in service".to_string(), None, true)]);
}
