//! `survey`: measured points in; verdict, prediction and work list out.

use std::path::{Path, PathBuf};

use super::args::SurveyArgs;
use super::folder::Folder;
use super::machines::{Loaded, load};
use super::study::file_stem;
use super::{Done, Failure, output, printed_list};
use crate::bearing::row_unloading_load;
use crate::evaluate::Evaluator;
use crate::geometry::Rails;
use crate::input::Plan;
use crate::input::survey::{Survey, date_of, read_survey};
use crate::present::{
    CAUTIONS, FigureError, SurveyPage, checks_table, findings_list, history_figure, history_text, json, misplaced_text, pads_to_touch,
    prediction_check, predictions_table, survey_head, survey_json, survey_loads, survey_profiles, survey_verdict, to_png, work_list_text,
};
use crate::study::Status;
use crate::survey::history::{Change, Epoch, PadMoved, changes, pads_moved};
use crate::survey::shims::{Correction, correct_rails};
use crate::survey::{
    Check, Conformity, Evaluated, Measured, Panel, Prediction, SurveyError, about_readings, checks, evaluate_survey, panels, predict,
    settle_first,
};

/// Limits and predictions of one state of the rails.
struct State {
    checks: Vec<Check>,
    predictions: Vec<Prediction>,
}

/// Everything that a survey came to.
struct Surveyed {
    evaluated: Evaluated,
    now: State,
    correction: Option<(Correction, State)>,
    panels: Vec<Panel>,
}

pub(super) fn run(args: &SurveyArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let bytes = output::read_bytes(&args.survey)?;
    let survey = parse(&loaded, &args.survey, &bytes, args)?;
    let evaluators = loaded.evaluators()?;
    let rails = Rails::new(plan).ok_or_else(|| Failure(format!("{}: the anchors make no rail", loaded.file)))?;
    let folder = args.out.clone().unwrap_or_else(|| PathBuf::from(format!("{}-verdict", file_stem(&args.survey))));
    let out = output::folder(&folder)?;
    let draws = args.draws.unwrap_or(plan.study.draws);
    let result = compute(plan, &rails, &evaluators, &survey, draws)?;
    let mut text = survey_head(plan, &survey, &result.evaluated.said);
    text.push('\n');
    text += &survey_verdict(&result.now.checks, &result.now.predictions, &result.evaluated.findings, &result.evaluated.unsure);
    text += &checks_table(&result.now.checks);
    text += &format!("\nWHAT THE MACHINE WILL DO ON THESE RAILS ({draws} draws: rails as measured, the rest as the plan tolerates)\n");
    text += &predictions_table(plan, &result.now.predictions);
    match &result.correction {
        None => text += nothing_to_do(&result.now),
        Some((c, after)) => {
            let before = (result.now.checks.as_slice(), result.now.predictions.as_slice());
            text += &work_list_text(
                plan,
                c,
                before,
                (&after.checks, &after.predictions),
                (&result.evaluated.findings, &result.evaluated.unsure),
            );
        }
    }
    let history = history(&loaded, &rails, args, &survey, &result)?;
    if let Some(h) = &history {
        text += &h.text;
    }
    text += &findings_list(&result.evaluated.findings, &result.evaluated.unsure);
    let files = write(&loaded, &survey, &bytes, &result, history, out)?;
    let list: Vec<String> = files.iter().map(|f| format!("- {}", output::shown(f))).collect();
    text += &format!("FILES\n{}\n\nCAUTIONS\n{CAUTIONS}\n", list.join("\n"));
    let doubted =
        !about_readings(&result.evaluated.findings).is_empty() || !settle_first(&result.evaluated.unsure, &result.now.checks).is_empty();
    Ok(Done { text, within: within(&result.now) && !doubted })
}

fn compute(plan: &Plan, rails: &Rails, evaluators: &[Evaluator<'_>], survey: &Survey, draws: u64) -> Result<Surveyed, Failure> {
    let failed = |e: &dyn std::fmt::Display| Failure(format!("{}: {e}", survey.file));
    let seed = plan.study.seed;
    let evaluated = evaluate_survey(plan, rails, survey).map_err(|e| refused(&survey.file, &e))?;
    let machines: Vec<&Evaluator<'_>> = evaluators.iter().collect();
    let state = |m: &Measured| -> Result<State, Failure> {
        let predictions = predict(plan, &machines, m, draws, seed).map_err(|e| failed(&e))?;
        Ok(State { checks: checks(plan, rails, m, seed), predictions })
    };
    let now = state(&evaluated.measured)?;
    let recheck = |m: &Measured| checks(plan, rails, m, seed);
    let found = correct_rails(plan, evaluators, &evaluated.measured, &now.checks, &now.predictions, &recheck, (draws, seed));
    let correction = match found.map_err(|e| failed(&e))? {
        Some(c) => {
            let after = state(&c.after)?;
            Some((c, after))
        }
        None => None,
    };
    let after = correction.as_ref().filter(|(c, _)| !c.items.is_empty()).map(|(c, _)| &c.after);
    let panels = panels(plan, rails, &evaluated.corrected, &evaluated.measured, after);
    Ok(Surveyed { evaluated, now, correction, panels })
}

/// Earlier surveys held against this one.
struct History {
    text: String,
    figure: Option<String>,
    changes: Vec<Change>,
    pads: Vec<PadMoved>,
}

fn history(loaded: &Loaded, rails: &Rails, args: &SurveyArgs, survey: &Survey, result: &Surveyed) -> Result<Option<History>, Failure> {
    let plan = &loaded.plan;
    let (mut epochs, mut expected) = (Vec::new(), None);
    for (i, path) in args.before.iter().enumerate() {
        let bytes = output::read_bytes(path)?;
        let earlier = parse(loaded, path, &bytes, args)?;
        if let Some(printed) = args.shimmed.as_ref().filter(|_| i + 1 == args.before.len()) {
            let sha256 = (loaded.origin().plan_sha256, output::sha256(&bytes));
            expected = Some(printed_list::expected(printed, &sha256.0, (path, &sha256.1))?);
        }
        let evaluated = evaluate_survey(plan, rails, &earlier).map_err(|e| refused(&earlier.file, &e))?;
        let checks = checks(plan, rails, &evaluated.measured, plan.study.seed);
        epochs.push(Epoch { file: earlier.file.clone(), day: earlier.state.day, measured: evaluated.measured, checks });
    }
    if epochs.is_empty() {
        return Ok(None);
    }
    let (measured, checks) = (result.evaluated.measured.clone(), result.now.checks.clone());
    epochs.push(Epoch { file: survey.file.clone(), day: survey.state.day, measured, checks });
    in_order(&epochs)?;
    let undated: Vec<&str> = epochs.iter().filter(|e| e.day.is_none()).map(|e| e.file.as_str()).collect();
    let mut text = expected.map_or_else(String::new, |e| prediction_check(&e, &result.now.checks));
    let changes = changes(&epochs, args.shimmed.is_some());
    let pads = pads_moved(plan, rails, &epochs[0].measured, &epochs[epochs.len() - 1].measured);
    let figure = history_figure(&epochs, &changes, &plan.title).map_err(|e| Failure(e.to_string()))?;
    text += &history_text(&epochs, &changes, &pads, args.shimmed.is_some());
    if !undated.is_empty() {
        text += &format!("No date stands in {}: the order is that of the command line.\n\n", undated.join(", "));
    }
    Ok(Some(History { text, figure, changes, pads }))
}

/// Surveys follow each other in time; of one day they stand as they were given.
fn in_order(epochs: &[Epoch]) -> Result<(), Failure> {
    let dated: Vec<(&str, i64)> = epochs.iter().filter_map(|e| e.day.map(|d| (e.file.as_str(), d))).collect();
    match dated.windows(2).find(|w| w[0].1 > w[1].1) {
        Some(w) => Err(Failure(format!(
            "{} is of {} and so later than {} of {}: give earlier surveys with --before, in the order of their dates",
            w[0].0,
            date_of(w[0].1),
            w[1].0,
            date_of(w[1].1)
        ))),
        None => Ok(()),
    }
}

/// A survey that cannot be evaluated, with its file.
fn refused(file: &str, error: &SurveyError) -> Failure {
    match error {
        SurveyError::NotThisFrame(misplaced) => Failure(format!("{file}: {}", misplaced_text(misplaced))),
        other => Failure(format!("{file}: {other}")),
    }
}

/// Why there is no work list.
fn nothing_to_do(now: &State) -> &'static str {
    if now.checks.iter().any(|c| c.decision.verdict == Conformity::NotSeen) {
        "WORK LIST\nNone: every limit that was read passes, but some were not read. Survey them before anything is called done.\n\n"
    } else if within(now) {
        "WORK LIST\nNothing is to be done: every limit passes and every requirement of the chosen arrangement is met.\n\n"
    } else {
        "WORK LIST\nNone: moving pads would not help.\n\n"
    }
}

/// Everything is within: each limit is shown to be kept, each requirement is met by the chosen arrangement. A limit that was not
/// read is not shown.
fn within(state: &State) -> bool {
    let kept = state.checks.iter().all(|c| c.decision.verdict == Conformity::Pass);
    let met = |s: Status| matches!(s, Status::Met | Status::NotApplicable);
    kept && state.predictions.iter().filter(|p| p.chosen).flat_map(|p| &p.verdicts).all(|v| met(v.status))
}

fn parse(loaded: &Loaded, path: &Path, bytes: &[u8], args: &SurveyArgs) -> Result<Survey, Failure> {
    read_survey(bytes, &output::shown(path), &loaded.plan, &args.say, &args.column).map_err(|p| Failure(p.to_string()))
}

fn write(
    loaded: &Loaded,
    survey: &Survey,
    bytes: &[u8],
    result: &Surveyed,
    history: Option<History>,
    mut out: Folder,
) -> Result<Vec<PathBuf>, Failure> {
    let plan = &loaded.plan;
    let failed = |e: FigureError| Failure(e.to_string());
    let chosen = |list: &[Prediction]| list.iter().find(|p| p.chosen).cloned();
    let after = result.correction.as_ref().filter(|(c, _)| !c.items.is_empty());
    let mut figures = vec![("profiles", survey_profiles(&result.panels, &plan.title).map_err(failed)?)];
    if let Some(now) = chosen(&result.now.predictions) {
        let then = after.and_then(|(_, s)| chosen(&s.predictions));
        let svg = survey_loads(&now, then.as_ref(), &plan.title, row_unloading_load(&plan.block)).map_err(failed)?;
        figures.push(("load-along-stroke", svg));
    }
    if let Some((c, _)) = after {
        figures.push(("pads-to-touch", pads_to_touch(plan, &c.items, &plan.title).map_err(failed)?));
    }
    let mut changed = serde_json::Value::Null;
    if let Some(h) = history {
        figures.extend(h.figure.map(|svg| ("what-has-moved", svg)));
        changed = serde_json::json!({ "limits": h.changes, "pads": h.pads });
    }
    let mut files = Vec::new();
    let origin = loaded.origin();
    let page = SurveyPage {
        plan,
        survey,
        said: &result.evaluated.said,
        now: (&result.now.checks, &result.now.predictions),
        correction: result.correction.as_ref().map(|(c, s)| (c, s.checks.as_slice(), s.predictions.as_slice())),
        findings: &result.evaluated.findings,
        unsure: &result.evaluated.unsure,
        figures: &figures,
        survey_sha256: &output::sha256(bytes),
        origin: &origin,
    };
    files.push(out.put("survey.html", page.html().into_bytes()));
    for (name, svg) in &figures {
        for (ending, content) in [("svg", svg.as_bytes().to_vec()), ("png", to_png(svg).map_err(failed)?)] {
            files.push(out.put(format!("{name}.{ending}"), content));
        }
    }
    let correction = result.correction.as_ref().map(|(c, s)| (c, s.checks.as_slice(), s.predictions.as_slice()));
    let mut value = survey_json(
        survey,
        &output::sha256(bytes),
        &result.evaluated.said,
        (&result.now.checks, &result.now.predictions),
        correction,
        &result.panels,
        (&result.evaluated.findings, &result.evaluated.unsure),
    );
    value["history"] = changed;
    let whole = json::with_head("survey", plan, &origin, value);
    files.push(out.put("survey.json", format!("{whole:#}\n")));
    out.finish()?;
    Ok(files)
}
