//! All tests that call the library, in one program: it is built and linked once. One file for each subject.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
#![allow(missing_docs, unreachable_pub, reason = "tests")]

mod check_bad_machines;
mod check_budget;
mod check_contact_machine;
mod check_errors;
mod check_far_ends;
mod check_fast_path;
mod check_frame_fit;
mod check_laws;
mod check_limits;
mod check_machine;
mod check_map;
mod check_properties;
mod check_report;
mod check_review;
mod check_shares;
mod check_shims;
mod check_straightness;
mod check_study;
mod check_survey;
mod check_survey_cells;
mod check_survey_parts;
mod check_tightening;
mod check_work_lists;
mod check_worst_case;
mod common;
mod cross_contact_block;
mod cross_frame;
mod cross_shims;
mod cross_worked_machines;
#[path = "fuzz/readers.rs"]
mod fuzz_readers;
mod golden_machines;
mod golden_small;
mod golden_surveys;
mod layers;
#[allow(dead_code, reason = "the calibrations use all of it")]
#[path = "calibration/rails.rs"]
mod rails;
mod ref_adaptive;
mod ref_budget;
mod ref_classes;
mod ref_life;
mod ref_sobol;
mod ref_statics;
mod ref_statistics;
mod ref_straightness;
mod repository;
mod supply_chain;
