//! The fast path of a study against the evaluator, installation by installation.

use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, Outcome, RowsOutcome, Work, service_states};
use railtrue::input::plan::Level;
use railtrue::input::{Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::sweep::drawn;

fn shipped(text: &str) -> Plan {
    read_plan(text, "plan.toml").unwrap()
}

/// Both ways on the same draws; every figure of every outcome agrees. Returns how many were compared.
fn compare(plan: &Plan, count: u64, tolerance: f64) -> usize {
    let evaluators: Vec<Evaluator<'_>> =
        (0..plan.arrangements.len()).map(|a| Evaluator::new(Machine::new(plan, a).unwrap(), plan.study.drag).unwrap()).collect();
    let service = service_states(plan);
    let mut compared = 0;
    for e in &evaluators {
        let name = e.machine.name();
        let draws = Draws::new(plan, e.machine.rails());
        let slow: Vec<Outcome> = run(0, count, 5, Work::default, |work, _, rng| e.evaluate(&draws.draw(rng), &service, work).unwrap());
        for (i, (fast, slow)) in drawn(e, 5, count).unwrap().iter().zip(&slow).enumerate() {
            let figures = |o: &Outcome| {
                [
                    o.life_km,
                    o.peak_load_n,
                    o.static_safety,
                    o.row_unloading,
                    o.float_travel_used,
                    o.tool_displacement_mm,
                    o.joint_force_n,
                    o.slot_used,
                    o.tool_yaw_mrad,
                ] // slot used, number 7, follows weak directions most
            };
            for (k, (x, y)) in figures(fast).iter().zip(figures(slow)).enumerate() {
                let tolerance = if k == 7 { 10.0 * tolerance } else { tolerance };
                assert!((x - y).abs() <= tolerance * y.abs().max(1e-9), "{name} draw {i} figure {k}: {x} against {y}");
            }
            // Small differences of loads have their digits: what is more than without errors, what is pulled against the weight.
            for [x, y] in [[fast.extra_load_n, slow.extra_load_n], [fast.pull_n, slow.pull_n]] {
                assert!((x - y).abs() <= tolerance * slow.peak_load_n, "{name} draw {i}: {x} N against {y} N");
            }
            if let (Some(fast), Some(slow)) = (fast.rows, slow.rows) {
                let figures = |r: &RowsOutcome| [r.life_by_load_km, r.peak_element_n, r.peak_pressure_mpa, r.element_safety];
                for (x, y) in figures(&fast).iter().zip(figures(&slow)) {
                    assert!((x - y).abs() <= tolerance * y, "{name} draw {i} rows: {x} against {y}");
                }
            }
            assert_eq!(fast.rows.is_some(), slow.rows.is_some());
            assert!((fast.life_loss - slow.life_loss).abs() <= tolerance.max(1e-9));
            assert_eq!(fast.stop_from_x_mm, slow.stop_from_x_mm);
            compared += 1;
        }
    }
    compared
}

#[test]
fn check_the_demo_agrees() {
    // Take-ups follow the errors only to the digits that weak directions leave: 1e-6.
    let plan = shipped(include_str!("../examples/panel-bridge.toml"));
    assert_eq!(compare(&plan, 203, 2e-6), 406);
}

#[test]
fn check_other_machines_agree_and_stops_and_slot_ends_fall_back() {
    for text in [include_str!("../examples/tile-scanner.toml"), include_str!("../examples/glass-loader.toml")] {
        let mut plan = shipped(text);
        assert!(compare(&plan, 60, 2e-6) > 0);
        for source in &mut plan.errors.sources {
            (source.lower, source.upper) = (4.0 * source.lower, 4.0 * source.upper);
        }
        assert!(compare(&plan, 60, 2e-6) > 0);
    }
}

/// Contacts side by side against each installation alone; with eight times the tolerances floats come to their stops and blocks
/// lift, so that some lanes are left to the search.
#[test]
fn check_contacts_side_by_side_agree_with_each_alone() {
    let mut plan = shipped(include_str!("../examples/panel-bridge.toml"));
    plan.block.level = Level::Contact;
    assert_eq!(compare(&plan, 11, 1e-8), 22);
    for source in &mut plan.errors.sources {
        (source.lower, source.upper) = (8.0 * source.lower, 8.0 * source.upper);
    }
    assert_eq!(compare(&plan, 9, 1e-8), 18);
}

/// Two floats at one end, the second with less travel: its share of it is what counts.
#[test]
fn check_two_floats_agree() {
    let two = "end_b = [ { joint = \"floating\", x_mm = 100, z_mm = 60 }, { joint = \"floating\", x_mm = -100, z_mm = 60 } ]";
    let one = "end_b = [ { joint = \"floating\", x_mm = 0, z_mm = 60 } ]";
    let few = ("stations = 21 ", "stations = 4 ");
    let mut plan = shipped(&crate::golden_small::changed(include_str!("../examples/panel-bridge.toml"), &[(one, two), few]));
    let railtrue::input::plan::Law::Float { travel, .. } = &mut plan.arrangements[1].ends[1][1].components[1].law else {
        panic!("a float")
    };
    *travel = 2.5;
    assert_eq!(compare(&plan, 24, 2e-6), 48);
}
