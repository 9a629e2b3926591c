//! Statics by hand: springs in series, a table on four springs, a raised corner. Formulas of any statics text;
//! numbers recomputed by hand (least squares and exact fractions).

use crate::common;

use common::simple::{Simple, float, hinge, spring};
use common::{close, plan, stated};
use railtrue::input::Plan;
use railtrue::structure::{Drag, Machine, Response, Situation, TakenUp};

fn respond(plan: &Plan, errors: &str) -> Response {
    let stated = stated(errors, plan);
    let machine = Machine::new(plan, 0).unwrap();
    let situation = Situation { station_x_mm: 2000.0, case: 0, thermal: stated.service.unwrap_or_default(), skew_mm: 0.0, drag: Drag::Law };
    machine.respond(&stated.installation, &TakenUp::default(), &situation).unwrap()
}

fn lateral_force(r: &Response, truck_blocks: usize) -> f64 {
    r.block_loads[..truck_blocks].iter().map(|b| b[0]).sum()
}

/// One block of 150 N/um under each truck, so that kA = kB = 150 N/um.
fn span_machine(bridge_axial: f64) -> Simple {
    Simple { blocks: vec![(0.0, 0.0)], block_n_per_um: (150.0, 200.0), bridge_axial_n_per_um: bridge_axial, ..Simple::default() }
}

#[test]
fn ref_span_error_over_springs_in_series() {
    // F = e / (1/kA + 1/kB + 1/kbridge + 1/kjoint), e = 30 um: 2250 N rigid, 1800 N with a bridge of 300 N/um.
    for (bridge, expected) in [(1e6, 2250.0), (300.0, 1800.0)] {
        let r = respond(&plan(&span_machine(bridge).text()), "span_mm = 0.03\n");
        assert!((lateral_force(&r, 1).abs() / expected - 1.0).abs() < 2e-3, "{} against {expected}", lateral_force(&r, 1));
    }
}

#[test]
fn ref_a_soft_float_takes_the_span_error() {
    // The same with a joint of 1 N/um in series: 29.605 N.
    let mut simple = span_machine(1e6);
    simple.joints[1][1] = spring(1.0);
    let r = respond(&plan(&simple.text()), "span_mm = 0.03\n");
    assert!((lateral_force(&r, 1).abs() / 29.605 - 1.0).abs() < 1e-3, "{}", lateral_force(&r, 1));
}

#[test]
fn ref_a_float_drags_and_stops() {
    // Sliding: the drag alone, 40 N. On its stop: (e - travel) over the springs in series, with the drag on top.
    let mut simple = span_machine(1e6);
    simple.joints[1][1] = float(0.5, 40.0, 2.0, 1000.0);
    let p = plan(&simple.text());
    assert!((lateral_force(&respond(&p, "span_mm = 0.3\n"), 1).abs() - 40.0).abs() < 1e-6);
    let r = respond(&p, "span_mm = 0.8\n");
    let series = 1.0 / (2.0 / 150.0 + 2.0 / 1e6 + 1.0 / 1000.0);
    let give = 40.0 / (1.0 / (2.0 / 150.0 + 2.0 / 1e6)) / 1e3;
    let expected = 40.0 + series * 1e3 * (0.8 - 0.5 - give);
    assert!((lateral_force(&r, 1).abs() / expected - 1.0).abs() < 1e-3, "{} against {expected}", lateral_force(&r, 1));
}

#[test]
fn ref_heat_is_a_span_error() {
    // (24 - 12) um/m K x 10 K x 1.2 m = 144 um over 75 N/um.
    let r = respond(&plan(&span_machine(1e6).text()), "[service]\nbridge_dt_k = 10\nframe_dt_k = 10\n");
    assert!((lateral_force(&r, 1).abs() / (144.0 * 75.0) - 1.0).abs() < 2e-3, "{}", lateral_force(&r, 1));
}

/// A truck on four springs, tied so softly to the bridge that it stands alone.
fn table() -> Simple {
    let soft = [spring(1e-6), spring(1e-6), spring(1e-6), hinge(1e-5), hinge(1e-5), hinge(1e-5)];
    Simple {
        blocks: vec![(300.0, 600.0), (-300.0, 600.0), (300.0, -600.0), (-300.0, -600.0)],
        block_moment: 0.0,
        joints: [soft.clone(), soft],
        ..Simple::default()
    }
}

#[test]
fn ref_four_block_table() {
    // R = W/4 +- W xe/2Lx +- W ye/2Ly: W = 10000 N at (100, -250) on Lx = 600, Ly = 1200.
    let mut simple = table();
    simple.duty += "[[duty.extra]]\non = \"truck_a\"\nplace_mm = [100, -250, 0]\nforce_n = [0, 0, -10000]\n";
    let r = respond(&plan(&simple.text()), "");
    let got: Vec<f64> = r.block_loads[..4].iter().map(|b| -b[1]).collect();
    close("reactions", &got, &[2291.6667, 625.0, 4375.0, 2708.3333], 1e-6);
}

#[test]
fn ref_four_block_table_braking() {
    // With ax = 2 m/s2 on W/g at 400 mm height: each block changes by 679.8108 N, the front pair is relieved.
    let mut simple = table();
    let mass = 10_000.0 / 9.80665;
    simple.duty = format!(
        "[[duty]]\nname = \"rest\"\nshare = 1\npayload_y_mm = 600\nacceleration_m_per_s2 = [2, 0, 0]\n[[duty.extra]]\non = \"truck_a\"\nplace_mm = [100, -250, 400]\nmass_kg = {mass:?}\n"
    );
    let r = respond(&plan(&simple.text()), "");
    let got: Vec<f64> = r.block_loads[..4].iter().map(|b| -b[1]).collect();
    close("reactions", &got, &[1611.8559, 1304.8108, 3695.1892, 3388.1441], 1e-6);
}

#[test]
fn ref_one_corner_raised() {
    // Equal springs: +-k h / 4 = +-1000 N for 20 um and 200 N/um, the diagonal pair alike.
    let r = respond(&plan(&table().text()), "block_vertical_a_mm = [0.02, 0, 0, 0]\n");
    let got: Vec<f64> = r.block_loads[..4].iter().map(|b| -b[1]).collect();
    close("loads", &got, &[1000.0, -1000.0, -1000.0, 1000.0], 1e-6);
}

#[test]
fn ref_a_float_tells_what_it_used_of_its_way_and_whether_it_sticks() {
    // 2 N/um before it slides in series with 75 N/um of blocks: 10 um give 9.740 um and 19.48 N of 40 N. At 300 um it slides
    // under 40 N, and the blocks have given 0.533 um.
    let mut simple = span_machine(1e6);
    simple.joints[1][1] = float(0.5, 40.0, 2.0, 1000.0);
    let plan = plan(&simple.text());
    for (span_mm, way_mm, force_n, sticks) in [(0.01, 0.009_740, 19.480, true), (0.3, 0.3 - 40.0 / 75e3, 40.0, false)] {
        for sign in [-1.0, 1.0] {
            let r = respond(&plan, &format!("span_mm = {:?}\n", sign * span_mm));
            let floats: Vec<_> = r.joints.iter().filter(|j| j.travel_used.is_some()).collect();
            assert_eq!(floats.len(), 1);
            let float = floats[0];
            assert_eq!((float.end, float.number, float.axis, float.sticks), (1, 0, 1, sticks));
            // Rail B farther out: its truck is ahead of the bridge, which draws it back.
            assert!((float.delta + sign * way_mm).abs() < 1e-3 * way_mm, "{} against {way_mm}", float.delta);
            assert!((float.force + sign * force_n).abs() < 1e-3 * force_n, "{} against {force_n}", float.force);
            assert!((float.travel_used.unwrap() / (way_mm / 0.5) - 1.0).abs() < 1e-3, "{:?}", float.travel_used);
            assert!(r.joints.iter().all(|j| j.travel_used.is_some() || !j.sticks), "a spring does not stick");
        }
    }
    // With its drag set to the full value it has begun to slide wherever it is.
    let perfect = railtrue::input::Installation::perfect(&plan);
    let machine = Machine::new(&plan, 0).unwrap();
    for (drag, sticks) in [(Drag::Law, true), (Drag::Plus, false), (Drag::Minus, false)] {
        let situation = Situation { station_x_mm: 2000.0, case: 0, thermal: Default::default(), skew_mm: 0.0, drag };
        let r = machine.respond(&perfect, &TakenUp::default(), &situation).unwrap();
        assert_eq!(r.joints.iter().any(|j| j.sticks), sticks, "{drag:?}");
    }
}
