//! The constants of a block's situations, put together so that what two of them share is counted once.
//!
//! P is a sum of five sizes |load + constant|. A load case changes all five constants; a season or the drag's direction leaves
//! some of them as they are. Two situations with the same two constants form a pair: those two sizes are added once.

/// Two situations.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pair {
    /// Constants of the loads that they share, and of the others in either.
    pub(crate) shared: [f32; 2],
    pub(crate) own: [[f32; 3]; 2],
}

/// Situations of one block, by pairs; one that is left over stands twice in its pair.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pairs {
    /// Which of the five loads are shared by a pair, and the others.
    pub(crate) shared: [usize; 2],
    pub(crate) own: [usize; 3],
    /// Those that tire the block come first.
    pub(crate) pairs: Vec<Pair>,
    /// Shares of the distance of those that tire it.
    pub(crate) shares: Vec<[f32; 2]>,
}

impl Pairs {
    /// Takes the two loads that leave the fewest pairs; constants that differ by no more than `alike` are the same.
    pub(crate) fn new(constants: &[[f64; 5]], shares: &[f64], alike: f64) -> Self {
        let of = |shared: [usize; 2]| Self::sharing(shared, constants, shares, alike);
        let mut best = of([3, 4]);
        for pair in [[0, 1], [0, 2], [0, 3], [0, 4], [1, 2], [1, 3], [1, 4], [2, 3], [2, 4]] {
            let tried = of(pair);
            if tried.pairs.len() < best.pairs.len() {
                best = tried;
            }
        }
        best
    }

    fn sharing(shared: [usize; 2], constants: &[[f64; 5]], shares: &[f64], alike: f64) -> Self {
        let mut left: Vec<usize> = (0..constants.len()).collect();
        let mut own = (0..5).filter(|i| !shared.contains(i));
        let own = [(); 3].map(|()| own.next().unwrap_or(0));
        let mut list = Vec::new();
        while let Some(&first) = left.first() {
            let same = |k: &usize| shared.iter().all(|&i| (constants[*k][i] - constants[first][i]).abs() <= alike);
            let (members, others): (Vec<usize>, Vec<usize>) = left.iter().partition(|k| same(k));
            for two in members.chunks(2) {
                let [one, other] = [two[0], two[two.len() - 1]];
                let own = [one, other].map(|k| own.map(|i| constants[k][i] as f32));
                let of_other = if two.len() == 2 { shares[other] } else { 0.0 };
                list.push((Pair { shared: shared.map(|i| constants[first][i] as f32), own }, [shares[one], of_other].map(|s| s as f32)));
            }
            left = others;
        }
        let (tiring, others): (Vec<_>, Vec<_>) = list.into_iter().partition(|(_, shares)| *shares != [0.0; 2]);
        let shares = tiring.iter().map(|(_, shares)| *shares).collect();
        Self { shared, own, pairs: tiring.into_iter().chain(others).map(|(pair, _)| pair).collect(), shares }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Six situations in two kinds that share the first and the fourth constant; nearly the same counts as the same. The second pair
    /// does not tire the block.
    #[test]
    fn check_situations_are_put_together_by_what_they_share() {
        let one = |k: usize, odd: f64| [odd, k as f64, 2.0 * k as f64, 10.0 + odd + 1e-13 * k as f64, -3.0 * k as f64];
        let constants: Vec<[f64; 5]> = (0..6).map(|k| one(k, (k % 2) as f64)).collect();
        let shares = [0.1, 0.3, 0.2, 0.15, 0.0, 0.25];
        let found = Pairs::new(&constants, &shares, 1e-9);
        assert_eq!((found.shared, found.own), ([0, 3], [1, 2, 4]));
        let own = |k: f32| [k, 2.0 * k, -3.0 * k];
        let pair = |odd: f32, [one, other]: [f32; 2]| Pair { shared: [odd, 10.0 + odd], own: [own(one), own(other)] };
        assert_eq!(found.pairs, [pair(0.0, [0.0, 2.0]), pair(1.0, [1.0, 3.0]), pair(1.0, [5.0, 5.0]), pair(0.0, [4.0, 4.0])]);
        assert_eq!(found.shares, [[0.1, 0.2], [0.3, 0.15], [0.25, 0.0]]);
        // To the last digit they are all different.
        assert_eq!(Pairs::new(&constants, &shares, 0.0).pairs.len(), 6);
    }
}
