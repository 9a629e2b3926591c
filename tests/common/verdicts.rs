//! What the program says to a file, through the library: the message, or what was accepted.

use railtrue::evaluate::{Evaluator, ServiceState, Work};
use railtrue::input::callouts::read_callouts;
use railtrue::input::survey::read_survey;
use railtrue::input::{Installation, Plan, read_installation, read_plan};
use railtrue::present::review_findings;
use railtrue::structure::Machine;
use railtrue::study::review::assign;

fn utf8(bytes: &[u8], file: &str) -> Result<String, String> {
    railtrue::input::utf8(bytes.to_vec(), file).map_err(|p| p.to_string())
}

/// What is said to a plan; an accepted one is built and evaluated without errors.
pub(crate) fn plan(bytes: &[u8]) -> String {
    let text = match utf8(bytes, "plan.toml") {
        Ok(text) => text,
        Err(message) => return message,
    };
    match read_plan(&text, "plan.toml") {
        Err(problems) => problems.to_string(),
        Ok(plan) => (0..plan.arrangements.len()).map(|i| machine(&plan, i)).collect::<Vec<_>>().join("\n"),
    }
}

/// What becomes of an accepted plan's machine.
fn machine(plan: &Plan, arrangement: usize) -> String {
    let name = &plan.arrangements[arrangement].name;
    let built = match Machine::new(plan, arrangement) {
        Ok(machine) => machine,
        Err(free) => return format!("{name}: refused: {free}\n    help: {}", free.advice),
    };
    let condition = built.condition;
    let evaluator = match Evaluator::new(built, plan.study.drag) {
        Ok(evaluator) => evaluator,
        Err(e) => return format!("{name}: refused: {e}"),
    };
    let mut work = Work::default();
    match evaluator.evaluate(&Installation::perfect(plan), &[ServiceState::still()], &mut work) {
        Ok(outcome) => {
            assert!(outcome.life_km >= 0.0 && outcome.peak_load_n.is_finite(), "{name}: a quiet wrong number: {outcome:?}");
            format!(
                "{name}: ACCEPTED, condition 1e{:.0}, life {:.2e} km, largest load {:.2e} N",
                condition.log10(),
                outcome.life_km,
                outcome.peak_load_n
            )
        }
        Err(e) => format!("{name}: refused: {e}"),
    }
}

/// What is said to a survey of the machine in `plan_text`.
pub(crate) fn survey(plan_text: &str, bytes: &[u8]) -> String {
    let plan = read_plan(plan_text, "plan.toml").unwrap();
    match read_survey(bytes, "survey.csv", &plan, &[], &[]) {
        Err(problems) => problems.to_string(),
        Ok(survey) => {
            let rails = railtrue::geometry::Rails::new(&plan).unwrap();
            match railtrue::survey::evaluate_survey(&plan, &rails, &survey) {
                Err(railtrue::survey::SurveyError::NotThisFrame(m)) => {
                    format!("read, then refused: {}", railtrue::present::misplaced_text(&m))
                }
                Err(e) => format!("read, then refused: {e}"),
                Ok(e) => {
                    let mut found: Vec<String> = e.findings.iter().map(|f| format!("    finding: {}", f.what)).collect();
                    found.extend(e.unsure.iter().filter(|d| !d.is_question()).map(|d| format!("    doubt: {d:?}")));
                    format!("ACCEPTED, {} points, {} readings\n{}", survey.points.len(), survey.readings.len(), found.join("\n"))
                }
            }
        }
    }
}

/// What is said to an installation of the machine in `plan_text`.
pub(crate) fn installation(plan_text: &str, bytes: &[u8]) -> String {
    let plan = read_plan(plan_text, "plan.toml").unwrap();
    let text = match utf8(bytes, "installation.toml") {
        Ok(text) => text,
        Err(message) => return message,
    };
    match read_installation(&text, "installation.toml", &plan) {
        Err(problems) => problems.to_string(),
        Ok(stated) => {
            let machine = Machine::new(&plan, 1).unwrap();
            let evaluator = Evaluator::new(machine, plan.study.drag).unwrap();
            let service = [ServiceState::still()];
            match evaluator.evaluate(&stated.installation, &service, &mut Work::default()) {
                Ok(outcome) => {
                    assert!(outcome.life_km >= 0.0 && outcome.peak_load_n.is_finite(), "a quiet wrong number: {outcome:?}");
                    format!("ACCEPTED, life {:.2e} km, largest load {:.2e} N", outcome.life_km, outcome.peak_load_n)
                }
                Err(e) => format!("read, then refused: {e}"),
            }
        }
    }
}

/// What is said to the callouts of a drawing of the machine in `plan_text`; accepted ones are assigned to its errors.
pub(crate) fn callouts(plan_text: &str, bytes: &[u8]) -> String {
    let plan = read_plan(plan_text, "plan.toml").unwrap();
    match read_callouts(bytes, "callouts.csv", &plan.frame) {
        Err(problems) => problems.to_string(),
        Ok(callouts) => {
            let assigned = assign(&plan, &callouts);
            for source in assigned.drawn.iter().chain(&assigned.adjusted) {
                assert!(source.lower.is_finite() && source.lower <= source.upper && source.upper < 1e3, "{source:?}");
            }
            let found: Vec<String> = review_findings(&callouts, &assigned).iter().map(|f| format!("    finding: {}", f.what)).collect();
            format!("ACCEPTED, {} callouts\n{}", callouts.list.len(), found.join("\n"))
        }
    }
}
