//! What the machine needs of some errors: the sure limit, rounded to the tight side, and seen to hold on the review's own draws.

use crate::evaluate::Evaluator;
use crate::input::{ErrorKind, Source};
use crate::structure::NotConverged;
use crate::study::limits::{Reach, ScaleLimit, farthest_scale, met_beside_the_others, scaled_source, unit};

/// Trials, each a little tighter than the one before.
const TRIALS: u32 = 12;

/// Factor from one trial to the next.
const TIGHTER: f64 = 0.96;

/// A machine with the draws that show what it needs.
pub(super) struct Needs<'n, 'p> {
    pub(super) evaluator: &'n Evaluator<'p>,
    pub(super) draws: u64,
    pub(super) seed: u64,
}

impl Needs<'_, '_> {
    /// What is sure of a headroom, by these draws too: as much as is drawn where the machine passes as drawn, and no limit at all
    /// where none was found and the farthest that is looked at is shown to hold.
    pub(super) fn sure(&self, kinds: &[ErrorKind], limit: ScaleLimit, passes: bool) -> Result<ScaleLimit, NotConverged> {
        let below = |r: Reach| matches!(r, Reach::Never) || matches!(r, Reach::Scale(s) if s < 1.0);
        if !passes {
            return Ok(limit);
        }
        if limit.reach == Reach::Always && limit.sure != Reach::Always {
            let sources: Vec<Source> = self.evaluator.plan().errors.sources.iter().filter(|s| kinds.contains(&s.kind)).copied().collect();
            let most = sources.iter().map(farthest_scale).fold(f64::INFINITY, f64::min);
            let farthest: Vec<Source> = sources.iter().map(|s| scaled_source(s, most)).collect();
            if met_beside_the_others(self.evaluator, &farthest, self.draws, self.seed)? {
                return Ok(ScaleLimit { sure: Reach::Always, ..limit });
            }
        }
        Ok(if below(limit.sure) { ScaleLimit { sure: Reach::Scale(1.0), ..limit } } else { limit })
    }

    /// Limits of some errors from a sure factor on down, the others as drawn; empty where none is shown to hold.
    pub(super) fn of(&self, kinds: &[ErrorKind], sure: Reach) -> Result<Vec<Source>, NotConverged> {
        let Reach::Scale(mut scale) = sure else { return Ok(Vec::new()) };
        let sources: Vec<Source> = self.evaluator.plan().errors.sources.iter().filter(|s| kinds.contains(&s.kind)).copied().collect();
        for _ in 0..TRIALS {
            let trial: Vec<Source> = sources.iter().map(|s| rounded(s, scale)).collect();
            if trial.iter().zip(&sources).any(|(t, s)| t.lower == 0.0 && t.upper == 0.0 && s.lower < s.upper) {
                break;
            }
            if met_beside_the_others(self.evaluator, &trial, self.draws, self.seed)? {
                return Ok(trial);
            }
            scale *= TIGHTER;
        }
        Ok(Vec::new())
    }
}

/// A source at a scale, each limit cut to two digits towards zero.
fn rounded(source: &Source, scale: f64) -> Source {
    let unit = unit(source.kind);
    let cut = |x: f64| {
        let size = scale * x.abs() / unit;
        if size == 0.0 {
            return 0.0;
        }
        let decimals = 1 - size.log10().floor() as i32;
        // What was computed as 0.3 may be a hair below it.
        let digits = (size * 10.0_f64.powi(decimals) * (1.0 + 1e-9)).floor();
        // Through its text, so that it is the number that is printed.
        let written = if decimals >= 0 {
            format!("{:.*}", decimals as usize, digits / 10.0_f64.powi(decimals))
        } else {
            format!("{}", digits * 10.0_f64.powi(-decimals))
        };
        written.parse::<f64>().unwrap_or(0.0).copysign(x) * unit
    };
    Source { lower: cut(source.lower), upper: cut(source.upper), ..*source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::sources::Spread;

    #[test]
    fn check_needs_are_cut_to_two_digits_towards_zero_in_their_unit() {
        let of = |kind, lower, upper| Source { kind, lower, upper, spread: Spread::Uniform, inspected: false, in_service: false };
        let cut = |s: Source, scale: f64| (rounded(&s, scale).lower, rounded(&s, scale).upper);
        assert_eq!(cut(of(ErrorKind::Span, -1.0, 1.0), 1.719), (-1.7, 1.7));
        assert_eq!(cut(of(ErrorKind::Span, -0.1, 0.3), 1.0), (-0.1, 0.3));
        assert_eq!(cut(of(ErrorKind::Span, -0.1, 0.3), 0.0499), (-0.0049, 0.014));
        assert_eq!(cut(of(ErrorKind::StraightnessLateral(0), 0.0, 0.15), 100.0), (0.0, 15.0));
        let angle = rounded(&of(ErrorKind::EndTilt(0), -0.4e-3, 0.4e-3), 1.29);
        assert!((angle.upper / 0.51e-3 - 1.0).abs() < 1e-12 && angle.lower == -angle.upper);
    }
}
