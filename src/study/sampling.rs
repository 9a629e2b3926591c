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

/// What one number of a drawn installation is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// A scalar error, or one member of a family.
    Value {
        /// Which error.
        kind: ErrorKind,
        /// Number in its family.
        member: usize,
    },
    /// Amplitude of one mode of a profile; its shape alone counts.
    Mode {
        /// Which profile.
        kind: ErrorKind,
        /// Number of the mode.
        mode: usize,
    },
    /// Peak-to-valley of the profile whose amplitudes stand before it.
    PeakToValley {
        /// Which profile.
        kind: ErrorKind,
    },
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
        let mut numbers = Vec::new();
        self.numbers(rng, &mut numbers);
        self.installation(&numbers)
    }

    /// The numbers of one installation, as [`Draws::places`] names them, appended to `to`.
    pub fn numbers(&self, rng: &mut impl Rng, to: &mut Vec<f64>) {
        for source in self.sources() {
            if source.kind.profile().is_some() {
                to.extend((0..self.modes.count()).map(|_| -> f64 { StandardNormal.sample(rng) }));
                to.push(source.middle() + source.half_width() * unit_draw(source.spread, true, rng));
            } else {
                to.extend((0..self.members(source.kind)).map(|_| scalar(source, rng)));
            }
        }
    }

    /// What each number of an installation is, in order.
    #[must_use]
    pub fn places(&self) -> Vec<Place> {
        let of = |source: &Source| -> Vec<Place> {
            let kind = source.kind;
            if kind.profile().is_some() {
                (0..self.modes.count()).map(|mode| Place::Mode { kind, mode }).chain([Place::PeakToValley { kind }]).collect()
            } else {
                (0..self.members(kind)).map(|member| Place::Value { kind, member }).collect()
            }
        };
        self.sources().flat_map(of).collect()
    }

    /// The installation of some numbers. A profile's amplitudes give its shape, its last number its peak-to-valley.
    #[must_use]
    pub fn installation(&self, numbers: &[f64]) -> Installation {
        let mut to = Installation::perfect(self.plan);
        let mut rest = numbers;
        for source in self.sources() {
            let count = if source.kind.profile().is_some() { self.modes.count() + 1 } else { self.members(source.kind) };
            let (own, after) = rest.split_at(count.min(rest.len()));
            self.set(source.kind, own, &mut to);
            rest = after;
        }
        to
    }

    /// The perfect installation with one profile at the anchors.
    #[must_use]
    pub fn with_profile(&self, kind: ErrorKind, at_anchors: Vec<f64>) -> Installation {
        let mut to = Installation::perfect(self.plan);
        if let Some((rail, direction)) = kind.profile() {
            to.residual[rail][direction] = at_anchors;
        }
        to
    }

    fn sources(&self) -> impl Iterator<Item = &'p Source> {
        self.plan.errors.sources.iter().filter(|s| !s.in_service)
    }

    /// How many numbers a scalar error or a family has.
    fn members(&self, kind: ErrorKind) -> usize {
        match kind {
            ErrorKind::BlockLateral | ErrorKind::BlockVertical => self.plan.block_count(),
            ErrorKind::Seat | ErrorKind::SeatAngle => 3 * self.plan.joints_at_most().iter().sum::<usize>(),
            _ => 1,
        }
    }

    /// The perfect installation with one scalar error set; families and profiles are left perfect.
    #[must_use]
    pub fn with(&self, kind: ErrorKind, value: f64) -> Installation {
        let mut installation = Installation::perfect(self.plan);
        set_scalar(kind, value, &mut installation);
        installation
    }

    fn set(&self, kind: ErrorKind, numbers: &[f64], to: &mut Installation) {
        use ErrorKind as K;
        if let Some((rail, direction)) = kind.profile() {
            to.residual[rail][direction] = self.profile(numbers);
            return;
        }
        match kind {
            K::BlockLateral => each_block(to, 0, numbers.iter().copied()),
            K::BlockVertical => each_block(to, 1, numbers.iter().copied()),
            K::Seat => each_seat(to, 0, numbers.iter().copied()),
            K::SeatAngle => each_seat(to, 3, numbers.iter().copied()),
            kind => set_scalar(kind, numbers.first().copied().unwrap_or(0.0), to),
        }
    }

    /// A smooth profile of the given amplitudes, brought to the peak-to-valley that follows them.
    fn profile(&self, numbers: &[f64]) -> Vec<f64> {
        let Some((wanted, amplitudes)) = numbers.split_last() else { return Vec::new() };
        let has = self.modes.peak_to_valley(amplitudes);
        if has == 0.0 {
            return Vec::new();
        }
        self.modes.at_anchors(amplitudes).into_iter().map(|v| v * wanted / has).collect()
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

/// Sets an error with all its members to one value; profiles are left as they are.
pub(super) fn set_all(kind: ErrorKind, value: f64, to: &mut Installation) {
    match kind {
        ErrorKind::BlockLateral => each_block(to, 0, std::iter::repeat(value)),
        ErrorKind::BlockVertical => each_block(to, 1, std::iter::repeat(value)),
        ErrorKind::Seat => each_seat(to, 0, std::iter::repeat(value)),
        ErrorKind::SeatAngle => each_seat(to, 3, std::iter::repeat(value)),
        kind => set_scalar(kind, value, to),
    }
}

fn scalar(source: &Source, rng: &mut impl Rng) -> f64 {
    source.middle() + source.half_width() * unit_draw(source.spread, source.inspected, rng)
}

fn each_block(to: &mut Installation, direction: usize, numbers: impl IntoIterator<Item = f64>) {
    to.block_offset_mm.iter_mut().flatten().zip(numbers).for_each(|(block, v)| block[direction] = v);
}

fn each_seat(to: &mut Installation, first: usize, numbers: impl IntoIterator<Item = f64>) {
    to.seats.iter_mut().flatten().flat_map(|seat| &mut seat[first..first + 3]).zip(numbers).for_each(|(place, v)| *place = v);
}
