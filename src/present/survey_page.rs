//! A survey as one page to hand over: verdict, work list, figures, where it comes from, a place to sign.

use super::json::Origin;
use super::page::{Cell, Figure, Mark, Page, Section, Table};
use super::summary::{CAUTIONS, words};
use super::survey_doubts::{doubt_finding, in_doubt, not_stated};
use super::survey_text::{CHECK_HEAD, CHECK_NOTE, PREDICTION_HEAD, check_rows, prediction_rows, probability};
use super::work_list_text::{LIMITS_HEAD, assumed, head, limit_rows, lives, row};
use crate::input::Plan;
use crate::input::survey::Survey;
use crate::study::{Finding, Status};
use crate::survey::shims::Correction;
use crate::survey::{Check, Conformity, Doubt, Prediction};

/// What a page of a survey shows.
#[derive(Debug, Clone, Copy)]
pub struct SurveyPage<'s> {
    /// The plan.
    pub plan: &'s Plan,
    /// The survey as it was read.
    pub survey: &'s Survey,
    /// What was done to the readings, in sentences.
    pub said: &'s [String],
    /// Limits and predictions on the rails as they are.
    pub now: (&'s [Check], &'s [Prediction]),
    /// The work list, with limits and predictions after it.
    pub correction: Option<(&'s Correction, &'s [Check], &'s [Prediction])>,
    /// What the user can act on.
    pub findings: &'s [Finding],
    /// Doubts about the survey as a whole.
    pub unsure: &'s [Doubt],
    /// Figures: name, SVG.
    pub figures: &'s [(&'static str, String)],
    /// SHA-256 of the survey's file.
    pub survey_sha256: &'s str,
    /// Where the plan comes from.
    pub origin: &'s Origin,
}

impl SurveyPage<'_> {
    /// The page as HTML that stands alone.
    #[must_use]
    pub fn html(&self) -> String {
        let mut page = Page::new("Survey of the rails").lead(format!("{}; {}", self.plan.title, self.survey.file)).section(self.verdict());
        if let Some((correction, checks, predictions)) = &self.correction {
            page = page.section(self.work_list(correction, checks, predictions));
        }
        page.section(self.limits())
            .section(self.predictions())
            .section(self.pictures())
            .section(self.read())
            .section(self.hand_over())
            .html()
    }

    fn verdict(&self) -> Section {
        let (checks, predictions) = self.now;
        let of = |wanted: Conformity| checks.iter().filter(|c| c.decision.verdict == wanted).map(|c| c.label).collect::<Vec<_>>();
        let passed = of(Conformity::Pass).len();
        let mark = if passed == checks.len() { Mark::Good } else { Mark::Open };
        let mut section =
            Section::new("Verdict").verdict(mark, format!("{passed} of {} limits of the plan are shown to be kept.", checks.len()));
        for (wanted, mark, words) in [
            (Conformity::Fail, Mark::Bad, "Out of limits"),
            (Conformity::NotDecidable, Mark::Open, "Not yet decided"),
            (Conformity::NotSeen, Mark::Open, "Not read"),
        ] {
            let list = of(wanted);
            if !list.is_empty() {
                section = section.verdict(mark, format!("{words}: {}.", list.join("; ")));
            }
        }
        if let Some(words) = in_doubt(self.findings, self.unsure, self.now.0) {
            section = section.verdict(Mark::Bad, format!("In doubt: {words}"));
        }
        if let Some(words) = not_stated(self.unsure) {
            section = section.verdict(Mark::Open, format!("Not stated: {words}"));
        }
        for p in predictions {
            let counted = || p.verdicts.iter().filter(|v| v.status != Status::NotApplicable);
            let mark = if counted().all(|v| v.status == Status::Met) {
                Mark::Good
            } else if counted().any(|v| v.status == Status::NotMet) {
                Mark::Bad
            } else {
                Mark::Open
            };
            let parts: Vec<String> = counted().map(|v| format!("{} {}", words(v.requirement.measure), probability(v))).collect();
            let chosen = if p.chosen { ", chosen" } else { "" };
            section = section.verdict(mark, format!("{} joints{chosen}: {}.", p.name, parts.join(", ")));
        }
        section
    }

    fn work_list(&self, correction: &Correction, checks: &[Check], predictions: &[Prediction]) -> Section {
        let mut section = Section::new("Work list");
        if let Some(words) = in_doubt(self.findings, self.unsure, self.now.0) {
            section = section.verdict(Mark::Bad, format!("Not yet to be carried out: {words}"));
        }
        if let Some(words) = not_stated(self.unsure) {
            section = section.verdict(Mark::Open, format!("Make sure first, not stated: {words}"));
        }
        let stops = correction.stopped_by.iter().map(|s| format!("What stops it: {s}."));
        if correction.items.is_empty() {
            return section.text("No pad that may be moved would help.").list(stops);
        }
        section = assumed(self.plan).into_iter().fold(section, Section::text);
        let tapered = correction.items.iter().any(|i| i.taper_rad != 0.0);
        // The pad heads its row; the box to tick comes last.
        let columns = if tapered { 1..7 } else { 1..6 };
        let order = || columns.clone().chain([0]);
        let mut table = Table::new("Up along rail A and back along rail B", order().map(|i| head(tapered)[i]));
        for item in &correction.items {
            let cells = row(item);
            table = table.row(order().map(|i| Cell::text(cells[i].clone())));
        }
        section = section.table(table).text(
            "Move across: + away from rail A towards rail B's side. Loosen, shim, tighten to torque, then check the torque once more and survey again.",
        );
        section = self.figure(section, "pads-to-touch");
        if !correction.stopped_by.is_empty() {
            section = section.list(stops);
        }
        let mut after = Table::new("Predicted after it (uncertainty of the survey; shims as thick as they say)", LIMITS_HEAD);
        for cells in limit_rows(self.now.0, checks) {
            after = after.row(cells_of(cells, 1..4));
        }
        section.table(after).list(self.now.1.iter().zip(predictions).map(|(b, a)| lives(b, a)))
    }

    fn limits(&self) -> Section {
        let mut table = Table::new("Measured against the plan's limits", CHECK_HEAD);
        for cells in check_rows(self.now.0) {
            table = table.row(cells_of(cells, 1..3));
        }
        Section::new("Limits").table(table).text(CHECK_NOTE.replace('\n', " "))
    }

    fn predictions(&self) -> Section {
        let mut section = Section::new("What the machine will do on these rails").text(
            "Rails as measured, the rest drawn as the plan tolerates it; the probability is that this machine meets the requirement.",
        );
        for p in self.now.1 {
            let chosen = if p.chosen { " (chosen)" } else { "" };
            let mut table = Table::new(format!("{} joints{chosen}", p.name), PREDICTION_HEAD);
            for cells in prediction_rows(self.plan, p) {
                table = table.row(cells_of(cells, 1..4));
            }
            section = section.table(table);
        }
        section
    }

    fn pictures(&self) -> Section {
        let named = ["profiles", "load-along-stroke", "what-has-moved"];
        named.into_iter().fold(Section::new("Profiles and loads"), |section, name| self.figure(section, name))
    }

    fn figure(&self, section: Section, name: &str) -> Section {
        let (title, words) = match name {
            "profiles" => (
                "Measured rails",
                "Span, height, straightness and cross-level of both rails along the stroke, with uncertainty bands, readings and the plan's limits; the figures stand in the table of limits.",
            ),
            "load-along-stroke" => (
                "Largest block load along the stroke",
                "Largest block load at each station on perfect rails and on these, with the range of 5 to 95 in 100 draws.",
            ),
            "pads-to-touch" => (
                "Pads to touch",
                "Both rails from above with every pad; those to touch are filled, with what to add under each and how far to move it, as in the work list.",
            ),
            _ => (
                "What has moved",
                "Each limit's value over the surveys of this machine, with uncertainty bars and the straight line through them.",
            ),
        };
        match self.figures.iter().find(|(n, _)| *n == name) {
            Some((_, svg)) => section.figure(Figure::new(svg.clone(), title, words)),
            None => section,
        }
    }

    fn read(&self) -> Section {
        let mut section = Section::new("What was read").list(self.said.iter().cloned());
        let whole = self.unsure.iter().map(doubt_finding);
        let findings: Vec<String> = self.findings.iter().cloned().chain(whole).map(|f| f.sentence()).collect();
        if !findings.is_empty() {
            section = section.section(Section::new("Findings").list(findings));
        }
        section
    }

    fn hand_over(&self) -> Section {
        Section::new("Hand over")
            .caution(CAUTIONS.replace('\n', " "))
            .facts([
                ("survey".to_string(), format!("{}, SHA-256 {}", self.survey.file, self.survey_sha256)),
                ("plan".into(), format!("{}, SHA-256 {}", self.origin.plan_file, self.origin.plan_sha256)),
                ("railtrue".into(), format!("version {}, seed {}", self.origin.version, self.plan.study.seed)),
            ])
            .signatures(["measured by", "work done by", "taken over by"])
    }
}

/// Cells of a row, those in `numbers` set as numbers.
fn cells_of<const N: usize>(cells: [String; N], numbers: std::ops::Range<usize>) -> Vec<Cell> {
    let cell = |(i, text): (usize, String)| if numbers.contains(&i) { Cell::number(text) } else { Cell::text(text) };
    cells.into_iter().enumerate().map(cell).collect()
}
