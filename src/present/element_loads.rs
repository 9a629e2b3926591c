//! Loads of a block's rolling elements in one state: in section, and along the rows.

use plotters::element::{Circle, PathElement, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, RGBColor, ShapeStyle};

use super::block_text::{ROWS, element_word};
use super::figure::{FigureError, GRID, INK, WIDTH, draw, failed, look, px, text};
use super::numbers::significant;
use crate::contact::{Contact, RowBlock, Vector5};
use crate::units::{MRAD, N_M};

const HEIGHT: u32 = 760;

/// Colour of an element without load.
const EMPTY: RGBColor = RGBColor(255, 255, 255);

/// Section with each row's contact lines (left) and a bar for every element along the four rows (right), as SVG.
///
/// # Errors
/// The figure could not be drawn.
pub fn element_loads(block: &RowBlock, contact: &Contact, displaced: &Vector5, title: &str) -> Result<String, FigureError> {
    let state = block.at(displaced);
    let greatest = state.element_n.iter().copied().fold(1e-9, f64::max);
    let word = element_word(contact.element);
    let heading = format!("Loads of the {word}s of a displaced block: {title}");
    draw(HEIGHT, &heading, |canvas| {
        let centred = Pos::new(HPos::Center, VPos::Center);
        let at = |x: f64, y: f64| (px(1) as f64 * x, px(1) as f64 * y);
        let point = |x: f64, y: f64| {
            let (x, y) = at(x, y);
            (x.round() as i32, y.round() as i32)
        };
        let write = |what: String, x: f64, y: f64, size: u32, bold: bool, pos: Pos| {
            canvas.draw(&Text::new(what, point(x, y), text(size, bold).pos(pos))).map_err(failed)
        };
        let middle = f64::from(WIDTH) / 2.0;
        write(heading.clone(), middle, 22.0, 19, true, centred)?;
        let d = displaced;
        let moved = format!(
            "truck against rail: y {} um, z {} um, roll {} mrad, pitch {} mrad, yaw {} mrad",
            significant(1e3 * d[0], 3),
            significant(1e3 * d[1], 3),
            significant(d[2] / MRAD, 3),
            significant(d[3] / MRAD, 3),
            significant(d[4] / MRAD, 3)
        );
        write(moved, middle, 48.0, 14, false, centred)?;
        let f = &state.force;
        let force = format!(
            "the truck exerts Fy {:.0} N, Fz {:.0} N, Mx {:.1} N m, My {:.1} N m, Mz {:.1} N m",
            f[0],
            f[1],
            f[2] / N_M,
            f[3] / N_M,
            f[4] / N_M
        );
        write(force, middle, 70.0, 14, false, centred)?;

        // The section, seen along +x: y to the right, z up. The largest element of each row is shown.
        let (cx, cy) = (245.0, 400.0);
        let half = contact.row_lateral_mm.max(contact.row_height_mm) + contact.diameter_mm;
        let scale = 150.0 / half;
        let (colour, _) = look(0, true);
        write("section, seen along +x".into(), cx, 112.0, 14, true, centred)?;
        let rail = [(cx - 0.62 * contact.row_lateral_mm * scale, cy - 105.0), (cx + 0.62 * contact.row_lateral_mm * scale, cy + 150.0)];
        canvas.draw(&Rectangle::new([point(rail[0].0, rail[0].1), point(rail[1].0, rail[1].1)], GRID.filled())).map_err(failed)?;
        write("rail".into(), cx, cy + 130.0, 13, false, centred)?;
        for (row, loads) in block.rows().iter().zip(state.element_n.chunks(contact.count)) {
            let load = loads.iter().copied().fold(0.0, f64::max);
            let (x, y) = (cx + row.y_mm * scale, cy - row.z_mm * scale);
            let reach = 0.5 * contact.diameter_mm * scale + 34.0 * load / greatest;
            let (ux, uy) = (row.press[0], -row.press[1]);
            let line = [point(x - ux * reach, y - uy * reach), point(x + ux * reach, y + uy * reach)];
            canvas.draw(&PathElement::new(line.to_vec(), colour.stroke_width(if load > 0.0 { px(3) } else { px(1) }))).map_err(failed)?;
            let radius = (0.5 * contact.diameter_mm * scale * f64::from(px(1))) as i32;
            let share = load / greatest;
            canvas.draw(&Circle::new(point(x, y), radius, shade(share).filled())).map_err(failed)?;
            canvas.draw(&Circle::new(point(x, y), radius, INK.stroke_width(px(1)))).map_err(failed)?;
            let right = row.y_mm > 0.0;
            let side = Pos::new(if right { HPos::Left } else { HPos::Right }, VPos::Center);
            let label = 0.5 * contact.diameter_mm * scale + 26.0;
            let lift = if row.z_mm > 0.0 { -34.0 } else { 34.0 };
            write(format!("{} N", significant(load, 3)), x + if right { label } else { -label }, y + lift, 13, true, side)?;
        }
        write("y, towards rail B".into(), cx + 110.0, cy + 185.0, 12, false, centred)?;
        write("lines: contact, longer with more load".into(), cx, cy + 215.0, 12, false, centred)?;
        write("figures: largest load in the row".into(), cx, cy + 233.0, 12, false, centred)?;

        // The rows: bars from -x to +x.
        let (left, right) = (545.0, f64::from(WIDTH) - 30.0);
        let band = 150.0;
        for (i, loads) in state.element_n.chunks(contact.count).enumerate() {
            let base = 112.0 + band * (i as f64 + 1.0) - 14.0;
            let high = band - 46.0;
            let name = format!("row {}", ROWS[i]);
            write(name, left, base - high - 14.0, 13, true, Pos::new(HPos::Left, VPos::Center))?;
            let pitch = (right - left) / loads.len() as f64;
            canvas.draw(&PathElement::new(vec![point(left, base), point(right, base)], INK.stroke_width(px(1)))).map_err(failed)?;
            let rest = base - high * block.preload_element_n / greatest;
            let dotted = ShapeStyle { color: INK.to_rgba(), filled: false, stroke_width: px(1) };
            let mut x = left;
            while x < right {
                canvas.draw(&PathElement::new(vec![point(x, rest), point((x + 4.0).min(right), rest)], dotted)).map_err(failed)?;
                x += 9.0;
            }
            for (k, load) in loads.iter().enumerate() {
                let x = left + pitch * k as f64;
                let top = base - high * load / greatest;
                if *load > 0.0 {
                    let bar = [point(x + 0.12 * pitch, top), point(x + 0.88 * pitch, base)];
                    canvas.draw(&Rectangle::new(bar, shade(load / greatest).filled())).map_err(failed)?;
                    canvas.draw(&Rectangle::new(bar, INK.stroke_width(px(1)))).map_err(failed)?;
                }
                if loads.len() <= 24 {
                    write(format!("{load:.0}"), x + pitch / 2.0, (top - 8.0).min(base - 8.0), 11, false, centred)?;
                }
            }
        }
        let note = format!("{word} loads in N from -x to +x; dotted: under preload alone, {} N", significant(block.preload_element_n, 3));
        write(note, f64::midpoint(left, right), f64::from(HEIGHT) - 22.0, 12, false, centred)
    })
}

/// From white (no load) to dark (the greatest): readable in grey.
fn shade(share: f64) -> RGBColor {
    let (colour, _) = look(0, true);
    let mix = |from: u8, to: u8| (f64::from(from) + (f64::from(to) - f64::from(from)) * share.clamp(0.0, 1.0)).round() as u8;
    RGBColor(mix(EMPTY.0, colour.0), mix(EMPTY.1, colour.1), mix(EMPTY.2, colour.2))
}
