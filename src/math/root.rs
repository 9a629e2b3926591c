//! Roots of higher order, which the compiler can take side by side.

/// Positive numbers whose N-th power stays among the normal ones, wherever the search for the root starts.
const RANGE: [f64; 2] = [1e-280, 1e280];

/// Steps that leave rounding alone.
const STEPS: usize = 3;

/// The N-th root of a positive number, to about two units in the last place; that of the nearest end of 1e-280..1e280 outside.
///
/// The exponent divided by N gives 6 % or better; a step of Halley's leaves 7 times its cube.
#[inline(always)]
#[must_use]
pub fn root<const N: i32>(x: f64) -> f64 {
    let n = f64::from(N);
    let x = x.clamp(RANGE[0], RANGE[1]);
    // Sign, exponent and twenty bits of the mantissa: nearly the logarithm, counted from that of 1.
    let one = f64::from(0x3FF0_0000);
    let logarithm = f64::from((x.to_bits() >> 32) as i32) - one;
    let mut r = f64::from_bits(((logarithm / n + one) as i32 as u64) << 32);
    for _ in 0..STEPS {
        let power = (1..N).fold(r, |power, _| power * r);
        r *= ((n - 1.0) * power + (n + 1.0) * x) / ((n + 1.0) * power + (n - 1.0) * x);
    }
    r
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check<const N: i32>() {
        for i in -2790..2790 {
            let x = 10.0_f64.powf(f64::from(i) / 10.0 + 0.0137);
            let r = root::<N>(x);
            // The power multiplies what the root is off, and is rounded itself.
            let off = (r.powi(N) / x - 1.0).abs();
            assert!(off <= f64::from(3 * N) * f64::EPSILON, "{N} {x}: {r}, off by {off}");
        }
    }

    /// Multiplied out again; ends.
    #[test]
    fn check_powers_of_roots() {
        check::<2>();
        check::<8>();
        check::<9>();
        check::<10>();
        assert_eq!((root::<9>(0.0), root::<9>(f64::INFINITY)), (root::<9>(RANGE[0]), root::<9>(RANGE[1])));
        assert!(root::<9>(f64::NAN).is_nan());
    }
}
