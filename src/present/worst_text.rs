//! The worst case for the terminal: attained and bound, beside what the hand calculation says.

use std::fmt::Write as _;

use super::numbers::{percent, significant};
use super::tables::{align_right, plain_table};
use crate::study::{Bracket, Stack, WorstCase};

/// Table of the brackets with the stacks beside them, and how to read it.
#[must_use]
pub fn worst_table(worst: &WorstCase, stacks: &[Stack]) -> String {
    let mut text = format!("Arrangement \"{}\": the worst that the tolerances allow\n", worst.arrangement);
    let mut table = plain_table(["", "perfect", "RSS", "arithmetic", "attained", "bound", "gap"]);
    for b in &worst.brackets {
        let stack = stacks.iter().find(|s| s.key == b.key);
        let unit = if b.unit.is_empty() { String::new() } else { format!(", {}", b.unit) };
        // A stack that falls below nothing is no number; the lines under the table say so.
        let sensible = |x: &f64| !b.less_is_worse || *x > 0.0;
        let cell = |x: Option<f64>| x.map_or_else(String::new, |x| significant(x, 3));
        table.add_row([
            format!("{}{unit}", b.label),
            significant(b.perfect, 3),
            cell(stack.map(|s| s.rss).filter(sensible)),
            cell(stack.map(|s| s.arithmetic).filter(sensible)),
            significant(b.attained, 3),
            b.bound.map_or_else(|| "none".into(), |x| significant(x, 3)),
            gap(b),
        ]);
    }
    align_right(&mut table, 1..7);
    let _ = writeln!(text, "{table}");
    if let Some(why) = &worst.no_bound {
        let _ = writeln!(text, "No bound: {why}. What is attained is the worst that was found, not the worst there is.");
    }
    if worst.stopped_by_clock {
        let _ = writeln!(text, "The clock ended the search for the least life: its bound is valid, but another run may raise it.");
    }
    if worst.stops_possible {
        let _ = writeln!(text, "A float can reach its stop inside these tolerances: the bounds take its force as unknown.");
    }
    for line in misleading(worst, stacks) {
        let _ = writeln!(text, "{line}");
    }
    text
}

fn gap(b: &Bracket) -> String {
    match b.gap() {
        None => String::new(),
        Some(g) if g < 3e-5 => "exact".into(),
        Some(g) => percent(g),
    }
}

/// Where the straight-line stack misleads.
fn misleading(worst: &WorstCase, stacks: &[Stack]) -> Vec<String> {
    let mut lines = Vec::new();
    for b in &worst.brackets {
        let Some(stack) = stacks.iter().find(|s| s.key == b.key) else { continue };
        if b.less_is_worse && stack.arithmetic <= 0.0 {
            lines.push(format!(
                "The arithmetic stack of {} falls below nothing: it does not fall in a straight line. Read the bracket.",
                b.label
            ));
        } else if b.less_is_worse == (stack.arithmetic > b.attained) && (stack.arithmetic / b.attained - 1.0).abs() > 0.05 {
            let by = percent((stack.arithmetic / b.attained - 1.0).abs());
            lines.push(format!("The arithmetic stack of {} is {by} milder than a real installation inside the tolerances.", b.label));
        }
    }
    lines
}
