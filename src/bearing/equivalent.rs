//! One number for a block's five loads, and what the preload adds to it.

use crate::input::plan::{Block, Element};

/// Equivalent loads of a block: dynamic and static.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EquivalentLoad {
    /// P (N), for life, without preload.
    pub dynamic_n: f64,
    /// P0 (N), for static safety.
    pub static_n: f64,
}

impl EquivalentLoad {
    /// P = |Fy| C/Cy + |Fz| C/Cz + C (|Mx|/Mx,dyn + |My|/My,dyn + |Mz|/Mz,dyn), and P0 with the static ratings.
    ///
    /// `load` is Fy, Fz (N), Mx, My, Mz (N mm). Common practice, no source.
    #[must_use]
    pub fn of(block: &Block, load: &[f64; 5]) -> Self {
        let sum = |direction: &[f64; 2], moment: &[f64; 3]| {
            load[0].abs() * direction[0]
                + load[1].abs() * direction[1]
                + load[2].abs() * moment[0]
                + load[3].abs() * moment[1]
                + load[4].abs() * moment[2]
        };
        Self {
            dynamic_n: sum(&block.c_over_direction, &block.c_over_moment_per_mm),
            static_n: sum(&block.c0_over_direction, &block.c0_over_moment_per_mm),
        }
    }
}

/// Load at which a row of a preloaded block unloads: 2^n times the preload (two opposed Hertz contacts).
#[must_use]
pub fn row_unloading_load(block: &Block) -> f64 {
    2.0_f64.powf(block.element.contact_exponent()) * block.preload_n
}

/// Load that counts for life in a preloaded block: up to the load at which a row unloads,
/// `(P/(2^n Fpr) + 1)^n Fpr`, beyond it P. Common practice, from Hertz.
#[must_use]
pub fn effective_load(block: &Block, p_n: f64) -> f64 {
    let limit = row_unloading_load(block);
    if p_n > limit || limit == 0.0 {
        return p_n;
    }
    let over = p_n / limit + 1.0;
    block.preload_n
        * match block.element {
            Element::Ball => over * over.sqrt(),
            Element::Roller => over.powf(block.element.contact_exponent()),
        }
}
