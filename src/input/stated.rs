//! A stated installation: every error with its value, for tracing by hand.

use super::catalogue::INSTALLATION;
use super::document::{Document, counted};
use super::plan::{Plan, Thermal};
use super::problem::Problems;
use super::view::View;
use crate::units::{MRAD, SIDES};

/// One installation of the machine: the value of every error (mm, rad; pairs are rail A, rail B).
#[derive(Debug, Clone, PartialEq)]
pub struct Installation {
    /// Span offset g0.
    pub span_mm: f64,
    /// Horizontal parallelism g1.
    pub parallelism_mm: f64,
    /// Height offset h0.
    pub height_mm: f64,
    /// Vertical parallelism h1.
    pub vertical_parallelism_mm: f64,
    /// Roll offset p0 of each rail.
    pub cross_level_rad: [f64; 2],
    /// Roll twist p1 of each rail.
    pub cross_level_twist_rad: [f64; 2],
    /// Residual lateral, vertical and roll profile of each rail at the anchors; empty for none.
    pub residual: [[Vec<f64>; 3]; 2],
    /// Lateral and vertical place error of each block of each truck.
    pub block_offset_mm: [Vec<[f64; 2]>; 2],
    /// Made length error of the bridge.
    pub bridge_length_mm: f64,
    /// Twist of the bridge.
    pub bridge_twist_rad: f64,
    /// Tilt of each end face.
    pub end_tilt_rad: [f64; 2],
    /// Squareness of each end.
    pub end_squareness_rad: [f64; 2],
    /// Drive positions s_A, s_B.
    pub drive_offset_mm: [f64; 2],
    /// Seat offsets of each joint at each end.
    pub seats: [Vec<[f64; 6]>; 2],
}

/// An installation file: the errors, and the one state of service if it names one.
#[derive(Debug, Clone)]
pub struct Stated {
    /// The errors.
    pub installation: Installation,
    /// Temperatures, if the file gives them.
    pub service: Option<Thermal>,
}

impl Installation {
    /// The perfect installation of a plan: no error at all.
    #[must_use]
    pub fn perfect(plan: &Plan) -> Self {
        Self {
            span_mm: 0.0,
            parallelism_mm: 0.0,
            height_mm: 0.0,
            vertical_parallelism_mm: 0.0,
            cross_level_rad: [0.0; 2],
            cross_level_twist_rad: [0.0; 2],
            residual: Default::default(),
            block_offset_mm: [0, 1].map(|r: usize| vec![[0.0; 2]; plan.trucks[r].blocks.len()]),
            bridge_length_mm: 0.0,
            bridge_twist_rad: 0.0,
            end_tilt_rad: [0.0; 2],
            end_squareness_rad: [0.0; 2],
            drive_offset_mm: [0.0; 2],
            seats: plan.joints_at_most().map(|n| vec![[0.0; 6]; n]),
        }
    }
}

/// Reads a stated installation of `plan`; `file` is its name for messages.
///
/// # Errors
/// Every problem of the file with its place.
pub fn read_installation(text: &str, file: &str, plan: &Plan) -> Result<Stated, Problems> {
    let document = Document::parse(text, file, INSTALLATION)?;
    let root = document.root(INSTALLATION);
    let mut installation = Installation::perfect(plan);
    let mrad = |name: &str| root.number(name) * MRAD;
    let pair = |name: &str| SIDES.map(|s| root.number(&name.replace('#', s)));
    let pair_mrad = |name: &str| pair(name).map(|v| v * MRAD);
    installation.span_mm = root.number("span_mm");
    installation.parallelism_mm = root.number("parallelism_mm");
    installation.height_mm = root.number("height_mm");
    installation.vertical_parallelism_mm = root.number("vertical_parallelism_mm");
    installation.cross_level_rad = pair_mrad("cross_level_#_mrad");
    installation.cross_level_twist_rad = pair_mrad("cross_level_twist_#_mrad");
    installation.bridge_length_mm = root.number("bridge_length_mm");
    installation.bridge_twist_rad = mrad("bridge_twist_mrad");
    installation.end_tilt_rad = pair_mrad("end_tilt_#_mrad");
    installation.end_squareness_rad = pair_mrad("end_squareness_#_mrad");
    installation.drive_offset_mm = pair("skew_#_mm");
    for (rail, side) in SIDES.iter().enumerate() {
        let anchors = plan.frame.anchors_x_mm.len();
        let profile = |name: &str, factor: f64| list(&root, &format!("{name}_{side}_{}", unit(factor)), anchors, "anchor", factor);
        installation.residual[rail] = [profile("lateral", 1.0), profile("vertical", 1.0), profile("roll", MRAD)];
        let blocks = plan.trucks[rail].blocks.len();
        for (i, direction) in ["lateral", "vertical"].iter().enumerate() {
            let offsets = list(&root, &format!("block_{direction}_{side}_mm"), blocks, "block", 1.0);
            for (block, offset) in installation.block_offset_mm[rail].iter_mut().zip(offsets) {
                block[i] = offset;
            }
        }
    }
    let mut seen = Vec::new();
    for seat in root.tables("seat").into_iter().filter(|_| root.is_sound("seat")) {
        let which = (seat.text("end"), seat.whole("number"));
        if seen.contains(&which) {
            seat.problem("number", "this joint's seat stands twice", "Put offset and angle of one joint into one [[seat]].");
        }
        seen.push(which);
        set_seat(&seat, &mut installation);
    }
    let service = root.table("service");
    let thermal = Thermal {
        bridge_dt_k: service.number("bridge_dt_k"),
        frame_dt_k: service.number("frame_dt_k"),
        top_hotter_k: service.number("top_hotter_k"),
    };
    document.verdict()?;
    Ok(Stated { installation, service: service.is_there().then_some(thermal) })
}

fn unit(factor: f64) -> &'static str {
    if factor == MRAD { "mrad" } else { "mm" }
}

fn list(root: &View<'_>, name: &str, length: usize, of: &str, factor: f64) -> Vec<f64> {
    let Some(list) = root.numbers(name) else { return Vec::new() };
    if list.len() != length {
        root.problem(
            name,
            &format!("this list holds {}, but the plan has {}", counted(list.len(), "number"), counted(length, of)),
            "Give one number for each, in the plan's order.",
        );
    }
    list.into_iter().map(|v| v * factor).collect()
}

fn set_seat(seat: &View<'_>, installation: &mut Installation) {
    let end = usize::from(seat.text("end") == "b");
    let number = seat.whole("number");
    let (offset, angle): ([f64; 3], [f64; 3]) = (seat.vector("offset_mm"), seat.vector("angle_mrad"));
    let joints = &mut installation.seats[end];
    match usize::try_from(number).ok().and_then(|n| n.checked_sub(1)).and_then(|i| joints.get_mut(i)) {
        Some(joint) => *joint = std::array::from_fn(|i| if i < 3 { offset[i] } else { angle[i - 3] * MRAD }),
        None => seat.problem("number", "there is no such joint at this end", "Joints are numbered from 1 in the order of the arrangement."),
    }
}
