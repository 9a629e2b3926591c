//! A place where a study leaves what it has prepared for a machine, so that the next one finds it. The evaluator does not know
//! what it is: rooms below it may not be named here.

use std::any::Any;
use std::sync::{Arc, OnceLock};

/// What was left first stays.
#[derive(Default)]
pub(crate) struct Keepsake(OnceLock<Arc<dyn Any + Send + Sync>>);

impl Keepsake {
    /// What was left, if it is of this type.
    pub(crate) fn get<T: Any + Send + Sync>(&self) -> Option<Arc<T>> {
        self.0.get().and_then(|kept| Arc::clone(kept).downcast().ok())
    }

    /// Leaves it, where nothing was left before.
    pub(crate) fn keep<T: Any + Send + Sync>(&self, value: &Arc<T>) {
        let _ = self.0.get_or_init(|| Arc::clone(value) as Arc<dyn Any + Send + Sync>);
    }
}
