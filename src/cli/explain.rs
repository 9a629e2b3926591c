//! `explain`: what a key means and where its number is to be found.

use std::fmt::Write as _;

use super::args::ExplainArgs;
use super::{Done, Failure};
use crate::input::callouts::{COLUMN_MEANINGS, COLUMNS, CONTROLS};
use crate::input::catalogue::{INSTALLATION, Key, Need, PLAN};
use crate::input::{ErrorKind, nearest};
use crate::present::standards;

pub(super) fn run(args: &ExplainArgs) -> Result<Done, Failure> {
    let wanted = args.key.trim().to_lowercase();
    let exact: Vec<&Key> = PLAN.find(&wanted).or_else(|| INSTALLATION.find(&wanted)).into_iter().collect();
    let named = |k: &&Key| k.path.contains(&wanted);
    let about = |k: &&Key| k.meaning.to_lowercase().contains(&wanted);
    let all = || PLAN.keys().chain(INSTALLATION.keys());
    let mut found = exact;
    if found.is_empty() {
        found = all().filter(named).collect();
    }
    if found.is_empty() {
        found = all().filter(about).collect();
    }
    let errors = ErrorKind::ALL.iter().filter(|e| e.key.contains(wanted.trim_start_matches("errors.")));
    let mut text = String::new();
    for e in errors {
        let unit = if e.angle { "mrad (mm/m)" } else { "mm" };
        let _ = writeln!(text, "error {}: {}, {unit}\n    {}", e.key, e.label, e.sign);
    }
    let callouts = wanted.contains("callout") || COLUMNS.contains(&wanted.as_str());
    if callouts {
        text += &callout_columns();
    }
    if found.is_empty() && text.is_empty() && !wanted.contains("iso") {
        let near = nearest(all().flat_map(Key::names), &wanted, 0.7);
        let hint = near.map_or_else(String::new, |n| format!("\n    help: Did you mean {n}?"));
        return Err(Failure(format!("no key has \"{}\" in its name or meaning{hint}", args.key)));
    }
    let whole_table = found.len() == 1;
    for key in found {
        describe(key, &mut text);
        if whole_table {
            let below = PLAN
                .below(&wanted)
                .chain(INSTALLATION.below(&wanted))
                .map(|k| k.path.rsplit('.').next().unwrap_or(k.path).replace('|', ", "));
            let below: Vec<String> = below.collect();
            if !below.is_empty() {
                let _ = writeln!(text, "    keys: {}", below.join(", "));
            }
        }
    }
    if ["class", "iso", "standard"].iter().any(|w| wanted.contains(w)) {
        text += &standards();
    }
    Ok(Done { text, within: true })
}

/// The columns of a table of callouts, and the words of `controls` with the errors that each feeds.
fn callout_columns() -> String {
    let mut text = String::from("table of callouts (CSV), for `railtrue review`; item, controls and value must be there\n");
    for (column, meaning) in COLUMNS.iter().zip(COLUMN_MEANINGS) {
        let _ = writeln!(text, "{column}\n    {meaning}");
    }
    text += "words of controls, with the errors that each feeds\n";
    for c in CONTROLS.iter() {
        let keys: Vec<&str> = ErrorKind::ALL.iter().filter(|s| c.feeds.contains(&s.kind)).map(|s| s.key).collect();
        let _ = writeln!(text, "    {}: {}", c.word, keys.join(", "));
    }
    text
}

fn describe(key: &Key, text: &mut String) {
    let _ = writeln!(text, "{}", key.path.replace('|', " | "));
    let _ = writeln!(text, "    {}", key.meaning);
    let need = match key.need {
        Need::Required => "must be given".into(),
        Need::Optional => "may be left out".into(),
        Need::Default(value) => format!("{value} if left out"),
    };
    let _ = writeln!(text, "    value: {}; {need}", key.allowed());
    if !key.usual.is_empty() {
        let _ = writeln!(text, "    usual: {}", key.usual);
    }
}
