//! A review as JSON, with the callouts' text so that it can be repeated.

use serde_json::{Value, json};

use super::json;
use super::limits_rows::spec;
use crate::input::Plan;
use crate::input::callouts::Callouts;
use crate::study::review::{ArrangementReview, CalloutReview, Review};
use crate::study::{Reach, ScaleLimit, unit};

/// A review; `table` is the callouts' file and its SHA-256.
#[must_use]
pub fn review_json(
    plan: &Plan,
    callouts: &Callouts,
    review: &Review,
    origin: &json::Origin,
    record: &json::Record<'_>,
    (file, sha256): (&str, &str),
) -> Value {
    let errors: Vec<Value> = (review.assignment.sources.iter().zip(&review.assignment.drawn).zip(&review.assignment.adjusted))
        .map(|((a, d), after)| {
            let u = unit(a.kind);
            json!({
                "error": spec(a.kind).key, "item": a.callout.map(|i| &callouts.list[i].item), "shimmed_after": a.shimmed_after,
                "unit": if spec(a.kind).angle { "mrad" } else { "mm" },
                "drawn": [d.lower / u, d.upper / u], "adjusted": [after.lower / u, after.upper / u],
            })
        })
        .collect();
    json::with_record(
        "review",
        plan,
        origin,
        record,
        json!({
            "seed": review.drawn.seed, "draws": review.drawn.draws,
            "callouts": { "file": file, "sha256": sha256, "text": callouts.text, "title_block": json::title_block(&callouts.title_block) },
            "errors": errors, "findings": review.assignment.findings,
            "arrangements": review.arrangements.iter().map(|a| arrangement(callouts, a)).collect::<Vec<_>>(),
            "as_drawn": json::arrangements(&review.drawn), "after_adjustment": json::arrangements(&review.adjusted),
        }),
    )
}

fn arrangement(callouts: &Callouts, a: &ArrangementReview) -> Value {
    let item = |i: usize| callouts.list[i].item.clone();
    let one = |c: &CalloutReview| {
        json!({
            "item": item(c.callout), "errors": c.sources.iter().map(|s| spec(s.kind).key).collect::<Vec<_>>(),
            "headroom": c.headroom.as_ref().map(limit), "share_of_life_loss": c.shares[0], "share_of_peak_load": c.shares[1], "judgement": c.judgement,
        })
    };
    json!({
        "name": a.name, "chosen": a.chosen, "callouts": a.callouts.iter().map(one).collect::<Vec<_>>(), "everything": limit(&a.all),
        "tighten": a.tighten.map(|(i, s)| json!({ "item": item(i), "to_factor": s })),
        "relax": a.relax.as_ref().map(|(l, s)| json!({ "items": l.iter().map(|i| item(*i)).collect::<Vec<_>>(), "to_factor": s })),
    })
}

fn limit(l: &ScaleLimit) -> Value {
    let reach = |r: Reach| match r {
        Reach::Never => json!("never"),
        Reach::Always => json!("beyond what is looked at"),
        Reach::Scale(s) => json!(s),
    };
    json!({ "factor": reach(l.reach), "surely": reach(l.sure), "at_most": reach(l.possible) })
}
