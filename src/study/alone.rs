//! Each source of error alone at its limits, all else perfect: what it costs by itself. Single limits do not
//! hold together; they rank the sources, they are not for a drawing.

use rayon::prelude::*;

use crate::draw::Draws;
use crate::evaluate::Outcome;
use crate::evaluate::{Evaluator, Work};
use crate::evaluate::{ServiceState, service_states};
use crate::input::sources::ErrorSpec;
use crate::input::{Installation, Source};
use crate::math::lanes::EIGHT;
use crate::structure::NotConverged;

/// A source alone.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Alone {
    /// Which source.
    pub source: String,
    /// The limit that costs most, in `unit`; none for temperatures.
    pub limit: Option<f64>,
    /// mm, mrad, or empty for temperatures.
    pub unit: &'static str,
    /// Life of the system with it, km.
    pub life_km: f64,
    /// Largest rise of a block's load, N.
    pub extra_load_n: f64,
}

/// Every source of the plan alone, the costliest first; temperatures and shaft wind-up count as one source.
///
/// A source with many members (blocks, seats) stands at its limit at one of them; a straightness profile has the
/// shape of one of the two longest waves.
///
/// # Errors
/// An equilibrium was not found.
pub fn sources_alone(evaluator: &Evaluator<'_>) -> Result<Vec<Alone>, NotConverged> {
    let plan = evaluator.plan();
    let draws = Draws::new(plan, evaluator.machine.rails());
    let still = [ServiceState::still()];
    let (mut tried, mut all) = (Vec::new(), Vec::new());
    for (number, source) in plan.errors.sources.iter().enumerate() {
        for value in [source.lower, source.upper] {
            let own = installations(&draws, evaluator, source, value);
            tried.extend(own.iter().map(|_| (number, value)));
            all.extend(own);
        }
    }
    let eight = |works: &mut Vec<Work>, eight: &[Installation]| evaluator.evaluate_side_by_side(eight, &still, works);
    let outcomes = all.par_chunks(EIGHT).map_init(Vec::new, eight).collect::<Result<Vec<_>, _>>().map_err(|(_, error)| error)?;
    let outcomes: Vec<(usize, f64, Outcome)> =
        tried.into_iter().zip(outcomes.into_iter().flatten()).map(|((number, value), outcome)| (number, value, outcome)).collect();
    let mut list = Vec::new();
    for (number, source) in plan.errors.sources.iter().enumerate() {
        let own = outcomes.iter().filter(|(of, ..)| *of == number);
        // Of limits that cost the same but for rounding the first is named.
        let worst = own.reduce(|worst, next| if next.2.life_km < worst.2.life_km * (1.0 - 1e-9) { next } else { worst });
        list.extend(worst.map(|(_, value, outcome)| described(source.kind.spec(), *value, outcome.life_km, outcome.extra_load_n)));
    }
    let mut service = service_states(plan);
    service.iter_mut().for_each(|state| state.skew_mm = 0.0);
    if service.iter().any(|s| s.thermal != Default::default()) || has_wind_up(evaluator) {
        let outcome = evaluator.evaluate(&Installation::perfect(plan), &service, &mut Work::default())?;
        list.push(Alone {
            source: if has_wind_up(evaluator) { "temperatures and shaft wind-up in service" } else { "temperatures in service" }.into(),
            limit: None,
            unit: "",
            life_km: outcome.life_km,
            extra_load_n: outcome.extra_load_n,
        });
    }
    // To the eighth digit: sources that cost the same but for rounding keep the order of the plan.
    let cost = |alone: &Alone| (1e8 * alone.life_km.ln()).round();
    list.sort_by(|a, b| cost(a).total_cmp(&cost(b)));
    Ok(list)
}

fn has_wind_up(evaluator: &Evaluator<'_>) -> bool {
    (0..evaluator.plan().duty.len()).any(|case| evaluator.machine.wind_up_mm(case) != 0.0)
}

fn described(spec: &ErrorSpec, value: f64, life_km: f64, extra_load_n: f64) -> Alone {
    Alone { source: spec.label.into(), limit: Some(value / spec.factor()), unit: spec.unit(), life_km, extra_load_n }
}

/// The installations in which a source stands at `value` and all else is perfect.
fn installations(draws: &Draws<'_>, evaluator: &Evaluator<'_>, source: &Source, value: f64) -> Vec<Installation> {
    let kind = source.kind;
    if !kind.is_profile() {
        let members = kind.spec().home.members(&Installation::perfect(evaluator.plan()));
        return (0..members).map(|member| draws.with(kind, member, value)).collect();
    }
    let wave = |mode: usize, sign: f64| {
        let mut unit = vec![0.0; draws.modes().count()];
        unit[mode] = sign * value
            / draws.modes().peak_to_valley(&{
                let mut one = unit.clone();
                one[mode] = 1.0;
                one
            });
        draws.with_profile(kind, draws.modes().at_anchors(&unit))
    };
    (0..draws.modes().count().min(2)).flat_map(|mode| [wave(mode, 1.0), wave(mode, -1.0)]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::{ErrorKind, read_plan};
    use crate::structure::Machine;

    /// A shaft winds up where the machine speeds up or stops; two motors in step do not. Without heat it is then still a source.
    #[test]
    fn check_wind_up_is_a_source_where_a_shaft_drives() {
        let shaft = "kind = \"shaft\"\nmotor_at = \"a\"\nshaft_n_m_per_mrad = 1.5\npinion_radius_mm = 24";
        let heat = "temperatures in service";
        for (drive, seasons, expected) in [
            ("kind = \"two\"", true, Some(heat)),
            (shaft, true, Some("temperatures and shaft wind-up in service")),
            ("kind = \"two\"", false, None),
            (shaft, false, Some("temperatures and shaft wind-up in service")),
        ] {
            let text = include_str!("../../examples/panel-bridge.toml")
                .replace("stations = 21 ", "stations = 2 ")
                .replace("kind = \"two\"", drive);
            let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
            plan.errors.sources.retain(|s| s.kind == ErrorKind::Height);
            if !seasons {
                plan.seasons.iter_mut().for_each(|s| s.thermal = Default::default());
            }
            let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
            let list = sources_alone(&evaluator).unwrap();
            let of_service: Vec<&str> = list.iter().filter(|a| a.limit.is_none()).map(|a| a.source.as_str()).collect();
            assert_eq!(of_service, expected.into_iter().collect::<Vec<_>>(), "{drive}");
        }
    }
}
