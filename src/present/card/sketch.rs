//! The sketch on the card: what each error is and where it is measured, numbered as the rows of the table.

use plotters::style::text_anchor::HPos;

use super::pen::{DARK, PALE, Pen, Place};
use crate::input::ErrorKind;
use crate::present::figure::{FigureError, WIDTH, draw};

/// Height of the sketch, pixels.
pub(super) const HEIGHT: u32 = 396;

/// Size of one view.
const VIEW: Place = (564.0, 192.0);

/// Number of an error's row; none where the plan does not name it.
pub(super) type Numbers<'n> = &'n dyn Fn(ErrorKind) -> Option<usize>;

/// What the sketch shows, in words.
pub(super) const DESCRIPTION: &str = "Four views with exaggerated errors. From above: rail A with its straightness zone, rail B off its nominal \
line by the span offset at mid-length and by half of the parallelism at each end. From the side: rail B over rail A, with the height at mid-length, \
the drift from end to end, and the straightness zone in height. From the end: each rail's seat leans by its cross-level, and by the twist more \
at the last pad than at the first. From above: the bridge with its rail-B end ahead of its rail-A end by the skew.";

/// The sketch as SVG.
pub(super) fn sketch(numbers: Numbers<'_>) -> Result<String, FigureError> {
    draw(HEIGHT, "What each tolerance is", |canvas| paint(Pen { canvas, corner: (0.0, 2.0) }, numbers))
}

/// Paints the sketch at a pen's corner.
pub(super) fn paint(pen: Pen<'_, '_>, numbers: Numbers<'_>) -> Result<(), FigureError> {
    let (left, right) = (30.0, f64::from(WIDTH) - VIEW.0 - 30.0);
    from_above(pen.moved((left, 0.0)), numbers)?;
    from_the_side(pen.moved((right, 0.0)), numbers)?;
    from_the_end(pen.moved((left, VIEW.1 + 8.0)), numbers)?;
    skewed(pen.moved((right, VIEW.1 + 8.0)), numbers)
}

/// Ends of the rails in the long views, and their middle.
const FIRST: f64 = 70.0;
const LAST: f64 = 496.0;
const MIDDLE: f64 = (FIRST + LAST) / 2.0;

/// A rail's line: straight from one height to the other, with a wave on it.
fn rail(from: f64, to: f64, wave: f64) -> Vec<Place> {
    let at = |i: i32| {
        let s = f64::from(i) / 90.0;
        (FIRST + s * (LAST - FIRST), from + (to - from) * s - wave * (s * 12.5).sin())
    };
    (0..=90).map(at).collect()
}

/// A zone around a rail's line.
fn zone(pen: Pen<'_, '_>, y: f64, half: f64) -> Result<(), FigureError> {
    pen.fill(&[(FIRST, y - half), (LAST, y - half), (LAST, y + half), (FIRST, y + half)], PALE)
}

/// Pads under a rail's nominal line.
fn pads(pen: Pen<'_, '_>, y: f64) -> Result<(), FigureError> {
    (0..7).try_for_each(|i| {
        let x = FIRST + (LAST - FIRST) * f64::from(i) / 6.0;
        pen.line(&[(x - 5.0, y), (x + 5.0, y)], DARK, 1.5)
    })
}

/// Span, horizontal parallelism, lateral straightness.
fn from_above(pen: Pen<'_, '_>, numbers: Numbers<'_>) -> Result<(), FigureError> {
    use ErrorKind::{Parallelism, Span, StraightnessLateral};
    pen.frame(VIEW, "From above")?;
    let (a, b) = (154.0, 82.0);
    zone(pen, a, 9.0)?;
    pen.line(&rail(a, a, 8.0), DARK, 3.5)?;
    pads(pen, a + 16.0)?;
    pen.dashed((FIRST, b), (LAST + 16.0, b), DARK, 1.5)?;
    pen.line(&rail(b - 2.0, b - 38.0, 0.0), DARK, 3.5)?;
    pen.words("rail A", (60.0, a), 14, true, HPos::Right)?;
    pen.words("rail B", (60.0, b - 2.0), 14, true, HPos::Right)?;
    pen.note("nominal", (505.0, b + 13.0), HPos::Right)?;
    if let Some(n) = numbers(Span) {
        pen.measure((MIDDLE, b), (MIDDLE, b - 20.0))?;
        pen.badge(n, (MIDDLE + 24.0, b + 16.0))?;
        pen.note("off the span at mid-length", (MIDDLE + 8.0, b + 40.0), HPos::Center)?;
    }
    if let Some(n) = numbers(Parallelism) {
        pen.measure((LAST + 12.0, b), (LAST + 12.0, b - 38.0))?;
        pen.badge(n, (LAST + 34.0, b - 20.0))?;
        pen.note("last pad against first", (FIRST + 320.0, 36.0), HPos::Center)?;
    }
    if let Some(n) = numbers(StraightnessLateral(0)).or_else(|| numbers(StraightnessLateral(1))) {
        pen.measure((LAST + 12.0, a + 9.0), (LAST + 12.0, a - 9.0))?;
        pen.badge(n, (LAST + 34.0, a))?;
        pen.note("each rail about its own best line", (MIDDLE, a + 30.0), HPos::Center)?;
    }
    Ok(())
}

/// Height, vertical parallelism, vertical straightness.
fn from_the_side(pen: Pen<'_, '_>, numbers: Numbers<'_>) -> Result<(), FigureError> {
    use ErrorKind::{Height, StraightnessVertical, VerticalParallelism};
    pen.frame(VIEW, "From the side")?;
    let (a, b) = (150.0, 104.0);
    zone(pen, a, 9.0)?;
    pen.line(&rail(a, a, 8.0), DARK, 3.5)?;
    pads(pen, a + 16.0)?;
    pen.line(&rail(b, b - 40.0, 0.0), DARK, 3.5)?;
    pen.words("rail A", (60.0, a), 14, true, HPos::Right)?;
    pen.words("rail B", (60.0, b), 14, true, HPos::Right)?;
    if let Some(n) = numbers(Height) {
        pen.measure((MIDDLE, a), (MIDDLE, b - 20.0))?;
        pen.badge(n, (MIDDLE + 24.0, b + 14.0))?;
        pen.note("B over A at mid-length", (MIDDLE + 44.0, b + 14.0), HPos::Left)?;
    }
    if let Some(n) = numbers(VerticalParallelism) {
        pen.dashed((FIRST, b), (LAST + 14.0, b), DARK, 1.0)?;
        pen.measure((LAST + 12.0, b), (LAST + 12.0, b - 40.0))?;
        pen.badge(n, (LAST + 34.0, b - 20.0))?;
        pen.note("last pad against first", (FIRST + 300.0, b - 58.0), HPos::Center)?;
    }
    if let Some(n) = numbers(StraightnessVertical(0)).or_else(|| numbers(StraightnessVertical(1))) {
        pen.measure((LAST + 12.0, a + 9.0), (LAST + 12.0, a - 9.0))?;
        pen.badge(n, (LAST + 34.0, a))?;
        pen.note("each rail about its own best line", (MIDDLE, a + 32.0), HPos::Center)?;
    }
    Ok(())
}

/// A leaning seat with its rail: middle of its foot, lean upwards to the right in pixels over its width.
fn seat(pen: Pen<'_, '_>, x: f64, y: f64, lean: f64) -> Result<(), FigureError> {
    let half = 62.0;
    let at = |u: f64, v: f64| (x + u + v * lean / (2.0 * half), y - v - u * lean / (2.0 * half));
    pen.fill(&[at(-half, 0.0), at(half, 0.0), at(half, 14.0), at(-half, 14.0)], PALE)?;
    pen.fill(&[at(-18.0, 14.0), at(18.0, 14.0), at(13.0, 22.0), at(13.0, 38.0), at(-13.0, 38.0), at(-13.0, 22.0)], DARK)?;
    pen.dashed((x - half - 8.0, y), (x + half + 8.0, y), DARK, 1.2)?;
    pen.line(&[at(-half, 0.0), at(half, 0.0)], DARK, 2.0)
}

/// Cross-level, its twist and its waviness.
fn from_the_end(pen: Pen<'_, '_>, numbers: Numbers<'_>) -> Result<(), FigureError> {
    use ErrorKind::{CrossLevel, CrossLevelTwist, StraightnessRoll};
    pen.frame(VIEW, "From the end: seat of one rail, level across it (mrad is mm per metre)")?;
    let y = 112.0;
    let either = |kind: fn(usize) -> ErrorKind| numbers(kind(0)).or_else(|| numbers(kind(1)));
    let views = [
        (96.0, "at mid-length", 18.0, either(CrossLevel), "its lean"),
        (282.0, "last pad", 30.0, either(CrossLevelTwist), "last less first"),
        (468.0, "at each pad", 10.0, either(StraightnessRoll), "waves about its line"),
    ];
    for (x, place, lean, number, what) in views {
        let Some(number) = number else { continue };
        seat(pen, x, y, lean)?;
        pen.measure((x + 62.0, y), (x + 62.0, y - lean.max(14.0) / 2.0 - 4.0))?;
        pen.badge(number, (x, y + 26.0))?;
        pen.note(place, (x, 52.0), HPos::Center)?;
        pen.note(what, (x, y + 56.0), HPos::Center)?;
    }
    Ok(())
}

/// Skew of the drives.
fn skewed(pen: Pen<'_, '_>, numbers: Numbers<'_>) -> Result<(), FigureError> {
    pen.frame(VIEW, "From above: drives against the square of the frame")?;
    let (a, b) = (162.0, 80.0);
    let ahead = 52.0;
    pen.line(&[(FIRST, a), (LAST, a)], DARK, 3.5)?;
    pen.line(&[(FIRST, b), (LAST, b)], DARK, 3.5)?;
    pen.words("rail A", (60.0, a), 14, true, HPos::Right)?;
    pen.words("rail B", (60.0, b), 14, true, HPos::Right)?;
    let x = 230.0;
    let at = |along: f64, across: f64| (x + ahead * (a - across) / (a - b) + along, across);
    pen.dashed((x, a + 14.0), (x, b - 42.0), DARK, 1.5)?;
    pen.fill(&[at(-13.0, a), at(13.0, a), at(13.0, b), at(-13.0, b)], PALE)?;
    pen.line(&[at(0.0, a), at(0.0, b)], DARK, 2.0)?;
    for y in [a, b] {
        pen.fill(&[at(-26.0, y - 10.0), at(26.0, y - 10.0), at(26.0, y + 10.0), at(-26.0, y + 10.0)], DARK)?;
    }
    pen.note("bridge", (x + ahead / 2.0 + 26.0, (a + b) / 2.0), HPos::Left)?;
    pen.note("square to rail A", (x - 10.0, (a + b) / 2.0), HPos::Right)?;
    match numbers(ErrorKind::Skew) {
        Some(n) => {
            pen.measure((x, b - 32.0), (x + ahead, b - 32.0))?;
            pen.dashed((x + ahead, b - 14.0), (x + ahead, b - 42.0), DARK, 1.5)?;
            pen.badge(n, (x + ahead + 24.0, b - 32.0))?;
            pen.note("B ahead of A after homing", (x + ahead + 46.0, b - 32.0), HPos::Left)
        }
        None => pen.note("skew is not set at installation here", (x + ahead + 46.0, b - 32.0), HPos::Left),
    }
}
