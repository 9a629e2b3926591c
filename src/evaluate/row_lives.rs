//! Life and unloading row by row, for blocks at the contact level.

use super::{BlockOutcome, Outcome, RowsOutcome};
use crate::bearing::{LifeSum, row_life_km, system_life_km};
use crate::contact::{RowBlock, RowLoad};
use crate::input::plan::Block;

/// Running sums of the four rows of one block.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct RowLives([LifeSum; 4]);

impl RowLives {
    /// Counts the rows' loads during a share of the distance.
    pub(crate) fn note(&mut self, rows: &[RowLoad; 4], share: f64, block: &mut BlockOutcome) {
        for (sum, row) in self.0.iter_mut().zip(rows) {
            sum.add_fatigue(share, row.fatigue);
            block.peak_element_n = block.peak_element_n.max(row.greatest_n);
            block.row_unloading = block.row_unloading.max(1.0 - row.approach_over_preload);
        }
    }
}

/// Turns the sums into lives: rows to blocks, blocks to the system, which then counts instead of the life by load.
pub(crate) fn finish(data: &Block, rating_n: f64, rows: &RowBlock, outcome: &mut Outcome, sums: &[RowLives], blocks: &mut [BlockOutcome]) {
    let life_by_load_km = outcome.life_km;
    let (mut peak_element_n, mut row_unloading) = (0.0_f64, 0.0_f64);
    for (block, sums) in blocks.iter_mut().zip(sums) {
        let of_row = |sum: &LifeSum| row_life_km(data, rating_n, sum.mean_load_n(data.element));
        block.life_km = system_life_km(data.element, sums.0.iter().map(of_row));
        peak_element_n = peak_element_n.max(block.peak_element_n);
        row_unloading = row_unloading.max(block.row_unloading);
    }
    outcome.life_km = system_life_km(data.element, blocks.iter().map(|b| b.life_km));
    outcome.row_unloading = row_unloading;
    let under_c0 = data.contact.as_ref().map_or(f64::NAN, |c| c.share_n(data.c0_n));
    outcome.rows = Some(RowsOutcome {
        life_by_load_km,
        peak_element_n,
        peak_pressure_mpa: rows.rolling.pressure_mpa(peak_element_n),
        element_safety: under_c0 / peak_element_n,
    });
}
