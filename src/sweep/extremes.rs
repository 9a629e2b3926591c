//! What of a station's motions and forces is only wanted at its largest: lengths of vectors, and how far a value goes.

use crate::math::lanes::{LANES, SingleLane, each, larger, multiply_add, part, raise};

/// A force or a displacement whose largest length is wanted.
///
/// |F + c|^2 is |F|^2 + (2 F c + |c|^2): what depends on the situation is a sum of few products. F and c count from the middle of the
/// situations, where the largest of those sums is not negative: nothing cancels.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Vector {
    /// Its components in the response, and the middle of what situations add to each.
    rows: Vec<(usize, f32)>,
    /// Situation by situation: twice c, and |c|^2 with what is added to the square of the length.
    situations: Vec<([f32; WAYS], f32)>,
}

/// Components of a vector at most: those that are missing count as nothing.
const WAYS: usize = 3;

impl Vector {
    /// From its components in the response, and from what each situation adds to them and to the square of the length. What two
    /// situations have in common is counted once.
    pub(crate) fn new(rows: &[usize], situations: impl Iterator<Item = (Vec<f64>, f64)>) -> Self {
        let mut distinct: Vec<(Vec<f64>, f64)> = Vec::new();
        for (constants, square) in situations {
            let same = |(other, theirs): &(Vec<f64>, f64)| {
                let pairs = constants.iter().zip(other).map(|(a, b)| [*a, *b]);
                pairs.chain([[square, *theirs]]).all(|[a, b]| a as f32 == b as f32)
            };
            if !distinct.iter().any(same) {
                distinct.push((constants, square));
            }
        }
        let middle = |k: usize| distinct.iter().map(|(constants, _)| constants[k]).sum::<f64>() / distinct.len().max(1) as f64;
        let beside = |(constants, square): &(Vec<f64>, f64)| {
            let c = |k: usize| if k < rows.len() { constants[k] - middle(k) } else { 0.0 };
            let all = (0..rows.len()).map(|k| c(k) * c(k)).sum::<f64>() + square;
            (std::array::from_fn(|k| (2.0 * c(k)) as f32), all as f32)
        };
        Self {
            rows: rows.iter().enumerate().map(|(k, &row)| (row, middle(k) as f32)).collect(),
            situations: distinct.iter().map(beside).collect(),
        }
    }

    /// Raises squares to the largest square of the length in any situation.
    #[inline(always)]
    pub(crate) fn longest<const FUSED: bool, const S: usize>(&self, response: &[SingleLane], to: &mut SingleLane) {
        for first in (0..LANES).step_by(S) {
            let (mut components, mut square) = ([[0.0; S]; WAYS], [0.0; S]);
            for (component, (row, middle)) in components.iter_mut().zip(&self.rows) {
                let x: [f32; S] = part(&response[*row], first);
                let x: [f32; S] = each(|i| x[i] + middle);
                square = each(|i| multiply_add::<FUSED, _>(x[i], x[i], square[i]));
                *component = x;
            }
            let mut most = [0.0; S];
            for (constants, rest) in &self.situations {
                let mut sum = [*rest; S];
                for (component, constant) in components.iter().zip(constants) {
                    sum = each(|i| multiply_add::<FUSED, _>(component[i], *constant, sum[i]));
                }
                most = larger(sum, most);
            }
            raise::<S>(to, first, each(|i| square[i] + most[i]));
        }
    }
}

/// A value of which the largest size is wanted, over a size: |x + middle| and what situations add to either side of that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reach {
    row: usize,
    middle: f32,
    /// One over the size, and what situations add over the size.
    per_size: f32,
    added: f32,
}

impl Reach {
    /// From the least and the largest of what situations add.
    pub(crate) fn new(row: usize, size: f64, [low, high]: [f64; 2]) -> Self {
        let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
        Self { row, middle: middle as f32, per_size: size.recip() as f32, added: (half / size) as f32 }
    }

    /// Raises to how far the value goes.
    #[inline(always)]
    pub(crate) fn farthest<const FUSED: bool, const S: usize>(&self, values: &[SingleLane], to: &mut SingleLane) {
        for first in (0..LANES).step_by(S) {
            let x: [f32; S] = part(&values[self.row], first);
            raise::<S>(to, first, each(|i| multiply_add::<FUSED, _>((x[i] + self.middle).abs(), self.per_size, self.added)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::lanes::Lane;

    /// Two components in three situations, one of them with a square of its own: (3, 4), (3, -4) + 11, (-6, 8).
    #[test]
    fn check_the_longest_of_all_situations() {
        let response = [Lane([f32::NAN; LANES]), Lane(std::array::from_fn(|i| i as f32)), Lane([0.5; LANES])];
        let situations = [(vec![3.0, 3.5], 0.0), (vec![3.0, -4.5], 11.0), (vec![-6.0, 7.5], 0.0)];
        let vector = Vector::new(&[1, 2], situations.iter().chain(&situations[1..]).cloned());
        assert_eq!(vector.situations.len(), 3);
        let mut narrow = Lane([50.0; LANES]);
        let mut wide = narrow;
        vector.longest::<false, 8>(&response, &mut narrow);
        vector.longest::<true, 16>(&response, &mut wide);
        for i in 0..LANES {
            let x = i as f32;
            let expected = ((x + 3.0).powi(2) + 27.0).max((x - 6.0).powi(2) + 64.0).max(50.0);
            assert!((narrow[i] - expected).abs() <= 1e-6 * expected && (wide[i] - expected).abs() <= 1e-6 * expected, "{i}");
        }
    }

    /// Situations that add far more than is left, and far less: the length keeps its digits.
    #[test]
    fn check_nothing_cancels_in_a_length() {
        for (x, added) in [(-1000.0_f64, [1000.25, 1000.75]), (1000.0, [0.25, -0.5]), (-0.125, [0.125, 0.125])] {
            let vector = Vector::new(&[0], added.iter().map(|c| (vec![*c], 0.0)));
            let mut to = Lane([0.0; LANES]);
            vector.longest::<true, 8>(&[Lane([x as f32; LANES])], &mut to);
            let expected = added.iter().map(|c| (x + c).powi(2)).fold(0.0, f64::max);
            assert!((f64::from(to[0]) - expected).abs() <= 3e-7 * expected, "{x}: {} {expected}", to[0]);
        }
    }

    /// From -2 to 1 and constants from 0.5 to 3: |-2 + 0.5| is less than 1 + 3; over 2. From -2.5 on it is |-2 - 2.5|.
    #[test]
    fn check_the_farthest_of_all_values() {
        let farthest = |constants: [f64; 2]| {
            let mut to = Lane([0.0; LANES]);
            let reach = Reach::new(1, 2.0, constants);
            [-1.0, 1.0, -2.0].iter().for_each(|x| reach.farthest::<false, 8>(&[Lane([f32::NAN; LANES]), Lane([*x; LANES])], &mut to));
            to[5]
        };
        assert_eq!((farthest([0.5, 3.0]), farthest([-2.5, 3.0])), (2.0, 2.25));
    }
}
