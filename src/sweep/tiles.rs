//! Many short rows times installations side by side: rows with much the same inputs are taken up to four or eight at a time, so
//! that an input is read once for as many sums that do not wait for each other.

use crate::math::lanes::{LANES, SINGLE_ZERO, SingleLane, each, larger, multiply_add, part, put, smaller};

/// A short row over some inputs: number of the input and factor.
pub(super) type Sparse = Vec<(u32, f64)>;

/// Rows in the largest tile.
pub(super) const LARGE: usize = 8;

/// Rows of the largest tile that is worth its while: four keep narrow registers busy, two of them to a row; wide ones hold all lanes
/// of a row in one.
fn most_rows() -> usize {
    #[cfg(target_arch = "x86_64")]
    if std::is_x86_feature_detected!("avx512f") {
        return LARGE;
    }
    4
}

/// Tiles of so many rows, one behind the other: they are read in that order.
#[derive(Debug, Clone)]
pub(crate) struct Run<const ROWS: usize> {
    /// Where the rows of each tile go, and how many inputs it has.
    tiles: Vec<([u32; ROWS], usize)>,
    /// Numbers of the inputs and their factors, tile by tile.
    inputs: Vec<(u32, [f32; ROWS])>,
}

/// Rows by eights, sixes, fours and twos, as they have inputs in common.
#[derive(Debug, Clone)]
pub(super) struct Tiles {
    eight: Run<LARGE>,
    six: Run<6>,
    four: Run<4>,
    two: Run<2>,
    outputs: usize,
}

/// What a tile costs, as a number of products: few rows wait for their own sums, and every row is begun and ended.
const fn cost(rows: usize, inputs: usize) -> usize {
    let rows = rows.next_multiple_of(2);
    (if rows > 4 { rows } else { 4 }) * inputs + 2 * rows + 10
}

impl Tiles {
    pub(crate) fn new(rows: &[Sparse]) -> Self {
        Self::grouped(rows, &Self::groups(rows))
    }

    /// Puts rows together as long as that costs less.
    pub(crate) fn groups(rows: &[Sparse]) -> Vec<Vec<usize>> {
        Self::groups_up_to(most_rows(), rows)
    }

    fn groups_up_to(most_rows: usize, rows: &[Sparse]) -> Vec<Vec<usize>> {
        let mut groups: Vec<(Vec<usize>, Vec<u32>)> = (0..rows.len()).map(|r| (vec![r], inputs(rows, &[r]))).collect();
        loop {
            let together = |a: usize, b: usize| {
                let ((of, inputs), (others, theirs)) = (&groups[a], &groups[b]);
                let all = inputs.len() + theirs.len() - common(inputs, theirs);
                let apart = cost(of.len(), inputs.len()) + cost(others.len(), theirs.len());
                let fits = of.len() + others.len() <= most_rows;
                fits.then(|| apart.saturating_sub(cost(of.len() + others.len(), all))).filter(|gain| *gain > 0)
            };
            let pairs = (0..groups.len()).flat_map(|a| (a + 1..groups.len()).map(move |b| (a, b)));
            let gains = pairs.filter_map(|(a, b)| Some((together(a, b)?, std::cmp::Reverse((a, b)))));
            let Some((_, std::cmp::Reverse((a, b)))) = gains.max() else { break };
            let (others, _) = groups.remove(b);
            groups[a].0.extend(others);
            groups[a].1 = inputs(rows, &groups[a].0);
        }
        groups.into_iter().map(|(of, _)| of).collect()
    }

    /// Tiles of rows that are put together already. Rows that fill up a tile go to places behind the last row.
    pub(crate) fn grouped(rows: &[Sparse], groups: &[Vec<usize>]) -> Self {
        let mut tiles = Self { eight: Run::new(), six: Run::new(), four: Run::new(), two: Run::new(), outputs: rows.len() + LARGE };
        for of in groups {
            match of.len() {
                1 | 2 => tiles.two.push(rows, of),
                3 | 4 => tiles.four.push(rows, of),
                5 | 6 => tiles.six.push(rows, of),
                _ => tiles.eight.push(rows, of),
            }
        }
        tiles
    }

    /// `to` = rows x inputs.
    #[inline(always)]
    pub(crate) fn product<const FUSED: bool, const S: usize>(&self, x: &[SingleLane], to: &mut Vec<SingleLane>) {
        self.sums::<FUSED, S>(|_| &SINGLE_ZERO, x, to);
    }

    /// `to` = `start` + rows x inputs.
    #[inline(always)]
    pub(super) fn product_from<const FUSED: bool, const S: usize>(&self, start: &[SingleLane], x: &[SingleLane], to: &mut Vec<SingleLane>) {
        self.sums::<FUSED, S>(|row| &start[row as usize], x, to);
    }

    /// `S` lanes are one instruction's. Several instructions' go together where there are registers enough. Every sum is taken in the
    /// order of its inputs: the same bits either way.
    #[inline(always)]
    fn sums<'s, const FUSED: bool, const S: usize>(
        &self,
        start: impl Fn(u32) -> &'s SingleLane,
        x: &[SingleLane],
        to: &mut Vec<SingleLane>,
    ) {
        to.resize(self.outputs, SINGLE_ZERO);
        if S == LANES {
            self.eight.write::<FUSED, S, 1>(&start, x, to);
            self.six.write::<FUSED, S, 1>(&start, x, to);
            self.four.write::<FUSED, S, 1>(&start, x, to);
            self.two.write::<FUSED, S, 1>(&start, x, to);
        } else {
            self.eight.write::<FUSED, S, 1>(&start, x, to);
            self.six.write::<FUSED, S, 2>(&start, x, to);
            self.four.write::<FUSED, S, 2>(&start, x, to);
            self.two.write::<FUSED, S, 2>(&start, x, to);
        }
    }
}

/// Inputs of some rows, in order.
fn inputs(rows: &[Sparse], of: &[usize]) -> Vec<u32> {
    let mut list: Vec<u32> = of.iter().flat_map(|&r| rows[r].iter().map(|e| e.0)).collect();
    list.sort_unstable();
    list.dedup();
    list
}

/// How many inputs two lists in order have in common.
fn common(mut a: &[u32], mut b: &[u32]) -> usize {
    let mut count = 0;
    while let (Some((x, rest)), Some((y, others))) = (a.split_first(), b.split_first()) {
        count += usize::from(x == y);
        (a, b) = (if x <= y { rest } else { a }, if y <= x { others } else { b });
    }
    count
}

impl<const ROWS: usize> Run<ROWS> {
    const fn new() -> Self {
        Self { tiles: Vec::new(), inputs: Vec::new() }
    }

    fn push(&mut self, rows: &[Sparse], of: &[usize]) {
        let inputs = inputs(rows, of);
        let factor = |r: usize, j: u32| rows[r].iter().filter(|e| e.0 == j).map(|e| e.1).sum::<f64>() as f32;
        let row = |q: usize| of.get(q).map_or(rows.len() + q - of.len(), |&r| r) as u32;
        self.tiles.push((std::array::from_fn(row), inputs.len()));
        let factors = |j: u32| std::array::from_fn(|q| of.get(q).map_or(0.0, |&r| factor(r, j)));
        self.inputs.extend(inputs.iter().map(|&j| (j, factors(j))));
    }

    #[inline(always)]
    fn write<'s, const FUSED: bool, const S: usize, const PARTS: usize>(
        &self,
        start: &impl Fn(u32) -> &'s SingleLane,
        x: &[SingleLane],
        to: &mut [SingleLane],
    ) {
        let mut left = &self.inputs[..];
        for (rows, count) in &self.tiles {
            let (inputs, later) = left.split_at(*count);
            for first in (0..LANES).step_by(S * PARTS) {
                let mut sums = [[[0.0; S]; ROWS]; PARTS];
                for (p, sums) in sums.iter_mut().enumerate() {
                    for (sum, row) in sums.iter_mut().zip(rows) {
                        *sum = part(start(*row), first + S * p);
                    }
                }
                let sums = sums_of::<FUSED, S, ROWS, PARTS>(inputs, sums, x, first);
                for (q, row) in rows.iter().enumerate() {
                    let to = &mut to[*row as usize];
                    for (p, sums) in sums.iter().enumerate() {
                        put(to, first + S * p, sums[q]);
                    }
                }
            }
            left = later;
        }
    }
}

impl Run<LARGE> {
    /// Rows as they stand, the last one again until its tile is full: what fills up must not be an extreme.
    pub(crate) fn of(rows: &[Sparse]) -> Self {
        let full = |of: &[usize]| -> Vec<usize> { (0..LARGE).map(|q| of[q.min(of.len() - 1)]).collect() };
        let mut run = Self::new();
        (0..rows.len()).collect::<Vec<_>>().chunks(LARGE).for_each(|of| run.push(rows, &full(of)));
        run
    }

    /// Least and largest of all rows.
    #[inline(always)]
    pub(crate) fn ends<const FUSED: bool, const S: usize>(&self, x: &[SingleLane]) -> [SingleLane; 2] {
        let [mut least, mut most] = [SINGLE_ZERO; 2];
        for first in (0..LANES).step_by(S) {
            let (mut low, mut high) = ([f32::INFINITY; S], [f32::NEG_INFINITY; S]);
            let mut left = &self.inputs[..];
            for (_, count) in &self.tiles {
                let (inputs, later) = left.split_at(*count);
                let [[a, b, c, d, e, f, g, h]] = sums_of::<FUSED, S, LARGE, 1>(inputs, [[[0.0; S]; LARGE]; 1], x, first);
                // By halves, so that few wait for each other.
                low = smaller(low, smaller(smaller(smaller(a, b), smaller(c, d)), smaller(smaller(e, f), smaller(g, h))));
                high = larger(high, larger(larger(larger(a, b), larger(c, d)), larger(larger(e, f), larger(g, h))));
                left = later;
            }
            put(&mut least, first, low);
            put(&mut most, first, high);
        }
        [least, most]
    }
}

/// Goes on with the sums of a tile's rows, `PARTS` times `S` lanes together. Rows are written out: of a loop over them the compiler
/// gathers a lane of all rows instead of the lanes of each.
#[inline(always)]
fn sums_of<const FUSED: bool, const S: usize, const ROWS: usize, const PARTS: usize>(
    inputs: &[(u32, [f32; ROWS])],
    mut sums: [[[f32; S]; ROWS]; PARTS],
    x: &[SingleLane],
    first: usize,
) -> [[[f32; S]; ROWS]; PARTS] {
    for (j, factors) in inputs {
        let x = &x[*j as usize];
        for (p, sums) in sums.iter_mut().enumerate() {
            let x: [f32; S] = part(x, first + S * p);
            macro_rules! written_out {
                ($($row:literal)*) => {
                    $(if let (Some(sum), Some(factor)) = (sums.get_mut($row), factors.get($row)) {
                        *sum = each(|i| multiply_add::<FUSED, _>(x[i], *factor, sum[i]));
                    })*
                };
            }
            written_out!(0 1 2 3 4 5 6 7);
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::lanes::Lane;

    /// Rows of four inputs each, shared within groups of so many.
    fn rows(groups: [u32; 4]) -> Vec<Sparse> {
        let row = |g: u32, r: u32| (4 * g..4 * g + 4).map(|j| (j, f64::from(r) - 2.0 * f64::from(j))).collect();
        (0..).zip(groups).flat_map(|(g, count)| (0..count).map(move |r| row(g, r))).collect()
    }

    fn inputs() -> [SingleLane; 16] {
        std::array::from_fn(|j| Lane(std::array::from_fn(|i| (3 * j + i) as f32 - 4.5)))
    }

    /// Tiles of each kind, full and with a row less; rows of all sorts, one of them empty, one with an input twice.
    #[test]
    fn check_tiles_give_what_the_rows_give() {
        let x = inputs();
        let odd: Vec<Sparse> = vec![vec![(0, 1.0), (3, -2.0)], vec![(1, 0.5)], vec![], vec![(2, 4.0), (2, 1.0)], vec![(3, 1.0)]];
        let mut kinds = [0; 4];
        for rows in [rows([8, 6, 4, 2]), rows([7, 5, 3, 1]), [odd, rows([17, 0, 0, 0])].concat()] {
            let start = |r: usize| r as f32;
            let tiles = Tiles::grouped(&rows, &Tiles::groups_up_to(LARGE, &rows));
            let counts = [tiles.eight.tiles.len(), tiles.six.tiles.len(), tiles.four.tiles.len(), tiles.two.tiles.len()];
            kinds.iter_mut().zip(counts).for_each(|(all, count)| *all += count);
            let starts: Vec<SingleLane> = (0..rows.len() + LARGE).map(|r| Lane([start(r); LANES])).collect();
            let (mut plain, mut from, mut fused) = (Vec::new(), Vec::new(), Vec::new());
            tiles.product::<false, 8>(&x, &mut plain);
            tiles.product_from::<false, 16>(&starts, &x, &mut from);
            tiles.product::<true, 16>(&x, &mut fused);
            for (r, row) in rows.iter().enumerate() {
                for i in 0..LANES {
                    // Quarters and halves of whole numbers: exact.
                    let expected = row.iter().map(|(j, f)| f * f64::from(x[*j as usize][i])).sum::<f64>() as f32;
                    assert_eq!((plain[r][i], fused[r][i], from[r][i]), (expected, expected, expected + start(r)));
                }
            }
        }
        assert!(kinds.iter().all(|count| *count > 0), "{kinds:?}");
    }

    /// Eight rows that share their inputs stand in one tile, two times four that share none in two.
    #[test]
    fn check_rows_stand_together_as_long_as_that_costs_less() {
        let counts = |groups: [u32; 4]| {
            let rows = rows(groups);
            let tiles = Tiles::grouped(&rows, &Tiles::groups_up_to(LARGE, &rows));
            (tiles.eight.tiles.len(), tiles.four.tiles.len())
        };
        assert_eq!((counts([8, 0, 0, 0]), counts([4, 4, 0, 0])), ((1, 0), (0, 2)));
        let together = cost(8, 11) < cost(4, 10) + cost(4, 10);
        assert!(together && cost(8, 20) > cost(4, 10) + cost(4, 10) && cost(3, 5) == cost(4, 5));
    }

    #[test]
    fn check_ends_are_those_of_the_rows() {
        let rows = rows([13, 0, 0, 0]);
        let tiles = Run::of(&rows);
        let ends = [tiles.ends::<false, 8>(&inputs()), tiles.ends::<true, 16>(&inputs())];
        for i in 0..LANES {
            let x = inputs().map(|x| f64::from(x[i]));
            let values = rows.iter().map(|row| row.iter().map(|(j, f)| f * x[*j as usize]).sum::<f64>() as f32);
            let [low, high] = values.fold([f32::INFINITY, f32::NEG_INFINITY], |[low, high], v| [low.min(v), high.max(v)]);
            assert!(ends.iter().all(|[least, most]| least[i] == low && most[i] == high), "{i}: {low} {high} {ends:?}");
        }
    }
}
