//! One ball or roller between its two raceways: force over approach, pressure, lasting dent.

use super::element::{Contact, Element};
use super::hertz::{Ellipse, point_contact};

/// A rolling element with both of its contacts in series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rolling {
    /// Ball or roller.
    pub element: Element,
    /// Force at an approach of 1 mm over both contacts: Q = stiffness x approach^n, N/mm^n.
    pub stiffness_n_per_mm_n: f64,
    /// Ellipse of each contact; none for a roller.
    pub ellipse: Option<Ellipse>,
    diameter_mm: f64,
    roller_length_mm: f64,
    modulus_mpa: f64,
}

/// Stiffness of a steel roller between two raceways: 35,948 L^(8/9) N/mm^(10/9) (ISO/TS 16281, from memory).
const STEEL_ROLLER: f64 = 35_948.0;

/// Modulus E/(2 (1 - nu^2)) of the steel behind that figure, MPa.
const STEEL_MODULUS_MPA: f64 = 206_000.0 / (2.0 * (1.0 - 0.09));

impl Rolling {
    /// The element of a block's geometry; `None` where it makes no contact.
    ///
    /// Balls by exact Hertz, two like contacts in series. Rollers by the common figure for steel, which holds both
    /// contacts, in proportion to the modulus to the power 8/9.
    #[must_use]
    pub fn new(contact: &Contact) -> Option<Self> {
        let modulus_mpa = contact.e_mpa / (2.0 * (1.0 - contact.nu * contact.nu));
        let (ellipse, stiffness) = match contact.element {
            Element::Ball => {
                let ellipse = point_contact(contact.diameter_mm, contact.conformity, contact.e_mpa, contact.nu)?;
                // Two like contacts in series: each takes half of the approach.
                (Some(ellipse), ellipse.stiffness_n_per_mm15 / 2.0_f64.powf(1.5))
            }
            Element::Roller => {
                let power = 8.0 / 9.0;
                let stiffness = STEEL_ROLLER * (contact.roller_length_mm * modulus_mpa / STEEL_MODULUS_MPA).powf(power);
                (None, stiffness)
            }
        };
        (stiffness.is_finite() && stiffness > 0.0).then_some(Self {
            element: contact.element,
            stiffness_n_per_mm_n: stiffness,
            ellipse,
            diameter_mm: contact.diameter_mm,
            roller_length_mm: contact.roller_length_mm,
            modulus_mpa,
        })
    }

    /// Approach over both contacts under a force, mm.
    #[must_use]
    pub fn approach_mm(&self, force_n: f64) -> f64 {
        (force_n / self.stiffness_n_per_mm_n).powf(1.0 / self.element.contact_exponent())
    }

    /// Largest pressure under a force, MPa: Hertz for a point, sqrt(Q E* / (pi R L)) for a line on a flat (Johnson, 4.45).
    #[must_use]
    pub fn pressure_mpa(&self, force_n: f64) -> f64 {
        match &self.ellipse {
            Some(ellipse) => ellipse.pressure_mpa(force_n),
            None => {
                let radius = self.diameter_mm / 2.0;
                (force_n.max(0.0) * self.modulus_mpa / (std::f64::consts::PI * radius * self.roller_length_mm)).sqrt()
            }
        }
    }

    /// Lasting dent over the ball's diameter under a force: 1.3e-7 Q^2/D x (sums of curvatures in both planes), N and mm,
    /// hardened steel (Lundberg, Palmgren and Bratt 1943, from memory). ISO 14728-2 allows 1e-4 under C0. None for rollers.
    #[must_use]
    pub fn dent_over_diameter(&self, force_n: f64) -> Option<f64> {
        let curvatures = self.ellipse?.curvatures_per_mm();
        Some(1.3e-7 * force_n * force_n * curvatures[0] * curvatures[1] / (self.diameter_mm * self.diameter_mm))
    }

    /// Contact pressure that is commonly set against C0, MPa: 4,200 for balls, 4,000 for rollers (ISO 76, from memory).
    #[must_use]
    pub fn common_limit_mpa(&self) -> f64 {
        match self.element {
            Element::Ball => 4_200.0,
            Element::Roller => 4_000.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact::sample;

    fn near(got: f64, expected: f64) {
        assert!((got / expected - 1.0).abs() < 1e-12, "{got} against {expected}");
    }

    #[test]
    fn ref_rollers_of_steel_and_of_half_the_modulus() {
        // ISO/TS 16281 (from memory): 35,948 L^(8/9); half the modulus gives 2^(-8/9) of it.
        let steel = Rolling::new(&sample(Element::Roller)).unwrap();
        near(steel.stiffness_n_per_mm_n, 35_948.0 * 6.0_f64.powf(8.0 / 9.0));
        let soft = Rolling::new(&Contact { e_mpa: 103_000.0, ..sample(Element::Roller) }).unwrap();
        near(soft.stiffness_n_per_mm_n, steel.stiffness_n_per_mm_n * 0.5_f64.powf(8.0 / 9.0));
        near(steel.stiffness_n_per_mm_n * steel.approach_mm(500.0).powf(10.0 / 9.0), 500.0);
        // Johnson 4.45: sqrt(Q E* / (pi R L)), E* = 206,000 / 1.82, R = 2, L = 6; nothing where nothing presses.
        near(steel.pressure_mpa(500.0), (500.0 * 206_000.0 / 1.82 / (std::f64::consts::PI * 2.0 * 6.0)).sqrt());
        assert_eq!(steel.pressure_mpa(-1.0), 0.0);
        assert!(steel.ellipse.is_none() && steel.dent_over_diameter(500.0).is_none());
        assert_eq!(steel.common_limit_mpa(), 4_000.0);
        assert!(Rolling::new(&Contact { roller_length_mm: 0.0, ..sample(Element::Roller) }).is_none());
    }

    #[test]
    fn ref_balls_give_in_both_grooves_and_dent() {
        let ball = Rolling::new(&sample(Element::Ball)).unwrap();
        let one = point_contact(4.0, 0.52, 206_000.0, 0.3).unwrap();
        near(ball.approach_mm(80.0), 2.0 * one.approach_mm(80.0));
        near(ball.pressure_mpa(80.0), one.pressure_mpa(80.0));
        assert_eq!(ball.common_limit_mpa(), 4_200.0);
        // 1.3e-7 Q^2/D x sums of curvatures, over D (Lundberg, Palmgren and Bratt 1943, from memory): by hand
        // 2/4 and 2/4 - 1/(0.52 x 4) per mm.
        let (along, across) = (0.5, 0.5 - 1.0 / 2.08);
        near(ball.dent_over_diameter(80.0).unwrap(), 1.3e-7 * 6400.0 / 16.0 * along * across);
        assert_eq!(one.pressure_mpa(0.0), 0.0);
    }
}
