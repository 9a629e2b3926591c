//! Which pads to shim and shift by how much: a work list that brings the limits and the requirements back, and the state
//! after it.

pub mod program;
mod work_list;

pub use crate::input::{Increments, stack};
pub use work_list::{Correction, Item, correct_rails};
