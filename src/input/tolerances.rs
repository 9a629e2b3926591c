//! The errors of a plan with their tolerances: from numbers, zone widths or classes of standards to limits.

use super::classes::{Classed, Form, resolve};
use super::cost::costs;
use super::plan::Frame;
use super::sources::{ErrorKind, ErrorSources, ErrorSpec, Source, Spread, ZoneMeaning};
use super::view::View;

/// All errors of the plan; `cost` is the table of what they cost, `frame` what classes of standards are entered with.
pub(super) fn errors(table: &View<'_>, cost: &View<'_>, frame: Option<&Frame>) -> ErrorSources {
    let (mut sources, mut classes) = (Vec::new(), Vec::new());
    for spec in &ErrorKind::ALL {
        let t = table.table(spec.key);
        if let Some((lower, upper)) = t.is_there().then(|| limits(&t, spec, frame, &mut classes)).flatten() {
            let in_service = t.text("state") == "in_service";
            if in_service && ["distribution", "capability", "inspected"].iter().any(|k| t.has(k)) {
                let advice = "Both limits count, each for half of the distance: take distribution, capability and inspected out.";
                t.problem("state", "an error that comes and goes has no spread", advice);
            }
            if in_service && !spec.may_come_and_go {
                t.problem(
                    "state",
                    &format!("only {} can come and go in service", those_that_come_and_go()),
                    "Temperatures, shaft wind-up and drag do so by themselves; the rest is fixed.",
                );
            }
            let spread = match t.text("distribution") {
                "uniform" => Spread::Uniform,
                "triangular" => Spread::Triangular,
                _ => Spread::Normal { capability: t.number("capability") },
            };
            let source = Source { kind: spec.kind, lower, upper, spread, inspected: t.flag("inspected"), in_service };
            sources.push(source);
        }
    }
    let costs = costs(cost, &sources);
    ErrorSources { sources, classes, costs }
}

/// Keys of the errors that may come and go in service.
pub(super) fn those_that_come_and_go() -> String {
    ErrorKind::ALL.iter().filter(|s| s.may_come_and_go).map(|s| s.key).collect::<Vec<_>>().join(", ")
}

/// Limits of an error from whichever form the plan gives.
fn limits(table: &View<'_>, spec: &ErrorSpec, frame: Option<&Frame>, classes: &mut Vec<Classed>) -> Option<(f64, f64)> {
    let (unit, factor) = (spec.unit(), spec.factor());
    let [half, zone, lower, upper] = ["plus_minus", "zone", "lower", "upper"].map(|n| format!("{n}_{unit}"));
    let forms = [table.has(&half), table.has(&zone), table.has(&lower) || table.has(&upper), table.has("class")];
    let given = forms.iter().filter(|f| **f).count();
    if given != 1 {
        let choices =
            if spec.zone == ZoneMeaning::PeakToValley { zone } else { format!("exactly one of {half}, {zone}, or {lower} with {upper}") };
        let what = if given == 0 { "the tolerance is missing" } else { "the tolerance is given more than once" };
        table.problem("", what, &format!("Give {choices}, or a class of a standard."));
        return None;
    }
    if table.has("class") {
        let frame = frame.filter(|f| f.span_mm > 0.0)?;
        let value = resolve(table.text("class"), spec, frame).map_err(|(what, advice)| table.problem("class", &what, &advice)).ok()?;
        let limits = match value.form {
            Form::PlusMinus => (-value.tolerance_mm, value.tolerance_mm),
            Form::Zone => spec.zone.limits(value.tolerance_mm),
        };
        classes.push(Classed { kind: spec.kind, value });
        return Some(limits);
    }
    let (low, high) = match (table.optional(&half), table.optional(&zone)) {
        (Some(h), _) => (-h, h),
        (_, Some(t)) => spec.zone.limits(t),
        _ => (table.number(&lower), table.number(&upper)),
    };
    if !(low <= high) {
        let advice = format!("{lower} = -0.2, {upper} = 0.5 is a tolerance from -0.2 to 0.5.");
        table.problem(&lower, &format!("{lower} and {upper} must both stand here, the lower first"), &advice);
        return None;
    }
    Some((low * factor, high * factor))
}
