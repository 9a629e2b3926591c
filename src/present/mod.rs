//! Results to text, figures and JSON. No formula, no solver, no file.

mod block_curves;
mod block_text;
mod budget_text;
mod class_text;
mod contour;
mod element_loads;
mod figure;
mod histogram;
pub mod json;
mod map_figure;
pub mod numbers;
mod rails;
mod shares_figure;
mod shares_text;
mod stroke;
mod summary;
mod tables;
mod trace_text;
mod worst_text;

pub use block_curves::block_curves;
pub use block_text::block_text;
pub use budget_text::budget_text;
pub use class_text::{class_lines, classes_table, standards};
pub use element_loads::element_loads;
pub use figure::{FigureError, to_png};
pub use histogram::{float_travel, histograms};
pub use map_figure::life_map;
pub use rails::rails_drawing;
pub use shares_figure::share_bars;
pub use shares_text::shares_text;
pub use stroke::loads_along_stroke;
pub use summary::{CAUTIONS, study_summary};
pub use tables::study_tables;
pub use trace_text::trace_tables;
pub use worst_text::worst_table;
