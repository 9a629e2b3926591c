//! Values that a drawing carries: 1, 2, 3, 5, 8 and their tens and tenths, always rounded to the tighter side.

use crate::input::Source;
use crate::input::sources::ErrorKind;

/// Steps of a decade, as tolerances on drawings mostly have them (common practice, no source).
const STEPS: [f64; 5] = [1.0, 2.0, 3.0, 5.0, 8.0];

/// Finest step, mm or mrad: nothing finer is drawn.
const FINEST: f64 = 0.001;

/// The largest drawn value that is not above `x` (0 or more); 0 below the finest step.
#[must_use]
pub fn drawn_below(x: f64) -> f64 {
    // What was computed as 0.3 may be a hair below it.
    let x = x * (1.0 + 1e-9);
    if !(x >= FINEST) || !x.is_finite() {
        return 0.0;
    }
    let decade = x.log10().floor() as i32;
    (decade - 1..=decade + 1).flat_map(|d| STEPS.map(|s| value(s, d))).filter(|v| *v <= x).fold(0.0, f64::max)
}

/// The smallest drawn value that is not below `x` (0 or more).
fn drawn_above(x: f64) -> f64 {
    let x = x * (1.0 - 1e-9);
    if x <= 0.0 {
        return 0.0;
    }
    let decade = x.log10().floor() as i32;
    (decade - 1..=decade + 1).flat_map(|d| STEPS.map(|s| value(s, d))).filter(|v| *v >= x).fold(f64::INFINITY, f64::min).max(FINEST)
}

/// A step of a decade as the number nearest to how it is written.
fn value(step: f64, decade: i32) -> f64 {
    if decade < 0 { step / 10.0_f64.powi(-decade) } else { step * 10.0_f64.powi(decade) }
}

/// Limits rounded to drawn values inside them; the source as it is where nothing would be left between them.
///
/// A profile's zone and a symmetric tolerance become 0 below the finest step.
#[must_use]
pub fn rounded_inside(source: &Source) -> Source {
    let unit = unit(source.kind);
    let toward = |x: f64, up: bool| {
        let size = (x / unit).abs();
        // Up for a negative number and down for a positive one both mean smaller in size.
        let size = if up == (x < 0.0) { drawn_below(size) } else { drawn_above(size) };
        if size == 0.0 { 0.0 } else { size.copysign(x) * unit }
    };
    let (lower, upper) = (toward(source.lower, true), toward(source.upper, false));
    if lower <= upper { Source { lower, upper, ..*source } } else { *source }
}

/// Unit in which an error is drawn: 1 for mm, a milliradian for angles.
#[must_use]
pub fn unit(kind: ErrorKind) -> f64 {
    kind.spec().factor()
}

#[cfg(test)]
mod tests {
    use super::super::{Depth, Finder, Reach, Rounded, ScaleLimit, fresh, scaled, tightest};
    use super::*;
    use crate::evaluate::{Evaluator, Work};
    use crate::evaluate::{Outcome, ServiceState};
    use crate::input::plan::{Measure, Requirement, Season, Thermal};
    use crate::input::sources::Spread;
    use crate::input::{Installation, Plan, read_plan};
    use crate::structure::Machine;
    use crate::study::{Status, Verdict};

    fn source(kind: ErrorKind, lower: f64, upper: f64) -> Source {
        Source { kind, lower, upper, spread: Spread::Uniform, inspected: false, in_service: false }
    }

    #[test]
    fn values_fall_to_the_next_drawn_step_and_stay_on_one() {
        for (x, drawn) in [(0.049, 0.03), (0.05, 0.05), (0.0799, 0.05), (0.3, 0.3), (0.1 + 0.2, 0.3), (0.99, 0.8), (1.0, 1.0), (7.9, 5.0)] {
            assert_eq!(drawn_below(x), drawn, "{x}");
            assert_eq!(drawn_below(drawn), drawn);
        }
        assert_eq!((drawn_below(0.0009), drawn_below(0.0), drawn_below(f64::NAN), drawn_below(36.0)), (0.0, 0.0, 0.0, 30.0));
        assert_eq!((drawn_above(0.31), drawn_above(0.3), drawn_above(0.0001)), (0.5, 0.3, 0.001));
    }

    /// Where the logarithm is rounded up to the next decade there is still a value below.
    #[test]
    fn check_numbers_next_to_a_decade_are_drawn_as_its_neighbours() {
        for (decade, below) in [(0.01, 0.008), (1.0, 0.8), (10.0, 8.0), (1000.0, 800.0)] {
            let near = decade / (1.0 + 1e-9);
            let mut x = near * (1.0 - 20.0 * f64::EPSILON);
            while x < near * (1.0 + 20.0 * f64::EPSILON) {
                assert!([below, decade].contains(&drawn_below(x)), "{x}: {}", drawn_below(x));
                x = x.next_up();
            }
        }
    }

    #[test]
    fn limits_are_rounded_inwards_on_both_sides() {
        let r = rounded_inside(&source(ErrorKind::Span, -0.34, 0.17));
        assert_eq!((r.lower, r.upper), (-0.3, 0.1));
        let r = rounded_inside(&source(ErrorKind::Span, 0.21, 0.9));
        assert_eq!((r.lower, r.upper), (0.3, 0.8));
        // Nothing drawn lies between them: they stay.
        let r = rounded_inside(&source(ErrorKind::Span, 0.21, 0.28));
        assert_eq!((r.lower, r.upper), (0.21, 0.28));
        let r = rounded_inside(&source(ErrorKind::CrossLevel(0), -0.45e-3, 0.45e-3));
        assert!((r.upper - 0.3e-3).abs() < 1e-18 && r.lower == -r.upper);
    }

    /// The demo with two errors and no heat: the tool point is off in proportion to each.
    fn two_heights() -> Plan {
        let text = include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
        let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
        plan.errors.sources = vec![source(ErrorKind::Height, -0.2, 0.2), source(ErrorKind::VerticalParallelism, -2.0, 2.0)];
        plan.seasons = vec![Season { name: "still".into(), share: 1.0, thermal: Thermal::default() }];
        plan.requirements = vec![Requirement { measure: Measure::ToolDisplacement, limit: 1.0, quantile: 0.95, confidence: 0.95 }];
        plan
    }

    /// The rounded limit of a height of which no more than 0.133 mm is allowed, looked for from a scale on.
    fn rounded(planned: (f64, f64), scale: f64, beside: f64) -> Option<Rounded> {
        let mut plan = two_heights();
        (plan.errors.sources[0].lower, plan.errors.sources[0].upper) = planned;
        let off_mm = {
            let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), plan.study.drag).unwrap();
            let installation = Installation { height_mm: 0.133, ..Installation::perfect(&plan) };
            let still = [ServiceState::still()];
            evaluator.evaluate(&installation, &still, &mut Work::default()).unwrap().tool_displacement_mm
        };
        plan.requirements[0].limit = off_mm;
        let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), plan.study.drag).unwrap();
        let depth = Depth { rough_draws: 0, single_draws: 400, common_draws: 0, set_draws: 0 };
        let errors = |scale: f64| scaled(&plan.errors, |kind| if kind == ErrorKind::Height { scale } else { beside });
        let reach = Reach::Scale(scale);
        let limit = ScaleLimit { reach, sure: reach, possible: reach, stopped_by: None };
        Finder { evaluator: &evaluator, depth, seed: fresh(3) }.rounded(&plan.errors.sources[0], limit, &errors).unwrap()
    }

    /// By hand: +-0.3 and +-0.2 leave more than a third of the installations beyond 0.133 mm, +-0.1 leaves none; each step goes on from
    /// a hair below the value that was drawn, by its larger side.
    #[test]
    fn ref_a_value_that_is_not_shown_to_hold_is_stepped_down() {
        let limits = |planned, scale| rounded(planned, scale, 0.0).map(|r| (r.source.lower, r.source.upper));
        assert_eq!(limits((-0.2, 0.2), 1.6), Some((-0.1, 0.1)));
        // To 0.3 and 0.08, 0.2 and 0.05, 0.1 and 0.03: the proportions stay.
        assert_eq!(limits((-0.2, 0.05), 1.6), Some((-0.1, 0.03)));
        assert_eq!(limits((-0.05, 0.2), 1.6), Some((-0.03, 0.1)));
        // To one side alone.
        assert_eq!((limits((0.0, 0.2), 0.6), limits((-0.2, 0.0), 0.6)), (Some((0.0, 0.1)), Some((-0.1, 0.0))));
        // Nothing that could be drawn is left; four steps (1, 0.8, 0.5, 0.3) do not suffice.
        assert_eq!((limits((-0.2, 0.2), 0.004), limits((-0.2, 0.2), 6.0)), (None, None));
        let least = rounded((-0.2, 0.2), 0.5, 0.0).unwrap().least.unwrap();
        assert_eq!((least.status, least.share, least.draws), (Status::Met, 1.0, 400));
    }

    #[test]
    fn check_a_value_is_verified_with_the_others_beside_it() {
        assert!(rounded((-0.2, 0.2), 0.5, 0.0).is_some() && rounded((-0.2, 0.2), 0.5, 1.0).is_none());
    }

    /// 0.97 where 0.95 is asked has more in reserve than 0.995 where 0.99 is.
    #[test]
    fn check_the_tightest_requirement_has_the_least_in_reserve() {
        let verdict = |(hits, quantile): (usize, f64)| {
            let requirement = Requirement { measure: Measure::Life, limit: 100.0, quantile, confidence: 0.95 };
            let of = |i: usize| Outcome { life_km: if i < hits { 200.0 } else { 50.0 }, ..Outcome::start() };
            Verdict::of(&requirement, &(0..1000).map(of).collect::<Vec<_>>(), &of(0), true)
        };
        for list in [[(970, 0.95), (995, 0.99)], [(995, 0.99), (970, 0.95)], [(995, 0.99), (940, 0.92)]] {
            let least = tightest(&list.map(verdict)).unwrap();
            assert_eq!((least.hits, least.requirement.quantile), (995, 0.99), "{list:?}");
        }
        assert!(tightest(&[]).is_none());
    }
}
