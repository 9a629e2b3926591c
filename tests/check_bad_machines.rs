//! Machines at the edge: hardly held, very stiff, in one line, floats without travel. Each is refused or solved in balance, and what
//! hardly holds is said with its condition number.

use crate::common;

use common::simple::{Simple, float, spring};
use railtrue::evaluate::{Evaluator, Reading};
use railtrue::input::plan::Thermal;
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Drag, Machine, Response, Situation, TakenUp};
use railtrue::study::{Length, monte_carlo};

const DEMO: &str = include_str!("corpus/base.toml");

fn plan(text: &str) -> Plan {
    read_plan(text, "plan.toml").unwrap_or_else(|p| panic!("{p}"))
}

fn situation(case: usize) -> Situation {
    Situation { station_x_mm: 1500.0, case, thermal: Thermal::default(), skew_mm: 0.0, drag: Drag::Law }
}

/// Rails 0.8 mm too far apart, closing, B high.
fn rough(plan: &Plan) -> Installation {
    Installation { span_mm: 0.8, parallelism_mm: -0.6, height_mm: 0.5, cross_level_rad: [3e-4, -2e-4], ..Installation::perfect(plan) }
}

fn respond(machine: &Machine<'_>) -> Response {
    machine.respond(&rough(machine.plan), &TakenUp::default(), &situation(0)).unwrap()
}

/// Sum of the blocks' vertical loads less the weight, as a share of it.
fn unbalanced(plan: &Plan, r: &Response) -> f64 {
    let duty = &plan.duty[0];
    let extra: f64 = duty.extras.iter().map(|e| e.mass_kg).sum();
    let mass = plan.bridge.mass_kg + plan.slide_kg + duty.payload_kg + extra + plan.trucks.iter().map(|t| t.mass_kg).sum::<f64>();
    let weight = mass * 9.80665;
    (r.block_loads.iter().map(|b| b[1]).sum::<f64>() + weight).abs() / weight
}

#[test]
fn check_a_machine_that_is_let_go_by_decades_is_solved_then_said_then_refused() {
    let (mut solved, mut said, mut refused) = (0, 0, 0);
    for decade in 0..16 {
        let stiffness = format!("stiffness_n_per_um = {:e}\nheight_mm = 20", 25.0 * 10f64.powi(-decade));
        let text = DEMO.replace("stiffness_n_per_um = 25\nheight_mm = 20", &stiffness).replace("draws = 10000", "draws = 100");
        let plan = match read_plan(&text, "plan.toml") {
            Ok(plan) => plan,
            Err(_) => {
                refused += 1;
                continue;
            }
        };
        let Ok(machine) = Machine::new(&plan, 1) else {
            refused += 1;
            continue;
        };
        assert_eq!(refused, 0, "what is held less than a refused machine is not accepted");
        let condition = machine.condition;
        let r = respond(&machine);
        assert!(r.residual < 1e-8, "1e-{decade}: residual {:e}", r.residual);
        assert!(unbalanced(&plan, &r) < 1e-6, "1e-{decade}: {:e}", unbalanced(&plan, &r));
        let evaluators = [Evaluator::new(machine, plan.study.drag).unwrap()];
        let result = monte_carlo(&evaluators, Length::Fixed(100), 1, &|_| {}).unwrap();
        let tally = &result.arrangements[0].tally;
        assert!(tally.of(Reading::Life).low() > 0.0 && tally.of(Reading::PeakLoad).high().is_finite());
        let finding = result.arrangements[0].findings.iter().find(|f| f.what.contains("almost free to move"));
        assert_eq!(finding.is_some(), condition > 1e9, "1e-{decade}: condition {condition:e}");
        if let Some(f) = finding {
            assert!(f.amount.starts_with("trucks and bridge along x: condition number "), "{}", f.amount);
            said += 1;
        }
        solved += 1;
    }
    assert!(solved >= 6 && said >= 1 && refused >= 2, "{solved} solved, {said} said, {refused} refused");
}

#[test]
fn check_a_float_of_next_to_no_travel_is_a_spring_of_its_stop_and_one_of_none_is_refused() {
    let y = |law: String| {
        let mut simple = Simple::default();
        simple.joints[1][1] = law;
        plan(&simple.text())
    };
    let (floating, bolted) = (y(float(1e-9, 0.0, 1e-9, 80.0)), y(spring(80.0)));
    let loads = |plan: &Plan| respond(&Machine::new(plan, 0).unwrap()).block_loads.concat();
    let (a, b) = (loads(&floating), loads(&bolted));
    assert!(b.iter().any(|v| v.abs() > 100.0), "nothing presses: the test shows nothing");
    common::close("no travel", &a, &b, 1e-6);
    let mut none = Simple::default();
    none.joints[1][1] = float(0.0, 0.0, 1.0, 80.0);
    let said = read_plan(&none.text(), "plan.toml").unwrap_err().to_string();
    assert!(said.contains("stands on its stop"), "{said}");
}

#[test]
fn check_a_stop_softer_than_its_slide_gives_what_its_law_says() {
    let mut simple = Simple::default();
    simple.joints[1][1] = float(0.1, 15.0, 2.0, 0.4);
    let plan = plan(&simple.text());
    let r = respond(&Machine::new(&plan, 0).unwrap());
    let joint = r.joints.iter().find(|j| j.end == 1 && j.axis == 1).unwrap();
    let d = joint.delta.abs();
    assert!(d > 0.11, "the stop is not reached: the test shows nothing");
    let expected = (2000.0 * d).min(15.0) + 400.0 * (d - 0.1);
    assert!((joint.force.abs() - expected).abs() < 1e-6 * expected, "{} against {expected}", joint.force);
}

#[test]
fn check_blocks_in_one_line_stand_on_their_own_moment_stiffness_or_are_refused() {
    // One block a truck: only its own moment stiffness holds roll, pitch and yaw.
    let mut simple = Simple { blocks: vec![(0.0, 0.0)], bridge_kg: 100.0, ..Simple::default() };
    let held = plan(&simple.text());
    let r = respond(&Machine::new(&held, 0).unwrap());
    assert!(unbalanced(&held, &r) < 1e-9 && r.residual < 1e-8);
    // Without it the bridge turns about the line through both blocks.
    simple.block_moment = 1e-9;
    let loose = plan(&simple.text());
    let free = Machine::new(&loose, 0).unwrap_err();
    assert!(free.direction.contains("about y"), "{}", free.direction);
}

#[test]
fn check_a_joint_that_hardly_holds_is_named_by_what_moves() {
    let soft = |text: &str, from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    };
    // The drive holds the trucks; the bridge stands on two very soft springs along x.
    let along_x = soft(DEMO, "x = { law = \"elastic\", stiffness_n_per_um = 300 }", "x = { law = \"elastic\", stiffness_n_per_um = 1e-7 }");
    // One joint an end without stiffness in rotation: the bridge turns about its own axis.
    let about_y = soft(
        DEMO,
        "end_a = [ { joint = \"locating\", x_mm = 150, z_mm = 60 }, { joint = \"locating\", x_mm = -150, z_mm = 60 } ]",
        "end_a = [ { joint = \"locating\", x_mm = 0, z_mm = 60 } ]",
    );
    let about_y = soft(
        &about_y,
        "ry = { law = \"elastic\", stiffness_n_m_per_mrad = 0.1 }",
        "ry = { law = \"elastic\", stiffness_n_m_per_mrad = 1e-6 }",
    );
    for (text, moves) in [(along_x, "the bridge along x"), (about_y, "the bridge about y")] {
        let plan = plan(&text);
        let machine = Machine::new(&plan, 1).unwrap();
        assert!(machine.weakest.starts_with(moves), "{} for {moves}", machine.weakest);
        assert!(machine.condition > 1e9, "{moves}: {:e}", machine.condition);
        let r = respond(&machine);
        assert!(r.residual < 1e-8 && unbalanced(&plan, &r) < 1e-6, "{moves}: {:e}", r.residual);
        let evaluators = [Evaluator::new(machine, plan.study.drag).unwrap()];
        let result = monte_carlo(&evaluators, Length::Fixed(100), 1, &|_| {}).unwrap();
        let finding = result.arrangements[0].findings.iter().find(|f| f.what.contains("almost free to move")).unwrap();
        assert!(finding.amount.starts_with(moves) && finding.amount.contains("condition number"), "{}", finding.amount);
    }
    // A machine as built has no such finding, and still says which direction is its softest.
    let sound = plan(DEMO);
    let machine = Machine::new(&sound, 1).unwrap();
    assert!(machine.condition < 1e6 && !machine.weakest.is_empty(), "{:e} {}", machine.condition, machine.weakest);
}

#[test]
fn check_very_stiff_machines_are_solved_in_balance() {
    let mut simple =
        Simple { bridge_kg: 100.0, block_n_per_um: (9e4, 9e4), block_moment: 9e4, bridge_axial_n_per_um: 1e5, ..Simple::default() };
    simple.joints[0][4] = common::simple::hinge(0.0001);
    let stiff = plan(&simple.text());
    let machine = Machine::new(&stiff, 0).unwrap();
    let r = respond(&machine);
    assert!(r.residual < 1e-8, "{:e}", r.residual);
    assert!(unbalanced(&stiff, &r) < 1e-6, "{:e} at condition {:e}", unbalanced(&stiff, &r), machine.condition);
}
