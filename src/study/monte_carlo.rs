//! Paired Monte Carlo: every arrangement of joints on the same drawn installations.

use super::alone::{Alone, sources_alone};
use super::engine::run;
use super::evaluate::{Evaluator, Outcome, Work};
use super::findings::{Finding, findings};
use super::sampling::Draws;
use super::service::service_states;
use super::stiffness::lateral_stiffness_n_per_um;
use super::verdict::Verdict;
use crate::structure::NotConverged;

/// Installations between two reports of progress.
const BATCH: u64 = 1024;

/// Installations whose loads along the stroke are kept for the figure; the rest leave only their outcome.
const KEPT_STROKES: u64 = 2000;

/// Largest block load along the stroke: quantiles over the kept installations at each station, N.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Band {
    /// Stations along the rails, mm.
    pub station_x_mm: Vec<f64>,
    /// The perfect installation.
    pub perfect_n: Vec<f64>,
    /// Median of the kept installations.
    pub median_n: Vec<f64>,
    /// 95 % quantile of the kept installations.
    pub high_n: Vec<f64>,
    /// Number of kept installations.
    pub installations: u64,
}

/// One arrangement over all draws.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangementResult {
    /// Name in the plan.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// True if it has floating components.
    pub has_floats: bool,
    /// The perfect installation.
    pub perfect: Outcome,
    /// Every drawn installation, in the order of the draws.
    pub outcomes: Vec<Outcome>,
    /// The plan's requirements.
    pub verdicts: Vec<Verdict>,
    /// Loads along the stroke.
    pub band: Band,
    /// Lateral stiffness at the tool point at mid-span, N/um: floats at rest, floats sliding.
    pub lateral_stiffness_n_per_um: (Option<f64>, Option<f64>),
    /// Condition number of the stiffness.
    pub condition: f64,
    /// Every source alone at its limit, the costliest first.
    pub alone: Vec<Alone>,
    /// What the user can act on.
    pub findings: Vec<Finding>,
}

/// A whole study.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyResult {
    /// Number of installations.
    pub draws: u64,
    /// Seed.
    pub seed: u64,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementResult>,
}

/// Draws installations 0..draws and evaluates every arrangement on each.
///
/// `progress` hears the number of installations done after each batch.
///
/// # Errors
/// An equilibrium was not found in some installation: its number and the residual.
pub fn monte_carlo(
    evaluators: &[Evaluator<'_>],
    draws: u64,
    seed: u64,
    progress: &dyn Fn(u64),
) -> Result<StudyResult, (u64, NotConverged)> {
    let Some(first) = evaluators.first() else {
        return Ok(StudyResult { draws, seed, arrangements: Vec::new() });
    };
    let plan = first.plan();
    let sampler = Draws::new(plan, first.machine.rails());
    let service = service_states(plan);
    let mut outcomes: Vec<Vec<Outcome>> = evaluators.iter().map(|_| Vec::with_capacity(draws as usize)).collect();
    let mut strokes: Vec<Vec<Vec<f64>>> = evaluators.iter().map(|_| Vec::new()).collect();
    let mut done = 0;
    while done < draws {
        let count = BATCH.min(draws - done);
        let batch = run(done, count, seed, Work::default, |work, i, rng| {
            let installation = sampler.draw(rng);
            let one = |e: &Evaluator<'_>| {
                let outcome = e.evaluate(&installation, &service, work).map_err(|error| (i, error))?;
                Ok((outcome, (i < KEPT_STROKES).then(|| work.stroke_peak_n.clone())))
            };
            evaluators.iter().map(one).collect::<Result<Vec<_>, (u64, NotConverged)>>()
        });
        for row in batch {
            for (a, (outcome, stroke)) in row?.into_iter().enumerate() {
                outcomes[a].push(outcome);
                strokes[a].extend(stroke);
            }
        }
        done += count;
        progress(done);
    }
    let arrangements = evaluators
        .iter()
        .zip(outcomes)
        .zip(strokes)
        .map(|((evaluator, outcomes), strokes)| arrangement(evaluator, outcomes, &strokes))
        .collect::<Result<_, _>>()
        .map_err(|e| (0, e))?;
    Ok(StudyResult { draws, seed, arrangements })
}

fn arrangement(evaluator: &Evaluator<'_>, outcomes: Vec<Outcome>, strokes: &[Vec<f64>]) -> Result<ArrangementResult, NotConverged> {
    let plan = evaluator.plan();
    let machine = &evaluator.machine;
    let perfect = evaluator.perfect();
    let has_floats = machine.float_count() > 0;
    let verdicts: Vec<Verdict> = plan.requirements.iter().map(|r| Verdict::of(r, &outcomes, &perfect, has_floats)).collect();
    Ok(ArrangementResult {
        name: machine.name().into(),
        chosen: machine.arrangement == plan.chosen,
        has_floats,
        band: band(evaluator, strokes)?,
        lateral_stiffness_n_per_um: lateral_stiffness_n_per_um(machine),
        condition: machine.condition,
        alone: sources_alone(evaluator)?,
        findings: findings(evaluator, &outcomes, &verdicts),
        perfect,
        outcomes,
        verdicts,
    })
}

fn band(evaluator: &Evaluator<'_>, strokes: &[Vec<f64>]) -> Result<Band, NotConverged> {
    let plan = evaluator.plan();
    let mut work = Work::default();
    let still = [super::service::ServiceState::still()];
    evaluator.evaluate(&crate::input::Installation::perfect(plan), &still, &mut work)?;
    let stations = plan.frame.stations_x_mm.len();
    let at = |p: f64| -> Vec<f64> {
        let one = |s: usize| {
            let mut column: Vec<f64> = strokes.iter().map(|stroke| stroke[s]).collect();
            column.sort_by(f64::total_cmp);
            column.get(((p * column.len() as f64).ceil() as usize).max(1) - 1).copied().unwrap_or(f64::NAN)
        };
        (0..stations).map(one).collect()
    };
    Ok(Band {
        station_x_mm: plan.frame.stations_x_mm.clone(),
        perfect_n: work.stroke_peak_n,
        median_n: at(0.5),
        high_n: at(0.95),
        installations: strokes.len() as u64,
    })
}
