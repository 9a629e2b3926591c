//! Real installations inside the tolerances that are as bad as can be found: never a bound, always replayable.

use rayon::prelude::*;

use super::tolerance_box::ToleranceBox;
use crate::math::Corners;
use crate::structure::NotConverged;
use crate::study::engine::run;
use crate::study::evaluate::{Evaluator, Work};
use crate::study::outcome::Outcome;
use crate::study::sampling::uniform;
use crate::study::service::{ServiceState, service_states};

/// What is to be made bad: greater is worse.
pub(super) type Badness = fn(&Outcome, &Work) -> f64;

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
    service: Vec<ServiceState>,
}

impl<'e, 'p> Searcher<'e, 'p> {
    pub(super) fn new(evaluator: &'e Evaluator<'p>, tolerance_box: &'e ToleranceBox) -> Self {
        Self { evaluator, tolerance_box, service: service_states(evaluator.plan()) }
    }

    /// Evaluates a point.
    pub(super) fn outcome(&self, point: &[f64], work: &mut Work) -> Result<Outcome, NotConverged> {
        self.evaluator.evaluate(&self.tolerance_box.installation(self.evaluator.plan(), point), &self.service, work)
    }

    fn badness(&self, point: &[f64], of: Badness, work: &mut Work) -> Result<f64, NotConverged> {
        let outcome = self.outcome(point, work)?;
        Ok(of(&outcome, work))
    }

    /// Random starting points: corners and inside, the same for the same seed.
    pub(super) fn random_points(&self, count: usize, seed: u64) -> Vec<Vec<f64>> {
        run(0, count as u64, seed, || (), |(), i, rng| self.tolerance_box.random(i % 2 == 0, &mut || uniform(rng)))
    }

    /// The worst of some points.
    pub(super) fn best_of(&self, points: &[Vec<f64>], of: Badness) -> Result<Found, NotConverged> {
        let found: Vec<Found> = points.par_iter().map(|point| self.at(point, of)).collect::<Result<_, _>>()?;
        Ok(self.worst(found))
    }

    fn at(&self, point: &[f64], of: Badness) -> Result<Found, NotConverged> {
        Ok(Found { badness: self.badness(point, of, &mut Work::default())?, point: point.to_vec() })
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
        let mut work = Work::default();
        let mut best = Found { badness: self.badness(start, of, &mut work)?, point: start.to_vec() };
        for _ in 0..6 {
            let slope = self.slope(&best, of, &mut work)?;
            let (_, point) = self.tolerance_box.support(&slope, &mut Corners::default());
            let badness = self.badness(&point, of, &mut work)?;
            if badness <= best.badness * (1.0 + 1e-9 * best.badness.signum()) {
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
            for j in 0..self.tolerance_box.scalars() {
                let mut point = best.point.clone();
                point[j] = if point[j] < 0.0 { 1.0 } else { -1.0 };
                let badness = self.badness(&point, of, &mut work)?;
                if badness > best.badness {
                    best = Found { badness, point };
                    turned = true;
                }
            }
        }
        Ok(best)
    }

    /// Slope of the badness in every coordinate, by a small step towards the middle.
    fn slope(&self, at: &Found, of: Badness, work: &mut Work) -> Result<Vec<f64>, NotConverged> {
        let mut point = at.point.clone();
        let mut slope = Vec::with_capacity(point.len());
        for j in 0..point.len() {
            let here = point[j];
            let step = if here > 0.0 { -1e-3 } else { 1e-3 };
            point[j] = here + step;
            slope.push((self.badness(&point, of, work)? - at.badness) / step);
            point[j] = here;
        }
        Ok(slope)
    }
}
