//! `railtrue limits` as a person calls it.

use crate::common;

use assert_cmd::Command;
use common::demo_of_few_errors;
use predicates::prelude::*;
use predicates::str::contains;
use std::path::Path;

fn limits(folder: &Path, text: &str) -> assert_cmd::assert::Assert {
    std::fs::write(folder.join("plan.toml"), text).unwrap();
    railtrue(folder).args(["limits", "plan.toml"]).assert()
}

fn railtrue(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("railtrue").unwrap();
    command.current_dir(folder);
    command
}

#[test]
fn limits_prints_tables_and_writes_a_card_with_the_set_alone() {
    let folder = tempfile::tempdir().unwrap();
    let run = limits(folder.path(), &demo_of_few_errors()).code(0);
    run.stdout(
        contains("Alone, all else perfect: not for the drawing")
            .and(contains("stiff joints: NO SET: with every error at zero, temperatures in service alone bring life in km to 1,970"))
            .and(contains("floating joints (chosen): the planned tolerances hold"))
            .and(contains("CAUTIONS")),
    );
    let at = folder.path().join("plan-limits");
    let read = |file: &str| std::fs::read_to_string(at.join(file)).unwrap();
    assert!(std::fs::read(at.join("card.png")).unwrap().starts_with(b"\x89PNG"));
    let card = read("card.html");
    for word in [
        "Installation card",
        "cross-level of each rail*, mrad",
        "isolate and lock out the drives",
        "seed 1, verified with seed 2",
        "no set",
    ] {
        assert!(card.contains(word) && read("card.svg").contains(word.split(',').next().unwrap()), "{word}");
    }
    // Single limits never stand on the card.
    assert!(!card.contains("alone, all else") && !card.contains("not for the drawing"));
    let json: serde_json::Value = serde_json::from_str(&read("limits.json")).unwrap();
    assert_eq!((json["kind"].as_str(), json["verification_seed"].as_u64()), (Some("limits"), Some(2)));
    let floating = json["arrangements"].as_array().unwrap().iter().find(|a| a["name"] == "floating").unwrap();
    assert_eq!(floating["set"]["basis"], "planned");
    assert_eq!(floating["single_limits_not_for_the_drawing"].as_array().unwrap().len(), 6);
    // Travel of 3 mm less heat's part, 0.9 of it, over 0.95 for a uniform error.
    let span = &floating["single_limits_not_for_the_drawing"][0]["alone"]["at_quantile"];
    assert!((2.3..2.95).contains(&span["scale"].as_f64().unwrap()) && span["stopped_by"] == "float_travel_used", "{span}");
    assert!(json["arrangements"][0]["set"].is_null() && json["arrangements"][0]["no_set"]["requirement"] == "life_km");
}

#[test]
fn a_scaled_set_can_be_put_into_the_plan_and_studied() {
    let folder = tempfile::tempdir().unwrap();
    let wide = demo_of_few_errors().replace("span = { plus_minus_mm = 1.0", "span = { plus_minus_mm = 4.0");
    limits(folder.path(), &wide).code(0).stdout(contains("times the plan, rounded down"));
    let set = std::fs::read_to_string(folder.path().join("plan-limits/errors-floating.toml")).unwrap();
    assert!(set.contains("straightness_lateral_a = { zone_mm = 0.15, capability = 1.0 }"), "{set}");
    let (head, rest) = wide.split_once("[errors]\n").unwrap();
    let study = &rest[rest.find("[study]").unwrap()..];
    std::fs::write(folder.path().join("set.toml"), format!("{head}{set}{study}")).unwrap();
    railtrue(folder.path()).args(["study", "set.toml", "--draws", "2000"]).assert().code(0);
}

#[test]
fn no_set_for_the_chosen_arrangement_is_exit_1_and_a_bad_plan_exit_2() {
    let folder = tempfile::tempdir().unwrap();
    limits(folder.path(), &demo_of_few_errors().replace("chosen = \"floating\"", "chosen = \"stiff\""))
        .code(1)
        .stdout(contains("stiff joints (chosen): NO SET"));
    let folder = tempfile::tempdir().unwrap();
    limits(folder.path(), &demo_of_few_errors().replace("preload_n = 340 ", "preload_n = -340 "))
        .code(2)
        .stderr(contains("plan.toml:"))
        .stdout("");
    assert!(!folder.path().join("plan-limits").exists());
    // Without any tolerance there is nothing to scale.
    let text = demo_of_few_errors();
    let (head, rest) = text.split_once("[errors]\n").unwrap();
    let none = format!("{head}[errors]\n{}", &rest[rest.find("[study]").unwrap()..]);
    limits(folder.path(), &none).code(2).stderr(contains("nothing to find the limit of"));
    assert!(!folder.path().join("plan-limits").exists());
}
