//! Commands and their arguments.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

/// How far out may the two rails of a bridge be, with stiff joints and with floating ones, and what does an error
/// cost in bearing load and life?
#[derive(Debug, Parser)]
#[command(
    version,
    about,
    max_term_width = 110,
    help_expected = true,
    after_help = "Exit codes: 0 within; 1 a requirement is not shown to be met by the plan's chosen arrangement; 2 the input or the machine is at fault."
)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) command: Command,
    /// Replace files in the output folder that railtrue did not write, or that were changed since.
    #[arg(long, global = true)]
    pub(crate) overwrite: bool,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Write the example of a timber-panel bridge into a folder and study it.
    Demo(DemoArgs),
    /// Study a plan: draw installations inside its tolerances, compare its joint arrangements.
    Study(StudyArgs),
    /// Evaluate measured rails: limits with measurement uncertainty, what the machine will do, which pads to shim.
    Survey(SurveyArgs),
    /// Print an empty survey sheet (CSV): stations, signs, order, and which instrument can decide the limits.
    Sheet(SheetArgs),
    /// Trace one installation in full: pose, joint forces, block loads, P, S0, life, to be checked by hand.
    Trace(TraceArgs),
    /// The worst machine that the tolerances allow: attained by an installation to replay, and bounded.
    Worst(WorstArgs),
    /// Backwards: how large may the tolerances be? Single limits, and the installation card with the set that holds together.
    Limits(LimitsArgs),
    /// Hold a drawing's callouts against the machine: headroom and verdict of each, and a report to sign.
    Review(ReviewArgs),
    /// Run a study or a review again from its data file and say what differs.
    Recheck(RecheckArgs),
    /// Start a plan of your own from a few figures; the rest is filled in and marked as assumed.
    Start(StartArgs),
    /// Print a JSON Schema of the plan, for editors.
    Schema,
    /// The block from its balls up: stiffnesses from [block.contact], and ball loads of a displaced block.
    Block(BlockArgs),
    /// Check a plan without studying it; every problem is reported at once.
    Check(CheckArgs),
    /// The cheapest tolerances that still meet the requirements, for each arrangement, from your own hours.
    Budget(BudgetArgs),
    /// Life loss over two errors as a map, every arrangement beside the others, all other errors zero.
    Map(MapArgs),
    /// Whose fault is the scatter: each error's share in the variance of life loss and of the largest block load.
    Shares(SharesArgs),
    /// What the tolerance classes of standards mean on this machine, and which stay inside the plan's tolerances.
    Classes(ClassesArgs),
    /// Explain a key of a plan: unit, meaning, usual values, where to find the number.
    Explain(ExplainArgs),
}

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub(crate) struct DemoArgs {
    /// Folder for the plan, the figures and the results.
    #[arg(default_value = "railtrue-demo")]
    pub(crate) folder: PathBuf,
}

/// Arguments of `study`.
#[derive(Debug, clap::Args)]
pub(crate) struct StudyArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Folder for figures and results; made if it is not there; PLAN-study here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
    /// Number of drawn installations instead of the plan's.
    #[arg(long, value_parser = clap::value_parser!(u64).range(100..=100_000_000))]
    pub(crate) draws: Option<u64>,
    /// Seed instead of the plan's.
    #[arg(long)]
    pub(crate) seed: Option<u64>,
}

/// Arguments of `survey`.
#[derive(Debug, clap::Args)]
pub(crate) struct SurveyArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// The measured points or readings (CSV); `railtrue sheet PLAN` prints an empty one.
    pub(crate) survey: PathBuf,
    /// A heading of the survey's table, as NAME=HEADING, such as x=Easting.
    #[arg(long, value_name = "NAME=HEADING", value_parser = pair)]
    pub(crate) column: Vec<(String, String)>,
    /// A line of the survey's head, as KEY=VALUE, such as u_point_mm=0.02; it goes before the file's own.
    #[arg(long, value_name = "KEY=VALUE", value_parser = pair)]
    pub(crate) say: Vec<(String, String)>,
    /// An earlier survey of the same machine; give several in the order of their dates.
    #[arg(long, value_name = "FILE")]
    pub(crate) before: Vec<PathBuf>,
    /// The work list of the last earlier survey was carried out: its verdict's folder or survey.json; this survey is held against
    /// what was predicted there.
    #[arg(long, requires = "before", value_name = "VERDICT")]
    pub(crate) shimmed: Option<PathBuf>,
    /// Folder for figures and results; made if it is not there, SURVEY-verdict here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
    /// Number of drawn installations instead of the plan's.
    #[arg(long, value_parser = clap::value_parser!(u64).range(100..=10_000_000))]
    pub(crate) draws: Option<u64>,
}

/// Arguments of `sheet`.
#[derive(Debug, clap::Args)]
pub(crate) struct SheetArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
}

fn pair(text: &str) -> Result<(String, String), String> {
    let (name, value) = text.split_once('=').ok_or("two parts with = between them are needed")?;
    Ok((name.trim().to_lowercase(), value.trim().into()))
}

/// Arguments of `trace`.
#[derive(Debug, clap::Args)]
pub(crate) struct TraceArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Arrangement of joints; the plan's chosen one if left out.
    #[arg(long)]
    pub(crate) arrangement: Option<String>,
    /// File with the installation's errors (TOML); perfect if neither this nor --draw is given.
    #[arg(long, conflicts_with = "draw")]
    pub(crate) errors: Option<PathBuf>,
    /// Number of an installation drawn by the study, from 0.
    #[arg(long)]
    pub(crate) draw: Option<u64>,
    /// Seed of the study the installation was drawn in, instead of the plan's.
    #[arg(long, requires = "draw")]
    pub(crate) seed: Option<u64>,
    /// Positions of the bridge in mm, with commas; first, middle and last if left out, `all` for the plan's stations.
    #[arg(long)]
    pub(crate) stations: Option<String>,
    /// Folder for trace.json, installation.toml and a drawing of the rails; made if it is not there.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
    /// Print the JSON instead of tables.
    #[arg(long)]
    pub(crate) json: bool,
}

/// Arguments of `worst`.
#[derive(Debug, clap::Args)]
pub(crate) struct WorstArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Folder for worst.json, the installations and their rails; made if it is not there, PLAN-worst here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
}

/// Arguments of `limits`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Exit codes: 0 a set of tolerances was found and verified for the plan's chosen arrangement; 1 there is none; 2 the input or the machine is at fault."
)]
pub(crate) struct LimitsArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Folder for limits.json and the installation card; made if it is not there, PLAN-limits here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
    /// Seed of the search instead of the plan's; verifications use the next one.
    #[arg(long)]
    pub(crate) seed: Option<u64>,
}

/// Arguments of `review`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Columns of the table: item, controls, value; and unit, form, per, datum, made, shimmed_after, measured_by, feeds: `railtrue explain callouts` tells what stands in each.\nExit codes: 0 every error is controlled and the chosen arrangement meets its requirements after installation adjustment; 1 it is not shown to, or errors have no callout, callouts contradict each other or the plan; 2 the input or the machine is at fault."
)]
pub(crate) struct ReviewArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// The drawing's callouts (CSV).
    pub(crate) callouts: PathBuf,
    /// Folder for report.html, review.json and the figures; made if it is not there, PLAN-review here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
    /// Number of drawn installations instead of the plan's.
    #[arg(long, value_parser = clap::value_parser!(u64).range(100..=10_000_000))]
    pub(crate) draws: Option<u64>,
    /// Seed instead of the plan's.
    #[arg(long)]
    pub(crate) seed: Option<u64>,
}

/// Arguments of `recheck`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Exit codes: 0 nothing differs; 1 something does; 2 the input or the machine is at fault.")]
pub(crate) struct RecheckArgs {
    /// The report's data, study.json or review.json; or its folder, whose page and figures are then checked as well.
    pub(crate) data: PathBuf,
    /// The plan (TOML); the text inside the data if left out.
    pub(crate) plan: Option<PathBuf>,
    /// The table of callouts (CSV) of a review; the text inside the data if left out.
    pub(crate) callouts: Option<PathBuf>,
}

/// Arguments of `start`.
#[derive(Debug, clap::Args)]
pub(crate) struct StartArgs {
    /// File to write; it must not be there yet.
    pub(crate) plan: PathBuf,
    /// Distance between the rails.
    #[arg(long, value_parser = positive)]
    pub(crate) span_mm: f64,
    /// Stroke of the bridge along the rails.
    #[arg(long, value_parser = positive)]
    pub(crate) stroke_mm: f64,
    /// Mass of the bridge alone.
    #[arg(long, value_parser = positive)]
    pub(crate) bridge_kg: f64,
    /// Mass of slide and payload together.
    #[arg(long, value_parser = positive)]
    pub(crate) payload_kg: f64,
    /// Life that the machine must reach.
    #[arg(long, value_parser = positive)]
    pub(crate) life_km: f64,
}

fn positive(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|x: &f64| x.is_finite() && *x > 0.0).ok_or_else(|| "a number above 0 is needed, with a decimal point".into())
}

/// Arguments of `block`.
#[derive(Debug, clap::Args)]
pub(crate) struct BlockArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Displacement of the block: y, z in mm, roll, pitch, yaw in mrad, with commas.
    #[arg(long, default_value = "0,-0.005,0,0.3,0", allow_hyphen_values = true, value_parser = five)]
    pub(crate) displaced: [f64; 5],
    /// Folder for the figure; made if it is not there, PLAN-block here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
}

fn five(text: &str) -> Result<[f64; 5], String> {
    let numbers: Vec<f64> = text.split(',').filter_map(|w| w.trim().parse().ok()).filter(|x: &f64| x.is_finite()).collect();
    numbers.try_into().map_err(|_| "five numbers are needed, with commas: y, z in mm, roll, pitch, yaw in mrad".into())
}

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub(crate) struct CheckArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
}

/// Arguments of `budget`.
#[derive(Debug, clap::Args)]
pub(crate) struct BudgetArgs {
    /// The plan (TOML), with a cost for some of its errors.
    pub(crate) plan: PathBuf,
    /// Seed instead of the plan's.
    #[arg(long)]
    pub(crate) seed: Option<u64>,
    /// Folder for budget.json; made if it is not there, PLAN-budget here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
}

/// Arguments of `map`.
#[derive(Debug, clap::Args)]
pub(crate) struct MapArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Error across: its key in [errors].
    #[arg(long, default_value = "parallelism")]
    pub(crate) x: String,
    /// Error upwards.
    #[arg(long, default_value = "height")]
    pub(crate) y: String,
    /// Without temperatures and shaft wind-up: what the errors alone cost.
    #[arg(long)]
    pub(crate) still: bool,
    /// Folder for the map and map.json; made if it is not there, PLAN-map here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
}

/// Arguments of `shares`.
#[derive(Debug, clap::Args)]
pub(crate) struct SharesArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
    /// Pairs of drawn installations; each costs as many evaluations as there are errors, and two.
    #[arg(long, default_value_t = 2000, value_parser = clap::value_parser!(u64).range(100..=10_000_000))]
    pub(crate) rows: u64,
    /// Seed instead of the plan's.
    #[arg(long)]
    pub(crate) seed: Option<u64>,
    /// Folder for shares.json and the figures; made if it is not there, PLAN-shares here if left out.
    #[arg(long)]
    pub(crate) out: Option<PathBuf>,
}

/// Arguments of `classes`.
#[derive(Debug, clap::Args)]
pub(crate) struct ClassesArgs {
    /// The plan (TOML).
    pub(crate) plan: PathBuf,
}

/// Arguments of `explain`.
#[derive(Debug, clap::Args)]
pub(crate) struct ExplainArgs {
    /// A key or a part of its name, such as block.preload_n or preload.
    pub(crate) key: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn arguments_are_consistent_and_described() {
        Args::command().debug_assert();
    }
}
