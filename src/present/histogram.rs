//! Life and extra load of all drawn installations, every arrangement in one figure.

use plotters::element::{PathElement, Polygon};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor};

use super::figure::{
    Canvas, FigureError, GRID, INK, PAGE_TEXT, PAGE_WIDTH, draw_sized, failed, headline, label, log_ticks, look, px, ticks,
};
use super::numbers::{plain, significant};
use crate::evaluate::Reading;
use crate::input::plan::Measure;
use crate::study::{ArrangementResult, StudyResult};

/// Number of classes of a histogram.
const CLASSES: usize = 90;

/// Frame of one panel in pixels: left, right, top, bottom.
const LEFT: u32 = 90;
const RIGHT: u32 = PAGE_WIDTH - 30;

/// What the marks on the axis are.
const TRIANGLES: &str = "triangles: worst inside the tolerances, attained (filled) and proven bound (open)";

/// Attained value and bound.
type Marks = (f64, Option<f64>);

/// One quantity over all draws.
struct Panel<'a> {
    heading: &'a str,
    axis: &'a str,
    /// True for a logarithmic axis.
    log: bool,
    of: Reading,
    /// Factor of the axis.
    times: f64,
    /// The worst of an arrangement that the tolerances allow: attained, bound.
    worst: fn(&ArrangementResult) -> Option<Marks>,
    /// A limit to draw, with its label.
    limit: Option<(f64, String)>,
    top: u32,
    bottom: u32,
}

/// Histograms of life (above) and of the extra load (below), as SVG.
///
/// # Errors
/// The figure could not be drawn.
pub fn histograms(study: &StudyResult, title: &str) -> Result<String, FigureError> {
    let life_limit = study.arrangements.first().and_then(|a| {
        let v = a.verdicts.iter().find(|v| v.requirement.measure == Measure::Life)?;
        Some((v.requirement.limit, format!("required {} km", plain(v.requirement.limit))))
    });
    let extra_is_log = study.arrangements.iter().all(|a| a.tally.of(Reading::ExtraLoad).low() > 0.0);
    let panels = [
        Panel {
            heading: "Life of the bearing system",
            axis: "life, km (logarithmic)",
            log: true,
            of: Reading::Life,
            times: 1.0,
            worst: |a| a.worst.get("life_km").map(|b| (b.attained, b.bound)),
            limit: life_limit,
            top: 110,
            bottom: 420,
        },
        Panel {
            heading: "Rise of the largest block load over the perfect installation",
            axis: if extra_is_log { "extra load, N (logarithmic)" } else { "extra load, N" },
            log: extra_is_log,
            of: Reading::ExtraLoad,
            times: 1.0,
            worst: |a| a.worst.get("peak_load_n").map(|b| (b.outcome.extra_load_n, None)),
            limit: None,
            top: 560,
            bottom: 870,
        },
    ];
    draw_sized((PAGE_WIDTH, 960), &format!("Histograms of life and extra load: {title}"), |canvas| {
        headline(canvas, title, 22, 22, true)?;
        let note = format!(
            "{} installations drawn as the plan spreads its errors, the same ones for every arrangement",
            plain(study.draws as f64)
        );
        headline(canvas, &note, 50, PAGE_TEXT, false)?;
        panels.iter().try_for_each(|panel| panel.paint(canvas, &study.arrangements))
    })
}

/// Histogram of the floats' travel, arrangements without floats left out, as SVG; `None` where there are none.
///
/// # Errors
/// The figure could not be drawn.
pub fn float_travel(study: &StudyResult, title: &str) -> Result<Option<String>, FigureError> {
    let floating: Vec<ArrangementResult> = study.arrangements.iter().filter(|a| a.has_floats).cloned().collect();
    if floating.is_empty() {
        return Ok(None);
    }
    let verdicts = floating.iter().flat_map(|a| &a.verdicts);
    let limit = verdicts.filter(|v| v.requirement.measure == Measure::FloatTravel).map(|v| v.requirement.limit).next();
    let panel = Panel {
        heading: "Largest share of a float's travel",
        axis: "share of the travel, % (100 is the stop)",
        log: false,
        of: Reading::FloatTravel,
        times: 100.0,
        worst: |a| a.worst.get("float_travel_used").map(|b| (100.0 * b.attained, b.bound.map(|x| 100.0 * x))),
        limit: limit.map(|l| (100.0 * l, format!("allowed {} %", plain((1e4 * l).round() / 1e2)))),
        top: 110,
        bottom: 420,
    };
    let figure = draw_sized((PAGE_WIDTH, 510), &format!("Histogram of float travel: {title}"), |canvas| {
        headline(canvas, title, 22, 22, true)?;
        let note = format!("{} installations drawn as the plan spreads its errors", plain(study.draws as f64));
        headline(canvas, &note, 50, PAGE_TEXT, false)?;
        panel.paint(canvas, &floating)
    })?;
    Ok(Some(figure))
}

impl Panel<'_> {
    fn paint(&self, canvas: &Canvas<'_>, arrangements: &[ArrangementResult]) -> Result<(), FigureError> {
        let place = |v: f64| if self.log { v.max(1e-9).log10() } else { v };
        let drawn = |a: &ArrangementResult| a.tally.of(self.of).rising().map(|(v, n)| (place(self.times * v), n)).collect();
        let samples: Vec<Vec<(f64, u64)>> = arrangements.iter().map(drawn).collect();
        let (low, high) = self.range(&samples, arrangements, place);
        let x = |v: f64| px(LEFT) as f64 + (v - low) / (high - low) * f64::from(px(RIGHT - LEFT));
        let shares: Vec<Vec<f64>> = samples.iter().map(|s| classes(s, low, high)).collect();
        let greatest = shares.iter().flatten().copied().fold(1e-9, f64::max) * 1.22;
        let y = |share: f64| f64::from(px(self.bottom)) - share / greatest * f64::from(px(self.bottom - self.top));
        self.axes(canvas, (low, high), x, y, greatest)?;
        let edge = |i: usize| x(low + (high - low) * i as f64 / CLASSES as f64);
        let mut names: Vec<(f64, f64, String)> = Vec::new();
        for (i, (arrangement, share)) in arrangements.iter().zip(&shares).enumerate() {
            outline(canvas, share, look(i, arrangement.chosen), edge, y)?;
            let peak = (0..CLASSES).max_by(|&a, &b| share[a].total_cmp(&share[b])).unwrap_or(0);
            let chosen = if arrangement.chosen { " (chosen)" } else { "" };
            let name = format!("{} joints{chosen}", arrangement.name);
            let half = name.chars().count() as f64 * 4.4;
            let middle = edge(peak) / 4.0 + 4.0;
            // Beside the line of the limit, not across it.
            let line = self.limit.as_ref().map(|(limit, _)| x(place(*limit)) / 4.0).filter(|line| (middle - line).abs() < half + 8.0);
            let beside = line.map_or(middle, |line| line + (half + 8.0).copysign(middle - line));
            let across = beside.clamp(f64::from(LEFT) + half, f64::from(RIGHT) - half);
            names.push((across, (y(share[peak]) / 4.0 - 14.0).max(f64::from(self.top) + 22.0), name));
        }
        for (across, height, name) in apart(names) {
            label(canvas, &name, (across as u32, height as u32), 18, true, HPos::Center)?;
        }
        for (i, arrangement) in arrangements.iter().enumerate() {
            let Some((attained, bound)) = (self.worst)(arrangement) else { continue };
            let colour = look(i, arrangement.chosen).0;
            for (value, filled) in bound.map(|b| (b, false)).into_iter().chain([(attained, true)]) {
                triangle(canvas, x(place(value)) as i32, px(self.bottom) as i32, colour, filled)?;
            }
        }
        if let Some((limit, words)) = &self.limit {
            let at = x(place(*limit)) as i32;
            dashed(canvas, at, px(self.top) as i32, px(self.bottom) as i32)?;
            let side = if place(*limit) > low + 0.7 * (high - low) { HPos::Right } else { HPos::Left };
            let shift = if matches!(side, HPos::Right) { -8 } else { 8 };
            label(canvas, words, ((at / 4 + shift) as u32, self.top + 8), PAGE_TEXT, false, side)?;
        }
        label(canvas, self.heading, (LEFT, self.top - 26), 19, true, HPos::Left)
    }

    /// Range of the axis: all samples and the limit, with room at both sides.
    fn range(&self, samples: &[Vec<(f64, u64)>], arrangements: &[ArrangementResult], place: impl Fn(f64) -> f64) -> (f64, f64) {
        let perfect = arrangements.iter().map(|a| place(self.times * self.of.of(&a.perfect))).filter(|_| self.limit.is_some());
        let limit = self.limit.iter().map(|(l, _)| place(*l));
        let worst = arrangements.iter().filter_map(self.worst).flat_map(|(a, b)| [Some(a), b]).flatten().map(&place);
        let all = samples
            .iter()
            .flatten()
            .map(|(v, _)| *v)
            .chain(perfect)
            .chain(limit)
            .chain(worst.collect::<Vec<_>>())
            .filter(|v| v.is_finite());
        let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let room = ((high - low) * 0.04).max(if self.log { 0.05 } else { 1.0 });
        (low - room, high + room)
    }

    fn axes(
        &self,
        canvas: &Canvas<'_>,
        (low, high): (f64, f64),
        x: impl Fn(f64) -> f64,
        y: impl Fn(f64) -> f64,
        greatest: f64,
    ) -> Result<(), FigureError> {
        let line = |from: (i32, i32), to: (i32, i32), colour: RGBColor, width: u32| {
            canvas.draw(&PathElement::new(vec![from, to], colour.stroke_width(width))).map_err(failed)
        };
        let marks = if self.log { log_ticks(low, high) } else { ticks(low, high, 6) };
        for mark in marks {
            let at = x(mark) as i32;
            line((at, px(self.top) as i32), (at, px(self.bottom) as i32), GRID, 4)?;
            let value = if self.log { 10.0_f64.powf(mark) } else { mark };
            label(
                canvas,
                significant(value, 3).trim_end_matches(".0"),
                ((at / 4) as u32, self.bottom + 18),
                PAGE_TEXT,
                false,
                HPos::Center,
            )?;
        }
        for share in ticks(0.0, greatest, 4) {
            let at = y(share) as i32;
            line((px(LEFT) as i32, at), (px(RIGHT) as i32, at), GRID, 4)?;
            label(
                canvas,
                &format!("{} %", plain((1e4 * share).round() / 1e2)),
                (LEFT - 10, (at / 4) as u32),
                PAGE_TEXT,
                false,
                HPos::Right,
            )?;
        }
        line((px(LEFT) as i32, px(self.bottom) as i32), (px(RIGHT) as i32, px(self.bottom) as i32), INK, 6)?;
        label(canvas, self.axis, (u32::midpoint(LEFT, RIGHT), self.bottom + 43), PAGE_TEXT, false, HPos::Center)?;
        label(canvas, TRIANGLES, (u32::midpoint(LEFT, RIGHT), self.bottom + 66), PAGE_TEXT, false, HPos::Center)?;
        label(canvas, "share of installations in each class", (LEFT, self.top - 2), PAGE_TEXT, false, HPos::Left)
    }
}

/// One arrangement's classes as a filled outline.
fn outline(
    canvas: &Canvas<'_>,
    share: &[f64],
    (colour, width): (RGBColor, u32),
    edge: impl Fn(usize) -> f64,
    y: impl Fn(f64) -> f64,
) -> Result<(), FigureError> {
    let filled: Vec<usize> = (0..CLASSES).filter(|&i| share[i] > 0.0).collect();
    let (Some(&first), Some(&last)) = (filled.first(), filled.last()) else { return Ok(()) };
    let at = |i: usize, share: f64| (edge(i) as i32, y(share) as i32);
    let mut path = vec![at(first, 0.0)];
    for (i, s) in share.iter().enumerate().take(last + 1).skip(first) {
        path.extend([at(i, *s), at(i + 1, *s)]);
    }
    path.push(at(last + 1, 0.0));
    canvas.draw(&Polygon::new(path.clone(), colour.mix(0.35).filled())).map_err(failed)?;
    canvas.draw(&PathElement::new(path, colour.stroke_width(width))).map_err(failed)
}

/// Raises labels (middle, height, words in pixels) until none covers another.
fn apart(mut labels: Vec<(f64, f64, String)>) -> Vec<(f64, f64, String)> {
    labels.sort_by(|a, b| b.1.total_cmp(&a.1));
    for i in 1..labels.len() {
        while labels[..i]
            .iter()
            .any(|l| (l.1 - labels[i].1).abs() < 22.0 && (l.0 - labels[i].0).abs() < (l.2.len() + labels[i].2.len()) as f64 * 5.3)
        {
            labels[i].1 -= 4.0;
        }
    }
    labels
}

/// Share of the sample in each class.
fn classes(sample: &[(f64, u64)], low: f64, high: f64) -> Vec<f64> {
    let mut counts = vec![0.0; CLASSES];
    let all: u64 = sample.iter().map(|(_, n)| n).sum();
    for (v, n) in sample.iter().filter(|(v, _)| v.is_finite()) {
        let i = ((v - low) / (high - low) * CLASSES as f64).clamp(0.0, CLASSES as f64 - 1.0);
        counts[i as usize] += *n as f64 / all as f64;
    }
    counts
}

/// A mark that stands on the axis with its point up.
fn triangle(canvas: &Canvas<'_>, x: i32, y: i32, colour: RGBColor, filled: bool) -> Result<(), FigureError> {
    let corners = vec![(x, y - 52), (x + 28, y), (x - 28, y), (x, y - 52)];
    if filled {
        canvas.draw(&Polygon::new(corners.clone(), colour.filled())).map_err(failed)?;
    }
    canvas.draw(&PathElement::new(corners, colour.stroke_width(8))).map_err(failed)
}

fn dashed(canvas: &Canvas<'_>, x: i32, top: i32, bottom: i32) -> Result<(), FigureError> {
    let mut y = top;
    while y < bottom {
        let end = (y + 32).min(bottom);
        canvas.draw(&PathElement::new(vec![(x, y), (x, end)], INK.stroke_width(8))).map_err(failed)?;
        y += 52;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_hold_every_value_once() {
        let sample: Vec<(f64, u64)> = (0..1000).map(|i| (f64::from(i) / 100.0, 1 + i as u64 % 3)).collect();
        assert!((classes(&sample, 0.0, 10.0).iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert!((classes(&sample, 2.0, 8.0).iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
