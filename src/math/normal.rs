//! Standard normal quantiles, many at a time: one uniform number makes one normal one.

use multiversion::{multiversion, target::target_cfg_f};

use super::lanes::{EIGHT, EightLane, Lane, each, multiply_add, part, put};

/// Quotient of two polynomials, coefficients from the constant on.
struct Quotient {
    above: [f64; 8],
    below: [f64; 8],
}

/// Where the formula of the middle ends: -ln(1 - 4 q^2); one number in a thousand is beyond.
const MIDDLE: f64 = 6.25;

/// Quantile over q sqrt(8), by powers of -ln(1 - 4 q^2) - 3.125 from the constant on, to about 1e-16: Giles, Approximating the erfinv
/// function (GPU Computing Gems, 2011), double precision; from memory, held against scipy's.
const CENTRE: [f64; 23] = [
    1.653_654_562_683_102_7,
    0.240_158_182_425_589_62,
    -0.006_033_670_871_430_149,
    -0.000_740_702_534_166_267,
    0.000_186_734_208_034_057_14,
    -1.388_252_336_278_646_9e-5,
    -1.365_469_200_083_467_9e-6,
    4.234_787_782_793_240_4e-7,
    -2.907_036_995_788_2e-8,
    -4.112_633_980_346_984e-9,
    1.051_212_273_321_532_3e-9,
    -5.415_412_054_294_628e-11,
    -1.297_513_325_345_353_2e-11,
    2.633_509_315_308_232_3e-12,
    -8.151_934_197_605_472e-14,
    -4.054_566_272_975_207e-14,
    6.637_638_134_358_324e-15,
    2.097_276_787_596_856_4e-17,
    -1.333_171_662_854_621e-16,
    1.115_787_767_802_518_1e-17,
    1.285_848_071_525_64e-18,
    -1.685_059_138_182_016_6e-19,
    -3.644_412_064_017_82e-21,
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
    let r = (-ln::<false>(0.5 - q.abs())).sqrt();
    let size = if r > 5.0 { TAIL.at(r - 5.0) } else { SHOULDER.at(r - 1.6) };
    size.copysign(q)
}

/// Even and odd powers apart: they do not wait for each other.
#[inline(always)]
fn centre<const FUSED: bool>(x: f64) -> f64 {
    let square = x * x;
    let powers = |from: usize| (from..CENTRE.len()).step_by(2).rev().fold(0.0, |sum, k| multiply_add::<FUSED, _>(sum, square, CENTRE[k]));
    multiply_add::<FUSED, _>(x, powers(1), powers(0))
}

/// Quantiles of 0.5 + q, |q| < 0.5, of so many lanes. Halves go step by step together: they do not wait for each other.
#[inline(always)]
fn side_by_side<const FUSED: bool>(lane: &mut Lane) {
    let halves: [EightLane; 2] = [part(lane, 0), part(lane, EIGHT)];
    let logarithm = |q: EightLane| -> EightLane { each(|i| -ln::<FUSED>((1.0 - 2.0 * q[i]) * (1.0 + 2.0 * q[i]))) };
    let logarithms = [logarithm(halves[0]), logarithm(halves[1])];
    let quantile =
        |q: EightLane, w: EightLane| -> EightLane { each(|i| (2.0 * std::f64::consts::SQRT_2 * q[i]) * centre::<FUSED>(w[i] - 3.125)) };
    let quantiles = [quantile(halves[0], logarithms[0]), quantile(halves[1], logarithms[1])];
    put(lane, 0, quantiles[0]);
    put(lane, EIGHT, quantiles[1]);
    if logarithms.as_flattened().iter().fold(false, |any, w| any | (*w > MIDDLE)) {
        let all = logarithms.as_flattened().iter().zip(halves.as_flattened());
        for (z, (_, q)) in lane.iter_mut().zip(all).filter(|(_, (w, _))| **w > MIDDLE) {
            *z = outside(*q);
        }
    }
}

/// Natural logarithm of a normal number, to about two units in the last place: ln m = 2 artanh((m - 1)/(m + 1)) for a mantissa
/// between 0.7 and 1.4, which the compiler can take eight at a time.
#[inline(always)]
fn ln<const FUSED: bool>(x: f64) -> f64 {
    let bits = x.to_bits();
    // An exponent becomes the last bits of 2^52.
    let exponent = f64::from_bits((bits >> 52) | 0x4330_0000_0000_0000) - 4_503_599_627_371_519.0;
    let mantissa = f64::from_bits((bits & 0x000F_FFFF_FFFF_FFFF) | 0x3FF0_0000_0000_0000);
    let high = mantissa > std::f64::consts::SQRT_2;
    let (m, exponent) = (if high { 0.5 * mantissa } else { mantissa }, if high { exponent + 1.0 } else { exponent });
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    // Over powers of z from the second on: odd powers, then even ones.
    let square = z * z;
    let powers = |from: i32| {
        let factor = |k: i32| 2.0 / f64::from(2 * k + 1);
        (0..5).rev().fold(0.0, |sum, i| multiply_add::<FUSED, _>(sum, square, factor(from + 2 * i)))
    };
    let series = z * multiply_add::<FUSED, _>(z, powers(2), powers(1));
    multiply_add::<FUSED, _>(exponent, std::f64::consts::LN_2, multiply_add::<FUSED, _>(s, series, 2.0 * s))
}

/// Turns many q between -0.5 and 0.5, ends excluded, into standard normal quantiles of 0.5 + q.
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
    use crate::math::lanes::LANES;
    use statrs::distribution::{ContinuousCDF, Normal};

    /// The quantile of one number.
    fn quantile(q: f64) -> f64 {
        let mut numbers = [Lane([q; LANES])];
        normal_quantiles(&mut numbers);
        numbers[0][3]
    }

    /// Against scipy 1.17.1 (`scipy.special.ndtri`) to rounding; against statrs, whose erfc holds ten digits, everywhere.
    #[test]
    fn cross_quantiles_are_those_of_a_statistics_library() {
        let normal = Normal::standard();
        for i in 0..4000 {
            let p = (f64::from(i) + 0.5) / 4000.0;
            let z = quantile(p - 0.5);
            assert!((z - normal.inverse_cdf(p)).abs() < 1e-9 * (1.0 + z.abs()), "{p}: {z}");
            assert!((normal.cdf(z) - p).abs() < 1e-9, "{p}: {z}");
        }
        for (q, z) in [
            (0.05, 0.125_661_346_855_074_16),
            (0.2, 0.524_400_512_708_040_7),
            (0.4, 1.281_551_565_544_600_4),
            (0.4249, 1.438_825_392_752_540_3),
            (0.4251, 1.440_238_267_527_963_5),
            (0.4995, 3.290_526_731_491_895_3),
            (0.4996, 3.352_794_780_504_828_7),
            (0.49, 2.326_347_874_040_840_8),
            (0.4999, 3.719_016_485_455_709),
            (0.499_999, 4.753_424_308_839_524),
        ] {
            // 0.5 + q, from which scipy starts, has lost digits of the tail: z p' is what an ulp of p is worth.
            let rounding = 1e-14 + 2e-16 / (0.5 - q);
            assert!((quantile(q) - z).abs() < rounding, "{q}");
        }
    }

    #[test]
    fn ref_quantiles_of_the_tables() {
        // Abramowitz and Stegun, table 26.5 and 26.6 (from memory): 97.5 % 1.959964, 99.9 % 3.090232; 1 - 1e-9 5.997807 (AS 241).
        for (p, z) in [(0.975, 1.959_963_984_540_054), (0.999, 3.090_232_306_167_813), (1.0 - 1e-9, 5.997_807_015)] {
            assert!((quantile(p - 0.5) - z).abs() < 1e-8 && quantile(p - 0.5) == -quantile(0.5 - p) && quantile(0.0) == 0.0, "{p}");
        }
    }

    #[test]
    fn check_the_parts_meet() {
        let middle = 0.5 * (1.0 - (-MIDDLE).exp()).sqrt();
        for (seam, step, tolerance) in [(middle, 1e-15, 2e-12), (0.5 - (-25.0_f64).exp(), 1e-16, 5e-6)] {
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

    #[test]
    fn check_the_logarithm() {
        for i in 1..2_000 {
            for x in [f64::from(i) / 2_000.0, 0.075 * (-0.02 * f64::from(i)).exp()] {
                for found in [ln::<true>(x), ln::<false>(x)] {
                    assert!((found - x.ln()).abs() <= 4.0 * f64::EPSILON * x.ln().abs(), "{x}");
                }
            }
        }
    }
}
