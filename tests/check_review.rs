//! A review of callouts against hand calculation, and against the limits that it must agree with.

use crate::common;

use common::plan;
use common::simple::Simple;
use railtrue::input::callouts::{Callouts, read_callouts};
use railtrue::input::{ErrorKind, Plan};
use railtrue::structure::Machine;
use railtrue::study::review::{Judgement, Review, assign, met, review, with_limits};
use railtrue::study::{Depth, Evaluator, Reach, limits};

/// 75,000 N a millimetre of span (two blocks in series); static safety 3 of 30,000 N is reached at 10,000 N a block.
const SPAN_MM: f64 = 10_000.0 / 75_000.0;
const SEED: u64 = 1;

fn springs() -> Plan {
    let uniform = "distribution = \"uniform\", inspected = true }\n";
    plan(
        &Simple {
            blocks: vec![(0.0, 0.0)],
            bridge_axial_n_per_um: 1e6,
            errors: format!("[errors]\nspan = {{ plus_minus_mm = 0.1, {uniform}bridge_length = {{ plus_minus_mm = 0.02, {uniform}"),
            requirement: "[requirement]\nlife_km = { least = 100 }\nstatic_safety = { least = 3 }\n".into(),
            ..Simple::default()
        }
        .text(),
    )
}

fn callouts(plan: &Plan, rows: &str) -> Callouts {
    let text = format!("item,controls,value,unit,form,per,made,shimmed_after,feeds\n{rows}");
    read_callouts(text.as_bytes(), "callouts.csv", &plan.frame).unwrap()
}

fn evaluator(plan: &Plan) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()
}

fn reviewed(plan: &Plan, callouts: &Callouts) -> Review {
    let assignment = assign(plan, callouts);
    let (drawn, adjusted) = (with_limits(plan, &assignment.drawn), with_limits(plan, &assignment.adjusted));
    review(assignment, callouts, &[evaluator(&drawn)], &[evaluator(&adjusted)], SEED, 4000, &|_| {}).unwrap()
}

/// Of the sum of uniform errors inside +-a and +-b the share beyond s is (a + b - s)^2 / (4 a b), both ends counted; so the
/// 95 % quantile is a + b - sqrt(0.2 a b). It is at the limit where a = x^2 with x^2 - sqrt(0.2 b) x + b - s = 0.
fn span_at_limit(b: f64) -> f64 {
    let c = (0.2 * b).sqrt();
    f64::midpoint(c, (c * c + 4.0 * (SPAN_MM - b)).sqrt()).powi(2)
}

#[test]
fn ref_headroom_of_a_callout_on_springs_by_hand() {
    let plan = springs();
    let list = callouts(&plan, "1,span,0.05,mm,plus_minus,all,machined,no,\n2,bridge length,0.02,mm,plus_minus,all,machined,no,\n");
    let r = reviewed(&plan, &list);
    let span = &r.arrangements[0].callouts[0];
    let Reach::Scale(found) = span.headroom.unwrap().reach else { panic!("{span:?}") };
    let expected = span_at_limit(0.02) / 0.05;
    // The bracket of 2 %, what stiff parts yield (2e-3), and the scatter of 1,000 draws.
    assert!((found / expected - 1.0).abs() < 0.035, "{found} against {expected}");
    assert_eq!(span.judgement, Judgement::TighterThanItPays);
    assert!(met(&r.drawn, 0) && r.arrangements[0].tighten.is_none());
    assert!(r.arrangements[0].relax.as_ref().unwrap().1 > 1.0);
    // The span's limits are 2.5 times the length's, and both load the same springs.
    assert!(span.shares[0] > 0.7 && span.shares[0] > r.arrangements[0].callouts[1].shares[0]);
}

#[test]
fn check_headroom_is_the_limit_over_what_is_drawn() {
    let plan = springs();
    let list = callouts(&plan, "1,span,0.07,mm,plus_minus,all,machined,no,\n2,bridge length,0.03,mm,plus_minus,all,machined,no,\n");
    let r = reviewed(&plan, &list);
    let drawn = with_limits(&plan, &r.assignment.drawn);
    let found = limits(&[evaluator(&drawn)], Depth::for_plan(&drawn), SEED, &|| {}).unwrap().arrangements.remove(0);
    for (callout, source) in r.arrangements[0].callouts.iter().zip(&found.sources) {
        let (a, b) = (callout.headroom.unwrap(), source.among.quantile);
        assert_eq!((a.reach, a.sure, a.possible, a.stopped_by), (b.reach, b.sure, b.possible, b.stopped_by));
    }
}

#[test]
fn ref_too_loose_a_callout_is_named_with_how_much_and_adjustment_takes_it_out() {
    let plan = springs();
    let list = callouts(&plan, "1,span,0.2,mm,plus_minus,all,welded,yes,\n2,bridge length,0.02,mm,plus_minus,all,machined,no,\n");
    let r = reviewed(&plan, &list);
    let a = &r.arrangements[0];
    assert!(!met(&r.drawn, 0), "0.95 of 0.2 mm is beyond 0.133 mm");
    assert!(met(&r.adjusted, 0), "set to the plan's 0.1 mm it holds");
    assert_eq!(a.callouts[0].judgement, Judgement::TooLoose);
    // No length of the bridge helps: the span alone is beyond.
    assert_eq!((a.callouts[1].headroom.unwrap().reach, a.callouts[1].judgement), (Reach::Never, Judgement::OthersFirst));
    let (item, scale) = a.tighten.unwrap();
    let expected = span_at_limit(0.02) / 0.2;
    // The sure end lies below by the scatter of the quantile.
    assert!(item == 0 && scale < 1.01 * expected && scale > 0.93 * expected, "{scale} against {expected}");
}

#[test]
fn check_what_does_not_fit_is_found() {
    let plan = springs();
    let found = |rows: &str| assign(&plan, &callouts(&plan, rows)).findings.into_iter().map(|f| f.what).collect::<Vec<_>>();
    assert_eq!(found("1,span,0.05,,,,,,\n"), ["no callout controls this error"]);
    let both = "1,span,0.05,,,,,,\n2,bridge length,0.02,,,,,,\n";
    assert!(found(both).is_empty());
    assert_eq!(found(&format!("{both}3,pad flatness,0.1,,,,,,\n")), ["this callout controls nothing that is counted"]);
    assert_eq!(found(&format!("{both}3,span,0.07,,,,,,\n"))[0], "two callouts contradict");
    assert!(found(&format!("{both}3,temperature,20,,,,,,\n")).is_empty());
    assert_eq!(found(&format!("{both}3,temperature,25,,,,,,\n")), ["the drawing's temperature is not the plan's"]);
    // ISO 13920-B gives +-2 mm over 1000 to 2000 mm, far above the planned 0.02 mm.
    assert_eq!(found("1,span,0.05,,,,,,\n2,general,ISO 13920-B,,,,,,\n"), ["the general tolerance is wider than the plan assumes"]);
}

#[test]
fn check_the_widest_of_contradicting_callouts_counts_and_a_mapping_can_be_overridden() {
    let plan = springs();
    let limits = |rows: &str| assign(&plan, &callouts(&plan, rows)).drawn.iter().map(|s| s.upper).collect::<Vec<_>>();
    assert_eq!(limits("1,span,0.05,,,,,,\n2,span,0.07,,,,,,\n"), [0.07, 0.02]);
    assert_eq!(limits("1,span,0.05,,,,,,bridge_length\n"), [0.1, 0.05]);
    // The width of a zone about the nominal is twice the limit; a decimal comma is read in a file of semicolons.
    let zone = read_callouts("item;controls;value;form\r\n1;span;0,08;zone\r\n".as_bytes(), "c.csv", &plan.frame).unwrap();
    assert_eq!(assign(&plan, &zone).drawn[0].upper, 0.04);
    assert_eq!(plan.errors.get(ErrorKind::Span).unwrap().upper, 0.1);
}

/// The machine of springs with other errors.
fn with_errors(errors: &str) -> Plan {
    plan(&Simple { errors: format!("[errors]\n{errors}"), ..Simple::default() }.text())
}

/// ISO 2768-f allows +-0.5 mm over 1000 to 2000 mm: what is planned as wide or wider needs no callout of its own.
#[test]
fn check_a_general_tolerance_is_a_finding_only_where_it_is_wider_than_planned() {
    for (planned_mm, wider) in [(0.4, true), (0.499, true), (0.5, false), (0.6, false), (0.9, false)] {
        let plan = with_errors(&format!("span = {{ plus_minus_mm = {planned_mm:?} }}\n"));
        let assignment = assign(&plan, &callouts(&plan, "1,general,ISO 2768-f,,,,,,\n"));
        let found: Vec<&str> = assignment.findings.iter().map(|f| f.what.as_str()).collect();
        assert_eq!(found, if wider { vec!["the general tolerance is wider than the plan assumes"] } else { vec![] }, "{planned_mm}");
        assert_eq!((assignment.drawn[0].lower, assignment.drawn[0].upper), (-0.5, 0.5));
    }
}

/// What the drawing allows and how it is adjusted afterwards: only what is narrower takes its place.
#[test]
fn check_setting_takes_an_error_down_to_the_plan_and_never_up_to_it() {
    let adjusted = |errors: &str, rows: &str| {
        let plan = with_errors(errors);
        let one = assign(&plan, &callouts(&plan, rows)).adjusted[0];
        (one.lower, one.upper)
    };
    let planned = "span = { lower_mm = 0.0, upper_mm = 0.2 }\n";
    assert_eq!(adjusted(planned, "1,span,0.5,,,,,yes,\n"), (0.0, 0.2), "set to what is planned");
    assert_eq!(adjusted(planned, "1,span,0.5,,,,,no,\n"), (-0.5, 0.5), "left as it is made");
    assert_eq!(adjusted(planned, "1,span,0.05,,,,,yes,\n"), (-0.05, 0.05), "made closer than planned");
    // As wide as planned, but about nominal: there is nothing to gain by setting it.
    assert_eq!(adjusted(planned, "1,span,0.1,,,,,yes,\n"), (-0.1, 0.1));
}
