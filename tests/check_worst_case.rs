//! The worst case against hand calculation, full enumeration and an adversary.

use crate::common;

use common::plan;
use common::simple::{Simple, hinge, spring};
use proptest::prelude::*;
use railtrue::input::plan::DragStates;
use railtrue::input::{Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::study::{Bracket, Draws, Effort, Evaluator, Outcome, ToleranceBox, Work, WorstCase, run, service_states, worst_case};

fn demo() -> Plan {
    read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
}

fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
}

fn worst(plan: &Plan, arrangement: usize, effort: Effort) -> WorstCase {
    worst_case(&evaluator(plan, arrangement), effort, &|| false).unwrap()
}

const THOROUGH: Effort = Effort { starts: 6, branches: 20_000 };

fn near(got: f64, expected: f64, relative: f64) {
    assert!((got / expected - 1.0).abs() <= relative, "{got} against {expected}");
}

/// Is a value on the allowed side of a bracket's bound, to rounding?
fn within(b: &Bracket, value: f64) -> bool {
    let Some(bound) = b.bound else { return true };
    if b.less_is_worse { value >= bound * (1.0 - 1e-9) } else { value <= bound * (1.0 + 1e-9) + 1e-9 }
}

#[test]
fn ref_springs_in_series_have_the_worst_load_of_both_errors() {
    // Statics by hand: kA = kB = 150 N/um in series are 75; span +-30 um and bridge length +-20 um together are 50 um.
    let mut simple = Simple { blocks: vec![(0.0, 0.0)], bridge_axial_n_per_um: 1e6, ..Simple::default() };
    simple.errors = "[errors]\nspan = { plus_minus_mm = 0.03 }\nbridge_length = { plus_minus_mm = 0.02 }\n".into();
    let w = worst(&plan(&simple.text()), 0, THOROUGH);
    let peak = w.get("peak_load_n").unwrap();
    near(peak.bound.unwrap(), 3750.0, 2e-3);
    near(peak.attained, peak.bound.unwrap(), 1e-9);
    // The corner is one error out, the other in: the rails far apart and the bridge short, or the reverse.
    assert!((peak.installation.span_mm.abs() - 0.03).abs() < 1e-12 && (peak.installation.bridge_length_mm.abs() - 0.02).abs() < 1e-12);
    assert!(peak.installation.span_mm * peak.installation.bridge_length_mm < 0.0);
    // All four corners by hand: the life of the worst is the bracket's, attained and bound alike.
    let life = w.get("life_km").unwrap();
    near(life.attained, life.bound.unwrap(), 0.05);
    let whole = plan(&simple.text());
    let e = evaluator(&whole, 0);
    let service = service_states(e.plan());
    let corner = |g: f64, l: f64| {
        let mut i = railtrue::input::Installation::perfect(e.plan());
        (i.span_mm, i.bridge_length_mm) = (g, l);
        e.evaluate(&i, &service, &mut Work::default()).unwrap().life_km
    };
    let least = [corner(0.03, 0.02), corner(0.03, -0.02), corner(-0.03, 0.02), corner(-0.03, -0.02)].into_iter().fold(f64::MAX, f64::min);
    near(life.attained, least, 1e-9);
}

#[test]
fn ref_four_springs_with_every_corner_out() {
    // Statics by hand: the twist w = z1 - z2 - z3 + z4 of four equal springs is 4 h at the worst; each carries k w / 4.
    let soft = [spring(1e-6), spring(1e-6), spring(1e-6), hinge(1e-5), hinge(1e-5), hinge(1e-5)];
    let simple = Simple {
        blocks: vec![(300.0, 600.0), (-300.0, 600.0), (300.0, -600.0), (-300.0, -600.0)],
        block_moment: 0.0,
        joints: [soft.clone(), soft],
        errors: "[errors]\nblock_vertical = { plus_minus_mm = 0.02 }\n".into(),
        ..Simple::default()
    };
    let w = worst(&plan(&simple.text()), 0, THOROUGH);
    for block in ["a1", "a4", "b2"] {
        let b = w.get(&format!("block_{block}_load_n")).unwrap();
        near(b.bound.unwrap(), 4000.0, 1e-4);
        near(b.attained, 4000.0, 1e-4);
    }
}

#[test]
fn check_branch_and_bound_against_full_enumeration() {
    // Twelve scalar errors: all 4096 corners.
    let mut plan = demo();
    let keep = [
        "span",
        "parallelism",
        "height",
        "vertical_parallelism",
        "cross_level_a",
        "cross_level_b",
        "cross_level_twist_a",
        "bridge_length",
        "bridge_twist",
        "end_tilt_a",
        "end_squareness_a",
        "skew",
    ];
    plan.errors.sources.retain(|s| railtrue::input::ErrorKind::ALL.iter().any(|e| e.kind == s.kind && keep.contains(&e.key)));
    assert_eq!(plan.errors.sources.len(), 12);
    for arrangement in 0..2 {
        let e = evaluator(&plan, arrangement);
        let draws = Draws::new(&plan, e.machine.rails());
        let tolerance_box = ToleranceBox::new(&plan, draws.modes().clone());
        let service = service_states(&plan);
        let lives = run(0, 4096, 0, Work::default, |work, i, _| {
            let point: Vec<f64> = (0..12).map(|k| if i >> k & 1 == 1 { 1.0 } else { -1.0 }).collect();
            e.evaluate(&tolerance_box.installation(&plan, &point), &service, work).unwrap().life_km
        });
        let least = lives.into_iter().fold(f64::MAX, f64::min);
        let w = worst_case(&e, THOROUGH, &|| false).unwrap();
        let life = w.get("life_km").unwrap();
        near(life.attained, least, 1e-9);
        let bound = life.bound.unwrap();
        assert!(bound <= least * (1.0 + 1e-12) && bound >= 0.94 * least, "{bound} against {least}");
    }
}

#[test]
fn check_more_tolerance_is_never_milder() {
    let plan = demo();
    for arrangement in 0..2 {
        let mut last: Option<WorstCase> = None;
        for scale in [0.25, 0.5, 1.0] {
            let mut scaled = plan.clone();
            scaled.errors.sources.iter_mut().for_each(|s| (s.lower, s.upper) = (s.lower * scale, s.upper * scale));
            let now = worst(&scaled, arrangement, Effort::QUICK);
            if let Some(last) = &last {
                for (a, b) in last.brackets.iter().zip(&now.brackets) {
                    let worse = |x: f64, y: f64| if a.less_is_worse { y <= x * (1.0 + 1e-9) } else { y >= x * (1.0 - 1e-9) };
                    assert!(worse(a.bound.unwrap(), b.bound.unwrap()), "{} {scale}: bound {:?} after {:?}", a.key, b.bound, a.bound);
                    assert!(worse(a.attained, b.attained), "{} {scale}: {} after {}", a.key, b.attained, a.attained);
                }
            }
            last = Some(now);
        }
    }
}

/// Values of an outcome under the brackets' keys.
fn values(o: &Outcome) -> [(&'static str, f64); 7] {
    [
        ("life_km", o.life_km),
        ("peak_load_n", o.peak_load_n),
        ("static_safety", o.static_safety),
        ("float_travel_used", o.float_travel_used),
        ("joint_force_n", o.joint_force_n),
        ("tool_displacement_mm", o.tool_displacement_mm),
        ("tool_yaw_mrad", o.tool_yaw_mrad),
    ]
}

fn all_within(w: &WorstCase, outcome: &Outcome, what: &str) {
    for (key, value) in values(outcome) {
        if let Some(b) = w.get(key) {
            assert!(within(b, value), "{what}: {key} = {value} passes its bound {:?}", b.bound);
        }
    }
}

/// The demo with errors so large that its float slides far and reaches its stop.
fn on_stops() -> Plan {
    let mut plan = demo();
    plan.errors.sources.iter_mut().for_each(|s| (s.inspected, s.lower, s.upper) = (true, s.lower * 2.0, s.upper * 2.0));
    plan
}

#[test]
fn check_every_draw_stays_inside_the_bracket() {
    for (name, plan) in [("demo", demo()), ("on stops", on_stops())] {
        let mut plan = plan;
        plan.errors.sources.iter_mut().for_each(|s| s.inspected = true);
        for drag in [DragStates::BothSigns, DragStates::Law] {
            plan.study.drag = drag;
            for arrangement in 0..2 {
                let e = evaluator(&plan, arrangement);
                let w = worst_case(&e, Effort::QUICK, &|| false).unwrap();
                assert!(w.no_bound.is_none() || name == "on stops", "{:?}", w.no_bound);
                assert_eq!(w.stops_possible, name == "on stops" && arrangement == 1);
                let draws = Draws::new(&plan, e.machine.rails());
                let service = service_states(&plan);
                let outcomes = run(0, 500, 8, Work::default, |work, _, rng| e.evaluate(&draws.draw(rng), &service, work).unwrap());
                outcomes.iter().for_each(|o| all_within(&w, o, name));
            }
        }
    }
}

#[test]
fn check_an_adversary_never_passes_a_bound() {
    // Corners and inside points, 6,000 here; the long run of 10^6 is `cargo bench --bench adversary`.
    // One drive leaves slotted joints a weak direction.
    let one_drive =
        read_plan(&include_str!("../examples/panel-bridge.toml").replace("kind = \"two\"", "kind = \"one\""), "one.toml").unwrap();
    for plan in [demo(), on_stops(), one_drive] {
        for arrangement in 0..2 {
            let e = evaluator(&plan, arrangement);
            let w = worst_case(&e, Effort::QUICK, &|| false).unwrap();
            let draws = Draws::new(&plan, e.machine.rails());
            let tolerance_box = ToleranceBox::new(&plan, draws.modes().clone());
            let service = service_states(&plan);
            let outcomes = run(0, 1500, 77, Work::default, |work, i, rng| {
                let point = tolerance_box.random(i % 2 == 0, &mut || railtrue::study::uniform(rng));
                assert!(tolerance_box.holds(&point));
                e.evaluate(&tolerance_box.installation(&plan, &point), &service, work).unwrap()
            });
            outcomes.iter().for_each(|o| all_within(&w, o, "adversary"));
            for b in &w.brackets {
                let bound = b.bound.unwrap_or(if b.less_is_worse { 0.0 } else { f64::INFINITY });
                assert!(
                    if b.less_is_worse { b.attained >= bound } else { b.attained <= bound },
                    "{}: attained {} beyond {bound}",
                    b.key,
                    b.attained
                );
                if b.less_is_worse { assert!(b.attained <= b.perfect) } else { assert!(b.attained >= b.perfect * (1.0 - 1e-9)) }
            }
        }
    }
}

#[test]
fn check_attained_installations_replay() {
    let plan = demo();
    let e = evaluator(&plan, 1);
    let w = worst_case(&e, Effort::QUICK, &|| false).unwrap();
    for b in &w.brackets {
        let again = e.evaluate(&b.installation, &service_states(&plan), &mut Work::default()).unwrap();
        assert!(again == b.outcome, "{}", b.key);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, .. ProptestConfig::default() })]
    #[test]
    fn check_attained_never_passes_the_bound_on_random_plans(scales in proptest::collection::vec(0.05_f64..3.0, 25), travel in 0.2_f64..4.0, support in 0.2_f64..4.0, arrangement in 0_usize..2) {
        let mut plan = demo();
        for (s, k) in plan.errors.sources.iter_mut().zip(&scales) {
            (s.lower, s.upper, s.inspected) = (s.lower * k, s.upper * k, true);
        }
        for joint in plan.arrangements[1].ends.iter_mut().flatten() {
            if let railtrue::input::plan::Law::Float { travel: t, .. } = &mut joint.components[1].law {
                *t = travel;
            }
        }
        plan.supports.iter_mut().for_each(|s| s.stiffness.iter_mut().for_each(|k| *k *= support));
        let e = evaluator(&plan, arrangement);
        let w = worst_case(&e, Effort::QUICK, &|| false).unwrap();
        for b in &w.brackets {
            prop_assert!(within(b, b.attained), "{}: attained {} beyond {:?}", b.key, b.attained, b.bound);
        }
        let draws = Draws::new(&plan, e.machine.rails());
        let service = service_states(&plan);
        for o in run(0, 60, 21, Work::default, |work, _, rng| e.evaluate(&draws.draw(rng), &service, work).unwrap()) {
            all_within(&w, &o, "draw");
        }
    }
}
