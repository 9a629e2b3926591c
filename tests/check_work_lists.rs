//! Which work list is taken: limits and requirements together, the slots' ends, rails that were not read.

use std::cell::Cell;

use railtrue::evaluate::{Evaluator, Work, service_states};
use railtrue::geometry::Rails;
use railtrue::input::plan::{Measure, Requirement};
use railtrue::input::survey::read_survey;
use railtrue::input::{ErrorKind, Installation, Plan};
use railtrue::study::Status;
use railtrue::survey::shims::{Correction, correct_rails};
use railtrue::survey::{Check, Conformity, LATERAL, Measured, VERTICAL, checks, evaluate_survey, predict};

use crate::golden_small::evaluators;
use crate::golden_surveys::few_pads;

const DRAWS: (u64, u64) = (8, 3);

/// Six pads, both ends bolted without slots, so that every error between the rails loads the blocks; nothing but the rails is out.
fn stiff(life_km: f64) -> Plan {
    let mut plan = few_pads("slot_mm = 3\nlateral_step_mm = 0.02\n");
    plan.chosen = plan.arrangements.iter().position(|a| a.name == "stiff").unwrap();
    for joint in plan.arrangements[plan.chosen].ends.iter_mut().flatten() {
        joint.components.iter_mut().for_each(|c| c.take_up = 0.0);
    }
    let kept = |k: ErrorKind| k.is_profile() || matches!(k, ErrorKind::Span | ErrorKind::Parallelism);
    plan.errors.sources.retain(|s| kept(s.kind));
    plan.requirements = vec![Requirement { measure: Measure::Life, limit: life_km, quantile: 0.5, confidence: 0.9 }];
    plan
}

/// Deviation across of a rail at its pads, so far as the rail was read.
type Across<'a> = &'a dyn Fn(usize, usize) -> Option<f64>;

/// Lines of all pads that were read; `cells` are told the rail's name and station, and the pad.
fn text_of(plan: &Plan, columns: &str, cells: &dyn Fn(&str, usize) -> Option<String>) -> String {
    let mut text = format!("# u_point_mm = 0.001\n# frame_c = 20\n# u_temperature_k = 0\n# bridge = off\n{columns}\n");
    for rail in ["A", "B"] {
        for (i, x) in plan.frame.anchors_x_mm.iter().enumerate() {
            text.extend(cells(&format!("{rail},{x}"), i).map(|line| line + "\n"));
        }
    }
    text
}

fn surveyed(plan: &Plan, text: &str) -> Measured {
    let survey = read_survey(text.as_bytes(), "survey.csv", plan, &[], &[]).unwrap_or_else(|p| panic!("{p}"));
    evaluate_survey(plan, &Rails::new(plan).unwrap(), &survey).unwrap().measured
}

/// Rails that are straight in height.
fn read(plan: &Plan, across: Across<'_>) -> Measured {
    let line = |at: &str, i: usize| across(usize::from(at.starts_with('B')), i).map(|v| format!("{at},{v},0"));
    surveyed(plan, &text_of(plan, "rail,station,lateral,vertical", &line))
}

fn wide(by_mm: f64) -> impl Fn(usize, usize) -> Option<f64> {
    move |rail, _| Some(if rail == 1 { by_mm } else { 0.0 })
}

/// The limits of rails.
type Recheck<'a> = &'a dyn Fn(&Measured) -> Vec<Check>;

/// The list, where limits are checked by `recheck` instead of the plan's if there is one.
fn list(plan: &Plan, measured: &Measured, recheck: Option<Recheck<'_>>) -> Option<Correction> {
    let rails = Rails::new(plan).unwrap();
    let evaluators = evaluators(plan);
    let chosen: Vec<&Evaluator<'_>> = evaluators.iter().collect();
    let own = |m: &Measured| checks(plan, &rails, m, 3);
    let before = predict(plan, &chosen, measured, DRAWS.0, DRAWS.1).unwrap();
    correct_rails(plan, &evaluators, measured, &own(measured), &before, recheck.unwrap_or(&own), DRAWS).unwrap()
}

/// Life of the plan's machine on rails that are wider apart by so much and perfect besides.
fn life_km(plan: &Plan, span_mm: f64) -> f64 {
    let evaluators = evaluators(plan);
    let installation = Installation { span_mm, ..Installation::perfect(plan) };
    evaluators[plan.chosen].evaluate(&installation, &service_states(plan), &mut Work::default()).unwrap().life_km
}

fn span_after(correction: &Correction, plan: &Plan) -> f64 {
    correction.after.mean(Installation::perfect(plan)).span_mm
}

#[test]
fn check_nothing_is_done_only_where_limits_and_requirements_are_both_kept() {
    let easy = stiff(1.0);
    assert!(list(&easy, &read(&easy, &wide(0.3)), None).is_none());
    // A limit is out: a list brings it back, and all is met.
    let found = list(&easy, &read(&easy, &wide(1.5)), None).unwrap();
    assert!(found.meets_all && found.tightened == 1.0 && found.stopped_by.is_empty(), "{:?}", found.stopped_by);
    assert!(span_after(&found, &easy) <= 1.0 && !found.items.is_empty());
    // The same where every machine must reach the life, and every drawn one does.
    let mut every = easy.clone();
    every.requirements[0].quantile = 1.0;
    let found = list(&every, &read(&every, &wide(1.5)), None).unwrap();
    assert_eq!((found.meets_all, found.tightened), (true, 1.0));
    // The limits are kept, but no rails give such a life: that is said, and it lies in something else. Of equal lists the first.
    let hard = stiff(1e12);
    let found = list(&hard, &read(&hard, &wide(0.3)), None).unwrap();
    assert!(!found.meets_all && found.tightened == 1.0 && found.items.is_empty(), "{:?}", found.items);
    let said = |measured: &Measured| list(&hard, measured, None).unwrap().stopped_by.join(" ");
    assert!(found.stopped_by[0].contains("not met even with straighter rails"), "{:?}", found.stopped_by);
    let half = |rail: usize, _: usize| (rail == 0).then_some(0.0);
    assert!(said(&read(&hard, &half)).contains("not met even with straighter rails"));
    // Rails of which nothing is known across cannot be set.
    let heights = text_of(&hard, "rail,station,vertical", &|rail, _| Some(format!("{rail},0")));
    assert!(said(&surveyed(&hard, &heights)).contains("a rail that was not read"));
}

/// What was met before and is not met after a list that keeps the limits: whole shims make rails rougher.
#[test]
fn check_what_a_list_would_spoil_is_said() {
    let plan = stiff(1e12);
    let rails = Rails::new(&plan).unwrap();
    let evaluators = evaluators(&plan);
    let chosen: Vec<&Evaluator<'_>> = evaluators.iter().collect();
    let measured = read(&plan, &wide(1.5));
    let recheck = |m: &Measured| checks(&plan, &rails, m, 3);
    let mut before = predict(&plan, &chosen, &measured, DRAWS.0, DRAWS.1).unwrap();
    before.iter_mut().flat_map(|p| &mut p.verdicts).for_each(|v| v.status = Status::Met);
    let found = correct_rails(&plan, &evaluators, &measured, &recheck(&measured), &before, &recheck, DRAWS).unwrap().unwrap();
    assert!(!found.meets_all && found.stopped_by[0].contains("cannot both be met with these shims"), "{:?}", found.stopped_by);
}

#[test]
fn check_limits_are_tightened_until_the_life_is_reached() {
    // The span's limit alone leaves 1.0 mm, six tenths of it 0.6; the life that is asked for stands at 0.8.
    let lives = [1.0, 0.8, 0.6].map(|span| life_km(&stiff(1.0), span));
    assert!(lives[0] < 0.9 * lives[1] && lives[1] < 0.9 * lives[2], "{lives:?}");
    let mut plan = stiff(lives[1]);
    plan.requirements[0].quantile = 1.0;
    let measured = read(&plan, &wide(1.5));
    let found = list(&plan, &measured, None).unwrap();
    assert_eq!((found.tightened, found.meets_all), (0.6, true), "{:?}", found.stopped_by);
    let span = span_after(&found, &plan);
    assert!(span > 0.4 && span <= 0.6, "{span}");
    // The life counts more than the limits: the second list is taken although it is said to leave them, the first to keep them.
    let kept = checks(&plan, &Rails::new(&plan).unwrap(), &found.after, 3);
    let mut left = kept.clone();
    left[0].decision.verdict = Conformity::Fail;
    let call = |kept_at: usize| {
        let calls = Cell::new(0);
        let (kept, left) = (kept.clone(), left.clone());
        move |_: &Measured| {
            calls.set(calls.get() + 1);
            if calls.get() == kept_at { kept.clone() } else { left.clone() }
        }
    };
    let found = list(&plan, &measured, Some(&call(1))).unwrap();
    assert_eq!((found.tightened, found.meets_all), (0.6, false));
    assert!(found.stopped_by[0].contains("span"), "{:?}", found.stopped_by);
    // Where no list reaches the life, the first one that keeps the limits is taken.
    let plan = stiff(1e12);
    for (kept_at, tightened) in [(1, 1.0), (2, 0.6), (4, 0.2)] {
        assert_eq!(list(&plan, &measured, Some(&call(kept_at))).unwrap().tightened, tightened);
    }
}

#[test]
fn check_pads_are_moved_to_the_ends_of_their_slots_and_not_beyond() {
    let mut plan = stiff(1.0);
    let span = plan.errors.sources.iter_mut().find(|s| s.kind == ErrorKind::Span).unwrap();
    (span.lower, span.upper) = (-0.2, 0.2);
    (plan.site.correction.slot_mm, plan.site.correction.lateral_step_mm) = (0.15, 0.05);
    // 0.15 on each rail is the most, and 0.45 - 0.30 the only span that is left inside 0.2 less half a step.
    let found = list(&plan, &read(&plan, &wide(0.45)), None).unwrap();
    assert!(found.meets_all, "{:?}", found.stopped_by);
    assert!(found.items.iter().any(|i| i.lateral_mm.abs() > 0.149) && found.items.iter().all(|i| i.lateral_mm.abs() < 0.151));
    // 0.5 cannot be taken out: the pads are at their ends, and that is said.
    let found = list(&plan, &read(&plan, &wide(0.55)), None).unwrap();
    assert!(!found.meets_all && found.stopped_by[0].contains("12 pads are at the end of their slots"), "{:?}", found.stopped_by);
}

#[test]
fn check_one_rail_alone_is_straightened_and_the_other_is_left() {
    let plan = stiff(1.0);
    let kinked = |rail: usize, i: usize| (rail == 1).then_some(if i == 2 { 0.6 } else { 0.0 });
    let measured = read(&plan, &kinked);
    assert_eq!([LATERAL, VERTICAL].map(|d| measured.read[d]), [[false, true]; 2]);
    let found = list(&plan, &measured, None).unwrap();
    assert!(found.items.iter().all(|i| i.rail == 1) && found.items.iter().any(|i| i.pad == 3 && i.lateral_mm < -0.3), "{:?}", found.items);
    assert!(found.stopped_by.iter().all(|s| !s.contains("gauge and height alone")), "{:?}", found.stopped_by);
}
