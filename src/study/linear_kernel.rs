//! The hot loop of a study on springs: eight installations side by side through every station and situation.
//!
//! The compiler makes one version of it for each kind of processor and the program picks one when it runs. No fused
//! multiply-add and no order of summing depends on that choice: the same bits on every one of them.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use multiversion::multiversion;

use super::linear_map::{BlockArms, LinearMap, RAIL, Sparse};
use crate::bearing::row_unloading_load;
use crate::input::plan::{Block, Element};

/// Installations side by side.
pub(super) const LANES: usize = 8;

/// One number of all installations of a batch.
pub(super) type Lane = [f64; LANES];

const ZERO: Lane = [0.0; LANES];

/// What the bearings make of five loads.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weights {
    dynamic: [f64; 5],
    fixed: [f64; 5],
    preload_n: f64,
    unloading_n: f64,
    element: Element,
}

/// Extremes and sums of a batch.
#[derive(Debug, Clone, Default)]
pub(super) struct Sweep {
    /// Scaled numbers, rail values, truck poses, mounts, other rows: working memory.
    numbers: Vec<Lane>,
    rail: Vec<Lane>,
    trucks: Vec<Lane>,
    trucks_made: Vec<Lane>,
    mounts: Vec<Lane>,
    others: Vec<Lane>,
    others_made: Vec<Lane>,
    /// By block.
    pub(super) fatigue: Vec<Lane>,
    pub(super) peak: Vec<Lane>,
    pub(super) peak_static: Vec<Lane>,
    pub(super) pull: Vec<Lane>,
    /// Of the machine.
    pub(super) joint_square: Lane,
    pub(super) tool_square: Lane,
    pub(super) tool_yaw: Lane,
    pub(super) travel_used: Lane,
    pub(super) slot_used: Lane,
    /// Largest equivalent load at each station.
    pub(super) stroke: Vec<Lane>,
}

impl Weights {
    pub(super) fn new(block: &Block) -> Self {
        let [y, z] = block.c_over_direction;
        let [roll, pitch, yaw] = block.c_over_moment_per_mm;
        let [y0, z0] = block.c0_over_direction;
        let [roll0, pitch0, yaw0] = block.c0_over_moment_per_mm;
        Self {
            dynamic: [y, z, roll, pitch, yaw],
            fixed: [y0, z0, roll0, pitch0, yaw0],
            preload_n: block.preload_n,
            unloading_n: row_unloading_load(block),
            element: block.element,
        }
    }
}

#[inline(always)]
fn add_scaled(to: &mut Lane, x: &Lane, factor: f64) {
    for i in 0..LANES {
        to[i] += factor * x[i];
    }
}

#[inline(always)]
fn largest(to: &mut Lane, x: &Lane) {
    for i in 0..LANES {
        to[i] = if x[i] > to[i] { x[i] } else { to[i] };
    }
}

#[inline(always)]
fn sparse(row: &Sparse, x: &[Lane]) -> Lane {
    let mut sum = ZERO;
    for &(j, factor) in row {
        add_scaled(&mut sum, &x[j as usize], factor);
    }
    sum
}

/// Rows of a dense matrix, four at a time: four sums grow side by side, so that none waits for the one before.
#[derive(Debug, Clone, Default)]
pub(super) struct Packed {
    inputs: usize,
    /// By fours of rows, then by input.
    factors: Vec<[f64; 4]>,
}

impl Packed {
    pub(super) fn new(rows: &[Vec<f64>]) -> Self {
        let inputs = rows.first().map_or(0, Vec::len);
        let four = |rows: &[Vec<f64>]| -> Vec<[f64; 4]> {
            (0..inputs).map(|j| std::array::from_fn(|r| rows.get(r).map_or(0.0, |row| row[j]))).collect()
        };
        Self { inputs, factors: rows.chunks(4).flat_map(four).collect() }
    }
}

/// `to` = `start` + rows x inputs.
#[inline(always)]
fn dense(to: &mut Vec<Lane>, start: &[Lane], rows: &Packed, x: &[Lane]) {
    to.clear();
    to.extend_from_slice(start);
    for (four, factors) in to.chunks_mut(4).zip(rows.factors.chunks(rows.inputs.max(1))) {
        let mut sums = [ZERO; 4];
        for (factor, x) in factors.iter().zip(x) {
            for r in 0..4 {
                for i in 0..LANES {
                    sums[r][i] += factor[r] * x[i];
                }
            }
        }
        for (to, sum) in four.iter_mut().zip(&sums) {
            for i in 0..LANES {
                to[i] += sum[i];
            }
        }
    }
}

/// Five loads of a block on its rail, situations apart.
#[inline(always)]
fn block_loads(block: &BlockArms, truck: &[Lane], rail: &[Lane], mounts: &[Lane]) -> [Lane; 5] {
    let (x, b, k) = (block.x_mm, block.lateral_mm, &block.stiffness);
    let r = &rail[block.rail..block.rail + RAIL];
    let mut loads = [ZERO; 5];
    for i in 0..LANES {
        loads[0][i] = mounts[0][i] + k[0] * (truck[0][i] + x * truck[4][i] - r[0][i]);
        loads[1][i] = mounts[1][i] + k[1] * (truck[1][i] + b * (truck[2][i] - r[4][i]) - x * truck[3][i] - r[2][i]);
        loads[2][i] = mounts[2][i] + k[2] * (truck[2][i] - r[4][i]);
        loads[3][i] = mounts[3][i] + k[3] * (truck[3][i] + r[3][i] + b * r[5][i]);
        loads[4][i] = mounts[4][i] + k[4] * (truck[4][i] - r[1][i]);
    }
    loads
}

/// Fatigue of an equivalent load with its preload: P_eff^p.
#[inline(always)]
fn fatigue(w: &Weights, p: &Lane) -> Lane {
    let mut sum = ZERO;
    match w.element {
        Element::Ball => {
            let (pre3, over) = (w.preload_n * w.preload_n * w.preload_n, if w.unloading_n > 0.0 { 1.0 / w.unloading_n } else { 0.0 });
            for i in 0..LANES {
                // (F_pr (P/P_u + 1)^1.5)^3 = F_pr^3 x^4 sqrt(x), x = P/P_u + 1, lies above P^3 below P_u and meets it there.
                let share = p[i] * over;
                let x = if share < 1.0 { share } else { 1.0 } + 1.0;
                let square = x * x;
                let preloaded = pre3 * (square * square) * x.sqrt();
                let free = p[i] * p[i] * p[i];
                sum[i] = if free > preloaded { free } else { preloaded };
            }
        }
        Element::Roller => {
            for i in 0..LANES {
                let loaded = if p[i] > w.unloading_n || w.unloading_n == 0.0 {
                    p[i]
                } else {
                    w.preload_n * (p[i] / w.unloading_n + 1.0).powf(w.element.contact_exponent())
                };
                sum[i] = loaded.powf(w.element.life_exponent());
            }
        }
    }
    sum
}

/// Runs a batch of installations, given by their numbers, through every station and situation.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq", "x86_64+avx2"))]
pub(super) fn sweep(map: &LinearMap, w: &Weights, numbers: &[Lane], out: &mut Sweep) {
    let blocks = map.blocks.len();
    for list in [&mut out.fatigue, &mut out.peak, &mut out.peak_static, &mut out.pull] {
        list.clear();
        list.resize(blocks, ZERO);
    }
    (out.joint_square, out.tool_square, out.tool_yaw, out.travel_used, out.slot_used) = (ZERO, ZERO, ZERO, ZERO, ZERO);
    out.stroke.clear();

    // Profiles: amplitudes to the wanted peak-to-valley.
    out.numbers.clear();
    out.numbers.extend_from_slice(numbers);
    let modes = map.modes_on_grid.ncols();
    for &first in &map.profiles {
        let (mut low, mut high) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
        for point in 0..map.modes_on_grid.nrows() {
            let mut value = ZERO;
            for m in 0..modes {
                add_scaled(&mut value, &numbers[first + m], map.modes_on_grid[(point, m)]);
            }
            for i in 0..LANES {
                low[i] = if value[i] < low[i] { value[i] } else { low[i] };
                high[i] = if value[i] > high[i] { value[i] } else { high[i] };
            }
        }
        for m in 0..modes {
            for i in 0..LANES {
                let has = high[i] - low[i];
                let scale = if has > 0.0 { numbers[first + modes][i] / has } else { 0.0 };
                out.numbers[first + m][i] *= scale;
            }
        }
    }
    let x = &out.numbers;

    // What no station changes.
    for (row, constant, slot) in &map.take_ups {
        let tau = sparse(row, x);
        for i in 0..LANES {
            let used = (tau[i] + constant).abs() / slot;
            out.slot_used[i] = if used > out.slot_used[i] { used } else { out.slot_used[i] };
        }
    }
    out.trucks_made.clear();
    out.trucks_made.extend(map.trucks_made.iter().map(|row| sparse(row, x)));
    out.mounts.clear();
    out.mounts.extend(map.mounts.iter().map(|row| sparse(row, x)));
    out.others_made.clear();
    out.others_made.extend(map.others_made.iter().map(|row| sparse(row, x)));

    let first_float = map.joint_springs + map.tool_rows;
    for station in &map.stations {
        out.rail.clear();
        out.rail.extend(station.rail.iter().map(|row| sparse(row, x)));
        dense(&mut out.trucks, &out.trucks_made, &map.trucks, &out.rail);
        dense(&mut out.others, &out.others_made, &map.others, &out.rail);

        let mut at_station = ZERO;
        for (b, block) in map.blocks.iter().enumerate() {
            let truck = &out.trucks[5 * block.side..5 * block.side + 5];
            let loads = block_loads(block, truck, &out.rail, &out.mounts[5 * b..5 * b + 5]);
            let (mut sum, mut peak, mut peak_static, mut pull) = (ZERO, ZERO, out.peak_static[b], out.pull[b]);
            for s in &map.situations {
                let c = &s.loads[b];
                let (mut p, mut p0) = (ZERO, ZERO);
                for j in 0..5 {
                    for i in 0..LANES {
                        let size = (loads[j][i] + c[j]).abs();
                        p[i] += size * w.dynamic[j];
                        p0[i] += size * w.fixed[j];
                    }
                }
                let mut lift = loads[1];
                for v in &mut lift {
                    *v += c[1];
                }
                largest(&mut pull, &lift);
                largest(&mut peak, &p);
                largest(&mut peak_static, &p0);
                add_scaled(&mut sum, &fatigue(w, &p), s.share);
            }
            add_scaled(&mut out.fatigue[b], &sum, station.share);
            largest(&mut out.peak[b], &peak);
            largest(&mut at_station, &peak);
            out.peak_static[b] = peak_static;
            out.pull[b] = pull;
        }
        out.stroke.push(at_station);

        for s in &map.situations {
            for (joint, range) in map.joints.iter().enumerate() {
                let mut square = [s.drag_square[joint]; LANES];
                for spring in range.clone() {
                    for i in 0..LANES {
                        let force = out.others[spring][i] + s.joints[spring];
                        square[i] += force * force;
                    }
                }
                largest(&mut out.joint_square, &square);
            }
            let tool = &out.others[s.tool_rows..s.tool_rows + 4];
            let (mut square, mut yaw) = (ZERO, ZERO);
            for i in 0..LANES {
                let way = [tool[0][i] + s.tool[0], tool[1][i] + s.tool[1], tool[2][i] + s.tool[2]];
                square[i] = way[0] * way[0] + way[1] * way[1] + way[2] * way[2];
                yaw[i] = (tool[3][i] + s.tool[3]).abs();
            }
            largest(&mut out.tool_square, &square);
            largest(&mut out.tool_yaw, &yaw);
            for (f, travel) in map.travel.iter().enumerate() {
                for i in 0..LANES {
                    let used = (out.others[first_float + f][i] + s.floats[f]).abs() / travel;
                    out.travel_used[i] = if used > out.travel_used[i] { used } else { out.travel_used[i] };
                }
            }
        }
    }
}
