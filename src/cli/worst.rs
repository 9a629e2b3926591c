//! `worst`: the worst machine that passes inspection, bracketed, with installations to replay.

use std::time::{Duration, Instant};

use serde_json::json;

use super::args::WorstArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::present::{CAUTIONS, json as to_json, rails_drawing, to_png, worst_table};
use crate::study::{Effort, stack, worst_case};

/// Longest search for the least life of one arrangement.
const LONGEST: Duration = Duration::from_secs(20);

pub(super) fn run(args: &WorstArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-worst", file_stem(&args.plan)).into());
    let failed = |e: crate::structure::NotConverged| Failure(format!("{}: {e}", loaded.file));
    let figure = |e: crate::present::FigureError| Failure(e.to_string());
    let mut text = format!("{}\n\n", plan.title);
    let mut results = Vec::new();
    let mut files = Vec::new();
    let mut out = output::folder(&folder)?;
    for evaluator in loaded.evaluators()? {
        let start = Instant::now();
        let worst = worst_case(&evaluator, Effort::FULL, &|| start.elapsed() > LONGEST).map_err(failed)?;
        let stacks = stack(&evaluator).map_err(failed)?;
        text += &format!("{}\n", worst_table(&worst, &stacks));
        for bracket in &worst.brackets {
            let toml = toml::to_string(&to_json::installation(&bracket.installation)).map_err(|e| Failure(e.to_string()))?;
            files.push(out.put(format!("{}-{}.toml", worst.arrangement, bracket.key.replace('_', "-")), toml));
        }
        if let Some(life) = worst.get("life_km") {
            let svg =
                rails_drawing(plan, &life.installation, &format!("least life found with {} joints", worst.arrangement)).map_err(figure)?;
            let stem = format!("{}-least-life-rails", worst.arrangement);
            out.put(format!("{stem}.png"), to_png(&svg).map_err(figure)?);
            out.put(format!("{stem}.svg"), svg);
        }
        results.push(to_json::worst(&worst, &stacks));
    }
    let value = to_json::with_head("worst", plan, &loaded.origin(), json!({ "arrangements": results }));
    out.put("worst.json", format!("{value:#}\n"));
    out.finish()?;
    let replay = files.first().map_or_else(String::new, |f| {
        let arrangement = loaded.plan.arrangements.first().map_or("", |a| a.name.as_str());
        format!("railtrue trace {} --arrangement {arrangement} --errors {}", output::quoted(&args.plan), output::quoted(f))
    });
    text += &format!(
        "Attained: an installation inside the tolerances, written to {}. Bound: nothing inside them can pass it.\nReplay one: {replay}\n\nCAUTIONS\n{CAUTIONS}\n",
        output::shown(&folder)
    );
    Ok(Done { text, within: true })
}
