//! Life loss over two errors: filled levels and lines, every arrangement beside the others on one scale.

use plotters::element::{PathElement, Polygon, Rectangle};
use plotters::style::text_anchor::HPos;
use plotters::style::{Color, RGBColor, WHITE};

use super::contour::{Point, region};
use super::figure::{Canvas, FigureError, INK, WIDTH, draw, failed, label, px, ticks};
use super::numbers::{percent, plain, significant};
use crate::study::{ArrangementMap, Axis, MAP_CELLS, Map};

/// Levels of life loss; between two of them one colour.
const LEVELS: [f64; 7] = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99];

/// Colours below the first level, between levels, above the last: each darker than the one before it.
const RAMP: [RGBColor; 8] = [
    RGBColor(252, 250, 240),
    RGBColor(240, 232, 200),
    RGBColor(219, 213, 160),
    RGBColor(176, 196, 150),
    RGBColor(122, 168, 158),
    RGBColor(80, 132, 158),
    RGBColor(52, 90, 138),
    RGBColor(32, 48, 98),
];

const REQUIRED: RGBColor = RGBColor(190, 60, 0);
const TOP: u32 = 130;

/// Filled contours as SVG.
///
/// # Errors
/// The figure could not be drawn.
pub fn life_map(map: &Map, title: &str) -> Result<String, FigureError> {
    let n = map.arrangements.len() as u32;
    // Cells are whole pixels, so that no seam shows between them.
    let cell: u32 = if n <= 2 { 4 } else { 2 };
    let side = cell * MAP_CELLS as u32;
    let gap = (WIDTH - 60 - n * side) / (n + 1).max(1);
    let heading = format!("Life loss over {} and {}", map.x.label, map.y.label);
    let bottom = TOP + side;
    draw(bottom + 190, &format!("{heading}: {title}"), |canvas| {
        label(canvas, &heading, (WIDTH / 2, 24), 18, true, HPos::Center)?;
        let service = if map.still { "no temperatures, no shaft wind-up" } else { "temperatures, shaft wind-up and drag as in service" };
        let note = format!("{title}; all other errors zero; {service}");
        label(canvas, &note, (WIDTH / 2, 50), 14, false, HPos::Center)?;
        for (i, a) in map.arrangements.iter().enumerate() {
            let left = 60 + gap / 2 + i as u32 * (side + gap);
            Panel { map, a, left, cell, side }.paint(canvas, i == 0)?;
        }
        legend(canvas, map, bottom + 84)
    })
}

struct Panel<'a> {
    map: &'a Map,
    a: &'a ArrangementMap,
    left: u32,
    cell: u32,
    side: u32,
}

impl Panel<'_> {
    /// Quarter pixels of a point of the grid; rows count from below.
    fn at(&self, p: Point) -> (i32, i32) {
        let fine = f64::from(4 * self.cell);
        let x = f64::from(px(self.left)) + p.0 * fine;
        let y = f64::from(px(TOP + self.side)) - p.1 * fine;
        (x.round() as i32, y.round() as i32)
    }

    /// The grid's coordinate of a value on an axis.
    fn along(axis: &Axis, value: f64) -> f64 {
        let (first, last) = (axis.values[0], axis.values[axis.values.len() - 1]);
        ((value - first) / (last - first)).clamp(0.0, 1.0) * MAP_CELLS as f64
    }

    fn paint(&self, canvas: &Canvas<'_>, first: bool) -> Result<(), FigureError> {
        let chosen = if self.a.chosen { " (chosen)" } else { "" };
        let perfect = significant(self.a.perfect_life_km, 3);
        let words = format!("{} joints{chosen}; perfect {perfect} km", self.a.name);
        label(canvas, &words, (self.left, TOP - 40), 15, true, HPos::Left)?;
        let cells = MAP_CELLS as f64;
        canvas.draw(&Rectangle::new([self.at((0.0, 0.0)), self.at((cells, cells))], RAMP[0].filled())).map_err(failed)?;
        // Life falls steeply, so levels are sought between corners on its logarithm.
        let fall = self.a.life_km.iter().map(|row| row.iter().map(|km| (self.a.perfect_life_km / km).ln()).collect()).collect::<Vec<_>>();
        let regions = LEVELS.map(|level| region(&fall, -(1.0 - level).ln()));
        for (region, colour) in regions.iter().zip(&RAMP[1..]) {
            for (row, from, to) in &region.runs {
                let corners = [self.at((*from as f64, *row as f64)), self.at((*to as f64, *row as f64 + 1.0))];
                canvas.draw(&Rectangle::new(corners, colour.filled())).map_err(failed)?;
            }
            for part in &region.parts {
                canvas.draw(&Polygon::new(part.iter().map(|p| self.at(*p)).collect::<Vec<_>>(), colour.filled())).map_err(failed)?;
            }
        }
        let mut taken: Vec<(i32, i32)> = Vec::new();
        regions.iter().try_for_each(|region| self.line(canvas, &region.line, INK, 2))?;
        let required = self.requirement(canvas)?;
        self.planned(canvas)?;
        let places = |line: &[[Point; 2]]| line.iter().map(|piece| self.at(piece[0])).collect::<Vec<_>>();
        let lines: Vec<Vec<(i32, i32)>> = regions.iter().map(|r| places(&r.line)).chain([places(&required)]).collect();
        for (i, level) in LEVELS.iter().enumerate() {
            let others: Vec<(i32, i32)> =
                lines.iter().enumerate().filter(|(j, _)| *j != i).flat_map(|(_, l)| l).chain(&taken).copied().collect();
            taken.extend(self.name(canvas, &lines[i], &percent(*level).replace(".0 %", " %"), &others)?);
        }
        self.axes(canvas, first)
    }

    fn line(&self, canvas: &Canvas<'_>, pieces: &[[Point; 2]], colour: RGBColor, width: u32) -> Result<(), FigureError> {
        for piece in pieces {
            let path = piece.map(|p| self.at(p)).to_vec();
            canvas.draw(&PathElement::new(path, colour.stroke_width(width))).map_err(failed)?;
        }
        Ok(())
    }

    /// A level's name on its line where nothing else stands or passes; the colours tell the level where there is no room.
    fn name(
        &self,
        canvas: &Canvas<'_>,
        line: &[(i32, i32)],
        words: &str,
        others: &[(i32, i32)],
    ) -> Result<Option<(i32, i32)>, FigureError> {
        const WIDE: i32 = 4 * 26;
        const HIGH: i32 = 4 * 14;
        let (low, high) = (self.at((6.0, 114.0)), self.at((114.0, 6.0)));
        let free = |p: &(i32, i32)| {
            let inside = (low.0..=high.0).contains(&p.0) && (low.1..=high.1).contains(&p.1);
            inside && others.iter().all(|t| (t.0 - p.0).abs() > WIDE || (t.1 - p.1).abs() > HIGH)
        };
        // The upper right is looked at first, so that names stand near each other in reading order.
        let mut places = line.to_vec();
        places.sort_by_key(|p| p.1 - p.0);
        let Some(place) = places.into_iter().find(free) else { return Ok(None) };
        let (half, tall) = (4 * (4 * words.chars().count() as i32 + 3), 4 * 8);
        let corners = [(place.0 - half, place.1 - tall), (place.0 + half, place.1 + tall)];
        canvas.draw(&Rectangle::new(corners, WHITE.filled())).map_err(failed)?;
        label(canvas, words, ((place.0 / 4) as u32, (place.1 / 4) as u32), 12, false, HPos::Center)?;
        Ok(Some(place))
    }

    /// The line of the required life, and in words whether it is met.
    fn requirement(&self, canvas: &Canvas<'_>) -> Result<Vec<[Point; 2]>, FigureError> {
        let Some(required) = self.map.required_life_km else { return Ok(Vec::new()) };
        let life = self.a.life_km.iter().map(|row| row.iter().map(|km| km.ln()).collect()).collect::<Vec<_>>();
        let met = region(&life, required.ln());
        self.line(canvas, &met.line, WHITE, 22)?;
        self.line(canvas, &met.line, REQUIRED, 12)?;
        let middle = self.a.life_km[MAP_CELLS / 2][MAP_CELLS / 2] >= required;
        let how = match (met.line.is_empty(), middle) {
            (true, true) => "met everywhere here",
            (true, false) => "met nowhere here",
            (false, true) => "met inside the thick line around the middle",
            (false, false) => "NOT met in the middle, without these errors",
        };
        let words = format!("required {} km: {how}", plain(required));
        label(canvas, &words, (self.left, TOP - 18), 13, false, HPos::Left)?;
        Ok(met.line)
    }

    /// The box of the planned tolerances, dashed.
    fn planned(&self, canvas: &Canvas<'_>) -> Result<(), FigureError> {
        let (Some(x), Some(y)) = (self.map.x.planned, self.map.y.planned) else { return Ok(()) };
        let (x, y) = ([x.0, x.1].map(|v| Self::along(&self.map.x, v)), [y.0, y.1].map(|v| Self::along(&self.map.y, v)));
        let corners = [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])];
        for i in 0..4 {
            let (a, b) = (corners[i], corners[(i + 1) % 4]);
            let dashes = (((b.0 - a.0).hypot(b.1 - a.1)) * f64::from(self.cell) / 10.0).ceil().max(1.0) as usize;
            canvas.draw(&PathElement::new(vec![self.at(a), self.at(b)], WHITE.stroke_width(14))).map_err(failed)?;
            for d in 0..dashes {
                let at = |t: f64| self.at((a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1)));
                let path = vec![at(d as f64 / dashes as f64), at((d as f64 + 0.6) / dashes as f64)];
                canvas.draw(&PathElement::new(path, INK.stroke_width(8))).map_err(failed)?;
            }
        }
        Ok(())
    }

    fn axes(&self, canvas: &Canvas<'_>, first: bool) -> Result<(), FigureError> {
        let cells = MAP_CELLS as f64;
        let frame = [(0.0, 0.0), (cells, 0.0), (cells, cells), (0.0, cells), (0.0, 0.0)].map(|p| self.at(p));
        canvas.draw(&PathElement::new(frame.to_vec(), INK.stroke_width(4))).map_err(failed)?;
        let bottom = TOP + self.side;
        let range = |axis: &Axis| (axis.values[0], axis.values[axis.values.len() - 1]);
        let written = |v: f64| plain((v * 1e6).round() / 1e6 + 0.0);
        let (low, high) = range(&self.map.x);
        for tick in ticks(low, high, 6) {
            let (x, _) = self.at((Self::along(&self.map.x, tick), 0.0));
            let path = vec![(x, px(bottom) as i32), (x, px(bottom + 5) as i32)];
            canvas.draw(&PathElement::new(path, INK.stroke_width(4))).map_err(failed)?;
            label(canvas, &written(tick), ((x / 4) as u32, bottom + 16), 12, false, HPos::Center)?;
        }
        let (low, high) = range(&self.map.y);
        for tick in ticks(low, high, 6) {
            let (_, y) = self.at((0.0, Self::along(&self.map.y, tick)));
            let path = vec![(px(self.left) as i32, y), (px(self.left - 5) as i32, y)];
            canvas.draw(&PathElement::new(path, INK.stroke_width(4))).map_err(failed)?;
            label(canvas, &written(tick), (self.left - 9, (y / 4) as u32), 12, false, HPos::Right)?;
        }
        let words = format!("{}, {}", self.map.x.label, self.map.x.unit);
        label(canvas, &words, (self.left + self.side / 2, bottom + 40), 14, false, HPos::Center)?;
        if first {
            let words = format!("up: {}, {}", self.map.y.label, self.map.y.unit);
            label(canvas, &words, (20, TOP - 62), 14, false, HPos::Left)?;
        }
        Ok(())
    }
}

/// The colours with their levels, and what the lines mean.
fn legend(canvas: &Canvas<'_>, map: &Map, top: u32) -> Result<(), FigureError> {
    let (left, wide) = (150, 900 / RAMP.len() as u32);
    for (i, colour) in RAMP.iter().enumerate() {
        let x = left + i as u32 * wide;
        let corners = [(px(x) as i32, px(top) as i32), (px(x + wide) as i32, px(top + 20) as i32)];
        canvas.draw(&Rectangle::new(corners, colour.filled())).map_err(failed)?;
        canvas.draw(&Rectangle::new(corners, INK.stroke_width(2))).map_err(failed)?;
        if i > 0 {
            label(canvas, &percent(LEVELS[i - 1]).replace(".0 %", " %"), (x, top + 34), 12, false, HPos::Center)?;
        }
    }
    label(canvas, "life loss", (left - 12, top + 10), 14, true, HPos::Right)?;
    let required = map.required_life_km.map_or_else(String::new, |km| format!("thick line: required life of {} km; ", plain(km)));
    let planned = if map.x.planned.is_some() && map.y.planned.is_some() { "dashed box: planned tolerances of the two errors" } else { "" };
    label(canvas, &format!("{required}{planned}"), (WIDTH / 2, top + 64), 14, false, HPos::Center)
}
