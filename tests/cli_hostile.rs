//! Text from files that would do something where it is shown: tags in pages and figures, formulas in sheets, escape codes and turned
//! reading directions on the terminal. From the command line, through every command that shows text.

use std::path::Path;
use std::process::Output;

use crate::common;

use assert_cmd::Command;
use common::demo_of_few_errors;

const PLAN: &str = include_str!("../examples/panel-bridge.toml");
const SURVEY: &str = include_str!("../examples/panel-bridge-survey.csv");
const CALLOUTS: &str = include_str!("../examples/panel-bridge-callouts.csv");

/// Tags, a broken-out attribute and entities in one text.
const TAGS: &str = r#"<script>alert(1)</script>"><img src=x onerror=alert(2)>&lt;b&gt; 'q' <svg/onload=alert(3)>"#;

fn railtrue(folder: &Path, args: &[&str]) -> Output {
    Command::cargo_bin("railtrue").unwrap().current_dir(folder).args(args).output().unwrap()
}

/// Every line that begins with `key = "` gets this value.
fn with_value(text: &str, key: &str, value: &str) -> String {
    let line = |l: &str| if l.starts_with(&format!("{key} = ")) { format!("{key} = '''{value}'''") } else { l.to_string() };
    text.lines().map(line).collect::<Vec<_>>().join("\n") + "\n"
}

/// Title, load cases and seasons, joints and arrangements as hostile as they may be named.
fn hostile_plan(text: &str) -> String {
    let plan = with_value(&with_value(PLAN, "title", text), "name", text);
    plan.replace("[arrangement.floating]", "[arrangement.\"=1+1 & 'x'\"]")
        .replace("chosen = \"floating\"", "chosen = \"=1+1 & 'x'\"")
        .replace("[joint.locating]", "[joint.\"@x & +cmd\"]")
        .replace("joint = \"locating\"", "joint = \"@x & +cmd\"")
}

fn hostile_survey(text: &str) -> String {
    SURVEY.replace("# instrument = ", &format!("# by = {text}\n# note = {text}\n# instrument = {text} "))
}

fn hostile_callouts(text: &str) -> String {
    let cell = |end: &str| format!("\n\"{}{end}\",", text.replace('"', "\"\""));
    CALLOUTS.replace("\n1,", &cell("")).replace("\n5,", &cell(" x"))
}

fn folder_of(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: String| std::fs::write(folder.path().join(name), text).unwrap();
    // Few positions of the bridge: what is shown is the same, and it is computed sooner.
    put("plan.toml", hostile_plan(text).replace("stations = 21 ", "stations = 4 "));
    put("survey.csv", hostile_survey(text));
    put("callouts.csv", hostile_callouts(text));
    folder
}

fn files(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut list = Vec::new();
    for entry in folder.read_dir().unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { list.extend(files(&path)) } else { list.push(path) }
    }
    list
}

/// Runs what shows text of a file; the commands' own text.
fn run_all(folder: &Path) -> Vec<String> {
    let commands: [&[&str]; 9] = [
        &["check", "plan.toml"],
        &["study", "plan.toml", "--draws", "200", "--out", "study"],
        &["trace", "plan.toml", "--draw", "3", "--out", "trace"],
        &["trace", "plan.toml", "--draw", "3", "--json"],
        &["map", "plan.toml", "--out", "map"],
        &["shares", "plan.toml", "--rows", "100", "--out", "shares"],
        &["sheet", "plan.toml"],
        &["survey", "plan.toml", "survey.csv", "--draws", "200", "--out", "verdict"],
        &["review", "plan.toml", "callouts.csv", "--draws", "200", "--out", "review"],
    ];
    let mut said = Vec::new();
    for args in commands {
        let out = railtrue(folder, args);
        let both = String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap();
        assert!(matches!(out.status.code(), Some(0 | 1)), "{args:?}: {both}");
        said.push(both);
    }
    said
}

/// True for what a terminal would act on.
fn steers(text: &str) -> bool {
    text.chars().any(|c| (c.is_control() && !matches!(c, '\n' | '\t')) || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'))
}

#[test]
fn cli_tags_stay_text_in_every_page_and_figure() {
    let folder = folder_of(TAGS);
    let said = run_all(folder.path());
    assert!(said.iter().all(|s| !steers(s)));
    let (mut pages, mut figures) = (0, 0);
    for path in files(folder.path()) {
        let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("").to_string();
        if ending != "html" && ending != "svg" {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let name = path.display();
        for bad in ["<script", "</script", "<img", "<svg/", "onerror=alert(2)>"] {
            assert!(!text.contains(bad), "{name}: {bad}");
        }
        assert!(!text.contains("&amp;amp;lt;"), "{name}: escaped twice");
        if text.contains("&lt;script&gt;") {
            assert!(text.contains("&lt;img src=x"), "{name}");
            if ending == "html" { pages += 1 } else { figures += 1 }
        }
    }
    assert!(pages >= 3 && figures >= 3, "{pages} pages and {figures} figures show the text: the test shows nothing");
    let review = std::fs::read_to_string(folder.path().join("review/report.html")).unwrap();
    assert!(review.matches("&lt;script&gt;").count() > 3, "the callouts' names stand nowhere");
}

#[test]
fn cli_an_installation_card_escapes_what_it_shows() {
    let folder = tempfile::tempdir().unwrap();
    let plan = with_value(&demo_of_few_errors(), "title", TAGS);
    std::fs::write(folder.path().join("plan.toml"), plan).unwrap();
    let out = railtrue(folder.path(), &["limits", "plan.toml", "--out", "o"]);
    assert!(matches!(out.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&out.stderr));
    for name in ["card.html", "card.svg"] {
        let text = std::fs::read_to_string(folder.path().join("o").join(name)).unwrap();
        assert!(!text.contains("<script") && !text.contains("<img"), "{name}");
        assert!(text.contains("&lt;script&gt;"), "{name}: the title stands nowhere");
    }
}

#[test]
fn cli_formulas_do_not_start_in_a_sheet() {
    for text in ["=HYPERLINK(\"http://x\";\"y\")", "+cmd|' /C calc'!A0", "@x.y", "-1+1", ",=1+1,;=2+2;"] {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("plan.toml"), with_value(PLAN, "title", text)).unwrap();
        let out = railtrue(folder.path(), &["sheet", "plan.toml"]);
        let sheet = String::from_utf8(out.stdout).unwrap();
        assert!(sheet.contains(&text[1..4]), "the title stands nowhere: {sheet}");
        for separator in *b",;\t" {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(separator).from_reader(sheet.as_bytes());
            for record in reader.records() {
                for cell in &record.unwrap() {
                    let number = cell.trim().parse::<f64>().is_ok();
                    assert!(number || !cell.trim_start().starts_with(['=', '+', '-', '@', '\t', '\r']), "{text}: {cell}");
                }
            }
        }
    }
}

#[test]
fn cli_what_steers_a_terminal_is_refused_in_a_plan_and_written_out_in_messages() {
    for hidden in ["\\u001b[2J", "\\u202e", "\\u2066", "\\n=1+1", "\\u2028", "\\u0007", "\\u009b31m"] {
        let folder = tempfile::tempdir().unwrap();
        let plan = PLAN.replace("title = \"", &format!("title = \"a{hidden}b"));
        std::fs::write(folder.path().join("plan.toml"), plan).unwrap();
        let out = railtrue(folder.path(), &["study", "plan.toml"]);
        let said = String::from_utf8(out.stderr).unwrap();
        assert_eq!(out.status.code(), Some(2), "{hidden}");
        assert!(said.contains("character that is not seen") && !steers(&said), "{hidden}: {said:?}");
    }
    // Typed raw, which TOML itself refuses but for the direction marks.
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("plan.toml"), PLAN.replace("[slide]", "[slide]\n\"x\u{202e}y\" = 1\n\"\u{1b}[31m\" = 2")).unwrap();
    let out = railtrue(folder.path(), &["check", "plan.toml"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(!steers(&String::from_utf8(out.stderr).unwrap()));
    // In the name of a file and in an argument.
    for args in [["check", "\u{1b}[2J\u{202e}.toml"], ["explain", "\u{1b}[2J"]] {
        let out = railtrue(folder.path(), &args);
        assert_eq!(out.status.code(), Some(2));
        let said = String::from_utf8(out.stderr).unwrap();
        assert!(!steers(&said) && said.contains("\\u001b"), "{said:?}");
    }
}

#[test]
fn cli_what_steers_a_terminal_is_shown_as_unreadable_in_surveys_and_callouts() {
    let folder = folder_of("plain");
    let hidden = "\u{1b}[2J\u{202e}x\u{7}";
    std::fs::write(folder.path().join("survey.csv"), hostile_survey(hidden)).unwrap();
    std::fs::write(folder.path().join("callouts.csv"), hostile_callouts(hidden)).unwrap();
    for said in run_all(folder.path()) {
        assert!(!steers(&said), "{said:?}");
    }
    for path in files(folder.path()).iter().filter(|p| p.extension().is_some_and(|e| e == "html" || e == "json")) {
        let text = std::fs::read_to_string(path).unwrap();
        assert!(!steers(&text), "{}", path.display());
        if path.ends_with("review/report.html") {
            assert!(text.contains("\u{fffd}[2J\u{fffd}x\u{fffd}"), "the callout's name stands nowhere");
        }
    }
}
