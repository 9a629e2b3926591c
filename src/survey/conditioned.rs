//! One direction of the rails conditioned on its readings: which lines are seen, which pads have settled, how rough it is.

use super::SurveyError;
use super::contradiction::apart;
use super::corrected::Corrected;
use super::learned::{Learned, learn};
use super::lines::line_weights;
use super::observed::observations;
use crate::errors::{LATERAL, ROLL, VERTICAL};
use crate::geometry::{Observation, Prior, ProfileModes, ProfilePosterior, Rails};
use crate::input::plan::Plan;
use crate::input::sources::Spread;
use crate::input::survey::{Reading, Reference};
use crate::input::{ErrorKind, Source};
use crate::units::{A, B};

/// One direction.
pub(super) struct Part {
    pub(super) posterior: ProfilePosterior,
    /// Offset and drift of rail A, of rail B.
    pub(super) seen: [[bool; 2]; 2],
    pub(super) read: [bool; 2],
    pub(super) roughness: (f64, f64),
    /// By how much the readings contradict each other, over their uncertainties; 1 where they do not.
    pub(super) apart: f64,
    /// Pads out for themselves: rail and number.
    pub(super) settled: Vec<(usize, usize)>,
    /// What each pad of a rail errs by itself, as learned.
    pub(super) pad_sizes: [f64; 2],
    /// What each bay has for itself.
    pub(super) between: [f64; 2],
    pub(super) used: Vec<Reading>,
}

impl Part {
    pub(super) fn new(
        plan: &Plan,
        rails: &Rails,
        corrected: &Corrected,
        reference: Reference,
        direction: usize,
    ) -> Result<Self, SurveyError> {
        let believed = Self::widened(plan, rails, corrected, reference, direction, 1.0)?;
        let apart = apart(&believed.used, &believed.posterior.surprise);
        if apart == 1.0 {
            return Ok(believed);
        }
        // Which of them are wrong is not known: all are known that much less.
        Ok(Self { apart, ..Self::widened(plan, rails, corrected, reference, direction, apart)? })
    }

    /// With all uncertainties times a factor.
    fn widened(
        plan: &Plan,
        rails: &Rails,
        corrected: &Corrected,
        reference: Reference,
        direction: usize,
        factor: f64,
    ) -> Result<Self, SurveyError> {
        let (used, mut observations, nuisance): (Vec<Reading>, Vec<Observation>, Vec<f64>) =
            observations(plan, corrected, reference, direction);
        observations.iter_mut().for_each(|o| o.uncertainty *= factor);
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
            correlation_length_mm: [plan.frame.correlation_length_mm; 2],
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
        let zones = [A, B].map(|rail| plan.errors.get(straightness(direction, rail)).map_or(0.0, |s| s.upper));
        let learned = learn(spline, &prior, &observations, median, zones).ok_or(SurveyError::NoFrame)?;
        let members: Vec<(f64, ProfilePosterior)> =
            learned.members.iter().map(|(w, p)| Ok((*w, condition(p)?))).collect::<Result<_, SurveyError>>()?;
        let posterior = ProfilePosterior::mixed(&members).ok_or(SurveyError::NoFrame)?;
        let roughness = roughness(&learned, zones, median);
        let (settled, pad_sizes, between) = (learned.out, learned.pads, learned.between);
        Ok(Self { posterior, seen, read, roughness, apart: 1.0, settled, pad_sizes, between, used })
    }
}

/// How much rougher than planned the rails are: height of their waves over what fills the zone, and what each pad errs by itself.
fn roughness(learned: &Learned, zones: [f64; 2], median: f64) -> (f64, f64) {
    let (mut factor, mut pad) = (1.0_f64, 0.0_f64);
    for rail in [A, B].into_iter().filter(|r| zones[*r] > 0.0) {
        if learned.smooth[rail] > zones[rail] / 2.0 {
            factor = factor.max(3.0 * learned.smooth[rail] / zones[rail]);
        }
        if learned.pads[rail] > median.max(zones[rail] / 6.0) {
            pad = pad.max(learned.pads[rail]);
        }
    }
    (factor, pad)
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

#[cfg(test)]
mod tests {
    use super::super::observed::single;
    use super::*;
    use crate::input::read_plan;
    use crate::input::survey::Quantity;

    fn plan() -> Plan {
        read_plan(include_str!("../../examples/panel-bridge.toml"), "plan.toml").unwrap()
    }

    fn at(rail: usize, x_mm: f64) -> Observation {
        Observation { x_mm, factors: single(rail), nuisance: Vec::new(), value: 0.0, uncertainty: 0.02 }
    }

    fn set(plan: &mut Plan, kind: ErrorKind, lower: f64, upper: f64) {
        let source = plan.errors.sources.iter_mut().find(|s| s.kind == kind).unwrap();
        (source.lower, source.upper) = (lower, upper);
    }

    /// Root of the mean square of each density on -1 to 1, added up in small pieces, times the half width.
    #[test]
    fn cross_deviations_of_what_a_plan_draws() {
        let source = |spread: Spread| Source { spread, lower: -0.2, upper: 0.4, ..plan().errors.sources[0] };
        let even: fn(f64) -> f64 = |_| 0.5;
        let peaked: fn(f64) -> f64 = |t| 1.0 - t.abs();
        for (spread, density) in [(Spread::Uniform, even), (Spread::Triangular, peaked)] {
            let n = 20_000;
            let piece = |i: i32| (f64::from(2 * i + 1) / f64::from(n)) - 1.0;
            let square: f64 = (0..n).map(piece).map(|t| t * t * density(t) * 2.0 / f64::from(n)).sum();
            assert!((deviation(&source(spread)) - 0.3 * square.sqrt()).abs() < 1e-7, "{spread:?}");
        }
        // Limits at 3 x 1.5 deviations.
        assert!((deviation(&source(Spread::Normal { capability: 1.5 })) - 0.3 / 4.5).abs() < 1e-12);
    }

    #[test]
    fn check_the_vague_prior_reaches_the_farther_limit() {
        let mut plan = plan();
        for (lower, upper) in [(-0.9, 0.2), (-0.2, 0.9)] {
            set(&mut plan, ErrorKind::Height, lower, upper);
            set(&mut plan, ErrorKind::VerticalParallelism, 0.0, 0.4);
            assert_eq!(widths(&plan, VERTICAL)[..2], [0.9, 0.4]);
        }
    }

    #[test]
    fn check_a_pad_is_read_from_half_of_the_way_to_its_nearer_neighbour() {
        let mut plan = plan();
        plan.frame.anchors_x_mm = vec![0.0, 400.0, 1000.0, 1500.0, 2000.0, 2600.0];
        set(&mut plan, ErrorKind::StraightnessVertical(A), 0.0, 0.3);
        // In the middle between two pads; then 251 mm beyond the fifth, which has 500 mm to its nearer neighbour.
        let read = [at(A, 200.0), at(A, 1250.0), at(A, 2251.0)];
        let [a, b] = unread_pads(&plan, VERTICAL, &read);
        // A place evenly spread over the zone of 0.3 has the deviation 0.3 / sqrt 12.
        for (i, room) in a.iter().enumerate() {
            let expected = if i < 4 { 0.0 } else { 0.086_602_540_38 };
            assert!((room - expected).abs() < 1e-9, "pad {}: {room}", i + 1);
        }
        assert_eq!(b, [0.0; 6], "a rail that nobody read is left to the plan's prior");
        assert_eq!(unread_pads(&plan, VERTICAL, &[at(B, 2600.0)])[A], [0.0; 6]);
        // 260 mm before the third pad is more than half of the 500 mm behind it, though less than half of the 600 mm before.
        assert!(unread_pads(&plan, VERTICAL, &[at(A, 740.0)])[A].iter().all(|room| *room > 0.08));
    }

    #[test]
    fn check_a_rail_without_a_straightness_limit_is_as_smooth_as_its_readings_can_tell() {
        let (mut bare, mut zoned) = (plan(), plan());
        let rails = Rails::new(&bare).unwrap();
        bare.errors.sources.retain(|s| !s.kind.is_profile());
        set(&mut zoned, ErrorKind::StraightnessVertical(A), 0.0, 0.2);
        set(&mut zoned, ErrorKind::StraightnessVertical(B), 0.0, 0.1);
        // Ten times the readings' 0.02 mm stands for the zone of the rail that was read, and for no other.
        let amplitudes = |plan: &Plan, read: &[Observation]| smooth_amplitudes(plan, &rails, VERTICAL, read, 0.02);
        let zone = amplitudes(&zoned, &[]);
        assert!(zone[A] > 0.0 && (zone[A] / zone[B] - 2.0).abs() < 1e-12);
        for rail in [A, B] {
            let found = amplitudes(&bare, &[at(rail, 500.0)]);
            assert!((found[rail] / zone[A] - 1.0).abs() < 1e-12 && found[1 - rail] == 0.0, "{found:?}");
        }
        assert_eq!(amplitudes(&zoned, &[at(A, 500.0)]), zone, "a stated zone is the plan's");
    }

    /// Readings across of one rail, or between both, in one common reference.
    fn part(readings: &[(Option<usize>, f64, f64)]) -> Part {
        let plan = plan();
        let reading = |&(rail, x_mm, value): &(Option<usize>, f64, f64)| {
            let place = crate::input::survey::Place { line: 1, column: String::new(), written: String::new() };
            let quantity = if rail.is_some() { Quantity::Lateral } else { Quantity::Gauge };
            Reading { place, quantity, rail, x_mm, value, uncertainty: Some(0.02) }
        };
        let corrected = Corrected {
            readings: readings.iter().map(reading).collect(),
            scale: 0.0,
            level_zero_rad: 0.0,
            keeps_common_yaw: false,
            height_is_seen: true,
            turn_with_rolls: false,
            said: Vec::new(),
            findings: Vec::new(),
        };
        Part::new(&plan, &Rails::new(&plan).unwrap(), &corrected, Reference::Common, LATERAL).unwrap()
    }

    fn at_pads(rail: Option<usize>, value: f64) -> Vec<(Option<usize>, f64, f64)> {
        (0..14).map(|i| (rail, 500.0 * f64::from(i), value)).collect()
    }

    /// A rail's line is told by its own readings, or by the other rail's and the distance between them.
    #[test]
    fn check_lines_are_seen_where_readings_tell_them() {
        let of_a = part(&at_pads(Some(A), 0.4));
        assert_eq!((of_a.seen, of_a.read), ([[true, true], [false, false]], [true, false]));
        // 14 readings of 0.02 leave their mean known to 0.005, and the vague prior does not pull at it.
        assert!(of_a.posterior.mean_profiles()[A].iter().all(|v| (v - 0.4).abs() < 0.005));
        assert_eq!(part(&at_pads(Some(B), 0.4)).seen, [[false; 2]; 2]);
        // Gauge alone leaves nothing open: rail A's line is taken as the reference.
        assert_eq!(part(&at_pads(None, 0.4)).seen, [[true; 2]; 2]);
        // One pad of rail A near its middle (s = 1/26) tells its offset and not its drift; the gauge tells all of B against A.
        let mut one_pad = at_pads(None, 0.4);
        one_pad.push((Some(A), 3500.0, 0.1));
        assert_eq!(part(&one_pad).seen, [[true, false], [true, true]]);
    }

    /// Read 100 mm beside it, a pad that is out is still the one that is named.
    #[test]
    fn check_a_settled_pad_is_the_nearest_to_its_reading() {
        for (pad, beside) in [(8, 100.0), (8, -100.0), (3, 200.0)] {
            let mut readings = at_pads(Some(A), 0.0);
            (readings[pad].1, readings[pad].2) = (500.0 * pad as f64 + beside, 0.3);
            assert_eq!(part(&readings).settled, [(A, pad)], "{beside}");
        }
    }
}
