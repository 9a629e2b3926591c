//! The motion on which most points agree, where each should lie by its rail and pad: wrong ones do not pull it.

use super::placed::{axes, nominal_x};
use crate::geometry::{RigidMotion, lay_onto};
use crate::input::survey::Point;
use crate::input::{ErrorKind, Plan};
use crate::units::{A, B};

/// Axes that points are given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Frames {
    /// The plan's: nothing is fitted.
    Plan,
    /// The instrument's; with z tied to gravity or not.
    Own {
        /// z is tied to gravity.
        upright: bool,
    },
}

/// A point that lies where another pad is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub struct AtOther {
    /// Line of the file.
    pub line: usize,
    /// Rail and pad (from 1) that it is said to be of.
    pub said: (usize, usize),
    /// Rail and pad at which it lies.
    pub lies_at: (usize, usize),
}

/// Points as the best motion lays them.
#[derive(Debug, Clone)]
pub(super) struct Laid {
    /// Whether nearly all lie where their pads are.
    pub(super) fits: bool,
    /// Nine in ten lie within this of their pads' places, mm.
    pub(super) nine_in_ten_mm: f64,
    /// Angle between the instrument's z and the plan's.
    pub(super) leans_deg: f64,
    /// Points that lie elsewhere.
    pub(super) elsewhere: Vec<usize>,
    /// Median distance from the pads' places in x, y, z.
    pub(super) off_mm: [f64; 3],
    at: Vec<[f64; 3]>,
    room: Room,
}

/// How far from its pad's place a point of this frame may lie, mm: along the rails wherever it was held to the pad, across what
/// a rail may be out that somebody has laid by eye.
#[derive(Debug, Clone, Copy)]
struct Room {
    along: f64,
    across: f64,
}

/// Points of which so many at least lie where they should belong to this frame.
const MOST: f64 = 0.9;

/// Tries for the first motion, and points of which each is made.
const TRIES: usize = 40;

/// Distance of neighbouring pads, mm: the least.
pub(super) fn pitch_mm(plan: &Plan) -> f64 {
    plan.frame.anchors_x_mm.windows(2).map(|w| w[1] - w[0]).fold(f64::INFINITY, f64::min)
}

/// What a rail may be out across and in height: ten times its tolerance, 20 mm, a fiftieth of the span on small machines.
pub(super) fn across_mm(plan: &Plan) -> f64 {
    let kinds = [ErrorKind::Span, ErrorKind::Parallelism, ErrorKind::Height, ErrorKind::VerticalParallelism];
    let widest = kinds.iter().filter_map(|k| plan.errors.get(*k)).map(|s| s.upper.abs().max(s.lower.abs())).fold(0.0, f64::max);
    (10.0 * widest).max((0.02 * plan.frame.span_mm).min(20.0))
}

/// Lays points onto the plan's pads; `None` where their pads cannot be told or no motion is settled.
pub(super) fn lay(plan: &Plan, points: &[Point], frames: Frames) -> Option<Laid> {
    let x = if frames == Frames::Plan {
        points.iter().map(|p| p.x_mm.unwrap_or(p.xyz_mm[0])).collect()
    } else {
        nominal_x(plan, points, &mut Vec::new()).ok()?
    };
    let target: Vec<[f64; 3]> = points.iter().zip(&x).map(|(p, x)| [*x, if p.rail == B { plan.frame.span_mm } else { 0.0 }, 0.0]).collect();
    let room = Room { along: 0.25 * pitch_mm(plan), across: across_mm(plan) };
    let motion = match frames {
        Frames::Plan => None,
        Frames::Own { upright } => Some(agreed(points, &target, upright, room)?),
    };
    let at: Vec<[f64; 3]> = points.iter().map(|p| motion.map_or(p.xyz_mm, |m| m.of(p.xyz_mm))).collect();
    let off: Vec<[f64; 3]> = at.iter().zip(&target).map(|(p, t)| [p[0] - t[0], p[1] - t[1], p[2] - t[2]]).collect();
    let elsewhere: Vec<usize> = (0..points.len()).filter(|&i| !room.holds(off[i])).collect();
    let mut sizes: Vec<f64> = off.iter().map(|d| size(*d)).collect();
    sizes.sort_by(f64::total_cmp);
    let kept: Vec<usize> = (0..points.len()).filter(|i| !elsewhere.contains(i)).collect();
    let most = points.len() - elsewhere.len() >= (MOST * points.len() as f64).ceil() as usize;
    let off_mm = [0, 1, 2].map(|axis| middle(off.iter().map(|d| d[axis]).collect()));
    // In the plan's own axes a common offset along the rails is none of where each point was held.
    let set = frames != Frames::Plan || off_mm[0].abs() <= 0.1 * pitch_mm(plan);
    Some(Laid {
        fits: most && set && as_long(&kept, &target, &off, 0.2 * pitch_mm(plan)),
        nine_in_ten_mm: sizes[((0.9 * sizes.len() as f64).ceil() as usize).clamp(1, sizes.len()) - 1],
        leans_deg: motion.map_or(0.0, |m| m.tilt_rad().to_degrees()),
        elsewhere,
        off_mm,
        at,
        room,
    })
}

impl Room {
    fn holds(self, off: [f64; 3]) -> bool {
        off[0].abs() <= self.along && off[1].hypot(off[2]) <= self.across
    }
}

fn size(d: [f64; 3]) -> f64 {
    d.iter().map(|v| v * v).sum::<f64>().sqrt()
}

fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// True where the points' distances along the rails are the plan's: they do not drift from their pads by more than `most` in all.
fn as_long(kept: &[usize], target: &[[f64; 3]], off: &[[f64; 3]], most: f64) -> bool {
    let n = kept.len() as f64;
    let mean = |of: &dyn Fn(usize) -> f64| kept.iter().map(|&i| of(i)).sum::<f64>() / n;
    let (x, d) = (mean(&|i| target[i][0]), mean(&|i| off[i][0]));
    let spread = mean(&|i| (target[i][0] - x).powi(2));
    let (low, high) = kept.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &i| (l.min(target[i][0]), h.max(target[i][0])));
    if !(spread > 0.0) {
        return true;
    }
    let slope = mean(&|i| (target[i][0] - x) * (off[i][0] - d)) / spread;
    slope.abs() * (high - low) <= most
}

/// Least median of distances over motions of a few points each, then least squares of those that agree (Rousseeuw 1984).
fn agreed(points: &[Point], target: &[[f64; 3]], upright: bool, room: Room) -> Option<RigidMotion> {
    let one_rail = points.iter().all(|p| p.rail == points[0].rail);
    let upright = upright || one_rail;
    let of = |list: &[usize]| {
        let measured: Vec<[f64; 3]> = list.iter().map(|&i| points[i].xyz_mm).collect();
        let wanted: Vec<[f64; 3]> = list.iter().map(|&i| target[i]).collect();
        lay_onto(&measured, &wanted, upright)
    };
    let away = |m: &RigidMotion, i: usize| {
        let p = m.of(points[i].xyz_mm);
        [p[0] - target[i][0], p[1] - target[i][1], p[2] - target[i][2]]
    };
    let median = |m: &RigidMotion| middle((0..points.len()).map(|i| size(away(m, i))).collect());
    let all: Vec<usize> = (0..points.len()).collect();
    let mut state = 1_u64;
    let mut chosen = |_: usize| {
        // Knuth's linear congruential generator: which points begin is the same in every run.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % points.len()
    };
    let few: Vec<Vec<usize>> = (0..TRIES).map(|_| (0..4).map(&mut chosen).collect()).collect();
    let first = std::iter::once(&all).chain(&few).filter_map(|list| of(list)).min_by(|a, b| median(a).total_cmp(&median(b)))?;
    let mut motion = first;
    for _ in 0..3 {
        let far = 3.0 * median(&motion) + 1.0;
        let near: Vec<usize> = all.iter().copied().filter(|&i| size(away(&motion, i)) <= far || room.holds(away(&motion, i))).collect();
        motion = of(&near).unwrap_or(motion);
    }
    Some(motion)
}

impl Laid {
    /// The other pad at which a point lies, if it lies at one.
    pub(super) fn at_other(&self, plan: &Plan, point: &Point, i: usize) -> Option<AtOther> {
        let anchors = &plan.frame.anchors_x_mm;
        let across = |rail: usize| if rail == B { plan.frame.span_mm } else { 0.0 };
        let p = self.at[i];
        let lies = [A, B].into_iter().flat_map(|rail| (0..anchors.len()).map(move |pad| (rail, pad)));
        let (rail, pad) = lies.into_iter().find(|&(rail, pad)| self.room.holds([p[0] - anchors[pad], p[1] - across(rail), p[2]]))?;
        let said = point.x_mm?;
        let nearest = (0..anchors.len()).min_by(|&a, &b| (anchors[a] - said).abs().total_cmp(&(anchors[b] - said).abs()))?;
        Some(AtOther { line: point.place.line, said: (point.rail, nearest + 1), lies_at: (rail, pad + 1) })
    }
}

/// Distance of neighbouring points along the rails (the median) and of the rails, as the points have them, mm.
pub(super) fn own(points: &[Point]) -> [Option<f64>; 2] {
    let Some((along, _)) = axes(points) else { return [None; 2] };
    let place = |p: &Point| nalgebra::Vector3::from(p.xyz_mm).dot(&along);
    let mut gaps = Vec::new();
    for rail in [A, B] {
        let mut x: Vec<f64> = points.iter().filter(|p| p.rail == rail).map(place).collect();
        x.sort_by(f64::total_cmp);
        let long = x.last().zip(x.first()).map_or(0.0, |(l, f)| l - f);
        gaps.extend(x.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 0.01 * long));
    }
    let mean = |rail: usize| {
        let of: Vec<nalgebra::Vector3<f64>> = points.iter().filter(|p| p.rail == rail).map(|p| p.xyz_mm.into()).collect();
        (!of.is_empty()).then(|| of.iter().sum::<nalgebra::Vector3<f64>>() / of.len() as f64)
    };
    let span = mean(A).zip(mean(B)).map(|(a, b)| {
        let d = b - a;
        (d - along * d.dot(&along)).norm()
    });
    [(!gaps.is_empty()).then(|| middle(gaps)), span]
}
