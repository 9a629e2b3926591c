//! Results as JSON with every number at full precision. The layout has a version of its own.

use serde_json::{Value, json};

use super::trace_text::block_names;
use crate::errors::{Holds, entries, seat_entries};
use crate::evaluate::{BlockOutcome, Reading};
use crate::input::{Installation, Plan, Provenance, TitleBlock};
use crate::study::{
    ArrangementBudget, ArrangementResult, Balance, Bracket, BudgetResult, ONE_IN, Set, Stack, StudyResult, Tail, TailQuantile, Trace,
    Verdict, WorstCase,
};
use crate::units::{COMPONENTS, SIDES};

/// Version of the layout.
pub const LAYOUT: u32 = 1;

/// Quantiles that are listed of every measure.
const QUANTILES: [f64; 9] = [0.001, 0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99, 0.999];

/// Where a result comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Origin {
    /// SHA-256 of the plan's text.
    pub plan_sha256: String,
    /// Name of the plan's file.
    pub plan_file: String,
    /// Version of the program.
    pub version: String,
    /// How well the equilibrium is met, an arrangement each.
    pub balance: Vec<Balance>,
}

/// What a result carries so that it can be run again and held against its page and figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record<'r> {
    /// The plan's text.
    pub plan_text: &'r str,
    /// The command that gave the result.
    pub command: &'r str,
    /// File and SHA-256 of each figure.
    pub figures: &'r [(String, String)],
}

/// How well the equilibrium is met. What is below rounding is not told apart: it is noise, and another processor's is another.
fn balance(b: &Balance) -> Value {
    let below = |x: f64, least: f64| 10.0_f64.powi(x.max(least).log10().ceil() as i32);
    json!({
        "arrangement": b.arrangement, "equilibria_solved_again": b.equilibria, "residual_below": below(b.residual, 1e-11),
        "difference_below": below(b.difference, 1e-9), "allowed_difference": b.allowed_difference,
    })
}

/// A result of its own kind under the common head.
#[must_use]
pub fn with_head(kind: &str, plan: &Plan, origin: &Origin, more: Value) -> Value {
    with(head(kind, plan, origin), more)
}

/// The worst case of one arrangement, with the stacks beside it.
#[must_use]
pub fn worst(worst: &WorstCase, stacks: &[Stack]) -> Value {
    let bracket = |b: &Bracket| {
        json!({
            "quantity": b.key, "unit": b.unit, "less_is_worse": b.less_is_worse, "perfect": b.perfect,
            "attained": b.attained, "bound": b.bound, "gap": b.gap(), "outcome": b.outcome, "installation": installation(&b.installation),
        })
    };
    json!({
        "name": worst.arrangement, "brackets": worst.brackets.iter().map(bracket).collect::<Vec<_>>(), "no_bound": worst.no_bound,
        "stops_possible": worst.stops_possible, "branches_opened": worst.branches, "stopped_by_clock": worst.stopped_by_clock, "stacks": stacks,
    })
}

/// A budget: the costed errors, and of each arrangement the set that holds or why there is none.
#[must_use]
pub fn budget(plan: &Plan, result: &BudgetResult) -> Value {
    let set = |set: &Set| {
        let verdicts: Vec<Value> = set.verdicts.iter().map(verdict).collect();
        with(
            serde_json::to_value(set).unwrap_or(Value::Null),
            json!({ "hours_together": set.hours.iter().sum::<f64>(), "verdicts": verdicts }),
        )
    };
    let one = |a: &ArrangementBudget| {
        json!({
            "name": a.name, "chosen": a.chosen, "has_floats": a.has_floats, "planned_meets": a.planned_meets,
            "set": a.set.as_ref().ok().map(set), "no_set": a.set.as_ref().err(),
        })
    };
    json!({
        "seed": result.seed, "verified_by": result.verified_by,
        "money_per_hour": plan.budget.money_per_hour, "currency": plan.budget.currency, "errors": result.errors,
        "arrangements": result.arrangements.iter().map(one).collect::<Vec<_>>(),
    })
}

/// A result that can be run again under the common head.
#[must_use]
pub fn with_record(kind: &str, plan: &Plan, origin: &Origin, record: &Record<'_>, more: Value) -> Value {
    let mut head = head(kind, plan, origin);
    head["plan"]["text"] = record.plan_text.into();
    let figures: Vec<Value> = record.figures.iter().map(|(file, sha256)| json!({ "file": file, "sha256": sha256 })).collect();
    head["command"] = record.command.into();
    head["figures"] = figures.into();
    head["inputs"] = json!({
        "values": plan.inputs.len(), "assumed": plan.assumed_values(), "without_a_source": plan.values_from(Provenance::NotStated),
    });
    with(head, more)
}

/// Fields of a title block that are stated.
#[must_use]
pub fn title_block(block: &TitleBlock) -> Value {
    block.fields().filter_map(|(key, _, value)| value.map(|v| (key.to_string(), json!(v)))).collect::<serde_json::Map<_, _>>().into()
}

fn head(kind: &str, plan: &Plan, origin: &Origin) -> Value {
    json!({
        "layout": LAYOUT, "kind": kind, "program": "railtrue", "version": origin.version,
        "plan": { "file": origin.plan_file, "sha256": origin.plan_sha256, "title": plan.title, "title_block": title_block(&plan.title_block) },
        "balance": origin.balance.iter().map(balance).collect::<Vec<_>>(),
    })
}

fn with(mut head: Value, more: Value) -> Value {
    if let (Some(a), Value::Object(b)) = (head.as_object_mut(), more) {
        a.extend(b);
    }
    head
}

/// A study: quantiles, verdicts, findings, bands, and the numbers of the worst draws for replay.
#[must_use]
pub fn study(plan: &Plan, study: &StudyResult, origin: &Origin, record: &Record<'_>) -> Value {
    let more = json!({
        "seed": study.seed, "draws": study.draws, "digits_settled": study.settled, "km_per_year": plan.km_per_year,
        "arrangements": arrangements(study),
    });
    with_record("study", plan, origin, record, more)
}

/// The arrangements of a study.
#[must_use]
pub fn arrangements(study: &StudyResult) -> Vec<Value> {
    study.arrangements.iter().map(arrangement).collect()
}

/// What of an outcome stands in the file.
const MEASURES: [Reading; 11] = [
    Reading::Life,
    Reading::LifeLoss,
    Reading::PeakLoad,
    Reading::ExtraLoad,
    Reading::StaticSafety,
    Reading::RowUnloading,
    Reading::FloatTravel,
    Reading::ToolDisplacement,
    Reading::ToolYaw,
    Reading::JointForce,
    Reading::SlotUsed,
];

fn arrangement(a: &ArrangementResult) -> Value {
    let mut quantiles = serde_json::Map::new();
    let of_rows = Reading::ALL.into_iter().filter(|r| r.is_of_rows() && a.perfect.rows.is_some());
    for reading in MEASURES.into_iter().chain(of_rows) {
        let at = |p: f64| a.tally.quantile(reading, p);
        let list: Vec<Value> = QUANTILES
            .iter()
            .filter_map(|&p| at(p).map(|q| json!({ "p": p, "value": q.value, "low_95": q.low, "high_95": q.high })))
            .collect();
        quantiles.insert(reading.key().into(), json!({ "mean": a.tally.of(reading).mean(), "quantiles": list }));
    }
    json!({
        "name": a.name, "chosen": a.chosen, "has_floats": a.has_floats, "perfect": a.perfect, "measures": quantiles,
        "worst_life_draw": a.tally.least_life.map(|(i, outcome)| json!({ "draw": i, "outcome": outcome })),
        "tail_quantiles": a.tails.iter().flat_map(tail_quantiles).collect::<Vec<_>>(),
        "verdicts": a.verdicts.iter().map(verdict).collect::<Vec<_>>(),
        "worst": worst(&a.worst, &[]), "sources_alone": a.alone, "findings": a.findings, "largest_load_along_stroke": a.band, "condition_number": a.condition,
        "lateral_stiffness_at_tool_n_per_um": { "floats_at_rest": a.lateral_stiffness_n_per_um.0, "floats_sliding": a.lateral_stiffness_n_per_um.1 },
    })
}

/// Tail quantiles of a reading, each with the method by which it was found.
fn tail_quantiles(tail: &Tail) -> impl Iterator<Item = Value> {
    let of = |(one_in, quantile): (u32, &TailQuantile)| {
        let found = match quantile {
            TailQuantile::Counted { quantile: q, draws } => {
                json!({ "method": "counted", "draws": draws, "value": q.value, "low_95": q.low, "high_95": q.high })
            }
            TailQuantile::TooFewDraws { draws, needed } => json!({ "method": "too_few_draws", "draws": draws, "draws_needed": needed }),
        };
        with(json!({ "measure": tail.reading.key(), "one_in": one_in }), found)
    };
    ONE_IN.into_iter().zip(&tail.quantiles).map(of)
}

/// A requirement held against draws.
pub(super) fn verdict(v: &Verdict) -> Value {
    let r = &v.requirement;
    let at = v.at_quantile.map(|q| json!({ "value": q.value, "low": q.low, "high": q.high }));
    let limit = if r.measure.more_is_better() { "least" } else { "most" };
    let base =
        json!({ "requirement": r.measure.key(), limit: r.limit, "quantile": r.quantile, "confidence": r.confidence, "at_quantile": at });
    with(base, serde_json::to_value(v).unwrap_or(Value::Null))
}

/// A traced installation: everything needed to check it by hand.
#[must_use]
pub fn trace(plan: &Plan, trace: &Trace, origin: &Origin, what: &Value) -> Value {
    let states: Vec<Value> = trace.states.iter().map(|s| state(plan, s)).collect();
    let tau: Vec<Value> = trace
        .states
        .first()
        .map(|s| {
            s.response
                .joints
                .iter()
                .filter(|j| j.taken_up != 0.0)
                .map(|j| json!({ "joint": joint_name(j.end, j.number), "component": COMPONENTS[j.axis], "taken_up_mm_or_rad": j.taken_up }))
                .collect()
        })
        .unwrap_or_default();
    let service: Vec<Value> = trace
        .service
        .iter()
        .map(|s| json!({ "name": s.name, "share": s.share, "bridge_dt_k": s.thermal.bridge_dt_k, "frame_dt_k": s.thermal.frame_dt_k, "top_hotter_k": s.thermal.top_hotter_k, "skew_mm": s.skew_mm, "wind_up": s.wind_up }))
        .collect();
    let blocks = |list: &[BlockOutcome]| -> Vec<Value> {
        let named = |(name, b): (&String, &BlockOutcome)| with(json!({ "block": name }), serde_json::to_value(b).unwrap_or(Value::Null));
        block_names(plan).iter().zip(list).map(named).collect()
    };
    let by_law = trace.by_law.as_ref().map(|(o, p, b)| json!({ "outcome": o, "perfect": p, "blocks": blocks(b) }));
    with(
        head("trace", plan, origin),
        json!({
            "arrangement": trace.arrangement, "traced": what, "installation": installation(&trace.installation),
            "service": service, "outcome": trace.outcome, "perfect": trace.perfect, "blocks": blocks(&trace.blocks), "with_the_law_of_the_drag": by_law,
            "taken_up": tau, "condition_number": trace.condition, "weakest_direction": trace.weakest, "states": states,
            "units": "mm, rad, N, N mm; pose is truck A, truck B, bridge end A, bridge end B, each ux uy uz rx ry rz; block loads are Fy Fz Mx My Mz that the truck exerts on the block",
        }),
    )
}

fn joint_name(end: usize, number: usize) -> String {
    format!("{}{}", ["A", "B"][end], number + 1)
}

fn state(plan: &Plan, s: &crate::study::TracedState) -> Value {
    let r = &s.response;
    let joints: Vec<Value> = r
        .joints
        .iter()
        .map(|j| json!({ "joint": joint_name(j.end, j.number), "component": COMPONENTS[j.axis], "displacement_mm_or_rad": j.delta, "force_n_or_n_mm": j.force, "travel_used": j.travel_used, "sticks": j.sticks }))
        .collect();
    let blocks: Vec<Value> = block_names(plan)
        .iter()
        .enumerate()
        .map(|(b, name)| json!({ "block": name, "imposed_mm_rad": r.imposed[b], "load_n_n_mm": r.block_loads[b], "p_n": s.equivalent[b].0.dynamic_n, "p0_n": s.equivalent[b].0.static_n, "p_with_preload_n": s.equivalent[b].1 }))
        .collect();
    json!({
        "station_x_mm": s.situation.station_x_mm, "load_case": plan.duty[s.situation.case].name, "load_case_number": s.situation.case + 1,
        "service": s.service, "bridge_dt_k": s.situation.thermal.bridge_dt_k, "frame_dt_k": s.situation.thermal.frame_dt_k,
        "skew_mm": s.situation.skew_mm, "drag": s.situation.drag.name(),
        "pose_mm_rad": r.pose.as_slice(), "joints": joints, "blocks": blocks, "drive_n": r.drive_n,
        "tool_mm_rad": r.tool, "tool_from_perfect_mm_rad": s.tool_from_perfect, "iterations": r.iterations, "residual": r.residual,
    })
}

/// An installation under the keys that an installation file has; profiles that are not there are left out.
#[must_use]
pub fn installation(i: &Installation) -> Value {
    let mut map = serde_json::Map::new();
    let mut put = |key: String, value: Value| {
        if value.as_array().is_none_or(|list| !list.is_empty()) {
            map.insert(key, value);
        }
    };
    for entry in entries() {
        let numbers = entry.numbers(i);
        let value = match (entry.holds, numbers.first()) {
            (Holds::Number | Holds::Position, Some(number)) => json!(number),
            _ => json!(numbers),
        };
        put(entry.key, value);
    }
    let seat = |(end, n, seat): (usize, usize, &[f64; 6])| {
        let mut value = json!({ "end": SIDES[end], "number": n + 1 });
        seat_entries().for_each(|entry| value[entry.key.as_str()] = json!(entry.numbers(seat)));
        value
    };
    let seats: Vec<Value> = (0..2).flat_map(|end| i.seats[end].iter().enumerate().map(move |(n, seat)| (end, n, seat))).map(seat).collect();
    put("seat".into(), json!(seats));
    Value::Object(map)
}
