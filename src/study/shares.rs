//! Whose fault is the scatter? Each source's share in the variance of life loss and of the largest block load.
//!
//! All sources are drawn independently of each other, so shares of a source with all its members (a whole profile, all
//! blocks, all seats) are well defined.

use crate::draw::Draws;
use crate::draw::engine::run_batches;
use crate::evaluate::Evaluator;
use crate::evaluate::Outcome;
use crate::evaluate::service_states;
use crate::input::{ErrorKind, Plan};
use crate::math::lanes::Lane;
use crate::math::sobol::{Share, share};
use crate::structure::NotConverged;
use crate::sweep::batch::{Batch, Memory};

/// A total index that is surely below this is nothing that anyone need pay for.
pub const NOTHING: f64 = 0.01;

/// Installations by which the linear shares are weighed.
const LINEAR_DRAWS: u64 = 200;

/// Size of the errors by which the linear shares are weighed, of the planned ones.
const SMALL: f64 = 1e-3;

/// Rows evaluated between two reports of progress.
const BATCH: u64 = 128;

/// Key, name, and how it is read from an outcome.
pub type ShareOutput = (&'static str, &'static str, fn(&Outcome) -> f64);

/// What the shares are of.
pub const OUTPUTS: [ShareOutput; 2] =
    [("life_loss", "life loss", |o| o.life_loss), ("peak_load_n", "largest block load", |o| o.peak_load_n)];

/// Shares of one source, in the order of [`OUTPUTS`].
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SourceShares {
    /// Which source.
    #[serde(skip)]
    pub kind: ErrorKind,
    /// Its key in the plan.
    pub key: &'static str,
    /// Its name.
    pub label: &'static str,
    /// First-order and total index of each output.
    pub shares: [Share; 2],
    /// Share in the variance of the straight-line model about the middle of all tolerances.
    pub linear: [f64; 2],
}

impl SourceShares {
    /// Surely does nothing: the upper 95 % limits of its total indices are below 1 %.
    #[must_use]
    pub fn does_nothing(&self) -> bool {
        self.shares.iter().all(|s| s.total.interval().1 < NOTHING)
    }
}

/// One arrangement.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ArrangementShares {
    /// Name in the plan.
    pub name: String,
    /// True for the arrangement that sets the exit code.
    pub chosen: bool,
    /// Mean and standard deviation of each output.
    pub spread: [(f64, f64); 2],
    /// The sources in the order of the plan.
    pub sources: Vec<SourceShares>,
}

/// All arrangements on the same draws.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SharesResult {
    /// Rows of the design: pairs of installations.
    pub rows: u64,
    /// Installations evaluated in each arrangement.
    pub evaluations: u64,
    /// Seed.
    pub seed: u64,
    /// The arrangements in the order of the plan.
    pub arrangements: Vec<ArrangementShares>,
}

/// Shares from `rows` pairs of installations: (sources + 2) x rows evaluations of each arrangement.
///
/// Installation A of row i is draw i of the study with this seed. `progress` hears the number of rows done.
///
/// # Errors
/// An equilibrium was not found: the row's number and the residual.
pub fn shares(evaluators: &[Evaluator<'_>], rows: u64, seed: u64, progress: &dyn Fn(u64)) -> Result<SharesResult, (u64, NotConverged)> {
    let Some(first) = evaluators.first() else {
        return Ok(SharesResult { rows: 0, evaluations: 0, seed, arrangements: Vec::new() });
    };
    let plan = first.plan();
    let kinds: Vec<ErrorKind> = plan.errors.sources.iter().filter(|s| !s.in_service).map(|s| s.kind).collect();
    let draws = Draws::new(plan, first.machine.rails());
    let service = service_states(plan);
    let batches: Vec<Batch<'_, '_>> =
        evaluators.iter().map(|e| Batch::new(e, &draws, &service)).collect::<Result<_, _>>().map_err(|e| (0, e))?;
    // By arrangement, then by point of the design (A, B, A with each source from B), then by row.
    let mut values = vec![vec![Vec::new(); kinds.len() + 2]; evaluators.len()];
    let mut done = 0;
    while done < rows {
        let count = BATCH.min(rows - done);
        let lists = run_batches(done, count, seed, Memory::default, |memory, start, rngs| {
            let (mut a, mut b) = (Vec::new(), Vec::new());
            draws.numbers(rngs, &mut a);
            draws.numbers(rngs, &mut b);
            let mixed = kinds.iter().map(|kind| with_own(&draws, *kind, &a, &b)).collect::<Vec<_>>();
            let points = [&a, &b].into_iter().chain(&mixed);
            let mut one = |batch: &Batch<'_, '_>, point: &Vec<Lane>| {
                let found = batch.run(point, rngs.len(), &mut memory.work).map_err(|(i, error)| (start + i as u64, error))?;
                Ok(found.iter().map(|o| OUTPUTS.map(|(_, _, of)| of(o))).collect::<Vec<_>>())
            };
            let of_machine = |batch: &Batch<'_, '_>| points.clone().map(|p| one(batch, p)).collect::<Result<Vec<_>, _>>();
            batches.iter().map(of_machine).collect::<Result<Vec<_>, _>>()
        });
        for list in lists {
            for (machine, points) in values.iter_mut().zip(list?) {
                machine.iter_mut().zip(points).for_each(|(column, outputs)| column.extend(outputs));
            }
        }
        done += count;
        progress(done);
    }
    let arrangements = evaluators
        .iter()
        .zip(&values)
        .map(|(evaluator, columns)| arrangement(evaluator, &kinds, columns, seed))
        .collect::<Result<_, _>>()
        .map_err(|e| (0, e))?;
    Ok(SharesResult { rows, evaluations: rows * (kinds.len() as u64 + 2), seed, arrangements })
}

/// Numbers with those of one source taken from others: all its members, the whole profile.
fn with_own(draws: &Draws<'_>, kind: ErrorKind, numbers: &[Lane], from: &[Lane]) -> Vec<Lane> {
    let places = draws.places().iter();
    places.zip(numbers.iter().zip(from)).map(|(place, (own, other))| if place.kind() == kind { *other } else { *own }).collect()
}

fn arrangement(
    evaluator: &Evaluator<'_>,
    kinds: &[ErrorKind],
    columns: &[Vec<[f64; 2]>],
    seed: u64,
) -> Result<ArrangementShares, NotConverged> {
    let plan = evaluator.plan();
    let output = |point: usize, k: usize| -> Vec<f64> { columns[point].iter().map(|o| o[k]).collect() };
    let both = [0, 1].map(|k| (output(0, k), output(1, k)));
    let linear = linear_shares(evaluator, kinds, seed)?;
    let of_source = |(s, kind): (usize, &ErrorKind)| {
        let spec = kind.spec();
        let shares = [0, 1].map(|k| share(&both[k].0, &both[k].1, &output(s + 2, k)));
        SourceShares { kind: *kind, key: spec.key, label: spec.label, shares, linear: linear[s] }
    };
    Ok(ArrangementShares {
        name: evaluator.machine.name().into(),
        chosen: evaluator.machine.arrangement == plan.chosen,
        spread: both.each_ref().map(|(a, b)| mean_and_deviation(a.iter().chain(b).copied())),
        sources: kinds.iter().enumerate().map(of_source).collect(),
    })
}

fn mean_and_deviation(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let n = values.clone().count() as f64;
    let mean = values.clone().sum::<f64>() / n;
    (mean, (values.map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
}

/// Variance of what each source adds by itself when all errors are a thousandth of the planned ones, as shares.
fn linear_shares(evaluator: &Evaluator<'_>, kinds: &[ErrorKind], seed: u64) -> Result<Vec<[f64; 2]>, NotConverged> {
    let plan = evaluator.plan();
    let small = shrunk(plan, SMALL);
    let draws = Draws::new(&small, evaluator.machine.rails());
    let service = service_states(plan);
    let batch = Batch::new(evaluator, &draws, &service)?;
    let middle = draws.middle();
    let lists = run_batches(0, LINEAR_DRAWS, seed, Memory::default, |memory, _, rngs| {
        draws.numbers(rngs, &mut memory.numbers);
        let mut one = |kind: &ErrorKind| {
            let alone = with_own(&draws, *kind, &middle, &memory.numbers);
            let found = batch.run(&alone, rngs.len(), &mut memory.work).map_err(|(_, error)| error)?;
            Ok(found.iter().map(|o| OUTPUTS.map(|(_, _, of)| of(o))).collect::<Vec<_>>())
        };
        kinds.iter().map(&mut one).collect::<Result<Vec<_>, NotConverged>>()
    });
    // By source, then by draw.
    let mut columns: Vec<Vec<[f64; 2]>> = vec![Vec::new(); kinds.len()];
    for list in lists {
        columns.iter_mut().zip(list?).for_each(|(column, outputs)| column.extend(outputs));
    }
    let variance = |s: usize, k: usize| mean_and_deviation(columns[s].iter().map(move |o| o[k])).1.powi(2);
    let total = [0, 1].map(|k| (0..kinds.len()).map(|s| variance(s, k)).sum::<f64>());
    let share = |s: usize, k: usize| if total[k] > 0.0 { variance(s, k) / total[k] } else { 0.0 };
    Ok((0..kinds.len()).map(|s| [0, 1].map(|k| share(s, k))).collect())
}

/// The plan with all tolerances shrunk about their middles; a profile's about none.
fn shrunk(plan: &Plan, by: f64) -> Plan {
    let mut small = plan.clone();
    for source in &mut small.errors.sources {
        let middle = if source.kind.is_profile() { 0.0 } else { source.middle() };
        (source.lower, source.upper) = (middle + by * (source.lower - middle), middle + by * (source.upper - middle));
    }
    small
}
