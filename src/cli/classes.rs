//! `classes`: what the tolerance classes of standards mean on this machine, and which would do.

use super::args::ClassesArgs;
use super::machines::load;
use super::{Done, Failure};
use crate::present::classes_table;

pub(super) fn run(args: &ClassesArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    Ok(Done { text: format!("{}\n\n{}", loaded.plan.title, classes_table(&loaded.plan)), within: true })
}
