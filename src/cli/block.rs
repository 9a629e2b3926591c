//! `block`: the block from its balls up.

use super::args::BlockArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::contact::{BallBlock, Vector5};
use crate::input::plan::Element;
use crate::present::{block_curves, block_text, to_png};
use crate::units::MRAD;

pub(super) fn run(args: &BlockArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let data = &loaded.plan.block;
    if data.element == Element::Roller {
        return Err(Failure(format!("{}: [block] is on rollers\n    help: Contacts are computed for balls only.", loaded.file)));
    }
    let Some(contact) = &data.contact else {
        let keys = "arrangement, balls_per_row, ball_mm, pitch_mm, row_lateral_mm, row_height_mm";
        return Err(Failure(format!(
            "{}: [block.contact] is missing\n    help: Give {keys}; railtrue explain block.contact tells what they are.",
            loaded.file
        )));
    };
    let (block, ellipse) =
        BallBlock::of_plan(contact, data.preload_n).ok_or_else(|| Failure(format!("{}: [block.contact] makes no contact", loaded.file)))?;
    let [y, z, roll, pitch, yaw] = args.displaced;
    let displaced = Vector5::new(y, z, roll * MRAD, pitch * MRAD, yaw * MRAD);
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-block", file_stem(&args.plan)).into());
    output::folder(&folder)?;
    let svg = block_curves(&block, &loaded.plan.title).map_err(|e| Failure(e.to_string()))?;
    output::write(&folder.join("force-and-moment.svg"), svg.as_bytes())?;
    let png = folder.join("force-and-moment.png");
    output::write(&png, &to_png(&svg).map_err(|e| Failure(e.to_string()))?)?;
    let text =
        format!("{}\n{}\nFigure: {}\n", loaded.plan.title, block_text(data, contact, &block, &ellipse, &displaced), output::shown(&png));
    Ok(Done { text, within: true })
}
