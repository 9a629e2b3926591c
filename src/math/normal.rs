//! Standard normal quantiles, many at a time: one uniform number makes one normal one.

use multiversion::multiversion;

use super::lanes::{EIGHT, EIGHT_ZEROS, EightLane, LANES, Lane};

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

/// Quantiles of 0.5 + q, |q| < 0.5, for eight q near an end.
#[inline(always)]
fn outside(q: EightLane) -> EightLane {
    let (mut r, mut size) = (EIGHT_ZEROS, EIGHT_ZEROS);
    for i in 0..EIGHT {
        r[i] = (-ln(0.5 - q[i].abs())).sqrt();
        size[i] = SHOULDER.at(r[i] - 1.6);
    }
    // One number in 10^11.
    if r.iter().any(|r| *r > 5.0) {
        for i in 0..EIGHT {
            if r[i] > 5.0 {
                size[i] = TAIL.at(r[i] - 5.0);
            }
        }
    }
    for i in 0..EIGHT {
        size[i] = size[i].copysign(q[i]);
    }
    size
}

/// Natural logarithm of a normal number, to about two units in the last place: ln m = 2 artanh((m - 1)/(m + 1)) for a mantissa
/// between 0.7 and 1.4, which the compiler can take eight at a time.
#[inline(always)]
fn ln(x: f64) -> f64 {
    let bits = x.to_bits();
    // An exponent becomes the last bits of 2^52.
    let exponent = f64::from_bits((bits >> 52) | 0x4330_0000_0000_0000) - 4_503_599_627_371_519.0;
    let mantissa = f64::from_bits((bits & 0x000F_FFFF_FFFF_FFFF) | 0x3FF0_0000_0000_0000);
    let high = mantissa > std::f64::consts::SQRT_2;
    let (m, exponent) = (if high { 0.5 * mantissa } else { mantissa }, if high { exponent + 1.0 } else { exponent });
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let series = (1..11).rev().fold(0.0, |sum, k| (sum + 1.0 / f64::from(2 * k + 1)) * z);
    exponent * std::f64::consts::LN_2 + 2.0 * (s + s * series)
}

/// Lanes whose numbers near the ends are gathered.
const GATHERED: usize = 32;

/// Turns many q between -0.5 and 0.5, ends excluded, into standard normal quantiles of 0.5 + q.
///
/// q counts from the middle, so that both tails keep their digits. The same bits wherever a number stands among the others and
/// on every processor. Numbers near the ends (15 in 100) are gathered: their formula, too, runs on eight at a time.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq", "x86_64+avx2"))]
pub fn normal_quantiles(numbers: &mut [Lane]) {
    let (mut ends, mut places) = ([[0.49; EIGHT]; GATHERED * LANES / EIGHT], [0; GATHERED * LANES]);
    for part in numbers.chunks_mut(GATHERED) {
        let mut count = 0;
        for (i, q) in part.iter().flat_map(|lane| lane.iter()).enumerate() {
            (ends.as_flattened_mut()[count], places[count]) = (*q, i);
            count += usize::from(q.abs() > MIDDLE);
        }
        for lane in &mut *part {
            for q in lane.iter_mut() {
                *q *= CENTRE.at(MIDDLE * MIDDLE - *q * *q);
            }
        }
        for lane in &mut ends[..count.div_ceil(EIGHT)] {
            *lane = outside(*lane);
        }
        for (i, z) in places[..count].iter().zip(ends.as_flattened()) {
            part[i / LANES][i % LANES] = *z;
        }
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
        for (seam, step, tolerance) in [(MIDDLE, 1e-15, 1e-13), (0.5 - (-25.0_f64).exp(), 1e-16, 5e-6)] {
            let z = [quantile(seam - step), quantile(seam + step)];
            assert!((z[0] - z[1]).abs() < tolerance, "{z:?}");
        }
    }

    /// Numbers of all parts in disorder, more than are gathered at once, some of them all near an end.
    #[test]
    fn check_a_number_does_not_depend_on_its_neighbours() {
        let q = |i: usize| if i < 200 { 0.5 - 0.0003 * (i + 1) as f64 } else { ((i * 7919) % 1009) as f64 / 1009.0 - 0.4995 };
        let mut together: Vec<Lane> = (0..3 * GATHERED + 5).map(|l| Lane(std::array::from_fn(|i| q(LANES * l + i)))).collect();
        normal_quantiles(&mut together);
        for (i, z) in together.iter().flat_map(|lane| lane.iter()).enumerate() {
            assert_eq!(*z, quantile(q(i)), "{i}");
        }
    }

    #[test]
    fn check_the_logarithm() {
        for i in 1..2_000 {
            for x in [f64::from(i) / 2_000.0, 0.075 * (-0.02 * f64::from(i)).exp()] {
                assert!((ln(x) - x.ln()).abs() <= 4.0 * f64::EPSILON * x.ln().abs(), "{x}");
            }
        }
    }
}
