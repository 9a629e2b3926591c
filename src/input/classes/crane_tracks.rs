//! Track tolerances of ISO 12488-1 (cranes), for construction and in operation. Spans in m inside the formulas.

use super::{Form, Nominal, Rule, Sure};
use crate::input::ErrorKind;

const CLASSES: &[&str] = &["class 1", "class 2", "class 3", "class 4"];

const CONSTRUCTION: &str = "before that of 2012 (seen as its national version of 2010; not confirmed for the edition of 2012)";

const OPERATION: &str = "2012, Table 7";

/// Half of the span tolerance up to 16 m, and the most it grows to.
const SPAN_MM: [(f64, f64); 4] = [(3.0, 10.0), (5.0, 15.0), (8.0, 20.0), (12.5, 25.0)];

/// Deviation from the true line either way; class 4 from memory.
const STRAIGHT_MM: [f64; 4] = [5.0, 10.0, 20.0, 40.0];

/// Height difference per metre of span, and the most it grows to; class 3 from memory.
const HEIGHT_MM: [(f64, f64); 3] = [(0.5, 5.0), (1.0, 10.0), (2.0, 20.0)];

/// Span in operation up to 16 m; above it a quarter of a millimetre a metre is added, without a cap.
const SPAN_OPERATION_MM: [f64; 4] = [10.0, 16.0, 25.0, 40.0];

/// Lateral straightness and height difference in operation, either way.
const OPERATION_MM: [f64; 4] = [10.0, 20.0, 40.0, 80.0];

/// Above this span the span tolerance grows by a quarter of a millimetre a metre.
const GROWS_ABOVE_M: f64 = 16.0;

fn remembered(class: usize, first: usize) -> Sure {
    if class >= first { Sure::Memory } else { Sure::Seen }
}

fn growth(span_mm: f64) -> f64 {
    0.25 * (span_mm / 1e3 - GROWS_ABOVE_M).max(0.0)
}

fn of(list: &[f64], class: usize) -> Result<f64, String> {
    list.get(class).copied().ok_or_else(|| "this class has no value here".into())
}

fn straightness(class: usize, _: f64) -> Result<(f64, Sure), String> {
    // The rail may lie so much to either side of its true line: a zone of twice that.
    Ok((2.0 * of(&STRAIGHT_MM, class)?, remembered(class, 3)))
}

const fn rule(edition: &'static str, quantity: &'static str, errors: &'static [ErrorKind], suffix: &'static str) -> Rule {
    Rule {
        standard: "ISO 12488-1",
        edition,
        quantity,
        classes: CLASSES,
        suffix,
        errors,
        nominal: Nominal::Span,
        form: Form::PlusMinus,
        value: straightness,
    }
}

pub(super) const SPAN: Rule = Rule {
    value: |class, span_mm| {
        let (base, most) = SPAN_MM.get(class).copied().ok_or("this class has no value here")?;
        Ok(((base + growth(span_mm)).min(most), remembered(class, 3)))
    },
    ..rule(CONSTRUCTION, "A, span between rail centres at every point", &[ErrorKind::Span], "")
};

const LATERALS: &[ErrorKind] = &[ErrorKind::StraightnessLateral(0), ErrorKind::StraightnessLateral(1)];

pub(super) const LATERAL: Rule = Rule {
    form: Form::Zone,
    ..rule(CONSTRUCTION, "B, horizontal straightness: either side of the true line, twice B as a zone", LATERALS, "")
};

pub(super) const VERTICAL: Rule = Rule {
    form: Form::Zone,
    ..rule(
        CONSTRUCTION,
        "C, vertical straightness: either side of the true line, twice C as a zone",
        &[ErrorKind::StraightnessVertical(0), ErrorKind::StraightnessVertical(1)],
        "",
    )
};

pub(super) const HEIGHT: Rule = Rule {
    classes: &["class 1", "class 2", "class 3"],
    value: |class, span_mm| {
        let (per_m, most) = HEIGHT_MM.get(class).copied().ok_or("this class has no value here")?;
        Ok(((per_m * span_mm / 1e3).min(most), remembered(class, 2)))
    },
    ..rule(CONSTRUCTION, "E, height of opposite points", &[ErrorKind::Height], "")
};

pub(super) const SPAN_IN_OPERATION: Rule = Rule {
    value: |class, span_mm| Ok((of(&SPAN_OPERATION_MM, class)? + growth(span_mm), Sure::Seen)),
    ..rule(OPERATION, "Aw1, span in operation", &[ErrorKind::Span], " in operation")
};

pub(super) const LATERAL_IN_OPERATION: Rule = Rule {
    form: Form::Zone,
    value: |class, _| Ok((2.0 * of(&OPERATION_MM, class)?, Sure::Seen)),
    ..rule(OPERATION, "Bw1, horizontal straightness in operation: twice Bw1 as a zone", LATERALS, " in operation")
};

pub(super) const HEIGHT_IN_OPERATION: Rule = Rule {
    value: |class, _| Ok((of(&OPERATION_MM, class)?, Sure::Seen)),
    ..rule(OPERATION, "Ew1, height of opposite points in operation", &[ErrorKind::Height], " in operation")
};
