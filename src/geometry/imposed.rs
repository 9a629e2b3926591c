//! What the two rails of an installation impose on the blocks when the bridge stands at a station.

use crate::input::Installation;
use crate::input::plan::{Frame, Plan};
use crate::math::NaturalSpline;
use crate::math::spline::Weights;
use crate::units::B;

/// Displacement forced on a block: y and z (mm), roll, pitch, yaw (rad).
pub type Imposed = [f64; 5];

/// One block of one truck over its rail at one station.
#[derive(Debug, Clone)]
pub struct RailPoint {
    /// Rail and truck.
    pub side: usize,
    /// Number of the block in its truck.
    pub block: usize,
    /// Place along the rails in -1/2..1/2.
    pub s: f64,
    /// Offset from the rail line.
    pub lateral_mm: f64,
    /// What value and slope take from each anchor.
    pub weights: Weights,
}

/// The rails of a plan: splines through the anchors.
#[derive(Debug, Clone)]
pub struct Rails {
    spline: NaturalSpline,
    frame: Frame,
    length_mm: f64,
}

impl Rails {
    /// The rails of a plan, or `None` if its anchors do not increase.
    #[must_use]
    pub fn new(plan: &Plan) -> Option<Self> {
        let spline = NaturalSpline::new(&plan.frame.anchors_x_mm)?;
        Some(Self { spline, frame: plan.frame.clone(), length_mm: plan.frame.length_mm() })
    }

    /// The spline that every profile runs along.
    #[must_use]
    pub fn spline(&self) -> &NaturalSpline {
        &self.spline
    }

    /// All blocks over their rails with the bridge at `station_x_mm`: truck A's in their order, then truck B's.
    #[must_use]
    pub fn points(&self, plan: &Plan, station_x_mm: f64) -> Vec<RailPoint> {
        let point = |side: usize, block: usize| {
            let place = plan.trucks[side].blocks[block];
            let x = station_x_mm + place.x_mm;
            RailPoint { side, block, s: self.frame.s(x), lateral_mm: place.lateral_mm, weights: self.spline.weights(x) }
        };
        (0..2).flat_map(|side| (0..plan.trucks[side].blocks.len()).map(move |b| (side, b))).map(|(s, b)| point(s, b)).collect()
    }

    /// Rail line at a point: lateral and vertical deviation (mm), roll (rad), each as value and slope per mm.
    #[must_use]
    pub fn line(&self, point: &RailPoint, installation: &Installation) -> [(f64, f64); 3] {
        let side = point.side;
        let straight = |offset: f64, drift: f64| (offset + drift * point.s, drift / self.length_mm);
        let relative = f64::from(u8::from(side == B));
        let straight = [
            straight(relative * installation.span_mm, relative * installation.parallelism_mm),
            straight(relative * installation.height_mm, relative * installation.vertical_parallelism_mm),
            straight(installation.cross_level_rad[side], installation.cross_level_twist_rad[side]),
        ];
        std::array::from_fn(|i| {
            let (value, slope) = point.weights.apply(&installation.residual[side][i]);
            (straight[i].0 + value, straight[i].1 + slope)
        })
    }

    /// Rail line of one side at any place: lateral and vertical deviation (mm), roll (rad).
    #[must_use]
    pub fn line_at(&self, side: usize, x_mm: f64, installation: &Installation) -> [f64; 3] {
        let s = self.frame.s(x_mm);
        let point = RailPoint { side, block: 0, s, lateral_mm: 0.0, weights: self.spline.weights(x_mm) };
        self.line(&point, installation).map(|(value, _)| value)
    }

    /// What the rail and the truck's own making force on the block at a point.
    #[must_use]
    pub fn imposed(&self, point: &RailPoint, installation: &Installation) -> Imposed {
        let [lateral, vertical, roll] = self.line(point, installation);
        let offset = installation.block_offset_mm[point.side][point.block];
        let b = point.lateral_mm;
        [lateral.0 + offset[0], vertical.0 + b * roll.0 + offset[1], roll.0, -(vertical.1 + b * roll.1), lateral.1]
    }
}
