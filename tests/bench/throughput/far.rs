//! Draws needed for a far quantile known to 1 %, by counting plain draws and by leaned ones that are weighed.

use railtrue::input::Plan;
use railtrue::study::{Evaluator, FAR_EVALUATIONS, ONE_IN, Reading, drawn, far_ends};

/// Plain draws by which the distribution near a quantile is known, and repeats of the search.
const PLAIN: u64 = 400_000;
const REPEATS: u64 = 100;

/// Standard error that is wanted, of the quantile.
const WANTED: f64 = 0.01;

pub fn print(plan: &Plan) {
    println!("\ndraws for a standard error of 1 % of a far quantile, counted and weighed ({REPEATS} repeats):");
    for arrangement in 0..plan.arrangements.len() {
        let evaluator = super::evaluator(plan, arrangement);
        let outcomes = drawn(&evaluator, 3, PLAIN).unwrap();
        for reading in [Reading::Life, Reading::PeakLoad] {
            let mut falling: Vec<f64> = outcomes.iter().map(|o| reading.of(o)).collect();
            falling.sort_by(f64::total_cmp);
            if !reading.more_is_better() {
                falling.reverse();
            }
            of_reading(&evaluator, reading, &falling);
        }
    }
    let [search, weighed] = FAR_EVALUATIONS;
    println!("  to find the ways {search} installations are computed once for each quantity, to weigh them {weighed}");
}

/// `from_bad`: plain draws, the worst first.
fn of_reading(evaluator: &Evaluator<'_>, reading: Reading, from_bad: &[f64]) {
    let found: Vec<_> = (0..REPEATS).map(|seed| far_ends(evaluator, &[reading], 1000 + seed).unwrap().remove(0)).collect();
    for (k, one_in) in ONE_IN.iter().enumerate() {
        let (chance, n) = (1.0 / f64::from(*one_in), from_bad.len() as f64);
        let rank = (chance * n) as usize;
        let reach = 3 * (rank as f64).sqrt() as usize;
        let density = 2.0 * reach as f64 / n / (from_bad[rank + reach] - from_bad[rank - reach]).abs();
        let of_one_draw = (chance * (1.0 - chance)).sqrt() / density / from_bad[rank];
        let values: Vec<f64> = found.iter().map(|f| f.ends[k].unwrap().value).collect();
        let mean = values.iter().sum::<f64>() / REPEATS as f64;
        let scatter = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (REPEATS as f64 - 1.0)).sqrt() / mean;
        let held = found.iter().filter(|f| f.ends[k].is_some_and(|q| q.low <= from_bad[rank] && from_bad[rank] <= q.high)).count();
        let (counted, weighed) = ((of_one_draw / WANTED).powi(2), (scatter / WANTED).powi(2) * FAR_EVALUATIONS[1] as f64);
        println!(
            "  {:8} {:11} one in {one_in:4}: {counted:7.0} counted, {weighed:6.0} weighed: {:5.1} times fewer; with the search {:.1} times; mean {:+.2} % from counting (its error {:.2} %), bounds hold it {held} times",
            evaluator.machine.name(),
            reading.key(),
            counted / weighed,
            counted / (weighed + FAR_EVALUATIONS[0] as f64),
            100.0 * (mean / from_bad[rank] - 1.0),
            100.0 * of_one_draw / n.sqrt(),
        );
    }
}
