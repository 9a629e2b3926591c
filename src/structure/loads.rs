//! Loads of a load case: weight, inertia, payload, extra masses and forces.

use super::Vector24;
use super::beam::{point_actions, spread_actions};
use super::kinematics::{add_force, truck};
use crate::input::plan::{Carrier, Extra, LoadCase, Plan, Tightening};
use crate::units::GRAVITY_M_PER_S2;

/// Force of a mass under gravity and acceleration: m (-a - g e_z).
fn inertia(mass_kg: f64, a: [f64; 3]) -> [f64; 3] {
    [-mass_kg * a[0], -mass_kg * a[1], -mass_kg * (a[2] + GRAVITY_M_PER_S2)]
}

/// Loads of a case on the 24 freedoms (N, N mm).
pub(super) fn case_loads(plan: &Plan, case: &LoadCase) -> Vector24 {
    let a = case.acceleration_m_per_s2;
    let mut load = Vector24::zeros();
    for side in 0..2 {
        let t = &plan.trucks[side];
        add_force(&mut load, truck(side), t.centre_mm, inertia(t.mass_kg, a));
    }
    let span = plan.frame.span_mm;
    let mut on_bridge = spread_actions(&plan.bridge, span, inertia(plan.bridge.mass_kg, a));
    let mut at = |y: f64, x: f64, z: f64, f: [f64; 3]| {
        let couple = [-z * f[1], z * f[0] - x * f[2], x * f[1]];
        on_bridge += point_actions(&plan.bridge, span, y, f, couple);
    };
    let [x, z] = case.payload_arm_mm;
    at(case.payload_y_mm, x, z, inertia(plan.slide_kg + case.payload_kg, a));
    for extra in &case.extras {
        let weight = inertia(extra.mass_kg, a);
        let force = std::array::from_fn(|i| weight[i] + extra.force_n[i]);
        let [x, y, z] = extra.place_mm;
        match extra.carrier {
            Carrier::Bridge => at(y, x, z, force),
            Carrier::Truck(side) => add_force(&mut load, truck(side), extra.place_mm, force),
        }
    }
    for i in 0..12 {
        load[12 + i] += on_bridge[i];
    }
    load
}

/// Dead weight in the state in which the joints are tightened; extra masses are those of the first load case.
pub(super) fn tightening_loads(plan: &Plan, state: &Tightening) -> Vector24 {
    let masses = plan.duty.first().map_or(&[][..], |case| &case.extras);
    let case = LoadCase {
        name: String::new(),
        share: 0.0,
        payload_kg: state.payload_kg,
        payload_y_mm: state.payload_y_mm,
        payload_arm_mm: state.payload_arm_mm,
        acceleration_m_per_s2: [0.0; 3],
        extras: masses.iter().map(|e| Extra { force_n: [0.0; 3], ..e.clone() }).collect(),
    };
    case_loads(plan, &case)
}
