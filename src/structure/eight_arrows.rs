//! Linear systems of eight machines side by side, by the shape of [`super::arrow`]: trucks first, then the bridge's ends.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use super::{DOF, Matrix24};
use crate::math::lanes::{EIGHT, EIGHT_ZEROS, EightLane, raise_eight, subtract_product};

/// Symmetric stiffnesses, of the trucks' and the ends' own parts the lower half.
#[derive(Debug, Clone)]
pub(super) struct EightArrows {
    pub(super) trucks: [[[EightLane; 6]; 6]; 2],
    /// Rows of a truck over columns of its own end.
    pub(super) cross: [[[EightLane; 6]; 6]; 2],
    pub(super) ends: [[EightLane; 12]; 12],
}

impl Default for EightArrows {
    fn default() -> Self {
        Self { trucks: [[[EIGHT_ZEROS; 6]; 6]; 2], cross: [[[EIGHT_ZEROS; 6]; 6]; 2], ends: [[EIGHT_ZEROS; 12]; 12] }
    }
}

impl EightArrows {
    /// The same stiffness eight times.
    #[inline(always)]
    pub(super) fn set(&mut self, k: &Matrix24) {
        for side in 0..2 {
            for i in 0..6 {
                for j in 0..6 {
                    self.trucks[side][i][j] = [k[(6 * side + i, 6 * side + j)]; EIGHT];
                    self.cross[side][i][j] = [k[(6 * side + i, 12 + 6 * side + j)]; EIGHT];
                }
            }
        }
        for i in 0..12 {
            for j in 0..12 {
                self.ends[i][j] = [k[(12 + i, 12 + j)]; EIGHT];
            }
        }
    }

    /// Solves K x = right, each freedom counted in its scale; K is lost. False where a pivot is not above 1e-14 of the greatest.
    #[inline(always)]
    pub(super) fn solve<const FUSED: bool>(&mut self, scale: &[f64; DOF], right: &mut [EightLane; DOF]) -> [bool; EIGHT] {
        let mut least = self.scaled(scale);
        least.iter_mut().for_each(|l| *l *= 1e-14);
        let mut held = [true; EIGHT];
        for (freedom, s) in right.iter_mut().zip(scale) {
            freedom.iter_mut().for_each(|r| *r *= s);
        }
        let (of_trucks, of_ends) = right.split_at_mut(12);
        for side in 0..2 {
            let (truck, cross) = (&mut self.trucks[side], &mut self.cross[side]);
            let load: &mut [EightLane] = &mut of_trucks[6 * side..6 * side + 6];
            factor::<FUSED, 6>(truck, &least, &mut held);
            forward::<FUSED, 6>(truck, load);
            for j in 0..6 {
                let mut column: [EightLane; 6] = std::array::from_fn(|i| cross[i][j]);
                forward::<FUSED, 6>(truck, &mut column);
                (0..6).for_each(|i| cross[i][j] = column[i]);
            }
            for i in 0..6 {
                for k in 0..6 {
                    subtract_product::<FUSED>(&mut of_ends[6 * side + i], &cross[k][i], &load[k]);
                    for j in 0..=i {
                        subtract_product::<FUSED>(&mut self.ends[6 * side + i][6 * side + j], &cross[k][i], &cross[k][j]);
                    }
                }
            }
        }
        factor::<FUSED, 12>(&mut self.ends, &least, &mut held);
        forward::<FUSED, 12>(&self.ends, of_ends);
        backward::<FUSED, 12>(&self.ends, of_ends);
        for side in 0..2 {
            let load: &mut [EightLane] = &mut of_trucks[6 * side..6 * side + 6];
            for i in 0..6 {
                for j in 0..6 {
                    subtract_product::<FUSED>(&mut load[i], &self.cross[side][i][j], &of_ends[6 * side + j]);
                }
            }
            backward::<FUSED, 6>(&self.trucks[side], load);
        }
        for (freedom, s) in right.iter_mut().zip(scale) {
            freedom.iter_mut().for_each(|x| *x *= s);
        }
        held
    }

    /// Scales every freedom and gives the greatest stiffness of one.
    #[inline(always)]
    fn scaled(&mut self, scale: &[f64; DOF]) -> EightLane {
        let mut most = EIGHT_ZEROS;
        for side in 0..2 {
            for i in 0..6 {
                for j in 0..6 {
                    let of_row = scale[6 * side + i];
                    self.trucks[side][i][j].iter_mut().for_each(|k| *k *= of_row * scale[6 * side + j]);
                    self.cross[side][i][j].iter_mut().for_each(|k| *k *= of_row * scale[12 + 6 * side + j]);
                }
                raise_eight(&mut most, &self.trucks[side][i][i]);
            }
        }
        for i in 0..12 {
            for j in 0..=i {
                self.ends[i][j].iter_mut().for_each(|k| *k *= scale[12 + i] * scale[12 + j]);
            }
            raise_eight(&mut most, &self.ends[i][i]);
        }
        most
    }
}

/// Lower factor of Cholesky's in place, its diagonal inverted.
#[inline(always)]
pub(super) fn factor<const FUSED: bool, const N: usize>(k: &mut [[EightLane; N]; N], least: &EightLane, held: &mut [bool; EIGHT]) {
    for j in 0..N {
        for i in j..N {
            let mut sum = k[i][j];
            for m in 0..j {
                subtract_product::<FUSED>(&mut sum, &k[i][m], &k[j][m]);
            }
            k[i][j] = sum;
        }
        let mut inverse = EIGHT_ZEROS;
        for i in 0..EIGHT {
            held[i] &= k[j][j][i] > least[i];
            inverse[i] = 1.0 / k[j][j][i].sqrt();
        }
        for row in &mut k[j + 1..] {
            for i in 0..EIGHT {
                row[j][i] *= inverse[i];
            }
        }
        k[j][j] = inverse;
    }
}

/// Solves L x = right in place.
#[inline(always)]
pub(super) fn forward<const FUSED: bool, const N: usize>(lower: &[[EightLane; N]; N], right: &mut [EightLane]) {
    for i in 0..N {
        let mut sum = right[i];
        for j in 0..i {
            subtract_product::<FUSED>(&mut sum, &lower[i][j], &right[j]);
        }
        for l in 0..EIGHT {
            right[i][l] = sum[l] * lower[i][i][l];
        }
    }
}

/// Solves L' x = right in place.
#[inline(always)]
pub(super) fn backward<const FUSED: bool, const N: usize>(lower: &[[EightLane; N]; N], right: &mut [EightLane]) {
    for i in (0..N).rev() {
        let mut sum = right[i];
        for j in i + 1..N {
            subtract_product::<FUSED>(&mut sum, &lower[j][i], &right[j]);
        }
        for l in 0..EIGHT {
            right[i][l] = sum[l] * lower[i][i][l];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::structure::Vector24;
    use crate::structure::arrow::newton_step;
    use crate::structure::mechanism::freedom_scale;

    /// Eight arrows that differ by what holds a truck, against the solver of one; the last one has a direction that nothing holds.
    #[test]
    fn check_eight_systems_are_solved_as_each_alone() {
        let noise = |i: usize, j: usize| ((i * 37 + j * 101 + 13) % 97) as f64 / 97.0 - 0.5;
        let scale: [f64; DOF] = std::array::from_fn(freedom_scale);
        let k = Matrix24::from_fn(|i, j| {
            let (i, j) = (i.max(j), i.min(j));
            let (a, b) = (i / 6, j / 6);
            let touches = a == b || (a, b) == (2, 0) || (a, b) == (3, 1) || (a, b) == (3, 2);
            let value = if i == j { 20.0 } else { 0.0 } + if touches { noise(i, j) } else { 0.0 };
            value / (scale[i] * scale[j])
        });
        let mut arrows = EightArrows::default();
        arrows.set(&k);
        let more = |lane: usize| if lane == 7 { -40.0 } else { 3.0 * lane as f64 };
        for lane in 0..EIGHT {
            arrows.trucks[1][4][4][lane] += more(lane) / (scale[10] * scale[10]);
        }
        let right = Vector24::from_fn(|i, _| noise(i, 5));
        let mut x: [EightLane; DOF] = std::array::from_fn(|i| [right[i]; EIGHT]);
        let held = arrows.solve::<false>(&scale, &mut x);
        assert_eq!(held, [true, true, true, true, true, true, true, false]);
        for lane in 0..7 {
            let mut own = k;
            own[(10, 10)] += more(lane) / (scale[10] * scale[10]);
            let alone = newton_step(&own, &-right);
            for i in 0..DOF {
                assert!((x[i][lane] - alone[i]).abs() < 1e-12 * alone.amax(), "lane {lane}, freedom {i}");
            }
        }
    }
}
