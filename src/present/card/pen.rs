//! A pen for sketches: lines, arrows and numbered badges in pixels from a corner of its own.

use plotters::element::{Circle, PathElement, Polygon};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor, WHITE};

use crate::present::figure::{Canvas, FigureError, INK, failed, label};

/// Nominal lines and zones.
pub(super) const PALE: RGBColor = RGBColor(200, 204, 210);

/// Rails, bridge and trucks as they are.
pub(super) const DARK: RGBColor = RGBColor(20, 60, 110);

/// What is measured.
pub(super) const MARK: RGBColor = RGBColor(150, 60, 10);

/// A place on the canvas, pixels.
pub(super) type Place = (f64, f64);

/// Draws in pixels from a corner of its own.
#[derive(Clone, Copy)]
pub(super) struct Pen<'c, 'a> {
    pub(super) canvas: &'c Canvas<'a>,
    pub(super) corner: Place,
}

impl Pen<'_, '_> {
    /// The same pen with its corner moved.
    pub(super) fn moved(self, by: Place) -> Self {
        Self { corner: (self.corner.0 + by.0, self.corner.1 + by.1), ..self }
    }

    /// Quarter pixels on the canvas.
    fn fine(&self, at: Place) -> (i32, i32) {
        (((self.corner.0 + at.0) * 4.0).round() as i32, ((self.corner.1 + at.1) * 4.0).round() as i32)
    }

    /// A line through places.
    pub(super) fn line(&self, places: &[Place], colour: RGBColor, width: f64) -> Result<(), FigureError> {
        let path: Vec<(i32, i32)> = places.iter().map(|p| self.fine(*p)).collect();
        self.canvas.draw(&PathElement::new(path, colour.stroke_width((width * 4.0).round() as u32))).map_err(failed)
    }

    /// A dashed straight line.
    pub(super) fn dashed(&self, from: Place, to: Place, colour: RGBColor, width: f64) -> Result<(), FigureError> {
        let length = (to.0 - from.0).hypot(to.1 - from.1);
        let at = |d: f64| (from.0 + (to.0 - from.0) * d / length, from.1 + (to.1 - from.1) * d / length);
        let dashes = (length / 12.0) as usize;
        (0..=dashes).try_for_each(|i| self.line(&[at(i as f64 * 12.0), at((i as f64 * 12.0 + 7.0).min(length))], colour, width))
    }

    /// A filled shape.
    pub(super) fn fill(&self, places: &[Place], colour: RGBColor) -> Result<(), FigureError> {
        let path: Vec<(i32, i32)> = places.iter().map(|p| self.fine(*p)).collect();
        self.canvas.draw(&Polygon::new(path, colour.filled())).map_err(failed)
    }

    /// A measured length: a line with a head at each end.
    pub(super) fn measure(&self, from: Place, to: Place) -> Result<(), FigureError> {
        self.line(&[from, to], MARK, 2.0)?;
        self.head(from, to)?;
        self.head(to, from)
    }

    /// The head of an arrow at `to`.
    pub(super) fn head(&self, from: Place, to: Place) -> Result<(), FigureError> {
        let length = (to.0 - from.0).hypot(to.1 - from.1).max(1e-9);
        let (ux, uy) = ((to.0 - from.0) / length, (to.1 - from.1) / length);
        let size = 9.0_f64.min(0.6 * length);
        let base = (to.0 - size * ux, to.1 - size * uy);
        self.fill(&[to, (base.0 - 0.4 * size * uy, base.1 + 0.4 * size * ux), (base.0 + 0.4 * size * uy, base.1 - 0.4 * size * ux)], MARK)
    }

    /// Words flush with a place on one side.
    pub(super) fn words(&self, words: &str, at: Place, size: u32, bold: bool, side: HPos) -> Result<(), FigureError> {
        label(self.canvas, words, ((self.corner.0 + at.0) as u32, (self.corner.1 + at.1) as u32), size, bold, side)
    }

    /// A number in a circle, the one of its row in the table.
    pub(super) fn badge(&self, number: usize, at: Place) -> Result<(), FigureError> {
        self.canvas.draw(&Circle::new(self.fine(at), 13 * 4, WHITE.filled())).map_err(failed)?;
        self.canvas.draw(&Circle::new(self.fine(at), 13 * 4, MARK.stroke_width(7))).map_err(failed)?;
        self.words(&number.to_string(), (at.0, at.1 + 1.0), 15, true, HPos::Center)
    }

    /// A frame with a heading.
    pub(super) fn frame(&self, size: Place, heading: &str) -> Result<(), FigureError> {
        let (w, h) = size;
        self.line(&[(0.0, 0.0), (w, 0.0), (w, h), (0.0, h), (0.0, 0.0)], PALE, 1.0)?;
        self.words(heading, (10.0, 16.0), 15, true, HPos::Left)
    }

    /// A small note.
    pub(super) fn note(&self, words: &str, at: Place, side: HPos) -> Result<(), FigureError> {
        self.words(words, at, 14, false, side)
    }

    /// A line of the page's ink.
    pub(super) fn rule(&self, from: Place, to: Place, width: f64) -> Result<(), FigureError> {
        self.line(&[from, to], INK, width)
    }
}
