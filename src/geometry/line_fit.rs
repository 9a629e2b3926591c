//! Straightness of measured points: least-squares line, line through the end points, minimum zone; each is named,
//! because their answers differ.

/// A straight line `offset + slope x`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Value at x = 0.
    pub offset: f64,
    /// Rise per unit of x.
    pub slope: f64,
}

/// A least-squares line with the standard deviations that its own residuals give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineFit {
    /// The line.
    pub line: Line,
    /// Standard deviation of offset and slope; NaN for two points.
    pub deviation: [f64; 2],
    /// Residual standard deviation, with n - 2 degrees of freedom; NaN for two points.
    pub residual: f64,
}

impl Line {
    /// Its value at a place.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.offset + self.slope * x
    }

    /// Distance between the parallels to this line that hold all points, along z.
    #[must_use]
    pub fn zone(&self, x: &[f64], z: &[f64]) -> f64 {
        let (low, high) = x.iter().zip(z).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (x, z)| {
            let d = z - self.at(*x);
            (low.min(d), high.max(d))
        });
        (high - low).max(0.0)
    }
}

/// Least-squares line through points, by sums about the means.
///
/// Returns `None` for fewer than two points or points all at one place.
#[must_use]
pub fn least_squares(x: &[f64], z: &[f64]) -> Option<LineFit> {
    let n = x.len();
    if n < 2 || z.len() != n {
        return None;
    }
    let mean = |v: &[f64]| {
        // Twice: what the first mean leaves by rounding is taken up by the second.
        let first = v.iter().sum::<f64>() / n as f64;
        first + v.iter().map(|a| a - first).sum::<f64>() / n as f64
    };
    let (mx, mz) = (mean(x), mean(z));
    let sxx: f64 = x.iter().map(|a| (a - mx).powi(2)).sum();
    let sxz: f64 = x.iter().zip(z).map(|(a, b)| (a - mx) * (b - mz)).sum();
    if !(sxx > 0.0) {
        return None;
    }
    let slope = sxz / sxx;
    let line = Line { offset: mz - slope * mx, slope };
    let left: f64 = x.iter().zip(z).map(|(a, b)| (b - mz - slope * (a - mx)).powi(2)).sum();
    let residual = (left / (n as f64 - 2.0)).sqrt();
    Some(LineFit { line, deviation: [residual * (1.0 / n as f64 + mx * mx / sxx).sqrt(), residual / sxx.sqrt()], residual })
}

/// Line through the first and the last point in x.
#[must_use]
pub fn end_points(x: &[f64], z: &[f64]) -> Option<Line> {
    let by = |a: &usize, b: &usize| x[*a].total_cmp(&x[*b]);
    let (first, last) = ((0..x.len()).min_by(by)?, (0..x.len()).max_by(by)?);
    let slope = (z[last] - z[first]) / (x[last] - x[first]);
    slope.is_finite().then(|| Line { offset: z[first] - slope * x[first], slope })
}

/// Line of the minimum zone: the two parallels that hold all points at the least distance along z (ISO 12780-1, MZ).
///
/// The least width is reached with one parallel along an edge of the convex hull, so the edges are tried.
#[must_use]
pub fn minimum_zone(x: &[f64], z: &[f64]) -> Option<Line> {
    let mut points: Vec<(f64, f64)> = x.iter().copied().zip(z.iter().copied()).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let hull = |upper: bool| {
        let side = if upper { -1.0 } else { 1.0 };
        let mut chain: Vec<(f64, f64)> = Vec::new();
        for &p in &points {
            while let [.., a, b] = chain.as_slice()
                && side * ((b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0)) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain
    };
    let edges = [hull(true), hull(false)];
    let slopes = edges.iter().flat_map(|c| c.windows(2)).filter(|w| w[1].0 > w[0].0).map(|w| (w[1].1 - w[0].1) / (w[1].0 - w[0].0));
    let zone = |slope: &f64| Line { offset: 0.0, slope: *slope }.zone(x, z);
    let slope = slopes.min_by(|a, b| zone(a).total_cmp(&zone(b)))?;
    let reach = points.iter().map(|(x, z)| z - slope * x).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), d| (l.min(d), h.max(d)));
    Some(Line { offset: f64::midpoint(reach.0, reach.1), slope })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_points_that_make_no_line_are_refused() {
        assert!(least_squares(&[1.0], &[1.0]).is_none());
        assert!(least_squares(&[1.0, 2.0, 3.0], &[1.0, 2.0]).is_none());
        assert!(least_squares(&[2.0, 2.0, 2.0], &[1.0, 2.0, 3.0]).is_none());
        assert_eq!(least_squares(&[1.0, 3.0], &[5.0, 9.0]).unwrap().line, Line { offset: 3.0, slope: 2.0 });
        assert!(end_points(&[2.0, 2.0], &[1.0, 3.0]).is_none() && end_points(&[], &[]).is_none());
    }

    #[test]
    fn check_end_points_are_those_in_x() {
        assert_eq!(end_points(&[3.0, 4.0, 2.0], &[0.0, 9.0, 5.0]), Some(Line { offset: 1.0, slope: 2.0 }));
    }

    /// Against the widths along every pair of points; the line lies in the middle of its zone.
    #[test]
    fn cross_minimum_zone_is_the_least_over_all_pairs() {
        for seed in 0..40_u32 {
            let n = 4 + seed % 9;
            let x: Vec<f64> = (0..n).map(|i| 100.0 + 50.0 * f64::from(i * 7 % n) + f64::from(i % 2)).collect();
            let z: Vec<f64> = (0..n).map(|i| 3.0 + (f64::from(i * i * (seed + 3) + 17 * seed) * 0.37).sin()).collect();
            let mut least = f64::INFINITY;
            for i in 0..x.len() {
                for j in (0..i).filter(|j| x[*j] != x[i]) {
                    let slope = (z[i] - z[j]) / (x[i] - x[j]);
                    least = least.min(Line { offset: 0.0, slope }.zone(&x, &z));
                }
            }
            let line = minimum_zone(&x, &z).unwrap();
            assert!((line.zone(&x, &z) - least).abs() < 1e-12, "{seed}");
            let off = |l: f64, (x, z): (&f64, &f64)| l.max((z - line.at(*x)).abs());
            let most = x.iter().zip(&z).fold(0.0, off);
            assert!((most - least / 2.0).abs() < 1e-12, "{seed}: the line is not in the middle");
        }
        // Points over each other: no edge stands upright.
        let line = minimum_zone(&[0.0, 0.0, 10.0, 10.0], &[0.0, 1.0, 0.0, 1.0]).unwrap();
        assert_eq!(line, Line { offset: 0.5, slope: 0.0 });
        assert!(minimum_zone(&[1.0, 1.0], &[0.0, 1.0]).is_none());
    }

    #[test]
    fn check_end_points_meet_the_line_far_from_where_x_begins() {
        assert_eq!(end_points(&[4.0, 1.0], &[11.0, 5.0]), Some(Line { offset: 3.0, slope: 2.0 }));
    }

    /// A sum of ten thousand tenths is off by 1.6e-10, and a mean made from it alone by 1.6e-14.
    #[test]
    fn check_many_equal_readings_have_that_value_as_their_line() {
        let x: Vec<f64> = (0..10_000).map(f64::from).collect();
        let fit = least_squares(&x, &vec![0.1; x.len()]).unwrap();
        assert!((fit.line.at(5000.0) - 0.1).abs() < 1e-16, "{}", fit.line.at(5000.0) - 0.1);
        assert!(fit.residual < 1e-16, "{}", fit.residual);
    }

    /// Points given in a national grid, thousands of kilometres from its origin, against the same beside an own one.
    #[test]
    fn check_a_distant_origin_spoils_no_line() {
        let (north, east) = (5.4e9, 4.1e8);
        let x: Vec<f64> = (0..7).map(|i| north + 500.3 * f64::from(i) + 7.0 * f64::from(i % 3)).collect();
        let z: Vec<f64> = (0..7).map(|i| east + f64::from(i) + 0.01 * f64::from(i * i * 3 % 5)).collect();
        let far = least_squares(&x, &z).unwrap();
        let own = |list: &[f64], origin: f64| -> Vec<f64> { list.iter().map(|v| v - origin).collect() };
        let near = least_squares(&own(&x, north), &own(&z, east)).unwrap();
        assert!((far.line.slope - near.line.slope).abs() < 1e-12, "{} {}", far.line.slope, near.line.slope);
        assert!((far.residual - near.residual).abs() < 1e-9, "{} {}", far.residual, near.residual);
    }
}
