//! The mirror about the middle plane between the rails.

use railtrue::input::{Installation, Plan};
use railtrue::units::{A, B};

/// The mirror of an installation about the middle plane between the rails.
pub(crate) fn mirrored(plan: &Plan, i: &Installation) -> Installation {
    let mut m = Installation::perfect(plan);
    let flip = |v: &Vec<f64>| -> Vec<f64> { v.iter().map(|x| -x).collect() };
    let zeros = vec![0.0; plan.frame.anchors_x_mm.len()];
    let own = |rail: usize, row: usize| if i.residual[rail][row].is_empty() { zeros.clone() } else { i.residual[rail][row].clone() };
    for (rail, other) in [(A, B), (B, A)] {
        m.residual[rail] = [flip(&own(other, 0)), own(other, 1), flip(&own(other, 2))];
        m.cross_level_rad[rail] = -i.cross_level_rad[other];
        m.cross_level_twist_rad[rail] = -i.cross_level_twist_rad[other];
        m.end_tilt_rad[rail] = -i.end_tilt_rad[other];
        m.end_squareness_rad[rail] = -i.end_squareness_rad[other];
        m.drive_offset_mm[rail] = i.drive_offset_mm[other];
    }
    // Rail B's line relative to A becomes rail A's relative to B; a rigid shift and lift brings A back to its line.
    m.span_mm = i.span_mm;
    m.parallelism_mm = i.parallelism_mm;
    let s = |x: f64| plan.frame.s(x);
    for (k, x) in plan.frame.anchors_x_mm.iter().enumerate() {
        let lateral = i.span_mm + i.parallelism_mm * s(*x);
        let height = i.height_mm + i.vertical_parallelism_mm * s(*x);
        for rail in [A, B] {
            m.residual[rail][0][k] -= lateral;
            m.residual[rail][1][k] += height;
        }
    }
    m.height_mm = -i.height_mm;
    m.vertical_parallelism_mm = -i.vertical_parallelism_mm;
    m.bridge_length_mm = i.bridge_length_mm;
    // ry is a rotation about y: the mirror keeps it, and end B against A changes its sign with the ends.
    m.bridge_twist_rad = -i.bridge_twist_rad;
    m
}
