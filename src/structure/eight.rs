//! Contact-level poses of eight installations side by side, by whole Newton steps. What these do not settle is left to the
//! search of [`super::equilibrium`].

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use multiversion::{multiversion, target::target_cfg_f};

use super::contacts::ContactSet;
use super::eight_arrows::{EightArrows, backward, factor, forward};
use super::equilibrium::{Problem, WANTED_RESIDUAL};
use super::kinematics::{end, truck};
use super::mechanism::freedom_scale;
use super::state::State;
use super::state::Yield;
use super::{DOF, Vector24};
use crate::contact::{BlockLoads, EightLoads};
use crate::math::lanes::{EIGHT, EIGHT_ZEROS, EightLane, add_product, add_times, multiply_add, subtract_product};

/// Most whole steps: what needs more is no case for them.
const MOST_STEPS: usize = 8;

/// Steps in which what is unbalanced may rise.
const FREE_STEPS: usize = 3;

/// How a block's support follows a step of the pose: step of s = slope x step of d - rest.
#[derive(Debug, Clone, Copy)]
struct Follow {
    slope: [[EightLane; 3]; 5],
    rest: [EightLane; 3],
}

/// What differs from lane to lane, and working memory.
#[derive(Debug, Clone, Default)]
pub struct Eight {
    load: [EightLane; DOF],
    imposed: Vec<[EightLane; 5]>,
    offsets: Vec<EightLane>,
    pose: [EightLane; DOF],
    yields: Vec<[EightLane; 3]>,
    displacements: Vec<[EightLane; 5]>,
    loads: Vec<EightLoads>,
    plain: [EightLane; DOF],
    gradient: [EightLane; DOF],
    residual: EightLane,
    arrows: Box<EightArrows>,
    follow: Vec<Option<Follow>>,
    /// Steps that each lane took, where it settled.
    settled: [Option<usize>; EIGHT],
}

/// A lane's answer.
#[derive(Debug, Clone)]
pub(super) struct Settled {
    pub(super) state: State,
    pub(super) blocks: Vec<BlockLoads>,
    pub(super) steps: usize,
}

impl Eight {
    /// Settles up to eight problems of one machine, alike but for loads, rails and offsets, from a start each; `None` for those
    /// that whole steps do not settle.
    pub(super) fn settle(&mut self, problems: &[(Problem<'_>, &State)]) -> Vec<Option<Settled>> {
        let Some(((first, _), contacts)) = problems.first().and_then(|p| Some((p, p.0.contacts?))) else { return Vec::new() };
        // Lanes that are not needed repeat the first one.
        let of = |lane: usize| problems.get(lane).unwrap_or(&problems[0]);
        self.load = std::array::from_fn(|i| std::array::from_fn(|lane| of(lane).0.load[i]));
        self.pose = std::array::from_fn(|i| std::array::from_fn(|lane| of(lane).1.pose[i]));
        self.offsets.clear();
        self.offsets.extend((0..first.floats.elements.len()).map(|f| -> EightLane { std::array::from_fn(|l| of(l).0.floats.offsets[f]) }));
        let imposed = |lane: usize, b: usize, i: usize| of(lane).0.contacts.map_or(0.0, |c| c.imposed[b][i]);
        let yielded = |lane: usize, b: usize, i: usize| of(lane).1.yields.get(b).map_or(0.0, |s| s[i]);
        self.imposed.clear();
        self.yields.clear();
        for b in 0..contacts.blocks.len() {
            self.imposed.push(std::array::from_fn(|i| std::array::from_fn(|lane| imposed(lane, b, i))));
            self.yields.push(std::array::from_fn(|i| std::array::from_fn(|lane| yielded(lane, b, i))));
        }
        newton(first, &contacts, self);
        let take = |lane: usize| {
            let yields = self.yields.iter().map(|s| -> Yield { std::array::from_fn(|i| s[i][lane]) }).collect();
            Some(Settled {
                steps: self.settled[lane]?,
                state: State { pose: Vector24::from_fn(|i, _| self.pose[i][lane]), yields },
                blocks: self.loads.iter().map(|b| b.of(lane)).collect(),
            })
        };
        (0..problems.len()).map(take).collect()
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
fn newton(problem: &Problem<'_>, contacts: &ContactSet<'_>, eight: &mut Eight) {
    const FUSED: bool = target_cfg_f!(target_feature = "fma");
    let scale: [f64; DOF] = std::array::from_fn(freedom_scale);
    let mut before = [f64::INFINITY; EIGHT];
    let mut going = [true; EIGHT];
    eight.settled = [None; EIGHT];
    for steps in 0..=MOST_STEPS {
        slopes::<FUSED>(problem, contacts, &scale, eight);
        for i in 0..EIGHT {
            if going[i] && eight.residual[i] <= WANTED_RESIDUAL[1] {
                (eight.settled[i], going[i]) = (Some(steps), false);
            }
            // The first steps may go too far; then residuals fall by squares: one that does not is rounding, or a corner of a law.
            going[i] &= eight.residual[i] < if steps < FREE_STEPS { f64::INFINITY } else { 0.5 * before[i] };
            before[i] = eight.residual[i];
        }
        if going == [false; EIGHT] {
            break;
        }
        let mut step = eight.gradient;
        step.iter_mut().flatten().for_each(|g| *g = -*g);
        let held = eight.arrows.solve::<FUSED>(&scale, &mut step);
        (0..EIGHT).for_each(|i| going[i] &= held[i]);
        follow::<FUSED>(contacts, eight, &step, going);
    }
    eight.loads.clear();
    eight.loads.extend(eight.displacements.iter().map(|d| contacts.rows.loads_of_eight::<FUSED>(d)));
}

/// Takes a step in the lanes that go on.
#[inline(always)]
fn follow<const FUSED: bool>(contacts: &ContactSet<'_>, eight: &mut Eight, step: &[EightLane; DOF], going: [bool; EIGHT]) {
    let take = |x: &mut EightLane, dx: &EightLane| {
        for i in 0..EIGHT {
            x[i] = if going[i] { x[i] + dx[i] } else { x[i] };
        }
    };
    eight.pose.iter_mut().zip(step).for_each(|(x, dx)| take(x, dx));
    for ((block, follow), yields) in contacts.blocks.iter().zip(&eight.follow).zip(&mut eight.yields) {
        let Some(follow) = follow else { continue };
        let motion = block.motion_of_eight::<FUSED>(step);
        for (j, s) in yields.iter_mut().enumerate() {
            let mut own = EIGHT_ZEROS;
            for i in 0..EIGHT {
                own[i] = -follow.rest[j][i];
            }
            follow.slope.iter().zip(&motion).for_each(|(slope, motion)| add_product::<FUSED>(&mut own, &slope[j], motion));
            take(s, &own);
        }
    }
}

/// Slopes of the energy at the poses: as `Slopes::at` has them for one.
#[inline(always)]
fn slopes<const FUSED: bool>(problem: &Problem<'_>, contacts: &ContactSet<'_>, scale: &[f64; DOF], eight: &mut Eight) {
    let k = problem.stiffness;
    for i in 0..DOF {
        let mut sum = EIGHT_ZEROS;
        for j in (0..DOF).filter(|j| k[(i, *j)] != 0.0) {
            add_times::<FUSED>(&mut sum, &eight.pose[j], k[(i, j)]);
        }
        for lane in 0..EIGHT {
            eight.plain[i][lane] = sum[lane] - eight.load[i][lane];
        }
    }
    eight.arrows.set(k);
    of_floats::<FUSED>(problem, eight);
    eight.gradient = eight.plain;
    let of_supports = of_contacts::<FUSED>(contacts, eight);
    let (mut unbalanced, mut largest) = (of_supports, [1.0; EIGHT]);
    for i in 0..DOF {
        for lane in 0..EIGHT {
            let size = |v: f64| (v * scale[i]).abs();
            let (own, load) = (size(eight.gradient[i][lane]), eight.load[i][lane]);
            unbalanced[lane] = if own > unbalanced[lane] { own } else { unbalanced[lane] };
            let (made, held) = (size(load), size(eight.plain[i][lane] + load));
            let both = if made > held { made } else { held };
            largest[lane] = if both > largest[lane] { both } else { largest[lane] };
            // A pose that is no number must not look settled.
            unbalanced[lane] = if own >= 0.0 { unbalanced[lane] } else { f64::INFINITY };
        }
    }
    for lane in 0..EIGHT {
        eight.residual[lane] = unbalanced[lane] / largest[lane];
    }
}

/// Adds forces and tangents of the floats: each acts between a truck and its own end.
#[inline(always)]
fn of_floats<const FUSED: bool>(problem: &Problem<'_>, eight: &mut Eight) {
    for (element, offset) in problem.floats.elements.iter().zip(&eight.offsets) {
        let (row, t, e) = (&element.row, truck(element.end), end(element.end));
        let mut delta = EIGHT_ZEROS;
        for j in (t..t + 6).chain(e..e + 6) {
            add_times::<FUSED>(&mut delta, &eight.pose[j], row[j]);
        }
        let (mut force, mut stiffness) = (EIGHT_ZEROS, EIGHT_ZEROS);
        for lane in 0..EIGHT {
            (force[lane], stiffness[lane]) = problem.floats.drag.force(&element.component.law, delta[lane] - offset[lane]);
        }
        for j in (t..t + 6).chain(e..e + 6) {
            add_times::<FUSED>(&mut eight.plain[j], &force, row[j]);
        }
        if stiffness == EIGHT_ZEROS {
            continue;
        }
        let (side, ends) = (element.end, e - 12);
        for i in 0..6 {
            for j in 0..6 {
                add_times::<FUSED>(&mut eight.arrows.trucks[side][i][j], &stiffness, row[t + i] * row[t + j]);
                add_times::<FUSED>(&mut eight.arrows.cross[side][i][j], &stiffness, row[t + i] * row[e + j]);
                add_times::<FUSED>(&mut eight.arrows.ends[ends + i][ends + j], &stiffness, row[e + i] * row[e + j]);
            }
        }
    }
}

/// Adds forces and tangents of the blocks, supports eliminated; gives the largest unbalanced force on a support.
#[inline(always)]
fn of_contacts<const FUSED: bool>(contacts: &ContactSet<'_>, eight: &mut Eight) -> EightLane {
    let mut residual = EIGHT_ZEROS;
    eight.follow.clear();
    eight.displacements.clear();
    for (b, block) in contacts.blocks.iter().enumerate() {
        let mut d = block.motion_of_eight::<FUSED>(&eight.pose);
        for j in 0..5 {
            for i in 0..EIGHT {
                let yielded = if j < 3 { eight.yields[b][j][i] } else { 0.0 };
                d[j][i] = d[j][i] - eight.imposed[b][j][i] - yielded;
            }
        }
        eight.displacements.push(d);
        let mut of = contacts.rows.eight::<FUSED>(&d);
        block.add_force_of_eight::<FUSED>(&mut eight.plain, &of.force);
        if let Some(k) = block.support {
            let mut unbalanced = [EIGHT_ZEROS; 3];
            for j in 0..3 {
                for i in 0..EIGHT {
                    unbalanced[j][i] = multiply_add::<FUSED, _>(k[j], eight.yields[b][j][i], -of.force[j][i]);
                    let size = unbalanced[j][i].abs() / if j == 2 { 100.0 } else { 1.0 };
                    residual[i] = if size > residual[i] { size } else { residual[i] };
                }
            }
            let follow = eliminated::<FUSED>(&mut of.force, &mut of.tangent, k, &unbalanced);
            eight.follow.push(Some(follow));
        } else {
            eight.follow.push(None);
        }
        block.add_force_of_eight::<FUSED>(&mut eight.gradient, &of.force);
        block.add_stiffness_of_eight::<FUSED>(&mut eight.arrows, &of.tangent);
    }
    residual
}

/// Eliminates what a support yields from a block's force and tangent (upper half).
#[inline(always)]
fn eliminated<const FUSED: bool>(
    force: &mut [EightLane; 5],
    tangent: &mut [[EightLane; 5]; 5],
    k: [f64; 3],
    unbalanced: &[EightLane; 3],
) -> Follow {
    // L L' = T33 + k; then L^-1 of the crossing columns and of what is unbalanced.
    let mut lower = [[EIGHT_ZEROS; 3]; 3];
    for i in 0..3 {
        for j in 0..=i {
            lower[i][j] = tangent[j][i];
        }
        lower[i][i].iter_mut().for_each(|v| *v += k[i]);
    }
    factor::<FUSED, 3>(&mut lower, &EIGHT_ZEROS, &mut [true; EIGHT]);
    let mut slope = [[EIGHT_ZEROS; 3]; 5];
    for c in 0..5 {
        for i in 0..3 {
            slope[c][i] = if c < i { tangent[c][i] } else { tangent[i][c] };
        }
        forward::<FUSED, 3>(&lower, &mut slope[c]);
    }
    let mut rest = *unbalanced;
    forward::<FUSED, 3>(&lower, &mut rest);
    for i in 0..5 {
        for m in 0..3 {
            add_product::<FUSED>(&mut force[i], &slope[i][m], &rest[m]);
            for j in i..5 {
                subtract_product::<FUSED>(&mut tangent[i][j], &slope[i][m], &slope[j][m]);
            }
        }
    }
    slope.iter_mut().for_each(|column| backward::<FUSED, 3>(&lower, column));
    backward::<FUSED, 3>(&lower, &mut rest);
    Follow { slope, rest }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::Level;
    use crate::input::read_plan;
    use crate::structure::equilibrium::minimise;
    use crate::structure::{Acting, Drag, FloatMap, Machine};

    /// Poses at one station of the demo's machine on supports that yield, floats before and beyond their stops: every lane is
    /// settled by whole steps, to where the search of one ends.
    #[test]
    fn check_eight_poses_are_each_what_they_are_alone() {
        let mut plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        plan.block.level = Level::Contact;
        plan.supports[1].stiffness = [f64::INFINITY; 3];
        // Stiff joints, then floating ones.
        for (arrangement, shift_mm) in [(0, 0.01), (1, 0.4)] {
            let machine = Machine::new(&plan, arrangement).unwrap();
            let map = FloatMap::new(&machine, Drag::Minus).unwrap();
            let noise = |lane: usize, i: usize| ((lane * 37 + i * 101 + 13) % 97) as f64 / 97.0 - 0.5;
            let blocks = plan.block_count();
            let of_block = |lane: usize, b: usize| -> [f64; 5] {
                std::array::from_fn(|j| {
                    noise(lane, 5 * b + j) * if j < 2 { 6e-3 } else { 5e-5 }
                        + if j == 0 && b >= blocks / 2 { shift_mm * lane as f64 } else { 0.0 }
                })
            };
            let imposed: Vec<Vec<[f64; 5]>> = (0..EIGHT).map(|lane| (0..blocks).map(|b| of_block(lane, b)).collect()).collect();
            let loads: Vec<Vector24> = (0..EIGHT).map(|lane| machine.case_loads(lane % plan.duty.len())).collect();
            let offsets: Vec<Vec<f64>> = (0..EIGHT).map(|lane| vec![0.02 * lane as f64; map.count()]).collect();
            let acting = |lane: usize| Acting { load: &loads[lane], imposed: &imposed[lane], offsets: &offsets[lane] };
            let problems: Vec<Problem<'_>> = (0..EIGHT).map(|lane| machine.problem(&machine.springs, &map, &acting(lane))).collect();
            let start =
                |lane: usize| State { pose: map.linear_pose(&(loads[lane] + machine.rail_forces(&imposed[lane]))), yields: Vec::new() };
            let starts: Vec<State> = (0..EIGHT).map(start).collect();
            let both: Vec<(Problem<'_>, &State)> = problems.iter().copied().zip(&starts).collect();
            let settled = Eight::default().settle(&both);
            assert_eq!(settled.len(), EIGHT);
            for (lane, found) in settled.iter().enumerate() {
                let alone = minimise(&problems[lane], starts[lane].clone()).unwrap();
                let found = found.as_ref().unwrap_or_else(|| panic!("arrangement {arrangement}, lane {lane} is not settled"));
                assert!((1..=MOST_STEPS).contains(&found.steps));
                let (pose, own) = (alone.state.pose, found.state.pose);
                let scaled = |v: Vector24| Vector24::from_fn(|i, _| v[i] / freedom_scale(i)).amax();
                assert!(scaled(pose - own) < 1e-9 * scaled(pose), "arrangement {arrangement}, lane {lane}: {own} against {pose}");
                let set = machine.contacts(&imposed[lane]).unwrap();
                for ((b, of), d) in found.blocks.iter().enumerate().zip(set.displacements(&pose, &alone.state.yields)) {
                    let expected = set.rows.loads(&d);
                    let most = expected.force.iter().fold(1.0_f64, |most, f| most.max(f.abs()));
                    assert!(of.force.iter().zip(expected.force).all(|(a, b)| (a - b).abs() < 1e-7 * most), "lane {lane}, block {b}");
                    assert!(alone.state.yields[b].iter().zip(found.state.yields[b]).all(|(a, b)| (a - b).abs() < 1e-10));
                }
            }
        }
    }

    /// A pose that is no number settles nowhere, and its neighbours do not notice.
    #[test]
    fn check_a_lane_that_cannot_be_settled_is_left_to_the_search() {
        let mut plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        plan.block.level = Level::Contact;
        let machine = Machine::new(&plan, 0).unwrap();
        let map = FloatMap::new(&machine, Drag::Law).unwrap();
        let (load, imposed) = (machine.case_loads(0), vec![[0.0; 5]; plan.block_count()]);
        let problem = machine.problem(&machine.springs, &map, &Acting { load: &load, imposed: &imposed, offsets: &[] });
        let good = State { pose: map.linear_pose(&load), yields: Vec::new() };
        let bad = State { pose: Vector24::repeat(f64::NAN), yields: Vec::new() };
        let alone = Eight::default().settle(&[(problem, &good)]);
        let beside = Eight::default().settle(&[(problem, &good), (problem, &bad)]);
        assert!(beside[1].is_none());
        assert_eq!(alone[0].as_ref().unwrap().state.pose, beside[0].as_ref().unwrap().state.pose);
    }
}
