//! Uniform numbers leaned towards one end: what makes a far end of the drawn installations a common one.
//!
//! The density exp(theta q), q in -1/2..1/2, is the exponential tilt of a uniform number (Siegmund, Ann. Stat. 4, 1976).

/// A number leaned less than this stays as it is.
const LEAST: f64 = 0.02;

/// Leaned more than this, all points would stand in the last per cent of the range.
const MOST: f64 = 200.0;

/// Ends of the range, inside.
const INSIDE: f64 = 0.5 - f64::EPSILON / 2.0;

/// Numbers leaned, each by its own theta.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tilt {
    theta: Vec<f64>,
    /// exp(-|theta|) of each.
    far_density: Vec<f64>,
    /// ln of the norm of all: sum of ln(sinh(theta/2) / (theta/2)).
    ln_norm: f64,
}

impl Tilt {
    pub(super) fn new(theta: impl IntoIterator<Item = f64>) -> Self {
        let theta: Vec<f64> = theta.into_iter().map(|t| if t.abs() < LEAST { 0.0 } else { t.clamp(-MOST, MOST) }).collect();
        let ln_norm = theta.iter().filter(|t| **t != 0.0).map(|t| ln_sinhc(t.abs() / 2.0)).sum();
        let far_density = theta.iter().map(|t| (-t.abs()).exp()).collect();
        Self { theta, far_density, ln_norm }
    }

    /// Number `j` leaned, from a uniform one; both counted from the middle of 0..1.
    pub(super) fn lean(&self, j: usize, from_middle: f64) -> f64 {
        let theta = self.theta[j];
        if theta == 0.0 {
            return from_middle;
        }
        let (sign, size) = (theta.signum(), theta.abs());
        let u = 0.5 + sign * from_middle;
        sign * (0.5 + (u + (1.0 - u) * self.far_density[j]).ln() / size).clamp(-INSIDE, INSIDE)
    }

    /// ln of the leaned density over the plain one, of a point whose sum of numbers times theta is known.
    pub(super) fn ln_density(&self, along_theta: f64) -> f64 {
        along_theta - self.ln_norm
    }

    /// How much each is leaned.
    pub(super) fn theta(&self) -> &[f64] {
        &self.theta
    }
}

/// ln(sinh(x) / x), x > 0.
fn ln_sinhc(x: f64) -> f64 {
    // sinh(x) = exp(x) (1 - exp(-2x)) / 2
    x + (-(-2.0 * x).exp_m1() / (2.0 * x)).ln()
}

/// Mean of a number leaned by theta: coth(theta/2)/2 - 1/theta.
pub(super) fn mean(theta: f64) -> f64 {
    if theta.abs() < 1e-3 { theta / 12.0 } else { 0.5 / (theta / 2.0).tanh() - 1.0 / theta }
}

/// The leaning of a wanted mean, by bisection; the strongest for what is beyond it.
pub(super) fn with_mean(wanted: f64) -> f64 {
    let (mut low, mut high) = (0.0, MOST);
    for _ in 0..40 {
        let mid = f64::midpoint(low, high);
        if mean(mid) < wanted.abs() { low = mid } else { high = mid }
    }
    low.copysign(wanted)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Midpoints of the inverse give the mean and the norm of the density: both ways to one law.
    #[test]
    fn check_leaned_numbers_have_the_density_that_is_said() {
        let n = 200_000;
        let even = || (0..n).map(|i| (f64::from(i) + 0.5) / f64::from(n) - 0.5);
        for theta in [-60.0, -3.0, -0.05, 0.0, 0.03, 1.0, 8.0, 150.0] {
            let tilt = Tilt::new([theta]);
            let mean_of = even().map(|v| tilt.lean(0, v)).sum::<f64>() / f64::from(n);
            assert!((mean_of - mean(theta)).abs() < 2e-6, "{theta}: {mean_of}");
            // Plain numbers weighed by the density, and leaned ones by its inverse, have weight 1.
            let norm = even().map(|v| tilt.ln_density(theta * v).exp()).sum::<f64>() / f64::from(n);
            assert!((norm - 1.0).abs() < 1e-4, "{theta}: {norm}");
        }
        let tilt = Tilt::new([4.0, -2.0]);
        let back = even().map(|v| (-tilt.ln_density(4.0 * tilt.lean(0, v) - 2.0 * tilt.lean(1, -v))).exp()).sum::<f64>();
        assert!(back.is_finite() && tilt.lean(0, INSIDE) <= INSIDE && tilt.lean(1, INSIDE) > -0.5);
    }

    #[test]
    fn check_a_wanted_mean_is_met() {
        for wanted in [-0.49, -0.2, 0.001, 0.3] {
            assert!((mean(with_mean(wanted)) - wanted).abs() < 1e-10, "{wanted}");
        }
        assert!((with_mean(0.499) - MOST).abs() < 1e-9);
    }

    #[test]
    fn check_a_small_leaning_is_none_and_a_large_one_ends() {
        assert_eq!(Tilt::new([0.019]).lean(0, 0.3).to_bits(), 0.3_f64.to_bits());
        assert_eq!(Tilt::new([1e9]), Tilt::new([MOST]));
        assert_eq!(Tilt::new([f64::from(7)]).lean(0, 0.2), -Tilt::new([f64::from(-7)]).lean(0, -0.2));
    }
}
