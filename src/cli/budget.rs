//! `budget`: the cheapest tolerances that meet the requirements, for each arrangement.

use indicatif::ProgressBar;

use super::args::BudgetArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::present::{CAUTIONS, budget_text, json as to_json};
use crate::study::{BudgetEffort, budget};

pub(super) fn run(args: &BudgetArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    if plan.errors.costs.is_empty() {
        return Err(Failure(format!(
            "{}: [cost] names no error, so there is nothing to weigh\n    help: Name some: parallelism = {{ law = \"reciprocal\", hours = 4, at_mm = 0.5 }}; railtrue explain cost tells more, examples/glass-loader.toml has them.",
            loaded.file
        )));
    }
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-budget", file_stem(&args.plan)).into());
    let evaluators = loaded.evaluators()?;
    let mut out = output::folder(&folder)?;
    let seed = args.seed.unwrap_or(plan.study.seed);
    let spinner = ProgressBar::new_spinner();
    spinner.set_message("sets of tolerances tried: 0");
    let result = budget(&evaluators, BudgetEffort::FULL, seed, &|| {
        spinner.inc(1);
        spinner.set_message(format!("sets of tolerances tried: {}", spinner.position()));
    });
    spinner.finish_and_clear();
    let result = result.map_err(|e| Failure(format!("{}: {e}", loaded.file)))?;
    let value = to_json::with_head("budget", plan, &loaded.origin(), to_json::budget(plan, &result));
    let file = out.put("budget.json", format!("{value:#}\n"));
    out.finish()?;
    let text = format!("{}\n\n{}\nFILES\n- {}\n\nCAUTIONS\n{CAUTIONS}\n", plan.title, budget_text(plan, &result), output::shown(&file));
    Ok(Done { text, within: result.arrangements.iter().any(|a| a.chosen && a.set.is_ok()) })
}
