//! The bridge: a Timoshenko beam along y from end A to end B, its stress-free shape, and the exact
//! end actions of loads between its ends (Przemieniecki, Theory of Matrix Structural Analysis, ch. 5).

use nalgebra::SMatrix;

use crate::input::Installation;
use crate::input::plan::{Bridge, Thermal};
use crate::units::{A, B};

/// Freedoms of both ends: end A ux uy uz rx ry rz, end B the same.
pub(super) type Ends = nalgebra::SVector<f64, 12>;

/// One bending plane: displacement and slope of end A, then of end B.
struct Plane {
    /// Places of the four freedoms among the ends' twelve.
    at: [usize; 4],
    /// +1 where the slope is the rotation itself, -1 where it is its opposite.
    sign: f64,
    ei_n_mm2: f64,
    /// 12 EI / (G A_s L^2).
    phi: f64,
}

fn planes(bridge: &Bridge, span_mm: f64) -> [Plane; 2] {
    let phi = |ei: f64, gas: f64| 12.0 * ei / (gas * span_mm * span_mm);
    let (vertical, lateral) = (bridge.ei_vertical_n_mm2, bridge.ei_lateral_n_mm2);
    [
        // Vertical: slope of uz along y is +rx. Lateral: slope of ux along y is -rz.
        Plane { at: [2, 3, 8, 9], sign: 1.0, ei_n_mm2: vertical, phi: phi(vertical, bridge.gas_vertical_n) },
        Plane { at: [0, 5, 6, 11], sign: -1.0, ei_n_mm2: lateral, phi: phi(lateral, bridge.gas_lateral_n) },
    ]
}

impl Plane {
    fn scatter(&self, actions: [f64; 4]) -> Ends {
        let mut ends = Ends::zeros();
        for (i, action) in actions.into_iter().enumerate() {
            ends[self.at[i]] = if i % 2 == 1 { self.sign * action } else { action };
        }
        ends
    }
}

/// Stiffness of the beam in its ends' freedoms.
pub(super) fn stiffness(bridge: &Bridge, span_mm: f64) -> SMatrix<f64, 12, 12> {
    let l = span_mm;
    let mut k = SMatrix::zeros();
    for (i, axial) in [(1, bridge.ea_n / l), (4, bridge.gj_n_mm2 / l)] {
        for (a, b, sign) in [(i, i, 1.0), (i + 6, i + 6, 1.0), (i, i + 6, -1.0), (i + 6, i, -1.0)] {
            k[(a, b)] += sign * axial;
        }
    }
    for plane in planes(bridge, l) {
        let phi = plane.phi;
        let local = [
            [12.0, 6.0 * l, -12.0, 6.0 * l],
            [6.0 * l, (4.0 + phi) * l * l, -6.0 * l, (2.0 - phi) * l * l],
            [-12.0, -6.0 * l, 12.0, -6.0 * l],
            [6.0 * l, (2.0 - phi) * l * l, -6.0 * l, (4.0 + phi) * l * l],
        ];
        let scale = plane.ei_n_mm2 / (l.powi(3) * (1.0 + phi));
        for i in 0..4 {
            for j in 0..4 {
                let sign = if (i + j) % 2 == 1 { plane.sign } else { 1.0 };
                k[(plane.at[i], plane.at[j])] += sign * scale * local[i][j];
            }
        }
    }
    k
}

/// Shape functions of displacement N1..N4 at t = y/L.
pub(super) fn displacement_shape(t: f64, l: f64, phi: f64) -> [f64; 4] {
    let (t2, t3, n) = (t * t, t * t * t, 1.0 + phi);
    [
        (1.0 - 3.0 * t2 + 2.0 * t3 + phi * (1.0 - t)) / n,
        l * (t - 2.0 * t2 + t3 + phi / 2.0 * (t - t2)) / n,
        (3.0 * t2 - 2.0 * t3 + phi * t) / n,
        l * (-t2 + t3 - phi / 2.0 * (t - t2)) / n,
    ]
}

/// Shape functions of section rotation at t = y/L.
pub(super) fn rotation_shape(t: f64, l: f64, phi: f64) -> [f64; 4] {
    let (t2, n) = (t * t, 1.0 + phi);
    let first = 6.0 * (t2 - t) / (l * n);
    [first, (1.0 - 4.0 * t + 3.0 * t2 + phi * (1.0 - t)) / n, -first, (-2.0 * t + 3.0 * t2 + phi * t) / n]
}

/// Six rows: displacement and section rotation of the axis at `y_mm` from the ends' freedoms.
pub(super) fn axis_rows(bridge: &Bridge, span_mm: f64, y_mm: f64) -> [Ends; 6] {
    let t = y_mm / span_mm;
    let mut rows = [Ends::zeros(); 6];
    for i in [1, 4] {
        rows[i][i] = 1.0 - t;
        rows[i][i + 6] = t;
    }
    let [vertical, lateral] = planes(bridge, span_mm);
    rows[2] = vertical.scatter(displacement_shape(t, span_mm, vertical.phi));
    rows[3] = vertical.scatter(rotation_shape(t, span_mm, vertical.phi)) * vertical.sign;
    rows[0] = lateral.scatter(displacement_shape(t, span_mm, lateral.phi));
    rows[5] = lateral.scatter(rotation_shape(t, span_mm, lateral.phi)) * lateral.sign;
    rows
}

/// End actions of a force and a couple at `y_mm`: the work of unit end motions.
pub(super) fn point_actions(bridge: &Bridge, span_mm: f64, y_mm: f64, force_n: [f64; 3], couple_n_mm: [f64; 3]) -> Ends {
    let rows = axis_rows(bridge, span_mm, y_mm);
    (0..3).map(|i| rows[i] * force_n[i] + rows[i + 3] * couple_n_mm[i]).sum()
}

/// End actions of a force spread evenly over the beam: halves, and w L^2/12 at clamped ends.
pub(super) fn spread_actions(bridge: &Bridge, span_mm: f64, force_n: [f64; 3]) -> Ends {
    let mut ends = Ends::zeros();
    ends[1] = force_n[1] / 2.0;
    ends[7] = force_n[1] / 2.0;
    for (plane, f) in planes(bridge, span_mm).iter().zip([force_n[2], force_n[0]]) {
        let couple = f * span_mm / 12.0;
        ends += plane.scatter([f / 2.0, couple, f / 2.0, -couple]);
    }
    ends
}

/// Stress-free shape of the ends: made errors and heat.
pub(super) fn stress_free(
    bridge: &Bridge,
    span_mm: f64,
    frame_expansion_per_k: f64,
    installation: &Installation,
    thermal: &Thermal,
) -> Ends {
    let mut q0 = Ends::zeros();
    let growth = bridge.expansion_per_k * thermal.bridge_dt_k - frame_expansion_per_k * thermal.frame_dt_k;
    q0[7] = installation.bridge_length_mm + growth * span_mm;
    q0[10] = installation.bridge_twist_rad;
    let bend = gradient_curvature(bridge, thermal) * span_mm / 2.0;
    q0[3] = installation.end_tilt_rad[A] + bend;
    q0[9] = installation.end_tilt_rad[B] - bend;
    q0[5] = installation.end_squareness_rad[A];
    q0[11] = installation.end_squareness_rad[B];
    q0
}

/// Curvature of the free beam with its top hotter, per mm.
pub(super) fn gradient_curvature(bridge: &Bridge, thermal: &Thermal) -> f64 {
    bridge.height_mm.map_or(0.0, |h| bridge.expansion_per_k * thermal.top_hotter_k / h)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    /// E = 210000, I = 8e6, L = 2000 as in the tables below.
    fn slender() -> Bridge {
        let ei = 210_000.0 * 8e6;
        Bridge {
            ea_n: 1e9,
            ei_vertical_n_mm2: ei,
            ei_lateral_n_mm2: ei,
            gj_n_mm2: 1e12,
            gas_vertical_n: f64::INFINITY,
            gas_lateral_n: f64::INFINITY,
            mass_kg: 0.0,
            expansion_per_k: 0.0,
            height_mm: None,
        }
    }

    #[test]
    fn ref_slope_deflection_stiffness() {
        // Slope-deflection coefficients of any structural text (12, 6, 4, 2); numbers recomputed.
        let k = stiffness(&slender(), 2000.0);
        assert!((k[(2, 2)] - 2520.0).abs() < 1e-9 && (k[(2, 3)] - 2.52e6).abs() < 1e-6);
        assert!((k[(3, 3)] - 3.36e9).abs() < 1e-3 && (k[(3, 9)] - 1.68e9).abs() < 1e-3);
        assert!((k[(0, 0)] - 2520.0).abs() < 1e-9 && (k[(0, 5)] + 2.52e6).abs() < 1e-6);
    }

    #[test]
    fn ref_fixed_end_actions() {
        // AISC Manual table 3-23, point load at a and evenly spread load on a fixed beam (case numbers from
        // memory): P = 1000 at 500 of 2000; w = 0.5 per mm.
        let f = point_actions(&slender(), 2000.0, 500.0, [0.0, 0.0, 1000.0], [0.0; 3]);
        assert!((f[2] - 843.75).abs() < 1e-9 && (f[8] - 156.25).abs() < 1e-9);
        assert!((f[3] - 281_250.0).abs() < 1e-6 && (f[9] + 93_750.0).abs() < 1e-6);
        let f = spread_actions(&slender(), 2000.0, [0.0, 0.0, 1000.0]);
        assert!((f[3] - 0.5 * 2000.0 * 2000.0 / 12.0).abs() < 1e-6 && (f[9] + f[3]).abs() < 1e-9);
    }

    #[test]
    fn ref_timoshenko_stiffness_and_cantilever() {
        // Przemieniecki: 80 x 150 rectangle, nu 0.3, kappa 5/6; numbers recomputed.
        let (e, g) = (210_000.0, 210_000.0 / 2.6);
        let (area, i) = (80.0 * 150.0, 80.0 * 150.0_f64.powi(3) / 12.0);
        let mut beam = slender();
        beam.ei_vertical_n_mm2 = e * i;
        beam.gas_vertical_n = g * area * 5.0 / 6.0;
        let k = stiffness(&beam, 2000.0);
        assert!((k[(2, 2)] / 6965.2597 - 1.0).abs() < 1e-7, "{}", k[(2, 2)]);
        // Cantilever of 600: free end's uz and rx under 1 kN.
        let k = stiffness(&beam, 600.0);
        let tip = nalgebra::Matrix2::new(k[(8, 8)], k[(8, 9)], k[(9, 8)], k[(9, 9)]).try_inverse().unwrap();
        assert!((tip[(0, 0)] * 1000.0 - 0.015_980_952_38).abs() < 1e-10, "{}", tip[(0, 0)] * 1000.0);
    }

    #[test]
    fn check_rigid_motions_cost_nothing() {
        let mut beam = slender();
        beam.gas_lateral_n = 2e7;
        beam.gas_vertical_n = 1e7;
        let k = stiffness(&beam, 2600.0);
        for (axis, arm) in [(3, (8, 2600.0)), (5, (6, -2600.0))] {
            let mut q = Ends::zeros();
            q[axis] = 1e-3;
            q[axis + 6] = 1e-3;
            q[arm.0] = arm.1 * 1e-3;
            assert!((k * q).amax() < 1e-6, "rotation {axis}: {}", (k * q).amax());
        }
    }

    /// 24e-6 x 2 K over 200 mm is a curvature of 2.4e-7 per mm; over 2000 mm the free ends turn by half of 0.48 mrad each,
    /// A upwards and B downwards. Without a height nothing bends.
    #[test]
    fn check_a_hotter_top_turns_the_free_ends() {
        let hotter = Thermal { top_hotter_k: 2.0, ..Thermal::default() };
        let mut beam = Bridge { expansion_per_k: 24e-6, height_mm: Some(200.0), ..slender() };
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let none = Installation::perfect(&plan);
        let q0 = stress_free(&beam, 2000.0, 0.0, &none, &hotter);
        assert!((q0[3] - 2.4e-4).abs() < 1e-15 && (q0[9] + 2.4e-4).abs() < 1e-15, "{q0}");
        beam.height_mm = None;
        assert_eq!(stress_free(&beam, 2000.0, 0.0, &none, &hotter), Ends::zeros());
    }
}
