//! Whole poses against a frame of 60 beam elements solved with numpy and scipy
//! (`cross/whole_pose.py`, versions in the JSON's head; general-purpose libraries, another route than ours).

use crate::common;

use common::{close, frame, json, num, nums, plan, stated};
use railtrue::input::Installation;
use railtrue::input::plan::Thermal;
use railtrue::structure::{Drag, Machine, Situation, TakenUp};
use serde_json::Value;

fn compare(name: &str) {
    let all = json("cross/whole_pose.json");
    let case = &all["cases"][name];
    let names: Vec<&str> = case["config"]["load_cases"].as_object().unwrap().keys().map(String::as_str).collect();
    let plan = plan(&frame::plan_text(&case["config"], &names));
    let stated = stated(&frame::installation_text(&case["errors"]), &plan);
    let machine = Machine::new(&plan, 0).unwrap();
    let outputs = case["outputs"].as_array().unwrap();
    assert_eq!(outputs.len(), 6);
    for o in outputs {
        let number = names.iter().position(|n| *n == o["load_case"].as_str().unwrap()).unwrap();
        let situation = Situation {
            station_x_mm: num(&o["station_mm"]),
            case: number,
            thermal: stated.service.unwrap(),
            skew_mm: 0.0,
            drag: Drag::Law,
        };
        let r = machine.respond(&stated.installation, &TakenUp::default(), &situation).unwrap();
        close("pose", r.pose.as_slice(), &nums(&o["pose"]), 1e-9);
        let sides = ["A", "B"];
        let blocks = |key: &str| -> Vec<f64> {
            sides.iter().flat_map(|s| o[key][s].as_array().unwrap().iter().flat_map(nums).collect::<Vec<_>>()).collect()
        };
        let got: Vec<f64> = r.block_loads.iter().flatten().copied().collect();
        close("block loads", &got, &blocks("block_loads"), 1e-9);
        close("drives", &r.drive_n, &sides.map(|s| num(&o["drive_force_n"][s])), 1e-9);
        let cold = Situation { thermal: Thermal::default(), ..situation };
        let perfect = machine.respond(&Installation::perfect(&plan), &TakenUp::default(), &cold).unwrap();
        let tool: Vec<f64> = (0..4).map(|i| r.tool[i] - perfect.tool[i]).collect();
        let theirs = nums(&o["tool_from_perfect"]);
        close("tool", &tool[..3], &theirs[..3], 1e-9);
        close("tool yaw", &tool[3..], &theirs[3..], 1e-9);
        compare_joints(&r.joints, &o["joints"]);
    }
}

fn compare_joints(got: &[railtrue::structure::JointState], expected: &Value) {
    for joint in got {
        let list = expected.as_array().unwrap();
        let theirs =
            list.iter().find(|j| j["end"].as_str() == Some(["A", "B"][joint.end]) && num(&j["joint"]) as usize == joint.number).unwrap();
        let (force, delta) = (nums(&theirs["force"]), nums(&theirs["delta"]));
        assert!((joint.force - force[joint.axis]).abs() < 1e-9 * force.iter().fold(1.0, |m, f| f.abs().max(m)));
        assert!((joint.delta - delta[joint.axis]).abs() < 1e-10);
    }
}

#[test]
fn cross_all_errors_at_once_with_stiff_joints() {
    compare("stiff_all_errors");
}

#[test]
fn cross_floats_that_stick_slide_and_stop() {
    compare("floats_on_stops");
}

#[test]
fn cross_uneven_trucks_one_drive_and_extra_forces() {
    compare("odd_machine");
}
