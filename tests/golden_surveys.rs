//! Surveys of every kind once, with the mistakes that surveys have: what is made of each, to the ninth digit. A change that no
//! law of the other tests forbids is seen here, and in seconds.
//! `RAILTRUE_REGENERATE=1 cargo test --test library golden_surveys` writes `tests/data/small/survey-*.txt` anew.

use std::fmt::Write as _;

use railtrue::evaluate::Evaluator;
use railtrue::geometry::Rails;
use railtrue::input::survey::read_survey;
use railtrue::input::{Plan, read_plan};
use railtrue::survey::shims::correct_rails;
use railtrue::survey::{Evaluated, Measured, checks, evaluate_survey, panels, predict};

use crate::golden_small::{demo, evaluators, keep};

const DEMO: &str = include_str!("../examples/panel-bridge.toml");

/// Few pads too, and other rules for correcting.
pub(crate) fn few_pads(correction: &str) -> Plan {
    let text = DEMO.replace("stations = 21 ", "stations = 4 ").replace("anchor_pitch_mm = 500 ", "anchor_pitch_mm = 1300 ");
    read_plan(&format!("{text}\n[correction]\n{correction}"), "small.toml").unwrap_or_else(|e| panic!("{e}"))
}

/// Numbers between -1 and 1 that look like chance.
fn chance(rail: usize, pad: usize, what: usize) -> f64 {
    let mixed = ((rail * 31 + pad * 17 + what * 7 + 3) * 7919) % 1009;
    2.0 * mixed as f64 / 1009.0 - 1.0
}

/// A rail's deviation at a pad: a line, a wave and noise, mm (mm/m across).
fn deviation(rail: usize, pad: usize, what: usize, wave: f64) -> f64 {
    let s = pad as f64 / 13.0;
    let line = [[0.05, -0.04], [0.10, 0.06], [0.2, -0.3]][what][rail] + [[0.1, -0.05], [-0.08, 0.12], [0.1, 0.15]][what][rail] * s;
    line + wave * (0.06 * (4.0 * s + rail as f64 + what as f64).sin()) + 0.015 * chance(rail, pad, what)
}

fn x_mm(plan: &Plan, pad: usize) -> f64 {
    plan.frame.anchors_x_mm[pad]
}

/// Rows of lateral, vertical, cross-level at every pad, so many times as far out; rail A's with the distance and the height of the
/// other rail.
fn rows(plan: &Plan, wave: f64, times: f64) -> Vec<String> {
    let mut list = Vec::new();
    for (rail, name) in ["A", "B"].iter().enumerate() {
        for pad in 0..plan.frame.anchors_x_mm.len() {
            let of = |rail: usize, what: usize| times * deviation(rail, pad, what, wave);
            let between = if rail == 0 {
                format!("{:.3},{:.3}", 2600.0 + of(1, 0) - of(0, 0) + 0.02 * chance(0, pad, 4), of(1, 1) - of(0, 1))
            } else {
                ",".into()
            };
            list.push(format!("{name},{},{:.3},{:.3},{:.3},{between}", x_mm(plan, pad), of(rail, 0), of(rail, 1), of(rail, 2)));
        }
    }
    list
}

const ROWS: &str = "rail,station,lateral,vertical,cross_level,gauge,height\n";

/// Coordinates of every pad in axes that are turned and shifted.
fn points(plan: &Plan, turn: [f64; 3], columns: &str, row: &dyn Fn(usize, usize, [f64; 3]) -> Option<String>) -> String {
    let turned = nalgebra::Rotation3::from_euler_angles(turn[0], turn[1], turn[2]);
    let mut text = format!("{columns}\n");
    for rail in 0..2 {
        for pad in 0..plan.frame.anchors_x_mm.len() {
            let y = if rail == 1 { plan.frame.span_mm } else { 0.0 } + deviation(rail, pad, 0, 1.0);
            let p = turned * nalgebra::Vector3::new(x_mm(plan, pad), y, deviation(rail, pad, 1, 1.0))
                + nalgebra::Vector3::new(1500.0, -800.0, 400.0);
            text.extend(row(rail, pad, [p.x, p.y, p.z]).map(|line| line + "\n"));
        }
    }
    text
}

fn evaluated(plan: &Plan, text: &str) -> Evaluated {
    let survey = read_survey(text.as_bytes(), "survey.csv", plan, &[], &[]).unwrap_or_else(|e| panic!("{e}"));
    evaluate_survey(plan, &Rails::new(plan).unwrap(), &survey).unwrap()
}

/// All that is made of a survey.
fn text_of(plan: &Plan, e: &Evaluated) -> String {
    let rails = Rails::new(plan).unwrap();
    let (c, m) = (&e.corrected, &e.measured);
    let mut text = format!("{:?}\n{:?}\n", e.said, e.findings);
    let _ = writeln!(text, "{} {} {} {} {}", c.scale, c.level_zero_rad, c.keeps_common_yaw, c.height_is_seen, c.turn_with_rolls);
    for r in &c.readings {
        let _ = writeln!(text, "{} {:?} {} {} {:?}", r.quantity.name(), r.rail, r.x_mm, r.value, r.uncertainty);
    }
    let _ = writeln!(text, "{:?} {:?} {:?} {:?} {}", m.seen, m.read, m.roughness, m.settled, m.turned_with_rolls);
    let _ = writeln!(text, "{:?}", [0, 1, 2].map(|d| [0, 1].map(|rail| m.tells(d, rail))));
    let _ = writeln!(text, "{:?}", m.mean(railtrue::input::Installation::perfect(plan)));
    let normals: Vec<f64> = (0..m.dimension()).map(|i| chance(0, i, 9)).collect();
    let drawn = m.drawn(railtrue::input::Installation::perfect(plan), &normals);
    let _ = writeln!(text, "{} {} {:?}", drawn.span_mm, drawn.height_mm, drawn.residual);
    let _ = writeln!(text, "{:?}", checks(plan, &rails, m, 3));
    text
}

/// Lengths by a tape in the cold, a frame in the sun, a bridge that travels; three stations read again; a swapped sign, a shifted
/// decimal mark, inches.
#[test]
fn golden_surveys_by_tape_with_mistakes() {
    let plan = demo();
    let mut list = rows(&plan, 1.0, 1.0);
    let wrong = |row: &str, column: usize, factor: f64| -> String {
        let mut cells: Vec<String> = row.split(',').map(ToString::to_string).collect();
        cells[column] = format!("{:.4}", cells[column].parse::<f64>().unwrap() * factor);
        cells.join(",")
    };
    for (row, column, factor) in [(4, 3, -9.0), (8, 3, 10.0), (17, 4, -1.0), (20, 2, 25.4), (24, 4, 0.1), (11, 6, -1.0)] {
        list[row] = wrong(&list[row], column, factor);
    }
    for row in [2, 6, 9] {
        let again = wrong(&wrong(&list[row], 2, 3.0), 3, 1.2);
        list.push(again);
    }
    let head = "# reference = each_rail\n# frame_c = 24\n# tape_c = 7\n# u_temperature_k = 0.7\n# u_point_mm = 0.02\n# u_level_mm_per_m = 0.03\n\
                # u_level_zero_mm_per_m = 0.02\n# u_gauge_mm = 0.05\n# u_height_mm = 0.04\n# u_scale_ppm = 5\n# bridge = travelling\n# bolts = loose\n";
    let e = evaluated(&plan, &format!("{head}{ROWS}{}\n", list.join("\n")));
    keep("survey-tape", &text_of(&plan, &e));
    keep("survey-tape-panels", &format!("{:?}", panels(&plan, &Rails::new(&plan).unwrap(), &e.corrected, &e.measured, None)));
}

/// A bridge that stands with tight bolts on rough rails; each reading with an uncertainty of its own.
#[test]
fn golden_surveys_under_a_standing_bridge() {
    let plan = demo();
    let own = |(i, row): (usize, &String)| format!("{row},{}", 0.01 + 0.005 * (i % 3) as f64);
    let list: Vec<String> = rows(&plan, 7.0, 1.0).iter().enumerate().map(own).collect();
    let head = "# u_level_mm_per_m = 0.02\n# u_gauge_mm = 0.03\n# u_height_mm = 0.03\n# bridge = standing\n# bridge_at_mm = 2900\n# bolts = tight\n";
    let e = evaluated(&plan, &format!("{head}{},u\n{}\n", ROWS.trim_end(), list.join("\n")));
    keep("survey-standing", &text_of(&plan, &e));
}

/// Coordinates in the plan's axes, z free, nothing said of temperature and bridge; two pads not read, two settled.
#[test]
fn golden_surveys_in_the_plans_axes() {
    let plan = demo();
    let row = |rail: usize, pad: usize, _: [f64; 3]| {
        let y = if rail == 1 { 2600.0 } else { 0.0 } + deviation(rail, pad, 0, 1.0);
        let z = deviation(rail, pad, 1, 1.0) - if (rail, pad) == (0, 5) || (rail, pad) == (1, 9) { 0.6 } else { 0.0 };
        let name = ["left", "right"][rail];
        (pad != 3 || rail == 1)
            .then(|| format!("{name},{},{},{y:.3},{z:.3},{:.3}", pad + 1, x_mm(&plan, pad), deviation(rail, pad, 2, 1.0)))
    };
    let head = "# frame = plan\n# rail_a = left\n# rail_b = right\n# z_axis = free\n# u_point_mm = 0.01\n# u_level_mm_per_m = 0.02\n";
    let text = format!("{head}{}", points(&plan, [0.0; 3], "rail,pad,x,y,z,cross_level", &row));
    keep("survey-plans-axes", &text_of(&plan, &evaluated(&plan, &text)));
}

/// Axes of an instrument that stands askew and reads cross-levels in them; a point read twice, one far off; without stations
/// and backwards.
#[test]
fn golden_surveys_of_a_tilted_instrument() {
    let plan = demo();
    let turn = [0.004, -0.003, 0.31];
    let row = |rail: usize, pad: usize, [x, y, z]: [f64; 3]| {
        let far = if (rail, pad) == (1, 4) { 9.0 } else { 0.0 };
        let level = deviation(rail, pad, 2, 1.0) + 4.0;
        let line = format!("{},{},{x:.3},{y:.3},{:.3},{level:.3}", ["A", "B"][rail], pad + 1, z + far);
        Some(if (rail, pad) == (0, 7) { format!("{line}\nA,8,{x:.3},{:.3},{z:.3},{level:.3}", y + 0.03) } else { line })
    };
    let head = "# z_axis = free\n# levels = instrument\n# u_point_mm = 0.02\n# u_level_mm_per_m = 0.03\n# frame_c = 19\n# bridge = off\n";
    let text = format!("{head}{}", points(&plan, turn, "rail,pad,x,y,z,cross_level", &row));
    keep("survey-tilted", &text_of(&plan, &evaluated(&plan, &text)));
    // The same upside down in the file, z tied to gravity, without cross-levels.
    let upright = |rail: usize, _: usize, [x, y, z]: [f64; 3]| Some(format!("{},{x:.3},{y:.3},{z:.3}", ["A", "B"][rail]));
    let head = "# z_axis = gravity\n# u_point_mm = 0.02\n# frame_c = 19\n# bridge = off\n";
    let text = points(&plan, [0.0, 0.0, -2.8], "rail,x,y,z", &upright);
    let mut lines: Vec<&str> = text.lines().collect();
    lines[1..].reverse();
    let mut found = text_of(&plan, &evaluated(&plan, &format!("{head}{}\n", lines.join("\n"))));
    let free = head.replace("gravity", "free") + &points(&plan, [-0.01, 0.02, 1.1], "rail,x,y,z", &upright);
    found += &text_of(&plan, &evaluated(&plan, &free));
    keep("survey-no-stations", &found);
}

/// One rail alone, and nothing but distances and heights between the two.
#[test]
fn golden_surveys_of_half_the_rails() {
    let plan = demo();
    let row = |rail: usize, _: usize, [x, y, z]: [f64; 3]| (rail == 1).then(|| format!("B,{x:.3},{y:.3},{z:.3}"));
    let head = "# z_axis = gravity\n# u_point_mm = 0.02\n# frame_c = 20\n# bridge = off\n";
    let text = format!("{head}{}", points(&plan, [0.0, 0.0, 0.2], "rail,x,y,z", &row));
    let mut found = text_of(&plan, &evaluated(&plan, &text));
    let between: String = (0..14)
        .map(|pad| {
            let of = |what: usize| deviation(1, pad, what, 1.0) - deviation(0, pad, what, 1.0);
            format!("{},{:.3},{:.3}\n", x_mm(&plan, pad), 2600.0 + of(0), of(1))
        })
        .collect();
    let head = "# u_gauge_mm = 0.05\n# u_height_mm = 0.05\n# tape_c = 20\n";
    found += &text_of(&plan, &evaluated(&plan, &format!("{head}station,gauge,height\n{between}")));
    keep("survey-halves", &found);
}

/// Work lists under different rules: all may move; a master rail, pads that cannot move, no tapers; hardly anything allowed.
#[test]
fn golden_surveys_to_work_lists() {
    let mut text = String::new();
    let head = "# u_point_mm = 0.01\n# u_level_mm_per_m = 0.01\n# u_gauge_mm = 0.02\n# u_height_mm = 0.02\n# z_axis = gravity\n# frame_c = 20\n# u_temperature_k = 0.1\n# bridge = off\n";
    for correction in [
        "",
        "master = \"a\"\nfixed_pads = [\"b2\", \"a4\"]\ntaper_most_mrad = 0\nshims_mm = [0.1, 0.25, 0.5]\n",
        "taper_step_mrad = 0.05\ntaper_most_mrad = 1\nslot_mm = 0.15\nlateral_step_mm = 0.05\nmost_mm = 0.4\nlargest_step_mm = 0.2\n",
    ] {
        let plan = few_pads(correction);
        let rails = Rails::new(&plan).unwrap();
        let evaluators = evaluators(&plan);
        let chosen: Vec<&Evaluator<'_>> = evaluators.iter().collect();
        let e = evaluated(&plan, &format!("{head}{ROWS}{}\n", rows(&plan, 3.0, 4.0).join("\n")));
        let recheck = |m: &Measured| checks(&plan, &rails, m, 3);
        let (now, before) = (recheck(&e.measured), predict(&plan, &chosen, &e.measured, 8, 3).unwrap());
        let found = correct_rails(&plan, &evaluators, &e.measured, &now, &before, &recheck, (8, 3)).unwrap();
        let Some(f) = found else { panic!("nothing to do") };
        let _ = writeln!(text, "{:?} {} {} {} {:?}", f.items, f.fewest_proved, f.tightened, f.meets_all, f.stopped_by);
        let _ = writeln!(text, "{:?}", recheck(&f.after));
    }
    keep("survey-work-lists", &text);
}
