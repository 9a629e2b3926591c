//! `shares`: whose fault is the scatter?

use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;

use super::args::SharesArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::present::{CAUTIONS, json as to_json, share_bars, shares_text, to_png};
use crate::study::{OUTPUTS, shares};

pub(super) fn run(args: &SharesArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    if !plan.errors.sources.iter().any(|s| !s.in_service && s.lower < s.upper) {
        return Err(Failure(format!("{}: [errors] names no error that is drawn, so nothing scatters", loaded.file)));
    }
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-shares", file_stem(&args.plan)).into());
    let evaluators = loaded.evaluators()?;
    let mut out = output::folder(&folder)?;
    let seed = args.seed.unwrap_or(plan.study.seed);
    let bar = ProgressBar::new(args.rows);
    bar.set_style(
        ProgressStyle::with_template("{msg} {bar:40} {human_pos} of {human_len}, {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    bar.set_message("pairs of installations");
    let result = shares(&evaluators, args.rows, seed, &|done| bar.set_position(done));
    bar.finish_and_clear();
    let result = result.map_err(|(i, e)| Failure(format!("{}: pair {i} of seed {seed}: {e}", loaded.file)))?;
    let mut files = Vec::new();
    let figure = |e: crate::present::FigureError| Failure(e.to_string());
    for (k, name) in ["life-loss", "largest-load"].into_iter().enumerate() {
        let svg = share_bars(&result, k, &plan.title).map_err(figure)?;
        for (ending, bytes) in [("svg", svg.as_bytes().to_vec()), ("png", to_png(&svg).map_err(figure)?)] {
            files.push(out.put(format!("shares-{name}.{ending}"), bytes));
        }
    }
    let keys: Vec<&str> = OUTPUTS.iter().map(|o| o.0).collect();
    let value = to_json::with_head(
        "shares",
        plan,
        &loaded.origin(),
        json!({ "seed": seed, "rows": result.rows, "evaluations": result.evaluations, "outputs": keys, "arrangements": result.arrangements }),
    );
    files.push(out.put("shares.json", format!("{value:#}\n")));
    out.finish()?;
    let text = format!(
        "{}\n{} pairs of installations drawn with seed {seed}, {} evaluations of each arrangement\n\n{}\nFILES\n{}\n\nCAUTIONS\n{CAUTIONS}\n",
        plan.title,
        result.rows,
        result.evaluations,
        shares_text(&result),
        files.iter().map(|f| format!("- {}", output::shown(f))).collect::<Vec<_>>().join("\n")
    );
    Ok(Done { text, within: true })
}
