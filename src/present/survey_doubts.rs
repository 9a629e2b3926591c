//! Words for what is doubted of a survey as a whole, and for readings that cannot be of the plan's frame.

use super::numbers::significant;
use crate::input::survey::Quantity;
use crate::study::Finding;
use crate::survey::{AtOther, Change, Check, Doubt, Misplaced, Unit, Would, about_readings, settle_first};
use crate::units::{MRAD, SIDES};

/// Readings that are to be settled before anything is moved; nothing where there are none.
pub(super) fn in_doubt(findings: &[Finding], unsure: &[Doubt], checks: &[Check]) -> Option<String> {
    let whole: Vec<Finding> = settle_first(unsure, checks).into_iter().map(doubt_finding).collect();
    let doubts: Vec<&Finding> = about_readings(findings).into_iter().chain(&whole).collect();
    let first = doubts.first()?;
    let more = if doubts.len() > 1 { format!(", and {} more", doubts.len() - 1) } else { String::new() };
    Some(format!("{} ({}{more}). Limits and work list rest on it: settle it before a pad is moved.", first.what, first.place))
}

/// Signs that nobody states and nothing in the numbers tells; they are taken as the sheet has them.
pub(super) fn not_stated(unsure: &[Doubt]) -> Option<String> {
    let parts: Vec<String> = unsure
        .iter()
        .filter_map(|d| match d {
            Doubt::ZNotStated => Some("whether z counts up or down (taken as up; # z = up)".to_string()),
            Doubt::SignsNotStated { kinds } => Some(format!("what + means in {} (taken as on the sheet; # signs = plan)", names(kinds))),
            _ => None,
        })
        .collect();
    (!parts.is_empty()).then(|| format!("{}. Wrong way round, the pads to raise are the other ones.", parts.join("; ")))
}

fn names(kinds: &[Quantity]) -> String {
    kinds.iter().map(|k| k.name()).collect::<Vec<_>>().join(", ")
}

/// A doubt about a whole survey as a finding.
pub(super) fn doubt_finding(doubt: &Doubt) -> Finding {
    let mm = |x: f64| significant(x, 3);
    let finding =
        |what: &str, place: String, amount: String, advice: &str| Finding { what: what.into(), place, amount, advice: advice.into() };
    match doubt {
        Doubt::NoScatter { quantity, rail, scatter, stated } => {
            let (scale, unit) = if *quantity == Quantity::CrossLevel { (MRAD, "mm/m") } else { (1.0, "mm") };
            finding(
                "readings without any scatter",
                format!("{}{}", quantity.name(), rail.map_or_else(String::new, |r| format!(" of rail {}", SIDES[r].to_uppercase()))),
                format!("{} {unit} where the instrument has {} {unit}", significant(scatter / scale, 2), significant(stated / scale, 2)),
                "No instrument reads so: they were copied, computed or filled in. Read the rails, or state what the instrument has.",
            )
        }
        Doubt::ZNotStated => finding(
            "not stated which way z counts",
            "coordinates".into(),
            "taken as up".into(),
            "Nothing in the numbers tells. Add a head line: # z = up (or down).",
        ),
        Doubt::SignsNotStated { kinds } => finding(
            "not stated what + means",
            names(kinds),
            "taken as on the printed sheet: towards rail B (+y), and up".into(),
            "Nothing in the numbers tells. Make sure, then add a head line: # signs = plan.",
        ),
        Doubt::StationsOff { by_mm } => finding(
            "all stations lie off the pads by the same",
            "stations".into(),
            format!("{} mm", mm(*by_mm)),
            &format!(
                "Say where the file's station 0 lies in the plan's x: # station_zero_mm = {} brings them to the pads, 0 if they are right.",
                mm(-by_mm)
            ),
        ),
        Doubt::StationsBetween { stations, at_pads, apart_mm, pitch_mm } => finding(
            "stations do not lie at the pads",
            "stations".into(),
            format!("{at_pads} of {stations} at a pad; {} mm apart, the pads {} mm", mm(*apart_mm), mm(*pitch_mm)),
            "Check their unit and the plan's pitch; # station_zero_mm = 0 says that they are right.",
        ),
        Doubt::PointOff { line, by_mm } => finding(
            "a point lies off its pad along the rails",
            format!("line {line}"),
            format!("{} mm", mm(*by_mm)),
            "It is used at the pad that it names. Check the pad's number, or read that point again.",
        ),
    }
}

/// Why readings cannot be of this frame: what is wrong, which single change would fit and how well, and the line to write.
#[must_use]
pub fn misplaced_text(misplaced: &Misplaced) -> String {
    let mm = |x: f64| significant(x, 3);
    let text = match misplaced {
        Misplaced::Points { nine_in_ten_mm, would, own_mm, plan_mm } => {
            let fit = nine_in_ten_mm.map_or_else(
                || "the points cannot be matched with the plan's pads".to_string(),
                |off| format!("no motion brings the points to the plan's pads: nine in ten lie only within {} mm of them", mm(off)),
            );
            let own = |i: usize| own_mm[i].map_or_else(|| "?".to_string(), mm);
            let sizes = format!(
                "points {} mm apart along the rails (plan: {} mm), rails {} mm apart (plan: {} mm)",
                own(0),
                mm(plan_mm[0]),
                own(1),
                mm(plan_mm[1])
            );
            let way_out = if would.is_empty() {
                "No single change makes them fit: another machine's survey, or another plan?".to_string()
            } else {
                fits(would)
            };
            format!("{fit}; {sizes}. {way_out}")
        }
        Misplaced::AtOtherPads(list) => {
            let one = |o: &AtOther| {
                let pad = |(rail, pad): (usize, usize)| format!("{}{pad}", SIDES[rail].to_uppercase());
                format!("line {} says pad {} and lies at {}", o.line, pad(o.said), pad(o.lies_at))
            };
            let list: Vec<String> = list.iter().map(one).collect();
            format!("points lie at other pads than they say: {}. Correct their rail and pad.", list.join("; "))
        }
        Misplaced::Leans { leans_deg, would } => {
            let other = if would.is_empty() { String::new() } else { format!(" {}", fits(would)) };
            format!(
                "the instrument's z leans by {} degrees from the plan's. If it does stand so, write the head line `# axes = x y z`.{other}",
                mm(*leans_deg)
            )
        }
        Misplaced::Stations { to_mm, pads_to_mm, factor } => format!(
            "the stations end at {} mm, the pads at {} mm; times {} they lie on pads. Name their unit in the heading{}.",
            mm(*to_mm),
            mm(*pads_to_mm),
            mm(*factor),
            unit_of(*factor).map_or_else(String::new, |u| format!(", such as station_{u}"))
        ),
        Misplaced::Size { quantity, half_over, tolerance, would } => {
            let (scale, unit) = if *quantity == Quantity::CrossLevel { (MRAD, "mm/m") } else { (1.0, "mm") };
            let other = |(u, size): &(Unit, f64)| {
                let name = match u {
                    Unit::MicrometresPerMetre => "um/m (divide by 1000)",
                    Unit::Arcseconds => "seconds of arc (heading cross_level_arcsec)",
                    Unit::Micrometres => "um (name the unit in the heading)",
                };
                format!("{name} it would be {} {unit}", significant(size / scale, 2))
            };
            format!(
                "half of the {} readings are over {} {unit}, where the plan tolerates {} {unit}. In {}.",
                quantity.name(),
                significant(half_over / scale, 2),
                significant(tolerance / scale, 2),
                would.iter().map(other).collect::<Vec<_>>().join("; in ")
            )
        }
        Misplaced::Span { read_mm, plan_mm } => {
            format!("the rails are {read_mm:.1} mm apart, by the plan {plan_mm:.1} mm: another machine's survey, or another plan?")
        }
        Misplaced::Fahrenheit { stated, would_be_c, seasons_c: [low, high] } => format!(
            "{stated:.1} degrees is no temperature of this frame ({low:.0} to {high:.0} degC by the plan), in degrees Fahrenheit it is: \
             {would_be_c:.1} degC. Add a head line: # temperature_unit = f (or c, if it is right)."
        ),
    };
    format!("the readings cannot be of this frame as they are written: {text}")
}

fn fits(would: &[Would]) -> String {
    let one = |w: &Would| format!("{} (nine in ten then lie within {} mm)", change(&w.change), significant(w.nine_in_ten_mm, 3));
    let list: Vec<String> = would.iter().map(one).collect();
    format!("They would fit with {}.", list.join(", or with "))
}

fn unit_of(factor: f64) -> Option<&'static str> {
    [(1000.0, "m"), (25.4, "in"), (0.001, "um")].into_iter().find(|(f, _)| (f - factor).abs() < 1e-9 * f).map(|(_, u)| u)
}

fn change(change: &Change) -> String {
    let axis = |i: usize| ["x", "y", "z"][i];
    let rail = |r: usize| SIDES[r].to_uppercase();
    match *change {
        Change::Unit { factor } => unit_of(factor).map_or_else(
            || format!("all coordinates times {}", significant(factor, 3)),
            |u| format!("coordinates in {u}: `# unit = {u}`, and no other unit in their headings"),
        ),
        Change::AxisUnit { axis: i, factor } => format!("{} alone times {}", axis(i), significant(factor, 3)),
        Change::Axes { from } => format!("other columns: `# axes = {}`", from.map(axis).join(" ")),
        Change::Mirrored { axis: i } => {
            let list: Vec<String> = (0..3).map(|k| if k == i { format!("-{}", axis(k)) } else { axis(k).into() }).collect();
            format!("left-handed axes: `# axes = {}`", list.join(" "))
        }
        Change::Offset { axis: i, by_mm } => format!("{} less {} mm throughout", axis(i), significant(by_mm, 4)),
        Change::Reversed { rail: None } => "pads numbered from the other end".into(),
        Change::Reversed { rail: Some(r) } => format!("the pads of rail {} numbered from the other end", rail(r)),
        Change::Shifted { rail: r, by } => format!("the pads of rail {} numbered {by} lower", rail(r)),
        Change::Exchanged { rail: r, pad } => format!("pads {pad} and {} of rail {} exchanged", pad + 1, rail(r)),
        Change::Rails => "rail A and rail B exchanged: `# rail_a = B`, `# rail_b = A`".into(),
        Change::ZFree { leans_deg } => {
            format!("z not tied to gravity: `# z_axis = free` (it leans by {} degrees)", significant(leans_deg, 3))
        }
        Change::OwnAxes => "coordinates in the instrument's own axes: no `# frame = plan`".into(),
    }
}
