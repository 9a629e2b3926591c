//! Force and moment of a block against its displacement, with the straight line that a study uses.

use plotters::chart::ChartBuilder;
use plotters::element::Text;
use plotters::series::{DashedLineSeries, LineSeries};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, RGBColor, ShapeStyle};

use super::figure::{FigureError, GRID, INK, WIDTH, draw, failed, look, px, text};
use super::numbers::{plain, significant};
use crate::contact::{RowBlock, Vector5};
use crate::units::{MRAD, N_M};

/// One curve: heading, axis, component, largest displacement (mm, rad), units of both axes.
type Curve = (&'static str, &'static str, usize, f64, f64, f64);

const CURVES: [Curve; 5] = [
    ("across the rail", "y, um against Fy, N", 0, 0.012, 1e-3, 1.0),
    ("down", "z, um against Fz, N", 1, 0.012, 1e-3, 1.0),
    ("roll", "roll, mrad against Mx, N m", 2, 1.5e-3, MRAD, N_M),
    ("pitch", "pitch, mrad against My, N m", 3, 0.8e-3, MRAD, N_M),
    ("yaw", "yaw, mrad against Mz, N m", 4, 0.8e-3, MRAD, N_M),
];

/// Five curves as SVG: the contacts' force (solid) and the tangent at rest (dashed).
///
/// # Errors
/// The figure could not be drawn.
pub fn block_curves(block: &RowBlock, title: &str) -> Result<String, FigureError> {
    let heading = format!("Force and moment of the block from its balls: {title}");
    draw(760, &heading, |canvas| {
        let head = text(19, true).pos(Pos::new(HPos::Center, VPos::Center));
        canvas.draw(&Text::new(heading.clone(), (px(WIDTH / 2) as i32, px(22) as i32), head)).map_err(failed)?;
        let note = "solid: four rows of balls; dashed: tangent at rest, the straight line of a linear study";
        let small = text(14, false).pos(Pos::new(HPos::Center, VPos::Center));
        canvas.draw(&Text::new(note.to_string(), (px(WIDTH / 2) as i32, px(48) as i32), small)).map_err(failed)?;
        let stiffness = block.stiffness_at_rest();
        for (i, (name, axes, component, most, way, force)) in CURVES.iter().enumerate() {
            let (column, row) = (i as u32 % 3, i as u32 / 3);
            let area = canvas.margin(px(70), px(4), px(4), px(8)).split_evenly((2, 3));
            let panel = &area[(row * 3 + column) as usize];
            let at = |t: f64| {
                let mut d = Vector5::zeros();
                d[*component] = t * most;
                block.at(&d).force[*component] / force
            };
            let points: Vec<(f64, f64)> = (-60..=60).map(|k| f64::from(k) / 60.0).map(|t| (t * most / way, at(t))).collect();
            let high = points.iter().map(|p| p.1.abs()).fold(1e-9, f64::max) * 1.15;
            let mut chart = ChartBuilder::on(panel)
                .caption(format!("{name}: {axes}"), text(13, true))
                .margin(px(10))
                .x_label_area_size(px(26))
                .y_label_area_size(px(58))
                .build_cartesian_2d(-most / way..most / way, -high..high)
                .map_err(failed)?;
            chart
                .configure_mesh()
                .bold_line_style(GRID.stroke_width(4))
                .light_line_style(RGBColor(255, 255, 255))
                .axis_style(INK.stroke_width(4))
                .x_labels(5)
                .y_labels(5)
                .label_style(text(12, false))
                .x_label_formatter(&|x| plain((x * 100.0).round() / 100.0))
                .y_label_formatter(&|y| significant(*y, 3).trim_end_matches(".0").into())
                .draw()
                .map_err(failed)?;
            let (colour, width) = look(0, true);
            chart.draw_series(LineSeries::new(points.clone(), colour.stroke_width(width))).map_err(failed)?;
            let straight = points.iter().map(|(x, _)| (*x, stiffness[*component] * x * way / force)).filter(|(_, y)| y.abs() <= high);
            let style = ShapeStyle { color: INK.to_rgba(), filled: false, stroke_width: 6 };
            chart.draw_series(DashedLineSeries::new(straight.collect::<Vec<_>>(), px(5), px(4), style)).map_err(failed)?;
        }
        Ok(())
    })
}
