//! What a callout can control: the words, and the errors that each feeds.

use crate::input::ErrorKind;
use crate::input::classes::Form;
use crate::input::sources::ErrorSpec;

/// A word of the column `controls`.
#[derive(Debug, Clone, Copy)]
pub struct Control {
    /// As it is written in the file.
    pub word: &'static str,
    /// The errors that it feeds.
    pub feeds: &'static [ErrorKind],
    /// What a bare number means.
    pub form: Form,
    /// Each pad's zone is held in place by a datum, so that separate zones hold the whole row (ISO 1101: location, and
    /// orientation for an angle); a form's zone floats with its pad.
    pub held_by_datum: bool,
}

/// Word of the title block's general tolerance: it controls the errors that its `feeds` names, and no others.
pub const GENERAL: &str = "general";
/// Word of the temperature at which the drawing's sizes hold, degrees Celsius.
pub const TEMPERATURE: &str = "temperature";
/// Word of a row that names where else errors are controlled.
pub const ELSEWHERE: &str = "elsewhere";

/// Words without a fixed mapping.
pub(super) const OTHER_WORDS: [&str; 3] = [GENERAL, TEMPERATURE, ELSEWHERE];

const fn control(word: &'static str, feeds: &'static [ErrorKind], form: Form) -> Control {
    Control { word, feeds, form, held_by_datum: false }
}

/// A control whose zone a datum holds in place.
const fn held(word: &'static str, feeds: &'static [ErrorKind], form: Form) -> Control {
    Control { word, feeds, form, held_by_datum: true }
}

/// Every word with a fixed mapping.
#[rustfmt::skip] // one line a word
pub const CONTROLS: [Control; 18] = {
    use ErrorKind::*;
    use Form::{PlusMinus, Zone};
    [
        control("span", &[Span], PlusMinus),
        control("pad row parallelism", &[Parallelism], Zone),
        control("height between rows", &[Height], PlusMinus),
        control("vertical row parallelism", &[VerticalParallelism], Zone),
        held("pad row position", &[StraightnessLateral(0), StraightnessLateral(1)], Zone),
        control("pad flatness", &[StraightnessVertical(0), StraightnessVertical(1)], Zone),
        control("pad parallelism", &[CrossLevel(0), CrossLevel(1)], PlusMinus),
        control("pad twist", &[CrossLevelTwist(0), CrossLevelTwist(1)], PlusMinus),
        held("pad waviness", &[StraightnessRoll(0), StraightnessRoll(1)], Zone),
        control("block position", &[BlockLateral], PlusMinus),
        control("block height", &[BlockVertical], PlusMinus),
        control("bridge length", &[BridgeLength], PlusMinus),
        control("bridge twist", &[BridgeTwist], PlusMinus),
        control("end tilt", &[EndTilt(0), EndTilt(1)], PlusMinus),
        control("end squareness", &[EndSquareness(0), EndSquareness(1)], PlusMinus),
        control("drive skew", &[Skew], PlusMinus),
        control("joint seat", &[Seat], PlusMinus),
        control("joint seat angle", &[SeatAngle], PlusMinus),
    ]
};

/// The fixed mapping of a word.
#[must_use]
pub(super) fn control_of(word: &str) -> Option<&'static Control> {
    CONTROLS.iter().find(|c| c.word == word)
}

/// All words in a sentence.
#[must_use]
pub(super) fn words() -> String {
    let list: Vec<&str> = CONTROLS.iter().map(|c| c.word).chain(OTHER_WORDS).collect();
    list.join(", ")
}

/// Name, unit and meaning of an error by its key in a plan.
#[must_use]
pub(super) fn spec_of(key: &str) -> Option<&'static ErrorSpec> {
    ErrorKind::ALL.iter().find(|s| s.key == key)
}
