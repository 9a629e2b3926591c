//! Text in, checked plan or installation out. Nothing here opens a file.

pub mod catalogue;
mod build;
mod document;
mod parts;
pub mod plan;
pub mod problem;
pub mod sources;
mod stated;

pub use parts::a1;
pub use build::{problem_at, read_plan};
pub use plan::Plan;
pub use problem::{Problem, Problems};
pub use sources::{ErrorKind, ErrorSources, Source};
pub use stated::{Installation, Stated, read_installation};
