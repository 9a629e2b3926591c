//! `check`: is this plan whole, and does every arrangement hold the machine?

use std::fmt::Write as _;

use super::args::CheckArgs;
use super::machines::load;
use super::{Done, Failure};
use crate::present::class_lines;
use crate::present::numbers::significant;
use crate::study::stiffness_doubts;

pub(super) fn run(args: &CheckArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let mut text = format!(
        "{}: {}\n{} blocks, {} stations, {} load cases, {} seasons, {} sources of error, {} requirements\n",
        loaded.file,
        plan.title,
        plan.block_count(),
        plan.frame.stations_x_mm.len(),
        plan.duty.len(),
        plan.seasons.len(),
        plan.errors.sources.len(),
        plan.requirements.len()
    );
    for machine in loaded.machines()? {
        let chosen = if machine.arrangement == plan.chosen { ", chosen" } else { "" };
        let _ = writeln!(
            text,
            "arrangement \"{}\"{chosen}: {} (condition number {}, weakest: {}), {} floating components",
            machine.name(),
            if machine.holds_without_floats() { "holds every direction" } else { "is held by the floats' own stiffness in some direction" },
            significant(machine.condition, 2),
            machine.weakest,
            machine.float_count()
        );
    }
    text += &class_lines(plan);
    for doubt in stiffness_doubts(plan) {
        let _ = writeln!(text, "doubtful: {}: {}, {}. {}", doubt.what, doubt.place, doubt.amount, doubt.advice);
    }
    text += "No problem was found.\n";
    Ok(Done { text, within: true })
}
