//! What setting or making an error within a tolerance costs, in hours. The figures are the user's.

use super::fit::nearest;
use super::source::Source;
use super::view::View;
use crate::errors::{ErrorKind, ErrorSpec, ZoneMeaning};

/// How hours rise as a tolerance shrinks (mm or rad).
#[derive(Debug, Clone, PartialEq)]
pub enum CostLaw {
    /// `fixed + b / t^exponent`.
    Power {
        /// Hours that no tolerance saves.
        fixed_hours: f64,
        /// b, in hours times the tolerance's unit to the exponent.
        b: f64,
        /// 1 reciprocal, 2 reciprocal squared.
        exponent: f64,
    },
    /// Hours at stated tolerances, straight between them.
    Table(Vec<(f64, f64)>),
}

/// Cost of one error.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorCost {
    /// Which error.
    pub kind: ErrorKind,
    /// Its law.
    pub law: CostLaw,
    /// The tightest tolerance that may be asked for (mm or rad).
    pub tightest: f64,
    /// The loosest.
    pub loosest: f64,
}

/// What an hour is worth.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Budget {
    /// Money an hour, if the plan tells.
    pub money_per_hour: Option<f64>,
    /// Name of the money.
    pub currency: String,
}

/// Bounds where the plan gives none: a twentieth and five times the planned tolerance.
const TIGHTEST: f64 = 1.0 / 20.0;
const LOOSEST: f64 = 5.0;

impl ErrorCost {
    /// Hours for a tolerance.
    #[must_use]
    pub fn hours(&self, t: f64) -> f64 {
        match &self.law {
            CostLaw::Power { fixed_hours, b, exponent } => fixed_hours + b / t.powf(*exponent),
            CostLaw::Table(rows) => {
                let (i, share) = place(rows, t);
                rows[i].1 + share * (rows[i + 1].1 - rows[i].1)
            }
        }
    }

    /// The power law with the same slope at a tolerance: b and exponent.
    #[must_use]
    pub fn power_at(&self, t: f64) -> (f64, f64) {
        match &self.law {
            CostLaw::Power { b, exponent, .. } => (*b, *exponent),
            CostLaw::Table(rows) => {
                let (i, _) = place(rows, t);
                ((rows[i].1 - rows[i + 1].1) / (rows[i + 1].0 - rows[i].0) * t * t, 1.0)
            }
        }
    }
}

/// Row of a table before a tolerance, and the share of the way to the next one.
fn place(rows: &[(f64, f64)], t: f64) -> (usize, f64) {
    let i = rows[1..rows.len() - 1].iter().filter(|r| r.0 <= t).count();
    (i, ((t - rows[i].0) / (rows[i + 1].0 - rows[i].0)).clamp(0.0, 1.0))
}

/// The tolerance of a source: its half-width, or the whole zone of a profile.
#[must_use]
pub fn tolerance_of(source: &Source, spec: &ErrorSpec) -> f64 {
    if spec.zone == ZoneMeaning::PeakToValley { source.upper } else { source.half_width() }
}

/// Gives a source another tolerance about the same middle.
pub fn set_tolerance(source: &mut Source, spec: &ErrorSpec, t: f64) {
    let middle = source.middle();
    (source.lower, source.upper) = if spec.zone == ZoneMeaning::PeakToValley { (0.0, t) } else { (middle - t, middle + t) };
}

/// Reads the table of costs, each under the name of its error.
pub(super) fn costs(table: &View<'_>, sources: &[Source]) -> Vec<ErrorCost> {
    let known: Vec<&str> = ErrorKind::ALL.iter().map(|s| s.key).collect();
    for name in table.names().into_iter().filter(|n| !known.contains(n)) {
        let near = nearest(known.iter().copied(), name, 0.8);
        let advice = near.map_or_else(|| format!("Known are {}.", known.join(", ")), |n| format!("Did you mean {n}?"));
        table.problem(name, "there is no such error", &advice);
    }
    let one = |spec: &ErrorSpec| {
        let own = table.table(spec.key);
        match sources.iter().find(|s| s.kind == spec.kind) {
            _ if !own.is_there() => None,
            Some(source) => cost(&own, spec, source),
            None => {
                own.problem("", "this error has a cost but no tolerance", &format!("Name {} in [errors], or take its cost out.", spec.key));
                None
            }
        }
    };
    ErrorKind::ALL.iter().filter_map(one).collect()
}

/// The cost of one error; its tolerances count as the greatest deviation either way, or as a profile's zone.
fn cost(table: &View<'_>, spec: &ErrorSpec, source: &Source) -> Option<ErrorCost> {
    let (unit, factor) = (spec.unit(), spec.factor());
    let planned = tolerance_of(source, spec);
    if !(planned > 0.0) {
        table.problem("", "an error without a tolerance has no cost", "Give it a tolerance above 0: the search starts from it.");
        return None;
    }
    let [at, tightest, loosest, list] = ["at", "tightest", "loosest", "table"].map(|n| format!("{n}_{unit}"));
    let is_table = table.text("law") == "table";
    let wanted: &[&str] = if is_table { &[&list, "table_hours"] } else { &["hours", &at] };
    let allowed: &[&str] = if is_table { &[] } else { &["fixed_hours", &tightest, &loosest] };
    let mut whole = !table.text("law").is_empty();
    for name in wanted.iter().filter(|n| !table.has(n)) {
        table.problem("law", &format!("{name} is missing"), &format!("Law \"{}\" needs {}.", table.text("law"), wanted.join(" and ")));
        whole = false;
    }
    for name in table.names().into_iter().filter(|n| *n != "law" && !wanted.contains(n) && !allowed.contains(n)) {
        let advice = format!("Here stand: law, {}.", [wanted, allowed].concat().join(", "));
        table.problem(name, &format!("it does not belong to law \"{}\" of an error in {unit}", table.text("law")), &advice);
        whole = false;
    }
    if !whole {
        return None;
    }
    if is_table {
        let rows = rows(table, &list)?;
        let rows: Vec<(f64, f64)> = rows.into_iter().map(|(t, h)| (t * factor, h)).collect();
        return Some(ErrorCost { kind: spec.kind, tightest: rows[0].0, loosest: rows[rows.len() - 1].0, law: CostLaw::Table(rows) });
    }
    let exponent = if table.text("law") == "reciprocal_squared" { 2.0 } else { 1.0 };
    let (hours, fixed_hours) = (table.number("hours"), table.number("fixed_hours"));
    if !(hours > fixed_hours) {
        table.problem(
            "hours",
            "they must be more than fixed_hours",
            "hours are all of them at the stated tolerance, the fixed ones included.",
        );
        return None;
    }
    let bound = |name: &str, share: f64| table.optional(name).map_or(share * planned, |t| t * factor);
    let (tightest, loosest) = (bound(&tightest, TIGHTEST), bound(&loosest, LOOSEST));
    if !(tightest < loosest) {
        table.problem(
            "",
            "the tightest tolerance must lie below the loosest",
            "Left out, they are a twentieth and five times the planned one.",
        );
        return None;
    }
    let b = (hours - fixed_hours) * (table.number(&at) * factor).powf(exponent);
    Some(ErrorCost { kind: spec.kind, law: CostLaw::Power { fixed_hours, b, exponent }, tightest, loosest })
}

/// Rows of a table: tolerances as they stand, hours.
fn rows(table: &View<'_>, list: &str) -> Option<Vec<(f64, f64)>> {
    let (tolerances, hours) = (table.numbers(list)?, table.numbers("table_hours")?);
    let rises = |v: &[f64]| v.windows(2).all(|w| w[1] > w[0]);
    if tolerances.len() < 2 || tolerances.len() != hours.len() || !(tolerances[0] > 0.0) || !rises(&tolerances) {
        table.problem(list, "it must hold at least two rising tolerances above 0, one for each of table_hours", "");
        return None;
    }
    if hours.windows(2).any(|w| w[1] > w[0]) {
        table.problem(
            "table_hours",
            "hours rise with the tolerance",
            "A wider tolerance cannot take longer: sort both lists by tolerance.",
        );
        return None;
    }
    Some(tolerances.into_iter().zip(hours).collect())
}
