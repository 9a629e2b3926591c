//! Every row of the table of errors: from a plan through draws, worst case, trace and files back to the same installation, and
//! through callouts and surveys where the row says so. What a new row forgets is seen here.

use railtrue::draw::{Draws, run};
use railtrue::errors::{ErrorSpec, Form, SurveyReading, ZoneMeaning, entries};
use railtrue::evaluate::{Evaluator, ServiceState};
use railtrue::geometry::Rails;
use railtrue::input::callouts::{limits_for, read_callouts};
use railtrue::input::survey::read_survey;
use railtrue::input::{ErrorKind, Installation, Plan, read_installation, read_plan};
use railtrue::present::json::{self, Origin};
use railtrue::structure::Machine;
use railtrue::study::{ToleranceBox, map, may_be_axis, sources_alone, trace};
use railtrue::survey::planned::needs;
use railtrue::survey::{Conformity, checks, evaluate_survey};

const WIDTH: f64 = 0.4;

/// The demo with few stations and this error alone, its zone as wide as `WIDTH`.
fn alone(spec: &ErrorSpec) -> Plan {
    let text = include_str!("../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
    let (before, rest) = text.split_once("[errors]").unwrap();
    let (_, after) = rest.split_once("[study]").unwrap();
    let line = format!("{} = {{ zone_{} = {WIDTH:?}, inspected = true }}\n", spec.key, spec.unit());
    read_plan(&format!("{before}[errors]\n{line}[study]{after}"), "plan.toml").unwrap()
}

fn drawn(draws: &Draws<'_>) -> Installation {
    run(3, 1, 5, || (), |(), _, rng| draws.draw(rng)).remove(0)
}

fn within(values: &[f64], (lower, upper): (f64, f64)) -> bool {
    values.iter().all(|v| *v >= lower - 1e-12 && *v <= upper + 1e-12)
}

/// The installation holds a value of this error, and none of another.
fn is_of_this_error_only(spec: &ErrorSpec, installation: &Installation) {
    for other in &ErrorKind::ALL {
        let some = other.amounts(installation).iter().any(|v| *v != 0.0);
        assert_eq!(some, other.kind == spec.kind, "{} in an installation of {}", other.key, spec.key);
    }
}

/// Equal to the digits that mrad lose.
fn same(a: &Installation, b: &Installation) {
    for spec in &ErrorKind::ALL {
        let (a, b) = (spec.home.values(a), spec.home.values(b));
        assert_eq!(a.len(), b.len(), "{}", spec.key);
        assert!(a.iter().zip(&b).all(|(a, b)| (a - b).abs() <= 1e-15 + 1e-14 * a.abs()), "{}: {a:?} against {b:?}", spec.key);
    }
}

#[test]
fn check_every_error_goes_from_a_plan_into_an_installation_and_out_again() {
    for spec in &ErrorKind::ALL {
        let plan = alone(spec);
        let source = *plan.errors.get(spec.kind).unwrap();
        let limits = spec.zone.limits(WIDTH * spec.factor());
        assert_eq!((plan.errors.sources.len(), (source.lower, source.upper)), (1, limits), "{}", spec.key);
        let machine = Machine::new(&plan, 0).unwrap();
        let draws = Draws::new(&plan, machine.rails());
        let mut installation = drawn(&draws);
        assert!(within(&spec.amounts(&installation), limits), "{}", spec.key);
        is_of_this_error_only(spec, &installation);
        let tolerance_box = ToleranceBox::new(&plan, draws.modes().clone());
        let point = tolerance_box.random(true, &mut || 0.9);
        let corner = tolerance_box.installation(&plan, &point);
        assert!(within(&spec.amounts(&corner), limits), "{}", spec.key);
        is_of_this_error_only(spec, &corner);
        assert_eq!(tolerance_box.profiles(), usize::from(spec.is_profile()), "{}", spec.key);
        spec.clear(&mut installation);
        assert_eq!(installation, Installation::perfect(&plan), "{}", spec.key);
    }
}

/// Through the JSON of a trace, which a replay reads, and through the TOML made of it. The trace itself shows that the error does
/// something to the machine: no line of physics was forgotten.
#[test]
fn check_every_error_is_traced_written_and_read_back() {
    for spec in &ErrorKind::ALL {
        let plan = alone(spec);
        let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), plan.study.drag).unwrap();
        let installation = drawn(&Draws::new(&plan, evaluator.machine.rails()));
        let traced = trace(&evaluator, &installation, &[ServiceState::still()], &plan.frame.stations_x_mm[..1]).unwrap();
        assert!(traced.outcome != traced.perfect, "{} does nothing", spec.key);
        let origin = Origin { plan_sha256: String::new(), plan_file: String::new(), version: String::new(), balance: Vec::new() };
        let written = json::trace(&plan, &traced, &origin, &serde_json::Value::Null);
        let text = toml::to_string(&written["installation"]).unwrap();
        same(&read_installation(&text, "installation.toml", &plan).unwrap().installation, &installation);
        let costs = sources_alone(&evaluator).unwrap();
        let named = costs.iter().find(|a| a.source == spec.label).unwrap();
        let (limit, (lower, upper)) = (named.limit.unwrap(), spec.zone.limits(WIDTH));
        assert!(named.unit == spec.unit() && (limit == lower || limit == upper), "{}: {limit}", spec.key);
        if may_be_axis(spec.kind) {
            let of = map(std::slice::from_ref(&evaluator), spec, spec, true).unwrap();
            assert_eq!((of.x.key, of.x.unit), (spec.key, spec.unit()));
        }
    }
}

/// Every key of an installation file is told by one error only.
#[test]
fn check_keys_of_an_installation_are_named_once() {
    let keys: Vec<String> = entries().map(|e| e.key).collect();
    assert!(keys.len() > 20);
    for (i, key) in keys.iter().enumerate() {
        assert!(!keys[i + 1..].contains(key), "{key}");
    }
}

#[test]
fn check_callouts_feed_the_errors_whose_rows_name_them() {
    let mut fed = 0;
    for spec in &ErrorKind::ALL {
        let plan = alone(spec);
        // By its own key any error can be fed; by a word those that have one.
        let words =
            spec.callout.map(|(word, form)| (word, "", form)).into_iter().chain([("made for this test", spec.key, Form::PlusMinus)]);
        for (word, key, form) in words {
            let text = format!("item,controls,value,unit,form,per,made,shimmed_after,feeds\n1,{word},0.3,{},,cz,,,{key}\n", spec.unit());
            let callouts = read_callouts(text.as_bytes(), "callouts.csv", &plan.frame).unwrap();
            assert!(callouts.list[0].feeds.contains(&spec.kind), "{word} does not feed {}", spec.key);
            let value = 0.3 * spec.factor();
            let expected = match (form, spec.zone) {
                (Form::PlusMinus, ZoneMeaning::PeakToValley) => (0.0, 2.0 * value),
                (Form::PlusMinus, _) => (-value, value),
                (Form::Zone, zone) => zone.limits(value),
            };
            assert_eq!(limits_for(&callouts.list[0], spec.kind, &plan.frame), Ok(expected), "{word}");
            fed += 1;
        }
    }
    assert!(fed > ErrorKind::ALL.len());
}

/// Rails with one error, read at every pad to a micrometre.
fn read_at_pads(plan: &Plan, rails: &Rails, installation: &Installation) -> String {
    let mut text = "# u_point_mm = 0.001\n# u_level_mm_per_m = 0.001\n# frame_c = 20\n# bridge = off\n".to_string();
    text += "rail,station,lateral,vertical,cross_level\n";
    for (side, name) in ["A", "B"].into_iter().enumerate() {
        for x in &plan.frame.anchors_x_mm {
            let [lateral, vertical, roll] = rails.line_at(side, *x, installation);
            text += &format!("{name},{x:?},{lateral:?},{vertical:?},{:?}\n", roll * 1e3);
        }
    }
    text
}

#[test]
fn check_a_survey_reads_the_errors_whose_rows_say_so() {
    let mut read = 0;
    for spec in &ErrorKind::ALL {
        let plan = alone(spec);
        let rails = Rails::new(&plan).unwrap();
        let planned = needs(&plan).iter().any(|need| need.limits.iter().any(|(label, _)| *label == spec.label));
        assert_eq!(planned, spec.survey.is_some(), "{}", spec.key);
        let installation = drawn(&Draws::new(&plan, &rails));
        let survey = read_survey(read_at_pads(&plan, &rails, &installation).as_bytes(), "survey.csv", &plan, &[], &[]).unwrap();
        let found = evaluate_survey(&plan, &rails, &survey).unwrap();
        let list = checks(&plan, &rails, &found.measured, 1);
        let Some(reading) = spec.survey else {
            assert!(list.is_empty(), "{}", spec.key);
            continue;
        };
        let [check] = &list[..] else { panic!("{}: {list:?}", spec.key) };
        // A profile runs higher between its pads than at them.
        let slack = if matches!(reading, SurveyReading::Straightness { .. }) { 0.1 * WIDTH } else { 0.005 };
        let expected = spec.amounts(&installation)[0] / spec.factor();
        assert!(check.key == spec.key && (check.value - expected).abs() < slack, "{}: {} against {expected}", spec.key, check.value);
        assert!(check.decision.verdict != Conformity::NotSeen, "{}", spec.key);
        read += 1;
    }
    assert_eq!(read, ErrorKind::ALL.iter().filter(|s| s.survey.is_some()).count());
}
