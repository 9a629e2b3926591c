//! Readings of one direction as functions of the rails' profiles.

use super::corrected::Corrected;
use crate::errors::{LATERAL, ROLL, VERTICAL};
use crate::geometry::Observation;
use crate::input::plan::Plan;
use crate::input::survey::{Quantity, Reading, Reference};
use crate::units::{A, B};

/// Readings of one direction as functions of the profiles: with scale, level's zero and each rail's own reference line.
pub(super) fn observations(
    plan: &Plan,
    corrected: &Corrected,
    reference: Reference,
    direction: usize,
) -> (Vec<Reading>, Vec<Observation>, Vec<f64>) {
    let span = plan.frame.span_mm;
    let each = reference == Reference::EachRail;
    let wide = 30.0 * corrected.readings.iter().map(|r| r.value.abs()).fold(1.0, f64::max);
    // Unknown 0: scale in lateral, level's zero in roll; 1 to 4: offset and drift of each rail's own reference line.
    let common = match direction {
        LATERAL => corrected.scale,
        ROLL => corrected.level_zero_rad,
        _ => 0.0,
    };
    let nuisance = if each && direction != ROLL { vec![common, wide, wide, wide, wide] } else { vec![common] };
    let (mut used, mut list) = (Vec::new(), Vec::new());
    for r in &corrected.readings {
        let (wanted, factors) = match (r.quantity, r.rail) {
            (Quantity::Lateral, Some(rail)) => (LATERAL, single(rail)),
            (Quantity::Vertical, Some(rail)) => (VERTICAL, single(rail)),
            (Quantity::CrossLevel, Some(rail)) => (ROLL, single(rail)),
            (Quantity::Gauge, _) => (LATERAL, [-1.0, 1.0]),
            (Quantity::Height, _) => (VERTICAL, [-1.0, 1.0]),
            _ => continue,
        };
        if wanted != direction {
            continue;
        }
        let mut more = Vec::new();
        if direction == LATERAL && factors[B] > 0.0 && !(each && r.quantity == Quantity::Lateral) {
            more.push((0, span));
        }
        if direction == ROLL {
            more.push((0, 1.0));
        }
        if each && matches!(r.quantity, Quantity::Lateral | Quantity::Vertical) {
            let rail = r.rail.unwrap_or(A);
            more.push((1 + 2 * rail, 1.0));
            more.push((2 + 2 * rail, plan.frame.s(r.x_mm)));
        }
        let uncertainty = r.uncertainty.unwrap_or(f64::NAN);
        list.push(Observation { x_mm: r.x_mm, factors, nuisance: more, value: r.value, uncertainty });
        used.push(r.clone());
    }
    (used, list, nuisance)
}

pub(super) fn single(rail: usize) -> [f64; 2] {
    if rail == A { [1.0, 0.0] } else { [0.0, 1.0] }
}
