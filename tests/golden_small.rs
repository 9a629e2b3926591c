//! Every study once, on a small machine and with few draws: what each comes to, to the ninth digit. A change of a number that no
//! law of the other tests forbids is seen here, and in seconds.
//! `RAILTRUE_REGENERATE=1 cargo test --test library golden_small` writes `tests/data/small/` anew.

use std::fmt::Write as _;

use railtrue::evaluate::{Evaluator, service_states};
use railtrue::geometry::Rails;
use railtrue::input::callouts::read_callouts;
use railtrue::input::sources::ErrorSpec;
use railtrue::input::survey::{Survey, read_survey};
use railtrue::input::{ErrorKind, Plan, read_installation, read_plan};
use railtrue::structure::Machine;
use railtrue::study::review::{assign, review, with_limits};
use railtrue::study::{
    BudgetEffort, Depth, Effort, Length, StudyResult, WorstCase, budget, limits, map, monte_carlo, remarks, shares, stack, trace,
    worst_case,
};
use railtrue::survey::history::{Epoch, changes, pads_moved};
use railtrue::survey::planned::{instruments, needs};
use railtrue::survey::shims::correct_rails;
use railtrue::survey::{Measured, checks, evaluate_survey, panels, predict};
use railtrue::sweep::drawn;

const DEMO: &str = include_str!("../examples/panel-bridge.toml");
const CALLOUTS: &str = include_str!("../examples/panel-bridge-callouts.csv");
const INSTALLATION: &str = include_str!("../examples/panel-bridge-installation.toml");
const SURVEY: &str = include_str!("../examples/panel-bridge-survey.csv");

/// Hours for some errors of the demo, which has none.
const COST: &str = r#"
[cost]
parallelism = { law = "reciprocal", hours = 4, at_mm = 0.5 }
height = { law = "reciprocal", hours = 2, at_mm = 0.5 }
cross_level_a = { law = "reciprocal", hours = 1, at_mrad = 0.5 }
"#;

/// Errors of the demo that the smallest machine leaves out: those that another one stands for.
const STOOD_FOR: [&str; 16] = [
    "span",
    "vertical_parallelism",
    "cross_level_b",
    "cross_level_twist_a",
    "cross_level_twist_b",
    "straightness_lateral_b",
    "straightness_vertical_a",
    "straightness_vertical_b",
    "waviness_roll_a",
    "waviness_roll_b",
    "block_vertical",
    "bridge_length",
    "bridge_twist",
    "end_tilt_a",
    "end_tilt_b",
    "end_squareness_b",
];

/// The demo with fewer stations and pads.
fn small_text() -> String {
    DEMO.replace("stations = 21 ", "stations = 4 ").replace("anchor_pitch_mm = 500 ", "anchor_pitch_mm = 1300 ") + COST
}

fn small() -> Plan {
    read_plan(&small_text(), "small.toml").unwrap_or_else(|e| panic!("{e}"))
}

/// The same with fewer errors.
pub(crate) fn smallest_text() -> String {
    let left = |line: &&str| !STOOD_FOR.iter().any(|key| line.starts_with(&format!("{key} = ")));
    small_text().lines().filter(left).map(|line| format!("{line}\n")).collect()
}

fn smallest() -> Plan {
    read_plan(&smallest_text(), "smallest.toml").unwrap_or_else(|e| panic!("{e}"))
}

/// The demo with few stations, so that what it predicts is quick.
pub(crate) fn demo() -> Plan {
    read_plan(&DEMO.replace("stations = 21 ", "stations = 4 "), "panel-bridge.toml").unwrap()
}

pub(crate) fn evaluators(plan: &Plan) -> Vec<Evaluator<'_>> {
    (0..plan.arrangements.len()).map(|a| Evaluator::new(Machine::new(plan, a).unwrap(), plan.study.drag).unwrap()).collect()
}

/// A text with some of its parts changed; each must be there.
pub(crate) fn changed(text: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(text.to_string(), |text, (from, to)| {
        assert!(text.contains(from), "{from} is not in the text");
        text.replace(from, to)
    })
}

/// Words and numbers of a text in order.
fn parts(text: &str) -> Vec<&str> {
    text.split(|c: char| c.is_whitespace() || ",:;\"()[]{}<>=".contains(c)).filter(|p| !p.is_empty()).collect()
}

/// Compares with what is kept: numbers to 1e-6, since another processor may change last bits of single precision; what is nearly
/// nothing to 1e-7, since it may be the difference of two loads, each as the search for contacts leaves it.
pub(crate) fn keep(name: &str, found: &str) {
    let path = format!("{}/tests/data/small/{name}.txt", env!("CARGO_MANIFEST_DIR"));
    let lines = found.replace("}, ", "},\n");
    if std::env::var_os("RAILTRUE_REGENERATE").is_some() {
        std::fs::create_dir_all(std::path::Path::new(&path).parent().unwrap()).unwrap();
        std::fs::write(path, lines).unwrap();
        return;
    }
    let kept = std::fs::read_to_string(path).unwrap();
    let (kept, found) = (parts(&kept), parts(&lines));
    for (i, (k, f)) in kept.iter().zip(&found).enumerate() {
        let near = match (k.parse::<f64>(), f.parse::<f64>()) {
            (Ok(x), Ok(y)) => {
                let most = x.abs().max(y.abs());
                let allowed = if most < 1e-4 { 1e-7 } else { 1e-9 + 1e-6 * most };
                x == y || (x - y).abs() <= allowed || (x.is_nan() && y.is_nan())
            }
            _ => k == f,
        };
        assert!(near, "{name}: {f} instead of {k}, after {:?}", &kept[i.saturating_sub(8)..i]);
    }
    assert_eq!(kept.len(), found.len(), "{name}: longer or shorter than what is kept");
}

/// A worst case without its installations: where several are equally bad, rounding chooses.
pub(crate) fn worst_text(worst: &WorstCase) -> String {
    let mut text = format!("{:?} {} {}\n", worst.no_bound, worst.stops_possible, worst.branches);
    for b in &worst.brackets {
        let _ = writeln!(text, "{} {} {} {:?}", b.key, b.perfect, b.attained, b.bound);
    }
    text
}

pub(crate) fn study_text(study: &StudyResult) -> String {
    let mut text = String::new();
    for a in &study.arrangements {
        let _ = writeln!(text, "{} {} {} {:?} {:?}", a.name, a.chosen, a.has_floats, a.perfect, a.lateral_stiffness_n_per_um);
        let _ = writeln!(text, "{:?} {:?} {:?}", a.verdicts, a.alone, a.findings);
        let _ = writeln!(text, "{:?} {:?} {:?}", a.tally.counts, a.tally.hits, a.tally.least_life);
        for reading in railtrue::evaluate::Reading::ALL {
            let of = a.tally.of(reading);
            let _ = writeln!(
                text,
                "{} {} {} {:?} {:?}",
                reading.key(),
                of.mean(),
                of.deviation(),
                a.tally.quantile(reading, 0.5),
                a.tally.at_bad_end(reading)
            );
        }
        let _ = writeln!(text, "{:?}\n{:?}\n{}", a.tails, a.band, worst_text(&a.worst));
    }
    text
}

#[test]
fn golden_small_draws() {
    let plan = small();
    for (i, evaluator) in evaluators(&plan).iter().enumerate() {
        keep(&format!("draws-{i}"), &format!("{:?}", drawn(evaluator, 3, 24).unwrap()));
    }
}

#[test]
fn golden_small_study() {
    let plan = smallest();
    keep("study", &study_text(&monte_carlo(&evaluators(&plan), Length::Fixed(64), 3, &|_| {}).unwrap()));
}

/// Floats that are at their stops and slots that are at their ends, drag by its law, one season, rollers.
#[test]
fn golden_small_study_off_the_fast_path() {
    let text = smallest_text()
        .replace("stations = 4 ", "stations = 2 ")
        .replace("travel_mm = 3,", "travel_mm = 0.8,")
        .replace("take_up_mm = 1.5", "take_up_mm = 0.4")
        .replace("element = \"ball\"", "element = \"roller\"")
        .replace("drag = \"both_signs\"", "drag = \"law\"");
    let text = text.split("[block.contact]").next().unwrap().to_string() + "[support]" + text.split("[support]").nth(1).unwrap();
    let plan = read_plan(&text, "small.toml").unwrap_or_else(|e| panic!("{e}"));
    keep("study-off-the-fast-path", &study_text(&monte_carlo(&evaluators(&plan), Length::Fixed(8), 3, &|_| {}).unwrap()));
}

#[test]
fn golden_small_worst_case() {
    let plan = small();
    for (i, evaluator) in evaluators(&plan).iter().enumerate() {
        let worst = worst_case(evaluator, Effort::QUICK, &|| false).unwrap();
        keep(&format!("worst-{i}"), &format!("{}{:?}", worst_text(&worst), stack(evaluator).unwrap()));
    }
}

/// A plan's text with a life that few draws can show: what stiff joints, or only floats, can reach.
fn easy(text: &str, life_km: u32) -> Plan {
    let life = format!("life_km = {{ least = {life_km}, quantile = 0.6, confidence = 0.8 }}");
    let text = changed(text, &[("life_km = { least = 30000, quantile = 0.95, confidence = 0.95 }", &life)]);
    read_plan(&text, "small.toml").unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn golden_small_limits() {
    let mut text = String::new();
    for (life_km, arrangement) in [(400, 0), (60_000, 1)] {
        let plan = easy(&smallest_text(), life_km);
        let depth = Depth { rough_draws: 40, single_draws: 60, common_draws: 80, set_draws: 100 };
        let one = [evaluators(&plan).remove(arrangement)];
        let _ = writeln!(text, "{:?}", limits(&one, depth, 3, &|| ()).unwrap().arrangements);
    }
    keep("limits", &text);
}

#[test]
fn golden_small_budget() {
    let mut text = String::new();
    for (life_km, arrangement) in [(300, 0), (40_000, 1), (150_000, 1)] {
        let plan = easy(&small_text(), life_km);
        let effort = BudgetEffort { coarse: 40, fine: 60, verify: 80, rounds: 2 };
        let one = [evaluators(&plan).remove(arrangement)];
        let _ = writeln!(text, "{:?}", budget(&one, effort, 3, &|| ()).unwrap());
    }
    keep("budget", &text);
}

#[test]
fn golden_small_map_and_shares() {
    let plan = small();
    let evaluators = evaluators(&plan);
    let axis = |kind: ErrorKind| -> &'static ErrorSpec { ErrorKind::ALL.iter().find(|s| s.kind == kind).unwrap() };
    let over = map(&evaluators[1..], axis(ErrorKind::Parallelism), axis(ErrorKind::Height), true).unwrap();
    let few =
        |rows: &[Vec<f64>]| format!("{:?}", rows.iter().step_by(7).map(|r| r.iter().step_by(7).collect::<Vec<_>>()).collect::<Vec<_>>());
    keep("map", &format!("{:?} {:?} {}", over.x, over.y, few(&over.arrangements[0].life_km)));
    keep("shares", &format!("{:?}", shares(&evaluators, 24, 3, &|_| {}).unwrap()));
}

#[test]
fn golden_small_trace_and_remarks() {
    let plan = demo();
    let stated = read_installation(INSTALLATION, "installation.toml", &plan).unwrap();
    let mut text = format!("{:?}\n", remarks(&plan, &plan.arrangements[0], &stated.installation));
    for evaluator in evaluators(&plan) {
        let trace = trace(&evaluator, &stated.installation, &service_states(&plan), &plan.frame.stations_x_mm[1..2]).unwrap();
        let _ = writeln!(text, "{trace:?}");
    }
    keep("trace", &text);
}

#[test]
fn golden_small_review() {
    let plan = smallest();
    let callouts = read_callouts(CALLOUTS.as_bytes(), "callouts.csv", &plan.frame).unwrap();
    let assignment = assign(&plan, &callouts);
    let text = format!("{assignment:?}");
    let [drawn, adjusted] = [with_limits(&plan, &assignment.drawn), with_limits(&plan, &assignment.adjusted)];
    let chosen = |plan| vec![evaluators(plan).remove(1)];
    let result = review(assignment, &callouts, &chosen(&drawn), &chosen(&adjusted), 3, 48, &|_| ()).unwrap();
    keep("review", &format!("{text}\n{:?}\n{}", result.arrangements, study_text(&result.adjusted)));
}

/// Callouts that contradict each other, that are missing or general, another temperature, one that feeds nothing.
#[test]
fn golden_small_assignment() {
    let changes = [
        ("1,span,1.0,mm,", "21,span,2.5,mm,plus_minus,all,,machined,yes,,\n1,span,1.0,mm,"),
        ("2,pad row parallelism,0.8,mm,zone,all,A,machined,yes,survey at installation,\n", ""),
        ("6,pad row position,0.15,", "6,pad row position,0.4,mm,zone,cz,,machined,yes,,\n22,pad row position,0.4,"),
        ("12,end squareness,0.4,mrad,plus_minus,each,C,machined,no,,\n", ""),
        ("17,temperature,20,", "17,temperature,23,"),
        ("11,block height,0.015,mm,plus_minus,each,,machined,no", "11,block height,0.3,mm,plus_minus,each,,welded,yes"),
        ("5,pad flatness,0.15,mm,zone,cz,", "5,pad flatness,0.15,mm,zone,each,"),
    ];
    let text = changed(CALLOUTS, &changes);
    let mut found = String::new();
    for plan in [demo(), smallest()] {
        for file in
            [text.clone(), text.lines().filter(|l| !l.starts_with("3,") && !l.starts_with("18,")).map(|l| format!("{l}\n")).collect()]
        {
            let callouts = read_callouts(file.as_bytes(), "callouts.csv", &plan.frame).unwrap_or_else(|e| panic!("{e}"));
            let _ = writeln!(found, "{:?}", assign(&plan, &callouts));
        }
    }
    keep("assignment", &found);
}

fn survey(plan: &Plan, text: &str) -> Survey {
    read_survey(text.as_bytes(), "survey.csv", plan, &[], &[]).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn golden_small_survey() {
    let plan = demo();
    let rails = Rails::new(&plan).unwrap();
    let evaluators = evaluators(&plan);
    let chosen: Vec<&Evaluator<'_>> = evaluators.iter().collect();
    let evaluated = evaluate_survey(&plan, &rails, &survey(&plan, SURVEY)).unwrap();
    let recheck = |m: &Measured| checks(&plan, &rails, m, 3);
    let now = recheck(&evaluated.measured);
    let before = predict(&plan, &chosen, &evaluated.measured, 16, 3).unwrap();
    let found = correct_rails(&plan, &evaluators, &evaluated.measured, &now, &before, &recheck, (16, 3)).unwrap().unwrap();
    let panels = panels(&plan, &rails, &evaluated.corrected, &evaluated.measured, Some(&found.after));
    keep("survey", &format!("{:?}\n{:?}\n{now:?}\n{before:?}\n{panels:?}", evaluated.said, evaluated.findings));
    let after = recheck(&found.after);
    keep(
        "work-list",
        &format!("{:?} {} {} {} {:?}\n{after:?}", found.items, found.fewest_proved, found.tightened, found.meets_all, found.stopped_by),
    );
    // The same rails a year later, two pads lower.
    let later = SURVEY.replace("2026-03-02", "2027-03-02").replace(",411.981,", ",411.881,").replace(",411.460,", ",411.360,");
    let moved = evaluate_survey(&plan, &rails, &survey(&plan, &later)).unwrap();
    let epoch = |file: &str, day: i64, measured: &Measured| Epoch {
        file: file.into(),
        day: Some(day),
        measured: measured.clone(),
        checks: recheck(measured),
    };
    let again =
        evaluate_survey(&plan, &rails, &survey(&plan, &SURVEY.replace("2026-03-02", "2028-01-02").replace(",0.30", ",0.39"))).unwrap();
    let epochs = [epoch("first", 0, &evaluated.measured), epoch("second", 365, &moved.measured), epoch("third", 671, &again.measured)];
    let rolled = pads_moved(&plan, &rails, &evaluated.measured, &again.measured);
    let pads = pads_moved(&plan, &rails, &evaluated.measured, &moved.measured);
    keep("history", &format!("{:?}\n{pads:?}\n{rolled:?}\n{:?}\n{:?}", changes(&epochs, false), needs(&plan), instruments(&plan)));
}
