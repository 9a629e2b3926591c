//! `map`: life loss over two errors.

use serde_json::json;

use super::args::MapArgs;
use super::machines::load;
use super::study::file_stem;
use super::{Done, Failure, output};
use crate::input::sources::ErrorSpec;
use crate::input::{ErrorKind, nearest};
use crate::present::numbers::{plain, significant};
use crate::present::{CAUTIONS, json as to_json, life_map, to_png};
use crate::study::{Axis, Map, map, may_be_axis};

pub(super) fn run(args: &MapArgs) -> Result<Done, Failure> {
    let (x, y) = (axis("--x", &args.x)?, axis("--y", &args.y)?);
    if x.kind == y.kind {
        return Err(Failure(format!("--x and --y are both {}\n    help: Name two different errors.", x.key)));
    }
    let loaded = load(&args.plan)?;
    let plan = &loaded.plan;
    let evaluators = loaded.evaluators()?;
    let folder = args.out.clone().unwrap_or_else(|| format!("{}-map", file_stem(&args.plan)).into());
    let mut out = output::folder(&folder)?;
    let result = map(&evaluators, x, y, args.still).map_err(|e| Failure(format!("{}: {e}", loaded.file)))?;
    let figure = |e: crate::present::FigureError| Failure(e.to_string());
    let svg = life_map(&result, &plan.title).map_err(figure)?;
    let still = if args.still { "-still" } else { "" };
    let stem = format!("map-{}-{}{still}", x.key, y.key).replace('_', "-");
    let print = out.put(format!("{stem}.png"), to_png(&svg).map_err(figure)?);
    let picture = out.put(format!("{stem}.svg"), svg);
    let value = to_json::with_head("map", plan, &loaded.origin(), json!(result));
    let file = out.put("map.json", format!("{value:#}\n"));
    out.finish()?;
    let files = [picture, print, file].map(|f| format!("- {}", output::shown(&f))).join("\n");
    Ok(Done { text: format!("{}\n{}\nFILES\n{files}\n\nCAUTIONS\n{CAUTIONS}\n", plan.title, words(&result)), within: true })
}

fn axis(option: &str, key: &str) -> Result<&'static ErrorSpec, Failure> {
    let known = || ErrorKind::ALL.iter().filter(|s| may_be_axis(s.kind)).map(|s| s.key);
    if let Some(spec) = ErrorKind::ALL.iter().find(|s| s.key == key) {
        if may_be_axis(spec.kind) {
            return Ok(spec);
        }
        let names = known().collect::<Vec<_>>().join(", ");
        return Err(Failure(format!("{option}: {key} is a profile or a family, no single number\n    help: An axis can be {names}.")));
    }
    let help = match nearest(known(), key, 0.8) {
        Some(near) => format!("Did you mean {near}?"),
        None => format!("Known are {}.", known().collect::<Vec<_>>().join(", ")),
    };
    Err(Failure(format!("{option}: there is no error \"{key}\"\n    help: {help}")))
}

/// Life in the middle and at the corners of the planned tolerances, in words.
fn words(map: &Map) -> String {
    let range = |a: &Axis| format!("{} from {} to {} {}", a.label, plain(a.values[0]), plain(a.values[a.values.len() - 1]), a.unit);
    let service = if map.still { "without temperatures and shaft wind-up" } else { "temperatures, shaft wind-up and drag as in service" };
    let mut text = format!("{}; {}; all other errors zero, {service}\n", range(&map.x), range(&map.y));
    for a in &map.arrangements {
        let middle = a.life_km[a.life_km.len() / 2][a.life_km.len() / 2];
        let inside = |axis: &Axis, v: f64| axis.planned.is_none_or(|(low, high)| v >= low - 1e-9 && v <= high + 1e-9);
        let planned = map.y.values.iter().zip(&a.life_km).filter(|(v, _)| inside(&map.y, **v));
        let least = planned.flat_map(|(_, row)| map.x.values.iter().zip(row)).filter(|(u, _)| inside(&map.x, **u));
        let least = least.map(|(_, life)| *life).fold(f64::INFINITY, f64::min);
        text += &format!(
            "{} joints: {} km without these errors, at least {} km inside their planned tolerances (on the map's grid)",
            a.name,
            significant(middle, 3),
            significant(least, 3)
        );
        text += &map.required_life_km.map_or_else(String::new, |km| format!("; required {} km", plain(km)));
        text += "\n";
    }
    text
}
