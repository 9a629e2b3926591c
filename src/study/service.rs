//! States of service: what comes and goes after the machine is installed.

use crate::input::plan::{DragStates, Thermal};
use crate::input::{ErrorKind, Plan};
use crate::structure::{Drag, Machine};

/// One state of service with its share of the distance.
#[derive(Debug, Clone, PartialEq)]
pub struct ServiceState {
    /// Season, and the sign of a skew that comes and goes.
    pub name: String,
    /// Share of the distance.
    pub share: f64,
    /// Temperatures.
    pub thermal: Thermal,
    /// Skew beside the installation's and the shaft's, B ahead of A.
    pub skew_mm: f64,
    /// True where the shaft's wind-up counts.
    pub wind_up: bool,
}

impl ServiceState {
    /// The state of the perfect machine: no heat, no skew.
    #[must_use]
    pub fn still() -> Self {
        Self::stated(Thermal::default())
    }

    /// One stated set of temperatures and nothing else.
    #[must_use]
    pub fn stated(thermal: Thermal) -> Self {
        Self { name: "stated".into(), share: 1.0, thermal, skew_mm: 0.0, wind_up: false }
    }

    /// Skew of the drives in a load case, beside the installation's own.
    #[must_use]
    pub fn skew_in_case_mm(&self, machine: &Machine<'_>, case: usize) -> f64 {
        self.skew_mm + if self.wind_up { machine.wind_up_mm(case) } else { 0.0 }
    }
}

/// The plan's states: each season, with each limit of a skew that comes and goes.
#[must_use]
pub fn service_states(plan: &Plan) -> Vec<ServiceState> {
    let skews = match plan.errors.get(ErrorKind::Skew) {
        Some(source) if source.in_service => vec![(", B behind", source.lower), (", B ahead", source.upper)],
        _ => vec![("", 0.0)],
    };
    let state = |(season, (suffix, skew_mm)): (&crate::input::plan::Season, &(&str, f64))| ServiceState {
        name: format!("{}{suffix}", season.name),
        share: season.share / skews.len() as f64,
        thermal: season.thermal,
        skew_mm: *skew_mm,
        wind_up: true,
    };
    plan.seasons.iter().flat_map(|season| skews.iter().map(move |skew| (season, skew))).map(state).collect()
}

/// States of the drag that count in a study of this machine.
#[must_use]
pub(super) fn drag_states(machine: &Machine<'_>, wanted: DragStates) -> Vec<Drag> {
    if wanted == DragStates::BothSigns && machine.drag_has_signs() { vec![Drag::Plus, Drag::Minus] } else { vec![Drag::Law] }
}
