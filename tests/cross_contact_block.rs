//! A block's contacts against an independent implementation of the same geometry (Python, numpy), and the laws they obey.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use common::{close, json, num, nums};
use railtrue::contact::{BallBlock, RowPlace, point_contact};
use serde_json::Value;

fn block(geometry: &Value) -> BallBlock {
    let g = |k: &str| num(&geometry[k]);
    let contact = point_contact(g("ball_diameter_mm"), g("conformity"), g("E_mpa"), g("nu")).unwrap();
    let first = &geometry["rows"][0];
    let rows = BallBlock::four_rows(num(&first["y_mm"]), num(&first["z_mm"]), g("alpha_deg").to_radians(), geometry["arrangement"] == "O");
    for (row, theirs) in rows.iter().zip(geometry["rows"].as_array().unwrap()) {
        let expected =
            RowPlace { y_mm: num(&theirs["y_mm"]), z_mm: num(&theirs["z_mm"]), press: [num(&theirs["n_y"]), num(&theirs["n_z"])] };
        assert!((row.press[0] - expected.press[0]).abs() < 1e-12 && (row.press[1] - expected.press[1]).abs() < 1e-12);
        assert_eq!((row.y_mm, row.z_mm), (expected.y_mm, expected.z_mm));
    }
    BallBlock::new(rows, g("Z_balls_per_row") as usize, g("ball_pitch_mm"), &contact, g("preload_n")).unwrap()
}

#[test]
fn cross_forces_tangents_and_ball_loads() {
    let worked = json("data/worked/contact_block.json");
    let mut seen = 0;
    for case in worked["cases"].as_array().unwrap() {
        let block = block(&case["geometry"]);
        close("K_h", &[block.ball_stiffness_n_per_mm15()], &[num(&case["hertz"]["K_h_both_contacts_n_per_mm15"])], 1e-9);
        close("delta 0", &[block.preload_approach_mm()], &[num(&case["delta0_mm"])], 1e-9);
        let rest = &case["tangent_zero_diag"];
        let names = ["k_y_n_per_mm", "k_z_n_per_mm", "k_roll_nmm_per_rad", "k_pitch_nmm_per_rad", "k_yaw_nmm_per_rad"];
        close("stiffness", &block.stiffness_at_rest(), &names.map(|n| num(&rest[n])), 1e-8);
        for at in case["cases"].as_array().unwrap() {
            let d = nums(&at["displacement_uy_uz_mm_rx_ry_rz_rad"]);
            let state = block.at(&railtrue::contact::Vector5::from_column_slice(&d));
            close("force", state.force.as_slice(), &nums(&at["force_n_nmm"]), 1e-8);
            close("balls", &state.ball_n, &nums(&at["ball_loads_n"]), 1e-8);
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
    let d = railtrue::contact::Vector5::new(0.003, -0.004, 2e-4, 3e-4, -1e-4);
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
    let pressed = block.at(&railtrue::contact::Vector5::new(0.0, -way, 0.0, 0.0, 0.0));
    assert!((pressed.force[1].abs() / (2.0_f64.powf(1.5) * preload) - 1.0).abs() < 1e-9, "{}", pressed.force[1]);
    assert!(pressed.ball_n[24..].iter().all(|q| *q < 1e-9) && pressed.ball_n[..24].iter().all(|q| *q > 0.0));
    for (f, x, loaded, unloaded) in [(1.0, 0.334_933, 1.542_373, 0.542_373), (2.0, 0.681_250, 2.179_960, 0.179_960)] {
        let s = block.at(&railtrue::contact::Vector5::new(0.0, -x * way, 0.0, 0.0, 0.0));
        assert!((s.force[1].abs() / preload - f).abs() < 1e-5);
        assert!(
            (s.ball_n[0] / block.preload_ball_n - loaded).abs() < 1e-5 && (s.ball_n[40] / block.preload_ball_n - unloaded).abs() < 1e-5
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
