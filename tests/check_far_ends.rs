//! What one machine in a hundred and in a thousand comes to, beside counting, and for any number of threads.

use railtrue::input::{Plan, read_plan};
use railtrue::structure::Machine;
use railtrue::study::{Evaluator, ONE_IN, Reading, drawn, far_ends};

const DEMO: &str = include_str!("../examples/panel-bridge.toml");
const READINGS: [Reading; 2] = [Reading::Life, Reading::PeakLoad];

fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
}

/// Counted: order statistics of 60,000 plain draws with bounds of their own (JCGM 101:2008, 7.7; Hahn and Meeker). Both bounds
/// hold the truth, so they meet; and weighing is the more certain of the two at the farther end.
#[test]
fn check_far_ends_are_those_that_counting_finds() {
    let plan = read_plan(DEMO, "panel-bridge.toml").unwrap();
    for arrangement in 0..2 {
        let evaluator = evaluator(&plan, arrangement);
        let outcomes = drawn(&evaluator, 5, 60_000).unwrap();
        let found = far_ends(&evaluator, &READINGS, 5).unwrap();
        for (reading, far) in READINGS.iter().zip(found) {
            assert_eq!(far.reading, *reading);
            let mut values: Vec<f64> = outcomes.iter().map(|o| reading.of(o)).collect();
            values.sort_by(f64::total_cmp);
            for (one_in, end) in ONE_IN.iter().zip(far.ends) {
                let chance = 1.0 / f64::from(*one_in);
                let p = if reading.more_is_better() { chance } else { 1.0 - chance };
                let (counted, end) = (railtrue::math::order::quantile(&values, p, 0.999).unwrap(), end.unwrap());
                assert!(end.low <= end.value && end.value <= end.high, "{end:?}");
                assert!(end.low <= counted.high && counted.low <= end.high, "{reading:?} one in {one_in}: {end:?}, counted {counted:?}");
                assert!(*one_in == 100 || end.high - end.low < counted.high - counted.low, "{reading:?}: {end:?}, counted {counted:?}");
            }
        }
    }
}

/// One uniform error on a machine on springs: what one in a hundred comes to is what the machine does at 98 % (on one side at
/// 99 %) of that error, asked directly.
#[test]
fn ref_one_error_alone_has_its_far_end_at_its_own_quantile() {
    let text = DEMO.split("[errors]").next().unwrap().to_string()
        + "[errors]\nparallelism = { plus_minus_mm = 0.4, distribution = \"uniform\", inspected = true }\n";
    let plan = read_plan(&text, "one-error.toml").unwrap_or_else(|e| panic!("{e}"));
    let evaluator = evaluator(&plan, 1);
    let n = 20_000;
    // Outcomes over an even grid of the one number: their order statistics are quantiles without scatter.
    let draws = railtrue::study::Draws::new(&plan, evaluator.machine.rails());
    let service = railtrue::study::service_states(&plan);
    let mut work = railtrue::study::Work::default();
    let mut loads: Vec<f64> = (0..n)
        .step_by(10)
        .map(|i| {
            evaluator
                .evaluate(&draws.installation(&[0.4 * (2.0 * (f64::from(i) + 5.0) / f64::from(n) - 1.0)]), &service, &mut work)
                .unwrap()
                .peak_load_n
        })
        .collect();
    loads.sort_by(f64::total_cmp);
    let far = far_ends(&evaluator, &[Reading::PeakLoad], 9).unwrap().remove(0);
    for (one_in, end) in ONE_IN.iter().zip(far.ends) {
        let exact = loads[loads.len() - 1 - loads.len() / *one_in as usize];
        let next = loads[loads.len() - loads.len() / *one_in as usize];
        assert!((end.unwrap().value - exact).abs() < 2e-3 * exact.abs() + (next - exact), "one in {one_in}: {end:?}, exactly {exact}");
    }
}

#[test]
fn check_same_bits_for_any_number_of_threads() {
    let plan = read_plan(DEMO, "panel-bridge.toml").unwrap();
    let evaluator = evaluator(&plan, 1);
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| far_ends(&evaluator, &READINGS, 5).unwrap())
    };
    let one = with(1);
    assert!(one == with(2) && one == with(7));
}

/// At the contact level, or with the drag by its law, the machine has no map: nothing is claimed.
#[test]
fn check_a_machine_without_a_map_has_none() {
    let text = DEMO.replacen("element = \"ball\"", "element = \"ball\"\nlevel = \"contact\"", 1);
    let plan = read_plan(&text, "contact.toml").unwrap();
    assert_eq!(far_ends(&evaluator(&plan, 0), &READINGS, 1).unwrap(), []);
}
