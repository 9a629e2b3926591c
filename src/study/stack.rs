//! What the hand calculation would have said: tolerances stacked along the slopes at nominal.
//!
//! Each source counts its slope at the middle of its tolerance times its half-width (a profile: the most that its zone
//! allows along its slope). Arithmetic adds them, RSS takes the root of their squares. Both read a curve as a straight line.

use super::worst::{QUANTITIES, Quantity, ToleranceBox};
use crate::draw::Draws;
use crate::evaluate::service_states;
use crate::evaluate::{Evaluator, Work};
use crate::math::Corners;
use crate::structure::NotConverged;

/// Step of the slopes, as a share of the half-width.
const STEP: f64 = 1e-3;

/// One quantity stacked.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Stack {
    /// Key of the quantity.
    pub key: &'static str,
    /// Its value at the middle of all tolerances, in service.
    pub nominal: f64,
    /// Root-sum-square stack, on the bad side.
    pub rss: f64,
    /// Arithmetic stack, on the bad side.
    pub arithmetic: f64,
}

/// Stacks every quantity of a machine.
///
/// A slope is the steeper of the two sides: largest loads and distances have a corner at nominal.
///
/// # Errors
/// An equilibrium was not found.
pub fn stack(evaluator: &Evaluator<'_>) -> Result<Vec<Stack>, NotConverged> {
    let plan = evaluator.plan();
    let draws = Draws::new(plan, evaluator.machine.rails());
    let tolerance_box = ToleranceBox::new(plan, draws.modes().clone());
    let service = service_states(plan);
    let mut work = Work::default();
    let mut at = |point: &[f64]| evaluator.evaluate(&tolerance_box.installation(plan, point), &service, &mut work);
    let mut point = vec![0.0; tolerance_box.dimension()];
    let nominal = at(&point)?;
    let mut slopes = vec![vec![0.0; point.len()]; QUANTITIES.len()];
    for j in 0..point.len() {
        point[j] = STEP;
        let up = at(&point)?;
        point[j] = -STEP;
        let down = at(&point)?;
        point[j] = 0.0;
        for (q, slope) in QUANTITIES.iter().zip(&mut slopes) {
            let change = |o| ((q.value)(o) - (q.value)(&nominal)).abs();
            slope[j] = change(&up).max(change(&down)) / STEP;
        }
    }
    let stacked = |(q, slope): (&Quantity, &Vec<f64>)| {
        let parts = parts(&tolerance_box, slope);
        let worse = if q.less_is_worse { -1.0 } else { 1.0 };
        let nominal = (q.value)(&nominal);
        let root = parts.iter().map(|p| p * p).sum::<f64>().sqrt();
        Stack { key: q.key, nominal, rss: nominal + worse * root, arithmetic: nominal + worse * parts.iter().sum::<f64>() }
    };
    Ok(QUANTITIES.iter().zip(&slopes).map(stacked).collect())
}

/// What each source adds: scalars one by one, a profile as one.
fn parts(tolerance_box: &ToleranceBox, slope: &[f64]) -> Vec<f64> {
    let (n, m) = (tolerance_box.scalars(), tolerance_box.modes());
    let mut parts: Vec<f64> = slope[..n].to_vec();
    let mut corners = Corners::default();
    for i in 0..tolerance_box.profiles() {
        let mut row = vec![0.0; slope.len()];
        row[n + i * m..n + (i + 1) * m].copy_from_slice(&slope[n + i * m..n + (i + 1) * m]);
        parts.push(tolerance_box.support(&row, &mut corners).0);
    }
    parts
}
