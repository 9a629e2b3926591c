//! Readings that no rails can show together: a gauge that does not fit the lines it was read between.

use crate::input::survey::Reading;

/// Surprises from which a reading does not fit the others.
const FAR: f64 = 4.0;

/// So many at least, and one in so many of all, make a contradiction; fewer are single wrong readings.
const FEW: usize = 3;
const ONE_IN: usize = 10;

/// By how much the readings are apart, over what their uncertainties allow, where many of those of a rail and of those between
/// the rails do not fit each other; 1 where they do (ratio of Birge, Physical Review 40, 1932). Surprises: each reading's
/// distance from what the others say, in standard deviations.
pub(super) fn apart(readings: &[Reading], surprises: &[f64]) -> f64 {
    let between = readings.iter().filter(|r| r.quantity.is_difference()).count();
    let far = surprises.iter().filter(|s| s.abs() > FAR).count();
    if between == 0 || between == readings.len() || far < FEW.max(readings.len() / ONE_IN) {
        return 1.0;
    }
    (surprises.iter().map(|s| s * s).sum::<f64>() / surprises.len() as f64).sqrt().max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::survey::{Place, Quantity};

    fn readings(own: usize, between: usize) -> Vec<Reading> {
        let one = |quantity: Quantity, rail: Option<usize>| {
            let place = Place { line: 1, column: String::new(), written: String::new() };
            Reading { place, quantity, rail, x_mm: 0.0, value: 0.0, uncertainty: Some(0.02) }
        };
        let own = (0..own).map(|_| one(Quantity::Lateral, Some(0)));
        own.chain((0..between).map(|_| one(Quantity::Gauge, None))).collect()
    }

    /// By hand: three readings ten deviations off among twelve, (3 x 100 / 12)^0.5 = 5.
    #[test]
    fn check_many_readings_that_do_not_fit_are_a_contradiction_and_few_are_not() {
        let off = |far: usize| (0..12).map(|i| if i < far { -10.0 } else { 0.0 }).collect::<Vec<_>>();
        assert!((apart(&readings(8, 4), &off(3)) - 5.0).abs() < 1e-12);
        assert_eq!(apart(&readings(8, 4), &off(2)), 1.0);
        // One kind alone has nothing to contradict it; and of many readings three are few.
        assert_eq!([apart(&readings(12, 0), &off(3)), apart(&readings(0, 12), &off(3))], [1.0; 2]);
        let many: Vec<f64> = off(3).into_iter().chain(vec![0.0; 28]).collect();
        assert_eq!(apart(&readings(20, 20), &many), 1.0);
        assert_eq!(apart(&readings(8, 4), &[3.9; 12]), 1.0);
    }
}
