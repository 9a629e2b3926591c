//! Head lines of a table of callouts: `# drawing = NB-2600-20` and the other fields of the drawing's title block.

use super::rows::problem;
use crate::input::nearest;
use crate::input::problem::Problem;
use crate::input::survey::text::{Sheet, clean, day_of};
use crate::input::title_block::{FIELDS, TitleBlock};

/// A head line that is kept as it is.
const NOTE: &str = "note";

/// Longest value of a field, in characters.
const LONGEST: usize = 200;

/// The title block; what is wrong goes to `problems`. A line without a single word before `=` or `:` is a remark.
pub(super) fn title_block(sheet: &Sheet, problems: &mut Vec<Problem>) -> TitleBlock {
    let mut found: Vec<(&'static str, String)> = Vec::new();
    for (line, text) in &sheet.head {
        let Some((key, value)) = entry(text, sheet.separator) else { continue };
        let Some((known, _)) = FIELDS.iter().find(|(k, _)| *k == key) else {
            if key != NOTE {
                problems.push(unknown(*line, &key, &value));
            }
            continue;
        };
        if *known == "date" && !value.is_empty() && day_of(&value).is_none() {
            problems.push(problem(*line, 1, known, &value, "this is no date", "Write it as 2026-11-25."));
        }
        if value.chars().count() > LONGEST {
            let what = format!("this is longer than {LONGEST} characters");
            problems.push(problem(*line, 1, known, "", &what, "Write what the drawing's title block says."));
        }
        if found.iter().any(|(k, _)| k == known) {
            problems.push(problem(*line, 1, known, &value, "this key is given twice", "Leave one."));
        }
        found.push((known, value));
    }
    TitleBlock::of(|key| found.iter().find(|(k, _)| *k == key).map(|(_, value)| value.clone()))
}

/// Key and value of a head line; a spreadsheet fills the line up with separators, or puts the value into a cell of its own.
fn entry(text: &str, separator: char) -> Option<(String, String)> {
    let text = text.trim_end_matches([separator, '"', ' ']);
    let at = text.find(['=', ':']).or_else(|| text.find(separator).filter(|at| is_field(&text[..*at])))?;
    let key = clean(&text[..at]).to_lowercase();
    let word = !key.is_empty() && key.chars().all(|c| c.is_alphanumeric() || c == '_');
    let value = clean(text[at..].trim_start_matches([separator, '=', ':', ' ', '"']));
    word.then_some((key, value))
}

fn is_field(text: &str) -> bool {
    let key = clean(text).to_lowercase();
    FIELDS.iter().any(|(k, _)| *k == key)
}

fn unknown(line: usize, key: &str, value: &str) -> Problem {
    let advice = nearest(FIELDS.iter().map(|(k, _)| *k), key, 0.85).map_or_else(
        || {
            let known: Vec<&str> = FIELDS.iter().map(|(k, _)| *k).chain([NOTE]).collect();
            format!("Known are {}. A remark has no \"=\" and no \":\" after its first word.", known.join(", "))
        },
        |k| format!("Did you mean {k}?"),
    );
    problem(line, 1, key, value, "this key of the head is not known", &advice)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_remarks_and_slips_are_told_apart() {
        let text = "# Frame of the bridge: as welded\n# drawing = NB-20\n# Revision: B,,,\n\"# sheet,2 of 5\",,\n# autor = x\n# date = 5.6.26\nitem,controls,value\n";
        let mut problems = Vec::new();
        let block = title_block(&Sheet::new(text), &mut problems);
        assert_eq!((block.get("drawing"), block.get("revision"), block.get("sheet")), (Some("NB-20"), Some("B"), Some("2 of 5")));
        assert_eq!(block.missing(), ["machine", "author"]);
        let told: Vec<(usize, &str, &str)> = problems.iter().map(|p| (p.line, p.key.as_str(), p.advice.as_str())).collect();
        assert_eq!(told, [(5, "autor", "Did you mean author?"), (6, "date", "Write it as 2026-11-25.")]);
    }
}
