//! The report of a review of callouts.

use super::{ReportInputs, inputs, lead, parts, running, statements};
use crate::input::callouts::Callouts;
use crate::present::page::{Cell, Mark, Page, Section, Table};
use crate::present::review_findings::review_findings;
use crate::present::review_text::{CalloutRow, HEADER, HEADROOM, advice, mapping, rows};
use crate::present::review_verdict::{grounds, headline};
use crate::study::review::{Judgement, Level, Review};

/// The report of a review as HTML.
#[must_use]
pub fn review_report(inputs: &ReportInputs<'_>, callouts: &Callouts, review: &Review) -> String {
    let mut verdict = Section::new("Verdict")
        .text("Made to this drawing, and set at installation where the drawing says so, does the machine meet its requirements?");
    let (chosen, others): (Vec<_>, Vec<_>) = review.arrangements.iter().enumerate().partition(|(_, a)| a.chosen);
    for (i, a) in chosen.into_iter().chain(others) {
        let mark = match a.verdict.level {
            Level::NotControlled | Level::NotMet => Mark::Bad,
            Level::Open => Mark::Open,
            Level::OnAssumptions | Level::Met => Mark::Good,
        };
        verdict = verdict.verdict(mark, format!("{}.", headline(a))).list(grounds(callouts, review, i));
    }
    for (mark, text) in [inputs::subject(&callouts.title_block, "the table of callouts"), inputs::grounds(inputs.plan)] {
        verdict = if mark == Mark::Good { verdict.text(text) } else { verdict.verdict(mark, text) };
    }
    if let (Some(a), Some(b)) = (callouts.title_block.get("machine"), inputs.plan.title_block.get("machine"))
        && a != b
    {
        verdict = verdict.verdict(Mark::Open, format!("The table of callouts is for machine {a}, the plan for machine {b}."));
    }
    let chosen = review.arrangements.iter().find(|a| a.chosen);
    let loose = chosen.map_or(0, |a| a.callouts.iter().filter(|c| c.judgement == Judgement::TooLoose).count());
    if loose > 0 {
        verdict = verdict.verdict(
            Mark::Bad,
            format!("{loose} of {} callouts allow more than the chosen arrangement can take as drawn.", callouts.list.len()),
        );
    }
    verdict = verdict.list(review.arrangements.iter().flat_map(|a| advice(callouts, a)));
    let mut numbers = Section::new("The numbers behind it");
    for (when, study) in [("As drawn", &review.drawn), ("After installation adjustment", &review.adjusted)] {
        for (_, text) in statements(study) {
            numbers = numbers.text(format!("{when}: {text}"));
        }
    }
    verdict = verdict.section(numbers);
    let mut table = Section::new("Callouts")
        .text(HEADROOM)
        .text("Shares are total shares of the callout's errors added up: with errors that act together they pass 100 %.");
    for a in review.arrangements.iter().filter(|a| a.chosen).chain(review.arrangements.iter().filter(|a| !a.chosen)) {
        table = table.table(callout_table(inputs, callouts, a));
    }
    let mut map = Table::new("Which error takes its limits from which callout", ["error", "as drawn", "from", "after adjustment"]);
    for row in mapping(callouts, &review.assignment) {
        map = map.row(row.map(Cell::text));
    }
    let fits = review_findings(callouts, &review.assignment);
    let findings: Vec<_> = fits.iter().chain(review.drawn.arrangements.iter().flat_map(|a| &a.findings)).collect();
    let page = Page::new(format!("Review of callouts: {}", inputs.plan.title)).lead(lead(inputs, &review.drawn));
    let page = page.running(running(inputs, &callouts.title_block));
    let page = page.section(inputs::title_block(inputs.plan, Some(&callouts.title_block))).section(verdict);
    let page = page.section(table).section(Section::new("Mapping").table(map)).section(parts::findings(&findings));
    let page = page
        .section(parts::machine(inputs))
        .section(parts::compared(inputs.plan, &review.drawn, "Arrangements compared, as drawn"))
        .section(parts::compared(inputs.plan, &review.adjusted, "Arrangements compared, after installation adjustment"))
        .section(parts::worst(&review.drawn))
        .section(parts::figures(inputs, &review.drawn))
        .section(inputs::inputs(inputs, &review.assignment.drawn, Some((callouts, &review.assignment))));
    parts::ending(page, inputs, review.drawn.seed, review.drawn.draws).html()
}

fn callout_table(inputs: &ReportInputs<'_>, callouts: &Callouts, a: &crate::study::review::ArrangementReview) -> Table {
    let chosen = if a.chosen { ", chosen" } else { "" };
    let mut table = Table::new(format!("{} joints{chosen}", a.name), HEADER);
    for r in rows(inputs.plan, callouts, a) {
        let CalloutRow { item, controls, allows, needs, headroom, stopped_by, life, load, verdict } = r;
        table = table.row([
            Cell::text(item),
            Cell::text(controls),
            Cell::text(allows),
            Cell::text(needs),
            Cell::number(headroom),
            Cell::text(stopped_by),
            Cell::number(life),
            Cell::number(load),
            Cell::text(verdict).strong(),
        ]);
    }
    table
}
