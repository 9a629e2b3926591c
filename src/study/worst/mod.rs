//! The worst machine that the tolerances allow, bracketed: attained by a real installation, bounded by an argument.

mod affine;
mod bounds;
mod least_life;
mod search;
mod tolerance_box;

pub use tolerance_box::ToleranceBox;

use affine::AffineMap;
use bounds::{Spreads, dynamic_weights, float_reach, reach, resultant, signed_row, static_weights};
use least_life::Tree;
use search::{Badness, Searcher};

use crate::input::Installation;
use crate::input::plan::Law;
use crate::math::Corners;
use crate::structure::NotConverged;
use crate::units::MRAD;

use super::evaluate::{Evaluator, Outcome, Work};
use super::sampling::Draws;

/// How hard to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Random starting points of each search.
    pub starts: usize,
    /// Branches opened for the least life.
    pub branches: usize,
}

impl Effort {
    /// Enough for the figures of a study.
    pub const QUICK: Self = Self { starts: 0, branches: 200 };
    /// For the worst case itself.
    pub const FULL: Self = Self { starts: 12, branches: 40_000 };
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
        self.bound.map(|bound| ((bound - self.attained) / self.attained).abs())
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
}

impl WorstCase {
    /// A bracket by its key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Bracket> {
        self.brackets.iter().find(|b| b.key == key)
    }
}

/// A quantity to bracket.
struct Quantity {
    key: &'static str,
    label: &'static str,
    unit: &'static str,
    less_is_worse: bool,
    value: fn(&Outcome) -> f64,
    badness: Badness,
}

const QUANTITIES: [Quantity; 7] = [
    Quantity {
        key: "life_km",
        label: "system life",
        unit: "km",
        less_is_worse: true,
        value: |o| o.life_km,
        badness: |o, _| -o.life_km.ln(),
    },
    Quantity {
        key: "peak_load_n",
        label: "largest block load",
        unit: "N",
        less_is_worse: false,
        value: |o| o.peak_load_n,
        badness: |o, _| o.peak_load_n,
    },
    Quantity {
        key: "static_safety",
        label: "static safety",
        unit: "",
        less_is_worse: true,
        value: |o| o.static_safety,
        badness: |o, _| -o.static_safety,
    },
    Quantity {
        key: "float_travel_used",
        label: "float travel used",
        unit: "",
        less_is_worse: false,
        value: |o| o.float_travel_used,
        badness: |o, _| o.float_travel_used,
    },
    Quantity {
        key: "joint_force_n",
        label: "largest joint force",
        unit: "N",
        less_is_worse: false,
        value: |o| o.joint_force_n,
        badness: |o, _| o.joint_force_n,
    },
    Quantity {
        key: "tool_displacement_mm",
        label: "tool point displacement",
        unit: "mm",
        less_is_worse: false,
        value: |o| o.tool_displacement_mm,
        badness: |o, _| o.tool_displacement_mm,
    },
    Quantity {
        key: "tool_yaw_mrad",
        label: "tool yaw",
        unit: "mrad",
        less_is_worse: false,
        value: |o| o.tool_yaw_mrad,
        badness: |o, _| o.tool_yaw_mrad,
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
    let searcher = Searcher::new(evaluator, &tolerance_box);
    let (bounds, no_bound) = match Bounds::new(evaluator, &tolerance_box) {
        Ok(bounds) => (Some(bounds), None),
        Err(why) => (None, Some(why)),
    };
    let mut starts = searcher.random_points(effort.starts, plan.study.seed);
    starts.push(vec![0.0; tolerance_box.dimension()]);
    let corners: Vec<Vec<f64>> = bounds.as_ref().map_or_else(Vec::new, |b| b.blocks.iter().map(|x| x.1.clone()).collect());
    let mut brackets = Vec::new();
    let has_floats = evaluator.machine.float_count() > 0;
    for q in QUANTITIES.iter().filter(|q| has_floats || q.key != "float_travel_used") {
        let bound = bounds.as_ref().map(|b| b.of(q.key));
        let corner: Vec<Vec<f64>> = bounds.iter().flat_map(|b| b.starts(q.key)).collect();
        if let (Some(bound), Some(point)) = (bound, corner.first()) {
            let exact = bracket(&searcher, q, point, Some(bound))?;
            if exact.gap().is_some_and(|gap| gap < 1e-9) {
                brackets.push(exact);
                continue;
            }
        }
        let mut own = starts.clone();
        own.extend(corner);
        if q.key == "life_km" {
            own.extend(corners.iter().take(if effort.starts > 4 { corners.len() } else { 2 }).cloned());
        }
        let found = searcher.climb(&own, q.badness)?;
        brackets.push(bracket(&searcher, q, &found.point, bound)?);
    }
    let mut branches = 0;
    if let (Some(bounds), Some(life)) = (&bounds, brackets.first_mut()) {
        let tree = Tree::new(&plan.block, &bounds.map, &bounds.dynamic, tolerance_box.scalars());
        let least = tree.search(life.attained, effort.branches, stop);
        life.bound = Some(least.bound_km);
        branches = least.opened;
    }
    if let Some(bounds) = &bounds {
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
    })
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
        bound,
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
        bound: Some(bound),
        installation: searcher.tolerance_box.installation(plan, point),
        stroke_peak_n: work.stroke_peak_n,
        outcome,
    })
}

/// All bounds but that of life, with the corners that have them in the affine map.
struct Bounds {
    map: AffineMap,
    dynamic: Spreads,
    /// Greatest load of each block, with its point.
    blocks: Vec<(f64, Vec<f64>)>,
    static_load_n: (f64, Vec<f64>),
    travel: (f64, Vec<f64>),
    joint_n: (f64, Vec<f64>),
    tool_mm: (f64, Vec<f64>),
    yaw_rad: (f64, Vec<f64>),
    past_stops: Vec<f64>,
    c0_n: f64,
}

impl Bounds {
    fn new(evaluator: &Evaluator<'_>, tolerance_box: &ToleranceBox) -> Result<Self, String> {
        let plan = evaluator.plan();
        let mut map = AffineMap::new(evaluator, tolerance_box).map_err(|why| why.0)?;
        let laws: Vec<Law> =
            evaluator.machine.joint_laws().into_iter().map(|(_, law)| law).filter(|law| matches!(law, Law::Float { .. })).collect();
        let floats = float_reach(&map, tolerance_box, &laws).ok_or("the floats' stops may drive each other without limit")?;
        let travel = travel_bound(&map, tolerance_box, &laws, &floats);
        for (unknown, ((_, past), law)) in map.unknown_n.iter_mut().zip(floats.iter().zip(&laws)) {
            if let Law::Float { k_stop, .. } = law {
                *unknown += k_stop * past;
            }
        }
        let blocks = plan.block_count();
        let dynamic = Spreads::new(&map, tolerance_box, blocks, dynamic_weights(&plan.block));
        let fixed = Spreads::new(&map, tolerance_box, blocks, static_weights(&plan.block));
        let of_blocks: Vec<(f64, Vec<f64>)> = (0..blocks).map(|b| greatest(&map, tolerance_box, &dynamic, blocks, b)).collect();
        let static_load_n = (0..blocks).map(|b| greatest(&map, tolerance_box, &fixed, blocks, b)).fold((0.0, Vec::new()), larger);
        Ok(Self {
            joint_n: resultants(&map, tolerance_box, &map.joints, 3, |p, group| {
                map.joint_rows[map.places[p].station * map.joints[0].len() + 3 * group..].iter().take(3).collect()
            }),
            tool_mm: tool_bound(&map, tolerance_box, plan.duty.len(), 0..3),
            yaw_rad: tool_bound(&map, tolerance_box, plan.duty.len(), 3..4),
            past_stops: floats.iter().map(|f| f.1).collect(),
            c0_n: plan.block.c0_n,
            blocks: of_blocks,
            static_load_n,
            travel,
            dynamic,
            map,
        })
    }

    fn of(&self, key: &str) -> f64 {
        match key {
            "peak_load_n" => self.blocks.iter().map(|b| b.0).fold(0.0, f64::max),
            "static_safety" => self.c0_n / self.static_load_n.0,
            "float_travel_used" => self.travel.0,
            "joint_force_n" => self.joint_n.0,
            "tool_displacement_mm" => self.tool_mm.0,
            "tool_yaw_mrad" => self.yaw_rad.0 / MRAD,
            _ => f64::NAN,
        }
    }

    /// Corners that have the bound in the affine map: the best starts.
    fn starts(&self, key: &str) -> Vec<Vec<f64>> {
        let worst_block = || self.blocks.iter().fold((0.0, Vec::new()), |a, b| larger(a, b.clone())).1;
        let point = match key {
            "static_safety" => self.static_load_n.1.clone(),
            "float_travel_used" => self.travel.1.clone(),
            "joint_force_n" => self.joint_n.1.clone(),
            "tool_displacement_mm" => self.tool_mm.1.clone(),
            "tool_yaw_mrad" => self.yaw_rad.1.clone(),
            _ => worst_block(),
        };
        if point.is_empty() { Vec::new() } else { vec![point] }
    }
}

fn larger(a: (f64, Vec<f64>), b: (f64, Vec<f64>)) -> (f64, Vec<f64>) {
    if b.0 > a.0 { b } else { a }
}

/// Greatest equivalent load of a block anywhere, with a point that has it.
fn greatest(map: &AffineMap, tolerance_box: &ToleranceBox, spreads: &Spreads, blocks: usize, b: usize) -> (f64, Vec<f64>) {
    let best = (0..map.places.len())
        .map(|p| (p, spreads.greatest(map, blocks, p, b)))
        .fold((0, (0.0, 0, 1.0)), |a, x| if x.1.0 > a.1.0 { x } else { a });
    let (place, (value, pattern, side)) = best;
    let row: Vec<f64> = signed_row(map, blocks, map.places[place].station, b, pattern, &spreads.weights).iter().map(|r| r * side).collect();
    (value, reach(map, tolerance_box, &row, &mut Corners::default()).1)
}

/// Largest share of a float's travel, with the corner that moves that float most.
fn travel_bound(map: &AffineMap, tolerance_box: &ToleranceBox, laws: &[Law], floats: &[(f64, f64)]) -> (f64, Vec<f64>) {
    let mut best = (0.0, Vec::new());
    for (f, (law, (way, _))) in laws.iter().zip(floats).enumerate() {
        let Law::Float { travel, .. } = law else { continue };
        let used = way / travel;
        if used > best.0 {
            let mut corner = (0.0, Vec::new());
            for (place, d) in map.places.iter().zip(&map.floats) {
                let side = if d[f] < 0.0 { -1.0 } else { 1.0 };
                let row: Vec<f64> = map.float_rows[place.station * laws.len() + f].iter().map(|r| r * side).collect();
                let (spread, point) = reach(map, tolerance_box, &row, &mut Corners::default());
                corner = larger(corner, (d[f].abs() + spread, point));
            }
            best = (used, corner.1);
        }
    }
    best
}

/// Largest resultant of groups of components, with a corner that makes its largest component greatest.
fn resultants<'m>(
    map: &'m AffineMap,
    tolerance_box: &ToleranceBox,
    values: &[Vec<f64>],
    size: usize,
    rows: impl Fn(usize, usize) -> Vec<&'m Vec<f64>>,
) -> (f64, Vec<f64>) {
    let mut best = (0.0, Vec::new());
    let mut corners = Corners::default();
    let mut known: Option<(usize, Vec<Vec<(f64, Vec<f64>)>>)> = None;
    for (p, value) in values.iter().enumerate() {
        let station = map.places[p].station;
        let groups = value.len() / size;
        if known.as_ref().is_none_or(|(s, _)| *s != station) {
            let of = |g: usize, corners: &mut Corners| rows(p, g).into_iter().map(|r| reach(map, tolerance_box, r, corners)).collect();
            known = Some((station, (0..groups).map(|g| of(g, &mut corners)).collect()));
        }
        let Some((_, spreads)) = &known else { continue };
        for (g, spread) in spreads.iter().enumerate() {
            let part = &value[g * size..(g + 1) * size];
            let only: Vec<f64> = spread.iter().map(|s| s.0).collect();
            let bound = resultant(&only, part);
            if bound > best.0 {
                let main = (0..size).max_by(|&a, &b| (part[a].abs() + only[a]).total_cmp(&(part[b].abs() + only[b]))).unwrap_or(0);
                let point = if part[main] < 0.0 { spread[main].1.iter().map(|v| -v).collect() } else { spread[main].1.clone() };
                best = (bound, point);
            }
        }
    }
    best
}

/// Largest resultant of some components of the tool point.
fn tool_bound(map: &AffineMap, tolerance_box: &ToleranceBox, cases: usize, components: std::ops::Range<usize>) -> (f64, Vec<f64>) {
    let mut best = (0.0, Vec::new());
    let mut corners = Corners::default();
    let mut known: std::collections::BTreeMap<(usize, usize), Vec<(f64, Vec<f64>)>> = std::collections::BTreeMap::new();
    for (place, tool) in map.places.iter().zip(&map.tool) {
        let spreads = known.entry((place.station, place.case)).or_insert_with(|| {
            let row = |i: usize| &map.tool_rows[(place.station * cases + place.case) * 4 + i];
            components.clone().map(|i| reach(map, tolerance_box, row(i), &mut corners)).collect()
        });
        let only: Vec<f64> = spreads.iter().map(|s| s.0).collect();
        let part = &tool[components.clone()];
        let bound = resultant(&only, part);
        if bound > best.0 {
            let main = (0..part.len()).max_by(|&a, &b| (part[a].abs() + only[a]).total_cmp(&(part[b].abs() + only[b]))).unwrap_or(0);
            let point = if part[main] < 0.0 { spreads[main].1.iter().map(|v| -v).collect() } else { spreads[main].1.clone() };
            best = (bound, point);
        }
    }
    best
}
