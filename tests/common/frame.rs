//! Plans and installations written as text from the cases of `cross/whole_pose.json`.

use super::{list, num, nums};
use serde_json::Value;

fn law(v: &Value, turn: bool) -> String {
    let (k_unit, theirs, scale) = if turn { ("n_m_per_mrad", "nmm_per_rad", 1e6) } else { ("n_per_um", "n_per_mm", 1e3) };
    match v["law"].as_str().unwrap() {
        "elastic" => format!("{{ law = \"elastic\", stiffness_{k_unit} = {:?} }}", num(&v[format!("k_{theirs}")]) / scale),
        "float" => format!(
            "{{ law = \"float\", travel_mm = {:?}, drag_n = {:?}, slide_n_per_um = {:?}, stop_n_per_um = {:?} }}",
            num(&v["travel_mm"]),
            num(&v["drag_n"]),
            num(&v["k_slide_n_per_mm"]) / 1e3,
            num(&v["k_stop_n_per_mm"]) / 1e3,
        ),
        other => panic!("{other}"),
    }
}

fn truck(t: &Value, table: &str, height: f64) -> String {
    let mut text = format!(
        "[{table}]\nmass_kg = {:?}\ncentre_mm = {}\nbridge_axis_height_mm = {height:?}\nblock = [\n",
        num(&t["mass_kg"]),
        list(&nums(&t["cog_mm"]))
    );
    for b in t["blocks"].as_array().unwrap() {
        text += &format!("  {{ x_mm = {:?}, lateral_mm = {:?} }},\n", num(&b["x_mm"]), num(&b["lateral_mm"]));
    }
    let support = &t["blocks"][0]["k_support"];
    let name = table.replace("truck", "support");
    text + &format!(
        "]\n[{name}]\nlateral_n_per_um = {:?}\nvertical_n_per_um = {:?}\nroll_n_m_per_mrad = {:?}\n",
        num(&support["y_n_per_mm"]) / 1e3,
        num(&support["z_n_per_mm"]) / 1e3,
        num(&support["roll_nmm_per_rad"]) / 1e6,
    )
}

/// The plan of a case; load cases in the order of `names`.
pub(crate) fn plan_text(config: &Value, names: &[&str]) -> String {
    let stations = nums(&config["stations_mm"]);
    let mut t = format!(
        "format = 1\ntitle = \"frame\"\nchosen = \"only\"\n[frame]\nspan_mm = {:?}\nanchors_mm = {}\nstations_mm = {}\nstroke_from_mm = {:?}\nstroke_to_mm = {:?}\nexpansion_per_k = {:?}\n",
        num(&config["span_mm"]),
        list(&nums(&config["anchors_mm"])),
        list(&stations),
        stations[0],
        stations[2],
        num(&config["frame_alpha_per_k"]),
    );
    let height = num(&config["bridge_axis_height_mm"]);
    t += &truck(&config["trucks"]["A"], "truck", height);
    t += &truck(&config["trucks"]["B"], "truck_b", height);
    let k = &config["trucks"]["A"]["blocks"][0]["k_block"];
    t += "[block]\nelement = \"ball\"\nrating_basis_km = \"100\"\ndynamic_n = 17000\nstatic_n = 25000\npreload_n = 340\n";
    t += "dynamic_roll_n_m = 200\ndynamic_pitch_n_m = 140\ndynamic_yaw_n_m = 140\nstatic_roll_n_m = 294\nstatic_pitch_n_m = 206\nstatic_yaw_n_m = 206\n";
    t += &format!("lateral_n_per_um = {:?}\nvertical_n_per_um = {:?}\n", num(&k["y_n_per_mm"]) / 1e3, num(&k["z_n_per_mm"]) / 1e3);
    for turn in ["roll", "pitch", "yaw"] {
        t += &format!("{turn}_n_m_per_mrad = {:?}\n", num(&k[format!("{turn}_nmm_per_rad")]) / 1e6);
    }
    let b = &config["bridge"];
    t += &format!("[bridge]\nmass_kg = {:?}\nexpansion_per_k = {:?}\n[bridge.section]\n", num(&b["mass_kg"]), num(&b["alpha_per_k"]));
    for (ours, theirs) in [
        ("e_mpa", "e_mpa"),
        ("g_mpa", "g_mpa"),
        ("area_mm2", "area_mm2"),
        ("i_vertical_mm4", "i_vertical_about_x_mm4"),
        ("i_lateral_mm4", "i_lateral_about_z_mm4"),
        ("j_mm4", "torsion_constant_mm4"),
        ("shear_area_vertical_mm2", "shear_area_vertical_mm2"),
        ("shear_area_lateral_mm2", "shear_area_lateral_mm2"),
    ] {
        t += &format!("{ours} = {:?}\n", num(&b[theirs]));
    }
    let drive = &config["trucks"]["A"]["drive"];
    let other = &config["trucks"]["B"]["drive"];
    let kind = if other.is_null() { "one" } else { "two" };
    let lateral_b = if other.is_null() { 0.0 } else { num(&other["lateral_mm"]) };
    t += &format!(
        "[slide]\nmass_kg = 0\n[drive]\nkind = \"{kind}\"\nstiffness_n_per_um = {:?}\nheight_mm = {:?}\nlateral_a_mm = {:?}\nlateral_b_mm = {lateral_b:?}\n",
        num(&drive["k_n_per_mm"]) / 1e3,
        num(&drive["height_mm"]),
        num(&drive["lateral_mm"]),
    );
    for name in names {
        let case = &config["load_cases"][name];
        t += &format!(
            "[[duty]]\nname = \"{name}\"\nshare = {:?}\npayload_kg = {:?}\npayload_y_mm = {:?}\npayload_arm_mm = [{:?}, {:?}]\nacceleration_m_per_s2 = {}\n",
            1.0 / names.len() as f64,
            num(&case["payload_mass_kg"]),
            num(&case["payload_y_mm"]),
            num(&case["payload_x_mm"]),
            num(&case["payload_z_mm"]),
            list(&nums(&case["acceleration_m_per_s2"])),
        );
        for extra in case["extra_forces"].as_array().unwrap() {
            let on = extra["on"].as_str().unwrap().to_lowercase();
            t += &format!(
                "[[duty.extra]]\non = \"{on}\"\nplace_mm = {}\nforce_n = {}\n",
                list(&nums(&extra["point_mm"])),
                list(&nums(&extra["force_n"]))
            );
        }
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
            let arm = nums(&joint["arm_mm"]);
            ends += &format!("  {{ joint = \"{end}{i}\", x_mm = {:?}, y_mm = {:?}, z_mm = {:?} }},\n", arm[0], arm[1], arm[2]);
        }
        ends += "]\n";
    }
    t + &ends
}

/// The stated installation of a case.
pub(crate) fn installation_text(errors: &Value) -> String {
    let e = |p: &str| num(errors.pointer(p).unwrap_or_else(|| panic!("{p}")));
    let mrad = |p: &str| e(p) * 1e3;
    let mut t = format!(
        "span_mm = {:?}\nparallelism_mm = {:?}\nheight_mm = {:?}\nvertical_parallelism_mm = {:?}\nbridge_length_mm = {:?}\nbridge_twist_mrad = {:?}\n",
        e("/g0_mm"),
        e("/g1_mm"),
        e("/h0_mm"),
        e("/h1_mm"),
        e("/bridge_length_mm"),
        mrad("/bridge_twist_rad"),
    );
    let mut seats = String::new();
    for side in ["A", "B"] {
        let s = side.to_lowercase();
        t += &format!(
            "cross_level_{s}_mrad = {:?}\ncross_level_twist_{s}_mrad = {:?}\nend_tilt_{s}_mrad = {:?}\nend_squareness_{s}_mrad = {:?}\nskew_{s}_mm = {:?}\n",
            mrad(&format!("/p0_rad/{side}")),
            mrad(&format!("/p1_rad/{side}")),
            mrad(&format!("/end_tilt_rad/{side}")),
            mrad(&format!("/end_squareness_rad/{side}")),
            e(&format!("/drive_offset_mm/{side}")),
        );
        let r = &errors["residual"][side];
        let phi: Vec<f64> = nums(&r["phi_rad"]).iter().map(|v| v * 1e3).collect();
        t += &format!(
            "lateral_{s}_mm = {}\nvertical_{s}_mm = {}\nroll_{s}_mrad = {}\n",
            list(&nums(&r["v_mm"])),
            list(&nums(&r["w_mm"])),
            list(&phi)
        );
        let mounts: Vec<Vec<f64>> = errors["block_mount_yz_mm"][side].as_array().unwrap().iter().map(nums).collect();
        for (i, direction) in ["lateral", "vertical"].iter().enumerate() {
            t += &format!("block_{direction}_{s}_mm = {}\n", list(&mounts.iter().map(|m| m[i]).collect::<Vec<_>>()));
        }
        for (i, seat) in errors["joint_seat_mm_rad"][side].as_array().unwrap().iter().enumerate() {
            let v = nums(seat);
            let angle: Vec<f64> = v[3..].iter().map(|a| a * 1e3).collect();
            seats +=
                &format!("[[seat]]\nend = \"{s}\"\nnumber = {}\noffset_mm = {}\nangle_mrad = {}\n", i + 1, list(&v[..3]), list(&angle));
        }
    }
    t + &format!("[service]\nbridge_dt_k = {:?}\nframe_dt_k = {:?}\n", e("/bridge_temperature_k"), e("/frame_temperature_k")) + &seats
}
