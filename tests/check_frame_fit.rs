//! Readings that cannot be of the plan's frame: the example's survey damaged in one way each, and what is made of it. Sound and
//! bad rails are judged and never refused.

use railtrue::geometry::Rails;
use railtrue::input::survey::{Quantity, Survey, read_survey};
use railtrue::input::{Plan, read_plan};
use railtrue::survey::{AtOther, Change, Conformity, Doubt, Evaluated, Misplaced, SurveyError, Unit, checks, evaluate_survey, fits_frame};

const PLAN: &str = include_str!("../examples/panel-bridge.toml");
const SURVEY: &str = include_str!("../examples/panel-bridge-survey.csv");

fn plan() -> Plan {
    read_plan(PLAN, "plan.toml").unwrap_or_else(|e| panic!("{e}"))
}

fn read(text: &str) -> Survey {
    read_survey(text.as_bytes(), "s.csv", &plan(), &[], &[]).unwrap_or_else(|e| panic!("{e}"))
}

fn refused(text: &str) -> Misplaced {
    fits_frame(&plan(), &read(text)).map(|_| ()).unwrap_err()
}

fn evaluated(text: &str) -> Evaluated {
    let plan = plan();
    evaluate_survey(&plan, &Rails::new(&plan).unwrap(), &read(text)).unwrap_or_else(|e| panic!("{e}"))
}

/// The example with every row changed: rail (0, 1), pad, x, y, z, cross-level.
fn damaged(change: impl Fn(&mut usize, &mut usize, &mut [f64; 4])) -> String {
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let ["A" | "B", pad, x, y, z, level] = cells[..] else { return line.to_string() };
        let mut rail = usize::from(cells[0] == "B");
        let mut pad: usize = pad.parse().unwrap();
        let mut values = [x, y, z, level].map(|c| c.parse::<f64>().unwrap());
        change(&mut rail, &mut pad, &mut values);
        let [x, y, z, level] = values;
        format!("{},{pad},{x:.6},{y:.6},{z:.6},{level:.4}", ["A", "B"][rail])
    };
    SURVEY.lines().map(row).collect::<Vec<_>>().join("\n")
}

/// The changes with which points would fit.
fn would(text: &str) -> Vec<Change> {
    match refused(text) {
        Misplaced::Points { would, nine_in_ten_mm, .. } => {
            // What would fit fits within what rails are out, and far better than the points as they are.
            assert!(would.iter().all(|w| w.nine_in_ten_mm < 5.0 && nine_in_ten_mm.is_none_or(|off| off > 20.0 * w.nine_in_ten_mm)));
            would.into_iter().map(|w| w.change).collect()
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn check_points_that_one_slip_displaced_are_refused_with_the_change_that_fits() {
    let cases: Vec<(&str, String, Change)> = vec![
        ("x and y swapped", damaged(|_, _, v| v.swap(0, 1)), Change::Axes { from: [1, 0, 2] }),
        ("y and z swapped", damaged(|_, _, v| v.swap(1, 2)), Change::Axes { from: [0, 2, 1] }),
        ("metres", damaged(|_, _, v| v[..3].iter_mut().for_each(|c| *c /= 1000.0)), Change::Unit { factor: 1000.0 }),
        ("inches", damaged(|_, _, v| v[..3].iter_mut().for_each(|c| *c /= 25.4)), Change::Unit { factor: 25.4 }),
        ("mirrored", damaged(|_, _, v| v[1] = -v[1]), Change::Mirrored { axis: 1 }),
        ("from the far end", damaged(|_, pad, _| *pad = 15 - *pad), Change::Reversed { rail: None }),
        (
            "one rail from the far end",
            damaged(|rail, pad, _| *pad = if *rail == 1 { 15 - *pad } else { *pad }),
            Change::Reversed { rail: Some(1) },
        ),
        ("rails exchanged", damaged(|rail, _, _| *rail = 1 - *rail), Change::Rails),
    ];
    for (name, text, expected) in cases {
        let found = would(&text);
        assert!(found.contains(&expected), "{name}: {found:?}");
    }
}

#[test]
fn check_another_machines_points_fit_with_no_change() {
    let found = refused(&damaged(|_, _, v| v[..3].iter_mut().for_each(|c| *c *= 0.9)));
    let Misplaced::Points { would, own_mm, plan_mm, .. } = found else { panic!("{found:?}") };
    assert!(would.is_empty(), "{would:?}");
    // Nine tenths of the plan's pitch and span, which are the example's but for its errors.
    for (own, plan) in own_mm.into_iter().zip(plan_mm) {
        assert!((own.unwrap() - 0.9 * plan).abs() < 3.0, "{own:?} {plan}");
    }
}

/// Turned about the rails by 30 degrees.
fn tilted() -> String {
    let (sine, cosine) = 30.0_f64.to_radians().sin_cos();
    damaged(|_, _, v| (v[1], v[2]) = (cosine * v[1] - sine * v[2], sine * v[1] + cosine * v[2]))
}

#[test]
fn check_a_tilted_instrument_is_refused_until_somebody_says_so() {
    let found = would(&tilted());
    assert!(found.iter().any(|c| matches!(c, Change::ZFree { leans_deg } if (leans_deg - 30.0).abs() < 1.0)), "{found:?}");
    let free = tilted().replace("# z_axis = gravity", "# z_axis = free");
    assert!(matches!(refused(&free), Misplaced::Leans { leans_deg, .. } if (leans_deg - 30.0).abs() < 1.0));
    assert_eq!(fits_frame(&plan(), &read(&free.replace("# z_axis", "# axes = x y z\n# z_axis"))), Ok(()));
}

#[test]
fn check_two_pads_exchanged_are_named_with_where_they_lie() {
    let text = damaged(|rail, pad, _| {
        if *rail == 0 {
            *pad = match *pad {
                5 => 6,
                6 => 5,
                other => other,
            }
        }
    });
    let line = |start: &str| text.lines().position(|l| l.starts_with(start)).unwrap() + 1;
    let at = |said: usize, lies: usize| AtOther { line: line(&format!("A,{said},")), said: (0, said), lies_at: (0, lies) };
    let found = refused(&text);
    let Misplaced::AtOtherPads(list) = &found else { panic!("{found:?}") };
    assert!(list.len() == 2 && list.contains(&at(5, 6)) && list.contains(&at(6, 5)), "{list:?}");
}

#[test]
fn check_a_frame_in_fahrenheit_is_refused_until_the_unit_is_stated() {
    let text = SURVEY.replace("# frame_c = 21.5", "# frame_c = 70.7");
    let found = refused(&text);
    assert!(
        matches!(found, Misplaced::Fahrenheit { stated, would_be_c, .. } if (stated - 70.7).abs() < 1e-9 && (would_be_c - 21.5).abs() < 1e-9)
    );
    let told = read(&text.replace("# frame_c", "# temperature_unit = f\n# frame_c"));
    assert_eq!(fits_frame(&plan(), &told), Ok(()));
    assert!((told.state.frame_dt_k.unwrap() - 1.5).abs() < 1e-9);
}

/// Numbers between -1 and 1 that look like chance.
fn chance(rail: usize, pad: usize, what: usize) -> f64 {
    2.0 * (((rail * 31 + pad * 17 + what * 7 + 3) * 7919 % 1009) as f64) / 1009.0 - 1.0
}

/// Deviations at stations, with noise of 0.02 so many times.
fn rows(noise: f64, station: impl Fn(f64) -> f64, level: f64) -> String {
    let head = "# u_point_mm = 0.02\n# u_level_mm_per_m = 0.02\n# frame_c = 20\n# bridge = off\n# signs = plan\n";
    let mut text = format!("{head}rail,station,lateral,vertical,cross_level_mm_per_m\n");
    for rail in 0..2 {
        for pad in 0..14 {
            let [y, z, roll] = [0, 1, 2].map(|what| 0.05 + noise * 0.02 * chance(rail, pad, what));
            text += &format!("{},{},{y:.4},{z:.4},{:.4}\n", ["A", "B"][rail], station(500.0 * pad as f64), level * roll);
        }
    }
    text
}

#[test]
fn check_stations_and_sizes_in_other_units() {
    assert_eq!(fits_frame(&plan(), &read(&rows(1.0, |x| x, 1.0))), Ok(()));
    let metres = refused(&rows(1.0, |x| x / 1000.0, 1.0));
    assert!(matches!(metres, Misplaced::Stations { factor, .. } if factor == 1000.0), "{metres:?}");
    for (text, quantity) in [(rows(1.0, |x| x, 1000.0), Quantity::CrossLevel), (damaged(|_, _, v| v[3] *= 1000.0), Quantity::CrossLevel)] {
        let Misplaced::Size { quantity: found, would, .. } = refused(&text) else { panic!("{text}") };
        assert!(found == quantity && would.iter().any(|(u, _)| *u == Unit::MicrometresPerMetre), "{would:?}");
    }
}

#[test]
fn check_stations_off_by_the_same_and_readings_without_scatter_are_doubted() {
    assert_eq!(evaluated(&rows(1.0, |x| x, 1.0)).unsure, []);
    let shifted = rows(1.0, |x| x + 100.0, 1.0);
    let unsure = evaluated(&shifted).unsure;
    assert!(matches!(unsure[..], [Doubt::StationsOff { by_mm }] if (by_mm - 100.0).abs() < 1e-9), "{unsure:?}");
    assert!(!unsure[0].is_question());
    assert_eq!(evaluated(&shifted.replace("# frame_c", "# station_zero_mm = -100\n# frame_c")).unsure, []);
    // Two rails, three kinds of readings: all of them equal.
    let unsure = evaluated(&rows(0.0, |x| x, 1.0)).unsure;
    assert_eq!(unsure.len(), 6, "{unsure:?}");
    assert!(unsure.iter().all(|d| matches!(d, Doubt::NoScatter { .. }) && !d.is_question()));
}

#[test]
fn check_a_z_that_counts_downwards_is_asked_for_and_taken_as_stated() {
    let down = damaged(|_, _, v| v[2] = -v[2]);
    let asked = evaluated(&down.replace("# z = up\n", "")).unsure;
    assert!(matches!(asked[..], [Doubt::ZNotStated]) && asked[0].is_question(), "{asked:?}");
    let told = evaluated(&down.replace("# z = up", "# z = down"));
    assert_eq!(told.unsure, []);
    for (a, b) in told.corrected.readings.iter().zip(&evaluated(SURVEY).corrected.readings) {
        assert!((a.value - b.value).abs() < 1e-9);
    }
    let asked = evaluated(&rows(1.0, |x| x, 1.0).replace("# signs = plan\n", "")).unsure;
    let [Doubt::SignsNotStated { kinds }] = &asked[..] else { panic!("{asked:?}") };
    assert_eq!(*kinds, [Quantity::Lateral, Quantity::Vertical, Quantity::CrossLevel]);
}

/// Bad rails are judged as bad: a pad that sank by 2 mm, a rail that lies out by five times its tolerance.
#[test]
fn check_bad_rails_are_judged_and_not_refused() {
    let plan = plan();
    let rails = Rails::new(&plan).unwrap();
    for (name, text) in [
        ("a pad sank", damaged(|rail, pad, v| v[2] -= if (*rail, *pad) == (1, 8) { 2.0 } else { 0.0 })),
        ("a rail is low", damaged(|rail, _, v| v[2] -= if *rail == 1 { 5.0 } else { 0.0 })),
        ("a rail is out across", damaged(|rail, _, v| (v[0], v[1]) = if *rail == 1 { (v[0] - 1.5, v[1] + 4.7) } else { (v[0], v[1]) })),
        ("a rail runs out", damaged(|rail, pad, v| v[2] -= if *rail == 1 { 0.4 * *pad as f64 } else { 0.0 })),
    ] {
        let found = evaluated(&text);
        assert_eq!(found.unsure, [], "{name}");
        let failed = checks(&plan, &rails, &found.measured, 1).iter().filter(|c| c.decision.verdict == Conformity::Fail).count();
        assert!(failed > 0, "{name}");
    }
}

/// A normal number by the sum of twelve uniform ones, from Knuth's generator.
fn normal(state: &mut u64) -> f64 {
    let mut uniform = || {
        *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..12).map(|_| uniform()).sum::<f64>() - 6.0
}

/// Rails out by up to five times the plan's tolerances, pads by up to a millimetre, the instrument anywhere and turned anyhow.
#[test]
fn check_no_drawn_survey_is_refused() {
    let plan = plan();
    for seed in 1..=120_u64 {
        let mut state = seed;
        let mut some = |by: f64| by * normal(&mut state);
        let yaw = some(2.0);
        let tilt = if seed % 2 == 0 { some(0.01) } else { 0.0 };
        let turned = nalgebra::Rotation3::from_euler_angles(tilt, 0.0, yaw);
        let shift = nalgebra::Vector3::new(some(4000.0), some(4000.0), some(500.0));
        let head = format!(
            "# z_axis = {}\n# z = up\n# u_point_mm = 0.02\n# frame_c = 20\n# bridge = off\n",
            ["free", "gravity"][(seed % 2) as usize]
        );
        let stations = seed % 3 != 0;
        let mut text = head + if stations { "rail,pad,x,y,z\n" } else { "rail,x,y,z\n" };
        for rail in 0..2 {
            let (off, slope) = ([some(1.0), some(1.0)], [some(2e-4), some(2e-4)]);
            for (pad, x) in plan.frame.anchors_x_mm.iter().enumerate() {
                let across = if rail == 1 { plan.frame.span_mm } else { 0.0 };
                let at =
                    nalgebra::Vector3::new(x + some(5.0), across + off[0] + slope[0] * x + some(0.3), off[1] + slope[1] * x + some(0.3));
                let p = turned * at + shift;
                let pad = if stations { format!("{},", pad + 1) } else { String::new() };
                text += &format!("{},{pad}{:.4},{:.4},{:.4}\n", ["A", "B"][rail], p.x, p.y, p.z);
            }
        }
        assert_eq!(fits_frame(&plan, &read(&text)), Ok(()), "seed {seed}");
    }
}

#[test]
fn check_a_refusal_is_an_error_of_the_evaluation() {
    let plan = plan();
    let text = damaged(|_, _, v| v.swap(1, 2));
    let found = evaluate_survey(&plan, &Rails::new(&plan).unwrap(), &read(&text)).unwrap_err();
    assert!(matches!(&found, SurveyError::NotThisFrame(m) if **m == refused(&text)));
}
