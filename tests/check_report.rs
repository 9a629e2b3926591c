//! What a report rests on: every leaf of its data is compared, and every value of the plan is on its page with its source.

use crate::common;

use common::plan;
use common::simple::Simple;
use railtrue::evaluate::Evaluator;
use railtrue::input::callouts::{Callouts, read_callouts};
use railtrue::input::{Plan, Provenance, read_plan};
use railtrue::present::json::{self, Origin, Record};
use railtrue::present::{
    ReportInputs, differences, histograms, loads_along_stroke, rails_drawing, review_json, review_report, study_report,
};
use railtrue::structure::Machine;
use railtrue::study::review::{Review, assign, review, with_limits};
use railtrue::study::{Length, StudyResult, balance, monte_carlo};
use serde_json::Value;

const ROWS: &str = "# drawing = X-1\n# revision = A\nitem,controls,value,unit,form,per,made,shimmed_after,feeds\n1,span,0.2,mm,plus_minus,all,welded,yes,\n2,bridge length,0.02,mm,plus_minus,all,machined,no,\n";

fn text() -> String {
    Simple {
        blocks: vec![(0.0, 0.0)],
        bridge_axial_n_per_um: 1e6,
        errors: "[errors]\nspan = { plus_minus_mm = 0.1, distribution = \"uniform\", inspected = true }\nbridge_length = { plus_minus_mm = 0.02 }\n"
            .into(),
        requirement: "[requirement]\nlife_km = { least = 100, quantile = 0.97, confidence = 0.9 }\nstatic_safety = { least = 3 }\n".into(),
        ..Simple::default()
    }
    .text()
}

fn evaluator(plan: &Plan) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()
}

fn studied(plan: &Plan) -> StudyResult {
    monte_carlo(&[evaluator(plan)], Length::Fixed(500), 1, &|_| ()).unwrap()
}

fn reviewed(plan: &Plan, callouts: &Callouts) -> Review {
    let assignment = assign(plan, callouts);
    let (drawn, adjusted) = (with_limits(plan, &assignment.drawn), with_limits(plan, &assignment.adjusted));
    review(assignment, callouts, &[evaluator(&drawn)], &[evaluator(&adjusted)], 1, 500, &|_| {}).unwrap()
}

fn origin(plan: &Plan) -> Origin {
    let found = balance(&evaluator(plan), 1).unwrap();
    Origin { plan_sha256: "5eed".into(), plan_file: "plan.toml".into(), version: "0".into(), balance: vec![found] }
}

/// Paths of all leaves and of all lists and tables that hold nothing, as JSON pointers.
fn leaves(value: &Value, at: &str, list: &mut Vec<String>) {
    match value {
        Value::Object(table) if !table.is_empty() => table.iter().for_each(|(key, v)| leaves(v, &format!("{at}/{key}"), list)),
        Value::Array(items) if !items.is_empty() => items.iter().enumerate().for_each(|(i, v)| leaves(v, &format!("{at}/{i}"), list)),
        _ => list.push(at.into()),
    }
}

/// A value that is not quite the same.
fn altered(value: &Value) -> Value {
    match value {
        Value::Null | Value::Array(_) | Value::Object(_) => Value::from(1),
        Value::Bool(b) => Value::from(!b),
        Value::Number(n) if n.is_u64() || n.is_i64() => Value::from(n.as_i64().unwrap().wrapping_add(1)),
        Value::Number(n) => Value::from(n.as_f64().unwrap() * 1.000_01 + 1e-11),
        Value::String(s) => Value::from(format!("{s} ")),
    }
}

/// Alters every leaf by itself; each must be noticed.
fn every_leaf_is_compared(value: &Value) -> usize {
    let mut list = Vec::new();
    leaves(value, "", &mut list);
    let mut changed = value.clone();
    assert!(differences(value, &changed, 1e-6).is_empty());
    for path in &list {
        let leaf = changed.pointer_mut(path).unwrap();
        let old = leaf.clone();
        *leaf = altered(&old);
        assert_eq!(differences(value, &changed, 1e-6).len(), 1, "{path}: {old} was altered and not noticed");
        *changed.pointer_mut(path).unwrap() = old;
    }
    list.len()
}

#[test]
fn check_any_altered_leaf_of_the_data_is_noticed() {
    let text = text();
    let plan = plan(&text);
    let figures = [("a.svg".to_string(), "00".to_string())];
    let record = Record { plan_text: &text, command: "railtrue study plan.toml", figures: &figures };
    let study = json::study(&plan, &studied(&plan), &origin(&plan), &record);
    assert!(every_leaf_is_compared(&study) > 300);
    let callouts = read_callouts(ROWS.as_bytes(), "callouts.csv", &plan.frame).unwrap();
    let review = review_json(&plan, &callouts, &reviewed(&plan, &callouts), &origin(&plan), &record, ("callouts.csv", "11"));
    assert!(every_leaf_is_compared(&review) > 600);
    for place in ["/plan/text", "/plan/title", "/callouts/text", "/callouts/title_block/drawing", "/balance/0/residual_below", "/command"] {
        assert!(review.pointer(place).is_some(), "{place} is not in the data");
    }
}

/// Text of a page without its tags, entities written out.
fn words(html: &str) -> String {
    let body = html.split("</style>").nth(1).unwrap();
    let mut text = String::new();
    for part in body.split('<') {
        text.push(' ');
        text += part.split_once('>').map_or(part, |(_, rest)| rest);
    }
    text.replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"")
}

#[test]
fn check_every_value_of_the_examples_is_on_the_page_with_its_source() {
    for file in ["panel-bridge", "tile-scanner", "glass-loader"] {
        let path = format!("{}/examples/{file}.toml", env!("CARGO_MANIFEST_DIR"));
        let plan = read_plan(&std::fs::read_to_string(path).unwrap(), file).unwrap();
        assert!(plan.inputs.len() > 150 && plan.values_from(Provenance::NotStated) == 0, "{file}: a value has no source");
        let origin = Origin { plan_sha256: String::new(), plan_file: file.into(), version: String::new(), balance: Vec::new() };
        let inputs = ReportInputs { plan: &plan, origin: &origin, callouts: None, command: "", data_sha256: "d47a", figures: &[] };
        let nothing = StudyResult { draws: 0, seed: 0, settled: None, arrangements: Vec::new() };
        let page = words(&study_report(&inputs, &nothing));
        assert!(page.contains("d47a"), "{file}: the page does not carry its data's hash");
        // Tolerances and limits of requirements are written as they count, all else as the plan writes it.
        let own = |table: &str| table.starts_with("errors") || table.starts_with("requirement");
        for input in plan.inputs.iter().filter(|i| !own(&i.table)) {
            assert!(page.contains(&input.value), "{file}: {}.{} = {} is not on the page", input.table, input.key, input.value);
        }
        for input in plan.inputs.iter().filter(|i| i.provenance != Provenance::Choice) {
            assert!(page.contains(&input.source), "{file}: source of {}.{}: {}", input.table, input.key, input.source);
        }
        for source in &plan.errors.sources {
            let spec = railtrue::input::ErrorKind::ALL.iter().find(|s| s.kind == source.kind).unwrap();
            assert!(page.contains(spec.label), "{file}: {} is not on the page", spec.label);
        }
    }
}

#[test]
fn check_a_title_block_that_says_nothing_is_a_line_to_fill_in() {
    let bare = plan(&text());
    let origin = Origin { plan_sha256: String::new(), plan_file: "p".into(), version: String::new(), balance: Vec::new() };
    let nothing = StudyResult { draws: 0, seed: 0, settled: None, arrangements: Vec::new() };
    let page = |plan: &Plan| {
        let inputs = ReportInputs { plan, origin: &origin, callouts: None, command: "", data_sha256: "", figures: &[] };
        study_report(&inputs, &nothing)
    };
    let html = page(&bare);
    assert_eq!(html.matches("not stated: ____").count(), 6);
    assert!(words(&html).contains("states no drawing number and no revision: until that is filled in, this verdict belongs to no drawing"));
    assert!(words(&html).contains("have no stated source"));
    let told = text().replacen("[frame]", "[title_block]\ndrawing = \"X<1>\\\"}\"\nrevision = \"B\"\n[frame]", 1);
    let html = page(&plan(&told));
    assert_eq!(html.matches("not stated: ____").count(), 4);
    assert!(words(&html).contains("about the drawing of the plan: drawing number X<1>\"}, revision B"));
    // At the foot of each printed page, where it must not end the style sheet's text.
    assert!(html.contains("content: \"X\\3c 1\\3e \\22 \\7d  B\\2c  data") && html.contains("counter(pages)"));
}

#[test]
fn check_a_review_names_the_drawing_and_counts_what_is_assumed() {
    let assumed = text().replacen("[frame]", "[frame]\nsource = \"assumed: by eye\"", 1);
    let plan = plan(&assumed);
    let in_frame = plan.inputs.iter().filter(|i| i.table == "frame" && i.provenance == Provenance::Assumed).count();
    assert!(in_frame >= 4 && plan.assumed_values() == in_frame && plan.assumed == ["frame"]);
    let callouts = read_callouts(ROWS.as_bytes(), "callouts.csv", &plan.frame).unwrap();
    let result = reviewed(&plan, &callouts);
    let origin = origin(&plan);
    let inputs =
        ReportInputs { plan: &plan, origin: &origin, callouts: Some(("callouts.csv", "11")), command: "", data_sha256: "", figures: &[] };
    let page = words(&review_report(&inputs, &callouts, &result));
    assert!(page.contains("about the drawing of the table of callouts: drawing number X-1, revision A."));
    assert!(page.contains(&format!("values {in_frame} are assumed")) && page.contains("assumed: by eye"));
    assert!(page.contains("97.0 %") && page.contains("90.0 %"), "quantile and confidence");
}

#[test]
fn check_figures_of_a_report_are_read_on_paper_and_on_a_phone() {
    let plan = plan(&text());
    let study = studied(&plan);
    let installation = &study.arrangements[0].worst.get("life_km").unwrap().installation;
    let long = "A title so long that it goes over the edge of every figure, whatever its letters, ".repeat(2);
    for title in ["short", long.as_str()] {
        let figures = [histograms(&study, title), loads_along_stroke(&study, title, 1.0), rails_drawing(&plan, installation, title)]
            .map(Result::unwrap);
        for svg in figures {
            let sizes: Vec<f64> =
                svg.match_indices("font-size=\"").map(|(i, m)| svg[i + m.len()..].split('"').next().unwrap().parse().unwrap()).collect();
            let width: f64 = svg.split("viewBox=\"0 0 ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
            // A sheet of A4 less its margins is 192 mm wide.
            let points = sizes.iter().fold(f64::INFINITY, |a, b| a.min(*b)) / width * 192.0 / 25.4 * 72.0;
            assert!(sizes.len() > 5 && points >= 8.0, "{points} points");
        }
    }
}
