//! Where a machine is while its equilibrium is sought.

use super::Vector24;

/// What a block's support gives way by: y, z (mm), roll (rad).
pub(super) type Yield = [f64; 3];

/// A state of a problem, and with it the working memory of a search.
#[derive(Debug, Clone, Default)]
pub(super) struct State {
    pub(super) pose: Vector24,
    /// What the supports of contact-level blocks yield; empty or all blocks.
    pub(super) yields: Vec<Yield>,
}

impl State {
    /// The state a share of a step further.
    pub(super) fn moved(&self, step: &Vector24, steps: &[Yield], share: f64) -> Self {
        let yields = self.yields.iter().zip(steps).map(|(s, ds)| std::array::from_fn(|i| s[i] + share * ds[i]));
        Self { pose: self.pose + step * share, yields: yields.collect() }
    }
}
