//! Readings that cannot be of this frame as they are written: tested against the plan before anything is judged. What a bad
//! rail can do is judged as a bad rail; what only a slip can do (a unit, axes, order, another machine) is refused by name.

use super::consensus::{AtOther, Frames, Laid, lay};
use super::single_change::Change;
use super::stations;
use crate::input::Plan;
use crate::input::survey::{FrameKind, Quantity, Survey};

/// A single change with which points would fit.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Would {
    /// The change.
    pub change: Change,
    /// Nine points in ten then lie within this of their pads' places, mm.
    pub nine_in_ten_mm: f64,
}

/// Why readings cannot be of this frame.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(tag = "cannot_be", rename_all = "snake_case")]
pub enum Misplaced {
    /// No motion lays the points onto the plan's pads.
    Points {
        /// Nine points in ten lie within this of their pads' places, mm; `None` where not even the pads can be matched.
        nine_in_ten_mm: Option<f64>,
        /// Changes that would make them fit, each by itself.
        would: Vec<Would>,
        /// Distance of neighbouring points along the rails and of the rails, as the points have it, mm.
        own_mm: [Option<f64>; 2],
        /// The same by the plan, mm.
        plan_mm: [f64; 2],
    },
    /// Single points lie at other pads than they say.
    AtOtherPads(Vec<AtOther>),
    /// The instrument's z leans far from the plan's.
    Leans {
        /// Degrees.
        leans_deg: f64,
        /// Changes with which it would not.
        would: Vec<Would>,
    },
    /// Stations are in another unit.
    Stations {
        /// Largest station as read, mm.
        to_mm: f64,
        /// Largest pad of the plan, mm.
        pads_to_mm: f64,
        /// Factor that brings them to mm.
        factor: f64,
    },
    /// Readings are far too large, and in another unit would not be.
    Size {
        /// What was read.
        quantity: Quantity,
        /// Half of them are larger than this, mm or rad.
        half_over: f64,
        /// The plan's tolerance, mm or rad.
        tolerance: f64,
        /// Units that would make them fit, with the size that half of them would then be over.
        would: Vec<(Unit, f64)>,
    },
    /// The rails' distance is that of another machine.
    Span {
        /// As read, mm.
        read_mm: f64,
        /// By the plan, mm.
        plan_mm: f64,
    },
    /// A temperature that only fits the plan's seasons in degrees Fahrenheit.
    Fahrenheit {
        /// As stated, taken for degrees Celsius.
        stated: f64,
        /// The same taken for degrees Fahrenheit, in degrees Celsius.
        would_be_c: f64,
        /// The plan's frame over its seasons, degrees Celsius.
        seasons_c: [f64; 2],
    },
}

/// A unit that a column may be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// um/m for mm/m.
    MicrometresPerMetre,
    /// Seconds of arc for mm/m.
    Arcseconds,
    /// um for mm.
    Micrometres,
}

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
