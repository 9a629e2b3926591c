//! The largest block load along the stroke, every arrangement in one figure.

use plotters::chart::ChartBuilder;
use plotters::element::{PathElement, Polygon, Text};
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, RGBColor, ShapeStyle};

use super::figure::{FigureError, GRID, INK, PAGE_TEXT, PAGE_WIDTH, draw_sized, failed, headline, look, px, text};
use super::numbers::{plain, significant};
use crate::study::{ArrangementResult, StudyResult};

/// Largest equivalent load of any block at each station: perfect, median and 95 % of the installations, as SVG.
///
/// `unloading_n` is the load at which a row of balls unloads; it is drawn as a line.
///
/// # Errors
/// The figure could not be drawn.
pub fn loads_along_stroke(study: &StudyResult, title: &str, unloading_n: f64) -> Result<String, FigureError> {
    let kept = study.arrangements.first().map_or(0, |a| a.band.installations);
    let bands: Vec<_> = study.arrangements.iter().enumerate().map(|(i, a)| (a, &a.band, look(i, a.chosen))).collect();
    let worst = |a: &ArrangementResult| a.worst.get("peak_load_n").map(|b| b.stroke_peak_n.clone()).unwrap_or_default();
    let greatest = bands.iter().flat_map(|(a, _, _)| worst(a)).fold(unloading_n, f64::max) * 1.12;
    let stations: Vec<f64> = bands.first().map_or_else(Vec::new, |(_, b, _)| b.station_x_mm.clone());
    let (first, last) = (stations.first().copied().unwrap_or(0.0), stations.last().copied().unwrap_or(1.0));
    draw_sized((PAGE_WIDTH, 660), &format!("Largest block load along the stroke: {title}"), |canvas| {
        headline(canvas, &format!("Largest block load along the stroke: {title}"), 22, 21, true)?;
        headline(canvas, &format!("solid: median and 95 % of the first {} installations", plain(kept as f64)), 50, PAGE_TEXT, false)?;
        headline(canvas, "dashed: installation with the worst load; dotted: perfect", 74, PAGE_TEXT, false)?;
        // Beside the longest name the longest of the words that go with it.
        let longest = bands.iter().map(|(a, _, _)| a.name.chars().count()).max().unwrap_or(0) + " perfect".len();
        let room = (20 + 10 * longest as u32).clamp(160, PAGE_WIDTH / 2);
        let mut chart = ChartBuilder::on(canvas)
            .margin_top(px(96))
            .margin_right(px(room))
            .margin_bottom(px(10))
            .margin_left(px(16))
            .x_label_area_size(px(60))
            .y_label_area_size(px(96))
            .build_cartesian_2d(first..last, 0.0..greatest)
            .map_err(failed)?;
        chart
            .configure_mesh()
            .bold_line_style(GRID.stroke_width(4))
            .light_line_style(RGBColor(255, 255, 255))
            .axis_style(INK.stroke_width(5))
            .x_desc("station of the bridge, mm along the rails")
            .y_desc("equivalent load P, N")
            .axis_desc_style(text(PAGE_TEXT, false))
            .label_style(text(PAGE_TEXT, false))
            .x_label_formatter(&|x| plain(x.round()))
            .y_label_formatter(&|y| significant(*y, 4).trim_end_matches(".0").into())
            .draw()
            .map_err(failed)?;
        let mut labels = Vec::new();
        for (a, band, (colour, width)) in &bands {
            let name = &a.name;
            let line = |values: &[f64]| stations.iter().copied().zip(values.iter().copied()).collect::<Vec<_>>();
            let mut ring = line(&band.median_n);
            ring.extend(line(&band.high_n).into_iter().rev());
            chart.draw_series(std::iter::once(Polygon::new(ring, colour.mix(0.28).filled()))).map_err(failed)?;
            for values in [&band.median_n, &band.high_n] {
                chart.draw_series(LineSeries::new(line(values), colour.stroke_width(*width))).map_err(failed)?;
            }
            let dots = DashedLineSeries::new(
                line(&band.perfect_n),
                px(3),
                px(5),
                ShapeStyle { color: colour.to_rgba(), filled: false, stroke_width: 9 },
            );
            chart.draw_series(dots).map_err(failed)?;
            let worst = worst(a);
            let dashes = DashedLineSeries::new(
                line(&worst),
                px(11),
                px(6),
                ShapeStyle { color: colour.to_rgba(), filled: false, stroke_width: *width },
            );
            chart.draw_series(dashes).map_err(failed)?;
            let end = |v: &[f64]| v.last().copied().unwrap_or(0.0);
            labels.push((end(&worst), format!("{name} worst")));
            labels.push((end(&band.high_n), format!("{name} 95 %")));
            labels.push((end(&band.median_n), format!("{name} median")));
            labels.push((end(&band.perfect_n), format!("{name} perfect")));
        }
        if unloading_n > 0.0 {
            chart
                .draw_series(std::iter::once(PathElement::new(vec![(first, unloading_n), (last, unloading_n)], INK.stroke_width(4))))
                .map_err(failed)?;
            labels.push((unloading_n, "a row unloads".into()));
        }
        let lines: Vec<f64> = labels.iter().map(|(y, _)| *y).collect();
        let places = spread(&lines, greatest * 0.047);
        for ((y, words), place) in labels.into_iter().zip(places) {
            let (from, to) = (chart.backend_coord(&(last, y)), chart.backend_coord(&(last, place)));
            let leader = vec![from, (to.0 + px(12) as i32, to.1)];
            canvas.draw(&PathElement::new(leader, INK.stroke_width(2))).map_err(failed)?;
            let style = text(PAGE_TEXT, false).pos(Pos::new(HPos::Left, VPos::Center));
            canvas.draw(&Text::new(words, (to.0 + px(15) as i32, to.1), style)).map_err(failed)?;
        }
        Ok(())
    })
}

/// Places for labels near the wanted ones, at least `gap` apart: clusters of labels spread about their middle.
fn spread(wanted: &[f64], gap: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
    let mut clusters: Vec<Vec<usize>> = Vec::new();
    let middle = |c: &[usize]| c.iter().map(|&i| wanted[i]).sum::<f64>() / c.len() as f64;
    let half = |c: &[usize]| gap * (c.len() - 1) as f64 / 2.0;
    for i in order {
        clusters.push(vec![i]);
        while let [.., before, last] = clusters.as_slice()
            && middle(last) - half(last) < middle(before) + half(before) + gap
        {
            let last = clusters.pop().unwrap_or_default();
            if let Some(before) = clusters.last_mut() {
                before.extend(last);
            }
        }
    }
    let mut places = wanted.to_vec();
    for c in clusters {
        let low = (middle(&c) - half(&c)).max(gap / 2.0);
        c.iter().enumerate().for_each(|(k, &i)| places[i] = low + gap * k as f64);
    }
    // Clusters that were kept off the axis may have come too close to the next.
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|&a, &b| places[a].total_cmp(&places[b]).then(wanted[a].total_cmp(&wanted[b])));
    for pair in order.windows(2) {
        places[pair[1]] = places[pair[1]].max(places[pair[0]] + gap);
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stay_in_order_and_apart() {
        let wanted = [5.0, 5.1, 1.0, 5.2, 9.0];
        let places = spread(&wanted, 1.0);
        for (i, a) in wanted.iter().enumerate() {
            for (j, b) in wanted.iter().enumerate() {
                assert!(i == j || (places[i] - places[j]).abs() >= 1.0 - 1e-12);
                assert!(a <= b || places[i] > places[j]);
            }
        }
        assert_eq!((places[2], places[4]), (1.0, 9.0));
    }
}
