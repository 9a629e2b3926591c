//! The table: every error with all that is known of it, in the order in which it is drawn.

use super::Form::{PlusMinus, Zone};
use super::Home::{Apart, Blocks, Pads, Scalar, Seats};
use super::ZoneMeaning::{AboutNominal, EndToEnd, PeakToValley};
use super::home::field;
use super::kind::ErrorKind;
use super::{ErrorSpec, LATERAL, ROLL, VERTICAL};
use crate::units::{A, B};

/// Unit of a row: mm, or mrad.
const MM: bool = false;
const ANGLE: bool = true;

const OFFSET: usize = 0;
const DRIFT: usize = 1;

const SAME_READINGS: &str = "same readings: best line at the last pad less at the first";
const LEVEL: &str = "level across the seat at every pad: best line at mid-length";
const ACROSS: &str = "across, about each rail's best line: highest less lowest reading";
const IN_HEIGHT: &str = "in height, about each rail's best line: highest less lowest reading";
const ROLLING: &str = "cross-level about its best line: highest less lowest reading";

const PEAKS_ACROSS: &str = "peak-to-valley across, beside offset and slope";
const PEAKS_IN_HEIGHT: &str = "peak-to-valley in height, beside offset and slope";
const PEAKS_OF_ROLL: &str = "peak-to-valley of its cross-level, beside offset and twist";
const TWIST: &str = "drift of its cross-level from the first to the last anchor";
const TILT: &str = "rotation of the face about x, out of level";
const SQUARENESS: &str = "rotation of the face about z, out of square with the bridge";

/// The rows.
#[rustfmt::skip] // one row an error
const ROWS: &[ErrorSpec] = {
    use ErrorKind::*;
    &[
        ErrorSpec::new(Span, "span", "span offset", MM, AboutNominal, Scalar(field!(span_mm)))
            .sign("+: rail B lies further from A than the span, all along")
            .set_at_installation("rails' distance less the span at every pad: best line at mid-length")
            .callout("span", PlusMinus).line(LATERAL, OFFSET, None),
        ErrorSpec::new(Parallelism, "parallelism", "horizontal parallelism, end to end", MM, EndToEnd, Scalar(field!(parallelism_mm)))
            .sign("+: the rails open by this much from the first to the last anchor")
            .set_at_installation(SAME_READINGS).callout("pad row parallelism", Zone).line(LATERAL, DRIFT, None),
        ErrorSpec::new(Height, "height", "height of rail B over rail A", MM, AboutNominal, Scalar(field!(height_mm)))
            .sign("+: rail B lies higher, all along")
            .set_at_installation("rail B over rail A at every pad: best line at mid-length")
            .callout("height between rows", PlusMinus).line(VERTICAL, OFFSET, None),
        ErrorSpec::new(VerticalParallelism, "vertical_parallelism", "vertical parallelism, end to end", MM, EndToEnd, Scalar(field!(vertical_parallelism_mm)))
            .sign("+: rail B rises against A by this much from the first to the last anchor")
            .set_at_installation(SAME_READINGS).callout("vertical row parallelism", Zone).line(VERTICAL, DRIFT, None),
        ErrorSpec::new(CrossLevel(A), "cross_level_a", "cross-level of rail A", ANGLE, AboutNominal, Scalar(field!(cross_level_rad[A])))
            .sign("roll of the rail's seat about x against gravity; +: its rail-B side is higher")
            .set_at_installation(LEVEL).callout("pad parallelism", PlusMinus).line(ROLL, OFFSET, Some(A)),
        ErrorSpec::new(CrossLevel(B), "cross_level_b", "cross-level of rail B", ANGLE, AboutNominal, Scalar(field!(cross_level_rad[B])))
            .sign("roll of the rail's seat about x against gravity; +: its outer side is higher")
            .set_at_installation(LEVEL).callout("pad parallelism", PlusMinus).line(ROLL, OFFSET, Some(B)),
        ErrorSpec::new(CrossLevelTwist(A), "cross_level_twist_a", "twist of rail A, end to end", ANGLE, EndToEnd, Scalar(field!(cross_level_twist_rad[A])))
            .sign(TWIST).set_at_installation(SAME_READINGS).callout("pad twist", PlusMinus).line(ROLL, DRIFT, Some(A)),
        ErrorSpec::new(CrossLevelTwist(B), "cross_level_twist_b", "twist of rail B, end to end", ANGLE, EndToEnd, Scalar(field!(cross_level_twist_rad[B])))
            .sign(TWIST).set_at_installation(SAME_READINGS).callout("pad twist", PlusMinus).line(ROLL, DRIFT, Some(B)),
        ErrorSpec::new(StraightnessLateral(A), "straightness_lateral_a", "lateral straightness of rail A", MM, PeakToValley, Pads(field!(residual[A][LATERAL])))
            .stated("lateral_a").sign(PEAKS_ACROSS)
            .set_at_installation(ACROSS).callout("pad row position", Zone).held_by_datum().straightness(LATERAL, A),
        ErrorSpec::new(StraightnessLateral(B), "straightness_lateral_b", "lateral straightness of rail B", MM, PeakToValley, Pads(field!(residual[B][LATERAL])))
            .stated("lateral_b").sign(PEAKS_ACROSS)
            .set_at_installation(ACROSS).callout("pad row position", Zone).held_by_datum().straightness(LATERAL, B),
        ErrorSpec::new(StraightnessVertical(A), "straightness_vertical_a", "vertical straightness of rail A", MM, PeakToValley, Pads(field!(residual[A][VERTICAL])))
            .stated("vertical_a").sign(PEAKS_IN_HEIGHT)
            .set_at_installation(IN_HEIGHT).callout("pad flatness", Zone).straightness(VERTICAL, A),
        ErrorSpec::new(StraightnessVertical(B), "straightness_vertical_b", "vertical straightness of rail B", MM, PeakToValley, Pads(field!(residual[B][VERTICAL])))
            .stated("vertical_b").sign(PEAKS_IN_HEIGHT)
            .set_at_installation(IN_HEIGHT).callout("pad flatness", Zone).straightness(VERTICAL, B),
        ErrorSpec::new(StraightnessRoll(A), "waviness_roll_a", "cross-level waviness of rail A", ANGLE, PeakToValley, Pads(field!(residual[A][ROLL])))
            .stated("roll_a").sign(PEAKS_OF_ROLL)
            .set_at_installation(ROLLING).callout("pad waviness", Zone).held_by_datum().straightness(ROLL, A),
        ErrorSpec::new(StraightnessRoll(B), "waviness_roll_b", "cross-level waviness of rail B", ANGLE, PeakToValley, Pads(field!(residual[B][ROLL])))
            .stated("roll_b").sign(PEAKS_OF_ROLL)
            .set_at_installation(ROLLING).callout("pad waviness", Zone).held_by_datum().straightness(ROLL, B),
        ErrorSpec::new(BlockLateral, "block_lateral", "lateral place of each block in its truck", MM, AboutNominal, Blocks(LATERAL))
            .stated("block_lateral_#").sign("each block for itself").callout("block position", PlusMinus),
        ErrorSpec::new(BlockVertical, "block_vertical", "height of each block in its truck", MM, AboutNominal, Blocks(VERTICAL))
            .stated("block_vertical_#").sign("each block for itself; +: it stands taller and lifts the truck").callout("block height", PlusMinus),
        ErrorSpec::new(BridgeLength, "bridge_length", "made length of the bridge", MM, AboutNominal, Scalar(field!(bridge_length_mm)))
            .sign("+: the bridge is longer than the span between its joints").callout("bridge length", PlusMinus),
        ErrorSpec::new(BridgeTwist, "bridge_twist", "twist of the bridge, end B against A", ANGLE, AboutNominal, Scalar(field!(bridge_twist_rad)))
            .sign("rotation about the bridge's own axis (y)").callout("bridge twist", PlusMinus),
        ErrorSpec::new(EndTilt(A), "end_tilt_a", "tilt of the bridge's end face A", ANGLE, AboutNominal, Scalar(field!(end_tilt_rad[A])))
            .sign(TILT).callout("end tilt", PlusMinus),
        ErrorSpec::new(EndTilt(B), "end_tilt_b", "tilt of the bridge's end face B", ANGLE, AboutNominal, Scalar(field!(end_tilt_rad[B])))
            .sign(TILT).callout("end tilt", PlusMinus),
        ErrorSpec::new(EndSquareness(A), "end_squareness_a", "squareness of the bridge's end A", ANGLE, AboutNominal, Scalar(field!(end_squareness_rad[A])))
            .sign(SQUARENESS).callout("end squareness", PlusMinus),
        ErrorSpec::new(EndSquareness(B), "end_squareness_b", "squareness of the bridge's end B", ANGLE, AboutNominal, Scalar(field!(end_squareness_rad[B])))
            .sign(SQUARENESS).callout("end squareness", PlusMinus),
        ErrorSpec::new(Skew, "skew", "skew of the drives, B ahead of A", MM, AboutNominal, Apart(field!(drive_offset_mm)))
            .stated("skew_#").sign("homing, belt pitch or play; measured against the square of the frame").comes_and_goes()
            .set_at_installation("after homing: truck B ahead of A, against the frame's square").callout("drive skew", PlusMinus),
        ErrorSpec::new(Seat, "seat", "each joint seat in x, y and z", MM, AboutNominal, Seats(0))
            .stated("offset").sign("each joint and direction for itself").callout("joint seat", PlusMinus),
        ErrorSpec::new(SeatAngle, "seat_angle", "each joint seat in rx, ry and rz", ANGLE, AboutNominal, Seats(3))
            .stated("angle").sign("each joint and rotation for itself").callout("joint seat angle", PlusMinus),
    ]
};

impl ErrorKind {
    /// Every error, in the order in which it is drawn.
    pub const ALL: [ErrorSpec; ROWS.len()] = match ROWS.first_chunk() {
        Some(all) => *all,
        None => unreachable!(),
    };

    /// True for a profile along a rail.
    #[must_use]
    pub fn is_profile(self) -> bool {
        self.spec().is_profile()
    }

    /// The error's row.
    #[must_use]
    pub fn spec(self) -> &'static ErrorSpec {
        // Every kind has a row; the first stands in for what cannot be missing.
        Self::ALL.iter().find(|s| s.kind == self).unwrap_or(&Self::ALL[0])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_every_row_is_found_by_its_kind_and_names_are_used_once() {
        for (i, spec) in ErrorKind::ALL.iter().enumerate() {
            assert_eq!(spec.kind.spec().key, spec.key);
            let others = &ErrorKind::ALL[i + 1..];
            assert!(others.iter().all(|o| o.key != spec.key && o.label != spec.label && o.kind != spec.kind), "{}", spec.key);
            assert!(!spec.sign.is_empty() && spec.unit() == if spec.angle { "mrad" } else { "mm" }, "{}", spec.key);
        }
    }

    /// A survey reads straightness of what is drawn as a profile, and a line of what is one number.
    #[test]
    fn check_a_survey_reads_what_an_error_is() {
        use super::super::SurveyReading::{Line, Straightness};
        for spec in &ErrorKind::ALL {
            match spec.survey {
                Some(Straightness { .. }) => assert!(spec.is_profile(), "{}", spec.key),
                Some(Line { rail, .. }) => assert!(spec.home.is_one_number() && rail.is_none_or(|r| r <= B), "{}", spec.key),
                None => {}
            }
        }
    }
}
