//! Straightness profiles: a rail is no set of independent points, so its deviations are drawn as
//! smooth profiles over a few modes.

use nalgebra::{DMatrix, DVector};

use crate::math::NaturalSpline;
use crate::math::products::add_multiple;

/// Share of the variance that the kept modes carry.
const KEPT_VARIANCE: f64 = 0.99;

/// Points of the zone grid in each bay between two anchors.
const GRID_PER_BAY: usize = 8;

/// Karhunen-Loeve modes of the detrended squared-exponential kernel at the anchors.
#[derive(Debug, Clone)]
pub struct ProfileModes {
    /// Column m is mode m at the anchors, times its standard deviation (for a kernel of unit variance).
    pub at_anchors: DMatrix<f64>,
    /// The same modes on the grid on which peak-to-valley is taken.
    pub on_grid: DMatrix<f64>,
}

impl ProfileModes {
    /// Modes for a correlation length.
    ///
    /// The kernel exp(-(dx/l)^2/2) between the anchors is freed of its least-squares line through the
    /// anchors on both sides, and the largest eigenpairs that carry 99 % of what is left are kept. Two
    /// anchors leave nothing: no modes.
    #[must_use]
    pub fn new(spline: &NaturalSpline, correlation_length_mm: f64) -> Self {
        let x = spline.knots();
        let n = x.len();
        let kernel = DMatrix::from_fn(n, n, |i, j| (-0.5 * ((x[i] - x[j]) / correlation_length_mm).powi(2)).exp());
        let free = remove_line(x);
        let eigen = (&free * kernel * &free).symmetric_eigen();
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|&a, &b| eigen.eigenvalues[b].total_cmp(&eigen.eigenvalues[a]));
        let total: f64 = eigen.eigenvalues.iter().map(|l| l.max(0.0)).sum();
        let mut kept = Vec::new();
        let mut carried = 0.0;
        for &i in order.iter().take(n.saturating_sub(2)) {
            if carried >= KEPT_VARIANCE * total || eigen.eigenvalues[i] <= 1e-12 * n as f64 {
                break;
            }
            carried += eigen.eigenvalues[i];
            kept.push(scaled_mode(&eigen.eigenvectors.column(i).into_owned(), eigen.eigenvalues[i].sqrt()));
        }
        let at_anchors = DMatrix::from_fn(n, kept.len(), |i, m| kept[m][i]);
        let grid = grid(x);
        let to_grid = DMatrix::from_fn(grid.len(), n, |g, j| spline.weights(grid[g]).value[j]);
        Self { on_grid: to_grid * &at_anchors, at_anchors }
    }

    /// Number of modes.
    #[must_use]
    pub fn count(&self) -> usize {
        self.at_anchors.ncols()
    }

    /// Peak-to-valley on the grid of the profile with these mode amplitudes.
    #[must_use]
    pub fn peak_to_valley(&self, amplitudes: &[f64]) -> f64 {
        let mut profile = vec![0.0; self.on_grid.nrows()];
        let modes = self.on_grid.as_slice().chunks(profile.len().max(1));
        modes.zip(amplitudes).for_each(|(mode, amplitude)| add_multiple(&mut profile, mode, *amplitude));
        let ends = (f64::INFINITY, f64::NEG_INFINITY);
        let (low, high) = profile.iter().fold(ends, |(low, high): (f64, f64), value| (low.min(*value), high.max(*value)));
        (high - low).max(0.0)
    }

    /// The profile at the anchors.
    #[must_use]
    pub fn at_anchors(&self, amplitudes: &[f64]) -> Vec<f64> {
        (&self.at_anchors * DVector::from_column_slice(amplitudes)).iter().copied().collect()
    }
}

/// A mode with its sign fixed (largest entry positive), so that the same plan draws the same profiles everywhere.
fn scaled_mode(vector: &DVector<f64>, deviation: f64) -> DVector<f64> {
    let largest = vector.iter().copied().fold(0.0_f64, |a, b| if b.abs() > a.abs() + 1e-9 { b } else { a });
    vector * (deviation * largest.signum())
}

/// The matrix that takes the least-squares straight line out of values at `x`.
pub(super) fn remove_line(x: &[f64]) -> DMatrix<f64> {
    let n = x.len();
    let mean = x.iter().sum::<f64>() / n as f64;
    let spread: f64 = x.iter().map(|v| (v - mean).powi(2)).sum();
    DMatrix::from_fn(n, n, |i, j| f64::from(u8::from(i == j)) - 1.0 / n as f64 - (x[i] - mean) * (x[j] - mean) / spread)
}

fn grid(x: &[f64]) -> Vec<f64> {
    let mut points: Vec<f64> =
        x.windows(2).flat_map(|w| (0..GRID_PER_BAY).map(move |k| w[0] + (w[1] - w[0]) * k as f64 / GRID_PER_BAY as f64)).collect();
    points.extend(x.last());
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rail() -> NaturalSpline {
        NaturalSpline::new(&(0..14).map(|i| 500.0 * f64::from(i)).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn check_modes_hold_no_offset_no_slope_and_most_variance() {
        let spline = rail();
        let modes = ProfileModes::new(&spline, 6500.0 / 3.0);
        assert!((2..=6).contains(&modes.count()), "{}", modes.count());
        for column in modes.at_anchors.column_iter() {
            let slope: f64 = column.iter().zip(spline.knots()).map(|(v, x)| v * (x - 3250.0)).sum();
            assert!(column.sum().abs() < 1e-9 && slope.abs() < 1e-6);
        }
        // The variance kept is what the detrended kernel has, to 1 %.
        let free = remove_line(spline.knots());
        let l = 6500.0_f64 / 3.0;
        let kernel = DMatrix::from_fn(14, 14, |i, j| (-0.5 * ((spline.knots()[i] - spline.knots()[j]) / l).powi(2)).exp());
        let whole = (&free * kernel * &free).trace();
        let kept = modes.at_anchors.norm_squared();
        assert!(kept <= whole && kept >= 0.99 * whole, "{kept} of {whole}");
    }

    #[test]
    fn check_peak_to_valley_scales_and_two_anchors_have_none() {
        let modes = ProfileModes::new(&rail(), 2000.0);
        let a: Vec<f64> = (0..modes.count()).map(|m| 0.3 - 0.1 * m as f64).collect();
        let twice: Vec<f64> = a.iter().map(|v| -2.0 * v).collect();
        assert!((modes.peak_to_valley(&twice) - 2.0 * modes.peak_to_valley(&a)).abs() < 1e-12);
        let two = ProfileModes::new(&NaturalSpline::new(&[0.0, 1.0]).unwrap(), 1.0);
        assert_eq!(two.count(), 0);
        assert_eq!(two.peak_to_valley(&[]), 0.0);
    }

    #[test]
    fn check_the_grid_takes_eight_points_a_bay_and_the_last_anchor() {
        let expected: Vec<f64> = (0..8).map(|k| 1.0 + f64::from(k)).chain((0..8).map(|k| 9.0 + 2.0 * f64::from(k))).chain([25.0]).collect();
        assert_eq!(grid(&[1.0, 9.0, 25.0]), expected);
    }

    /// The first of the greatest entries is positive, whatever sign the eigenvectors came with.
    #[test]
    fn check_modes_have_a_stated_sign() {
        for spline in [rail(), NaturalSpline::new(&[0.0, 300.0, 1100.0, 1700.0, 2600.0, 4000.0]).unwrap()] {
            for column in ProfileModes::new(&spline, 900.0).at_anchors.column_iter() {
                let greatest = column.amax();
                let first = column.iter().find(|v| v.abs() > greatest - 1e-8 * greatest).unwrap();
                assert!(*first > 0.0, "{column}");
            }
        }
        for sign in [1.0, -1.0] {
            let mode = scaled_mode(&DVector::from_vec(vec![0.1, -0.9, 0.9, 0.4]).scale(sign), 2.0);
            assert_eq!(mode.as_slice(), [-0.2, 1.8, -1.8, -0.8]);
        }
    }

    /// Of a correlation length far beyond the rail only a bow is left, of variance 3/4 |x^2 freed of its line|^2 / l^4 (the
    /// fourth order of the kernel), and in the end nothing: 1e-12 a pad is where rounding begins.
    #[test]
    fn check_a_rail_that_hardly_bends_keeps_one_bow_or_none() {
        let spline = rail();
        let squares = DVector::from_iterator(14, spline.knots().iter().map(|x| x * x));
        let bow = (remove_line(spline.knots()) * squares).norm_squared();
        let of_variance = |variance: f64| ProfileModes::new(&spline, (0.75 * bow / variance).powf(0.25));
        let modes = of_variance(1e-10);
        assert_eq!(modes.count(), 1);
        assert!((modes.at_anchors.norm_squared() / 1e-10 - 1.0).abs() < 1e-3, "{}", modes.at_anchors.norm_squared());
        assert_eq!(of_variance(3e-12).count(), 0);
    }
}
