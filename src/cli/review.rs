//! `review`: a drawing's callouts held against the machine.

use indicatif::{ProgressBar, ProgressStyle};

use super::args::ReviewArgs;
use super::machines::{Loaded, load};
use super::study::{file_stem, hashes, pictures, study_figures};
use super::{Done, Failure, output};
use crate::input::callouts::{Callouts, read_callouts};
use crate::present::{CAUTIONS, ReportInputs, json::Record, review_json, review_report, review_text};
use crate::study::review::{Review, assign, review, with_limits};

pub(super) fn run(args: &ReviewArgs) -> Result<Done, Failure> {
    let mut loaded = load(&args.plan)?;
    let bytes = output::read_bytes(&args.callouts)?;
    let callouts = read_callouts(&bytes, &output::shown(&args.callouts), &loaded.plan.frame).map_err(|p| Failure(p.to_string()))?;
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-review", file_stem(&args.plan)).into());
    let seed = args.seed.unwrap_or(loaded.plan.study.seed);
    loaded.plan.study.seed = seed;
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
    let pictures = pictures(&figures)?;
    let hashes = hashes(&pictures);
    let record = Record { plan_text: &loaded.text, command: &command, figures: &hashes };
    let table = (name.as_str(), hash.as_str());
    let data = format!("{:#}\n", review_json(&loaded.plan, &callouts, &result, &origin, &record, table));
    let data_sha256 = output::sha256(data.as_bytes());
    let inputs = ReportInputs {
        plan: &loaded.plan,
        origin: &origin,
        callouts: Some(table),
        command: &command,
        data_sha256: &data_sha256,
        figures: &figures,
    };
    let report = review_report(&inputs, &callouts, &result);
    let contents =
        [("report.html".to_string(), report.into_bytes()), ("review.json".into(), data.into_bytes())].into_iter().chain(pictures);
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
