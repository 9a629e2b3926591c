//! Rows that turn the 24 degrees of freedom into displacements of blocks, joints and drives.
//! A point at arm r moves by u + theta x r.

use super::Vector24;
use crate::input::plan::{BlockPlace, Drive, Joint};

/// First degree of freedom of a truck.
pub(super) fn truck(side: usize) -> usize {
    6 * side
}

/// First degree of freedom of a bridge end.
pub(super) fn end(side: usize) -> usize {
    12 + 6 * side
}

/// Six rows: displacement and rotation of the point at `arm` of the body whose freedoms start at `at`.
pub(super) fn point_rows(at: usize, arm: [f64; 3]) -> [Vector24; 6] {
    let [x, y, z] = arm;
    let mut rows = [Vector24::zeros(); 6];
    for (i, row) in rows.iter_mut().enumerate() {
        row[at + i] = 1.0;
    }
    // theta x r = (ry z - rz y, rz x - rx z, rx y - ry x)
    rows[0][at + 4] = z;
    rows[0][at + 5] = -y;
    rows[1][at + 5] = x;
    rows[1][at + 3] = -z;
    rows[2][at + 3] = y;
    rows[2][at + 4] = -x;
    rows
}

/// Five rows of a block: y, z, roll, pitch, yaw of its truck at its place.
pub(super) fn block_rows(side: usize, place: BlockPlace) -> [Vector24; 5] {
    let [_, y, z, rx, ry, rz] = point_rows(truck(side), [place.x_mm, place.lateral_mm, 0.0]);
    [y, z, rx, ry, rz]
}

/// Six rows of a joint: motion of the bridge end minus motion of the truck at its place.
pub(super) fn joint_rows(side: usize, joint: &Joint, axis_height_mm: f64) -> [Vector24; 6] {
    let [x, y, z] = joint.place_mm;
    let of_end = point_rows(end(side), [x, y, z - axis_height_mm]);
    let of_truck = point_rows(truck(side), [x, y, z]);
    std::array::from_fn(|i| of_end[i] - of_truck[i])
}

/// Displacement of the drive's thrust line along x.
pub(super) fn drive_row(side: usize, drive: &Drive) -> Vector24 {
    point_rows(truck(side), [0.0, drive.lateral_mm[side], drive.height_mm])[0]
}

/// Adds force and moment at a point of a body to a load vector.
pub(super) fn add_force(load: &mut Vector24, at: usize, arm: [f64; 3], force: [f64; 3]) {
    for (row, f) in point_rows(at, arm).iter().zip(force) {
        *load += row * f;
    }
}

/// Displacement of the bridge end less that of the truck at a joint's place.
pub(super) fn relative_displacement(pose: &Vector24, side: usize, place_mm: [f64; 3], axis_height_mm: f64) -> [f64; 3] {
    let at = |first: usize, z: f64| {
        let [x, y, _] = place_mm;
        let (rx, ry, rz) = (pose[first + 3], pose[first + 4], pose[first + 5]);
        [pose[first] + ry * z - rz * y, pose[first + 1] + rz * x - rx * z, pose[first + 2] + rx * y - ry * x]
    };
    let of_end = at(end(side), place_mm[2] - axis_height_mm);
    let of_truck = at(truck(side), place_mm[2]);
    std::array::from_fn(|i| of_end[i] - of_truck[i])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::plan::{Component, Law};
    use nalgebra::Vector3;

    fn pose() -> Vector24 {
        Vector24::from_fn(|i, _| 0.37 * (i as f64 + 1.0) - 0.011 * (i as f64 * 1.7).powi(2))
    }

    /// The motion of a point by u + theta x r, with nalgebra's cross product.
    fn motion(pose: &Vector24, first: usize, arm: [f64; 3]) -> Vector3<f64> {
        let part = |at: usize| Vector3::new(pose[at], pose[at + 1], pose[at + 2]);
        part(first) + part(first + 3).cross(&Vector3::from(arm))
    }

    #[test]
    fn cross_rows_are_a_rigid_bodys_motion() {
        let (q, arm) = (pose(), [3.0, -5.0, 7.0]);
        for first in [truck(0), truck(1), end(0), end(1)] {
            let rows = point_rows(first, arm);
            let expected = motion(&q, first, arm);
            for i in 0..3 {
                assert!((rows[i].dot(&q) - expected[i]).abs() < 1e-12);
                assert_eq!(rows[i + 3].dot(&q), q[first + 3 + i]);
            }
            // A force at the arm: itself and arm x force.
            let force = Vector3::new(11.0, 13.0, -17.0);
            let mut load = Vector24::zeros();
            add_force(&mut load, first, arm, force.into());
            let moment = Vector3::from(arm).cross(&force);
            for i in 0..3 {
                assert_eq!((load[first + i], load[first + 3 + i]), (force[i], moment[i]));
            }
        }
        assert_eq!([truck(0), truck(1), end(0), end(1)], [0, 6, 12, 18]);
    }

    #[test]
    fn cross_blocks_joints_and_drives_move_with_their_bodies() {
        let (q, height) = (pose(), 90.0);
        let place = BlockPlace { x_mm: 120.0, lateral_mm: -35.0 };
        let rows = block_rows(1, place).map(|r| r.dot(&q));
        let at_block = motion(&q, 6, [120.0, -35.0, 0.0]);
        assert!((rows[0] - at_block[1]).abs() < 1e-12 && (rows[1] - at_block[2]).abs() < 1e-12);
        assert_eq!(rows[2..], [q[9], q[10], q[11]]);

        let free = Component { law: Law::Free, take_up: 0.0 };
        let joint = Joint { name: String::new(), place_mm: [40.0, -20.0, 60.0], components: [free; 6] };
        let got = joint_rows(1, &joint, height).map(|r| r.dot(&q));
        let expected = motion(&q, 18, [40.0, -20.0, 60.0 - height]) - motion(&q, 6, [40.0, -20.0, 60.0]);
        let relative = relative_displacement(&q, 1, joint.place_mm, height);
        for i in 0..3 {
            assert!((got[i] - expected[i]).abs() < 1e-10 && (relative[i] - expected[i]).abs() < 1e-10);
            assert!((got[3 + i] - (q[21 + i] - q[9 + i])).abs() < 1e-12);
        }
    }
}
