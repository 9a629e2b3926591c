//! Many short rows times installations side by side: rows with much the same inputs are taken four or eight at a time, so that
//! an input is read once for as many sums that do not wait for each other.

use super::linear_extremes::Ends;
use crate::math::lanes::{LANES, Lane, ZERO, each, larger, multiply_add, part, put, smaller};

/// A short row over some inputs: number of the input and factor.
pub(super) type Sparse = Vec<(u32, f64)>;

/// Rows in a small tile and in a large one.
const SMALL: usize = 4;
pub(super) const LARGE: usize = 8;

/// Tiles of so many rows, one behind the other: they are read in that order.
#[derive(Debug, Clone)]
struct Run<const ROWS: usize> {
    /// Where the rows of each tile go, and how many inputs it has.
    tiles: Vec<([u32; ROWS], usize)>,
    /// Numbers of the inputs and their factors, tile by tile.
    inputs: Vec<(u32, [f64; ROWS])>,
}

/// Rows by eights where they have much the same inputs, by fours where not.
#[derive(Debug, Clone)]
pub(super) struct Tiles {
    large: Run<LARGE>,
    small: Run<SMALL>,
    outputs: usize,
}

impl Tiles {
    /// Puts rows together that share inputs. Rows that fill up a tile go to places behind the last row.
    pub(super) fn new(rows: &[Sparse]) -> Self {
        let mut left: Vec<usize> = (0..rows.len()).collect();
        left.sort_by_key(|&r| std::cmp::Reverse(rows[r].len()));
        let mut tiles = Self { large: Run::new(), small: Run::new(), outputs: rows.len() + LARGE };
        let mut fours: Vec<Vec<usize>> = Vec::new();
        while !left.is_empty() {
            let mut of = vec![left.remove(0)];
            while of.len() < SMALL {
                let common = |r: usize| rows[r].iter().filter(|e| of.iter().any(|&o| rows[o].iter().any(|f| f.0 == e.0))).count();
                // Inputs that the others do not have, and the first's that it does not have.
                let apart = |r: usize| rows[r].len() + rows[of[0]].len() - 2 * common(r);
                // A row that shares nothing is cheaper in a tile of its own.
                let fits = |k: &usize| common(left[*k]) > 0 || rows[left[*k]].is_empty();
                let Some(next) = (0..left.len()).filter(fits).min_by_key(|&k| (apart(left[k]), left[k])) else { break };
                of.push(left.remove(next));
            }
            let cost = |of: &[usize], filled: usize| (inputs(rows, of).len() + BEGUN) * filled;
            let last = fours.last().map(|before| [&before[..], &of].concat());
            if let (Some(eight), Some(before)) = (last, fours.last())
                && before.len() == SMALL
                && cost(&eight, LARGE) <= cost(before, SMALL) + cost(&of, SMALL)
            {
                fours.pop();
                tiles.large.push(rows, &eight);
            } else {
                fours.push(of);
            }
        }
        fours.iter().for_each(|of| tiles.small.push(rows, of));
        tiles
    }

    /// `to` = rows x inputs.
    #[inline(always)]
    pub(super) fn product<const FUSED: bool, const N: usize>(&self, x: &[Lane], to: &mut Vec<Lane>) {
        self.sums::<FUSED, N>(|_| &ZERO, x, to);
    }

    /// `to` = `start` + rows x inputs.
    #[inline(always)]
    pub(super) fn product_from<const FUSED: bool, const N: usize>(&self, start: &[Lane], x: &[Lane], to: &mut Vec<Lane>) {
        self.sums::<FUSED, N>(|row| &start[row as usize], x, to);
    }

    /// `N` lanes are one instruction's. Two instructions' go together where there are registers enough. Every sum is taken in the
    /// order of its inputs: the same bits either way.
    #[inline(always)]
    fn sums<'s, const FUSED: bool, const N: usize>(&self, start: impl Fn(u32) -> &'s Lane, x: &[Lane], to: &mut Vec<Lane>) {
        to.resize(self.outputs, ZERO);
        if 2 * N == LANES {
            self.large.write::<FUSED, N, 2>(&start, x, to)
        } else {
            self.large.write::<FUSED, N, 1>(&start, x, to)
        }
        self.small.write::<FUSED, N, 2>(&start, x, to);
    }

    /// Least and largest of all rows, of which there are whole large tiles with the same inputs.
    #[inline(always)]
    pub(super) fn ends<const FUSED: bool, const N: usize>(&self, x: &[Lane]) -> Ends {
        let mut ends = Ends::NONE;
        if 2 * N == LANES {
            self.large.ends::<FUSED, N, 2>(x, &mut ends)
        } else {
            self.large.ends::<FUSED, N, 1>(x, &mut ends)
        }
        ends
    }
}

/// What it costs to begin and to end a tile, as a number of inputs.
const BEGUN: usize = 3;

/// Inputs of some rows, in order.
fn inputs(rows: &[Sparse], of: &[usize]) -> Vec<u32> {
    let mut list: Vec<u32> = of.iter().flat_map(|&r| rows[r].iter().map(|e| e.0)).collect();
    list.sort_unstable();
    list.dedup();
    list
}

impl<const ROWS: usize> Run<ROWS> {
    const fn new() -> Self {
        Self { tiles: Vec::new(), inputs: Vec::new() }
    }

    fn push(&mut self, rows: &[Sparse], of: &[usize]) {
        let inputs = inputs(rows, of);
        let factor = |r: usize, j: u32| rows[r].iter().filter(|e| e.0 == j).map(|e| e.1).sum::<f64>();
        let row = |q: usize| of.get(q).map_or(rows.len() + q - of.len(), |&r| r) as u32;
        self.tiles.push((std::array::from_fn(row), inputs.len()));
        let factors = |j: u32| std::array::from_fn(|q| of.get(q).map_or(0.0, |&r| factor(r, j)));
        self.inputs.extend(inputs.iter().map(|&j| (j, factors(j))));
    }

    #[inline(always)]
    fn write<'s, const FUSED: bool, const N: usize, const PARTS: usize>(
        &self,
        start: &impl Fn(u32) -> &'s Lane,
        x: &[Lane],
        to: &mut [Lane],
    ) {
        let mut left = &self.inputs[..];
        for (rows, count) in &self.tiles {
            let (inputs, later) = left.split_at(*count);
            for first in (0..LANES).step_by(N * PARTS) {
                let mut sums = [[[0.0; N]; ROWS]; PARTS];
                for (p, sums) in sums.iter_mut().enumerate() {
                    for (sum, row) in sums.iter_mut().zip(rows) {
                        *sum = part(start(*row), first + N * p);
                    }
                }
                for (p, sums) in sums_of::<FUSED, N, ROWS, PARTS>(inputs, sums, x, first).iter().enumerate() {
                    for (row, sum) in rows.iter().zip(sums) {
                        put(&mut to[*row as usize], first + N * p, *sum);
                    }
                }
            }
            left = later;
        }
    }
}

impl Run<LARGE> {
    #[inline(always)]
    fn ends<const FUSED: bool, const N: usize, const PARTS: usize>(&self, x: &[Lane], ends: &mut Ends) {
        for first in (0..LANES).step_by(N * PARTS) {
            let mut low: [[f64; N]; PARTS] = std::array::from_fn(|p| part(&ends.least, first + N * p));
            let mut high: [[f64; N]; PARTS] = std::array::from_fn(|p| part(&ends.most, first + N * p));
            let mut left = &self.inputs[..];
            for (_, count) in &self.tiles {
                let (inputs, later) = left.split_at(*count);
                let sums = sums_of::<FUSED, N, LARGE, PARTS>(inputs, [[[0.0; N]; LARGE]; PARTS], x, first);
                for (p, [a, b, c, d, e, f, g, h]) in sums.into_iter().enumerate() {
                    // By halves, so that few wait for each other.
                    let least = smaller(smaller(smaller(a, b), smaller(c, d)), smaller(smaller(e, f), smaller(g, h)));
                    let most = larger(larger(larger(a, b), larger(c, d)), larger(larger(e, f), larger(g, h)));
                    (low[p], high[p]) = (smaller(low[p], least), larger(high[p], most));
                }
                left = later;
            }
            for p in 0..PARTS {
                put(&mut ends.least, first + N * p, low[p]);
                put(&mut ends.most, first + N * p, high[p]);
            }
        }
    }
}

/// Goes on with the sums of a tile's rows, `PARTS` times `N` lanes together.
#[inline(always)]
fn sums_of<const FUSED: bool, const N: usize, const ROWS: usize, const PARTS: usize>(
    inputs: &[(u32, [f64; ROWS])],
    mut sums: [[[f64; N]; ROWS]; PARTS],
    x: &[Lane],
    first: usize,
) -> [[[f64; N]; ROWS]; PARTS] {
    for (j, factors) in inputs {
        let x = &x[*j as usize];
        for (p, sums) in sums.iter_mut().enumerate() {
            let x: [f64; N] = part(x, first + N * p);
            for (sum, factor) in sums.iter_mut().zip(factors) {
                *sum = each(|i| multiply_add::<FUSED, _>(x[i], *factor, sum[i]));
            }
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows() -> Vec<Sparse> {
        let few: Vec<Sparse> =
            vec![vec![(0, 1.0), (3, -2.0)], vec![(1, 0.5)], vec![], vec![(3, 1.0), (0, 2.0)], vec![(2, 4.0), (2, 1.0)], vec![(3, 1.0)]];
        let many = (0..17).map(|r| (0..4).map(|j| (j, f64::from(r) - 2.0 * f64::from(j))).collect());
        few.into_iter().chain(many).collect()
    }

    fn inputs() -> [[f64; LANES]; 4] {
        std::array::from_fn(|j| std::array::from_fn(|i| (3 * j + i) as f64 - 4.5))
    }

    #[test]
    fn check_tiles_give_what_the_rows_give() {
        let (rows, x) = (rows(), inputs());
        let start = |r: usize| r as f64;
        let tiles = Tiles::new(&rows);
        // Seventeen full rows: two large tiles, and one row beside others.
        assert_eq!((tiles.large.tiles.len(), tiles.outputs), (2, rows.len() + LARGE));
        assert!(!tiles.small.tiles.is_empty());
        let doubles = x.map(Lane);
        let starts: Vec<Lane> = (0..rows.len() + LARGE).map(|r| Lane([start(r); LANES])).collect();
        let (mut plain, mut from, mut fused) = (Vec::new(), Vec::new(), Vec::new());
        tiles.product::<false, 4>(&doubles, &mut plain);
        tiles.product_from::<false, 8>(&starts, &doubles, &mut from);
        tiles.product::<true, 8>(&doubles, &mut fused);
        for (r, row) in rows.iter().enumerate() {
            for i in 0..LANES {
                let expected: f64 = row.iter().map(|(j, f)| f * x[*j as usize][i]).sum();
                assert!((plain[r][i] - expected).abs() < 1e-12 && (fused[r][i] - expected).abs() < 1e-12);
                assert!((from[r][i] - expected - start(r)).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn check_ends_are_those_of_the_rows() {
        let rows = rows()[6..22].to_vec();
        let tiles = Tiles::new(&rows);
        let ends = [tiles.ends::<false, 4>(&inputs().map(Lane)), tiles.ends::<true, 8>(&inputs().map(Lane))];
        for i in 0..LANES {
            let x = inputs().map(|x| x[i]);
            let values = rows.iter().map(|row| row.iter().map(|(j, f)| f * x[*j as usize]).sum::<f64>());
            let [low, high] = values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)]);
            assert!(ends.iter().all(|e| e.least[i] == low && e.most[i] == high), "{i}: {low} {high} {ends:?}");
        }
    }
}
