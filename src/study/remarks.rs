//! What is odd about a stated installation: errors outside their tolerances, seats of joints that are not there.

use super::findings::Finding;
use crate::input::plan::Arrangement;
use crate::input::{ErrorKind, Installation, Plan};

/// Remarks on a stated installation of a plan, traced with one of its arrangements. Profiles are held by their peak-to-valley.
#[must_use]
pub fn remarks(plan: &Plan, arrangement: &Arrangement, installation: &Installation) -> Vec<Finding> {
    let mut list = Vec::new();
    for spec in &ErrorKind::ALL {
        let source = plan.errors.get(spec.kind);
        let (lower, upper) = source.map_or((0.0, 0.0), |s| (s.lower, s.upper));
        let slack = 1e-9 * (1.0 + upper.abs().max(lower.abs()));
        let outside = spec.amounts(installation).into_iter().filter(|v| *v < lower - slack || *v > upper + slack);
        let Some(worst) = outside.max_by(|a, b| a.abs().total_cmp(&b.abs())) else { continue };
        let (scale, unit) = (spec.factor(), spec.unit());
        let word = |v: f64| format!("{:.3}", v / scale);
        let (what, allowed) = match source {
            Some(_) => ("a stated error is outside its tolerance", format!("allowed {} to {}", word(lower), word(upper))),
            None => ("a stated error has no tolerance in the plan", "a study takes it as zero".to_string()),
        };
        list.push(Finding {
            what: what.into(),
            place: spec.label.into(),
            amount: format!("{} {unit}, {allowed}", word(worst)),
            advice: "The trace counts it as stated; studies of the plan do not reach it.".into(),
        });
    }
    for (end, seats) in installation.seats.iter().enumerate() {
        let there = arrangement.ends[end].len();
        for number in (there..seats.len()).filter(|&n| seats[n].iter().any(|v| *v != 0.0)) {
            list.push(Finding {
                what: "a stated seat belongs to no joint of this arrangement".into(),
                place: format!("{}, end {}", arrangement.name, ["a", "b"][end]),
                amount: format!("joint {} of {there}", number + 1),
                advice: "It is left out here; another arrangement has that joint.".into(),
            });
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    fn plan() -> Plan {
        read_plan(include_str!("../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap()
    }

    /// One at a time, each kind of error is put a little beyond its limits and a little inside.
    #[test]
    fn check_an_error_is_remarked_on_where_it_leaves_its_limits() {
        let plan = plan();
        let n = plan.frame.anchors_x_mm.len();
        let mut tried = 0;
        for spec in &ErrorKind::ALL {
            let Some(source) = plan.errors.get(spec.kind) else { continue };
            let said = |value: f64| {
                let mut i = Installation::perfect(&plan);
                if spec.is_profile() {
                    let mut profile = vec![0.0; n];
                    (profile[1], profile[3]) = (0.25 * value, -0.75 * value);
                    spec.home.set_profile(profile, &mut i);
                } else {
                    spec.home.set(spec.home.members(&i) / 2, value, &mut i);
                }
                remarks(&plan, &plan.arrangements[0], &i)
            };
            let beyond = said(1.001 * source.upper);
            assert_eq!(beyond.len(), 1, "{}", spec.key);
            assert_eq!((beyond[0].what.as_str(), beyond[0].place.as_str()), ("a stated error is outside its tolerance", spec.label));
            let word = 1.001 * source.upper / spec.factor();
            assert!(beyond[0].amount.starts_with(&format!("{word:.3} ")), "{}: {}", spec.key, beyond[0].amount);
            assert!(said(source.upper).is_empty() && said(0.999 * source.upper).is_empty(), "{}", spec.key);
            if source.lower < 0.0 {
                assert_eq!(said(1.001 * source.lower).len(), 1, "{}", spec.key);
                assert!(said(source.lower).is_empty(), "{}", spec.key);
            }
            tried += 1;
        }
        assert!(tried > 10, "{tried}");
    }

    /// However wide: at the limit an error is inside.
    #[test]
    fn check_a_wide_limit_may_be_reached() {
        let mut plan = plan();
        plan.errors.sources.iter_mut().filter(|s| s.kind == ErrorKind::Height).for_each(|s| (s.lower, s.upper) = (-7.0, 9.0));
        let said =
            |height_mm: f64| remarks(&plan, &plan.arrangements[0], &Installation { height_mm, ..Installation::perfect(&plan) }).len();
        assert_eq!([-7.0, 9.0, -7.001, 9.001].map(said), [0, 0, 1, 1]);
    }

    #[test]
    fn check_seats_of_joints_that_are_not_there_are_named() {
        let plan = plan();
        let arrangement = &plan.arrangements[0];
        let there = arrangement.ends[1].len();
        let mut i = Installation::perfect(&plan);
        i.seats[1].resize(there + 2, [0.0; 6]);
        i.seats[1][there + 1][0] = 0.5 * plan.errors.get(ErrorKind::Seat).map_or(0.0, |s| s.upper);
        let said = remarks(&plan, arrangement, &i);
        let named: Vec<&Finding> = said.iter().filter(|f| f.what.contains("belongs to no joint")).collect();
        let seat_is_free = plan.errors.get(ErrorKind::Seat).is_none();
        assert_eq!(named.len(), usize::from(!seat_is_free), "{said:?}");
        assert!(named.iter().all(|f| f.amount == format!("joint {} of {there}", there + 2) && f.place.ends_with("end b")));
    }

    /// What rounding leaves, a billionth of 1 and the greater limit, is let pass: 1e-8 beside -7 to 9 and -9 to 7.
    #[test]
    fn check_rounding_beyond_a_limit_is_not_remarked_on() {
        let mut plan = plan();
        let mut said = |(lower, upper): (f64, f64), height_mm: f64| {
            plan.errors.sources.iter_mut().filter(|s| s.kind == ErrorKind::Height).for_each(|s| (s.lower, s.upper) = (lower, upper));
            remarks(&plan, &plan.arrangements[0], &Installation { height_mm, ..Installation::perfect(&plan) }).len()
        };
        for limits in [(-7.0, 9.0), (-9.0, 7.0)] {
            assert_eq!([9.5e-9, 1.1e-8].map(|beyond| said(limits, limits.1 + beyond)), [0, 1], "{limits:?}");
            assert_eq!([9.5e-9, 1.1e-8].map(|beyond| said(limits, limits.0 - beyond)), [0, 1], "{limits:?}");
        }
        assert_eq!([0.9e-9, 1.1e-9].map(|beyond| said((0.0, 0.0), beyond)), [0, 1]);
    }
}
