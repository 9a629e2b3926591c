//! railtrue: how far out may the two rails of a bridge be, with stiff joints and with floating
//! ones, and what does an error cost in bearing load and life?
//!
//! Data flows one way, each module using only those above it in this list. The function that every
//! study calls is [`structure::Machine::respond`]: (machine, errors, station) to loads.

pub mod bearing;
pub mod cli;
pub mod contact;
pub mod draw;
pub mod errors;
pub mod evaluate;
pub mod geometry;
pub mod input;
pub mod math;
pub mod present;
pub mod structure;
pub mod study;
pub mod survey;
pub mod sweep;
pub mod units;
