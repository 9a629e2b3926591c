//! Limits as JSON with every number at full precision.

use serde_json::{Value, json};

use super::limits_rows::{spec, unit_name};
use crate::input::{Plan, Source};
use crate::study::{
    ArrangementLimits, Basis, LimitsResult, Pair, Reach, ScaleLimit, SourceLimits, Usage, fresh, is_set_at_installation, unit,
};

/// Limits of every arrangement; scales are shares of the planned tolerances.
#[must_use]
pub fn limits_json(plan: &Plan, limits: &LimitsResult) -> Value {
    json!({
        "seed": limits.seed, "verification_seed": fresh(limits.seed), "draws_behind_single_limits": limits.depth.single_draws,
        "draws_behind_common_scales": limits.depth.common_draws, "draws_behind_verifications": limits.depth.set_draws,
        "requirements": plan.requirements.iter().map(|r| json!({ "requirement": r.measure.key(), "limit": r.limit, "quantile": r.quantile, "confidence": r.confidence })).collect::<Vec<_>>(),
        "arrangements": limits.arrangements.iter().map(|a| arrangement(plan, a)).collect::<Vec<_>>(),
    })
}

fn arrangement(plan: &Plan, a: &ArrangementLimits) -> Value {
    let set = match &a.set {
        Ok(set) => json!({
            "basis": match set.basis { Basis::Planned => "planned", Basis::InstallationScaled => "installation_scaled", Basis::AllScaled => "all_scaled" },
            "scale_before_rounding": set.scale, "tightened": set.tightened, "tolerances": set.errors.sources.iter().map(source).collect::<Vec<_>>(),
            "verified": set.verdicts.iter().map(super::json::verdict).collect::<Vec<_>>(), "worst_case": usage(plan, &set.worst),
        }),
        Err(_) => Value::Null,
    };
    let no_set = a.set.as_ref().err().map(|no| {
        json!({
            "requirement": no.requirement.and_then(|i| plan.requirements.get(i)).map(|r| r.measure.key()), "use_with_every_error_at_zero": no.used_at_zero,
            "last_trial": no.verdicts.iter().map(super::json::verdict).collect::<Vec<_>>(),
        })
    });
    json!({
        "name": a.name, "chosen": a.chosen, "has_floats": a.has_floats, "no_bound": a.no_bound,
        "use_by_the_perfect_installation": usage(plan, &a.perfect), "use_with_every_error_at_zero": usage(plan, &a.zero),
        "common_scale": { "all": pair(plan, &a.all), "set_at_installation": pair(plan, &a.installation) },
        "single_limits_not_for_the_drawing": a.sources.iter().map(|s| single(plan, s)).collect::<Vec<_>>(),
        "set": set, "no_set": no_set,
    })
}

fn single(plan: &Plan, s: &SourceLimits) -> Value {
    let rounded = |i: usize| {
        s.rounded[i].as_ref().map(|r| json!({ "tolerance": source(&r.source), "verified": r.least.as_ref().map(super::json::verdict) }))
    };
    json!({
        "planned": source(&s.planned), "alone": pair(plan, &s.alone), "alone_rounded": rounded(0),
        "others_as_planned": pair(plan, &s.among), "others_as_planned_rounded": rounded(1),
    })
}

fn source(s: &Source) -> Value {
    json!({
        "error": spec(s.kind).key, "unit": unit_name(s.kind), "lower": s.lower / unit(s.kind), "upper": s.upper / unit(s.kind),
        "set_at_installation": is_set_at_installation(s),
    })
}

fn pair(plan: &Plan, p: &Pair) -> Value {
    json!({ "at_quantile": limit(plan, &p.quantile), "worst_case": limit(plan, &p.worst) })
}

fn limit(plan: &Plan, l: &ScaleLimit) -> Value {
    json!({
        "scale": reach(l.reach), "surely_not_below": reach(l.sure), "surely_not_above": reach(l.possible),
        "stopped_by": l.stopped_by.and_then(|i| plan.requirements.get(i)).map(|r| r.measure.key()),
    })
}

fn reach(r: Reach) -> Value {
    match r {
        Reach::Never => json!("fails_at_zero"),
        Reach::Always => json!("no_limit_seen"),
        Reach::Scale(s) => json!(s),
    }
}

fn usage(plan: &Plan, u: &Usage) -> Value {
    let finite = |x: f64| if x.is_finite() { json!(x) } else { Value::Null };
    json!({
        "share_of_limit_used": finite(u.at), "least": finite(u.low), "most": finite(u.high),
        "requirement": plan.requirements.get(u.requirement).map(|r| r.measure.key()),
    })
}
