//! A survey as JSON: checks, profiles, predictions, work list.

use serde_json::{Value, json};

use crate::input::survey::Survey;
use crate::study::Finding;
use crate::survey::shims::Correction;
use crate::survey::{Check, Doubt, Panel, Prediction};

/// What a survey came to, for `json::with_head`.
#[must_use]
pub fn survey_json(
    survey: &Survey,
    sha256: &str,
    said: &[String],
    before: (&[Check], &[Prediction]),
    correction: Option<(&Correction, &[Check], &[Prediction])>,
    panels: &[Panel],
    (findings, unsure): (&[Finding], &[Doubt]),
) -> Value {
    json!({
        "survey": {
            "file": survey.file, "sha256": sha256, "date": survey.state.date, "notes": survey.state.notes,
            "points": survey.points.len(), "readings": survey.readings.len(), "understood": survey.understood, "said": said,
        },
        "checks": before.0,
        "predictions": before.1.iter().map(prediction).collect::<Vec<_>>(),
        "work_list": correction.map(|(c, checks, predictions)| json!({
            "items": c.items, "fewest_proved": c.fewest_proved, "tightened_to": c.tightened, "meets_all": c.meets_all,
            "stopped_by": c.stopped_by, "checks_after": checks,
            "predictions_after": predictions.iter().map(prediction).collect::<Vec<_>>(),
        })),
        "panels": panels,
        "findings": findings,
        "unsure": unsure,
    })
}

fn prediction(p: &Prediction) -> Value {
    let requirement = |v: &crate::study::Verdict| {
        json!({
            "measure": v.requirement.measure.key(), "limit": v.requirement.limit, "quantile": v.requirement.quantile, "status": v.status,
            "probability": v.share, "probability_low": v.share_low, "probability_high": v.share_high, "draws": v.draws,
        })
    };
    let mut lives: Vec<f64> = p.outcomes.iter().map(|o| o.life_km).collect();
    lives.sort_by(f64::total_cmp);
    let at = |q: f64| lives.get(((q * lives.len() as f64).ceil() as usize).max(1) - 1);
    json!({
        "arrangement": p.name, "chosen": p.chosen, "perfect": p.perfect, "likely": p.likely,
        "life_km": { "low_5": at(0.05), "median": at(0.5), "high_95": at(0.95) },
        "requirements": p.verdicts.iter().map(requirement).collect::<Vec<_>>(),
        "station_x_mm": p.station_x_mm, "largest_load_n": { "perfect": p.stroke_n[0], "low_5": p.stroke_n[1], "median": p.stroke_n[2], "high_95": p.stroke_n[3] },
    })
}
