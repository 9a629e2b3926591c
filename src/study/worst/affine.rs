//! The machine as an affine map of the errors: what every bound stands on.
//!
//! With floats taken out of the stiffness and put back as forces, block loads, float displacements, joint forces and
//! tool point are affine in the errors at each station; load cases, seasons and the sign of the drag only shift them.

use super::tolerance_box::ToleranceBox;
use crate::evaluate::Evaluator;
use crate::evaluate::{ServiceState, service_states};
use crate::input::Installation;
use crate::input::plan::Law;
use crate::structure::{Drag, FloatMap, TakenUp, ToolPoint, Vector24};

/// One situation: a station and a load case, in a state of service and of the drag.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) station: usize,
    pub(super) case: usize,
    /// Share of the distance.
    pub(super) share: f64,
}

/// Quantities at one station as rows over the columns of the box and of the floats' unknown forces.
#[derive(Debug, Clone)]
pub(super) struct AffineMap {
    pub(super) columns: usize,
    pub(super) places: Vec<Place>,
    /// Five loads of each block in each place, at the box's middle: place, block, component.
    pub(super) loads: Vec<[f64; 5]>,
    /// Rows of the loads: station, block, component.
    pub(super) load_rows: Vec<Vec<f64>>,
    /// Displacement of each float, by place, and its rows by station.
    pub(super) floats: Vec<Vec<f64>>,
    pub(super) float_rows: Vec<Vec<f64>>,
    /// Forces of each joint in x, y, z, by place, and their rows by station: joint, component.
    pub(super) joints: Vec<Vec<f64>>,
    pub(super) joint_rows: Vec<Vec<f64>>,
    /// Tool point against the perfect installation (x, y, z, yaw), by place, and its rows by station and case.
    pub(super) tool: Vec<[f64; 4]>,
    pub(super) tool_rows: Vec<Vec<f64>>,
    /// Half-width of each float's unknown force, N.
    pub(super) unknown_n: Vec<f64>,
    /// Travel, stop stiffness and compliance of the floats.
    pub(super) compliance: Vec<Vec<f64>>,
}

/// Loads, floats, joints and the tool point of every case at one station, for one installation.
struct Linear {
    loads: Vec<[f64; 5]>,
    floats: Vec<f64>,
    joints: Vec<f64>,
    tool: Vec<[f64; 4]>,
}

/// What the map is built from.
struct Builder<'e, 'p> {
    evaluator: &'e Evaluator<'p>,
    map: FloatMap,
    tools: Vec<ToolPoint>,
    service: Vec<ServiceState>,
}

/// Why there is no affine map, and so no bound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NoMap(pub(super) String);

impl AffineMap {
    /// Builds the map around the middle of the box.
    pub(super) fn new(evaluator: &Evaluator<'_>, tolerance_box: &ToleranceBox) -> Result<Self, NoMap> {
        let plan = evaluator.plan();
        let map = FloatMap::new(&evaluator.machine, Drag::Plus)
            .ok_or_else(|| NoMap("nothing but the floats holds the bridge in some direction".into()))?;
        let tools = plan.duty.iter().map(|c| ToolPoint::new(plan, c.payload_y_mm, c.payload_arm_mm)).collect();
        let builder = Builder { evaluator, map, tools, service: service_states(plan) };
        let middle = vec![0.0; tolerance_box.dimension()];
        let centre = tolerance_box.installation(plan, &middle);
        let taken = builder.taken_up(&centre)?;
        let stations = plan.frame.stations_x_mm.len();
        let mut columns: Vec<Vec<Linear>> = Vec::new();
        let slots = evaluator.machine.take_up_limits();
        let mut slot_use: Vec<(f64, f64)> = taken.tau.iter().map(|t| (*t, 0.0)).collect();
        for j in 0..tolerance_box.dimension() {
            let reach = tolerance_box.reach(j);
            let mut point = middle.clone();
            point[j] = 1.0;
            let installation = tolerance_box.installation(plan, &point);
            let moved = builder.taken_up(&installation)?;
            for (((_, use_of), slot), (t, t0)) in slot_use.iter_mut().zip(&slots).zip(moved.tau.iter().zip(&taken.tau)) {
                // A wave is tried at 1 where its zone may hold less: a slot at its end tells nothing of what comes before.
                *use_of += if at_end(t.abs(), *slot) { f64::INFINITY } else { (t - t0).abs() * reach };
            }
            columns.push((0..stations).map(|s| builder.linear(&installation, &moved, s, &builder.service[0])).collect());
        }
        builder.check_slots(&slot_use)?;
        Ok(builder.assemble(&centre, &taken, &columns))
    }

    /// Row of a quantity over all columns.
    pub(super) fn load_row(&self, station: usize, blocks: usize, block: usize, component: usize) -> &[f64] {
        &self.load_rows[(station * blocks + block) * 5 + component]
    }
}

/// Take-ups never pass a slot: one that comes to its end shows as the slot itself.
fn at_end(used: f64, slot: f64) -> bool {
    slot > 0.0 && used > slot * (1.0 - 1e-9)
}

impl Builder<'_, '_> {
    fn taken_up(&self, installation: &Installation) -> Result<TakenUp, NoMap> {
        let taken = self.evaluator.taken_up(installation).map_err(|e| NoMap(e.to_string()))?;
        let floats = self.evaluator.machine.float_count() > 0 && !taken.tau.is_empty();
        if floats {
            return Err(NoMap("floats move while other joints are tightened, so take-ups are not affine in the errors".into()));
        }
        Ok(taken)
    }

    /// Take-ups are affine only while no slot is at its end anywhere in the box.
    fn check_slots(&self, slot_use: &[(f64, f64)]) -> Result<(), NoMap> {
        let slots = self.evaluator.machine.take_up_limits();
        let over = slot_use.iter().zip(slots).any(|((middle, reach), slot)| at_end(middle.abs() + reach, slot));
        let why = "a joint's slot may come to its end inside the tolerances, so take-ups are not affine in the errors";
        if over { Err(NoMap(why.into())) } else { Ok(()) }
    }

    /// Quantities with no force in the floats.
    fn linear(&self, installation: &Installation, taken: &TakenUp, station: usize, state: &ServiceState) -> Linear {
        let machine = &self.evaluator.machine;
        let plan = machine.plan;
        let points = machine.rails().points(plan, plan.frame.stations_x_mm[station]);
        let imposed: Vec<_> = points.iter().map(|p| machine.rails().imposed(p, installation)).collect();
        let offsets = machine.joint_offsets(installation, &taken.tau);
        let forces =
            machine.rail_forces(&imposed) + machine.made_forces(installation, &state.thermal, 0.0) + machine.joint_offset_forces(&offsets);
        let pose = self.map.linear_pose(&forces);
        self.read(&pose, &imposed, &offsets, |tool| tool.shape(plan, installation, &state.thermal))
    }

    /// Reads all quantities off a pose.
    fn read(&self, pose: &Vector24, imposed: &[[f64; 5]], offsets: &[f64], shape: impl Fn(&ToolPoint) -> [f64; 4]) -> Linear {
        let machine = &self.evaluator.machine;
        let (deltas, laws) = (machine.joint_deltas(pose, offsets), machine.joint_laws());
        let tool = |t: &ToolPoint| {
            let (at, own) = (t.at(pose), shape(t));
            std::array::from_fn(|i| at[i] + own[i])
        };
        let float = |(delta, (_, law)): (&f64, &((usize, usize, usize), Law))| matches!(law, Law::Float { .. }).then_some(*delta);
        let elastic = |(delta, (_, law)): (&f64, &((usize, usize, usize), Law))| match law {
            Law::Elastic { k } => k * delta,
            _ => 0.0,
        };
        let pairs = || deltas.iter().zip(&laws);
        let order = joint_order(&laws);
        let mut joints = vec![0.0; 3 * order.len()];
        for pair in pairs() {
            let (end, number, axis) = pair.1.0;
            if let Some(joint) = order.iter().position(|j| *j == (end, number)).filter(|_| axis < 3) {
                joints[3 * joint + axis] = elastic(pair);
            }
        }
        Linear {
            loads: machine.block_loads(pose, imposed).collect(),
            floats: pairs().filter_map(float).collect(),
            joints,
            tool: self.tools.iter().map(tool).collect(),
        }
    }

    fn assemble(&self, centre: &Installation, taken: &TakenUp, columns: &[Vec<Linear>]) -> AffineMap {
        let machine = &self.evaluator.machine;
        let plan = machine.plan;
        let stations = plan.frame.stations_x_mm.len();
        let at_centre: Vec<Linear> = (0..stations).map(|s| self.linear(centre, taken, s, &self.service[0])).collect();
        let still_imposed = vec![[0.0; 5]; plan.block_count()];
        let no_offsets = vec![0.0; machine.joint_laws().len()];
        // A unit force of a float acts on the rest of the machine as -1 along its row.
        let order = joint_order(&machine.joint_laws());
        let pushed: Vec<Linear> = (0..machine.float_count())
            .map(|f| {
                let mut l = self.read(&self.map.pushed(f), &still_imposed, &no_offsets, |_| [0.0; 4]);
                let (end, number, axis) = self.map.place(f);
                if let Some(joint) = order.iter().position(|j| *j == (end, number)).filter(|_| axis < 3) {
                    l.joints[3 * joint + axis] += 1.0;
                }
                l
            })
            .collect();
        let row = |of: &dyn Fn(&Linear) -> f64, s: usize| -> Vec<f64> {
            let base = of(&at_centre[s]);
            columns.iter().map(|c| of(&c[s]) - base).chain(pushed.iter().map(of)).collect()
        };
        let blocks = plan.block_count();
        let joints = at_centre[0].joints.len();
        let mut map = AffineMap {
            columns: columns.len() + pushed.len(),
            places: Vec::new(),
            loads: Vec::new(),
            load_rows: (0..stations)
                .flat_map(|s| (0..blocks * 5).map(move |i| (s, i)))
                .map(|(s, i)| row(&|l| l.loads[i / 5][i % 5], s))
                .collect(),
            floats: Vec::new(),
            float_rows: (0..stations).flat_map(|s| (0..pushed.len()).map(move |f| (s, f))).map(|(s, f)| row(&|l| l.floats[f], s)).collect(),
            joints: Vec::new(),
            joint_rows: (0..stations).flat_map(|s| (0..joints).map(move |j| (s, j))).map(|(s, j)| row(&|l| l.joints[j], s)).collect(),
            tool: Vec::new(),
            tool_rows: (0..stations)
                .flat_map(|s| (0..plan.duty.len() * 4).map(move |i| (s, i)))
                .map(|(s, i)| row(&|l| l.tool[i / 4][i % 4], s))
                .collect(),
            unknown_n: vec![0.0; pushed.len()],
            compliance: pushed.iter().map(|l| l.floats.iter().map(|d| -d).collect()).collect(),
        };
        self.add_places(&mut map, centre, taken, &pushed);
        map
    }

    /// Fills in every place: what load cases, seasons, skew and drag add to the box's middle.
    fn add_places(&self, map: &mut AffineMap, centre: &Installation, taken: &TakenUp, pushed: &[Linear]) {
        let machine = &self.evaluator.machine;
        let plan = machine.plan;
        let still = vec![[0.0; 5]; plan.block_count()];
        let no_offsets = vec![0.0; machine.joint_laws().len()];
        let drags = self.evaluator.drags();
        let drag_of = |f: usize| match self.map.law(f) {
            Law::Float { drag, .. } => drag,
            _ => 0.0,
        };
        let full: Vec<f64> = (0..self.map.count()).map(drag_of).collect();
        if drags == [Drag::Law] {
            map.unknown_n.clone_from(&full);
        }
        for station in 0..plan.frame.stations_x_mm.len() {
            for state in &self.service {
                let linear = self.linear(centre, taken, station, state);
                for (case, duty) in plan.duty.iter().enumerate() {
                    let forces = machine.case_loads(case) + machine.unit_skew_forces() * state.skew_in_case_mm(machine, case);
                    let own = self.read(&self.map.linear_pose(&forces), &still, &no_offsets, |_| [0.0; 4]);
                    for (d, drag) in drags.iter().enumerate() {
                        let sign = match drag {
                            Drag::Law => 0.0,
                            Drag::Plus => 1.0,
                            Drag::Minus => -1.0,
                        };
                        let dragged =
                            |of: &dyn Fn(&Linear) -> f64| -> f64 { pushed.iter().zip(&full).map(|(p, drag)| sign * drag * of(p)).sum() };
                        let sum = |of: &dyn Fn(&Linear) -> f64| of(&linear) + of(&own) + dragged(of);
                        let share = plan.frame.station_share[station] * state.share * duty.share / drags.len() as f64;
                        let place = Place { station, case, share };
                        map.loads.extend((0..plan.block_count()).map(|b| std::array::from_fn(|i| sum(&|l| l.loads[b][i]))));
                        map.floats.push((0..pushed.len()).map(|f| sum(&|l| l.floats[f])).collect());
                        map.joints.push((0..linear.joints.len()).map(|j| sum(&|l| l.joints[j])).collect());
                        let perfect = self.evaluator.perfect_tool(station, case, d);
                        map.tool.push(std::array::from_fn(|i| sum(&|l| l.tool[case][i]) - perfect[i]));
                        map.places.push(place);
                    }
                }
            }
        }
    }
}

/// The joints that have components, in order: end and number.
fn joint_order(laws: &[((usize, usize, usize), Law)]) -> Vec<(usize, usize)> {
    let mut order: Vec<(usize, usize)> = laws.iter().map(|((end, number, _), _)| (*end, *number)).collect();
    order.dedup();
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::Draws;
    use crate::input::ErrorKind::{self, BridgeLength, Height, Span};
    use crate::input::{Plan, read_plan};
    use crate::structure::Machine;

    const DEMO: &str = include_str!("../../../examples/panel-bridge.toml");

    /// The demo at two stations with these errors alone, each between its limits.
    fn demo(text: &str, errors: &[(ErrorKind, f64)]) -> Plan {
        let mut plan = read_plan(&text.replace("stations = 21 ", "stations = 2 "), "panel-bridge.toml").unwrap();
        plan.errors.sources.retain(|s| errors.iter().any(|(kind, _)| *kind == s.kind));
        for source in &mut plan.errors.sources {
            let (_, limit) = errors.iter().find(|(kind, _)| *kind == source.kind).unwrap();
            (source.lower, source.upper) = (if source.kind.is_profile() { 0.0 } else { -limit }, *limit);
        }
        plan
    }

    fn of<T>(plan: &Plan, arrangement: usize, look: impl FnOnce(&Evaluator<'_>, Result<AffineMap, NoMap>) -> T) -> T {
        let evaluator = Evaluator::new(Machine::new(plan, arrangement).unwrap(), plan.study.drag).unwrap();
        let draws = Draws::new(plan, evaluator.machine.rails());
        let map = AffineMap::new(&evaluator, &ToleranceBox::new(plan, draws.modes().clone()));
        look(&evaluator, map)
    }

    fn is_affine(plan: &Plan) -> bool {
        of(plan, 0, |_, map| match map {
            Ok(_) => true,
            Err(why) => {
                assert!(why.0.contains("slot may come to its end"), "{why:?}");
                false
            }
        })
    }

    /// By hand: what the rails are apart too far is shared by two slots of 1.5 mm, so they end at 3 mm, whichever errors make them up.
    #[test]
    fn check_errors_that_fill_a_slot_only_together_leave_no_map() {
        for (span, length, affine) in [(1.3, 1.3, true), (1.7, 1.7, false), (2.5, 0.2, true), (0.2, 3.2, false), (3.2, 0.2, false)] {
            assert_eq!(is_affine(&demo(DEMO, &[(Span, span), (BridgeLength, length)])), affine, "{span} {length}");
        }
    }

    /// Against the joints themselves: as long as what the waves of a profile take up, each as high as its zone holds it, adds up to less
    /// than a slot there is a map, and from there on there is none.
    #[test]
    fn check_waves_fill_a_slot_by_what_their_zone_holds() {
        let used = |zone_mm: f64| {
            let plan = demo(DEMO, &[(ErrorKind::StraightnessLateral(0), zone_mm)]);
            of(&plan, 0, |evaluator, map| {
                let draws = Draws::new(&plan, evaluator.machine.rails());
                let of_zone = ToleranceBox::new(&plan, draws.modes().clone());
                let tau = |j: usize, share: f64| {
                    let mut point = vec![0.0; of_zone.dimension()];
                    point[j] = share * of_zone.reach(j);
                    evaluator.taken_up(&of_zone.installation(&plan, &point)).unwrap().tau
                };
                let slots = evaluator.machine.take_up_limits();
                // A tenth of each wave, at which no slot is near its end, ten times.
                let none = tau(0, 0.0);
                let mut sums: Vec<f64> = none.iter().map(|t| t.abs()).collect();
                for j in 0..of_zone.dimension() {
                    let moved = tau(j, 0.1);
                    sums.iter_mut().zip(moved.iter().zip(&none)).for_each(|(sum, (t, t0))| *sum += 10.0 * (t - t0).abs());
                }
                let most = sums.iter().zip(&slots).filter(|(_, slot)| **slot > 0.0).map(|(sum, slot)| sum / slot).fold(0.0, f64::max);
                (most, map.is_ok())
            })
        };
        let (at_two, _) = used(2.0);
        for share in [0.5, 0.98, 1.03, 2.0] {
            // By proportion, but for a hundredth of the slot that the bridge's weight takes up.
            let (most, affine) = used(2.0 * share / at_two);
            assert!((most / share - 1.0).abs() < 0.02 && (most < 1.0) == (share < 1.0), "{most} not {share}");
            assert_eq!(affine, share < 1.0, "{share}: {most}");
        }
    }

    /// A slot is at its end where the middle and all that the errors may move it come to it, and not a hair before.
    #[test]
    fn check_a_slot_is_at_its_end_from_its_width_on() {
        let plan = demo(DEMO, &[(Height, 0.2)]);
        let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), plan.study.drag).unwrap();
        let map = FloatMap::new(&evaluator.machine, Drag::Plus).unwrap();
        let builder = Builder { evaluator: &evaluator, map, tools: Vec::new(), service: Vec::new() };
        let slots = evaluator.machine.take_up_limits();
        assert!(slots.contains(&0.0) && slots.contains(&1.5) && slots.contains(&0.01));
        for (i, slot) in slots.iter().enumerate() {
            let ends = |middle: f64, reach: f64| {
                let mut of_slots = vec![(0.0, 0.0); slots.len()];
                of_slots[i] = (middle * slot, reach * slot);
                builder.check_slots(&of_slots).is_err()
            };
            let found =
                [(0.0, 1.0), (0.4, 0.5), (-0.4, 0.5), (0.5, 0.6), (-0.5, 0.6), (0.0, 0.999_999), (1.0, 0.0), (-1.0, 0.0), (0.0, 9.0)]
                    .map(|(middle, reach)| ends(middle, reach));
            // What has no slot takes nothing up.
            let is = *slot > 0.0;
            assert_eq!(found, [is, false, false, is, is, false, is, is, is], "{slot}");
        }
        let unslotted: Vec<(f64, f64)> = slots.iter().map(|s| if *s > 0.0 { (0.0, 0.0) } else { (1.0, 1.0) }).collect();
        assert_eq!(builder.check_slots(&unslotted), Ok(()));
    }

    #[test]
    fn check_floats_beside_slots_leave_no_map() {
        let plan = demo(&DEMO.replace("{ joint = \"locating\"", "{ joint = \"bolted\""), &[(Height, 0.2)]);
        of(&plan, 1, |_, map| assert!(map.unwrap_err().0.contains("floats move while other joints are tightened")));
    }

    /// A joint whose y floats has no force in y but the float's own, whatever the errors are: its drag where that is known, and all of it
    /// unknown where the law alone counts.
    #[test]
    fn check_the_force_of_a_floating_joint_is_that_of_its_float() {
        for (drag, known_n, unknown_n) in [("both_signs", 15.0, 0.0), ("law", 0.0, 15.0)] {
            let text = DEMO.replace("drag = \"both_signs\"", &format!("drag = \"{drag}\""));
            let plan = demo(&text, &[(Height, 0.2), (Span, 0.3), (ErrorKind::Seat, 0.05)]);
            of(&plan, 1, |evaluator, map| {
                let map = map.unwrap();
                // Two joints at end A, then the floating one.
                let (size, y) = (9, 7);
                assert!(map.joints.iter().all(|forces| forces.len() == size && forces[y].abs() == known_n), "{:?}", map.joints);
                let sum: f64 = map.joints.iter().map(|forces| forces[y]).sum();
                assert_eq!((sum, map.unknown_n.clone()), (0.0, vec![unknown_n]));
                assert_eq!(evaluator.drags().len() as f64 * 15.0, 15.0 + known_n);
                for station in 0..2 {
                    let row = &map.joint_rows[station * size + y];
                    assert!(row.len() == map.columns && row[..map.columns - 1].iter().all(|r| *r == 0.0) && row[map.columns - 1] == 1.0);
                }
            });
        }
    }
}
