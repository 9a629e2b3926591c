//! Mathematics without a word of the domain.

pub mod allocate;
pub mod band;
pub mod box_qp;
pub mod distribution;
pub mod elliptic;
pub mod lanes;
pub mod normal;
pub mod order;
pub mod products;
pub mod proportion;
pub mod root;
pub mod sobol;
pub mod spline;

pub use band::{Band, Corners};
pub use box_qp::minimise_in_box;
pub use distribution::Distribution;
pub use spline::NaturalSpline;
