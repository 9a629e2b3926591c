//! The commands that set tolerances, as a person calls them: classes, shares, map, budget.

use crate::common;

use assert_cmd::Command;
use common::simple::Simple;
use predicates::prelude::*;
use predicates::str::contains;
use std::path::Path;

const DEMO: &str = include_str!("../examples/panel-bridge.toml");

fn railtrue(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("railtrue").unwrap();
    command.current_dir(folder);
    command
}

fn with_plan(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("plan.toml"), text).unwrap();
    folder
}

fn simple(errors: &str, life_km: f64) -> tempfile::TempDir {
    with_plan(
        &Simple {
            bridge_kg: 100.0,
            errors: format!("[errors]\n{errors}\n"),
            requirement: format!("[requirement]\nlife_km = {{ least = {life_km} }}\nstatic_safety = {{ least = 1 }}\n"),
            ..Simple::default()
        }
        .text(),
    )
}

fn json(folder: &Path, file: &str) -> serde_json::Value {
    serde_json::from_str(&std::fs::read_to_string(folder.join(file)).unwrap()).unwrap()
}

fn is_png(folder: &Path, file: &str) {
    assert!(std::fs::read(folder.join(file)).unwrap().starts_with(b"\x89PNG"), "{file}");
}

#[test]
fn check_and_classes_show_value_edition_and_how_sure() {
    let text = DEMO.replace("height = { plus_minus_mm = 1.0,", "height = { class = \"ISO 12488-1 class 3\",");
    let folder = with_plan(&text);
    railtrue(folder.path()).args(["check", "plan.toml"]).assert().success().stdout(
        contains("errors.height: ISO 12488-1 class 3 is ±5.2 mm at 2,600 mm")
            .and(contains("from memory: check against the standard"))
            .and(contains("not confirmed for the edition of 2012")),
    );
    railtrue(folder.path())
        .args(["classes", "plan.toml"])
        .assert()
        .success()
        .stdout(contains("IT11").and(contains("* from memory")).and(contains("No value was read in the standards themselves")));
    railtrue(folder.path()).args(["explain", "errors.height.class"]).assert().success().stdout(contains("edition 2012, Table 7"));
    let wrong = with_plan(&DEMO.replace("skew = { plus_minus_mm = 0.15,", "skew = { class = \"ISO 13920 B\","));
    railtrue(wrong.path())
        .args(["check", "plan.toml"])
        .assert()
        .code(2)
        .stderr(contains("plan.toml:2").and(contains("limits nothing that means the same as skew")));
}

#[test]
fn a_study_names_the_classes_it_rests_on() {
    let folder = simple("span = { class = \"ISO 286-1 IT6\" }", 1.0);
    railtrue(folder.path()).args(["study", "plan.toml", "--draws", "200"]).assert().stdout(contains("TOLERANCES FROM CLASSES"));
}

#[test]
fn shares_name_sources_that_do_nothing_and_write_figures() {
    let folder = simple("span = { plus_minus_mm = 0.05 }\nend_tilt_a = { plus_minus_mrad = 0.0001 }", 1.0);
    railtrue(folder.path())
        .args(["shares", "plan.toml", "--rows", "300"])
        .assert()
        .success()
        .stdout(contains("buys next to nothing:\n  tilt of the bridge's end face A").and(contains("CAUTIONS")));
    let at = folder.path().join("plan-shares");
    ["shares-life-loss.png", "shares-largest-load.png"].iter().for_each(|f| is_png(&at, f));
    let value = json(&at, "shares.json");
    assert_eq!((value["kind"].as_str(), value["rows"].as_u64(), value["evaluations"].as_u64()), (Some("shares"), Some(300), Some(1200)));
    assert!(value["arrangements"][0]["sources"][0]["shares"][1]["total"]["error"].as_f64().unwrap() > 0.0);
    let nothing = simple("", 1.0);
    railtrue(nothing.path()).args(["shares", "plan.toml"]).assert().code(2).stderr(contains("names no error that is drawn"));
}

#[test]
fn a_map_holds_what_a_trace_would_say() {
    let folder = simple("parallelism = { plus_minus_mm = 0.05 }\nheight = { plus_minus_mm = 0.05 }", 20_000.0);
    railtrue(folder.path()).args(["map", "plan.toml"]).assert().success().stdout(contains("all other errors zero"));
    let at = folder.path().join("plan-map");
    is_png(&at, "map-parallelism-height.png");
    let value = json(&at, "map.json");
    let middle = value["arrangements"][0]["life_km"][60][60].as_f64().unwrap();
    let perfect = value["arrangements"][0]["perfect_life_km"].as_f64().unwrap();
    assert!((middle / perfect - 1.0).abs() < 5e-7, "no errors, no temperatures: {middle} {perfect}");
    // One point of the grid, traced as a stated installation.
    let (x, y) = (value["x"]["values"][90].as_f64().unwrap(), value["y"]["values"][20].as_f64().unwrap());
    std::fs::write(folder.path().join("errors.toml"), format!("parallelism_mm = {x:?}\nheight_mm = {y:?}\n")).unwrap();
    let out = railtrue(folder.path()).args(["trace", "plan.toml", "--errors", "errors.toml", "--json"]).assert().success();
    let traced: serde_json::Value = serde_json::from_slice(&out.get_output().stdout).unwrap();
    let life = traced["outcome"]["life_km"].as_f64().unwrap();
    assert!((value["arrangements"][0]["life_km"][20][90].as_f64().unwrap() / life - 1.0).abs() < 1e-6);
    // The map reaches to where the required life ends.
    let lives = value["arrangements"][0]["life_km"][60].as_array().unwrap().iter().map(|v| v.as_f64().unwrap());
    assert!(lives.clone().any(|l| l < 20_000.0) && lives.into_iter().any(|l| l > 20_000.0));
    railtrue(folder.path()).args(["map", "plan.toml", "--x", "seat"]).assert().code(2).stderr(contains("no single number"));
    railtrue(folder.path()).args(["map", "plan.toml", "--x", "hight"]).assert().code(2).stderr(contains("Did you mean height?"));
    railtrue(folder.path()).args(["map", "plan.toml", "--x", "height"]).assert().code(2).stderr(contains("two different errors"));
}

#[test]
fn a_budget_tells_hours_and_what_it_would_need() {
    let none = simple("span = { plus_minus_mm = 0.02 }", 100.0);
    railtrue(none.path()).args(["budget", "plan.toml"]).assert().code(2).stderr(contains("[cost] names no error"));
    let cost = "span = { plus_minus_mm = 0.02 }\n[budget]\nmoney_per_hour = 50\ncurrency = \"credits\"\n[cost]\nspan = { law = \"reciprocal\", hours = 3, at_mm = 0.02 }";
    let folder = simple(cost, 100.0);
    railtrue(folder.path())
        .args(["budget", "plan.toml"])
        .assert()
        .success()
        .stdout(contains("credits").and(contains("> ±0.1 mm")).and(contains("on 10,000 fresh installations")));
    let value = json(&folder.path().join("plan-budget"), "budget.json");
    assert_eq!(value["arrangements"][0]["set"]["hours"][0].as_f64().unwrap(), 0.6);
    // A requirement beyond the perfect machine: no set, exit code 1 for the chosen arrangement.
    let beyond = simple(cost, 1e11);
    railtrue(beyond.path()).args(["budget", "plan.toml"]).assert().code(1).stdout(contains("NO SET"));
}
