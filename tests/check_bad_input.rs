//! Bad plans, surveys, callouts and installations: each is a result or an error with a place; no panic, no hang, no unbounded memory.
//! The messages stand in `corpus/messages.txt`, for a person to read; `RAILTRUE_REGENERATE=1` writes them anew.

use crate::common;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use common::verdicts::{callouts, installation, plan, survey};

/// No file of a machine takes longer to refuse.
const LONGEST: Duration = Duration::from_secs(30);

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus")
}

fn text(name: &str) -> String {
    std::fs::read_to_string(corpus().join(name)).unwrap()
}

fn unescaped(text: &str) -> String {
    let mut out = String::new();
    let mut chars = text.chars();
    while let Some(c) = chars.next() {
        match c {
            '\\' => out.push(match chars.next().unwrap() {
                'n' => '\n',
                't' => '\t',
                's' => ' ',
                '0' => '\0',
                'u' => '\u{1b}',
                'b' => '\u{feff}',
                other => other,
            }),
            c => out.push(c),
        }
    }
    out
}

/// Name and text of every case of a file.
fn cases(file: &str, base: &str) -> Vec<(String, Vec<u8>)> {
    let all = text(file);
    let mut list = Vec::new();
    for case in all.split("\n## ").skip(1) {
        let (name, edits) = case.split_once('\n').unwrap();
        let mut changed = base.to_string();
        for edit in edits.lines().filter(|l| !l.is_empty()) {
            let (old, new) = edit.split_once(" ==>").unwrap();
            let (old, new) = (unescaped(old), unescaped(new.strip_prefix(' ').unwrap_or(new)));
            match old.as_str() {
                "whole" => changed = new,
                "end" => changed += &new,
                _ => {
                    assert!(changed.contains(&old), "{file}: {name}: {old:?} does not stand in the base");
                    changed = changed.replacen(&old, &new, 1);
                }
            }
        }
        list.push((name.to_string(), changed.into_bytes()));
    }
    list
}

/// Plans too large or too odd to be written down.
fn made(base: &str) -> Vec<(String, Vec<u8>)> {
    let numbers = |n: usize| (0..n).map(|i| i.to_string()).collect::<Vec<_>>().join(", ");
    let anchors = |list: &str| {
        base.replacen("first_anchor_mm = 0\nlast_anchor_mm = 6500\nanchor_pitch_mm = 500", &format!("anchors_mm = [{list}]"), 1)
    };
    let utf16: Vec<u8> = [0xff, 0xfe].into_iter().chain(base.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let block = "  { x_mm = 150, lateral_mm = 45 },\n";
    let keys: String = (0..100_000).map(|i| format!("key_{i} = {i}\n")).collect();
    let many = |head: &str, count: usize| (0..count).map(|i| head.replace('#', &i.to_string())).collect::<String>();
    let all = |text: String| text.into_bytes();
    vec![
        ("a million anchors".into(), all(anchors(&numbers(1_000_000)))),
        ("a million anchors that are no numbers".into(), all(anchors(&vec!["\"a\""; 1_000_000].join(",")))),
        ("UTF-16".into(), utf16),
        ("bytes that are no text".into(), (0..=255).collect()),
        ("lists in lists, 100,000 deep".into(), all(format!("a = {}", "[".repeat(100_000)))),
        ("tables in tables, 100,000 deep".into(), all(format!("a = {}", "{a=".repeat(100_000)))),
        ("a dotted key of 50,000 parts".into(), all(format!("{}a = 1", "a.".repeat(50_000)))),
        ("100,000 unknown keys".into(), all(base.replacen("[slide]", &format!("[slide]\n{keys}"), 1))),
        ("100,000 blocks".into(), all(base.replacen(block, &block.repeat(100_000), 1))),
        (
            "2,000 load cases".into(),
            all(base.to_string() + &many("[[duty]]\nname = \"case #\"\nshare = 0\npayload_kg = 1\npayload_y_mm = 1\n", 2_000)),
        ),
        ("20,000 arrangements without ends".into(), all(base.to_string() + &many("[arrangement.a#]\n", 20_000))),
        ("a title of a million letters".into(), all(base.replacen("title = \"", &format!("title = \"{}", "x".repeat(1_000_000)), 1))),
        ("a key of a million letters".into(), all(base.replacen("[slide]", &format!("[slide]\n{} = 1", "x".repeat(1_000_000)), 1))),
        ("a line of a million spaces".into(), all(base.replacen("[slide]", &format!("{}[slid", " ".repeat(1_000_000)), 1))),
        ("a number of a million digits".into(), all(base.replacen("span_mm = 2600", &format!("span_mm = {}", "9".repeat(1_000_000)), 1))),
    ]
}

fn made_surveys(base: &str) -> Vec<(String, Vec<u8>)> {
    let utf16: Vec<u8> = [0xff, 0xfe].into_iter().chain(base.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let line = "A,3,2452.122,-515.029,412.007,0.307\n";
    vec![
        ("UTF-16 with its mark".into(), utf16.clone()),
        ("UTF-16 without its mark".into(), utf16[2..].to_vec()),
        ("all bytes".into(), (0..=255).collect()),
        ("a line of a million commas".into(), base.replacen(line, &",".repeat(1_000_000), 1).into_bytes()),
        ("100,000 lines of a word".into(), base.replacen(line, &"A,3,x,x,x,x\n".repeat(100_000), 1).into_bytes()),
        ("a cell of a million letters".into(), base.replacen("2452.122", &"x".repeat(1_000_000), 1).into_bytes()),
    ]
}

fn made_callouts(base: &str) -> Vec<(String, Vec<u8>)> {
    let utf16: Vec<u8> = [0xff, 0xfe].into_iter().chain(base.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let line = "1,span,1.0,mm,plus_minus,all,machined,yes,\n";
    let many: String = (0..100_000).map(|i| format!("n{i},span,1.0,mm,plus_minus,all,machined,yes,\n")).collect();
    vec![
        ("UTF-16 with its mark".into(), utf16.clone()),
        ("UTF-16 without its mark".into(), utf16[2..].to_vec()),
        ("all bytes".into(), (0..=255).collect()),
        ("100,000 callouts".into(), base.replacen(line, &many, 1).into_bytes()),
        ("100,000 callouts of the same item".into(), base.replacen(line, &line.repeat(100_000), 1).into_bytes()),
        ("500 callouts of a word".into(), base.replacen(line, &"1,x,x,x,x,x,x,x,x\n".repeat(500), 1).into_bytes()),
        ("a line of a million commas".into(), base.replacen(line, &",".repeat(1_000_000), 1).into_bytes()),
        ("an item of a million letters".into(), base.replacen("1,span", &format!("{},span", "x".repeat(1_000_000)), 1).into_bytes()),
        ("a control of a million letters".into(), base.replacen("1,span", &format!("1,{}", "x".repeat(1_000_000)), 1).into_bytes()),
        ("feeds 100,000 errors".into(), base.replacen(line, &format!("1,x,1.0,mm,,,,,{}\n", "span ".repeat(100_000)), 1).into_bytes()),
    ]
}

fn made_installations() -> Vec<(String, Vec<u8>)> {
    let all = |text: String| text.into_bytes();
    let numbers = vec!["0.1"; 1_000_000].join(", ");
    let utf16: Vec<u8> = [0xff, 0xfe].into_iter().chain("span_mm = 1\n".encode_utf16().flat_map(u16::to_le_bytes)).collect();
    vec![
        ("UTF-16".into(), utf16),
        ("bytes that are no text".into(), (0..=255).collect()),
        ("a profile of a million numbers".into(), all(format!("lateral_a_mm = [{numbers}]"))),
        ("a million words in a profile".into(), all(format!("lateral_a_mm = [{}]", vec!["\"a\""; 1_000_000].join(",")))),
        ("lists in lists, 100,000 deep".into(), all(format!("span_mm = {}", "[".repeat(100_000)))),
        ("100,000 unknown keys".into(), all((0..100_000).map(|i| format!("key_{i} = {i}\n")).collect())),
        ("100,000 seats".into(), all("[[seat]]\nend = \"a\"\nnumber = 1\n".repeat(100_000))),
    ]
}

/// Runs a case in a thread of its own; what it says, within the time.
fn said(kind: &str, name: &str, run: impl FnOnce() -> String + Send + 'static) -> String {
    let start = Instant::now();
    let (send, receive) = std::sync::mpsc::channel();
    let thread = std::thread::spawn(move || drop(send.send(run())));
    let answer = receive.recv_timeout(LONGEST);
    match answer {
        Ok(text) => text,
        Err(std::sync::mpsc::RecvTimeoutError::Timeout) => panic!("{kind}: {name}: still running after {:?}", start.elapsed()),
        Err(_) => panic!("{kind}: {name}: panicked: {:?}", thread.join().unwrap_err().downcast_ref::<String>()),
    }
}

#[test]
fn every_bad_file_is_refused_with_a_message_that_was_read() {
    let (base_plan, base_survey) = (text("base.toml"), text("base.csv"));
    let mut golden = String::from(
        "What the program says to each case of the corpus; written by RAILTRUE_REGENERATE=1 cargo test --test command_line check_bad_input.\n",
    );
    let mut count = 0;
    let mut plans = cases("plans.txt", &base_plan);
    plans.extend(made(&base_plan));
    let mut surveys = cases("surveys.txt", &base_survey);
    surveys.extend(made_surveys(&base_survey));
    let mut installations = cases("installations.txt", "");
    installations.extend(made_installations());
    let base_callouts = text("base-callouts.csv");
    let mut drawings = cases("callouts.txt", &base_callouts);
    drawings.extend(made_callouts(&base_callouts));
    let mut add = |kind: &str, name: &str, text: String| {
        assert!(text.len() < 20_000, "{kind}: {name}: a message of {} bytes", text.len());
        assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "{kind}: {name}: control characters reach the terminal");
        let _ = write!(golden, "\n## {kind}: {name}\n{}\n", text.trim_end());
        count += 1;
    };
    for (name, bytes) in plans {
        add("plan", &name, said("plan", &name, move || plan(&bytes)));
    }
    for (name, bytes) in surveys {
        let base = base_plan.clone();
        add("survey", &name, said("survey", &name, move || survey(&base, &bytes)));
    }
    for (name, bytes) in installations {
        let base = base_plan.clone();
        add("installation", &name, said("installation", &name, move || installation(&base, &bytes)));
    }
    for (name, bytes) in drawings {
        let base = base_plan.clone();
        add("callouts", &name, said("callouts", &name, move || callouts(&base, &bytes)));
    }
    assert!(count >= 250, "{count} cases");
    let file = corpus().join("messages.txt");
    if std::env::var_os("RAILTRUE_REGENERATE").is_some() {
        std::fs::write(file, golden).unwrap();
        return;
    }
    let kept = std::fs::read_to_string(file).unwrap();
    for (ours, theirs) in golden.split("\n## ").zip(kept.split("\n## ")) {
        assert_eq!(
            ours, theirs,
            "a message has changed: read it, then RAILTRUE_REGENERATE=1 cargo test --test command_line check_bad_input"
        );
    }
    assert_eq!(golden.len(), kept.len());
}
