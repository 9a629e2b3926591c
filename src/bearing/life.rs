//! Mean load and rating life of a block, and life of the system of blocks (ISO 14728-1, ISO 281).

use crate::input::plan::{Block, Contact, Element};

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
        self.add_fatigue(share, element.fatigue(load_n));
    }

    /// Adds a mean of load^p that acts during a share of the distance.
    pub fn add_fatigue(&mut self, share: f64, fatigue: f64) {
        self.sum += share * fatigue;
    }

    /// P_m = (sum q_i P_i^p)^(1/p), for shares that add up to 1.
    #[must_use]
    pub fn mean_load_n(&self, element: Element) -> f64 {
        self.sum.powf(1.0 / element.life_exponent())
    }
}

/// Load of each element of a row at which the row, beside its like, gives the block's rating life: Q_c = C/(2 Z sin alpha)
/// x 2^(1/(p e)), so that a load straight down ages the two pressed rows as C ages the block. N.
#[must_use]
pub fn row_rating_n(block: &Block, contact: &Contact) -> f64 {
    contact.share_n(block.c_n) * 2.0_f64.powf(1.0 / (block.element.life_exponent() * block.element.weibull_slope()))
}

/// L = a1 (Q_c / (f_w Q_m))^p x 100 km of one row; infinite without load.
#[must_use]
pub fn row_life_km(block: &Block, row_rating_n: f64, mean_element_n: f64) -> f64 {
    let ratio = row_rating_n / (block.load_factor * mean_element_n);
    block.a1 * ratio.powf(block.element.life_exponent()) * RATING_DISTANCE_KM
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

/// Life after which the first block of a system fails: (sum L_i^-e)^(-1/e).
#[must_use]
pub fn system_life_km(element: Element, lives_km: impl IntoIterator<Item = f64>) -> f64 {
    let e = element.weibull_slope();
    lives_km.into_iter().map(|l| l.powf(-e)).sum::<f64>().powf(-1.0 / e)
}
