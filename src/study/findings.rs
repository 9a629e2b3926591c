//! What the user can act on, as data: what, where, how much, what to do.

use super::shortfall::shortfall;
use super::tally::Tally;
use super::verdict::{Status, Verdict};
use crate::evaluate::Evaluator;
use crate::evaluate::Outcome;
use crate::evaluate::Reading;
use crate::input::plan::{Arrangement, Element, Law, Level, Requirement};
use crate::input::sources::Spread;
use crate::input::{Plan, Source};

/// One finding.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Finding {
    /// What was found.
    pub what: String,
    /// Where on the machine.
    pub place: String,
    /// How much.
    pub amount: String,
    /// What to do.
    pub advice: String,
}

impl Finding {
    /// The finding as it is read: what, where, how much, what to do.
    #[must_use]
    pub fn sentence(&self) -> String {
        let amount = if self.amount.is_empty() { String::new() } else { format!(", {}", self.amount) };
        format!("{}: {}{amount}. {}", self.what, self.place, self.advice)
    }
}

fn finding(what: &str, place: impl Into<String>, amount: impl Into<String>, advice: &str) -> Finding {
    Finding { what: what.into(), place: place.into(), amount: amount.into(), advice: advice.into() }
}

/// All findings of one arrangement.
///
/// `in_service` is the perfect installation in the plan's states of service; `sticking` is the share of installations in which some float never slides.
pub(super) fn findings(
    evaluator: &Evaluator<'_>,
    tally: &Tally,
    verdicts: &[Verdict],
    in_service: &Outcome,
    sticking: f64,
) -> Vec<Finding> {
    let plan = evaluator.plan();
    let arrangement = &plan.arrangements[evaluator.machine.arrangement];
    let mut list = Vec::new();
    from_draws(evaluator, tally, sticking, &mut list);
    if verdicts.iter().any(|v| v.status == Status::Undecided) {
        let advice = "Run the study again with more draws.";
        list.push(finding("a requirement is not decided", arrangement.name.as_str(), format!("by {} draws", tally.draws()), advice));
    }
    list.extend(life_models(evaluator, tally));
    list.extend(service_alone(evaluator, in_service));
    take_ups(arrangement, &mut list);
    list.extend(nearly_free(evaluator));
    list.extend(stiffness_doubts(plan));
    list
}

/// Condition number above which fewer than about seven digits of a pose are left (double precision holds sixteen).
const DOUBTFUL_CONDITION: f64 = 1e9;

/// A direction that is hardly held.
fn nearly_free(evaluator: &Evaluator<'_>) -> Option<Finding> {
    let condition = evaluator.machine.condition;
    (condition > DOUBTFUL_CONDITION).then(|| {
        let advice =
            "Look at the softest and the stiffest values of [block], [joint] and [drive]: one of them may be wrong by powers of ten.";
        finding(
            "the machine is almost free to move in some direction",
            evaluator.machine.name(),
            format!("{}: condition number {condition:.0e}", evaluator.machine.weakest),
            advice,
        )
    })
}

fn from_draws(evaluator: &Evaluator<'_>, tally: &Tally, sticking: f64, list: &mut Vec<Finding>) {
    let plan = evaluator.plan();
    let name = evaluator.machine.name();
    let share = |n: u64| (n > 0).then(|| format!("{:.1} % of installations", 100.0 * n as f64 / tally.draws() as f64));
    if let (Some(amount), Some(first)) = (share(tally.counts.at_stop), tally.first_stop_x_mm) {
        let advice = "A float on its stop is a stiff joint. Give it more travel, or halve the error that moves it most.";
        list.push(finding("a float reaches its stop", format!("{name}, from station {first:.0} mm"), amount, advice));
    }
    if sticking > 0.0 {
        let amount = format!("{:.1} % of installations", 100.0 * sticking);
        let advice = "Its drag is larger than what pushes it, so it acts as a spring. Choose a float with less drag.";
        list.push(finding("a float never slides", name, amount, advice));
    }
    if evaluator.has_floats_with_drag() && !evaluator.machine.drag_has_signs() {
        let advice =
            "Nothing else holds the bridge in that direction, so full drag either way has no equilibrium; the law as it stands was used.";
        list.push(finding("drag was not studied in both directions", name, "", advice));
    }
    let already = evaluator.perfect().row_unloading > 1.0;
    if let Some(amount) = share(tally.counts.unloaded) {
        let amount = if already { "already in the perfect installation".into() } else { amount };
        let advice =
            "Normal in a loaded block; beyond that load its stiffness falls. Make it a requirement (row_unloading) if it must not be.";
        list.push(finding(
            if plan.block.element == Element::Ball { "a row of balls unloads" } else { "a row of rollers unloads" },
            match (plan.block.level, plan.block.element) {
                (Level::Contact, _) => format!("{name}, read from the rows"),
                (Level::Linear, Element::Ball) => format!("{name}, P above 2^1.5 x preload"),
                (Level::Linear, Element::Roller) => format!("{name}, P above 2^(10/9) x preload"),
            },
            amount,
            advice,
        ));
    }
    if let Some(amount) = share(tally.counts.beyond_static) {
        let advice = "Its blocks would be damaged: such loads lie outside the linear model; read them as a failure, not as numbers.";
        list.push(finding("a load beyond the static rating", name, amount, advice));
    }
    let pull = tally.of(Reading::Pull).high().max(0.0);
    if let Some(amount) = share(tally.counts.lifted) {
        let advice = "The truck pulls the block up, by more than its preload. Check its rating against pull, its bolts and the rail's.";
        list.push(finding("a block lifts", format!("{name}, up to {pull:.0} N"), amount, advice));
    }
    if let Some(amount) = share(tally.counts.slot_at_end) {
        let advice = "Beyond it the misfit stays in the joint. Widen the slots or tighten the tolerance behind it.";
        list.push(finding("a joint's slot is at its end", name, amount, advice));
    }
}

/// At the contact level: rows against summed loads, where the median lives differ by more than a tenth.
fn life_models(evaluator: &Evaluator<'_>, tally: &Tally) -> Option<Finding> {
    let median = |of: Reading| tally.quantile(of, 0.5).map(|q| q.value);
    let (rows, loads) = (median(Reading::Life)?, median(Reading::LifeByLoad)?);
    let advice = if rows > 1.1 * loads {
        "Summed loads add force and moments as if they met on one ball; in the rows they fall on different ones, and preload is relieved where load adds. The rows' figure counts here; compare it with other figures of rows only."
    } else if rows < loads / 1.1 {
        "Rows that share a block's load unevenly, or balls at their ends, carry more than the sum of load ratios says. The rows' figure counts here; compare it with other figures of rows only."
    } else {
        return None;
    };
    let amount = format!("at the median {:.0} km by rows, {:.0} km by summed loads", digits(rows), digits(loads));
    Some(finding("the two life models differ", evaluator.machine.name(), amount, advice))
}

/// Requirements that the perfect installation meets at rest and fails in service: no tolerance can help there.
fn service_alone(evaluator: &Evaluator<'_>, in_service: &Outcome) -> Option<Finding> {
    let plan = evaluator.plan();
    let breaks = |r: &&Requirement| shortfall(r, in_service) > 0.0 && shortfall(r, &evaluator.perfect()) <= 0.0;
    let one = |r: &Requirement| {
        let value = r.measure.of(in_service);
        let word = if r.measure.more_is_better() { "at least" } else { "at most" };
        format!("{} {}, {word} {} is required", r.measure.key(), digits(value), r.limit)
    };
    let parts: Vec<String> = plan.requirements.iter().filter(breaks).map(one).collect();
    let advice = "With every error at zero temperatures, shaft wind-up and drag break it: no tolerance helps. Let the bridge grow (a floating end), or keep the temperatures together.";
    (!parts.is_empty()).then(|| finding("service alone breaks a requirement", evaluator.machine.name(), parts.join("; "), advice))
}

/// A number to three digits.
fn digits(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let unit = 10_f64.powf(x.abs().log10().floor() - 2.0);
    // Through its text, so that the unit's own rounding leaves no tail.
    format!("{:.6}", (x / unit).round() * unit).parse().unwrap_or(x)
}

/// Sag is taken up only by y and rx together; one alone is worse than none.
fn take_ups(arrangement: &Arrangement, list: &mut Vec<Finding>) {
    for (end, side) in ["A", "B"].iter().enumerate() {
        let takes = |axis: usize| arrangement.ends[end].iter().any(|j| j.components[axis].take_up > 0.0);
        let stiff = |axis: usize| arrangement.ends[end].iter().any(|j| matches!(j.components[axis].law, Law::Elastic { .. }));
        if takes(1) != takes(3) && stiff(1) && stiff(3) {
            let has = if takes(1) { "y but not rx" } else { "rx but not y" };
            let advice = "The bridge's sag leaves the joints only if y and rx are taken up together; one alone is worse than none.";
            list.push(finding("half of the sag is taken up", format!("{}, end {side}", arrangement.name), has, advice));
        }
    }
}

/// Doubts about the block's data: no block is stiffer in moment than its rows spread over its length and width.
pub fn stiffness_doubts(plan: &Plan) -> Vec<Finding> {
    let mut list = Vec::new();
    let [ky, kz, roll, pitch, yaw] = plan.block.stiffness;
    let doubts = [
        ("pitch", pitch / kz, plan.block.length_mm, "length"),
        ("yaw", yaw / ky, plan.block.length_mm, "length"),
        ("roll", roll / kz, plan.block.width_mm, "width"),
    ];
    for (name, ratio, size, of) in doubts {
        if let Some(size) = size.filter(|s| ratio > (s / 2.0).powi(2)) {
            let amount = format!("an arm of {:.0} mm, but half its {of} is {:.0} mm", ratio.sqrt(), size / 2.0);
            let advice = "No block is that stiff in moment: ask its maker, or use at most force stiffness x (half the size) squared.";
            list.push(finding(&format!("the {name} stiffness is doubtful"), "[block]", amount, advice));
        }
    }
    let open = |s: &&Source| matches!(s.spread, Spread::Normal { .. }) && !s.inspected && !s.in_service;
    let beyond = plan.errors.sources.iter().filter(open).count();
    if beyond > 0 {
        let advice = "Normal errors that are not inspected are drawn beyond their limits now and then; the worst case stays inside them. Set inspected = true where every part is measured.";
        list.push(finding("draws may pass limits", "[errors]", format!("{beyond} sources"), advice));
    }
    let widest = |x: &[f64]| x.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    let (stations, pads) = (widest(&plan.frame.stations_x_mm), widest(&plan.frame.anchors_x_mm));
    if stations > pads && plan.frame.anchors_x_mm.len() > 2 {
        let advice = "Loads between stations are not seen: give more stations.";
        list.push(finding("stations are farther apart than pads", "[frame]", format!("{stations:.0} mm"), advice));
    }
    if !plan.assumed.is_empty() {
        let advice = "The verdict rests on them: replace each by a known figure and name its source.";
        list.push(finding("values are assumed", "source = \"assumed\"", format!("{} values", plan.assumed_values()), advice));
    }
    list.extend(block_data_doubts(plan));
    if plan.block.preload_n == 0.0 {
        let advice =
            "Without preload a block is softer around zero load than its data sheet's stiffness says; see the maker's deflection chart.";
        list.push(finding("no preload", "[block]", "preload_n = 0", advice));
    }
    list
}

/// Doubts about ratings and preload, and what was computed for want of data.
fn block_data_doubts(plan: &Plan) -> Vec<Finding> {
    let (block, mut list) = (&plan.block, Vec::new());
    if block.c0_n < block.c_n {
        let amount = format!("C0 {:.0} N is less than C {:.0} N", block.c0_n, block.c_n);
        list.push(finding(
            "the ratings are doubtful",
            "[block]",
            amount,
            "Static ratings of profile rail blocks lie above the dynamic ones: have they been exchanged?",
        ));
    }
    let share = 100.0 * block.preload_n / block.c_n;
    if share > 15.0 {
        let advice = "Heavy preload is 10 to 13 % of C: check the unit, and whether the figure is for one pair of rows.";
        list.push(finding("the preload is doubtful", "[block]", format!("{share:.0} % of C"), advice));
    }
    if !block.from_geometry.is_empty() {
        let advice =
            "Bodies are taken as rigid, so real blocks are softer; the maker's figures go before these (railtrue block shows them).";
        list.push(finding("data computed from the rows", "[block]", block.from_geometry.join(", "), advice));
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evaluate::RowsOutcome;
    use crate::input::read_plan;
    use crate::structure::Machine;

    fn demo() -> Plan {
        read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
    }

    fn whats(list: &[Finding]) -> Vec<&str> {
        list.iter().map(|f| f.what.as_str()).collect()
    }

    #[test]
    fn check_three_digits_of_a_number_and_none_of_what_has_none() {
        for (x, expected) in [(12_345.6, 12_300.0), (12_350.1, 12_400.0), (0.012_345, 0.0123), (-987.6, -988.0), (100.0, 100.0), (3.0, 3.0)]
        {
            assert!((digits(x) - expected).abs() < 1e-9 * f64::abs(expected), "{x}: {} not {expected}", digits(x));
        }
        assert_eq!((digits(0.0), digits(f64::INFINITY)), (0.0, f64::INFINITY));
    }

    /// By hand: rows no farther out than half a length (72 mm) or width (44 mm) make at most force stiffness times its square.
    #[test]
    fn ref_moment_stiffness_is_doubted_from_half_the_size_on() {
        let mut plan = demo();
        assert_eq!((plan.block.length_mm, plan.block.width_mm), (Some(72.0), Some(44.0)));
        let [y, z] = [plan.block.stiffness[0], plan.block.stiffness[1]];
        let most = [("roll", z * 22.0 * 22.0), ("pitch", z * 36.0 * 36.0), ("yaw", y * 36.0 * 36.0)];
        let quiet = whats(&stiffness_doubts(&plan)).into_iter().map(str::to_string).collect::<Vec<_>>();
        for (i, (name, most)) in most.into_iter().enumerate() {
            let planned = std::mem::replace(&mut plan.block.stiffness[2 + i], 0.999 * most);
            assert_eq!(whats(&stiffness_doubts(&plan)), quiet, "{name}");
            plan.block.stiffness[2 + i] = 1.001 * most;
            let doubts = stiffness_doubts(&plan);
            assert_eq!(whats(&doubts)[0], format!("the {name} stiffness is doubtful"));
            assert_eq!(doubts.len(), quiet.len() + 1);
            plan.block.stiffness[2 + i] = planned;
        }
    }

    #[test]
    fn check_doubts_about_draws_stations_and_blocks() {
        let with = |change: &dyn Fn(&mut Plan)| {
            let mut plan = demo();
            // Every part is measured and every figure is known: nothing is left to doubt.
            plan.errors.sources.iter_mut().for_each(|s| s.inspected = true);
            plan.assumed.clear();
            change(&mut plan);
            whats(&stiffness_doubts(&plan)).into_iter().map(str::to_string).collect::<Vec<_>>()
        };
        assert_eq!(with(&|_| ()), [""; 0]);
        assert_eq!(
            with(&|p| p.errors.sources.iter_mut().filter(|s| s.kind == crate::input::ErrorKind::Seat).for_each(|s| s.inspected = false)),
            ["draws may pass limits"]
        );
        // Uniform errors never pass their limits.
        assert_eq!(with(&|p| p.errors.sources.iter_mut().for_each(|s| (s.inspected, s.spread) = (false, Spread::Uniform))), [""; 0]);
        assert_eq!(with(&|p| p.frame.stations_x_mm = vec![250.0, 3250.0, 6250.0]), ["stations are farther apart than pads"]);
        // Two pads leave nothing between them that a station could miss.
        let few = |p: &mut Plan| (p.frame.stations_x_mm, p.frame.anchors_x_mm) = (vec![0.0, 6500.0], vec![0.0, 6000.0]);
        assert_eq!(with(&few), [""; 0]);
        assert_eq!(with(&|p| p.block.c0_n = 0.99 * p.block.c_n), ["the ratings are doubtful"]);
        assert_eq!(with(&|p| p.block.c0_n = p.block.c_n), [""; 0]);
        assert_eq!(with(&|p| p.block.preload_n = 0.151 * p.block.c_n), ["the preload is doubtful"]);
        assert_eq!(with(&|p| p.block.preload_n = 0.149 * p.block.c_n), [""; 0]);
        assert_eq!(with(&|p| p.block.preload_n = 0.0), ["no preload"]);
    }

    #[test]
    fn check_half_of_the_sag_taken_up_is_named_at_either_end() {
        let said = |end: usize, axis: usize| {
            let mut arrangement = demo().arrangements[0].clone();
            arrangement.ends[end].iter_mut().for_each(|j| j.components[axis].take_up = 0.0);
            let mut list = Vec::new();
            take_ups(&arrangement, &mut list);
            list.into_iter().map(|f| (f.place, f.amount)).collect::<Vec<_>>()
        };
        let named = |end: &str, has: &str| vec![(format!("stiff, end {end}"), has.to_string())];
        assert_eq!((said(0, 3), said(1, 1)), (named("A", "y but not rx"), named("B", "rx but not y")));
        // Neither sag nor tilt hangs on the others.
        assert_eq!((said(0, 0), said(1, 4)), (vec![], vec![]));
        let mut none = demo().arrangements[0].clone();
        none.ends.iter_mut().flatten().flat_map(|j| &mut j.components).for_each(|c| c.take_up = 0.0);
        let mut list = Vec::new();
        take_ups(&none, &mut list);
        assert!(list.is_empty());
    }

    #[test]
    fn check_lives_of_rows_and_of_summed_loads_may_differ_by_a_tenth() {
        let plan = demo();
        let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
        let said = |rows_km: f64, loads_km: f64| {
            let mut tally = Tally::new(&plan);
            let rows = Some(RowsOutcome { life_by_load_km: loads_km, ..RowsOutcome::default() });
            tally.take(&plan, &[Outcome { life_km: rows_km, rows, ..Outcome::start() }; 3]);
            tally.close();
            life_models(&evaluator, &tally).map(|f| (f.advice.split_whitespace().next().unwrap().to_string(), f.amount))
        };
        let amount = |rows: u32, loads: u32| format!("at the median {rows} km by rows, {loads} km by summed loads");
        assert_eq!(said(1110.0, 1000.0), Some(("Summed".into(), amount(1110, 1000))));
        assert_eq!(said(900.0, 1000.0), Some(("Rows".into(), amount(900, 1000))));
        assert_eq!([said(1090.0, 1000.0), said(1000.0, 1000.0), said(920.0, 1000.0)], [None, None, None]);
    }

    #[test]
    fn check_a_machine_that_is_hardly_held_is_named() {
        let plan = demo();
        let mut evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
        let mut said = |condition: f64| {
            evaluator.machine.condition = condition;
            nearly_free(&evaluator).map(|f| f.amount.split(' ').next_back().unwrap().to_string())
        };
        assert_eq!([said(0.9e9), said(2e9), said(3e12)], [None, Some("2e9".into()), Some("3e12".into())]);
    }

    #[test]
    fn check_floats_that_never_slide_are_told_by_their_share() {
        let plan = demo();
        let evaluator = Evaluator::new(Machine::new(&plan, 1).unwrap(), plan.study.drag).unwrap();
        let said = |sticking: f64| {
            let mut list = Vec::new();
            from_draws(&evaluator, &Tally::new(&plan), sticking, &mut list);
            list.into_iter().filter(|f| f.what == "a float never slides").map(|f| f.amount).collect::<Vec<_>>()
        };
        assert_eq!([said(0.25), said(0.0)], [vec!["25.0 % of installations".to_string()], vec![]]);
    }
}
