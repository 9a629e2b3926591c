//! A block from its rolling elements up, for the terminal.

use std::fmt::Write as _;

use super::numbers::significant;
use super::tables::{align_right, plain_table};
use crate::contact::{Contact, GeometryRatings, RowBlock, Vector5};
use crate::input::plan::{Block, Element, Level};
use crate::units::{MRAD, N_M, N_M_PER_MRAD, N_PER_UM};

/// Names of the rows in their order.
pub(super) const ROWS: [&str; 4] = ["upper, +y side", "upper, -y side", "lower, +y side", "lower, -y side"];

/// Stiffnesses and ratings beside the plan's, the C0 criterion, then forces and element loads of one displaced state.
#[must_use]
pub fn block_text(data: &Block, contact: &Contact, block: &RowBlock, ratings: Option<&GeometryRatings>, displaced: &Vector5) -> String {
    let mut text = String::new();
    let (preload, rolling) = (block.preload_element_n, &block.rolling);
    let element = element_word(data.element);
    let _ = writeln!(
        text,
        "Preload {} N: {} N on each {element}, approach {} um, pressure {} MPa",
        significant(data.preload_n, 3),
        significant(preload, 3),
        significant(1e3 * block.preload_approach_mm(), 3),
        significant(rolling.pressure_mpa(preload), 3)
    );
    let under_c0 = contact.share_n(data.c0_n);
    let dent = rolling.dent_over_diameter(under_c0).map_or_else(String::new, |dent| {
        format!(", lasting dent {} of its diameter (the static rating means 1e-4: ISO 14728-2)", significant(1e4 * dent, 2) + "e-4")
    });
    let _ = writeln!(
        text,
        "C0 {} N straight down: {} N on each {element}, pressure {} MPa (common practice: {} MPa){dent}",
        significant(data.c0_n, 4),
        significant(under_c0, 3),
        significant(rolling.pressure_mpa(under_c0), 3),
        rolling.common_limit_mpa(),
    );
    let given = |key: &str, value: f64| if data.from_geometry.contains(&key) { "not given".into() } else { significant(value, 3) };
    let mut table = plain_table(["stiffness at rest", "from the rows", "in the plan", "unit"]);
    let names = [
        ("lateral", "lateral_n_per_um", N_PER_UM, "N/um"),
        ("vertical", "vertical_n_per_um", N_PER_UM, "N/um"),
        ("roll", "roll_n_m_per_mrad", N_M_PER_MRAD, "N m/mrad"),
        ("pitch", "pitch_n_m_per_mrad", N_M_PER_MRAD, "N m/mrad"),
        ("yaw", "yaw_n_m_per_mrad", N_M_PER_MRAD, "N m/mrad"),
    ];
    for ((name, key, unit, words), (own, plan)) in names.iter().zip(block.stiffness_at_rest().iter().zip(data.stiffness)) {
        table.add_row([(*name).to_string(), significant(own / unit, 3), given(key, plan / unit), (*words).to_string()]);
    }
    align_right(&mut table, 1..3);
    let _ = writeln!(text, "{table}");
    if let Some(ratings) = ratings {
        let mut table = plain_table(["rating (dynamic on 100 km)", "from the rows", "in the plan", "unit"]);
        let pairs = [("dynamic", data.c_n, &data.c_over_direction, &data.c_over_moment_per_mm)];
        let pairs = pairs.into_iter().chain([("static", data.c0_n, &data.c0_over_direction, &data.c0_over_moment_per_mm)]);
        for (i, (kind, rating, direction, moment)) in pairs.enumerate() {
            let lateral = significant(ratings.lateral_n[i], 3);
            table.add_row([format!("{kind}, lateral"), lateral, significant(rating / direction[0], 3), "N".into()]);
            for (turn, name) in ["roll", "pitch", "yaw"].iter().enumerate() {
                let plan = given(&format!("{kind}_{name}_n_m"), rating / moment[turn] / N_M);
                table.add_row([format!("{kind}, {name}"), significant(ratings.moment_n_mm[turn][i] / N_M, 3), plan, "N m".into()]);
            }
        }
        align_right(&mut table, 1..3);
        let _ = writeln!(text, "{table}");
    }
    let _ = writeln!(text, "Bodies are taken as rigid: real blocks are softer, and the maker's figures go before these.");
    text + &displaced_state(data, contact, block, displaced)
}

fn displaced_state(data: &Block, contact: &Contact, block: &RowBlock, displaced: &Vector5) -> String {
    let mut text = String::new();
    let state = block.at(displaced);
    let _ = writeln!(
        text,
        "\nDisplaced by y {} mm, z {} mm, roll {} mrad, pitch {} mrad, yaw {} mrad:",
        displaced[0],
        displaced[1],
        significant(displaced[2] / MRAD, 3),
        significant(displaced[3] / MRAD, 3),
        significant(displaced[4] / MRAD, 3)
    );
    let f = &state.force;
    let _ =
        writeln!(text, "Fy {:.1} N, Fz {:.1} N, Mx {:.2} N m, My {:.2} N m, Mz {:.2} N m", f[0], f[1], f[2] / N_M, f[3] / N_M, f[4] / N_M);
    let heading = format!("{} loads from -x to +x, N", element_word(data.element));
    let mut table = plain_table(["row", heading.as_str(), "largest pressure, MPa"]);
    for (name, row) in ROWS.iter().zip(state.element_n.chunks(contact.count)) {
        let loads: Vec<String> = row.iter().map(|q| format!("{q:.0}")).collect();
        let greatest = row.iter().copied().fold(0.0, f64::max);
        table.add_row([(*name).to_string(), loads.join(" "), significant(block.rolling.pressure_mpa(greatest), 3)]);
    }
    align_right(&mut table, 2..3);
    let greatest = state.element_n.iter().copied().fold(0.0, f64::max);
    let safety = contact.share_n(data.c0_n) / greatest;
    let level = match data.level {
        Level::Linear => "This plan's studies use its linear stiffnesses (block.level = \"linear\").",
        Level::Contact => "This plan's studies use these rows (block.level = \"contact\").",
    };
    let _ = writeln!(text, "{table}");
    if greatest > 0.0 {
        let _ = writeln!(text, "Static safety of the most loaded {}: {}", element_word(data.element), significant(safety, 3));
    }
    let _ = write!(text, "Contacts that run off the groove's edge or out of the load zone are not cut off here. {level}");
    text
}

/// What rolls.
pub(super) fn element_word(element: Element) -> &'static str {
    match element {
        Element::Ball => "ball",
        Element::Roller => "roller",
    }
}
