//! Bars of the variance shares, every arrangement beside the others, the sources in one common order.

use plotters::element::{PathElement, Rectangle};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor};

use super::figure::{Canvas, FigureError, GRID, INK, WIDTH, draw, failed, label, px, ticks};
use super::numbers::percent;
use crate::math::sobol::Share;
use crate::study::{OUTPUTS, SharesResult, SourceShares};

/// Where the bars begin, and the right end of the last panel, in pixels.
const LEFT: u32 = 345;
const RIGHT: u32 = WIDTH - 30;
const GAP: u32 = 40;
const TOP: u32 = 150;
const ROW: u32 = 25;

/// Shares of the straight line below this are not marked.
const LEAST: f64 = 2e-3;

const TOTAL: RGBColor = RGBColor(170, 195, 220);
const FIRST: RGBColor = RGBColor(20, 60, 110);
const SHADE: RGBColor = RGBColor(246, 246, 246);
const LINEAR: RGBColor = RGBColor(190, 85, 20);

/// Shares in the variance of one output (its number in [`OUTPUTS`]) as SVG.
///
/// # Errors
/// The figure could not be drawn.
pub fn share_bars(result: &SharesResult, output: usize, title: &str) -> Result<String, FigureError> {
    let order = order(result, output);
    let heading = format!("Share of each error in the scatter of the {}: {title}", OUTPUTS[output].1);
    let bottom = TOP + ROW * order.len() as u32;
    let largest = result.arrangements.iter().flat_map(|a| &a.sources).map(|s| reach(s, output)).fold(0.1, f64::max);
    draw(bottom + 62, &heading, |canvas| {
        label(canvas, &heading, (WIDTH / 2, 24), 19, true, HPos::Center)?;
        let note = format!("part of the variance over {} pairs of drawn installations; temperatures and drag as in service", result.rows);
        label(canvas, &note, (WIDTH / 2, 50), 14, false, HPos::Center)?;
        legend(canvas, 80)?;
        for row in (0..order.len() as u32).step_by(2) {
            let corners = [(px(20) as i32, px(TOP + ROW * row) as i32), (px(RIGHT) as i32, px(TOP + ROW * (row + 1)) as i32)];
            canvas.draw(&Rectangle::new(corners, SHADE.filled())).map_err(failed)?;
        }
        for (row, s) in order.iter().enumerate() {
            let Some(source) = result.arrangements.first().map(|a| &a.sources[*s]) else { continue };
            label(canvas, source.label, (LEFT - 12, TOP + ROW * row as u32 + ROW / 2), 13, false, HPos::Right)?;
        }
        let n = result.arrangements.len() as u32;
        let wide = (RIGHT - LEFT - GAP * (n - 1)) / n;
        for (i, a) in result.arrangements.iter().enumerate() {
            let left = LEFT + i as u32 * (wide + GAP);
            let panel = Panel { left, wide, bottom, largest };
            let chosen = if a.chosen { " (chosen)" } else { "" };
            label(canvas, &format!("{} joints{chosen}", a.name), (left, TOP - 26), 15, true, HPos::Left)?;
            panel.grid(canvas)?;
            for (row, s) in order.iter().enumerate() {
                let source = &a.sources[*s];
                panel.bar(canvas, TOP + ROW * row as u32 + ROW / 2, &source.shares[output], source.linear[output])?;
            }
        }
        label(canvas, "share of the variance", (LEFT + (RIGHT - LEFT) / 2, bottom + 44), 14, false, HPos::Center)
    })
}

/// Numbers of the sources, the largest total index in any arrangement first.
fn order(result: &SharesResult, output: usize) -> Vec<usize> {
    let n = result.arrangements.first().map_or(0, |a| a.sources.len());
    let most = |s: usize| result.arrangements.iter().map(|a| a.sources[s].shares[output].total.value).fold(0.0, f64::max);
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| most(b).total_cmp(&most(a)));
    order
}

fn reach(s: &SourceShares, output: usize) -> f64 {
    s.shares[output].total.interval().1.max(s.linear[output])
}

struct Panel {
    left: u32,
    wide: u32,
    bottom: u32,
    largest: f64,
}

impl Panel {
    /// Quarter pixels from the left for a share.
    fn x(&self, share: f64) -> i32 {
        let at = share.clamp(0.0, self.largest) / self.largest;
        (f64::from(px(self.left)) + at * f64::from(px(self.wide))) as i32
    }

    fn grid(&self, canvas: &Canvas<'_>) -> Result<(), FigureError> {
        for tick in ticks(0.0, self.largest, 4) {
            let x = self.x(tick);
            let (colour, width) = if tick == 0.0 { (INK, 4) } else { (GRID, 4) };
            canvas
                .draw(&PathElement::new(vec![(x, px(TOP - 8) as i32), (x, px(self.bottom) as i32)], colour.stroke_width(width)))
                .map_err(failed)?;
            let words = percent(tick).replace(".0 %", " %");
            label(canvas, &words, (x as u32 / 4, self.bottom + 16), 12, false, HPos::Center)?;
        }
        Ok(())
    }

    fn bar(&self, canvas: &Canvas<'_>, middle: u32, share: &Share, linear: f64) -> Result<(), FigureError> {
        let y = |pixels: f64| ((f64::from(middle) + pixels) * 4.0) as i32;
        let filled = |half: f64, value: f64, colour: RGBColor| {
            let corners = [(self.x(0.0), y(-half)), (self.x(value), y(half))];
            canvas.draw(&Rectangle::new(corners, colour.filled())).map_err(failed)
        };
        filled(8.0, share.total.value, TOTAL)?;
        filled(4.0, share.first.value, FIRST)?;
        let (low, high) = share.total.interval();
        let line = |points: Vec<(i32, i32)>, colour: RGBColor, width: u32| {
            canvas.draw(&PathElement::new(points, colour.stroke_width(width))).map_err(failed)
        };
        if self.x(high) - self.x(low) > 6 {
            line(vec![(self.x(low), y(0.0)), (self.x(high), y(0.0))], INK, 4)?;
            [low, high].into_iter().try_for_each(|end| line(vec![(self.x(end), y(-4.0)), (self.x(end), y(4.0))], INK, 4))?;
        }
        if linear < LEAST {
            return Ok(());
        }
        line(vec![(self.x(linear), y(-10.0)), (self.x(linear), y(10.0))], LINEAR, 10)
    }
}

fn legend(canvas: &Canvas<'_>, at: u32) -> Result<(), FigureError> {
    let boxed = |left: u32, half: u32, colour: RGBColor| {
        let corners = [(px(left) as i32, px(at - half) as i32), (px(left + 30) as i32, px(at + half) as i32)];
        canvas.draw(&Rectangle::new(corners, colour.filled())).map_err(failed)
    };
    boxed(90, 4, FIRST)?;
    label(canvas, "by itself (first order)", (128, at), 13, false, HPos::Left)?;
    boxed(330, 8, TOTAL)?;
    label(canvas, "with its interactions (total), 95 % sure inside the whisker", (368, at), 13, false, HPos::Left)?;
    let tick = vec![(px(850) as i32, px(at - 10) as i32), (px(850) as i32, px(at + 10) as i32)];
    canvas.draw(&PathElement::new(tick, LINEAR.stroke_width(10))).map_err(failed)?;
    label(canvas, "straight line through nominal", (862, at), 13, false, HPos::Left)
}
