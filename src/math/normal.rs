//! Standard normal quantiles, many at a time: one uniform number makes one normal one.

use multiversion::{multiversion, target::target_cfg_f};

use super::lanes::{LANES, Lane, each, multiply_add};

/// Quotient of two polynomials, coefficients from the constant on.
struct Quotient {
    above: [f64; 8],
    below: [f64; 8],
}

/// Where the formula of the middle ends: -ln(1 - 4 q^2); one number in a thousand is beyond.
const MIDDLE: f32 = 6.25;

/// Quantile over q sqrt(8), by powers of -ln(1 - 4 q^2) - 3.125 from the constant on, the variable of Giles, Approximating the erfinv
/// function (GPU Computing Gems, 2011): Chebyshev's approximation of degree 10 to values of 40 digits (mpmath 1.4.1, `chebyfit`), off
/// by 1.3e-8.
const CENTRE: [f32; 11] = [
    1.653_654_6,
    0.240_158_18,
    -0.006_033_683,
    -0.000_740_698_7,
    0.000_186_759_4,
    -1.388_702e-5,
    -1.379_974_3e-6,
    4.256_628e-7,
    -2.565_287_7e-8,
    -4.607_646_5e-9,
    6.983_681e-10,
];

// Wichura, Algorithm AS 241 (Applied Statistics 37, 1988), PPND16: about 1e-16 relative.
const SHOULDER: Quotient = Quotient {
    above: [
        1.423_437_110_749_683_5,
        4.630_337_846_156_546,
        5.769_497_221_460_691,
        3.647_848_324_763_204_5,
        1.270_458_252_452_368_4,
        2.417_807_251_774_506e-1,
        2.272_384_498_926_918_4e-2,
        7.745_450_142_783_414e-4,
    ],
    below: [
        1.0,
        2.053_191_626_637_759,
        1.676_384_830_183_803_8,
        6.897_673_349_851e-1,
        1.481_039_764_274_800_8e-1,
        1.519_866_656_361_645_7e-2,
        5.475_938_084_995_345e-4,
        1.050_750_071_644_416_9e-9,
    ],
};
const TAIL: Quotient = Quotient {
    above: [
        6.657_904_643_501_103,
        5.463_784_911_164_114,
        1.784_826_539_917_291_3,
        2.965_605_718_285_048_7e-1,
        2.653_218_952_657_612_4e-2,
        1.242_660_947_388_078_4e-3,
        2.711_555_568_743_487_6e-5,
        2.010_334_399_292_288_1e-7,
    ],
    below: [
        1.0,
        5.998_322_065_558_88e-1,
        1.369_298_809_227_358e-1,
        1.487_536_129_085_061_5e-2,
        7.868_691_311_456_133e-4,
        1.846_318_317_510_054_7e-5,
        1.421_511_758_316_446e-7,
        2.044_263_103_389_939_8e-15,
    ],
};

impl Quotient {
    #[inline(always)]
    fn at(&self, x: f64) -> f64 {
        let polynomial = |c: &[f64; 8]| c.iter().rev().fold(0.0, |sum, c| sum * x + c);
        polynomial(&self.above) / polynomial(&self.below)
    }
}

/// Quantile of 0.5 + q, |q| < 0.5, near an end.
#[cold]
fn outside(q: f64) -> f64 {
    let r = (-(0.5 - q.abs()).ln()).sqrt();
    let size = if r > 5.0 { TAIL.at(r - 5.0) } else { SHOULDER.at(r - 1.6) };
    size.copysign(q)
}

/// Even and odd powers apart: they do not wait for each other.
#[inline(always)]
fn centre<const FUSED: bool>(x: f32) -> f32 {
    let square = x * x;
    let powers = |from: usize| (from..CENTRE.len()).step_by(2).rev().fold(0.0, |sum, k| multiply_add::<FUSED, _>(sum, square, CENTRE[k]));
    multiply_add::<FUSED, _>(x, powers(1), powers(0))
}

/// Quantiles of 0.5 + q, |q| < 0.5, of so many lanes. What is near 1 is multiplied out before it is rounded.
#[inline(always)]
fn side_by_side<const FUSED: bool>(lane: &mut Lane) {
    let q: [f64; LANES] = lane.0;
    let logarithms: [f32; LANES] = each(|i| -ln::<FUSED>(((1.0 - 2.0 * q[i]) * (1.0 + 2.0 * q[i])) as f32));
    let quantiles: [f32; LANES] = each(|i| (2.0 * std::f32::consts::SQRT_2 * q[i] as f32) * centre::<FUSED>(logarithms[i] - 3.125));
    lane.0 = each(|i| f64::from(quantiles[i]));
    if logarithms.iter().fold(false, |any, w| any | (*w > MIDDLE)) {
        for i in (0..LANES).filter(|&i| logarithms[i] > MIDDLE) {
            lane[i] = outside(q[i]);
        }
    }
}

/// Natural logarithm of a normal number, to about two units in the last place: ln m = 2 artanh((m - 1)/(m + 1)) for a mantissa
/// between 0.7 and 1.4, which the compiler can take side by side.
#[inline(always)]
fn ln<const FUSED: bool>(x: f32) -> f32 {
    let bits = x.to_bits();
    let exponent = ((bits >> 23).cast_signed() - 127) as f32;
    let mantissa = f32::from_bits((bits & 0x007F_FFFF) | 0x3F80_0000);
    let high = mantissa > std::f32::consts::SQRT_2;
    let (m, exponent) = (if high { 0.5 * mantissa } else { mantissa }, if high { exponent + 1.0 } else { exponent });
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let series = [2.0 / 9.0, 2.0 / 7.0, 2.0 / 5.0, 2.0 / 3.0].into_iter().fold(0.0, |sum, c| multiply_add::<FUSED, _>(sum, z, c));
    multiply_add::<FUSED, _>(exponent, std::f32::consts::LN_2, multiply_add::<FUSED, _>(s, z * series, 2.0 * s))
}

/// Turns many q between -0.5 and 0.5, ends excluded, into standard normal quantiles of 0.5 + q, to 2e-7 of their size.
///
/// q counts from the middle, so that both tails keep their digits. The same bits wherever a number stands among the others; fused
/// multiply-adds may change the last ones from one kind of processor to another.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
pub fn normal_quantiles(numbers: &mut [Lane]) {
    const FUSED: bool = cfg!(target_arch = "aarch64") || target_cfg_f!(target_feature = "fma");
    for lane in numbers {
        side_by_side::<FUSED>(lane);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    /// The quantile of one number.
    fn quantile(q: f64) -> f64 {
        let mut numbers = [Lane([q; LANES])];
        normal_quantiles(&mut numbers);
        numbers[0][3]
    }

    /// Against scipy 1.17.1 (`scipy.special.ndtri`), to rounding of either precision; against statrs everywhere.
    #[test]
    fn cross_quantiles_are_those_of_a_statistics_library() {
        let normal = Normal::standard();
        for i in 0..4000 {
            let p = (f64::from(i) + 0.5) / 4000.0;
            let z = quantile(p - 0.5);
            assert!((z - normal.inverse_cdf(p)).abs() < 2e-7 * z.abs(), "{p}: {z}");
            assert!((normal.cdf(z) - p).abs() < 1e-7, "{p}: {z}");
        }
        for (q, z) in [
            (0.05_f64, 0.125_661_346_855_074_16),
            (0.2, 0.524_400_512_708_040_7),
            (0.4, 1.281_551_565_544_600_4),
            (0.4249, 1.438_825_392_752_540_3),
            (0.4251, 1.440_238_267_527_963_5),
            (0.4995, 3.290_526_731_491_895_3),
            (0.4996, 3.352_794_780_504_828_7),
            (0.49, 2.326_347_874_040_840_8),
            (0.4999_f64, 3.719_016_485_455_709),
            (0.499_999, 4.753_424_308_839_524),
        ] {
            // Near an end in double precision; 0.5 + q, from which scipy starts, has lost digits of the tail: z p' is what an ulp of p is
            // worth.
            let near_an_end = -(1.0 - 4.0 * q * q).ln() > f64::from(MIDDLE);
            let rounding = if near_an_end { 1e-14 + 2e-16 / (0.5 - q) } else { 2e-7 * z };
            assert!((quantile(q) - z).abs() < rounding, "{q}");
        }
    }

    #[test]
    fn ref_quantiles_of_the_tables() {
        // Abramowitz and Stegun, table 26.5 and 26.6 (from memory): 97.5 % 1.959964, 99.9 % 3.090232; 1 - 1e-9 5.997807 (AS 241).
        for (p, z) in [(0.975, 1.959_963_984_540_054), (0.999, 3.090_232_306_167_813), (1.0 - 1e-9, 5.997_807_015)] {
            assert!((quantile(p - 0.5) - z).abs() < 2e-7 * z && quantile(p - 0.5) == -quantile(0.5 - p) && quantile(0.0) == 0.0, "{p}");
        }
    }

    #[test]
    fn check_the_parts_meet() {
        let middle = 0.5 * (1.0 - (-f64::from(MIDDLE)).exp()).sqrt();
        for (seam, step, tolerance) in [(middle, 1e-10, 1e-6), (0.5 - (-25.0_f64).exp(), 1e-16, 5e-6)] {
            let z = [quantile(seam - step), quantile(seam + step)];
            assert!((z[0] - z[1]).abs() < tolerance, "{z:?}");
        }
    }

    /// Numbers of all parts in disorder, some of them all near an end.
    #[test]
    fn check_a_number_does_not_depend_on_its_neighbours() {
        let q = |i: usize| if i < 200 { 0.5 - 0.0003 * (i + 1) as f64 } else { ((i * 7919) % 1009) as f64 / 1009.0 - 0.4995 };
        let mut together: Vec<Lane> = (0..101).map(|l| Lane(std::array::from_fn(|i| q(LANES * l + i)))).collect();
        normal_quantiles(&mut together);
        for (i, z) in together.iter().flat_map(|lane| lane.iter()).enumerate() {
            assert_eq!(*z, quantile(q(i)), "{i}");
        }
    }

    /// To rounding of single precision, of the number itself where it is near 1.
    #[test]
    fn check_the_logarithm() {
        for i in 1..2_000 {
            for x in [i as f32 / 2_000.0, 0.075 * (-0.02 * i as f32).exp()] {
                let expected = f64::from(x).ln();
                for found in [ln::<true>(x), ln::<false>(x)] {
                    assert!((f64::from(found) - expected).abs() <= 2.0 * f64::from(f32::EPSILON) * expected.abs(), "{x}: {found}");
                }
            }
        }
    }
}
