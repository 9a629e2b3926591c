//! What readings tell of the two rails' profiles in one direction: the plan's prior (a smooth Gaussian process beside
//! offset and slope) conditioned on the readings and their uncertainty. Where nothing was read it stays as wide as the prior.

use nalgebra::{DMatrix, DVector};

use super::profile_mixture::Member;
use crate::math::NaturalSpline;

/// One reading as a linear function of the profiles at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Place along the rails, mm.
    pub x_mm: f64,
    /// Factors on the profile of rail A and of rail B at that place.
    pub factors: [f64; 2],
    /// Further unknowns that the reading holds: number and factor.
    pub nuisance: Vec<(usize, f64)>,
    /// What was read.
    pub value: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
}

/// What is believed of one rail pair in one direction before reading. Standard deviations, in the readings' unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Prior {
    /// Offset and end-to-end slope of rail A.
    pub line_a: [f64; 2],
    /// Offset and end-to-end slope of rail B: beside those of A where `relative`.
    pub line_b: [f64; 2],
    /// True where rail B is counted from rail A's line.
    pub relative: bool,
    /// Amplitude of the smooth profile of each rail.
    pub smooth: [f64; 2],
    /// What each pad of each rail has for itself.
    pub pads: [Vec<f64>; 2],
    /// Correlation length of the smooth profile of each rail, mm.
    pub correlation_length_mm: [f64; 2],
    /// The further unknowns.
    pub nuisance: Vec<f64>,
}

/// The profiles after reading: values at the anchors, rail A's then rail B's, are `mean + root * e` with independent
/// standard normal e.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfilePosterior {
    /// Mean at the anchors.
    pub mean: DVector<f64>,
    /// Root of the covariance.
    pub root: DMatrix<f64>,
    /// Logarithm of the evidence, up to a constant of the readings.
    pub log_evidence: f64,
    /// Reading less what its neighbours and the prior say of it, over the standard deviation of that; one an observation.
    pub surprise: Vec<f64>,
    /// Where it is a mixture: what one draw's numbers are in each of its members; empty where they are normal.
    pub(super) members: Vec<Member>,
}

impl ProfilePosterior {
    /// Conditions the prior on the readings by least squares (Householder QR of readings and prior together, so that
    /// small uncertainties do not spoil it).
    ///
    /// Returns `None` where the numbers are not finite.
    #[must_use]
    pub fn new(spline: &NaturalSpline, prior: &Prior, observations: &[Observation]) -> Option<Self> {
        let basis = Basis::new(spline, prior);
        let unknowns = basis.unknowns(prior);
        let m = observations.len();
        let mut system = DMatrix::zeros(m + unknowns, unknowns);
        let mut right = DVector::zeros(m + unknowns);
        for (i, o) in observations.iter().enumerate() {
            let row = basis.row(spline, prior, o);
            for (j, v) in row.iter().enumerate() {
                system[(i, j)] = v / o.uncertainty;
            }
            right[i] = o.value / o.uncertainty;
        }
        for j in 0..unknowns {
            system[(m + j, j)] = 1.0;
        }
        let rows = system.rows(0, m).into_owned();
        let qr = system.qr();
        let mut turned = right.clone();
        qr.q_tr_mul(&mut turned);
        let r = qr.r();
        let head = turned.rows(0, unknowns).into_owned();
        let found = r.solve_upper_triangular(&head)?;
        let inverse = r.solve_upper_triangular(&DMatrix::identity(unknowns, unknowns))?;
        let misfit = right.norm_squared() - head.norm_squared();
        let log_evidence = -0.5 * misfit
            - (0..unknowns).map(|j| r[(j, j)].abs().ln()).sum::<f64>()
            - observations.iter().map(|o| o.uncertainty.ln()).sum::<f64>();
        let spread = &rows * &inverse;
        let left = right.rows(0, m) - &rows * &found;
        let surprise = (0..m).map(|i| {
            let free = (1.0 - spread.row(i).norm_squared()).max(1e-12);
            left[i] / free.sqrt()
        });
        let surprise = surprise.collect();
        let mean = &basis.at_anchors * found.rows(0, basis.at_anchors.ncols());
        let root = &basis.at_anchors * inverse.rows(0, basis.at_anchors.ncols());
        (mean.iter().all(|v| v.is_finite()) && log_evidence.is_finite()).then_some(Self {
            mean,
            root,
            log_evidence,
            surprise,
            members: Vec::new(),
        })
    }

    /// Number of the numbers that one draw takes.
    #[must_use]
    pub fn dimension(&self) -> usize {
        self.root.ncols()
    }

    /// The profiles at the anchors for a set of standard normals.
    #[must_use]
    pub fn draw(&self, normals: &[f64]) -> [Vec<f64>; 2] {
        let values = &self.mean + &self.root * DVector::from_column_slice(&normals[..self.dimension()]);
        split(&values)
    }

    /// The mean profiles at the anchors.
    #[must_use]
    pub fn mean_profiles(&self) -> [Vec<f64>; 2] {
        split(&self.mean)
    }

    /// Mean and standard deviation of a linear function of the anchor values (rail A's, then rail B's).
    #[must_use]
    pub fn of(&self, weights: &DVector<f64>) -> (f64, f64) {
        (weights.dot(&self.mean), (self.root.transpose() * weights).norm())
    }
}

fn split(values: &DVector<f64>) -> [Vec<f64>; 2] {
    let n = values.len() / 2;
    [values.as_slice()[..n].to_vec(), values.as_slice()[n..].to_vec()]
}

/// The unknowns, each of unit prior variance: lines of A and B, amplitudes of A, of B, further unknowns.
struct Basis {
    /// Anchor values of both rails per unknown (without the further ones).
    at_anchors: DMatrix<f64>,
}

impl Basis {
    fn new(spline: &NaturalSpline, prior: &Prior) -> Self {
        let x = spline.knots();
        let n = x.len();
        let modes: Vec<DMatrix<f64>> =
            (0..2).map(|rail| root_of_kernel(x, prior.smooth[rail], &prior.pads[rail], prior.correlation_length_mm[rail])).collect();
        let (ka, kb) = (modes[0].ncols(), modes[1].ncols());
        let mut at_anchors = DMatrix::zeros(2 * n, 4 + ka + kb);
        for i in 0..n {
            let s = (x[i] - f64::midpoint(x[0], x[n - 1])) / (x[n - 1] - x[0]);
            at_anchors[(i, 0)] = prior.line_a[0];
            at_anchors[(i, 1)] = prior.line_a[1] * s;
            if prior.relative {
                at_anchors[(n + i, 0)] = prior.line_a[0];
                at_anchors[(n + i, 1)] = prior.line_a[1] * s;
            }
            at_anchors[(n + i, 2)] = prior.line_b[0];
            at_anchors[(n + i, 3)] = prior.line_b[1] * s;
        }
        at_anchors.view_mut((0, 4), (n, ka)).copy_from(&modes[0]);
        at_anchors.view_mut((n, 4 + ka), (n, kb)).copy_from(&modes[1]);
        Self { at_anchors }
    }

    fn unknowns(&self, prior: &Prior) -> usize {
        self.at_anchors.ncols() + prior.nuisance.len()
    }

    fn row(&self, spline: &NaturalSpline, prior: &Prior, o: &Observation) -> Vec<f64> {
        let n = spline.knots().len();
        let weights = spline.weights(o.x_mm).value;
        let mut row = vec![0.0; self.unknowns(prior)];
        for (rail, factor) in o.factors.iter().enumerate().filter(|(_, f)| **f != 0.0) {
            for (i, w) in weights.iter().enumerate() {
                for (j, value) in row.iter_mut().enumerate().take(self.at_anchors.ncols()) {
                    *value += factor * w * self.at_anchors[(rail * n + i, j)];
                }
            }
        }
        for (k, factor) in &o.nuisance {
            row[self.at_anchors.ncols() + k] += factor * prior.nuisance[*k];
        }
        row
    }
}

/// The matrix that frees anchor values of their line, and the kernel of unit waves of a correlation length, freed of it.
#[must_use]
pub fn detrended(x: &[f64], length_mm: f64) -> (DMatrix<f64>, DMatrix<f64>) {
    let free = super::straightness::remove_line(x);
    let kernel = DMatrix::from_fn(x.len(), x.len(), |i, j| (-0.5 * ((x[i] - x[j]) / length_mm).powi(2)).exp());
    let kernel = &free * kernel * &free;
    (free, kernel)
}

/// A root of the covariance at the anchors, freed of offset and slope: smooth part and what each pad has for itself.
fn root_of_kernel(x: &[f64], smooth: f64, pads: &[f64], length_mm: f64) -> DMatrix<f64> {
    let n = x.len();
    let kernel = DMatrix::from_fn(n, n, |i, j| {
        let own = if i == j { pads.get(i).map_or(0.0, |p| p * p) } else { 0.0 };
        smooth * smooth * (-0.5 * ((x[i] - x[j]) / length_mm).powi(2)).exp() + own
    });
    let free = super::straightness::remove_line(x);
    let eigen = (&free * kernel * &free).symmetric_eigen();
    let most = eigen.eigenvalues.max().max(0.0);
    let kept: Vec<usize> = (0..n).filter(|&i| eigen.eigenvalues[i] > 1e-10 * most && most > 0.0).collect();
    DMatrix::from_fn(n, kept.len(), |i, k| eigen.eigenvectors[(i, kept[k])] * eigen.eigenvalues[kept[k]].sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spline() -> NaturalSpline {
        NaturalSpline::new(&(0..14).map(|i| 500.0 * f64::from(i)).collect::<Vec<_>>()).unwrap()
    }

    fn prior() -> Prior {
        Prior {
            line_a: [30.0; 2],
            line_b: [30.0; 2],
            relative: true,
            smooth: [0.05; 2],
            pads: Default::default(),
            correlation_length_mm: [2000.0; 2],
            nuisance: vec![],
        }
    }

    fn at(x_mm: f64, rail: usize, value: f64) -> Observation {
        Observation { x_mm, factors: [[1.0, 0.0], [0.0, 1.0]][rail], nuisance: vec![], value, uncertainty: 0.01 }
    }

    #[test]
    fn check_exact_readings_come_back_and_only_they_are_certain() {
        let truth = |x: f64| 0.4 + 0.001 * x + 0.03 * (x / 1200.0).sin();
        let all: Vec<Observation> =
            (0..14).map(|i| 500.0 * f64::from(i)).map(|x| Observation { uncertainty: 1e-6, ..at(x, 0, truth(x)) }).collect();
        let p = ProfilePosterior::new(&spline(), &prior(), &all).unwrap();
        for i in 0..14 {
            assert!((p.mean[i] - truth(500.0 * i as f64)).abs() < 1e-4, "{i}");
            assert!(p.root.row(i).norm() < 1e-5);
            assert!(p.root.row(14 + i).norm() > 5.0, "rail B was not read");
        }
    }

    #[test]
    fn check_a_stretch_never_read_is_wider() {
        let some: Vec<Observation> = (0..14).filter(|i| *i < 5 || *i > 8).map(|i| at(500.0 * f64::from(i), 0, 0.0)).collect();
        let p = ProfilePosterior::new(&spline(), &prior(), &some).unwrap();
        let deviation = |i: usize| p.root.row(i).norm();
        assert!(deviation(6) > 1.5 * deviation(3), "{} {}", deviation(6), deviation(3));
    }

    #[test]
    fn cross_posterior_equals_the_textbook_formula() {
        // m = K A' (A K A' + S)^-1 y with the same prior written out as a covariance.
        let (spline, prior) = (spline(), Prior { pads: [vec![0.01; 14], vec![0.01; 14]], ..prior() });
        let observations: Vec<Observation> =
            (0..9).map(|i| at(300.0 + 650.0 * f64::from(i), (i % 2) as usize, 0.01 * f64::from(i * i % 7))).collect();
        let p = ProfilePosterior::new(&spline, &prior, &observations).unwrap();
        let basis = Basis::new(&spline, &prior);
        let cover = &basis.at_anchors * basis.at_anchors.transpose();
        let a = DMatrix::from_fn(9, 28, |i, j| {
            let o = &observations[i];
            o.factors[j / 14] * spline.weights(o.x_mm).value[j % 14]
        });
        let noise = DMatrix::identity(9, 9) * 1e-4;
        let y = DVector::from_iterator(9, observations.iter().map(|o| o.value));
        let gain = &cover * a.transpose() * (&a * &cover * a.transpose() + noise).try_inverse().unwrap();
        let mean = &gain * y;
        let after = &cover - &gain * &a * &cover;
        let ours = &p.root * p.root.transpose();
        assert!((mean - &p.mean).amax() < 1e-6 && (after - ours).amax() < 1e-5);
    }

    /// Covariance of the anchor values as the prior's words say it: lines, smooth part and pads freed of lines.
    fn covariance(spline: &NaturalSpline, prior: &Prior) -> DMatrix<f64> {
        let x = spline.knots();
        let (n, length) = (x.len(), x[x.len() - 1] - x[0]);
        let s: Vec<f64> = x.iter().map(|v| (v - x[0]) / length - 0.5).collect();
        let line = |of: [f64; 2], i: usize, j: usize| of[0] * of[0] + of[1] * of[1] * s[i] * s[j];
        let free = super::super::straightness::remove_line(x);
        let own = |rail: usize| {
            let kernel = DMatrix::from_fn(n, n, |i, j| {
                let smooth = prior.smooth[rail] * prior.smooth[rail];
                let pad = if i == j { prior.pads[rail][i].powi(2) } else { 0.0 };
                smooth * (-(x[i] - x[j]).powi(2) / (2.0 * prior.correlation_length_mm[rail].powi(2))).exp() + pad
            });
            &free * kernel * &free
        };
        let own = [own(0), own(1)];
        DMatrix::from_fn(2 * n, 2 * n, |i, j| {
            let (a, b, i, j) = (i / n, j / n, i % n, j % n);
            let shared = if (a, b) == (0, 0) || prior.relative { line(prior.line_a, i, j) } else { 0.0 };
            let of_b = if (a, b) == (1, 1) { line(prior.line_b, i, j) } else { 0.0 };
            shared + of_b + if a == b { own[a][(i, j)] } else { 0.0 }
        })
    }

    /// Mean, covariance, evidence and each reading's surprise beside the others, from the covariance of the readings.
    #[test]
    fn cross_evidence_and_surprise_equal_the_textbook_formulas() {
        let spline = NaturalSpline::new(&(0..14).map(|i| 700.0 + 500.0 * f64::from(i)).collect::<Vec<_>>()).unwrap();
        for relative in [true, false] {
            let pads = [(0..14).map(|i| 0.01 + 0.001 * f64::from(i)).collect(), vec![0.02; 14]];
            let (line_a, line_b) = ([0.3, 0.5], [0.7, 0.4]);
            let prior = Prior {
                line_a,
                line_b,
                relative,
                smooth: [0.05, 0.08],
                pads,
                correlation_length_mm: [1500.0; 2],
                nuisance: vec![0.2, 0.1],
            };
            let reading = |i: u32| {
                let factors = [[1.0, 0.0], [0.0, 1.0], [-1.0, 1.0]][i as usize % 3];
                let value = 0.02 * f64::from(i * i % 7) - 0.05;
                let uncertainty = 0.01 + 0.005 * f64::from(i % 2);
                Observation { x_mm: 800.0 + 510.0 * f64::from(i), factors, nuisance: vec![(i as usize % 2, 1.5)], value, uncertainty }
            };
            let readings: Vec<Observation> = (0..12).map(reading).collect();
            let p = ProfilePosterior::new(&spline, &prior, &readings).unwrap();
            let k = covariance(&spline, &prior);
            let a = DMatrix::from_fn(12, 28, |i, j| readings[i].factors[j / 14] * spline.weights(readings[i].x_mm).value[j % 14]);
            let of_readings = DMatrix::from_fn(12, 12, |i, j| {
                let noise = if i == j { readings[i].uncertainty.powi(2) } else { 0.0 };
                let common = if i % 2 == j % 2 { (1.5 * prior.nuisance[i % 2]).powi(2) } else { 0.0 };
                noise + common
            }) + &a * &k * a.transpose();
            let y = DVector::from_iterator(12, readings.iter().map(|o| o.value));
            let inverse = of_readings.clone().try_inverse().unwrap();
            let gain = &k * a.transpose() * &inverse;
            assert!((&gain * &y - &p.mean).amax() < 1e-8);
            assert!((&k - &gain * &a * &k - &p.root * p.root.transpose()).amax() < 1e-8);
            let evidence = -0.5 * y.dot(&(&inverse * &y)) - 0.5 * of_readings.determinant().ln();
            assert!((evidence - p.log_evidence).abs() < 1e-6, "{evidence} {}", p.log_evidence);
            for i in 0..12 {
                let alone = (&inverse * &y)[i] / inverse[(i, i)].sqrt();
                assert!((alone - p.surprise[i]).abs() < 1e-6, "{i}: {alone} {}", p.surprise[i]);
            }
            // A linear function, and a draw with all normals at nothing and at one.
            let weights = DVector::from_fn(28, |i, _| (i as f64 * 0.3).sin());
            let (mean, deviation) = p.of(&weights);
            assert!((mean - weights.dot(&p.mean)).abs() < 1e-12);
            assert!((deviation - (&p.root * p.root.transpose() * &weights).dot(&weights).sqrt()).abs() < 1e-12);
            assert_eq!(p.draw(&vec![0.0; p.dimension()]), p.mean_profiles());
            let ones = &p.mean + p.root.column_sum();
            let drawn = p.draw(&vec![1.0; p.dimension()]);
            assert!((0..28).all(|i| (drawn[i / 14][i % 14] - ones[i]).abs() < 1e-12));
        }
    }

    /// A rail of 14 pads has 14 unknowns: offset, slope, and 12 ways to be bent.
    #[test]
    fn check_there_are_as_many_unknowns_as_pads() {
        let prior = Prior { pads: [vec![0.01; 14], vec![0.02; 14]], ..prior() };
        assert_eq!(ProfilePosterior::new(&spline(), &prior, &[at(500.0, 0, 0.1)]).unwrap().dimension(), 28);
    }

    #[test]
    fn check_numbers_too_great_to_be_squared_are_refused() {
        assert!(ProfilePosterior::new(&spline(), &prior(), &[at(500.0, 0, 1e200)]).is_none());
    }

    /// Profiles of nanometres have the same modes as those of metres.
    #[test]
    fn check_the_size_of_a_profile_does_not_change_its_modes() {
        let of = |smooth: f64| {
            let root = root_of_kernel(spline().knots(), smooth, &[], 2000.0);
            (root.ncols(), &root * root.transpose() / (smooth * smooth))
        };
        let (small, large) = (of(1e-6), of(1e3));
        assert_eq!(small.0, large.0);
        assert!((small.1 - large.1).amax() < 1e-9);
    }
}
