//! Search for the cheapest set: the closed form of a root-sum-square stack, its weights taken from the real quantile and taken
//! again at each new set, each set brought to the edge of the requirements.
//!
//! At the cheapest set, every tolerance between its bounds saves as many hours for a per cent of opening as every other, for the
//! same loss of margin (Lagrange). Weights come from opening and closing each tolerance on common random numbers.

use super::{Asked, BudgetEffort};
use crate::math::allocate::Part;
use crate::structure::NotConverged;

/// Factor by which one tolerance is opened and closed to see what it does.
const PROBE: f64 = 1.25;

/// Largest change of one tolerance in a round, to begin with; its root where a round brings nothing.
const STRIDE: f64 = 2.2;

/// Requirements whose margins lie so much (as a logarithm) above the least one weigh 1/e of it.
const NEAR: f64 = 0.1;

/// The edge of the requirements is found to this part of the tolerances: while they are exchanged, and at the end.
const EDGES: (f64, f64) = (0.02, 0.003);

/// Past this factor (as a logarithm) every tolerance stands at a bound.
const FAREST: f64 = 10.0;

/// A set at the edge of the requirements.
pub(super) struct Found {
    /// Tolerances (mm or rad).
    pub(super) set: Vec<f64>,
    /// Hours of the planned set scaled to the edge, if it has one.
    pub(super) scaled_hours: Option<f64>,
}

pub(super) struct Search<'s, 'e, 'p> {
    pub(super) asked: &'s Asked<'e, 'p>,
    pub(super) effort: BudgetEffort,
    pub(super) seed: u64,
    pub(super) progress: &'s dyn Fn(),
}

impl Search<'_, '_, '_> {
    /// The cheapest set that was found, or nothing where even the tightest fails.
    pub(super) fn cheapest(&self) -> Result<Option<Found>, NotConverged> {
        let n = self.effort.coarse;
        let planned = self.asked.planned();
        let scaled = |set: &[f64], u: f64| self.bounded(set.iter().map(|t| t * (-u).exp()));
        let Some(start) = self.edge(|u| scaled(&planned, u), 0.0, self.effort.fine)? else { return Ok(None) };
        let scaled_hours = Some(self.asked.hours(&start));
        let mut best = start;
        let mut stride = STRIDE;
        let mut weights = self.weights(&best, n)?;
        for _ in 0..self.effort.rounds {
            match self.exchanged(&best, &weights, stride, n)? {
                Some(next) if self.asked.hours(&next) < self.asked.hours(&best) => {
                    best = next;
                    weights = self.weights(&best, n)?;
                }
                // Too far for these weights.
                _ => stride = stride.sqrt(),
            }
        }
        let set = self.edge(|u| scaled(&best, u), 0.0, self.effort.fine)?;
        Ok(set.map(|set| Found { set, scaled_hours }))
    }

    /// What each tolerance adds to a root-sum-square stack of the margin: its weight on t^2.
    fn weights(&self, set: &[f64], n: u64) -> Result<Vec<f64>, NotConverged> {
        let mut weights = Vec::new();
        for i in 0..set.len() {
            let at = |factor: f64| {
                let mut probe = set.to_vec();
                probe[i] *= factor;
                self.near_margin(&probe, n)
            };
            let loss = (at(1.0 / PROBE)? - at(PROBE)?) / (2.0 * PROBE.ln());
            weights.push(loss.max(0.0) / (2.0 * set[i] * set[i]));
        }
        Ok(weights)
    }

    /// The set that is cheapest for these weights, at the edge of the requirements.
    fn exchanged(&self, set: &[f64], weights: &[f64], stride: f64, n: u64) -> Result<Option<Vec<f64>>, NotConverged> {
        let part = |i: usize| {
            let (cost, exponent) = self.asked.costs[i].1.power_at(set[i]);
            Part { cost, exponent, weight: weights[i] }
        };
        let parts: Vec<Part> = (0..set.len()).map(part).collect();
        // The price at which each tolerance would stay as it is; their mean by what each adds is where the search starts.
        let stays = |(p, t): (&Part, &f64)| {
            let adds = p.weight * t * t;
            let price = p.exponent * p.cost / (2.0 * adds * t.powf(p.exponent));
            (price.is_finite() && price > 0.0).then(|| (adds, adds * price.ln()))
        };
        let (adds, prices) = parts.iter().zip(set).filter_map(stays).fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
        let price = if adds > 0.0 { prices / adds } else { 0.0 };
        let at = |u: f64| {
            let one = |(p, t): (&Part, &f64)| p.at_price(2.0, (price + 3.0 * u).exp()).clamp(t / stride, t * stride);
            self.bounded(parts.iter().zip(set).map(one))
        };
        self.edge(at, 0.0, n)
    }

    fn bounded(&self, set: impl Iterator<Item = f64>) -> Vec<f64> {
        set.zip(&self.asked.costs).map(|(t, (_, c, _))| t.clamp(c.tightest, c.loosest)).collect()
    }

    /// Margin that counts every requirement near its limit: the least one would not see what comes next.
    fn near_margin(&self, set: &[f64], n: u64) -> Result<f64, NotConverged> {
        let margins = self.asked.margins(&self.asked.outcomes(set, self.seed, n)?);
        (self.progress)();
        let least = margins.iter().copied().fold(super::FAR, f64::min);
        Ok(least - NEAR * margins.iter().map(|m| ((least - m) / NEAR).exp()).sum::<f64>().ln())
    }

    /// Least margin of all requirements.
    fn margin(&self, set: &[f64], n: u64) -> Result<f64, NotConverged> {
        let outcomes = self.asked.outcomes(set, self.seed, n)?;
        (self.progress)();
        Ok(self.asked.margins(&outcomes).into_iter().fold(super::FAR, f64::min))
    }

    /// Along sets that tighten as u rises: the loosest that meets the requirements, or nothing where none does.
    fn edge(&self, at: impl Fn(f64) -> Vec<f64>, from: f64, n: u64) -> Result<Option<Vec<f64>>, NotConverged> {
        let meets = |u: f64| Ok(self.margin(&at(u), n)? >= 0.0);
        let (mut meeting, mut failing, mut step) = (from, from, 0.25);
        if meets(from)? {
            loop {
                failing = meeting - step;
                if failing < from - FAREST {
                    return Ok(Some(at(failing)));
                }
                if !meets(failing)? {
                    break;
                }
                meeting = failing;
                step *= 2.0;
            }
        } else {
            loop {
                meeting = failing + step;
                if meeting > from + FAREST {
                    return Ok(None);
                }
                if meets(meeting)? {
                    break;
                }
                failing = meeting;
                step *= 2.0;
            }
        }
        let edge = if n == self.effort.coarse { EDGES.0 } else { EDGES.1 };
        while meeting - failing > edge {
            let middle = f64::midpoint(meeting, failing);
            if meets(middle)? { meeting = middle } else { failing = middle }
        }
        Ok(Some(at(meeting)))
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{asked, stiff, two_heights};
    use super::*;
    use crate::input::ErrorKind::{Height, VerticalParallelism};
    use crate::input::Plan;

    const N: u64 = 200;

    /// Looks at the machine with stiff joints of a plan.
    fn searched<T>(plan: &Plan, look: impl FnOnce(&Search<'_, '_, '_>) -> T) -> T {
        let evaluator = stiff(plan);
        let effort = BudgetEffort { coarse: N, fine: N, verify: N, rounds: 1 };
        look(&Search { asked: &asked(&evaluator), effort, seed: 3, progress: &|| () })
    }

    /// By hand: what is off in proportion to one tolerance loses one of its logarithm for one of the tolerance's, and w t^2 has the slope
    /// 2 w t^2 over it: w = 1 / (2 t^2).
    #[test]
    fn ref_the_weight_of_one_tolerance() {
        let plan = two_heights(&[Height], &[0.5]);
        for t in [0.3, 0.8] {
            let weights = searched(&plan, |s| s.weights(&[t], N)).unwrap();
            assert!((weights[0] * 2.0 * t * t - 1.0).abs() < 1e-4, "{weights:?}");
        }
    }

    /// By hand: of requirements as near as each other two count for a margin less by 0.1 ln 2; one that is 0.1 farther off weighs 1/e.
    #[test]
    fn ref_requirements_near_the_least_take_from_the_margin() {
        let margin = |limits: &[f64]| searched(&two_heights(&[Height], limits), |s| s.near_margin(&[0.4], N)).unwrap();
        let least = margin(&[0.5]);
        assert!(least.abs() < 2.5);
        let e = std::f64::consts::E;
        for (limits, weighs) in [
            (vec![0.5, 0.5], 2.0),
            (vec![0.5, 0.5 * 0.1_f64.exp()], 1.0 + 1.0 / e),
            (vec![0.5 * 0.2_f64.exp(), 0.5, 0.5], 2.0 + 1.0 / (e * e)),
        ] {
            assert!((margin(&limits) - (least - 0.1 * f64::ln(weighs))).abs() < 1e-12, "{limits:?}");
        }
    }

    /// By hand (Lagrange): with hours b/t and what each adds as w t^2, tolerances are as (b/w)^(1/3). Costs of 8 to 1 and weights alike
    /// make them as 2 to 1, weights of 1 to 8 as 4 to 1, and no tolerance changes by more than its stride.
    #[test]
    fn ref_tolerances_are_exchanged_by_the_cube_root_of_cost_over_weight() {
        let kept = [Height, VerticalParallelism];
        let set = [0.3, 0.3];
        let margin = searched(&two_heights(&kept, &[1.0]), |s| s.margin(&set, N)).unwrap();
        let plan = two_heights(&kept, &[(-margin).exp()]);
        for (weights, stride, ratio) in [([1.0, 1.0], 9.0, 2.0), ([50.0, 50.0], 9.0, 2.0), ([1.0, 8.0], 9.0, 4.0), ([1.0, 1.0], 1.2, 1.44)]
        {
            let (found, margin) = searched(&plan, |s| {
                let found = s.exchanged(&set, &weights, stride, N).unwrap().unwrap();
                (found.clone(), s.margin(&found, N).unwrap())
            });
            if stride > 2.0 {
                assert!((found[0] / found[1] / ratio - 1.0).abs() < 1e-9, "{weights:?}: {found:?}");
                assert!((0.0..0.021).contains(&margin), "at the edge: {margin}");
            } else {
                assert!(found.iter().all(|t| *t >= 0.3 / stride - 1e-12 && *t <= 0.3 * stride + 1e-12), "{found:?}");
            }
        }
    }

    /// Where the price of every tolerance is the same already and the requirements are just met, nothing is exchanged.
    #[test]
    fn check_the_cheapest_set_stays_as_it_is() {
        let kept = [Height, VerticalParallelism];
        // Costs of 8 to 1: with weights alike 2 to 1 is cheapest.
        let set = [0.4, 0.2];
        let margin = searched(&two_heights(&kept, &[1.0]), |s| s.margin(&set, N)).unwrap();
        let plan = two_heights(&kept, &[(0.005 - margin).exp()]);
        for weight in [0.2, 7.0, 60.0] {
            let found = searched(&plan, |s| s.exchanged(&set, &[weight; 2], STRIDE, N)).unwrap().unwrap();
            assert!((found[0] - 0.4).abs() < 1e-9 && (found[1] - 0.2).abs() < 1e-9, "{weight}: {found:?}");
        }
    }

    #[test]
    fn check_travel_is_asked_where_there_are_floats() {
        let plan = crate::input::read_plan(include_str!("../../../examples/panel-bridge.toml"), "panel-bridge.toml").unwrap();
        let count = |arrangement: usize| {
            let machine = crate::structure::Machine::new(&plan, arrangement).unwrap();
            let evaluator = crate::evaluate::Evaluator::new(machine, plan.study.drag).unwrap();
            asked(&evaluator).requirements().count()
        };
        assert_eq!((count(0), count(1)), (2, 3));
    }
}
