//! From readings to what is known of the rails: profiles in three directions with their uncertainty, and installations drawn
//! from them.

use nalgebra::DVector;

use super::corrected::Corrected;
use crate::geometry::line_fit::least_squares;
use crate::geometry::{Observation, Prior, ProfileModes, ProfilePosterior, Rails};
use crate::input::plan::{Frame, Plan};
use crate::input::sources::Spread;
use crate::input::survey::{Quantity, Reading, Reference};
use crate::input::{ErrorKind, Installation, Source};
use crate::units::{A, B};

use super::SurveyError;

/// Directions of a profile, in the order of an installation's residuals.
pub const LATERAL: usize = 0;
/// Height.
pub const VERTICAL: usize = 1;
/// Cross-level.
pub const ROLL: usize = 2;

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
    /// Pads of each direction that stand out for themselves: rail and number from 0.
    pub settled: [Vec<(usize, usize)>; 3],
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
        let [l, v, r] = <[Part; 3]>::try_from(parts).map_err(|_| SurveyError::NoFrame)?;
        Ok(Self {
            used: [l.used, v.used, r.used],
            profiles: [l.posterior, v.posterior, r.posterior],
            seen,
            read,
            keeps_common_yaw: corrected.keeps_common_yaw,
            turned_with_rolls: corrected.turn_with_rolls,
            roughness,
            settled,
            moved_yaw_a_mm: 0.0,
            frame: plan.frame.clone(),
        })
    }

    /// Standard normals that one draw takes.
    #[must_use]
    pub fn dimension(&self) -> usize {
        self.profiles.iter().map(ProfilePosterior::dimension).sum()
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
    let kept = |d: usize, i: usize| lines[d][B][i] - lines[d][A][i];
    (to.span_mm, to.parallelism_mm) = (kept(LATERAL, 0), kept(LATERAL, 1));
    (to.height_mm, to.vertical_parallelism_mm) = (kept(VERTICAL, 0), kept(VERTICAL, 1));
    to.cross_level_rad = [lines[ROLL][A][0], lines[ROLL][B][0]];
    to.cross_level_twist_rad = [lines[ROLL][A][1], lines[ROLL][B][1]];
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

/// Offset at mid-length and drift from end to end of a profile at the anchors.
pub(super) fn line(frame: &Frame, values: &[f64]) -> [f64; 2] {
    let s: Vec<f64> = frame.anchors_x_mm.iter().map(|x| frame.s(*x)).collect();
    least_squares(&s, values).map_or([0.0; 2], |f| [f.line.offset, f.line.slope])
}

/// Weights of the anchor values in offset and drift of one rail.
pub(super) fn line_weights(frame: &Frame, rail: usize) -> [DVector<f64>; 2] {
    let n = frame.anchors_x_mm.len();
    let mut weights = [DVector::zeros(2 * n), DVector::zeros(2 * n)];
    for i in 0..n {
        let mut unit = vec![0.0; n];
        unit[i] = 1.0;
        let [offset, drift] = line(frame, &unit);
        weights[0][rail * n + i] = offset;
        weights[1][rail * n + i] = drift;
    }
    weights
}

/// One direction.
struct Part {
    posterior: ProfilePosterior,
    /// Offset and drift of rail A, of rail B.
    seen: [[bool; 2]; 2],
    read: [bool; 2],
    roughness: (f64, f64),
    /// Pads out for themselves: rail and number.
    settled: Vec<(usize, usize)>,
    used: Vec<Reading>,
}

/// Room of a settled pad, over the readings' uncertainty.
const ROOM: f64 = 6.0;

/// Most pads that are called settled one by one; more of them is roughness.
const MOST_SETTLED: usize = 6;

/// Least gain of the logarithm of the evidence for which rails are called rougher than the plan's prior: odds of about 20.
const GAIN: f64 = 3.0;

impl Part {
    fn new(plan: &Plan, rails: &Rails, corrected: &Corrected, reference: Reference, direction: usize) -> Result<Self, SurveyError> {
        let (used, observations, nuisance): (Vec<Reading>, Vec<Observation>, Vec<f64>) =
            observations(plan, corrected, reference, direction);
        let own_line = direction == ROLL
            || (reference == Reference::Common && observations.iter().any(|o| o.factors[A] > 0.0 || o.factors == [0.0, 1.0]));
        let reach = observations.iter().map(|o| o.value.abs().max(o.uncertainty)).fold(0.0, f64::max);
        let vague = 30.0 * reach.max(widths(plan, direction).into_iter().fold(0.0, f64::max));
        let median = median(observations.iter().map(|o| o.uncertainty));
        let smooth = smooth_amplitudes(plan, rails, direction, &observations, median);
        let read = [A, B].map(|rail| observations.iter().any(|o| o.factors[rail] != 0.0));
        let pads = unread_pads(plan, direction, &observations);
        let mut prior = Prior {
            line_a: if own_line { [vague; 2] } else { [0.0; 2] },
            line_b: [vague; 2],
            relative: direction != ROLL,
            smooth,
            pads,
            correlation_length_mm: plan.frame.correlation_length_mm,
            nuisance,
        };
        let spline = rails.spline();
        let condition = |prior: &Prior| ProfilePosterior::new(spline, prior, &observations).ok_or(SurveyError::NoFrame);
        // First with vague lines, to see which of them the readings tell at all.
        let first = condition(&prior)?;
        let seen = seen(plan, &first, direction, vague, own_line);
        let limits = line_deviations(plan, direction);
        for i in 0..2 {
            if !seen[B][i] {
                prior.line_b[i] = limits[B][i];
            }
            if !seen[A][i] && direction == ROLL {
                prior.line_a[i] = limits[A][i];
            }
        }
        let mut best = condition(&prior)?;
        let settled = settled_pads(plan, &condition, &mut prior, &mut best, &observations, median)?;
        let roughness = rougher(&condition, &prior, &mut best, &observations, median)?;
        Ok(Self { posterior: best, seen, read, roughness, settled, used })
    }
}

/// Gives single pads room of their own where the readings there speak for it: a settled pad is no wave of the rail.
///
/// The pad that gains most is taken first, until none gains enough.
fn settled_pads(
    plan: &Plan,
    condition: &dyn Fn(&Prior) -> Result<ProfilePosterior, SurveyError>,
    prior: &mut Prior,
    best: &mut ProfilePosterior,
    observations: &[Observation],
    median: f64,
) -> Result<Vec<(usize, usize)>, SurveyError> {
    let anchors = &plan.frame.anchors_x_mm;
    let nearest = |x: f64| (0..anchors.len()).min_by(|&a, &b| (anchors[a] - x).abs().total_cmp(&(anchors[b] - x).abs())).unwrap_or(0);
    let mut found = Vec::new();
    while found.len() < MOST_SETTLED {
        let mut candidates: Vec<(usize, usize)> = Vec::new();
        for (o, _) in observations.iter().zip(&best.surprise).filter(|(_, s)| s.abs() > 2.5) {
            candidates.extend([A, B].into_iter().filter(|&r| o.factors[r] != 0.0).map(|r| (r, nearest(o.x_mm))));
        }
        candidates.sort_unstable();
        candidates.dedup();
        let mut winner: Option<(ProfilePosterior, Prior, (usize, usize))> = None;
        for pad in candidates.into_iter().filter(|pad| !found.contains(pad)) {
            let mut tried = prior.clone();
            tried.pads[pad.0][pad.1] = ROOM * median;
            let posterior = condition(&tried)?;
            let bar = winner.as_ref().map_or(best.log_evidence + GAIN, |(p, _, _)| p.log_evidence);
            if posterior.log_evidence > bar {
                winner = Some((posterior, tried, pad));
            }
        }
        let Some((posterior, tried, pad)) = winner else { break };
        (*best, *prior) = (posterior, tried);
        found.push(pad);
    }
    found.sort_unstable();
    Ok(found)
}

/// Lets the whole rail be rougher than the plan's straightness where the readings speak for it: higher waves, or pads that
/// are each out for themselves.
fn rougher(
    condition: &dyn Fn(&Prior) -> Result<ProfilePosterior, SurveyError>,
    prior: &Prior,
    best: &mut ProfilePosterior,
    observations: &[Observation],
    median: f64,
) -> Result<(f64, f64), SurveyError> {
    let base = best.log_evidence;
    let mut roughness = (1.0, 0.0);
    if observations.is_empty() {
        return Ok(roughness);
    }
    for factor in [1.0, 2.0, 4.0, 8.0, 16.0] {
        for pad in [0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 64.0] {
            let pads = [A, B].map(|r| prior.pads[r].iter().map(|own| own.max(pad * median)).collect());
            let tried = condition(&Prior { smooth: prior.smooth.map(|s| s * factor), pads, ..prior.clone() })?;
            if tried.log_evidence > base + GAIN && tried.log_evidence > best.log_evidence {
                (*best, roughness) = (tried, (factor, pad * median));
            }
        }
    }
    Ok(roughness)
}

/// Room of the pads of a rail that was read elsewhere but not there: such a pad may stand anywhere in its zone (evenly spread).
///
/// The smooth prior alone would call it nearly certain from its neighbours, but a pad that nobody looked at may have settled.
fn unread_pads(plan: &Plan, direction: usize, observations: &[Observation]) -> [Vec<f64>; 2] {
    let anchors = &plan.frame.anchors_x_mm;
    [A, B].map(|rail| {
        let xs: Vec<f64> = observations.iter().filter(|o| o.factors[rail] != 0.0).map(|o| o.x_mm).collect();
        let zone = plan.errors.get(straightness(direction, rail)).map_or(0.0, |s| s.upper);
        let own = |(i, x): (usize, &f64)| {
            let before = if i > 0 { x - anchors[i - 1] } else { f64::INFINITY };
            let after = anchors.get(i + 1).map_or(f64::INFINITY, |next| next - x);
            let near = xs.iter().any(|read| (read - x).abs() <= 0.5 * before.min(after) + 1e-6);
            if near || xs.is_empty() { 0.0 } else { zone / 12.0_f64.sqrt() }
        };
        anchors.iter().enumerate().map(own).collect()
    })
}

fn straightness(direction: usize, rail: usize) -> ErrorKind {
    [ErrorKind::StraightnessLateral(rail), ErrorKind::StraightnessVertical(rail), ErrorKind::StraightnessRoll(rail)][direction]
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut list: Vec<f64> = values.collect();
    list.sort_by(f64::total_cmp);
    list.get(list.len() / 2).copied().unwrap_or(0.0)
}

/// Readings of one direction as functions of the profiles: with scale, level's zero and each rail's own reference line.
fn observations(plan: &Plan, corrected: &Corrected, reference: Reference, direction: usize) -> (Vec<Reading>, Vec<Observation>, Vec<f64>) {
    let span = plan.frame.span_mm;
    let each = reference == Reference::EachRail;
    let wide = 30.0 * corrected.readings.iter().map(|r| r.value.abs()).fold(1.0, f64::max);
    // Unknown 0: scale in lateral, level's zero in roll; 1 to 4: offset and drift of each rail's own reference line.
    let common = match direction {
        LATERAL => corrected.scale,
        ROLL => corrected.level_zero_rad,
        _ => 0.0,
    };
    let nuisance = if each && direction != ROLL { vec![common, wide, wide, wide, wide] } else { vec![common] };
    let (mut used, mut list) = (Vec::new(), Vec::new());
    for r in &corrected.readings {
        let (wanted, factors) = match (r.quantity, r.rail) {
            (Quantity::Lateral, Some(rail)) => (LATERAL, single(rail)),
            (Quantity::Vertical, Some(rail)) => (VERTICAL, single(rail)),
            (Quantity::CrossLevel, Some(rail)) => (ROLL, single(rail)),
            (Quantity::Gauge, _) => (LATERAL, [-1.0, 1.0]),
            (Quantity::Height, _) => (VERTICAL, [-1.0, 1.0]),
            _ => continue,
        };
        if wanted != direction {
            continue;
        }
        let mut more = Vec::new();
        if direction == LATERAL && factors[B] > 0.0 && !(each && r.quantity == Quantity::Lateral) {
            more.push((0, span));
        }
        if direction == ROLL {
            more.push((0, 1.0));
        }
        if each && matches!(r.quantity, Quantity::Lateral | Quantity::Vertical) {
            let rail = r.rail.unwrap_or(A);
            more.push((1 + 2 * rail, 1.0));
            more.push((2 + 2 * rail, plan.frame.s(r.x_mm)));
        }
        let uncertainty = r.uncertainty.unwrap_or(f64::NAN);
        list.push(Observation { x_mm: r.x_mm, factors, nuisance: more, value: r.value, uncertainty });
        used.push(r.clone());
    }
    (used, list, nuisance)
}

fn single(rail: usize) -> [f64; 2] {
    if rail == A { [1.0, 0.0] } else { [0.0, 1.0] }
}

fn kinds(direction: usize) -> [[ErrorKind; 2]; 2] {
    match direction {
        LATERAL => [[ErrorKind::Span, ErrorKind::Parallelism]; 2],
        VERTICAL => [[ErrorKind::Height, ErrorKind::VerticalParallelism]; 2],
        _ => [A, B].map(|rail| [ErrorKind::CrossLevel(rail), ErrorKind::CrossLevelTwist(rail)]),
    }
}

/// Half widths of the limits of offset and drift of this direction, 0 where the plan has none.
fn widths(plan: &Plan, direction: usize) -> Vec<f64> {
    kinds(direction).iter().flatten().filter_map(|k| plan.errors.get(*k)).map(|s| s.upper.abs().max(s.lower.abs())).collect()
}

/// Standard deviation of a source as the plan draws it.
pub(super) fn deviation(source: &Source) -> f64 {
    let half = source.half_width();
    match source.spread {
        Spread::Uniform => half / 3.0_f64.sqrt(),
        Spread::Triangular => half / 6.0_f64.sqrt(),
        Spread::Normal { capability } => half / (3.0 * capability),
    }
}

fn line_deviations(plan: &Plan, direction: usize) -> [[f64; 2]; 2] {
    kinds(direction).map(|pair| pair.map(|k| plan.errors.get(k).map_or(0.0, deviation)))
}

/// True where readings tell offset and drift: to better than a tenth of the vague prior, or than the plan's limits.
fn seen(plan: &Plan, posterior: &ProfilePosterior, direction: usize, vague: f64, own_line: bool) -> [[bool; 2]; 2] {
    let frame = &plan.frame;
    let (a, b) = (line_weights(frame, A), line_weights(frame, B));
    [A, B].map(|rail| {
        [0, 1].map(|i| {
            let weights = match (direction, rail) {
                (ROLL, rail) => [&a, &b][rail][i].clone(),
                (_, A) if !own_line => return true,
                (_, A) => a[i].clone(),
                _ => &b[i] - &a[i],
            };
            posterior.of(&weights).1 < 0.1 * vague
        })
    })
}

/// Amplitude of the smooth profile of each rail: as the plan's zone has it.
///
/// The zone is the largest peak-to-valley; the amplitude is set so that the typical profile (root mean square over the
/// modes, taken as a third of its peak-to-valley: a sine has 1/2.8, a parabola 1/3.4) fills the zone. Where the plan names no
/// straightness but readings are there, what they can tell decides: ten times their uncertainty.
fn smooth_amplitudes(plan: &Plan, rails: &Rails, direction: usize, observations: &[Observation], median: f64) -> [f64; 2] {
    let modes = ProfileModes::new(rails.spline(), plan.frame.correlation_length_mm);
    let rms = (modes.at_anchors.norm_squared() / modes.at_anchors.nrows() as f64).sqrt();
    [A, B].map(|rail| {
        let kind =
            [ErrorKind::StraightnessLateral(rail), ErrorKind::StraightnessVertical(rail), ErrorKind::StraightnessRoll(rail)][direction];
        let zone = plan.errors.get(kind).map_or(0.0, |s| s.upper);
        let read = observations.iter().any(|o| o.factors[rail] != 0.0);
        let zone = if zone == 0.0 && read { 10.0 * median } else { zone };
        if rms > 0.0 { zone / (3.0 * rms) } else { 0.0 }
    })
}
