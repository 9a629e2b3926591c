//! From block loads to life: equivalent load, preload, static safety, mean over stroke and duty, L10.

mod equivalent;
mod life;

pub use equivalent::{EquivalentLoad, effective_load, row_unloading_load};
pub use life::{LifeSum, mean_load, rating_life_km, row_life_km, row_rating_n, system_life_km};
