//! The set of mode amplitudes whose profile stays inside a band of unit width, and its support function: how far a
//! linear quantity can go while the profile stays in its zone.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};
use nalgebra::{DMatrix, DVector};

use super::products::{add_multiple, largest};

/// Amplitudes `a` (and an offset c) with `0 <= G a + c <= 1` on every grid row of G.
#[derive(Debug, Clone)]
pub struct Band {
    /// Rows of the constraints `A z <= b` in z = (a, c): the grid rows, then their negatives.
    rows: Vec<Vec<f64>>,
    /// The same coordinate by coordinate.
    coordinates: Vec<Vec<f64>>,
    dimension: usize,
}

/// Corners that earlier searches ended in: the best of them is a good place to start the next one, and often its answer.
#[derive(Debug, Clone, Default)]
pub struct Corners {
    /// Coordinate by coordinate over all corners: thousands are looked through for every search.
    coordinates: Vec<Vec<f64>>,
    active: Vec<Vec<usize>>,
    /// What makes multipliers of the active rows out of an objective, of whole corners.
    by_objective: Vec<Option<DMatrix<f64>>>,
    /// How far each lies along an objective: working memory.
    along: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq)]
struct Corner {
    point: Vec<f64>,
    active: Vec<usize>,
}

/// A rest of an objective that is less than this part of it is none.
const SAME: f64 = 1e-11;

/// Most corners that are remembered.
const MOST_KNOWN: usize = 4096;

impl Corners {
    /// Which corner is farthest along an objective.
    fn farthest(&mut self, objective: &[f64]) -> Option<usize> {
        self.along.clear();
        self.along.resize(self.active.len(), 0.0);
        self.coordinates.iter().zip(objective).for_each(|(x, factor)| add_multiple(&mut self.along, x, *factor));
        largest(&self.along)
    }

    fn at(&self, k: usize) -> Corner {
        Corner { point: self.coordinates.iter().map(|x| x[k]).collect(), active: self.active[k].clone() }
    }

    fn keep(&mut self, corner: Corner, by_objective: Option<DMatrix<f64>>) {
        self.by_objective.push(by_objective);
        self.coordinates.resize(corner.point.len(), Vec::new());
        self.coordinates.iter_mut().zip(corner.point).for_each(|(x, value)| x.push(value));
        self.active.push(corner.active);
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl Band {
    /// The band of a grid matrix: one row a grid point, one column a mode. Columns must be independent.
    #[must_use]
    pub fn new(grid: &DMatrix<f64>) -> Self {
        let dimension = grid.ncols() + 1;
        let up = grid.row_iter().map(|r| r.iter().copied().chain([1.0]).collect::<Vec<f64>>());
        let down = grid.row_iter().map(|r| r.iter().map(|v| -v).chain([-1.0]).collect::<Vec<f64>>());
        let rows: Vec<Vec<f64>> = up.chain(down).collect();
        let coordinates = (0..dimension).map(|j| rows.iter().map(|row| row[j]).collect()).collect();
        Self { rows, coordinates, dimension }
    }

    fn limit(&self, i: usize) -> f64 {
        if i < self.rows.len() / 2 { 1.0 } else { 0.0 }
    }

    /// Amplitudes that make `objective . a` greatest, and that greatest value.
    ///
    /// Active-set linear programming: along the objective projected on the active rows' null space until a row blocks;
    /// where it cannot move, the first active row with a multiplier of the wrong sign is let go (Bland's rule, so it ends).
    /// Started from the best known corner, then from the middle; where rounding spoils both (neighbouring rows are nearly
    /// alike), a general solver does it. Returns `None` if that fails too.
    #[must_use]
    pub fn support(&self, objective: &[f64], corners: &mut Corners) -> Option<(f64, Vec<f64>)> {
        let known = corners.farthest(objective);
        let best = known.map(|k| corners.at(k));
        if let (Some(k), Some(corner)) = (known, &best)
            && self.is_farthest(objective, corner, corners.by_objective[k].as_ref())
        {
            let amplitudes = corner.point[..objective.len()].to_vec();
            return Some((dot(objective, &amplitudes), amplitudes));
        }
        let steps = best.as_ref().map(|c| c.active.clone());
        let middle = || {
            let mut point = vec![0.0; self.dimension];
            point[self.dimension - 1] = 0.5;
            Corner { point, active: Vec::new() }
        };
        for mut corner in best.into_iter().chain([middle()]) {
            if let Some(found) = self.support_from(objective, &mut corner) {
                if steps.as_ref() != Some(&corner.active) && corners.active.len() < MOST_KNOWN {
                    let by_objective = self.by_objective(&corner.active);
                    corners.keep(corner, by_objective);
                }
                return Some(found);
            }
        }
        self.support_by_library(objective)
    }

    /// Whether an objective lies plainly between the active rows of a whole corner, so that none is farther along it.
    fn is_farthest(&self, objective: &[f64], corner: &Corner, by_objective: Option<&DMatrix<f64>>) -> bool {
        let Some(matrix) = by_objective else { return false };
        let size = objective.iter().fold(0.0, |most: f64, o| most.max(o.abs()));
        let mut rest = [objective, &[0.0]].concat();
        let mut inside = size > 0.0;
        for (k, &i) in corner.active.iter().enumerate() {
            let multiplier: f64 = objective.iter().enumerate().map(|(j, o)| matrix[(k, j)] * o).sum();
            inside &= multiplier >= 0.0;
            rest.iter_mut().zip(&self.rows[i]).for_each(|(rest, r)| *rest -= multiplier * r);
        }
        inside && rest.iter().all(|r| r.abs() <= SAME * size)
    }

    fn support_by_library(&self, objective: &[f64]) -> Option<(f64, Vec<f64>)> {
        let mut problem = Problem::new(OptimizationDirection::Maximize);
        let anywhere = (f64::NEG_INFINITY, f64::INFINITY);
        let variables: Vec<_> = objective.iter().copied().chain([0.0]).map(|c| problem.add_var(c, anywhere)).collect();
        for (i, row) in self.rows.iter().enumerate() {
            let terms: Vec<_> = variables.iter().copied().zip(row.iter().copied()).collect();
            problem.add_constraint(terms.as_slice(), ComparisonOp::Le, self.limit(i));
        }
        let Ok(SolveOutcome::Solution(solution)) = problem.solve() else { return None };
        let amplitudes: Vec<f64> = variables[..objective.len()].iter().map(|v| solution[*v]).collect();
        Some((dot(objective, &amplitudes), amplitudes))
    }

    fn support_from(&self, objective: &[f64], corner: &mut Corner) -> Option<(f64, Vec<f64>)> {
        let n = self.dimension;
        if n == 1 {
            return Some((0.0, Vec::new()));
        }
        let goal = DVector::from_iterator(n, objective.iter().copied().chain([0.0]));
        let size = goal.amax();
        if size == 0.0 {
            return Some((0.0, vec![0.0; n - 1]));
        }
        for _ in 0..500 {
            let multipliers = self.multipliers(&corner.active, &goal)?;
            let mut rest = goal.clone();
            for (k, &i) in corner.active.iter().enumerate() {
                (0..n).for_each(|j| rest[j] -= multipliers[k] * self.rows[i][j]);
            }
            if corner.active.len() < n && rest.amax() > SAME * size {
                let (step, row) = self.blocking(corner, &rest)?;
                (0..n).for_each(|j| corner.point[j] += step * rest[j]);
                corner.active.push(row);
                continue;
            }
            let wrong = (0..corner.active.len()).filter(|&k| multipliers[k] < -1e-12 * size).min_by_key(|&k| corner.active[k]);
            match wrong {
                Some(k) => {
                    corner.active.swap_remove(k);
                }
                None => {
                    let amplitudes = corner.point[..n - 1].to_vec();
                    return Some((dot(objective, &amplitudes), amplitudes));
                }
            }
        }
        None
    }

    /// Least-squares multipliers of the active rows for the objective.
    fn multipliers(&self, active: &[usize], goal: &DVector<f64>) -> Option<DVector<f64>> {
        if active.is_empty() {
            return Some(DVector::zeros(0));
        }
        // Rows of neighbouring grid points are nearly alike: orthogonal factors, not normal equations.
        let qr = self.columns(active).qr();
        let right = qr.q().transpose() * goal;
        qr.r().solve_upper_triangular(&right).filter(|x| x.iter().all(|v| v.is_finite()))
    }

    /// What makes those multipliers out of any objective, where the active rows make a whole corner.
    fn by_objective(&self, active: &[usize]) -> Option<DMatrix<f64>> {
        if active.len() < self.dimension {
            return None;
        }
        let qr = self.columns(active).qr();
        qr.r().solve_upper_triangular(&qr.q().transpose()).filter(|x| x.iter().all(|v| v.is_finite()))
    }

    /// Active rows, one a column.
    fn columns(&self, active: &[usize]) -> DMatrix<f64> {
        DMatrix::from_fn(self.dimension, active.len(), |j, k| self.rows[active[k]][j])
    }

    /// How far every row goes along a direction.
    fn along(&self, direction: &[f64]) -> Vec<f64> {
        let mut list = vec![0.0; self.rows.len()];
        self.coordinates.iter().zip(direction).for_each(|(x, factor)| add_multiple(&mut list, x, *factor));
        list
    }

    /// First row that blocks a way from the corner, with the step to it.
    fn blocking(&self, corner: &Corner, way: &DVector<f64>) -> Option<(f64, usize)> {
        let mut best: Option<(f64, usize)> = None;
        let least = 1e-12 * way.amax();
        let (rises, values) = (self.along(way.as_slice()), self.along(&corner.point));
        for (i, (rise, value)) in rises.into_iter().zip(values).enumerate() {
            if rise > least && !corner.active.contains(&i) {
                let step = ((self.limit(i) - value) / rise).max(0.0);
                if best.is_none_or(|(b, _)| step < b - 1e-15) {
                    best = Some((step, i));
                }
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_one_mode_by_hand() {
        // A mode that runs from -1 to 2 fills the band at amplitude 1/3.
        let band = Band::new(&DMatrix::from_column_slice(3, 1, &[-1.0, 0.5, 2.0]));
        let mut corner = Corners::default();
        let (value, a) = band.support(&[6.0], &mut corner).unwrap();
        assert!((value - 2.0).abs() < 1e-12 && (a[0] - 1.0 / 3.0).abs() < 1e-12);
        let (value, _) = band.support(&[-6.0], &mut corner).unwrap();
        assert!((value - 2.0).abs() < 1e-12, "the band is symmetric: {value}");
    }

    #[test]
    fn check_nothing_random_beats_the_support() {
        let grid = DMatrix::from_fn(40, 4, |i, m| ((m + 2) as f64 * 0.08 * i as f64 + m as f64).sin());
        let band = Band::new(&grid);
        let mut corner = Corners::default();
        let mut state = 3_u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
        };
        for _ in 0..200 {
            let objective: Vec<f64> = (0..4).map(|_| random()).collect();
            let (value, a) = band.support(&objective, &mut corner).unwrap();
            let profile = &grid * DVector::from_column_slice(&a);
            assert!(profile.max() - profile.min() <= 1.0 + 1e-9);
            for _ in 0..200 {
                let b = DVector::from_fn(4, |_, _| random());
                let p = &grid * &b;
                let scaled = objective.iter().zip(b.iter()).map(|(o, b)| o * b).sum::<f64>() / (p.max() - p.min());
                assert!(scaled.abs() <= value + 1e-9);
            }
        }
    }

    #[test]
    fn cross_support_equals_a_general_solver() {
        // Smooth rows, nearly alike from point to point, against microlp on every objective.
        let grid = DMatrix::from_fn(105, 4, |i, m| (std::f64::consts::PI * (m + 1) as f64 * i as f64 / 104.0).cos() / (m + 1) as f64);
        let band = Band::new(&grid);
        let mut corner = Corners::default();
        for k in 0..60 {
            let objective: Vec<f64> = (0..4).map(|m| f64::from((k * 37 + m * 101) % 23 - 11)).collect();
            let (own, _) = band.support(&objective, &mut corner).unwrap();
            let (library, _) = band.support_by_library(&objective).unwrap();
            assert!((own - library).abs() < 1e-7 * (1.0 + library), "{own} against {library}");
        }
    }
}
