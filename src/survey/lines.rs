//! Offset and drift of a profile over the pads.

use nalgebra::DVector;

use crate::geometry::line_fit::least_squares;
use crate::input::plan::Frame;

/// Offset at mid-length and drift from end to end of a profile at the anchors.
pub(super) fn line(frame: &Frame, values: &[f64]) -> [f64; 2] {
    let s: Vec<f64> = frame.anchors_x_mm.iter().map(|x| frame.s(*x)).collect();
    least_squares(&s, values).map_or([0.0; 2], |f| [f.line.offset, f.line.slope])
}

/// Weights of the anchor values in offset and drift of one rail.
pub(super) fn line_weights(frame: &Frame, rail: usize) -> [DVector<f64>; 2] {
    let n = frame.anchors_x_mm.len();
    let mut weights = [DVector::zeros(2 * n), DVector::zeros(2 * n)];
    for i in 0..n {
        let mut unit = vec![0.0; n];
        unit[i] = 1.0;
        let [offset, drift] = line(frame, &unit);
        weights[0][rail * n + i] = offset;
        weights[1][rail * n + i] = drift;
    }
    weights
}
