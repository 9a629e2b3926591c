//! Mean load and rating life of a block, and life of the system of blocks (ISO 14728-1, ISO 281).

use crate::input::plan::{Block, Element};

/// Distance of one unit of rating life, km.
const RATING_DISTANCE_KM: f64 = 100.0;

/// Running sum of share x load^p of one block.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LifeSum {
    sum: f64,
}

impl LifeSum {
    /// Adds a load (N) that acts during a share of the distance.
    pub fn add(&mut self, element: Element, share: f64, load_n: f64) {
        self.sum += share
            * match element {
                Element::Ball => load_n * load_n * load_n,
                Element::Roller => load_n.powf(element.life_exponent()),
            };
    }

    /// P_m = (sum q_i P_i^p)^(1/p), for shares that add up to 1.
    #[must_use]
    pub fn mean_load_n(&self, element: Element) -> f64 {
        self.sum.powf(1.0 / element.life_exponent())
    }
}

/// Mean load of (share, load) pairs whose shares add up to 1.
#[must_use]
pub fn mean_load(element: Element, loads: &[(f64, f64)]) -> f64 {
    let mut sum = LifeSum::default();
    loads.iter().for_each(|&(share, load)| sum.add(element, share, load));
    sum.mean_load_n(element)
}

/// L = a1 (C / (f_w P_m))^p x 100 km (ISO 14728-1; a1 by ISO 281:2007); infinite without load.
#[must_use]
pub fn rating_life_km(block: &Block, mean_load_n: f64) -> f64 {
    let ratio = block.c_n / (block.load_factor * mean_load_n);
    block.a1 * ratio.powf(block.element.life_exponent()) * RATING_DISTANCE_KM
}

/// Weibull slope of rolling fatigue: 10/9 for balls, 9/8 for rollers (Lundberg and Palmgren; from memory).
#[must_use]
pub fn weibull_slope(element: Element) -> f64 {
    match element {
        Element::Ball => 10.0 / 9.0,
        Element::Roller => 9.0 / 8.0,
    }
}

/// Life after which the first block of a system fails: (sum L_i^-e)^(-1/e).
#[must_use]
pub fn system_life_km(element: Element, lives_km: impl IntoIterator<Item = f64>) -> f64 {
    let e = weibull_slope(element);
    lives_km.into_iter().map(|l| l.powf(-e)).sum::<f64>().powf(-1.0 / e)
}
