//! `demo`: writes the shipped example into a folder and studies it.

use super::args::DemoArgs;
use super::machines::load;
use super::study::study;
use super::{Done, Failure, output};

/// The shipped example.
const PLAN: &str = include_str!("../../examples/panel-bridge.toml");

pub(super) fn run(args: &DemoArgs) -> Result<Done, Failure> {
    let path = args.folder.join("panel-bridge.toml");
    let shown = output::shown(&path);
    if path.exists() && output::read(&path)? != PLAN {
        return Err(Failure(format!(
            "{shown}: this plan is there already and is not the shipped one\n    help: Study it with railtrue study {shown}, or give the demo another folder."
        )));
    }
    let mut out = output::folder(&args.folder)?;
    out.put("panel-bridge.toml", PLAN);
    out.finish()?;
    let done = study(&load(&path)?, &path, &args.folder, "")?;
    let text =
        format!("The example was written to {shown}: each line is commented; change it and run railtrue study {shown}\n\n{}", done.text);
    Ok(Done { text, within: true })
}
