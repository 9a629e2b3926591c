//! Random numbers as fast as this program could have them: xoshiro256+ (Blackman, Vigna) in eight lanes, Box-Muller eight at a
//! time; beside them what it costs to take them one by one from ChaCha8 by the ziggurat.

use super::clock::best_of;
use multiversion::multiversion;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const LANES: usize = 8;

/// Four words of state in every lane.
type State = [[u64; LANES]; 4];

/// Seconds of a uniform and of a normal number.
pub struct Cost {
    pub uniform: f64,
    pub normal: f64,
    /// A normal by the ziggurat, one by one.
    pub ziggurat: f64,
}

pub fn cost() -> Cost {
    let mut numbers = vec![0.0_f64; 1 << 12];
    let each = numbers.len() as f64;
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let ziggurat = best_of(100, || numbers.iter_mut().for_each(|x| *x = StandardNormal.sample(&mut rng)));
    // Any state but zeros will do for a time.
    let mut state: State = std::array::from_fn(|w| std::array::from_fn(|i| 0x9E37_79B9_7F4A_7C15_u64.wrapping_mul((8 * w + i + 1) as u64)));
    (0..4).for_each(|_| state = uniforms(state, &mut numbers));
    let mean = numbers.iter().sum::<f64>() / each;
    assert!((mean - 0.5).abs() < 0.05);
    let uniform = best_of(400, || state = uniforms(state, &mut numbers));
    let normal = best_of(400, || {
        state = uniforms(state, &mut numbers);
        box_muller(&mut numbers);
    });
    moments(state, &mut numbers);
    Cost { uniform: uniform / each, normal: normal / each, ziggurat: ziggurat / each }
}

/// The first four moments of many of them.
fn moments(mut state: State, numbers: &mut [f64]) {
    let mut sums = [0.0; 4];
    let rounds = 100;
    for _ in 0..rounds {
        state = uniforms(state, numbers);
        box_muller(numbers);
        for x in &*numbers {
            let powers = [*x, x * x, x * x * x, x * x * x * x];
            sums.iter_mut().zip(powers).for_each(|(s, p)| *s += p);
        }
    }
    let n = (rounds * numbers.len()) as f64;
    let [mean, square, cube, fourth] = sums.map(|s| s / n);
    let close = |value: f64, to: f64, variance: f64| (value - to).abs() < 5.0 * (variance / n).sqrt();
    assert!(close(mean, 0.0, 1.0) && close(square, 1.0, 2.0) && close(cube, 0.0, 15.0) && close(fourth, 3.0, 96.0), "no normals: {sums:?}");
}

/// Numbers in 0..1, and the state after them.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq", "x86_64+avx2"))]
fn uniforms(state: State, to: &mut [f64]) -> State {
    let [mut a, mut b, mut c, mut d] = state;
    for chunk in to.as_chunks_mut::<LANES>().0 {
        for i in 0..LANES {
            let bits = a[i].wrapping_add(d[i]);
            chunk[i] = f64::from_bits((bits >> 12) | 0x3FF0_0000_0000_0000) - 1.0;
            let t = b[i] << 17;
            c[i] ^= a[i];
            d[i] ^= b[i];
            b[i] ^= c[i];
            a[i] ^= d[i];
            c[i] ^= t;
            d[i] = d[i].rotate_left(45);
        }
    }
    [a, b, c, d]
}

/// Uniform numbers, sixteen by sixteen, to normal ones.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq", "x86_64+avx2"))]
fn box_muller(numbers: &mut [f64]) {
    for chunk in numbers.as_chunks_mut::<{ 2 * LANES }>().0 {
        let (mut a, mut b) = ([0.0; LANES], [0.0; LANES]);
        for i in 0..LANES {
            let radius = (-2.0 * ln(1.0 - chunk[i])).sqrt();
            let (sin, cos) = half_turn(chunk[LANES + i] - 0.5);
            a[i] = radius * (1.0 - 2.0 * sin * sin);
            b[i] = radius * (2.0 * sin * cos);
        }
        chunk[..LANES].copy_from_slice(&a);
        chunk[LANES..].copy_from_slice(&b);
    }
}

/// Natural logarithm in 0..=1 by the series of artanh, to about 1e-12.
#[inline(always)]
fn ln(x: f64) -> f64 {
    let bits = x.to_bits();
    let whole = f64::from_bits((bits >> 52) | 0x4330_0000_0000_0000) - 4_503_599_627_371_519.0;
    let m = f64::from_bits((bits & 0x000F_FFFF_FFFF_FFFF) | 0x3FF0_0000_0000_0000);
    let high = m > std::f64::consts::SQRT_2;
    let (m, whole) = (if high { 0.5 * m } else { m }, if high { whole + 1.0 } else { whole });
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let series =
        1.0 + z * (1.0 / 3.0 + z * (0.2 + z * (1.0 / 7.0 + z * (1.0 / 9.0 + z * (1.0 / 11.0 + z * (1.0 / 13.0 + z * (1.0 / 15.0)))))));
    whole * std::f64::consts::LN_2 + 2.0 * s * series
}

/// Sine and cosine of pi x for x in -1/2..1/2 by their series, to about 1e-11.
#[inline(always)]
fn half_turn(x: f64) -> (f64, f64) {
    let t = std::f64::consts::PI * x;
    let z = -t * t;
    let sin = t
        * (1.0
            + z * (1.0 / 6.0)
                * (1.0
                    + z * (1.0 / 20.0)
                        * (1.0
                            + z * (1.0 / 42.0)
                                * (1.0
                                    + z * (1.0 / 72.0)
                                        * (1.0 + z * (1.0 / 110.0) * (1.0 + z * (1.0 / 156.0) * (1.0 + z * (1.0 / 210.0))))))));
    let cos = 1.0
        + z * (1.0 / 2.0)
            * (1.0
                + z * (1.0 / 12.0)
                    * (1.0
                        + z * (1.0 / 30.0)
                            * (1.0
                                + z * (1.0 / 56.0)
                                    * (1.0
                                        + z * (1.0 / 90.0)
                                            * (1.0 + z * (1.0 / 132.0) * (1.0 + z * (1.0 / 182.0) * (1.0 + z * (1.0 / 240.0))))))));
    (sin, cos)
}
