//! What rails do to the trucks, as small numbers from the start.
//!
//! A truck that nothing else holds takes a pose on its rail at which the springs of its blocks carry nothing together: its seat.
//! Rails that are a millimetre off move trucks by a millimetre; loads come from the micrometres between a truck and its seat, and
//! between a rail and its place if it were straight under that seat. Rows that make those differences at once keep their digits in
//! single precision, where differences of motions would lose them.

use nalgebra::{DMatrix, SymmetricEigen};

use super::rows::{OWN, RAIL};
use super::tiles::Sparse;

/// A sum that is less than this part of its terms is rounding.
const ALIKE: f64 = 1e-10;

/// Motions that joints resist with less than this part of what the rails do are free.
const FREE: f64 = 1e-9;

/// By how much of their largest number rows of the joints may miss what the machine says.
const MISSED: f64 = 1e-7;

/// A short row of sums: number of the input, factor, and the size of the terms that the factor is the sum of.
type Sums = Vec<(u32, f64, f64)>;

/// Rows over rail values (place by place lateral, vertical, roll, each with its slope): trucks' freedoms are y, z, rx, ry, rz of both.
#[derive(Debug, Clone)]
pub(crate) struct Seats {
    /// Rail values beside the seat's line.
    beside: Vec<Sums>,
    /// Poses of the trucks less their seats.
    off: Vec<Sums>,
    /// The seats.
    seat: Vec<Sums>,
    /// Forces that make a pose; those that make a pose off the seat, of motions that are resisted.
    by_pose: DMatrix<f64>,
    by_off: DMatrix<f64>,
    /// Pose off the seat by forces.
    off_by_force: DMatrix<f64>,
    /// Motion of each freedom that goes with its kind's force: their product is a unit of work.
    size: [f64; OWN],
}

impl Seats {
    /// From the forces of the rails over their values, the trucks' poses over those forces, and where the values stand (side, x in the
    /// truck). `None` where a truck is not held by its rail.
    pub(crate) fn new(forces: &[Sparse], poses: &[Sparse], places: &[(usize, f64)]) -> Option<Self> {
        let values = RAIL * places.len();
        let [forces, compliance] = [(forces, values), (poses, OWN)].map(|(rows, columns)| dense(rows, columns));
        let line = DMatrix::from_fn(values, OWN, |v, j| of_unit_pose(places[v / RAIL], v % RAIL, j));
        let stiffness = &forces * &line;
        let alone = scaled(&stiffness, &std::array::from_fn(|i| stiffness[(i, i)].sqrt().recip()), |m| m.try_inverse())?;
        let size: [f64; OWN] = std::array::from_fn(|i| alone[(i, i)].sqrt());
        let (seat, seat_terms) = (&alone * &forces, alone.abs() * forces.abs());
        let off_by_force = &compliance - &alone;
        let in_size = size.map(f64::recip);
        Some(Self {
            beside: sums(
                &(DMatrix::identity(values, values) - &line * &seat),
                &(DMatrix::identity(values, values) + line.abs() * &seat_terms),
            ),
            off: sums(&(&compliance * &forces - &seat), &(compliance.abs() * forces.abs() + &seat_terms)),
            seat: sums(&seat, &seat_terms),
            by_pose: scaled(&compliance, &in_size, |m| m.try_inverse())?,
            by_off: scaled(&off_by_force, &in_size, |m| Some(inverse_where_resisted(&m)))?,
            off_by_force,
            size,
        })
    }

    /// The rows of a station over the numbers, from rail values over them: values beside the seats' lines, poses off the seats, seats.
    pub(super) fn of_numbers(&self, values: &[Sparse]) -> Vec<Sparse> {
        [&self.beside, &self.off, &self.seat].into_iter().flatten().map(|row| combined(values, row)).collect()
    }

    /// A row over forces as one over poses: motions.
    pub(super) fn of_pose(&self, row: &Sparse) -> Sparse {
        self.sparse((dense(std::slice::from_ref(row), OWN) * &self.by_pose).iter())
    }

    /// Rows over forces as rows over poses off the seats: forces of the joints, which carry nothing while trucks sit on their seats.
    /// `None` where that is not so.
    pub(super) fn of_off(&self, rows: &[Sparse]) -> Option<Vec<Sparse>> {
        let rows = dense(rows, OWN);
        let of_off = &rows * &self.by_off;
        let most = |rows: &DMatrix<f64>| {
            let columns = rows.column_iter().zip(&self.size);
            columns.map(|(column, size)| column.amax() / size).fold(0.0, f64::max)
        };
        let found = most(&(&of_off * &self.off_by_force - &rows)) <= MISSED * most(&rows);
        found.then(|| of_off.row_iter().map(|row| self.sparse(row.iter())).collect())
    }

    /// Numbers of a row over poses that are not rounding.
    fn sparse<'v>(&self, row: impl Iterator<Item = &'v f64> + Clone) -> Sparse {
        let sizes = || row.clone().zip(&self.size).map(|(v, size)| v.abs() * size);
        let most = sizes().fold(0.0, f64::max);
        (0..).zip(row.clone().zip(sizes())).filter(|(_, (_, size))| *size > ALIKE * most).map(|(j, (v, _))| (j, *v)).collect()
    }
}

/// Rows over numbers, put together as `combination` says; sums that are rounding are dropped.
fn combined(rows: &[Sparse], combination: &Sums) -> Sparse {
    let of_row = |(r, f, size): &(u32, f64, f64)| {
        let (f, size) = (*f, *size);
        rows[*r as usize].iter().map(move |(j, x)| (*j, f * x, size * x.abs()))
    };
    let mut terms: Sums = combination.iter().flat_map(of_row).collect();
    terms.sort_by_key(|(j, ..)| *j);
    let sums = terms.chunk_by(|a, b| a.0 == b.0).map(|same| {
        let (sum, size) = same.iter().fold((0.0, 0.0), |(sum, size), (_, v, terms)| (sum + v, size + terms));
        (same[0].0, if f64::abs(sum) > ALIKE * size { sum } else { 0.0 })
    });
    sums.filter(|(_, sum)| *sum != 0.0).collect()
}

/// What a rail has at a place under a truck that is moved by one in freedom `j`.
fn of_unit_pose((side, x_mm): (usize, f64), value: usize, j: usize) -> f64 {
    if j / 5 != side {
        return 0.0;
    }
    match (value, j % 5) {
        (0, 0) | (2, 1) | (4, 2) | (1, 4) => 1.0,
        (0, 4) => x_mm,
        (2, 3) => -x_mm,
        (3, 3) => -1.0,
        _ => 0.0,
    }
}

/// Scaled on both sides, turned into something inverse, scaled back.
fn scaled(m: &DMatrix<f64>, by: &[f64; OWN], inverse: impl Fn(DMatrix<f64>) -> Option<DMatrix<f64>>) -> Option<DMatrix<f64>> {
    let of = |m: &DMatrix<f64>| DMatrix::from_fn(OWN, OWN, |i, j| by[i] * m[(i, j)] * by[j]);
    inverse(of(m)).map(|m| of(&m)).filter(|m| m.iter().all(|v| v.is_finite()))
}

/// Inverse of a symmetric matrix on the directions in which it does anything.
fn inverse_where_resisted(m: &DMatrix<f64>) -> DMatrix<f64> {
    let SymmetricEigen { eigenvectors, eigenvalues } = SymmetricEigen::new((m + m.transpose()) / 2.0);
    let inverse = eigenvalues.map(|value| if value.abs() > FREE { value.recip() } else { 0.0 });
    &eigenvectors * DMatrix::from_diagonal(&inverse) * eigenvectors.transpose()
}

/// Sparse rows with all their columns.
fn dense(rows: &[Sparse], columns: usize) -> DMatrix<f64> {
    let mut m = DMatrix::zeros(rows.len(), columns);
    rows.iter().enumerate().for_each(|(i, row)| row.iter().for_each(|(j, v)| m[(i, *j as usize)] += v));
    m
}

/// Sums that are not rounding, given the sizes of their terms.
fn sums(sums: &DMatrix<f64>, terms: &DMatrix<f64>) -> Vec<Sums> {
    let all = |i: usize| (0..sums.ncols()).map(move |j| (j as u32, sums[(i, j)], terms[(i, j)]));
    (0..sums.nrows()).map(|i| all(i).filter(|(_, sum, terms)| sum.abs() > ALIKE * terms).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::rows::without_noise;

    /// Two trucks on one block each, tied by a spring from y to y: springs in series. Values: 0 and 6 are the rails' lateral places.
    fn tied(own: f64, between: f64) -> (Vec<Sparse>, Vec<Sparse>, Sparse) {
        // y, z, rx, ry, rz over lateral, vertical, roll values and slopes of the truck's own rail.
        let answers = [(0, 1.0), (2, 1.0), (4, 1.0), (3, -1.0), (1, 1.0)];
        let forces = (0..2_u32).flat_map(|side| answers.map(|(value, sign)| vec![(6 * side + value, sign * own)])).collect();
        // Under a force on one truck's y, with the tie between them.
        let sum = own * (own + 2.0 * between);
        let mut poses: Vec<Sparse> = (0..10).map(|j| vec![(j, own.recip())]).collect();
        (poses[0], poses[5]) = (vec![(0, (own + between) / sum), (5, between / sum)], vec![(0, between / sum), (5, (own + between) / sum)]);
        let pull = vec![(0, -between * own / sum), (5, between * own / sum)];
        without_noise(&mut poses, 1e-12);
        (forces, poses, pull)
    }

    /// Both rails off by the same move the machine and nothing else, exactly; one of them alone pulls by the series of three springs.
    #[test]
    fn ref_springs_in_series_between_the_seats() {
        for between in [1e-3, 1.0, 1e6] {
            let own = 2e4;
            let (forces, poses, pull) = tied(own, between);
            let seats = Seats::new(&forces, &poses, &[(0, 0.0), (1, 0.0)]).unwrap();
            // Number 0 moves both rails, number 1 rail B: one block to a truck, so that the truck always sits on its rail.
            let mut values = vec![Sparse::new(); 12];
            (values[0], values[6]) = (vec![(0, 1.0)], vec![(0, 1.0), (1, 1.0)]);
            let rows = seats.of_numbers(&values);
            assert!(rows[..12].iter().all(Vec::is_empty), "{rows:?}");
            let near = |x: f64, expected: f64| assert!((x - expected).abs() <= 1e-9 * expected.abs(), "{between}: {x} {expected}");
            let force = (1.0 / between + 2.0 / own).recip();
            for (row, sign) in [(12, 1.0), (17, -1.0)] {
                assert_eq!(rows[row].iter().map(|e| e.0).collect::<Vec<_>>(), [1], "{rows:?}");
                near(rows[row][0].1, sign * force / own);
            }
            assert_eq!((&rows[22], &rows[27]), (&vec![(0, 1.0)], &vec![(0, 1.0), (1, 1.0)]));
            let by_off = seats.of_off(std::slice::from_ref(&pull)).unwrap();
            near(by_off[0].iter().map(|(j, f)| f * rows[12 + *j as usize].first().map_or(0.0, |e| e.1)).sum(), force);
            // The middle between the trucks follows their poses by halves.
            let middle = seats.of_pose(&vec![(0, 0.5 / own), (5, 0.5 / own)]);
            assert_eq!(middle.iter().map(|e| e.0).collect::<Vec<_>>(), [0, 5]);
            middle.iter().for_each(|e| near(e.1, 0.5));
        }
    }

    /// A force that trucks on their seats would feel is no row over what they are off; a truck that its rail lets go has no seat.
    #[test]
    fn check_what_has_no_seat_has_no_rows() {
        let (mut forces, poses, _) = tied(2e4, 10.0);
        let seats = Seats::new(&forces, &poses, &[(0, 0.0), (1, 0.0)]).unwrap();
        assert!(seats.of_off(&[vec![(1, 1e-4)]]).is_none());
        forces[3].clear();
        assert!(Seats::new(&forces, &poses, &[(0, 0.0), (1, 0.0)]).is_none());
    }
}
