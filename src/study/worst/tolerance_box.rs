//! Everything the tolerances allow: scalar errors between their limits, profiles inside their zones.

use crate::errors::Home;
use crate::geometry::ProfileModes;
use crate::input::{Installation, Plan};
use crate::math::{Band, Corners};

#[derive(Debug, Clone)]
struct Coordinate {
    home: Home,
    member: usize,
    middle: f64,
    half: f64,
}

/// What the numbers of a drawn installation are, source by source.
#[derive(Debug, Clone)]
enum Source {
    /// So many scalar coordinates.
    Scalars(usize),
    /// Mode amplitudes and their peak-to-valley.
    Profile,
}

#[derive(Debug, Clone)]
struct Profile {
    home: Home,
    zone: f64,
}

/// The tolerance box. A point has one number in -1..1 for each scalar coordinate, then the mode amplitudes of each
/// profile in units of its zone.
#[derive(Debug, Clone)]
pub struct ToleranceBox {
    coordinates: Vec<Coordinate>,
    profiles: Vec<Profile>,
    sources: Vec<Source>,
    modes: ProfileModes,
    band: Band,
}

impl ToleranceBox {
    /// The box of a plan's sources; a skew that comes and goes is a state of service and not in it.
    #[must_use]
    pub fn new(plan: &Plan, modes: ProfileModes) -> Self {
        let (mut coordinates, mut profiles, mut sources) = (Vec::<Coordinate>::new(), Vec::new(), Vec::new());
        let perfect = Installation::perfect(plan);
        for source in plan.errors.sources.iter().filter(|s| !s.in_service) {
            let home = source.kind.spec().home;
            if source.kind.is_profile() {
                profiles.push(Profile { home, zone: source.upper });
                sources.push(Source::Profile);
                continue;
            }
            let (middle, half, members) = (source.middle(), source.half_width(), home.members(&perfect));
            coordinates.extend((0..members).map(|member| Coordinate { home, member, middle, half }));
            sources.push(Source::Scalars(members));
        }
        profiles.retain(|_| modes.count() > 0);
        let band = Band::new(&modes.on_grid);
        Self { coordinates, profiles, sources, modes, band }
    }

    /// Number of scalar coordinates.
    #[must_use]
    pub fn scalars(&self) -> usize {
        self.coordinates.len()
    }

    /// Number of profiles.
    #[must_use]
    pub fn profiles(&self) -> usize {
        self.profiles.len()
    }

    /// Number of modes of each profile.
    #[must_use]
    pub fn modes(&self) -> usize {
        self.modes.count()
    }

    /// Length of a point.
    #[must_use]
    pub fn dimension(&self) -> usize {
        self.scalars() + self.profiles() * self.modes()
    }

    /// The installation at a point.
    #[must_use]
    pub fn installation(&self, plan: &Plan, point: &[f64]) -> Installation {
        let mut to = Installation::perfect(plan);
        for (c, u) in self.coordinates.iter().zip(point) {
            c.home.set(c.member, c.middle + c.half * u, &mut to);
        }
        for (i, profile) in self.profiles.iter().enumerate() {
            let from = self.scalars() + i * self.modes();
            let amplitudes: Vec<f64> = point[from..from + self.modes()].iter().map(|a| a * profile.zone).collect();
            if amplitudes.iter().any(|a| *a != 0.0) {
                profile.home.set_profile(self.modes.at_anchors(&amplitudes), &mut to);
            }
        }
        to
    }

    /// The numbers that a drawn installation has at a point, in the order of [`crate::draw::Draws::places`].
    pub(super) fn numbers(&self, point: &[f64]) -> Vec<f64> {
        let mut numbers = Vec::new();
        let (mut coordinates, mut scalars) = (self.coordinates.iter(), point.iter());
        let mut profiles = self.profiles.iter().zip(point[self.scalars()..].chunks(self.modes().max(1)));
        for source in &self.sources {
            match source {
                Source::Scalars(count) => {
                    let own = coordinates.by_ref().zip(scalars.by_ref()).take(*count);
                    numbers.extend(own.map(|(c, u)| c.middle + c.half * u));
                }
                Source::Profile => {
                    let amplitudes: Vec<f64> =
                        profiles.next().map_or_else(Vec::new, |(profile, own)| own.iter().map(|a| a * profile.zone).collect());
                    let peak_to_valley = self.modes.peak_to_valley(&amplitudes);
                    numbers.extend(amplitudes);
                    numbers.push(peak_to_valley);
                }
            }
        }
        numbers
    }

    /// Greatest value of `row . point` over the box, and a point that has it. `corners` keeps where
    /// the profiles' searches ended.
    #[must_use]
    pub fn support(&self, row: &[f64], corners: &mut Corners) -> (f64, Vec<f64>) {
        let mut point: Vec<f64> = row[..self.scalars()].iter().map(|r| if *r < 0.0 { -1.0 } else { 1.0 }).collect();
        let mut value: f64 = row[..self.scalars()].iter().map(|r| r.abs()).sum();
        for i in 0..self.profiles() {
            let from = self.scalars() + i * self.modes();
            let objective = &row[from..from + self.modes()];
            let (most, amplitudes) = self.profile_support(objective, corners);
            value += most;
            point.extend(amplitudes);
        }
        (value, point)
    }

    fn profile_support(&self, objective: &[f64], corners: &mut Corners) -> (f64, Vec<f64>) {
        match self.band.support(objective, corners) {
            Some(found) => found,
            // Not seen; the sum of each mode's own reach is a safe, loose bound.
            None => {
                let unit = |m: usize| (0..self.modes()).map(|k| f64::from(u8::from(k == m))).collect::<Vec<_>>();
                let reach: f64 = (0..self.modes()).map(|m| objective[m].abs() * self.mode_reach(&unit(m))).sum();
                (reach, vec![0.0; self.modes()])
            }
        }
    }

    /// Greatest size of one coordinate of a point in the box.
    #[must_use]
    pub fn reach(&self, coordinate: usize) -> f64 {
        match coordinate.checked_sub(self.scalars()) {
            None => 1.0,
            Some(i) => {
                let unit: Vec<f64> = (0..self.modes()).map(|m| f64::from(u8::from(m == i % self.modes()))).collect();
                self.mode_reach(&unit)
            }
        }
    }

    /// Greatest amplitude of one mode that any profile inside the band can hold.
    fn mode_reach(&self, unit: &[f64]) -> f64 {
        self.band.support(unit, &mut Corners::default()).map_or(f64::INFINITY, |(most, _)| most)
    }

    /// True where a point lies in the box, to rounding.
    #[must_use]
    pub fn holds(&self, point: &[f64]) -> bool {
        let inside = point[..self.scalars()].iter().all(|u| u.abs() <= 1.0 + 1e-9);
        inside
            && (0..self.profiles()).all(|i| {
                let from = self.scalars() + i * self.modes();
                self.modes.peak_to_valley(&point[from..from + self.modes()]) <= 1.0 + 1e-9
            })
    }

    /// A random point: each scalar anywhere or at its limits, each profile a random shape that fills a share of its zone.
    pub fn random(&self, at_limits: bool, uniform: &mut dyn FnMut() -> f64) -> Vec<f64> {
        let scalar = |u: f64| if at_limits { if u < 0.5 { -1.0 } else { 1.0 } } else { 2.0 * u - 1.0 };
        let mut point: Vec<f64> = (0..self.scalars()).map(|_| scalar(uniform())).collect();
        for _ in 0..self.profiles() {
            let shape: Vec<f64> = (0..self.modes()).map(|_| 2.0 * uniform() - 1.0).collect();
            let share = if at_limits { 1.0 } else { uniform() };
            let has = self.modes.peak_to_valley(&shape).max(f64::MIN_POSITIVE);
            point.extend(shape.iter().map(|a| a * share / has));
        }
        point
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::Draws;
    use crate::geometry::Rails;
    use crate::input::{ErrorKind, read_plan};
    use crate::units::A;

    /// Two scalar errors and two profiles of the demo.
    fn box_of_four() -> ToleranceBox {
        use ErrorKind as K;
        let mut plan = read_plan(include_str!("../../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let kept = [K::Span, K::Height, K::StraightnessLateral(A), K::StraightnessVertical(A)];
        plan.errors.sources.retain(|s| kept.contains(&s.kind));
        let rails = Rails::new(&plan).unwrap();
        let found = ToleranceBox::new(&plan, Draws::new(&plan, &rails).modes().clone());
        assert!(found.scalars() == 2 && found.profiles() == 2 && found.modes() > 1);
        found
    }

    fn unit(of: &ToleranceBox, mode: usize) -> Vec<f64> {
        (0..of.modes()).map(|m| if m == mode { 1.0 } else { 0.0 }).collect()
    }

    fn near(found: &[f64], expected: &[f64]) {
        assert_eq!(found.len(), expected.len());
        assert!(found.iter().zip(expected).all(|(f, e)| (f - e).abs() < 1e-12), "{found:?} against {expected:?}");
    }

    /// Numbers in 0..1 as a test wants them: the middle leaves a wave out, both sides of it are opposite waves.
    #[test]
    fn check_random_points_stand_at_limits_or_anywhere_inside() {
        let of = box_of_four();
        let drawn = |at_limits: bool, numbers: Vec<f64>| {
            let mut next = numbers.into_iter();
            let point = of.random(at_limits, &mut || next.next().unwrap());
            assert!(next.next().is_none() && point.len() == of.dimension() && of.holds(&point));
            point
        };
        let only = |mode: usize, number: f64| (0..of.modes()).map(move |m| if m == mode { number } else { 0.5 });
        // The amplitude with which a wave alone fills its zone.
        let full = |mode: usize, share: f64| -> Vec<f64> {
            let unit = unit(&of, mode);
            let most = of.modes.peak_to_valley(&unit);
            unit.iter().map(|u| share * u / most).collect()
        };
        // Half of the numbers go to each limit: a half itself, the first of the upper ones, up.
        let corner = drawn(true, [0.2, 0.5].into_iter().chain(only(0, 0.9)).chain(only(1, 0.3)).collect());
        near(&corner, &[vec![-1.0, 1.0], full(0, 1.0), full(1, -1.0)].concat());
        let inside = drawn(false, [0.2, 0.75].into_iter().chain(only(1, 0.6)).chain([0.25]).chain(only(0, 0.0)).chain([0.5]).collect());
        near(&inside, &[vec![-0.6, 0.5], full(1, 0.25), full(0, -0.5)].concat());
    }

    #[test]
    fn check_the_box_holds_what_is_inside_in_every_coordinate() {
        let of = box_of_four();
        let most = of.modes.peak_to_valley(&unit(&of, 0));
        let point = |scalars: [f64; 2], shares: [f64; 2]| {
            let mut point = scalars.to_vec();
            shares.iter().for_each(|share| point.extend(unit(&of, 0).iter().map(|u| u * share / most)));
            point
        };
        assert!(of.holds(&point([0.0, 0.0], [0.0, 0.0])) && of.holds(&point([1.0, -1.0], [1.0, -1.0])));
        for (scalars, shares) in [
            ([1.001, 0.0], [0.0, 0.0]),
            ([0.0, -1.001], [0.0, 0.0]),
            ([0.0, 0.0], [1.001, 0.0]),
            ([0.0, 0.0], [0.0, -1.001]),
            ([2.0, 0.0], [2.0, 0.0]),
        ] {
            assert!(!of.holds(&point(scalars, shares)), "{scalars:?} {shares:?}");
        }
    }

    /// A wave alone can fill the zone. From above: waves are orthogonal at the anchors and hold no offset, so an amplitude is the
    /// profile's product with its wave over the wave's square, and no anchor lies farther than half a zone from the middle.
    #[test]
    fn cross_reach_of_a_wave_lies_between_the_wave_alone_and_its_product_with_any_profile() {
        let of = box_of_four();
        assert_eq!([of.reach(0), of.reach(1)], [1.0; 2]);
        for mode in 0..of.modes() {
            let wave = of.modes.at_anchors.column(mode);
            let alone = 1.0 / of.modes.peak_to_valley(&unit(&of, mode));
            let most = 0.5 * wave.iter().map(|v| v.abs()).sum::<f64>() / wave.norm_squared();
            let reach = [0, 1].map(|profile| of.reach(of.scalars() + profile * of.modes() + mode));
            assert!(reach[0] >= alone * (1.0 - 1e-9) && reach[0] <= most * (1.0 + 1e-9), "{mode}: {alone} {reach:?} {most}");
            assert_eq!(reach[0], reach[1], "all profiles have the same waves");
        }
    }

    /// Where one wave is held by no point of the grid its amplitude has no end, and no bound may be made of that: not for a quantity
    /// that hangs on it, and not a smaller one for others.
    #[test]
    fn check_a_wave_that_nothing_holds_has_no_bound() {
        let mut of = box_of_four();
        let modes = of.modes();
        let held =
            nalgebra::DMatrix::from_fn(2 * modes, modes, |row, mode| if row / 2 == mode && mode != 1 { [-1.0, 1.0][row % 2] } else { 0.0 });
        of.band = Band::new(&held);
        // By hand: 0 <= c - a, c + a <= 1 hold a between -1/2 and 1/2.
        near(&[of.profile_support(&unit(&of, 0), &mut Corners::default()).0], &[0.5]);
        let (reach, amplitudes) = of.profile_support(&unit(&of, 1), &mut Corners::default());
        assert_eq!((reach, amplitudes), (f64::INFINITY, vec![0.0; modes]));
        assert_eq!((of.reach(of.scalars() + 1), of.mode_reach(&unit(&of, 1))), (f64::INFINITY, f64::INFINITY));
    }
}
