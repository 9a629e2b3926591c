//! `limits`: how large may the tolerances be? Single limits, common scales, and the installation card.

use indicatif::{ProgressBar, ProgressStyle};

use super::args::LimitsArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::present::{CAUTIONS, errors_table, installation_card, json, limits_json, limits_text, to_png};
use crate::study::{Depth, limits, limits_steps};

pub(super) fn run(args: &LimitsArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-limits", file_stem(&args.plan)).into());
    let seed = args.seed.unwrap_or(plan.study.seed);
    if plan.errors.sources.iter().all(|s| s.lower == 0.0 && s.upper == 0.0) {
        let why = "[errors] gives no tolerance above 0, so there is nothing to find the limit of";
        return Err(Failure(format!("{}: {why}\n    help: Give each error a first tolerance; the search scales it.", loaded.file)));
    }
    let evaluators = loaded.evaluators()?;
    let mut out = output::folder(&folder)?;
    let bar = ProgressBar::new(limits_steps(&evaluators));
    bar.set_style(ProgressStyle::with_template("{msg} {bar:40} {pos} of {len}").unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar.set_message("limits");
    let result = limits(&evaluators, Depth::for_plan(plan), seed, &|| bar.inc(1));
    bar.finish_and_clear();
    let result = result.map_err(|e| Failure(format!("{}: {e}", loaded.file)))?;
    let origin = loaded.origin();
    let value = json::with_head("limits", plan, &origin, limits_json(plan, &result));
    let again = format!("railtrue limits {} --seed {seed}", output::quoted(&args.plan));
    let failed = |e: crate::present::FigureError| Failure(e.to_string());
    let card = installation_card(plan, &result, &origin, &again).map_err(failed)?;
    let mut contents = vec![
        ("card.html".to_string(), card.html.into_bytes()),
        ("card.png".into(), to_png(&card.svg).map_err(failed)?),
        ("card.svg".into(), card.svg.into_bytes()),
        ("limits.json".into(), format!("{value:#}\n").into_bytes()),
    ];
    for (name, set) in result.arrangements.iter().filter_map(|a| Some((&a.name, a.set.as_ref().ok()?))) {
        contents.push((format!("errors-{name}.toml"), errors_table(&set.errors).into_bytes()));
    }
    let files: Vec<_> = contents.into_iter().map(|(name, bytes)| out.put(name, bytes)).collect();
    out.finish()?;
    let text = format!(
        "{}\nsearched with seed {seed} on {} installations a single limit and {} a common scale\n\n{}\nFILES\n{}\n\nCAUTIONS\n{CAUTIONS}\n",
        plan.title,
        result.depth.single_draws,
        result.depth.common_draws,
        limits_text(plan, &result),
        files.iter().map(|f| format!("- {}", output::shown(f))).collect::<Vec<_>>().join("\n")
    );
    let within = result.arrangements.iter().filter(|a| a.chosen).all(|a| a.set.is_ok());
    Ok(Done { text, within })
}
