//! On site: what the readings say of the rails, whether the plan's limits are kept, what the machine will do with these
//! rails, which pads to shim, and what has moved since.

mod checks;
mod conditioned;
mod consensus;
mod contradiction;
mod corrected;
mod doubts;
mod frame_fit;
pub mod history;
mod known;
mod learned;
mod lines;
mod measured;
mod misplaced;
mod neighbours;
mod observed;
mod panels;
mod placed;
pub mod planned;
mod predicted;
pub mod shims;
mod single_change;
mod stations;
mod unsure;

pub use checks::{Check, Conformity, Decision, GUARD, checks, decide};
pub use consensus::AtOther;
pub use corrected::{Corrected, correct};
pub use doubts::{about_readings, doubts};
pub use frame_fit::fits_frame;
pub use measured::{LATERAL, Measured, ROLL, Seen, VERTICAL};
pub use misplaced::{Misplaced, Unit, Would};
pub use panels::{Curve, Panel, panels};
pub use placed::{Placed, place};
pub use predicted::{Prediction, predict};
pub use single_change::Change;
pub use unsure::{Doubt, settle_first, unsure};

use crate::geometry::Rails;
use crate::input::Plan;
use crate::input::survey::Survey;
use crate::study::Finding;

/// Why a survey cannot be evaluated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SurveyError {
    /// The readings cannot be of the plan's frame as they are written; `present` has the words.
    #[error("the readings cannot be of this frame as they are written")]
    NotThisFrame(Box<Misplaced>),
    /// The points do not say where along the rails they lie.
    #[error(
        "{found} points on a rail with {pads} pads, and no station: it cannot be told where along the rails they lie. Add a column station or pad, or read each pad once"
    )]
    NoStations {
        /// Points of one rail.
        found: usize,
        /// Pads of the plan.
        pads: usize,
    },
    /// The points or readings leave the geometry open.
    #[error("the readings do not settle where the rails are: at least three points that are not on one line are needed")]
    NoFrame,
    /// The machine has no pose.
    #[error("{0}")]
    Machine(String),
}

pub(super) fn finding(what: &str, place: impl Into<String>, amount: impl Into<String>, advice: &str) -> Finding {
    Finding { what: what.into(), place: place.into(), amount: amount.into(), advice: advice.into() }
}

/// A survey brought to the plan's reference and conditioned on the plan's prior.
#[derive(Debug, Clone)]
pub struct Evaluated {
    /// What is known of the rails.
    pub measured: Measured,
    /// The readings at the reference.
    pub corrected: Corrected,
    /// How coordinates were placed, and what was corrected, in sentences.
    pub said: Vec<String>,
    /// Doubts and what could not be seen.
    pub findings: Vec<Finding>,
    /// Doubts about the survey as a whole.
    pub unsure: Vec<Doubt>,
}

/// Places, corrects and conditions a survey.
///
/// Where tight bolts strain the rails, the strain is computed from the rails found so far, three times.
///
/// # Errors
/// The readings do not settle the rails, or the machine has no pose.
pub fn evaluate_survey(plan: &Plan, rails: &Rails, survey: &Survey) -> Result<Evaluated, SurveyError> {
    fits_frame(plan, survey).map_err(|m| SurveyError::NotThisFrame(Box::new(m)))?;
    let placed = place(plan, survey)?;
    let mut corrected = correct(plan, survey, &placed, None)?;
    let mut measured = Measured::new(plan, rails, &corrected, survey.state.reference)?;
    if survey.state.bolts_tight {
        for _ in 0..3 {
            let known = measured.mean(crate::input::Installation::perfect(plan));
            corrected = correct(plan, survey, &placed, Some(&known))?;
            measured = Measured::new(plan, rails, &corrected, survey.state.reference)?;
        }
    }
    let mut said = placed.said.clone();
    said.extend(corrected.said.clone());
    let mut findings = corrected.findings.clone();
    findings.extend(doubts(plan, &corrected, &measured));
    let unsure = unsure(plan, survey, &placed, &corrected);
    Ok(Evaluated { measured, corrected, said, findings, unsure })
}
