//! Limits for the terminal: single limits under their warning, then the set that holds together.

use std::fmt::Write as _;

use super::limits_rows::{SetRow, set_rows, short, spec, tolerance, unit_name};
use super::numbers::{percent, plain, significant};
use super::summary::words;
use super::tables::{align_right, bound_of, plain_table};
use crate::input::plan::{DriveKind, Measure};
use crate::input::{Plan, Source};
use crate::study::{
    ArrangementLimits, Basis, DrawnSet, LimitsResult, Reach, ScaleLimit, SourceLimits, farthest_scale, is_set_at_installation, unit,
};

/// Below this a tolerance over the length of a rail can hardly be set or measured (common practice, no source).
const FINE_MM: f64 = 0.05;

/// Single limits of every arrangement, then the common scales and the set.
#[must_use]
pub fn limits_text(plan: &Plan, limits: &LimitsResult) -> String {
    let mut text = String::new();
    for a in &limits.arrangements {
        let mark = if a.chosen { " (chosen: it sets the exit code)" } else { "" };
        let _ = writeln!(text, "Arrangement \"{}\"{mark}", a.name);
        match fails_at_zero(plan, a) {
            Some(why) => {
                let _ = writeln!(text, "No error has a limit: {why}.\n");
            }
            None => text += &single_tables(plan, a),
        }
    }
    text += &set_text(plan, limits);
    if !plan.assumed.is_empty() {
        let _ = writeln!(text, "- assumed in the plan, not measured and from no data sheet: {}", plan.assumed.join("; "));
    }
    text
}

/// Why nothing holds even with every error at zero.
pub(super) fn fails_at_zero(plan: &Plan, a: &ArrangementLimits) -> Option<String> {
    let r = plan.requirements.get(a.zero.requirement).filter(|_| a.zero.at > 1.0)?;
    let cause = match (a.perfect.at > 1.0, &plan.drive.kind) {
        (true, _) => "the perfect machine without heat brings",
        (_, DriveKind::Shaft { .. }) => "temperatures and shaft wind-up in service alone bring",
        _ => "temperatures in service alone bring",
    };
    let value = if r.measure.more_is_better() { r.limit / a.zero.at } else { r.limit * a.zero.at };
    let value = match r.measure {
        Measure::FloatTravel | Measure::LifeLoss => percent(value),
        _ => significant(value, 3),
    };
    Some(format!("with every error at zero, {cause} {} to {value}; {} is required", words(r.measure), bound_of(r)))
}

fn requirement(plan: &Plan, index: usize) -> String {
    plan.requirements.get(index).map_or_else(|| "a requirement".into(), |r| format!("{} {}", words(r.measure), bound_of(r)))
}

fn single_tables(plan: &Plan, a: &ArrangementLimits) -> String {
    let mut text = String::from("Alone, all else perfect: not for the drawing (single limits do not hold together)\n");
    text += &single_table(plan, a, |s| (&s.alone.quantile, &s.alone.worst), 0);
    text.push('\n');
    text += "One at a time beside all others as planned: not for the drawing (one may grow so far, not several)\n";
    let never = |l: &ScaleLimit| l.possible == Reach::Never;
    if a.sources.iter().all(|s| never(&s.among.quantile) && never(&s.among.worst)) {
        text += "No single error helps: with any one of them at zero, the others as planned still fail.\n";
    } else {
        text += &single_table(plan, a, |s| (&s.among.quantile, &s.among.worst), 1);
    }
    text += "Limit: for the share of installations that each requirement asks for. Worst case: proved up to the first number for every\n\
             installation inside the tolerances; beyond the second one of them fails. Rounded: down, verified on fresh installations.\n\n";
    text
}

fn single_table(plan: &Plan, a: &ArrangementLimits, of: fn(&SourceLimits) -> (&ScaleLimit, &ScaleLimit), view: usize) -> String {
    let mut table = plain_table(["", "planned", "limit", "sure between", "worst case", "alone, rounded", "stopped by"]);
    // A tolerance planned at nothing has no scale.
    for s in a.sources.iter().filter(|s| size(&s.planned, 1.0) > 0.0) {
        let (quantile, worst) = of(s);
        let stop = quantile.stopped_by.and_then(|i| plan.requirements.get(i)).map_or("", |r| words(r.measure));
        let write = |scale: f64| significant(size(&s.planned, scale), 3);
        table.add_row([
            format!("{}, {}", spec(s.planned.kind).label, unit_name(s.planned.kind)),
            tolerance(&s.planned),
            reach(&s.planned, quantile.reach, write),
            if quantile.sure == quantile.possible { String::new() } else { ends(&s.planned, quantile, write) },
            ends(&s.planned, worst, |scale| significant(size(&s.planned, scale), 2)),
            s.rounded[view].as_ref().map_or_else(|| "-".into(), |r| tolerance(&r.source)),
            stop.into(),
        ]);
    }
    align_right(&mut table, 1..6);
    format!("{table}\n")
}

/// Size of a tolerance at a scale.
fn size(planned: &Source, scale: f64) -> f64 {
    scale * planned.upper.max(-planned.lower) / unit(planned.kind)
}

fn reach(planned: &Source, reach: Reach, write: impl Fn(f64) -> String) -> String {
    match reach {
        Reach::Never => "fails at 0".into(),
        Reach::Always => format!("over {}", short(size(planned, farthest_scale(planned)))),
        Reach::Scale(scale) => write(scale),
    }
}

/// Both ends of what is known of a limit, or one where they are written alike.
fn ends(planned: &Source, limit: &ScaleLimit, write: impl Fn(f64) -> String) -> String {
    let end = |r: Reach| if r == Reach::Never { "0".into() } else { reach(planned, r, &write) };
    let (low, high) = (end(limit.sure), end(limit.possible));
    match low == high {
        true => reach(planned, limit.sure, &write),
        false => format!("{low} to {high}"),
    }
}

fn set_text(plan: &Plan, limits: &LimitsResult) -> String {
    let mut text = String::from("Common scale of the planned tolerances\n");
    let mut table = plain_table(["", "all scaled", "sure between", "worst case", "installation alone", "sure between", "worst case"]);
    for a in &limits.arrangements {
        let mut row = vec![format!("{} joints", a.name)];
        for pair in [&a.all, &a.installation] {
            let cell = |r: Reach| match r {
                Reach::Never => "none".to_string(),
                Reach::Always => "no limit seen".into(),
                Reach::Scale(s) => significant(s, 3),
            };
            row.push(cell(pair.quantile.reach));
            row.push(if matches!(pair.quantile.reach, Reach::Scale(_)) {
                format!("{} and {}", cell(pair.quantile.sure), cell(pair.quantile.possible))
            } else {
                String::new()
            });
            row.push(match (pair.worst.sure, pair.worst.possible) {
                (Reach::Scale(a), Reach::Scale(b)) if b / a > 1.01 => format!("{} to {}", significant(a, 2), significant(b, 2)),
                (Reach::Never, Reach::Scale(b)) => format!("0 to {}", significant(b, 2)),
                (sure, _) => cell(sure),
            });
        }
        table.add_row(row);
    }
    align_right(&mut table, 1..7);
    let _ = writeln!(
        text,
        "{table}\nWorst case: proved up to the first number; beyond the second an installation inside the tolerances fails.\n"
    );
    text += "For the drawing: the tolerances that hold all at once, rounded down and verified on fresh installations\n";
    text += &set_table(limits, &set_rows(plan, limits, true), "set at installation");
    text += "Conditions: what is made before, and must be so for the table above to hold\n";
    text += &set_table(limits, &set_rows(plan, limits, false), "made before");
    text += "SET\n";
    for a in &limits.arrangements {
        let _ = writeln!(text, "- {} joints{}: {}", a.name, if a.chosen { " (chosen)" } else { "" }, verdict(plan, limits, a));
    }
    text
}

fn set_table(limits: &LimitsResult, rows: &[SetRow], what: &str) -> String {
    let mut header = vec![what.to_string(), "planned".into()];
    header.extend(limits.arrangements.iter().map(|a| format!("{} joints", a.name)));
    let mut table = plain_table::<0>([]);
    table.set_header(header);
    for row in rows {
        let mut cells = vec![format!("{}, {}", row.label, row.unit), row.planned.clone()];
        cells.extend(row.cells.iter().map(|c| c.clone().unwrap_or_else(|| "no set".into())));
        table.add_row(cells);
    }
    align_right(&mut table, 1..2 + limits.arrangements.len());
    format!("{table}\n\n")
}

/// How many of the errors that are set at installation keep their planned tolerance.
fn kept(plan: &Plan, set: &DrawnSet) -> String {
    let same = |s: &&Source| is_set_at_installation(s) && set.errors.get(s.kind) == Some(*s);
    match plan.errors.sources.iter().filter(same).count() {
        0 => String::new(),
        n => format!(" (but {n} that can stay as planned)"),
    }
}

/// What came out for one arrangement, in a sentence or three.
pub(super) fn verdict(plan: &Plan, limits: &LimitsResult, a: &ArrangementLimits) -> String {
    let draws = plain(limits.depth.set_draws as f64);
    let set = match &a.set {
        Ok(set) => set,
        Err(no) => {
            let why = fails_at_zero(plan, a).unwrap_or_else(|| {
                let stop = no.requirement.map_or_else(|| "a requirement".into(), |i| requirement(plan, i));
                format!("{stop} is not shown to be met by any drawn values")
            });
            return format!("NO SET: {why}.");
        }
    };
    let what = match set.basis {
        Basis::Planned => match a.all.quantile.reach {
            Reach::Scale(s) if s >= 1.0 => format!("the planned tolerances hold; all together could be {} times as wide", short(s)),
            _ => "the planned tolerances hold".into(),
        },
        Basis::InstallationScaled => {
            format!(
                "what is set at installation is {} times the plan, rounded down{}; what is made stays as planned",
                short(set.scale),
                kept(plan, set)
            )
        }
        Basis::AllScaled => {
            format!("all tolerances are {} times the plan, rounded down{}, those of what is made too", short(set.scale), kept(plan, set))
        }
    };
    let shares: Vec<String> = set.verdicts.iter().map(|v| format!("{} in {}", words(v.requirement.measure), percent(v.share))).collect();
    let tightened = if set.tightened > 0 { format!(", tightened {} times", set.tightened) } else { String::new() };
    let worst = if set.worst.high <= 1.0 {
        "It holds for every installation inside the tolerances.".into()
    } else if set.worst.low > 1.0 {
        format!("Not for every installation: {} fails in the worst case.", requirement(plan, set.worst.requirement))
    } else {
        "Whether it holds for every installation is not proved.".into()
    };
    let fine = |s: &Source| is_set_at_installation(s) && unit_name(s.kind) == "mm" && s.upper.max(-s.lower) < FINE_MM;
    let hard = match set.errors.sources.iter().any(fine) {
        true => format!(" Tolerances under {FINE_MM} mm can hardly be set or measured over metres (common practice, no source)."),
        false => String::new(),
    };
    format!(
        "{what}{tightened}. Of {draws} fresh installations (seed {}): {}. {worst}{hard}",
        crate::study::fresh(limits.seed),
        shares.join(", ")
    )
}
