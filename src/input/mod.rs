//! Text in, checked plan or installation out. Nothing here opens a file.

mod block;
mod block_table;
mod build;
pub mod callouts;
pub mod catalogue;
pub mod classes;
pub mod cost;
mod document;
mod fit;
mod inputs;
mod joint;
mod parts;
pub mod plan;
pub mod problem;
mod site;
pub mod sources;
mod stated;
pub mod survey;
mod title_block;
mod tolerances;
mod toml_words;
mod unseen;
mod view;

pub use crate::errors::{ErrorKind, Installation};
pub use block_table::a1;
pub use build::{problem_at, read_plan};
pub(crate) use fit::nearest;
pub use inputs::{Input, Provenance};
pub use plan::Plan;
pub use problem::{Problem, Problems};
pub use site::{Correction, Site};
pub use sources::{ErrorSources, Source};
pub use stated::{Stated, read_installation};
pub use title_block::{FIELDS, TitleBlock};
pub use toml_words::utf8;
pub use unseen::{is_unseen, seen};
