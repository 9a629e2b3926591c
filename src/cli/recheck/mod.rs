//! `recheck`: runs a study or a review again, from its data file or its folder, and says what differs and what was not compared.

mod again;
mod page;

use std::path::Path;

use serde_json::Value;

use super::args::RecheckArgs;
use super::{Done, Failure, output, strict_json};
use crate::present::{Difference, differences, json};
use again::{Again, Given};

/// Relative difference from which numbers are not the same.
const RELATIVE: f64 = 1e-6;

/// Differences that are listed.
const LISTED: usize = 20;

const HELP: &str = "Give the study.json or review.json of a report as it was written, or the folder that holds it.";

/// A result's data as they were kept.
struct Kept {
    /// Name for messages.
    file: String,
    /// The whole of it.
    value: Value,
    /// SHA-256 of the file.
    sha256: String,
}

impl Kept {
    fn read(path: &Path) -> Result<Self, Failure> {
        let file = output::shown(path);
        let text = output::read(path)?;
        let value = strict_json::read(&text)
            .map_err(|e| Failure(format!("{file}:{}:{}: this is no JSON of a result: {e}\n    help: {HELP}", e.line(), e.column())))?;
        Ok(Self { file, value, sha256: output::sha256(text.as_bytes()) })
    }

    fn missing(&self, key: &str) -> Failure {
        Failure(format!("{}: {key} is missing or of the wrong kind\n    help: {HELP}", self.file))
    }

    /// A text by its place, such as `plan.text`.
    fn text(&self, place: &str) -> Result<&str, Failure> {
        let found = place.split('.').fold(&self.value, |value, key| &value[key]);
        found.as_str().ok_or_else(|| self.missing(place))
    }

    fn count(&self, key: &str) -> Result<u64, Failure> {
        self.value[key].as_u64().ok_or_else(|| self.missing(key))
    }

    /// The kind of the result, where this program and this layout wrote it.
    fn kind(&self) -> Result<&str, Failure> {
        let kind = self.value["kind"].as_str().filter(|_| self.value["program"] == "railtrue").ok_or_else(|| self.missing("kind"))?;
        let layout = self.count("layout")?;
        if layout != u64::from(json::LAYOUT) {
            return Err(Failure(format!(
                "{}: layout {layout} is not known here, only {}\n    help: Use the version of railtrue that wrote it.",
                self.file,
                json::LAYOUT
            )));
        }
        Ok(kind)
    }
}

pub(super) fn run(args: &RecheckArgs) -> Result<Done, Failure> {
    let folder = args.data.is_dir().then_some(args.data.as_path());
    let path = folder.map_or_else(|| Ok(args.data.clone()), page::data_of)?;
    let kept = Kept::read(&path)?;
    kept.kind()?;
    let given = Given { plan: args.plan.as_deref(), callouts: args.callouts.as_deref() };
    let again = Again::run(&kept, &given)?;
    let mut told = Told::new(&kept);
    told.result(&kept, &again);
    let mut skipped = again.not_compared();
    match folder {
        Some(folder) => skipped.extend(page::check(folder, &kept, &again, &mut told)?),
        None => skipped.push("figures, command: recheck the folder to hold them against its files".into()),
    }
    Ok(told.done(&skipped))
}

/// What is said, and whether all is the same so far.
struct Told {
    text: String,
    same: bool,
}

impl Told {
    fn new(kept: &Kept) -> Self {
        let what = |key: &str| kept.value[key].to_string().trim_matches('"').to_string();
        let text = format!("RECHECK of {}: {}, {} installations, seed {}\n", kept.file, what("kind"), what("draws"), what("seed"));
        Self { text, same: true }
    }

    /// A line, and whether what it is about is the same.
    fn line(&mut self, same: bool, line: &str) {
        self.same &= same;
        self.text += line;
        self.text.push('\n');
    }

    fn result(&mut self, kept: &Kept, again: &Again) {
        let word = |v: &Value| v.as_str().unwrap_or("not said").to_string();
        let new = &again.value;
        for (what, a, b) in
            [("plan", &kept.value["plan"]["sha256"], &new["plan"]["sha256"]), ("version", &kept.value["version"], &new["version"])]
        {
            if a == b {
                self.line(true, &format!("{what}: the same, {}", word(b)));
            } else {
                self.line(false, &format!("{what}: CHANGED, was {}, is {}", word(a), word(b)));
            }
        }
        let mut list = differences(&kept.value, new, RELATIVE);
        // Told above.
        list.retain(|d| d.place != "version" && d.place != "plan.sha256");
        let (numbers, words): (Vec<Difference>, Vec<Difference>) = list.into_iter().partition(|d| d.numbers);
        for (what, list, how) in [("numbers", &numbers, " by more than 1e-6 of each"), ("words and hashes", &words, "")] {
            if list.is_empty() {
                let how = if how.is_empty() { "" } else { " to 1e-6 of each" };
                self.line(true, &format!("{what}: the same{how}"));
                continue;
            }
            self.line(false, &format!("{what}: {} DIFFER{how}", list.len()));
            for d in list.iter().take(LISTED) {
                self.line(false, &format!("- {}: was {}, is {}", d.place, d.old, d.new));
            }
            if list.len() > LISTED {
                self.line(false, &format!("- and {} more", list.len() - LISTED));
            }
        }
    }

    fn done(mut self, skipped: &[String]) -> Done {
        for what in skipped {
            self.text += &format!("not compared: {what}\n");
        }
        self.text +=
            if self.same { "NOTHING DIFFERS\n" } else { "IT DIFFERS: the report does not hold for this plan and program as they are\n" };
        Done { text: self.text, within: self.same }
    }
}
