//! What the program does to files: whole or not at all, nothing of the user's overwritten, nothing written elsewhere.

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

/// Names in a folder, in order.
fn names(folder: &Path) -> Vec<String> {
    let mut list: Vec<String> = folder.read_dir().unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    list.sort();
    list
}

const TRACE: [&str; 5] = ["trace", "plan.toml", "--draw", "3", "--out"];

#[test]
fn a_result_is_replaced_by_the_next_run_but_not_what_a_person_wrote_or_changed() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    let run = |more: &[&str]| railtrue(at).args(TRACE).arg("t").args(more).assert();
    run(&[]).success();
    assert_eq!(names(&at.join("t")), [".railtrue-files", "installation.toml", "rails.png", "rails.svg", "trace.json"]);
    // Again, and with another installation: its own files are replaced.
    let before = std::fs::read(at.join("t/installation.toml")).unwrap();
    run(&["--seed", "5"]).success();
    assert_ne!(before, std::fs::read(at.join("t/installation.toml")).unwrap());
    // Notes of the user beside them stay, whatever is done.
    std::fs::write(at.join("t/notes.txt"), "mine").unwrap();
    run(&[]).success();
    // A file that was changed is not ours any more.
    std::fs::write(at.join("t/installation.toml"), "span_mm = 1\n").unwrap();
    run(&[]).code(2).stdout("").stderr(contains("installation.toml would be overwritten").and(contains("--overwrite")));
    assert_eq!(std::fs::read_to_string(at.join("t/installation.toml")).unwrap(), "span_mm = 1\n");
    run(&["--overwrite"]).success();
    assert_eq!(std::fs::read(at.join("t/installation.toml")).unwrap(), before);
    assert_eq!(std::fs::read_to_string(at.join("t/notes.txt")).unwrap(), "mine");
    // Two commands may share a folder.
    railtrue(at).args(["map", "plan.toml", "--out", "t"]).assert().success();
    run(&[]).success();
}

#[test]
fn a_folder_of_somebody_else_is_refused_before_anything_is_computed() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    for command in ["study", "limits", "worst", "shares", "map", "trace"] {
        let run = railtrue(at).args([command, "plan.toml", "--out", "."]).timeout(std::time::Duration::from_secs(20)).assert();
        run.code(2).stdout("").stderr(contains("this folder holds files, and no result of railtrue").and(contains("--overwrite")));
    }
    assert_eq!(names(at), ["plan.toml"]);
    railtrue(at).args(TRACE).args([".", "--overwrite"]).assert().success();
    assert_eq!(std::fs::read_to_string(at.join("plan.toml")).unwrap(), PLAN);
    // An empty folder is as good as a new one.
    std::fs::create_dir(at.join("empty")).unwrap();
    railtrue(at).args(TRACE).arg("empty").assert().success();
}

#[test]
fn things_in_the_way_are_named_and_nothing_is_left() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    std::fs::write(at.join("out"), "a file").unwrap();
    railtrue(at).args(TRACE).arg("out").assert().code(2).stderr(contains("out: a file is in the way of this folder"));
    railtrue(at).args(TRACE).arg("out/below").assert().code(2).stderr(contains("out/below: this folder cannot be made"));
    railtrue(at).args(TRACE).arg("t").assert().success();
    std::fs::remove_file(at.join("t/rails.png")).unwrap();
    std::fs::create_dir(at.join("t/rails.png")).unwrap();
    let before = std::fs::read(at.join("t/trace.json")).unwrap();
    let run = railtrue(at).args(TRACE).args(["t", "--seed", "9"]).assert();
    run.code(2).stdout("").stderr(contains("rails.png: a folder is in the way of this file"));
    assert_eq!(std::fs::read(at.join("t/trace.json")).unwrap(), before);
    assert!(names(&at.join("t")).iter().all(|n| !n.ends_with(".part")), "{:?}", names(&at.join("t")));
    // A run that fails leaves no folder of its own.
    let slack = PLAN.replace("kind = \"two\"", "kind = \"three\"");
    std::fs::write(at.join("bad.toml"), slack).unwrap();
    railtrue(at).args(["study", "bad.toml", "--out", "never"]).assert().code(2);
    assert!(!at.join("never").exists());
    railtrue(at).args(["study", "."]).assert().code(2).stderr(contains(".: cannot be read"));
}

#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_to_is_said() {
    use std::os::unix::fs::PermissionsExt;
    let folder = with_plan(PLAN);
    let closed = folder.path().join("closed");
    std::fs::create_dir(&closed).unwrap();
    std::fs::set_permissions(&closed, std::fs::Permissions::from_mode(0o555)).unwrap();
    // Rights do not bind the superuser; for him the kernel's own folder does the same.
    let place = if std::fs::write(closed.join("probe"), "").is_ok() { Path::new("/proc/self").to_path_buf() } else { closed.clone() };
    let run = railtrue(folder.path()).args(TRACE).arg(&place).assert();
    run.code(2).stdout("").stderr(contains("this folder cannot be written to"));
    std::fs::set_permissions(&closed, std::fs::Permissions::from_mode(0o755)).unwrap();
}

/// A limit on the size of files makes a write fail in its middle, as a full disk does.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_the_last_result_whole() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    railtrue(at).args(TRACE).arg("t").assert().success();
    let content = |at: &Path| names(at).iter().map(|n| std::fs::read(at.join(n)).unwrap()).collect::<Vec<_>>();
    let before = content(&at.join("t"));
    let binary = assert_cmd::cargo::cargo_bin("railtrue");
    let limited = |out: &str| {
        let line = format!("trap '' XFSZ; ulimit -f 8; exec '{}' trace plan.toml --draw 3 --seed 5 --out {out}", binary.display());
        Command::new("sh").args(["-c", &line]).current_dir(at).assert()
    };
    limited("t").code(2).stdout("").stderr(contains("cannot be written: ").and(contains("Nothing was changed")));
    assert!(before == content(&at.join("t")), "the last result was touched");
    limited("new").code(2);
    assert!(!at.join("new").exists(), "something was left");
}

/// What is printed into a full disk is lost; that is said, and is no success.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_behind_a_redirection_is_said() {
    let folder = with_plan(PLAN);
    let binary = assert_cmd::cargo::cargo_bin("railtrue");
    for command in ["sheet plan.toml", "schema", "trace plan.toml --draw 1 --json", "explain block"] {
        let line = format!("exec '{}' {command} > /dev/full", binary.display());
        let run = Command::new("sh").args(["-c", &line]).current_dir(folder.path()).assert();
        run.code(2).stderr(contains("could not be written"));
    }
    // A reader that has seen enough is none.
    let line = format!("'{}' schema | head -c 10 > part; exit ${{PIPESTATUS[0]}}", binary.display());
    Command::new("bash").args(["-c", &line]).current_dir(folder.path()).assert().code(0).stderr("");
}

#[cfg(unix)]
#[test]
fn an_interrupt_leaves_nothing_and_says_so() {
    // So many installations that every command is caught in its middle.
    let many = PLAN.replace("draws = 10000", "draws = 100000000");
    assert_ne!(many, PLAN);
    let (survey, callouts) = (include_str!("../examples/panel-bridge-survey.csv"), include_str!("../examples/panel-bridge-callouts.csv"));
    let commands: [(&str, &[&str]); 5] = [
        ("INT", &["study", "plan.toml"]),
        ("TERM", &["study", "plan.toml"]),
        ("INT", &["limits", "plan.toml"]),
        ("INT", &["survey", "plan.toml", "survey.csv"]),
        ("INT", &["review", "plan.toml", "callouts.csv"]),
    ];
    for (signal, command) in commands {
        let folder = with_plan(&many);
        std::fs::write(folder.path().join("survey.csv"), survey).unwrap();
        std::fs::write(folder.path().join("callouts.csv"), callouts).unwrap();
        interrupted(folder.path(), signal, command);
    }
}

#[cfg(unix)]
fn interrupted(at: &Path, signal: &str, command: &[&str]) {
    let before = names(at);
    let mut run = std::process::Command::new(assert_cmd::cargo::cargo_bin("railtrue"))
        .args(command)
        .args(["--out", "long"])
        .current_dir(at)
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    // The folder is made when the computation begins.
    for _ in 0..1200 {
        if at.join("long").exists() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(25));
    }
    assert!(at.join("long").exists(), "it has not begun");
    std::thread::sleep(std::time::Duration::from_millis(300));
    Command::new("sh").args(["-c", &format!("kill -{signal} {}", run.id())]).assert().success();
    let status = run.wait().unwrap();
    let mut said = String::new();
    std::io::Read::read_to_string(&mut run.stderr.take().unwrap(), &mut said).unwrap();
    assert_eq!(status.code(), Some(2), "{command:?}: {said}");
    assert!(said.contains("interrupted: "), "{command:?}: {said}");
    assert_eq!(names(at), before, "{command:?}");
}

#[test]
fn names_that_would_leave_the_folder_are_refused() {
    for name in ["../../away", "/away", "a/b", "c:x", ".hidden", "", "line\\nbreak", "<b>"] {
        let text = PLAN.replace("chosen = \"floating\"", &format!("chosen = \"{name}\""));
        let folder = with_plan(&text.replace("[arrangement.floating]", &format!("[arrangement.\"{name}\"]")));
        let run = railtrue(folder.path()).args(["check", "plan.toml"]).assert();
        run.code(2).stderr(contains(if name.is_empty() { "a name is empty" } else { "this name cannot be used" }));
    }
}

const HOSTILE: &str = r#"</title><script>alert(1)</script><img src=x onerror=alert(2)> & 'q' ",=cmd|' /C calc'!A0, +1, @x;=2+5"#;

fn hostile_plan() -> String {
    let start = PLAN.find("title = ").unwrap();
    let end = start + PLAN[start..].find('\n').unwrap();
    format!("{}title = '''{HOSTILE}'''{}", &PLAN[..start], &PLAN[end..])
}

#[test]
fn a_title_with_tags_stays_text_in_figures() {
    let folder = with_plan(&hostile_plan());
    let at = folder.path();
    railtrue(at).args(["study", "plan.toml", "--draws", "300", "--out", "o"]).assert().code(predicate::in_iter([0, 1]));
    railtrue(at).args(["map", "plan.toml", "--out", "m"]).assert().success();
    let mut seen = 0;
    for folder in ["o", "m"] {
        for name in names(&at.join(folder)).iter().filter(|n| n.ends_with(".svg")) {
            let text = std::fs::read_to_string(at.join(folder).join(name)).unwrap();
            assert!(!text.contains("<script") && !text.contains("<img") && !text.contains("</title>"), "{name}");
            seen += usize::from(text.contains("&lt;script"));
        }
    }
    assert!(seen > 3, "the title stands nowhere: the test shows nothing");
}

#[test]
fn a_sheet_opened_by_a_spreadsheet_starts_no_formula() {
    let folder = with_plan(&hostile_plan());
    let out = railtrue(folder.path()).args(["sheet", "plan.toml"]).output().unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(text.contains("=cmd"), "the title stands nowhere: the test shows nothing");
    for separator in *b",;\t" {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(separator).from_reader(text.as_bytes());
        for record in reader.records() {
            for cell in &record.unwrap() {
                let number = cell.trim().parse::<f64>().is_ok();
                assert!(number || !cell.trim_start().starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
            }
        }
    }
    // Line breaks could begin a line of their own; they do not come in.
    let folder = with_plan(&PLAN.replace("title = \"", "title = \"a\\n=1+1 "));
    railtrue(folder.path()).args(["sheet", "plan.toml"]).assert().code(2).stderr(contains("holds a line break"));
}

/// Every file of a folder with its content, but for names that are left out.
fn contents(folder: &Path) -> Vec<(String, Vec<u8>)> {
    names(folder).into_iter().filter(|n| n != ".railtrue-lock").map(|n| (n.clone(), std::fs::read(folder.join(n)).unwrap())).collect()
}

/// `tests/kill_at_every_step.sh` does this a hundred times, and kills runs at every step.
#[test]
fn runs_that_meet_in_one_folder_leave_the_whole_result_of_one() {
    let folder = with_plan(&PLAN.replace("stations = 21 ", "stations = 4 "));
    let at = folder.path();
    let seeds = ["1", "2", "3"];
    for seed in seeds {
        railtrue(at).args(TRACE).args([&format!("alone-{seed}"), "--seed", seed]).assert().success();
    }
    let mut refused = 0;
    for _ in 0..8 {
        let runs = seeds.map(|seed| {
            let mut run = std::process::Command::new(assert_cmd::cargo::cargo_bin("railtrue"));
            run.args(TRACE).args(["t", "--seed", seed]).current_dir(at);
            run.stdout(std::process::Stdio::null()).stderr(std::process::Stdio::piped()).spawn().unwrap()
        });
        let ends = runs.map(|run| run.wait_with_output().unwrap());
        let mut got_through = Vec::new();
        for (seed, end) in seeds.iter().zip(&ends) {
            let said = String::from_utf8_lossy(&end.stderr);
            if end.status.code() == Some(0) {
                got_through.push(*seed);
            } else {
                assert_eq!(end.status.code(), Some(2), "{said}");
                assert!(said.contains("t: another run of railtrue") && said.contains("is writing into this folder"), "{said}");
                refused += 1;
            }
        }
        let there = contents(&at.join("t"));
        assert!(got_through.iter().any(|s| contents(&at.join(format!("alone-{s}"))) == there), "{got_through:?}");
        assert!(!at.join("t/.railtrue-lock").exists());
    }
    assert!(refused > 0, "no two runs met: the test shows nothing");
}

#[test]
fn what_a_killed_run_left_is_thrown_away_or_completed() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    let trace = |more: &[&str]| railtrue(at).args(TRACE).args(more).assert();
    trace(&["old"]).success();
    trace(&["new", "--seed", "5"]).success();
    let lists = ["old", "new"].map(|f| std::fs::read_to_string(at.join(f).join(".railtrue-files")).unwrap());
    // A folder in which a run of the new one was killed: `moved` of its files were in place; before, its list was not yet.
    let killed = |name: &str, moved: Option<usize>| {
        let (place, new) = (at.join(name), at.join(name).join("railtrue-unfinished/new"));
        std::fs::create_dir_all(&new).unwrap();
        std::fs::create_dir(place.join("railtrue-unfinished/old")).unwrap();
        std::fs::write(place.join(".railtrue-lock"), "1").unwrap();
        contents(&at.join("old")).iter().for_each(|(n, bytes)| std::fs::write(place.join(n), bytes).unwrap());
        contents(&at.join("new")).iter().for_each(|(n, bytes)| std::fs::write(new.join(n), bytes).unwrap());
        let ahead = if moved.is_some() { ".railtrue-files" } else { "railtrue-unfinished/ahead" };
        std::fs::write(place.join(ahead), lists.concat()).unwrap();
        for n in names(&at.join("new")).iter().filter(|n| *n != ".railtrue-files").take(moved.unwrap_or(0)) {
            std::fs::rename(place.join(n), place.join("railtrue-unfinished/old").join(n)).unwrap();
            std::fs::rename(new.join(n), place.join(n)).unwrap();
        }
        place
    };
    // A run that fails itself afterwards shows what was made of it.
    let spoiled = |name: &str| {
        std::fs::create_dir(at.join(name).join("map.json")).unwrap();
        let run = railtrue(at).args(["map", "plan.toml", "--out", name]).assert().code(2);
        std::fs::remove_dir(at.join(name).join("map.json")).unwrap();
        run
    };
    let (old, new) = (contents(&at.join("old")), contents(&at.join("new")));
    let place = killed("before", None);
    spoiled("before").stderr(contains("in the way"));
    assert_eq!(contents(&place), old);
    for moved in 0..=4 {
        let name = format!("after-{moved}");
        let place = killed(&name, Some(moved));
        spoiled(&name).stderr(contains("its result was completed before this run"));
        assert!(contents(&place) == new, "{moved} files were in place");
        let place = killed(&format!("again-{moved}"), Some(moved));
        trace(&[&format!("again-{moved}")]).success();
        assert!(contents(&place) == old, "{moved} files were in place");
    }
    // What a person changed meanwhile is not replaced.
    let place = killed("changed", Some(1));
    std::fs::write(place.join("trace.json"), "mine").unwrap();
    trace(&["changed"]).code(2).stderr(contains("trace.json would be overwritten"));
    assert_eq!(std::fs::read(place.join("trace.json")).unwrap(), b"mine");
    trace(&["changed", "--overwrite"]).success();
    assert!(contents(&place) == old);
}

#[cfg(unix)]
#[test]
fn pipes_and_links_in_the_place_of_a_result_are_refused() {
    let folder = with_plan(PLAN);
    let at = folder.path();
    let trace = |out: &str| railtrue(at).args(TRACE).arg(out).timeout(std::time::Duration::from_secs(60)).assert();
    let pipe = |name: &str| drop(Command::new("mkfifo").arg(at.join(name)).assert().success());
    trace("t").success();
    let before = std::fs::read(at.join("t/trace.json")).unwrap();
    for name in ["t/rails.png", "t/.railtrue-lock", "t/railtrue-unfinished"] {
        let _ = std::fs::remove_file(at.join(name));
        pipe(name);
        trace("t").code(2).stdout("").stderr(contains("in the way"));
        std::fs::remove_file(at.join(name)).unwrap();
    }
    pipe("pipe");
    trace("pipe").code(2).stderr(contains("pipe: a file is in the way of this folder"));
    let start = ["--span-mm", "1800", "--stroke-mm", "4000", "--bridge-kg", "40", "--payload-kg", "60", "--life-km", "20000"];
    railtrue(at).args(["start", "pipe"]).args(start).assert().code(2).stderr(contains("pipe: a pipe, device or socket is in the way"));
    std::os::unix::fs::symlink("nowhere", at.join("link")).unwrap();
    trace("link").code(2).stderr(contains("link: a link to nothing is in the way of this folder"));
    railtrue(at).args(["start", "link"]).args(start).assert().code(2).stderr(contains("link: this file is there already"));
    // A link is a person's: replaced only where that is wanted, and what it leads to never.
    std::os::unix::fs::symlink("../plan.toml", at.join("t/rails.png")).unwrap();
    trace("t").code(2).stderr(contains("rails.png would be overwritten"));
    assert_eq!(std::fs::read(at.join("t/trace.json")).unwrap(), before);
    railtrue(at).args(TRACE).args(["t", "--overwrite"]).assert().success();
    assert!(!at.join("t/rails.png").is_symlink());
    assert_eq!(std::fs::read_to_string(at.join("plan.toml")).unwrap(), PLAN);
}

#[test]
fn a_million_lines_are_refused_by_their_number() {
    let folder = with_plan(&format!("{PLAN}{}", "# more\n".repeat(1_000_000)));
    let at = folder.path();
    std::fs::write(at.join("many.csv"), "a\n".repeat(1_000_000)).unwrap();
    std::fs::write(at.join("good.toml"), PLAN).unwrap();
    let commands: [&[&str]; 3] = [&["check", "plan.toml"], &["survey", "good.toml", "many.csv"], &["review", "good.toml", "many.csv"]];
    for command in commands {
        let run = railtrue(at).args(command).timeout(std::time::Duration::from_secs(20)).assert();
        run.code(2).stderr(contains("lines; at most 100,000 are read").and(contains("this file has 1,000,")));
    }
}
