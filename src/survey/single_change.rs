//! One slip in how points were written down, and what it does to them: a unit, axes, the order of pads, rails.

use crate::input::survey::Point;
use crate::units::{A, B};

/// A single change that may make points fit the plan.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[serde(tag = "change", rename_all = "snake_case")]
pub enum Change {
    /// All coordinates are in another unit: the factor that brings them to mm.
    Unit {
        /// Factor.
        factor: f64,
    },
    /// One coordinate is in another unit.
    AxisUnit {
        /// 0, 1, 2 for x, y, z.
        axis: usize,
        /// Factor.
        factor: f64,
    },
    /// Columns stand in another order: the column that holds x, y, z.
    Axes {
        /// Number of the column.
        from: [usize; 3],
    },
    /// One coordinate counts backwards.
    Mirrored {
        /// 0, 1, 2 for x, y, z.
        axis: usize,
    },
    /// All coordinates are off along one axis; with coordinates in the plan's own axes only.
    Offset {
        /// 0, 1, 2 for x, y, z.
        axis: usize,
        /// By this much, mm.
        by_mm: f64,
    },
    /// Pads are numbered from the far end.
    Reversed {
        /// On one rail, or on both.
        rail: Option<usize>,
    },
    /// Pads of one rail carry numbers that are too high by this.
    Shifted {
        /// Rail.
        rail: usize,
        /// Pads.
        by: i64,
    },
    /// Two pads beside each other have each other's numbers.
    Exchanged {
        /// Rail.
        rail: usize,
        /// Number of the first, from 1.
        pad: usize,
    },
    /// What is called rail A is rail B.
    Rails,
    /// z is not tied to gravity.
    ZFree {
        /// Angle between the instrument's z and the plan's.
        leans_deg: f64,
    },
    /// The coordinates are in the instrument's own axes and not in the plan's.
    OwnAxes,
}

/// Units in which coordinates come, as factors to mm: m, in, ft, cm; um; mm read as m, in.
const UNITS: [f64; 7] = [1000.0, 25.4, 304.8, 10.0, 0.001, 1.0 / 25.4, 0.1];

impl Change {
    /// Every change that is tried on points, those first that are met most often.
    pub(super) fn all(pads: usize, named: bool, upright: bool) -> Vec<Self> {
        let mut list: Vec<Self> = UNITS.iter().map(|&factor| Self::Unit { factor }).collect();
        let orders = [[1, 0, 2], [0, 2, 1], [2, 1, 0], [1, 2, 0], [2, 0, 1]];
        list.extend(orders.map(|from| Self::Axes { from }));
        if named {
            list.extend([Self::Rails, Self::Reversed { rail: None }]);
        }
        list.push(Self::Mirrored { axis: 1 });
        if named {
            list.extend([A, B].map(|rail| Self::Reversed { rail: Some(rail) }));
            list.extend([A, B].into_iter().flat_map(|rail| [1, -1, 2, -2].map(|by| Self::Shifted { rail, by })));
            list.extend([A, B].into_iter().flat_map(|rail| (1..pads).map(move |pad| Self::Exchanged { rail, pad })));
        }
        for factor in [1000.0, 0.001, 25.4] {
            list.extend([0, 1, 2].map(|axis| Self::AxisUnit { axis, factor }));
        }
        if upright {
            list.push(Self::ZFree { leans_deg: 0.0 });
        }
        list
    }

    /// The points as they are after the change; `None` where it cannot be made.
    pub(super) fn of(self, points: &[Point], anchors: &[f64]) -> Option<Vec<Point>> {
        let last = anchors.len() - 1;
        let pad = |p: &Point| {
            let x = p.x_mm?;
            (0..anchors.len()).min_by(|&i, &j| (anchors[i] - x).abs().total_cmp(&(anchors[j] - x).abs()))
        };
        let renamed = |p: &Point, rename: &dyn Fn(usize) -> Option<usize>| {
            let to = rename(pad(p)?)?;
            Some(Point { x_mm: anchors.get(to).copied().map(Some)?, ..p.clone() })
        };
        let one = |p: &Point| -> Option<Point> {
            let [x, y, z] = p.xyz_mm;
            let at = |xyz_mm: [f64; 3]| Some(Point { xyz_mm, ..p.clone() });
            let of = |rail: usize| p.rail == rail;
            match self {
                Self::Unit { factor } => at([x * factor, y * factor, z * factor]),
                Self::AxisUnit { axis, factor } => at(scaled(p.xyz_mm, axis, factor)),
                Self::Axes { from } => at(from.map(|i| p.xyz_mm[i])),
                Self::Mirrored { axis } => at(scaled(p.xyz_mm, axis, -1.0)),
                Self::Offset { axis, by_mm } => {
                    let mut xyz = p.xyz_mm;
                    xyz[axis] -= by_mm;
                    at(xyz)
                }
                Self::Reversed { rail } if rail.is_none_or(of) => renamed(p, &|i| Some(last - i)),
                Self::Shifted { rail, by } if of(rail) => renamed(p, &|i| usize::try_from(i as i64 - by).ok()),
                Self::Exchanged { rail, pad } if of(rail) => renamed(p, &|i| {
                    Some(match i {
                        i if i + 1 == pad => pad,
                        i if i == pad => pad - 1,
                        i => i,
                    })
                }),
                Self::Rails => Some(Point { rail: if p.rail == A { B } else { A }, ..p.clone() }),
                Self::Reversed { .. } | Self::Shifted { .. } | Self::Exchanged { .. } | Self::ZFree { .. } | Self::OwnAxes => {
                    Some(p.clone())
                }
            }
        };
        points.iter().map(one).collect()
    }
}

fn scaled(mut xyz: [f64; 3], axis: usize, factor: f64) -> [f64; 3] {
    xyz[axis] *= factor;
    xyz
}
