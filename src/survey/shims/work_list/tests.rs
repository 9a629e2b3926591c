//! Limits that are aimed at, what a list is worth, what stops it and when it is proved.

use super::*;
use crate::geometry::Rails;
use crate::input::read_plan;
use crate::input::survey::read_survey;
use crate::survey::checks::decide;
use crate::survey::evaluate_survey;

const HEAD: &str = "# u_point_mm = 0.002\n# frame_c = 20\n# bridge = off\nrail,station,lateral,vertical\n";

fn plan(changes: &[(ErrorKind, f64)]) -> Plan {
    let mut plan = read_plan(include_str!("../../../../examples/panel-bridge.toml"), "plan.toml").unwrap();
    for (kind, limit) in changes {
        let source = plan.errors.sources.iter_mut().find(|s| s.kind == *kind).unwrap();
        (source.lower, source.upper) = (if kind.is_profile() { 0.0 } else { -limit }, *limit);
    }
    plan
}

/// The same on six pads.
fn few_pads(changes: &[(ErrorKind, f64)]) -> Plan {
    let mut plan = plan(changes);
    plan.frame.anchors_x_mm = (0..6).map(|i| 1300.0 * f64::from(i)).collect();
    plan
}

/// Rails that are straight in height, read at every pad.
fn read(plan: &Plan, lateral: impl Fn(usize, usize) -> f64) -> Measured {
    let pads = plan.frame.anchors_x_mm.iter().enumerate();
    let rows = [A, B].into_iter().flat_map(|rail| pads.clone().map(move |(i, x)| (rail, i, *x)));
    let text = rows.fold(HEAD.to_string(), |t, (rail, i, x)| t + &format!("{},{x},{},0\n", SIDES[rail], lateral(rail, i)));
    let survey = read_survey(text.as_bytes(), "survey.csv", plan, &[], &[]).unwrap();
    evaluate_survey(plan, &Rails::new(plan).unwrap(), &survey).unwrap().measured
}

fn check(key: &'static str, uncertainty: f64) -> Check {
    let decision = decide(0.0, uncertainty, None, 1.0);
    Check {
        key,
        label: key,
        unit: "mm",
        value: 0.0,
        minimum_zone: None,
        interval: None,
        as_read: None,
        uncertainty,
        lower: None,
        upper: 1.0,
        decision,
    }
}

/// Room is the limit less the guard band (1.645 u) less half a step across; zones likewise, 3 % less, a whole step.
#[test]
fn check_limits_that_are_aimed_at_by_hand() {
    let plan = plan(&[(ErrorKind::Height, 0.4), (ErrorKind::StraightnessLateral(A), 0.8), (ErrorKind::StraightnessVertical(B), 1.2)]);
    let known = [check("span", 0.05), check("parallelism", 0.1), check("height", 0.3), check("straightness_lateral_a", 0.02)];
    let moves: Moves = std::array::from_fn(|_| std::array::from_fn(|_| vec![0.0; 14]));
    let rails = read(&plan, |rail, i| if (rail, i) == (B, 3) { 0.3 } else { 0.0 });
    let of = |direction: usize, tightened: f64| task(&plan, &rails, &known, direction, tightened, 0.02, (-9, 9), 0.25, &moves);
    let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-9, "{found} against {expected}");
    for share in [1.0, 0.6] {
        let across = of(LATERAL, share);
        assert_eq!(across.bounds.iter().map(|b| b.factors).collect::<Vec<_>>(), [[-1.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 1.0]]);
        for (bound, u) in across.bounds.iter().zip([0.05, 0.1]) {
            near(bound.high, (1.0 - GUARD * u - 0.01) * share);
            near(bound.low, -bound.high);
        }
        near(across.zones[A], (0.97 * 0.8 - GUARD * 0.02 - 0.02) * share);
        // A step of 0.3 mm as it stands may be taken out, and one step more.
        assert!((across.largest_step - 0.32).abs() < 5e-3, "{}", across.largest_step);
        // What the uncertainty eats up is aimed at by half; heights come in whole steps, so that nothing is rounded.
        let up = of(VERTICAL, share);
        assert_eq!(up.bounds.len(), 1);
        near(up.bounds[0].high, 0.2 * share);
        near(up.zones[B], 0.97 * 1.2 * share);
        near(up.largest_step, 0.25);
    }
    // The crest of a wave of height z and pi correlation lengths l lies z/2 (1 - cos(2 x 500 mm / l)) over its neighbours' mean.
    let turn = 1000.0 / plan.frame.correlation_length_mm;
    for (task, rail) in [(of(LATERAL, 1.0), A), (of(VERTICAL, 1.0), B)] {
        let crest = task.zones[rail] / 2.0 * (1.0 - turn.cos());
        assert!((task.bend[rail] / crest - 1.0).abs() < 0.03, "{} against {crest}", task.bend[rail]);
    }
    let mut bare = plan.clone();
    bare.errors.sources.retain(|s| !s.kind.is_profile());
    let free = task(&bare, &rails, &known, VERTICAL, 1.0, 0.05, (0, 9), 0.25, &moves);
    assert!(free.zones[A] > 10.0, "without a straightness limit a rail may be as crooked as it likes: {}", free.zones[A]);
}

/// A life that is reached goes before limits that are kept; of what is reached beyond all that is asked for nothing counts.
#[test]
fn check_what_a_list_is_worth() {
    let rising =
        [score(false, 0, 0.0), score(true, 0, 0.0), score(false, 0, 0.6), score(true, 0, 0.4), score(false, 0, 1.0), score(true, 0, 1.0)];
    assert!(rising.is_sorted_by(|a, b| a + 0.02 < *b), "{rising:?}");
    assert_eq!([score(false, 0, 3.0), score(true, 0, 3.0)], [score(false, 0, 1.0), score(true, 0, 1.0)]);
    // A list that mends a limit goes before one that gains a tenth of the requirement.
    assert!(score(false, 0, 0.9) > score(false, 1, 1.0));
    // The limits are worth half of all requirements.
    assert_eq!([score(true, 0, 0.0), score(false, 0, 0.5)], [1.0; 2]);
}

#[test]
fn check_the_steepest_step_is_between_neighbours_wherever_the_rail_stands() {
    let pads = |values: &[f64]| values.iter().map(|&value| Pad { s: 0.0, value, steps: (0, 0), cost: 1.0 }).collect::<Vec<_>>();
    assert!((steepest(&[pads(&[5.0, 5.1, 4.8]), pads(&[-7.0, -6.9])]) - 0.3).abs() < 1e-9);
    assert!((steepest(&[pads(&[5.0, 5.1]), pads(&[-7.0, -7.4, -7.3])]) - 0.4).abs() < 1e-9);
    assert_eq!(steepest(&[pads(&[5.0]), pads(&[])]), 0.0);
}

#[test]
fn check_each_direction_names_what_holds_it() {
    let words = [LATERAL, VERTICAL, ROLL].map(what_holds);
    for (said, word) in words.iter().zip(["correction.slot_mm", "no pad may be shimmed", "correction.taper_most_mrad"]) {
        assert!(said.contains(word), "{said}");
    }
}

/// A hump of 0.9 mm between straight neighbours is more than its zone of 0.5: it is taken out, and nothing stops that.
#[test]
fn check_a_list_that_keeps_all_limits_is_stopped_by_nothing() {
    let plan = few_pads(&[(ErrorKind::StraightnessLateral(A), 0.5), (ErrorKind::StraightnessLateral(B), 0.5)]);
    let measured = read(&plan, |rail, i| if (rail, i) == (B, 2) { 0.9 } else { 0.0 });
    let (moves, _, stopped) = moves(&plan, &measured, &[], 1.0);
    assert!(moves[LATERAL][B][2] < -0.3 && moves[LATERAL][A].iter().all(|m| *m == 0.0), "{moves:?}");
    assert_eq!(stopped.iter().filter(|(d, _)| *d != ROLL).count(), 0, "{stopped:?}");
}

/// The distance between the rails does not say which of them is out, so that no pad is moved for it.
#[test]
fn check_gauge_alone_moves_nothing_and_is_told() {
    let plan = few_pads(&[(ErrorKind::Span, 0.5)]);
    let head = "# u_gauge_mm = 0.002\n# frame_c = 20\n# bridge = off\nstation,gauge\n".to_string();
    let wide = plan.frame.span_mm + 1.5;
    let text = plan.frame.anchors_x_mm.iter().fold(head, |t, x| t + &format!("{x},{wide}\n"));
    let survey = read_survey(text.as_bytes(), "survey.csv", &plan, &[], &[]).unwrap();
    let measured = evaluate_survey(&plan, &Rails::new(&plan).unwrap(), &survey).unwrap().measured;
    let (moves, _, stopped) = moves(&plan, &measured, &[], 1.0);
    assert!(moves.iter().flatten().flatten().all(|m| *m == 0.0));
    assert_eq!(stopped.len(), 1);
    assert!(stopped[0].0 == LATERAL && stopped[0].1.contains("gauge and height alone"), "{stopped:?}");
}

/// 28 pads that are each out for themselves are more than the search can prove in its time; that heights need nothing at all is
/// proved at once, and does not make up for it.
#[test]
fn check_a_list_is_only_proved_where_each_direction_is() {
    let plan = plan(&[(ErrorKind::StraightnessLateral(A), 0.3), (ErrorKind::StraightnessLateral(B), 0.3), (ErrorKind::Span, 0.3)]);
    let rough = read(&plan, |rail, i| f64::from((i as u32 * 7919 + rail as u32 * 104_729) % 1009) / 1009.0);
    assert!(!moves(&plan, &rough, &[], 1.0).1);
    assert!(moves(&plan, &read(&plan, |_, _| 0.0), &[], 1.0).1);
}
