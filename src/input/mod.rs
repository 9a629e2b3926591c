//! Text in, checked plan or installation out. Nothing here opens a file.

mod block;
mod build;
pub mod catalogue;
mod document;
mod joint;
mod parts;
pub mod plan;
pub mod problem;
mod site;
pub mod sources;
mod stated;
pub mod survey;

pub use build::{problem_at, read_plan};
pub(crate) use document::nearest;
pub use parts::a1;
pub use plan::Plan;
pub use problem::{Problem, Problems};
pub use site::{Correction, Site};
pub use sources::{ErrorKind, ErrorSources, Source};
pub use stated::{Installation, Stated, read_installation};
