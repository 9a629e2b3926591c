//! The work list that was printed and carried out, read from the data of the survey that gave it.

use std::path::Path;

use serde_json::Value;

use super::{Failure, output, strict_json};
use crate::present::ExpectedLimit;

/// What an earlier survey's data promise after their work list.
///
/// # Errors
/// The file is no survey's data, of another plan, of another survey, or holds no list.
pub(super) fn expected(path: &Path, plan_sha256: &str, survey: (&Path, &str)) -> Result<Vec<ExpectedLimit>, Failure> {
    let file = if path.is_dir() { path.join("survey.json") } else { path.to_path_buf() };
    let shown = output::shown(&file);
    let refused = |what: &str| Failure(format!("{shown}: {what}"));
    let bytes = output::read_bytes(&file)?;
    let text = String::from_utf8(bytes).map_err(|_| refused("this is not the data of a survey"))?;
    let data = strict_json::read(&text).map_err(|e| refused(&format!("this is not the data of a survey: {e}")))?;
    if data["kind"] != "survey" {
        return Err(refused("this is not the data of a survey; expected survey.json of the earlier run, or its folder"));
    }
    if data["plan"]["sha256"] != plan_sha256 {
        return Err(refused(
            "its work list was made with another plan. Evaluate the earlier survey again with this one, or give the plan of then",
        ));
    }
    if data["survey"]["sha256"] != survey.1 {
        let what = format!("its work list is not that of {}, the last earlier survey", output::shown(survey.0));
        return Err(refused(&what));
    }
    if data["work_list"]["items"].as_array().is_none_or(Vec::is_empty) {
        return Err(refused("it holds no work list with pads to touch: nothing was to be shimmed"));
    }
    let limits = data["work_list"]["checks_after"].as_array().into_iter().flatten().map(limit).collect::<Option<Vec<_>>>();
    limits
        .filter(|l| !l.is_empty())
        .ok_or_else(|| refused("its prediction cannot be read: the data are of another version or were altered"))
}

fn limit(check: &Value) -> Option<ExpectedLimit> {
    Some(ExpectedLimit {
        key: check["key"].as_str()?.into(),
        value: check["value"].as_f64()?,
        uncertainty: check["uncertainty"].as_f64().filter(|u| *u >= 0.0)?,
        seen: check["decision"]["verdict"].as_str()? != "not_seen",
    })
}
