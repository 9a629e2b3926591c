//! A mixture of leanings: drawn from, weighed by, and fitted to the bad installations that were found.

use super::divide::Divided;
use super::tilt::{Tilt, with_mean};
use crate::math::lanes::{LANES, Lane, ZERO};
use crate::math::products::{add_multiple, combination};

/// Share of plain numbers: no weight is larger than its inverse, whatever ways were overlooked.
pub(super) const PLAIN: f64 = 0.2;

/// Steps of the fit.
const STEPS: usize = 10;

/// A point of which a part answers for less than this does not move it: most points have one or two parts.
const HARDLY: f64 = 1e-3;

/// Parts with less than this share are given up.
const LEAST_SHARE: f64 = 0.003;

/// The others get this at least: what was seldom seen may be seldom because it was seldom looked for.
const SHARE_AT_LEAST: f64 = 0.03;

/// Share of a mirrored leaning, of that of the leaning.
const LOOKED_AT_MIRRORED: f64 = 0.25;

/// A mean that is less than this many of its standard errors from none is none, but for numbers that tell groups apart.
const MEANT: f64 = 3.0;

/// Numbers of one point, and its weight.
pub(super) type Point = (Vec<f64>, f64);

/// Weighed points.
pub(super) struct Points {
    pub(super) list: Vec<Point>,
    /// The same side by side, number by number; zeros behind the last point.
    side_by_side: Vec<Vec<Lane>>,
}

impl Points {
    pub(super) fn new(list: Vec<Point>) -> Self {
        let lane = |some: &[Point], j: usize| Lane(std::array::from_fn(|i| some.get(i).map_or(0.0, |p| p.0[j])));
        let side_by_side = list.chunks(LANES).map(|some| (0..some[0].0.len()).map(|j| lane(some, j)).collect()).collect();
        Self { list, side_by_side }
    }

    /// How far each point lies along a direction.
    pub(super) fn along(&self, direction: &[f64]) -> Vec<f64> {
        let all = self.side_by_side.iter().flat_map(|lanes| combination(lanes, direction).0);
        all.take(self.list.len()).collect()
    }
}

/// A leaning and its share.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub(super) tilt: Tilt,
    pub(super) share: f64,
}

/// Leanings and plain numbers, plain ones first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mixture(Vec<Part>);

impl Part {
    /// The same from the other side, at a smaller share: worth a look.
    pub(super) fn mirrored(&self) -> Self {
        Self { tilt: Tilt::new(self.tilt.theta().iter().map(|t| -t)), share: LOOKED_AT_MIRRORED * self.share }
    }
}

impl Mixture {
    /// Plain numbers and leanings in the proportion of their shares.
    pub(super) fn new(numbers: usize, leanings: Vec<Part>) -> Self {
        let plain = if leanings.is_empty() { 1.0 } else { PLAIN };
        let all: f64 = leanings.iter().map(|p| p.share).sum();
        let mut parts = vec![Part { tilt: Tilt::new(vec![0.0; numbers]), share: plain }];
        parts.extend(leanings.into_iter().map(|p| Part { share: (1.0 - plain) * p.share / all, ..p }));
        Self(parts)
    }

    /// The part at a place in 0..1.
    pub(super) fn part_at(&self, at: f64) -> &Tilt {
        let mut sum = 0.0;
        let inside = |part: &&Part| {
            sum += part.share;
            at < sum
        };
        &self.0.iter().find(inside).unwrap_or(&self.0[0]).tilt
    }

    /// Numbers by how much they are leaned, the most first.
    pub(super) fn most_leaned(&self) -> Vec<usize> {
        let leaned = |j: usize| self.0.iter().map(|p| p.share * p.tilt.theta()[j].abs()).sum::<f64>();
        let mut order: Vec<usize> = (0..self.0[0].tilt.theta().len()).collect();
        order.sort_by(|a, b| leaned(*b).total_cmp(&leaned(*a)).then(a.cmp(b)));
        order
    }

    /// Weights of points side by side: plain density over that of the mixture.
    pub(super) fn weights(&self, numbers: &[Lane]) -> Lane {
        let mut density = ZERO;
        for part in &self.0 {
            let along = combination(numbers, part.tilt.theta());
            density.iter_mut().zip(along.0).for_each(|(sum, along)| *sum += part.share * part.tilt.ln_density(along).exp());
        }
        Lane(density.map(|density| 1.0 / density))
    }
}

/// Leanings nearest (by the distance of Kullback and Leibler) to the law of weighed points, by expectation and maximisation
/// (Cappe and others, Statistics and Computing 18, 2008), from the less and the more bad half of every group. Points fall in
/// badness.
pub(super) fn fit(divided: &Divided, points: &Points) -> Vec<Part> {
    let list = &points.list;
    let sums = |half: &[usize]| {
        let mut sums = Sums::new(list);
        half.iter().for_each(|i| sums.take(&list[*i].0, list[*i].1));
        sums
    };
    let halves = divided.groups.iter().flat_map(|g| <[_; 2]>::from(g.split_at(g.len() / 2)));
    let mut parts = fitted(halves.filter(|half| !half.is_empty()).map(sums).collect(), &divided.by);
    for _ in 0..STEPS {
        let mut sums: Vec<Sums> = parts.iter().map(|_| Sums::new(list)).collect();
        let along: Vec<Vec<f64>> = parts.iter().map(|p| points.along(p.tilt.theta())).collect();
        let mut ln = vec![0.0; parts.len()];
        for (i, (numbers, weight)) in list.iter().enumerate() {
            for (ln, (part, along)) in ln.iter_mut().zip(parts.iter().zip(&along)) {
                *ln = part.share.ln() + part.tilt.ln_density(along[i]);
            }
            let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let all: f64 = ln.iter().map(|l| (l - top).exp()).sum();
            for (sums, ln) in sums.iter_mut().zip(&ln) {
                let answered_for = (ln - top).exp() / all;
                if answered_for > HARDLY {
                    sums.take(numbers, weight * answered_for);
                }
            }
        }
        parts = fitted(sums, &divided.by);
    }
    parts
}

fn fitted(sums: Vec<Sums>, by: &[usize]) -> Vec<Part> {
    let all: f64 = sums.iter().map(|s| s.weight).sum();
    sums.into_iter().filter(|s| s.weight > LEAST_SHARE * all).map(|s| s.part(all, by)).collect()
}

/// Sums of what one part answers for.
struct Sums {
    weight: f64,
    squares: f64,
    numbers: Vec<f64>,
}

impl Sums {
    fn new(points: &[Point]) -> Self {
        Self { weight: 0.0, squares: 0.0, numbers: vec![0.0; points.first().map_or(0, |p| p.0.len())] }
    }

    fn take(&mut self, numbers: &[f64], weight: f64) {
        self.weight += weight;
        self.squares += weight * weight;
        add_multiple(&mut self.numbers, numbers, weight);
    }

    fn part(self, all: f64, by: &[usize]) -> Part {
        // So many points of equal weight are worth as much; one more in the middle keeps few points from promising much.
        let worth = self.weight * self.weight / self.squares;
        let error = (1.0 / (12.0 * worth)).sqrt();
        let lean = |(j, sum): (usize, &f64)| {
            let mean = sum / self.weight * worth / (worth + 1.0);
            if mean.abs() < MEANT * error && !by.contains(&j) { 0.0 } else { with_mean(mean) }
        };
        Part { tilt: Tilt::new(self.numbers.iter().enumerate().map(lean)), share: (self.weight / all).max(SHARE_AT_LEAST) }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tilt::mean;
    use super::*;

    fn part(theta: [f64; 2], share: f64) -> Part {
        Part { tilt: Tilt::new(theta), share }
    }

    #[test]
    fn check_parts_stand_at_their_shares_and_weights_take_them_back() {
        let mixture = Mixture::new(2, vec![part([8.0, 0.0], 3.0), part([-8.0, 0.0], 1.0)]);
        assert_eq!(mixture.part_at(0.09), &Tilt::new([0.0, 0.0]));
        assert_eq!((mixture.part_at(0.7), mixture.part_at(0.8)), (&Tilt::new([8.0, 0.0]), &Tilt::new([-8.0, 0.0])));
        // Drawn from the mixture, weights have mean 1.
        let n = 4000;
        let weight = |i: usize| {
            let (at, v) = ((i as f64 + 0.5) / n as f64, (i * 1237 % n) as f64 / n as f64 - 0.4999);
            mixture.weights(&[Lane([mixture.part_at(at).lean(0, v); LANES]), Lane([0.1; LANES])])[i % LANES]
        };
        let all: f64 = (0..n).map(weight).sum();
        assert!((all / n as f64 - 1.0).abs() < 0.01, "{all}");
        assert!((0..n).all(|i| weight(i) <= 1.0 / PLAIN));
        assert_eq!(Mixture::new(2, Vec::new()).weights(&[Lane([0.3; LANES]), Lane([-0.4; LANES])]), Lane([1.0; LANES]));
    }

    #[test]
    fn check_a_fit_finds_two_clouds() {
        // Means 0.3 and -0.4 of the first number, in the proportion 1 to 3; the second number means nothing.
        let even = |n: usize| (0..n).map(move |i| ((i * 137 % n) as f64 + 0.5) / n as f64 - 0.5);
        let (up, down) = (Tilt::new([with_mean(0.3), 0.0]), Tilt::new([with_mean(-0.4), 0.0]));
        let cloud =
            |tilt: Tilt, weight: f64| even(500).enumerate().map(move |(i, v)| (vec![tilt.lean(0, v), i as f64 / 500.0 - 0.5], weight));
        let points = Points::new(cloud(up, 1.0).chain(cloud(down, 3.0)).collect());
        let parts = fit(&Divided { groups: vec![(0..500).collect(), (500..1000).collect()], by: vec![0] }, &points);
        let of = |sign: f64| parts.iter().filter(move |p| p.tilt.theta()[0] * sign > 0.0);
        let mean_of = |sign: f64| of(sign).map(|p| p.share * mean(p.tilt.theta()[0])).sum::<f64>() / of(sign).map(|p| p.share).sum::<f64>();
        let share: f64 = of(1.0).map(|p| p.share).sum();
        assert!((mean_of(1.0) - 0.3).abs() < 0.03 && (mean_of(-1.0) + 0.4).abs() < 0.03 && (share - 0.25).abs() < 0.03, "{parts:?}");
    }

    #[test]
    fn check_few_points_do_not_promise_much() {
        let points = Points::new(vec![(vec![-0.49, 0.3, 0.2], 1.0); 3]);
        let part = &fit(&Divided { groups: vec![vec![0, 1, 2]], by: vec![0] }, &points)[0];
        assert!((-8.0..-2.0).contains(&part.tilt.theta()[0]) && part.tilt.theta()[1..] == [0.0, 0.0], "{part:?}");
    }
}
