//! The constants of a block's situations, put together so that what several of them share is counted once.
//!
//! P is a sum of five sizes |load + constant|. A load case changes all five constants; a season or the drag's direction leaves
//! some of them as they are. Situations with the same two constants form a group: their two sizes are added once.

/// Situations of one block, group by group.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Groups {
    /// Which of the five loads are shared by a group, and the others.
    pub(super) shared: [usize; 2],
    pub(super) own: [usize; 3],
    /// Constants of the shared loads, and how many situations the group has.
    pub(super) groups: Vec<([f32; 2], usize)>,
    /// Constants of the other loads, situation by situation in the order of the groups.
    pub(super) constants: Vec<[f32; 3]>,
    /// Share of the distance of those situations.
    pub(super) shares: Vec<f32>,
}

impl Groups {
    /// Takes the two loads that leave the fewest groups; constants that differ by no more than `alike` are the same.
    pub(super) fn new(constants: &[[f64; 5]], shares: &[f64], alike: f64) -> Self {
        let of = |shared: [usize; 2]| Self::sharing(shared, constants, shares, alike);
        let mut best = of([3, 4]);
        for pair in [[0, 1], [0, 2], [0, 3], [0, 4], [1, 2], [1, 3], [1, 4], [2, 3], [2, 4]] {
            let tried = of(pair);
            if tried.groups.len() < best.groups.len() {
                best = tried;
            }
        }
        best
    }

    fn sharing(shared: [usize; 2], constants: &[[f64; 5]], shares: &[f64], alike: f64) -> Self {
        let mut left: Vec<usize> = (0..constants.len()).collect();
        let mut own = (0..5).filter(|i| !shared.contains(i));
        let own = [(); 3].map(|()| own.next().unwrap_or(0));
        let mut list = Self { shared, own, groups: Vec::new(), constants: Vec::new(), shares: Vec::new() };
        while let Some(&first) = left.first() {
            let same = |k: &usize| shared.iter().all(|&i| (constants[*k][i] - constants[first][i]).abs() <= alike);
            let (members, others): (Vec<usize>, Vec<usize>) = left.iter().partition(|k| same(k));
            list.groups.push((shared.map(|i| constants[first][i] as f32), members.len()));
            list.constants.extend(members.iter().map(|&k| own.map(|i| constants[k][i] as f32)));
            list.shares.extend(members.iter().map(|&k| shares[k] as f32));
            left = others;
        }
        list
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Six situations of two pairs of constants that the first and the fourth load share; nearly the same counts as the same.
    #[test]
    fn check_situations_are_put_together_by_what_they_share() {
        let one = |k: usize, odd: f64| [odd, k as f64, 2.0 * k as f64, 10.0 + odd + 1e-13 * k as f64, -3.0 * k as f64];
        let constants: Vec<[f64; 5]> = (0..6).map(|k| one(k, (k % 2) as f64)).collect();
        let shares = [0.1, 0.2, 0.3, 0.0, 0.15, 0.25];
        let found = Groups::new(&constants, &shares, 1e-9);
        assert_eq!((found.shared, found.own), ([0, 3], [1, 2, 4]));
        assert_eq!(found.groups, [([0.0, 10.0], 3), ([1.0, 11.0], 3)]);
        assert_eq!(found.shares, [0.1, 0.3, 0.15, 0.2, 0.0, 0.25]);
        assert_eq!(found.constants[..4], [[0.0, 0.0, 0.0], [2.0, 4.0, -6.0], [4.0, 8.0, -12.0], [1.0, 2.0, -3.0]]);
        // To the last digit they are all different.
        assert_eq!(Groups::new(&constants, &shares, 0.0).groups.len(), 6);
    }
}
