//! What the shim box can make: thicknesses in whole steps, and the stack for each.

use super::Correction;

/// Thicknesses in whole steps of the thinnest shim.
#[derive(Debug, Clone, PartialEq)]
pub struct Increments {
    /// One step, mm.
    pub step_mm: f64,
    /// Most steps of which every smaller number can be stacked too.
    pub most: i32,
}

fn micrometres(mm: f64) -> i64 {
    (mm * 1000.0).round() as i64
}

impl Increments {
    /// What the box makes with the allowed number of shims in a stack: every multiple of the thinnest shim up to the first
    /// that cannot be stacked, at most the greatest thickness.
    #[must_use]
    pub fn new(correction: &Correction) -> Self {
        let step_mm = correction.shims_mm.first().copied().unwrap_or(0.05);
        let mut most = 0;
        while f64::from(most + 1) * step_mm <= correction.most_mm + 1e-9 && stack(correction, f64::from(most + 1) * step_mm).is_some() {
            most += 1;
        }
        Self { step_mm, most }
    }
}

/// The fewest shims that make a thickness, thickest first; `None` where the box or the stack's limit does not allow it.
#[must_use]
pub fn stack(correction: &Correction, thickness_mm: f64) -> Option<Vec<f64>> {
    let target = micrometres(thickness_mm);
    let sizes: Vec<i64> = correction.shims_mm.iter().map(|s| micrometres(*s)).filter(|s| *s > 0).collect();
    // Breadth first: thicknesses that can be made with one more shim.
    let mut made: Vec<(i64, Vec<i64>)> = vec![(0, Vec::new())];
    for _ in 0..=correction.most_shims {
        if let Some((_, shims)) = made.iter().find(|(t, _)| *t == target) {
            let mut list = shims.clone();
            list.sort_unstable_by(|a, b| b.cmp(a));
            return Some(list.into_iter().map(|um| um as f64 / 1000.0).collect());
        }
        let mut next: Vec<(i64, Vec<i64>)> = Vec::new();
        for (t, shims) in &made {
            for s in sizes.iter().filter(|s| t + **s <= target && shims.last().is_none_or(|last| *s <= last)) {
                if !next.iter().any(|(n, _)| *n == t + s) {
                    let mut more = shims.clone();
                    more.push(*s);
                    next.push((t + s, more));
                }
            }
        }
        made = next;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shop(shims_mm: &[f64], most_shims: usize, most_mm: f64) -> Correction {
        Correction {
            stated: true,
            shims_mm: shims_mm.to_vec(),
            most_shims,
            most_mm,
            slot_mm: 1.0,
            lateral_step_mm: 0.02,
            largest_step_mm: 0.5,
            taper_rad: [0.0; 2],
            fixed: Vec::new(),
            master: None,
        }
    }

    #[test]
    fn stacks_are_made_of_what_is_in_the_box() {
        let b = shop(&[0.05, 0.1, 0.2, 0.5, 1.0], 4, 2.0);
        assert_eq!(stack(&b, 0.85), Some(vec![0.5, 0.2, 0.1, 0.05]));
        assert_eq!(stack(&b, 0.4), Some(vec![0.2, 0.2]));
        assert_eq!(stack(&b, 0.03), None);
        assert_eq!(Increments::new(&b), Increments { step_mm: 0.05, most: 36 });
        // 1.85 would take five shims.
        assert_eq!(stack(&b, 1.85), None);
        assert_eq!(stack(&b, 0.95), Some(vec![0.5, 0.2, 0.2, 0.05]));
    }

    #[test]
    fn a_gap_in_the_box_ends_the_list() {
        assert_eq!(Increments::new(&shop(&[0.1, 0.5], 2, 2.0)), Increments { step_mm: 0.1, most: 2 });
        assert_eq!(Increments::new(&shop(&[0.1], 20, 0.5)).most, 5);
    }

    /// Fewest coins for an amount, counted up from nothing.
    #[test]
    fn cross_stacks_have_the_fewest_shims() {
        for sizes in [vec![50_usize, 100, 200, 500, 1000], vec![20, 30, 70, 250], vec![30, 50]] {
            let mut fewest = vec![Some(0_usize)];
            for t in 1..=1500 {
                fewest.push(sizes.iter().filter(|s| **s <= t).filter_map(|s| fewest[t - s]).min().map(|n| n + 1));
            }
            let mm = |um: usize| um as f64 / 1000.0;
            let list: Vec<f64> = sizes.iter().map(|s| mm(*s)).collect();
            for most in [1, 3, 6] {
                for t in (0..=1500).step_by(10) {
                    let found = stack(&shop(&list, most, 2.0), mm(t));
                    assert_eq!(found.as_ref().map(Vec::len), fewest[t].filter(|n| *n <= most), "{t} of {sizes:?}");
                    let sum = |s: &Vec<f64>| (s.iter().sum::<f64>() - mm(t)).abs() < 1e-9 && s.is_sorted_by(|a, b| a >= b);
                    assert!(found.is_none_or(|s| sum(&s)));
                }
            }
        }
    }
}
