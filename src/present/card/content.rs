//! What stands on the installation card, whatever its form.

use crate::input::plan::{Law, Requirement, Thermal};
use crate::input::{ErrorKind, Plan};
use crate::present::json::Origin;
use crate::present::limits_rows::{SetRow, set_rows};
use crate::present::limits_text::verdict;
use crate::present::numbers::plain;
use crate::present::page::Mark;
use crate::present::summary::words;
use crate::present::tables::bound_of;
use crate::study::LimitsResult;
use crate::units::REFERENCE_TEMPERATURE_C;

/// A row of what the installer sets.
pub(super) struct Row {
    pub(super) number: usize,
    pub(super) set: SetRow,
    pub(super) measured: &'static str,
}

/// Everything on the card.
pub(super) struct Content {
    pub(super) machine: String,
    /// Heads of the columns: one an arrangement.
    pub(super) columns: Vec<String>,
    /// One an arrangement: how it is marked, and what came out.
    pub(super) statements: Vec<(Mark, String)>,
    pub(super) rows: Vec<Row>,
    /// What is made before.
    pub(super) made: Vec<SetRow>,
    pub(super) conditions: Vec<(String, String)>,
    pub(super) origin: Vec<(String, String)>,
}

impl Content {
    pub(super) fn new(plan: &Plan, limits: &LimitsResult, origin: &Origin, replay: &str) -> Self {
        let head = |name: &str, chosen: bool| format!("{name} joints{}", if chosen { ", chosen" } else { "" });
        let statement = |a: &crate::study::ArrangementLimits| {
            let mark = match &a.set {
                Ok(_) => Mark::Good,
                Err(_) => Mark::Bad,
            };
            (mark, format!("{}: {}", head(&a.name, a.chosen), verdict(plan, limits, a)))
        };
        let marked = |mut row: SetRow| {
            let inspected = |kind: &ErrorKind| plan.errors.get(*kind).is_some_and(|s| s.inspected);
            if row.kinds.iter().all(inspected) {
                row.label.push('*');
            }
            row
        };
        let installed = set_rows(plan, limits, true).into_iter().enumerate();
        Self {
            machine: plan.title.clone(),
            columns: limits.arrangements.iter().map(|a| head(&a.name, a.chosen)).collect(),
            statements: limits.arrangements.iter().map(statement).collect(),
            rows: installed
                .map(|(i, row)| Row { number: i + 1, measured: row.kinds[0].spec().measured.unwrap_or(""), set: marked(row) })
                .collect(),
            made: set_rows(plan, limits, false).into_iter().map(marked).collect(),
            conditions: conditions(plan),
            origin: vec![
                ("plan".into(), format!("{}, SHA-256 {}", origin.plan_file, origin.plan_sha256)),
                (
                    "railtrue".into(),
                    format!("version {}, seed {}, verified with seed {}", origin.version, limits.seed, crate::study::fresh(limits.seed)),
                ),
                ("again".into(), replay.into()),
            ],
        }
    }

    /// Number of an error's row.
    pub(super) fn number(&self, kind: ErrorKind) -> Option<usize> {
        self.rows.iter().find(|r| r.set.kinds.contains(&kind)).map(|r| r.number)
    }
}

fn conditions(plan: &Plan) -> Vec<(String, String)> {
    let mut list: Vec<(String, String)> = Vec::new();
    let wanted = |r: &Requirement| format!("{} {}", words(r.measure), bound_of(r));
    list.push(("required".into(), plan.requirements.iter().map(wanted).collect::<Vec<_>>().join("; ")));
    list.push((
        "rails measured".into(),
        format!(
            "at one even temperature, converted to the reference of {} °C{}, unloaded: readings under load contain the deflection",
            plain(plan.reference_c),
            if plan.reference_c == REFERENCE_TEMPERATURE_C { " (ISO 1)" } else { "" }
        ),
    ));
    let slots = plan.arrangements.iter().filter(|a| a.ends.iter().flatten().any(|j| j.components.iter().any(|c| c.take_up > 0.0)));
    let slotted: Vec<&str> = slots.map(|a| a.name.as_str()).collect();
    if !slotted.is_empty() {
        let t = &plan.tightening;
        list.push((
            format!("{} joints", slotted.join(", ")),
            format!(
                "loosened together and tightened on the machine with the bridge at {} mm, the slide at {} mm from rail A, {} kg on it, {}",
                plain(t.station_x_mm),
                plain(t.payload_y_mm),
                plain(t.payload_kg),
                temperatures(&t.thermal)
            ),
        ));
    }
    let payload = plan.duty.iter().map(|c| c.payload_kg).fold(0.0, f64::max);
    list.push(("payload".into(), format!("up to {} kg on the slide, as in the plan's duty", plain(payload))));
    let season = |s: &crate::input::plan::Season| format!("{}: {}", s.name, temperatures(&s.thermal));
    if !plan.seasons.is_empty() {
        list.push(("in service".into(), plan.seasons.iter().map(season).collect::<Vec<_>>().join("; ")));
    }
    let floats = plan.arrangements.iter().flat_map(|a| a.ends.iter().flatten()).flat_map(|j| &j.components[..3]);
    let travel =
        floats.filter_map(|c| if let Law::Float { travel, .. } = c.law { Some(travel) } else { None }).fold(f64::INFINITY, f64::min);
    if travel.is_finite() {
        list.push(("floats".into(), format!("set to mid-travel ({} mm either way), moving freely", plain(travel))));
    }
    if !plan.assumed.is_empty() {
        list.push(("assumed in the plan, not measured".into(), plan.assumed.join("; ")));
    }
    list.push(("spread".into(), "of each error as in the plan; * measured on every machine, refused beyond its limits".into()));
    list
}

/// Temperatures as differences from the plan's reference.
fn temperatures(t: &Thermal) -> String {
    let signed = |x: f64| {
        let rounded = (x * 100.0).round() / 100.0;
        if rounded > 0.0 { format!("+{} K", plain(rounded)) } else { format!("{} K", plain(rounded + 0.0)) }
    };
    if *t == Thermal::default() {
        return "at the reference temperature".into();
    }
    let top =
        if t.top_hotter_k == 0.0 { String::new() } else { format!(", bridge's top {} against its underside", signed(t.top_hotter_k)) };
    format!("bridge {}, frame {}{top}", signed(t.bridge_dt_k), signed(t.frame_dt_k))
}
