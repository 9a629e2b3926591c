//! The numbers that make an installation, as the fast path asks for them.

use super::Draws;
use super::sampling::Place;
use crate::geometry::ProfileModes;
use crate::input::{ErrorKind, Installation};

/// Numbers that make installations; all but the shapes of profiles go into them in proportion.
pub(crate) trait Numbers: Sync {
    /// How many.
    fn count(&self) -> usize;

    /// The installation that they make.
    fn installation(&self, numbers: &[f64]) -> Installation;

    /// What one of them by itself changes of a perfect installation, and how large it is there; `None` for those that only scale
    /// a profile.
    fn probe(&self, j: usize) -> Option<(Installation, f64)>;

    /// First amplitude of every profile that is brought to the peak-to-valley behind its amplitudes.
    fn profiles(&self) -> Vec<usize>;

    /// Modes of those profiles.
    fn modes(&self) -> &ProfileModes;
}

impl Numbers for Draws<'_> {
    fn count(&self) -> usize {
        self.places().len()
    }

    fn installation(&self, numbers: &[f64]) -> Installation {
        Draws::installation(self, numbers)
    }

    /// A profile's amplitude is set without its shape's peak-to-valley brought in: the kernel does that.
    fn probe(&self, j: usize) -> Option<(Installation, f64)> {
        match self.places()[j] {
            Place::Value { kind, .. } => {
                let mut numbers = vec![0.0; self.places().len()];
                numbers[j] = probe_size(kind);
                Some((Draws::installation(self, &numbers), probe_size(kind)))
            }
            Place::Mode { kind, mode } => {
                let mut amplitudes = vec![0.0; Draws::modes(self).count()];
                amplitudes[mode] = probe_size(kind);
                Some((self.with_profile(kind, Draws::modes(self).at_anchors(&amplitudes)), probe_size(kind)))
            }
            Place::PeakToValley { .. } => None,
        }
    }

    fn profiles(&self) -> Vec<usize> {
        (0..self.places().len()).filter(|&j| matches!(self.places()[j], Place::Mode { mode: 0, .. })).collect()
    }

    fn modes(&self) -> &ProfileModes {
        Draws::modes(self)
    }
}

/// Well inside every slot, yet large beside the digits of the take-ups; powers of two, so that dividing keeps all digits.
fn probe_size(kind: ErrorKind) -> f64 {
    if kind.spec().angle { 2.0_f64.powi(-11) } else { 2.0_f64.powi(-5) }
}
