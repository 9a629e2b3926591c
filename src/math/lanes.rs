//! Eight numbers side by side, which the compiler turns into one or two instructions.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

/// How many.
pub const LANES: usize = 8;

/// One number of eight installations.
pub type Lane = [f64; LANES];

/// Eight zeros.
pub const ZERO: Lane = [0.0; LANES];

/// a b + c, in one rounding where the processor does it in one instruction.
#[inline(always)]
#[must_use]
pub fn multiply_add<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// Adds x times a factor.
#[inline(always)]
pub fn add_times<const FUSED: bool>(to: &mut Lane, x: &Lane, factor: f64) {
    for i in 0..LANES {
        to[i] = multiply_add::<FUSED>(x[i], factor, to[i]);
    }
}

/// Adds a b, lane by lane.
#[inline(always)]
pub fn add_product<const FUSED: bool>(to: &mut Lane, a: &Lane, b: &Lane) {
    for i in 0..LANES {
        to[i] = multiply_add::<FUSED>(a[i], b[i], to[i]);
    }
}

/// Subtracts a b, lane by lane.
#[inline(always)]
pub fn subtract_product<const FUSED: bool>(to: &mut Lane, a: &Lane, b: &Lane) {
    for i in 0..LANES {
        to[i] = multiply_add::<FUSED>(-a[i], b[i], to[i]);
    }
}

/// Raises each lane to that of x, where that is larger.
#[inline(always)]
pub fn raise(to: &mut Lane, x: &Lane) {
    for i in 0..LANES {
        to[i] = if x[i] > to[i] { x[i] } else { to[i] };
    }
}

/// Part of a lane.
#[inline(always)]
#[must_use]
pub fn part<const N: usize>(of: &Lane, first: usize) -> [f64; N] {
    let mut part = [0.0; N];
    part.copy_from_slice(&of[first..first + N]);
    part
}

/// Writes a part of a lane.
#[inline(always)]
pub fn put<const N: usize>(to: &mut Lane, first: usize, part: [f64; N]) {
    to[first..first + N].copy_from_slice(&part);
}
