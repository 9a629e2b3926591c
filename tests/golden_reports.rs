//! The committed demo report and the README's verdict are what the program makes today.
//! `RAILTRUE_REGENERATE=1 cargo test --test command_line golden_reports` writes them anew.

use std::path::{Path, PathBuf};

const FIGURES: [&str; 4] = ["life-and-extra-load", "load-along-stroke", "float-travel", "least-life-rails"];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Runs the demo in a fresh folder and returns the folder and what was printed.
fn demo() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let run = assert_cmd::Command::cargo_bin("railtrue").unwrap().current_dir(folder.path()).arg("demo").output().unwrap();
    assert!(run.status.success());
    (folder, String::from_utf8(run.stdout).unwrap())
}

/// The verdict's lines, at most 12.
fn verdict(printed: &str) -> String {
    let lines: Vec<&str> = printed.lines().skip_while(|l| !l.starts_with("VERDICT")).take_while(|l| !l.is_empty()).collect();
    assert!((6..=12).contains(&lines.len()), "{} lines", lines.len());
    lines.join("\n")
}

/// README text with the verdict between its marks.
fn with_verdict(readme: &str, verdict: &str) -> String {
    let (before, rest) = readme.split_once("<!-- verdict -->").unwrap();
    let (_, after) = rest.split_once("<!-- /verdict -->").unwrap();
    format!("{before}<!-- verdict -->\n```text\n{verdict}\n```\n<!-- /verdict -->{after}")
}

/// Compares texts by their words and numbers; numbers may differ by `absolute` plus a `relative` share.
fn same(a: &str, b: &str, absolute: f64, relative: f64) -> bool {
    let parts = |t: &str| -> Vec<String> {
        t.split(|c: char| c.is_whitespace() || ",:;\"()<>=".contains(c)).filter(|p| !p.is_empty()).map(Into::into).collect()
    };
    let (a, b) = (parts(a), parts(b));
    a.len() == b.len()
        && a.iter().zip(&b).all(|(x, y)| match (x.parse::<f64>(), y.parse::<f64>()) {
            (Ok(x), Ok(y)) => (x - y).abs() <= absolute + relative * x.abs().max(y.abs()),
            _ => x == y,
        })
}

/// A report without its drawings, which are compared by themselves.
fn page_text(folder: &Path) -> String {
    let html = std::fs::read_to_string(folder.join("report.html")).unwrap();
    let mut parts = html.split("<svg");
    let first = parts.next().unwrap().to_string();
    parts.fold(first, |text, part| text + part.split_once("</svg>").unwrap().1)
}

#[test]
fn golden_demo_report_and_readme_are_current() {
    let (folder, printed) = demo();
    let made = folder.path().join("railtrue-demo");
    let kept = root().join("reports/panel-bridge");
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    let expected = with_verdict(&readme, &verdict(&printed));
    if std::env::var_os("RAILTRUE_REGENERATE").is_some() {
        std::fs::create_dir_all(&kept).unwrap();
        std::fs::write(kept.join("printed.txt"), &printed).unwrap();
        let figures = FIGURES.iter().flat_map(|f| [format!("{f}.svg"), format!("{f}.png")]);
        for file in figures.chain(["study.json".into(), "report.html".into()]) {
            std::fs::copy(made.join(&file), kept.join(&file)).unwrap();
        }
        std::fs::write(root().join("README.md"), expected).unwrap();
        return;
    }
    let text = |folder: &Path, file: &str| std::fs::read_to_string(folder.join(file)).unwrap();
    let advice = "run RAILTRUE_REGENERATE=1 cargo test --test command_line golden_reports";
    assert!(same(&readme, &expected, 0.0, 0.0), "the README's verdict is not current: {advice}");
    assert!(same(&text(&kept, "printed.txt"), &printed, 0.0, 0.0), "printed.txt is not current: {advice}");
    // Another processor may change last bits of single precision: numbers to 1e-6, drawn places to a quarter of a pixel.
    assert!(same(&text(&kept, "study.json"), &text(&made, "study.json"), 1e-12, 1e-6), "study.json is not current: {advice}");
    assert!(same(&page_text(&kept), &page_text(&made), 1e-12, 1e-6), "report.html is not current: {advice}");
    for svg in FIGURES.map(|f| format!("{f}.svg")) {
        assert!(same(&text(&kept, &svg), &text(&made, &svg), 1.01, 0.0), "{svg} is not current: {advice}");
    }
}

#[test]
fn golden_review_of_the_example_is_current() {
    let folder = tempfile::tempdir().unwrap();
    for file in ["panel-bridge.toml", "panel-bridge-callouts.csv"] {
        std::fs::copy(root().join("examples").join(file), folder.path().join(file)).unwrap();
    }
    let arguments = ["review", "panel-bridge.toml", "panel-bridge-callouts.csv", "--draws", "1000", "--out", "out"];
    let run = assert_cmd::Command::cargo_bin("railtrue").unwrap().current_dir(folder.path()).args(arguments).output().unwrap();
    assert!(run.status.code().is_some_and(|code| code <= 1), "{}", String::from_utf8_lossy(&run.stderr));
    let (made, kept) = (folder.path().join("out"), root().join("reports/panel-bridge-review"));
    if std::env::var_os("RAILTRUE_REGENERATE").is_some() {
        std::fs::create_dir_all(&kept).unwrap();
        for file in ["review.json", "report.html"] {
            std::fs::copy(made.join(file), kept.join(file)).unwrap();
        }
        return;
    }
    let text = |folder: &Path| std::fs::read_to_string(folder.join("review.json")).unwrap();
    let advice = "run RAILTRUE_REGENERATE=1 cargo test --test command_line golden_reports";
    assert!(same(&text(&kept), &text(&made), 1e-12, 1e-6), "review.json is not current: {advice}");
    assert!(same(&page_text(&kept), &page_text(&made), 1e-12, 1e-6), "the review's report.html is not current: {advice}");
}
