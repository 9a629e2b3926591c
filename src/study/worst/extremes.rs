//! The greatest value of every quantity but life over the affine map, each with a corner of the tolerances that has it.

use std::collections::BTreeMap;
use std::ops::Range;

use super::affine::AffineMap;
use super::bounds::{Spreads, dynamic_weights, float_reach, reach, resultant, signed_row, static_weights};
use super::tolerance_box::ToleranceBox;
use crate::evaluate::Evaluator;
use crate::input::plan::Law;
use crate::math::Corners;
use crate::units::MRAD;

/// A greatest value, and a point of the box that has it.
type Greatest = (f64, Vec<f64>);

/// All bounds but that of life, with the corners that have them in the affine map.
pub(super) struct Extremes {
    pub(super) map: AffineMap,
    pub(super) dynamic: Spreads,
    /// Greatest load of each block, with its point.
    pub(super) blocks: Vec<Greatest>,
    static_load_n: Greatest,
    travel: Greatest,
    joint_n: Greatest,
    tool_mm: Greatest,
    yaw_rad: Greatest,
    pub(super) past_stops: Vec<f64>,
    c0_n: f64,
}

impl Extremes {
    pub(super) fn new(evaluator: &Evaluator<'_>, tolerance_box: &ToleranceBox) -> Result<Self, String> {
        let plan = evaluator.plan();
        let mut map = AffineMap::new(evaluator, tolerance_box).map_err(|why| why.0)?;
        let laws: Vec<Law> =
            evaluator.machine.joint_laws().into_iter().map(|(_, law)| law).filter(|law| matches!(law, Law::Float { .. })).collect();
        // All look for the ends of the same zone.
        let corners = &mut Corners::default();
        let floats = float_reach(&map, tolerance_box, &laws, corners).ok_or("the floats' stops may drive each other without limit")?;
        let travel = travel_bound(&map, tolerance_box, &laws, &floats, corners);
        for (unknown, ((_, past), law)) in map.unknown_n.iter_mut().zip(floats.iter().zip(&laws)) {
            if let Law::Float { k_stop, .. } = law {
                *unknown += k_stop * past;
            }
        }
        let blocks = plan.block_count();
        let dynamic = Spreads::new(&map, tolerance_box, blocks, dynamic_weights(&plan.block), corners);
        let fixed = Spreads::new(&map, tolerance_box, blocks, static_weights(&plan.block), corners);
        let of_blocks: Vec<Greatest> = (0..blocks).map(|b| greatest(&map, tolerance_box, &dynamic, (blocks, b), corners)).collect();
        let static_load_n =
            (0..blocks).map(|b| greatest(&map, tolerance_box, &fixed, (blocks, b), corners)).fold((0.0, Vec::new()), larger);
        Ok(Self {
            joint_n: largest_resultant(&map, tolerance_box, joint_forces(&map), corners),
            tool_mm: largest_resultant(&map, tolerance_box, tool_parts(&map, plan.duty.len(), 0..3), corners),
            yaw_rad: largest_resultant(&map, tolerance_box, tool_parts(&map, plan.duty.len(), 3..4), corners),
            past_stops: floats.iter().map(|f| f.1).collect(),
            c0_n: plan.block.c0_n,
            blocks: of_blocks,
            static_load_n,
            travel,
            dynamic,
            map,
        })
    }

    pub(super) fn of(&self, key: &str) -> f64 {
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
    pub(super) fn starts(&self, key: &str) -> Vec<Vec<f64>> {
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

fn larger(a: Greatest, b: Greatest) -> Greatest {
    if b.0 > a.0 { b } else { a }
}

/// Greatest equivalent load of a block anywhere, with a point that has it.
fn greatest(
    map: &AffineMap,
    tolerance_box: &ToleranceBox,
    spreads: &Spreads,
    (blocks, b): (usize, usize),
    corners: &mut Corners,
) -> Greatest {
    let best = (0..map.places.len())
        .map(|p| (p, spreads.greatest(map, blocks, p, b)))
        .fold((0, (0.0, 0, 1.0)), |a, x| if x.1.0 > a.1.0 { x } else { a });
    let (place, (value, pattern, side)) = best;
    let row: Vec<f64> = signed_row(map, blocks, map.places[place].station, b, pattern, &spreads.weights).iter().map(|r| r * side).collect();
    (value, reach(map, tolerance_box, &row, corners).1)
}

/// Largest share of a float's travel, with the corner that moves that float most.
fn travel_bound(map: &AffineMap, tolerance_box: &ToleranceBox, laws: &[Law], floats: &[(f64, f64)], corners: &mut Corners) -> Greatest {
    let mut best = (0.0, Vec::new());
    for (f, (law, (way, _))) in laws.iter().zip(floats).enumerate() {
        let Law::Float { travel, .. } = law else { continue };
        let used = way / travel;
        if used > best.0 {
            let mut corner = (0.0, Vec::new());
            for (place, d) in map.places.iter().zip(&map.floats) {
                let side = if d[f] < 0.0 { -1.0 } else { 1.0 };
                let row: Vec<f64> = map.float_rows[place.station * laws.len() + f].iter().map(|r| r * side).collect();
                let (spread, point) = reach(map, tolerance_box, &row, corners);
                corner = larger(corner, (d[f].abs() + spread, point));
            }
            best = (used, corner.1);
        }
    }
    best
}

/// A resultant: which rows it belongs to, those rows, and its components' values in one place.
type Resultant<'m> = (usize, &'m [Vec<f64>], &'m [f64]);

/// Largest resultant of some components, with a corner that makes its largest component greatest.
fn largest_resultant<'m>(
    map: &AffineMap,
    tolerance_box: &ToleranceBox,
    all: impl Iterator<Item = Resultant<'m>>,
    corners: &mut Corners,
) -> Greatest {
    let mut best = (0.0, Vec::new());
    let mut known: BTreeMap<usize, Vec<Greatest>> = BTreeMap::new();
    for (rows_of, rows, values) in all {
        let spreads = known.entry(rows_of).or_insert_with(|| rows.iter().map(|r| reach(map, tolerance_box, r, corners)).collect());
        let only: Vec<f64> = spreads.iter().map(|s| s.0).collect();
        let bound = resultant(&only, values);
        if bound > best.0 {
            let size = |i: usize| values[i].abs() + only[i];
            let main = (0..values.len()).max_by(|&a, &b| size(a).total_cmp(&size(b))).unwrap_or(0);
            let side = if values[main] < 0.0 { -1.0 } else { 1.0 };
            best = (bound, spreads[main].1.iter().map(|v| v * side).collect());
        }
    }
    best
}

/// Forces of every joint in every place.
fn joint_forces(map: &AffineMap) -> impl Iterator<Item = Resultant<'_>> {
    let size = map.joints.first().map_or(0, Vec::len);
    map.places.iter().zip(&map.joints).flat_map(move |(place, forces)| {
        forces.chunks(3).enumerate().map(move |(joint, values)| {
            let first = place.station * size + 3 * joint;
            (first, &map.joint_rows[first..first + 3], values)
        })
    })
}

/// Some components of the tool point in every place.
fn tool_parts(map: &AffineMap, cases: usize, parts: Range<usize>) -> impl Iterator<Item = Resultant<'_>> {
    map.places.iter().zip(&map.tool).map(move |(place, tool)| {
        let first = 4 * (place.station * cases + place.case);
        (first, &map.tool_rows[first + parts.start..first + parts.end], &tool[parts.clone()])
    })
}

#[cfg(test)]
mod tests {
    use super::super::by_hand::{CORNERS, along, float, map, plan_of_two, square};
    use super::*;
    use crate::draw::Draws;
    use crate::evaluate::{Outcome, Work, service_states};
    use crate::input::read_plan;
    use crate::structure::Machine;

    /// A bound that is exact is attained by the machine itself in the corner that has it; a resultant's corner makes its largest
    /// component greatest and comes near. Of two floats the one with less travel is moved farthest by its measure.
    #[test]
    fn check_the_corners_of_bounds_attain_them() {
        let text = include_str!("../../../examples/panel-bridge.toml").replace("stations = 21 ", "stations = 4 ");
        let mut plan = read_plan(&text, "panel-bridge.toml").unwrap();
        let end = &mut plan.arrangements[1].ends[1];
        let mut other = end[0].clone();
        (end[0].place_mm[0], other.place_mm[0]) = (150.0, -150.0);
        let Law::Float { travel, .. } = &mut other.components[1].law else { panic!("a float") };
        *travel = 2.9;
        end.push(other);
        let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
        let draws = Draws::new(&plan, evaluator.machine.rails());
        let tolerance_box = ToleranceBox::new(&plan, draws.modes().clone());
        let extremes = Extremes::new(&evaluator, &tolerance_box).unwrap();
        assert_eq!(extremes.past_stops, [0.0; 2]);
        type Value = fn(&Outcome) -> f64;
        let values: [(&str, f64, Value); 6] = [
            ("peak_load_n", 1e-6, |o| o.peak_load_n),
            ("static_safety", 1e-6, |o| 1.0 / o.static_safety),
            ("float_travel_used", 1e-6, |o| o.float_travel_used),
            ("tool_yaw_mrad", 1e-6, |o| o.tool_yaw_mrad),
            ("joint_force_n", 0.25, |o| o.joint_force_n),
            ("tool_displacement_mm", 0.25, |o| o.tool_displacement_mm),
        ];
        for (key, less, value) in values {
            let starts = extremes.starts(key);
            assert_eq!(starts.len(), 1, "{key}");
            let installation = tolerance_box.installation(&plan, &starts[0]);
            let outcome = evaluator.evaluate(&installation, &service_states(&plan), &mut Work::default()).unwrap();
            let bound = if key == "static_safety" { 1.0 / extremes.of(key) } else { extremes.of(key) };
            let attained = value(&outcome) / bound;
            assert!(attained > 1.0 - less && attained < 1.0 + 1e-9, "{key}: {attained} of its bound");
        }
    }

    /// Each search begins in the corner of its own quantity; loads, lives and whatever else in that of the most loaded block.
    #[test]
    fn check_every_quantity_starts_from_its_own_corner() {
        let at = |value: f64, u: f64| (value, vec![u, -u]);
        let dynamic = Spreads { values: Vec::new(), weights: [1.0; 5] };
        let mut extremes = Extremes {
            map: map(&[]),
            dynamic,
            blocks: vec![at(10.0, 0.1), at(30.0, 0.2), at(20.0, 0.3)],
            static_load_n: at(40.0, 0.4),
            travel: at(0.5, 0.5),
            joint_n: at(600.0, 0.6),
            tool_mm: at(0.7, 0.7),
            yaw_rad: at(8e-4, 0.8),
            past_stops: Vec::new(),
            c0_n: 100.0,
        };
        let keys =
            ["peak_load_n", "life_km", "static_safety", "float_travel_used", "joint_force_n", "tool_displacement_mm", "tool_yaw_mrad"];
        let expected = [0.2, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8].map(|u| vec![vec![u, -u]]);
        assert_eq!(keys.map(|key| extremes.starts(key)), expected);
        // A quantity that nothing moves has no corner.
        extremes.travel = (0.0, Vec::new());
        assert!(extremes.starts("float_travel_used").is_empty());
    }

    /// Against every corner of the square in every place: of the float that uses most of its travel, the corner that moves it farthest.
    /// By hand it is 1.0 + 2.5 of 4 mm, though another place stands farther out and another product is larger.
    #[test]
    fn check_the_corner_of_the_travel_moves_the_float_that_uses_most_of_it() {
        let plan = plan_of_two();
        for side in [1.0, -1.0] {
            let mut found = map(&[(0, 0.5), (1, 0.3), (2, 0.2)]);
            found.floats = vec![vec![0.5, -side], vec![-2.0, 3.0 * side], vec![1.0, 1.7 * side]];
            let rows = [[0.1, 0.7], [1.0, -1.5], [0.3, -0.3], [0.2, 0.1], [0.5, 0.1], [0.9, 0.8]];
            found.float_rows = rows.map(Vec::from).into();
            let laws = [float(9.0, 300.0), float(4.0, 300.0)];
            let floats = [(2.6, 0.0), (3.5, 0.0)];
            let (used, corner) = travel_bound(&found, &square(&plan), &laws, &floats, &mut Corners::default());
            assert_eq!(used, 3.5 / 4.0);
            let way =
                |point: &[f64]| (0..3).map(|s| (found.floats[s][1] + along(&found.float_rows[2 * s + 1], point)).abs()).fold(0.0, f64::max);
            assert_eq!(CORNERS.map(|c| way(&c)).into_iter().fold(0.0, f64::max), 3.5);
            assert_eq!(way(&corner), 3.5, "{corner:?}");
            assert_eq!(corner, [-side, side]);
        }
    }
}
