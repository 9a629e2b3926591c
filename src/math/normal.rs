//! The standard normal quantile, eight at a time: one uniform number makes one normal one.

use multiversion::multiversion;

use super::lanes::{LANES, Lane};

/// Quotient of two polynomials, coefficients from the constant on.
struct Quotient {
    above: [f64; 8],
    below: [f64; 8],
}

/// Where the formula of the middle ends, as a distance from one half.
const MIDDLE: f64 = 0.425;

// Wichura, Algorithm AS 241 (Applied Statistics 37, 1988), PPND16: about 1e-16 relative.
const CENTRE: Quotient = Quotient {
    above: [
        3.387_132_872_796_366_5,
        1.331_416_678_917_843_8e2,
        1.971_590_950_306_551_3e3,
        1.373_169_376_550_946e4,
        4.592_195_393_154_987e4,
        6.726_577_092_700_87e4,
        3.343_057_558_358_813e4,
        2.509_080_928_730_122_6e3,
    ],
    below: [
        1.0,
        4.231_333_070_160_091e1,
        6.871_870_074_920_579e2,
        5.394_196_021_424_751e3,
        2.121_379_430_158_659_7e4,
        3.930_789_580_009_271e4,
        2.872_908_573_572_194_3e4,
        5.226_495_278_852_854e3,
    ],
};
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

/// Quantile of 0.5 + q, |q| < 0.5, for q near an end.
fn outside(q: f64) -> f64 {
    let r = (-(0.5 - q.abs()).ln()).sqrt();
    let size = if r <= 5.0 { SHOULDER.at(r - 1.6) } else { TAIL.at(r - 5.0) };
    size.copysign(q)
}

/// Standard normal quantile of 0.5 + q for eight q between -0.5 and 0.5, ends excluded.
///
/// q counts from the middle, so that both tails keep their digits. The same bits in every lane and on every processor.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq", "x86_64+avx2"))]
pub fn normal_quantiles(q: &Lane) -> Lane {
    let mut z = [0.0; LANES];
    for i in 0..LANES {
        z[i] = q[i] * CENTRE.at(MIDDLE * MIDDLE - q[i] * q[i]);
    }
    for i in 0..LANES {
        if q[i].abs() > MIDDLE {
            z[i] = outside(q[i]);
        }
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    /// Against scipy 1.17.1 (`scipy.special.ndtri`) to rounding; against statrs, whose erfc holds ten digits, everywhere.
    #[test]
    fn cross_quantiles_are_those_of_a_statistics_library() {
        let normal = Normal::standard();
        for i in 0..4000 {
            let p = (f64::from(i) + 0.5) / 4000.0;
            let z = normal_quantiles(&[p - 0.5; LANES])[i as usize % LANES];
            assert!((z - normal.inverse_cdf(p)).abs() < 1e-9 * (1.0 + z.abs()), "{p}: {z}");
            assert!((normal.cdf(z) - p).abs() < 1e-9, "{p}: {z}");
        }
        for (q, z) in [
            (0.05, 0.125_661_346_855_074_16),
            (0.2, 0.524_400_512_708_040_7),
            (0.4, 1.281_551_565_544_600_4),
            (0.4249, 1.438_825_392_752_540_3),
            (0.4251, 1.440_238_267_527_963_5),
            (0.49, 2.326_347_874_040_840_8),
            (0.4999, 3.719_016_485_455_709),
            (0.499_999, 4.753_424_308_839_524),
        ] {
            // 0.5 + q, from which scipy starts, has lost digits of the tail: z p' is what an ulp of p is worth.
            let rounding = 1e-14 + 2e-16 / (0.5 - q);
            assert!((normal_quantiles(&[q; LANES])[0] - z).abs() < rounding, "{q}");
        }
    }

    #[test]
    fn ref_quantiles_of_the_tables() {
        // Abramowitz and Stegun, table 26.5 and 26.6 (from memory): 97.5 % 1.959964, 99.9 % 3.090232; 1 - 1e-9 5.997807 (AS 241).
        for (p, z) in [(0.975, 1.959_963_984_540_054), (0.999, 3.090_232_306_167_813), (1.0 - 1e-9, 5.997_807_015)] {
            let q = [p - 0.5, 0.5 - p, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
            let of = normal_quantiles(&q);
            assert!((of[0] - z).abs() < 1e-8 && of[0] == -of[1] && of[2] == 0.0, "{of:?}");
        }
    }

    #[test]
    fn check_the_parts_meet() {
        for (seam, step, tolerance) in [(MIDDLE, 1e-15, 1e-13), (0.5 - (-25.0_f64).exp(), 1e-16, 5e-6)] {
            let z = normal_quantiles(&[seam - step, seam + step, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
            assert!((z[0] - z[1]).abs() < tolerance, "{z:?}");
        }
    }
}
