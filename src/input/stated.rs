//! A stated installation: every error with its value, for tracing by hand.

use super::catalogue::INSTALLATION;
use super::document::{Document, counted};
use super::plan::{Plan, Thermal};
use super::problem::Problems;
use super::view::View;
use crate::errors::{Holds, Installation, entries, seat_entries};

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
        Self::without_errors([0, 1].map(|r: usize| plan.trucks[r].blocks.len()), plan.joints_at_most())
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
    for entry in entries() {
        let numbers = match entry.holds {
            Holds::Number | Holds::Position => vec![root.number(&entry.key)],
            Holds::OnePad => list(&root, &entry.key, plan.frame.anchors_x_mm.len(), "anchor"),
            Holds::OneBlock(side) => list(&root, &entry.key, plan.trucks[side].blocks.len(), "block"),
        };
        entry.set(&numbers, &mut installation);
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

fn list(root: &View<'_>, name: &str, length: usize, of: &str) -> Vec<f64> {
    let Some(list) = root.numbers(name) else { return Vec::new() };
    if list.len() != length {
        root.problem(
            name,
            &format!("this list holds {}, but the plan has {}", counted(list.len(), "number"), counted(length, of)),
            "Give one number for each, in the plan's order.",
        );
    }
    list
}

fn set_seat(seat: &View<'_>, installation: &mut Installation) {
    let end = usize::from(seat.text("end") == "b");
    let number = seat.whole("number");
    let joints = &mut installation.seats[end];
    match usize::try_from(number).ok().and_then(|n| n.checked_sub(1)).and_then(|i| joints.get_mut(i)) {
        Some(joint) => seat_entries().for_each(|entry| entry.set(seat.vector(&entry.key), joint)),
        None => seat.problem("number", "there is no such joint at this end", "Joints are numbered from 1 in the order of the arrangement."),
    }
}
