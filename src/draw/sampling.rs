//! Draws installations: each source between its limits, profiles over their modes.
//!
//! Every number of an installation comes from one uniform number by inversion: installations are drawn side by side.

use multiversion::multiversion;
use rand::{Rng, RngExt};
use statrs::distribution::{ContinuousCDF, Normal};

use super::engine::Stream;
use super::installed::Installed;
use crate::geometry::{ProfileModes, Rails};
use crate::input::sources::Spread;
use crate::input::{ErrorKind, Installation, Plan};
use crate::math::lanes::{LANES, Lane, ZERO, each};
use crate::math::normal::normal_quantiles;

/// Words taken from a generator at a time.
const WORDS: usize = 128;

/// A uniform number in 0..1.
pub fn uniform(rng: &mut impl Rng) -> f64 {
    rng.random()
}

/// A draw between -1 and 1, the limits; beyond them only for a normal spread that is not cut.
pub fn unit_draw(spread: Spread, cut: bool, rng: &mut impl Rng) -> f64 {
    let mut number = [ZERO];
    number[0][0] = middled(rng.next_u64());
    made(&mut number, &[Recipe { shape: Shape::of(spread, cut), middle: 0.0, half_width: 1.0 }]);
    number[0][0]
}

/// A word of random bits as a number between -1/2 and 1/2, ends excluded, symmetric.
#[inline(always)]
pub(super) fn middled(word: u64) -> f64 {
    // Fifty-two bits behind the one of 1: exact, and without a conversion.
    (f64::from_bits((word >> 12) | 1.0_f64.to_bits()) - 1.5) + 2.0_f64.powi(-53)
}

impl Place {
    /// The error that the number belongs to.
    #[must_use]
    pub fn kind(self) -> ErrorKind {
        match self {
            Self::Value { kind, .. } | Self::Mode { kind, .. } | Self::PeakToValley { kind } => kind,
        }
    }
}

/// How a number is spread, in units of its half width.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shape {
    Uniform,
    Triangular,
    /// Times a standard normal number of which the share `kept`, symmetric about the middle, is left.
    Normal {
        deviation: f64,
        kept: f64,
    },
}

impl Shape {
    fn of(spread: Spread, cut: bool) -> Self {
        match spread {
            Spread::Uniform => Self::Uniform,
            Spread::Triangular => Self::Triangular,
            Spread::Normal { capability } => {
                let limit = 3.0 * capability;
                let kept = if cut { 1.0 - 2.0 * Normal::standard().sf(limit) } else { 1.0 };
                Self::Normal { deviation: 1.0 / limit, kept }
            }
        }
    }

    const fn is_normal(self) -> bool {
        matches!(self, Self::Normal { .. })
    }
}

/// How one number of an installation is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Recipe {
    shape: Shape,
    middle: f64,
    half_width: f64,
}

impl Recipe {
    /// Amplitude of a profile's mode.
    const STANDARD_NORMAL: Self = Self { shape: Shape::Normal { deviation: 1.0, kept: 1.0 }, middle: 0.0, half_width: 1.0 };

    /// All that is done before normal numbers are turned.
    #[inline(always)]
    fn begin(self, lane: &Lane) -> Lane {
        match self.shape {
            Shape::Uniform => Lane(each(|i| 2.0 * lane[i])),
            Shape::Triangular => Lane(each(|i| (1.0 - (1.0 - 2.0 * lane[i].abs()).sqrt()).copysign(lane[i]))),
            Shape::Normal { kept, .. } => Lane(each(|i| kept * lane[i])),
        }
    }

    #[inline(always)]
    fn end(self, lane: &Lane) -> Lane {
        let of_normal = if let Shape::Normal { deviation, .. } = self.shape { deviation } else { 1.0 };
        Lane(each(|i| self.middle + self.half_width * (of_normal * lane[i])))
    }
}

// A recipe is out of the compiler's sight, or it takes eight numbers of one installation instead of one of eight.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
fn begin(numbers: &mut [Lane], recipes: &[Recipe]) {
    for (lane, recipe) in numbers.iter_mut().zip(recipes) {
        let recipe = std::hint::black_box(recipe);
        if *recipe != Recipe::STANDARD_NORMAL {
            *lane = recipe.begin(lane);
        }
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
fn end(numbers: &mut [Lane], recipes: &[Recipe]) {
    for (lane, recipe) in numbers.iter_mut().zip(recipes) {
        let recipe = std::hint::black_box(recipe);
        if *recipe != Recipe::STANDARD_NORMAL {
            *lane = recipe.end(lane);
        }
    }
}

/// Random words, made numbers.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
fn from_words(words: &[[u8; 8]], to: &mut [f64]) {
    for (to, word) in to.iter_mut().zip(words) {
        *to = middled(u64::from_le_bytes(*word));
    }
}

/// Turns uniform numbers, counted from the middle of 0..1, into what their recipes make of them.
fn made(numbers: &mut [Lane], recipes: &[Recipe]) {
    begin(numbers, recipes);
    // Normal numbers that stand together are turned together.
    let mut first = 0;
    for run in recipes.chunk_by(|a, b| a.shape.is_normal() == b.shape.is_normal()) {
        if run[0].shape.is_normal() {
            normal_quantiles(&mut numbers[first..first + run.len()]);
        }
        first += run.len();
    }
    end(numbers, recipes);
}

/// What one number of a drawn installation is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// A scalar error, or one member of a family.
    Value {
        /// Which error.
        kind: ErrorKind,
        /// Number in its family.
        member: usize,
    },
    /// Amplitude of one mode of a profile; its shape alone counts.
    Mode {
        /// Which profile.
        kind: ErrorKind,
        /// Number of the mode.
        mode: usize,
    },
    /// Peak-to-valley of the profile whose amplitudes stand before it.
    PeakToValley {
        /// Which profile.
        kind: ErrorKind,
    },
}

/// Draws installations of a plan.
#[derive(Debug, Clone)]
pub struct Draws<'p> {
    installed: Installed<'p>,
    places: Vec<Place>,
    recipes: Vec<Recipe>,
}

impl<'p> Draws<'p> {
    /// Prepares the profiles' modes and how each number is drawn.
    #[must_use]
    pub fn new(plan: &'p Plan, rails: &Rails) -> Self {
        let modes = ProfileModes::new(rails.spline(), plan.frame.correlation_length_mm);
        let count = modes.count();
        let installed = Installed::new(plan, modes);
        let (mut places, mut recipes) = (Vec::new(), Vec::new());
        for source in installed.sources() {
            let kind = source.kind;
            let recipe =
                |cut: bool| Recipe { shape: Shape::of(source.spread, cut), middle: source.middle(), half_width: source.half_width() };
            if kind.is_profile() {
                places.extend((0..count).map(|mode| Place::Mode { kind, mode }));
                recipes.extend((0..count).map(|_| Recipe::STANDARD_NORMAL));
                places.push(Place::PeakToValley { kind });
                recipes.push(recipe(true));
            } else {
                let members = installed.members(kind);
                places.extend((0..members).map(|member| Place::Value { kind, member }));
                recipes.extend((0..members).map(|_| recipe(source.inspected)));
            }
        }
        Self { installed, places, recipes }
    }

    /// The profiles' modes.
    #[must_use]
    pub fn modes(&self) -> &ProfileModes {
        self.installed.modes()
    }

    /// One installation. Sources are drawn in the order of [`ErrorKind::ALL`].
    pub fn draw(&self, rng: &mut Stream) -> Installation {
        let mut numbers = Vec::new();
        self.numbers(std::slice::from_mut(rng), &mut numbers);
        self.installation(&own(&numbers, 0))
    }

    /// The numbers of installations side by side, as [`Draws::places`] names them: one word of each generator
    /// makes one number.
    pub(crate) fn numbers(&self, rngs: &mut [Stream], to: &mut Vec<Lane>) {
        to.clear();
        to.resize(self.recipes.len(), ZERO);
        let (mut words, mut made) = ([0; 8 * WORDS], [0.0; WORDS]);
        for part in to.chunks_mut(WORDS) {
            for (i, rng) in rngs.iter_mut().enumerate() {
                let words = &mut words[..8 * part.len()];
                rng.fill_bytes(words);
                from_words(words.as_chunks::<8>().0, &mut made);
                part.iter_mut().zip(made).for_each(|(lane, number)| lane[i] = number);
            }
        }
        self.spread(to);
    }

    /// Turns uniform numbers, counted from the middle of 0..1, into the numbers of installations.
    fn spread(&self, numbers: &mut [Lane]) {
        made(numbers, &self.recipes);
    }

    /// What each number of an installation is, in order.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// Numbers at the middle of their tolerances, profiles at none.
    pub(crate) fn middle(&self) -> Vec<Lane> {
        let of = |(place, recipe): (&Place, &Recipe)| if place.kind().is_profile() { ZERO } else { Lane([recipe.middle; LANES]) };
        self.places.iter().zip(&self.recipes).map(of).collect()
    }

    /// The installation of some numbers. A profile's amplitudes give its shape, its last number its peak-to-valley.
    #[must_use]
    pub fn installation(&self, numbers: &[f64]) -> Installation {
        self.installed.installation(numbers)
    }

    /// The perfect installation with one profile at the anchors.
    #[must_use]
    pub fn with_profile(&self, kind: ErrorKind, at_anchors: Vec<f64>) -> Installation {
        self.installed.with_profile(kind, at_anchors)
    }

    /// The perfect installation with one member of an error set.
    #[must_use]
    pub fn with(&self, kind: ErrorKind, member: usize, value: f64) -> Installation {
        self.installed.with(kind, member, value)
    }
}

/// The numbers of one installation out of those side by side.
pub(crate) fn own(numbers: &[Lane], i: usize) -> Vec<f64> {
    numbers.iter().map(|lane| lane[i]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::structure::Machine;
    use rand::SeedableRng;

    #[test]
    fn check_an_installation_does_not_depend_on_its_neighbours() {
        let plan = crate::input::read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let machine = Machine::new(&plan, 0).unwrap();
        let draws = Draws::new(&plan, machine.rails());
        let stream = |i: u64| {
            let mut rng = Stream::seed_from_u64(4);
            rng.set_stream(i);
            rng
        };
        let mut together = Vec::new();
        draws.numbers(&mut (0..LANES as u64).map(stream).collect::<Vec<_>>(), &mut together);
        for i in [0, 3, LANES as u64 - 1] {
            let mut alone = Vec::new();
            draws.numbers(&mut [stream(i)], &mut alone);
            assert_eq!(own(&alone, 0), own(&together, i as usize));
            assert_eq!(draws.draw(&mut stream(i)), draws.installation(&own(&alone, 0)));
        }
    }

    #[test]
    fn check_words_end_inside_the_open_interval() {
        assert_eq!(middled(0), -middled(u64::MAX));
        assert!(middled(0) > -0.5 && middled(u64::MAX) < 0.5);
    }
}
