//! Draws installations: each source between its limits, profiles over their modes.

use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal, Triangular};

use crate::geometry::{ProfileModes, Rails};
use crate::input::sources::Spread;
use crate::input::{ErrorKind, Installation, Plan, Source};

/// A uniform number in 0..1.
pub fn uniform(rng: &mut impl Rng) -> f64 {
    rng.random()
}

/// A draw between -1 and 1, the limits; beyond them only for a normal spread that is not cut.
pub fn unit_draw(spread: Spread, cut: bool, rng: &mut impl Rng) -> f64 {
    match spread {
        Spread::Uniform => 2.0 * rng.random::<f64>() - 1.0,
        // The parameters are constants in order, so the error cannot arise.
        Spread::Triangular => Triangular::new(-1.0, 1.0, 0.0).map_or(0.0, |t| t.sample(rng)),
        Spread::Normal { capability } => loop {
            let z: f64 = StandardNormal.sample(rng);
            let u = z / (3.0 * capability);
            if !cut || u.abs() <= 1.0 {
                return u;
            }
        },
    }
}

/// Independent standard normal numbers.
pub(super) fn normals(count: usize, rng: &mut impl Rng) -> Vec<f64> {
    (0..count).map(|_| StandardNormal.sample(rng)).collect()
}

/// Draws installations of a plan.
#[derive(Debug, Clone)]
pub struct Draws<'p> {
    plan: &'p Plan,
    modes: ProfileModes,
}

impl<'p> Draws<'p> {
    /// Prepares the profiles' modes.
    #[must_use]
    pub fn new(plan: &'p Plan, rails: &Rails) -> Self {
        Self { plan, modes: ProfileModes::new(rails.spline(), plan.frame.correlation_length_mm) }
    }

    /// The profiles' modes.
    #[must_use]
    pub fn modes(&self) -> &ProfileModes {
        &self.modes
    }

    /// One installation. Sources are drawn in the order of [`ErrorKind::ALL`].
    pub fn draw(&self, rng: &mut impl Rng) -> Installation {
        let mut installation = Installation::perfect(self.plan);
        for source in self.plan.errors.sources.iter().filter(|s| !s.in_service) {
            self.set(source, &mut installation, rng);
        }
        installation
    }

    /// The perfect installation with one scalar error set; families and profiles are left perfect.
    #[must_use]
    pub fn with(&self, kind: ErrorKind, value: f64) -> Installation {
        let mut installation = Installation::perfect(self.plan);
        set_scalar(kind, value, &mut installation);
        installation
    }

    fn set(&self, source: &Source, to: &mut Installation, rng: &mut impl Rng) {
        use ErrorKind as K;
        let mut value = || scalar(source, rng);
        match source.kind {
            K::StraightnessLateral(rail) => to.residual[rail][0] = self.profile(source, rng),
            K::StraightnessVertical(rail) => to.residual[rail][1] = self.profile(source, rng),
            K::StraightnessRoll(rail) => to.residual[rail][2] = self.profile(source, rng),
            K::BlockLateral => each_block(to, 0, value),
            K::BlockVertical => each_block(to, 1, value),
            K::Seat => each_seat(to, 0, value),
            K::SeatAngle => each_seat(to, 3, value),
            kind => set_scalar(kind, value(), to),
        }
    }

    /// A smooth profile whose peak-to-valley is drawn from the source.
    fn profile(&self, source: &Source, rng: &mut impl Rng) -> Vec<f64> {
        let amplitudes: Vec<f64> = (0..self.modes.count()).map(|_| StandardNormal.sample(rng)).collect();
        let wanted = source.middle() + source.half_width() * unit_draw(source.spread, true, rng);
        let has = self.modes.peak_to_valley(&amplitudes);
        if has == 0.0 {
            return Vec::new();
        }
        self.modes.at_anchors(&amplitudes).into_iter().map(|v| v * wanted / has).collect()
    }
}

pub(super) fn set_scalar(kind: ErrorKind, value: f64, to: &mut Installation) {
    use ErrorKind as K;
    match kind {
        K::Span => to.span_mm = value,
        K::Parallelism => to.parallelism_mm = value,
        K::Height => to.height_mm = value,
        K::VerticalParallelism => to.vertical_parallelism_mm = value,
        K::CrossLevel(rail) => to.cross_level_rad[rail] = value,
        K::CrossLevelTwist(rail) => to.cross_level_twist_rad[rail] = value,
        K::BridgeLength => to.bridge_length_mm = value,
        K::BridgeTwist => to.bridge_twist_rad = value,
        K::EndTilt(end) => to.end_tilt_rad[end] = value,
        K::EndSquareness(end) => to.end_squareness_rad[end] = value,
        K::Skew => to.drive_offset_mm = [-value / 2.0, value / 2.0],
        K::StraightnessLateral(_)
        | K::StraightnessVertical(_)
        | K::StraightnessRoll(_)
        | K::BlockLateral
        | K::BlockVertical
        | K::Seat
        | K::SeatAngle => {}
    }
}

fn scalar(source: &Source, rng: &mut impl Rng) -> f64 {
    source.middle() + source.half_width() * unit_draw(source.spread, source.inspected, rng)
}

fn each_block(to: &mut Installation, direction: usize, mut value: impl FnMut() -> f64) {
    to.block_offset_mm.iter_mut().flatten().for_each(|block| block[direction] = value());
}

fn each_seat(to: &mut Installation, first: usize, mut value: impl FnMut() -> f64) {
    to.seats.iter_mut().flatten().flat_map(|seat| &mut seat[first..first + 3]).for_each(|v| *v = value());
}
