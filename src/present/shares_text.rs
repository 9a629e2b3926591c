//! Variance shares for the terminal, and the sources that do nothing by name.

use std::fmt::Write as _;

use super::numbers::{percent, significant};
use super::tables::{align_right, plain_table};
use crate::math::sobol::Share;
use crate::study::{ArrangementShares, SharesResult, SourceShares};

/// One table an arrangement, the sources that do nothing, and how to read it.
#[must_use]
pub fn shares_text(result: &SharesResult) -> String {
    let mut text = String::new();
    for a in &result.arrangements {
        let mark = if a.chosen { " (chosen)" } else { "" };
        let [(loss, loss_spread), (load, load_spread)] = a.spread;
        let _ = writeln!(
            text,
            "Arrangement \"{}\"{mark}: life loss {} in the mean, standard deviation {}; largest block load {} N, standard deviation {} N",
            a.name,
            percent(loss),
            percent(loss_spread),
            significant(load, 3),
            significant(load_spread, 3)
        );
        text += &table(a);
        let _ = writeln!(text, "{}\n", nothing(a));
    }
    let idle = |key: &str| result.arrangements.iter().all(|a| a.sources.iter().any(|s| s.key == key && s.does_nothing()));
    let everywhere: Vec<&str> =
        result.arrangements.first().map_or(&[][..], |a| &a.sources).iter().filter(|s| idle(s.key)).map(|s| s.key).collect();
    if result.arrangements.len() > 1 && !everywhere.is_empty() {
        let _ = writeln!(text, "Next to nothing in every arrangement (no one need pay for them at these tolerances):");
        everywhere.chunks(6).for_each(|some| {
            let _ = writeln!(text, "  {}", some.join(", "));
        });
    }
    text += "By itself: what of the variance goes if this error alone were gone from the scatter. With others: its interactions included;\n\
             these overlap, so they add up to more than 100 %. Straight line: what a stack of small errors through nominal would say.\n\
             Shares are of the scatter, at the planned tolerances, with temperatures and drag as in service: an error that always costs\n\
             the same, or one whose tolerance is opened, is another question (railtrue study, railtrue map).\n";
    text
}

fn table(a: &ArrangementShares) -> String {
    let mut order: Vec<&SourceShares> = a.sources.iter().filter(|s| !s.does_nothing()).collect();
    let most = |s: &SourceShares| s.shares[0].total.value;
    order.sort_by(|x, y| most(y).total_cmp(&most(x)));
    let mut table = plain_table([
        "error",
        "life loss:\nby itself",
        "with others\n(95 % sure)",
        "straight\nline",
        "largest load:\nby itself",
        "with others\n(95 % sure)",
        "straight\nline",
    ]);
    let total = |s: &Share| {
        let (low, high) = s.total.interval();
        format!("{} ({} to {})", whole(s.total.value), whole(low.max(0.0)), whole(high.min(1.0)))
    };
    for s in order {
        let [life, load] = &s.shares;
        table.add_row([
            s.label.into(),
            whole(life.first.value.max(0.0)),
            total(life),
            whole(s.linear[0]),
            whole(load.first.value.max(0.0)),
            total(load),
            whole(s.linear[1]),
        ]);
    }
    let sum = |of: &dyn Fn(&SourceShares) -> f64| whole(a.sources.iter().map(of).sum());
    table.add_row([
        "all together".into(),
        sum(&|s| s.shares[0].first.value),
        String::new(),
        String::new(),
        sum(&|s| s.shares[1].first.value),
        String::new(),
        String::new(),
    ]);
    align_right(&mut table, 1..7);
    format!("{table}\n")
}

/// A share in whole percent; a tenth where it is small.
fn whole(share: f64) -> String {
    let p = 100.0 * share;
    if p.abs() < 0.05 {
        "0 %".into()
    } else if p.abs() < 9.95 {
        format!("{p:.1} %")
    } else {
        format!("{p:.0} %")
    }
}

fn nothing(a: &ArrangementShares) -> String {
    let idle: Vec<&str> = a.sources.iter().filter(|s| s.does_nothing()).map(|s| s.label).collect();
    if idle.is_empty() {
        return "No source is sure to do nothing.".into();
    }
    let mut text = String::from("Surely under 1 % of both, so tightening them buys next to nothing:");
    for pair in idle.chunks(3) {
        let _ = write!(text, "\n  {}", pair.join("; "));
    }
    text
}
