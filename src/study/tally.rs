//! What many drawn installations come to, counted as they come: memory does not grow with their number.

use super::shortfall::shortfall;
use crate::evaluate::Outcome;
use crate::evaluate::Reading;
use crate::input::Plan;
use crate::math::Distribution;
use crate::math::order::Quantile;
use rayon::prelude::*;

/// Numbers of drawn installations of which something holds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Some float reaches its stop.
    pub at_stop: u64,
    /// Some row of elements unloads.
    pub unloaded: u64,
    /// Some block is loaded beyond its static rating.
    pub beyond_static: u64,
    /// Some block is pulled by more than its preload.
    pub lifted: u64,
    /// Some slot is at its end.
    pub slot_at_end: u64,
}

impl Counts {
    fn take(&mut self, plan: &Plan, o: &Outcome) {
        self.at_stop += u64::from(o.stop_from_x_mm.is_some());
        self.unloaded += u64::from(o.row_unloading > 1.0);
        self.beyond_static += u64::from(o.static_safety < 1.0);
        self.lifted += u64::from(o.pull_n > plan.block.preload_n);
        self.slot_at_end += u64::from(o.slot_used > 0.999);
    }

    fn join(&mut self, other: Self) {
        self.at_stop += other.at_stop;
        self.unloaded += other.unloaded;
        self.beyond_static += other.beyond_static;
        self.lifted += other.lifted;
        self.slot_at_end += other.slot_at_end;
    }
}

/// What is counted of a few outcomes beside their readings.
#[derive(Debug, Clone)]
pub(super) struct Lot {
    hits: Vec<u64>,
    counts: Counts,
    first_stop_x_mm: Option<f64>,
    /// Place of the outcome with the least life.
    least_life: Option<(u64, Outcome)>,
    draws: u64,
}

impl Lot {
    pub(super) fn of(plan: &Plan, outcomes: &[Outcome]) -> Self {
        let mut counts = Counts::default();
        outcomes.iter().for_each(|o| counts.take(plan, o));
        let least = |a: (u64, Outcome), b: (u64, Outcome)| if b.1.life_km < a.1.life_km { b } else { a };
        Self {
            hits: plan.requirements.iter().map(|r| outcomes.iter().filter(|o| shortfall(r, o) <= 0.0).count() as u64).collect(),
            counts,
            first_stop_x_mm: outcomes.iter().filter_map(|o| o.stop_from_x_mm).reduce(f64::min),
            least_life: (0..).zip(outcomes.iter().copied()).reduce(least),
            draws: outcomes.len() as u64,
        }
    }
}

/// Outcomes counted.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    readings: Vec<Distribution>,
    /// How many meet each requirement of the plan, in its order.
    pub hits: Vec<u64>,
    /// How often what findings look for holds.
    pub counts: Counts,
    /// First station at which any float is on its stop, mm.
    pub first_stop_x_mm: Option<f64>,
    /// The draw with the least life, and what it comes to.
    pub least_life: Option<(u64, Outcome)>,
    draws: u64,
}

impl Tally {
    /// Counts nothing yet, for a plan's requirements.
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        Self {
            readings: vec![Distribution::default(); Reading::ALL.len()],
            hits: vec![0; plan.requirements.len()],
            counts: Counts::default(),
            first_stop_x_mm: None,
            least_life: None,
            draws: 0,
        }
    }

    /// Takes in the next outcomes, in the order of the draws: the count and the readings at once.
    #[cfg(test)]
    pub(super) fn take(&mut self, plan: &Plan, outcomes: &[Outcome]) {
        self.join(Lot::of(plan, outcomes));
        self.extend(|reading| outcomes.iter().map(|o| reading.of(o)).collect());
    }

    /// Takes in what was counted of the next outcomes.
    pub(super) fn join(&mut self, lot: Lot) {
        self.hits.iter_mut().zip(lot.hits).for_each(|(hits, more)| *hits += more);
        self.counts.join(lot.counts);
        self.first_stop_x_mm = self.first_stop_x_mm.into_iter().chain(lot.first_stop_x_mm).reduce(f64::min);
        if let Some((place, outcome)) = lot.least_life
            && self.least_life.is_none_or(|(_, least)| outcome.life_km < least.life_km)
        {
            self.least_life = Some((self.draws + place, outcome));
        }
        self.draws += lot.draws;
    }

    /// Takes in the readings of the next outcomes.
    pub(super) fn extend(&mut self, column: impl Fn(Reading) -> Vec<f64> + Sync) {
        // Each reading is counted by one thread in the order of the draws: the same bits for any number of threads.
        self.readings.par_iter_mut().zip(Reading::ALL).for_each(|(distribution, reading)| {
            let mut values = column(reading);
            if reading.is_of_rows() {
                values.retain(|v| !v.is_nan());
            }
            distribution.extend(&values);
        });
    }

    /// Ends the counting: ranks may be read.
    pub fn close(&mut self) {
        self.readings.par_iter_mut().for_each(Distribution::sort);
    }

    /// Number of installations.
    #[must_use]
    pub fn draws(&self) -> u64 {
        self.draws
    }

    /// How a reading is spread.
    #[must_use]
    pub fn of(&self, reading: Reading) -> &Distribution {
        &self.readings[reading as usize]
    }

    /// Quantile of a reading with its 95 % bounds.
    #[must_use]
    pub fn quantile(&self, reading: Reading, p: f64) -> Option<Quantile> {
        self.of(reading).quantile(p, 0.95)
    }

    /// What 95 in 100 installations reach (where more is better) or stay below; NaN without draws.
    #[must_use]
    pub fn bad_end(&self, reading: Reading) -> f64 {
        self.at_bad_end(reading).map_or(f64::NAN, |q| q.value)
    }

    /// The same with its 95 % bounds.
    #[must_use]
    pub fn at_bad_end(&self, reading: Reading) -> Option<Quantile> {
        self.quantile(reading, if reading.more_is_better() { 0.05 } else { 0.95 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    #[test]
    fn check_what_findings_look_for_is_counted_beyond_its_limit_only() {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let start = Outcome::start();
        let preload_n = plan.block.preload_n;
        let inside = Outcome { row_unloading: 1.0, static_safety: 1.0, pull_n: preload_n, slot_used: 0.99, ..start };
        let mut tally = Tally::new(&plan);
        tally.take(&plan, &[inside; 4]);
        assert_eq!((tally.counts, tally.first_stop_x_mm), (Counts::default(), None));
        let stop = |x_mm: f64| Outcome { stop_from_x_mm: Some(x_mm), ..start };
        tally.take(&plan, &[stop(900.0), stop(400.0), stop(1700.0)]);
        tally.take(&plan, &[Outcome { row_unloading: 1.01, ..start }; 5]);
        tally.take(&plan, &[Outcome { static_safety: 0.99, ..start }; 2]);
        tally.take(&plan, &[Outcome { pull_n: 1.01 * preload_n, ..start }; 6]);
        tally.take(&plan, &[Outcome { slot_used: 1.0, ..start }; 7]);
        let expected = Counts { at_stop: 3, unloaded: 5, beyond_static: 2, lifted: 6, slot_at_end: 7 };
        assert_eq!((tally.counts, tally.first_stop_x_mm, tally.draws()), (expected, Some(400.0), 27));
    }

    /// Of lives and loads from 1 to 1,000 the fiftieth life and the 950th load are reached by 95 in 100.
    #[test]
    fn check_the_bad_end_is_low_where_more_is_better() {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let mut tally = Tally::new(&plan);
        assert!(tally.bad_end(Reading::Life).is_nan());
        let of = |i: u32| Outcome { life_km: f64::from(i), peak_load_n: f64::from(i), ..Outcome::start() };
        tally.take(&plan, &(1..=1000).rev().map(of).collect::<Vec<_>>());
        tally.close();
        assert_eq!((tally.bad_end(Reading::Life), tally.bad_end(Reading::PeakLoad)), (50.0, 950.0));
        assert_eq!(tally.least_life.map(|(i, o)| (i, o.life_km)), Some((999, 1.0)));
    }
}
