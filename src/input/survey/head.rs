//! The head of a survey file: lines `# key = value` that say with what and in which state the readings were taken.

use super::numbers::{Decimal, decimal_of, number};
use super::text::{Sheet, clean, day_of};
use super::{Point, Problem, Quantity, Reading, problem};
use crate::input::fit::nearest;
use crate::input::plan::Plan;
use crate::units::{MRAD, REFERENCE_TEMPERATURE_C};

/// One key of the head, as `sheet` prints it.
#[derive(Debug, Clone, Copy)]
pub struct HeadKey {
    /// Its name.
    pub name: &'static str,
    /// Words that may stand there; none for a number or free text.
    pub words: &'static [&'static str],
    /// What it means.
    pub meaning: &'static str,
}

const fn text(name: &'static str, meaning: &'static str) -> HeadKey {
    HeadKey { name, words: &[], meaning }
}

const fn words(name: &'static str, words: &'static [&'static str], meaning: &'static str) -> HeadKey {
    HeadKey { name, words, meaning }
}

/// Every key of the head.
#[rustfmt::skip] // one line a key
pub const HEAD_KEYS: &[HeadKey] = &[
    text("date", "day of the survey, as 2026-11-25"),
    text("by", "who measured"),
    text("instrument", "with what"),
    text("note", "anything else"),
    words("unit", &["mm", "m", "um", "in"], "unit of lengths whose heading names none; mm if left out"),
    words("angle_unit", &["mm/m", "mrad", "deg", "arcsec"], "unit of cross-levels whose heading names none; mm/m if left out"),
    words("decimal", &["point", "comma"], "decimal mark, where the file leaves it open"),
    words("z_axis", &["gravity", "free"], "is z tied to gravity (a levelled instrument)? If left out: free for coordinates, gravity for vertical readings"),
    words("z", &["up", "down"], "coordinates only: does z count upwards or downwards? Nothing in the numbers tells"),
    text("axes", "coordinates only: the file's columns that are x, y and z of right-handed axes, such as y x z or x -y z"),
    words("signs", &["plan"], "deviations, cross-levels, heights: + is towards rail B (+y) and up, as this sheet has it; write it once you have made sure"),
    text("station_zero_mm", "where the file's station 0 lies in the plan's x; 0 if left out"),
    words("levels", &["gravity", "instrument"], "cross-levels against gravity, or against the instrument's own z; gravity if left out"),
    words("frame", &["instrument", "plan"], "coordinates only: the instrument's own axes, or the plan's (datum points of the frame); instrument if left out"),
    words("reference", &["common", "each_rail"], "lateral and vertical: both rails from one line, or each from a line of its own; common if left out"),
    text("rail_a", "what the file calls rail A"),
    text("rail_b", "what the file calls rail B"),
    words("temperature_unit", &["c", "f"], "of frame_c and tape_c: degrees Celsius or Fahrenheit; c if left out"),
    text("frame_c", "temperature of the frame"),
    text("tape_c", "temperature of the tape or rod; left out for an instrument that corrects for itself"),
    text("tape_expansion_per_k", "expansion of tape or rod; 11.5e-6 if left out"),
    text("u_temperature_k", "standard uncertainty of these temperatures; 0.5 if left out"),
    words("bridge", &["off", "standing", "travelling"], "is the bridge on the rails: no, at one place, or at each reading's own station"),
    text("bridge_at_mm", "where it stands"),
    words("bolts", &["loose", "tight"], "joints between bridge and trucks, where the bridge is on"),
    text("u_point_mm", "standard uncertainty (k = 1) of a coordinate, lateral or vertical reading"),
    text("u_gauge_mm", "standard uncertainty of a distance between the rails, scale and temperature apart"),
    text("u_height_mm", "standard uncertainty of a height difference"),
    text("u_level_mm_per_m", "standard uncertainty of a cross-level reading"),
    text("u_level_zero_mm_per_m", "standard uncertainty of the level's zero, common to all readings; 0 if it was turned end for end"),
    text("u_scale_ppm", "standard uncertainty of the instrument's scale, common to all lengths; 0 if left out"),
    text("column", "a heading of the table: NAME = HEADING, such as column.x = Easting"),
];

/// What coordinates are counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrameKind {
    /// The instrument's own axes, which say nothing about the machine's.
    Instrument,
    /// The plan's axes: the instrument was set to datum points of the frame.
    Plan,
}

/// What lateral and vertical readings of the two rails are counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reference {
    /// One line or plane for both rails.
    Common,
    /// A line of its own for each rail: offset and slope between the rails are not seen.
    EachRail,
}

/// Where the bridge was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BridgeState {
    /// Not on the rails.
    Off,
    /// At one place, mm along the rails.
    Standing(f64),
    /// At each reading's own station.
    Travelling,
}

/// Standard uncertainties of the instruments; `None` where the file is silent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Uncertainty {
    /// A coordinate, lateral or vertical reading, mm.
    pub point_mm: Option<f64>,
    /// A distance between the rails, mm.
    pub gauge_mm: Option<f64>,
    /// A height difference, mm.
    pub height_mm: Option<f64>,
    /// A cross-level reading, rad.
    pub level_rad: Option<f64>,
    /// Zero of the level, common to all its readings, rad.
    pub level_zero_rad: f64,
    /// Scale, common to all lengths, as a ratio.
    pub scale: f64,
}

/// What the head says.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Date as written.
    pub date: Option<String>,
    /// Day, for differences.
    pub day: Option<i64>,
    /// Who, with what, and notes: key and text.
    pub notes: Vec<(String, String)>,
    /// Unit of lengths without one.
    pub unit: String,
    /// Unit of angles without one.
    pub angle_unit: String,
    /// Decimal mark, where stated.
    pub(super) decimal: Option<Decimal>,
    /// Whether z is tied to gravity; `None` if not stated.
    pub z_is_gravity: Option<bool>,
    /// Whether z counts upwards; `None` if not stated.
    pub z_up: Option<bool>,
    /// True where the head says which columns are x, y, z.
    pub axes_stated: bool,
    /// Column (0, 1, 2) and sign of x, y, z.
    pub(super) axes: [(usize, f64); 3],
    /// True where the head says that signs are the plan's.
    pub signs_stated: bool,
    /// Plan's x of the file's station 0; `None` if not stated.
    pub station_zero_mm: Option<f64>,
    /// True where the head says in which unit temperatures are.
    pub temperature_unit_stated: bool,
    /// True where cross-levels are against the instrument's z and not against gravity.
    pub levels_by_instrument: bool,
    /// Axes of coordinates.
    pub frame: FrameKind,
    /// Reference of lateral and vertical readings.
    pub reference: Reference,
    /// Names of rail A and rail B in the file.
    pub rails: [Vec<String>; 2],
    /// Frame's temperature over the reference, K; `None` if not stated.
    pub frame_dt_k: Option<f64>,
    /// Tape's temperature over 20 degrees Celsius, K; `None` for an instrument that needs none.
    pub tape_dt_k: Option<f64>,
    /// Expansion of tape or rod.
    pub tape_expansion_per_k: f64,
    /// Standard uncertainty of the stated temperatures, K.
    pub temperature_k: f64,
    /// Where the bridge was; `None` if not stated.
    pub bridge: Option<BridgeState>,
    /// True where its bolts were tight.
    pub bolts_tight: bool,
    /// Uncertainties.
    pub uncertainty: Uncertainty,
}

/// A key with its value and its line; line 0 for one told on the command line.
struct Entry {
    line: usize,
    key: String,
    value: String,
}

impl State {
    pub(super) fn read(
        sheet: &Sheet,
        told: &[(String, String)],
        plan: &Plan,
        columns: &mut Vec<(String, String)>,
        problems: &mut Vec<Problem>,
    ) -> Self {
        let mut entries: Vec<Entry> = sheet.head.iter().filter_map(|(line, text)| entry(*line, text, sheet.separator)).collect();
        entries.retain(|e| !told.iter().any(|(k, _)| *k == e.key));
        entries.extend(told.iter().map(|(key, value)| Entry { line: 0, key: key.clone(), value: value.clone() }));
        for e in &entries {
            if let Some(name) = e.key.strip_prefix("column.") {
                columns.push((name.into(), e.value.clone()));
            } else {
                check(e, &entries, problems);
            }
        }
        let known: Vec<&Entry> = entries.iter().filter(|e| !e.value.is_empty()).collect();
        let get = |key: &str| known.iter().find(|e| e.key == key).map(|e| e.value.clone());
        let word = |key: &str, default: &str| get(key).unwrap_or_else(|| default.into());
        let mut number_in = |key: &str, least: f64, most: f64| {
            let e = known.iter().find(|e| e.key == key)?;
            let decimal = decimal_of(std::iter::once(e.value.as_str())).ok().flatten().or(Some(Decimal::Point));
            match number(&e.value, decimal) {
                Ok(x) if x >= least && x <= most => Some(x),
                _ => {
                    let what = format!("this should be a number from {least} to {most}");
                    problems.push(problem(e.line, 1, key, &e.value, &what, meaning(key)));
                    None
                }
            }
        };
        let reference_c = plan.reference_c;
        let fahrenheit = get("temperature_unit").is_some_and(|u| u == "f");
        let celsius = |t: f64| if fahrenheit { (t - 32.0) / 1.8 } else { t };
        let (coldest, hottest) = if fahrenheit { (-76.0, 302.0) } else { (-60.0, 150.0) };
        let bridge_at_mm = number_in("bridge_at_mm", -1e6, 1e6);
        let station_zero_mm = number_in("station_zero_mm", -1e6, 1e6);
        let state = Self {
            date: get("date"),
            day: get("date").and_then(|d| day_of(&d)),
            notes: ["by", "instrument", "note"].iter().filter_map(|k| get(k).map(|v| ((*k).to_string(), v))).collect(),
            unit: word("unit", "mm"),
            angle_unit: word("angle_unit", "mm/m"),
            decimal: get("decimal").map(|d| if d == "comma" { Decimal::Comma } else { Decimal::Point }),
            z_is_gravity: get("z_axis").map(|w| w == "gravity"),
            z_up: get("z").map(|w| w == "up"),
            axes_stated: get("axes").is_some(),
            axes: get("axes").and_then(|w| axes_of(&w)).unwrap_or(PLAIN_AXES),
            signs_stated: get("signs").is_some(),
            station_zero_mm,
            temperature_unit_stated: get("temperature_unit").is_some(),
            levels_by_instrument: word("levels", "gravity") == "instrument",
            frame: if word("frame", "instrument") == "plan" { FrameKind::Plan } else { FrameKind::Instrument },
            reference: if word("reference", "common") == "each_rail" { Reference::EachRail } else { Reference::Common },
            rails: [("rail_a", ["a", "1"]), ("rail_b", ["b", "2"])].map(|(key, usual)| {
                get(key).map_or_else(|| usual.iter().map(|s| (*s).to_string()).collect(), |name| vec![name.to_lowercase()])
            }),
            frame_dt_k: number_in("frame_c", coldest, hottest).map(|t| celsius(t) - reference_c),
            tape_dt_k: number_in("tape_c", coldest, hottest).map(|t| celsius(t) - REFERENCE_TEMPERATURE_C),
            tape_expansion_per_k: number_in("tape_expansion_per_k", 0.0, 1e-4).unwrap_or(11.5e-6),
            temperature_k: number_in("u_temperature_k", 0.0, 50.0).unwrap_or(0.5),
            bridge: get("bridge").and_then(|b| match b.as_str() {
                "off" => Some(BridgeState::Off),
                "standing" => bridge_at_mm.map(BridgeState::Standing),
                "travelling" => Some(BridgeState::Travelling),
                _ => None,
            }),
            bolts_tight: word("bolts", "loose") == "tight",
            uncertainty: Uncertainty {
                point_mm: number_in("u_point_mm", 1e-6, 100.0),
                gauge_mm: number_in("u_gauge_mm", 1e-6, 100.0),
                height_mm: number_in("u_height_mm", 1e-6, 100.0),
                level_rad: number_in("u_level_mm_per_m", 1e-6, 100.0).map(|u| u * MRAD),
                level_zero_rad: number_in("u_level_zero_mm_per_m", 0.0, 100.0).unwrap_or(0.0) * MRAD,
                scale: number_in("u_scale_ppm", 0.0, 1e4).unwrap_or(0.0) * 1e-6,
            },
        };
        if get("bridge").as_deref() == Some("standing") && bridge_at_mm.is_none() {
            let line = known.iter().find(|e| e.key == "bridge").map_or(0, |e| e.line);
            problems.push(problem(
                line,
                1,
                "bridge",
                "standing",
                "where the bridge stands is missing",
                "Add a line: # bridge_at_mm = 3250",
            ));
        }
        state
    }

    /// Standard uncertainty of a quantity's readings.
    #[must_use]
    pub fn uncertainty_of(&self, quantity: Quantity) -> Option<f64> {
        match quantity {
            Quantity::Lateral | Quantity::Vertical => self.uncertainty.point_mm,
            Quantity::CrossLevel => self.uncertainty.level_rad,
            Quantity::Gauge => self.uncertainty.gauge_mm,
            Quantity::Height => self.uncertainty.height_mm,
        }
    }

    /// A point's coordinates in right-handed axes whose z counts upwards, by what the head says.
    pub(super) fn oriented(&self, xyz: [f64; 3]) -> [f64; 3] {
        let mut out = self.axes.map(|(i, sign)| sign * xyz[i]);
        if self.z_up == Some(false) {
            out[2] = -out[2];
        }
        out
    }

    /// Every kind of reading that stands in the file needs its instrument's uncertainty.
    pub(super) fn check(&self, points: &[Point], readings: &[Reading], problems: &mut Vec<Problem>) {
        let mut missing: Vec<&str> = Vec::new();
        if points.iter().any(|p| p.uncertainty_mm.is_none()) && self.uncertainty.point_mm.is_none() {
            missing.push("u_point_mm");
        }
        for r in readings.iter().filter(|r| r.uncertainty.is_none() && self.uncertainty_of(r.quantity).is_none()) {
            missing.push(match r.quantity {
                Quantity::Lateral | Quantity::Vertical => "u_point_mm",
                Quantity::CrossLevel => "u_level_mm_per_m",
                Quantity::Gauge => "u_gauge_mm",
                Quantity::Height => "u_height_mm",
            });
        }
        missing.sort_unstable();
        missing.dedup();
        // One told in another unit's name or mistyped has been reported already.
        missing.retain(|key| !problems.iter().any(|p| p.key == *key));
        for key in missing {
            let what = format!("the {} is not stated: no verdict can be given without it", meaning(key));
            let advice = format!(
                "Add a line at the head, such as `# {key} = 0.02`, or say --say {key}=0.02. An expanded uncertainty (k = 2) is twice the standard one."
            );
            problems.push(problem(1, 1, key, "", &what, &advice));
        }
    }
}

fn meaning(key: &str) -> &'static str {
    HEAD_KEYS.iter().find(|k| k.name == key).map_or("", |k| k.meaning)
}

const PLAIN_AXES: [(usize, f64); 3] = [(0, 1.0), (1, 1.0), (2, 1.0)];

/// `y -x z` as columns and signs of x, y, z; nothing where it is no such list.
fn axes_of(text: &str) -> Option<[(usize, f64); 3]> {
    let one = |word: &str| {
        let (sign, name) = word.strip_prefix('-').map_or((1.0, word.trim_start_matches('+')), |rest| (-1.0, rest));
        ["x", "y", "z"].iter().position(|n| *n == name).map(|i| (i, sign))
    };
    let list: Vec<(usize, f64)> = text.to_lowercase().split_whitespace().map(one).collect::<Option<_>>()?;
    let axes: [(usize, f64); 3] = list.try_into().ok()?;
    [0, 1, 2].iter().all(|i| axes.iter().any(|(j, _)| j == i)).then_some(axes)
}

/// A head line as key and value, if it is one: a single word, then `=` or `:`, then the value. A spreadsheet may put a known
/// key and its value into two cells.
fn entry(line: usize, text: &str, separator: char) -> Option<Entry> {
    let text = text.trim_end_matches([separator, '"', ' ']);
    let split = |at: usize| {
        let key = clean(&text[..at]).to_lowercase();
        let value = clean(text[at..].trim_start_matches([separator, '=', ':', ' ']));
        let word = !key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '.' || c == '/');
        word.then_some(Entry { line, key, value })
    };
    let known = |e: &Entry| HEAD_KEYS.iter().any(|k| k.name == e.key) || e.key.starts_with("column.");
    text.find(separator).and_then(split).filter(known).or_else(|| text.find(['=', ':']).and_then(split))
}

/// A key must be known, its word too, and a value must not stand twice.
fn check(e: &Entry, all: &[Entry], problems: &mut Vec<Problem>) {
    let shown = if e.line == 0 { format!("--say {}", e.key) } else { e.key.clone() };
    let line = e.line.max(1);
    let Some(key) = HEAD_KEYS.iter().find(|k| k.name == e.key) else {
        let meant = nearest(HEAD_KEYS.iter().map(|k| k.name), &e.key, 0.85).map_or_else(
            || format!("Known are {}. A remark has no \"=\" and no \":\" after its first word.", names()),
            |k| format!("Did you mean {k}?"),
        );
        problems.push(problem(line, 1, &shown, &e.value, "this key of the head is not known", &meant));
        return;
    };
    if e.value.is_empty() {
        return;
    }
    if !key.words.is_empty() && !key.words.contains(&e.value.as_str()) {
        problems.push(problem(line, 1, &shown, &e.value, &format!("expected: {}", key.words.join(" or ")), key.meaning));
    }
    if key.name == "axes" && axes_of(&e.value).is_none() {
        problems.push(problem(line, 1, &shown, &e.value, "expected: each of x, y, z once, such as y x z or x -y z", key.meaning));
    }
    if key.name == "date" && day_of(&e.value).is_none() {
        problems.push(problem(line, 1, &shown, &e.value, "expected: a date as 2026-11-25", key.meaning));
    }
    if key.name != "note" && all.iter().any(|o| o.key == e.key && o.line < e.line) {
        problems.push(problem(line, 1, &shown, &e.value, "this key stands twice", "Leave one."));
    }
}

fn names() -> String {
    HEAD_KEYS.iter().map(|k| k.name).collect::<Vec<_>>().join(", ")
}
