//! A kept result made again: from the plan and the table that are given, else from their texts inside the data.

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::Kept;
use crate::cli::machines::{Loaded, load};
use crate::cli::study::study_figures;
use crate::cli::{Failure, output, review};
use crate::input::callouts::{Callouts, read_callouts};
use crate::present::{ReportInputs, json, json::Record, review_report, study_report};
use crate::study::review::{Review, with_limits};
use crate::study::{Length, StudyResult, monte_carlo};

/// Files beside the data that are held against it.
pub(super) struct Given<'g> {
    pub(super) plan: Option<&'g Path>,
    pub(super) callouts: Option<&'g Path>,
}

/// What was made again.
pub(super) struct Again {
    loaded: Loaded,
    made: Made,
    /// As the data file would hold it.
    pub(super) value: Value,
    not_compared: Vec<String>,
}

enum Made {
    Study(StudyResult),
    Review { callouts: Box<Callouts>, review: Box<Review>, file: String, sha256: String },
}

/// A result longer than this would never have been asked for.
const MOST_DRAWS: u64 = 100_000_000;

impl Again {
    pub(super) fn run(kept: &Kept, given: &Given<'_>) -> Result<Self, Failure> {
        let (seed, draws) = (kept.count("seed")?, kept.count("draws")?);
        if !(1..=MOST_DRAWS).contains(&draws) {
            return Err(kept.missing("draws"));
        }
        let mut not_compared = Vec::new();
        let mut loaded = match given.plan {
            Some(path) => load(path)?,
            None => {
                not_compared.push("plan.file: the plan's text inside was taken; give the plan to hold it against the file".into());
                let name = PathBuf::from(kept.text("plan.file")?);
                Loaded::new(name, kept.text("plan.text")?.into(), format!("{}, the plan inside", kept.file))?
            }
        };
        loaded.plan.study.seed = seed;
        let made = match kept.kind()? {
            "study" => {
                if given.callouts.is_some() {
                    return Err(Failure(format!("{}: a study has no table of callouts\n    help: Leave the table out.", kept.file)));
                }
                Made::Study(study(&loaded, seed, draws)?)
            }
            "review" => reviewed(kept, given, &loaded, seed, draws, &mut not_compared)?,
            other => {
                return Err(Failure(format!(
                    "{}: a result of the kind \"{other}\" cannot be run again\n    help: Give a study.json or a review.json.",
                    kept.file
                )));
            }
        };
        let command = kept.text("command")?;
        let figures = figures(kept)?;
        let record = Record { plan_text: &loaded.text, command, figures: &figures };
        let origin = loaded.origin();
        let value = match &made {
            Made::Study(result) => json::study(&loaded.plan, result, &origin, &record),
            Made::Review { callouts, review, file, sha256 } => {
                crate::present::review_json(&loaded.plan, callouts, review, &origin, &record, (file, sha256))
            }
        };
        Ok(Self { loaded, made, value, not_compared })
    }

    pub(super) fn not_compared(&self) -> Vec<String> {
        self.not_compared.clone()
    }

    /// The figures drawn again, by name, as SVG.
    pub(super) fn figures(&self) -> Result<Vec<(&'static str, String)>, Failure> {
        match &self.made {
            Made::Study(result) => study_figures(&self.loaded.plan, result),
            Made::Review { review, .. } => study_figures(&with_limits(&self.loaded.plan, &review.assignment.drawn), &review.drawn),
        }
    }

    /// The page made again, with these figures, for data of this hash.
    pub(super) fn page(&self, command: &str, data_sha256: &str, figures: &[(&'static str, String)]) -> String {
        let origin = self.loaded.origin();
        let inputs = ReportInputs { plan: &self.loaded.plan, origin: &origin, callouts: None, command, data_sha256, figures };
        match &self.made {
            Made::Study(result) => study_report(&inputs, result),
            Made::Review { callouts, review, file, sha256 } => {
                review_report(&ReportInputs { callouts: Some((file, sha256)), ..inputs }, callouts, review)
            }
        }
    }
}

fn study(loaded: &Loaded, seed: u64, draws: u64) -> Result<StudyResult, Failure> {
    // A study by digits ended where they settled, or at the most that it was allowed: both come again with this most.
    let length = loaded.plan.study.digits.map_or(Length::Fixed(draws), |digits| Length::Digits { digits, most: draws });
    let result = monte_carlo(&loaded.evaluators()?, length, seed, &|_| ());
    result.map_err(|(i, e)| Failure(format!("{}: installation {i} of seed {seed}: {e}", loaded.file)))
}

fn reviewed(
    kept: &Kept,
    given: &Given<'_>,
    loaded: &Loaded,
    seed: u64,
    draws: u64,
    not_compared: &mut Vec<String>,
) -> Result<Made, Failure> {
    let text = kept.text("callouts.text")?;
    let (bytes, file, shown) = match given.callouts {
        Some(path) => (output::read_bytes(path)?, file_name(path), output::shown(path)),
        None => {
            not_compared
                .push("callouts.file: the table's text inside was taken; give the plan and the table to hold it against the file".into());
            (text.as_bytes().to_vec(), kept.text("callouts.file")?.to_string(), format!("{}, the table inside", kept.file))
        }
    };
    let callouts = read_callouts(&bytes, &shown, &loaded.plan.frame).map_err(|p| Failure(p.to_string()))?;
    let hash = kept.text("callouts.sha256")?;
    let sha256 = match given.callouts {
        None if is_hash_of(hash, text) => hash.to_string(),
        _ => output::sha256(&bytes),
    };
    let review = review::reviewed(loaded, &callouts, seed, draws)?;
    Ok(Made::Review { callouts: Box::new(callouts), review: Box::new(review), file, sha256 })
}

/// Whether a file whose text this is may have had the hash: line ends and a byte order mark are not kept in the text.
fn is_hash_of(hash: &str, text: &str) -> bool {
    let lines = [text.to_string(), text.replace('\n', "\r\n"), text.replace('\n', "\r")];
    lines.iter().any(|t| output::sha256(t.as_bytes()) == hash || output::sha256(format!("\u{feff}{t}").as_bytes()) == hash)
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// File and hash of each figure, as the data has them.
pub(super) fn figures(kept: &Kept) -> Result<Vec<(String, String)>, Failure> {
    let list = kept.value["figures"].as_array().ok_or_else(|| kept.missing("figures"))?;
    let one = |v: &Value| Some((v["file"].as_str()?.to_string(), v["sha256"].as_str()?.to_string()));
    list.iter().map(one).collect::<Option<_>>().ok_or_else(|| kept.missing("figures"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_has_the_hash_of_its_file_whatever_the_line_ends() {
        let of = |bytes: &str| output::sha256(bytes.as_bytes());
        for file in ["a\nb\n", "a\r\nb\r\n", "\u{feff}a\r\nb\r\n"] {
            assert!(is_hash_of(&of(file), "a\nb\n"), "{file:?}");
        }
        assert!(!is_hash_of(&of("a\nc\n"), "a\nb\n") && !is_hash_of("", "a\nb\n"));
    }
}
