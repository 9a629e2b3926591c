//! General tolerances: ISO 2768 for machined parts, ISO 13920 for welded structures.

use super::steps::{NONE, Steps};
use super::{Form, Nominal, Rule, Sure};
use crate::input::ErrorKind;

/// Errors that are a deviation of a length.
const LENGTHS: &[ErrorKind] = &[ErrorKind::Span, ErrorKind::BridgeLength];

/// Errors that are a deviation from straightness.
const STRAIGHTNESS: &[ErrorKind] = &[
    ErrorKind::StraightnessLateral(0),
    ErrorKind::StraightnessLateral(1),
    ErrorKind::StraightnessVertical(0),
    ErrorKind::StraightnessVertical(1),
];

/// Deviations from straightness and from parallelism.
const FORM: &[ErrorKind] = &[
    ErrorKind::StraightnessLateral(0),
    ErrorKind::StraightnessLateral(1),
    ErrorKind::StraightnessVertical(0),
    ErrorKind::StraightnessVertical(1),
    ErrorKind::Parallelism,
    ErrorKind::VerticalParallelism,
];

/// Either way in mm: f, m, c, v.
#[rustfmt::skip] // one line a range
static LINEAR_2768: Steps = Steps {
    from_mm: 0.5,
    from_included: true,
    rows: &[
        (3.0, &[0.05, 0.1, 0.2, NONE]),
        (6.0, &[0.05, 0.1, 0.3, 0.5]),
        (30.0, &[0.1, 0.2, 0.5, 1.0]),
        (120.0, &[0.15, 0.3, 0.8, 1.5]),
        (400.0, &[0.2, 0.5, 1.2, 2.5]),
        (1000.0, &[0.3, 0.8, 2.0, 4.0]),
        (2000.0, &[0.5, 1.2, 3.0, 6.0]),
        (4000.0, &[NONE, 2.0, 4.0, 8.0]),
    ],
};

/// Zone in mm: H, K, L.
#[rustfmt::skip] // one line a range
static STRAIGHT_2768: Steps = Steps {
    from_mm: 0.0,
    from_included: false,
    rows: &[
        (10.0, &[0.02, 0.05, 0.1]),
        (30.0, &[0.05, 0.1, 0.2]),
        (100.0, &[0.1, 0.2, 0.4]),
        (300.0, &[0.2, 0.4, 0.8]),
        (1000.0, &[0.3, 0.6, 1.2]),
        (3000.0, &[0.4, 0.8, 1.6]),
    ],
};

/// Either way in mm: A, B, C, D.
#[rustfmt::skip] // one line a range
static LINEAR_13920: Steps = Steps {
    from_mm: 2.0,
    from_included: true,
    rows: &[
        (30.0, &[1.0, 1.0, 1.0, 1.0]),
        (120.0, &[1.0, 2.0, 3.0, 4.0]),
        (400.0, &[1.0, 2.0, 4.0, 7.0]),
        (1000.0, &[2.0, 3.0, 6.0, 9.0]),
        (2000.0, &[3.0, 4.0, 8.0, 12.0]),
        (4000.0, &[4.0, 6.0, 11.0, 16.0]),
        (8000.0, &[5.0, 8.0, 14.0, 21.0]),
        (12000.0, &[6.0, 10.0, 18.0, 27.0]),
        (16000.0, &[7.0, 12.0, 21.0, 32.0]),
        (20000.0, &[8.0, 14.0, 24.0, 36.0]),
        (f64::INFINITY, &[9.0, 16.0, 27.0, 40.0]),
    ],
};

/// Zone in mm: E, F, G, H.
#[rustfmt::skip] // one line a range
static FORM_13920: Steps = Steps {
    from_mm: 30.0,
    from_included: false,
    rows: &[
        (120.0, &[0.5, 1.0, 1.5, 2.5]),
        (400.0, &[1.0, 1.5, 3.0, 5.0]),
        (1000.0, &[1.5, 3.0, 5.5, 9.0]),
        (2000.0, &[2.0, 4.5, 9.0, 14.0]),
        (4000.0, &[3.0, 6.0, 11.0, 18.0]),
        (8000.0, &[4.0, 8.0, 16.0, 26.0]),
        (12000.0, &[5.0, 10.0, 20.0, 32.0]),
        (16000.0, &[6.0, 12.0, 22.0, 36.0]),
        (20000.0, &[7.0, 14.0, 25.0, 40.0]),
        (f64::INFINITY, &[8.0, 16.0, 25.0, 40.0]),
    ],
};

pub(super) const LINEAR_MACHINED: Rule = Rule {
    standard: "ISO 2768-1",
    edition: "1989",
    quantity: "general tolerance of a linear dimension",
    classes: &["f", "m", "c", "v"],
    suffix: "",
    errors: LENGTHS,
    nominal: Nominal::Span,
    form: Form::PlusMinus,
    value: |class, length_mm| Ok((LINEAR_2768.at(class, length_mm)?, Sure::Seen)),
};

pub(super) const STRAIGHT_MACHINED: Rule = Rule {
    standard: "ISO 2768-2",
    edition: "1989, withdrawn in 2021 (from memory) without a successor's table",
    quantity: "general tolerance of straightness and flatness",
    classes: &["H", "K", "L"],
    suffix: "",
    errors: STRAIGHTNESS,
    nominal: Nominal::Rail,
    form: Form::Zone,
    value: |class, length_mm| Ok((STRAIGHT_2768.at(class, length_mm)?, Sure::Seen)),
};

pub(super) const LINEAR_WELDED: Rule = Rule {
    standard: "ISO 13920",
    edition: "1996 (edition from memory)",
    quantity: "general tolerance of a linear dimension of a welded structure",
    classes: &["A", "B", "C", "D"],
    suffix: "",
    errors: LENGTHS,
    nominal: Nominal::Span,
    form: Form::PlusMinus,
    value: |class, length_mm| Ok((LINEAR_13920.at(class, length_mm)?, Sure::Seen)),
};

pub(super) const FORM_WELDED: Rule = Rule {
    standard: "ISO 13920",
    edition: "1996 (edition from memory)",
    quantity: "general tolerance of straightness, flatness and parallelism of a welded structure",
    classes: &["E", "F", "G", "H"],
    suffix: "",
    errors: FORM,
    nominal: Nominal::Rail,
    form: Form::Zone,
    value: |class, length_mm| {
        let sure = if class >= 2 { Sure::Memory } else { Sure::Seen };
        Ok((FORM_13920.at(class, length_mm)?, sure))
    },
};
