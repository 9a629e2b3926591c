//! The two rails of one installation with their errors, exaggerated.

use plotters::element::{Circle, PathElement};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor};

use super::figure::{Canvas, FigureError, GRID, PAGE_TEXT, PAGE_WIDTH, draw_sized, failed, headline, label, px};
use super::numbers::{plain, significant};
use crate::geometry::Rails;
use crate::input::{Installation, Plan};
use crate::units::MRAD;

const LEFT: u32 = 80;
const RIGHT: u32 = PAGE_WIDTH - 50;
/// Height over which the largest deviation is drawn, pixels.
const REACH: f64 = 62.0;
const RAIL: [RGBColor; 2] = [RGBColor(190, 85, 20), RGBColor(20, 60, 110)];

/// One view: heading, unit, value of each rail along x.
struct View {
    heading: &'static str,
    unit: &'static str,
    /// Middle line of each rail, pixels from the top.
    middle: [u32; 2],
    values: [Vec<f64>; 2],
}

/// Plan view, elevation and cross-level of both rails, as SVG; each view states its own exaggeration.
///
/// # Errors
/// The plan's anchors do not make a rail, or the figure could not be drawn.
pub fn rails_drawing(plan: &Plan, installation: &Installation, title: &str) -> Result<String, FigureError> {
    let rails = Rails::new(plan).ok_or_else(|| failed("the plan's anchors make no rail"))?;
    let anchors = &plan.frame.anchors_x_mm;
    let (first, last) = (anchors[0], anchors[anchors.len() - 1]);
    let xs: Vec<f64> = (0..=160).map(|i| first + (last - first) * f64::from(i) / 160.0).collect();
    let along = |what: usize, scale: f64| -> [Vec<f64>; 2] {
        [0, 1].map(|side| xs.iter().map(|&x| rails.line_at(side, x, installation)[what] / scale).collect())
    };
    let views = [
        View { heading: "Plan view, across the rails", unit: "mm", middle: [300, 170], values: along(0, 1.0) },
        View { heading: "Elevation: height", unit: "mm", middle: [510, 510], values: along(1, 1.0) },
        View { heading: "Cross-level of each rail's seat", unit: "mm/m", middle: [730, 730], values: along(2, MRAD) },
    ];
    draw_sized((PAGE_WIDTH, 830), &format!("The two rails with their errors: {title}"), |canvas| {
        headline(canvas, &format!("The two rails with their errors: {title}"), 22, 21, true)?;
        let note = format!(
            "{} to {} mm along the rails; span {} mm; errors exaggerated as stated in each view",
            plain(first),
            plain(last),
            plain(plan.frame.span_mm)
        );
        headline(canvas, &note, 50, PAGE_TEXT, false)?;
        views.iter().try_for_each(|view| view.paint(canvas, &xs, anchors))
    })
}

impl View {
    fn paint(&self, canvas: &Canvas<'_>, xs: &[f64], anchors: &[f64]) -> Result<(), FigureError> {
        let (first, last) = (xs[0], xs[xs.len() - 1]);
        let across = |x: f64| f64::from(LEFT) + (x - first) / (last - first) * f64::from(RIGHT - LEFT);
        let largest = self.values.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
        let scale = if largest > 0.0 { REACH / largest } else { 1.0 };
        // Pixels per mm along the rails against pixels per unit of error.
        let along = f64::from(RIGHT - LEFT) / (last - first);
        let how = match (largest > 0.0, self.unit) {
            (false, _) => "no error".to_string(),
            (true, "mm") => format!("exaggerated {} times; largest {} mm", significant(scale / along, 2), significant(largest, 2)),
            (true, unit) => format!("largest {} {unit}", significant(largest, 2)),
        };
        label(canvas, &format!("{} - {how}", self.heading), (LEFT, self.middle[0].min(self.middle[1]) - 84), 18, true, HPos::Left)?;
        for middle in self.middle {
            let nominal = vec![((across(first) * 4.0) as i32, px(middle) as i32), ((across(last) * 4.0) as i32, px(middle) as i32)];
            canvas.draw(&PathElement::new(nominal, GRID.stroke_width(6))).map_err(failed)?;
        }
        for (side, (colour, values)) in RAIL.iter().zip(&self.values).enumerate() {
            let middle = f64::from(self.middle[side]);
            let at = |x: f64, v: f64| ((across(x) * 4.0) as i32, ((middle - v * scale) * 4.0) as i32);
            let path: Vec<(i32, i32)> = xs.iter().zip(values).map(|(x, v)| at(*x, *v)).collect();
            canvas.draw(&PathElement::new(path, colour.stroke_width(if side == 0 { 9 } else { 13 }))).map_err(failed)?;
            for anchor in anchors {
                let i = ((anchor - first) / (last - first) * (xs.len() - 1) as f64).round() as usize;
                let value = values[i.min(xs.len() - 1)];
                canvas.draw(&Circle::new(at(*anchor, value), px(3), colour.filled())).map_err(failed)?;
            }
        }
        self.names(canvas, |side, v| f64::from(self.middle[side]) - v * scale)
    }

    /// Names of the rails at both ends, apart from each other.
    fn names(&self, canvas: &Canvas<'_>, y: impl Fn(usize, f64) -> f64) -> Result<(), FigureError> {
        let last = self.values[0].len() - 1;
        for (at, x, side_of, prefix) in [(0, LEFT - 12, HPos::Right, "rail "), (last, RIGHT + 14, HPos::Left, "")] {
            let (a, b) = (y(0, self.values[0][at]), y(1, self.values[1][at]));
            let push = ((20.0 - (a - b).abs()) / 2.0).max(0.0) * if a > b { 1.0 } else { -1.0 };
            label(canvas, &format!("{prefix}A"), (x, (a + push) as u32), PAGE_TEXT, true, side_of)?;
            label(canvas, &format!("{prefix}B"), (x, (b - push) as u32), PAGE_TEXT, true, side_of)?;
        }
        Ok(())
    }
}
