//! What a machine and its floats say of themselves: name, laws and places, what holds them, how they answer a push.

use crate::common;

use common::close;
use railtrue::input::plan::{Law, Level, Thermal};
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Drag, FloatMap, Machine, Situation, TakenUp, Vector24};

fn demo() -> Plan {
    read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
}

/// The float of the demo's floating arrangement: across at end B.
const FLOAT: Law = Law::Float { travel: 3.0, drag: 15.0, k_slide: 2000.0, k_stop: 300_000.0 };

#[test]
fn check_a_machine_tells_its_name_and_laws() {
    let plan = demo();
    let machines = [0, 1].map(|a| Machine::new(&plan, a).unwrap());
    assert_eq!([machines[0].name(), machines[1].name()], ["stiff", "floating"]);
    // Two joints at A and one at B, six components each.
    let laws = machines[1].joint_laws();
    let places: Vec<(usize, usize, usize)> = laws.iter().map(|(place, _)| *place).collect();
    let expected: Vec<(usize, usize, usize)> =
        [(0, 0), (0, 1), (1, 0)].iter().flat_map(|(e, n)| (0..6).map(move |a| (*e, *n, a))).collect();
    assert_eq!(places, expected);
    for ((end, _, axis), law) in laws {
        let expected = match (end, axis) {
            (1, 1) => FLOAT,
            (_, 0..3) => Law::Elastic { k: 300_000.0 },
            _ => Law::Elastic { k: 100_000.0 },
        };
        assert_eq!(law, expected, "end {end}, component {axis}");
    }
}

#[test]
fn check_full_drag_has_signs_only_beside_something_that_holds() {
    let with = |arrangement: usize, change: &dyn Fn(&mut Plan)| {
        let mut plan = demo();
        change(&mut plan);
        let machine = Machine::new(&plan, arrangement).unwrap();
        let maps = [Drag::Law, Drag::Plus, Drag::Minus].map(|drag| FloatMap::new(&machine, drag).is_some());
        (machine.holds_without_floats(), machine.drag_has_signs(), maps)
    };
    assert_eq!(with(0, &|_| ()), (true, false, [true; 3]), "no floats");
    assert_eq!(with(1, &|_| ()), (true, true, [true; 3]), "a float at B, held at A");
    let without_drag = Law::Float { travel: 3.0, drag: 0.0, k_slide: 0.0, k_stop: 300_000.0 };
    assert_eq!(with(1, &|p| p.arrangements[1].ends[1][0].components[1].law = without_drag), (true, false, [true; 3]), "no drag");
    // Floats at both ends: across the rails nothing but their own stiffness holds the bridge.
    let both = |p: &mut Plan| p.arrangements[1].ends[0].iter_mut().for_each(|j| j.components[1].law = FLOAT);
    assert_eq!(with(1, &both), (false, false, [true, false, false]), "floats alone");
}

#[test]
fn check_displacement_of_a_joint_is_bridge_less_truck_less_seat() {
    let plan = demo();
    let machine = Machine::new(&plan, 1).unwrap();
    let offsets: Vec<f64> = (0..18).map(|i| 0.01 * f64::from(i) - 0.05).collect();
    // Bridge end A goes 0.3 mm across, truck B sinks by 0.2 mm.
    let mut pose = Vector24::zeros();
    (pose[13], pose[8]) = (0.3, -0.2);
    let moved = |i: usize| match i {
        1 | 7 => 0.3,
        14 => 0.2,
        _ => 0.0,
    };
    let expected: Vec<f64> = (0..18).map(|i| moved(i) - offsets[i]).collect();
    close("displacements", &machine.joint_deltas(&pose, &offsets), &expected, 1e-14);
}

#[test]
fn check_drag_of_a_joint_is_that_of_its_straight_floats() {
    let mut plan = demo();
    let joint = &mut plan.arrangements[1].ends[1][0];
    joint.components[2].law = Law::Float { travel: 1.0, drag: 20.0, k_slide: 1e5, k_stop: 1e6 };
    joint.components[3].law = Law::Float { travel: 0.1, drag: 700.0, k_slide: 1e6, k_stop: 1e7 };
    let machine = Machine::new(&plan, 1).unwrap();
    // 15 N across and 20 N down; 700 N mm in roll are no force.
    assert_eq!(machine.joint_drag_squares(Drag::Plus), [0.0, 0.0, 625.0]);
    assert_eq!(machine.joint_drag_squares(Drag::Minus), [0.0, 0.0, 625.0]);
    assert_eq!(machine.joint_drag_squares(Drag::Law), [0.0; 3], "at rest there is none");
}

#[test]
fn check_a_block_is_as_stiff_as_its_level_says_and_its_support_yields_in_series() {
    let mut plan = demo();
    let series = |own: [f64; 5]| {
        let with = |i: usize, support: f64| 1.0 / (1.0 / own[i] + 1.0 / support);
        [with(0, 25e3), with(1, 60e3), with(2, 120e6), own[3], own[4]]
    };
    // The data sheet's figures: N/mm and N mm/rad.
    let of_sheet = series([220e3, 260e3, 18e6, 45e6, 40e6]);
    for block in Machine::new(&plan, 1).unwrap().block_stiffnesses() {
        close("data sheet", &block, &of_sheet, 1e-12);
    }
    plan.block.level = Level::Contact;
    let machine = Machine::new(&plan, 1).unwrap();
    let of_rows = series(machine.rows().unwrap().stiffness_at_rest());
    assert!((of_rows[0] / of_sheet[0] - 1.0).abs() > 1e-3, "both levels are alike here: the test sees nothing");
    for block in machine.block_stiffnesses() {
        close("rows", &block, &of_rows, 1e-12);
    }
}

#[test]
fn check_a_float_tells_its_place_and_when_it_sticks() {
    let plan = demo();
    let machine = Machine::new(&plan, 1).unwrap();
    let map = FloatMap::new(&machine, Drag::Law).unwrap();
    assert_eq!((map.count(), map.place(0), map.law(0), map.travel(0)), (1, (1, 0, 1), FLOAT, 3.0));
    // 2000 N/mm up to 15 N: 7.5 um.
    for sign in [-1.0, 1.0] {
        assert!(map.sticks(0, sign * 0.0074) && !map.sticks(0, sign * 0.0076) && !map.sticks(0, sign * 3.5));
    }
}

/// Full drag the one way and the other: between them the float pushes with twice its drag.
#[test]
fn cross_a_unit_push_is_half_the_way_between_both_drags() {
    let mut plan = demo();
    plan.arrangements[1].ends[1][0].components[1].law = Law::Float { travel: 3.0, drag: 400.0, k_slide: 2000.0, k_stop: 300_000.0 };
    let machine = Machine::new(&plan, 1).unwrap();
    let perfect = Installation::perfect(&plan);
    let pose = |drag: Drag| {
        let situation = Situation { station_x_mm: 2500.0, case: 0, thermal: Thermal::default(), skew_mm: 0.0, drag };
        machine.respond(&perfect, &TakenUp::default(), &situation).unwrap().pose
    };
    let expected = (pose(Drag::Plus) - pose(Drag::Minus)) / 800.0;
    for drag in [Drag::Plus, Drag::Minus] {
        let pushed = FloatMap::new(&machine, drag).unwrap().pushed(0);
        close("pushed", pushed.as_slice(), expected.as_slice(), 1e-8);
        // Truck B is pushed to +y, the bridge to -y.
        assert!(pushed[7] > 0.0 && pushed[13] < 0.0 && pushed[19] < 0.0);
    }
}
