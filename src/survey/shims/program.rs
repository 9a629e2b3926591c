//! The mixed-integer program behind a work list: whole steps at each pad, the fewest pads touched, then the least total
//! movement, so that offset, drift and straightness of both rails stay inside their limits.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOptions, SolveOutcome, Variable};

/// One pad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pad {
    /// Place along the rails, -1/2 to 1/2.
    pub s: f64,
    /// Deviation of the rail there now.
    pub value: f64,
    /// Fewest and most steps that it may be moved by.
    pub steps: (i32, i32),
    /// Cost of touching it: 1, or 0 where it is touched already.
    pub cost: f64,
}

/// Bounds of a sum of offset and drift of rail A and of rail B with these factors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    /// Factors on offset A, drift A, offset B, drift B.
    pub factors: [f64; 4],
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
}

/// A correction in one direction.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// Pads of rail A and of rail B along the rails.
    pub rails: [Vec<Pad>; 2],
    /// Greatest peak-to-valley of each rail about its least-squares line, at the pads.
    pub zones: [f64; 2],
    /// Limits of offsets and drifts.
    pub bounds: Vec<Bound>,
    /// Size of a step.
    pub step: f64,
    /// True where the program must find whole steps (shims); otherwise its movements are rounded to steps at the end, and
    /// limits must leave half a step of room.
    pub whole: bool,
    /// Largest difference of the movements of neighbouring pads.
    pub largest_step: f64,
    /// Greatest bend at a pad (its deviation less the mean of its neighbours'), unless it is more bent already.
    pub bend: [f64; 2],
}

/// What came out.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Steps of each pad of each rail.
    pub steps: [Vec<i32>; 2],
    /// Cost of the pads that are touched.
    pub touched: f64,
    /// True where it is proved that no list touches fewer pads.
    pub fewest_proved: bool,
    /// True where it is proved that no list with so few pads moves less.
    pub least_proved: bool,
    /// Least cost that any list can have.
    pub bound: f64,
    /// How far all limits had to be widened, as a share of their width; 0 where they are met.
    pub widened: f64,
}

/// Nodes of one search times pads squared: about a second, whatever the size.
const NODES_TIMES_PADS_SQUARED: usize = 800_000;

/// Widening that counts as none.
const NONE: f64 = 1e-7;

/// Solves a task. Where no list meets all limits they are widened alike, by the least share that allows one.
///
/// Three programs: the least widening (a linear program without whole steps is its lower bound, raised until whole steps
/// allow it), the fewest pads, and with that number the least movement. Returns `None` where the solver fails.
#[must_use]
pub fn solve(task: &Task) -> Option<Plan> {
    let least = Model::new(task, Aim::Widening, None, f64::INFINITY, false).solve(&[])?;
    let mut widened = if least.objective > NONE { least.objective } else { 0.0 };
    for _ in 0..12 {
        if let Some(found) = Model::new(task, Aim::Touched, Some(widened), f64::INFINITY, true).solve(&start(task, widened)) {
            let touched = cost(task, &found.steps);
            let model = Model::new(task, Aim::Movement, Some(widened), touched, true);
            let (steps, least_proved) = match model.solve(&flat(&found.steps)) {
                Some(second) => (second.steps, second.proved),
                None => (found.steps, false),
            };
            let bound = if found.proved { touched } else { found.bound.ceil().min(touched) };
            return Some(Plan { touched: cost(task, &steps), steps, fewest_proved: found.proved, least_proved, bound, widened });
        }
        // Whole steps are coarser than the linear program: widen by what one step can make out.
        widened = widened * 1.05 + 0.02;
    }
    None
}

/// Sum of the costs of the pads that are moved.
#[must_use]
pub fn cost(task: &Task, steps: &[Vec<i32>; 2]) -> f64 {
    task.rails.iter().zip(steps).flat_map(|(pads, n)| pads.iter().zip(n)).filter(|(_, n)| **n != 0).map(|(p, _)| p.cost).sum()
}

/// True where a list of steps keeps every limit of the task, widened by a share.
#[must_use]
pub fn keeps(task: &Task, steps: &[Vec<i32>; 2], widened: f64) -> bool {
    let slack = 1e-6;
    let mut lines = [0.0; 4];
    for rail in 0..2 {
        let pads = &task.rails[rail];
        if pads.is_empty() {
            continue;
        }
        let moved: Vec<f64> = steps[rail].iter().map(|n| f64::from(*n) * task.step).collect();
        let after: Vec<f64> = pads.iter().zip(&moved).map(|(p, m)| p.value + m).collect();
        let s: Vec<f64> = pads.iter().map(|p| p.s).collect();
        let Some(fit) = crate::geometry::line_fit::least_squares(&s, &after) else { return false };
        (lines[2 * rail], lines[2 * rail + 1]) = (fit.line.offset, fit.line.slope);
        let inside = pads.iter().zip(&steps[rail]).all(|(p, n)| (p.steps.0..=p.steps.1).contains(n));
        let level = moved.windows(2).all(|w| (w[1] - w[0]).abs() <= task.largest_step + slack);
        let bent = (1..pads.len().saturating_sub(1)).all(|i| bend(&after, i).abs() <= bend_limit(task, rail, i, widened) + slack);
        if !inside || !level || !bent || fit.line.zone(&s, &after) > task.zones[rail] * (1.0 + widened) + slack {
            return false;
        }
    }
    task.bounds.iter().all(|b| {
        let value: f64 = b.factors.iter().zip(lines).map(|(f, v)| f * v).sum();
        let room = widened * (b.high - b.low) / 2.0 + slack;
        value >= b.low - room && value <= b.high + room
    })
}

fn bend(values: &[f64], i: usize) -> f64 {
    values[i] - f64::midpoint(values[i - 1], values[i + 1])
}

fn bend_limit(task: &Task, rail: usize, i: usize, widened: f64) -> f64 {
    let now: Vec<f64> = task.rails[rail].iter().map(|p| p.value).collect();
    task.bend[rail].max(bend(&now, i).abs()) + widened * task.zones[rail]
}

/// A list to start from: no movement at all where that keeps the limits; else the cheapest that linear programs give.
///
/// Their limits are narrower by a step, so that rounding keeps the true ones. Each weighs a pad by its cost over what the one
/// before moved it: pads that move little are driven to zero (reweighted sum of absolute values; Candes, Wakin and Boyd, J.
/// Fourier Anal. Appl. 14, 2008, from memory).
fn start(task: &Task, widened: f64) -> Vec<i32> {
    let still = [0, 1].map(|r: usize| task.rails[r].iter().map(|p| 0.clamp(p.steps.0, p.steps.1)).collect::<Vec<i32>>());
    if keeps(task, &still, widened) {
        return flat(&still);
    }
    let mut narrow = task.clone();
    narrow.zones.iter_mut().for_each(|z| *z = (*z - task.step).max(0.1 * *z));
    narrow.largest_step = (task.largest_step - task.step).max(0.5 * task.largest_step);
    narrow.bend.iter_mut().for_each(|b| *b = (*b - task.step).max(0.1 * *b));
    for b in &mut narrow.bounds {
        let room = (task.step).min((b.high - b.low) / 4.0);
        (b.low, b.high) = (b.low + room, b.high - room);
    }
    let own: Vec<f64> = task.rails.iter().flatten().map(|p| p.cost + 0.02).collect();
    let mut weights = own.clone();
    let mut best: Option<(f64, [Vec<i32>; 2])> = None;
    for _ in 0..6 {
        let model = Model::weighted(&narrow, Aim::Weighted, Some(widened), f64::INFINITY, false, &weights);
        let Some(found) = model.solve(&[]) else { break };
        weights = own.iter().zip(flat(&found.steps)).map(|(w, n)| w / (f64::from(n.abs()) + 0.5)).collect();
        let here = cost(task, &found.steps);
        if keeps(task, &found.steps, widened) && best.as_ref().is_none_or(|(c, _)| here < *c) {
            best = Some((here, found.steps));
        }
    }
    best.map_or_else(Vec::new, |(_, steps)| flat(&steps))
}

fn flat(steps: &[Vec<i32>; 2]) -> Vec<i32> {
    steps.iter().flatten().copied().collect()
}

#[derive(Clone, Copy, PartialEq)]
enum Aim {
    Widening,
    Touched,
    Movement,
    Weighted,
}

struct Found {
    steps: [Vec<i32>; 2],
    objective: f64,
    proved: bool,
    bound: f64,
}

struct Model {
    problem: Problem,
    /// Steps up and down of each pad, rail A's first.
    up: Vec<Variable>,
    down: Vec<Option<Variable>>,
    touched: Vec<Variable>,
    lengths: [usize; 2],
    whole: bool,
    whole_steps: bool,
}

impl Model {
    fn new(task: &Task, aim: Aim, widened: Option<f64>, most: f64, whole: bool) -> Self {
        Self::weighted(task, aim, widened, most, whole, &[])
    }

    /// `widened` is given or, for the first aim, free; `most` bounds the cost of touched pads.
    fn weighted(task: &Task, aim: Aim, widened: Option<f64>, most: f64, whole: bool, weights: &[f64]) -> Self {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let widening = problem.add_var(if aim == Aim::Widening { 1.0 } else { 0.0 }, (widened.unwrap_or(0.0), widened.unwrap_or(1e3)));
        let mut model = Self {
            problem,
            up: Vec::new(),
            down: Vec::new(),
            touched: Vec::new(),
            lengths: [0, 1].map(|r: usize| task.rails[r].len()),
            whole,
            whole_steps: task.whole,
        };
        for (i, pad) in task.rails.iter().flatten().enumerate() {
            let movement = match aim {
                Aim::Movement => 1.0,
                Aim::Weighted => weights[i],
                _ => 0.0,
            };
            model.pad(pad, movement, if aim == Aim::Touched { pad.cost } else { 0.0 });
        }
        if aim == Aim::Movement && most.is_finite() {
            let costs: Vec<(Variable, f64)> = model.touched.iter().copied().zip(task.rails.iter().flatten().map(|p| p.cost)).collect();
            model.problem.add_constraint(costs.as_slice(), ComparisonOp::Le, most + 1e-6);
        }
        let mut lines = Vec::new();
        let mut first = 0;
        for rail in 0..2 {
            lines.extend(model.rail(task, rail, first, widening));
            first += task.rails[rail].len();
        }
        for b in &task.bounds {
            let terms = |extra: f64| -> Vec<(Variable, f64)> {
                lines
                    .iter()
                    .copied()
                    .zip(b.factors)
                    .filter(|(_, f)| *f != 0.0)
                    .chain([(widening, extra * (b.high - b.low) / 2.0)])
                    .collect()
            };
            model.problem.add_constraint(terms(-1.0).as_slice(), ComparisonOp::Le, b.high);
            model.problem.add_constraint(terms(1.0).as_slice(), ComparisonOp::Ge, b.low);
        }
        model
    }

    fn pad(&mut self, pad: &Pad, movement: f64, touched: f64) {
        let (low, high) = pad.steps;
        let count = |most: i32, model: &mut Problem| {
            if self.whole && self.whole_steps {
                model.add_integer_var(movement, (0, most))
            } else {
                model.add_var(movement, (0.0, f64::from(most)))
            }
        };
        let up = count(high.max(0), &mut self.problem);
        let down = (low < 0).then(|| count(-low, &mut self.problem));
        let z = if self.whole { self.problem.add_binary_var(touched) } else { self.problem.add_var(touched, (0.0, 1.0)) };
        self.problem.add_constraint([(up, 1.0), (z, -f64::from(high.max(0)))].as_slice(), ComparisonOp::Le, 0.0);
        if let Some(down) = down {
            self.problem.add_constraint([(down, 1.0), (z, f64::from(low))].as_slice(), ComparisonOp::Le, 0.0);
        }
        self.up.push(up);
        self.down.push(down);
        self.touched.push(z);
    }

    /// Movement of a pad as terms.
    fn moved(&self, i: usize, factor: f64) -> Vec<(Variable, f64)> {
        let mut terms = vec![(self.up[i], factor)];
        terms.extend(self.down[i].map(|d| (d, -factor)));
        terms
    }

    /// Offset and drift of a rail's least-squares line as variables, with its zone, steps and bends.
    fn rail(&mut self, task: &Task, rail: usize, first: usize, widening: Variable) -> [Variable; 2] {
        let pads = &task.rails[rail];
        let anywhere = (f64::NEG_INFINITY, f64::INFINITY);
        let (offset, drift) = (self.problem.add_var(0.0, anywhere), self.problem.add_var(0.0, anywhere));
        if pads.is_empty() {
            self.problem.add_constraint([(offset, 1.0)].as_slice(), ComparisonOp::Eq, 0.0);
            self.problem.add_constraint([(drift, 1.0)].as_slice(), ComparisonOp::Eq, 0.0);
            return [offset, drift];
        }
        // Normal equations of the line through value + step n.
        let sum = |f: &dyn Fn(&Pad) -> f64| pads.iter().map(f).sum::<f64>();
        for weight in [|_: &Pad| 1.0, |p: &Pad| p.s] {
            let mut terms = vec![(offset, sum(&|p| weight(p))), (drift, sum(&|p| weight(p) * p.s))];
            for (i, p) in pads.iter().enumerate() {
                terms.extend(self.moved(first + i, -task.step * weight(p)));
            }
            self.problem.add_constraint(terms.as_slice(), ComparisonOp::Eq, sum(&|p| weight(p) * p.value));
        }
        let low = self.problem.add_var(0.0, anywhere);
        for (i, p) in pads.iter().enumerate() {
            // low <= value + step n - line <= low + zone
            let mut terms = self.moved(first + i, task.step);
            terms.extend([(offset, -1.0), (drift, -p.s), (low, -1.0)]);
            self.problem.add_constraint(terms.as_slice(), ComparisonOp::Ge, -p.value);
            terms.push((widening, -task.zones[rail]));
            self.problem.add_constraint(terms.as_slice(), ComparisonOp::Le, task.zones[rail] - p.value);
        }
        for i in 1..pads.len() {
            let mut terms = self.moved(first + i, task.step);
            terms.extend(self.moved(first + i - 1, -task.step));
            self.problem.add_constraint(terms.as_slice(), ComparisonOp::Le, task.largest_step);
            self.problem.add_constraint(terms.as_slice(), ComparisonOp::Ge, -task.largest_step);
        }
        let values: Vec<f64> = pads.iter().map(|p| p.value).collect();
        for i in 1..pads.len().saturating_sub(1) {
            let limit = bend_limit(task, rail, i, 0.0);
            let mut terms = self.moved(first + i, task.step);
            terms.extend(self.moved(first + i - 1, -task.step / 2.0));
            terms.extend(self.moved(first + i + 1, -task.step / 2.0));
            let now = bend(&values, i);
            let with = |sign: f64| terms.iter().copied().chain([(widening, sign * task.zones[rail])]).collect::<Vec<_>>();
            self.problem.add_constraint(with(-1.0).as_slice(), ComparisonOp::Le, limit - now);
            self.problem.add_constraint(with(1.0).as_slice(), ComparisonOp::Ge, -limit - now);
        }
        [offset, drift]
    }

    fn solve(&self, start: &[i32]) -> Option<Found> {
        let mut options = SolveOptions::default();
        options.node_limit = Some((NODES_TIMES_PADS_SQUARED / self.up.len().max(8).pow(2)) as u64);
        if start.len() == self.up.len() {
            let mut hint = Vec::new();
            for (i, n) in start.iter().enumerate() {
                hint.push((self.up[i], f64::from((*n).max(0))));
                hint.extend(self.down[i].map(|d| (d, f64::from((-n).max(0)))));
                hint.push((self.touched[i], f64::from(u8::from(*n != 0))));
            }
            options.warm_start = Some(hint);
        }
        let outcome = self.problem.solve_with(options).ok()?;
        let proved = outcome.is_optimal();
        let bound = outcome.stats().best_bound.unwrap_or(0.0);
        let SolveOutcome::Solution(solution) = outcome else { return None };
        let steps: Vec<i32> = (0..self.up.len())
            .map(|i| {
                let down = self.down[i].map_or(0.0, |d| solution.var_value(d));
                (solution.var_value(self.up[i]) - down).round() as i32
            })
            .collect();
        let (a, b) = steps.split_at(self.lengths[0]);
        Some(Found { steps: [a.to_vec(), b.to_vec()], objective: solution.objective(), proved, bound })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pads(values: [f64; 3]) -> Vec<Pad> {
        let places = [-0.5, 0.0, 0.5].into_iter().zip(values);
        places.map(|(s, value)| Pad { s, value, steps: (-9, 9), cost: 1.0 }).collect()
    }

    fn task(values: [f64; 3], zone: f64, largest_step: f64) -> Task {
        Task {
            rails: [pads(values), pads([0.0; 3])],
            zones: [zone, 9.0],
            bounds: Vec::new(),
            step: 0.1,
            whole: true,
            largest_step,
            bend: [9.0; 2],
        }
    }

    /// What reaches a limit keeps it, though its digits come out a hair beyond: 3 x 0.1 is more than 0.3.
    #[test]
    fn check_a_limit_may_be_reached() {
        let still = [vec![0; 3], vec![0; 3]];
        // By hand: the line through 0, 0.3, 0 lies at 0.1, so that they stand 0.2 over and 0.1 under it.
        for (zone, kept) in [(0.3, true), (0.3 - 1e-8, true), (0.29, false)] {
            assert_eq!(keeps(&task([0.0, 0.3, 0.0], zone, 9.0), &still, 0.0), kept, "{zone}");
        }
        for (n, kept) in [(3, true), (-3, true), (4, false), (-4, false)] {
            assert_eq!(keeps(&task([0.0; 3], 9.0, 0.3), &[vec![0, n, 0], vec![0; 3]], 0.0), kept, "{n}");
        }
    }

    /// The steps between neighbours count, not how far all of them are moved.
    #[test]
    fn check_a_rail_that_is_moved_as_a_whole_has_no_steps() {
        for n in [-8, 8] {
            assert!(keeps(&task([0.0; 3], 0.2, 0.1), &[vec![n; 3], vec![0; 3]], 0.0));
            assert!(!keeps(&task([0.0; 3], 9.0, 0.1), &[vec![n, -n, n], vec![0; 3]], 0.0));
        }
    }
}
