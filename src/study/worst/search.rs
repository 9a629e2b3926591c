//! Real installations inside the tolerances that are as bad as can be found: never a bound, always replayable.

use rayon::prelude::*;

use super::tolerance_box::ToleranceBox;
use crate::draw::run;
use crate::draw::{Draws, uniform};
use crate::evaluate::Outcome;
use crate::evaluate::ServiceState;
use crate::evaluate::{Evaluator, Work};
use crate::math::Corners;
use crate::math::lanes::{LANES, Lane};
use crate::structure::NotConverged;
use crate::sweep::batch::{Batch, Memory};

/// What is to be made bad: greater is worse.
pub(super) type Badness = fn(&Outcome) -> f64;

/// A point of the box and how bad it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub(super) badness: f64,
    pub(super) point: Vec<f64>,
}

/// Searches the box with a machine.
pub(super) struct Searcher<'e, 'p> {
    pub(super) evaluator: &'e Evaluator<'p>,
    pub(super) tolerance_box: &'e ToleranceBox,
    service: &'e [ServiceState],
    batch: Batch<'e, 'p>,
}

impl<'e, 'p> Searcher<'e, 'p> {
    /// `draws` of the plan's sources, with which the box goes through the fast path.
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(super) fn new(
        evaluator: &'e Evaluator<'p>,
        tolerance_box: &'e ToleranceBox,
        draws: &'e Draws<'e>,
        service: &'e [ServiceState],
    ) -> Result<Self, NotConverged> {
        Ok(Self { evaluator, tolerance_box, service, batch: Batch::new(evaluator, draws, service)? })
    }

    /// Evaluates a point by itself.
    pub(super) fn outcome(&self, point: &[f64], work: &mut Work) -> Result<Outcome, NotConverged> {
        self.evaluator.evaluate(&self.tolerance_box.installation(self.evaluator.plan(), point), self.service, work)
    }

    /// How bad some points are, many at a time.
    fn badness(&self, points: &[Vec<f64>], of: Badness, memory: &mut Memory) -> Result<Vec<f64>, NotConverged> {
        Ok(self.outcomes(points, memory)?.iter().map(of).collect())
    }

    fn outcomes(&self, points: &[Vec<f64>], memory: &mut Memory) -> Result<Vec<Outcome>, NotConverged> {
        let mut list = Vec::with_capacity(points.len());
        for some in points.chunks(LANES) {
            let columns: Vec<Vec<f64>> = some.iter().map(|p| self.tolerance_box.numbers(p)).collect();
            memory.numbers.clear();
            let lane = |j: usize| Lane(std::array::from_fn(|i| columns[i.min(columns.len() - 1)][j]));
            memory.numbers.extend((0..columns[0].len()).map(lane));
            let done = self.batch.run(&memory.numbers, some.len(), &mut memory.work).map_err(|(_, e)| e)?;
            list.extend_from_slice(done);
        }
        Ok(list)
    }

    /// Random starting points: corners and inside, the same for the same seed.
    pub(super) fn random_points(&self, count: usize, seed: u64) -> Vec<Vec<f64>> {
        run(0, count as u64, seed, || (), |(), i, rng| self.tolerance_box.random(i % 2 == 0, &mut || uniform(rng)))
    }

    /// What many points come to, on all threads.
    ///
    /// # Errors
    /// An equilibrium was not found.
    pub(super) fn outcomes_of(&self, points: &[Vec<f64>]) -> Result<Vec<Outcome>, NotConverged> {
        let one = |memory: &mut Memory, some: &[Vec<f64>]| self.outcomes(some, memory);
        let found: Vec<Vec<Outcome>> = points.par_chunks(LANES).map_init(Memory::default, one).collect::<Result<_, _>>()?;
        Ok(found.concat())
    }

    /// The worst of some points.
    pub(super) fn best_of(&self, points: &[Vec<f64>], of: Badness) -> Result<Found, NotConverged> {
        let outcomes = self.outcomes_of(points)?;
        let found = outcomes.iter().zip(points).map(|(outcome, point)| Found { badness: of(outcome), point: point.clone() });
        Ok(self.worst(found.collect()))
    }

    fn worst(&self, found: Vec<Found>) -> Found {
        let none = Found { badness: f64::NEG_INFINITY, point: vec![0.0; self.tolerance_box.dimension()] };
        found.into_iter().fold(none, |best, f| if f.badness > best.badness { f } else { best })
    }

    /// The worst that climbing from each start finds.
    pub(super) fn climb(&self, starts: &[Vec<f64>], of: Badness) -> Result<Found, NotConverged> {
        let found: Vec<Found> = starts.par_iter().map(|start| self.climb_one(start, of)).collect::<Result<_, _>>()?;
        Ok(self.worst(found))
    }

    /// Repeatedly goes to the corner that the slope points to, then turns single errors over.
    fn climb_one(&self, start: &[f64], of: Badness) -> Result<Found, NotConverged> {
        let mut memory = Memory::default();
        let mut at = |points: &[Vec<f64>]| self.badness(points, of, &mut memory);
        let mut best = Found { badness: at(&[start.to_vec()])?[0], point: start.to_vec() };
        let mut corners = Corners::default();
        for _ in 0..6 {
            let slope = slope(&best, &mut at)?;
            let (_, point) = self.tolerance_box.support(&slope, &mut corners);
            let badness = at(std::slice::from_ref(&point))?[0];
            if badness <= best.badness * (1.0 + 1e-6 * best.badness.signum()) {
                break;
            }
            best = Found { badness, point };
        }
        let mut turned = true;
        for _ in 0..2 {
            if !turned {
                break;
            }
            turned = false;
            let mut next = 0;
            while next < self.tolerance_box.scalars() {
                let tried: Vec<usize> = (next..self.tolerance_box.scalars().min(next + LANES)).collect();
                let points: Vec<Vec<f64>> = tried.iter().map(|j| turned_over(&best.point, *j)).collect();
                let found = at(&points)?;
                // The first that is worse is taken; those behind it are tried again from there.
                let worse = (0..tried.len()).find(|k| found[*k] > best.badness);
                next = worse.map_or(next + LANES, |k| tried[k] + 1);
                if let Some(k) = worse {
                    best = Found { badness: found[k], point: points[k].clone() };
                    turned = true;
                }
            }
        }
        Ok(best)
    }
}

/// A point with one coordinate at its other limit.
fn turned_over(point: &[f64], j: usize) -> Vec<f64> {
    let mut point = point.to_vec();
    point[j] = if point[j] < 0.0 { 1.0 } else { -1.0 };
    point
}

/// Slope of the badness in every coordinate, by a step towards the middle: long enough for the digits of single precision.
fn slope(at: &Found, badness: &mut impl FnMut(&[Vec<f64>]) -> Result<Vec<f64>, NotConverged>) -> Result<Vec<f64>, NotConverged> {
    let step = |j: usize| if at.point[j] > 0.0 { -1e-2 } else { 1e-2 };
    let moved = |j: usize| {
        let mut point = at.point.clone();
        point[j] += step(j);
        point
    };
    let points: Vec<Vec<f64>> = (0..at.point.len()).map(moved).collect();
    Ok(badness(&points)?.iter().enumerate().map(|(j, b)| (b - at.badness) / step(j)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evaluate::service_states;
    use crate::input::read_plan;
    use crate::structure::Machine;

    #[test]
    fn check_random_starts_are_corners_and_inside_points_by_turns() {
        let text = include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
        let plan = read_plan(&text, "panel-bridge.toml").unwrap();
        let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
        let draws = Draws::new(&plan, evaluator.machine.rails());
        let tolerance_box = ToleranceBox::new(&plan, draws.modes().clone());
        let service = service_states(&plan);
        let searcher = Searcher::new(&evaluator, &tolerance_box, &draws, &service).unwrap();
        let points = searcher.random_points(7, 5);
        let corner = |p: &Vec<f64>| p[..tolerance_box.scalars()].iter().all(|u| u.abs() == 1.0);
        assert_eq!(points.iter().map(corner).collect::<Vec<_>>(), [true, false, true, false, true, false, true]);
        assert!(points.iter().all(|p| tolerance_box.holds(p)));
        assert!(searcher.random_points(7, 5) == points && searcher.random_points(7, 6) != points);
        // Climbing ends no milder than the best of its starts, and the best is the worst of them.
        let badness: Badness = |o| o.peak_load_n;
        let best = searcher.best_of(&points, badness).unwrap();
        let by_itself: Vec<f64> = points.iter().map(|p| badness(&searcher.outcome(p, &mut Work::default()).unwrap())).collect();
        let worst = by_itself.iter().copied().fold(0.0, f64::max);
        assert!((best.badness / worst - 1.0).abs() < 1e-6 && points[by_itself.iter().position(|b| *b == worst).unwrap()] == best.point);
        assert!(searcher.climb(&points, badness).unwrap().badness > best.badness);
    }
}
