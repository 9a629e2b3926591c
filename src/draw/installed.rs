//! Puts drawn numbers in their places: the installation that they make.

use crate::errors::ErrorSpec;
use crate::geometry::ProfileModes;
use crate::input::{ErrorKind, Installation, Plan, Source};

/// Builds installations of a plan.
#[derive(Debug, Clone)]
pub(super) struct Installed<'p> {
    plan: &'p Plan,
    modes: ProfileModes,
    /// Errors that are drawn, with how many numbers each has.
    drawn: Vec<(&'static ErrorSpec, usize)>,
}

impl<'p> Installed<'p> {
    pub(crate) fn new(plan: &'p Plan, modes: ProfileModes) -> Self {
        let mut new = Self { plan, modes, drawn: Vec::new() };
        new.drawn = new.sources().map(|s| (s.kind.spec(), new.numbers_of(s.kind))).collect();
        new
    }

    pub(crate) fn modes(&self) -> &ProfileModes {
        &self.modes
    }

    pub(crate) fn sources(&self) -> impl Iterator<Item = &'p Source> + use<'p> {
        self.plan.errors.sources.iter().filter(|s| !s.in_service)
    }

    /// How many numbers a scalar error or a family has.
    pub(crate) fn members(&self, kind: ErrorKind) -> usize {
        kind.spec().home.members(&Installation::perfect(self.plan))
    }

    fn numbers_of(&self, kind: ErrorKind) -> usize {
        if kind.is_profile() { self.modes.count() + 1 } else { self.members(kind) }
    }

    /// The installation of some numbers, source by source.
    pub(crate) fn installation(&self, numbers: &[f64]) -> Installation {
        let mut to = Installation::perfect(self.plan);
        let mut rest = numbers;
        for (spec, count) in &self.drawn {
            let (own, after) = rest.split_at((*count).min(rest.len()));
            if spec.is_profile() {
                spec.home.set_profile(profile(&self.modes, own), &mut to);
            } else {
                own.iter().enumerate().for_each(|(member, value)| spec.home.set(member, *value, &mut to));
            }
            rest = after;
        }
        to
    }

    pub(crate) fn with_profile(&self, kind: ErrorKind, at_anchors: Vec<f64>) -> Installation {
        let mut to = Installation::perfect(self.plan);
        kind.spec().home.set_profile(at_anchors, &mut to);
        to
    }

    pub(crate) fn with(&self, kind: ErrorKind, member: usize, value: f64) -> Installation {
        let mut to = Installation::perfect(self.plan);
        kind.spec().home.set(member, value, &mut to);
        to
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
