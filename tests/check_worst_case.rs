//! The worst case against hand calculation, full enumeration and an adversary.

use crate::common;

use common::plan;
use common::simple::{Simple, float, hinge, spring};
use proptest::prelude::*;
use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, Outcome, Work, service_states};
use railtrue::input::plan::DragStates;
use railtrue::input::{Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::study::{Bracket, Effort, ToleranceBox, WorstCase, worst_case};

fn demo() -> Plan {
    read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
}

fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
}

fn worst(plan: &Plan, arrangement: usize, effort: Effort) -> WorstCase {
    worst_case(&evaluator(plan, arrangement), effort, &|| false).unwrap()
}

const THOROUGH: Effort = Effort { scouts: 256, starts: 6, branches: 20_000 };

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
        // Corners that differ by less than single precision are the same to the search.
        near(life.attained, least, 1e-6);
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
                let point = tolerance_box.random(i % 2 == 0, &mut || railtrue::draw::uniform(rng));
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

/// The demo with few stations and some parts of its text changed.
fn small(changes: &[(&str, &str)]) -> Plan {
    let text = include_str!("../examples/panel-bridge.toml");
    let few = [("stations = 21 ", "stations = 4 ")];
    plan(&crate::golden_small::changed(text, &[&few[..], changes].concat()))
}

/// A shaft that winds up and a float whose drag is the largest force in a joint count in the bounds as they do in the machine: with
/// next to nothing to err there is next to nothing between bound and attained.
#[test]
fn check_without_tolerances_the_bounds_are_what_the_machine_has() {
    let shaft = "kind = \"shaft\"\nmotor_at = \"a\"\nshaft_n_m_per_mrad = 1.5\npinion_radius_mm = 24";
    let mut plan = small(&[("kind = \"two\"", shaft), ("drag_n = 15,", "drag_n = 4000,")]);
    plan.errors.sources.iter_mut().for_each(|s| (s.lower, s.upper) = (1e-7 * s.lower, 1e-7 * s.upper));
    let w = worst(&plan, 1, Effort::QUICK);
    assert!(w.brackets.len() == 15 && w.no_bound.is_none() && !w.stops_possible);
    for b in &w.brackets {
        assert!(b.gap().unwrap() < 1e-4, "{}: {} and {:?}", b.key, b.attained, b.bound);
    }
    let joint_n = w.get("joint_force_n").unwrap().attained;
    assert!(joint_n > 4000.0 && joint_n < 6000.0, "{joint_n}");
    assert_eq!((w.branches, w.stopped_by_clock), (0, false), "no branch need be opened");
}

/// Branches are opened one by one up to so many, and the clock of the caller ends that too.
#[test]
fn check_the_search_for_the_least_life_keeps_to_its_effort() {
    let plan = small(&[]);
    let e = evaluator(&plan, 0);
    let opened = |branches: usize, stop: bool| {
        let w = worst_case(&e, Effort { scouts: 0, starts: 0, branches }, &|| stop).unwrap();
        let life = w.get("life_km").unwrap();
        assert!(life.bound.unwrap() < 0.9 * life.attained, "profiles leave a wide gap here");
        (w.branches, w.stopped_by_clock)
    };
    assert_eq!([opened(0, false), opened(3, false), opened(3, true)], [(0, false), (3, false), (0, true)]);
}

/// By hand: what a slot across takes up is the rails' span error less the bridge's, so it may come to its end where the sum of both
/// tolerances is more than it. Then loads are no longer proportional to errors, and there is no bound.
#[test]
fn ref_a_slot_that_may_come_to_its_end_leaves_no_bound() {
    let bounded = |slot_mm: f64, errors: &str| {
        let mut simple = Simple { blocks: vec![(0.0, 0.0)], errors: format!("[errors]\n{errors}"), ..Simple::default() };
        simple.joints[1][1] = format!("{{ law = \"elastic\", stiffness_n_per_um = 1e6, take_up_mm = {slot_mm:?} }}");
        let w = worst(&plan(&simple.text()), 0, Effort::QUICK);
        assert!(w.no_bound.as_ref().is_none_or(|why| why.contains("slot may come to its end")), "{:?}", w.no_bound);
        assert_eq!(w.no_bound.is_none(), w.brackets.iter().all(|b| b.bound.is_some()));
        w.no_bound.is_none()
    };
    let both = "span = { plus_minus_mm = 0.03 }\nbridge_length = { plus_minus_mm = 0.02 }\n";
    assert_eq!([0.049, 0.051].map(|slot| bounded(slot, both)), [false, true]);
    // The middle of a lopsided tolerance is taken up too: its far end is what counts. One error alone may come to the slot's end.
    for limits in ["plus_minus_mm = 0.06", "lower_mm = 0.02, upper_mm = 0.06", "lower_mm = -0.06, upper_mm = -0.02"] {
        assert_eq!([0.03, 0.059, 0.061].map(|slot| bounded(slot, &format!("span = {{ {limits} }}\n"))), [false, false, true], "{limits}");
    }
}

/// A profile moves the slot by its value where the joint is tightened. Its waves are orthogonal at the anchors and hold no offset: an
/// amplitude is at least what fills the zone alone, at most its product with a profile half a zone from the middle everywhere.
#[test]
fn cross_a_profile_uses_a_slot_by_its_waves() {
    let with = |slot_mm: f64| {
        let mut simple = Simple { blocks: vec![(0.0, 0.0)], ..Simple::default() };
        simple.errors = "[errors]\nstraightness_lateral_a = { zone_mm = 0.05 }\n[tightening]\nstation_mm = 2000\n".into();
        simple.joints[1][1] = format!("{{ law = \"elastic\", stiffness_n_per_um = 1e6, take_up_mm = {slot_mm:?} }}");
        plan(&simple.text())
    };
    let any = with(1.0);
    let machine = Machine::new(&any, 0).unwrap();
    let draws = Draws::new(&any, machine.rails());
    let waves = draws.modes();
    assert_eq!(any.frame.anchors_x_mm[4], 2000.0);
    let (mut least, mut most) = (0.0, 0.0);
    for m in 0..waves.count() {
        let unit: Vec<f64> = (0..waves.count()).map(|k| if k == m { 1.0 } else { 0.0 }).collect();
        let wave = waves.at_anchors.column(m);
        let there = 0.05 * wave[4].abs();
        least += there / waves.peak_to_valley(&unit);
        most += there * 0.5 * wave.iter().map(|v| v.abs()).sum::<f64>() / wave.norm_squared();
    }
    let bounded = |slot_mm: f64| worst(&with(slot_mm), 0, Effort::QUICK).no_bound.is_none();
    assert!(!bounded(0.99 * least) && bounded(1.01 * most), "{least} {most}");
}

/// By hand: rails that open by 0.4 mm over 4000 mm, from the middle on, move a float by 0.4 x 1500 / 4000 mm at the end of the stroke
/// and not at all where it begins.
#[test]
fn ref_a_float_is_moved_most_where_the_rails_are_farthest_apart() {
    let mut simple = Simple { errors: "[errors]\nparallelism = { plus_minus_mm = 0.4 }\n".into(), ..Simple::default() };
    simple.joints[1][1] = float(1.0, 1.0, 0.1, 300.0);
    let text = crate::golden_small::changed(&simple.text(), &[("stroke_from_mm = 500", "stroke_from_mm = 2000")]);
    for drag in [DragStates::BothSigns, DragStates::Law] {
        let mut plan = plan(&text);
        plan.study.drag = drag;
        let w = worst(&plan, 0, Effort::QUICK);
        let travel = w.get("float_travel_used").unwrap();
        near(travel.bound.unwrap(), 0.15, 1e-2);
        near(travel.attained, 0.15, 1e-2);
        assert!((travel.installation.parallelism_mm.abs() - 0.4).abs() < 1e-12);
    }
}

/// Two floats that push each other past their stops still have a bound, and nothing drawn passes it.
#[test]
fn check_two_floats_on_their_stops_have_a_bound() {
    let two = "end_b = [ { joint = \"floating\", x_mm = 100, z_mm = 60 }, { joint = \"floating\", x_mm = -100, z_mm = 60 } ]";
    let mut plan = small(&[("end_b = [ { joint = \"floating\", x_mm = 0, z_mm = 60 } ]", two)]);
    plan.errors.sources.iter_mut().for_each(|s| (s.inspected, s.lower, s.upper) = (true, s.lower * 2.0, s.upper * 2.0));
    for drag in [DragStates::BothSigns, DragStates::Law] {
        plan.study.drag = drag;
        let e = evaluator(&plan, 1);
        let w = worst_case(&e, Effort::QUICK, &|| false).unwrap();
        assert!(w.no_bound.is_none() && w.stops_possible, "{:?}", w.no_bound);
        let (draws, service) = (Draws::new(&plan, e.machine.rails()), service_states(&plan));
        let outcomes = run(0, 100, 8, Work::default, |work, _, rng| e.evaluate(&draws.draw(rng), &service, work).unwrap());
        outcomes.iter().for_each(|o| all_within(&w, o, "two floats"));
        assert!(w.get("float_travel_used").unwrap().attained > 1.0);
    }
}
