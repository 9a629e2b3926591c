//! `block`: the block from its rolling elements up.

use super::args::BlockArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::contact::{RowBlock, Vector5, geometry_ratings};
use crate::present::{block_curves, block_text, element_loads, to_png};
use crate::units::MRAD;

pub(super) fn run(args: &BlockArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let data = &loaded.plan.block;
    let Some(contact) = &data.contact else {
        let keys = "arrangement, balls_per_row, ball_mm, pitch_mm, row_lateral_mm, row_height_mm";
        return Err(Failure(format!(
            "{}: [block.contact] is missing\n    help: Give {keys}; railtrue explain block.contact tells what they are.",
            loaded.file
        )));
    };
    let block =
        RowBlock::new(contact, data.preload_n).ok_or_else(|| Failure(format!("{}: [block.contact] makes no contact", loaded.file)))?;
    let ratings = geometry_ratings(contact, data.c_n, data.c0_n);
    let [y, z, roll, pitch, yaw] = args.displaced;
    let displaced = Vector5::new(y, z, roll * MRAD, pitch * MRAD, yaw * MRAD);
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-block", file_stem(&args.plan)).into());
    let mut out = output::folder(&folder)?;
    let title = &loaded.plan.title;
    let mut shown = Vec::new();
    for (name, svg) in
        [("force-and-moment", block_curves(&block, title)), ("element-loads", element_loads(&block, contact, &displaced, title))]
    {
        let svg = svg.map_err(|e| Failure(e.to_string()))?;
        let png = out.put(format!("{name}.png"), to_png(&svg).map_err(|e| Failure(e.to_string()))?);
        out.put(format!("{name}.svg"), svg);
        shown.push(format!("- {}", output::shown(&png)));
    }
    out.finish()?;
    let text = block_text(data, contact, &block, ratings.as_ref(), &displaced);
    Ok(Done { text: format!("{title}\n{text}\n\nFIGURES\n{}\n", shown.join("\n")), within: true })
}
