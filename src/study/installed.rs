//! Puts drawn numbers in their places: the installation that they make.

use crate::geometry::ProfileModes;
use crate::input::{ErrorKind, Installation, Plan, Source};

/// Builds installations of a plan.
#[derive(Debug, Clone)]
pub(super) struct Installed<'p> {
    plan: &'p Plan,
    modes: ProfileModes,
}

impl<'p> Installed<'p> {
    pub(super) fn new(plan: &'p Plan, modes: ProfileModes) -> Self {
        Self { plan, modes }
    }

    pub(super) fn modes(&self) -> &ProfileModes {
        &self.modes
    }

    pub(super) fn sources(&self) -> impl Iterator<Item = &'p Source> {
        self.plan.errors.sources.iter().filter(|s| !s.in_service)
    }

    /// How many numbers a scalar error or a family has.
    pub(super) fn members(&self, kind: ErrorKind) -> usize {
        match kind {
            ErrorKind::BlockLateral | ErrorKind::BlockVertical => self.plan.block_count(),
            ErrorKind::Seat | ErrorKind::SeatAngle => 3 * self.plan.joints_at_most().iter().sum::<usize>(),
            _ => 1,
        }
    }

    /// The installation of some numbers, source by source.
    pub(super) fn installation(&self, numbers: &[f64]) -> Installation {
        let mut to = Installation::perfect(self.plan);
        let mut rest = numbers;
        for source in self.sources() {
            let count = if source.kind.profile().is_some() { self.modes.count() + 1 } else { self.members(source.kind) };
            let (own, after) = rest.split_at(count.min(rest.len()));
            set(source.kind, own, &self.modes, &mut to);
            rest = after;
        }
        to
    }

    pub(super) fn with_profile(&self, kind: ErrorKind, at_anchors: Vec<f64>) -> Installation {
        let mut to = Installation::perfect(self.plan);
        if let Some((rail, direction)) = kind.profile() {
            to.residual[rail][direction] = at_anchors;
        }
        to
    }

    pub(super) fn with(&self, kind: ErrorKind, value: f64) -> Installation {
        let mut installation = Installation::perfect(self.plan);
        set_scalar(kind, value, &mut installation);
        installation
    }
}

fn set(kind: ErrorKind, numbers: &[f64], modes: &ProfileModes, to: &mut Installation) {
    use ErrorKind as K;
    if let Some((rail, direction)) = kind.profile() {
        to.residual[rail][direction] = profile(modes, numbers);
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
fn profile(modes: &ProfileModes, numbers: &[f64]) -> Vec<f64> {
    let Some((wanted, amplitudes)) = numbers.split_last() else { return Vec::new() };
    let has = modes.peak_to_valley(amplitudes);
    if has == 0.0 {
        return Vec::new();
    }
    modes.at_anchors(amplitudes).into_iter().map(|v| v * wanted / has).collect()
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

fn each_block(to: &mut Installation, direction: usize, numbers: impl IntoIterator<Item = f64>) {
    to.block_offset_mm.iter_mut().flatten().zip(numbers).for_each(|(block, v)| block[direction] = v);
}

fn each_seat(to: &mut Installation, first: usize, numbers: impl IntoIterator<Item = f64>) {
    to.seats.iter_mut().flatten().flat_map(|seat| &mut seat[first..first + 3]).zip(numbers).for_each(|(place, v)| *place = v);
}
