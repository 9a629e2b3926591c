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
