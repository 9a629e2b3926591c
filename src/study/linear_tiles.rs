//! Many short rows times eight installations side by side: rows with the same inputs are taken four at a time, so that an
//! input is read once for four sums that do not wait for each other.

use crate::math::lanes::{LANES, Lane, ZERO, multiply_add};

/// A short row over some inputs: number of the input and factor.
pub(super) type Sparse = Vec<(u32, f64)>;

/// Rows in a tile.
const TILE: usize = 4;

/// Four rows: where they go, their inputs, and four factors an input.
#[derive(Debug, Clone)]
struct Tile {
    to: [u32; TILE],
    inputs: Vec<(u32, [f64; TILE])>,
}

/// Rows by fours.
#[derive(Debug, Clone)]
pub(super) struct Tiles {
    tiles: Vec<Tile>,
    outputs: usize,
}

impl Tiles {
    /// Puts rows together that share inputs. Rows that fill up the last tile go to places behind the last row.
    pub(super) fn new(rows: &[Sparse]) -> Self {
        let mut left: Vec<usize> = (0..rows.len()).collect();
        left.sort_by_key(|&r| std::cmp::Reverse(rows[r].len()));
        let mut tiles = Vec::new();
        while !left.is_empty() {
            let mut of = vec![left.remove(0)];
            while of.len() < TILE && !left.is_empty() {
                let has = |j: u32| of.iter().any(|&r| rows[r].iter().any(|e| e.0 == j));
                let new = |r: usize| rows[r].iter().filter(|e| !has(e.0)).count();
                let next = (0..left.len()).min_by_key(|&k| (new(left[k]), left[k])).unwrap_or(0);
                of.push(left.remove(next));
            }
            tiles.push(tile(rows, &of));
        }
        let outputs = tiles.len() * TILE;
        Self { tiles, outputs }
    }

    /// `to` = rows x inputs.
    #[inline(always)]
    pub(super) fn product<const FUSED: bool, const N: usize>(&self, x: &[Lane], to: &mut Vec<Lane>) {
        self.sums::<FUSED, N>(|_| [ZERO; TILE], x, to);
    }

    /// `to` = `start` + rows x inputs.
    #[inline(always)]
    pub(super) fn product_from<const FUSED: bool, const N: usize>(&self, start: &[Lane], x: &[Lane], to: &mut Vec<Lane>) {
        self.sums::<FUSED, N>(|tile| tile.to.map(|r| start[r as usize]), x, to);
    }

    /// `N` lanes are one instruction's. Where that is all of them, four sums would wait for each other: two tiles go side by side.
    /// Every sum is taken in the order of its inputs: the same bits either way.
    #[inline(always)]
    fn sums<const FUSED: bool, const N: usize>(&self, start: impl Fn(&Tile) -> [Lane; TILE], x: &[Lane], to: &mut Vec<Lane>) {
        to.resize(self.outputs, ZERO);
        let (pairs, single) = if N == LANES { self.tiles.as_chunks::<2>() } else { (&[][..], &self.tiles[..]) };
        for [one, other] in pairs {
            let (mut sums, mut others) = (start(one), start(other));
            let both = one.inputs.len().min(other.inputs.len());
            for (input, of_other) in one.inputs[..both].iter().zip(&other.inputs[..both]) {
                add_input::<FUSED>(&mut sums, input, x);
                add_input::<FUSED>(&mut others, of_other, x);
            }
            one.finish::<FUSED>(sums, both, x, to);
            other.finish::<FUSED>(others, both, x, to);
        }
        for tile in single {
            tile.finish::<FUSED>(start(tile), 0, x, to);
        }
    }
}

fn tile(rows: &[Sparse], of: &[usize]) -> Tile {
    let mut inputs: Vec<(u32, [f64; TILE])> = Vec::new();
    for (q, &r) in of.iter().enumerate() {
        for &(j, factor) in &rows[r] {
            let at = inputs.iter().position(|i| i.0 == j).unwrap_or_else(|| {
                inputs.push((j, [0.0; TILE]));
                inputs.len() - 1
            });
            inputs[at].1[q] += factor;
        }
    }
    // Only the last tile is not full: its filling goes behind the last row.
    Tile { to: std::array::from_fn(|q| of.get(q).map_or(rows.len() + q - of.len(), |&r| r) as u32), inputs }
}

impl Tile {
    /// Adds the inputs from `done` on and writes the sums.
    #[inline(always)]
    fn finish<const FUSED: bool>(&self, mut sums: [Lane; TILE], done: usize, x: &[Lane], to: &mut [Lane]) {
        for input in &self.inputs[done..] {
            add_input::<FUSED>(&mut sums, input, x);
        }
        for (r, sum) in self.to.iter().zip(sums) {
            to[*r as usize] = sum;
        }
    }
}

#[inline(always)]
fn add_input<const FUSED: bool>(sums: &mut [Lane; TILE], (j, factors): &(u32, [f64; TILE]), x: &[Lane]) {
    let x = &x[*j as usize];
    for (sum, factor) in sums.iter_mut().zip(factors) {
        *sum = std::array::from_fn(|i| multiply_add::<FUSED>(x[i], *factor, sum[i]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_tiles_give_what_the_rows_give() {
        let rows: Vec<Sparse> =
            vec![vec![(0, 1.0), (3, -2.0)], vec![(1, 0.5)], vec![], vec![(3, 1.0), (0, 2.0)], vec![(2, 4.0), (2, 1.0)], vec![(3, 1.0)]];
        let x: Vec<Lane> = (0..4).map(|j| std::array::from_fn(|i| (3 * j + i) as f64 - 4.5)).collect();
        let start: Vec<Lane> = (0..8).map(|r| [f64::from(r); LANES]).collect();
        let tiles = Tiles::new(&rows);
        let (mut plain, mut from, mut fused) = (Vec::new(), Vec::new(), Vec::new());
        tiles.product::<false, 4>(&x, &mut plain);
        tiles.product_from::<false, LANES>(&start, &x, &mut from);
        tiles.product::<true, LANES>(&x, &mut fused);
        for (r, row) in rows.iter().enumerate() {
            for i in 0..LANES {
                let expected: f64 = row.iter().map(|(j, f)| f * x[*j as usize][i]).sum();
                assert!((plain[r][i] - expected).abs() < 1e-12 && (fused[r][i] - expected).abs() < 1e-12);
                assert!((from[r][i] - expected - r as f64).abs() < 1e-12);
            }
        }
    }
}
