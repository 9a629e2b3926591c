//! A block's rows at eight displacements side by side.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use super::block::{BlockLoads, RowBlock, RowLoad, RowPlace};
use super::element::Element;
use crate::math::lanes::{EIGHT, EIGHT_ZEROS, EightLane, add_times, multiply_add};

/// Force and tangent of a block in the order y, z, roll, pitch, yaw; of the tangent the upper half, `tangent[i][j]` with j >= i.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Eight {
    pub(crate) force: [EightLane; 5],
    pub(crate) tangent: [[EightLane; 5]; 5],
}

/// What [`RowBlock::loads`] says, of eight: the force, and of each row fatigue, greatest load, approach over that under preload.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EightLoads {
    pub(crate) force: [EightLane; 5],
    pub(crate) rows: [[EightLane; 3]; 4],
}

impl EightLoads {
    /// Those of one.
    pub(crate) fn of(&self, lane: usize) -> BlockLoads {
        let row = |[fatigue, greatest_n, over]: &[EightLane; 3]| RowLoad {
            fatigue: fatigue[lane],
            greatest_n: greatest_n[lane],
            approach_over_preload: over[lane],
        };
        BlockLoads { force: self.force.map(|f| f[lane]), rows: self.rows.each_ref().map(row) }
    }
}

impl RowBlock {
    /// What [`RowBlock::force_and_tangent`] says of one displacement, of eight.
    #[inline(always)]
    pub(crate) fn eight<const FUSED: bool>(&self, d: &[EightLane; 5]) -> Eight {
        match self.rolling.element {
            Element::Ball => self.eight_by::<FUSED>(d, f64::sqrt),
            Element::Roller => self.eight_by::<FUSED>(d, |approach| Element::Roller.root(approach)),
        }
    }

    #[inline(always)]
    fn eight_by<const FUSED: bool>(&self, d: &[EightLane; 5], root: impl Fn(f64) -> f64 + Copy) -> Eight {
        let mut eight = Eight { force: [EIGHT_ZEROS; 5], tangent: [[EIGHT_ZEROS; 5]; 5] };
        for row in self.rows() {
            let (across, along) = arms(row);
            let (middle, change) = self.approach_of_eight(&across, d);
            let [q, qx, t, tx, txx] = self.sums_of_eight::<FUSED>(&middle, &change, root);
            for a in 0..3 {
                add_times::<FUSED>(&mut eight.force[a], &q, across[a]);
                for b in a..3 {
                    add_times::<FUSED>(&mut eight.tangent[a][b], &t, across[a] * across[b]);
                }
                for b in 0..2 {
                    add_times::<FUSED>(&mut eight.tangent[a][3 + b], &tx, across[a] * along[b]);
                }
            }
            for a in 0..2 {
                add_times::<FUSED>(&mut eight.force[3 + a], &qx, along[a]);
                for b in a..2 {
                    add_times::<FUSED>(&mut eight.tangent[3 + a][3 + b], &txx, along[a] * along[b]);
                }
            }
        }
        eight
    }

    /// Forces and row loads at eight displacements.
    #[inline(always)]
    pub(crate) fn loads_of_eight<const FUSED: bool>(&self, d: &[EightLane; 5]) -> EightLoads {
        match self.rolling.element {
            Element::Ball => self.loads_by::<FUSED>(d, f64::sqrt, |load| load * load * load),
            Element::Roller => self.loads_by::<FUSED>(d, |a| Element::Roller.root(a), |load| Element::Roller.fatigue(load)),
        }
    }

    #[inline(always)]
    fn loads_by<const FUSED: bool>(
        &self,
        d: &[EightLane; 5],
        root: impl Fn(f64) -> f64 + Copy,
        fatigue: impl Fn(f64) -> f64 + Copy,
    ) -> EightLoads {
        let (elements, stiffness) = (self.elements_x_mm(), self.rolling.stiffness_n_per_mm_n);
        let end = elements.last().copied().unwrap_or(0.0);
        let load = |approach: f64| {
            let approach = if approach > 0.0 { approach } else { 0.0 };
            stiffness * root(approach) * approach
        };
        let mut loads = EightLoads { force: [EIGHT_ZEROS; 5], rows: [[EIGHT_ZEROS; 3]; 4] };
        for (row, to) in self.rows().iter().zip(&mut loads.rows) {
            let (across, along) = arms(row);
            let (middle, change) = self.approach_of_eight(&across, d);
            let (mut q, mut qx, mut sum) = (EIGHT_ZEROS, EIGHT_ZEROS, EIGHT_ZEROS);
            for &x in elements {
                for i in 0..EIGHT {
                    let own = load(multiply_add::<FUSED, _>(change[i], x, middle[i]));
                    q[i] += own;
                    qx[i] = multiply_add::<FUSED, _>(own, x, qx[i]);
                    sum[i] += fatigue(own);
                }
            }
            (0..3).for_each(|a| add_times::<FUSED>(&mut loads.force[a], &q, across[a]));
            (0..2).for_each(|a| add_times::<FUSED>(&mut loads.force[3 + a], &qx, along[a]));
            for i in 0..EIGHT {
                let greatest = middle[i] + change[i].abs() * end;
                to[0][i] = sum[i] / elements.len() as f64;
                to[1][i] = load(greatest);
                to[2][i] = self.over_preload(greatest);
            }
        }
        loads
    }

    /// Approach of a row's middle and its change per mm along the rail.
    #[inline(always)]
    fn approach_of_eight(&self, [ny, nz, lever]: &[f64; 3], d: &[EightLane; 5]) -> (EightLane, EightLane) {
        let (mut middle, mut change) = (EIGHT_ZEROS, EIGHT_ZEROS);
        for i in 0..EIGHT {
            middle[i] = self.preload_approach_mm() + ny * d[0][i] + nz * d[1][i] + lever * d[2][i];
            change[i] = ny * d[4][i] - nz * d[3][i];
        }
        (middle, change)
    }

    /// Load, load x, slope, slope x, slope x^2 over a row whose approach is `middle + change * x`.
    #[inline(always)]
    fn sums_of_eight<const FUSED: bool>(&self, middle: &EightLane, change: &EightLane, root: impl Fn(f64) -> f64 + Copy) -> [EightLane; 5] {
        let mut sums = [EIGHT_ZEROS; 5];
        for &x in self.elements_x_mm() {
            for i in 0..EIGHT {
                let approach = multiply_add::<FUSED, _>(change[i], x, middle[i]);
                let approach = if approach > 0.0 { approach } else { 0.0 };
                let slope = root(approach);
                let load = slope * approach;
                let slope_x = slope * x;
                sums[0][i] += load;
                sums[1][i] = multiply_add::<FUSED, _>(load, x, sums[1][i]);
                sums[2][i] += slope;
                sums[3][i] += slope_x;
                sums[4][i] = multiply_add::<FUSED, _>(slope_x, x, sums[4][i]);
            }
        }
        let stiffness = self.rolling.stiffness_n_per_mm_n;
        let of_slope = stiffness * self.rolling.element.contact_exponent();
        for (sum, factor) in sums.iter_mut().zip([stiffness, stiffness, of_slope, of_slope, of_slope]) {
            sum.iter_mut().for_each(|s| *s *= factor);
        }
        sums
    }
}

/// What a row's load does in y, z, roll, and what its load times x does in pitch, yaw.
#[inline(always)]
fn arms(row: &RowPlace) -> ([f64; 3], [f64; 2]) {
    let [ny, nz] = row.press;
    ([ny, nz, nz * row.y_mm - ny * row.z_mm], [-nz, ny])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact::{Vector5, sample};

    /// Pressed, pulled off, rolled, pitched until half a row is free: each lane as one block by itself.
    #[test]
    fn check_eight_displacements_are_each_what_they_are_alone() {
        for element in [Element::Ball, Element::Roller] {
            let block = RowBlock::new(&sample(element), 800.0).unwrap();
            let d: [EightLane; 5] = std::array::from_fn(|j| {
                std::array::from_fn(|i| ((7 * i + 3 * j) % 8) as f64 * if j < 2 { 1.5e-3 } else { 2e-4 } - if j < 2 { 5e-3 } else { 7e-4 })
            });
            let eight = block.eight::<false>(&d);
            let loads = block.loads_of_eight::<false>(&d);
            for i in 0..EIGHT {
                let alone = block.loads(&Vector5::from_fn(|j, _| d[j][i]));
                let own = loads.of(i);
                let size = alone.force.iter().fold(0.0_f64, |most, f| most.max(f.abs()));
                assert!(own.force.iter().zip(alone.force).all(|(a, b)| (a - b).abs() < 1e-9 * size), "{element:?} lane {i}");
                for (own, alone) in own.rows.iter().zip(alone.rows) {
                    assert!((own.fatigue - alone.fatigue).abs() <= 1e-9 * alone.fatigue);
                    assert!((own.greatest_n - alone.greatest_n).abs() <= 1e-9 * alone.greatest_n);
                    assert!((own.approach_over_preload - alone.approach_over_preload).abs() < 1e-12);
                }
                let (force, tangent) = block.force_and_tangent(&Vector5::from_fn(|j, _| d[j][i]));
                for a in 0..5 {
                    assert!((eight.force[a][i] - force[a]).abs() < 1e-9 * force.amax(), "{element:?} lane {i}: {force}");
                    for b in a..5 {
                        assert!(
                            (eight.tangent[a][b][i] - tangent[(a, b)]).abs() < 1e-9 * tangent.amax(),
                            "{element:?} lane {i}: {tangent}"
                        );
                    }
                }
            }
        }
    }
}
