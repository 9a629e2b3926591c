//! The worst machine that the tolerances allow, bracketed: attained by a real installation, bounded by an argument.

mod affine;
mod bounds;
#[cfg(test)]
mod by_hand;
mod extremes;
mod least_life;
mod search;
mod tolerance_box;

pub use tolerance_box::ToleranceBox;

use extremes::Extremes;
use least_life::Tree;
use search::{Badness, Searcher};

use crate::input::{Installation, Plan};
use crate::structure::{Machine, NotConverged};

use crate::draw::Draws;
use crate::evaluate::Outcome;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};

/// Bounds of machines with slotted joints are widened by this factor: their take-ups follow the errors only to the digits
/// that weak directions leave (a drive on one side alone: 1e-6).
const SLOTTED: f64 = 1.0 + 1e-5;

/// Why there is no bound with contact-level blocks.
const NOT_PROPORTIONAL: &str = "blocks at the contact level do not answer in proportion to the errors";

/// Factor by which the bounds of a machine are widened.
fn pad(evaluator: &Evaluator<'_>) -> f64 {
    if evaluator.machine.take_up_limits().iter().any(|slot| *slot > 0.0) { SLOTTED } else { 1.0 }
}

/// How hard to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Random installations at the limits and inside that are looked at first.
    pub scouts: usize,
    /// So many of them, the worst for each quantity, start a search for it.
    pub starts: usize,
    /// Branches opened for the least life.
    pub branches: usize,
}

impl Effort {
    /// Enough for the figures of a study.
    pub const QUICK: Self = Self { scouts: 2048, starts: 8, branches: 200 };
    /// For the worst case itself.
    pub const FULL: Self = Self { scouts: 16_384, starts: 24, branches: 40_000 };

    /// Whether every corner of a bound is a start as well.
    const fn is_thorough(self) -> bool {
        self.starts > Self::QUICK.starts
    }
}

/// A quantity between an attained value and a bound.
#[derive(Debug, Clone, PartialEq)]
pub struct Bracket {
    /// Key in JSON and file names.
    pub key: String,
    /// What it is.
    pub label: String,
    /// Unit; empty for a ratio.
    pub unit: &'static str,
    /// True where less is worse.
    pub less_is_worse: bool,
    /// The perfect installation's value.
    pub perfect: f64,
    /// Value of the installation.
    pub attained: f64,
    /// What nothing inside the tolerances can pass; none where there is no argument.
    pub bound: Option<f64>,
    /// The installation that attains it.
    pub installation: Installation,
    /// Largest block load of that installation at each station, N.
    pub stroke_peak_n: Vec<f64>,
    /// Its whole outcome.
    pub outcome: Outcome,
}

impl Bracket {
    /// Gap between attained and bound as a share of the attained value.
    #[must_use]
    pub fn gap(&self) -> Option<f64> {
        // Both can be nothing but rounding: then they are the same.
        let gap = |bound: f64| if (bound - self.attained).abs() < 1e-12 { 0.0 } else { ((bound - self.attained) / self.attained).abs() };
        self.bound.map(gap)
    }
}

/// The worst case of one arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct WorstCase {
    /// Name of the arrangement.
    pub arrangement: String,
    /// System life, static safety, floats, joints, tool point, then every block's load.
    pub brackets: Vec<Bracket>,
    /// Why there are no bounds, where there are none.
    pub no_bound: Option<String>,
    /// True where a float can reach its stop: bounds then take its force as unknown.
    pub stops_possible: bool,
    /// Branches opened for the least life.
    pub branches: usize,
    /// True where the caller's clock ended that search: another run may get further.
    pub stopped_by_clock: bool,
}

impl WorstCase {
    /// A bracket by its key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Bracket> {
        self.brackets.iter().find(|b| b.key == key)
    }
}

/// A quantity to bracket.
pub(super) struct Quantity {
    pub(super) key: &'static str,
    label: &'static str,
    unit: &'static str,
    pub(super) less_is_worse: bool,
    pub(super) value: fn(&Outcome) -> f64,
    badness: Badness,
}

pub(super) const QUANTITIES: [Quantity; 7] = [
    Quantity { key: "life_km", label: "system life", unit: "km", less_is_worse: true, value: |o| o.life_km, badness: |o| -o.life_km.ln() },
    Quantity {
        key: "peak_load_n",
        label: "largest block load",
        unit: "N",
        less_is_worse: false,
        value: |o| o.peak_load_n,
        badness: |o| o.peak_load_n,
    },
    Quantity {
        key: "static_safety",
        label: "static safety",
        unit: "",
        less_is_worse: true,
        value: |o| o.static_safety,
        badness: |o| -o.static_safety,
    },
    Quantity {
        key: "float_travel_used",
        label: "float travel used",
        unit: "",
        less_is_worse: false,
        value: |o| o.float_travel_used,
        badness: |o| o.float_travel_used,
    },
    Quantity {
        key: "joint_force_n",
        label: "largest joint force",
        unit: "N",
        less_is_worse: false,
        value: |o| o.joint_force_n,
        badness: |o| o.joint_force_n,
    },
    Quantity {
        key: "tool_displacement_mm",
        label: "tool point displacement",
        unit: "mm",
        less_is_worse: false,
        value: |o| o.tool_displacement_mm,
        badness: |o| o.tool_displacement_mm,
    },
    Quantity {
        key: "tool_yaw_mrad",
        label: "tool yaw",
        unit: "mrad",
        less_is_worse: false,
        value: |o| o.tool_yaw_mrad,
        badness: |o| o.tool_yaw_mrad,
    },
];

/// Brackets the worst case of a machine inside its plan's tolerances.
///
/// `stop` ends the search for the least life early (a clock of the caller's).
///
/// # Errors
/// An equilibrium was not found.
pub fn worst_case(evaluator: &Evaluator<'_>, effort: Effort, stop: &dyn Fn() -> bool) -> Result<WorstCase, NotConverged> {
    let plan = evaluator.plan();
    let draws = Draws::new(plan, evaluator.machine.rails());
    let tolerance_box = ToleranceBox::new(plan, draws.modes().clone());
    let service = service_states(plan);
    let searcher = Searcher::new(evaluator, &tolerance_box, &draws, &service)?;
    // Contact-level blocks answer slowly and have no bound: the same machine on springs shows where to look.
    let springs = plan.on_springs();
    let guide = springs.as_ref().map(|p| on_springs(p, evaluator)).transpose()?;
    let guide = guide.as_ref().map(|g| Searcher::new(g, &tolerance_box, &draws, &service)).transpose()?;
    let scout = guide.as_ref().unwrap_or(&searcher);
    let (corners_from, no_bound) = match Extremes::new(scout.evaluator, &tolerance_box) {
        Ok(bounds) => (Some(bounds), None),
        Err(why) => (None, Some(why)),
    };
    let no_bound = if guide.is_some() { Some(NOT_PROPORTIONAL.into()) } else { no_bound };
    let bounds = corners_from.as_ref().filter(|_| guide.is_none());
    let scouts = scout.random_points(effort.scouts, plan.study.seed);
    let seen = scout.outcomes_of(&scouts)?;
    let corners: Vec<Vec<f64>> = corners_from.as_ref().map_or_else(Vec::new, |b| b.blocks.iter().map(|x| x.1.clone()).collect());
    let mut brackets = Vec::new();
    let has_floats = evaluator.machine.float_count() > 0;
    for q in QUANTITIES.iter().filter(|q| has_floats || q.key != "float_travel_used") {
        let bound = bounds.map(|b| b.of(q.key));
        let corner: Vec<Vec<f64>> = corners_from.iter().flat_map(|b| b.starts(q.key)).collect();
        if let (Some(bound), Some(point)) = (bound, corner.first()) {
            let exact = bracket(&searcher, q, point, Some(bound))?;
            if exact.gap().is_some_and(|gap| gap < 3e-5) {
                brackets.push(exact);
                continue;
            }
        }
        let mut own: Vec<Vec<f64>> = worst_few(&seen, q.badness, effort.starts).into_iter().map(|i| scouts[i].clone()).collect();
        own.push(vec![0.0; tolerance_box.dimension()]);
        own.extend(corner);
        if ["life_km", "peak_load_n", "static_safety"].contains(&q.key) {
            own.extend(corners.iter().take(if effort.is_thorough() { corners.len() } else { 2 }).cloned());
        }
        let mut found = scout.climb(&own, q.badness)?;
        if guide.is_some() {
            own.push(found.point);
            found = searcher.best_of(&own, q.badness)?;
            if effort.is_thorough() {
                found = searcher.climb(&[found.point], q.badness)?;
            }
        }
        brackets.push(bracket(&searcher, q, &found.point, bound)?);
    }
    let (mut branches, mut stopped_by_clock) = (0, false);
    if let (Some(bounds), Some(life)) = (bounds, brackets.first_mut()) {
        let tree = Tree::new(&plan.block, &bounds.map, &bounds.dynamic, tolerance_box.scalars());
        let least = tree.search(life.attained, effort.branches, stop);
        life.bound = Some(least.bound_km / pad(evaluator));
        (branches, stopped_by_clock) = (least.opened, least.stopped);
    }
    if let Some(bounds) = bounds {
        for (b, (bound, point)) in bounds.blocks.iter().enumerate() {
            brackets.push(block_bracket(&searcher, b, *bound, point)?);
        }
    }
    Ok(WorstCase {
        arrangement: evaluator.machine.name().into(),
        brackets,
        no_bound,
        stops_possible: bounds.is_some_and(|b| b.past_stops.iter().any(|p| *p > 0.0)),
        branches,
        stopped_by_clock,
    })
}

/// Places of the worst few outcomes, the worst first.
fn worst_few(outcomes: &[Outcome], badness: Badness, count: usize) -> Vec<usize> {
    let mut places: Vec<usize> = (0..outcomes.len()).collect();
    places.sort_by(|a, b| badness(&outcomes[*b]).total_cmp(&badness(&outcomes[*a])));
    places.truncate(count);
    places
}

/// The machine of an evaluator with its blocks as springs.
fn on_springs<'p>(plan: &'p Plan, evaluator: &Evaluator<'_>) -> Result<Evaluator<'p>, NotConverged> {
    let not_held = NotConverged { iterations: 0, residual: f64::INFINITY };
    let machine = Machine::new(plan, evaluator.machine.arrangement).map_err(|_| not_held)?;
    Evaluator::new(machine, plan.study.drag)
}

/// A bound that its own corner attains may be milder by the last bits of another order of summing; then it is what is attained.
fn not_milder(bound: f64, attained: f64, less_is_worse: bool, pad: f64) -> f64 {
    let bound = if less_is_worse { bound / pad } else { bound * pad };
    let exact = (bound / attained - 1.0).abs() < 1e-9;
    match (exact, less_is_worse) {
        (true, true) => bound.min(attained),
        (true, false) => bound.max(attained),
        _ => bound,
    }
}

fn bracket(searcher: &Searcher<'_, '_>, q: &Quantity, point: &[f64], bound: Option<f64>) -> Result<Bracket, NotConverged> {
    let mut work = Work::default();
    let outcome = searcher.outcome(point, &mut work)?;
    Ok(Bracket {
        key: q.key.into(),
        label: q.label.into(),
        unit: q.unit,
        less_is_worse: q.less_is_worse,
        perfect: (q.value)(&searcher.evaluator.perfect()),
        attained: (q.value)(&outcome),
        bound: bound.map(|b| not_milder(b, (q.value)(&outcome), q.less_is_worse, pad(searcher.evaluator))),
        installation: searcher.tolerance_box.installation(searcher.evaluator.plan(), point),
        stroke_peak_n: work.stroke_peak_n,
        outcome,
    })
}

fn block_bracket(searcher: &Searcher<'_, '_>, b: usize, bound: f64, point: &[f64]) -> Result<Bracket, NotConverged> {
    let plan = searcher.evaluator.plan();
    let of_a = plan.trucks[0].blocks.len();
    let name = if b < of_a { format!("A{}", b + 1) } else { format!("B{}", b + 1 - of_a) };
    let mut work = Work::default();
    let outcome = searcher.outcome(point, &mut work)?;
    Ok(Bracket {
        key: format!("block_{}_load_n", name.to_lowercase()),
        label: format!("load of block {name}"),
        unit: "N",
        less_is_worse: false,
        perfect: searcher.evaluator.perfect_peak_load_n(b),
        attained: work.blocks[b].peak_load_n,
        bound: Some(not_milder(bound, work.blocks[b].peak_load_n, false, pad(searcher.evaluator))),
        installation: searcher.tolerance_box.installation(plan, point),
        stroke_peak_n: work.stroke_peak_n,
        outcome,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    /// What may be summed in another order differs in the last bits; what is milder by more than that stays so, and is seen.
    #[test]
    fn check_only_rounding_makes_a_bound_what_is_attained() {
        for bits in [1.0 - 1e-13, 1.0 + 1e-13] {
            assert_eq!(not_milder(4000.0 * bits, 4000.0, false, 1.0), 4000.0_f64.max(4000.0 * bits));
            assert_eq!(not_milder(4000.0 * bits, 4000.0, true, 1.0), 4000.0_f64.min(4000.0 * bits));
        }
        for less_is_worse in [false, true] {
            assert_eq!([3999.0, 4001.0].map(|bound| not_milder(bound, 4000.0, less_is_worse, 1.0)), [3999.0, 4001.0]);
        }
        // Widened to the unsafe side: more where more is worse.
        assert_eq!((not_milder(100.0, 90.0, false, 1.25), not_milder(100.0, 110.0, true, 1.25)), (125.0, 80.0));
    }

    #[test]
    fn check_the_worst_few_come_first() {
        let outcomes = [3.0, 7.0, f64::NEG_INFINITY, 5.0].map(|peak_load_n| Outcome { peak_load_n, ..Outcome::start() });
        assert_eq!(worst_few(&outcomes, |o| o.peak_load_n, 3), [1, 3, 0]);
    }

    /// Floats that meet their stops, where a search from the middle and the bounds' corners ends too early: the scouts find worse, and
    /// whichever they are, nearly the same.
    #[test]
    fn check_scouts_find_worse_whatever_the_seed() {
        let text = include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 3 ");
        let mut plan = read_plan(&text.replace("travel_mm = 3, ", "travel_mm = 1, "), "panel-bridge.toml").unwrap();
        let mut attained = |seed: u64, effort: Effort| -> Vec<f64> {
            plan.study.seed = seed;
            let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
            let worst = worst_case(&evaluator, Effort { branches: 1, ..effort }, &|| false).unwrap();
            assert!(worst.stops_possible);
            QUANTITIES.iter().map(|q| worst.get(q.key).unwrap().attained).collect()
        };
        let alone = attained(1, Effort { scouts: 0, starts: 0, branches: 1 });
        let scouted: Vec<Vec<f64>> = (1..=4).map(|seed| attained(seed, Effort::QUICK)).collect();
        // How many times worse than without scouts: the least and the most of the seeds.
        let ends = |(k, q): (usize, &Quantity)| {
            let times = scouted.iter().map(|of| if q.less_is_worse { alone[k] / of[k] } else { of[k] / alone[k] });
            times.fold([f64::INFINITY, 0.0_f64], |[low, high], t| [low.min(t), high.max(t)])
        };
        let ends: Vec<[f64; 2]> = QUANTITIES.iter().enumerate().map(ends).collect();
        assert!(ends.iter().all(|[low, high]| *low > 1.0 - 1e-9 && high / low < 1.01), "{ends:?}");
        assert!(ends.iter().any(|[low, _]| *low > 1.05), "{ends:?}");
    }

    #[test]
    fn check_the_gap_is_a_share_of_what_is_attained() {
        let plan = read_plan(include_str!("../../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let gap = |attained: f64, bound: Option<f64>| {
            let (installation, outcome) = (Installation::perfect(&plan), Outcome::start());
            let (key, label, stroke_peak_n) = (String::new(), String::new(), Vec::new());
            Bracket { key, label, unit: "", less_is_worse: false, perfect: 0.0, attained, bound, installation, stroke_peak_n, outcome }
                .gap()
        };
        let near = |found: Option<f64>, expected: f64| assert!((found.unwrap() - expected).abs() < 1e-12, "{found:?} not {expected}");
        near(gap(100.0, Some(110.0)), 0.1);
        near(gap(100.0, Some(95.0)), 0.05);
        near(gap(0.5, Some(0.5)), 0.0);
        // Both are rounding about nothing.
        assert_eq!((gap(0.0, Some(0.0)), gap(1e-12, Some(5e-13)), gap(2e-13, Some(-2e-13))), (Some(0.0), Some(0.0), Some(0.0)));
        assert_eq!(gap(100.0, None), None);
    }
}
