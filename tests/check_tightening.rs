//! Laws of joints tightened on the machine: optimality, slots at their end, what vanishes and what stays.

use railtrue::input::plan::{DragStates, Law};
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Machine, TakenUp, Tightener};
use railtrue::study::{Draws, Evaluator, ServiceState, Work, run};

fn demo() -> Plan {
    read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
}

fn drawn(plan: &Plan, machine: &Machine<'_>, count: u64) -> Vec<Installation> {
    let draws = Draws::new(plan, machine.rails());
    run(0, count, 4, || (), |(), _, rng| draws.draw(rng))
}

fn taken_up(machine: &Machine<'_>, installation: &Installation) -> TakenUp {
    Tightener::new(machine).unwrap().unwrap().take_up(machine, installation).unwrap()
}

fn life(plan: &Plan, arrangement: usize, installation: &Installation) -> f64 {
    let evaluator = Evaluator::new(Machine::new(plan, arrangement).unwrap(), DragStates::Law).unwrap();
    evaluator.evaluate(installation, &[ServiceState::still()], &mut Work::default()).unwrap().life_km
}

#[test]
fn check_span_and_height_vanish_and_parallelism_stays() {
    let plan = demo();
    let perfect = Installation::perfect(&plan);
    let best = life(&plan, 0, &perfect);
    let with = |set: fn(&mut Installation)| {
        let mut i = perfect.clone();
        set(&mut i);
        life(&plan, 0, &i)
    };
    // What is left is the regularisation's share, 1e-8 of each joint's stiffness.
    assert!((with(|i| i.span_mm = 1.0) / best - 1.0).abs() < 1e-5);
    assert!((with(|i| i.height_mm = 1.0) / best - 1.0).abs() < 1e-5);
    assert!((with(|i| i.bridge_length_mm = 0.8) / best - 1.0).abs() < 1e-5);
    assert!(with(|i| i.parallelism_mm = 1.0) < 0.1 * best);
    assert!(with(|i| i.vertical_parallelism_mm = 2.0) < 0.5 * best);
}

#[test]
fn check_a_slot_at_its_end_limits_what_is_taken_up() {
    let mut plan = demo();
    let machine = Machine::new(&plan, 0).unwrap();
    let mut wide = Installation::perfect(&plan);
    wide.span_mm = 8.0;
    let used = taken_up(&machine, &wide);
    assert!((used.slot_used - 1.0).abs() < 1e-9, "{}", used.slot_used);
    // Twice the slot takes up twice as much, and the load that is left falls.
    let load = |plan: &Plan| {
        let e = Evaluator::new(Machine::new(plan, 0).unwrap(), DragStates::Law).unwrap();
        e.evaluate(&wide, &[ServiceState::still()], &mut Work::default()).unwrap().peak_load_n
    };
    let narrow_load = load(&plan);
    for joint in plan.arrangements[0].ends.iter_mut().flatten() {
        joint.components[1].take_up *= 2.0;
    }
    assert!(load(&plan) < 0.7 * narrow_load);
}

#[test]
fn check_forces_of_taken_up_components_carry_the_weight_only() {
    use railtrue::structure::{Drag, Situation};
    let mut plan = demo();
    // A load case that is the tightening state itself.
    let tight = plan.tightening.clone();
    plan.duty[0].payload_y_mm = tight.payload_y_mm;
    plan.duty[0].payload_kg = tight.payload_kg;
    plan.duty[0].payload_arm_mm = tight.payload_arm_mm;
    plan.duty[0].acceleration_m_per_s2 = [0.0; 3];
    plan.duty[0].extras.clear();
    let machine = Machine::new(&plan, 0).unwrap();
    let s = Situation { station_x_mm: tight.station_x_mm, case: 0, thermal: tight.thermal, skew_mm: 0.0, drag: Drag::Law };
    for mut installation in drawn(&plan, &machine, 20) {
        installation.drive_offset_mm = [0.0; 2];
        let taken = taken_up(&machine, &installation);
        assert!(taken.slot_used < 1.0);
        let r = machine.respond(&installation, &taken, &s).unwrap();
        for j in r.joints.iter().filter(|j| j.axis != 0 && j.axis != 2) {
            let small = if j.axis < 3 { 0.1 } else { 100.0 };
            assert!(j.force.abs() < small, "component {} carries {}", j.axis, j.force);
        }
        let weight: f64 = r.joints.iter().filter(|j| j.axis == 2).map(|j| j.force).sum();
        let bridge = (plan.bridge.mass_kg + plan.slide_kg + tight.payload_kg) * 9.80665;
        assert!((weight + bridge).abs() < 1e-6 * bridge, "{weight} of {bridge}");
    }
}

#[test]
fn check_other_floats_slide_while_joints_are_tightened() {
    // End A is taken up, end B floats with drag and is not: the program is repeated with the float's tangent. A second
    // start from a machine whose float has no drag must agree when the drag goes to nothing.
    let mut plan = demo();
    plan.arrangements[0].ends[1] = plan.arrangements[1].ends[1].clone();
    let floating = |plan: &mut Plan, new_drag: f64| {
        for joint in &mut plan.arrangements[0].ends[1] {
            if let Law::Float { drag, .. } = &mut joint.components[1].law {
                *drag = new_drag;
            }
        }
    };
    for new_drag in [150.0, 15.0] {
        floating(&mut plan, new_drag);
        let machine = Machine::new(&plan, 0).unwrap();
        for installation in drawn(&plan, &machine, 40) {
            let taken = taken_up(&machine, &installation);
            assert!(taken.tau.iter().all(|t| t.is_finite()) && taken.slot_used <= 1.0 + 1e-9);
        }
    }
    let tau = |plan: &Plan, drag_free: bool| {
        let machine = Machine::new(plan, 0).unwrap();
        let mut i = Installation::perfect(plan);
        (i.span_mm, i.parallelism_mm, i.height_mm) = (0.8, 0.3, 0.5);
        i.end_squareness_rad = [0.0003, -0.0002];
        assert!(drag_free || machine.float_count() == 1);
        taken_up(&machine, &i).tau
    };
    floating(&mut plan, 1e-10);
    let sliding = tau(&plan, false);
    for joint in &mut plan.arrangements[0].ends[1] {
        joint.components[1].law = Law::Free;
    }
    let free = tau(&plan, true);
    // The components of end A come first in both.
    for (a, b) in sliding.iter().zip(&free).take(12) {
        assert!((a - b).abs() < 1e-6, "{a} against {b}");
    }
}
