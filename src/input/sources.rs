//! Sources of error of a plan: between which limits each lies, how it is spread.

use super::classes::Classed;
use super::cost::ErrorCost;
pub use super::source::{Source, Spread};
pub use crate::errors::{ErrorKind, ErrorSpec, ZoneMeaning};

/// All sources of a plan, in the order in which they are drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ErrorSources {
    /// The sources; an error that is not named is zero.
    pub sources: Vec<Source>,
    /// Those whose limits came from a class of a standard.
    pub classes: Vec<Classed>,
    /// What they cost, where the plan tells.
    pub costs: Vec<ErrorCost>,
}

impl ErrorSources {
    /// The source of an error, if the plan names it.
    #[must_use]
    pub fn get(&self, kind: ErrorKind) -> Option<&Source> {
        self.sources.iter().find(|s| s.kind == kind)
    }
}
