//! One stated installation in full: pose, joint forces, block loads, P, S0, life, to be checked by hand.

use crate::bearing::{EquivalentLoad, effective_load};
use crate::evaluate::ServiceState;
use crate::evaluate::{BlockOutcome, Outcome};
use crate::evaluate::{Evaluator, Work};
use crate::input::Installation;
use crate::input::plan::DragStates;
use crate::structure::{Drag, NotConverged, Response, Situation, TakenUp};

/// The machine's answer in one situation, with what the bearings make of it.
#[derive(Debug, Clone, PartialEq)]
pub struct TracedState {
    /// Name of the state of service.
    pub service: String,
    /// Station, load case, temperatures, skew, drag.
    pub situation: Situation,
    /// Pose and forces.
    pub response: Response,
    /// Equivalent loads of each block: P, P0 and P with preload, N.
    pub equivalent: Vec<(EquivalentLoad, f64)>,
    /// Tool point against the perfect installation in the same load case and drag: x, y, z (mm), yaw (rad).
    pub tool_from_perfect: [f64; 4],
}

/// One installation of one arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    /// Name of the arrangement.
    pub arrangement: String,
    /// The errors.
    pub installation: Installation,
    /// The states of service that the summary is taken over.
    pub service: Vec<ServiceState>,
    /// What the joints took up.
    pub taken_up: TakenUp,
    /// The summary over stroke, duty and service.
    pub outcome: Outcome,
    /// The perfect installation's summary.
    pub perfect: Outcome,
    /// Each block over stroke, duty and service.
    pub blocks: Vec<BlockOutcome>,
    /// Summary, perfect summary and blocks with the law of the drag, where the study counts its signs instead.
    pub by_law: Option<(Outcome, Outcome, Vec<BlockOutcome>)>,
    /// The chosen situations.
    pub states: Vec<TracedState>,
    /// Condition number of the stiffness.
    pub condition: f64,
    /// The direction in which it is held least, in words.
    pub weakest: String,
}

/// Traces an installation at the given stations, in every load case, state of service and state of the drag.
///
/// The summary is that of the evaluator, over all its stations and its own states of the drag.
///
/// # Errors
/// An equilibrium was not found.
pub fn trace(
    evaluator: &Evaluator<'_>,
    installation: &Installation,
    service: &[ServiceState],
    stations_x_mm: &[f64],
) -> Result<Trace, NotConverged> {
    let machine = &evaluator.machine;
    let mut work = Work::default();
    let outcome = evaluator.evaluate(installation, service, &mut work)?;
    let taken_up = evaluator.taken_up(installation)?;
    let perfect = Installation::perfect(machine.plan);
    let perfect_taken_up = evaluator.taken_up(&perfect)?;
    let drags: &[Drag] = if machine.drag_has_signs() { &[Drag::Law, Drag::Plus, Drag::Minus] } else { &[Drag::Law] };
    let mut states = Vec::new();
    for &station_x_mm in stations_x_mm {
        for case in 0..machine.plan.duty.len() {
            for &drag in drags {
                let still = Situation { station_x_mm, case, thermal: Default::default(), skew_mm: 0.0, drag };
                let tool_0 = machine.respond(&perfect, &perfect_taken_up, &still)?.tool;
                for state in service {
                    let skew_mm = state.skew_in_case_mm(machine, case);
                    let situation = Situation { thermal: state.thermal, skew_mm, ..still };
                    let response = machine.respond(installation, &taken_up, &situation)?;
                    let equivalent = |load: &[f64; 5]| {
                        let p = EquivalentLoad::of(&machine.plan.block, load);
                        (p, effective_load(&machine.plan.block, p.dynamic_n))
                    };
                    states.push(TracedState {
                        service: state.name.clone(),
                        situation,
                        equivalent: response.block_loads.iter().map(equivalent).collect(),
                        tool_from_perfect: std::array::from_fn(|i| response.tool[i] - tool_0[i]),
                        response,
                    });
                }
            }
        }
    }
    let by_law = if evaluator.drags() == [Drag::Law] { None } else { Some(by_law(evaluator, installation, service)?) };
    Ok(Trace {
        arrangement: machine.name().into(),
        installation: installation.clone(),
        service: service.to_vec(),
        taken_up,
        outcome,
        perfect: evaluator.perfect(),
        blocks: work.blocks,
        by_law,
        states,
        condition: machine.condition,
        weakest: machine.weakest.clone(),
    })
}

/// The summary with the law of the drag.
fn by_law(
    evaluator: &Evaluator<'_>,
    installation: &Installation,
    service: &[ServiceState],
) -> Result<(Outcome, Outcome, Vec<BlockOutcome>), NotConverged> {
    let law = Evaluator::new(evaluator.machine.clone(), DragStates::Law)?;
    let mut work = Work::default();
    let outcome = law.evaluate(installation, service, &mut work)?;
    Ok((outcome, law.perfect(), work.blocks))
}
