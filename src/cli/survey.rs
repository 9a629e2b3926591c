//! `survey`: measured points in; verdict, prediction and work list out.

use std::path::{Path, PathBuf};

use super::args::SurveyArgs;
use super::machines::{Loaded, load};
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::geometry::Rails;
use crate::input::survey::{Survey, read_survey};
use crate::present::{CAUTIONS, checks_table, findings_list, predictions_table, survey_head, work_list_text};
use crate::study::survey::shims::correct_rails;
use crate::study::survey::{Check, Conformity, Measured, Prediction, checks, evaluate_survey, predict};
use crate::study::{Evaluator, Status};

pub(super) fn run(args: &SurveyArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let survey = read(&loaded, &args.survey, args)?;
    let evaluators = loaded.evaluators()?;
    let rails = Rails::new(plan).ok_or_else(|| Failure(format!("{}: the anchors make no rail", loaded.file)))?;
    let folder = args.out.clone().unwrap_or_else(|| PathBuf::from(format!("{}-survey", file_stem(&args.survey))));
    output::folder(&folder)?;
    let failed = |e: &dyn std::fmt::Display| Failure(format!("{}: {e}", output::shown(&args.survey)));
    let evaluated = evaluate_survey(plan, &rails, &survey).map_err(|e| failed(&e))?;
    let seed = plan.study.seed;
    let checked = checks(plan, &rails, &evaluated.measured, seed);
    let draws = args.draws.unwrap_or(plan.study.draws);
    let machines: Vec<&Evaluator<'_>> = evaluators.iter().collect();
    let predicted = predict(plan, &machines, &evaluated.measured, draws, seed).map_err(|e| failed(&e))?;
    let mut text = survey_head(plan, &survey, &evaluated.said);
    text.push('\n');
    text += &checks_table(&checked);
    text += &format!("\nWHAT THE MACHINE WILL DO ON THESE RAILS ({draws} draws: rails as measured, the rest as the plan tolerates)\n");
    text += &predictions_table(plan, &predicted);
    let recheck = |m: &Measured| checks(plan, &rails, m, seed);
    let correction = correct_rails(plan, &evaluators, &evaluated.measured, &checked, &predicted, &recheck, seed).map_err(|e| failed(&e))?;
    match &correction {
        None => text += "WORK LIST\nNothing is to be done: every limit passes and every requirement is met.\n\n",
        Some(c) => {
            let after = (recheck(&c.after), predict(plan, &machines, &c.after, draws, seed).map_err(|e| failed(&e))?);
            text += &work_list_text(plan, c, (&checked, &predicted), (&after.0, &after.1));
        }
    }
    text += &findings_list(&evaluated.findings);
    text += &format!("CAUTIONS\n{CAUTIONS}\n");
    Ok(Done { text, within: within(&checked, &predicted) })
}

/// Everything is within: each limit that was read passes, each requirement is met by the chosen arrangement.
fn within(checked: &[Check], predicted: &[Prediction]) -> bool {
    let kept = checked.iter().all(|c| matches!(c.decision.verdict, Conformity::Pass | Conformity::NotSeen));
    let met = |s: Status| matches!(s, Status::Met | Status::NotApplicable);
    kept && predicted.iter().filter(|p| p.chosen).flat_map(|p| &p.verdicts).all(|v| met(v.status))
}

fn read(loaded: &Loaded, path: &Path, args: &SurveyArgs) -> Result<Survey, Failure> {
    let bytes = std::fs::read(path).map_err(|e| Failure(format!("{}: cannot be read: {e}", path.display())))?;
    read_survey(&bytes, &output::shown(path), &loaded.plan, &args.say, &args.column).map_err(|p| Failure(p.to_string()))
}
