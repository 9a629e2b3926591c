//! Results to text, figures and JSON. No formula, no solver, no file.

mod block_curves;
mod block_text;
mod figure;
mod histogram;
mod history_text;
pub mod json;
pub mod numbers;
mod rails;
mod sheet_text;
mod stroke;
mod summary;
mod survey_figures;
mod survey_json;
mod survey_text;
mod tables;
mod trace_text;
mod work_list_text;
mod worst_text;

pub use block_curves::block_curves;
pub use block_text::block_text;
pub use figure::{FigureError, to_png};
pub use histogram::{float_travel, histograms};
pub use history_text::{history_figure, history_text, prediction_check};
pub use rails::rails_drawing;
pub use sheet_text::sheet;
pub use stroke::loads_along_stroke;
pub use summary::{CAUTIONS, study_summary};
pub use survey_figures::{pads_to_touch, survey_loads, survey_profiles};
pub use survey_json::survey_json;
pub use survey_text::{checks_table, findings_list, predictions_table, survey_head, survey_verdict, with_uncertainty};
pub use tables::study_tables;
pub use trace_text::trace_tables;
pub use work_list_text::work_list_text;
pub use worst_text::worst_table;
