//! Laws of the variance shares on machines.

use crate::common;

use common::{plan, simple::Simple};
use railtrue::evaluate::{Evaluator, Reading};
use railtrue::input::Plan;
use railtrue::structure::Machine;
use railtrue::study::{Length, SharesResult, monte_carlo, shares};

fn evaluator(plan: &Plan) -> Vec<Evaluator<'_>> {
    vec![Evaluator::new(Machine::new(plan, 0).unwrap(), plan.study.drag).unwrap()]
}

fn simple(errors: &str) -> Plan {
    // Some weight, so that loads are smooth about nominal.
    plan(&Simple { bridge_kg: 100.0, errors: format!("[errors]\n{errors}\n"), ..Simple::default() }.text())
}

fn of(plan: &Plan, rows: u64) -> SharesResult {
    shares(&evaluator(plan), rows, 7, &|_| {}).unwrap()
}

#[test]
fn check_same_bits_with_1_2_and_5_threads() {
    let plan = simple("span = { plus_minus_mm = 0.02 }\nstraightness_lateral_a = { zone_mm = 0.02 }");
    let with = |threads: usize| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| of(&plan, 150));
    let one = with(1);
    assert!(one == with(2) && one == with(5));
}

#[test]
fn check_one_error_alone_has_the_whole_scatter_and_an_idle_one_none() {
    // With one error that scatters, it has all of the variance; an error of no width has none and is named as doing nothing.
    let plan = simple("span = { plus_minus_mm = 0.05, distribution = \"uniform\" }\nheight = { lower_mm = 0, upper_mm = 0 }");
    let sources = &of(&plan, 400).arrangements[0].sources;
    for k in 0..2 {
        assert!((sources[0].shares[k].total.value - 1.0).abs() < 4.0 * sources[0].shares[k].total.error + 1e-9);
        assert!((sources[0].linear[k] - 1.0).abs() < 1e-12, "{}", sources[0].linear[k]);
        assert_eq!((sources[1].shares[k].total.value, sources[1].linear[k]), (0.0, 0.0));
    }
    assert!(!sources[0].does_nothing() && sources[1].does_nothing());
}

#[test]
fn check_alike_errors_share_alike_and_twice_the_tolerance_is_four_times_the_share() {
    // Span offset and made length of the bridge are the same misfit with opposite signs, so the largest load, in a straight line
    // of their difference, is shared as their variances are.
    let plan = simple(
        "span = { plus_minus_mm = 0.04, distribution = \"uniform\" }\nbridge_length = { plus_minus_mm = 0.02, distribution = \"uniform\" }",
    );
    let sources = &of(&plan, 400).arrangements[0].sources;
    assert!((sources[0].linear[0] - 0.8).abs() < 0.06 && (sources[0].linear[1] - 0.8).abs() < 0.06, "{:?}", sources[0].linear);
    let alike = simple(
        "span = { plus_minus_mm = 0.03, distribution = \"uniform\" }\nbridge_length = { plus_minus_mm = 0.03, distribution = \"uniform\" }",
    );
    let sources = &of(&alike, 1500).arrangements[0].sources;
    for k in 0..2 {
        let [a, b] = [0, 1].map(|s| sources[s].shares[k].total);
        assert!((a.value - b.value).abs() < 4.0 * (a.error + b.error), "{a:?} {b:?}");
        // The load grows with the size of the difference, whichever its sign: part of the variance is interaction.
        assert!(a.value > sources[0].shares[k].first.value);
    }
}

#[test]
fn check_the_first_installations_are_those_of_the_study() {
    // Mean and scatter are those of the study's draws, within sampling.
    let plan = simple("span = { plus_minus_mm = 0.05 }\nheight = { plus_minus_mm = 0.05 }");
    let study = monte_carlo(&evaluator(&plan), Length::Fixed(1000), 7, &|_| {}).unwrap();
    let mean = study.arrangements[0].tally.of(Reading::PeakLoad).mean();
    let (own, deviation) = of(&plan, 500).arrangements[0].spread[1];
    assert!((own - mean).abs() < 5.0 * deviation / 500.0_f64.sqrt(), "{own} against {mean}");
}

#[test]
fn check_errors_of_no_width_have_no_share_of_nothing() {
    // No life is lost in any installation.
    let plan = simple("span = { lower_mm = 0, upper_mm = 0 }\nheight = { lower_mm = 0, upper_mm = 0 }");
    for source in &of(&plan, 16).arrangements[0].sources {
        assert_eq!(source.linear[0], 0.0, "{}", source.key);
    }
}
