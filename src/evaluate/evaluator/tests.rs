//! The evaluator at a few stations: against the machine's own answer, and by hand.

use super::*;
use crate::input::plan::{Level, Thermal};
use crate::input::read_plan;
use crate::structure::Situation;

/// The demo at two stations, changed.
fn demo(changes: &[(&str, &str)]) -> Plan {
    let mut text = include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    read_plan(&text, "panel-bridge.toml").unwrap()
}

fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
}

/// Rails too far apart, one block out of its place, a tilted seat: no two blocks carry alike.
fn crooked(plan: &Plan, by: f64) -> Installation {
    let mut to = Installation { span_mm: 0.4 * by, height_mm: -0.3 * by, ..Installation::perfect(plan) };
    to.block_offset_mm[1][2] = [0.01 * by, -0.02 * by];
    to.seats[0][0][1] = 0.05 * by;
    to
}

fn heated(skew_mm: f64) -> ServiceState {
    ServiceState { skew_mm, ..ServiceState::stated(Thermal { bridge_dt_k: 6.0, frame_dt_k: 4.0, ..Thermal::default() }) }
}

/// Against the machine's own answer in every situation, which is found by another way: the whole pose by a search that knows nothing of
/// what is prepared ahead. Springs and contacts, floats with full drag both ways.
#[test]
fn check_the_largest_of_everything_is_that_of_the_machine_in_its_situations() {
    for (level, near) in [(Level::Linear, 1e-9), (Level::Contact, 1e-6)] {
        let mut plan = demo(&[]);
        plan.block.level = level;
        let e = evaluator(&plan, 1);
        let state = heated(0.12);
        let installation = crooked(&plan, 1.0);
        let mut work = Work::default();
        let outcome = e.evaluate(&installation, std::slice::from_ref(&state), &mut work).unwrap();
        let (blocks, none) = (plan.block_count(), TakenUp::default());
        let answer = |installation: &Installation, x_mm: f64, case: usize, drag: Drag, state: &ServiceState| {
            let at = Situation { station_x_mm: x_mm, case, thermal: state.thermal, skew_mm: state.skew_mm, drag };
            e.machine.respond(installation, &none, &at).unwrap()
        };
        let (mut peaks, mut perfect_peaks) = (vec![0.0_f64; blocks], vec![0.0_f64; blocks]);
        let (mut stroke, mut static_n, mut pull_n, mut joint_n, mut way_mm) = (Vec::new(), 0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
        for &x_mm in &plan.frame.stations_x_mm {
            let mut at_station = 0.0_f64;
            for case in 0..plan.duty.len() {
                for drag in [Drag::Plus, Drag::Minus] {
                    let found = answer(&installation, x_mm, case, drag, &state);
                    let perfect = answer(&Installation::perfect(&plan), x_mm, case, drag, &ServiceState::still());
                    for b in 0..blocks {
                        let p = EquivalentLoad::of(&plan.block, &found.block_loads[b]);
                        (peaks[b], at_station) = (peaks[b].max(p.dynamic_n), at_station.max(p.dynamic_n));
                        (static_n, pull_n) = (static_n.max(p.static_n), pull_n.max(found.block_loads[b][1]));
                        perfect_peaks[b] = perfect_peaks[b].max(EquivalentLoad::of(&plan.block, &perfect.block_loads[b]).dynamic_n);
                    }
                    for (end, number) in [(0, 0), (0, 1), (1, 0)] {
                        let own = found.joints.iter().filter(|j| (j.end, j.number) == (end, number) && j.axis < 3);
                        joint_n = joint_n.max(own.map(|j| j.force * j.force).sum::<f64>().sqrt());
                    }
                    let way = (0..3).map(|i| (found.tool[i] - perfect.tool[i]).powi(2)).sum::<f64>().sqrt();
                    way_mm = way_mm.max(way);
                }
            }
            stroke.push(at_station);
        }
        let close = |what: &str, found: f64, expected: f64| {
            assert!((found / expected - 1.0).abs() < near, "{level:?} {what}: {found} against {expected}");
        };
        stroke.iter().zip(&work.stroke_peak_n).for_each(|(expected, found)| close("stroke", *found, *expected));
        peaks.iter().zip(&work.blocks).for_each(|(expected, found)| close("block", found.peak_load_n, *expected));
        close("peak", outcome.peak_load_n, peaks.iter().copied().fold(0.0, f64::max));
        let extra = peaks.iter().zip(&perfect_peaks).map(|(p, perfect)| p - perfect).fold(f64::NEG_INFINITY, f64::max);
        close("extra", outcome.extra_load_n, extra);
        close("safety", outcome.static_safety, plan.block.c0_n / static_n);
        close("pull", outcome.pull_n, pull_n);
        close("joint", outcome.joint_force_n, joint_n);
        close("tool", outcome.tool_displacement_mm, way_mm);
    }
}

/// What is prepared for several side by side, or left over from more of them, changes none.
#[test]
fn check_side_by_side_each_is_what_it_is_alone() {
    let plan = demo(&[]);
    for arrangement in 0..2 {
        let e = evaluator(&plan, arrangement);
        let service = [heated(0.1), heated(-0.1)];
        let list: Vec<Installation> = [1.0, -0.7, 0.4].map(|by| crooked(&plan, by)).into();
        let alone: Vec<Outcome> = list.iter().map(|i| e.evaluate(i, &service, &mut Work::default()).unwrap()).collect();
        let mut works = Vec::new();
        assert_eq!(e.evaluate_side_by_side(&list, &service, &mut works).unwrap(), alone);
        assert_eq!(e.evaluate_side_by_side(&list[1..2], &service, &mut works).unwrap(), alone[1..2]);
        assert_eq!(e.evaluate_side_by_side(&[], &service, &mut works).unwrap(), []);
    }
}

/// The perfect tool point of a load case and state of the drag does not depend on what other cases a plan has; against it nothing is
/// displaced in the perfect installation.
#[test]
fn check_the_perfect_tool_point_of_a_case_is_what_it_is_with_that_case_alone() {
    let plan = demo(&[]);
    let e = evaluator(&plan, 1);
    assert_eq!((e.drags(), e.perfect().tool_displacement_mm), (vec![Drag::Plus, Drag::Minus], 0.0));
    let mut seen = Vec::new();
    for case in 0..plan.duty.len() {
        let mut one = plan.clone();
        one.duty = vec![plan.duty[case].clone()];
        let alone = evaluator(&one, 1);
        for station in 0..2 {
            for drag in 0..2 {
                let (found, expected) = (e.perfect_tool(station, case, drag), alone.perfect_tool(station, 0, drag));
                assert!((0..4).all(|i| (found[i] - expected[i]).abs() < 1e-12), "{station} {case} {drag}: {found:?} {expected:?}");
                seen.push(found[2]);
            }
        }
    }
    // Cases 1 and 3 carry the same in the same place and differ along x alone.
    seen.sort_by(f64::total_cmp);
    seen.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    assert!(seen.len() >= 3, "{seen:?}");
}

/// By hand, with 3 mm of travel and 15 N of drag at 2,000 N/mm: it slides from 0.0075 mm on and is on its stop beyond 3 mm.
#[test]
fn ref_the_first_station_at_a_stop_and_the_largest_share_of_the_travel() {
    let plan = demo(&[("drag = \"both_signs\"", "drag = \"law\"")]);
    let e = evaluator(&plan, 1);
    let (mut outcome, mut slid) = (Outcome::start(), [false]);
    let mut note = |x_mm: f64, d: f64, used: f64| {
        e.note_floats(&e.maps[0], &[d], x_mm, &mut outcome, &mut slid);
        assert!((outcome.float_travel_used - used).abs() < 1e-12, "{} not {used}", outcome.float_travel_used);
        (outcome.stop_from_x_mm, slid[0])
    };
    assert_eq!(note(100.0, 0.006, 0.002), (None, false));
    assert_eq!(note(200.0, -0.009, 0.003), (None, true));
    assert_eq!(note(900.0, -3.3, 1.1), (Some(900.0), true));
    assert_eq!(note(400.0, 3.6, 1.2), (Some(400.0), true));
    assert_eq!(note(1700.0, 4.5, 1.5), (Some(400.0), true));
    assert_eq!(note(50.0, 3.0, 1.5), (Some(400.0), true));
}

/// A float whose drag nothing overcomes sticks, by the drag's law; where full drag is set both ways nothing is said of that.
#[test]
fn check_a_float_sticks_by_the_law_alone() {
    let law = ("drag = \"both_signs\"", "drag = \"law\"");
    let (firm, loose) = (("drag_n = 15", "drag_n = 90000"), ("drag_n = 15", "drag_n = 0.001"));
    for (changes, sticks, drags) in [
        (vec![law, firm], true, true),
        (vec![law, loose], false, true),
        (vec![firm], false, true),
        (vec![("drag_n = 15", "drag_n = 0")], false, false),
    ] {
        let plan = demo(&changes);
        let e = evaluator(&plan, 1);
        let outcome = e.evaluate(&crooked(&plan, 1.0), &[heated(0.0)], &mut Work::default()).unwrap();
        assert_eq!((outcome.float_sticks, e.has_floats_with_drag()), (sticks, drags), "{changes:?}");
        assert!(!evaluator(&plan, 0).has_floats_with_drag());
    }
}

/// Each load case, state of service and state of the drag has contacts of its own to start from at the next station.
#[test]
fn check_contacts_are_carried_in_each_situation_by_itself() {
    let mut plan = demo(&[]);
    let service = [heated(0.1), heated(-0.1)];
    let mut work = Work::default();
    let e = evaluator(&plan, 1);
    e.evaluate(&crooked(&plan, 1.0), &service, &mut work).unwrap();
    assert_eq!(work.newton_steps(), 0);
    plan.block.level = Level::Contact;
    let e = evaluator(&plan, 1);
    e.evaluate(&crooked(&plan, 1.0), &service, &mut work).unwrap();
    let steps: Vec<usize> = work.carried.iter().map(|c| c.steps).collect();
    // Two states, four cases, two signs of the drag; at two stations each.
    assert!(steps.len() == 16 && steps.iter().all(|s| *s >= 2), "{steps:?}");
    assert_eq!(work.newton_steps(), steps.iter().sum::<usize>());
}
