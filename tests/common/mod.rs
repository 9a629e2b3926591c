//! Plans and installations written as text from the JSON of worked machines, so that the tests walk the same
//! way as a user's files.
#![allow(dead_code, reason = "each test file uses its part")]

pub(crate) mod frame;
pub(crate) mod mirror;
pub(crate) mod simple;
pub(crate) mod verdicts;

use railtrue::input::{Plan, Stated, read_installation, read_plan};
use serde_json::Value;

/// A committed JSON file.
pub(crate) fn json(path: &str) -> Value {
    let whole = format!("{}/tests/{path}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(whole).unwrap()).unwrap()
}

pub(crate) fn num(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("no number: {v}"))
}

pub(crate) fn nums(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(num).collect()
}

fn list(v: &[f64]) -> String {
    format!("[{}]", v.iter().map(|x| format!("{x:?}")).collect::<Vec<_>>().join(", "))
}

/// One component law in the worked machines' units (N/mm, N mm/rad, mm, rad).
fn law(v: &Value, turn: bool) -> String {
    let k = |key: &str| num(&v[key]) / if turn { 1e6 } else { 1e3 };
    let (k_unit, way) = if turn { ("n_m_per_mrad", "mrad") } else { ("n_per_um", "mm") };
    let take_up = v.get("take_up").map_or(String::new(), |t| format!(", take_up_{way} = {:?}", num(t) * if turn { 1e3 } else { 1.0 }));
    match v["type"].as_str().unwrap() {
        "free" => "{ law = \"free\" }".into(),
        "elastic" => format!("{{ law = \"elastic\", stiffness_{k_unit} = {:?}{take_up} }}", k("k")),
        "float" => format!(
            "{{ law = \"float\", travel_mm = {:?}, drag_n = {:?}, slide_n_per_um = {:?}, stop_n_per_um = {:?}{take_up} }}",
            num(&v["travel"]),
            num(&v["drag"]),
            k("k_slide"),
            k("k_stop"),
        ),
        other => panic!("{other}"),
    }
}

/// The plan of a worked machine's config; the one arrangement is called "only".
pub(crate) fn worked_plan_text(config: &Value) -> String {
    let c = |p: &str| num(config.pointer(p).unwrap_or_else(|| panic!("{p}")));
    let mut t = String::from("format = 1\ntitle = \"worked machine\"\nchosen = \"only\"\n");
    let stations = nums(&config["stations_x_mm"]);
    t += &format!(
        "[frame]\nspan_mm = {:?}\nanchors_mm = {}\nstroke_from_mm = {:?}\nstroke_to_mm = {:?}\nstations_mm = {}\nexpansion_per_k = 11.5e-6\n",
        c("/span_mm"),
        list(&nums(&config["anchors_x_mm"])),
        stations[0],
        stations[stations.len() - 1],
        list(&stations),
    );
    t += &format!(
        "[truck]\nmass_kg = {:?}\ncentre_mm = {}\nbridge_axis_height_mm = {:?}\nblock = [\n",
        c("/masses/truck_kg"),
        list(&nums(&config["masses"]["truck_cg_mm"])),
        c("/bridge_axis_height_mm")
    );
    for b in config["blocks_per_truck"].as_array().unwrap() {
        t += &format!("  {{ x_mm = {:?}, lateral_mm = {:?} }},\n", num(&b["x_mm"]), num(&b["b_mm"]));
    }
    let b = |key: &str| c(&format!("/block/{key}"));
    t += &format!(
        "]\n[block]\nelement = \"ball\"\nrating_basis_km = \"100\"\ndynamic_n = {:?}\nstatic_n = {:?}\nlateral_n_per_um = {:?}\nvertical_n_per_um = {:?}\nroll_n_m_per_mrad = {:?}\npitch_n_m_per_mrad = {:?}\nyaw_n_m_per_mrad = {:?}\npreload_n = {:?}\n",
        b("C_n"),
        b("C0_n"),
        b("k_y_n_per_um"),
        b("k_z_n_per_um"),
        b("k_roll_nmm_per_rad") / 1e6,
        b("k_pitch_nmm_per_rad") / 1e6,
        b("k_yaw_nmm_per_rad") / 1e6,
        b("preload_n"),
    );
    for turn in ["roll", "pitch", "yaw"] {
        t += &format!("dynamic_{turn}_n_m = {:?}\nstatic_{turn}_n_m = {:?}\n", b(&format!("Mdyn_{turn}_nm")), b(&format!("M0_{turn}_nm")));
    }
    t += &format!(
        "[support]\nlateral_n_per_um = {:?}\nvertical_n_per_um = {:?}\nroll_n_m_per_mrad = {:?}\n",
        c("/support/k_y_n_per_um"),
        c("/support/k_z_n_per_um"),
        c("/support/k_roll_nmm_per_rad") / 1e6
    );
    t += &format!("[bridge]\nmass_kg = {:?}\nexpansion_per_k = 23.8e-6\n[bridge.section]\n", c("/masses/bridge_kg"));
    for (ours, theirs) in [
        ("e_mpa", "E_mpa"),
        ("g_mpa", "G_mpa"),
        ("area_mm2", "area_mm2"),
        ("i_vertical_mm4", "I_vertical_mm4"),
        ("i_lateral_mm4", "I_lateral_mm4"),
        ("j_mm4", "J_mm4"),
        ("shear_area_vertical_mm2", "shear_area_vertical_mm2"),
        ("shear_area_lateral_mm2", "shear_area_lateral_mm2"),
    ] {
        t += &format!("{ours} = {:?}\n", c(&format!("/bridge/{theirs}")));
    }
    t += &format!(
        "[slide]\nmass_kg = {:?}\n[drive]\nkind = \"two\"\nstiffness_n_per_um = {:?}\nheight_mm = {:?}\n",
        c("/masses/slide_payload_kg"),
        c("/drive/A/k_n_per_mm") / 1e3,
        c("/drive/A/z_mm")
    );
    for case in config["load_cases"].as_array().unwrap() {
        let n = |key: &str| num(&case[key]);
        t += &format!(
            "[[duty]]\nname = \"case\"\nshare = {:?}\npayload_y_mm = {:?}\npayload_arm_mm = [{:?}, {:?}]\nacceleration_m_per_s2 = [{:?}, {:?}, {:?}]\n",
            n("share"),
            n("payload_y_mm"),
            n("payload_x_o_mm"),
            n("payload_c_mm"),
            n("a_x_m_per_s2"),
            n("a_y_m_per_s2"),
            n("a_z_m_per_s2"),
        );
    }
    if let Some(tight) = config.get("tightening") {
        t += &format!(
            "[tightening]\nstation_mm = {:?}\npayload_y_mm = {:?}\npayload_arm_mm = [{:?}, {:?}]\nbridge_c = {:?}\nframe_c = {:?}\n",
            num(&tight["station_x_mm"]),
            num(&tight["payload_y_mm"]),
            num(&tight["payload_x_o_mm"]),
            num(&tight["payload_c_mm"]),
            20.0 + num(&tight["thermal"]["bridge_dT_k"]),
            20.0 + num(&tight["thermal"]["frame_dT_k"]),
        );
    }
    t += "[requirement]\nlife_km = { least = 30000 }\n[errors]\n";
    let mut ends = String::from("[arrangement.only]\n");
    for end in ["A", "B"] {
        ends += &format!("end_{} = [\n", end.to_lowercase());
        for (i, joint) in config["joints"][end].as_array().unwrap().iter().enumerate() {
            t += &format!("[joint.{end}{i}]\n");
            for (axis, turn) in [("x", false), ("y", false), ("z", false), ("rx", true), ("ry", true), ("rz", true)] {
                t += &format!("{axis} = {}\n", law(&joint["laws"][axis], turn));
            }
            ends += &format!(
                "  {{ joint = \"{end}{i}\", x_mm = {:?}, y_mm = {:?}, z_mm = {:?} }},\n",
                num(&joint["x_mm"]),
                num(&joint["y_mm"]),
                num(&joint["z_mm"])
            );
        }
        ends += "]\n";
    }
    t + &ends
}

/// The stated installation of a worked machine's errors.
pub(crate) fn worked_installation_text(errors: &Value) -> String {
    let mut t = String::new();
    let mut service = String::new();
    let mut seats = [[[0.0; 6]; 2]; 2];
    for (key, value) in errors.as_object().unwrap() {
        let line = |name: &str| format!("{name} = {:?}\n", num(value));
        match key.as_str() {
            "span_offset_g0_mm" => t += &line("span_mm"),
            "parallelism_horizontal_g1_mm" => t += &line("parallelism_mm"),
            "height_offset_h0_mm" => t += &line("height_mm"),
            "parallelism_vertical_h1_mm" => t += &line("vertical_parallelism_mm"),
            "roll_offset_p0_mrad" => t += &line("cross_level_b_mrad"),
            "roll_twist_p1_mrad" => t += &line("cross_level_twist_b_mrad"),
            "bridge_length_error_mm" => t += &line("bridge_length_mm"),
            "bridge_twist_mrad" => t += &line("bridge_twist_mrad"),
            "bridge_end_tilt_A_mrad" => t += &line("end_tilt_a_mrad"),
            "bridge_end_tilt_B_mrad" => t += &line("end_tilt_b_mrad"),
            "bridge_end_squareness_A_mrad" => t += &line("end_squareness_a_mrad"),
            "bridge_end_squareness_B_mrad" => t += &line("end_squareness_b_mrad"),
            "skew_sA_mm" => t += &line("skew_a_mm"),
            "skew_sB_mm" => t += &line("skew_b_mm"),
            "thermal" => {
                service =
                    format!("[service]\nbridge_dt_k = {:?}\nframe_dt_k = {:?}\n", num(&value["bridge_dT_k"]), num(&value["frame_dT_k"]))
            }
            "joint_seat_offset" => {
                for (name, offset) in value.as_object().unwrap() {
                    let axis = ["x", "y", "z", "rx", "ry", "rz"].iter().position(|a| *a == &name[3..]).unwrap();
                    seats[usize::from(&name[..1] == "B")][name[1..2].parse::<usize>().unwrap()][axis] = num(offset);
                }
            }
            residual if residual.starts_with("residual_") => {
                let side = if residual.contains("_A_") { "a" } else { "b" };
                let name = match &residual[11..] {
                    "v_mm" => format!("lateral_{side}_mm"),
                    "w_mm" => format!("vertical_{side}_mm"),
                    "phi_mrad" => format!("roll_{side}_mrad"),
                    other => panic!("{other}"),
                };
                t += &format!("{name} = {}\n", list(&nums(value)));
            }
            mount if mount.starts_with("block_mount_") => {
                let side = if mount.contains("_A_") { "a" } else { "b" };
                let direction = if mount.ends_with("_y_mm") { "lateral" } else { "vertical" };
                t += &format!("block_{direction}_{side}_mm = {}\n", list(&nums(value)));
            }
            other => panic!("unknown error {other}"),
        }
    }
    t += &service;
    for (end, joints) in seats.iter().enumerate() {
        for (i, seat) in joints.iter().enumerate().filter(|(_, s)| s.iter().any(|v| *v != 0.0)) {
            t += &format!(
                "[[seat]]\nend = \"{}\"\nnumber = {}\noffset_mm = {}\nangle_mrad = {}\n",
                ["a", "b"][end],
                i + 1,
                list(&seat[..3]),
                list(&seat[3..])
            );
        }
    }
    t
}

pub(crate) fn plan(text: &str) -> Plan {
    read_plan(text, "plan.toml").unwrap_or_else(|p| panic!("{p}\n{text}"))
}

pub(crate) fn stated(text: &str, plan: &Plan) -> Stated {
    read_installation(text, "errors.toml", plan).unwrap_or_else(|p| panic!("{p}\n{text}"))
}

/// Panics unless both lists agree to `tolerance` of the largest expected value.
pub(crate) fn close(what: &str, got: &[f64], expected: &[f64], tolerance: f64) {
    assert_eq!(got.len(), expected.len(), "{what}: lengths");
    let largest = expected.iter().fold(0.0_f64, |m, v| m.max(v.abs())).max(1e-12);
    for (i, (g, e)) in got.iter().zip(expected).enumerate() {
        assert!((g - e).abs() <= tolerance * largest, "{what}[{i}]: {g} against {e} (largest {largest})");
    }
}

/// The demo with few stations and errors, so that limits are found in seconds.
pub(crate) fn demo_of_few_errors() -> String {
    let whole = include_str!("../../examples/panel-bridge.toml");
    let (head, rest) = whole.split_once("[errors]\n").unwrap();
    let kept = [
        "span =",
        "parallelism =",
        "cross_level_a =",
        "cross_level_b =",
        "straightness_lateral_a =",
        "bridge_length =",
        "[study]",
        "draws =",
        "seed =",
        "drag =",
    ];
    let lines = rest.lines().filter(|line| kept.iter().any(|k| line.starts_with(k)));
    let text = format!("{head}[errors]\n{}\n", lines.collect::<Vec<_>>().join("\n"));
    text.replace("stations = 21 ", "stations = 4 ").replace("draws = 10000 ", "draws = 1000 ")
}
