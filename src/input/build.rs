//! From a plan's text to a checked `Plan`: parse, hold against the catalogue, build the parts,
//! check what concerns several keys at once. All problems are reported together.

use super::catalogue::PLAN;
use super::document::Document;
use super::document::counted;
use super::fit::figure;
use super::inputs::inputs;
use super::plan::{Budget, DragStates, Frame, Measure, Plan, Requirement, Season, StudySettings, Thermal, Tightening, Truck};
use super::problem::{Problem, Problems};
use super::title_block::TitleBlock;
use super::view::View;
use super::{block_table, parts, tolerances};
use crate::units::REFERENCE_TEMPERATURE_C;

/// Reads a plan; `file` is its name for messages.
///
/// # Errors
/// Every problem of the file, each with line, column, key, value, allowed range and advice.
pub fn read_plan(text: &str, file: &str) -> Result<Plan, Problems> {
    let document = Document::parse(text, file, PLAN)?;
    let root = document.root(PLAN);
    let plan = build(&root);
    document.verdict()?;
    let plan = plan.ok_or_else(|| Problems { file: file.into(), list: Vec::new() })?;
    let (inputs, assumed) = inputs(&document, PLAN);
    Ok(Plan { inputs, assumed, ..plan })
}

/// A problem that was found after reading, put at its key's place in the plan.
#[must_use]
pub fn problem_at(text: &str, file: &str, key: &str, what: String, advice: String) -> Problems {
    let (line, column) = Document::parse(text, file, PLAN).map_or((1, 1), |d| d.place_of(key));
    Problems { file: file.into(), list: vec![Problem { line, column, key: key.into(), value: String::new(), what, advice }] }
}

fn build(root: &View<'_>) -> Option<Plan> {
    let trucks = trucks(root);
    // Every part is built before any is missed, so that the problems of all are reported together.
    let frame = frame(root, &trucks);
    let span = frame.as_ref().map(|f| f.span_mm).filter(|s| *s > 0.0 && root.table("frame").is_sound("span_mm")).unwrap_or(f64::INFINITY);
    let supports = parts::supports(root);
    let duty = parts::duty(root, span);
    let reference_c = root.table("temperature").optional("reference_c").unwrap_or(REFERENCE_TEMPERATURE_C);
    let arrangements = parts::arrangements(root);
    let chosen = chosen(root, &arrangements.iter().map(|a| a.name.as_str()).collect::<Vec<_>>());
    let bridge = parts::bridge(&root.table("bridge"));
    let block = block_table::block(&root.table("block"));
    let drive = parts::drive(&root.table("drive"));
    let seasons = seasons(&root.table("temperature"), reference_c);
    if seasons.iter().any(|s| s.thermal.top_hotter_k != 0.0) && bridge.height_mm.is_none() {
        let advice = "Give the height over which the difference acts.";
        root.table("bridge").problem("", "height_mm is missing, but a season has top_hotter_k", advice);
    }
    let errors = tolerances::errors(&root.table("errors"), &root.table("cost"), frame.as_ref());
    let requirements = requirements(&root.table("requirement"));
    let frame = frame?;
    let tightening = tightening(root, &frame, &duty, reference_c)?;
    let study = root.table("study");
    Some(Plan {
        site: super::site::site(root, &frame),
        reference_c,
        title: root.text("title").into(),
        chosen,
        supports,
        block,
        bridge,
        slide_kg: root.table("slide").number("mass_kg"),
        drive,
        seasons,
        errors,
        requirements,
        study: StudySettings {
            draws: study.whole("draws").unsigned_abs(),
            digits: study.has("digits").then(|| study.whole("digits").clamp(1, 3) as u32),
            seed: study.whole("seed").unsigned_abs(),
            drag: if study.text("drag") == "law" { DragStates::Law } else { DragStates::BothSigns },
        },
        budget: Budget {
            money_per_hour: root.table("budget").optional("money_per_hour"),
            currency: root.table("budget").text("currency").into(),
        },
        title_block: TitleBlock::of_plan(&root.table("title_block")),
        inputs: Vec::new(),
        assumed: Vec::new(),
        km_per_year: root.optional("km_per_year"),
        arrangements,
        tightening,
        duty,
        trucks,
        frame,
    })
}

fn chosen(root: &View<'_>, names: &[&str]) -> usize {
    let word = root.text("chosen");
    names.iter().position(|n| *n == word).unwrap_or_else(|| {
        if root.has("chosen") && !names.is_empty() && root.is_sound("arrangement") {
            root.unknown_name("chosen", "there is no such arrangement", names);
        }
        0
    })
}

fn trucks(root: &View<'_>) -> [Truck; 2] {
    let own = root.table("truck_b");
    let both = root.table("truck");
    if !both.is_there() {
        root.problem("truck", "this table is missing", "The truck of both rails, or of rail A where [truck_b] stands too.");
    }
    let a = parts::truck(&both);
    let b = if own.is_there() { parts::truck(&own) } else { a.clone() };
    [a, b]
}

fn frame(root: &View<'_>, trucks: &[Truck; 2]) -> Option<Frame> {
    let table = root.table("frame");
    let anchors_x_mm = anchors(&table)?;
    let stations_x_mm = stations(root, &table, &anchors_x_mm, trucks)?;
    let station_share = zones(root, &stations_x_mm);
    let length = anchors_x_mm[anchors_x_mm.len() - 1] - anchors_x_mm[0];
    Some(Frame {
        span_mm: table.number("span_mm"),
        station_share,
        expansion_per_k: table.number("expansion_per_k"),
        correlation_length_mm: table.optional("correlation_length_mm").unwrap_or(length / 3.0),
        anchors_x_mm,
        stations_x_mm,
    })
}

fn anchors(table: &View<'_>) -> Option<Vec<f64>> {
    if let Some(list) = table.numbers("anchors_mm") {
        let also: Vec<&str> = ["first_anchor_mm", "last_anchor_mm", "anchor_pitch_mm"].into_iter().filter(|n| table.has(n)).collect();
        if !also.is_empty() {
            let what = format!("anchors are given twice: by this list and by {}", also.join(", "));
            table.problem("anchors_mm", &what, "Give either anchors_mm, or anchor_pitch_mm with first_anchor_mm and last_anchor_mm.");
            return None;
        }
        return increasing(table, "anchors_mm", list);
    }
    let (first, last, pitch) = (table.optional("first_anchor_mm"), table.optional("last_anchor_mm"), table.optional("anchor_pitch_mm"));
    let (Some(first), Some(last), Some(pitch)) = (first, last, pitch) else {
        table.problem("", "the anchors are missing", "Give anchors_mm, or anchor_pitch_mm with first_anchor_mm and last_anchor_mm.");
        return None;
    };
    let bays = ((last - first) / pitch).round();
    if !(last > first) {
        table.problem("last_anchor_mm", "the last anchor must lie beyond the first", "Anchors run along +x.");
        return None;
    }
    if !(1.0..=1000.0).contains(&bays) || ((last - first) - bays * pitch).abs() > 0.01 * pitch {
        let n = ((last - first) / pitch).clamp(1.0, 1000.0).round();
        table.problem(
            "anchor_pitch_mm",
            "the pitch does not divide the rail into whole bays",
            &format!("{n} bays would be {} mm each; or list anchors_mm.", figure((last - first) / n)),
        );
        return None;
    }
    Some((0..=bays as usize).map(|i| first + (last - first) * i as f64 / bays).collect())
}

fn increasing(table: &View<'_>, name: &str, list: Vec<f64>) -> Option<Vec<f64>> {
    let disorder = list.windows(2).position(|w| !(w[1] > w[0]));
    if let Some(i) = disorder {
        table.problem(
            name,
            &format!("number {} ({}) does not lie beyond number {} ({})", i + 2, figure(list[i + 1]), i + 1, figure(list[i])),
            "They must increase.",
        );
        return None;
    }
    if !(2..=1001).contains(&list.len()) {
        table.problem(name, &format!("this list holds {}", counted(list.len(), "number")), "2 to 1001 are needed.");
        return None;
    }
    Some(list)
}

fn stations(root: &View<'_>, table: &View<'_>, anchors: &[f64], trucks: &[Truck; 2]) -> Option<Vec<f64>> {
    let (from, to) = (table.number("stroke_from_mm"), table.number("stroke_to_mm"));
    if !(to > from) {
        if from.is_finite() && to.is_finite() {
            table.problem("stroke_to_mm", "the stroke must end beyond its start", "Stations run along +x.");
        }
        return None;
    }
    let n = table.whole("stations").clamp(2, 501) as usize;
    let list = match table.numbers("stations_mm") {
        Some(list) => {
            if table.has("stations") {
                table.problem("stations", "stations are given twice", "Give either stations or stations_mm.");
            }
            increasing(table, "stations_mm", list)?
        }
        None => (0..n).map(|i| from + (to - from) * i as f64 / (n - 1) as f64).collect(),
    };
    if (list[0] - from).abs() > 1e-6 || (list[list.len() - 1] - to).abs() > 1e-6 {
        let (from, to) = (figure(from), figure(to));
        let advice = format!("The first must be {from} and the last {to} mm: loads are often largest at the ends.");
        table.problem("stations_mm", "the stations do not run from one end of the stroke to the other", &advice);
    }
    let last = anchors.len() - 1;
    let reach = |side: f64| trucks.iter().flat_map(|t| &t.blocks).map(|b| b.x_mm * side).fold(0.0, f64::max);
    let (low, high) = (anchors[0] - (anchors[1] - anchors[0]) / 2.0, anchors[last] + (anchors[last] - anchors[last - 1]) / 2.0);
    for (key, beyond) in [("stroke_from_mm", low - (list[0] - reach(-1.0))), ("stroke_to_mm", list[list.len() - 1] + reach(1.0) - high)] {
        let trucks = ["truck", "truck_b"].iter().all(|t| root.is_sound(t));
        if beyond > 1e-9 && trucks {
            table.problem(
                key,
                &format!("a block runs {} mm beyond the rail", figure((10.0 * beyond).round() / 10.0)),
                &format!(
                    "Rails reach half a bay past their last anchors: from {} to {} mm. Shorten the stroke or move the anchors.",
                    figure(low),
                    figure(high)
                ),
            );
        }
    }
    Some(list)
}

/// Share of the distance at each station: the stations' hat functions against the zones' density.
fn zones(root: &View<'_>, stations: &[f64]) -> Vec<f64> {
    let zones = root.tables("zone");
    let (first, last) = (stations[0], stations[stations.len() - 1]);
    let mut pieces = vec![(first, last, 1.0)];
    if !zones.is_empty() {
        pieces = zones.iter().map(|z| (z.number("from_mm"), z.number("to_mm"), z.number("share"))).collect();
        for (zone, (from, to, _)) in zones.iter().zip(&pieces) {
            if !(to > from && *from >= first - 1e-6 && *to <= last + 1e-6) && from.is_finite() && to.is_finite() {
                zone.problem(
                    "to_mm",
                    "a zone must run forward inside the stations",
                    &format!("Stations run from {} to {} mm.", figure(first), figure(last)),
                );
            }
        }
        parts::check_shares(&zones, "share");
        if root.is_sound("frame") && zones.iter().all(|z| z.is_sound("from_mm") && z.is_sound("to_mm")) {
            check_zones(&zones, &pieces, (first, last));
        }
    }
    let hat = |i: usize, from: f64, to: f64| -> f64 {
        let side = |near: f64, far: f64| {
            let (lo, hi) = (near.min(far).max(from), near.max(far).min(to));
            if hi <= lo { 0.0 } else { (hi - lo) * ((lo + hi) / 2.0 - far) / (near - far) }
        };
        let left = if i > 0 { side(stations[i], stations[i - 1]) } else { 0.0 };
        let right = if i + 1 < stations.len() { side(stations[i], stations[i + 1]) } else { 0.0 };
        left + right
    };
    let shares: Vec<f64> =
        (0..stations.len()).map(|i| pieces.iter().map(|(from, to, share)| share * hat(i, *from, *to) / (to - from)).sum()).collect();
    let total: f64 = shares.iter().sum();
    shares.iter().map(|s| s / total).collect()
}

/// Zones must follow each other over the whole stroke.
fn check_zones(zones: &[View<'_>], pieces: &[(f64, f64, f64)], (first, last): (f64, f64)) {
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by(|&a, &b| pieces[a].0.total_cmp(&pieces[b].0));
    let mut begin = first;
    for i in order {
        let from = pieces[i].0;
        if (from - begin).abs() > 1e-6 && from.is_finite() && begin.is_finite() {
            let what = if from > begin { "there is a gap before this zone" } else { "this zone overlaps another" };
            let begin = figure(begin);
            let advice =
                format!("It must begin at {begin}: zones follow each other over the whole stroke; one without travel has share = 0.");
            zones[i].problem("from_mm", what, &advice);
        }
        begin = pieces[i].1;
    }
    if let Some(zone) = zones.last().filter(|_| (begin - last).abs() > 1e-6 && begin.is_finite()) {
        zone.problem("to_mm", "the zones do not end where the stations end", &format!("The last one must end at {} mm.", figure(last)));
    }
}

fn seasons(table: &View<'_>, reference_c: f64) -> Vec<Season> {
    let seasons = table.tables("season");
    if seasons.is_empty() {
        return vec![Season { name: "reference".into(), share: 1.0, thermal: Thermal::default() }];
    }
    let total = parts::check_shares(&seasons, "share");
    seasons
        .iter()
        .map(|s| Season {
            name: s.text("name").into(),
            share: s.number("share") / total,
            thermal: Thermal {
                bridge_dt_k: s.number("bridge_c") - reference_c,
                frame_dt_k: s.number("frame_c") - reference_c,
                top_hotter_k: s.number("top_hotter_k"),
            },
        })
        .collect()
}

fn tightening(root: &View<'_>, frame: &Frame, duty: &[super::plan::LoadCase], reference_c: f64) -> Option<Tightening> {
    let table = root.table("tightening");
    let stations = &frame.stations_x_mm;
    let first = duty.first()?;
    let station_x_mm = table.optional("station_mm").unwrap_or(f64::midpoint(stations[0], stations[stations.len() - 1]));
    if !(station_x_mm >= stations[0] && station_x_mm <= stations[stations.len() - 1]) {
        let (from, to) = (figure(stations[0]), figure(stations[stations.len() - 1]));
        table.problem("station_mm", "the bridge cannot stand there", &format!("It must lie within the stroke, from {from} to {to} mm."));
    }
    let payload_y_mm = table.optional("payload_y_mm").unwrap_or(frame.span_mm / 2.0);
    if root.table("frame").is_sound("span_mm") && payload_y_mm > frame.span_mm {
        let advice = format!("It must lie between 0 and span_mm = {}.", figure(frame.span_mm));
        table.problem("payload_y_mm", "the slide would stand beyond rail B", &advice);
    }
    let half_skew = table.number("skew_mm") / 2.0;
    Some(Tightening {
        station_x_mm,
        payload_y_mm,
        payload_kg: table.optional("payload_kg").unwrap_or(first.payload_kg),
        payload_arm_mm: if table.has("payload_arm_mm") { table.vector("payload_arm_mm") } else { first.payload_arm_mm },
        thermal: Thermal {
            bridge_dt_k: table.optional("bridge_c").unwrap_or(reference_c) - reference_c,
            frame_dt_k: table.optional("frame_c").unwrap_or(reference_c) - reference_c,
            top_hotter_k: 0.0,
        },
        drive_offset_mm: if half_skew.is_finite() { [-half_skew, half_skew] } else { [0.0; 2] },
    })
}

/// Measure, key, key of its limit, and the limit assumed where the plan is silent.
const MEASURES: [(Measure, &str, &str, Option<f64>); 8] = [
    (Measure::Life, "life_km", "least", None),
    (Measure::StaticSafety, "static_safety", "least", Some(3.0)),
    (Measure::FloatTravel, "float_travel_used", "most", Some(1.0)),
    (Measure::LifeLoss, "life_loss", "most", None),
    (Measure::RowUnloading, "row_unloading", "most", None),
    (Measure::ToolDisplacement, "tool_displacement_mm", "most", None),
    (Measure::ToolYaw, "tool_yaw_mrad", "most", None),
    (Measure::JointForce, "joint_force_n", "most", None),
];

fn requirements(table: &View<'_>) -> Vec<Requirement> {
    if table.is_there() && !table.has("life_km") {
        table.problem("", "the required life is missing", "Give life_km = { least = ... }: every verdict stands on it.");
    }
    let one = |(measure, key, limit_key, assumed): (Measure, &str, &str, Option<f64>)| {
        let own = table.table(key);
        let limit = if own.is_there() { Some(own.number(limit_key)) } else { assumed };
        Some(Requirement { measure, limit: limit?, quantile: own.number("quantile"), confidence: own.number("confidence") })
    };
    MEASURES.into_iter().filter_map(one).collect()
}
