//! From readings to what is known of the rails: profiles in three directions with their uncertainty, and installations drawn
//! from them.

use nalgebra::DVector;

use super::SurveyError;
use super::conditioned::Part;
use super::corrected::Corrected;
use super::lines::line;
use crate::errors::{ErrorKind, SurveyReading};
pub use crate::errors::{LATERAL, ROLL, VERTICAL};
use crate::geometry::{ProfilePosterior, Rails};
use crate::input::Installation;
use crate::input::plan::{Frame, Plan};
use crate::input::survey::{Reading, Reference};
use crate::units::{A, B};

/// What a survey tells of the rails.
#[derive(Debug, Clone)]
pub struct Measured {
    /// Profiles in the three directions.
    pub profiles: [ProfilePosterior; 3],
    /// Which of offset and drift the readings tell: span, parallelism; height, vertical parallelism; cross-level and twist of A, of B.
    pub seen: Seen,
    /// Whether each rail was read in each direction at all.
    pub read: [[bool; 2]; 3],
    /// True where rail A's own line is kept, because the frame is the plan's.
    pub keeps_common_yaw: bool,
    /// True where height was turned away because z is not tied to gravity, and cross-levels were turned with it.
    pub turned_with_rolls: bool,
    /// The readings that went in, in the order of each direction's observations.
    pub used: [Vec<Reading>; 3],
    /// How much rougher than the plan's prior each direction is: factor on its amplitude, and deviation of each pad for itself.
    pub roughness: [(f64, f64); 3],
    /// By how much the readings of each direction contradict each other, over their uncertainties; 1 where they do not.
    pub apart: [f64; 3],
    /// Pads of each direction that stand out for themselves: rail and number from 0.
    pub settled: [Vec<(usize, usize)>; 3],
    /// Deviation of what each pad of a rail errs by itself, as learned from the readings: direction, rail.
    pub pad_sizes: [[f64; 2]; 3],
    /// Deviation in the middle of a bay from the curve through its pads, likewise.
    pub between: [[f64; 2]; 3],
    /// Drift of what rail A was moved across by since it was read: a yaw that its own line does not show.
    moved_yaw_a_mm: f64,
    frame: Frame,
}

/// What offsets and drifts the readings tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Seen {
    /// Span, parallelism.
    pub lateral: [bool; 2],
    /// Height, vertical parallelism.
    pub vertical: [bool; 2],
    /// Cross-level and twist of each rail.
    pub roll: [[bool; 2]; 2],
}

impl Measured {
    /// True where the readings tell this rail's own shape: it was read itself, or the other one was, and the difference.
    /// Gauge and height alone do not say which rail is out; what they show is then shared evenly.
    #[must_use]
    pub fn tells(&self, direction: usize, rail: usize) -> bool {
        let used = &self.used[direction];
        let own = |rail: usize| used.iter().any(|r| r.rail == Some(rail) && !r.quantity.is_difference());
        own(rail) || (own(1 - rail) && used.iter().any(|r| r.quantity.is_difference()))
    }

    /// Conditions the plan's prior on the corrected readings.
    ///
    /// # Errors
    /// The numbers do not allow it.
    pub fn new(plan: &Plan, rails: &Rails, corrected: &Corrected, reference: Reference) -> Result<Self, SurveyError> {
        let parts: Vec<Part> = (0..3).map(|d| Part::new(plan, rails, corrected, reference, d)).collect::<Result<_, _>>()?;
        let mut seen = Seen::default();
        seen.lateral = parts[LATERAL].seen[1];
        seen.vertical = parts[VERTICAL].seen[1];
        seen.roll = parts[ROLL].seen;
        if !corrected.height_is_seen {
            seen.vertical[0] = false;
        }
        let mut read = [[false; 2]; 3];
        parts.iter().enumerate().for_each(|(d, p)| read[d] = p.read);
        let roughness = [0, 1, 2].map(|d| parts[d].roughness);
        let settled = [0, 1, 2].map(|d| parts[d].settled.clone());
        let apart = [0, 1, 2].map(|d| parts[d].apart);
        let pad_sizes = [0, 1, 2].map(|d| parts[d].pad_sizes);
        let between = [0, 1, 2].map(|d| parts[d].between);
        let [l, v, r] = <[Part; 3]>::try_from(parts).map_err(|_| SurveyError::NoFrame)?;
        Ok(Self {
            used: [l.used, v.used, r.used],
            profiles: [l.posterior, v.posterior, r.posterior],
            seen,
            read,
            keeps_common_yaw: corrected.keeps_common_yaw,
            turned_with_rolls: corrected.turn_with_rolls,
            roughness,
            apart,
            settled,
            pad_sizes,
            between,
            moved_yaw_a_mm: 0.0,
            frame: plan.frame.clone(),
        })
    }

    /// Standard normals that one draw takes.
    #[must_use]
    pub fn dimension(&self) -> usize {
        self.profiles.iter().map(ProfilePosterior::dimension).sum()
    }

    /// The numbers of one draw, for [`Measured::drawn`].
    pub fn numbers(&self, rng: &mut impl rand::Rng) -> Vec<f64> {
        self.profiles.iter().flat_map(|p| p.numbers(rng)).collect()
    }

    /// The most likely rails, set into an installation that holds everything else.
    #[must_use]
    pub fn mean(&self, mut rest: Installation) -> Installation {
        let profiles = [0, 1, 2].map(|d: usize| self.profiles[d].mean_profiles());
        self.set(&mut rest, profiles);
        rest
    }

    /// Rails drawn from what is known, set into an installation that holds everything else.
    #[must_use]
    pub fn drawn(&self, mut rest: Installation, normals: &[f64]) -> Installation {
        let mut from = 0;
        let profiles = [0, 1, 2].map(|d: usize| {
            let drawn = self.profiles[d].draw(&normals[from..]);
            from += self.profiles[d].dimension();
            drawn
        });
        // An offset between the rails that no reading tells is the plan's: left as it was drawn.
        let height = rest.height_mm;
        self.set(&mut rest, profiles);
        if !self.seen.vertical[0] && !self.turned_with_rolls {
            rest.height_mm = height;
        }
        rest
    }

    /// The same rails after every pad was moved by these amounts: direction, rail, pad.
    #[must_use]
    pub fn moved(&self, moves: &[[Vec<f64>; 2]; 3]) -> Self {
        let mut after = self.clone();
        for (profile, pair) in after.profiles.iter_mut().zip(moves) {
            profile.mean += DVector::from_iterator(profile.mean.len(), pair.iter().flatten().copied());
        }
        after.moved_yaw_a_mm += line(&self.frame, &moves[LATERAL][A])[1];
        after
    }

    /// The same uncertainty about rails that are straight: what is left without the mean.
    pub(super) fn about_none(&self) -> Self {
        let mut none = self.clone();
        none.profiles.iter_mut().for_each(|profile| profile.mean.fill(0.0));
        none.moved_yaw_a_mm = 0.0;
        none
    }

    fn set(&self, to: &mut Installation, profiles: [[Vec<f64>; 2]; 3]) {
        let kept = (!self.keeps_common_yaw).then_some(self.moved_yaw_a_mm);
        set_profiles(&self.frame, to, profiles, kept);
        if !self.seen.vertical[0] {
            // Roll of both rails and a height of the far one by roll x span are one rigid motion.
            if self.turned_with_rolls {
                let turn = to.height_mm / self.frame.span_mm;
                to.cross_level_rad.iter_mut().for_each(|p| *p -= turn);
            }
            to.height_mm = 0.0;
        }
    }
}

/// Puts anchor profiles of both rails into an installation: offsets and drifts of B against A, what is left as residuals.
///
/// `yaw_mm` is the drift of both rails together against the square of the frame; that of rail A's own line where `None`.
pub(super) fn set_profiles(frame: &Frame, to: &mut Installation, profiles: [[Vec<f64>; 2]; 3], yaw_mm: Option<f64>) {
    let lines = [0, 1, 2].map(|d: usize| [0, 1].map(|rail: usize| line(frame, &profiles[d][rail])));
    for spec in &ErrorKind::ALL {
        if let Some(SurveyReading::Line { direction, part, rail }) = spec.survey {
            let of = |rail: usize| lines[direction][rail][part];
            spec.home.set(0, rail.map_or_else(|| of(B) - of(A), of), to);
        }
    }
    for (d, pair) in profiles.into_iter().enumerate() {
        for (rail, values) in pair.into_iter().enumerate() {
            let line = lines[d][rail];
            // The slope of both rails together is a yaw: it stays where the frame is the plan's.
            let common = if d == LATERAL { yaw_mm.unwrap_or(lines[d][A][1]) } else { 0.0 };
            let left = values.iter().zip(&frame.anchors_x_mm).map(|(v, x)| v - line[0] - line[1] * frame.s(*x) + common * frame.s(*x));
            to.residual[rail][d] = left.collect();
        }
    }
}
