//! When is a Monte Carlo study long enough? The adaptive procedure of JCGM 101:2008, 7.9.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Mean, standard deviation and the two ends of the 95 % interval of one sequence of draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimates {
    /// In the order mean, deviation, low end, high end.
    pub values: [f64; 4],
}

/// Number of draws in one sequence: at least 100 / (1 - p) for p = 0.95, and at least 10,000.
pub const SEQUENCE: u64 = 10_000;

impl Estimates {
    /// Estimates from one sequence; the interval is the probabilistically symmetric one.
    #[must_use]
    pub fn of(sequence: &[f64]) -> Self {
        let n = sequence.len() as f64;
        let mean = sequence.iter().sum::<f64>() / n;
        let deviation = (sequence.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let mut sorted = sequence.to_vec();
        sorted.sort_by(f64::total_cmp);
        // JCGM 101, 7.7.2: q = p M draws lie between the ends, r = (M - q) / 2 below the low one.
        let q = (0.95 * n).round() as usize;
        let r = (sequence.len() - q).div_ceil(2);
        let at = |rank: usize| sorted[rank.clamp(1, sorted.len()) - 1];
        Self { values: [mean, deviation, at(r), at(r + q)] }
    }
}

/// Numerical tolerance of a standard uncertainty for a number of significant digits: half a unit of the last one
/// (JCGM 101, 7.9.2). 0 for an uncertainty of 0.
#[must_use]
pub fn numerical_tolerance(u: f64, digits: u32) -> f64 {
    if u <= 0.0 {
        return 0.0;
    }
    // u = c x 10^l with c of so many digits; rounding may carry c into the next decade.
    let mut l = u.log10().floor() as i32 + 1 - digits as i32;
    if (u / 10.0_f64.powi(l)).round() >= 10.0_f64.powi(digits as i32) {
        l += 1;
    }
    0.5 * 10.0_f64.powi(l)
}

/// Sequences of the first stage.
const FIRST_STAGE: usize = 10;

/// True when the draws are enough for the wanted digits; `deviation` is that of all of them.
///
/// Twice the standard deviation of the mean of each of the four estimates must be within the tolerance of the deviation of
/// all draws (JCGM 101, 7.9.4, steps e to g). Looking after every sequence, that rule alone stops too early by luck, so the
/// number of sequences must also reach that of the two-stage procedure of Wuebbeler, Harris, Cox and Elster (Metrologia 47,
/// 2010; from memory): `s^2 t^2 / tolerance^2` with s from the first ten sequences and Student's t for 95 %, shared among
/// the four estimates.
#[must_use]
pub fn settled(sequences: &[Estimates], deviation: f64, digits: u32) -> bool {
    let h = sequences.len();
    if h < FIRST_STAGE {
        return false;
    }
    let tolerance = numerical_tolerance(deviation, digits);
    let Ok(student) = StudentsT::new(0.0, 1.0, FIRST_STAGE as f64 - 1.0) else { return false };
    let t = student.inverse_cdf(1.0 - 0.05 / 2.0 / 4.0);
    (0..4).all(|k| {
        let rule = 2.0 * (spread(sequences, k) / h as f64).sqrt() <= tolerance;
        let stage = spread(&sequences[..FIRST_STAGE], k) * t * t <= tolerance * tolerance * h as f64;
        rule && stage
    })
}

/// Variance of one estimate among sequences.
fn spread(sequences: &[Estimates], k: usize) -> f64 {
    let h = sequences.len() as f64;
    let mean = sequences.iter().map(|s| s.values[k]).sum::<f64>() / h;
    sequences.iter().map(|s| (s.values[k] - mean).powi(2)).sum::<f64>() / (h - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ref_jcgm_101_numerical_tolerance() {
        // JCGM 101, 7.9.2 example and 9.2.2: u = 2.0 with two digits gives 0.05; others by the same rule.
        assert!((numerical_tolerance(2.0, 2) - 0.05).abs() < 1e-15);
        assert!((numerical_tolerance(0.000_35, 1) - 0.000_05).abs() < 1e-18);
        assert!((numerical_tolerance(9.97, 2) - 0.5).abs() < 1e-12);
        assert!((numerical_tolerance(35.0, 2) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn interval_of_a_known_sequence() {
        let e = Estimates::of(&(1..=1000).map(f64::from).collect::<Vec<_>>());
        assert_eq!(e.values[2..], [25.0, 975.0]);
        assert!((e.values[0] - 500.5).abs() < 1e-9);
    }

    #[test]
    fn ref_deviation_and_interval_of_few_draws() {
        // By hand: deviation of 1..5 is sqrt(10/4); of 20 draws 19 lie between the ends (JCGM 101, 7.7.2).
        let e = Estimates::of(&[5.0, 1.0, 4.0, 2.0, 3.0]);
        assert!((e.values[1] - 2.5_f64.sqrt()).abs() < 1e-12);
        let e = Estimates::of(&(1..=20).rev().map(f64::from).collect::<Vec<_>>());
        assert_eq!(e.values[2..], [1.0, 20.0]);
        assert_eq!(numerical_tolerance(0.0, 2), 0.0);
    }

    /// Ten or more sequences whose estimates scatter by a known amount about values of deviation 2 (tolerance 0.05 with
    /// two digits): Student's t for 9 degrees of freedom and 1 - 0.05/8 is 3.111 (tables), so that s t <= 0.05 sqrt(h).
    #[test]
    fn ref_settled_follows_both_rules() {
        let deviation = 2.0;
        let sequences = |h: usize, s: f64, k: usize| -> Vec<Estimates> {
            let mut list = vec![Estimates { values: [10.0, 2.0, 8.0, 12.0] }; h];
            // Alternating values have the deviation s to the factor sqrt(h/(h-1)).
            list.iter_mut().enumerate().for_each(|(i, e)| e.values[k] += if i % 2 == 0 { s } else { -s });
            list
        };
        let s_at_10 = 0.05 * 10.0_f64.sqrt() / 3.111 / (10.0_f64 / 9.0).sqrt();
        for k in 0..4 {
            assert!(settled(&sequences(10, 0.99 * s_at_10, k), deviation, 2));
            assert!(!settled(&sequences(10, 1.01 * s_at_10, k), deviation, 2));
            // Four times as many allow twice the scatter by the second rule, and the first allows it too.
            assert!(settled(&sequences(40, 1.98 * s_at_10, k), deviation, 2));
            assert!(!settled(&sequences(40, 2.02 * s_at_10, k), deviation, 2));
        }
        assert!(!settled(&sequences(9, 0.0, 0), deviation, 2), "ten sequences at least");
        assert!(settled(&sequences(10, 0.0, 0), deviation, 2));
        // Later sequences that scatter break the first rule alone: 2 s / sqrt(h) <= 0.05.
        let mut late = sequences(20, 0.0, 0);
        late[10..].iter_mut().enumerate().for_each(|(i, e)| e.values[0] += if i % 2 == 0 { 0.2 } else { -0.2 });
        assert!(!settled(&late, deviation, 2));
        late[10..].iter_mut().for_each(|e| e.values[0] = 10.0 + 0.5 * (e.values[0] - 10.0));
        assert!(settled(&late, deviation, 2));
    }
}
