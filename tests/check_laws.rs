//! Laws that must hold whatever the numbers: balance, rigid motion, mirror, energy, the condensed path.

use crate::common;

use common::close;
use common::mirror::mirrored;
use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, service_states};
use railtrue::input::plan::{DragStates, Thermal};
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Drag, FloatMap, FloatWork, Machine, Response, Situation, TakenUp, Vector24};
use railtrue::units::{A, B};

fn demo() -> Plan {
    let text = include_str!("../examples/panel-bridge.toml");
    read_plan(text, "panel-bridge.toml").unwrap()
}

fn drawn(plan: &Plan, machine: &Machine<'_>, count: u64) -> Vec<Installation> {
    let draws = Draws::new(plan, machine.rails());
    run(0, count, 99, || (), |(), _, rng| draws.draw(rng))
}

fn situation(station_x_mm: f64, case: usize) -> Situation {
    let thermal = Thermal { bridge_dt_k: 3.0, frame_dt_k: 1.0, top_hotter_k: 0.5 };
    Situation { station_x_mm, case, thermal, skew_mm: 0.02, drag: Drag::Law }
}

fn respond(machine: &Machine<'_>, installation: &Installation, s: &Situation) -> Response {
    machine.respond(installation, &TakenUp::default(), s).unwrap()
}

fn loads(r: &Response) -> Vec<f64> {
    r.block_loads.iter().flatten().copied().collect()
}

#[test]
fn check_forces_and_moments_balance() {
    let plan = demo();
    for arrangement in 0..2 {
        let machine = Machine::new(&plan, arrangement).unwrap();
        for (i, installation) in drawn(&plan, &machine, 20).iter().enumerate() {
            let case = i % plan.duty.len();
            let r = respond(&machine, installation, &situation(2500.0, case));
            assert!(r.residual < 1e-11);
            // Whole machine: loads of the case, rails' reactions (minus what trucks exert on blocks), drives.
            let duty = &plan.duty[case];
            let a = duty.acceleration_m_per_s2;
            let extra_kg: f64 = duty.extras.iter().map(|e| e.mass_kg).sum();
            let mass = plan.bridge.mass_kg + plan.slide_kg + duty.payload_kg + extra_kg + 2.0 * plan.trucks[0].mass_kg;
            let pull: f64 = duty.extras.iter().map(|e| e.force_n[0]).sum();
            let sum = |i: usize| r.block_loads.iter().map(|b| b[i]).sum::<f64>();
            assert!((-mass * a[0] + pull + r.drive_n[0] + r.drive_n[1]).abs() < 1e-6, "along x");
            assert!((-mass * a[1] - sum(0)).abs() < 1e-6, "along y");
            assert!((-mass * (a[2] + 9.80665) - sum(1)).abs() < 1e-6, "along z");
            // Each truck alone: joints, blocks, drive and its own weight, as moments about x through its reference.
            for side in [A, B] {
                let from = side * plan.trucks[A].blocks.len();
                let joints = &plan.arrangements[arrangement].ends[side];
                let mut moment = 0.0;
                for j in r.joints.iter().filter(|j| j.end == side) {
                    let place = joints[j.number].place_mm;
                    moment += match j.axis {
                        1 => -place[2] * j.force,
                        2 => place[1] * j.force,
                        3 => j.force,
                        _ => 0.0,
                    };
                }
                for (b, load) in plan.trucks[side].blocks.iter().zip(&r.block_loads[from..]) {
                    moment -= b.lateral_mm * load[1] + load[2];
                }
                let weight = |kg: f64, at: [f64; 3]| at[1] * -kg * (a[2] + 9.80665) + at[2] * kg * a[1];
                moment += weight(plan.trucks[side].mass_kg, plan.trucks[side].centre_mm);
                let carried = duty.extras.iter().filter(|e| e.carrier == railtrue::input::plan::Carrier::Truck(side));
                moment += carried.map(|e| weight(e.mass_kg, e.place_mm)).sum::<f64>();
                assert!(moment.abs() < 1e-3, "truck {side}: {moment} N mm");
            }
        }
    }
}

#[test]
fn check_rigid_motion_of_both_rails_changes_no_load() {
    let plan = demo();
    let machine = Machine::new(&plan, 0).unwrap();
    let span = plan.frame.span_mm;
    let length = plan.frame.length_mm();
    for installation in drawn(&plan, &machine, 10) {
        let s = situation(1700.0, 1);
        let before = loads(&respond(&machine, &installation, &s));
        // Roll p of both rails with rail B higher by p S.
        let mut rolled = installation.clone();
        rolled.cross_level_rad.iter_mut().for_each(|p| *p += 0.004);
        rolled.height_mm += 0.004 * span;
        close("rolled", &loads(&respond(&machine, &rolled, &s)), &before, 1e-8);
        // Yaw t of both rails with truck B ahead by -t S.
        let mut yawed = installation.clone();
        let slope: Vec<f64> = plan.frame.anchors_x_mm.iter().map(|x| 0.003 * (x - plan.frame.anchors_x_mm[0])).collect();
        for rail in [A, B] {
            let own = &installation.residual[rail][0];
            yawed.residual[rail][0] = slope.iter().enumerate().map(|(i, v)| v + own.get(i).unwrap_or(&0.0)).collect();
        }
        yawed.drive_offset_mm = [installation.drive_offset_mm[0] + 0.0015 * span, installation.drive_offset_mm[1] - 0.0015 * span];
        close("yawed", &loads(&respond(&machine, &yawed, &s)), &before, 1e-8);
        // Both rails shifted, lifted and pitched alike.
        let mut moved = installation.clone();
        for rail in [A, B] {
            for (row, by) in [(0, 0.7), (1, -0.4)] {
                let own = &installation.residual[rail][row];
                let pitch = if row == 1 { 0.002 } else { 0.0 };
                moved.residual[rail][row] = (0..plan.frame.anchors_x_mm.len())
                    .map(|i| own.get(i).unwrap_or(&0.0) + by + pitch * plan.frame.s(plan.frame.anchors_x_mm[i]) * length)
                    .collect();
            }
        }
        close("moved", &loads(&respond(&machine, &moved, &s)), &before, 1e-8);
    }
}

#[test]
fn check_equal_roll_of_both_rails_loads_like_a_height_error() {
    let plan = demo();
    let machine = Machine::new(&plan, 0).unwrap();
    let s = situation(3000.0, 0);
    let mut rolled = Installation::perfect(&plan);
    rolled.cross_level_rad = [0.0005; 2];
    let mut lowered = Installation::perfect(&plan);
    lowered.height_mm = -0.0005 * plan.frame.span_mm;
    close("loads", &loads(&respond(&machine, &rolled, &s)), &loads(&respond(&machine, &lowered, &s)), 1e-9);
}

#[test]
fn check_mirror_image_has_mirrored_loads() {
    let mut plan = demo();
    for case in &mut plan.duty {
        case.payload_y_mm = plan.frame.span_mm / 2.0;
        case.extras.clear();
    }
    let machine = Machine::new(&plan, 0).unwrap();
    let n = plan.trucks[A].blocks.len();
    // Blocks at (x, b) and (x, -b) change places in the mirror.
    let twin: Vec<usize> = plan.trucks[A]
        .blocks
        .iter()
        .map(|p| plan.trucks[A].blocks.iter().position(|q| q.x_mm == p.x_mm && q.lateral_mm == -p.lateral_mm).unwrap())
        .collect();
    for mut installation in drawn(&plan, &machine, 10) {
        installation.block_offset_mm.iter_mut().flatten().for_each(|b| *b = [0.0; 2]);
        installation.seats.iter_mut().flatten().for_each(|s| *s = [0.0; 6]);
        let mut s = situation(4000.0, 1);
        s.skew_mm = 0.0;
        let there = respond(&machine, &installation, &s).block_loads;
        let here = respond(&machine, &mirrored(&plan, &installation), &s).block_loads;
        for b in 0..n {
            let expected = |l: &[f64; 5]| [-l[0], l[1], -l[2], l[3], -l[4]];
            close("A", &here[b], &expected(&there[n + twin[b]]), 1e-7);
            close("B", &here[n + b], &expected(&there[twin[b]]), 1e-7);
        }
    }
}

#[test]
fn check_the_pose_is_the_least_energy() {
    let plan = demo();
    let machine = Machine::new(&plan, 1).unwrap();
    for (i, installation) in drawn(&plan, &machine, 10).iter().enumerate() {
        let s = situation(900.0, 1);
        let r = respond(&machine, installation, &s);
        let energy = |pose: &Vector24| machine.potential_n_mm(installation, &TakenUp::default(), &s, pose);
        let least = energy(&r.pose);
        assert!(least <= energy(&Vector24::zeros()));
        for k in 0..24 {
            for sign in [-1.0, 1.0] {
                let mut near = r.pose;
                near[k] += sign * if k % 6 < 3 { 1e-3 } else { 1e-5 };
                assert!(energy(&near) > least, "installation {i}, freedom {k}");
            }
        }
    }
}

#[test]
fn check_condensed_floats_equal_the_full_search() {
    // 300 installations with errors up to far beyond the travel: sticking, sliding, on the stop.
    let mut plan = demo();
    for source in &mut plan.errors.sources {
        source.lower *= 4.0;
        source.upper *= 4.0;
    }
    let machine = Machine::new(&plan, 1).unwrap();
    let mut on_stop = 0;
    for drag in [Drag::Law, Drag::Plus, Drag::Minus] {
        let map = FloatMap::new(&machine, drag).unwrap();
        let mut work = FloatWork::default();
        for (i, installation) in drawn(&plan, &machine, 300).iter().enumerate() {
            let s = Situation { drag, ..situation(250.0 + 20.0 * i as f64, i % 3) };
            let r = respond(&machine, installation, &s);
            let offsets = machine.joint_offsets(installation, &[]);
            let floats = machine.float_offsets(&offsets);
            let imposed: Vec<_> = r.imposed.clone();
            let load = machine.case_loads(s.case)
                + machine.rail_forces(&imposed)
                + machine.made_forces(installation, &s.thermal, s.skew_mm)
                + machine.joint_offset_forces(&offsets);
            let mut pose = map.linear_pose(&(load + map.offset_forces(&floats)));
            map.correct(&mut pose, &floats, &mut work, || panic!("the pieces did not settle")).unwrap();
            close("pose", pose.as_slice(), r.pose.as_slice(), 1e-9);
            on_stop += usize::from(work.delta.iter().enumerate().any(|(f, d)| d.abs() > map.travel(f)));
        }
    }
    assert!(on_stop > 50, "only {on_stop} on the stop");
}

#[test]
fn check_the_evaluator_equals_a_sum_over_full_traces() {
    // Peak loads and tool point of a drawn installation, station by station through the full search.
    let plan = demo();
    for arrangement in 0..2 {
        let evaluator = Evaluator::new(Machine::new(&plan, arrangement).unwrap(), DragStates::Law).unwrap();
        let service = service_states(&plan);
        let installation = &drawn(&plan, &evaluator.machine, 3)[2];
        let mut work = Default::default();
        let outcome = evaluator.evaluate(installation, &service, &mut work).unwrap();
        let traced = railtrue::study::trace(&evaluator, installation, &service, &plan.frame.stations_x_mm).unwrap();
        let law = traced.states.iter().filter(|s| s.situation.drag == Drag::Law);
        let (mut peak, mut tool, mut joint): (f64, f64, f64) = (0.0, 0.0, 0.0);
        for s in law {
            peak = s.equivalent.iter().map(|(p, _)| p.dynamic_n).fold(peak, f64::max);
            tool = tool.max(s.tool_from_perfect[..3].iter().map(|v| v * v).sum::<f64>().sqrt());
            for end in 0..2 {
                for number in 0..2 {
                    let force = s.response.joints.iter().filter(|j| j.end == end && j.number == number && j.axis < 3);
                    joint = joint.max(force.map(|j| j.force.powi(2)).sum::<f64>().sqrt());
                }
            }
        }
        close("peak", &[outcome.peak_load_n], &[peak], 1e-9);
        close("tool", &[outcome.tool_displacement_mm], &[tool], 1e-9);
        close("joint", &[outcome.joint_force_n], &[joint], 1e-9);
    }
}

#[test]
fn check_both_signs_of_the_drag_count_half_each() {
    // Mean load of every block as the cubic mean over all traced situations, each with its share.
    let mut plan = demo();
    for joint in plan.arrangements[1].ends.iter_mut().flatten() {
        if let railtrue::input::plan::Law::Float { drag, .. } = &mut joint.components[1].law {
            *drag = 800.0;
        }
    }
    let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), DragStates::BothSigns).unwrap();
    let service = service_states(&plan);
    let installation = &drawn(&plan, &evaluator.machine, 1)[0];
    let mut work = railtrue::evaluate::Work::default();
    evaluator.evaluate(installation, &service, &mut work).unwrap();
    let traced = railtrue::study::trace(&evaluator, installation, &service, &plan.frame.stations_x_mm).unwrap();
    let mut cubes = vec![0.0; plan.block_count()];
    for s in traced.states.iter().filter(|s| s.situation.drag != Drag::Law) {
        let station = plan.frame.stations_x_mm.iter().position(|x| *x == s.situation.station_x_mm).unwrap();
        let of_state = service.iter().find(|x| x.name == s.service).unwrap().share;
        let share = plan.frame.station_share[station] * plan.duty[s.situation.case].share * of_state / 2.0;
        cubes.iter_mut().zip(&s.equivalent).for_each(|(sum, (_, effective))| *sum += share * effective.powi(3));
    }
    let by_hand: Vec<f64> = cubes.iter().map(|c| c.cbrt()).collect();
    let got: Vec<f64> = work.blocks.iter().map(|b| b.mean_load_n).collect();
    close("mean loads", &got, &by_hand, 1e-9);
}

#[test]
fn ref_a_hotter_top_bows_a_free_beam_as_a_circle() {
    // A free beam of curvature kappa = alpha dT / h rises by kappa y (S - y) / 2 between its ends (any text on heat in beams).
    let plan = demo();
    let thermal = Thermal { top_hotter_k: 2.0, ..Thermal::default() };
    let kappa = plan.bridge.expansion_per_k * 2.0 / plan.bridge.height_mm.unwrap();
    let span = plan.frame.span_mm;
    let mut free = Vector24::zeros();
    (free[15], free[21]) = (kappa * span / 2.0, -kappa * span / 2.0);
    for y in [300.0, 1300.0, 2000.0] {
        let tool = railtrue::structure::ToolPoint::new(&plan, y, [0.0, 0.0]);
        let shape = tool.shape(&plan, &Installation::perfect(&plan), &thermal);
        let rise = tool.at(&free)[2] + shape[2];
        assert!((rise / (kappa * y * (span - y) / 2.0) - 1.0).abs() < 1e-12, "{rise}");
    }
}

/// A float that sticks on a seat which is off: the slope of the energy vanishes at the pose only where it counts from the seat.
#[test]
fn check_floats_have_their_energy_from_their_seats() {
    let mut plan = demo();
    plan.arrangements[1].ends[1][0].components[1].law =
        railtrue::input::plan::Law::Float { travel: 3.0, drag: 800.0, k_slide: 2000.0, k_stop: 3e5 };
    let machine = Machine::new(&plan, 1).unwrap();
    let mut installation = Installation::perfect(&plan);
    installation.seats[1][0][1] = 0.05;
    let s = situation(900.0, 1);
    let r = respond(&machine, &installation, &s);
    assert!(r.joints.iter().any(|j| j.sticks && j.force.abs() > 20.0), "the float does not stick");
    let energy = |pose: &Vector24| machine.potential_n_mm(&installation, &TakenUp::default(), &s, pose);
    let least = energy(&r.pose);
    for k in 0..24 {
        let step = if k % 6 < 3 { 1e-3 } else { 1e-5 };
        let beside = |sign: f64| {
            let mut near = r.pose;
            near[k] += sign * step;
            energy(&near)
        };
        let (up, down) = (beside(1.0), beside(-1.0));
        assert!((up - down).abs() < 0.01 * (up + down - 2.0 * least), "freedom {k}: slope {}", (up - down) / (2.0 * step));
    }
}

/// Ends that stand as the bridge's own shape has them leave it without force. Its axis then lies as made: stretched evenly by
/// length and growth, turned evenly by twist, bowed by a hotter top; faces out of square leave it straight.
#[test]
fn check_a_free_bridge_carries_its_tool_by_its_own_shape() {
    let plan = demo();
    let (span, alpha) = (plan.frame.span_mm, plan.bridge.expansion_per_k);
    let thermal = Thermal { bridge_dt_k: 8.0, frame_dt_k: 0.0, top_hotter_k: 2.0 };
    let mut installation = Installation::perfect(&plan);
    (installation.bridge_length_mm, installation.bridge_twist_rad) = (0.4, 7e-4);
    (installation.end_tilt_rad, installation.end_squareness_rad) = ([3e-4, -5e-4], [2e-4, 6e-4]);
    let longer = 0.4 + alpha * 8.0 * span;
    let kappa = alpha * 2.0 / plan.bridge.height_mm.unwrap();
    let mut free = Vector24::zeros();
    (free[15], free[17]) = (3e-4 + kappa * span / 2.0, 2e-4);
    (free[19], free[21], free[22], free[23]) = (longer, -5e-4 - kappa * span / 2.0, 7e-4, 6e-4);
    for (y, [x, z]) in [(400.0, [90.0, 80.0]), (1300.0, [0.0, 0.0]), (2200.0, [-60.0, -250.0])] {
        let tool = railtrue::structure::ToolPoint::new(&plan, y, [x, z]);
        let (at, shape) = (tool.at(&free), tool.shape(&plan, &installation, &thermal));
        let got: Vec<f64> = (0..4).map(|i| at[i] + shape[i]).collect();
        let (share, slope) = (y / span, kappa * (span / 2.0 - y));
        let turned = 7e-4 * share;
        let expected = [turned * z, longer * share - slope * z, kappa * y * (span - y) / 2.0 - turned * x, 0.0];
        close("tool", &got, &expected, 1e-12);
    }
}
