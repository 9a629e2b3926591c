//! Allocation of tolerances at least cost against closed forms and a published example.

use railtrue::math::allocate::{Part, cheapest};

fn parts(costs: &[f64], exponent: f64) -> Vec<Part> {
    costs.iter().map(|cost| Part { cost: *cost, exponent, weight: 1.0 }).collect()
}

fn cost(parts: &[Part], t: &[f64]) -> f64 {
    parts.iter().zip(t).map(|(p, t)| p.cost / t.powf(p.exponent)).sum()
}

#[test]
fn ref_least_cost_closed_forms() {
    // Minimum cost of sum B / t^k for a stack of 0.2, B = 1, 2, 4, 8: closed forms by Lagrange (k = 1 reciprocal; k = 2 Spotts 1973;
    // Chase and Greenwood 1988; all from memory), recomputed with a general-purpose optimiser.
    let cases = [
        (1.0, 1.0, 0.2, [0.027_614_24, 0.039_052_43, 0.055_228_48, 0.078_104_87], 262.279_221),
        (1.0, 2.0, 0.04, [0.066_272_98, 0.083_498_73, 0.105_201_81, 0.132_545_97], 137.420_145),
        (2.0, 1.0, 0.2, [0.034_203_69, 0.043_093_95, 0.054_294_98, 0.068_407_38], 4_998.170_443),
        (2.0, 2.0, 0.04, [0.074_315_86, 0.088_376_95, 0.105_098_50, 0.124_983_89], 1_311.396_103),
    ];
    for (exponent, power, most, expected, least) in cases {
        let parts = parts(&[1.0, 2.0, 4.0, 8.0], exponent);
        let t = cheapest(&parts, power, most).unwrap();
        for (t, e) in t.iter().zip(expected) {
            // The optimiser's last digit is not exact: its first four tolerances add up to 0.200,000,02.
            assert!((t - e).abs() < 3e-8, "k {exponent} m {power}: {t} against {e}");
        }
        assert!((cost(&parts, &t) / least - 1.0).abs() < 1e-8);
        // Closed form: t ~ B^(1/(k+m)).
        let share: Vec<f64> = parts.iter().map(|p| p.cost.powf(1.0 / (exponent + power))).collect();
        let scale = (most / share.iter().map(|s| s.powf(power)).sum::<f64>()).powf(1.0 / power);
        assert!(t.iter().zip(&share).all(|(t, s)| (t / (scale * s) - 1.0).abs() < 1e-10));
    }
    // Equal tolerances cost more (300 and 6000, recomputed).
    assert!((cost(&parts(&[1.0, 2.0, 4.0, 8.0], 1.0), &[0.05; 4]) - 300.0).abs() < 1e-9);
    assert!((cost(&parts(&[1.0, 2.0, 4.0, 8.0], 2.0), &[0.05; 4]) - 6000.0).abs() < 1e-9);
}

#[test]
fn ref_shaft_and_housing() {
    // Shaft and housing with a retaining ring and two bearings (Chase; remembered, the source page was not read; both factors
    // recomputed): fixed 0.0015, 0.0025, 0.0025; free 0.008, 0.002, 0.006, 0.002; target 0.015 inch. Stacks as designed: arithmetic
    // 0.0245, root-sum-square 0.011079. Scaling the free ones alike to the target: by 0.47222 and by 1.39526.
    let (fixed, free, target) = ([0.0015, 0.0025, 0.0025], [0.008, 0.002, 0.006, 0.002], 0.015_f64);
    let all = || fixed.iter().chain(&free);
    assert!((all().sum::<f64>() - 0.0245).abs() < 1e-12);
    assert!((all().map(|t| t * t).sum::<f64>().sqrt() - 0.011_079).abs() < 5e-7);
    for (power, factor) in [(1.0, 0.472_22), (2.0, 1.395_26)] {
        let left = target.powf(power) - fixed.iter().map(|t: &f64| t.powf(power)).sum::<f64>();
        // Costs that make keeping the proportions the cheapest: B ~ t^(k+m).
        let parts: Vec<Part> = free.iter().map(|t: &f64| Part { cost: t.powf(1.0 + power), exponent: 1.0, weight: 1.0 }).collect();
        let t = cheapest(&parts, power, left).unwrap();
        assert!(t.iter().zip(&free).all(|(t, f)| (t / f - factor).abs() < 5e-6), "{t:?}");
    }
}

#[test]
fn check_no_exchange_between_two_parts_is_cheaper() {
    let parts = [
        Part { cost: 3.0, exponent: 1.0, weight: 2.0 },
        Part { cost: 0.2, exponent: 2.0, weight: 0.5 },
        Part { cost: 7.0, exponent: 1.5, weight: 1.0 },
    ];
    let t = cheapest(&parts, 2.0, 0.3).unwrap();
    let stack = |t: &[f64]| parts.iter().zip(t).map(|(p, t)| p.weight * t * t).sum::<f64>();
    assert!((stack(&t) / 0.3 - 1.0).abs() < 1e-9);
    for (i, j) in [(0, 1), (1, 2), (2, 0)] {
        for change in [-0.01, 0.01] {
            let mut other = t.clone();
            let (a, b) = (parts[i].weight * t[i] * t[i] * (1.0 + change), parts[j].weight * t[j] * t[j]);
            other[i] = (a / parts[i].weight).sqrt();
            other[j] = ((b - change * parts[i].weight * t[i] * t[i]) / parts[j].weight).sqrt();
            assert!((stack(&other) / 0.3 - 1.0).abs() < 1e-9);
            assert!(cost(&parts, &other) > cost(&parts, &t));
        }
    }
    assert!(cheapest(&parts, 2.0, 0.0).is_none() && cheapest(&[Part { cost: 0.0, ..parts[0] }], 1.0, 1.0).is_none());
}
