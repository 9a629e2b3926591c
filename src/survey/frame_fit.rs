//! Readings that cannot be of this frame as they are written: tested against the plan before anything is judged. What a bad
//! rail can do is judged as a bad rail; what only a slip can do (a unit, axes, order, another machine) is refused by name.

use super::consensus::{AtOther, Frames, Laid, lay};
use super::misplaced::{Misplaced, Would};
use super::single_change::Change;
use super::stations;
use crate::input::Plan;
use crate::input::survey::{FrameKind, Survey};

/// The instrument's z may lean by this from the rails' plane before somebody has to say that it does, degrees.
const LEANS_DEG: f64 = 10.0;

/// Points that lie elsewhere than they say, at most one in so many, are single slips.
const ONE_IN: usize = 8;

/// Changes that fit as well as the best: within this factor of it.
const AS_WELL: f64 = 3.0;

/// Tests a survey against the plan's frame.
///
/// # Errors
/// What the readings cannot be, with what would make them fit.
pub fn fits_frame(plan: &Plan, survey: &Survey) -> Result<(), Misplaced> {
    stations::temperature(plan, &survey.state)?;
    stations::units(plan, survey)?;
    stations::sizes(plan, survey)?;
    if survey.points.len() < 3 { Ok(()) } else { points(plan, survey) }
}

fn points(plan: &Plan, survey: &Survey) -> Result<(), Misplaced> {
    let state = &survey.state;
    let frames = if state.frame == FrameKind::Plan { Frames::Plan } else { Frames::Own { upright: state.z_is_gravity == Some(true) } };
    let laid = lay(plan, &survey.points, frames);
    let leans = |l: &Laid| !state.axes_stated && l.leans_deg > LEANS_DEG;
    match &laid {
        Some(l) if l.fits && !leans(l) => {
            let other: Vec<AtOther> = l.elsewhere.iter().filter_map(|&i| l.at_other(plan, &survey.points[i], i)).collect();
            return if other.is_empty() { Ok(()) } else { Err(Misplaced::AtOtherPads(other)) };
        }
        _ => {}
    }
    let would = would(plan, survey, frames);
    match laid {
        Some(l) if l.fits => Err(Misplaced::Leans { leans_deg: l.leans_deg, would }),
        // Too many or too few for the pads, or all in one place: that has a message of its own.
        None if would.is_empty() => Ok(()),
        laid => {
            if let Some(l) = laid.as_ref().filter(|l| ONE_IN * l.elsewhere.len() <= survey.points.len()) {
                let other: Vec<AtOther> = l.elsewhere.iter().filter_map(|&i| l.at_other(plan, &survey.points[i], i)).collect();
                if !other.is_empty() {
                    return Err(Misplaced::AtOtherPads(other));
                }
            }
            let own_mm = super::consensus::own(&survey.points);
            let plan_mm = [super::consensus::pitch_mm(plan), plan.frame.span_mm];
            Err(Misplaced::Points { nine_in_ten_mm: laid.map(|l| l.nine_in_ten_mm), would, own_mm, plan_mm })
        }
    }
}

/// Changes that would make the points fit, the best and those that do about as well.
fn would(plan: &Plan, survey: &Survey, frames: Frames) -> Vec<Would> {
    let named = survey.points.iter().all(|p| p.x_mm.is_some());
    let upright = matches!(frames, Frames::Own { upright: true });
    let anchors = &plan.frame.anchors_x_mm;
    let mut changes = Change::all(anchors.len(), named, upright);
    if frames == Frames::Plan {
        changes.insert(0, Change::OwnAxes);
        if let Some(laid) = lay(plan, &survey.points, frames) {
            changes.splice(0..0, laid.off_mm.iter().enumerate().map(|(axis, by)| Change::Offset { axis, by_mm: *by }));
        }
    }
    let one = |change: Change| {
        let points = change.of(&survey.points, anchors)?;
        let frames = match change {
            Change::ZFree { .. } => Frames::Own { upright: false },
            Change::OwnAxes => Frames::Own { upright: survey.state.z_is_gravity == Some(true) },
            _ => frames,
        };
        let laid = lay(plan, &points, frames).filter(|l| l.fits)?;
        let change = match change {
            // Upside down is no lean: two axes are mirrored then, which other changes say.
            Change::ZFree { .. } if laid.leans_deg > 90.0 => return None,
            Change::ZFree { .. } => Change::ZFree { leans_deg: laid.leans_deg },
            _ if laid.leans_deg > LEANS_DEG => return None,
            other => other,
        };
        Some(Would { change, nine_in_ten_mm: laid.nine_in_ten_mm })
    };
    let mut list: Vec<Would> = changes.into_iter().filter_map(one).collect();
    let best = list.iter().map(|w| w.nine_in_ten_mm).fold(f64::INFINITY, f64::min);
    list.retain(|w| w.nine_in_ten_mm <= AS_WELL * best + 1e-6);
    list
}
