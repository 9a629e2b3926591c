//! Machines of other kinds, small and with few draws: the other examples, contacts, floats at their stops, blocks that lift, every
//! requirement. What each comes to, to the ninth digit, in seconds.
//! `RAILTRUE_REGENERATE=1 cargo test --test library golden_machines` writes `tests/data/small/machine-*.txt` anew.

use railtrue::evaluate::service_states;
use railtrue::input::{Plan, read_plan};
use railtrue::study::{BudgetEffort, Depth, Effort, Finding, Length, budget, limits, monte_carlo, shares, trace, worst_case};
use railtrue::sweep::drawn;
use std::fmt::Write as _;

use crate::golden_small::{changed, evaluators, keep, smallest_text, study_text, worst_text};

const SCANNER: &str = include_str!("../examples/tile-scanner.toml");
const LOADER: &str = include_str!("../examples/glass-loader.toml");

fn plan(text: &str) -> Plan {
    read_plan(text, "small.toml").unwrap_or_else(|e| panic!("{e}"))
}

fn scanner() -> Plan {
    plan(&changed(SCANNER, &[("stations = 31 ", "stations = 3 ")]))
}

fn loader() -> Plan {
    plan(&changed(LOADER, &[("stations = 46 ", "stations = 3 ")]))
}

/// A few drawn installations of every kind of machine, the traced perfect one, and what is found after a short study.
fn summary(plan: &Plan, draws: u64) -> String {
    let evaluators = evaluators(plan);
    let mut text = String::new();
    for e in &evaluators {
        let _ = writeln!(text, "{} {:?}\n{:?}", e.machine.name(), e.perfect(), drawn(e, 5, 8).unwrap());
        let still = railtrue::input::Installation::perfect(plan);
        let trace = trace(e, &still, &service_states(plan), &plan.frame.stations_x_mm[1..2]).unwrap();
        let _ = writeln!(text, "{trace:?}");
    }
    text + &study_text(&monte_carlo(&evaluators, Length::Fixed(draws), 5, &|_| {}).unwrap())
}

#[test]
fn golden_machines_scanner() {
    keep("machine-scanner", &summary(&scanner(), 24));
}

#[test]
fn golden_machines_loader() {
    keep("machine-loader", &summary(&loader(), 16));
}

/// The demo with its blocks as rows.
#[test]
fn golden_machines_with_contacts() {
    let text =
        changed(&smallest_text(), &[("element = \"ball\"", "element = \"ball\"\nlevel = \"contact\""), ("stations = 4 ", "stations = 2 ")]);
    keep("machine-contact", &summary(&plan(&text), 4));
}

/// What findings look for: little travel and short slots, little preload, a small static rating, drag that holds a float; then a
/// requirement that few draws leave open, and errors without effect.
#[test]
fn golden_machines_with_much_to_find() {
    let short = [("stations = 4 ", "stations = 2 ")];
    let mut text = String::new();
    for changes in [
        &[("travel_mm = 3,", "travel_mm = 0.5,"), ("take_up_mm = 1.5", "take_up_mm = 0.3")][..],
        &[("preload_n = 340 ", "preload_n = 20 "), ("static_n = 27000 ", "static_n = 1500 ")],
        &[("drag_n = 15", "drag_n = 9000"), ("drag = \"both_signs\"", "drag = \"law\"")],
        &[(", take_up_mm = 1.5", ""), (", take_up_mrad = 10", "")],
        &[(
            "life_km = { least = 30000, quantile = 0.95, confidence = 0.95 }",
            "life_km = { least = 12000, quantile = 0.5, confidence = 0.99 }",
        )],
    ] {
        let plan = plan(&changed(&changed(&smallest_text(), &short), changes));
        let study = monte_carlo(&evaluators(&plan), Length::Fixed(24), 5, &|_| {}).unwrap();
        for a in &study.arrangements {
            let sentences: Vec<String> = a.findings.iter().map(Finding::sentence).collect();
            let _ = writeln!(text, "{} {:?}\n{sentences:?}\n{:?} {:?}", a.name, a.verdicts, a.tally.counts, a.tally.first_stop_x_mm);
        }
    }
    keep("machine-findings", &text);
}

/// Every requirement at once, met and not met: verdicts, limits, budget, worst case.
#[test]
fn golden_machines_under_every_requirement() {
    let requirements = "static_safety = { least = 3 }\nlife_loss = { most = 0.6, quantile = 0.9 }\nrow_unloading = { most = 1.2 }\n\
                        tool_displacement_mm = { most = 1.5 }\ntool_yaw_mrad = { most = 0.8 }\njoint_force_n = { most = 900 }\n";
    let mut text = String::new();
    for life in ["30000", "4000"] {
        let changes =
            [("static_safety = { least = 3 }", requirements), ("life_km = { least = 30000,", &format!("life_km = {{ least = {life},"))];
        let plan = plan(&changed(&smallest_text(), &changes));
        let evaluators = evaluators(&plan);
        let study = monte_carlo(&evaluators, Length::Fixed(48), 5, &|_| {}).unwrap();
        study.arrangements.iter().for_each(|a| text += &format!("{:?}\n{:?}\n", a.verdicts, a.findings));
        let depth = Depth { rough_draws: 24, single_draws: 40, common_draws: 40, set_draws: 60 };
        let _ = writeln!(text, "{:?}", limits(&evaluators, depth, 5, &|| ()).unwrap().arrangements);
        let effort = BudgetEffort { coarse: 30, fine: 40, verify: 60, rounds: 1 };
        let _ = writeln!(text, "{:?}", budget(&evaluators, effort, 5, &|| ()).unwrap());
        for e in &evaluators {
            text += &worst_text(&worst_case(e, Effort::QUICK, &|| false).unwrap());
        }
    }
    keep("machine-requirements", &text);
}

/// Shares, limits and worst case of the scanner, whose requirements are the tool's.
#[test]
fn golden_machines_scanner_in_parts() {
    let plan = scanner();
    let evaluators = evaluators(&plan);
    let mut text = format!("{:?}\n", shares(&evaluators, 16, 5, &|_| {}).unwrap());
    for e in &evaluators {
        text += &worst_text(&worst_case(e, Effort::QUICK, &|| false).unwrap());
    }
    keep("machine-scanner-parts", &text);
}
