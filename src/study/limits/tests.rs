//! Limits by hand: the demo with heights alone, where the tool point is off in proportion to them.

use super::*;
use crate::evaluate::ServiceState;
use crate::input::plan::{Measure, Requirement, Season, Thermal};
use crate::input::read_plan;
use crate::input::sources::Spread;
use crate::structure::Machine;

fn source(kind: ErrorKind, lower: f64, upper: f64) -> Source {
    Source { kind, lower, upper, spread: Spread::Uniform, inspected: false, in_service: false }
}

/// Height of rail B that the requirement allows.
const ALLOWED_MM: f64 = 0.133;

/// The demo at two stations without heat; the tool point may be off as far as that height makes it.
fn heights(sources: Vec<Source>) -> Plan {
    let text = include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
    let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
    plan.errors.sources = sources;
    plan.seasons = vec![Season { name: "still".into(), share: 1.0, thermal: Thermal::default() }];
    plan.requirements = vec![Requirement { measure: Measure::ToolDisplacement, limit: 1.0, quantile: 0.95, confidence: 0.95 }];
    let installation = Installation { height_mm: ALLOWED_MM, ..Installation::perfect(&plan) };
    let still = [ServiceState::still()];
    plan.requirements[0].limit = evaluator(&plan).evaluate(&installation, &still, &mut Work::default()).unwrap().tool_displacement_mm;
    plan
}

fn evaluator(plan: &Plan) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()
}

const DEPTH: Depth = Depth { rough_draws: 60, single_draws: 200, common_draws: 200, set_draws: 200 };

/// By hand: 5, 10 and 30 installations beyond the farthest quantile, not less than the least of each and not more than 30,000.
#[test]
fn ref_enough_installations_are_expected_beyond_the_farthest_quantile() {
    let mut plan = heights(vec![source(ErrorKind::Height, -0.2, 0.2)]);
    let life = Requirement { measure: Measure::Life, ..plan.requirements[0] };
    plan.study.draws = 10_000;
    let depth = |quantiles: [f64; 2], plan: &mut Plan| {
        plan.requirements = quantiles.map(|quantile| Requirement { quantile, ..life }).into();
        let d = Depth::for_plan(plan);
        [d.rough_draws, d.single_draws, d.common_draws, d.set_draws]
    };
    assert_eq!(depth([0.5, 0.5], &mut plan), [120, 1000, 4000, 10_000]);
    // 1 in 256 and 1 in 1024: binary fractions, so that nothing is rounded.
    assert_eq!(depth([1.0 - 1.0 / 256.0, 0.5], &mut plan), [1280, 2560, 7680, 10_000]);
    assert_eq!(depth([0.5, 1.0 - 1.0 / 1024.0], &mut plan), [5120, 10_240, 30_000, 30_000]);
    plan.study.draws = 100;
    assert_eq!(depth([0.5, 0.9], &mut plan), [120, 1000, 4000, 4000]);
    plan.study.draws = 90_000;
    assert_eq!(depth([0.5, 0.9], &mut plan), [120, 1000, 4000, 20_000]);
}

/// By hand: to 20 mm or mrad on the wider side, at least twice what is planned.
#[test]
fn ref_the_farthest_scale_brings_the_wider_side_to_twenty() {
    let of = |kind, lower, upper| farthest_scale(&source(kind, lower, upper));
    let near = |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 1e-12, "{found} not {expected}");
    near(of(ErrorKind::Span, -0.2, 0.2), 100.0);
    near(of(ErrorKind::Span, -0.5, 0.1), 40.0);
    near(of(ErrorKind::Span, -0.1, 0.5), 40.0);
    near(of(ErrorKind::CrossLevel(0), -0.5e-3, 0.5e-3), 40.0);
    near(of(ErrorKind::Span, -15.0, 15.0), 2.0);
    near(of(ErrorKind::Span, 0.0, 0.0), 2.0);
    let both = [source(ErrorKind::Span, -0.1, 0.1), source(ErrorKind::CrossLevel(0), -0.4e-3, 0.0)];
    near(farthest(both.iter()), 50.0);
}

/// What the installer sets is what stands on the hall's floor and is homed there; a skew that comes and goes is not set by anyone.
#[test]
fn check_rails_and_homing_are_set_at_installation() {
    use ErrorKind as K;
    let set = |kind| is_set_at_installation(&source(kind, -0.1, 0.1));
    let between = [K::Span, K::Parallelism, K::Height, K::VerticalParallelism, K::Skew];
    let of_a_rail = [K::CrossLevel, K::CrossLevelTwist, K::StraightnessLateral, K::StraightnessVertical, K::StraightnessRoll];
    assert!(between.into_iter().chain(of_a_rail.iter().flat_map(|of| [of(0), of(1)])).all(set));
    let made = [K::BlockLateral, K::BlockVertical, K::BridgeLength, K::BridgeTwist, K::Seat, K::SeatAngle];
    let of_an_end: [fn(usize) -> K; 2] = [K::EndTilt, K::EndSquareness];
    assert!(!made.into_iter().chain(of_an_end.iter().flat_map(|of| [of(0), of(1)])).any(set));
    assert!(!is_set_at_installation(&Source { in_service: true, ..source(K::Skew, -0.1, 0.1) }));
}

/// By hand: in the worst case of a one-sided height all of it counts, whichever side is open; what is closed on both sides does not.
#[test]
fn ref_the_worst_case_uses_the_requirement_in_proportion() {
    let plan = heights(vec![source(ErrorKind::Height, -0.2, 0.2)]);
    let e = evaluator(&plan);
    let finder = Finder { evaluator: &e, depth: DEPTH, seed: 3 };
    for (lower, upper) in [(0.0, 0.2), (-0.2, 0.0), (-0.2, 0.2), (-0.2, -0.1), (0.0, 0.0)] {
        let sources = vec![source(ErrorKind::Height, lower, upper), source(ErrorKind::VerticalParallelism, 0.0, 0.0)];
        let used = finder.worst_use(&ErrorSources { sources, ..ErrorSources::default() }).unwrap();
        let expected = upper.max(-lower) / ALLOWED_MM;
        assert!((used.low - expected).abs() < 1e-6 && (used.at - expected).abs() < 1e-4, "{lower} {upper}: {used:?} not {expected}");
    }
}

/// By hand: +-0.2 mm may be scaled by 0.133/0.2 before its own worst case is at the limit; a parallelism beside it takes all of that away.
#[test]
fn ref_a_source_is_scaled_itself_and_the_others_are_not() {
    let height = source(ErrorKind::Height, -0.2, 0.2);
    let plan = heights(vec![height, source(ErrorKind::VerticalParallelism, -2.0, 2.0)]);
    let e = evaluator(&plan);
    let finder = Finder { evaluator: &e, depth: DEPTH, seed: 3 };
    let worst_case = worst(&e, &plan.errors).unwrap();
    let known = Known {
        zero: at_zero(&e).unwrap(),
        quantile: at_quantile(&e, &drawn(&e, &plan.errors, 3, DEPTH.single_draws).unwrap()),
        worst: in_worst(&e, &worst_case),
        worst_case,
    };
    let limits = finder.source(&height, &known).unwrap();
    let Reach::Scale(alone) = limits.alone.worst.reach else { panic!("{limits:?}") };
    let hand = ALLOWED_MM / 0.2;
    assert!(alone <= hand * (1.0 + 1e-4) && alone >= hand / 1.021, "{alone} against {hand}");
    assert_eq!((limits.among.worst.reach, limits.among.quantile.reach), (Reach::Never, Reach::Never));
}

/// By hand: +-0.2 mm leaves a third of the installations beyond 0.133 mm; a tenth tighter it is drawn as +-0.1, which leaves none.
#[test]
fn ref_a_set_that_is_not_shown_is_made_a_tenth_tighter() {
    let plan = heights(vec![source(ErrorKind::Height, -0.2, 0.2)]);
    let e = evaluator(&plan);
    let finder = Finder { evaluator: &e, depth: DEPTH, seed: 3 };
    let pair = |reach: Reach| {
        let limit = ScaleLimit { reach, sure: reach, possible: reach, stopped_by: None };
        Pair { quantile: limit, worst: limit }
    };
    for from in [1.0, 3.0] {
        let zero = at_zero(&e).unwrap();
        let found = set::find(&finder, zero, &pair(Reach::Never), &pair(Reach::Scale(from))).unwrap().unwrap();
        let drawn = found.errors.sources[0];
        assert_eq!((found.basis, found.tightened, drawn.lower, drawn.upper), (Basis::InstallationScaled, 1, -0.1, 0.1));
        assert!((found.scale - 0.9).abs() < 1e-12 && met(&found.verdicts));
        assert!((found.worst.low - 0.1 / ALLOWED_MM).abs() < 1e-6);
    }
}

/// By hand: balls of 340 N preload unload at 2^1.5 x 340 N = 961.67 N; without preload there is nothing to unload.
#[test]
fn ref_the_worst_load_unloads_a_row_in_proportion_to_it() {
    for (preload_n, low, high) in [(340.0, 480.833 / 961.665, 1923.33 / 961.665), (0.0, 0.0, 0.0)] {
        let mut plan = heights(vec![source(ErrorKind::Height, -0.2, 0.2)]);
        plan.block.preload_n = preload_n;
        plan.requirements = vec![Requirement { measure: Measure::RowUnloading, limit: 1.0, quantile: 0.95, confidence: 0.95 }];
        let e = evaluator(&plan);
        let mut worst_case = worst(&e, &plan.errors).unwrap();
        let peak = worst_case.brackets.iter_mut().find(|b| b.key == "peak_load_n").unwrap();
        (peak.attained, peak.bound) = (480.833, Some(1923.33));
        let used = in_worst(&e, &worst_case);
        assert!((used.low - low).abs() < 1e-5 && (used.at - high).abs() < 1e-5 && used.high == used.at, "{used:?}");
    }
}
