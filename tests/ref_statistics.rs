//! Sampling and statistics against published values, through the engine that the studies use.

use crate::common;

use common::{json, num};
use railtrue::draw::{run, unit_draw};
use railtrue::input::sources::Spread;
use railtrue::math::order::{quantile, wilks_size};
use railtrue::math::proportion::{clopper_pearson, lower_limit};
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{ContinuousCDF, Normal};

const N: u64 = 1_000_000;

/// A rectangular quantity with standard uncertainty u, a normal one with standard uncertainty 1.
fn rectangle(u: f64, rng: &mut ChaCha8Rng) -> f64 {
    u * 3.0_f64.sqrt() * unit_draw(Spread::Uniform, false, rng)
}

fn normal(u: f64, rng: &mut ChaCha8Rng) -> f64 {
    3.0 * u * unit_draw(Spread::Normal { capability: 1.0 }, false, rng)
}

fn sample(model: impl Fn(&mut ChaCha8Rng) -> f64 + Sync + Send) -> Vec<f64> {
    let mut values = run(0, N, 20_260, || (), |(), _, rng| model(rng));
    values.sort_by(f64::total_cmp);
    values
}

fn deviation(sorted: &[f64]) -> f64 {
    let mean = sorted.iter().sum::<f64>() / sorted.len() as f64;
    (sorted.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (sorted.len() as f64 - 1.0)).sqrt()
}

/// 95 % interval of a million draws against the exact half-width; the standard error of a 97.5 % quantile is below
/// 0.003 u, so 0.012 u is four of them.
fn interval(sorted: &[f64], middle: f64, half_width: f64, tolerance: f64) {
    for (p, expected) in [(0.025, middle - half_width), (0.975, middle + half_width)] {
        let q = quantile(sorted, p, 0.9999).unwrap();
        assert!((q.value - expected).abs() < tolerance, "{} against {expected}", q.value);
        assert!(q.low <= expected && expected <= q.high, "{expected} outside {} to {}", q.low, q.high);
    }
}

#[test]
fn ref_jcgm_101_additive_models() {
    // JCGM 101:2008, 9.2.2 to 9.2.4: +-3.92, +-3.88, +-17.0 published; exact half-widths 3.9199, 3.8794, 17.0158.
    let y = sample(|rng| (0..4).map(|_| normal(1.0, rng)).sum());
    assert!((deviation(&y) - 2.0).abs() < 0.01);
    interval(&y, 0.0, 3.919_928, 0.02);
    let y = sample(|rng| (0..4).map(|_| rectangle(1.0, rng)).sum());
    interval(&y, 0.0, 3.879_407, 0.02);
    let y = sample(|rng| (0..3).map(|_| rectangle(1.0, rng)).sum::<f64>() + rectangle(10.0, rng));
    assert!((deviation(&y) - 10.148_892).abs() < 0.03);
    interval(&y, 0.0, 17.015_814, 0.05);
}

#[test]
fn ref_jcgm_101_mass_calibration() {
    // JCGM 101:2008, 9.3: u = 0.0754 mg, 95 % interval [1.0834, 1.3825] mg published (with sampling error of its own);
    // exact 0.0754797, [1.0844333, 1.3835667].
    let checks = json("data/checks.json");
    let mass = &checks["jcgm101"]["mass"];
    let y = sample(|rng| {
        let m_r = 100_000.0 + normal(0.050, rng);
        let delta = 1.234 + normal(0.020, rng);
        let rho_a = 1.2 + 0.1 * unit_draw(Spread::Uniform, false, rng);
        let rho_w = 8000.0 + 1000.0 * unit_draw(Spread::Uniform, false, rng);
        let rho_r = 8000.0 + 50.0 * unit_draw(Spread::Uniform, false, rng);
        (m_r + delta) * (1.0 + (rho_a - 1.2) * (1.0 / rho_w - 1.0 / rho_r)) - 1e5
    });
    assert!((deviation(&y) - num(&mass["u_exact"])).abs() < 4e-4, "{}", deviation(&y));
    for (p, end) in [(0.025, 0), (0.975, 1)] {
        let q = quantile(&y, p, 0.95).unwrap().value;
        assert!((q - num(&mass["ci_exact"][end])).abs() < 1e-3, "{q}");
        assert!((q - num(&mass["ci_mcm"][end])).abs() < 5e-3, "{q}");
    }
}

#[test]
fn ref_wilks_sample_sizes() {
    // Wilks 1941; 95/95 first order 59 and 99/95 299 seen published, the rest recomputed.
    let table: [(f64, f64, [u64; 5]); 4] = [
        (0.90, 0.95, [29, 46, 61, 76, 89]),
        (0.95, 0.95, [59, 93, 124, 153, 181]),
        (0.99, 0.95, [299, 473, 628, 773, 913]),
        (0.99, 0.99, [459, 662, 838, 1001, 1157]),
    ];
    for (coverage, confidence, sizes) in table {
        for (order, size) in (1..).zip(sizes) {
            assert_eq!(wilks_size(coverage, confidence, order), Some(size), "{coverage}/{confidence} order {order}");
        }
    }
}

#[test]
fn ref_clopper_pearson() {
    // Newcombe, Statistics in Medicine 17 (1998), table I, method 5 (from memory).
    for (hits, n, low, high) in [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)] {
        let (l, h) = clopper_pearson(hits, n, 0.95).unwrap();
        assert!((l - low).abs() < 5.1e-5 && (h - high).abs() < 5.1e-5, "{hits}/{n}: {l} {h}");
    }
    // All of n: the lower limit is alpha^(1/n); with large n too.
    for n in [10, 59, 100_000] {
        let l = lower_limit(n, n, 0.05).unwrap();
        assert!((l / 0.05_f64.powf(1.0 / n as f64) - 1.0).abs() < 1e-9);
    }
    assert!(lower_limit(59, 59, 0.05).unwrap() >= 0.95 && lower_limit(58, 58, 0.05).unwrap() < 0.95);
}

#[test]
fn check_quantile_bounds_hold_the_truth_as_often_as_they_say() {
    // 1,000 samples of 300 uniform numbers: the 95 % bounds of the 90 % quantile hold it at least 93 % of the time.
    let hits = (0..1000)
        .filter(|&seed| {
            let mut values = run(0, 300, seed, || (), |(), _, rng| unit_draw(Spread::Uniform, false, rng));
            values.sort_by(f64::total_cmp);
            let q = quantile(&values, 0.9, 0.95).unwrap();
            q.low <= 0.8 && 0.8 <= q.high
        })
        .count();
    assert!((930..=990).contains(&hits), "{hits}");
}

#[test]
fn cross_draws_follow_their_distribution() {
    // Kolmogorov-Smirnov against statrs and closed forms, 100,000 draws, alpha = 0.001: critical value 1.949/sqrt(n).
    let n = 100_000;
    let triangle = |x: f64| if x < 0.0 { (x + 1.0).powi(2) / 2.0 } else { 1.0 - (1.0 - x).powi(2) / 2.0 };
    let gauss = Normal::new(0.0, 1.0 / (3.0 * 0.8)).unwrap();
    let inside = gauss.cdf(1.0) - gauss.cdf(-1.0);
    type Cdf<'a> = Box<dyn Fn(f64) -> f64 + 'a>;
    let cases: Vec<(Spread, bool, Cdf<'_>)> = vec![
        (Spread::Uniform, false, Box::new(|x| f64::midpoint(x, 1.0))),
        (Spread::Triangular, false, Box::new(triangle)),
        (Spread::Normal { capability: 0.8 }, false, Box::new(|x| gauss.cdf(x))),
        (Spread::Normal { capability: 0.8 }, true, Box::new(|x| ((gauss.cdf(x) - gauss.cdf(-1.0)) / inside).clamp(0.0, 1.0))),
    ];
    for (spread, cut, cdf) in cases {
        let mut values = run(0, n, 7, || (), |(), _, rng| unit_draw(spread, cut, rng));
        values.sort_by(f64::total_cmp);
        let distance = values
            .iter()
            .enumerate()
            .map(|(i, v)| (cdf(*v) - i as f64 / n as f64).abs().max((cdf(*v) - (i as f64 + 1.0) / n as f64).abs()))
            .fold(0.0, f64::max);
        assert!(distance < 1.949 / (n as f64).sqrt(), "{spread:?} cut {cut}: {distance}");
    }
}
