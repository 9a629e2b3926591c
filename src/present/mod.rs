//! Results to text, figures and JSON. No formula, no solver, no file.

mod block_curves;
mod block_text;
mod card;
mod figure;
mod histogram;
pub mod json;
mod limits_json;
mod limits_rows;
mod limits_text;
mod limits_toml;
pub mod numbers;
pub mod page;
mod rails;
mod stroke;
mod summary;
mod tables;
mod trace_text;
mod worst_text;

pub use block_curves::block_curves;
pub use block_text::block_text;
pub use card::{InstallationCard, installation_card};
pub use figure::{FigureError, to_png};
pub use histogram::{float_travel, histograms};
pub use limits_json::limits_json;
pub use limits_text::limits_text;
pub use limits_toml::errors_table;
pub use rails::rails_drawing;
pub use stroke::loads_along_stroke;
pub use summary::{CAUTIONS, study_summary};
pub use tables::study_tables;
pub use trace_text::trace_tables;
pub use worst_text::worst_table;
