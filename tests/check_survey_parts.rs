//! The steps from a survey's lines to rails, one by one: where points are placed, what is corrected, which lines are seen, what
//! is drawn as a limit, and which pads have moved.

use std::fmt::Write as _;

use railtrue::geometry::Rails;
use railtrue::input::survey::{Quantity, read_survey};
use railtrue::input::{ErrorKind, Installation, Plan};
use railtrue::survey::history::pads_moved;
use railtrue::survey::{Conformity, LATERAL, Measured, Placed, SurveyError, VERTICAL, about_readings, panels, place};

use crate::check_survey::{SHARP, STRAIGHT, Stand, checked, evaluated, get, plan, points, rigid_plan, same_loads, still};
use crate::golden_surveys::few_pads;

const LEVELLED: &str = "# z_axis = gravity\n# u_point_mm = 0.02\n# bridge = off\nrail,x,y,z\n";

/// Lines of points: rail and coordinates.
fn written(list: &[(usize, [f64; 3])]) -> String {
    list.iter().fold(LEVELLED.to_string(), |t, (rail, [x, y, z])| t + &format!("{},{x},{y},{z}\n", ["A", "B"][*rail]))
}

fn placed(plan: &Plan, text: &str) -> Result<Placed, SurveyError> {
    place(plan, &read_survey(text.as_bytes(), "survey.csv", plan, &[], &[]).unwrap_or_else(|p| panic!("{p}")))
}

/// Perfect rails in the plan's own axes, a point a pad.
fn perfect(plan: &Plan) -> Vec<(usize, [f64; 3])> {
    let pads = &plan.frame.anchors_x_mm;
    [0, 1].into_iter().flat_map(|rail| pads.iter().map(move |x| (rail, [*x, rail as f64 * plan.frame.span_mm, 0.0]))).collect()
}

fn values(placed: &Placed, quantity: Quantity) -> Vec<f64> {
    placed.readings.iter().filter(|r| r.quantity == quantity).map(|r| r.value).collect()
}

/// Six pads, 1300 mm apart.
fn six() -> Plan {
    few_pads("")
}

#[test]
fn check_points_nearer_than_a_fifth_of_the_pitch_are_one_pad_read_twice() {
    let plan = six();
    let again = |by_mm: f64| {
        let mut list = perfect(&plan);
        list.insert(4, (0, [2600.0 + by_mm, 0.0, 0.3]));
        placed(&plan, &written(&list))
    };
    let found = again(0.19 * 1300.0).unwrap();
    assert_eq!(found.readings.len(), 2 * 13);
    assert!(found.said[0].contains("matched with the pads"), "{:?}", found.said);
    assert!(matches!(again(0.21 * 1300.0), Err(SurveyError::NoStations { found: 7, pads: 6 })));
    let missing: Vec<_> = perfect(&plan).into_iter().skip(1).collect();
    assert!(matches!(placed(&plan, &written(&missing)), Err(SurveyError::NoStations { found: 5, pads: 6 })));
}

#[test]
fn check_points_farther_than_a_quarter_of_the_pitch_from_their_pads_are_not_matched() {
    let plan = six();
    // One of twelve lies off by d along the rails, so that the mean of all moves by d/12: 11/12 of 300 is 275, of 380 it is 348.
    let off = |d: f64| {
        let mut list = perfect(&plan);
        list[2].1[0] += d;
        placed(&plan, &written(&list))
    };
    assert!(off(300.0).unwrap().said[0].contains("largest misfit 275.0 mm"));
    assert!(matches!(off(380.0), Err(SurveyError::NoStations { found: 6, pads: 6 })));
    assert!(off(-300.0).is_ok() && off(-380.0).is_err());
}

#[test]
fn check_one_rail_alone_runs_the_way_in_which_it_was_read() {
    let plan = six();
    // The instrument stands beyond the far end: all coordinates are negative. The second pad stands 0.4 mm high.
    let mut list: Vec<_> = perfect(&plan).into_iter().filter(|(rail, _)| *rail == 1).collect();
    list.iter_mut().for_each(|(_, p)| *p = [p[0] - 9000.0, 5.0, 0.0]);
    list[1].1[2] = 0.4;
    let highest = |list: &[(usize, [f64; 3])]| {
        // One rail does not show how far the instrument leans about it: its z is taken to be upright.
        let found = placed(&plan, &written(list).replace("gravity", "free")).unwrap();
        let levelled = placed(&plan, &written(list)).unwrap();
        assert_eq!(values(&found, Quantity::Vertical), values(&levelled, Quantity::Vertical));
        let heights = found.readings.iter().filter(|r| r.quantity == Quantity::Vertical);
        heights.max_by(|a, b| a.value.total_cmp(&b.value)).unwrap().x_mm
    };
    assert!((highest(&list) - 1300.0).abs() < 1.0, "{}", highest(&list));
    list.reverse();
    assert!((highest(&list) - 5200.0).abs() < 1.0, "read backwards: {}", highest(&list));
}

#[test]
fn check_a_point_far_off_does_not_turn_the_others_and_rough_rails_count_whole() {
    let plan = six();
    // 4 mm is far beside points that lie within micrometres: the rest is placed as if it were not there.
    let mut list = perfect(&plan);
    list[3].1[2] = 4.0;
    let heights = values(&placed(&plan, &written(&list)).unwrap(), Quantity::Vertical);
    for (i, z) in heights.iter().enumerate() {
        assert!((z - if i == 3 { 4.0 } else { 0.0 }).abs() < 1e-9, "{i}: {z}");
    }
    // Beside points that lie millimetres off it is one of them: least squares through all leave a mean of zero.
    let mut rough = perfect(&plan);
    for (point, z) in rough.iter_mut().zip([0.0, 1.0, -1.0, 1.0, -1.0, 0.0, 1.0, -1.0, 5.0, -1.0, 1.0, -1.0]) {
        point.1[2] = z;
    }
    let heights = values(&placed(&plan, &written(&rough)).unwrap(), Quantity::Vertical);
    assert!(heights.iter().sum::<f64>().abs() < 1e-9 && (heights[8] - (5.0 - 4.0 / 12.0)).abs() < 1e-9, "{heights:?}");
    // The same across.
    let mut wide = perfect(&plan);
    wide[7].1[1] += 4.0;
    let across = values(&placed(&plan, &written(&wide)).unwrap(), Quantity::Lateral);
    assert!((across[7] - 4.0).abs() < 1e-6 && across.iter().enumerate().all(|(i, y)| i == 7 || y.abs() < 1e-6), "{across:?}");
}

/// A head, a heading and the same line for every pad of one rail.
fn rows(plan: &Plan, head: &str, columns: &str, cells: &dyn Fn(usize, f64) -> String) -> String {
    let mut text = format!("{head}{columns}\n");
    for (i, x) in plan.frame.anchors_x_mm.iter().enumerate() {
        let _ = writeln!(text, "{}", cells(i, *x));
    }
    text
}

const WARM: &str =
    "# u_point_mm = 0.01\n# u_gauge_mm = 0.01\n# u_height_mm = 0.01\n# u_level_mm_per_m = 0.01\n# bridge = off\n# frame_c = 30\n";

#[test]
fn check_temperature_is_taken_out_of_what_lies_between_the_rails_and_of_nothing_else() {
    let plan = six();
    // 11.7e-6 x 10 x 2600 = 0.3042 mm.
    let corrected = |head: &str, columns: &str, row: &str| {
        let e = evaluated(&plan, &rows(&plan, head, columns, &|_, x| row.replace('x', &x.to_string())));
        (e.corrected.readings[0].value, e.findings.iter().any(|f| f.what.contains("temperature is not stated")), e.said.join(" "))
    };
    for (columns, row, expected) in [
        ("rail,station,lateral", "B,x,0.3042", 0.0),
        ("rail,station,lateral", "A,x,0.3042", 0.3042),
        ("rail,station,vertical", "B,x,0.3042", 0.3042),
        ("station,gauge", "x,2600.3042", 0.0),
    ] {
        let (value, open, said) = corrected(WARM, columns, row);
        assert!((value - expected).abs() < 1e-9 && !open, "{columns} {row}: {value}");
        assert_eq!(said.contains("span brought to 20 degC"), expected == 0.0, "{columns} {row}: {said}");
        // Nobody asks for a temperature that does nothing.
        let (_, open, _) = corrected(&WARM.replace("# frame_c = 30\n", ""), columns, row);
        assert_eq!(open, expected == 0.0, "{columns} {row}");
    }
}

#[test]
fn check_without_gravity_only_heights_leave_the_other_rails_height_open() {
    let plan = six();
    let free = format!("# z_axis = free\n{WARM}");
    let open = |text: &str| {
        let e = evaluated(&plan, text);
        (e.findings.iter().any(|f| f.what.contains("height of rail B over A cannot be seen")), e.corrected.height_is_seen)
    };
    let columns = |name: &str| format!("rail,station,{name}");
    let vertical = rows(&plan, &free, &columns("vertical"), &|_, x| format!("A,{x},0.1\nB,{x},0.2"));
    assert_eq!(open(&vertical), (true, false));
    let lateral = rows(&plan, &free, &columns("lateral"), &|_, x| format!("A,{x},0.1\nB,{x},0.2"));
    assert_eq!(open(&lateral), (false, true));
    assert_eq!(open(&vertical.replace("# z_axis = free\n", "")), (false, true));
}

#[test]
fn check_a_height_that_is_not_seen_is_drawn_from_the_plan() {
    let plan = plan();
    let high = Installation { height_mm: 0.3, ..Installation::perfect(&plan) };
    let drawn = |head: &str| {
        let e = evaluated(&plan, &points(&plan, &high, STRAIGHT, &format!("{head}{SHARP}"), &mut still()));
        let rest = Installation { height_mm: 0.7, ..Installation::perfect(&plan) };
        e.measured.drawn(rest, &vec![0.0; e.measured.dimension()]).height_mm
    };
    assert!((drawn("# z_axis = gravity\n") - 0.3).abs() < 1e-3, "what was read is no longer drawn");
    assert_eq!(drawn("# z_axis = free\n"), 0.7);
    // Where cross-levels were turned with it, zero height and turned rolls are the rails as they are.
    assert_eq!(drawn("# z_axis = free\n# levels = instrument\n"), 0.0);
}

/// Against gravity a cross-level is what it is, however the instrument that read the points leans.
#[test]
fn check_cross_levels_against_gravity_are_not_turned_with_the_points() {
    let plan = six();
    let rolled = Installation { cross_level_rad: [0.4e-3, -0.2e-3], ..Installation::perfect(&plan) };
    let leaning = Stand { turn: [2e-3, 0.0, 0.3], shift: [0.0; 3] };
    let e = evaluated(&plan, &points(&plan, &rolled, leaning, &format!("# z_axis = free\n{SHARP}"), &mut still()));
    for r in e.corrected.readings.iter().filter(|r| r.quantity == Quantity::CrossLevel) {
        assert!((r.value - rolled.cross_level_rad[r.rail.unwrap()]).abs() < 1e-9, "{r:?}");
    }
}

/// What is common to all readings does not average out over the pads.
#[test]
fn check_scale_and_zero_of_an_instrument_count_once_for_all_pads() {
    let plan = six();
    let head = WARM.replace("frame_c = 30", "frame_c = 20") + "# u_temperature_k = 0\n# u_scale_ppm = 20\n# u_level_zero_mm_per_m = 0.05\n";
    let uncertainty = |columns: &str, row: &str, key: &str| {
        let both = |x: f64| ["A", "B"].map(|rail| row.replace('R', rail).replace('x', &x.to_string())).join("\n");
        let e = evaluated(&plan, &rows(&plan, &head, columns, &|_, x| both(x)));
        get(&checked(&plan, &e), key).uncertainty
    };
    let near = |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 0.02, "{found} against {expected}");
    // 20e-6 x 2600 mm, beside 0.01 mm on each of six pads of both rails.
    near(uncertainty("rail,station,lateral", "R,x,0", "span"), 0.052_f64.hypot(0.01 * (2.0 / 6.0_f64).sqrt()));
    // A slope between the rails has none of it: sum of s^2 at six even pads is 0.7.
    near(uncertainty("rail,station,lateral", "R,x,0", "parallelism"), 0.01 * (2.0 / 0.7_f64).sqrt());
    near(uncertainty("rail,station,vertical", "R,x,0", "height"), 0.01 * (2.0 / 6.0_f64).sqrt());
    for key in ["cross_level_a", "cross_level_b"] {
        near(uncertainty("rail,station,cross_level", "R,x,0", key), 0.05_f64.hypot(0.01 / 6.0_f64.sqrt()));
    }
    near(uncertainty("rail,station,cross_level", "R,x,0", "cross_level_twist_b"), 0.01 / 0.7_f64.sqrt());
}

#[test]
fn check_rails_read_from_lines_of_their_own_show_their_shape_and_not_their_distance() {
    let plan = six();
    let head = format!("# reference = each_rail\n{}", WARM.replace("frame_c = 30", "frame_c = 20"));
    // Each line lies askew by itself; rail B bows by 0.05 mm.
    let of = |x: f64| {
        let s = x / 6500.0 - 0.5;
        let bow = 0.05 * (1.0 - 4.0 * s * s);
        let (a, b) = (0.7 + 0.4 * s, -0.3 - 0.9 * s + bow);
        (format!("A,{x},{a},{a}"), format!(",{},{}", 2600.4 + bow, 0.2 + bow), format!("B,{x},{b},{b}"))
    };
    let whole = |_: usize, x: f64| {
        let (a, between, b) = of(x);
        format!("{a}{between}\n{b},,")
    };
    let list = checked(&plan, &evaluated(&plan, &rows(&plan, &head, "rail,station,lateral,vertical,gauge,height", &whole)));
    // Distances and heights between the rails tell what the lines cannot; the mean of s^2 at six even pads is 0.7 / 6.
    let bow = 0.05 * (1.0 - 4.0 * 0.7 / 6.0);
    assert!((get(&list, "span").value - 0.4 - bow).abs() < 0.01 && (get(&list, "height").value - 0.2 - bow).abs() < 0.01);
    assert!(get(&list, "parallelism").value.abs() < 0.01);
    let lines = rows(&plan, &head, "rail,station,lateral,vertical", &|_, x| format!("{}\n{}", of(x).0, of(x).2));
    let list = checked(&plan, &evaluated(&plan, &lines));
    for key in ["span", "parallelism", "height", "vertical_parallelism"] {
        assert_eq!(get(&list, key).decision.verdict, Conformity::NotSeen, "{key}");
    }
    for direction in ["lateral", "vertical"] {
        let straight = |rail: &str| get(&list, &format!("straightness_{direction}_{rail}")).value;
        assert!((straight("b") - 0.05).abs() < 0.01 && straight("a") < 0.01, "{direction}: {} {}", straight("a"), straight("b"));
    }
}

/// A support is bent from half a block's length before the first block to as much behind the last; between blocks linearly.
#[test]
fn check_a_standing_bridge_bends_what_lies_under_its_blocks() {
    let mut plan = plan();
    // The slide hangs out forwards, so that the front blocks carry more; end A holds its pitch. Blocks at 2750 and 3050 mm, 72 mm long.
    plan.tightening.payload_arm_mm = [50.0, 0.0];
    let at = [2710.0, 2720.0, 2750.0, 2825.0, 3050.0, 3080.0, 3090.0];
    let head = "# u_point_mm = 0.01\n# frame_c = 20\n# bridge = standing\n# bridge_at_mm = 2900\nrail,station,vertical\n";
    let text = at.iter().fold(head.to_string(), |t, x| t + &format!("A,{x},0\n"));
    let lift: Vec<f64> = evaluated(&plan, &text).corrected.readings.iter().map(|r| r.value).collect();
    let (behind, front) = (lift[2], lift[4]);
    assert!(behind > 0.0 && front > 1.2 * behind, "{lift:?}");
    let expected = [0.0, behind, behind, 0.75 * behind + 0.25 * front, front, front, 0.0];
    for (found, expected) in lift.iter().zip(expected) {
        assert!((found - expected).abs() < 1e-12, "{lift:?}");
    }
}

#[test]
fn check_cross_levels_of_one_rail_show_that_rail_alone() {
    let plan = six();
    for (rail, name) in ["a", "b"].iter().enumerate() {
        let e = evaluated(&plan, &rows(&plan, WARM, "rail,station,cross_level", &|_, x| format!("{name},{x},0.3")));
        let list = checked(&plan, &e);
        for (other, side) in ["a", "b"].iter().enumerate() {
            let c = get(&list, &format!("cross_level_{side}"));
            assert_eq!(c.decision.verdict == Conformity::NotSeen, other != rail, "{name}: {side}");
            assert!(other != rail || (c.value - 0.3).abs() < 1e-3);
        }
        let unread: Vec<&str> = e.findings.iter().filter(|f| f.what == "a rail was not read").map(|f| f.place.as_str()).collect();
        assert_eq!(unread, [["rail B"], ["rail A"]][rail]);
    }
}

#[test]
fn check_a_rail_is_told_by_its_own_readings_or_by_the_other_rails_and_the_distance() {
    let plan = six();
    let tells = |columns: &str, row: &str| {
        let e = evaluated(&plan, &rows(&plan, WARM, columns, &|_, x| row.replace('x', &x.to_string())));
        let told = [0, 1].map(|rail| e.measured.tells(LATERAL, rail));
        assert_eq!(e.findings.iter().any(|f| f.what == "which rail is out is not told"), told == [false; 2]);
        told
    };
    assert_eq!(tells("rail,station,lateral", "A,x,0"), [true, false]);
    assert_eq!(tells("rail,station,lateral", "B,x,0"), [false, true]);
    assert_eq!(tells("rail,station,lateral,gauge", "A,x,0,2600"), [true; 2]);
    assert_eq!(tells("rail,station,lateral,gauge", "B,x,0,2600"), [true; 2]);
    assert_eq!(tells("station,gauge", "x,2600"), [false; 2]);
}

/// Rails that were moved across by a slope are a yaw of both, which acts as a skew: B ahead of A by yaw x span.
#[test]
fn check_moving_both_rails_askew_is_counted_though_their_own_axes_do_not_show_it() {
    let plan = rigid_plan();
    let perfect = Installation::perfect(&plan);
    let e = evaluated(&plan, &points(&plan, &perfect, STRAIGHT, &format!("# z_axis = gravity\n{SHARP}"), &mut still()));
    let slope: Vec<f64> = plan.frame.anchors_x_mm.iter().map(|x| 1.3 * plan.frame.s(*x)).collect();
    let level = || [vec![0.0; slope.len()], vec![0.0; slope.len()]];
    let moved = e.measured.moved(&[[slope.clone(), slope.clone()], level(), level()]).mean(perfect.clone());
    for residual in &moved.residual {
        for (found, expected) in residual[LATERAL].iter().zip(&slope) {
            assert!((found - expected).abs() < 1e-3, "{found} against {expected}");
        }
    }
    let skew = 1.3 / plan.frame.length_mm() * plan.frame.span_mm;
    same_loads(&plan, &moved, &Installation { drive_offset_mm: [-skew / 2.0, skew / 2.0], ..perfect }, 5e-3);
    // One rail alone opens the span from end to end as well.
    let one = e.measured.moved(&[[vec![0.0; slope.len()], slope.clone()], level(), level()]).mean(Installation::perfect(&plan));
    assert!((one.parallelism_mm - 1.3).abs() < 1e-3 && one.residual[0][LATERAL].iter().all(|v| v.abs() < 1e-3));
}

fn set(plan: &mut Plan, kind: ErrorKind, lower: f64, upper: f64) {
    let source = plan.errors.sources.iter_mut().find(|s| s.kind == kind).unwrap();
    (source.lower, source.upper) = (lower, upper);
}

#[test]
fn check_limits_of_the_panels_by_hand() {
    let mut plan = six();
    set(&mut plan, ErrorKind::Span, -0.5, 1.0);
    set(&mut plan, ErrorKind::Parallelism, -0.6, 0.2);
    set(&mut plan, ErrorKind::Height, -0.4, 0.4);
    set(&mut plan, ErrorKind::VerticalParallelism, -0.2, 0.8);
    for (rail, (lateral, vertical)) in [(0.10, 0.30), (0.16, 0.20)].into_iter().enumerate() {
        set(&mut plan, ErrorKind::StraightnessLateral(rail), 0.0, lateral);
        set(&mut plan, ErrorKind::StraightnessVertical(rail), 0.0, vertical);
    }
    let text = points(&plan, &Installation::perfect(&plan), STRAIGHT, &format!("# z_axis = gravity\n{SHARP}"), &mut still());
    let e = evaluated(&plan, &text);
    let shift = |by: f64| [vec![0.0; 6], vec![by; 6]];
    let after = e.measured.moved(&[shift(0.3), shift(-0.2), shift(0.0)]);
    let list = panels(&plan, &Rails::new(&plan).unwrap(), &e.corrected, &e.measured, Some(&after));
    let limits = |i: usize| list[i].limits.as_ref().unwrap();
    let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-12, "{found} against {expected}");
    // The drift may be used up either way, by half of the farther limit at each end; the middle of five bays is the 11th of 21.
    for (panel, low, high, drift) in [(0, -0.5, 1.0, 0.6), (1, -0.4, 0.4, 0.8)] {
        for (at, share) in [(0, 0.5), (4, 0.3), (10, 0.0), (20, 0.5)] {
            near(limits(panel)[0][at], low - share * drift);
            near(limits(panel)[1][at], high + share * drift);
        }
    }
    // Rail B moved as a whole shows between the rails and not in its shape; each pad gives one reading of the difference.
    for (panel, moved) in [(0, 0.3), (1, -0.2), (2, 0.0), (3, 0.0)] {
        for curve in &list[panel].curves {
            assert!(curve.value.iter().zip(curve.after.as_ref().unwrap()).all(|(now, after)| (after - now - moved).abs() < 1e-9));
            let stations: Vec<f64> = curve.readings.iter().map(|(x, _)| x.round()).collect();
            assert_eq!(stations, plan.frame.anchors_x_mm);
            assert!(curve.readings.iter().all(|(_, v)| v.abs() < 1e-6));
        }
    }
    // One zone for both rails: the narrower.
    for (panel, zone) in [(2, 0.10), (3, 0.20)] {
        assert!(limits(panel)[0].iter().all(|v| *v == -zone / 2.0) && limits(panel)[1].iter().all(|v| *v == zone / 2.0));
    }
    assert!(list.iter().all(|p| p.x_mm.len() == 21 && p.at_pad.iter().filter(|a| **a).count() == 6));
}

/// Heights at every pad of the rails that are read, with an uncertainty of their own.
fn heights(plan: &Plan, rails: &[usize], of: &dyn Fn(usize, usize) -> (f64, f64)) -> Measured {
    let text = rows(plan, "# frame_c = 20\n# bridge = off\n", "rail,station,vertical,u", &|i, x| {
        let line = |rail: &usize| format!("{},{x},{},{}", ["A", "B"][*rail], of(*rail, i).0, of(*rail, i).1);
        rails.iter().map(line).collect::<Vec<_>>().join("\n")
    });
    evaluated(plan, &text).measured
}

#[test]
fn check_pads_that_moved_are_named_the_surest_first() {
    let plan = plan();
    let rails = Rails::new(&plan).unwrap();
    let first = heights(&plan, &[0, 1], &|_, _| (0.0, 0.01));
    // Pad 6 by more than pad 3, but read with five times its uncertainty; pad 9 is the surest.
    let later = heights(&plan, &[0, 1], &|rail, i| match (rail, i) {
        (1, 2) => (-0.25, 0.01),
        (1, 5) => (0.5, 0.05),
        (1, 8) => (-0.6, 0.01),
        _ => (0.0, 0.01),
    });
    let list = pads_moved(&plan, &rails, &first, &later);
    let sure: Vec<f64> = list.iter().map(|p| p.by.abs() / p.uncertainty).collect();
    assert!(sure.is_sorted_by(|a, b| a >= b) && sure.iter().all(|s| *s > 3.5), "{list:?}");
    let order: Vec<usize> = list.iter().map(|p| p.pad).filter(|p| [3, 6, 9].contains(p)).collect();
    assert_eq!(order, [9, 3, 6], "{list:?}");
    assert!(list.iter().all(|p| p.rail == 1 && p.direction == VERTICAL) && list[0].by < -0.4, "{list:?}");
    assert!(pads_moved(&plan, &rails, &first, &first).is_empty());
    // A rail that was lifted and tilted as a whole is a matter of the lines: no pad moved against it.
    let tilted = heights(&plan, &[0, 1], &|rail, i| (rail as f64 * (0.5 + 0.06 * i as f64), 0.01));
    assert!(pads_moved(&plan, &rails, &first, &tilted).is_empty());
}

#[test]
fn check_a_rail_that_was_not_read_again_has_not_moved() {
    let plan = plan();
    let rails = Rails::new(&plan).unwrap();
    let low = |rail: usize, i: usize| if (rail, i) == (1, 7) { (-0.8, 0.01) } else { (0.0, 0.01) };
    let (both, one) = (heights(&plan, &[0, 1], &low), heights(&plan, &[0], &low));
    assert!(pads_moved(&plan, &rails, &both, &one).is_empty());
    assert!(pads_moved(&plan, &rails, &one, &both).is_empty());
}

/// Rail B leaves its line by 1.4 mm and the gauge says the opposite: by hand neither span nor parallelism is then known to better
/// than about what they are apart, and nothing passes on it. With a gauge that fits, limits are decided.
#[test]
fn check_readings_that_contradict_each_other_decide_nothing() {
    let plan = plan();
    let ends = (plan.frame.anchors_x_mm[0], *plan.frame.anchors_x_mm.last().unwrap());
    let text = |sign: f64| {
        let head = "# u_point_mm = 0.02\n# u_gauge_mm = 0.03\n# frame_c = 20\n# bridge = off\nrail,station,lateral,vertical,gauge\n";
        plan.frame.anchors_x_mm.iter().fold(head.to_string(), |t, x| {
            let off_mm = -0.7 + 1.4 * (x - ends.0) / (ends.1 - ends.0);
            t + &format!("A,{x},0,0,{}\nB,{x},{off_mm},0,\n", plan.frame.span_mm + sign * off_mm)
        })
    };
    let of = |sign: f64| {
        let e = evaluated(&plan, &text(sign));
        let checks = checked(&plan, &e);
        (get(&checks, "parallelism").clone(), about_readings(&e.findings).len(), e.measured.apart)
    };
    let (fits, doubts, apart) = of(1.0);
    assert_eq!((doubts, apart, fits.decision.verdict), (0, [1.0; 3], Conformity::Fail));
    assert!((fits.value - 1.4).abs() < 0.05 && fits.uncertainty < 0.05, "{fits:?}");
    let (apart_from, doubts, apart) = of(-1.0);
    assert!(doubts == 1 && apart[LATERAL] > 5.0 && apart[VERTICAL] == 1.0, "{apart:?}");
    assert_eq!(apart_from.decision.verdict, Conformity::NotDecidable);
    assert!(apart_from.uncertainty > 0.2, "{apart_from:?}");
}
