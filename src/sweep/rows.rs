//! Rows of the map as they come from asking the machine, freed of what need not be counted.

use super::extremes::Reach;
use super::tiles::Sparse;

/// Values that a rail takes at a place: lateral, vertical, roll, each with its slope.
pub(crate) const RAIL: usize = 6;
/// Freedoms of the trucks: row j of the rows over forces is the motion that answers to force j.
pub(super) const OWN: usize = 10;

/// Two rows that differ by less than this part of their largest number are one.
const ALIKE: f64 = 1e-9;

/// Drops from rows over forces what only rounding left.
///
/// Forces of different kinds are compared by those that do the same work on their own freedom.
pub(super) fn without_noise(response: &mut [Sparse], part: f64) {
    let own = |j: usize| response[j].iter().find(|e| e.0 as usize == j).map_or(0.0, |e| e.1);
    let size: [f64; OWN] = std::array::from_fn(|j| if own(j) > 0.0 { own(j).sqrt().recip() } else { 1.0 });
    for row in response {
        let largest = row.iter().fold(0.0, |most: f64, &(j, v)| most.max(v.abs() * size[j as usize]));
        row.retain(|&(j, v)| v.abs() * size[j as usize] > part * largest);
    }
}

/// Rows that are counted, and for every row its place among them, or that of the one that stands for it, and with which sign.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Kept {
    pub(crate) rows: Vec<usize>,
    pub(crate) at: Vec<(usize, f64)>,
}

impl Kept {
    /// What is read from a row, with its sign: |-x + c| = |x - c|.
    pub(crate) fn reach(&self, row: usize, size: f64, [low, high]: [f64; 2]) -> Reach {
        let (row, sign) = self.at[row];
        Reach::new(row, size, if sign < 0.0 { [-high, -low] } else { [low, high] })
    }
}

/// Finds rows that are others or their negative, over forces and over numbers: what one joint of a free bridge pulls, another
/// holds.
pub(crate) fn mirrored(response: &[Sparse], made: &[Sparse]) -> Kept {
    let mut kept = Kept { rows: Vec::new(), at: Vec::new() };
    for r in 0..response.len() {
        let is = |other: usize, sign: f64| same(&response[r], &response[other], sign) && same(&made[r], &made[other], sign);
        let of = |(k, &other): (usize, &usize)| [1.0, -1.0].into_iter().find(|sign| is(other, *sign)).map(|sign| (k, sign));
        let found = kept.rows.iter().enumerate().find_map(of);
        kept.at.push(found.unwrap_or((kept.rows.len(), 1.0)));
        if found.is_none() {
            kept.rows.push(r);
        }
    }
    kept
}

/// Whether two rows are the same, or each other's negative.
fn same(a: &Sparse, b: &Sparse, sign: f64) -> bool {
    let largest = a.iter().chain(b).fold(0.0, |most: f64, e| most.max(e.1.abs()));
    let value = |row: &Sparse, j: u32| row.iter().find(|e| e.0 == j).map_or(0.0, |e| e.1);
    a.iter().chain(b).all(|&(j, _)| (value(a, j) - sign * value(b, j)).abs() <= ALIKE * largest)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten own rows of two kinds of forces: a number of a moment is smaller by 1e6 without being noise.
    #[test]
    fn check_noise_is_dropped_and_small_numbers_stay() {
        let mut rows: Vec<Sparse> = (0..10).map(|j| vec![(j, if j < 5 { 1e-6 } else { 1e-12 })]).collect();
        rows.push(vec![(0, 1e-3), (1, 1e-18), (7, 1e-9), (8, 1e-21)]);
        without_noise(&mut rows, 1e-12);
        assert_eq!(rows[10], [(0, 1e-3), (7, 1e-9)]);
        assert!((0..10).all(|j| rows[j].len() == 1));
    }

    /// Row 1 is row 0, row 2 its negative but not in what was made, row 3 its negative in both, row 4 like none.
    #[test]
    fn check_mirrored_rows_are_kept_once() {
        let response = [1.0, 1.0 + 1e-12, -1.0, -1.0, 2.0].map(|v| vec![(2, v), (4, 3.0 * v)]);
        let made: Vec<Sparse> = (0..5).map(|r| vec![(0, if r == 3 { -5.0 } else { 5.0 })]).collect();
        let kept = mirrored(&response, &made);
        assert_eq!(kept.rows, [0, 2, 4]);
        assert_eq!(kept.at, [(0, 1.0), (0, 1.0), (1, 1.0), (0, -1.0), (2, 1.0)]);
        assert_eq!(kept.reach(3, 2.0, [-1.0, 4.0]), Reach::new(0, 2.0, [-4.0, 1.0]));
    }
}
