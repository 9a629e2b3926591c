//! The parts of a plan, each from its table: trucks, blocks, bridge, joints, duty, errors.

use super::document::counted;
use super::fit::figure;
use super::plan::{Arrangement, BlockPlace, Bridge, Carrier, Component, Drive, DriveKind, Extra, Joint, Law, LoadCase, Support, Truck};
use super::toml_words::NAMES;
use super::unseen::is_unseen;
use super::view::View;
use crate::units::{COMPONENTS, MRAD, N_M, N_M_PER_MRAD, N_PER_UM};

/// Checks that the shares of a list add up to 1 and returns their sum.
pub(super) fn check_shares(list: &[View<'_>], key: &str) -> f64 {
    let total: f64 = list.iter().map(|item| item.number(key)).sum();
    if list.iter().all(|item| item.is_sound(key))
        && (total - 1.0).abs() > 1e-3
        && let Some(last) = list.last()
    {
        let all: Vec<String> = list.iter().map(|item| figure(item.number(key))).collect();
        let what = format!("the shares add up to {}, not to 1", figure(total));
        last.problem(key, &what, &format!("All of them: {}. Correct one; 0.001 of rounding is allowed.", all.join(", ")));
    }
    total
}

pub(super) fn truck(table: &View<'_>) -> Truck {
    let blocks: Vec<BlockPlace> =
        table.tables("block").iter().map(|b| BlockPlace { x_mm: b.number("x_mm"), lateral_mm: b.number("lateral_mm") }).collect();
    if table.is_there() && table.has("block") && !(1..=64).contains(&blocks.len()) {
        table.problem("block", &format!("this list holds {}", counted(blocks.len(), "block")), "1 to 64 are possible.");
    }
    for (i, block) in blocks.iter().enumerate() {
        if let Some(first) = blocks[..i.min(64)].iter().position(|b| b == block) {
            table.problem(
                "block",
                &format!("blocks {} and {} stand in one place", first + 1, i + 1),
                "Give each its own x_mm and lateral_mm.",
            );
            break;
        }
    }
    Truck {
        blocks,
        mass_kg: table.number("mass_kg"),
        centre_mm: table.vector("centre_mm"),
        bridge_axis_height_mm: table.number("bridge_axis_height_mm"),
    }
}

pub(super) fn supports(root: &View<'_>) -> [Support; 2] {
    let one = |table: View<'_>| {
        if !table.is_there() {
            return None;
        }
        Some(Support {
            stiffness: [
                table.number("lateral_n_per_um") * N_PER_UM,
                table.number("vertical_n_per_um") * N_PER_UM,
                table.number("roll_n_m_per_mrad") * N_M_PER_MRAD,
            ],
        })
    };
    let a = one(root.table("support")).unwrap_or(Support { stiffness: [f64::INFINITY; 3] });
    [a, one(root.table("support_b")).unwrap_or(a)]
}

pub(super) fn bridge(table: &View<'_>) -> Bridge {
    let (section, ready) = (table.table("section"), table.table("stiffness"));
    if section.is_there() == ready.is_there() && table.is_there() {
        table.problem("", "the beam must be given once", "Either [bridge.section] or [bridge.stiffness].");
    }
    let rigid_if_absent = |value: Option<f64>| value.unwrap_or(f64::INFINITY);
    let [ea_n, ei_vertical_n_mm2, ei_lateral_n_mm2, gj_n_mm2, gas_vertical_n, gas_lateral_n] = if section.is_there() {
        let (e, g) = (section.number("e_mpa"), section.number("g_mpa"));
        [
            e * section.number("area_mm2"),
            e * section.number("i_vertical_mm4"),
            e * section.number("i_lateral_mm4"),
            g * section.number("j_mm4"),
            rigid_if_absent(section.optional("shear_area_vertical_mm2").map(|a| g * a)),
            rigid_if_absent(section.optional("shear_area_lateral_mm2").map(|a| g * a)),
        ]
    } else {
        let m2 = |name: &str| ready.number(name) * 1e6;
        [
            ready.number("ea_n"),
            m2("ei_vertical_n_m2"),
            m2("ei_lateral_n_m2"),
            m2("gj_n_m2"),
            rigid_if_absent(ready.optional("shear_vertical_n")),
            rigid_if_absent(ready.optional("shear_lateral_n")),
        ]
    };
    Bridge {
        ea_n,
        ei_vertical_n_mm2,
        ei_lateral_n_mm2,
        gj_n_mm2,
        gas_vertical_n,
        gas_lateral_n,
        mass_kg: table.number("mass_kg"),
        expansion_per_k: table.number("expansion_per_k"),
        height_mm: table.optional("height_mm"),
    }
}

pub(super) fn drive(table: &View<'_>) -> Drive {
    let motor = usize::from(table.text("motor_at") == "b");
    let kind = match table.text("kind") {
        "one" => DriveKind::One(motor),
        "shaft" => {
            let (Some(torsion), Some(radius)) = (table.optional("shaft_n_m_per_mrad"), table.optional("pinion_radius_mm")) else {
                table.problem(
                    "kind",
                    "the shaft's torsion stiffness or pinion radius is missing",
                    "Give shaft_n_m_per_mrad and pinion_radius_mm.",
                );
                return Drive { kind: DriveKind::Two, stiffness_n_per_mm: 0.0, height_mm: 0.0, lateral_mm: [0.0; 2] };
            };
            // Thrust F at the far pinion is torque F r; the shaft yields F r / k, which is r F r / k along the rail.
            DriveKind::Shaft { motor, compliance_mm_per_n: radius * radius / (torsion * N_M_PER_MRAD) }
        }
        _ => DriveKind::Two,
    };
    Drive {
        kind,
        stiffness_n_per_mm: table.number("stiffness_n_per_um") * N_PER_UM,
        height_mm: table.number("height_mm"),
        lateral_mm: [table.number("lateral_a_mm"), table.number("lateral_b_mm")],
    }
}

pub(super) fn duty(root: &View<'_>, span_mm: f64) -> Vec<LoadCase> {
    let tables = root.tables("duty");
    let total = if tables.is_empty() {
        if root.has("duty") {
            root.problem("duty", "there is no load case", "Give one [[duty]] at least.");
        }
        1.0
    } else {
        check_shares(&tables, "share")
    };
    let everywhere: Vec<Extra> = root.tables("extra").iter().map(|t| extra(t, span_mm)).collect();
    tables.iter().map(|t| load_case(t, total, span_mm, &everywhere)).collect()
}

fn extra(t: &View<'_>, span_mm: f64) -> Extra {
    let carrier = match t.text("on") {
        "truck_a" => Carrier::Truck(0),
        "truck_b" => Carrier::Truck(1),
        _ => Carrier::Bridge,
    };
    let place_mm: [f64; 3] = t.vector("place_mm");
    if carrier == Carrier::Bridge && !(0.0..=span_mm).contains(&place_mm[1]) && place_mm[1].is_finite() {
        t.problem("place_mm", "this point lies beyond the bridge", &format!("Its y must lie between 0 and span_mm = {}.", figure(span_mm)));
    }
    Extra { carrier, place_mm, mass_kg: t.number("mass_kg"), force_n: t.vector("force_n") }
}

fn load_case(table: &View<'_>, total_share: f64, span_mm: f64, everywhere: &[Extra]) -> LoadCase {
    let payload_y_mm = table.number("payload_y_mm");
    if payload_y_mm > span_mm {
        table.problem(
            "payload_y_mm",
            "the payload stands beyond rail B",
            &format!("It must lie between 0 and span_mm = {}.", figure(span_mm)),
        );
    }
    let own = table.tables("extra");
    LoadCase {
        name: table.text("name").into(),
        share: table.number("share") / total_share,
        payload_kg: table.number("payload_kg"),
        payload_y_mm,
        payload_arm_mm: table.vector("payload_arm_mm"),
        acceleration_m_per_s2: table.vector("acceleration_m_per_s2"),
        extras: everywhere.iter().cloned().chain(own.iter().map(|t| extra(t, span_mm))).collect(),
    }
}

pub(super) fn arrangements(root: &View<'_>) -> Vec<Arrangement> {
    let kinds = root.table("joint");
    let known = kinds.names();
    let table = root.table("arrangement");
    if root.has("arrangement") && table.names().is_empty() {
        root.problem("arrangement", "there is no arrangement", "Give one [arrangement.NAME] at least; two to compare.");
    }
    for (what, name) in known.iter().map(|n| (&kinds, *n)).chain(table.names().into_iter().map(|n| (&table, n))) {
        let fits = |c: char| !is_unseen(c) && !r#"/\:*?"<>|"#.contains(c);
        if name.is_empty() {
            what.problem("", "a name is empty", NAMES);
        } else if name.chars().count() > 60 || !name.chars().all(fits) {
            what.problem(name, "this name cannot be used", NAMES);
        }
    }
    for name in &known {
        components(&kinds.table(name), true);
    }
    let joint = |t: &View<'_>| {
        let name = t.text("joint");
        if !known.contains(&name) {
            t.unknown_name("joint", "there is no such joint", &known);
        }
        Joint {
            name: name.into(),
            place_mm: [t.number("x_mm"), t.number("y_mm"), t.number("z_mm")],
            components: components(&kinds.table(name), false),
        }
    };
    let end = |t: &View<'_>, name: &str| {
        let joints: Vec<Joint> = t.tables(name).iter().map(joint).collect();
        if t.has(name) && !(1..=16).contains(&joints.len()) {
            t.problem(name, &format!("this list holds {}", counted(joints.len(), "joint")), "1 to 16 are possible.");
        }
        joints
    };
    let one = |name: &&str| {
        let t = table.table(name);
        Arrangement { name: (*name).into(), ends: ["end_a", "end_b"].map(|e| end(&t, e)) }
    };
    table.names().iter().map(one).collect()
}

fn components(table: &View<'_>, report: bool) -> [Component; 6] {
    std::array::from_fn(|i| component(&table.table(COMPONENTS[i]), i >= 3, report))
}

fn component(table: &View<'_>, turn: bool, report: bool) -> Component {
    let (k_unit, k_factor) = if turn { ("n_m_per_mrad", N_M_PER_MRAD) } else { ("n_per_um", N_PER_UM) };
    let (way, way_factor, drag, drag_factor) = if turn { ("mrad", MRAD, "drag_n_m", N_M) } else { ("mm", 1.0, "drag_n", 1.0) };
    let [stiffness, slide, stop] = ["stiffness", "slide", "stop"].map(|n| format!("{n}_{k_unit}"));
    let [travel, take_up] = ["travel", "take_up"].map(|n| format!("{n}_{way}"));
    let get = |name: &str| table.number(name);
    let wanted: &[&str] = match table.text("law") {
        "elastic" => &[&stiffness],
        "float" => &[&travel, drag, &slide, &stop],
        _ => &[],
    };
    if report && ["elastic", "free", "float"].contains(&table.text("law")) {
        for name in wanted.iter().filter(|n| !table.has(n)) {
            table.problem(
                "law",
                &format!("{name} is missing"),
                &format!("A component with law \"{}\" needs {}.", table.text("law"), wanted.join(", ")),
            );
        }
        for name in table.names().into_iter().filter(|n| *n != "law" && *n != take_up && !wanted.contains(n)) {
            table.problem(name, &format!("it does not belong to law \"{}\"", table.text("law")), "Take it out, or change the law.");
        }
        if table.text("law") == "free" && get(&take_up) > 0.0 {
            table.problem(&take_up, "a free component has nothing to take up", "Take it out, or change the law.");
        }
        if table.text("law") == "float" && get(&travel) == 0.0 {
            let advice = format!("Write law = \"elastic\" with {stiffness} = the stop's stiffness, or give it its travel.");
            table.problem(&travel, "a float without travel stands on its stop: it is a spring", &advice);
        }
        if table.text("law") == "float" && get(drag) > 0.0 && get(&slide) == 0.0 {
            table.problem(
                &slide,
                "a float with drag needs a stiffness before it slides",
                "Drag over this stiffness is the way it gives before sliding: 1 to 50 N/um.",
            );
        }
    }
    let law = match table.text("law") {
        "elastic" => Law::Elastic { k: get(&stiffness) * k_factor },
        "float" => Law::Float {
            travel: get(&travel) * way_factor,
            drag: get(drag) * drag_factor,
            k_slide: get(&slide) * k_factor,
            k_stop: get(&stop) * k_factor,
        },
        _ => Law::Free,
    };
    Component { law, take_up: get(&take_up) * way_factor }
}
