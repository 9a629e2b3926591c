//! Random numbers as fast as this program could have them, in single precision: xoshiro256+ (Blackman, Vigna) in eight lanes, two
//! numbers to a word, Box-Muller sixteen at a time; beside them what it costs to take them one by one from ChaCha8 by the ziggurat.

use super::clock::best_of;
use multiversion::{multiversion, target::target_cfg_f};
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
    let mut numbers = vec![0.0_f32; 1 << 12];
    let each = numbers.len() as f64;
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut singly = vec![0.0_f64; 1 << 12];
    let ziggurat = best_of(100, || singly.iter_mut().for_each(|x| *x = StandardNormal.sample(&mut rng)));
    // Any state but zeros will do for a time.
    let mut state: State = std::array::from_fn(|w| std::array::from_fn(|i| 0x9E37_79B9_7F4A_7C15_u64.wrapping_mul((8 * w + i + 1) as u64)));
    (0..4).for_each(|_| state = uniforms(state, &mut numbers));
    let mean = numbers.iter().copied().map(f64::from).sum::<f64>() / each;
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
fn moments(mut state: State, numbers: &mut [f32]) {
    let mut sums = [0.0; 4];
    let rounds = 100;
    for _ in 0..rounds {
        state = uniforms(state, numbers);
        box_muller(numbers);
        for x in numbers.iter().copied().map(f64::from) {
            let powers = [x, x * x, x * x * x, x * x * x * x];
            sums.iter_mut().zip(powers).for_each(|(s, p)| *s += p);
        }
    }
    let n = (rounds * numbers.len()) as f64;
    let [mean, square, cube, fourth] = sums.map(|s| s / n);
    let close = |value: f64, to: f64, variance: f64| (value - to).abs() < 5.0 * (variance / n).sqrt();
    assert!(close(mean, 0.0, 1.0) && close(square, 1.0, 2.0) && close(cube, 0.0, 15.0) && close(fourth, 3.0, 96.0), "no normals: {sums:?}");
}

/// Numbers in 0..1, and the state after them.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
fn uniforms(state: State, to: &mut [f32]) -> State {
    let [mut a, mut b, mut c, mut d] = state;
    let number = |bits: u32| f32::from_bits((bits >> 9) | 0x3F80_0000) - 1.0;
    for chunk in to.as_chunks_mut::<{ 2 * LANES }>().0 {
        let mut words = [0; LANES];
        for i in 0..LANES {
            words[i] = a[i].wrapping_add(d[i]);
            let t = b[i] << 17;
            c[i] ^= a[i];
            d[i] ^= b[i];
            b[i] ^= c[i];
            a[i] ^= d[i];
            c[i] ^= t;
            d[i] = d[i].rotate_left(45);
        }
        for i in 0..LANES {
            (chunk[2 * i], chunk[2 * i + 1]) = (number(words[i] as u32), number((words[i] >> 32) as u32));
        }
    }
    [a, b, c, d]
}

/// Numbers of one register's width.
const WIDE: usize = 16;

/// Uniform numbers, thirty-two by thirty-two, to normal ones.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
fn box_muller(numbers: &mut [f32]) {
    const FUSED: bool = target_cfg_f!(target_feature = "fma");
    for chunk in numbers.as_chunks_mut::<{ 2 * WIDE }>().0 {
        let (mut a, mut b) = ([0.0; WIDE], [0.0; WIDE]);
        for i in 0..WIDE {
            let radius = (-2.0 * ln::<FUSED>(1.0 - chunk[i])).sqrt();
            let (sin, cos) = half_turn::<FUSED>(chunk[WIDE + i] - 0.5);
            a[i] = radius * (1.0 - 2.0 * sin * sin);
            b[i] = radius * (2.0 * sin * cos);
        }
        chunk[..WIDE].copy_from_slice(&a);
        chunk[WIDE..].copy_from_slice(&b);
    }
}

/// A polynomial, from the highest coefficient down.
#[inline(always)]
fn polynomial<const FUSED: bool, const N: usize>(x: f32, coefficients: [f32; N]) -> f32 {
    coefficients.into_iter().fold(0.0, |sum, c| if FUSED { sum.mul_add(x, c) } else { sum * x + c })
}

/// Natural logarithm in 0..=1 by the series of artanh, to about 1e-7.
#[inline(always)]
fn ln<const FUSED: bool>(x: f32) -> f32 {
    let bits = x.to_bits();
    let whole = ((bits >> 23).cast_signed() - 127) as f32;
    let m = f32::from_bits((bits & 0x007F_FFFF) | 0x3F80_0000);
    let high = m > std::f32::consts::SQRT_2;
    let (m, whole) = (if high { 0.5 * m } else { m }, if high { whole + 1.0 } else { whole });
    let s = (m - 1.0) / (m + 1.0);
    whole * std::f32::consts::LN_2 + s * polynomial::<FUSED, 5>(s * s, [2.0 / 9.0, 2.0 / 7.0, 2.0 / 5.0, 2.0 / 3.0, 2.0])
}

/// Sine and cosine of pi x for x in -1/2..1/2 by their series, to about 1e-7.
#[inline(always)]
fn half_turn<const FUSED: bool>(x: f32) -> (f32, f32) {
    let t = std::f32::consts::PI * x;
    let z = -t * t;
    let sin = t * polynomial::<FUSED, 6>(z, [1.0 / 39_916_800.0, 1.0 / 362_880.0, 1.0 / 5040.0, 1.0 / 120.0, 1.0 / 6.0, 1.0]);
    let cos = polynomial::<FUSED, 7>(z, [1.0 / 479_001_600.0, 1.0 / 3_628_800.0, 1.0 / 40_320.0, 1.0 / 720.0, 1.0 / 24.0, 0.5, 1.0]);
    (sin, cos)
}
