//! Surveys of one machine over time: a table, and a figure of what moved.

use std::fmt::Write as _;

use plotters::chart::ChartBuilder;
use plotters::element::{Circle, PathElement};
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor, ShapeStyle};

use super::figure::{Canvas, FigureError, GRID, INK, WIDTH, draw, label, px, text};
use super::numbers::significant;
use super::survey_text::with_uncertainty;
use super::tables::{align_right, plain_table};
use crate::input::survey::date_of;
use crate::survey::history::{Change, Epoch, PadMoved};
use crate::survey::{Check, Conformity};
use crate::units::SIDES;

/// What moved between the surveys, and where a straight line leads.
#[must_use]
pub fn history_text(epochs: &[Epoch], changes: &[Change], pads: &[PadMoved], shimmed: bool) -> String {
    let mut out = String::from("WHAT HAS MOVED\n");
    for (i, e) in epochs.iter().enumerate() {
        let _ = writeln!(out, "survey {}: {}{}", i + 1, e.file, e.day.map_or(", not dated".into(), |d| format!(", {}", date_of(d))));
    }
    let mut table = plain_table(["", "first", "last", "moved by", "u of that", "", "moved?", "in a year", "leaves its limits"]);
    for c in changes {
        let (Some(first), Some(last)) = (c.values.first(), c.values.last()) else { continue };
        let (by, u) = with_uncertainty(last.1 - first.1, first.2.hypot(last.2));
        let moved = match c.moved_at {
            Some(i) => epochs[i].day.map_or_else(|| format!("YES, by survey {}", i + 1), |d| format!("YES, by {}", date_of(d))),
            None => "not shown".into(),
        };
        let sure = c.trend.filter(|t| t.per_year.abs() > 1.96 * t.uncertainty);
        table.add_row([
            c.label.into(),
            with_uncertainty(first.1, first.2).0,
            with_uncertainty(last.1, last.2).0,
            by,
            u,
            c.unit.into(),
            moved,
            sure.map_or_else(|| "-".into(), |t| format!("{}{}", if t.per_year > 0.0 { "+" } else { "" }, significant(t.per_year, 2))),
            sure.and_then(|t| t.leaves_day).map_or_else(|| "-".into(), date_of),
        ]);
    }
    align_right(&mut table, 1..5);
    let line = if shimmed {
        "Pads were shimmed before the last survey: what moved holds that too, so no line is drawn through it. Drift is counted anew from the last survey on."
    } else {
        "The date is that of a straight line, no more: nothing says that it goes on like that."
    };
    let _ = writeln!(out, "{table}\nmoved: by more than 1.96 times the uncertainty of the difference. {line}");
    for p in pads.iter().take(8) {
        let direction = ["across", "in height", "in cross-level"][p.direction];
        let unit = if p.direction == 2 { "mm/m" } else { "mm" };
        let (by, u) = with_uncertainty(p.by, p.uncertainty);
        let _ =
            writeln!(out, "- pad {}{} moved {direction} by {by} {unit} (u {u}) against its own rail", SIDES[p.rail].to_uppercase(), p.pad);
    }
    out.push('\n');
    out
}

/// What a work list that was printed promised of one limit.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedLimit {
    /// Key in the plan's errors.
    pub key: String,
    /// Value after the list, in the limit's unit.
    pub value: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// False where the limit was not read then.
    pub seen: bool,
}

/// After a work list: what was predicted against what is measured now.
#[must_use]
pub fn prediction_check(expected: &[ExpectedLimit], now: &[Check]) -> String {
    let mut table = plain_table(["after the work list", "predicted", "measured", "difference", "u of that", "", ""]);
    let read = now.iter().filter(|n| n.decision.verdict != Conformity::NotSeen && n.lower.is_some());
    for (e, n) in read.filter_map(|n| expected.iter().find(|e| e.seen && e.key == n.key).map(|e| (e, n))) {
        let u = e.uncertainty.hypot(n.uncertainty);
        let (by, shown) = with_uncertainty(n.value - e.value, u);
        let word = if (n.value - e.value).abs() > 1.96 * u { "NOT as predicted" } else { "as predicted" };
        table.add_row([
            n.label.into(),
            with_uncertainty(e.value, u).0,
            with_uncertainty(n.value, u).0,
            by,
            shown,
            n.unit.into(),
            word.to_string(),
        ]);
    }
    align_right(&mut table, 1..5);
    format!("DID THE WORK LIST DO WHAT IT SAID\n{table}\n\n")
}

/// The limits that moved most, over time, each with its limits and the straight line; `None` without dates or movement.
///
/// # Errors
/// The figure could not be drawn.
pub fn history_figure(epochs: &[Epoch], changes: &[Change], title: &str) -> Result<Option<String>, FigureError> {
    let Some(days) = epochs.iter().map(|e| e.day).collect::<Option<Vec<i64>>>() else { return Ok(None) };
    let mut shown: Vec<&Change> = changes.iter().filter(|c| c.trend.is_some()).collect();
    let sure = |c: &Change| c.trend.map_or(0.0, |t| t.per_year.abs() / t.uncertainty);
    shown.sort_by(|a, b| sure(b).total_cmp(&sure(a)));
    shown.truncate(4);
    let (Some(&first), Some(&last)) = (days.iter().min(), days.iter().max()) else { return Ok(None) };
    if shown.is_empty() || first == last {
        return Ok(None);
    }
    let (from, ahead) = (first - (last - first) / 12 - 1, last + (last - first).max(30));
    let height = 70 + 220 * shown.len() as u32 + 10;
    let svg = draw(height, &format!("What has moved: {title}"), |canvas| {
        label(canvas, &format!("What has moved: {title}"), (WIDTH / 2, 22), 19, true, HPos::Center)?;
        let note = "circles: surveys with \u{b1}2 standard uncertainties; dashed, where the change is sure: a straight line, no forecast; grey: the plan's limits";
        label(canvas, note, (WIDTH / 2, 48), 13, false, HPos::Center)?;
        shown.iter().enumerate().try_for_each(|(i, c)| paint(canvas, c, &days, (from, ahead), 64 + 220 * i as u32))
    })?;
    Ok(Some(svg))
}

fn paint(canvas: &Canvas<'_>, c: &Change, days: &[i64], (first, ahead): (i64, i64), top: u32) -> Result<(), FigureError> {
    let failed = super::figure::failed;
    let limits: Vec<f64> = c.limits.0.into_iter().chain([c.limits.1]).collect();
    let mut reach: Vec<f64> = c.values.iter().flat_map(|(_, v, u)| [v - 2.0 * u, v + 2.0 * u]).collect();
    reach.extend(&limits);
    let (low, high) = reach.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let room = 0.1 * (high - low).max(1e-6);
    let (low, high) = (low - room, high + room);
    let area = canvas.clone().shrink((px(0), px(top)), (px(WIDTH), px(216)));
    label(canvas, &format!("{} ({})", c.label, c.unit), (96, top + 12), 14, true, HPos::Left)?;
    let mut chart = ChartBuilder::on(&area)
        .margin_top(px(24))
        .margin_right(px(60))
        .margin_left(px(12))
        .x_label_area_size(px(26))
        .y_label_area_size(px(80))
        .build_cartesian_2d(first as f64..ahead as f64, low..high)
        .map_err(failed)?;
    chart
        .configure_mesh()
        .bold_line_style(GRID.stroke_width(4))
        .light_line_style(RGBColor(255, 255, 255))
        .axis_style(INK.stroke_width(5))
        .label_style(text(12, false))
        .x_labels(8)
        .y_labels(6)
        .x_label_formatter(&|x| date_of(x.round() as i64))
        .draw()
        .map_err(failed)?;
    for limit in limits {
        let grey = RGBColor(110, 110, 110).stroke_width(6);
        chart.draw_series(LineSeries::new([(first as f64, limit), (ahead as f64, limit)], grey)).map_err(failed)?;
    }
    let dark = RGBColor(20, 60, 110);
    if let Some(t) = c.trend.filter(|t| t.per_year.abs() > 1.96 * t.uncertainty) {
        let (mid, mean) = centre(c, days);
        let at = |day: f64| mean + t.per_year / 365.25 * (day - mid);
        // The line ends where it leaves the picture.
        let line: Vec<(f64, f64)> = (0..=60)
            .map(|k| first as f64 + (ahead - first) as f64 * f64::from(k) / 60.0)
            .map(|d| (d, at(d)))
            .filter(|p| p.1 > low && p.1 < high)
            .collect();
        let style = ShapeStyle { color: dark.to_rgba(), filled: false, stroke_width: 7 };
        chart.draw_series(DashedLineSeries::new(line, px(8), px(6), style)).map_err(failed)?;
    }
    let bars = c
        .values
        .iter()
        .map(|(i, v, u)| PathElement::new(vec![(days[*i] as f64, v - 2.0 * u), (days[*i] as f64, v + 2.0 * u)], dark.stroke_width(7)));
    chart.draw_series(bars).map_err(failed)?;
    chart.draw_series(c.values.iter().map(|(i, v, _)| Circle::new((days[*i] as f64, *v), px(4), dark.filled()))).map_err(failed)?;
    Ok(())
}

/// The weighted middle that the line goes through.
fn centre(c: &Change, days: &[i64]) -> (f64, f64) {
    let weight: f64 = c.values.iter().map(|(_, _, u)| u.powi(-2)).sum();
    let mid: f64 = c.values.iter().map(|(i, _, u)| u.powi(-2) * days[*i] as f64).sum::<f64>() / weight;
    (mid, c.values.iter().map(|(_, v, u)| u.powi(-2) * v).sum::<f64>() / weight)
}
