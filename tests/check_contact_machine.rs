//! Machines with contact-level blocks: convergence, limits, symmetry, tightening, life row by row.

use crate::common;

use common::{
    close, plan,
    simple::{Simple, hinge, spring},
};
use railtrue::bearing::{row_life_km, row_rating_n, system_life_km};
use railtrue::contact::{RowBlock, Vector5};
use railtrue::draw::{Draws, run};
use railtrue::evaluate::{Evaluator, ServiceState, Work};
use railtrue::input::plan::{Level, Thermal};
use railtrue::input::{Installation, Plan, read_plan};
use railtrue::structure::{Acting, Carried, Drag, FloatMap, FloatWork, Machine, Situation, TakenUp, Tightener, Vector24};
use railtrue::study::{Effort, worst_case};

/// The demo's machine with its blocks at the contact level.
fn demo() -> Plan {
    let mut plan = read_plan(include_str!("../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
    plan.block.level = Level::Contact;
    plan
}

/// The simple machine with rows; `more` goes into its text.
fn simple(machine: &Simple) -> Plan {
    let rows = "[block.contact]\narrangement = \"o\"\nballs_per_row = 14\nball_mm = 4\npitch_mm = 4.3\nrow_lateral_mm = 12\nrow_height_mm = 5\n[bridge]\n";
    plan(&machine.text().replacen("[bridge]\n", rows, 1).replace("element = \"ball\"", "element = \"ball\"\nlevel = \"contact\""))
}

fn situation(station_x_mm: f64, drag: Drag) -> Situation {
    Situation { station_x_mm, case: 0, thermal: Thermal::default(), skew_mm: 0.0, drag }
}

#[test]
fn check_ten_thousand_random_installations_converge() {
    // Tolerances up to eight times the plan's: floats on their stops, blocks that lift. From a start at zero each time.
    let mut plan = demo();
    for source in &mut plan.errors.sources {
        (source.lower, source.upper) = (8.0 * source.lower, 8.0 * source.upper);
    }
    let machines: Vec<Machine<'_>> = (0..2).map(|a| Machine::new(&plan, a).unwrap()).collect();
    let draws = Draws::new(&plan, machines[0].rails());
    let results = run(
        0,
        10_000,
        3,
        || (),
        |(), i, rng| {
            let installation = draws.draw(rng);
            let machine = &machines[(i % 2) as usize];
            let station = 250.0 + 6000.0 * ((i / 2) % 21) as f64 / 20.0;
            let drag = [Drag::Law, Drag::Plus, Drag::Minus][(i % 3) as usize];
            let r = machine.respond(&installation, &TakenUp::default(), &Situation { case: (i % 4) as usize, ..situation(station, drag) });
            let r = r.unwrap_or_else(|e| panic!("installation {i}: {e}"));
            let two_rows_free = r.block_displacements.iter().any(|d| {
                let rows = machine.rows().unwrap().row_loads(&Vector5::from(*d));
                rows.iter().filter(|row| row.approach_over_preload < 0.0).count() >= 2
            });
            let stopped = r.joints.iter().any(|j| j.travel_used.is_some_and(|u| u > 1.0));
            (r.iterations, r.residual, two_rows_free, stopped)
        },
    );
    assert_eq!(results.len(), 10_000);
    let (most, worst) = results.iter().fold((0, 0.0_f64), |(n, x), r| (n.max(r.0), x.max(r.1)));
    let (lifted, stopped) = (results.iter().filter(|r| r.2).count(), results.iter().filter(|r| r.3).count());
    let mean = results.iter().map(|r| r.0).sum::<usize>() as f64 / 1e4;
    assert!(most <= 60 && mean < 15.0, "{most} steps at most, {mean} on average");
    assert!(worst < 1e-9, "residual {worst}");
    assert!(lifted > 100 && stopped > 1000, "{lifted} lifted, {stopped} on stops: the test does not reach what it is for");
}

#[test]
fn check_the_pose_is_the_least_energy_and_its_gradient_vanishes() {
    let plan = demo();
    for (a, drag) in [(0, Drag::Law), (1, Drag::Law)] {
        let machine = Machine::new(&plan, a).unwrap();
        let draws = Draws::new(&plan, machine.rails());
        let installation = run(5, 1, 7, || (), |(), _, rng| draws.draw(rng)).remove(0);
        let s = situation(1750.0, drag);
        let r = machine.respond(&installation, &TakenUp::default(), &s).unwrap();
        let energy = |pose: &Vector24| machine.potential_n_mm(&installation, &TakenUp::default(), &s, pose);
        let least = energy(&r.pose);
        for i in 0..24 {
            let step = if i % 6 < 3 { 2e-4 } else { 2e-6 };
            let (mut up, mut down) = (r.pose, r.pose);
            up[i] += step;
            down[i] -= step;
            let (up, down) = (energy(&up), energy(&down));
            assert!(up > least && down > least, "freedom {i}");
            // The gradient is nothing beside the curvature's own step.
            assert!((up - down).abs() < 0.02 * (up + down - 2.0 * least), "freedom {i}: {}", up - down);
        }
    }
}

#[test]
fn check_springs_are_the_limit_for_small_loads() {
    // Weightless machine: loads come from the error alone. Opposed contacts cancel the second order of one motion, but not
    // that of two together, so the relative difference falls at least with the error.
    let machine = Simple::default();
    let rows = simple(&machine);
    let springs = rows.on_springs().unwrap();
    assert_eq!(springs.block.level, Level::Linear);
    let (on_rows, on_springs) = (Machine::new(&rows, 0).unwrap(), Machine::new(&springs, 0).unwrap());
    let difference = |scale: f64| {
        let installation = Installation { span_mm: 4e-4 * scale, height_mm: 2e-4 * scale, ..Installation::perfect(&rows) };
        let s = situation(1500.0, Drag::Law);
        let a = on_rows.respond(&installation, &TakenUp::default(), &s).unwrap().block_loads.concat();
        let b = on_springs.respond(&installation, &TakenUp::default(), &s).unwrap().block_loads.concat();
        let largest = b.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        a.iter().zip(&b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max) / largest
    };
    let (whole, half, tenth) = (difference(1.0), difference(0.5), difference(0.1));
    assert!(whole > 1e-4, "{whole}: no difference to shrink");
    assert!(half < 0.505 * whole && tenth < 0.105 * whole, "{whole} {half} {tenth}");
}

#[test]
fn check_mirrored_displacements_give_mirrored_loads() {
    let plan = demo();
    let block = RowBlock::new(plan.block.contact.as_ref().unwrap(), plan.block.preload_n).unwrap();
    // Mirrored in the plane y = 0: y, roll and yaw turn over, and the rows of both sides change places.
    let d = Vector5::new(0.003, -0.005, 2e-4, 3e-4, -4e-4);
    let mirror = Vector5::new(-1.0, 1.0, -1.0, 1.0, -1.0);
    let (a, b) = (block.at(&d), block.at(&d.component_mul(&mirror)));
    close("force", b.force.component_mul(&mirror).as_slice(), a.force.as_slice(), 1e-12);
    close("rows", &b.element_n[..12], &a.element_n[12..24], 1e-12);
    // Mirrored in x = 0: pitch and yaw turn over, elements change ends.
    let ends = Vector5::new(1.0, 1.0, 1.0, -1.0, -1.0);
    let c = block.at(&d.component_mul(&ends));
    close("force", c.force.component_mul(&ends).as_slice(), a.force.as_slice(), 1e-12);
    let reversed: Vec<f64> = c.element_n[..12].iter().rev().copied().collect();
    close("ends", &reversed, &a.element_n[..12], 1e-12);
}

#[test]
fn ref_a_block_pressed_straight_down_lives_as_its_rating_says() {
    // ISO 14728-1: 100 km under C, for balls and rollers, without preload; calibration of Q_c as on the model page.
    for roller in [false, true] {
        let mut machine = Simple::default().text().replace("preload_n = 500", "preload_n = 0");
        let length = if roller { "roller_length_mm = 5\n" } else { "" };
        let rows = format!(
            "[block.contact]\narrangement = \"o\"\nballs_per_row = 14\nball_mm = 4\npitch_mm = 4.3\nangle_deg = 50\nrow_lateral_mm = 12\nrow_height_mm = 5\n{length}[bridge]\n"
        );
        machine = machine.replacen("[bridge]\n", &rows, 1);
        if roller {
            machine = machine.replace("element = \"ball\"", "element = \"roller\"");
        }
        let block = plan(&machine).block;
        let contact = block.contact.unwrap();
        let rows = RowBlock::new(&contact, 0.0).unwrap();
        let down = -rows.rolling.approach_mm(contact.share_n(block.c_n)) / contact.angle_rad.sin();
        let d = Vector5::new(0.0, down, 0.0, 0.0, 0.0);
        assert!((rows.force(&d)[1] / -block.c_n - 1.0).abs() < 1e-12);
        let rating = row_rating_n(&block, &contact);
        let lives = rows.row_loads(&d).map(|r| row_life_km(&block, rating, r.fatigue.powf(1.0 / block.element.life_exponent())));
        let life = system_life_km(block.element, lives);
        assert!((life - 100.0).abs() < 1e-9, "{life}");
        assert_eq!(lives.iter().filter(|l| l.is_infinite()).count(), 2);
    }
}

#[test]
fn check_carried_poses_are_the_cold_ones() {
    // The study carries contacts from station to station; each pose must be what a start from nothing gives.
    let mut plan = demo();
    plan.frame.stations_x_mm = vec![250.0, 1750.0, 4250.0, 6250.0];
    plan.frame.station_share = vec![0.25; 4];
    for a in 0..2 {
        let evaluator = Evaluator::new(Machine::new(&plan, a).unwrap(), plan.study.drag).unwrap();
        let draws = Draws::new(&plan, evaluator.machine.rails());
        let installation = run(1, 1, 11, || (), |(), _, rng| draws.draw(rng)).remove(0);
        let mut work = Work::default();
        let outcome = evaluator.evaluate(&installation, &[ServiceState::still()], &mut work).unwrap();
        let taken_up = evaluator.taken_up(&installation).unwrap();
        let (mut most, mut element) = (0.0_f64, 0.0_f64);
        for &x in &plan.frame.stations_x_mm {
            for case in 0..plan.duty.len() {
                for drag in evaluator.drags() {
                    let s = Situation { case, ..situation(x, drag) };
                    let r = evaluator.machine.respond(&installation, &taken_up, &s).unwrap();
                    for (load, d) in r.block_loads.iter().zip(&r.block_displacements) {
                        most = most.max(railtrue::bearing::EquivalentLoad::of(&plan.block, load).dynamic_n);
                        let rows = evaluator.machine.rows().unwrap().row_loads(&Vector5::from(*d));
                        element = rows.iter().map(|r| r.greatest_n).fold(element, f64::max);
                    }
                }
            }
        }
        assert!((outcome.peak_load_n / most - 1.0).abs() < 1e-8, "{} against {most}", outcome.peak_load_n);
        assert!((outcome.rows.unwrap().peak_element_n / element - 1.0).abs() < 1e-8);
    }
}

#[test]
fn check_tightening_on_contacts_leaves_nothing_where_slots_suffice() {
    // Weightless machine, slots in every component at end A: the misfit goes into them, the blocks keep their preload only.
    let with_slot = |law: String, slot: &str| law.replace(" }", &format!(", {slot} }}"));
    let end = || [spring(500.0), spring(500.0), spring(500.0), hinge(1000.0), hinge(1000.0), hinge(1000.0)];
    let mut machine = Simple { joints: [end(), end()], ..Simple::default() };
    for (axis, law) in machine.joints[0].iter_mut().enumerate() {
        *law = with_slot(law.clone(), if axis < 3 { "take_up_mm = 5" } else { "take_up_mrad = 20" });
    }
    let plan = simple(&machine);
    let on_rows = Machine::new(&plan, 0).unwrap();
    let installation =
        Installation { span_mm: 0.4, height_mm: 0.3, end_tilt_rad: [4e-4, -2e-4], bridge_length_mm: -0.2, ..Installation::perfect(&plan) };
    let tightener = Tightener::new(&on_rows).unwrap().unwrap();
    let taken = tightener.take_up(&on_rows, &installation).unwrap();
    let s = situation(plan.tightening.station_x_mm, Drag::Law);
    let left = on_rows.respond(&installation, &taken, &s).unwrap();
    let before = on_rows.respond(&installation, &TakenUp::default(), &s).unwrap();
    let largest = |r: &railtrue::structure::Response| r.block_loads.concat().iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    assert!(largest(&before) > 200.0, "{}", largest(&before));
    // What stays is the whisper of regularisation: some 1e-8 of the joints' stiffness, N and N mm.
    assert!(largest(&left) < 1.0, "{}", largest(&left));
    // Slots too short for it: the rest stays, and less of it than without any.
    let short = Simple {
        joints: machine.joints.clone().map(|end| end.map(|law| law.replace("take_up_mm = 5", "take_up_mm = 0.05"))),
        ..Simple::default()
    };
    let plan = simple(&short);
    let on_rows = Machine::new(&plan, 0).unwrap();
    let tightener = Tightener::new(&on_rows).unwrap().unwrap();
    let taken = tightener.take_up(&on_rows, &installation).unwrap();
    assert!((taken.slot_used - 1.0).abs() < 1e-9);
    let left = on_rows.respond(&installation, &taken, &s).unwrap();
    assert!(largest(&left) > 20.0 && largest(&left) < largest(&before));
}

#[test]
fn check_worst_case_of_rows_is_attained_and_claims_no_bound() {
    let mut plan = demo();
    plan.frame.stations_x_mm = vec![250.0, 3250.0, 6250.0];
    plan.frame.station_share = vec![1.0 / 3.0; 3];
    plan.seasons.truncate(1);
    plan.duty.truncate(1);
    let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
    let worst = worst_case(&evaluator, Effort::QUICK, &|| false).unwrap();
    assert!(worst.no_bound.is_some() && worst.brackets.iter().all(|b| b.bound.is_none()));
    let life = worst.get("life_km").unwrap();
    let mut work = Work::default();
    let again = evaluator.evaluate(&life.installation, &railtrue::evaluate::service_states(&plan), &mut work).unwrap();
    assert_eq!(again.life_km, life.attained);
    assert!(life.attained < 0.5 * evaluator.perfect().life_km);
}

/// What is carried from station to station is the answer itself where the station is the same; the floats follow the contacts,
/// counted from their seats.
#[test]
fn check_a_pose_that_is_asked_for_again_takes_no_step() {
    let plan = demo();
    let machine = Machine::new(&plan, 1).unwrap();
    let draws = Draws::new(&plan, machine.rails());
    let mut installation = run(1, 1, 11, || (), |(), _, rng| draws.draw(rng)).remove(0);
    installation.seats[1][0][1] = 0.2;
    let s = situation(1750.0, Drag::Law);
    let expected = machine.respond(&installation, &TakenUp::default(), &s).unwrap();
    let float = expected.joints.iter().find(|j| j.travel_used.is_some()).unwrap();
    let offsets = machine.joint_offsets(&installation, &[]);
    let seats = machine.float_offsets(&offsets);
    let load = machine.case_loads(0) + machine.made_forces(&installation, &s.thermal, 0.0) + machine.joint_offset_forces(&offsets);
    let rails = machine.rail_forces(&expected.imposed);
    let map = FloatMap::new(&machine, Drag::Law).unwrap();
    let (mut work, mut carried, mut steps) = (FloatWork::default(), Carried::default(), Vec::new());
    for _ in 0..2 {
        let mut pose = map.linear_pose(&(load + rails + map.offset_forces(&seats)));
        map.correct(&mut pose, &seats, &mut work, || load + rails).unwrap();
        let on_springs = work.delta[0];
        let acting = Acting { load: &load, imposed: &expected.imposed, offsets: &seats };
        machine.settle_contacts(&map, &acting, &mut pose, &mut work, &mut carried).unwrap();
        close("pose", pose.as_slice(), expected.pose.as_slice(), 1e-8);
        assert!((work.delta[0] - float.delta).abs() < 1e-8, "{} against {}", work.delta[0], float.delta);
        assert!((on_springs - float.delta).abs() > 1e-6, "contacts do not move the float: {on_springs}");
        steps.push(carried.steps);
    }
    assert!(steps[0] >= 2 && steps[1] == steps[0], "{steps:?}");
}
