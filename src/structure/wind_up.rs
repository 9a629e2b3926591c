//! One motor with a shaft across: under acceleration the shaft yields and the far truck lags.

use super::elements::DriveElement;
use super::loads::case_loads;
use super::{Matrix24, Vector24};
use crate::input::Plan;
use crate::input::plan::DriveKind;

/// Skew (B ahead of A) by shaft wind-up in each load case, 0 for other drives.
///
/// The far drive lags by thrust x compliance. The thrust itself falls with the lag, so the skew s solves
/// s = -+ c (F0 + F1 s) on the machine with no errors and floats at rest.
pub(super) fn wind_up_mm(plan: &Plan, drives: &[DriveElement], at_rest: &Matrix24, by_unit_skew: &Vector24) -> Vec<f64> {
    let none = vec![0.0; plan.duty.len()];
    let DriveKind::Shaft { motor, compliance_mm_per_n } = plan.drive.kind else { return none };
    let Some(solver) = at_rest.cholesky() else { return none };
    let far = 1 - motor;
    let Some(drive) = drives.iter().find(|d| d.side == far) else { return none };
    let sign = if far == 1 { -1.0 } else { 1.0 };
    let per_skew = drive.stiffness * (-sign * 0.5 - drive.row.dot(&solver.solve(by_unit_skew)));
    let thrust = |case| -drive.stiffness * drive.row.dot(&solver.solve(&case_loads(plan, case)));
    plan.duty.iter().map(|case| sign * compliance_mm_per_n * thrust(case) / (1.0 - sign * compliance_mm_per_n * per_skew)).collect()
}
