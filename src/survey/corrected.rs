//! Readings brought to the plan's reference: temperatures, tape, and the deflection that a bridge on the rails puts into them.

use super::placed::Placed;
use super::{SurveyError, finding};
use crate::input::plan::{LoadCase, Plan};
use crate::input::survey::{BridgeState, FrameKind, Quantity, Reading, Reference, State, Survey};
use crate::input::{ErrorKind, Installation};
use crate::structure::{Drag, Machine, Response, Situation, Tightener};
use crate::study::Finding;
use crate::units::B;

/// Readings as they would be at the reference, with all that is common to them.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrected {
    /// The readings; each has its standard uncertainty.
    pub readings: Vec<Reading>,
    /// Standard uncertainty of the scale of lengths, temperatures included, as a ratio.
    pub scale: f64,
    /// Standard uncertainty of the level's zero, rad.
    pub level_zero_rad: f64,
    /// True where the plan's axes are known, so that a yaw of both rails is an error.
    pub keeps_common_yaw: bool,
    /// False where z is not tied to gravity: height offset and a tilt of the instrument look alike.
    pub height_is_seen: bool,
    /// True where cross-levels are counted in the same tilted axes and must be turned with the heights.
    pub turn_with_rolls: bool,
    /// What was corrected, in sentences.
    pub said: Vec<String>,
    /// What the user can act on.
    pub findings: Vec<Finding>,
}

/// Standard uncertainty of a temperature that nobody has read, K (an assumption).
const UNREAD_K: f64 = 3.0;

/// Relative standard uncertainty of a computed deflection: stiffnesses of frames are known no better (common practice, no source).
const DEFLECTION: f64 = 0.2;

/// Corrects all readings; `rails` are the rails as far as they are known, for what tight bolts strain.
///
/// # Errors
/// The machine's pose was not found.
pub fn correct(plan: &Plan, survey: &Survey, placed: &Placed, rails: Option<&Installation>) -> Result<Corrected, SurveyError> {
    let state = &survey.state;
    let coordinates = !survey.points.is_empty();
    let z_is_gravity = state.z_is_gravity.unwrap_or(!coordinates);
    let vertical = placed.readings.iter().any(|r| r.quantity == Quantity::Vertical);
    let height_read = placed.readings.iter().any(|r| r.quantity == Quantity::Height);
    let mut list = Corrected {
        readings: placed.readings.clone(),
        scale: 0.0,
        level_zero_rad: state.uncertainty.level_zero_rad,
        keeps_common_yaw: state.frame == FrameKind::Plan && state.reference == Reference::Common,
        height_is_seen: height_read || z_is_gravity || !vertical,
        turn_with_rolls: vertical && !z_is_gravity && !height_read && state.levels_by_instrument,
        said: Vec::new(),
        findings: Vec::new(),
    };
    for r in &mut list.readings {
        r.uncertainty = r.uncertainty.or_else(|| state.uncertainty_of(r.quantity));
    }
    gravity(&mut list, vertical && !z_is_gravity && !height_read, plan);
    temperatures(plan, state, &mut list);
    bridge(plan, state, &mut list, rails)?;
    Ok(list)
}

fn gravity(list: &mut Corrected, unseen: bool, plan: &Plan) {
    if !unseen {
        return;
    }
    if list.turn_with_rolls {
        list.said.push(
            "no gravity in the data: the height difference was turned to zero about the rails' direction, and the cross-levels by the same angle".into(),
        );
        return;
    }
    let half = plan.errors.get(ErrorKind::Height).map_or(0.0, |s| s.half_width());
    list.findings.push(finding(
        "the height of rail B over A cannot be seen",
        "vertical readings, z not tied to gravity",
        format!("left at zero; predictions draw it from the plan's {half} mm either way"),
        "Level the instrument and say so (# z_axis = gravity), or add height readings.",
    ));
}

fn temperatures(plan: &Plan, state: &State, list: &mut Corrected) {
    let alpha = plan.frame.expansion_per_k;
    let span = plan.frame.span_mm;
    let lengths = list.readings.iter().any(|r| r.quantity == Quantity::Gauge || (r.quantity == Quantity::Lateral && r.rail == Some(B)));
    if !lengths {
        return;
    }
    let frame_dt = state.frame_dt_k.unwrap_or(0.0);
    let frame_u = if state.frame_dt_k.is_some() { state.temperature_k } else { UNREAD_K };
    let grown = alpha * frame_dt * span;
    let taped = state.tape_dt_k.map_or(0.0, |dt| state.tape_expansion_per_k * dt * span);
    for r in &mut list.readings {
        match (r.quantity, r.rail) {
            (Quantity::Gauge, _) => r.value += taped - grown,
            (Quantity::Lateral, Some(B)) => r.value -= grown,
            _ => {}
        }
    }
    let tape_u = if state.tape_dt_k.is_some() { state.tape_expansion_per_k * state.temperature_k } else { 0.0 };
    list.scale = (state.uncertainty.scale.powi(2) + (alpha * frame_u).powi(2) + tape_u.powi(2)).sqrt();
    if state.frame_dt_k.is_some() || state.tape_dt_k.is_some() {
        list.said.push(format!(
            "span brought to {} degC: frame {:+.3} mm{}",
            plan.reference_c,
            -grown,
            if state.tape_dt_k.is_some() { format!(", tape {taped:+.3} mm") } else { String::new() }
        ));
    }
    if state.frame_dt_k.is_none() {
        list.findings.push(finding(
            "the frame's temperature is not stated",
            "head of the survey",
            format!("{UNREAD_K} K assumed as its standard uncertainty: {:.3} mm on the span", alpha * UNREAD_K * span),
            "Write # frame_c = 21.5 into the head.",
        ));
    }
}

fn bridge(plan: &Plan, state: &State, list: &mut Corrected, rails: Option<&Installation>) -> Result<(), SurveyError> {
    let Some(bridge) = state.bridge else {
        list.findings.push(finding(
            "it is not stated whether the bridge was on the rails",
            "head of the survey",
            "taken as off",
            "Write # bridge = off, standing or travelling; a bridge that is on bends what is read.",
        ));
        return Ok(());
    };
    if bridge == BridgeState::Off {
        return Ok(());
    }
    let strained = if state.bolts_tight { rails } else { None };
    let weighed = Weighed::new(plan)?;
    let mut largest = 0.0_f64;
    let mut touched = 0;
    for r in &mut list.readings {
        let deflected = weighed.deflection(bridge, r, strained)?;
        if deflected != 0.0 {
            touched += 1;
            largest = if deflected.abs() > largest.abs() { deflected } else { largest };
            r.value -= deflected;
            r.uncertainty = r.uncertainty.map(|u| u.hypot(DEFLECTION * deflected));
        }
    }
    let bolts = if state.bolts_tight { "bolts tight: weight and what the errors strain" } else { "bolts loose: weight alone" };
    list.said.push(format!(
        "the bridge was on the rails ({bolts}): {touched} readings freed of the deflection of the supports, at most {largest:+.4} mm or rad, known to 20 %"
    ));
    Ok(())
}

/// The machine under its own weight, without payload.
struct Weighed {
    plan: Plan,
}

impl Weighed {
    fn new(plan: &Plan) -> Result<Self, SurveyError> {
        let mut own = plan.clone();
        own.duty = vec![LoadCase {
            name: "own weight".into(),
            share: 1.0,
            payload_kg: 0.0,
            payload_y_mm: plan.tightening.payload_y_mm,
            payload_arm_mm: plan.tightening.payload_arm_mm,
            acceleration_m_per_s2: [0.0; 3],
            extras: Vec::new(),
        }];
        Ok(Self { plan: own })
    }

    /// What the bridge puts into a reading: deflection of the supports at its place, mm or rad.
    fn deflection(&self, bridge: BridgeState, r: &Reading, strained: Option<&Installation>) -> Result<f64, SurveyError> {
        let frame = &self.plan.frame;
        let stroke = (frame.stations_x_mm[0], frame.stations_x_mm[frame.stations_x_mm.len() - 1]);
        let station = match bridge {
            BridgeState::Off => return Ok(0.0),
            BridgeState::Standing(x) => x.clamp(stroke.0, stroke.1),
            BridgeState::Travelling => r.x_mm.clamp(stroke.0, stroke.1),
        };
        let response = self.respond(station, strained)?;
        let one = |rail: usize, component: usize| self.at(&response, rail, component, station, r.x_mm, bridge);
        Ok(match (r.quantity, r.rail) {
            (Quantity::Lateral, Some(rail)) => one(rail, 0),
            (Quantity::Vertical, Some(rail)) => one(rail, 1),
            (Quantity::CrossLevel, Some(rail)) => one(rail, 2),
            (Quantity::Gauge, _) => one(1, 0) - one(0, 0),
            (Quantity::Height, _) => one(1, 1) - one(0, 1),
            _ => 0.0,
        })
    }

    fn respond(&self, station_x_mm: f64, strained: Option<&Installation>) -> Result<Response, SurveyError> {
        let machine = Machine::new(&self.plan, self.plan.chosen).map_err(|m| SurveyError::Machine(m.to_string()))?;
        let perfect = Installation::perfect(&self.plan);
        let installation = strained.unwrap_or(&perfect);
        let failed = |e: crate::structure::NotConverged| SurveyError::Machine(e.to_string());
        let tightener = Tightener::new(&machine).map_err(failed)?;
        let taken_up = match tightener {
            Some(t) => t.take_up(&machine, installation).map_err(failed)?,
            None => crate::structure::TakenUp::default(),
        };
        let situation = Situation { station_x_mm, case: 0, thermal: Default::default(), skew_mm: 0.0, drag: Drag::Law };
        machine.respond(installation, &taken_up, &situation).map_err(failed)
    }

    /// Deflection of the support: under a travelling bridge the mean under its blocks; under a standing one where the reading
    /// lies between its blocks, and none elsewhere, because the model's supports are each for itself.
    fn at(&self, response: &Response, rail: usize, component: usize, station: f64, x_mm: f64, bridge: BridgeState) -> f64 {
        let blocks = &self.plan.trucks[rail].blocks;
        let first = if rail == 0 { 0 } else { self.plan.trucks[0].blocks.len() };
        let stiffness = self.plan.supports[rail].stiffness[component];
        let of = |i: usize| response.block_loads[first + i][component] / stiffness;
        let mean = |near: &dyn Fn(f64) -> bool| {
            let list: Vec<f64> = (0..blocks.len()).filter(|&i| near(blocks[i].x_mm)).map(of).collect();
            if list.is_empty() { 0.0 } else { list.iter().sum::<f64>() / list.len() as f64 }
        };
        if bridge == BridgeState::Travelling {
            return mean(&|_| true);
        }
        let xs: Vec<f64> = blocks.iter().map(|b| station + b.x_mm).collect();
        let (low, high) = xs.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
        let reach = self.plan.block.length_mm.unwrap_or(60.0) / 2.0;
        if !(x_mm >= low - reach && x_mm <= high + reach) {
            return 0.0;
        }
        let (from, to) = (mean(&|x| station + x == low), mean(&|x| station + x == high));
        if high > low { from + (to - from) * ((x_mm - low) / (high - low)).clamp(0.0, 1.0) } else { from }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;
    use crate::input::survey::{Place, read_survey};

    fn plan() -> Plan {
        read_plan(include_str!("../../examples/panel-bridge.toml"), "plan.toml").unwrap()
    }

    fn reading(quantity: Quantity, rail: Option<usize>, x_mm: f64) -> Reading {
        let place = Place { line: 1, column: String::new(), written: String::new() };
        Reading { place, quantity, rail, x_mm, value: 0.1, uncertainty: Some(0.01) }
    }

    /// A survey of these readings, the bridge off the rails, and its frame's temperature not stated.
    fn corrected(readings: Vec<Reading>, state: impl Fn(&mut State)) -> Corrected {
        let plan = plan();
        let text = "# u_point_mm = 0.01\n# bridge = off\nrail,station,lateral\nA,0,0\n";
        let mut survey = read_survey(text.as_bytes(), "survey.csv", &plan, &[], &[]).unwrap();
        state(&mut survey.state);
        survey.readings = readings;
        let placed = Placed { readings: survey.readings.clone(), motion: None, said: Vec::new() };
        correct(&plan, &survey, &placed, None).unwrap()
    }

    /// All sixteen ways to read or not to read heights of rails, their difference, gravity and cross-levels by the instrument.
    /// Heights in axes that lean leave the lean open, unless the difference is read: it is turned away with the
    /// cross-levels where they lean alike, and left unseen where they do not.
    #[test]
    fn check_a_lean_is_open_only_in_heights_without_gravity_and_difference() {
        for ways in 0..16 {
            let [heights, gravity, difference, levels] = [1, 2, 4, 8].map(|bit| ways & bit != 0);
            let mut readings = vec![reading(Quantity::Lateral, Some(0), 0.0)];
            readings.extend(heights.then(|| reading(Quantity::Vertical, Some(1), 0.0)));
            readings.extend(difference.then(|| reading(Quantity::Height, None, 0.0)));
            let found = corrected(readings, |s| (s.z_is_gravity, s.levels_by_instrument) = (Some(gravity), levels));
            let said = found.findings.iter().any(|f| f.what.contains("cannot be seen"));
            let told = (found.height_is_seen, found.turn_with_rolls, said, found.said.len());
            let expected = match (heights, gravity, difference) {
                (true, false, false) => (false, levels, !levels, usize::from(levels)),
                _ => (true, false, false, 0),
            };
            assert_eq!(told, expected, "{heights} {gravity} {difference} {levels}");
        }
    }

    /// What warms and stretches is the length between the rails: it is in the gauge and in rail B's place across.
    #[test]
    fn check_temperatures_concern_lengths_across_and_nothing_else() {
        for (quantity, rail, concerned) in [
            (Quantity::Gauge, None, true),
            (Quantity::Lateral, Some(1), true),
            (Quantity::Lateral, Some(0), false),
            (Quantity::Vertical, Some(1), false),
            (Quantity::CrossLevel, Some(1), false),
            (Quantity::Height, None, false),
        ] {
            let found = corrected(vec![reading(quantity, rail, 0.0)], |s| s.frame_dt_k = None);
            assert_eq!((found.findings.len(), found.scale > 0.0), (usize::from(concerned), concerned), "{quantity:?} {rail:?}");
            let warm = corrected(vec![reading(quantity, rail, 0.0)], |s| s.frame_dt_k = Some(2.0));
            // By hand: a span that is read 2 K too warm is too wide by 2 K times its expansion.
            let plan = plan();
            let grown = if concerned { 2.0 * plan.frame.expansion_per_k * plan.frame.span_mm } else { 0.0 };
            assert!((warm.readings[0].value - (0.1 - grown)).abs() < 1e-12, "{quantity:?} {rail:?}");
        }
    }

    /// Blocks 100 mm behind and 300 mm before the truck's reference, the bridge standing at 2000: they press on 1900 and on 2300.
    #[test]
    fn check_a_standing_bridge_presses_where_its_blocks_stand() {
        let mut plan = plan();
        for truck in &mut plan.trucks {
            truck.blocks.truncate(2);
            (truck.blocks[0].x_mm, truck.blocks[1].x_mm) = (-100.0, 300.0);
        }
        plan.supports.iter_mut().for_each(|s| s.stiffness = [1e3, 2e3, 3e3]);
        plan.block.length_mm = Some(80.0);
        let weighed = Weighed { plan };
        let mut response = weighed.respond(2000.0, None).unwrap();
        response.block_loads = [[100.0, -200.0], [300.0, -600.0], [10.0, -20.0], [50.0, -100.0]].map(|[y, z]| [y, z, 0.0, 0.0, 0.0]).into();
        let of =
            |rail: usize, component: usize, x_mm: f64, bridge: BridgeState| weighed.at(&response, rail, component, 2000.0, x_mm, bridge);
        let standing = BridgeState::Standing(2000.0);
        // Load over stiffness at each block, in the middle the mean of both, half a block (40 mm) beyond as at the block, then nothing.
        for (x_mm, share) in
            [(1900.0, 100.0), (2100.0, 200.0), (2300.0, 300.0), (2339.0, 300.0), (1861.0, 100.0), (2341.0, 0.0), (1859.0, 0.0)]
        {
            assert!((of(0, 0, x_mm, standing) - share / 1e3).abs() < 1e-12, "{x_mm}");
            assert!((of(0, 1, x_mm, standing) + 2.0 * share / 2e3).abs() < 1e-12, "{x_mm}");
        }
        assert!((of(1, 0, 2300.0, standing) - 0.05).abs() < 1e-12 && (of(1, 1, 1900.0, standing) + 0.01).abs() < 1e-12);
        // A travelling one is over every place with the mean of its blocks.
        assert!((of(0, 0, 77.0, BridgeState::Travelling) - 0.2).abs() < 1e-12);
    }
}
