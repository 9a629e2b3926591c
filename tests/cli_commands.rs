//! The binary as a person calls it.

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use std::path::Path;

const PLAN: &str = include_str!("../examples/panel-bridge.toml");

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

/// A study of a changed demo plan, with few draws.
fn study(text: &str) -> assert_cmd::assert::Assert {
    let folder = with_plan(text);
    railtrue(folder.path()).args(["study", "plan.toml", "--draws", "400", "--out", "out"]).assert()
}

#[test]
fn demo_writes_plan_figures_and_json_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    railtrue(folder.path())
        .arg("demo")
        .assert()
        .success()
        .stdout(contains("VERDICT").and(contains("CAUTIONS")).and(contains("load-along-stroke.png")));
    let at = folder.path().join("railtrue-demo");
    for file in [
        "panel-bridge.toml",
        "life-and-extra-load.svg",
        "life-and-extra-load.png",
        "load-along-stroke.svg",
        "load-along-stroke.png",
        "study.json",
    ] {
        assert!(at.join(file).metadata().unwrap().len() > 500, "{file}");
    }
    assert_eq!(std::fs::read_to_string(at.join("panel-bridge.toml")).unwrap(), PLAN);
    assert!(std::fs::read(at.join("load-along-stroke.png")).unwrap().starts_with(b"\x89PNG"));
    // A plan of the user's own is not overwritten.
    std::fs::write(at.join("panel-bridge.toml"), "mine").unwrap();
    railtrue(folder.path()).arg("demo").assert().code(2).stderr(contains("is not the shipped one"));
    assert_eq!(std::fs::read_to_string(at.join("panel-bridge.toml")).unwrap(), "mine");
}

#[test]
fn study_json_holds_seed_hash_version_and_numbers_at_full_precision() {
    let folder = with_plan(PLAN);
    railtrue(folder.path())
        .args(["study", "plan.toml", "--draws", "300", "--seed", "42"])
        .assert()
        .stdout(contains("300 installations drawn with seed 42"));
    let text = std::fs::read_to_string(folder.path().join("plan-study/study.json")).unwrap();
    let v: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!((v["seed"].as_u64(), v["draws"].as_u64(), v["layout"].as_u64()), (Some(42), Some(300), Some(1)));
    assert_eq!(v["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(v["plan"]["sha256"].as_str().unwrap().len(), 64);
    let floating = v["arrangements"].as_array().unwrap().iter().find(|a| a["name"] == "floating").unwrap();
    assert!(floating["perfect"]["life_km"].as_f64().unwrap().fract() != 0.0);
    assert_eq!(floating["measures"]["life_km"]["quantiles"].as_array().unwrap().len(), 9);
    // The same seed gives the same file to the byte.
    railtrue(folder.path())
        .args(["study", "plan.toml", "--draws", "300", "--seed", "42", "--out", "again"])
        .assert()
        .code(predicate::in_iter([0, 1]));
    assert_eq!(text, std::fs::read_to_string(folder.path().join("again/study.json")).unwrap());
}

#[test]
fn exit_code_follows_the_chosen_arrangement() {
    // More draws than the others: the floating verdict must be decided.
    let folder = with_plan(PLAN);
    railtrue(folder.path()).args(["study", "plan.toml", "--draws", "4000"]).assert().code(0);
    study(&PLAN.replace("chosen = \"floating\"", "chosen = \"stiff\"")).code(1).stdout(contains("NOT MET"));
    study(&PLAN.replace("span_mm = 2600 ", "span_mm = -2600 ")).code(2);
}

#[test]
fn every_problem_of_a_plan_is_reported_at_once_with_its_place() {
    let bad = PLAN
        .replace("span_mm = 2600 ", "span_mm = -2600 ")
        .replace("preload_n = 340 ", "preloadd_n = 340 ")
        .replace("share = 0.4  ", "share = 0.5  ")
        .replace("joint = \"floating\"", "joint = \"flaoting\"")
        .replace("stations = 21 ", "stations = \"many\" ");
    let line = |word: &str| bad.lines().position(|l| l.starts_with(word)).unwrap() + 1;
    study(&bad)
        .code(2)
        .stderr(contains(format!("plan.toml:{}:11: frame.span_mm = -2600: too small; allowed: more than 0", line("span_mm"))))
        .stderr(contains(format!("plan.toml:{}:1: block.preloadd_n: this key is not known", line("preloadd_n"))))
        .stderr(contains("Did you mean preload_n?"))
        .stderr(contains("the shares add up to 1.1, not to 1"))
        .stderr(contains("there is no such joint").and(contains("Did you mean \"floating\"?")))
        .stderr(contains("frame.stations = \"many\": this is text, not a whole number; allowed: a whole number from 2 to 501"))
        .stderr(contains("nothing was computed"));
}

#[test]
fn bad_plans_are_refused_and_nothing_is_written() {
    let cases = [
        ("span_mm = 2600 ", "span_mm = nan ", "no finite number"),
        ("last_anchor_mm = 6500 ", "last_anchor_mm = -1 ", "must lie beyond the first"),
        ("anchor_pitch_mm = 500 ", "anchor_pitch_mm = 480 ", "whole bays"),
        ("stroke_to_mm = 6250 ", "stroke_to_mm = 6900 ", "beyond the rail"),
        ("chosen = \"floating\"", "chosen = \"floting\"", "there is no such arrangement"),
        ("mass_kg = 62 ", "", "bridge.mass_kg: this key is missing"),
        ("title = ", "title = 5 #", "this is a number, not text in quotes"),
        ("payload_y_mm = 2200", "payload_y_mm = 2700", "beyond rail B"),
        ("static_n = 27000 ", "static_n = 1e400 ", "no finite number"),
        ("span = { plus_minus_mm = 1.0", "span = { plus_minus_mm = 1.0, zone_mm = 2.0", "given more than once"),
        ("[frame]", "[frame", "no valid TOML"),
        ("stop_n_per_um = 300", "", "stop_n_per_um is missing"),
        ("life_km = { least = 30000", "life_km = { lest = 30000", "Did you mean least?"),
    ];
    for (from, to, expected) in cases {
        assert!(PLAN.contains(from), "{from}");
        let folder = with_plan(&PLAN.replacen(from, to, 1));
        railtrue(folder.path()).args(["study", "plan.toml", "--out", "out"]).assert().code(2).stderr(contains(expected)).stdout("");
        assert!(!folder.path().join("out").exists(), "{from} -> {to}");
    }
}

#[test]
fn a_free_direction_is_named_with_the_arrangement_and_its_line() {
    let free = PLAN
        .replace("y = { law = \"elastic\", stiffness_n_per_um = 300 }", "y = { law = \"free\" }")
        .replace("law = \"float\", travel_mm = 3, drag_n = 15, slide_n_per_um = 2, stop_n_per_um = 300", "law = \"free\"");
    let line = free.lines().position(|l| l.starts_with("[arrangement.floating]")).unwrap() + 1;
    study(&free).code(2).stderr(
        contains(format!("plan.toml:{line}:"))
            .and(contains("nothing holds the bridge's motion along y, across the rails,"))
            .and(contains("locating end")),
    );
}

#[test]
fn trace_shows_the_perfect_installation_a_drawn_one_and_a_stated_one() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    railtrue(at)
        .args(["trace", "plan.toml"])
        .assert()
        .success()
        .stdout(contains("Perfect installation").and(contains("residual")).and(contains("bridge end B")));
    railtrue(at)
        .args(["trace", "plan.toml", "--draw", "17", "--out", "t", "--stations", "1000"])
        .assert()
        .success()
        .stdout(contains("Drawn installation 17 of seed 1"));
    // The drawn installation, read back from its file, gives the same loads.
    let trace = |args: &[&str]| -> serde_json::Value {
        let out = railtrue(at).args(["trace", "plan.toml", "--json", "--stations", "1000"]).args(args).output().unwrap();
        serde_json::from_slice(&out.stdout).unwrap()
    };
    let (drawn, stated) = (trace(&["--draw", "17"]), trace(&["--errors", "t/installation.toml"]));
    let life = |v: &serde_json::Value| v["outcome"]["life_km"].as_f64().unwrap();
    assert!((life(&drawn) / life(&stated) - 1.0).abs() < 1e-9);
    let load = |v: &serde_json::Value| v["states"][0]["blocks"][3]["load_n_n_mm"][1].as_f64().unwrap();
    assert!((load(&drawn) - load(&stated)).abs() < 1e-6 * load(&drawn).abs());
    railtrue(at).args(["trace", "plan.toml", "--stations", "99999"]).assert().code(2).stderr(contains("no position of the bridge"));
    railtrue(at).args(["trace", "plan.toml", "--arrangement", "stif"]).assert().code(2).stderr(contains("there is no arrangement"));
    std::fs::write(at.join("e.toml"), "span_mm = 0.3\nlateral_a_mm = [1, 2]\nhigh_mm = 1\n").unwrap();
    railtrue(at)
        .args(["trace", "plan.toml", "--errors", "e.toml"])
        .assert()
        .code(2)
        .stderr(contains("e.toml:2:16").and(contains("14 anchors")).and(contains("high_mm: this key is not known")));
}

#[test]
fn check_and_explain_answer() {
    let folder = with_plan(PLAN);
    railtrue(folder.path()).args(["check", "plan.toml"]).assert().success().stdout(contains("No problem was found"));
    railtrue(folder.path()).args(["explain", "preload_n"]).assert().success().stdout(contains("usual: 2 % of C light"));
    railtrue(folder.path()).args(["explain", "prelaod"]).assert().code(2).stderr(contains("Did you mean preload_n?"));
    railtrue(folder.path()).args(["study", "nowhere.toml"]).assert().code(2).stderr(contains("nowhere.toml: cannot be read"));
}

#[test]
fn a_folder_in_the_way_of_a_file_is_said() {
    let folder = with_plan(PLAN);
    std::fs::write(folder.path().join("out"), "a file").unwrap();
    railtrue(folder.path())
        .args(["study", "plan.toml", "--out", "out"])
        .assert()
        .code(2)
        .stderr(contains("a file is in the way of this folder"));
}

#[test]
fn worst_writes_installations_that_replay() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    let run = railtrue(at).args(["worst", "plan.toml", "--out", "w"]).assert().success();
    run.stdout(contains("arithmetic").and(contains("exact")).and(contains("milder than a real installation")).and(contains("CAUTIONS")));
    let v: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(at.join("w/worst.json")).unwrap()).unwrap();
    let floating = v["arrangements"].as_array().unwrap().iter().find(|a| a["name"] == "floating").unwrap();
    let life = floating["brackets"].as_array().unwrap().iter().find(|b| b["quantity"] == "life_km").unwrap();
    assert!(life["bound"].as_f64().unwrap() <= life["attained"].as_f64().unwrap());
    let args = ["trace", "plan.toml", "--arrangement", "floating", "--errors", "w/floating-life-km.toml", "--json", "--stations", "1000"];
    let out = railtrue(at).args(args).output().unwrap();
    let traced: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let (a, b) = (traced["outcome"]["life_km"].as_f64().unwrap(), life["attained"].as_f64().unwrap());
    assert!((a / b - 1.0).abs() < 1e-9, "{a} {b}");
    assert!(at.join("w/floating-least-life-rails.png").exists());
}

#[test]
fn a_started_plan_is_whole_and_says_what_is_assumed() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let start =
        ["start", "mine.toml", "--span-mm", "1800", "--stroke-mm", "4000", "--bridge-kg", "40", "--payload-kg", "60", "--life-km", "20000"];
    railtrue(at).args(start).assert().success().stdout(contains("values are assumed"));
    railtrue(at).args(["check", "mine.toml"]).assert().success().stdout(contains("values are assumed"));
    railtrue(at)
        .args(["study", "mine.toml", "--draws", "300"])
        .assert()
        .code(predicate::in_iter([0, 1]))
        .stdout(contains("values are assumed"));
    // It is never written over, and a source of a key that the table does not have is refused.
    railtrue(at).args(start).assert().code(2).stderr(contains("there already"));
    let text = std::fs::read_to_string(at.join("mine.toml")).unwrap().replace("source = { span_mm", "source = { spam_mm");
    std::fs::write(at.join("mine.toml"), text).unwrap();
    railtrue(at)
        .args(["check", "mine.toml"])
        .assert()
        .code(2)
        .stderr(contains("frame.source.spam_mm").and(contains("Did you mean span_mm?")));
    railtrue(at)
        .args(["start", "b.toml", "--span-mm", "-5", "--stroke-mm", "1", "--bridge-kg", "1", "--payload-kg", "1", "--life-km", "1"])
        .assert()
        .code(2);
    assert!(!at.join("b.toml").exists());
}

#[test]
fn the_schema_accepts_the_example_and_knows_every_key() {
    let folder = tempfile::tempdir().unwrap();
    let out = railtrue(folder.path()).arg("schema").output().unwrap();
    let schema: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(schema["properties"]["frame"]["properties"]["span_mm"]["exclusiveMinimum"], 0.0);
    assert_eq!(schema["properties"]["errors"]["additionalProperties"], false);
    let plan: serde_json::Value = toml::from_str(PLAN).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator.iter_errors(&plan).map(|e| format!("{}: {e}", e.instance_path)).collect();
    assert!(errors.is_empty(), "{errors:?}");
    let mut bad = plan.clone();
    bad["frame"]["span_mm"] = serde_json::json!(-1);
    bad["block"]["preloadd_n"] = serde_json::json!(1);
    assert_eq!(validator.iter_errors(&bad).count(), 2);
}

#[test]
fn a_study_by_digits_says_whether_they_settled() {
    let folder = with_plan(&PLAN.replace("draws = 10000 ", "digits = 1\ndraws = 20000 "));
    railtrue(folder.path()).args(["study", "plan.toml"]).assert().stdout(contains("20000 installations").and(contains("have NOT settled")));
}

#[test]
fn block_prints_stiffnesses_from_its_balls() {
    let folder = with_plan(PLAN);
    let run = railtrue(folder.path()).args(["block", "plan.toml", "--displaced", "0.003,0,0,0,0"]).assert().success();
    // 341.7 N/um across and 71.8 N m/mrad in pitch: the worked block of the same geometry.
    run.stdout(contains("342").and(contains("71.8")).and(contains("not cut off here")));
    assert!(folder.path().join("plan-block/force-and-moment.png").exists());
    railtrue(folder.path()).args(["block", "plan.toml", "--displaced", "1,2"]).assert().code(2).stderr(contains("five numbers are needed"));
    let bare = with_plan(&PLAN.replace("[block.contact]", "[block.contacts]"));
    railtrue(bare.path()).args(["block", "plan.toml"]).assert().code(2).stderr(contains("Did you mean contact?"));
}
