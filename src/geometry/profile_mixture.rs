//! Several posteriors of a pair of profiles as one, with weights: what is known where it is not known how rough the rails are.

use nalgebra::{DMatrix, DVector};

/// One member of a mixture: numbers are `shift + turn z` with independent standard normal z.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Member {
    /// Weight of this member and of those before it.
    pub(super) until: f64,
    pub(super) shift: DVector<f64>,
    pub(super) turn: DMatrix<f64>,
}
