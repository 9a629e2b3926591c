//! Numbers behind installations whose rails are known: what the plan draws of everything else, normals of what is not known of
//! the rails, and a one that brings in what is.

use super::measured::Measured;
use crate::draw::Draws;
use crate::draw::engine::Stream;
use crate::draw::numbers::Numbers;
use crate::geometry::ProfileModes;
use crate::input::{Installation, Plan};
use crate::math::lanes::{LANES, Lane, ZERO};

/// A survey's installations.
pub(super) struct Known<'e> {
    plan: &'e Plan,
    rest: &'e Draws<'e>,
    measured: &'e Measured,
    /// The same with rails that are straight at the mean: what numbers change.
    changes: Measured,
}

impl<'e> Known<'e> {
    pub(super) fn new(plan: &'e Plan, rest: &'e Draws<'e>, measured: &'e Measured) -> Self {
        Self { plan, rest, measured, changes: measured.about_none() }
    }

    /// The numbers of drawn installations side by side.
    pub(super) fn draw(&self, rngs: &mut [Stream], to: &mut Vec<Lane>) {
        self.rest.numbers(rngs, to);
        let first = to.len();
        to.resize(first + self.measured.dimension(), ZERO);
        for (i, rng) in rngs.iter_mut().enumerate().take(LANES) {
            let drawn = self.measured.numbers(rng);
            to[first..].iter_mut().zip(drawn).for_each(|(lane, z)| lane[i] = z);
        }
        to.push(Lane([1.0; LANES]));
    }

    fn of_rails(&self) -> usize {
        self.rest.places().len()
    }
}

impl Numbers for Known<'_> {
    fn count(&self) -> usize {
        self.of_rails() + self.measured.dimension() + 1
    }

    fn installation(&self, numbers: &[f64]) -> Installation {
        let (rest, own) = numbers.split_at(self.of_rails());
        self.measured.drawn(self.rest.installation(rest), own)
    }

    fn probe(&self, j: usize) -> Option<(Installation, f64)> {
        let mut none = vec![0.0; self.measured.dimension()];
        if j < self.of_rails() {
            let (rest, size) = Numbers::probe(self.rest, j)?;
            return Some((self.changes.drawn(rest, &none), size));
        }
        let perfect = Installation::perfect(self.plan);
        match none.get_mut(j - self.of_rails()) {
            Some(normal) => {
                *normal = 1.0;
                Some((self.changes.drawn(perfect, &none), 1.0))
            }
            None => Some((self.measured.drawn(perfect, &none), 1.0)),
        }
    }

    /// The rails' shapes are the survey's: what the plan draws of them has no part.
    fn profiles(&self) -> Vec<usize> {
        Vec::new()
    }

    fn modes(&self) -> &ProfileModes {
        self.rest.modes()
    }
}
