//! What of a station's motions and forces is only wanted at its largest: lengths of vectors, and how far a value goes.

use crate::math::lanes::{LANES, Lane, SingleLane, each, joined, larger, multiply_add, part, put, raise, smaller};

/// A force or a displacement whose largest length is wanted.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Vector {
    /// Its components in the response.
    rows: Vec<usize>,
    /// Situation by situation: what it adds to the components, and to the square of the length.
    situations: Vec<([f32; MANY], f32)>,
}

/// Components of a vector, most of them; of a joint that is held in all directions and about all axes.
const FEW: usize = 3;
const MANY: usize = 6;

impl Vector {
    pub(super) fn new(rows: Vec<usize>) -> Self {
        Self { rows, situations: Vec::new() }
    }

    /// One more situation, unless it is there.
    pub(super) fn add(&mut self, constants: impl Iterator<Item = f64>, square: f64) {
        let mut situation = ([0.0; MANY], square as f32);
        situation.0.iter_mut().zip(constants).for_each(|(to, c)| *to = c as f32);
        if !self.situations.contains(&situation) {
            self.situations.push(situation);
        }
    }

    /// Raises squares to the largest square of the length in any situation.
    ///
    /// Single precision holds it: a length is a sum without differences, once a component has its situation's part.
    #[inline(always)]
    pub(super) fn longest<const FUSED: bool, const N: usize, const S: usize>(&self, response: &[Lane], to: &mut SingleLane) {
        if self.rows.len() <= FEW { self.of::<FUSED, N, S, FEW>(response, to) } else { self.of::<FUSED, N, S, MANY>(response, to) }
    }

    #[inline(always)]
    fn of<const FUSED: bool, const N: usize, const S: usize, const K: usize>(&self, response: &[Lane], to: &mut SingleLane) {
        for first in (0..LANES).step_by(S) {
            let mut components = [[0.0; S]; K];
            for (component, &row) in components.iter_mut().zip(&self.rows) {
                *component = joined::<N, S>(part(&response[row], first), part(&response[row], first + N));
            }
            let mut most = [0.0; S];
            for (constants, square) in &self.situations {
                let mut sum = [*square; S];
                for (component, constant) in components.iter().zip(constants) {
                    let with: [f32; S] = each(|i| component[i] + constant);
                    sum = each(|i| multiply_add::<FUSED, _>(with[i], with[i], sum[i]));
                }
                most = larger(sum, most);
            }
            raise(to, first, most);
        }
    }
}

/// A value whose largest size is wanted, over a size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reach {
    pub(super) row: usize,
    pub(super) size: f64,
    /// Least and largest of what the situations add.
    pub(super) constants: [f64; 2],
}

/// Least and largest of a value so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ends {
    pub(super) least: Lane,
    pub(super) most: Lane,
}

impl Ends {
    /// Of nothing yet.
    pub(super) const NONE: Self = Self { least: Lane([f64::INFINITY; LANES]), most: Lane([f64::NEG_INFINITY; LANES]) };

    /// So many of nothing yet.
    pub(super) fn start(list: &mut Vec<Self>, count: usize) {
        list.clear();
        list.resize(count, Self::NONE);
    }

    pub(super) const fn of(value: &Lane) -> Self {
        Self { least: *value, most: *value }
    }

    #[inline(always)]
    pub(super) fn take<const N: usize>(&mut self, value: &Lane) {
        for first in (0..LANES).step_by(N) {
            let (x, least): ([f64; N], [f64; N]) = (part(value, first), part(&self.least, first));
            raise(&mut self.most, first, x);
            put(&mut self.least, first, smaller(x, least));
        }
    }

    /// Raises to the largest |x + c| over a size, c between two constants.
    #[inline(always)]
    pub(super) fn farthest<const N: usize>(&self, to: &mut Lane, [low, high]: [f64; 2], size: f64) {
        for first in (0..LANES).step_by(N) {
            let (least, most): ([f64; N], [f64; N]) = (part(&self.least, first), part(&self.most, first));
            raise::<f64, N>(to, first, larger(each(|i| (most[i] + high) / size), each(|i| -(least[i] + low) / size)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two components in three situations, one of them with a square of its own: (3, 4), (3, -4) + 11, (-6, 8).
    #[test]
    fn check_the_longest_of_all_situations() {
        let response = [Lane([f64::NAN; LANES]), Lane(std::array::from_fn(|i| i as f64)), Lane([0.5; LANES])];
        let mut vector = Vector::new(vec![1, 2]);
        let situations = [([3.0, 3.5], 0.0), ([3.0, -4.5], 11.0), ([-6.0, 7.5], 0.0)];
        situations.iter().chain(&situations[1..]).for_each(|(constants, square)| vector.add(constants.iter().copied(), *square));
        assert_eq!(vector.situations.len(), 3);
        let mut narrow = Lane([50.0; LANES]);
        let mut wide = narrow;
        vector.longest::<false, 4, 8>(&response, &mut narrow);
        vector.longest::<true, 8, 16>(&response, &mut wide);
        let mut in_six = Lane([50.0; LANES]);
        vector.of::<true, 8, 16, MANY>(&response, &mut in_six);
        assert_eq!(in_six, wide);
        for i in 0..LANES {
            let x = i as f32;
            let expected = ((x + 3.0).powi(2) + 27.0).max((x - 6.0).powi(2) + 64.0).max(50.0);
            assert_eq!((narrow[i], wide[i]), (expected, expected));
        }
    }

    /// From -2 to 1 and constants from 0.5 to 3: |-2 + 0.5| is less than 1 + 3; over 2.
    #[test]
    fn check_the_farthest_of_all_values() {
        let mut ends = vec![];
        Ends::start(&mut ends, 1);
        [-1.0, 1.0, -2.0].iter().for_each(|x| ends[0].take::<4>(&Lane([*x; LANES])));
        let mut to = Lane([0.0; LANES]);
        ends[0].farthest::<8>(&mut to, [0.5, 3.0], 2.0);
        assert_eq!(to[5], 2.0);
        ends[0].farthest::<8>(&mut to, [-2.5, 3.0], 2.0);
        assert_eq!(to[5], 2.25);
    }
}
