//! Laws of joints tightened on the machine: optimality, slots at their end, what vanishes and what stays.

use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, ServiceState, Work};
use railtrue::input::plan::{DragStates, Law};
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Machine, TakenUp, Tightener};

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

/// The demo with slots of 5 mm across at end A, and one joint at end B whose component across has this law and slot.
fn slots_at_a(law: Law, take_up: f64) -> Plan {
    let mut plan = demo();
    plan.arrangements[0].ends[1] = plan.arrangements[1].ends[1].clone();
    plan.arrangements[0].ends[0].iter_mut().for_each(|j| j.components[1].take_up = 5.0);
    let across = &mut plan.arrangements[0].ends[1][0].components[1];
    (across.law, across.take_up) = (law, take_up);
    plan
}

fn tau(plan: &Plan, installation: &Installation) -> TakenUp {
    taken_up(&Machine::new(plan, 0).unwrap(), installation)
}

fn alike(what: &str, a: &TakenUp, b: &TakenUp) {
    assert_eq!(a.tau.len(), b.tau.len());
    for (i, (x, y)) in a.tau.iter().zip(&b.tau).enumerate() {
        assert!((x - y).abs() < 1e-6, "{what}, component {i}: {x} against {y}");
    }
}

/// Slots that are long enough bring the float back to rest, wherever it was before: on its stop, sliding, or with its other
/// stop within the slots' reach. At rest it is a spring, and a spring of that stiffness in its stead takes one step.
#[test]
fn cross_slots_bring_another_float_back_to_rest() {
    let spring = slots_at_a(Law::Elastic { k: 2000.0 }, 0.0);
    let mut off = Installation::perfect(&spring);
    (off.span_mm, off.height_mm, off.parallelism_mm, off.end_squareness_rad) = (2.0, 0.5, 0.3, [0.0003, -0.0002]);
    for span_mm in [2.0, -2.0] {
        off.span_mm = span_mm;
        let expected = tau(&spring, &off);
        assert!((expected.tau[1] - span_mm).abs() < 0.1 && expected.slot_used < 0.9, "{expected:?}");
        for travel in [0.5, 2.5, 6.0] {
            let float = slots_at_a(Law::Float { travel, drag: 150.0, k_slide: 2000.0, k_stop: 300_000.0 }, 0.0);
            alike(&format!("travel {travel}"), &tau(&float, &off), &expected);
        }
    }
}

/// The float's seat 2 mm out of place is the misfit of a rail 2 mm out of place.
#[test]
fn check_a_seat_out_of_place_is_taken_up_like_a_rail_out_of_place() {
    for travel in [0.5, 2.5, 6.0] {
        let plan = slots_at_a(Law::Float { travel, drag: 150.0, k_slide: 2000.0, k_stop: 300_000.0 }, 0.0);
        let (mut rail, mut seat) = (Installation::perfect(&plan), Installation::perfect(&plan));
        rail.span_mm = 2.0;
        seat.seats[1][0][1] = 2.0;
        alike(&format!("travel {travel}"), &tau(&plan, &seat), &tau(&plan, &rail));
    }
}

/// While it is tightened, a float in a slot of its own is loose like any other: it counts with its stiffness at rest.
#[test]
fn check_a_float_with_a_slot_of_its_own_is_loose_while_tightened() {
    let float = slots_at_a(Law::Float { travel: 3.0, drag: 15.0, k_slide: 2000.0, k_stop: 300_000.0 }, 1.5);
    let spring = slots_at_a(Law::Elastic { k: 2000.0 }, 1.5);
    let mut off = Installation::perfect(&float);
    (off.span_mm, off.height_mm, off.end_squareness_rad) = (0.8, 0.5, [0.0003, -0.0002]);
    let taken = tau(&float, &off);
    alike("with a slot of its own", &taken, &tau(&spring, &off));
    assert!(taken.tau[1] > 0.0 && taken.slot_used < 1.0, "{taken:?}");
}

/// Joints are tightened under dead weight: what else the first load case pulls with is not there yet, its masses are.
#[test]
fn check_extra_masses_count_while_joints_are_tightened_and_extra_forces_do_not() {
    let mut plan = demo();
    let mut off = Installation::perfect(&plan);
    off.parallelism_mm = 0.5;
    let before = tau(&plan, &off);
    plan.duty[0].extras[0].force_n = [500.0, 3000.0, -4000.0];
    assert_eq!(tau(&plan, &off), before);
    plan.duty[0].extras[0].mass_kg = 400.0;
    let heavier = tau(&plan, &off);
    assert!(heavier.tau.iter().zip(&before.tau).any(|(a, b)| (a - b).abs() > 1e-5), "{heavier:?} {before:?}");
}
