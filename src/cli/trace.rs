//! `trace`: one installation in full.

use super::args::TraceArgs;
use super::machines::{Loaded, load};
use super::{Done, Failure, output};
use crate::draw::{Draws, run as run_trials};
use crate::evaluate::{Evaluator, ServiceState, Work, service_states};
use crate::input::{Installation, Plan, read_installation};
use crate::present::{findings_list, json, rails_drawing, to_png, trace_tables};
use crate::study::{remarks, trace};
use serde_json::{Value, json};

/// The installation to trace, in which states of service, and how it is called.
struct Wanted {
    installation: Installation,
    service: Vec<ServiceState>,
    what: Value,
    title: String,
}

pub(super) fn run(args: &TraceArgs) -> Result<Done, Failure> {
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let mut evaluators = loaded.evaluators()?;
    let number = arrangement(args, &loaded)?;
    let evaluator = evaluators.swap_remove(number);
    let wanted = wanted(args, plan, &evaluator)?;
    let mut stations = stations(args, plan)?;
    if args.stations.is_none() {
        stations = with_peak(stations, &evaluator, &wanted, &loaded.file)?;
    }
    let traced =
        trace(&evaluator, &wanted.installation, &wanted.service, &stations).map_err(|e| Failure(format!("{}: {e}", loaded.file)))?;
    let value = json::trace(plan, &traced, &loaded.origin(), &wanted.what);
    if let Some(folder) = &args.out {
        let mut out = output::folder(folder)?;
        out.put("trace.json", format!("{value:#}\n"));
        let toml = toml::to_string(&json::installation(&wanted.installation)).map_err(|e| Failure(e.to_string()))?;
        out.put("installation.toml", toml);
        let figure = |e: crate::present::FigureError| Failure(e.to_string());
        let svg = rails_drawing(plan, &wanted.installation, &wanted.title).map_err(figure)?;
        out.put("rails.png", to_png(&svg).map_err(figure)?);
        out.put("rails.svg", svg);
        out.finish()?;
    }
    let text = if args.json {
        format!("{value:#}\n")
    } else {
        let odd = if args.errors.is_some() {
            findings_list(&remarks(plan, &plan.arrangements[number], &wanted.installation), &[])
        } else {
            String::new()
        };
        format!("{}\n{}\n\n{odd}{}", plan.title, wanted.title, trace_tables(plan, &traced, args.stations.is_some()))
    };
    Ok(Done { text, within: true })
}

fn arrangement(args: &TraceArgs, loaded: &Loaded) -> Result<usize, Failure> {
    let Some(name) = &args.arrangement else { return Ok(loaded.plan.chosen) };
    let names: Vec<&str> = loaded.plan.arrangements.iter().map(|a| a.name.as_str()).collect();
    let unknown = || Failure(format!("{}: there is no arrangement \"{name}\"\n    help: Known are {}.", loaded.file, names.join(", ")));
    names.iter().position(|n| n == name).ok_or_else(unknown)
}

fn wanted(args: &TraceArgs, plan: &Plan, evaluator: &Evaluator<'_>) -> Result<Wanted, Failure> {
    if let Some(i) = args.draw {
        let seed = args.seed.unwrap_or(plan.study.seed);
        let draws = Draws::new(plan, evaluator.machine.rails());
        let mut drawn = run_trials(i, 1, seed, || (), |(), _, rng| draws.draw(rng));
        let installation = drawn.pop().unwrap_or_else(|| Installation::perfect(plan));
        return Ok(Wanted {
            installation,
            service: service_states(plan),
            what: json!({ "draw": i, "seed": seed }),
            title: format!("Drawn installation {i} of seed {seed}"),
        });
    }
    if let Some(path) = &args.errors {
        let text = output::read(path)?;
        let file = output::shown(path);
        let stated = read_installation(&text, &file, plan).map_err(|p| Failure(p.to_string()))?;
        let service = stated.service.map_or_else(|| service_states(plan), |t| vec![ServiceState::stated(t)]);
        return Ok(Wanted {
            installation: stated.installation,
            service,
            what: json!({ "errors": file }),
            title: format!("Installation stated in {file}"),
        });
    }
    Ok(Wanted {
        installation: Installation::perfect(plan),
        service: vec![ServiceState::still()],
        what: json!("perfect"),
        title: "Perfect installation".into(),
    })
}

/// Adds the station at which the installation's largest block load stands.
fn with_peak(mut stations: Vec<f64>, evaluator: &Evaluator<'_>, wanted: &Wanted, file: &str) -> Result<Vec<f64>, Failure> {
    let mut work = Work::default();
    evaluator.evaluate(&wanted.installation, &wanted.service, &mut work).map_err(|e| Failure(format!("{file}: {e}")))?;
    let peaks = work.stroke_peak_n.iter().zip(&evaluator.plan().frame.stations_x_mm);
    if let Some((_, x)) = peaks.max_by(|a, b| a.0.total_cmp(b.0)).filter(|(_, x)| !stations.contains(x)) {
        stations.push(*x);
        stations.sort_by(f64::total_cmp);
    }
    Ok(stations)
}

fn stations(args: &TraceArgs, plan: &Plan) -> Result<Vec<f64>, Failure> {
    let all = &plan.frame.stations_x_mm;
    match args.stations.as_deref() {
        Some("all") => Ok(all.clone()),
        None => Ok(vec![all[0], all[all.len() / 2], all[all.len() - 1]]),
        Some(list) => list
            .split(',')
            .map(|word| {
                let x: Option<f64> = word.trim().parse().ok();
                x.filter(|x| *x >= all[0] && *x <= all[all.len() - 1]).ok_or_else(|| {
                    Failure(format!(
                        "--stations: \"{}\" is no position of the bridge\n    help: Give positions from {} to {} mm with commas, or all.",
                        word.trim(),
                        all[0],
                        all[all.len() - 1]
                    ))
                })
            })
            .collect(),
    }
}
