//! `review` and `recheck` as a reviewer calls them, and the page that they sign.
#![allow(clippy::unwrap_used, clippy::print_stderr, reason = "a test fails by panicking, and a skip is said aloud")]

use crate::common;

use assert_cmd::Command;
use common::simple::Simple;
use predicates::prelude::*;
use predicates::str::contains;
use std::path::Path;

const HEADER: &str = "item,controls,value,unit,form,per,made,shimmed_after,feeds,measured_by\n";

fn railtrue(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("railtrue").unwrap();
    command.current_dir(folder);
    command
}

fn plan(span_mm: f64) -> String {
    let text = Simple {
        blocks: vec![(0.0, 0.0)],
        bridge_axial_n_per_um: 1e6,
        errors: format!(
            "[errors]\nspan = {{ plus_minus_mm = {span_mm:?}, distribution = \"uniform\", inspected = true }}\nbridge_length = {{ plus_minus_mm = 0.02 }}\n"
        ),
        requirement: "[requirement]\nlife_km = { least = 100 }\nstatic_safety = { least = 3 }\n".into(),
        ..Simple::default()
    }
    .text();
    text.replace("title = \"simple\"", "title = \"simple <b>&amp;\"")
}

/// A folder with a plan and callouts.
fn folder(rows: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("plan.toml"), plan(0.1)).unwrap();
    std::fs::write(folder.path().join("callouts.csv"), format!("{HEADER}{rows}")).unwrap();
    folder
}

fn review(folder: &Path) -> assert_cmd::assert::Assert {
    railtrue(folder).args(["review", "plan.toml", "callouts.csv", "--draws", "1000", "--out", "out"]).assert()
}

fn report(folder: &Path) -> String {
    std::fs::read_to_string(folder.join("out/report.html")).unwrap()
}

const GOOD: &str =
    "1,span,0.2,mm,plus_minus,all,welded,yes,,survey\n2,bridge length,0.02,mm,plus_minus,all,machined,no,,\n3,temperature,20,,,,,,,\n";

#[test]
fn a_review_tells_and_writes_what_a_reviewer_signs() {
    let folder = folder(GOOD);
    let done = review(folder.path()).code(0);
    done.stdout(
        contains("only joints (chosen): all requirements met, if what is assumed is true")
            .and(contains("as drawn NOT all requirements are shown to be met; after installation adjustment all requirements met"))
            .and(contains("the usual shim box and slots, assumed"))
            .and(contains("tighten item 1 (span)"))
            .and(contains("too loose"))
            .and(contains("MAPPING"))
            .and(contains("CAUTIONS")),
    );
    let html = report(folder.path());
    for part in [
        ">Verdict<",
        ">Callouts<",
        ">Mapping<",
        ">Findings<",
        ">Machine and data<",
        ">Worst case<",
        ">Drawn installations<",
        ">Cautions<",
        ">How to reproduce<",
        "Revisions",
        "Reviewed by",
        "seed",
        "SHA-256",
        "too loose",
        "railtrue review plan.toml callouts.csv",
    ] {
        assert!(html.contains(part), "{part} is missing");
    }
    // The plan's title is text, whatever it holds.
    assert!(!html.contains("<b>&amp;") && html.contains("&lt;b&gt;&amp;amp;"));
    the_page_stands_alone(&html);
    // Without adjustment, and with the drawing as loose, nothing takes it out.
    std::fs::write(folder.path().join("callouts.csv"), format!("{HEADER}{}", GOOD.replace("yes", "no"))).unwrap();
    review(folder.path()).code(1);
}

/// Nothing on the drawing, nothing shown; each row that is taken away, that contradicts or that promises too much is told.
#[test]
fn a_drawing_that_leaves_something_open_does_not_pass() {
    let rows: Vec<&str> = GOOD.lines().collect();
    let cases = [
        (rows[2].to_string(), "CANNOT BE SHOWN: 2 errors have no callout: span offset; made length of the bridge"),
        (format!("{}\n{}", rows[0], rows[2]), "CANNOT BE SHOWN: 1 error has no callout"),
        (GOOD.replace("20,", "25,"), "another temperature than the plan's in 1 row"),
        (format!("{}\n{}", rows[0], rows[1]), "no temperature is stated"),
        (GOOD.replace("survey", ""), "nobody is named to measure 1 error"),
        (format!("{GOOD}4,span,0.1,mm,,,,,,"), "callouts contradict each other on 1 error"),
        (GOOD.replace("1,span,0.2", "1,span,20"), "the pads do not reach what is drawn"),
    ];
    for (rows, told) in cases {
        let folder = folder(&rows);
        review(folder.path()).code(1).stdout(contains(told));
        // A finding's row begins with a capital there.
        assert!(report(folder.path()).contains(&told[1..]), "{told}");
    }
    // What another document controls is counted as planned, and named.
    let folder = folder(&format!("{}\n4,elsewhere,drawing of the bridge,,,,,,bridge_length,\n{}", rows[0], rows[2]));
    review(folder.path()).code(0).stdout(contains("1 error controlled elsewhere, by drawing of the bridge"));
}

#[track_caller]
fn the_page_stands_alone(html: &str) {
    let bare = html.replace("http://www.w3.org/2000/svg", "");
    for word in ["<script", "http:", "https:", " src=", "url(http", "@import", "javascript", "onload"] {
        assert!(!bare.contains(word), "{word}");
    }
    let levels: Vec<u32> = bare.match_indices("<h").filter_map(|(i, _)| bare[i + 2..i + 3].parse().ok()).collect();
    assert!(levels[0] == 1 && levels.iter().filter(|l| **l == 1).count() == 1 && levels.windows(2).all(|w| w[1] <= w[0] + 1), "{levels:?}");
    let figures = bare.matches("<figure>").count();
    assert!(figures >= 2 && bare.matches("<desc id=").count() == figures && bare.matches("role=\"img\"").count() == figures);
    assert!(!bare.contains("<desc id=\"d1\"></desc>"));
    assert_eq!(bare.matches("<table").count(), bare.matches("<caption").count());
    assert!(bare.matches("scope=\"col\"").count() > bare.matches("<table").count());
}

#[test]
fn a_study_has_a_report_of_its_own_and_both_are_run_again() {
    let folder = folder(GOOD);
    let at = folder.path();
    railtrue(at).args(["study", "plan.toml", "--draws", "1000", "--out", "out"]).assert().code(0);
    the_page_stands_alone(&report(at));
    review(at).code(0);
    for data in ["out/study.json", "out/review.json"] {
        railtrue(at).args(["recheck", data, "plan.toml"]).assert().code(0).stdout(contains("NOTHING DIFFERS"));
    }
    std::fs::write(at.join("plan.toml"), plan(0.11)).unwrap();
    for data in ["out/study.json", "out/review.json"] {
        let differs = contains("plan: CHANGED").and(contains("DIFFER by more")).and(contains("was")).and(contains("NOTHING").not());
        railtrue(at).args(["recheck", data, "plan.toml"]).assert().code(1).stdout(differs);
    }
    // Another version alone is told as well, although all numbers are the same.
    std::fs::write(at.join("plan.toml"), plan(0.1)).unwrap();
    let version = format!("\"version\": \"{}\"", env!("CARGO_PKG_VERSION"));
    let other = std::fs::read_to_string(at.join("out/study.json")).unwrap().replace(&version, "\"version\": \"0.0.9\"");
    std::fs::write(at.join("other.json"), other).unwrap();
    let told = contains("version: CHANGED, was 0.0.9").and(contains("numbers: the same"));
    railtrue(at).args(["recheck", "other.json", "plan.toml"]).assert().code(1).stdout(told);
    std::fs::write(at.join("no.json"), "{\n  \"kind\": }").unwrap();
    railtrue(at).args(["recheck", "no.json", "plan.toml"]).assert().code(2).stderr(contains("no.json:2:"));
    std::fs::write(at.join("no.json"), "{\"kind\": \"study\",\n \"kind\": \"study\"}").unwrap();
    railtrue(at).args(["recheck", "no.json", "plan.toml"]).assert().code(2).stderr(contains("the key \"kind\" is given twice"));
    std::fs::write(at.join("no.json"), "{\"kind\": \"study\"}").unwrap();
    railtrue(at).args(["recheck", "no.json", "plan.toml"]).assert().code(2).stderr(contains("kind is missing"));
}

/// Alters a file of a folder, looks, and puts it back.
fn altered(file: &Path, old: &str, new: &str, look: impl FnOnce()) {
    let text = std::fs::read_to_string(file).unwrap();
    assert!(text.contains(old), "{old} is not in {}", file.display());
    std::fs::write(file, text.replacen(old, new, 1)).unwrap();
    look();
    std::fs::write(file, text).unwrap();
}

#[test]
fn a_folder_is_rechecked_by_itself_and_every_part_of_it_is_held_against_the_others() {
    let folder = folder(GOOD);
    let at = folder.path();
    review(at).code(0);
    let recheck = |arguments: &[&str]| railtrue(at).arg("recheck").args(arguments).assert();
    let whole = contains("NOTHING DIFFERS").and(contains("word for word")).and(contains("not compared: plan.file"));
    recheck(&["out"]).code(0).stdout(whole);
    let table =
        contains("NOTHING DIFFERS").and(contains("not compared: plan.file").not()).and(contains("not compared: callouts.file").not());
    recheck(&["out", "plan.toml", "callouts.csv"]).code(0).stdout(table);
    // What was once left out of the comparison.
    let data = at.join("out/review.json");
    let hash = |file: &str| {
        let text = std::fs::read_to_string(&data).unwrap();
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        value[file]["sha256"].as_str().unwrap().to_string()
    };
    for (old, new, told) in [
        ("\"title\": \"simple", "\"title\": \"sample", "plan.title"),
        ("\"file\": \"plan.toml\"", "\"file\": \"plan2.toml\"", "plan.file"),
        ("\"file\": \"callouts.csv\"", "\"file\": \"callouts2.csv\"", "callouts.file"),
        ("\"equilibria_solved_again\": ", "\"equilibria_solved_again\": 1", "balance[1].equilibria_solved_again"),
        (&hash("callouts"), "00", "callouts.sha256"),
    ] {
        altered(&data, old, new, || {
            let noticed = contains("IT DIFFERS").and(contains(format!("- {told}: was")));
            recheck(&["out/review.json", "plan.toml", "callouts.csv"]).code(1).stdout(noticed);
            recheck(&["out"]).code(1).stdout(contains("is NOT the page of this data"));
        });
    }
    altered(&data, &hash("callouts"), "00", || {
        recheck(&["out/review.json", "plan.toml"]).code(1).stdout(contains("- callouts.sha256: was"));
    });
    altered(&data, "\"text\": \"", "\"text\": \"# a remark\\n", || {
        recheck(&["out/review.json"]).code(1).stdout(contains("IT DIFFERS"));
    });
    altered(&at.join("callouts.csv"), "0.2", "0.3", || {
        recheck(&["out/review.json", "plan.toml", "callouts.csv"]).code(1).stdout(contains("- callouts.text: was"));
    });
    // The page and the figures.
    altered(&at.join("out/report.html"), "<h2>Verdict</h2>", "<h2>Verdict of all</h2>", || {
        recheck(&["out"]).code(1).stdout(contains("report.html DIFFERS from what this data makes").and(contains("Verdict of all")));
    });
    altered(&at.join("out/life-and-extra-load.svg"), "</svg>", "<path d=\"M0 0\"/></svg>", || {
        recheck(&["out"]).code(1).stdout(contains("figure life-and-extra-load.svg: CHANGED"));
    });
    let png = std::fs::read(at.join("out/load-along-stroke.png")).unwrap();
    std::fs::remove_file(at.join("out/load-along-stroke.png")).unwrap();
    recheck(&["out"]).code(1).stdout(contains("figure load-along-stroke.png: MISSING"));
    std::fs::write(at.join("out/load-along-stroke.png"), png).unwrap();
    std::fs::write(at.join("out/notes.txt"), "mine").unwrap();
    recheck(&["out"]).code(0).stdout(contains("not compared: other files of the folder: notes.txt"));
    recheck(&["."]).code(2).stderr(contains("there is no study.json"));
}

#[test]
fn every_problem_of_the_callouts_is_reported_at_once() {
    let rows = "1,spam,0.2,,,,,,\n1,span,0.x,,,,,,\n3,pad flatness,-0.1,,,,,,\n4,span,0.1,inch,,,cast,maybe,\n5,general,ISO 13920-Q,,,,,,\n6,height between rows,0.1,,,,,,hight\n7,general,0.5,,,,,,\n";
    let folder = folder(rows);
    let told = contains("callouts.csv:2:3: controls = spam")
        .and(contains("callouts.csv:3:8: value = 0.x"))
        .and(contains("callouts.csv:4:16: value = -0.1: a tolerance must lie between"))
        .and(contains("unit = inch"))
        .and(contains("made = cast"))
        .and(contains("shimmed_after = maybe"))
        .and(contains("callouts.csv:6:"))
        .and(contains("Did you mean height?"))
        .and(contains("a general tolerance is a class"));
    review(folder.path()).code(2).stderr(told);
    std::fs::write(folder.path().join("callouts.csv"), "item,control,value\n1,span,0.1\n").unwrap();
    // One mistake, one message: the misspelt column is not missing besides.
    review(folder.path()).code(2).stderr(contains("Did you mean controls?").and(contains("1 problem in callouts.csv")));
    std::fs::write(folder.path().join("callouts.csv"), "").unwrap();
    review(folder.path()).code(2).stderr(contains("there is no callout in this file"));
}

/// A browser of this machine, if there is one.
fn browser() -> Option<&'static str> {
    ["chromium", "chromium-browser", "google-chrome"]
        .into_iter()
        .find(|b| std::process::Command::new(b).arg("--version").output().is_ok_and(|o| o.status.success()))
}

#[test]
fn the_page_fits_a_laptop_and_a_phone() {
    let Some(browser) = browser() else {
        eprintln!("SKIPPED: there is no Chromium on this machine; the page was not rendered");
        return;
    };
    let folder = folder(GOOD);
    review(folder.path()).code(0);
    // The copy measures itself in a frame of a given width; the report itself holds no script.
    let measure = |width: u32| {
        let inner = report(folder.path());
        let outer = format!(
            "<!doctype html><body><iframe id=f style=\"width:{width}px;height:900px;border:0\"></iframe><template id=t>{}</template><script>\
             const f=document.getElementById('f');f.onload=()=>{{const d=f.contentDocument.documentElement;\
             document.title='over '+(d.scrollWidth-d.clientWidth)+' figures '+d.querySelectorAll('figure svg').length}};\
             f.srcdoc=document.getElementById('t').content.textContent</script></body>",
            inner.replace('&', "&amp;").replace('<', "&lt;")
        );
        let file = folder.path().join(format!("at-{width}.html"));
        std::fs::write(&file, outer).unwrap();
        let arguments = ["--headless", "--no-sandbox", "--disable-gpu", "--virtual-time-budget=4000", "--dump-dom"];
        let run = std::process::Command::new(browser).args(arguments).arg(format!("file://{}", file.display())).output().unwrap();
        let dom = String::from_utf8_lossy(&run.stdout).into_owned();
        let title = dom.split("<title>").nth(1).and_then(|t| t.split("</title>").next()).unwrap_or_default().to_string();
        assert!(title.starts_with("over "), "nothing was measured: {title} {}", String::from_utf8_lossy(&run.stderr));
        title
    };
    for width in [1280, 390] {
        let title = measure(width);
        let over: i64 = title.split(' ').nth(1).unwrap().parse().unwrap();
        assert!(over <= 0, "{width} px: {over} px too wide");
        assert!(!title.ends_with(" 0"), "no figure is shown: {title}");
    }
}
