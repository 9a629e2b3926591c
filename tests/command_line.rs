//! All tests that run the program, in one program. One file for each subject.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
#![allow(missing_docs, unreachable_pub, reason = "tests")]

mod check_bad_input;
mod cli_commands;
mod cli_files;
mod cli_hostile;
mod cli_limits;
mod cli_review;
mod cli_survey;
mod cli_tolerances;
mod common;
mod golden_reports;
