//! Bounds that nothing inside the tolerances can pass, from the affine map.
//!
//! A sum of weighted absolute values is the greatest of its 2^5 signed sums, each affine in the errors; an affine
//! quantity is greatest where every scalar error stands at the limit of its sign and every profile solves a small linear
//! program over its zone. So P is exact while the floats' forces are known. A float on its stop enters as an unknown force.

use super::affine::AffineMap;
use super::tolerance_box::ToleranceBox;
use crate::input::plan::{Block, Law};
use crate::math::Corners;

/// Half of the sign patterns of five components; the other half are their opposites.
pub(super) const SIGNS: usize = 16;

/// Sign of a component in a pattern; the first is always +.
pub(super) fn sign(pattern: usize, component: usize) -> f64 {
    if component > 0 && pattern >> (component - 1) & 1 == 1 { -1.0 } else { 1.0 }
}

/// Weights of Fy, Fz, Mx, My, Mz in an equivalent load.
pub(super) fn dynamic_weights(block: &Block) -> [f64; 5] {
    let ([y, z], [mx, my, mz]) = (block.c_over_direction, block.c_over_moment_per_mm);
    [y, z, mx, my, mz]
}

/// The same for the static load.
pub(super) fn static_weights(block: &Block) -> [f64; 5] {
    let ([y, z], [mx, my, mz]) = (block.c0_over_direction, block.c0_over_moment_per_mm);
    [y, z, mx, my, mz]
}

/// How far each signed sum of each block's loads can move at each station: station, block, pattern.
#[derive(Debug, Clone)]
pub(super) struct Spreads {
    pub(super) values: Vec<[f64; SIGNS]>,
    pub(super) weights: [f64; 5],
}

/// Support of a row over box and unknown forces; the point leaves the unknown forces out.
pub(super) fn reach(map: &AffineMap, tolerance_box: &ToleranceBox, row: &[f64], corners: &mut Corners) -> (f64, Vec<f64>) {
    let n = tolerance_box.dimension();
    let (value, point) = tolerance_box.support(&row[..n], corners);
    let unknown: f64 = row[n..].iter().zip(&map.unknown_n).map(|(r, g)| r.abs() * g).sum();
    (value + unknown, point)
}

impl Spreads {
    pub(super) fn new(map: &AffineMap, tolerance_box: &ToleranceBox, blocks: usize, weights: [f64; 5], corners: &mut Corners) -> Self {
        let stations = map.load_rows.len() / (5 * blocks);
        let mut values = Vec::with_capacity(stations * blocks);
        for station in 0..stations {
            for block in 0..blocks {
                values.push(std::array::from_fn(|pattern| {
                    let row = signed_row(map, blocks, station, block, pattern, &weights);
                    reach(map, tolerance_box, &row, corners).0
                }));
            }
        }
        Self { values, weights }
    }

    /// Greatest equivalent load of a block in a place, and the pattern and side (+1, -1) that has it.
    pub(super) fn greatest(&self, map: &AffineMap, blocks: usize, place: usize, block: usize) -> (f64, usize, f64) {
        let load = &map.loads[place * blocks + block];
        let spread = &self.values[map.places[place].station * blocks + block];
        let mut best = (0.0, 0, 1.0);
        for (pattern, reach) in spread.iter().enumerate() {
            let base: f64 = (0..5).map(|i| sign(pattern, i) * self.weights[i] * load[i]).sum();
            if base.abs() + reach > best.0 {
                best = (base.abs() + reach, pattern, if base < 0.0 { -1.0 } else { 1.0 });
            }
        }
        best
    }
}

/// Row of a block's signed, weighted sum of loads.
pub(super) fn signed_row(map: &AffineMap, blocks: usize, station: usize, block: usize, pattern: usize, weights: &[f64; 5]) -> Vec<f64> {
    let mut row = vec![0.0; map.columns];
    for (i, weight) in weights.iter().enumerate() {
        let factor = sign(pattern, i) * weight;
        for (r, part) in row.iter_mut().zip(map.load_row(station, blocks, block, i)) {
            *r += factor * part;
        }
    }
    row
}

/// Travel of every float: bound of its displacement, and how far it can pass its stop.
///
/// With M the greatest displacement without stops, a float past its stop by e is held by k e, and pushed by others'
/// stops: `e_j (1 + C_jj k_j) <= M_j - T_j + sum |C_ji| k_i e_i`. The least e that allows this is found by repeated
/// substitution from 0, which rises to it when it exists; otherwise there is no bound (`None`).
pub(super) fn float_reach(map: &AffineMap, tolerance_box: &ToleranceBox, laws: &[Law], corners: &mut Corners) -> Option<Vec<(f64, f64)>> {
    let m = laws.len();
    let mut free = vec![0.0_f64; m];
    let stations = map.float_rows.len().checked_div(m).unwrap_or(0);
    for station in 0..stations {
        for (f, greatest) in free.iter_mut().enumerate() {
            let spread = reach(map, tolerance_box, &map.float_rows[station * m + f], corners).0;
            let places = map.places.iter().zip(&map.floats).filter(|(p, _)| p.station == station);
            *greatest = places.map(|(_, d)| d[f].abs() + spread).fold(*greatest, f64::max);
        }
    }
    let stop = |f: usize| match laws[f] {
        Law::Float { travel, k_stop, .. } => (travel, k_stop),
        _ => (f64::INFINITY, 0.0),
    };
    let mut past = vec![0.0_f64; m];
    for _ in 0..10_000 {
        let next: Vec<f64> = (0..m)
            .map(|j| {
                let (travel, k) = stop(j);
                let others: f64 = (0..m).filter(|&i| i != j).map(|i| map.compliance[i][j].abs() * stop(i).1 * past[i]).sum();
                ((free[j] + others - travel) / (1.0 + map.compliance[j][j] * k)).max(0.0)
            })
            .collect();
        let change = next.iter().zip(&past).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        past = next;
        // Grown without end: the difference of two such numbers would not show it.
        if past.iter().any(|e| !e.is_finite()) {
            return None;
        }
        if change <= 1e-13 * (1.0 + past.iter().copied().fold(0.0, f64::max)) {
            // Substitution stops a hair below its limit: a thousandth more is surely above it.
            return Some((0..m).map(|j| (if past[j] > 0.0 { stop(j).0 + 1.001 * past[j] } else { free[j] }, 1.001 * past[j])).collect());
        }
    }
    None
}

/// Bound of the resultant of `count` components whose rows and values are given: root of the sum of squared bounds.
pub(super) fn resultant(spreads: &[f64], values: &[f64]) -> f64 {
    spreads.iter().zip(values).map(|(s, v)| (v.abs() + s).powi(2)).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::by_hand::{float, map, plan_of_two, square};
    use super::*;

    /// Two floats at two stations: where each can come to, and how each pushes both.
    fn of_two_floats(compliance: [[f64; 2]; 2]) -> AffineMap {
        let mut found = map(&[(0, 0.3), (0, 0.2), (1, 0.4), (1, 0.1)]);
        found.floats = [[2.0, -1.0], [-2.5, 0.5], [1.5, -3.0], [0.0, 0.0]].map(Vec::from).into();
        // Station 0: float 0 moves by 0.3 with the errors, float 1 by 0.5; station 1: by 1.5 and 0.2.
        found.float_rows = [[0.1, -0.2], [0.4, 0.1], [1.0, 0.5], [0.2, 0.0]].map(Vec::from).into();
        found.compliance = compliance.map(Vec::from).into();
        found
    }

    fn reached(found: &AffineMap, laws: [Law; 2]) -> Option<Vec<(f64, f64)>> {
        let plan = plan_of_two();
        float_reach(found, &square(&plan), &laws, &mut Corners::default())
    }

    fn near(found: &[(f64, f64)], expected: [(f64, f64); 2]) {
        let close = |a: f64, b: f64| (a - b).abs() < 1e-10 * (1.0 + b.abs());
        assert!(found.iter().zip(expected).all(|(f, e)| close(f.0, e.0) && close(f.1, e.1)), "{found:?} against {expected:?}");
    }

    /// By hand: float 0 is farthest at station 1, 1.5 and 1.5 by the errors; float 1 there too, 3.0 and 0.2.
    #[test]
    fn check_a_float_that_cannot_reach_its_stop_goes_as_far_as_its_worst_place() {
        let far = float(5.0, 300.0);
        near(&reached(&of_two_floats([[0.1, 0.02], [0.02, 0.05]]), [far, far]).unwrap(), [(3.0, 0.0), (3.2, 0.0)]);
    }

    /// By hand: past the stops by e with 2 e0 = 1 + 0.02 x 20 e1 and 2 e1 = 0.5 + 0.02 x 10 e0, so e1 = 0.3 / 0.98, and
    /// e0 = 0.5 + 0.2 e1. A float whose stop is 1 mm away from where it comes to is pushed by 0.2 x 0.5 only and stays free.
    #[test]
    fn ref_stops_that_push_each_other_settle_where_both_are_held() {
        let compliance = [[0.1, -0.02], [-0.02, 0.05]];
        let (e0, e1) = (0.5 + 0.2 * 0.3 / 0.98, 0.3 / 0.98);
        let found = reached(&of_two_floats(compliance), [float(2.0, 10.0), float(2.7, 20.0)]).unwrap();
        near(&found, [(2.0 + 1.001 * e0, 1.001 * e0), (2.7 + 1.001 * e1, 1.001 * e1)]);
        let found = reached(&of_two_floats(compliance), [float(2.0, 10.0), float(4.2, 20.0)]).unwrap();
        near(&found, [(2.0 + 1.001 * 0.5, 1.001 * 0.5), (3.2, 0.0)]);
        // What a stop pushes is counted by how far the other float yields to it, which the order of the two does not change.
        let lopsided = [[0.1, 0.03], [0.01, 0.05]];
        // 2 e0 = 1 + 0.01 x 20 e1, 2 e1 = 0.5 + 0.03 x 10 e0.
        let e0 = (0.5 + 0.1 * 0.25) / (1.0 - 0.1 * 0.15);
        let e1 = 0.25 + 0.15 * e0;
        let found = reached(&of_two_floats(lopsided), [float(2.0, 10.0), float(2.7, 20.0)]).unwrap();
        near(&found, [(2.0 + 1.001 * e0, 1.001 * e0), (2.7 + 1.001 * e1, 1.001 * e1)]);
    }

    /// By hand: two floats alike, each past its stop by 2 e = a + g e. With g near 2 the substitution comes near its limit slowly and
    /// goes far; digits are those of a number of that size. From 2 on there is no limit.
    #[test]
    fn ref_stops_that_drive_each_other_far_have_a_bound_as_long_as_there_is_one() {
        let driven = |g: f64| {
            let mut found = of_two_floats([[0.1, 0.1 * g], [0.1 * g, 0.1]]);
            found.floats.iter_mut().for_each(|f| f.fill(2.0));
            found.float_rows.iter_mut().for_each(|r| r.fill(0.0));
            // 2 mm where nothing stops them: a = 0.28.
            reached(&found, [float(1.72, 10.0); 2])
        };
        for g in [1.5, 1.9, 1.9944] {
            let e = 1.001 * 0.28 / (2.0 - g);
            near(&driven(g).unwrap(), [(1.72 + e, e); 2]);
        }
        assert!(driven(2.0).is_none() && driven(2.5).is_none());
    }
}
