//! From the measured rails to a work list: limits first, then tightened until the requirements are met too.

use super::program::{self, Bound, Pad, Task};
use crate::evaluate::Evaluator;
use crate::input::{ErrorKind, Plan};
use crate::input::{Increments, stack};
use crate::structure::NotConverged;
use crate::study::Status;
use crate::survey::checks::{Check, Conformity, GUARD};
use crate::survey::measured::{LATERAL, Measured, ROLL, VERTICAL};
use crate::survey::predicted::{Prediction, predict};
use crate::units::{A, B, SIDES};

/// What to do at one pad.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Item {
    /// Rail.
    pub rail: usize,
    /// Number of the pad, from 1.
    pub pad: usize,
    /// Place along the rails, mm.
    pub x_mm: f64,
    /// Thickness to add, mm.
    pub shim_mm: f64,
    /// The shims that make it, thickest first, mm.
    pub stack_mm: Vec<f64>,
    /// Movement across, mm; +: towards +y.
    pub lateral_mm: f64,
    /// Angle to add to the seat, rad; +: its +y side up.
    pub taper_rad: f64,
}

/// A work list with what it leads to.
#[derive(Debug, Clone)]
pub struct Correction {
    /// Pads to touch, up along rail A and back along rail B.
    pub items: Vec<Item>,
    /// The rails after it.
    pub after: Measured,
    /// True where it is proved that no list touches fewer pads in height.
    pub fewest_proved: bool,
    /// Share to which the limits were tightened so that the requirements are met too.
    pub tightened: f64,
    /// True where every limit and requirement is met after it, as far as it is predicted.
    pub meets_all: bool,
    /// What keeps it from meeting everything, in sentences.
    pub stopped_by: Vec<String>,
}

/// Shares of the limits that are tried in turn until the requirements are met.
const TIGHTER: [f64; 4] = [1.0, 0.6, 0.35, 0.2];

/// Most draws that judge a list while it is looked for.
const JUDGED_BY: u64 = 4000;

/// The cheapest list that brings limits and requirements back; `None` where nothing is to be done.
///
/// # Errors
/// An equilibrium was not found.
pub fn correct_rails(
    plan: &Plan,
    evaluators: &[Evaluator<'_>],
    measured: &Measured,
    now: &[Check],
    before: &[Prediction],
    recheck: &dyn Fn(&Measured) -> Vec<Check>,
    (draws, seed): (u64, u64),
) -> Result<Option<Correction>, NotConverged> {
    if kept(now) && met(before) {
        return Ok(None);
    }
    let chosen: Vec<&Evaluator<'_>> = evaluators.iter().filter(|e| e.machine.arrangement == plan.chosen).collect();
    let mut best: Option<(Correction, f64)> = None;
    for tightened in TIGHTER {
        let (moves, fewest_proved, stops) = moves(plan, measured, now, tightened);
        let after = measured.moved(&moves);
        let checked = recheck(&after);
        let predicted = predict(plan, &chosen, &after, draws.min(JUDGED_BY), seed)?;
        let share = predicted.iter().flat_map(|p| &p.verdicts).map(|v| v.share / v.requirement.quantile).fold(f64::INFINITY, f64::min);
        let limits = kept(&checked);
        let requirements = share >= 1.0;
        // What stopped a direction matters where one of its limits is still out.
        let stopped_by = (0..3).flat_map(|d| {
            let out: Vec<&str> = checked.iter().filter(|c| out(c) && direction_of(c.key) == d).map(|c| c.label).collect();
            let why = stops
                .iter()
                .find(|(of, _)| *of == d)
                .map_or_else(|| "the uncertainty of the survey leaves it undecided".to_string(), |(_, why)| why.clone());
            (!out.is_empty()).then(|| format!("{}: {why}", out.join(", ")))
        });
        let stopped_by = stopped_by.collect();
        let broken = checked.iter().filter(|c| c.decision.verdict == Conformity::Fail).count();
        let score = score(limits, broken, share);
        let correction =
            Correction { items: items(plan, &moves), after, fewest_proved, tightened, meets_all: limits && requirements, stopped_by };
        if best.as_ref().is_none_or(|(_, s)| score > s + 0.02) {
            best = Some((correction, score));
        }
        if requirements {
            break;
        }
    }
    if let Some((correction, _)) = &mut best
        && !correction.meets_all
        && correction.stopped_by.is_empty()
    {
        let told = |direction: usize| measured.tells(direction, A) || measured.tells(direction, B);
        let why = if !told(VERTICAL) || !told(LATERAL) {
            "a rail that was not read, or of which only gauge and height are known, cannot be set: read the master rail, then the other"
        } else if met(before) {
            "limits and requirements cannot both be met with these shims: whole shims make the rails rougher than they are now"
        } else {
            "the requirements are not met even with straighter rails: what is left lies in the bridge, the joints or the duty"
        };
        correction.stopped_by.push(why.into());
    }
    Ok(best.map(|(c, _)| c))
}

/// What a list is worth, by the limits it keeps and by what it reaches of the requirements.
///
/// What the machine will do counts twice what the drawing says: a list that keeps limits and ruins the life is none.
/// A limit that is left broken costs as much as an eighth of the requirement: a list that mends it goes before one that gains less.
fn score(limits: bool, broken: usize, share: f64) -> f64 {
    f64::from(u8::from(limits)) + 2.0 * share.min(1.0) - 0.25 * broken as f64
}

fn out(c: &Check) -> bool {
    matches!(c.decision.verdict, Conformity::Fail | Conformity::NotDecidable)
}

fn kept(checks: &[Check]) -> bool {
    !checks.iter().any(out)
}

fn met(predicted: &[Prediction]) -> bool {
    let fine = |s: Status| matches!(s, Status::Met | Status::NotApplicable);
    predicted.iter().filter(|p| p.chosen).flat_map(|p| &p.verdicts).all(|v| fine(v.status))
}

/// Movements at the anchors: direction, rail, pad.
type Moves = [[Vec<f64>; 2]; 3];

/// The three programs, height first; pads touched there cost nothing in the others.
fn moves(plan: &Plan, measured: &Measured, checks: &[Check], tightened: f64) -> (Moves, bool, Vec<(usize, String)>) {
    let n = plan.frame.anchors_x_mm.len();
    let c = &plan.site.correction;
    let mut moves: Moves = Default::default();
    moves.iter_mut().flatten().for_each(|list| *list = vec![0.0; n]);
    let mut stopped = Vec::new();
    let mut fewest = true;
    let increments = Increments::new(c);
    let lateral_steps = (c.slot_mm / c.lateral_step_mm + 1e-9).floor() as i32;
    let taper_steps = if c.taper_rad[0] > 0.0 { (c.taper_rad[1] / c.taper_rad[0] + 1e-9).floor() as i32 } else { 0 };
    for (direction, step, steps, largest) in [
        (VERTICAL, increments.step_mm, (0, increments.most), c.largest_step_mm),
        (LATERAL, c.lateral_step_mm, (-lateral_steps, lateral_steps), c.largest_step_mm),
        (ROLL, c.taper_rad[0].max(1e-9), (-taper_steps, taper_steps), f64::INFINITY),
    ] {
        if !measured.read[direction].iter().any(|r| *r) {
            continue;
        }
        if !measured.tells(direction, A) && !measured.tells(direction, B) {
            stopped.push((direction, "gauge and height alone do not tell which rail is out: read the master rail itself first".into()));
            continue;
        }
        if measured.apart[direction] > 1.0 {
            stopped.push((direction, "its readings contradict each other: no pad is to be moved on them".into()));
            continue;
        }
        let task = task(plan, measured, checks, direction, tightened, step, steps, largest, &moves);
        if task.rails.iter().all(|pads| held(pads)) {
            stopped.push((direction, what_holds(direction)));
            continue;
        }
        let Some(found) = program::solve(&task) else {
            stopped.push((direction, format!("{}: the solver found no list", NAMES[direction])));
            continue;
        };
        // Limits of a rail that stays where it is were not asked for: if they are out, that is why.
        let left_alone = [A, B].iter().any(|&rail| measured.read[direction][rail] && held(&task.rails[rail]));
        if found.widened > 0.0 || left_alone {
            stopped.push((direction, what_stops(plan, &task, &found, direction)));
        }
        fewest &= found.fewest_proved;
        for rail in [A, B] {
            for (move_, n) in moves[direction][rail].iter_mut().zip(&found.steps[rail]) {
                *move_ = f64::from(*n) * step;
            }
        }
    }
    (moves, fewest, stopped)
}

#[allow(clippy::too_many_arguments, reason = "one program for three directions")]
fn task(
    plan: &Plan,
    measured: &Measured,
    checks: &[Check],
    direction: usize,
    tightened: f64,
    step: f64,
    steps: (i32, i32),
    largest: f64,
    moves: &Moves,
) -> Task {
    let c = &plan.site.correction;
    let means = measured.profiles[direction].mean_profiles();
    let rails: [Vec<Pad>; 2] = [A, B].map(|rail| {
        let pad = |i: usize| {
            let held = c.fixed.contains(&(rail, i)) || c.master == Some(rail) || !measured.read[direction][rail];
            let touched = moves.iter().any(|d| d[rail][i] != 0.0);
            Pad {
                s: plan.frame.s(plan.frame.anchors_x_mm[i]),
                value: means[rail][i],
                steps: if held { (0, 0) } else { steps },
                cost: if touched { 0.0 } else { 1.0 },
            }
        };
        (0..means[rail].len()).map(pad).collect()
    });
    let guard = |kind: ErrorKind| {
        let key = kind.spec().key;
        let found = checks.iter().find(|c| c.key == key && c.decision.verdict != Conformity::NotSeen);
        found.map(|c| GUARD * c.uncertainty * if c.unit == "mm" { 1.0 } else { 1e-3 })
    };
    // Movements across are rounded to steps afterwards.
    let rounding = if direction == LATERAL { step } else { 0.0 };
    let bound = |kind: ErrorKind, factors: [f64; 4]| {
        let source = plan.errors.get(kind)?;
        let half = source.half_width();
        // Half of a zone that the uncertainty eats up is aimed at all the same.
        let room = (half - guard(kind)? - rounding / 2.0).max(half / 2.0) * tightened;
        Some(Bound { factors, low: source.middle() - room, high: source.middle() + room })
    };
    let both: [(ErrorKind, [f64; 4]); 2];
    let bounds: Vec<Bound> = if direction == ROLL {
        let one = |rail: usize| {
            let mut offset = [0.0; 4];
            let mut drift = [0.0; 4];
            (offset[2 * rail], drift[2 * rail + 1]) = (1.0, 1.0);
            [(ErrorKind::CrossLevel(rail), offset), (ErrorKind::CrossLevelTwist(rail), drift)]
        };
        [one(A), one(B)].into_iter().flatten().filter_map(|(k, f)| bound(k, f)).collect()
    } else {
        let kinds = if direction == LATERAL {
            [ErrorKind::Span, ErrorKind::Parallelism]
        } else {
            [ErrorKind::Height, ErrorKind::VerticalParallelism]
        };
        both = [(kinds[0], [-1.0, 0.0, 1.0, 0.0]), (kinds[1], [0.0, -1.0, 0.0, 1.0])];
        both.into_iter().filter_map(|(k, f)| bound(k, f)).collect()
    };
    let straightness = |rail: usize| {
        [ErrorKind::StraightnessLateral(rail), ErrorKind::StraightnessVertical(rail), ErrorKind::StraightnessRoll(rail)][direction]
    };
    let zone = |rail: usize| {
        // A little for what the spline does between the pads. What no movement can change is not asked for: it would hold up the rest.
        let wide = 1e3 * step.max(1e-3);
        let asked = plan.errors.get(straightness(rail)).filter(|_| !held(&rails[rail]));
        asked.map_or(wide, |s| (0.97 * s.upper - guard(straightness(rail)).unwrap_or(0.0) - rounding).max(s.upper / 2.0) * tightened)
    };
    let zones = [zone(A), zone(B)];
    // A wave of the rail's own length bends by this share of its height from pad to pad; more is a hump that shims made. One
    // step up or down along a slope must stay possible.
    let pitch = plan.frame.length_mm() / (plan.frame.anchors_x_mm.len() - 1) as f64;
    let wave = (2.0 * pitch / plan.frame.correlation_length_mm).powi(2).min(1.0);
    let whole = direction != LATERAL;
    Task {
        largest_step: if largest.is_finite() { largest.max(steepest(&rails) + step) } else { 1e3 },
        rails,
        zones,
        bounds,
        step,
        whole,
        bend: zones.map(|z| (z / 4.0 * wave).max(0.75 * step)),
    }
}

/// True where no pad of a rail can move.
fn held(pads: &[Pad]) -> bool {
    pads.iter().all(|p| p.steps == (0, 0))
}

/// Largest difference between neighbouring pads of a rail as they stand: a shim that takes such a step out may be as thick.
fn steepest(rails: &[Vec<Pad>; 2]) -> f64 {
    rails.iter().flat_map(|pads| pads.windows(2)).map(|w| (w[1].value - w[0].value).abs()).fold(0.0, f64::max)
}

const NAMES: [&str; 3] = ["lateral", "height", "cross-level"];

/// Direction of a limit by its key.
fn direction_of(key: &str) -> usize {
    match key {
        "span" | "parallelism" | "straightness_lateral_a" | "straightness_lateral_b" => LATERAL,
        "height" | "vertical_parallelism" | "straightness_vertical_a" | "straightness_vertical_b" => VERTICAL,
        _ => ROLL,
    }
}

fn what_holds(direction: usize) -> String {
    match direction {
        ROLL => "no tapered or half-pad shims are allowed (correction.taper_most_mrad in the plan)".into(),
        LATERAL => "no pad may move across (correction.slot_mm, fixed_pads, master in the plan)".into(),
        _ => "no pad may be shimmed (correction in the plan)".into(),
    }
}

/// Why a program's limits had to be widened.
fn what_stops(plan: &Plan, task: &Task, found: &program::Plan, direction: usize) -> String {
    let c = &plan.site.correction;
    let pads = || task.rails.iter().flatten().zip(found.steps.iter().flatten());
    let ends = pads().filter(|(p, n)| p.steps.1 > p.steps.0 && (**n == p.steps.1 || (p.steps.0 < 0 && **n == p.steps.0))).count();
    let held = pads().filter(|(p, _)| p.steps == (0, 0)).count();
    let mut why = Vec::new();
    if ends > 0 {
        let what = ["the end of their slots", "the greatest stack", "the greatest taper"][direction];
        why.push(format!("{ends} pads are at {what}"));
    }
    if held > 0 {
        why.extend(c.master.map(|rail| format!("rail {} stays where it is", SIDES[rail].to_uppercase())));
        let named = c.fixed.iter().filter(|(rail, _)| c.master != Some(*rail));
        let named: Vec<String> = named.map(|(rail, pad)| format!("{}{}", SIDES[*rail].to_uppercase(), pad + 1)).collect();
        if !named.is_empty() {
            why.push(format!("{} cannot move", named.join(", ")));
        }
    }
    if why.is_empty() {
        why.push("the largest step between neighbouring pads and the steps of the shims leave no better list".into());
    }
    why.join("; ")
}

fn items(plan: &Plan, moves: &Moves) -> Vec<Item> {
    let mut list = Vec::new();
    let pads = plan.frame.anchors_x_mm.len();
    // Up along rail A and back along rail B.
    for rail in [A, B] {
        for k in 0..pads {
            let i = if rail == A { k } else { pads - 1 - k };
            let x = &plan.frame.anchors_x_mm[i];
            let [lateral, shim, taper] = [LATERAL, VERTICAL, ROLL].map(|d| moves[d][rail][i]);
            if lateral != 0.0 || shim != 0.0 || taper != 0.0 {
                list.push(Item {
                    rail,
                    pad: i + 1,
                    x_mm: *x,
                    shim_mm: shim,
                    stack_mm: stack(&plan.site.correction, shim).unwrap_or_default(),
                    lateral_mm: lateral,
                    taper_rad: taper,
                });
            }
        }
    }
    list
}

#[cfg(test)]
mod tests;
