//! `explain`: what a key means and where its number is to be found.

use std::fmt::Write as _;

use super::args::ExplainArgs;
use super::{Done, Failure};
use crate::input::catalogue::{INSTALLATION, Key, Need, PLAN};

pub(super) fn run(args: &ExplainArgs) -> Result<Done, Failure> {
    let wanted = args.key.trim();
    let exact: Vec<&Key> = PLAN.find(wanted).or_else(|| INSTALLATION.find(wanted)).into_iter().collect();
    let found = if exact.is_empty() { PLAN.keys().chain(INSTALLATION.keys()).filter(|k| k.path.contains(wanted)).collect() } else { exact };
    if found.is_empty() {
        let names = PLAN.keys().flat_map(|k| k.names());
        let near = names.map(|n| (strsim::jaro_winkler(n, wanted), n)).max_by(|a, b| a.0.total_cmp(&b.0));
        let hint = near.map_or_else(String::new, |(_, n)| format!("\n    help: Did you mean {n}?"));
        return Err(Failure(format!("no key has \"{wanted}\" in its name{hint}")));
    }
    let mut text = String::new();
    for key in found {
        describe(key, &mut text);
    }
    Ok(Done { text, within: true })
}

fn describe(key: &Key, text: &mut String) {
    let _ = writeln!(text, "{}", key.path.replace('|', " | "));
    let _ = writeln!(text, "    {}", key.meaning);
    let need = match key.need {
        Need::Required => "must be given".into(),
        Need::Optional => "may be left out".into(),
        Need::Default(value) => format!("{value} if left out"),
    };
    let _ = writeln!(text, "    holds {}; {need}", key.allowed());
    if !key.usual.is_empty() {
        let _ = writeln!(text, "    usual: {}", key.usual);
    }
}
