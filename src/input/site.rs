//! What the plan says of the site: how survey files name their columns, and what may be corrected by how much.

use super::frame::Frame;
use super::view::View;
use crate::units::{MRAD, SIDES};

/// The tables `[survey]` and `[correction]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Headings of survey files: our name, their heading.
    pub columns: Vec<(String, String)>,
    /// What may be corrected.
    pub correction: Correction,
}

/// What may be moved, by how much, in which steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// True where the plan has a table of it; else a usual shim box and slot are assumed.
    pub stated: bool,
    /// Thicknesses in the shim box, thinnest first.
    pub shims_mm: Vec<f64>,
    /// Most shims in one stack.
    pub most_shims: usize,
    /// Greatest thickness under one pad.
    pub most_mm: f64,
    /// A pad can be moved across by so much either way.
    pub slot_mm: f64,
    /// Finest step of that movement.
    pub lateral_step_mm: f64,
    /// Largest difference of added shims, or of lateral movements, between neighbouring pads.
    pub largest_step_mm: f64,
    /// Step and greatest angle of tapered shims or half-pad shims, rad; 0 where there are none.
    pub taper_rad: [f64; 2],
    /// Pads that cannot move: rail and number from 0.
    pub fixed: Vec<(usize, usize)>,
    /// Rail that stays where it is.
    pub master: Option<usize>,
}

pub(super) fn site(root: &View<'_>, frame: &Frame) -> Site {
    let survey = root.table("survey");
    let mut columns = Vec::new();
    for pair in survey.texts("columns") {
        match pair.split_once('=') {
            Some((name, heading)) => columns.push((name.trim().to_string(), heading.trim().to_string())),
            None => survey.problem("columns", &format!("\"{pair}\" is no pair"), "Write NAME = HEADING, such as \"x = Easting\"."),
        }
    }
    let t = root.table("correction");
    let mut shims_mm = t.numbers("shims_mm").unwrap_or_else(|| vec![0.05, 0.1, 0.2, 0.5, 1.0]);
    shims_mm.sort_by(f64::total_cmp);
    if shims_mm.is_empty() {
        t.problem("shims_mm", "there is no shim in the box", "List the thicknesses that are at hand.");
    }
    let mut fixed = Vec::new();
    for word in t.texts("fixed_pads") {
        match pad(&word, frame) {
            Some(found) => fixed.push(found),
            None => {
                let advice = format!("Write rail and number, a1 to b{}.", frame.anchors_x_mm.len());
                t.problem("fixed_pads", &format!("\"{word}\" is no pad"), &advice);
            }
        }
    }
    Site {
        columns,
        correction: Correction {
            stated: t.is_there(),
            shims_mm,
            most_shims: t.whole("most_shims").unsigned_abs() as usize,
            most_mm: t.number("most_mm"),
            slot_mm: t.number("slot_mm"),
            lateral_step_mm: t.number("lateral_step_mm"),
            largest_step_mm: t.number("largest_step_mm"),
            taper_rad: [t.number("taper_step_mrad") * MRAD, t.number("taper_most_mrad") * MRAD],
            fixed,
            master: SIDES.iter().position(|s| *s == t.text("master")),
        },
    }
}

/// A pad written as rail and number: a1, b14.
fn pad(word: &str, frame: &Frame) -> Option<(usize, usize)> {
    let word = word.trim().to_lowercase();
    let rail = SIDES.iter().position(|s| word.starts_with(s))?;
    let number: usize = word[1..].trim().parse().ok()?;
    (1..=frame.anchors_x_mm.len()).contains(&number).then(|| (rail, number - 1))
}
