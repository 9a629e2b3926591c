//! The report: one page that a reviewer reads and signs, the same for a study and for a review of callouts.

mod callouts;
mod inputs;
mod parts;
mod values;

pub use callouts::review_report;

use super::json::Origin;
use super::page::{Mark, Page, Section};
use crate::input::{Plan, TitleBlock};
use crate::study::{Status, StudyResult};

/// Where a report comes from.
#[derive(Debug, Clone, Copy)]
pub struct ReportInputs<'r> {
    /// The plan.
    pub plan: &'r Plan,
    /// Plan's file, hash, and the program's version.
    pub origin: &'r Origin,
    /// File of callouts and its SHA-256, where there is one.
    pub callouts: Option<(&'r str, &'r str)>,
    /// The command that gives the same numbers.
    pub command: &'r str,
    /// SHA-256 of the data file beside the page.
    pub data_sha256: &'r str,
    /// Figures by name, as SVG.
    pub figures: &'r [(&'static str, String)],
}

/// The report of a study as HTML.
#[must_use]
pub fn study_report(inputs: &ReportInputs<'_>, study: &StudyResult) -> String {
    let mut verdict = Section::new("Verdict").text(
        "Made and set inside the plan's tolerances, does the machine meet its requirements, with each way of tying the bridge to its trucks?",
    );
    for (mark, text) in statements(study) {
        verdict = verdict.verdict(mark, text);
    }
    let plan = inputs.plan;
    for (mark, text) in [inputs::subject(&plan.title_block, "the plan"), inputs::grounds(plan)] {
        verdict = if mark == Mark::Good { verdict.text(text) } else { verdict.verdict(mark, text) };
    }
    let page = Page::new(format!("Tolerance study: {}", plan.title)).lead(lead(inputs, study)).running(running(inputs, &plan.title_block));
    let page = page.section(inputs::title_block(plan, None)).section(verdict);
    let page = page.section(parts::machine(inputs)).section(parts::compared(inputs.plan, study, "Arrangements compared"));
    let page = page.section(parts::worst(study)).section(parts::figures(inputs, study)).section(parts::alone(study));
    let findings: Vec<_> = study.arrangements.iter().flat_map(|a| &a.findings).collect();
    let page = page.section(parts::findings(&findings)).section(inputs::inputs(inputs, &plan.errors.sources, None));
    parts::ending(page, inputs, study.seed, study.draws).html()
}

/// What every printed page says of itself.
fn running(inputs: &ReportInputs<'_>, block: &TitleBlock) -> String {
    let known: Vec<&str> = ["drawing", "revision"].iter().filter_map(|key| block.get(key)).collect();
    let drawing = if known.is_empty() { String::new() } else { format!("{}, ", known.join(" ")) };
    let data: String = inputs.data_sha256.chars().take(12).collect();
    format!("{drawing}data {data}, railtrue {}", inputs.origin.version)
}

fn lead(inputs: &ReportInputs<'_>, study: &StudyResult) -> String {
    format!("{}, {} drawn installations, seed {}, railtrue {}", inputs.origin.plan_file, study.draws, study.seed, inputs.origin.version)
}

/// One statement an arrangement, the chosen one first.
fn statements(study: &StudyResult) -> Vec<(Mark, String)> {
    let mut list: Vec<_> = study.arrangements.iter().collect();
    list.sort_by_key(|a| !a.chosen);
    list.into_iter()
        .map(|a| {
            let statuses: Vec<Status> = a.verdicts.iter().map(|v| v.status).collect();
            let (mark, word) = if statuses.contains(&Status::NotMet) {
                (Mark::Bad, "does not meet its requirements")
            } else if statuses.contains(&Status::Undecided) {
                (Mark::Open, "is not decided by these draws")
            } else {
                (Mark::Good, "meets its requirements")
            };
            let chosen = if a.chosen { " (chosen)" } else { "" };
            let asked = a.verdicts.iter().filter(|v| v.status != Status::NotApplicable);
            let details: Vec<String> = asked.map(parts::requirement).collect();
            (mark, format!("{} joints{chosen}: {word}: {}.", a.name, details.join("; ")))
        })
        .collect()
}
