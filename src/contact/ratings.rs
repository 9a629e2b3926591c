//! Ratings and stiffness that a block's geometry gives where its data sheet is silent.

use nalgebra::Cholesky;

use super::block::{Matrix5, RowBlock, Vector5};
use super::element::Contact;

/// Preload, as a share of C, at which the stiffness of a block without preload is taken: a stated working point.
const WORKING_POINT: f64 = 0.01;

/// Loads that age or dent the most loaded rows as C and C0 do when they press straight down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GeometryRatings {
    /// Across the rail: dynamic and static, N.
    pub lateral_n: [f64; 2],
    /// About x, y, z (roll, pitch, yaw): dynamic and static, N mm.
    pub moment_n_mm: [[f64; 2]; 3],
}

/// Ratings across and in moment from the geometry of the rows.
///
/// Without preload every element's load is proportional to the load, so one solution a direction suffices. Dynamic: the
/// load under which the rows together last as long as under C; static: the load under which the most loaded element
/// carries what it does under C0. `None` where the geometry makes no contact.
#[must_use]
pub fn geometry_ratings(contact: &Contact, c_n: f64, c0_n: f64) -> Option<GeometryRatings> {
    let block = RowBlock::new(contact, 0.0)?;
    let element = contact.element;
    let power = element.life_exponent() * element.weibull_slope();
    let rating = |axis: usize, unit: f64| -> Option<[f64; 2]> {
        let mut load = Vector5::zeros();
        load[axis] = unit;
        let rows = block.row_loads(&balance(&block, &load)?);
        let sum: f64 = rows.iter().map(|r| r.fatigue.powf(element.weibull_slope())).sum();
        let down = 2.0 * contact.share_n(c_n).powf(power);
        let greatest = rows.iter().map(|r| r.greatest_n).fold(0.0, f64::max);
        Some([unit * (down / sum).powf(1.0 / power), unit * contact.share_n(c0_n) / greatest])
    };
    // Any load does; one that presses elements about as hard as C does keeps the digits.
    let arm = contact.row_lateral_mm.max(contact.pitch_mm);
    let moment = |axis| rating(axis, 0.1 * c_n * arm);
    Some(GeometryRatings { lateral_n: rating(0, 0.1 * c_n)?, moment_n_mm: [moment(2)?, moment(3)?, moment(4)?] })
}

/// Stiffness around the preloaded place; without preload that of the same block with 1 % of C.
#[must_use]
pub fn stiffness_from_geometry(contact: &Contact, preload_n: f64, c_n: f64) -> Option<[f64; 5]> {
    let at = if preload_n > 0.0 { preload_n } else { WORKING_POINT * c_n };
    Some(RowBlock::new(contact, at)?.stiffness_at_rest())
}

/// Displacement at which the block balances a load: Newton on the convex energy with halved steps.
fn balance(block: &RowBlock, load: &Vector5) -> Option<Vector5> {
    let energy = |d: &Vector5| block.at(d).energy_n_mm - load.dot(d);
    // One working element's approach under the whole load starts inside the contacts.
    let scale = block.rolling.approach_mm(load.norm() / block.elements_x_mm().len() as f64);
    let mut d = load * (scale / load.norm());
    let mut least = energy(&d);
    for _ in 0..100 {
        let (force, tangent) = block.force_and_tangent(&d);
        let gradient = force - load;
        if gradient.norm() < 1e-12 * load.norm() {
            return Some(d);
        }
        let held = tangent + Matrix5::from_diagonal(&tangent.diagonal()) * 1e-9;
        let step = Cholesky::new(held)?.solve(&gradient);
        let mut share = 1.0;
        let mut next = d - step;
        let mut reached = energy(&next);
        // Energies are compared to their own last digits only.
        while reached > least + 1e-12 * least.abs() && share > 1e-6 {
            share *= 0.5;
            next = d - step * share;
            reached = energy(&next);
        }
        if share <= 1e-6 {
            return (gradient.norm() < 1e-7 * load.norm()).then_some(d);
        }
        (d, least) = (next, reached);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact::{Element, sample};

    #[test]
    fn check_without_preload_the_stiffness_is_that_of_a_hundredth_of_c() {
        let contact = sample(Element::Ball);
        let stated = stiffness_from_geometry(&contact, 200.0, 1.0).unwrap();
        assert_eq!(stiffness_from_geometry(&contact, 0.0, 20_000.0).unwrap(), stated);
        assert!(stated.iter().all(|k| *k > 0.0));
    }
}
