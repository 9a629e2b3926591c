//! `review`: a drawing's callouts held against the machine.

use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};
use serde_json::Value;

use super::args::ReviewArgs;
use super::machines::{Loaded, load};
use super::study::{file_stem, study_figures};
use super::{Done, Failure, output};
use crate::input::callouts::{Callouts, read_callouts};
use crate::present::{CAUTIONS, ReportInputs, json::Origin, review_json, review_report, review_text, to_png};
use crate::study::review::{Review, assign, review, with_limits};

pub(super) fn run(args: &ReviewArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let bytes = output::read_bytes(&args.callouts)?;
    let callouts = read_callouts(&bytes, &output::shown(&args.callouts), &loaded.plan.frame).map_err(|p| Failure(p.to_string()))?;
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-review", file_stem(&args.plan)).into());
    let seed = args.seed.unwrap_or(loaded.plan.study.seed);
    let draws = args.draws.unwrap_or(loaded.plan.study.draws);
    let mut out = output::folder(&folder)?;
    let result = reviewed(&loaded, &callouts, seed, draws)?;
    let origin = loaded.origin();
    let name = args.callouts.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let hash = output::sha256(&bytes);
    let command =
        format!("railtrue review {} {} --seed {seed} --draws {draws}", output::quoted(&args.plan), output::quoted(&args.callouts));
    let drawn_plan = with_limits(&loaded.plan, &result.assignment.drawn);
    let figures = study_figures(&drawn_plan, &result.drawn)?;
    let inputs = ReportInputs { plan: &loaded.plan, origin: &origin, callouts: Some((&name, &hash)), command: &command, figures: &figures };
    let mut contents = vec![
        ("report.html".to_string(), review_report(&inputs, &callouts, &result).into_bytes()),
        ("review.json".into(), format!("{:#}\n", as_json(&loaded, &callouts, &result, &origin, &name, &hash)).into_bytes()),
    ];
    for (figure, svg) in &figures {
        contents.push((format!("{figure}.png"), to_png(svg).map_err(|e| Failure(e.to_string()))?));
        contents.push((format!("{figure}.svg"), svg.clone().into_bytes()));
    }
    let mut files = Vec::new();
    for (name, bytes) in contents {
        files.push(format!("- {}", output::shown(&out.put(name, bytes))));
    }
    out.finish()?;
    let text = format!(
        "{}\n{} callouts of {name}, {draws} installations drawn with seed {seed}\n\n{}\nFILES\n{}\n\nCAUTIONS\n{CAUTIONS}\n",
        loaded.plan.title,
        callouts.list.len(),
        review_text(&loaded.plan, &callouts, &result),
        files.join("\n")
    );
    let chosen = result.arrangements.iter().position(|a| a.chosen).unwrap_or(0);
    Ok(Done { text, within: result.arrangements[chosen].verdict.within() })
}

/// Reviews callouts on a loaded plan.
pub(super) fn reviewed(loaded: &Loaded, callouts: &Callouts, seed: u64, draws: u64) -> Result<Review, Failure> {
    let plan = &loaded.plan;
    let assignment = assign(plan, callouts);
    let with = |sources| loaded.with_plan(with_limits(plan, sources));
    let (drawn, adjusted) = (with(&assignment.drawn), with(&assignment.adjusted));
    let bar = ProgressBar::new_spinner();
    bar.set_style(ProgressStyle::with_template("{spinner} {msg}").unwrap_or_else(|_| ProgressStyle::default_spinner()));
    let result = review(assignment, callouts, &drawn.evaluators()?, &adjusted.evaluators()?, seed, draws, &|what| {
        bar.set_message(what);
        bar.tick();
    });
    bar.finish_and_clear();
    result.map_err(|e| Failure(format!("{}: {e}", loaded.file)))
}

/// The JSON of a review.
pub(super) fn as_json(loaded: &Loaded, callouts: &Callouts, result: &Review, origin: &Origin, file: &str, hash: &str) -> Value {
    review_json(&loaded.plan, callouts, result, origin, Path::new(file).to_string_lossy().as_ref(), hash)
}
