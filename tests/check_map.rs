//! Laws of the map of two errors.

use crate::common;

use common::{plan, simple::Simple};
use railtrue::evaluate::{Evaluator, ServiceState, Work, service_states};
use railtrue::input::sources::ErrorSpec;
use railtrue::input::{ErrorKind, Installation, Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::study::{MAP_CELLS, Map, map, may_be_axis};

fn spec(key: &str) -> &'static ErrorSpec {
    ErrorKind::ALL.iter().find(|s| s.key == key).unwrap()
}

fn mapped(plan: &Plan, x: &str, y: &str, still: bool) -> Map {
    map(&[Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()], spec(x), spec(y), still).unwrap()
}

fn machine(life_km: f64, season: &str) -> Plan {
    let errors = format!("[errors]\nspan = {{ plus_minus_mm = 0.01 }}\nskew = {{ plus_minus_mm = 0.01 }}\n{season}");
    let requirement = format!("[requirement]\nlife_km = {{ least = {life_km} }}\n");
    plan(&Simple { bridge_kg: 100.0, errors, requirement, ..Simple::default() }.text())
}

#[test]
fn check_the_map_reaches_past_the_end_of_the_required_life() {
    let free = machine(1.0, "");
    let perfect = Evaluator::new(Machine::new(&free, 0).unwrap(), free.study.drag).unwrap().perfect().life_km;
    let required = 0.2 * perfect;
    let plan = machine(required, "");
    let map = mapped(&plan, "span", "height", false);
    let middle = MAP_CELLS / 2;
    assert_eq!((map.x.values[middle], map.y.values[middle], map.x.values.len()), (0.0, 0.0, MAP_CELLS + 1));
    assert_eq!((map.x.planned, map.y.planned), (Some((-0.01, 0.01)), None));
    // The end of the required life along x by bisection lies on the map, inside the planned tolerance's reach or not.
    let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), plan.study.drag).unwrap();
    let mut work = Work::default();
    let mut life = |span_mm: f64| {
        let installation = Installation { span_mm, ..Installation::perfect(&plan) };
        evaluator.evaluate(&installation, &[ServiceState::still()], &mut work).unwrap().life_km
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let half = f64::midpoint(low, high);
        if life(half) >= required && life(-half) >= required { low = half } else { high = half }
    }
    let reach = map.x.values[MAP_CELLS];
    assert!(reach > low && (low < 0.12 || reach >= 0.025), "{reach} against {low}");
    let row = &map.arrangements[0].life_km[middle];
    for (u, l) in map.x.values.iter().zip(row) {
        assert!((l / life(*u) - 1.0).abs() < 1e-12);
    }
    let loss = map.arrangements[0].life_loss[middle][MAP_CELLS];
    assert!((loss - (1.0 - row[MAP_CELLS] / perfect)).abs() < 1e-12);
}

/// Cells of two errors that the plan draws go eight at a time; each must be what its installation comes to by itself.
#[test]
fn check_cells_are_what_their_installations_come_to() {
    let plan = read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    let service = service_states(&plan);
    for arrangement in 0..2 {
        let evaluator = [Evaluator::new(Machine::new(&plan, arrangement).unwrap(), plan.study.drag).unwrap()];
        let map = map(&evaluator, spec("parallelism"), spec("cross_level_b"), false).unwrap();
        let mut work = Work::default();
        for (i, j) in [(0, 0), (MAP_CELLS, 7), (MAP_CELLS / 2, MAP_CELLS / 2), (33, MAP_CELLS), (MAP_CELLS - 1, 60)] {
            let mut installation = Installation::perfect(&plan);
            installation.parallelism_mm = map.x.values[i];
            installation.cross_level_rad[1] = 1e-3 * map.y.values[j];
            let expected = evaluator[0].evaluate(&installation, &service, &mut work).unwrap();
            let (life, loss) = (map.arrangements[0].life_km[j][i], map.arrangements[0].life_loss[j][i]);
            assert!((life / expected.life_km - 1.0).abs() < 1e-6, "{arrangement} {i} {j}: {life} against {}", expected.life_km);
            assert!((loss - expected.life_loss).abs() < 1e-6);
        }
    }
}

#[test]
fn check_temperatures_count_unless_the_map_is_still() {
    let season = "[temperature]\n[[temperature.season]]\nname = \"hot\"\nshare = 1\nbridge_c = 40\nframe_c = 20\n";
    let plan = machine(1.0, season);
    let at_nominal = |still: bool| mapped(&plan, "span", "skew", still).arrangements[0].life_loss[MAP_CELLS / 2][MAP_CELLS / 2];
    // Installations side by side take loads in single precision.
    assert!(at_nominal(true).abs() < 5e-7 && at_nominal(false) > 0.5, "{} {}", at_nominal(true), at_nominal(false));
    assert!(!may_be_axis(ErrorKind::Seat) && !may_be_axis(ErrorKind::StraightnessRoll(1)) && may_be_axis(ErrorKind::Skew));
}

/// By hand: two and a half times the planned tolerance, or times one where the plan has none, if no life ends farther out; a
/// required life that the perfect machine misses ends nowhere.
#[test]
fn check_the_map_reaches_past_the_planned_tolerance() {
    for life_km in [1e-6, 1e9] {
        let map = mapped(&machine(life_km, ""), "span", "end_tilt_b", true);
        for (axis, reach) in [(&map.x, 0.025), (&map.y, 2.5)] {
            assert!((axis.values[MAP_CELLS] / reach - 1.0).abs() < 1e-12 && axis.values[0] == -axis.values[MAP_CELLS], "{life_km}");
        }
    }
    // An error to one side counts by its far limit.
    let errors = "[errors]\nspan = { lower_mm = -0.04, upper_mm = 0.01 }\n".to_string();
    let plan = plan(&Simple { errors, requirement: "[requirement]\nlife_km = { least = 1e-6 }\n".into(), ..Simple::default() }.text());
    assert!((mapped(&plan, "span", "height", true).x.values[MAP_CELLS] / 0.1 - 1.0).abs() < 1e-12);
}

/// Heat has taken most of what the life leaves to one side: the map ends a fifth past the end on that side, not on the other one,
/// which lies beyond twelve planned tolerances.
#[test]
fn check_the_map_ends_where_the_first_side_does() {
    let season = "[temperature]\n[[temperature.season]]\nname = \"hot\"\nshare = 1\nbridge_c = 25\nframe_c = 25\n";
    let life = |plan: &Plan, span_mm: f64| {
        let evaluator = Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap();
        let installation = Installation { span_mm, ..Installation::perfect(plan) };
        evaluator.evaluate(&installation, &service_states(plan), &mut Work::default()).unwrap().life_km
    };
    // Bridge and frame grow apart by 0.072 mm; the life is that of rails 0.048 mm closer still.
    let required = life(&machine(1.0, season), -0.048);
    let plan = machine(required, season);
    // Planned +-0.01 mm: 0.12 mm is looked at, and there the other side, 0.192 mm off, still holds.
    assert!(life(&plan, 0.0) > required && life(&plan, 0.12) > required && life(&plan, -0.06) < required);
    let reach = mapped(&plan, "span", "height", false).x.values[MAP_CELLS];
    assert!((reach / 0.06 - 1.0).abs() < 1e-12, "{reach}");
}

/// Errors that the plan does not draw are asked of the machine itself, angles in mrad.
#[test]
fn check_cells_of_errors_that_the_plan_does_not_draw() {
    let plan = machine(1.0, "");
    let map = mapped(&plan, "end_tilt_a", "height", true);
    let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), plan.study.drag).unwrap();
    for (i, j) in [(0, MAP_CELLS), (MAP_CELLS, 30), (40, 0)] {
        let mut installation = Installation::perfect(&plan);
        (installation.end_tilt_rad[0], installation.height_mm) = (1e-3 * map.x.values[i], map.y.values[j]);
        let expected = evaluator.evaluate(&installation, &[ServiceState::still()], &mut Work::default()).unwrap();
        assert!((map.arrangements[0].life_km[j][i] / expected.life_km - 1.0).abs() < 1e-9, "{i} {j}");
        assert!((map.arrangements[0].life_loss[j][i] - expected.life_loss).abs() < 1e-9);
    }
    assert_eq!((map.x.unit, map.y.unit), ("mrad", "mm"));
}
