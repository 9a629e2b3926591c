//! `recheck`: runs a study or a review again from its data file and says what differs.

use serde_json::Value;

use super::args::RecheckArgs;
use super::machines::{Loaded, load};
use super::{Done, Failure, output, review};
use crate::input::callouts::read_callouts;
use crate::present::{differences, json};
use crate::study::{Length, monte_carlo};

/// Relative difference from which numbers are not the same.
const RELATIVE: f64 = 1e-6;

/// Differences that are listed.
const LISTED: usize = 20;

pub(super) fn run(args: &RecheckArgs) -> Result<Done, Failure> {
    let file = output::shown(&args.data);
    let old: Value = serde_json::from_str(&output::read(&args.data)?).map_err(|e| {
        Failure(format!(
            "{file}:{}:{}: this is no JSON: {e}\n    help: Give the study.json or review.json of a report.",
            e.line(),
            e.column()
        ))
    })?;
    let missing = |key: &str| {
        Failure(format!(
            "{file}: {key} is missing or of the wrong kind\n    help: Give the study.json or review.json of a report as it was written."
        ))
    };
    let kind = old["kind"].as_str().filter(|_| old["program"] == "railtrue").ok_or_else(|| missing("kind"))?;
    let layout = old["layout"].as_u64().ok_or_else(|| missing("layout"))?;
    if layout != u64::from(json::LAYOUT) {
        return Err(Failure(format!(
            "{file}: layout {layout} is not known here, only {}\n    help: Use the version of railtrue that wrote it.",
            json::LAYOUT
        )));
    }
    let seed = old["seed"].as_u64().ok_or_else(|| missing("seed"))?;
    let draws = old["draws"].as_u64().filter(|n| *n > 0 && *n <= 100_000_000).ok_or_else(|| missing("draws"))?;
    let mut loaded = load(&args.plan)?;
    loaded.plan.study.seed = seed;
    let new = match kind {
        "study" => study(&loaded, seed, draws)?,
        "review" => {
            let part = |key: &str| old["callouts"][key].as_str().ok_or_else(|| missing(&format!("callouts.{key}")));
            let (text, name, hash) = (part("text")?, part("file")?, part("sha256")?);
            let callouts = read_callouts(text.as_bytes(), name, &loaded.plan.frame).map_err(|p| Failure(p.to_string()))?;
            let result = review::reviewed(&loaded, &callouts, seed, draws)?;
            review::as_json(&loaded, &callouts, &result, &loaded.origin(), name, hash)
        }
        other => {
            return Err(Failure(format!(
                "{file}: a result of the kind \"{other}\" cannot be run again\n    help: Give a study.json or a review.json."
            )));
        }
    };
    Ok(told(&old, &new, &file, kind, seed, draws))
}

fn study(loaded: &Loaded, seed: u64, draws: u64) -> Result<Value, Failure> {
    let result = monte_carlo(&loaded.evaluators()?, Length::Fixed(draws), seed, &|_| ());
    let result = result.map_err(|(i, e)| Failure(format!("{}: installation {i} of seed {seed}: {e}", loaded.file)))?;
    Ok(json::study(&loaded.plan, &result, &loaded.origin()))
}

fn told(old: &Value, new: &Value, file: &str, kind: &str, seed: u64, draws: u64) -> Done {
    let mut text = format!("RECHECK of {file}: {kind}, {draws} installations, seed {seed}\n");
    let word = |v: &Value| v.as_str().unwrap_or("not said").to_string();
    let mut same = true;
    for (what, a, b) in [("plan", &old["plan"]["sha256"], &new["plan"]["sha256"]), ("version", &old["version"], &new["version"])] {
        if a == b {
            text += &format!("{what}: the same, {}\n", word(b));
        } else {
            same = false;
            text += &format!("{what}: CHANGED, was {}, is {}\n", word(a), word(b));
        }
    }
    // What is named above, the file's name, how the number of draws was found and how well the equilibrium is met are no results.
    let results = |v: &Value| {
        let mut v = v.clone();
        for key in ["version", "plan", "balance", "digits_settled"] {
            v.as_object_mut().map(|o| o.remove(key));
        }
        v
    };
    let list = differences(&results(old), &results(new), RELATIVE);
    if list.is_empty() {
        text += "numbers: the same to 1e-6 of each\n";
    } else {
        same = false;
        text += &format!("numbers: {} DIFFER by more than 1e-6 of each\n", list.len());
        for d in list.iter().take(LISTED) {
            text += &format!("- {}: was {}, is {}\n", d.place, d.old, d.new);
        }
        if list.len() > LISTED {
            text += &format!("- and {} more\n", list.len() - LISTED);
        }
    }
    text += if same { "NOTHING DIFFERS\n" } else { "IT DIFFERS: the report does not hold for this plan and program as they are\n" };
    Done { text, within: same }
}
