//! Tail quantiles: how often their intervals hold the truth, what they are counted among, and the same for any number of threads.

use railtrue::evaluate::{Evaluator, Reading};
use railtrue::input::{Plan, read_plan};
use railtrue::math::order::{Quantile, quantile};
use railtrue::structure::Machine;
use railtrue::study::{Length, ONE_IN, Tail, TailQuantile, Tally, monte_carlo, tails};
use railtrue::sweep::drawn;

const READINGS: [Reading; 2] = [Reading::Life, Reading::PeakLoad];

/// Draws that are counted where there is a map.
const COUNTED: u64 = 131_072;

/// The demo at two stations without season's heat, changed.
fn demo(changes: &[(&str, &str)]) -> Plan {
    let mut text = include_str!("../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 2 ");
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
    plan.seasons.truncate(1);
    plan
}

fn evaluator(plan: &Plan, arrangement: usize) -> Evaluator<'_> {
    Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap()
}

/// Tails with nothing counted before.
fn of_seed(evaluator: &Evaluator<'_>, seed: u64) -> Vec<Tail> {
    tails(evaluator, &Tally::new(evaluator.plan()), &READINGS, seed).unwrap()
}

fn counted(found: &TailQuantile) -> Quantile {
    let TailQuantile::Counted { quantile, draws: COUNTED } = found else { panic!("{found:?}") };
    *quantile
}

/// Where the reading's tail begins, counted from the least value.
fn share(reading: Reading, one_in: u32) -> f64 {
    let chance = 1.0 / f64::from(one_in);
    if reading.more_is_better() { chance } else { 1.0 - chance }
}

/// A float that meets its stop in a few of 1,000 machines: nothing less bad announces it. Against 2,000,000 other draws, whose
/// error is a quarter of an interval's half width. Of 30 intervals that hold the truth in 95 of 100, 25 or fewer do in 1 of 60;
/// half as wide (67 of 100) 26 or more would in 1 of 60 too. `tests/calibration/tail_quantiles.rs` counts more of them.
#[test]
fn check_intervals_hold_the_truth_and_would_not_at_half_their_width() {
    let plan = demo(&[("travel_mm = 3,", "travel_mm = 1.7,")]);
    let evaluator = evaluator(&plan, 1);
    let (mut stops, mut values) = (0, READINGS.map(|_| Vec::new()));
    for seed in 1000..1020 {
        let outcomes = drawn(&evaluator, seed, 100_000).unwrap();
        stops += outcomes.iter().filter(|o| o.float_travel_used >= 1.0).count();
        values.iter_mut().zip(READINGS).for_each(|(values, reading)| values.extend(outcomes.iter().map(|o| reading.of(o))));
    }
    assert!((1_000..10_000).contains(&stops), "{stops} of 2,000,000 on their stops");
    values.iter_mut().for_each(|values| values.sort_by(f64::total_cmp));
    let mut held = [[(0, 0); 2]; 2];
    for seed in 0..30 {
        for (r, tail) in of_seed(&evaluator, seed).iter().enumerate() {
            for (k, found) in tail.quantiles.iter().enumerate() {
                let truth = quantile(&values[r], share(READINGS[r], ONE_IN[k]), 0.95).unwrap().value;
                let Quantile { value, low, high } = counted(found);
                let halved = (f64::midpoint(value, low), f64::midpoint(value, high));
                held[r][k].0 += u32::from(low <= truth && truth <= high);
                held[r][k].1 += u32::from(halved.0 <= truth && truth <= halved.1);
            }
        }
    }
    assert!(held.as_flattened().iter().all(|(whole, halved)| *whole >= 26 && *halved < 26), "{held:?}");
}

/// They are the order statistics of the first draws of the seed, of which the study's own are some; a longer study counts its own.
#[test]
fn check_a_studys_own_draws_are_carried_on_with() {
    let plan = demo(&[]);
    let evaluators = [evaluator(&plan, 1)];
    let of_study = |draws: u64| monte_carlo(&evaluators, Length::Fixed(draws), 5, &|_| {}).unwrap().arrangements.remove(0);
    let found = of_study(1000).tails;
    assert!(found == of_seed(&evaluators[0], 5) && found == of_study(20_000).tails);
    let outcomes = drawn(&evaluators[0], 5, COUNTED).unwrap();
    let longer = of_study(COUNTED + 10_000);
    for (tail, of_longer) in found.iter().zip(&longer.tails) {
        let mut values: Vec<f64> = outcomes.iter().map(|o| tail.reading.of(o)).collect();
        values.sort_by(f64::total_cmp);
        for ((found, of_longer), one_in) in tail.quantiles.iter().zip(&of_longer.quantiles).zip(ONE_IN) {
            let share = share(tail.reading, one_in);
            assert_eq!(Some(counted(found)), quantile(&values, share, 0.95));
            let TailQuantile::Counted { quantile, draws } = of_longer else { panic!("{of_longer:?}") };
            assert_eq!((*draws, Some(*quantile)), (COUNTED + 10_000, longer.tally.quantile(tail.reading, share)));
        }
    }
}

#[test]
fn check_same_bits_for_any_number_of_threads() {
    let plan = demo(&[]);
    let evaluator = evaluator(&plan, 1);
    let with = |threads: usize| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| of_seed(&evaluator, 5));
    let one = with(1);
    assert!(one == with(2) && one == with(7));
}

/// With the drag by its law the machine has no map: its study's own draws have to do, and where they do not, nothing is claimed.
#[test]
fn check_a_slow_machine_counts_its_studys_own_draws() {
    let plan = demo(&[("drag = \"both_signs\"", "drag = \"law\"")]);
    let study = monte_carlo(&[evaluator(&plan, 1)], Length::Fixed(400), 1, &|_| {}).unwrap();
    let a = &study.arrangements[0];
    for tail in &a.tails {
        let [first, second] = tail.quantiles;
        let of_tally = a.tally.quantile(tail.reading, share(tail.reading, ONE_IN[0])).unwrap();
        assert_eq!(first, TailQuantile::Counted { quantile: of_tally, draws: 400 });
        assert_eq!(second, TailQuantile::TooFewDraws { draws: 400, needed: 3688 });
    }
}

/// Machines whose floats are always on their stops are evaluated one by one: fewer of them are counted, and enough.
#[test]
fn check_machines_off_the_map_do_not_make_a_study_long() {
    let plan = demo(&[("travel_mm = 3,", "travel_mm = 0.3,")]);
    for tail in of_seed(&evaluator(&plan, 1), 1) {
        for found in tail.quantiles {
            assert!(matches!(found, TailQuantile::Counted { draws: 16_384..=32_768, .. }), "{found:?}");
        }
    }
}
