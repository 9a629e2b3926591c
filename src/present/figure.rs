//! What all figures share: size, font, colours, and the way from drawing to SVG and PNG.

use std::sync::Once;

use plotters::backend::SVGBackend;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, IntoDrawingArea};
use plotters::element::Text;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontDesc, FontFamily, FontStyle, IntoFont, RGBColor, TextStyle, WHITE, register_font};
use resvg::{tiny_skia, usvg};

/// Drawing canvas in quarter pixels: the SVG backend rounds to whole units.
const FINE: u32 = 4;

/// Width of the figures in pixels.
pub(super) const WIDTH: u32 = 1200;

/// Width in pixels of the figures that are printed on a report's page: across a sheet of A4 their smallest text is 8 points.
pub(super) const PAGE_WIDTH: u32 = 900;

/// Smallest text of a figure on a report's page, pixels; letters are written at 0.81 of it.
pub(super) const PAGE_TEXT: u32 = 17;

/// Width of a letter over its size, at most: bold, and plain.
const LETTER: [f64; 2] = [0.58, 0.51];

/// Colour and line width (quarter pixels) of an arrangement: the chosen one is dark and heavy, the others differ in
/// brightness, for greyscale.
pub(super) fn look(number: usize, chosen: bool) -> (RGBColor, u32) {
    const OTHERS: [RGBColor; 3] = [RGBColor(190, 85, 20), RGBColor(110, 165, 125), RGBColor(150, 150, 150)];
    if chosen { (RGBColor(20, 60, 110), 11) } else { (OTHERS[number % 3], 7) }
}

/// Text and axes.
pub(super) const INK: RGBColor = RGBColor(30, 30, 30);

/// Grid.
pub(super) const GRID: RGBColor = RGBColor(222, 222, 222);

/// Name under which the bundled font is known to drawing, browser and rasteriser.
const FONT: &str = "DejaVu Sans, Verdana, sans-serif";

/// A figure could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the figure could not be drawn: {0}")]
pub struct FigureError(pub String);

pub(super) type Canvas<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// Lengths on the canvas for a length in pixels.
pub(super) fn px(pixels: u32) -> u32 {
    pixels * FINE
}

/// Text of a size in pixels.
pub(super) fn text(size: u32, bold: bool) -> TextStyle<'static> {
    let style = if bold { FontStyle::Bold } else { FontStyle::Normal };
    FontDesc::new(FontFamily::Name(FONT), f64::from(px(size)), style).into_font().color(&INK)
}

/// Writes words at a place in pixels, flush with it on one side.
pub(super) fn label(canvas: &Canvas<'_>, words: &str, at: (u32, u32), size: u32, bold: bool, side: HPos) -> Result<(), FigureError> {
    let style = text(size, bold).pos(Pos::new(side, VPos::Center));
    canvas.draw(&Text::new(words.to_string(), (px(at.0) as i32, px(at.1) as i32), style)).map_err(failed)
}

/// Writes a line in the middle of a figure on a report's page: smaller where it is too long, and cut where that does not help.
pub(super) fn headline(canvas: &Canvas<'_>, words: &str, y: u32, size: u32, bold: bool) -> Result<(), FigureError> {
    let room = f64::from(PAGE_WIDTH - 20) / LETTER[usize::from(!bold)];
    let count = words.chars().count();
    let size = size.min((room / count.max(1) as f64) as u32).max(PAGE_TEXT);
    let most = (room / f64::from(size)) as usize;
    let shown: String = if count > most { words.chars().take(most - 1).chain(['…']).collect() } else { words.into() };
    label(canvas, &shown, (PAGE_WIDTH / 2, y), size, bold, HPos::Center)
}

/// Draws a figure of `WIDTH` x `height` pixels and returns it as SVG.
pub(super) fn draw(height: u32, title: &str, paint: impl FnOnce(&Canvas<'_>) -> Result<(), FigureError>) -> Result<String, FigureError> {
    draw_sized((WIDTH, height), title, paint)
}

/// Draws a figure of a size in pixels and returns it as SVG.
pub(super) fn draw_sized(
    (width, height): (u32, u32),
    title: &str,
    paint: impl FnOnce(&Canvas<'_>) -> Result<(), FigureError>,
) -> Result<String, FigureError> {
    static FONTS: Once = Once::new();
    FONTS.call_once(|| {
        // The bundled faces are valid fonts; were one not, drawing its text would report it.
        let _ = register_font(FONT, FontStyle::Normal, dejavu::sans::regular());
        let _ = register_font(FONT, FontStyle::Bold, dejavu::sans::bold());
    });
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, (px(width), px(height))).into_drawing_area();
        area.fill(&WHITE).map_err(failed)?;
        paint(&area)?;
        area.present().map_err(failed)?;
    }
    let fine = format!("<svg width=\"{}\" height=\"{}\"", px(width), px(height));
    let real = format!("<svg role=\"img\" aria-label=\"{}\" width=\"{width}\" height=\"{height}\"", escaped(title));
    Ok(svg.replacen(&fine, &real, 1))
}

/// Text that may stand in an attribute or an element.
pub(super) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

pub(super) fn failed(error: impl std::fmt::Display) -> FigureError {
    FigureError(error.to_string())
}

/// Rasterises a figure at twice its size.
///
/// # Errors
/// The SVG is none of ours.
pub fn to_png(svg: &str) -> Result<Vec<u8>, FigureError> {
    let mut options = usvg::Options::default();
    let fonts = options.fontdb_mut();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    let tree = usvg::Tree::from_str(svg, &options).map_err(failed)?;
    let (width, height) = (tree.size().width() * 2.0, tree.size().height() * 2.0);
    let mut map = tiny_skia::Pixmap::new(width as u32, height as u32).ok_or_else(|| failed("no size"))?;
    resvg::render(&tree, tiny_skia::Transform::from_scale(2.0, 2.0), &mut map.as_mut());
    encoded(map).map_err(failed)
}

/// A picture as PNG. Large plain areas shrink to little even when packed quickly; packing well takes longer than drawing.
fn encoded(map: tiny_skia::Pixmap) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, map.width(), map.height());
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_compression(png::Compression::Fast);
    encoder.write_header()?.write_image_data(&map.take_demultiplied())?;
    Ok(bytes)
}

/// Step that divides a range into about `n` parts of a round size, and its multiples inside the range.
pub(super) fn ticks(low: f64, high: f64, n: usize) -> Vec<f64> {
    let raw = (high - low) / n as f64;
    let power = 10.0_f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|s| s * power).find(|s| *s >= raw * 0.999).unwrap_or(raw);
    let first = (low / step).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last).map(|i| i as f64 * step).collect()
}

/// Ticks of a logarithmic axis given in powers of ten: 1, 2, 5 of each decade, or decades alone on a long axis.
pub(super) fn log_ticks(low: f64, high: f64) -> Vec<f64> {
    let mantissas: &[f64] = if high - low < 3.6 { &[1.0, 2.0, 5.0] } else { &[1.0] };
    (low.floor() as i32..=high.ceil() as i32)
        .flat_map(|d| mantissas.iter().map(move |m| f64::from(d) + m.log10()))
        .filter(|t| *t >= low - 1e-9 && *t <= high + 1e-9)
        .collect()
}
