//! Figures of a survey: profiles with limits and uncertainty, loads along the stroke before and after, pads to touch.

use plotters::chart::ChartBuilder;
use plotters::element::{Circle, PathElement, Polygon, Rectangle};
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor, ShapeStyle};

use super::figure::{Canvas, FigureError, GRID, INK, WIDTH, draw, failed, label, px, text, ticks};
use super::numbers::plain;
use crate::input::Plan;
use crate::survey::shims::Item;
use crate::survey::{Curve, Panel, Prediction};
use crate::units::{A, B};

/// Rail A, rail B, one against the other: apart in brightness too.
const LOOKS: [RGBColor; 3] = [RGBColor(190, 85, 20), RGBColor(20, 60, 110), RGBColor(60, 60, 60)];

const PANEL: u32 = 232;

/// Profiles as measured: most likely line, two standard uncertainties, readings, limits; dashed after the correction.
///
/// # Errors
/// The figure could not be drawn.
pub fn survey_profiles(panels: &[Panel], title: &str) -> Result<String, FigureError> {
    let height = 78 + PANEL * panels.len() as u32 + 34;
    let corrected = panels.iter().flat_map(|p| &p.curves).any(|c| c.after.is_some());
    draw(height, &format!("Measured rails: {title}"), |canvas| {
        label(canvas, &format!("Measured rails: {title}"), (WIDTH / 2, 22), 19, true, HPos::Center)?;
        let after = if corrected { "; dashed: after the work list" } else { "" };
        let note = format!(
            "line: most likely; band and bars: \u{b1}2 standard uncertainties; circles: readings; grey edges: the plan's limits{after}"
        );
        label(canvas, &note, (WIDTH / 2, 48), 13, false, HPos::Center)?;
        for (i, panel) in panels.iter().enumerate() {
            let last = i + 1 == panels.len();
            paint(canvas, panel, 66 + PANEL * i as u32, last)?;
        }
        Ok(())
    })
}

fn look(curve: &Curve) -> (RGBColor, u32) {
    match curve.rail {
        Some(A) => (LOOKS[0], 7),
        Some(_) => (LOOKS[1], 12),
        None => (LOOKS[2], 10),
    }
}

fn paint(canvas: &Canvas<'_>, panel: &Panel, top: u32, last: bool) -> Result<(), FigureError> {
    let (first, end) = (panel.x_mm[0], panel.x_mm[panel.x_mm.len() - 1]);
    let mut reach: Vec<f64> =
        panel.curves.iter().flat_map(|c| c.value.iter().zip(&c.uncertainty).flat_map(|(v, u)| [v - 2.0 * u, v + 2.0 * u])).collect();
    reach.extend(panel.curves.iter().flat_map(|c| c.readings.iter().map(|(_, v)| *v)));
    reach.extend(panel.curves.iter().filter_map(|c| c.after.as_ref()).flatten());
    reach.extend(panel.limits.iter().flatten().flatten());
    let (low, high) = reach.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let room = 0.08 * (high - low).max(1e-6);
    let (low, high) = (low - room, high + room);
    let area = canvas.clone().shrink((px(0), px(top)), (px(WIDTH), px(PANEL + if last { 28 } else { 0 })));
    label(canvas, &format!("{} ({})", panel.heading, panel.unit), (96, top + 12), 14, true, HPos::Left)?;
    let mut chart = ChartBuilder::on(&area)
        .margin_top(px(24))
        .margin_right(px(96))
        .margin_left(px(12))
        .margin_bottom(px(2))
        .x_label_area_size(px(if last { 50 } else { 22 }))
        .y_label_area_size(px(80))
        .build_cartesian_2d(first..end, low..high)
        .map_err(failed)?;
    let y_words = |y: &f64| tidy(*y, high - low);
    let mut mesh = chart.configure_mesh();
    mesh.bold_line_style(GRID.stroke_width(4))
        .light_line_style(RGBColor(255, 255, 255))
        .axis_style(INK.stroke_width(5))
        .label_style(text(12, false))
        .axis_desc_style(text(14, false))
        .x_labels(14)
        .y_labels(6)
        .x_label_formatter(&|x| plain(x.round()))
        .y_label_formatter(&y_words);
    if last {
        mesh.x_desc("along the rails, mm");
    }
    mesh.draw().map_err(failed)?;
    if let Some([lower, upper]) = &panel.limits {
        let edge = ShapeStyle { color: RGBColor(110, 110, 110).to_rgba(), filled: false, stroke_width: 6 };
        for side in [lower, upper] {
            chart.draw_series(LineSeries::new(panel.x_mm.iter().copied().zip(side.iter().copied()), edge)).map_err(failed)?;
        }
    }
    for curve in &panel.curves {
        let (colour, width) = look(curve);
        let line = |sign: f64| panel.x_mm.iter().enumerate().map(move |(i, x)| (*x, curve.value[i] + sign * 2.0 * curve.uncertainty[i]));
        let mut ring: Vec<(f64, f64)> = line(1.0).collect();
        ring.extend(line(-1.0).collect::<Vec<_>>().into_iter().rev());
        chart.draw_series(std::iter::once(Polygon::new(ring, colour.mix(0.16).filled()))).map_err(failed)?;
        let bars = (0..panel.x_mm.len()).filter(|i| panel.at_pad[*i]).map(|i| {
            let reach = 2.0 * curve.uncertainty[i];
            PathElement::new(vec![(panel.x_mm[i], curve.value[i] - reach), (panel.x_mm[i], curve.value[i] + reach)], colour.stroke_width(4))
        });
        chart.draw_series(bars).map_err(failed)?;
        chart.draw_series(LineSeries::new(line(0.0), colour.stroke_width(width))).map_err(failed)?;
        if let Some(after) = &curve.after {
            let style = ShapeStyle { color: colour.to_rgba(), filled: false, stroke_width: width };
            let points: Vec<(f64, f64)> = panel.x_mm.iter().copied().zip(after.iter().copied()).collect();
            chart.draw_series(DashedLineSeries::new(points, px(9), px(6), style)).map_err(failed)?;
        }
        chart.draw_series(curve.readings.iter().map(|p| Circle::new(*p, px(3), colour.stroke_width(5)))).map_err(failed)?;
    }
    names(canvas, panel, &|y| chart.backend_coord(&(end, y)))
}

/// Names of the lines at their right ends, apart from each other.
fn names(canvas: &Canvas<'_>, panel: &Panel, at: &dyn Fn(f64) -> (i32, i32)) -> Result<(), FigureError> {
    let mut ends: Vec<(i32, &str)> = panel
        .curves
        .iter()
        .map(|c| {
            let name = match c.rail {
                Some(A) => "rail A",
                Some(_) => "rail B",
                None => "B against A",
            };
            (at(c.value[c.value.len() - 1]).1, name)
        })
        .collect();
    if let Some([_, upper]) = &panel.limits {
        ends.push((at(upper[upper.len() - 1]).1, "limits"));
    }
    ends.sort_by_key(|(y, _)| *y);
    let mut below = i32::MIN;
    for (y, name) in ends {
        let y = y.max(below);
        below = y.saturating_add(px(15) as i32);
        label(canvas, name, (WIDTH - 90, (y / px(1) as i32) as u32), 12, false, HPos::Left)?;
    }
    Ok(())
}

/// An axis label with the decimals that its range needs.
fn tidy(y: f64, range: f64) -> String {
    let decimals = (1.0 - range.log10().floor()).clamp(0.0, 4.0) as usize;
    let text = format!("{y:.decimals$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() { "0".into() } else { text }
}

/// Largest block load along the stroke on these rails: median and 95 in 100, before and after the work list.
///
/// # Errors
/// The figure could not be drawn.
pub fn survey_loads(before: &Prediction, after: Option<&Prediction>, title: &str, unloading_n: f64) -> Result<String, FigureError> {
    let series: Vec<(&Prediction, RGBColor, &str)> =
        std::iter::once((before, LOOKS[0], "as measured")).chain(after.map(|a| (a, LOOKS[1], "after the work list"))).collect();
    let greatest = series.iter().flat_map(|(p, _, _)| &p.stroke_n[3]).copied().fold(unloading_n, f64::max) * 1.1;
    let x = &before.station_x_mm;
    let (first, last) = (x[0], x[x.len() - 1]);
    draw(560, &format!("Largest block load along the stroke: {title}"), |canvas| {
        label(
            canvas,
            &format!("Largest block load along the stroke, {} joints: {title}", before.name),
            (WIDTH / 2, 22),
            18,
            true,
            HPos::Center,
        )?;
        label(
            canvas,
            "band: 5 to 95 in 100 with the uncertainty of survey and making; line: median; dotted: perfect",
            (WIDTH / 2, 46),
            13,
            false,
            HPos::Center,
        )?;
        let mut chart = ChartBuilder::on(canvas)
            .margin_top(px(62))
            .margin_right(px(190))
            .margin_bottom(px(8))
            .margin_left(px(14))
            .x_label_area_size(px(50))
            .y_label_area_size(px(84))
            .build_cartesian_2d(first..last, 0.0..greatest)
            .map_err(failed)?;
        chart
            .configure_mesh()
            .bold_line_style(GRID.stroke_width(4))
            .light_line_style(RGBColor(255, 255, 255))
            .axis_style(INK.stroke_width(5))
            .x_desc("station of the bridge, mm along the rails")
            .y_desc("equivalent load P, N")
            .axis_desc_style(text(14, false))
            .label_style(text(13, false))
            .x_label_formatter(&|x| plain(x.round()))
            .y_label_formatter(&|y| plain(y.round()))
            .draw()
            .map_err(failed)?;
        let mut ends: Vec<(f64, String)> = Vec::new();
        for (p, colour, name) in &series {
            let line = |v: &[f64]| x.iter().copied().zip(v.iter().copied()).collect::<Vec<_>>();
            let mut ring = line(&p.stroke_n[1]);
            ring.extend(line(&p.stroke_n[3]).into_iter().rev());
            chart.draw_series(std::iter::once(Polygon::new(ring, colour.mix(0.2).filled()))).map_err(failed)?;
            chart.draw_series(LineSeries::new(line(&p.stroke_n[2]), colour.stroke_width(9))).map_err(failed)?;
            ends.push((p.stroke_n[2][x.len() - 1], (*name).into()));
        }
        let style = ShapeStyle { color: INK.to_rgba(), filled: false, stroke_width: 7 };
        let perfect: Vec<(f64, f64)> = x.iter().copied().zip(before.stroke_n[0].iter().copied()).collect();
        chart.draw_series(DashedLineSeries::new(perfect, px(3), px(5), style)).map_err(failed)?;
        ends.push((before.stroke_n[0][x.len() - 1], "perfect".into()));
        if unloading_n > 0.0 {
            chart.draw_series(LineSeries::new([(first, unloading_n), (last, unloading_n)], INK.stroke_width(4))).map_err(failed)?;
            ends.push((unloading_n, "a row unloads".into()));
        }
        ends.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut below = i32::MIN;
        for (y, words) in ends {
            let at = chart.backend_coord(&(last, y)).1.max(below);
            below = at.saturating_add(px(17) as i32);
            label(canvas, &words, (WIDTH - 180, (at / px(1) as i32) as u32), 13, false, HPos::Left)?;
        }
        Ok(())
    })
}

/// Plan view of the two rails with the pads to touch: what to add under each, which way to move it.
///
/// # Errors
/// The figure could not be drawn.
pub fn pads_to_touch(plan: &Plan, items: &[Item], title: &str) -> Result<String, FigureError> {
    let anchors = &plan.frame.anchors_x_mm;
    let (first, last) = (anchors[0], anchors[anchors.len() - 1]);
    let across = |x: f64| 110.0 + (x - first) / (last - first) * f64::from(WIDTH - 190);
    // Where pads stand close, only some of them are written out; the work list has them all.
    let spacing = f64::from(WIDTH - 190) / (anchors.len() - 1) as f64;
    let every = (38.0 / spacing).ceil() as usize;
    draw(470, &format!("Pads to touch: {title}"), |canvas| {
        label(canvas, &format!("Pads to touch: {title}"), (WIDTH / 2, 22), 19, true, HPos::Center)?;
        label(
            canvas,
            "filled: touch it; over each pad its number, below it what to add under it and how far to move it, both in mm",
            (WIDTH / 2, 48),
            13,
            false,
            HPos::Center,
        )?;
        for (rail, y) in [(B, 150_u32), (A, 330)] {
            let rail_name = if rail == A { "rail A" } else { "rail B" };
            label(canvas, rail_name, (22, y), 14, true, HPos::Left)?;
            let line = vec![((across(first) * 4.0) as i32, px(y) as i32), ((across(last) * 4.0) as i32, px(y) as i32)];
            canvas.draw(&PathElement::new(line, LOOKS[rail].stroke_width(10))).map_err(failed)?;
            for (i, x) in anchors.iter().enumerate() {
                let item = items.iter().find(|item| item.rail == rail && item.pad == i + 1);
                pad(canvas, (across(*x), y), i + 1, item, (spacing, i % every == 0))?;
            }
        }
        for x in ticks(first, last, 8) {
            label(canvas, &plain(x), (across(x) as u32, 430), 12, false, HPos::Center)?;
        }
        label(canvas, "along the rails, mm; rail B above because y runs from A to B", (WIDTH / 2, 452), 13, false, HPos::Center)
    })
}

fn pad(
    canvas: &Canvas<'_>,
    (x, y): (f64, u32),
    number: usize,
    item: Option<&Item>,
    (spacing, written): (f64, bool),
) -> Result<(), FigureError> {
    let (x4, y4, half) = ((x * 4.0) as i32, px(y) as i32, (4.0 * (0.3 * spacing).min(8.0)) as i32);
    let square = [(x4 - half, y4 - half), (x4 + half, y4 + half)];
    let white = RGBColor(255, 255, 255);
    canvas.draw(&Rectangle::new(square, if item.is_some() { INK.filled() } else { white.filled() })).map_err(failed)?;
    canvas.draw(&Rectangle::new(square, INK.stroke_width(6))).map_err(failed)?;
    if written {
        label(canvas, &number.to_string(), (x as u32, y - 20), 12, item.is_some(), HPos::Center)?;
    }
    let Some(item) = item.filter(|_| written) else { return Ok(()) };
    if item.shim_mm > 0.0 {
        label(canvas, &format!("+{:.2}", item.shim_mm), (x as u32, y + 24), 12, false, HPos::Center)?;
    }
    if item.lateral_mm != 0.0 {
        // An arrow across the rail, to +y upwards.
        let way = if item.lateral_mm > 0.0 { -1 } else { 1 };
        let tip = (x4, y4 + way * px(58) as i32);
        let tail = (x4, y4 + way * px(36) as i32);
        canvas.draw(&PathElement::new(vec![tail, tip], INK.stroke_width(6))).map_err(failed)?;
        let wing = |side: i32| (tip.0 + side * px(5) as i32, tip.1 - way * px(8) as i32);
        canvas.draw(&PathElement::new(vec![wing(-1), tip, wing(1)], INK.stroke_width(6))).map_err(failed)?;
        let words = format!("{:.2}", item.lateral_mm.abs());
        let place = (y as i32 + way * 70) as u32;
        label(canvas, &words, (x as u32, place), 12, false, HPos::Center)?;
    }
    if item.taper_rad != 0.0 {
        label(canvas, &format!("{:+.1} mm/m", item.taper_rad * 1e3), (x as u32, y + 40), 10, false, HPos::Center)?;
    }
    Ok(())
}
