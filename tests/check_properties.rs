//! Laws on installations that a property tester picks and shrinks: balance, rigid motion, mirror, superposition, least energy, the
//! condensed floats.

use crate::common;

use common::close;
use common::mirror::mirrored;
use proptest::prelude::*;
use railtrue::input::plan::Thermal;
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Drag, FloatMap, FloatWork, Machine, Response, Situation, TakenUp, Vector24};
use railtrue::units::{A, B};

fn demo() -> Plan {
    read_plan(include_str!("corpus/base.toml"), "base.toml").unwrap()
}

/// An installation from numbers in -1..1, up to a millimetre and a milliradian; zeros make the perfect one.
fn installation(plan: &Plan, v: &[f64]) -> Installation {
    let pads = plan.frame.anchors_x_mm.len();
    let profile = |from: usize, scale: f64| (0..pads).map(|k| scale * v[from + k]).collect::<Vec<f64>>();
    Installation {
        span_mm: v[0],
        parallelism_mm: v[1],
        height_mm: v[2],
        vertical_parallelism_mm: v[3],
        cross_level_rad: [1e-3 * v[4], 1e-3 * v[5]],
        cross_level_twist_rad: [1e-3 * v[6], 1e-3 * v[7]],
        bridge_length_mm: v[8],
        bridge_twist_rad: 1e-3 * v[9],
        end_tilt_rad: [1e-3 * v[10], 1e-3 * v[11]],
        end_squareness_rad: [1e-3 * v[12], 1e-3 * v[13]],
        drive_offset_mm: [0.2 * v[14], 0.2 * v[15]],
        residual: [
            [profile(16, 0.1), profile(16 + pads, 0.1), profile(16 + 2 * pads, 1e-4)],
            [profile(16 + 3 * pads, 0.1), profile(16 + 4 * pads, 0.1), profile(16 + 5 * pads, 1e-4)],
        ],
        ..Installation::perfect(plan)
    }
}

/// Numbers of an installation, beside those of its situation.
const NUMBERS: usize = 16 + 6 * 14;

fn numbers() -> impl Strategy<Value = Vec<f64>> {
    proptest::collection::vec(-1.0_f64..1.0, NUMBERS)
}

fn situation(station_x_mm: f64, case: usize, warm: f64) -> Situation {
    let thermal = Thermal { bridge_dt_k: warm, frame_dt_k: warm / 2.0, top_hotter_k: warm / 8.0 };
    Situation { station_x_mm, case, thermal, skew_mm: 0.0, drag: Drag::Law }
}

fn respond(machine: &Machine<'_>, i: &Installation, s: &Situation) -> Response {
    machine.respond(i, &TakenUp::default(), s).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn check_forces_balance(v in numbers(), x in 250.0_f64..6250.0, case in 0_usize..4, warm in -20.0_f64..20.0, arrangement in 0_usize..2) {
        let plan = demo();
        let machine = Machine::new(&plan, arrangement).unwrap();
        let r = respond(&machine, &installation(&plan, &v), &situation(x, case, warm));
        let duty = &plan.duty[case];
        let extra: f64 = duty.extras.iter().map(|e| e.mass_kg).sum();
        let mass = plan.bridge.mass_kg + plan.slide_kg + duty.payload_kg + extra + 2.0 * plan.trucks[0].mass_kg;
        let pull: f64 = duty.extras.iter().map(|e| e.force_n[0]).sum();
        let sum = |i: usize| r.block_loads.iter().map(|b| b[i]).sum::<f64>();
        let a = duty.acceleration_m_per_s2;
        prop_assert!((-mass * a[0] + pull + r.drive_n[0] + r.drive_n[1]).abs() < 1e-5);
        prop_assert!((mass * a[1] + sum(0)).abs() < 1e-5);
        prop_assert!((mass * (a[2] + 9.80665) + sum(1)).abs() < 1e-5);
        prop_assert!(r.residual < 1e-8);
    }

    #[test]
    fn check_rails_moved_as_one_change_no_load(v in numbers(), x in 250.0_f64..6250.0, shift in -2.0_f64..2.0, lift in -2.0_f64..2.0, roll in -4e-3_f64..4e-3, arrangement in 0_usize..2) {
        let plan = demo();
        let machine = Machine::new(&plan, arrangement).unwrap();
        let (still, s) = (installation(&plan, &v), situation(x, 0, 0.0));
        let mut moved = still.clone();
        for rail in [A, B] {
            moved.residual[rail][0].iter_mut().for_each(|y| *y += shift);
            moved.residual[rail][1].iter_mut().for_each(|z| *z += lift);
            moved.cross_level_rad[rail] += roll;
        }
        moved.height_mm += roll * plan.frame.span_mm;
        close("moved", &respond(&machine, &moved, &s).block_loads.concat(), &respond(&machine, &still, &s).block_loads.concat(), 1e-7);
    }

    #[test]
    fn check_without_floats_loads_of_errors_add_up(v in numbers(), w in numbers(), x in 250.0_f64..6250.0, share in -1.0_f64..1.0) {
        let plan = demo();
        let machine = Machine::new(&plan, 0).unwrap();
        let s = situation(x, 1, 5.0);
        let loads = |v: &[f64]| respond(&machine, &installation(&plan, v), &s).block_loads.concat();
        let both: Vec<f64> = v.iter().zip(&w).map(|(a, b)| a + share * b).collect();
        let none = loads(&[0.0; NUMBERS]);
        let (a, b) = (loads(&v), loads(&w));
        let sum: Vec<f64> = none.iter().zip(a.iter().zip(&b)).map(|(n, (a, b))| a + share * (b - n)).collect();
        close("sum", &loads(&both), &sum, 1e-7);
    }

    #[test]
    fn check_no_pose_nearby_has_less_energy(v in numbers(), x in 250.0_f64..6250.0, way in proptest::collection::vec(-1.0_f64..1.0, 24), arrangement in 0_usize..2) {
        let plan = demo();
        let machine = Machine::new(&plan, arrangement).unwrap();
        let (i, s) = (installation(&plan, &v), situation(x, 2, 3.0));
        let r = respond(&machine, &i, &s);
        let energy = |pose: &Vector24| machine.potential_n_mm(&i, &TakenUp::default(), &s, pose);
        let step = Vector24::from_fn(|k, _| way[k] * if k % 6 < 3 { 1e-2 } else { 1e-4 });
        prop_assume!(step.norm() > 1e-3);
        prop_assert!(energy(&(r.pose + step)) > energy(&r.pose));
        prop_assert!(energy(&(r.pose - step)) > energy(&r.pose));
    }

    #[test]
    fn check_a_yaw_of_rails_and_drives_changes_no_load(v in numbers(), x in 250.0_f64..6250.0, yaw in -3e-3_f64..3e-3, arrangement in 0_usize..2) {
        let plan = demo();
        let machine = Machine::new(&plan, arrangement).unwrap();
        let (still, s) = (installation(&plan, &v), situation(x, 1, 0.0));
        let mut turned = still.clone();
        for rail in [A, B] {
            for (y, at) in turned.residual[rail][0].iter_mut().zip(&plan.frame.anchors_x_mm) {
                *y += yaw * at;
            }
        }
        let half = yaw * plan.frame.span_mm / 2.0;
        turned.drive_offset_mm = [still.drive_offset_mm[0] + half, still.drive_offset_mm[1] - half];
        close("turned", &respond(&machine, &turned, &s).block_loads.concat(), &respond(&machine, &still, &s).block_loads.concat(), 1e-7);
    }

    #[test]
    fn check_the_mirror_image_has_mirrored_loads(v in numbers(), x in 250.0_f64..6250.0, case in 0_usize..4, warm in -20.0_f64..20.0) {
        let mut plan = demo();
        for case in &mut plan.duty {
            case.payload_y_mm = plan.frame.span_mm / 2.0;
            case.extras.clear();
        }
        let machine = Machine::new(&plan, 0).unwrap();
        let blocks = &plan.trucks[A].blocks;
        let twin = |b: usize| blocks.iter().position(|q| q.x_mm == blocks[b].x_mm && q.lateral_mm == -blocks[b].lateral_mm).unwrap();
        let (i, s) = (installation(&plan, &v), situation(x, case, warm));
        let there = respond(&machine, &i, &s).block_loads;
        let here = respond(&machine, &mirrored(&plan, &i), &s).block_loads;
        let n = blocks.len();
        let image = |l: [f64; 5]| [-l[0], l[1], -l[2], l[3], -l[4]];
        let expected: Vec<[f64; 5]> = (0..n).map(|b| image(there[n + twin(b)])).chain((0..n).map(|b| image(there[twin(b)]))).collect();
        close("mirror", &here.concat(), &expected.concat(), 1e-7);
    }

    #[test]
    fn check_equal_roll_of_both_rails_loads_like_a_height_error(v in numbers(), x in 250.0_f64..6250.0, roll in -2e-3_f64..2e-3, arrangement in 0_usize..2) {
        let plan = demo();
        let machine = Machine::new(&plan, arrangement).unwrap();
        let s = situation(x, 0, 0.0);
        let (mut rolled, mut lowered) = (installation(&plan, &v), installation(&plan, &v));
        rolled.cross_level_rad.iter_mut().for_each(|p| *p += roll);
        lowered.height_mm -= roll * plan.frame.span_mm;
        close("loads", &respond(&machine, &rolled, &s).block_loads.concat(), &respond(&machine, &lowered, &s).block_loads.concat(), 1e-7);
    }

    #[test]
    fn check_condensed_floats_equal_the_full_search(v in numbers(), x in 250.0_f64..6250.0, rough in 0.0_f64..6.0, drag in 0_usize..3) {
        let plan = demo();
        let machine = Machine::new(&plan, 1).unwrap();
        let drag = [Drag::Law, Drag::Plus, Drag::Minus][drag];
        let i = installation(&plan, &v.iter().map(|n| n * rough).collect::<Vec<_>>());
        let s = Situation { drag, ..situation(x, 2, 4.0) };
        let r = respond(&machine, &i, &s);
        let map = FloatMap::new(&machine, drag).unwrap();
        let offsets = machine.joint_offsets(&i, &[]);
        let floats = machine.float_offsets(&offsets);
        let load = machine.case_loads(s.case)
            + machine.rail_forces(&r.imposed)
            + machine.made_forces(&i, &s.thermal, s.skew_mm)
            + machine.joint_offset_forces(&offsets);
        let mut pose = map.linear_pose(&(load + map.offset_forces(&floats)));
        map.correct(&mut pose, &floats, &mut FloatWork::default(), || load).unwrap();
        close("pose", pose.as_slice(), r.pose.as_slice(), 1e-8);
    }
}
