//! Numbers of several installations side by side, which the compiler turns into a few instructions.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use std::ops::{Deref, DerefMut};

/// How many installations a study on springs takes together: two wide registers, so that what all share is read half as often.
pub const LANES: usize = 16;

/// One number of them, where a wide register is read in one go: across the end of a cache line it takes two.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(align(64))]
pub struct Lane<T = f64>(pub [T; LANES]);

/// The same in single precision, of which a wide register holds all.
pub type SingleLane = Lane<f32>;

/// As many zeros.
pub const ZERO: Lane = Lane([0.0; LANES]);

/// As many in single precision.
pub const SINGLE_ZERO: SingleLane = Lane([0.0; LANES]);

impl<T: Real> Default for Lane<T> {
    fn default() -> Self {
        Self([T::default(); LANES])
    }
}

impl<T> Deref for Lane<T> {
    type Target = [T; LANES];

    #[inline(always)]
    fn deref(&self) -> &Self::Target {
        &self.0
    }
}

impl<T> DerefMut for Lane<T> {
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

/// A number of either precision.
pub trait Real: Copy + Default + PartialOrd + std::ops::Mul<Output = Self> + std::ops::Add<Output = Self> {
    /// self b + c, rounded once.
    #[must_use]
    fn fused(self, b: Self, c: Self) -> Self;
}

impl Real for f64 {
    #[inline(always)]
    fn fused(self, b: Self, c: Self) -> Self {
        self.mul_add(b, c)
    }
}

impl Real for f32 {
    #[inline(always)]
    fn fused(self, b: Self, c: Self) -> Self {
        self.mul_add(b, c)
    }
}

/// a b + c, in one rounding where the processor does it in one instruction.
#[inline(always)]
#[must_use]
pub fn multiply_add<const FUSED: bool, T: Real>(a: T, b: T, c: T) -> T {
    if FUSED { a.fused(b, c) } else { a * b + c }
}

/// Adds x times a factor.
#[inline(always)]
pub fn add_times<const FUSED: bool>(to: &mut EightLane, x: &EightLane, factor: f64) {
    for i in 0..EIGHT {
        to[i] = multiply_add::<FUSED, _>(x[i], factor, to[i]);
    }
}

/// Adds a b, lane by lane.
#[inline(always)]
pub fn add_product<const FUSED: bool>(to: &mut EightLane, a: &EightLane, b: &EightLane) {
    for i in 0..EIGHT {
        to[i] = multiply_add::<FUSED, _>(a[i], b[i], to[i]);
    }
}

/// Subtracts a b, lane by lane.
#[inline(always)]
pub fn subtract_product<const FUSED: bool>(to: &mut EightLane, a: &EightLane, b: &EightLane) {
    for i in 0..EIGHT {
        to[i] = multiply_add::<FUSED, _>(-a[i], b[i], to[i]);
    }
}

/// Raises each lane to that of x, where that is larger.
#[inline(always)]
pub fn raise_eight(to: &mut EightLane, x: &EightLane) {
    for i in 0..EIGHT {
        to[i] = if x[i] > to[i] { x[i] } else { to[i] };
    }
}

/// Up to sixteen numbers, one by one: written out, as the compiler leaves a call in a loop over more than eight.
#[inline(always)]
#[must_use]
pub fn each<T: Real, const N: usize>(of: impl Fn(usize) -> T) -> [T; N] {
    let mut list = [T::default(); N];
    macro_rules! written_out {
        ($($i:literal)*) => { $(if let Some(to) = list.get_mut($i) { *to = of($i); })* };
    }
    written_out!(0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15);
    list
}

/// The larger of two, lane by lane. Arrays go by value, a register each: only then does the compiler keep them there.
#[inline(always)]
#[must_use]
pub fn larger<T: Real, const N: usize>(a: [T; N], b: [T; N]) -> [T; N] {
    each(|i| if a[i] > b[i] { a[i] } else { b[i] })
}

/// The smaller of two, lane by lane.
#[inline(always)]
#[must_use]
pub fn smaller<T: Real, const N: usize>(a: [T; N], b: [T; N]) -> [T; N] {
    each(|i| if a[i] < b[i] { a[i] } else { b[i] })
}

/// Rounded to single precision.
#[inline(always)]
#[must_use]
pub fn single(lane: &Lane) -> SingleLane {
    Lane(each(|i| lane[i] as f32))
}

/// The same part of several lanes; zeros for those that are missing.
#[inline(always)]
#[must_use]
pub fn parts<const N: usize, const M: usize>(of: &[SingleLane], first: usize) -> [[f32; N]; M] {
    let mut list = [[0.0; N]; M];
    for (to, lane) in list.iter_mut().zip(of) {
        to.copy_from_slice(&lane[first..first + N]);
    }
    list
}

/// Part of a lane.
#[inline(always)]
#[must_use]
pub fn part<T: Real, const N: usize>(of: &[T; LANES], first: usize) -> [T; N] {
    let mut part = [T::default(); N];
    part.copy_from_slice(&of[first..first + N]);
    part
}

/// Writes a part of a lane.
#[inline(always)]
pub fn put<T: Real, const N: usize>(to: &mut [T; LANES], first: usize, part: [T; N]) {
    to[first..first + N].copy_from_slice(&part);
}

/// Raises some lanes that are not negative to what is larger. Compared by their bits, which are in the same order: otherwise the
/// compiler writes under a mask, at which some processors are slow.
#[inline(always)]
pub fn raise<const N: usize>(to: &mut [f32; LANES], first: usize, by: [f32; N]) {
    let bits = |x: f32| x.to_bits().cast_signed();
    let so_far: [f32; N] = part(to, first);
    put::<f32, N>(to, first, each(|i| f32::from_bits(bits(by[i]).max(bits(so_far[i])).cast_unsigned())));
}
