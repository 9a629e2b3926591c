//! Numbers of several installations side by side, which the compiler turns into a few instructions.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use std::ops::{Deref, DerefMut};

/// How many installations a study on springs takes together: two wide registers, so that what all share is read half as often.
pub const LANES: usize = 16;

/// One number of them, where a wide register is read in one go: across the end of a cache line it takes two.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(align(64))]
pub struct Lane(pub [f64; LANES]);

/// As many zeros.
pub const ZERO: Lane = Lane([0.0; LANES]);

impl Default for Lane {
    fn default() -> Self {
        ZERO
    }
}

impl Deref for Lane {
    type Target = [f64; LANES];

    #[inline(always)]
    fn deref(&self) -> &Self::Target {
        &self.0
    }
}

impl DerefMut for Lane {
    #[inline(always)]
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.0
    }
}

/// How many machines with contacts are solved together: their systems of equations fill the cache.
pub const EIGHT: usize = 8;

/// One number of them.
pub type EightLane = [f64; EIGHT];

/// Eight zeros.
pub const EIGHT_ZEROS: EightLane = [0.0; EIGHT];

/// a b + c, in one rounding where the processor does it in one instruction.
#[inline(always)]
#[must_use]
pub fn multiply_add<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// Adds x times a factor.
#[inline(always)]
pub fn add_times<const FUSED: bool>(to: &mut EightLane, x: &EightLane, factor: f64) {
    for i in 0..EIGHT {
        to[i] = multiply_add::<FUSED>(x[i], factor, to[i]);
    }
}

/// Adds a b, lane by lane.
#[inline(always)]
pub fn add_product<const FUSED: bool>(to: &mut EightLane, a: &EightLane, b: &EightLane) {
    for i in 0..EIGHT {
        to[i] = multiply_add::<FUSED>(a[i], b[i], to[i]);
    }
}

/// Subtracts a b, lane by lane.
#[inline(always)]
pub fn subtract_product<const FUSED: bool>(to: &mut EightLane, a: &EightLane, b: &EightLane) {
    for i in 0..EIGHT {
        to[i] = multiply_add::<FUSED>(-a[i], b[i], to[i]);
    }
}

/// Raises each lane to that of x, where that is larger.
#[inline(always)]
pub fn raise(to: &mut EightLane, x: &EightLane) {
    for i in 0..EIGHT {
        to[i] = if x[i] > to[i] { x[i] } else { to[i] };
    }
}

/// Some lanes, one by one. Up to eight: beyond, the compiler may leave a call.
#[inline(always)]
#[must_use]
pub fn each<const N: usize>(of: impl Fn(usize) -> f64) -> [f64; N] {
    std::array::from_fn(of)
}

/// The same part of several lanes; zeros for those that are missing.
#[inline(always)]
#[must_use]
pub fn parts<const N: usize, const M: usize>(of: &[Lane], first: usize) -> [[f64; N]; M] {
    let mut list = [[0.0; N]; M];
    for (to, lane) in list.iter_mut().zip(of) {
        to.copy_from_slice(&lane[first..first + N]);
    }
    list
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
