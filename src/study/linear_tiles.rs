//! Many short rows times installations side by side: rows with the same inputs are taken four or eight at a time, so that
//! an input is read once for as many sums that do not wait for each other.

use crate::math::lanes::{LANES, Lane, ZERO, each, multiply_add, part, put};

/// A short row over some inputs: number of the input and factor.
pub(super) type Sparse = Vec<(u32, f64)>;

/// Rows in a small tile and in a large one.
const SMALL: usize = 4;
const LARGE: usize = 8;

/// Some rows: where they go, their inputs, and their factors input by input.
#[derive(Debug, Clone)]
struct Tile<const ROWS: usize> {
    to: [u32; ROWS],
    inputs: Vec<(u32, [f64; ROWS])>,
}

/// Rows by eights where they have the same inputs, by fours where not.
#[derive(Debug, Clone)]
pub(super) struct Tiles {
    large: Vec<Tile<LARGE>>,
    small: Vec<Tile<SMALL>>,
    outputs: usize,
}

impl Tiles {
    /// Puts rows together that share inputs. Rows that fill up the last tile go to places behind the last row.
    pub(super) fn new(rows: &[Sparse]) -> Self {
        let mut left: Vec<usize> = (0..rows.len()).collect();
        left.sort_by_key(|&r| std::cmp::Reverse(rows[r].len()));
        let (mut large, mut small): (Vec<_>, Vec<Tile<SMALL>>) = (Vec::new(), Vec::new());
        while !left.is_empty() {
            let mut of = vec![left.remove(0)];
            while of.len() < SMALL && !left.is_empty() {
                let has = |j: u32| of.iter().any(|&r| rows[r].iter().any(|e| e.0 == j));
                let new = |r: usize| rows[r].iter().filter(|e| !has(e.0)).count();
                let next = (0..left.len()).min_by_key(|&k| (new(left[k]), left[k])).unwrap_or(0);
                of.push(left.remove(next));
            }
            let tile = tile(rows, &of);
            match small.pop_if(|before| before.inputs.iter().map(|i| i.0).eq(tile.inputs.iter().map(|i| i.0))) {
                Some(before) => large.push(joined(&before, &tile)),
                None => small.push(tile),
            }
        }
        let outputs = large.len() * LARGE + small.len() * SMALL;
        Self { large, small, outputs }
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
        for tile in &self.large {
            if 2 * N == LANES { tile.sums::<FUSED, N, 2>(&start, x, to) } else { tile.sums::<FUSED, N, 1>(&start, x, to) }
        }
        for tile in &self.small {
            tile.sums::<FUSED, N, 2>(&start, x, to);
        }
    }
}

impl<const ROWS: usize> Tile<ROWS> {
    /// The sums of `PARTS` times `N` lanes together, until all are done.
    #[inline(always)]
    fn sums<'s, const FUSED: bool, const N: usize, const PARTS: usize>(
        &self,
        start: &impl Fn(u32) -> &'s Lane,
        x: &[Lane],
        to: &mut [Lane],
    ) {
        for first in (0..LANES).step_by(N * PARTS) {
            let at = |p: usize| first + N * p;
            let mut sums = [[[0.0; N]; ROWS]; PARTS];
            for (p, sums) in sums.iter_mut().enumerate() {
                for (sum, row) in sums.iter_mut().zip(&self.to) {
                    *sum = part(start(*row), at(p));
                }
            }
            for (j, factors) in &self.inputs {
                let x = &x[*j as usize];
                for (p, sums) in sums.iter_mut().enumerate() {
                    add_input::<FUSED, N, ROWS>(sums, factors, part(x, at(p)));
                }
            }
            for (p, sums) in sums.iter().enumerate() {
                for (row, sum) in self.to.iter().zip(sums) {
                    put(&mut to[*row as usize], at(p), *sum);
                }
            }
        }
    }
}

fn tile(rows: &[Sparse], of: &[usize]) -> Tile<SMALL> {
    let mut inputs: Vec<(u32, [f64; SMALL])> = Vec::new();
    for (q, &r) in of.iter().enumerate() {
        for &(j, factor) in &rows[r] {
            let at = inputs.iter().position(|i| i.0 == j).unwrap_or_else(|| {
                inputs.push((j, [0.0; SMALL]));
                inputs.len() - 1
            });
            inputs[at].1[q] += factor;
        }
    }
    inputs.sort_by_key(|i| i.0);
    // Only the last tile is not full: its filling goes behind the last row.
    Tile { to: std::array::from_fn(|q| of.get(q).map_or(rows.len() + q - of.len(), |&r| r) as u32), inputs }
}

/// Two small tiles with the same inputs.
fn joined(one: &Tile<SMALL>, other: &Tile<SMALL>) -> Tile<LARGE> {
    let inputs = one.inputs.iter().zip(&other.inputs);
    Tile {
        to: std::array::from_fn(|q| if q < SMALL { one.to[q] } else { other.to[q - SMALL] }),
        inputs: inputs.map(|(a, b)| (a.0, std::array::from_fn(|q| if q < SMALL { a.1[q] } else { b.1[q - SMALL] }))).collect(),
    }
}

#[inline(always)]
fn add_input<const FUSED: bool, const N: usize, const ROWS: usize>(sums: &mut [[f64; N]; ROWS], factors: &[f64; ROWS], x: [f64; N]) {
    for (sum, factor) in sums.iter_mut().zip(factors) {
        *sum = each(|i| multiply_add::<FUSED>(x[i], *factor, sum[i]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_tiles_give_what_the_rows_give() {
        let rows: Vec<Sparse> =
            vec![vec![(0, 1.0), (3, -2.0)], vec![(1, 0.5)], vec![], vec![(3, 1.0), (0, 2.0)], vec![(2, 4.0), (2, 1.0)], vec![(3, 1.0)]];
        let x: Vec<Lane> = (0..4).map(|j| Lane(std::array::from_fn(|i| (3 * j + i) as f64 - 4.5))).collect();
        let start: Vec<Lane> = (0..8).map(|r| Lane([f64::from(r); LANES])).collect();
        let tiles = Tiles::new(&rows);
        let (mut plain, mut from, mut fused) = (Vec::new(), Vec::new(), Vec::new());
        tiles.product::<false, 4>(&x, &mut plain);
        tiles.product_from::<false, 8>(&start, &x, &mut from);
        tiles.product::<true, 8>(&x, &mut fused);
        for (r, row) in rows.iter().enumerate() {
            for i in 0..LANES {
                let expected: f64 = row.iter().map(|(j, f)| f * x[*j as usize][i]).sum();
                assert!((plain[r][i] - expected).abs() < 1e-12 && (fused[r][i] - expected).abs() < 1e-12);
                assert!((from[r][i] - expected - r as f64).abs() < 1e-12);
            }
        }
    }
}
