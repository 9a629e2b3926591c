//! `study`: draws installations, prints verdict and tables, writes figures and JSON.

use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;

use super::args::StudyArgs;
use super::folder::Folder;
use super::machines::{Loaded, load};
use super::{Done, Failure, output};
use crate::bearing::row_unloading_load;
use crate::input::Plan;
use crate::present::{
    CAUTIONS, ReportInputs, class_lines, float_travel, histograms, json, json::Record, loads_along_stroke, rails_drawing, study_report,
    study_summary, study_tables, to_png,
};
use crate::study::{Length, Status, StudyResult, monte_carlo};

pub(super) fn run(args: &StudyArgs) -> Result<Done, Failure> {
    let mut loaded = load(&args.plan)?;
    loaded.plan.study.draws = args.draws.unwrap_or(loaded.plan.study.draws);
    loaded.plan.study.seed = args.seed.unwrap_or(loaded.plan.study.seed);
    let folder = args.out.clone().unwrap_or_else(|| PathBuf::from(format!("{}-study", file_stem(&args.plan))));
    let seed = args.seed.map_or_else(String::new, |seed| format!(" --seed {seed}"));
    study(&loaded, &args.plan, &folder, &seed)
}

/// Name of a plan's file without its ending.
pub(super) fn file_stem(plan: &Path) -> String {
    plan.file_stem().map_or_else(|| "plan".into(), |s| s.to_string_lossy().into_owned())
}

/// Studies a loaded plan into a folder; `seed` is what a replay must add to its command.
pub(super) fn study(loaded: &Loaded, path: &Path, folder: &Path, seed: &str) -> Result<Done, Failure> {
    let plan = &loaded.plan;
    let evaluators = loaded.evaluators()?;
    let out = output::folder(folder)?;
    let bar = ProgressBar::new(plan.study.draws);
    bar.set_style(
        ProgressStyle::with_template("{msg} {bar:40} {human_pos} of {human_len}, {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    bar.set_message("installations");
    let length = plan.study.digits.map_or(Length::Fixed(plan.study.draws), |digits| Length::Digits { digits, most: plan.study.draws });
    let result = monte_carlo(&evaluators, length, plan.study.seed, &|done| bar.set_position(done));
    bar.finish_and_clear();
    let result = result.map_err(|(i, e)| Failure(format!("{}: installation {i} of seed {}: {e}", loaded.file, plan.study.seed)))?;
    let files = write(loaded, &result, path, out)?;
    let digits = match result.settled {
        Some(true) => "; the wanted digits of life and largest load have settled",
        Some(false) => "; the wanted digits have NOT settled: allow more draws",
        None => "",
    };
    let mut text = format!(
        "{}\n{} installations drawn with seed {}, the same ones for every arrangement{digits}\n\n",
        plan.title, result.draws, result.seed
    );
    let classes = class_lines(plan);
    if !classes.is_empty() {
        text += &format!("TOLERANCES FROM CLASSES\n{classes}\n");
    }
    text += &study_tables(plan, &result);
    let worst = worst_draw(&result);
    let next = format!("railtrue trace {} --draw {worst}{seed}   (the worst drawn installation in full)", output::quoted(path));
    text += &study_summary(plan, &result, &next);
    text += &format!(
        "\nFILES\n{}\n\nCAUTIONS\n{CAUTIONS}\n",
        files.iter().map(|f| format!("- {}", output::shown(f))).collect::<Vec<_>>().join("\n")
    );
    let met = |s: Status| matches!(s, Status::Met | Status::NotApplicable);
    let within = result.arrangements.iter().filter(|a| a.chosen).flat_map(|a| &a.verdicts).all(|v| met(v.status));
    Ok(Done { text, within })
}

/// Number of the draw with the least life in the chosen arrangement.
fn worst_draw(result: &StudyResult) -> u64 {
    result.arrangements.iter().find(|a| a.chosen).and_then(|a| a.tally.least_life).map_or(0, |(draw, _)| draw)
}

fn write(loaded: &Loaded, result: &StudyResult, path: &Path, mut out: Folder) -> Result<Vec<PathBuf>, Failure> {
    let plan = &loaded.plan;
    let figures = study_figures(plan, result)?;
    let origin = loaded.origin();
    let command = format!("railtrue study {} --seed {} --draws {}", output::quoted(path), result.seed, result.draws);
    let pictures = pictures(&figures)?;
    let hashes = hashes(&pictures);
    let record = Record { plan_text: &loaded.text, command: &command, figures: &hashes };
    let data = format!("{:#}\n", json::study(plan, result, &origin, &record));
    let data_sha256 = output::sha256(data.as_bytes());
    let inputs = ReportInputs { plan, origin: &origin, callouts: None, command: &command, data_sha256: &data_sha256, figures: &figures };
    let report = study_report(&inputs, result);
    let mut files: Vec<PathBuf> = pictures.into_iter().map(|(name, bytes)| out.put(name, bytes)).collect();
    files.push(out.put("report.html", report));
    files.push(out.put("study.json", data));
    out.finish()?;
    Ok(files)
}

/// Files of the figures: each as SVG and as PNG.
pub(super) fn pictures(figures: &[(&'static str, String)]) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let drawn = figures.par_iter().map(|(_, svg)| to_png(svg)).collect::<Result<Vec<_>, _>>().map_err(|e| Failure(e.to_string()))?;
    let both =
        |((name, svg), png): (&(&str, String), Vec<u8>)| [(format!("{name}.svg"), svg.clone().into_bytes()), (format!("{name}.png"), png)];
    Ok(figures.iter().zip(drawn).flat_map(both).collect())
}

/// File and SHA-256 of each figure.
pub(super) fn hashes(pictures: &[(String, Vec<u8>)]) -> Vec<(String, String)> {
    pictures.iter().map(|(name, bytes)| (name.clone(), output::sha256(bytes))).collect()
}

/// Figures of a study by name, as SVG.
pub(super) fn study_figures(plan: &Plan, result: &StudyResult) -> Result<Vec<(&'static str, String)>, Failure> {
    let failed = |e: crate::present::FigureError| Failure(e.to_string());
    let mut figures = vec![
        ("life-and-extra-load", histograms(result, &plan.title).map_err(failed)?),
        ("load-along-stroke", loads_along_stroke(result, &plan.title, row_unloading_load(&plan.block)).map_err(failed)?),
    ];
    if let Some(travel) = float_travel(result, &plan.title).map_err(failed)? {
        figures.push(("float-travel", travel));
    }
    let chosen = result.arrangements.iter().find(|a| a.chosen);
    if let Some(life) = chosen.and_then(|a| a.worst.get("life_km")) {
        figures
            .push(("least-life-rails", rails_drawing(plan, &life.installation, "least life found inside the tolerances").map_err(failed)?));
    }
    Ok(figures)
}
