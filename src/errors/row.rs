//! What is known of one error: the columns of the table, and what follows from them alone.

use super::{ErrorKind, Home, Installation};
use crate::units::MRAD;

/// What the total width of a tolerance zone (ISO 1101) means for an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZoneMeaning {
    /// The zone lies symmetrically about the nominal: plus or minus half its width.
    AboutNominal,
    /// The zone may lie anywhere: the drift from end to end is up to its whole width either way.
    EndToEnd,
    /// The width is the profile's largest peak-to-valley, from 0.
    PeakToValley,
}

impl ZoneMeaning {
    /// Limits of a zone of this width.
    #[must_use]
    pub fn limits(self, width: f64) -> (f64, f64) {
        match self {
            Self::AboutNominal => (-width / 2.0, width / 2.0),
            Self::EndToEnd => (-width, width),
            Self::PeakToValley => (0.0, width),
        }
    }
}

/// How a bare number limits its quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// So much either way.
    PlusMinus,
    /// Total width of a zone.
    Zone,
}

/// What a survey of the rails reads of an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SurveyReading {
    /// Offset at mid-length (0) or drift from end to end (1) of the line of one rail, or of rail B less rail A.
    Line {
        /// Lateral, vertical or roll.
        direction: usize,
        /// 0 offset, 1 drift.
        part: usize,
        /// The rail; none for the difference of both.
        rail: Option<usize>,
    },
    /// Peak-to-valley of a rail about its own line.
    Straightness {
        /// Lateral, vertical or roll.
        direction: usize,
        /// The rail.
        rail: usize,
    },
}

/// One row of the table of errors.
#[derive(Debug, Clone, Copy)]
pub struct ErrorSpec {
    /// Which error.
    pub kind: ErrorKind,
    /// Key in the plan's `[errors]`.
    pub key: &'static str,
    /// Key in an installation file, without unit; that of the plan where it lives in one number. `#` stands for the side.
    pub stated_key: &'static str,
    /// What it is, in a few words.
    pub label: &'static str,
    /// True for mrad, false for mm.
    pub angle: bool,
    /// What a zone width means.
    pub zone: ZoneMeaning,
    /// Where it lives in an installation.
    pub home: Home,
    /// Its sign, and how it is counted.
    pub sign: &'static str,
    /// How it is measured, if it is set at installation; what is not is made before.
    pub measured: Option<&'static str>,
    /// Word of the callout that feeds it, and what a bare number means there.
    pub callout: Option<(&'static str, Form)>,
    /// The callout's zone is held in place by a datum, so that separate zones hold the whole row of pads (ISO 1101: location, and
    /// orientation for an angle); a form's zone floats with its pad.
    pub held_by_datum: bool,
    /// What a survey reads of it.
    pub survey: Option<SurveyReading>,
    /// True where it may come and go in service.
    pub may_come_and_go: bool,
}

impl ErrorSpec {
    /// A row with what every error has; it is made before installation, and neither callout nor survey knows it.
    pub(super) const fn new(kind: ErrorKind, key: &'static str, label: &'static str, angle: bool, zone: ZoneMeaning, home: Home) -> Self {
        Self {
            kind,
            key,
            stated_key: key,
            label,
            angle,
            zone,
            home,
            sign: "",
            measured: None,
            callout: None,
            held_by_datum: false,
            survey: None,
            may_come_and_go: false,
        }
    }

    pub(super) const fn stated(self, stated_key: &'static str) -> Self {
        Self { stated_key, ..self }
    }

    pub(super) const fn sign(self, sign: &'static str) -> Self {
        Self { sign, ..self }
    }

    pub(super) const fn set_at_installation(self, measured: &'static str) -> Self {
        Self { measured: Some(measured), ..self }
    }

    pub(super) const fn callout(self, word: &'static str, form: Form) -> Self {
        Self { callout: Some((word, form)), ..self }
    }

    pub(super) const fn held_by_datum(self) -> Self {
        Self { held_by_datum: true, ..self }
    }

    /// Read by a survey as offset (0) or drift (1) of the rails' difference, or of one rail.
    pub(super) const fn line(self, direction: usize, part: usize, rail: Option<usize>) -> Self {
        Self { survey: Some(SurveyReading::Line { direction, part, rail }), ..self }
    }

    /// Read by a survey as straightness of one rail.
    pub(super) const fn straightness(self, direction: usize, rail: usize) -> Self {
        Self { survey: Some(SurveyReading::Straightness { direction, rail }), ..self }
    }

    pub(super) const fn comes_and_goes(self) -> Self {
        Self { may_come_and_go: true, ..self }
    }

    /// Unit in which it is written.
    #[must_use]
    pub const fn unit(&self) -> &'static str {
        if self.angle { "mrad" } else { "mm" }
    }

    /// What a number in its unit is multiplied by to get mm or rad.
    #[must_use]
    pub const fn factor(&self) -> f64 {
        if self.angle { MRAD } else { 1.0 }
    }

    /// True for a profile along a rail: drawn over its modes, limited by its peak-to-valley.
    #[must_use]
    pub fn is_profile(&self) -> bool {
        self.zone == ZoneMeaning::PeakToValley
    }

    /// What stands against the limits: every number, or the peak-to-valley of a profile at the anchors.
    #[must_use]
    pub fn amounts(&self, of: &Installation) -> Vec<f64> {
        let values = self.home.values(of);
        if !self.is_profile() || values.is_empty() {
            return values;
        }
        let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        vec![high - low]
    }

    /// Takes the error away, every number of it.
    pub fn clear(&self, of: &mut Installation) {
        if self.is_profile() {
            self.home.set_profile(Vec::new(), of);
        } else {
            (0..self.home.members(of)).for_each(|member| self.home.set(member, 0.0, of));
        }
    }
}
