//! A traced installation for the terminal.

use std::fmt::Write as _;

use comfy_table::Table;

use super::block_text::element_word;
use super::numbers::{percent, significant, years};
use super::tables::{align_right, plain_table};
use crate::input::Plan;
use crate::structure::Drag;
use crate::study::{Trace, TracedState};
use crate::units::{COMPONENTS, MRAD, N_M};

/// Summary, then the traced situations; only the one with the largest block load unless `all`.
#[must_use]
pub fn trace_tables(plan: &Plan, trace: &Trace, all: bool) -> String {
    let mut text = String::new();
    let (o, p) = (&trace.outcome, &trace.perfect);
    let span = |km: f64| plan.km_per_year.map_or_else(String::new, |year| format!(" ({})", years(km, year)));
    let _ = writeln!(
        text,
        "Arrangement \"{}\": life {} km{}, perfect {} km{}, loss {}",
        trace.arrangement,
        significant(o.life_km, 4),
        span(o.life_km),
        significant(p.life_km, 4),
        span(p.life_km),
        percent(o.life_loss)
    );
    let travel = if o.float_travel_used > 0.0 { format!("; float travel used {}", percent(o.float_travel_used)) } else { String::new() };
    let slot = if o.slot_used > 0.0 { format!("; slot used {}", percent(o.slot_used)) } else { String::new() };
    let _ = writeln!(
        text,
        "Largest block load {} N, {} N over the perfect installation's; static safety {}{travel}{slot}",
        significant(o.peak_load_n, 4),
        significant(o.extra_load_n, 3),
        significant(o.static_safety, 3),
    );
    if let Some(rows) = &o.rows {
        let _ = writeln!(
            text,
            "Life is that of the rows; by summed loads {} km. Most loaded {}: {} N, {} MPa, static safety {}",
            significant(rows.life_by_load_km, 4),
            element_word(plan.block.element),
            significant(rows.peak_element_n, 3),
            significant(rows.peak_pressure_mpa, 3),
            significant(rows.element_safety, 3),
        );
    }
    if o.static_safety < 1.0 {
        let _ = writeln!(text, "Beyond the static rating: the blocks would be damaged, and the model does not hold there.");
    }
    let _ = writeln!(text, "\nBlocks over stroke, duty and service");
    let mut table = plain_table(["block", "mean load P_m, N", "L10, km", "largest P, N", "extra, N", "S0"]);
    for (name, b) in block_names(plan).iter().zip(&trace.blocks) {
        table.add_row([
            name.clone(),
            significant(b.mean_load_n, 4),
            significant(b.life_km, 4),
            significant(b.peak_load_n, 4),
            significant(b.extra_load_n, 3),
            significant(b.static_safety, 3),
        ]);
    }
    align(&mut table);
    let _ = writeln!(text, "{table}");
    let largest = |s: &TracedState| s.equivalent.iter().map(|(p, _)| p.dynamic_n).fold(0.0, f64::max);
    let counted = |s: &&TracedState| trace.by_law.is_none() == (s.situation.drag == Drag::Law);
    let worst = trace.states.iter().filter(counted).max_by(|a, b| largest(a).total_cmp(&largest(b)));
    let shown: Vec<&TracedState> = if all { trace.states.iter().collect() } else { worst.into_iter().collect() };
    for state in &shown {
        situation(plan, state, &mut text);
    }
    let rest = trace.states.len() - shown.len();
    if rest > 0 {
        let _ = writeln!(text, "\nThis is the situation with the largest block load; {rest} more with --stations, or in the JSON.");
    }
    text
}

/// Names of the blocks in the order of all results.
pub(super) fn block_names(plan: &Plan) -> Vec<String> {
    let of = |side: usize| (0..plan.trucks[side].blocks.len()).map(move |b| format!("{}{}", ["A", "B"][side], b + 1));
    (0..2).flat_map(of).collect()
}

fn align(table: &mut Table) {
    let columns = table.column_count();
    align_right(table, 1..columns);
}

fn situation(plan: &Plan, state: &TracedState, text: &mut String) {
    let (s, r) = (&state.situation, &state.response);
    let _ = writeln!(
        text,
        "\nStation {} mm, \"{}\", service {} (bridge {:+.1} K, frame {:+.1} K), drag {}; solved in {} step(s), residual {:.0e}",
        significant(s.station_x_mm, 6),
        plan.duty[s.case].name,
        state.service,
        s.thermal.bridge_dt_k,
        s.thermal.frame_dt_k,
        s.drag.name(),
        r.iterations,
        r.residual
    );
    let mut pose = plain_table(["pose", "ux, mm", "uy, mm", "uz, mm", "rx, mrad", "ry, mrad", "rz, mrad"]);
    for (i, body) in ["truck A", "truck B", "bridge end A", "bridge end B"].iter().enumerate() {
        let value = |k: usize| if k < 3 { format!("{:.4}", r.pose[6 * i + k]) } else { format!("{:.4}", r.pose[6 * i + k] / MRAD) };
        pose.add_row(std::iter::once((*body).to_string()).chain((0..6).map(value)));
    }
    align(&mut pose);
    let _ = writeln!(text, "{pose}");
    let mut joints = plain_table(["joint", "component", "displacement", "force", "taken up", "travel used"]);
    for j in &r.joints {
        let turn = j.axis >= 3;
        let (way, force) = if turn { (MRAD, N_M) } else { (1.0, 1.0) };
        let units = if turn { ("mrad", "N m") } else { ("mm", "N") };
        joints.add_row([
            format!("joint {}{}", ["A", "B"][j.end], j.number + 1),
            COMPONENTS[j.axis].into(),
            format!("{:.4} {}", j.delta / way, units.0),
            format!("{:.2} {}", j.force / force, units.1),
            if j.taken_up == 0.0 { String::new() } else { format!("{:.4} {}", j.taken_up / way, units.0) },
            j.travel_used.map_or_else(String::new, |u| format!("{}{}", percent(u), if j.sticks { ", sticks" } else { "" })),
        ]);
    }
    align(&mut joints);
    let _ = writeln!(text, "{joints}");
    let mut blocks = plain_table(["block", "Fy, N", "Fz, N", "Mx, N m", "My, N m", "Mz, N m", "P, N", "P0, N", "P with preload, N"]);
    for ((name, load), (p, effective)) in block_names(plan).iter().zip(&r.block_loads).zip(&state.equivalent) {
        let row = [
            name.clone(),
            format!("{:.1}", load[0]),
            format!("{:.1}", load[1]),
            format!("{:.2}", load[2] / N_M),
            format!("{:.2}", load[3] / N_M),
            format!("{:.2}", load[4] / N_M),
            format!("{:.1}", p.dynamic_n),
            format!("{:.1}", p.static_n),
            format!("{effective:.1}"),
        ];
        blocks.add_row(row);
    }
    align(&mut blocks);
    let _ = writeln!(text, "{blocks}");
    let t = &state.tool_from_perfect;
    let _ = writeln!(
        text,
        "Drives push A {:.1} N, B {:.1} N along x; tool point off by {:.4}, {:.4}, {:.4} mm and {:.4} mrad",
        r.drive_n[0],
        r.drive_n[1],
        t[0],
        t[1],
        t[2],
        t[3] / MRAD
    );
}
