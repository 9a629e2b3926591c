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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    /// A skew that comes and goes stands at each of its limits for half of every season; one that is set once is no state.
    #[test]
    fn check_a_skew_that_comes_and_goes_halves_every_season() {
        let text = include_str!("../../examples/panel-bridge.toml");
        let states = |skew: &str| {
            let line = text.lines().find(|l| l.starts_with("skew = ")).unwrap();
            let plan = read_plan(&text.replace(line, skew), "panel-bridge.toml").unwrap();
            let of = |s: ServiceState| (s.name, s.share, s.skew_mm, s.thermal.bridge_dt_k);
            service_states(&plan).into_iter().map(of).collect::<Vec<_>>()
        };
        let seasons = vec![("winter".to_string(), 0.5, 0.0, -6.0), ("summer".to_string(), 0.5, 0.0, 7.0)];
        assert_eq!(states("skew = { plus_minus_mm = 0.15 }"), seasons);
        let halves: Vec<_> = seasons
            .iter()
            .flat_map(|(name, _, _, kelvin)| {
                [(format!("{name}, B behind"), 0.25, -0.1, *kelvin), (format!("{name}, B ahead"), 0.25, 0.2, *kelvin)]
            })
            .collect();
        assert_eq!(states("skew = { lower_mm = -0.1, upper_mm = 0.2, state = \"in_service\" }"), halves);
    }

    #[test]
    fn check_the_wind_up_comes_to_the_skew_where_it_counts() {
        let shaft = "kind = \"shaft\"\nmotor_at = \"a\"\nshaft_n_m_per_mrad = 1.5\npinion_radius_mm = 24";
        let text = include_str!("../../examples/panel-bridge.toml").replace("kind = \"two\"", shaft);
        let plan = read_plan(&text, "panel-bridge.toml").unwrap();
        let machine = Machine::new(&plan, 0).unwrap();
        let mut state = ServiceState { skew_mm: 0.1, ..ServiceState::still() };
        let speeding_up = machine.wind_up_mm(1);
        assert!(speeding_up < -0.01, "the far drive lags: {speeding_up}");
        assert_eq!(state.skew_in_case_mm(&machine, 1), 0.1);
        state.wind_up = true;
        assert!((state.skew_in_case_mm(&machine, 1) - (0.1 + speeding_up)).abs() < 1e-15);
    }
}
