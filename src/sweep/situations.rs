//! What the perfect installation is in every state of service, load case and state of the drag: the constants of the map.

use crate::evaluate::Evaluator;
use crate::evaluate::ServiceState;
use crate::input::Installation;
use crate::structure::{FloatWork, NotConverged, TakenUp};

/// Constants, situation by situation.
#[derive(Debug, Clone, Default)]
pub(super) struct Situations {
    /// Share of the distance.
    pub(crate) shares: Vec<f64>,
    /// Five loads of every block.
    pub(crate) loads: Vec<Vec<[f64; 5]>>,
    /// Forces of the joints' springs.
    pub(crate) joints: Vec<Vec<f64>>,
    /// Sum of squares of the drags in each joint, N^2.
    pub(super) drag_squares: Vec<Vec<f64>>,
    /// Which of the distinct tool points, and where it is against the perfect installation: x, y, z (mm), yaw (rad).
    pub(crate) tools: Vec<(usize, [f64; 4])>,
    /// Displacement of each float.
    pub(crate) floats: Vec<Vec<f64>>,
}

impl Evaluator<'_> {
    /// First load case of every distinct tool point.
    pub(super) fn distinct_tools(&self) -> Vec<usize> {
        (0..self.plan().duty.len()).filter(|&c| (0..c).all(|d| !self.same_tool(c, d))).collect()
    }

    fn same_tool(&self, a: usize, b: usize) -> bool {
        let duty = &self.plan().duty;
        duty[a].payload_y_mm == duty[b].payload_y_mm && duty[a].payload_arm_mm == duty[b].payload_arm_mm
    }
}

/// The constants; `None` where a float is at its stop already.
///
/// # Errors
/// An equilibrium was not found.
pub(crate) fn situations(
    e: &Evaluator<'_>,
    perfect: &Installation,
    taken_up: &TakenUp,
    service: &[ServiceState],
) -> Result<Option<Situations>, NotConverged> {
    let machine = &e.machine;
    let plan = machine.plan;
    let offsets = machine.joint_offsets(perfect, &taken_up.tau);
    let float_offsets = machine.float_offsets(&offsets);
    let straight = vec![[0.0; 5]; plan.block_count()];
    let distinct = e.distinct_tools();
    let mut list = Situations::default();
    let cases = service.iter().flat_map(|state| plan.duty.iter().enumerate().map(move |(c, case)| (state, c, case)));
    for (state, c, case) in cases {
        let forces = machine.made_forces(perfect, &state.thermal, state.skew_in_case_mm(machine, c))
            + machine.joint_offset_forces(&offsets)
            + e.case_loads[c];
        for (d, map) in e.maps.iter().enumerate() {
            let mut pose = map.linear_pose(&(forces + map.offset_forces(&float_offsets)));
            let mut work = FloatWork::default();
            map.correct(&mut pose, &float_offsets, &mut work, || forces)?;
            if (0..map.count()).any(|i| work.delta[i].abs() > map.travel(i)) {
                return Ok(None);
            }
            let (at, shape, from) = (e.tools[c].at(&pose), e.tools[c].shape(plan, perfect, &state.thermal), e.perfect_tool(0, c, d));
            list.shares.push(state.share * case.share / e.maps.len() as f64);
            list.loads.push(machine.block_loads(&pose, &straight).collect());
            list.joints.push(machine.joint_spring_forces(&pose, &offsets));
            list.drag_squares.push(machine.joint_drag_squares(map.drag()));
            let tool = distinct.iter().position(|&t| e.same_tool(t, c)).unwrap_or(0);
            list.tools.push((tool, std::array::from_fn(|i| at[i] + shape[i] - from[i])));
            list.floats.push(work.delta);
        }
    }
    Ok(Some(list))
}
