//! A review of callouts against hand calculation, and against the limits that it must agree with.

use crate::common;

use common::plan;
use common::simple::Simple;
use railtrue::evaluate::Evaluator;
use railtrue::input::callouts::{Callouts, read_callouts};
use railtrue::input::{ErrorKind, Plan};
use railtrue::present::{review_findings, review_text};
use railtrue::structure::Machine;
use railtrue::study::review::{
    Adjustment, Assignment, Control, Judgement, Level, Misfit, Refusal, Review, ReviewVerdict, assign, depth, met, review, verdict,
    with_limits,
};
use railtrue::study::{Length, Reach, limits, monte_carlo};
use std::collections::HashMap;

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
    assert!(r.arrangements[0].relax.as_ref().unwrap().1.iter().all(|s| s.upper > 0.05 || s.kind == ErrorKind::BridgeLength));
    // The span's limits are 2.5 times the length's, and both load the same springs.
    assert!(span.shares[0] > 0.7 && span.shares[0] > r.arrangements[0].callouts[1].shares[0]);
}

#[test]
fn check_headroom_is_the_limit_over_what_is_drawn() {
    let plan = springs();
    let list = callouts(&plan, "1,span,0.07,mm,plus_minus,all,machined,no,\n2,bridge length,0.03,mm,plus_minus,all,machined,no,\n");
    let r = reviewed(&plan, &list);
    let drawn = with_limits(&plan, &r.assignment.drawn);
    let found = limits(&[evaluator(&drawn)], depth(&drawn, 4000), SEED, &|| {}).unwrap().arrangements.remove(0);
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
    assert_eq!(a.tighten, Some(0));
    // The sure end lies below by the scatter of the quantile, and is cut to two digits.
    let (need, expected) = (a.callouts[0].needs[0].upper, span_at_limit(0.02));
    assert!(need < 1.01 * expected && need > 0.85 * expected, "{need} against {expected}");
}

/// Each item set to what is printed as its need: the review of that table shows the requirements as met, by the same draws.
#[test]
fn check_what_the_machine_needs_is_shown_to_be_met_when_it_is_drawn() {
    let plan = springs();
    for (span, length) in [(0.05, 0.02), (0.2, 0.02), (0.07, 0.04)] {
        let table = |span: f64, length: f64| format!("1,span,{span},mm,,,,,\n2,bridge length,{length},mm,,,,,\n3,temperature,20,,,,,,\n");
        let a = reviewed(&plan, &callouts(&plan, &table(span, length))).arrangements.remove(0);
        let mut tried = 0;
        for (i, c) in a.callouts.iter().enumerate().filter(|(_, c)| !c.needs.is_empty()) {
            let need = c.needs[0].upper;
            // Two digits, as it is printed.
            assert_eq!(
                format!("{need}").trim_start_matches(['0', '.']).len().min(3),
                format!("{need}").trim_start_matches(['0', '.']).len()
            );
            let again = reviewed(&plan, &callouts(&plan, &if i == 0 { table(need, length) } else { table(span, need) }));
            assert!(met(&again.drawn, 0), "{span} {length}: item {} at {need}", i + 1);
            tried += 1;
        }
        assert!(tried > 0);
    }
}

fn misfits(plan: &Plan, rows: &str) -> Vec<Misfit> {
    assign(plan, &callouts(plan, rows)).misfits
}

fn whats(plan: &Plan, rows: &str) -> Vec<String> {
    let list = callouts(plan, rows);
    review_findings(&list, &assign(plan, &list)).into_iter().map(|f| f.what).collect()
}

#[test]
fn check_what_does_not_fit_is_found() {
    let plan = springs();
    let both = "1,span,0.05,,,,,,\n2,bridge length,0.02,,,,,,\n9,temperature,20,,,,,,\n";
    assert!(misfits(&plan, both).is_empty());
    assert_eq!(whats(&plan, "1,span,0.05,,,,,,\n9,temperature,20,,,,,,\n"), ["not controlled by this drawing"]);
    assert_eq!(whats(&plan, "1,span,0.05,,,,,,\n2,bridge length,0.02,,,,,,\n"), ["no temperature is stated"]);
    assert_eq!(whats(&plan, &format!("{both}3,pad parallelism,0.1,,,,,,\n")), ["this callout controls nothing that is counted"]);
    assert!(whats(&plan, &format!("{both}3,pad parallelism,0.1,,,,,,none\n")).is_empty());
    assert_eq!(whats(&plan, &format!("{both}3,span,0.07,,,,,,\n"))[0], "two callouts contradict");
    assert_eq!(whats(&plan, &format!("{both}3,span,0.05,,,,,yes,\n"))[0], "two callouts contradict");
    assert!(whats(&plan, &format!("{both}3,span,0.05,,,,,,\n")).is_empty(), "the same said twice");
    assert_eq!(whats(&plan, &both.replace("temperature,20", "temperature,25")), ["the drawing's temperature is not the plan's"]);
    assert_eq!(whats(&plan, &both.replace("length,0.02", "length,0.03")), ["this callout allows more than the plan does"]);
}

/// A general tolerance controls what it names, and nothing else; two of them each for what they are made for.
#[test]
fn check_general_tolerances_control_what_they_name() {
    let plan = springs();
    // ISO 13920-B gives +-4 mm over 1000 to 2000 mm.
    let rows = "1,span,0.05,,,,,,\n2,general,ISO 13920-B,,,,welded,,\n3,temperature,20,,,,,,\n";
    let general = Misfit::NotControlled { kind: ErrorKind::BridgeLength, general: Some((1, (-4.0, 4.0))) };
    assert_eq!(misfits(&plan, rows), [general]);
    let named = assign(&plan, &callouts(&plan, &rows.replace("welded,,", "welded,,bridge_length")));
    assert_eq!((named.sources[1].control, named.drawn[1].upper), (Control::Callout(1), 4.0));
    let two = "1,general,ISO 13920-B,,,,welded,,span\n2,general,ISO 2768-m,,,,machined,,bridge_length\n3,temperature,20,,,,,,\n";
    let two = assign(&plan, &callouts(&plan, two));
    assert_eq!(two.drawn.iter().map(|s| s.upper).collect::<Vec<_>>(), [4.0, 1.2]);
    assert!(!two.misfits.iter().any(|m| matches!(m, Misfit::Contradiction { .. } | Misfit::NotControlled { .. })), "{:?}", two.misfits);
    // ISO 2768-m ends at 4,000 mm: found, and the review goes on.
    let mut long = springs();
    long.frame.span_mm = 4200.0;
    let ends = "1,span,0.05,,,,,,\n2,bridge length,0.02,,,,,,\n3,general,ISO 2768-m,,,,,,\n4,temperature,20,,,,,,\n";
    assert_eq!(misfits(&long, ends), [Misfit::GeneralEnds { row: 2 }]);
    let wrong = "item,controls,value\n3,general,ISO 2768-x\n";
    assert!(read_callouts(wrong.as_bytes(), "c.csv", &long.frame).is_err());
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

/// Verdict on a table of the machine of springs; studies are kept by the limits that they are made with.
fn judged(plan: &Plan, rows: &str, kept: &mut HashMap<String, bool>) -> (ReviewVerdict, Assignment) {
    let assignment = assign(plan, &callouts(plan, rows));
    let key = format!("{:?}", assignment.adjusted);
    let passes = *kept.entry(key).or_insert_with(|| {
        let adjusted = with_limits(plan, &assignment.adjusted);
        met(&monte_carlo(&[evaluator(&adjusted)], Length::Fixed(1000), SEED, &|_| ()).unwrap(), 0)
    });
    (verdict(plan, &assignment, passes), assignment)
}

/// Every subset of a set of rows, and every row taken out of it: without contradictions no deletion improves a verdict.
#[test]
fn check_no_deletion_of_rows_improves_a_verdict() {
    let plan = springs();
    let mut kept = HashMap::new();
    for pool in [
        // Sound, doubled, elsewhere, general, for nothing, for what is not counted.
        [
            "1,span,0.05,,,,,,",
            "2,span,0.05,,,,,,",
            "3,bridge length,0.02,,,,,,",
            "4,elsewhere,card,,,,,,bridge_length",
            "5,temperature,20,,,,,,",
            "6,general,ISO 2768-f,,,,,,",
            "7,pad parallelism,0.1,,,,,,",
            "8,paint,0.1,,,,,,none",
        ],
        // Too loose, set afterwards, another temperature, a general tolerance that names, a form that holds nothing.
        [
            "1,span,0.2,,,,,yes,",
            "2,span,0.2,,,,,yes,",
            "3,bridge length,0.02,,,,,,",
            "4,bridge length,0.02,,,,,no,",
            "5,temperature,25,,,,,,",
            "6,temperature,20,,,,,,",
            "7,general,ISO 2768-f,,,,,,",
            "8,pad flatness,0.1,,,each,,,",
        ],
        // Fails whatever is done, and contradicts itself.
        [
            "1,span,0.5,,,,,,",
            "2,span,0.05,,,,,,",
            "3,bridge length,0.02,,,,,,",
            "4,bridge length,0.5,,,,,yes,",
            "5,temperature,20,,,,,,",
            "6,general,ISO 2768-f,,,,,,bridge_length",
            "7,elsewhere,card,,,,,,span",
            "8,block height,5,,,,,yes,",
        ],
    ] {
        let mut verdicts = Vec::new();
        for subset in 0_u32..256 {
            let rows: String = pool.iter().enumerate().filter(|(i, _)| subset >> i & 1 == 1).map(|(_, r)| format!("{r}\n")).collect();
            verdicts.push((subset > 0).then(|| judged(&plan, &rows, &mut kept).0));
        }
        let mut compared = 0;
        for subset in 1_usize..256 {
            let with = verdicts[subset].as_ref().unwrap();
            // What contradicts itself is never better than open.
            assert!(with.contradictions == 0 || with.level <= Level::Open);
            for without in (0..8).filter(|i| subset >> i & 1 == 1).filter_map(|i| verdicts[subset & !(1 << i)].as_ref()) {
                if with.contradictions == 0 {
                    assert!(without.rank() <= with.rank(), "{with:?} {without:?}");
                    compared += 1;
                }
            }
        }
        assert!(compared > 100, "{compared}");
    }
    // All levels are reached.
    let rows = ["1,span,0.05,,,,,,\n2,bridge length,0.02,,,,,,\n3,temperature,20,,,,,,\n"];
    assert_eq!(judged(&plan, rows[0], &mut kept).0.level, Level::Met);
    assert_eq!(judged(&plan, &rows[0].replace("0.05", "0.5"), &mut kept).0.level, Level::NotMet);
    assert_eq!(judged(&plan, &rows[0].replace(",20", ",25"), &mut kept).0.level, Level::Open);
    let (alone, _) = judged(&plan, "1,temperature,20,,,,,,\n", &mut kept);
    assert_eq!((alone.level, alone.not_controlled.len()), (Level::NotControlled, 2));
    let set = "item,controls,value,shimmed_after,measured_by\n1,span,0.2,yes,survey\n2,bridge length,0.02,,\n3,temperature,20,,\n";
    let set = assign(&plan, &read_callouts(set.as_bytes(), "c.csv", &plan.frame).unwrap());
    assert_eq!(verdict(&plan, &set, true).level, Level::OnAssumptions, "the shim box is assumed");
    let stated = with_correction(&plan, "");
    assert_eq!(verdict(&stated, &set, true).level, Level::Met);
}

/// The machine of springs with other errors.
fn with_errors(errors: &str) -> Plan {
    plan(&Simple { errors: format!("[errors]\n{errors}"), ..Simple::default() }.text())
}

/// A plan that states what may be shimmed; the numbers of its box are those that are assumed where it does not.
fn with_correction(plan: &Plan, fixed: &str) -> Plan {
    let mut plan = plan.clone();
    plan.site.correction.stated = true;
    plan.site.correction.fixed =
        fixed.split_whitespace().map(|pad| (usize::from(pad.starts_with('b')), pad[1..].parse().unwrap())).collect();
    plan
}

/// Limits after adjustment of the first error, and how it is adjusted.
fn adjusted(plan: &Plan, rows: &str) -> ((f64, f64), Option<Adjustment>) {
    let a = assign(plan, &callouts(plan, rows));
    ((a.adjusted[0].lower, a.adjusted[0].upper), a.sources[0].adjustment)
}

/// What the drawing allows and how it is adjusted afterwards: only what is narrower takes its place.
#[test]
fn check_setting_takes_an_error_down_to_the_plan_and_never_up_to_it() {
    let of = |errors: &str, rows: &str| adjusted(&with_errors(errors), rows).0;
    let planned = "span = { lower_mm = -0.05, upper_mm = 0.2 }\n";
    assert_eq!(of(planned, "1,span,0.5,,,,,yes,\n"), (-0.05, 0.2), "set to what is planned");
    assert_eq!(of(planned, "1,span,0.5,,,,,no,\n"), (-0.5, 0.5), "left as it is made");
    assert_eq!(of(planned, "1,span,0.05,,,,,yes,\n"), (-0.05, 0.05), "made closer than planned");
    // As wide as planned, but about nominal: there is nothing to gain by setting it.
    assert_eq!(of(planned, "1,span,0.125,,,,,yes,\n"), (-0.125, 0.125));
}

/// The box that is assumed: shims of 0.05, 0.1, 0.2, 0.5, 1 mm, four a stack, 2 mm at most: 1.8 mm without a gap; slots of 1 mm.
#[test]
fn check_setting_reaches_as_far_as_shims_and_slots_do() {
    let plan = with_errors("height = { plus_minus_mm = 0.5 }\nvertical_parallelism = { plus_minus_mm = 0.4 }\n");
    let close = |found: ((f64, f64), Option<Adjustment>), limit: f64, needed: f64| {
        assert!((found.0.1 - limit).abs() < 1e-12 && (found.0.0 + limit).abs() < 1e-12, "{found:?}");
        let Some(Adjustment::Set { needed: n, reach, step, .. }) = found.1 else { panic!("{found:?}") };
        assert!((n - needed).abs() < 1e-12 && (reach - 1.8).abs() < 1e-12 && step == 0.05, "{found:?}");
    };
    close(adjusted(&plan, "1,height between rows,1.5,,,,,yes,\n"), 0.5, 1.5);
    // A drift shares the stack with half of its size.
    close(adjusted(&plan, "1,height between rows,1.5,,,,,yes,\n2,vertical row parallelism,2,,,,,yes,\n"), 0.5, 2.5);
    // 20 mm off with 1.8 mm of shims leaves 18.2 mm.
    close(adjusted(&plan, "1,height between rows,20,,,,,yes,\n"), 18.2, 20.0);
    // One rail cannot move: only it can be too low for the other's lift.
    let lone = with_correction(&plan, "a3");
    let (limits, _) = adjusted(&lone, "1,height between rows,1.5,,,,,yes,\n");
    assert_eq!(limits, (-0.5, 1.5), "rail B can be lifted, not lowered");
    let both = with_correction(&plan, "a3 b1");
    let refused = adjusted(&both, "1,height between rows,1.5,,,,,yes,\n");
    assert_eq!(refused, ((-1.5, 1.5), Some(Adjustment::Refused(Refusal::RailsAreFixed))));
}

#[test]
fn check_what_no_pad_moves_is_refused_by_name() {
    for (planned, row) in [
        ("block_vertical = { plus_minus_mm = 0.01 }\n", "1,block height,0.3,,,,,yes,\n"),
        ("block_lateral = { plus_minus_mm = 0.01 }\n", "1,block position,0.3,,,,,yes,\n"),
        ("bridge_twist = { plus_minus_mrad = 0.01 }\n", "1,bridge twist,0.3,,,,,yes,\n"),
        ("skew = { plus_minus_mm = 0.01 }\n", "1,drive skew,0.3,,,,,yes,\n"),
        ("seat = { plus_minus_mm = 0.01 }\n", "1,joint seat,0.3,,,,,yes,\n"),
    ] {
        let plan = with_errors(planned);
        assert_eq!(adjusted(&plan, row).1, Some(Adjustment::Refused(Refusal::NoPadMovesIt)), "{row}");
        assert!(whats(&plan, row).contains(&"installation cannot take this out".to_string()), "{row}");
    }
    let roll = with_errors("cross_level_a = { plus_minus_mrad = 0.2 }\n");
    let row = "1,pad parallelism,1,,,,,yes,\n";
    assert_eq!(adjusted(&roll, row).1, Some(Adjustment::Refused(Refusal::NoTaperedShims)));
    let mut tapered = roll.clone();
    tapered.site.correction.taper_rad = [1e-4, 2e-3];
    let ((low, high), how) = adjusted(&tapered, row);
    assert!((high - 2e-4).abs() < 1e-15 && low == -high && matches!(how, Some(Adjustment::Set { .. })), "{low} {high} {how:?}");
}

/// Limits of the first error as drawn, none where the callout does not control it.
fn drawn(plan: &Plan, table: &str) -> Option<(f64, f64)> {
    let list = read_callouts(table.as_bytes(), "c.csv", &plan.frame).unwrap_or_else(|e| panic!("{e}"));
    let a = assign(plan, &list);
    a.sources[0].callout().map(|_| (a.drawn[0].lower, a.drawn[0].upper))
}

/// ISO 1101: separate zones of form float against each other; one combined zone, one face or a datum holds the row.
#[test]
fn check_a_row_of_pads_is_held_by_one_zone() {
    let row = |controls: &str, per: &str, datum: &str, planned: &str| {
        let table = format!("item,controls,value,per,datum\n1,{controls},0.15,{per},{datum}\n");
        drawn(&with_errors(planned), &table)
    };
    let flat = "straightness_vertical_a = { zone_mm = 0.15 }\n";
    let across = "straightness_lateral_a = { zone_mm = 0.15 }\n";
    for per in ["each", "sz", "14", "14x", "all", ""] {
        assert_eq!(row("pad flatness", per, "", flat), None, "{per}");
        assert_eq!(row("pad flatness", per, "A", flat), None, "form has no datum");
        assert_eq!(row("pad row position", per, "", across), None, "{per}");
        assert_eq!(row("pad row position", per, "A B", across), Some((0.0, 0.15)), "{per}");
    }
    for per in ["cz", "CZ", "one"] {
        assert_eq!(row("pad flatness", per, "", flat), Some((0.0, 0.15)), "{per}");
    }
    // What holds nothing leaves the error without control.
    let plan = with_errors(flat);
    let found = whats(&plan, "1,pad flatness,0.15,mm,zone,each,machined,no,\n9,temperature,20,,,,,,\n");
    assert_eq!(found, ["this callout does not control the row", "not controlled by this drawing"]);
}

/// Pads 500 mm apart on 4,000 mm, 1,200 mm of span.
#[test]
fn check_tolerances_for_a_length_a_width_in_degrees_and_with_two_limits() {
    let of = |planned: &str, row: &str| drawn(&with_errors(planned), &format!("item,controls,value,unit,form,per\n1,{row}\n"));
    let close = |found: Option<(f64, f64)>, expected: (f64, f64)| {
        let (low, high) = found.unwrap();
        assert!((low - expected.0).abs() < 1e-12 && (high - expected.1).abs() < 1e-12, "{low} {high} {expected:?}");
    };
    let flat = "straightness_vertical_a = { zone_mm = 0.15 }\n";
    // An arc 0.01 mm high over 1000 mm is 16 times as high over 4000 mm.
    close(of(flat, "pad flatness,0.01/1000,mm,zone,cz"), (0.0, 0.16));
    assert_eq!(of(flat, "pad flatness,0.02/300,mm,zone,cz"), None, "300 mm reach no other pad");
    close(of(flat, "pad flatness,0.002/400,mm,zone,one"), (0.0, 0.2));
    close(
        of("parallelism = { zone_mm = 0.5 }\n", "pad row parallelism,0.02/300,mm,zone,all"),
        (-0.02 * 4000.0 / 300.0, 0.02 * 4000.0 / 300.0),
    );
    close(of("span = { plus_minus_mm = 0.5 }\n", "span,0.1/1000,mm,,"), (-0.12, 0.12));
    // 0.02 mm over a seat 60 mm wide is a third of a mrad either way; two seats differ by twice that.
    let tilt = 0.02 / 60.0;
    for form in ["zone", "plus_minus", ""] {
        close(of("cross_level_a = { plus_minus_mrad = 0.5 }\n", &format!("pad parallelism,0.02/60,mm,{form},each")), (-tilt, tilt));
        close(
            of("cross_level_twist_a = { plus_minus_mrad = 0.5 }\n", &format!("pad twist,0.02/60,,{form},each")),
            (-2.0 * tilt, 2.0 * tilt),
        );
    }
    let degree = std::f64::consts::PI / 180.0;
    close(of("end_tilt_a = { plus_minus_mrad = 0.5 }\n", "end tilt,0.05,deg,,each"), (-0.05 * degree, 0.05 * degree));
    close(of("bridge_length = { plus_minus_mm = 0.5 }\n", "bridge length,+0.3/-0.1,mm,,"), (-0.1, 0.3));
    close(of("bridge_length = { plus_minus_mm = 0.5 }\n", "bridge length,300,um,,"), (-0.3, 0.3));
    let refused = |row: &str| {
        let table = format!("item,controls,value,unit,form,per,feeds\n1,{row}\n");
        read_callouts(table.as_bytes(), "c.csv", &springs().frame).unwrap_err().to_string()
    };
    for (row, told) in [
        ("pad flatness,+0.1/-0.1,mm,,cz,", "one width"),
        ("block height,0.01/100,mm,,,", "no length"),
        ("pad flatness,1/10,mm,,one,", "over the whole length this allows 160000 mm"),
        ("end tilt,0.02/60,mrad,,,", "this callout is in mm"),
        ("temperature,20,,,,span", "a temperature controls no error"),
        ("elsewhere,installation card,,,,", "which errors are controlled elsewhere"),
        ("elsewhere,,,,,span", "where these errors are controlled"),
    ] {
        assert!(refused(row).contains(told), "{row}: {}", refused(row));
    }
}

/// Words stand in the review as they stand in the file, and empty cells stay empty.
#[test]
fn check_names_are_quoted_as_written_and_empty_cells_are_empty() {
    let plan = springs();
    let list =
        callouts(&plan, "1,Span,0.05,mm,,,,,\n2,Length over Faces,+0.02/-0.01,mm,,each,set,,bridge_length\n3,temperature,20,,,,,,\n");
    let text = review_text(&plan, &list, &reviewed(&plan, &list));
    assert!(text.contains("Length over Faces") && text.contains("item 1, Span") && text.contains("+0.02/-0.01 mm, each, set"), "{text}");
    let row = text.lines().find(|l| l.contains("Span") && l.contains("±0.05 mm")).unwrap();
    assert!(!row.contains("machined") && !row.contains("each"), "{row}");
}
