//! A block from its balls up, for the terminal.

use std::fmt::Write as _;

use super::numbers::significant;
use super::tables::{align_right, plain_table};
use crate::contact::{BallBlock, Ellipse, Vector5};
use crate::input::plan::{Block, Contact};
use crate::units::{MRAD, N_M, N_M_PER_MRAD, N_PER_UM};

/// Names of the rows in their order.
const ROWS: [&str; 4] = ["upper, +y side", "upper, -y side", "lower, +y side", "lower, -y side"];

/// Stiffnesses beside the plan's, then forces and ball loads of one displaced state.
#[must_use]
pub fn block_text(data: &Block, contact: &Contact, block: &BallBlock, ellipse: &Ellipse, displaced: &Vector5) -> String {
    let mut text = String::new();
    let preload = block.preload_ball_n;
    let _ = writeln!(
        text,
        "Preload {} N: {} N on each ball, approach {} um, pressure {} MPa",
        significant(data.preload_n, 3),
        significant(preload, 3),
        significant(1e3 * block.preload_approach_mm(), 3),
        significant(ellipse.pressure_mpa(preload), 3)
    );
    let mut table = plain_table(["stiffness at rest", "from the balls", "in the plan", "unit"]);
    let names = [
        ("lateral", N_PER_UM, "N/um"),
        ("vertical", N_PER_UM, "N/um"),
        ("roll", N_M_PER_MRAD, "N m/mrad"),
        ("pitch", N_M_PER_MRAD, "N m/mrad"),
        ("yaw", N_M_PER_MRAD, "N m/mrad"),
    ];
    for ((name, unit, words), (own, given)) in names.iter().zip(block.stiffness_at_rest().iter().zip(data.stiffness)) {
        table.add_row([(*name).to_string(), significant(own / unit, 3), significant(given / unit, 3), (*words).to_string()]);
    }
    align_right(&mut table, 1..3);
    let _ = writeln!(text, "{table}");
    let _ = writeln!(text, "No body compliance is in it: real blocks are softer, and the maker's figures go before these.");
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
    let mut balls = plain_table(["row", "ball loads from -x to +x, N", "largest pressure, MPa"]);
    for (name, row) in ROWS.iter().zip(state.ball_n.chunks(contact.balls)) {
        let loads: Vec<String> = row.iter().map(|q| format!("{q:.0}")).collect();
        let greatest = row.iter().copied().fold(0.0, f64::max);
        balls.add_row([(*name).to_string(), loads.join(" "), significant(ellipse.pressure_mpa(greatest), 3)]);
    }
    align_right(&mut balls, 2..3);
    let _ = writeln!(text, "{balls}");
    let _ = write!(
        text,
        "Contacts that run off the groove's edge or out of the load zone are not cut off here. Studies use the plan's linear stiffnesses."
    );
    text
}
