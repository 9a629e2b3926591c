//! The block of a plan from its table: data sheet first, geometry of the contacts where the data sheet is silent.

use super::block::{Block, Contact, Element, Level};
use super::view::View;
use crate::contact::{GeometryRatings, geometry_ratings, stiffness_from_geometry};
use crate::units::{N_M, N_M_PER_MRAD, N_PER_UM};

/// Factor a1 of ISO 281:2007 for a reliability in percent, table 12 (table number from memory).
const A1: [(&str, f64); 14] = [
    ("90", 1.0),
    ("95", 0.64),
    ("96", 0.55),
    ("97", 0.47),
    ("98", 0.37),
    ("99", 0.25),
    ("99.2", 0.22),
    ("99.4", 0.19),
    ("99.6", 0.16),
    ("99.8", 0.12),
    ("99.9", 0.093),
    ("99.92", 0.087),
    ("99.94", 0.080),
    ("99.95", 0.077),
];

/// Factor a1 of ISO 281:2007 for a reliability as written in the plan.
#[must_use]
pub fn a1(reliability: &str) -> Option<f64> {
    A1.iter().find(|(r, _)| *r == reliability).map(|(_, a1)| *a1)
}

/// Keys of the stiffnesses in their order, with their units.
const STIFFNESS: [(&str, f64); 5] = [
    ("lateral_n_per_um", N_PER_UM),
    ("vertical_n_per_um", N_PER_UM),
    ("roll_n_m_per_mrad", N_M_PER_MRAD),
    ("pitch_n_m_per_mrad", N_M_PER_MRAD),
    ("yaw_n_m_per_mrad", N_M_PER_MRAD),
];

/// Largest preload as a share of C; common practice ends at about 0.13, no source.
const MOST_PRELOAD: f64 = 0.3;

/// Keys of the moment ratings, dynamic and static.
const MOMENTS: [[&str; 2]; 3] =
    [["dynamic_roll_n_m", "static_roll_n_m"], ["dynamic_pitch_n_m", "static_pitch_n_m"], ["dynamic_yaw_n_m", "static_yaw_n_m"]];

pub(super) fn block(table: &View<'_>) -> Block {
    let element = if table.text("element") == "roller" { Element::Roller } else { Element::Ball };
    let (c, c0) = (table.number("dynamic_n"), table.number("static_n"));
    let over = |rating: f64, kind: &str, name: &str| rating / table.optional(&format!("{kind}_{name}_n")).unwrap_or(rating);
    // L = (C/P)^p x basis: the same block on 100 km carries (50/100)^(1/p) of the figure on 50 km.
    let basis = if table.choice("rating_basis_km") == "50" { 0.5_f64.powf(1.0 / element.life_exponent()) } else { 1.0 };
    let preload_n = preload(table, c);
    let level = if table.choice("level") == "contact" { Level::Contact } else { Level::Linear };
    let contact = contact(&table.table("contact"), element);
    if level == Level::Contact && contact.is_none() && table.is_there() {
        let advice = "Add [block.contact] with arrangement, balls_per_row, ball_mm, pitch_mm, row_lateral_mm and row_height_mm, or take level = \"linear\".";
        table.problem("level", "the contact level needs the geometry of the rows", advice);
    }
    if preload_n > MOST_PRELOAD * c {
        let key = if table.has("preload_n") { "preload_n" } else { "preload_percent_of_c" };
        let advice = "2 % of C is light, 5 to 8 % medium, 10 to 13 % heavy. Check the unit, and whether C is right.";
        table.problem(key, &format!("a preload of more than {} % of the dynamic rating is no block", 100.0 * MOST_PRELOAD), advice);
    }
    if contact.as_ref().is_some_and(|x| x.diameter_mm > x.pitch_mm) {
        let advice = "The pitch is the distance from one ball or roller to the next of its row, so it is at least the diameter.";
        table.table("contact").problem("ball_mm", "balls or rollers larger than their pitch overlap", advice);
    }
    let mut from_geometry = Vec::new();
    let mut given = |key: &'static str, unit: f64, own: Option<f64>| {
        if let Some(value) = table.optional(key) {
            return value * unit;
        }
        match own {
            Some(_) => from_geometry.push(key),
            None if table.is_there() && !table.has("contact") => {
                let advice = format!("Give {key}, or the rows under [block.contact], from which it is computed.");
                table.problem(key, "this key is missing", &advice);
            }
            None => {}
        }
        own.unwrap_or(f64::NAN)
    };
    let own = contact.as_ref().and_then(|x| stiffness_from_geometry(x, preload_n, c));
    let stiffness = std::array::from_fn(|i| given(STIFFNESS[i].0, STIFFNESS[i].1, own.map(|k| k[i])));
    let own: Option<GeometryRatings> = contact.as_ref().and_then(|x| geometry_ratings(x, c, c0));
    let moments: [[f64; 2]; 3] =
        std::array::from_fn(|i| std::array::from_fn(|kind| given(MOMENTS[i][kind], N_M, own.map(|o| o.moment_n_mm[i][kind]))));
    let known = |x: &Contact| {
        [x.diameter_mm, x.conformity, x.pitch_mm, x.e_mpa, x.nu, c, c0, preload_n].iter().all(|v| v.is_finite())
            && (element == Element::Ball || x.roller_length_mm > 0.0)
    };
    if own.is_none() && contact.as_ref().is_some_and(known) {
        table.problem("contact", "these rows make no contact", "Check balls_per_row, ball_mm, pitch_mm and conformity.");
    }
    Block {
        element,
        c_n: c * basis,
        c0_n: c0,
        c_over_direction: ["lateral", "vertical"].map(|n| over(c, "dynamic", n)),
        c_over_moment_per_mm: moments.map(|m| c / m[0]),
        c0_over_direction: ["lateral", "vertical"].map(|n| over(c0, "static", n)),
        c0_over_moment_per_mm: moments.map(|m| c0 / m[1]),
        stiffness,
        preload_n,
        level,
        contact,
        from_geometry,
        length_mm: table.optional("length_mm"),
        width_mm: table.optional("width_mm"),
        load_factor: table.number("load_factor"),
        a1: a1(&table.choice("reliability")).unwrap_or(f64::NAN),
    }
}

/// Preload of one opposed pair, given as a force or as a share of C.
fn preload(table: &View<'_>, c_n: f64) -> f64 {
    match (table.optional("preload_n"), table.optional("preload_percent_of_c")) {
        (Some(force), None) => force,
        (None, Some(percent)) => percent / 100.0 * c_n,
        (Some(_), Some(_)) => {
            table.problem("preload_percent_of_c", "the preload is given twice", "Give preload_n or preload_percent_of_c.");
            f64::NAN
        }
        (None, None) => {
            if table.is_there() {
                let advice = "Give it in newtons, or preload_percent_of_c: 2 % of C light, 5 to 8 % medium, 10 to 13 % heavy; data sheet.";
                table.problem("preload_n", "this key is missing", advice);
            }
            f64::NAN
        }
    }
}

fn contact(table: &View<'_>, element: Element) -> Option<Contact> {
    let roller_length_mm = table.optional("roller_length_mm");
    if table.is_there() && (element == Element::Roller) != roller_length_mm.is_some() {
        let (what, advice) = match element {
            Element::Roller => ("this key is missing", "Give the effective length of a roller, without its crowned ends."),
            Element::Ball => ("balls have no length", "Take it out, or set block.element = \"roller\"."),
        };
        table.problem("roller_length_mm", what, advice);
    }
    table.is_there().then(|| Contact {
        element,
        o: table.text("arrangement") == "o",
        count: table.whole("balls_per_row").clamp(0, 400) as usize,
        diameter_mm: table.number("ball_mm"),
        roller_length_mm: roller_length_mm.unwrap_or(0.0),
        pitch_mm: table.number("pitch_mm"),
        conformity: table.number("conformity"),
        angle_rad: table.number("angle_deg").to_radians(),
        row_lateral_mm: table.number("row_lateral_mm"),
        row_height_mm: table.number("row_height_mm"),
        e_mpa: table.number("e_mpa"),
        nu: table.number("nu"),
    })
}
