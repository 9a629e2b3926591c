//! `sheet`: an empty survey sheet of a machine.

use super::args::SheetArgs;
use super::machines::load;
use super::{Done, Failure, output};
use crate::present::sheet;
use crate::survey::planned::{instruments, needs};

pub(super) fn run(args: &SheetArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    Ok(Done { text: sheet(plan, &output::quoted(&args.plan), &needs(plan), &instruments(plan)), within: true })
}
