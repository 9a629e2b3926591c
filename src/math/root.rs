//! Roots of higher order, which the compiler can take side by side.

/// Positive numbers whose N-th power stays among the normal ones, wherever the search for the root starts.
const RANGE: [f64; 2] = [1e-280, 1e280];

/// Steps that leave rounding alone.
const STEPS: usize = 2;

/// How far the logarithm of 1 + m to the base 2 bulges above m, over m (1 - m), so that the rest is least.
const BULGE: f64 = 0.344;

/// A number of whole ones, once this is added, stands in its last bits: no conversion, which only some processors do side by side.
const WHOLE: f64 = 6_755_399_441_055_744.0;

/// The N-th root of a positive number, to about two units in the last place; that of the nearest end of 1e-280..1e280 outside.
///
/// The exponent divided by N gives half a per cent or better; a step of Halley's leaves (N^2 - 1) / 12 of its cube.
#[inline(always)]
#[must_use]
pub fn root<const N: i32>(x: f64) -> f64 {
    let n = f64::from(N);
    let x = x.clamp(RANGE[0], RANGE[1]);
    // Sign, exponent and twenty bits of the mantissa: nearly the logarithm, counted from that of 1.
    let octave = f64::from(1 << 20);
    let bits = (x.to_bits() >> 32) as i32;
    let part = f64::from(bits & 0xF_FFFF) / octave;
    let logarithm = f64::from(bits - 0x3FF0_0000) / octave + BULGE * part * (1.0 - part);
    // The same way back: whole octaves and the mantissa that belongs to the rest.
    let wanted = logarithm / n + 1023.0;
    let part = wanted - ((wanted - 0.5 + WHOLE) - WHOLE);
    let mut r = f64::from_bits(((wanted - BULGE * part * (1.0 - part)) * octave + WHOLE).to_bits() << 32);
    for _ in 0..STEPS {
        let power = power::<N>(r);
        r *= ((n - 1.0) * power + (n + 1.0) * x) / ((n + 1.0) * power + (n - 1.0) * x);
    }
    r
}

/// x^N by squares, few of which wait for each other.
#[inline(always)]
fn power<const N: i32>(x: f64) -> f64 {
    let (mut square, mut power, mut left) = (x, 1.0, N);
    while left > 0 {
        if left % 2 == 1 {
            power *= square;
        }
        square *= square;
        left /= 2;
    }
    power
}

/// The cube root of a single number of 1e-10 to 1e30, to two units in the last place; that of the nearest end outside.
///
/// A third of the exponent gives 4 % or better; a step of Halley's leaves two thirds of its cube.
#[inline(always)]
#[must_use]
pub fn cube_root(x: f32) -> f32 {
    let x = x.clamp(1e-10, 1e30);
    // The bits are nearly a logarithm, 2^23 to an octave: two thirds of those of 1, less 3 % of an octave, which evens the error out.
    let mut r = f32::from_bits(x.to_bits() / 3 + 709_952_852);
    for _ in 0..2 {
        let power = r * r * r;
        r *= (power + 2.0 * x) / (2.0 * power + x);
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

    #[test]
    fn check_cubes_of_cube_roots() {
        for i in -1000..3000 {
            let x = 10.0_f32.powf(i as f32 / 100.0 + 0.00137);
            let off = (f64::from(cube_root(x)).powi(3) / f64::from(x) - 1.0).abs();
            assert!(off <= 6.0 * f64::from(f32::EPSILON), "{x}: {}, off by {off}", cube_root(x));
        }
        assert_eq!((cube_root(0.0), cube_root(f32::INFINITY)), (cube_root(1e-10), cube_root(1e30)));
    }
}
