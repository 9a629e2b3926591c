//! A block's contacts against an independent implementation of the same geometry (Python, numpy), and the laws they obey.

use crate::common;

use common::{close, frame, json, num, nums, plan, stated};
use railtrue::contact::{Contact, Element, RowBlock, RowPlace, Vector5, geometry_ratings};
use railtrue::structure::{Drag, Machine, Situation, TakenUp};
use serde_json::Value;

/// The block of the worked file, and its preload.
fn block(geometry: &Value) -> RowBlock {
    let g = |k: &str| num(&geometry[k]);
    let first = &geometry["rows"][0];
    let contact = Contact {
        element: Element::Ball,
        o: geometry["arrangement"] == "O",
        count: g("Z_balls_per_row") as usize,
        diameter_mm: g("ball_diameter_mm"),
        roller_length_mm: 0.0,
        pitch_mm: g("ball_pitch_mm"),
        conformity: g("conformity"),
        angle_rad: g("alpha_deg").to_radians(),
        row_lateral_mm: num(&first["y_mm"]),
        row_height_mm: num(&first["z_mm"]),
        e_mpa: g("E_mpa"),
        nu: g("nu"),
    };
    let block = RowBlock::new(&contact, g("preload_n")).unwrap();
    for (row, theirs) in block.rows().iter().zip(geometry["rows"].as_array().unwrap()) {
        let expected =
            RowPlace { y_mm: num(&theirs["y_mm"]), z_mm: num(&theirs["z_mm"]), press: [num(&theirs["n_y"]), num(&theirs["n_z"])] };
        assert!((row.press[0] - expected.press[0]).abs() < 1e-12 && (row.press[1] - expected.press[1]).abs() < 1e-12);
        assert_eq!((row.y_mm, row.z_mm), (expected.y_mm, expected.z_mm));
    }
    block
}

/// The geometry of `cross/contact_rows.json`, and its preload.
fn geometry(g: &Value) -> (Contact, f64) {
    let n = |k: &str| num(&g[k]);
    let contact = Contact {
        element: if g["element"] == "roller" { Element::Roller } else { Element::Ball },
        o: g["arrangement"] == "o",
        count: n("count") as usize,
        diameter_mm: n("diameter_mm"),
        roller_length_mm: n("roller_length_mm"),
        pitch_mm: n("pitch_mm"),
        conformity: n("conformity"),
        angle_rad: n("angle_deg").to_radians(),
        row_lateral_mm: n("row_lateral_mm"),
        row_height_mm: n("row_height_mm"),
        e_mpa: n("e_mpa"),
        nu: n("nu"),
    };
    (contact, n("preload_n"))
}

#[test]
fn cross_moments_by_cross_products_and_by_quadrature() {
    // Element by element with numpy, stiffness with scipy's elliptic integrals: 1e-10. The same rows spread into lines and
    // integrated by scipy's quad differ by the step from elements to a line, and by no more.
    let all = json("cross/contact_rows.json");
    let mut seen = 0;
    for case in all["alone"].as_array().unwrap() {
        let (contact, preload_n) = geometry(&case["geometry"]);
        let block = RowBlock::new(&contact, preload_n).unwrap();
        let state = block.at(&Vector5::from_column_slice(&nums(&case["displacement"])));
        // Forces at an arm of 10 mm, so that one scale serves all five.
        let scaled = |f: &[f64]| -> Vec<f64> { f.iter().enumerate().map(|(i, v)| if i < 2 { 10.0 * v } else { *v }).collect() };
        close("force and moment", &scaled(state.force.as_slice()), &scaled(&nums(&case["force"])), 1e-10);
        close("elements", &state.element_n, &nums(&case["element_n"]), 1e-10);
        close("as a line", &scaled(state.force.as_slice()), &scaled(&nums(&case["as_a_line"])), 0.02);
        seen += 1;
    }
    assert_eq!(seen, 18);
}

#[test]
fn cross_whole_machines_on_rows_and_yielding_supports() {
    // Pose and block loads of a meshed machine with the same rows, minimised by scipy over pose and supports together.
    let (rows, frames) = (json("cross/contact_rows.json"), json("cross/whole_pose.json"));
    let mut seen = 0;
    for o in rows["whole"].as_array().unwrap() {
        let case = &frames["cases"][o["case"].as_str().unwrap()];
        let names: Vec<&str> = case["config"]["load_cases"].as_object().unwrap().keys().map(String::as_str).collect();
        let plan = plan(&on_rows(&frame::plan_text(&case["config"], &names), &o["geometry"]));
        let stated = stated(&frame::installation_text(&case["errors"]), &plan);
        let machine = Machine::new(&plan, 0).unwrap();
        let number = names.iter().position(|n| *n == o["load_case"].as_str().unwrap()).unwrap();
        let situation = Situation {
            station_x_mm: num(&o["station_mm"]),
            case: number,
            thermal: stated.service.unwrap(),
            skew_mm: 0.0,
            drag: Drag::Law,
        };
        let r = machine.respond(&stated.installation, &TakenUp::default(), &situation).unwrap();
        close("pose", r.pose.as_slice(), &nums(&o["pose"]), 1e-8);
        let theirs: Vec<f64> =
            ["A", "B"].iter().flat_map(|s| o["blocks"][s].as_array().unwrap().iter().flat_map(|b| nums(&b["load"]))).collect();
        close("block loads", &r.block_loads.concat(), &theirs, 1e-7);
        let most: Vec<f64> =
            ["A", "B"].iter().flat_map(|s| o["blocks"][s].as_array().unwrap().iter().map(|b| num(&b["most_loaded_n"]))).collect();
        let ours: Vec<f64> = r
            .block_displacements
            .iter()
            .map(|d| machine.rows().unwrap().at(&Vector5::from(*d)).element_n.iter().copied().fold(0.0, f64::max))
            .collect();
        close("most loaded elements", &ours, &most, 1e-7);
        seen += 1;
    }
    assert_eq!(seen, 18);
}

/// A plan with its block turned into rows.
fn on_rows(text: &str, g: &Value) -> String {
    let roller = g["element"] == "roller";
    let length = if roller { format!("roller_length_mm = {:?}\n", num(&g["roller_length_mm"])) } else { String::new() };
    let rows = format!(
        "[block.contact]\narrangement = {}\nballs_per_row = {}\nball_mm = {:?}\npitch_mm = {:?}\nconformity = {:?}\nangle_deg = {:?}\nrow_lateral_mm = {:?}\nrow_height_mm = {:?}\ne_mpa = {:?}\nnu = {:?}\n{length}[bridge]\n",
        g["arrangement"],
        g["count"],
        num(&g["diameter_mm"]),
        num(&g["pitch_mm"]),
        num(&g["conformity"]),
        num(&g["angle_deg"]),
        num(&g["row_lateral_mm"]),
        num(&g["row_height_mm"]),
        num(&g["e_mpa"]),
        num(&g["nu"]),
    );
    text.replace("element = \"ball\"", &format!("element = {}\nlevel = \"contact\"", g["element"]))
        .replace("preload_n = 340", &format!("preload_n = {:?}", num(&g["preload_n"])))
        .replacen("[bridge]\n", &rows, 1)
}

#[test]
fn cross_forces_tangents_and_ball_loads() {
    let worked = json("data/worked/contact_block.json");
    let mut seen = 0;
    for case in worked["cases"].as_array().unwrap() {
        let block = block(&case["geometry"]);
        close("K_h", &[block.rolling.stiffness_n_per_mm_n], &[num(&case["hertz"]["K_h_both_contacts_n_per_mm15"])], 1e-9);
        close("delta 0", &[block.preload_approach_mm()], &[num(&case["delta0_mm"])], 1e-9);
        let rest = &case["tangent_zero_diag"];
        let names = ["k_y_n_per_mm", "k_z_n_per_mm", "k_roll_nmm_per_rad", "k_pitch_nmm_per_rad", "k_yaw_nmm_per_rad"];
        close("stiffness", &block.stiffness_at_rest(), &names.map(|n| num(&rest[n])), 1e-8);
        for at in case["cases"].as_array().unwrap() {
            let d = nums(&at["displacement_uy_uz_mm_rx_ry_rz_rad"]);
            let state = block.at(&Vector5::from_column_slice(&d));
            close("force", state.force.as_slice(), &nums(&at["force_n_nmm"]), 1e-8);
            close("balls", &state.element_n, &nums(&at["ball_loads_n"]), 1e-8);
            close("energy", &[state.energy_n_mm], &[num(&at["energy_nmm"])], 1e-8);
            let tangent: Vec<f64> = at["tangent"].as_array().unwrap().iter().flat_map(nums).collect();
            let ours: Vec<f64> = (0..25).map(|i| state.tangent[(i / 5, i % 5)]).collect();
            close("tangent", &ours, &tangent, 1e-8);
            seen += 1;
        }
    }
    assert!(seen >= 32);
}

#[test]
fn check_force_is_the_gradient_and_tangent_its_slope() {
    let worked = json("data/worked/contact_block.json");
    let block = block(&worked["cases"][0]["geometry"]);
    let d = Vector5::new(0.003, -0.004, 2e-4, 3e-4, -1e-4);
    let state = block.at(&d);
    for i in 0..5 {
        let step = if i < 2 { 1e-7 } else { 1e-9 };
        let (mut up, mut down) = (d, d);
        up[i] += step;
        down[i] -= step;
        let (up, down) = (block.at(&up), block.at(&down));
        let slope = (up.energy_n_mm - down.energy_n_mm) / (2.0 * step);
        assert!((slope / state.force[i] - 1.0).abs() < 1e-5, "{i}: {slope} against {}", state.force[i]);
        let column = (up.force - down.force) / (2.0 * step);
        assert!((column - state.tangent.column(i)).norm() < 1e-5 * state.tangent.column(i).norm());
    }
}

#[test]
fn ref_a_row_unloads_at_two_to_the_three_halves_times_preload() {
    // Two opposed Hertz contacts (recomputed): separation at F = 2^1.5 F_pr, approach delta_0; loaded and unloaded side
    // against F from the exact pair. Here the pair is the upper and lower rows at 45 degrees.
    let worked = json("data/worked/contact_block.json");
    let block = block(&worked["cases"][0]["geometry"]);
    let preload = 340.0;
    let sine = std::f64::consts::FRAC_1_SQRT_2;
    let way = block.preload_approach_mm() / sine;
    let pressed = block.at(&Vector5::new(0.0, -way, 0.0, 0.0, 0.0));
    assert!((pressed.force[1].abs() / (2.0_f64.powf(1.5) * preload) - 1.0).abs() < 1e-9, "{}", pressed.force[1]);
    assert!(pressed.element_n[24..].iter().all(|q| *q < 1e-9) && pressed.element_n[..24].iter().all(|q| *q > 0.0));
    for (f, x, loaded, unloaded) in [(1.0, 0.334_933, 1.542_373, 0.542_373), (2.0, 0.681_250, 2.179_960, 0.179_960)] {
        let s = block.at(&Vector5::new(0.0, -x * way, 0.0, 0.0, 0.0));
        assert!((s.force[1].abs() / preload - f).abs() < 1e-5);
        assert!(
            (s.element_n[0] / block.preload_element_n - loaded).abs() < 1e-5
                && (s.element_n[40] / block.preload_element_n - unloaded).abs() < 1e-5
        );
    }
}

#[test]
fn check_stiffness_of_pitch_and_roll_in_closed_form() {
    // At 45 degrees: k_pitch = k_z mean(x^2); k_roll = k_z (y -+ d)^2 for x / o with d half the row height.
    for case in json("data/worked/contact_block.json")["cases"].as_array().unwrap() {
        let block = block(&case["geometry"]);
        let [ky, kz, roll, pitch, yaw] = block.stiffness_at_rest();
        let mean_square = (0..12).map(|k| ((f64::from(k) - 5.5) * 4.2).powi(2)).sum::<f64>() / 12.0;
        assert!((pitch / (kz * mean_square) - 1.0).abs() < 1e-9 && (yaw / (ky * mean_square) - 1.0).abs() < 1e-9);
        let arm = if case["geometry"]["arrangement"] == "O" { 11.5 + 3.5 } else { 11.5 - 3.5 };
        assert!((roll / (kz * arm * arm) - 1.0).abs() < 1e-9, "{roll} {}", kz * arm * arm);
    }
}

#[test]
fn ref_a_row_of_rollers_unloads_at_two_to_the_ten_ninths_times_preload() {
    // Line contact, n = 10/9: 2.1601 (recomputed from two opposed contacts).
    let all = json("cross/contact_rows.json");
    let case = all["alone"].as_array().unwrap().iter().find(|c| c["geometry"]["element"] == "roller").unwrap();
    let (contact, preload_n) = geometry(&case["geometry"]);
    let block = RowBlock::new(&contact, preload_n).unwrap();
    let sine = contact.angle_rad.sin();
    let pressed = block.at(&Vector5::new(0.0, -block.preload_approach_mm() / sine, 0.0, 0.0, 0.0));
    let ratio = pressed.force[1].abs() / preload_n;
    assert!((ratio - 2.160_1).abs() < 5e-5, "{ratio}");
    let rows = block.row_loads(&Vector5::new(0.0, -0.999_999 * block.preload_approach_mm() / sine, 0.0, 0.0, 0.0));
    assert!(rows.iter().filter(|r| r.approach_over_preload > 0.0 && r.approach_over_preload < 1e-4).count() == 2);
}

#[test]
fn check_straight_down_ages_and_dents_as_the_ratings_say_and_moments_follow() {
    // Across at 45 degrees the same two rows' worth of elements is pressed: ratings equal C and C0. Roll: all elements of two
    // rows at the lever y -+ d, against sin(alpha) for C: M = C (y -+ d) at 45 degrees. Static pitch: load over x^(3/2).
    let all = json("cross/contact_rows.json");
    let (contact, _) = geometry(&all["alone"][0]["geometry"]);
    let ratings = geometry_ratings(&contact, 17_000.0, 27_000.0).unwrap();
    close("lateral", &ratings.lateral_n, &[17_000.0, 27_000.0], 1e-9);
    close("roll", &ratings.moment_n_mm[0], &[17_000.0 * 8.0, 27_000.0 * 8.0], 1e-9);
    // Rows press down in front (upper) and up behind (lower) alike: with x from the middle, Q = Q_0 (|x|/x_end)^1.5, and both
    // sides of the rail carry: M = 4 sin(alpha) sum over one half of Q |x|, Q_0 = C0 / (2 Z sin alpha).
    let half: Vec<f64> = (0..6).map(|k| (f64::from(k) + 0.5) * 4.2).collect();
    let end = half[5];
    let arm: f64 = half.iter().map(|x| (x / end).powf(1.5) * x).sum();
    let static_pitch = 2.0 * 2.0 * 27_000.0 / (2.0 * 12.0) * arm;
    close("static pitch", &[ratings.moment_n_mm[1][1]], &[static_pitch], 1e-9);
    assert!((ratings.moment_n_mm[2][1] / static_pitch - 1.0).abs() < 1e-9, "yaw as pitch at 45 degrees");
}
