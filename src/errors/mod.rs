//! What an error is, one row each, and the installation that holds a value of every one. No plan, no solver, no file.
//!
//! Whatever must be done for every error (reading, drawing, writing, limits, callouts, surveys) is a loop over [`ErrorKind::ALL`].

mod home;
mod installation;
mod keys;
mod kind;
mod row;
mod table;

pub use home::{Field, Home};
pub use installation::Installation;
pub use keys::{Entry, Holds, SeatEntry, entries, seat_entries};
pub use kind::ErrorKind;
pub use row::{ErrorSpec, Form, SurveyReading, ZoneMeaning};

/// Direction of a rail's deviation: across the rails.
pub const LATERAL: usize = 0;
/// Direction of a rail's deviation: height.
pub const VERTICAL: usize = 1;
/// Direction of a rail's deviation: cross-level.
pub const ROLL: usize = 2;
