//! The rigid motion that lays measured points onto nominal ones with the least sum of squares.

use nalgebra::{Matrix2, Matrix3, Vector3};

/// A rotation followed by a shift: `p -> R p + t`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RigidMotion {
    /// The rotation.
    pub rotation: Matrix3<f64>,
    /// The shift, mm.
    pub shift: Vector3<f64>,
}

impl RigidMotion {
    /// Where a point goes.
    #[must_use]
    pub fn of(&self, point: [f64; 3]) -> [f64; 3] {
        (self.rotation * Vector3::from(point) + self.shift).into()
    }

    /// Rotation about the vertical axis, rad.
    #[must_use]
    pub fn yaw_rad(&self) -> f64 {
        self.rotation[(1, 0)].atan2(self.rotation[(0, 0)])
    }

    /// Angle between the measured z axis and the nominal one, rad.
    #[must_use]
    pub fn tilt_rad(&self) -> f64 {
        let [x, y, z] = [self.rotation[(0, 2)], self.rotation[(1, 2)], self.rotation[(2, 2)]];
        x.hypot(y).atan2(z)
    }
}

/// Lays `measured` onto `nominal`; with `upright` the rotation is about z alone, because the measured z is tied to gravity.
///
/// Singular value decomposition of the cross-covariance (Kabsch, Acta Cryst. A32, 1976, from memory), kept a proper
/// rotation. Returns `None` for fewer than two points (three without `upright`), or points that leave a rotation open.
#[must_use]
pub fn lay_onto(measured: &[[f64; 3]], nominal: &[[f64; 3]], upright: bool) -> Option<RigidMotion> {
    let n = measured.len();
    if n != nominal.len() || n < if upright { 2 } else { 3 } {
        return None;
    }
    let mean = |list: &[[f64; 3]]| list.iter().map(|p| Vector3::from(*p)).sum::<Vector3<f64>>() / n as f64;
    let (from, to) = (mean(measured), mean(nominal));
    let mut covariance = Matrix3::zeros();
    for (m, p) in measured.iter().zip(nominal) {
        covariance += (Vector3::from(*p) - to) * (Vector3::from(*m) - from).transpose();
    }
    let rotation = if upright { about_z(&covariance) } else { about_any(&covariance) }?;
    Some(RigidMotion { rotation, shift: to - rotation * from })
}

fn about_any(covariance: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let svd = covariance.svd(true, true);
    let mut sizes: Vec<f64> = svd.singular_values.iter().copied().collect();
    sizes.sort_by(f64::total_cmp);
    if !(sizes[1] > 1e-9 * sizes[2]) {
        return None;
    }
    let (u, vt) = (svd.u?, svd.v_t?);
    let sign = (u * vt).determinant().signum();
    // The smallest singular value belongs to the axis that may be mirrored.
    let least = svd.singular_values.imin();
    let mut mirror = Matrix3::identity();
    mirror[(least, least)] = sign;
    Some(u * mirror * vt)
}

fn about_z(covariance: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let flat: Matrix2<f64> = covariance.fixed_view::<2, 2>(0, 0).into_owned();
    let (sine, cosine) = (flat[(1, 0)] - flat[(0, 1)], flat[(0, 0)] + flat[(1, 1)]);
    let size = sine.hypot(cosine);
    if !(size > 0.0) {
        return None;
    }
    let (s, c) = (sine / size, cosine / size);
    Some(Matrix3::new(c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    fn rails() -> Vec<[f64; 3]> {
        (0..14).flat_map(|i| [[500.0 * f64::from(i), 0.0, 0.0], [500.0 * f64::from(i), 2600.0, 0.0]]).collect()
    }

    #[test]
    fn check_a_motion_put_on_points_comes_back_out() {
        for (roll, pitch, yaw) in [(0.0, 0.0, 0.4), (0.3, -0.2, 2.9), (3.0, 0.1, -1.0)] {
            let put = Rotation3::from_euler_angles(roll, pitch, yaw);
            let shift = Vector3::new(12_000.0, -350.0, 777.0);
            let moved: Vec<[f64; 3]> = rails().iter().map(|p| (put * Vector3::from(*p) + shift).into()).collect();
            let back = lay_onto(&moved, &rails(), false).unwrap();
            assert!((back.rotation - put.inverse().matrix()).amax() < 1e-12);
            for (m, n) in moved.iter().zip(rails()) {
                let p = back.of(*m);
                assert!((0..3).all(|i| (p[i] - n[i]).abs() < 1e-8), "{p:?}");
            }
        }
    }

    #[test]
    fn check_upright_keeps_tilt_and_finds_yaw() {
        let put = Rotation3::from_euler_angles(0.002, 0.0, 1.1);
        let moved: Vec<[f64; 3]> = rails().iter().map(|p| (put * Vector3::from(*p)).into()).collect();
        let back = lay_onto(&moved, &rails(), true).unwrap();
        assert!((back.yaw_rad() + 1.1).abs() < 1e-5);
        assert_eq!(back.tilt_rad(), 0.0);
        // The tilt about x is still in the points: rail B is higher by span x angle.
        let (a, b) = (back.of(moved[0]), back.of(moved[1]));
        assert!((b[2] - a[2] - 2600.0 * 0.002).abs() < 1e-3);
    }

    #[test]
    fn check_upright_brings_points_that_were_only_turned_and_shifted_home() {
        let put = Rotation3::from_euler_angles(0.0, 0.0, -0.7);
        let moved: Vec<[f64; 3]> = rails().iter().map(|p| (put * Vector3::from(*p) + Vector3::new(5.0, -7.0, 9.0)).into()).collect();
        let back = lay_onto(&moved, &rails(), true).unwrap();
        for (m, n) in moved.iter().zip(rails()) {
            let p = back.of(*m);
            assert!((0..3).all(|i| (p[i] - n[i]).abs() < 1e-8), "{p:?}");
        }
    }

    #[test]
    fn check_tilt_is_the_angle_of_the_vertical_axis() {
        for (about_x, about_y) in [(0.03, 0.0), (0.0, -0.04), (0.03, 0.04)] {
            let put = Rotation3::from_euler_angles(about_x, about_y, 0.9);
            let moved: Vec<[f64; 3]> = rails().iter().map(|p| (put * Vector3::from(*p)).into()).collect();
            let back = lay_onto(&moved, &rails(), false).unwrap();
            let expected = (about_x.cos() * about_y.cos()).acos();
            assert!((back.tilt_rad() - expected).abs() < 1e-9, "{}", back.tilt_rad());
        }
    }

    #[test]
    fn check_how_many_points_are_enough() {
        let three = [[0.0, 0.0, 0.0], [1e-4, 0.0, 0.0], [0.0, 1e-4, 0.0]];
        assert!(lay_onto(&three, &three, false).is_some(), "also of a tenth of a micrometre");
        assert!(lay_onto(&three[..2], &three[..2], false).is_none() && lay_onto(&three[..2], &three[..2], true).is_some());
        assert!(lay_onto(&three[..1], &three[..1], true).is_none());
        assert!(lay_onto(&three, &three[..2], true).is_none());
        assert!(lay_onto(&[[1.0, 2.0, 3.0]; 3], &[[1.0, 2.0, 3.0]; 3], true).is_none(), "all at one place");
    }

    #[test]
    fn points_on_one_line_leave_a_rotation_open() {
        let line: Vec<[f64; 3]> = (0..5).map(|i| [f64::from(i), 0.0, 0.0]).collect();
        assert!(lay_onto(&line, &line, false).is_none());
        assert!(lay_onto(&line, &line, true).is_some());
    }

    #[test]
    fn check_points_all_at_one_place_say_nothing_of_a_rotation() {
        let one = [[1.0, 2.0, 3.0]; 3];
        assert!(lay_onto(&one, &one, false).is_none() && lay_onto(&one, &one, true).is_none());
    }

    /// Both in a national grid, thousands of kilometres from its origin: turned by 0.3 mrad about one of the points.
    #[test]
    fn check_a_distant_origin_spoils_no_rotation() {
        let place = |i: u32| [500.3 * f64::from(i) + 7.0 * f64::from(i % 3), 371.7 * f64::from(i * i % 5), 11.1 * f64::from(i % 2)];
        let grid = |p: [f64; 3]| [p[0] + 5.4e9, p[1] + 4.1e8, p[2] + 3e5];
        let put = Rotation3::from_euler_angles(0.0, 0.0, 3e-4);
        let nominal: Vec<[f64; 3]> = (0..7).map(|i| grid(place(i))).collect();
        let measured: Vec<[f64; 3]> = (0..7).map(|i| grid((put * Vector3::from(place(i))).into())).collect();
        for upright in [true, false] {
            let back = lay_onto(&measured, &nominal, upright).unwrap();
            assert!((back.yaw_rad() + 3e-4).abs() < 1e-8, "{upright}: {}", back.yaw_rad());
        }
    }
}
