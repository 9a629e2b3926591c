//! Whole machines solved by an independent implementation of the same model (Python, numpy), read through our
//! own file formats. They show that two people read the model alike; they are no published source.

use crate::common;

use common::{close, json, num, nums, plan, stated, worked_installation_text, worked_plan_text};
use railtrue::evaluate::{BlockOutcome, Evaluator, ServiceState, Work};
use railtrue::input::plan::DragStates;
use railtrue::structure::{Drag, Machine, Situation, TakenUp, Tightener};
use serde_json::Value;

const TOLERANCE: f64 = 1e-8;

fn flat(v: &Value) -> Vec<f64> {
    match v {
        Value::Array(items) => items.iter().flat_map(flat).collect(),
        _ => vec![num(v)],
    }
}

/// Compares pose and block loads of every listed station and load case.
fn compare_poses(config: &Value, errors: &Value, listed: &[usize], pose: &Value, loads: &Value, tolerance: f64) -> TakenUp {
    let plan = plan(&worked_plan_text(config));
    let stated = stated(&worked_installation_text(errors), &plan);
    let machine = Machine::new(&plan, 0).unwrap();
    let tightener = Tightener::new(&machine).unwrap();
    let taken_up = tightener.map_or_else(TakenUp::default, |t| t.take_up(&machine, &stated.installation).unwrap());
    for (at, &station) in listed.iter().enumerate() {
        for case in 0..plan.duty.len() {
            let situation = Situation {
                station_x_mm: plan.frame.stations_x_mm[station],
                case,
                thermal: stated.service.unwrap_or_default(),
                skew_mm: 0.0,
                drag: Drag::Law,
            };
            let r = machine.respond(&stated.installation, &taken_up, &situation).unwrap();
            assert!(r.residual < 1e-11, "residual {}", r.residual);
            close("pose", r.pose.as_slice(), &flat(&pose[at][case]), tolerance);
            let got: Vec<f64> = r.block_loads.iter().flatten().copied().collect();
            close("block loads", &got, &flat(&loads[at][case]), tolerance);
        }
    }
    taken_up
}

/// Compares what the bearings make of it over the whole stroke and duty.
fn compare_lives(config: &Value, errors: &Value, outputs: &Value, tolerance: f64) {
    let plan = plan(&worked_plan_text(config));
    let stated = stated(&worked_installation_text(errors), &plan);
    let evaluator = Evaluator::new(Machine::new(&plan, 0).unwrap(), DragStates::Law).unwrap();
    let service = [ServiceState::stated(stated.service.unwrap_or_default())];
    let mut work = Work::default();
    let outcome = evaluator.evaluate(&stated.installation, &service, &mut work).unwrap();
    let of_blocks = |what: &str, of: fn(&BlockOutcome) -> f64| {
        let got: Vec<f64> = work.blocks.iter().map(of).collect();
        close(what, &got, &nums(&outputs[what]), tolerance);
    };
    of_blocks("P_max_n", |b| b.peak_load_n);
    of_blocks("S0_min", |b| b.static_safety);
    of_blocks("P_m_n", |b| b.mean_load_n);
    of_blocks("L10_km", |b| b.life_km);
    if outputs.get("extra_load_n").is_some() {
        of_blocks("extra_load_n", |b| b.extra_load_n);
    }
    close("system life", &[outcome.life_km], &[num(&outputs["system_life_km"])], tolerance);
    close("perfect life", &[evaluator.perfect().life_km], &[num(&outputs["perfect_system_life_km"])], tolerance);
    close("life loss", &[outcome.life_loss], &[num(&outputs["life_loss"])], 10.0 * tolerance);
    if let Some(used) = outputs.get("float_travel_used") {
        let largest = used.as_object().unwrap().values().map(num).fold(0.0, f64::max);
        close("travel used", &[outcome.float_travel_used], &[largest], tolerance);
    }
}

#[test]
fn cross_perfect_machine_with_floats() {
    let worked = json("data/worked/perfect_float.json");
    let (inputs, outputs) = (&worked["inputs"], &worked["outputs"]);
    let stations: Vec<usize> = (0..21).collect();
    compare_poses(&inputs["config"], &inputs["errors"], &stations, &outputs["pose"], &outputs["block_loads"], TOLERANCE);
    compare_lives(&inputs["config"], &inputs["errors"], outputs, TOLERANCE);
}

#[test]
fn cross_fifteen_named_errors_with_stiff_joints() {
    let worked = json("data/worked/named_errors_stiff.json");
    for case in worked["cases"].as_array().unwrap() {
        let o = &case["outputs"];
        let listed: Vec<usize> = nums(&o["stations_listed"]).iter().map(|s| *s as usize).collect();
        compare_poses(&worked["config"], &case["errors"], &listed, &o["pose_at_listed"], &o["block_loads_at_listed"], TOLERANCE);
        compare_lives(&worked["config"], &case["errors"], o, TOLERANCE);
    }
}

#[test]
fn cross_all_errors_tightened_at_mid_stroke() {
    let worked = json("data/worked/tightening_stiff.json");
    let (inputs, outputs) = (&worked["inputs"], &worked["outputs"]);
    let stations: Vec<usize> = (0..21).collect();
    let taken = compare_poses(&inputs["config"], &inputs["errors"], &stations, &outputs["pose"], &outputs["block_loads"], 1e-6);
    compare_lives(&inputs["config"], &inputs["errors"], outputs, 1e-6);
    let applied: Vec<f64> = taken.tau.iter().copied().filter(|t| *t != 0.0).collect();
    close("take-up", &applied, &nums(&outputs["take_up_applied"]), 1e-6);
}
