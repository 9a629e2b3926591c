//! Tolerance classes of standards for the terminal: what a plan took from them, and which class would do.

use std::fmt::Write as _;

use super::numbers::trimmed;
use super::tables::plain_table;
use crate::input::classes::{ClassValue, Form, RULES, Sure, rules_for};
use crate::input::sources::{ErrorSpec, ZoneMeaning};
use crate::input::{ErrorKind, Plan, Source};
use crate::units::MRAD;

/// A tolerance as a plan writes it, without trailing zeros: "+-0.5 mm", "0.15 mm zone", "-0.3 to 0.1 mm".
pub(super) fn tolerance(source: &Source, spec: &ErrorSpec) -> String {
    let (unit, factor) = if spec.angle { ("mrad", MRAD) } else { ("mm", 1.0) };
    let (lower, upper) = (short(source.lower / factor), short(source.upper / factor));
    match spec.zone {
        ZoneMeaning::PeakToValley => format!("{upper} {unit} zone"),
        _ if source.lower == -source.upper => format!("±{upper} {unit}"),
        _ => format!("{lower} to {upper} {unit}"),
    }
}

/// Up to four significant digits, without trailing zeros.
pub(super) fn short(x: f64) -> String {
    trimmed(x, 4)
}

fn value(v: &ClassValue) -> String {
    match v.form {
        Form::PlusMinus => format!("±{} mm", short(v.tolerance_mm)),
        Form::Zone => format!("{} mm zone", short(v.tolerance_mm)),
    }
}

/// One line for each tolerance that came from a class, with edition and how sure it is; empty without any.
#[must_use]
pub fn class_lines(plan: &Plan) -> String {
    let mut text = String::new();
    for c in &plan.errors.classes {
        let key = c.kind.spec().key;
        let v = &c.value;
        let _ = writeln!(
            text,
            "errors.{key}: {} is {} at {} mm ({}; edition {}; {})",
            v.class,
            value(v),
            short(v.nominal_mm),
            v.quantity,
            v.edition,
            v.sure.words()
        );
    }
    text
}

/// The widest class that stays inside a source's own limits.
fn would_do(plan: &Plan, source: &Source, spec: &ErrorSpec, rule: &crate::input::classes::Rule) -> String {
    let own = if spec.zone == ZoneMeaning::AboutNominal && rule.form == Form::Zone { 2.0 } else { 1.0 } * source.upper;
    let inside = |v: &ClassValue| v.tolerance_mm <= own * (1.0 + 1e-9) && source.lower <= 0.0;
    let fitting = (0..rule.classes.len()).filter_map(|c| rule.at(c, &plan.frame).ok()).rfind(inside);
    fitting.map_or_else(|| "none".into(), |v| v.class)
}

/// For every error that a standard limits: the value of each class on this machine, and the widest one inside the plan's tolerance.
#[must_use]
pub fn classes_table(plan: &Plan) -> String {
    let mut text = String::new();
    let mut remembered = false;
    let planned = |spec: &ErrorSpec| plan.errors.get(spec.kind).map_or_else(|| "not in the plan".into(), |s| tolerance(s, spec));
    let alike = |a: &ErrorSpec, b: &ErrorSpec| {
        planned(a) == planned(b) && rules_for(a.kind).map(|r| r.quantity).eq(rules_for(b.kind).map(|r| r.quantity))
    };
    let mut shown: Vec<&ErrorSpec> = Vec::new();
    for spec in ErrorKind::ALL.iter().filter(|s| rules_for(s.kind).next().is_some()) {
        if shown.iter().any(|s| alike(s, spec)) {
            continue;
        }
        shown.push(spec);
        let same: Vec<&str> = ErrorKind::ALL.iter().filter(|s| alike(s, spec)).map(|s| s.label).collect();
        let source = plan.errors.get(spec.kind);
        let _ = writeln!(text, "{}: planned {}", same.join("; "), planned(spec));
        let mut table = plain_table(["standard", "form", "its classes on this machine, mm", "widest inside the planned"]);
        for rule in rules_for(spec.kind) {
            let mut one = |c: usize| {
                let class = rule.classes[c].trim_start_matches("class ");
                let Ok(v) = rule.at(c, &plan.frame) else { return format!("{class}: -") };
                remembered |= v.sure == Sure::Memory;
                format!("{class}: {}{}", short(v.tolerance_mm), if v.sure == Sure::Memory { "*" } else { "" })
            };
            let all: Vec<String> = (0..rule.classes.len()).map(&mut one).collect();
            let form = if rule.form == Form::Zone { "zone" } else { "±" };
            let lines: Vec<String> = all.chunks(5).map(|c| c.join(", ")).collect();
            let fits = source.map_or_else(String::new, |s| would_do(plan, s, spec, rule));
            table.add_row([format!("{}{}", rule.standard, rule.suffix), form.into(), lines.join("\n"), fits]);
        }
        let _ = writeln!(text, "{table}\n");
    }
    text += "No value was read in the standards themselves: check them there before they go on a drawing.\n";
    if remembered {
        text += "* from memory: check it against the standard.\n";
    }
    text += "-: the table does not reach the machine's length. Zone: total width.\n";
    text += "A class inside one planned tolerance does for that error as long as the other tolerances hold too.\n";
    text
}

/// The standards that a class may name, with editions and what they limit.
#[must_use]
pub fn standards() -> String {
    let mut text = String::from("classes of standards (values were not read in the standards themselves; * has values from memory)\n");
    for rule in RULES {
        let errors: Vec<&str> = ErrorKind::ALL.iter().filter(|s| rule.errors.contains(&s.kind)).map(|s| s.key).collect();
        let lengths = [50.0, 250.0, 350.0, 1000.0, 2600.0];
        let star = |c: &usize| lengths.iter().any(|l| (rule.value)(*c, *l).is_ok_and(|v| v.1 == Sure::Memory));
        let one = |c: usize| format!("{}{}", rule.classes[c], if star(&c) { "*" } else { "" });
        let classes: Vec<String> = (0..rule.classes.len()).map(one).collect();
        let _ = writeln!(text, "{} {}{}", rule.standard, classes.join(", "), rule.suffix);
        let _ = writeln!(text, "    {}; edition {}\n    for {}", rule.quantity, rule.edition, errors.join(", "));
    }
    text
}
