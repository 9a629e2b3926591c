//! How rough each rail is, learned from its readings: height and length of its waves, size of what each pad errs by itself,
//! and single pads that stand out. Every combination of a grid is weighted by its evidence; none is picked.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use crate::geometry::{Observation, Prior, detrended};
use crate::math::NaturalSpline;
use crate::units::{A, B};

/// Correlation lengths that are tried, as shares of the plan's.
const LENGTHS: [f64; 3] = [1.0, 0.5, 0.25];

/// Steps of the grids of wave heights and of pad errors, each of the ratio 2, from a quarter of the readings' uncertainty on.
const STEPS: usize = 8;

/// Readings of a rail from which its roughness is learned; with fewer it is the plan's.
const ENOUGH: usize = 5;

/// Logarithm of the odds against each doubling of the waves, of what pads err by themselves.
const RARER: [f64; 2] = [0.5, 1.0];

/// Room of a pad that stands out, over the readings' uncertainty.
const ROOM: f64 = 12.0;

/// Most pads that stand out one by one; more of them is roughness.
const MOST: usize = 4;

/// Logarithm of the odds against a pad that stands out.
const ODDS: f64 = 1.5;

/// Surprise from which a pad is tried as one that stands out.
const FAR: f64 = 2.7;

/// What a bay has for itself, over what its pads have: waves of a bay or two would have all of it, pads alone none.
const BETWEEN: f64 = 0.6;

/// Members of the mixture.
const MEMBERS: usize = 24;

/// One way in which a rail may be rough: number of its length, deviation of its waves and of its pads.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cell {
    length: usize,
    smooth: f64,
    pads: f64,
}

impl Cell {
    /// Sound rails are the rule: each doubling is less likely.
    fn log_odds(self) -> f64 {
        let d = |v: f64| if v > 0.0 { v.log2() } else { 0.0 };
        -RARER[0] * d(self.smooth) - RARER[1] * d(self.pads)
    }
}

/// What was learned.
pub(super) struct Learned {
    /// Priors with their weights.
    pub(super) members: Vec<(f64, Prior)>,
    /// Likely pads that stand out.
    pub(super) out: Vec<(usize, usize)>,
    /// Deviation of what each pad of a rail errs by itself, and of its waves, as expected.
    pub(super) pads: [f64; 2],
    pub(super) smooth: [f64; 2],
    /// Deviation in the middle between two pads from the curve through them.
    pub(super) between: [f64; 2],
}

/// Readings as the evidence needs them: covariances over their uncertainties.
struct Evidence {
    /// Readings over their uncertainty.
    right: DVector<f64>,
    /// Lines and other unknowns.
    fixed: DMatrix<f64>,
    /// Waves of each rail and length, of unit root mean square.
    waves: [Vec<DMatrix<f64>>; 2],
    /// Pads of each rail, of unit deviation.
    pads: [DMatrix<f64>; 2],
    /// What each pad does to the readings.
    each: [DMatrix<f64>; 2],
    /// What is there beside: pads that were not read.
    base: DMatrix<f64>,
}

impl Evidence {
    fn new(spline: &NaturalSpline, prior: &Prior, observations: &[Observation], lengths_mm: &[f64]) -> Self {
        let x = spline.knots();
        let (n, m) = (x.len(), observations.len());
        let (free, _) = detrended(x, 1.0);
        let place = |rail: usize| {
            DMatrix::from_fn(m, n, |i, j| {
                let o = &observations[i];
                if o.factors[rail] == 0.0 { 0.0 } else { o.factors[rail] * spline.weights(o.x_mm).value[j] / o.uncertainty }
            })
        };
        let at = [place(A), place(B)];
        let s = |x_mm: f64| (x_mm - f64::midpoint(x[0], x[n - 1])) / (x[n - 1] - x[0]);
        let fixed = DMatrix::from_fn(m, 4 + prior.nuisance.len(), |i, j| {
            let o = &observations[i];
            let along = if j % 2 == 1 { s(o.x_mm) } else { 1.0 };
            let value = match j {
                0 | 1 => prior.line_a[j] * along * (o.factors[A] + if prior.relative { o.factors[B] } else { 0.0 }),
                2 | 3 => prior.line_b[j - 2] * along * o.factors[B],
                _ => o.nuisance.iter().filter(|(k, _)| *k == j - 4).map(|(k, f)| f * prior.nuisance[*k]).sum(),
            };
            value / o.uncertainty
        });
        let each = [0, 1].map(|rail: usize| &at[rail] * &free);
        let waves = [A, B].map(|rail| {
            let one = |l: &f64| {
                let (_, kernel) = detrended(x, *l);
                let rms = (kernel.trace() / n as f64).sqrt();
                if rms > 0.0 { &at[rail] * (kernel / (rms * rms)) * at[rail].transpose() } else { DMatrix::zeros(m, m) }
            };
            lengths_mm.iter().map(one).collect()
        });
        let pads = [0, 1].map(|rail: usize| &each[rail] * each[rail].transpose());
        let mut base = DMatrix::identity(m, m);
        for rail in [A, B] {
            for (j, own) in prior.pads[rail].iter().enumerate().filter(|(_, own)| **own > 0.0) {
                let column = each[rail].column(j) * *own;
                base += &column * column.transpose();
            }
        }
        let right = DVector::from_iterator(m, observations.iter().map(|o| o.value / o.uncertainty));
        Self { right, fixed, waves, pads, each, base }
    }

    /// Logarithm of the evidence, and the covariance's root.
    fn of(&self, base: &DMatrix<f64>, rail: usize, cell: Cell) -> Option<(f64, Cholesky<f64, Dyn>)> {
        let c = base + &self.waves[rail][cell.length] * cell.smooth.powi(2) + &self.pads[rail] * cell.pads.powi(2);
        let root = c.cholesky()?;
        let (y, f) = (root.solve(&self.right), root.solve(&self.fixed));
        let inner = (DMatrix::identity(f.ncols(), f.ncols()) + self.fixed.transpose() * &f).cholesky()?;
        let b = self.fixed.transpose() * &y;
        let misfit = self.right.dot(&y) - b.dot(&inner.solve(&b));
        let logs = |l: &DMatrix<f64>| l.diagonal().iter().map(|v| v.ln()).sum::<f64>();
        let value = -0.5 * misfit - logs(&root.l()) - logs(&inner.l());
        value.is_finite().then_some((value, root))
    }

    fn with(&self, base: &DMatrix<f64>, rail: usize, cell: Cell) -> DMatrix<f64> {
        base + &self.waves[rail][cell.length] * cell.smooth.powi(2) + &self.pads[rail] * cell.pads.powi(2)
    }

    /// What each reading is off from what the others say, over the deviation of that.
    fn surprises(&self, base: &DMatrix<f64>, rail: usize, cell: Cell) -> Option<Vec<f64>> {
        let (_, root) = self.of(base, rail, cell)?;
        let f = root.solve(&self.fixed);
        let inner = (DMatrix::identity(f.ncols(), f.ncols()) + self.fixed.transpose() * &f).cholesky()?;
        let y = root.solve(&self.right);
        let y = &y - &f * inner.solve(&(self.fixed.transpose() * &y));
        let whole = root.inverse() - &f * inner.solve(&f.transpose());
        Some((0..y.len()).map(|i| y[i] / whole[(i, i)].max(1e-12).sqrt()).collect())
    }
}

/// Weights of the cells of each rail in one choice of pads that stand out.
struct State {
    out: Vec<(usize, usize)>,
    log_evidence: f64,
    best: [Cell; 2],
    weights: [Vec<f64>; 2],
}

struct Search<'s> {
    evidence: Evidence,
    cells: [Vec<Cell>; 2],
    /// The plan's rails.
    plain: [Cell; 2],
    anchors: &'s [f64],
    observations: &'s [Observation],
    room: f64,
}

/// Learns how rough the rails are; `median` is the readings' usual uncertainty, `lengths` the plan's correlation length.
pub(super) fn learn(spline: &NaturalSpline, prior: &Prior, observations: &[Observation], median: f64, zones: [f64; 2]) -> Option<Learned> {
    let anchors = spline.knots();
    let lengths_mm = LENGTHS.map(|share| share * prior.correlation_length_mm[A]);
    let plain = |rail: usize| {
        let (_, kernel) = detrended(anchors, lengths_mm[0]);
        let rms = (kernel.trace() / anchors.len() as f64).sqrt();
        Cell { length: 0, smooth: prior.smooth[rail] * rms, pads: 0.0 }
    };
    let cells = [A, B].map(|rail| {
        let mut read: Vec<f64> = observations.iter().filter(|o| o.factors[rail] != 0.0).map(|o| o.x_mm).collect();
        read.sort_by(f64::total_cmp);
        read.dedup();
        // A difference between the rails does not tell how rough each is: the part that both have in common may be anything.
        let told = observations.iter().any(|o| o.factors[rail] != 0.0 && o.factors[1 - rail] == 0.0)
            || observations.iter().any(|o| o.factors[1 - rail] != 0.0 && o.factors[rail] == 0.0);
        if read.len() < ENOUGH || !told { vec![plain(rail)] } else { grid(median.max(1e-3 * zones[rail])) }
    });
    let evidence = Evidence::new(spline, prior, observations, &lengths_mm);
    let search = Search { evidence, cells, plain: [plain(A), plain(B)], anchors, observations, room: ROOM * median };
    let mut states = vec![search.state(Vec::new(), [plain(A), plain(B)])?];
    while let Some(next) = search.farther(&states[states.len() - 1]) {
        if next.log_evidence < states[states.len() - 1].log_evidence - 1.0 {
            break;
        }
        states.push(next);
    }
    Some(search.learned(prior, &states, &lengths_mm))
}

fn grid(uncertainty: f64) -> Vec<Cell> {
    let size = |k: usize| 0.25 * uncertainty * 2.0_f64.powi(k as i32);
    let mut list = Vec::new();
    for length in 0..LENGTHS.len() {
        for i in 0..STEPS {
            list.extend((0..STEPS).map(|k| Cell { length, smooth: size(i), pads: size(k) }));
        }
    }
    list
}

impl Search<'_> {
    fn base(&self, out: &[(usize, usize)]) -> DMatrix<f64> {
        let mut base = self.evidence.base.clone();
        for (rail, pad) in out {
            let column = self.evidence.each[*rail].column(*pad) * self.room;
            base += &column * column.transpose();
        }
        base
    }

    fn state(&self, out: Vec<(usize, usize)>, mut best: [Cell; 2]) -> Option<State> {
        let base = self.base(&out);
        let mut weights = [vec![1.0; self.cells[A].len()], vec![1.0; self.cells[B].len()]];
        let mut whole = 0.0;
        for rail in [A, B, A, B] {
            let other = self.evidence.with(&base, 1 - rail, best[1 - rail]);
            let logs: Vec<f64> = self.cells[rail]
                .iter()
                .map(|c| self.evidence.of(&other, rail, *c).map_or(f64::NEG_INFINITY, |e| e.0 + c.log_odds()))
                .collect();
            let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            if !most.is_finite() {
                return None;
            }
            let all: f64 = logs.iter().map(|l| (l - most).exp()).sum();
            weights[rail] = logs.iter().map(|l| (l - most).exp() / all).collect();
            let i = (0..logs.len()).max_by(|&a, &b| logs[a].total_cmp(&logs[b]))?;
            best[rail] = self.cells[rail][i];
            whole = most + (all / logs.len() as f64).ln();
        }
        let log_evidence = whole - ODDS * out.len() as f64;
        Some(State { out, log_evidence, best, weights })
    }

    /// The state with one more pad that stands out: the one that gains most.
    fn farther(&self, state: &State) -> Option<State> {
        if state.out.len() >= MOST {
            return None;
        }
        let base = self.base(&state.out);
        // On rails without pad errors: one pad that stands out makes its rail look rough, and would hide in that.
        let bare = |rail: usize| Cell { pads: 0.0, length: 0, smooth: self.plain[rail].smooth };
        let surprises = self.evidence.surprises(&self.evidence.with(&base, B, bare(B)), A, bare(A))?;
        let nearest = |x: f64| (0..self.anchors.len()).min_by(|&a, &b| (self.anchors[a] - x).abs().total_cmp(&(self.anchors[b] - x).abs()));
        let mut tried: Vec<(usize, usize)> = Vec::new();
        let mut order: Vec<usize> = (0..surprises.len()).filter(|&i| surprises[i].abs() > FAR).collect();
        order.sort_by(|&a, &b| surprises[b].abs().total_cmp(&surprises[a].abs()).then(a.cmp(&b)));
        for i in order.into_iter().take(2) {
            let o = &self.observations[i];
            let pads = [A, B].into_iter().filter(|r| o.factors[*r] != 0.0).filter_map(|r| Some((r, nearest(o.x_mm)?)));
            tried.extend(pads.filter(|p| !state.out.contains(p)));
        }
        tried.dedup();
        let with = |pad: (usize, usize)| {
            let mut out = state.out.clone();
            out.push(pad);
            self.state(out, state.best)
        };
        tried.into_iter().filter_map(with).max_by(|a, b| a.log_evidence.total_cmp(&b.log_evidence))
    }

    fn learned(&self, prior: &Prior, states: &[State], lengths_mm: &[f64]) -> Learned {
        let most = states.iter().map(|s| s.log_evidence).fold(f64::NEG_INFINITY, f64::max);
        let all: f64 = states.iter().map(|s| (s.log_evidence - most).exp()).sum();
        let mut members = Vec::new();
        let mut likely = (0.0, 0);
        for (k, state) in states.iter().enumerate() {
            let weight = (state.log_evidence - most).exp() / all;
            if weight > likely.0 {
                likely = (weight, k);
            }
            let count = (weight * MEMBERS as f64).round() as usize;
            members.extend(self.members(prior, state, count, lengths_mm).into_iter().map(|p| (weight / count as f64, p)));
        }
        let expected = |of: fn(&Cell) -> f64| -> [f64; 2] {
            [A, B].map(|rail| states[likely.1].weights[rail].iter().zip(&self.cells[rail]).map(|(w, c)| w * of(c)).sum::<f64>())
        };
        let mut out = states[likely.1].out.clone();
        out.sort_unstable();
        // What pads have for themselves may be short waves: then a bay has as much again. Waves that are a few bays long have little.
        let between = |c: &Cell| BETWEEN * if c.length + 1 == LENGTHS.len() { c.pads.hypot(0.4 * c.smooth) } else { c.pads };
        Learned { members, out, pads: expected(|c| c.pads), smooth: expected(|c| c.smooth), between: expected(between) }
    }

    /// So many priors as the weights of a state's cells have it, taken in equal steps of their sum; those of rail B in another order.
    fn members(&self, prior: &Prior, state: &State, count: usize, lengths_mm: &[f64]) -> Vec<Prior> {
        let n = self.anchors.len();
        let at = |rail: usize, share: f64| {
            let mut sum = 0.0;
            let found = state.weights[rail].iter().position(|w| {
                sum += w;
                sum >= share
            });
            self.cells[rail][found.unwrap_or(self.cells[rail].len() - 1)]
        };
        let one = |i: usize| {
            // Golden section: as even, and in no order of the other's.
            let shares = [(i as f64 + 0.5) / count as f64, (0.5 + i as f64 * 0.618_033_988_749_895).fract()];
            let cells = [at(A, shares[A]), at(B, shares[B])];
            let mut p = prior.clone();
            for rail in [A, B] {
                let length = lengths_mm[cells[rail].length];
                let (_, kernel) = detrended(self.anchors, length);
                let rms = (kernel.trace() / n as f64).sqrt();
                p.correlation_length_mm[rail] = length;
                p.smooth[rail] = if rms > 0.0 { cells[rail].smooth / rms } else { 0.0 };
                p.pads[rail].resize(n, 0.0);
                p.pads[rail].iter_mut().for_each(|own| *own = own.hypot(cells[rail].pads));
            }
            state.out.iter().for_each(|(rail, pad)| p.pads[*rail][*pad] = p.pads[*rail][*pad].hypot(self.room));
            p
        };
        (0..count).map(one).collect()
    }
}
