//! Divides bad installations by the side from which they came: what is bad with a number large is often bad with it small.

use super::mixture::Points;
use crate::math::products::add_multiple;

/// Numbers by whose sign is divided, beside the direction of all numbers together.
const DIVIDERS: usize = 2;

/// Turns of the search for that direction.
const TURNS: usize = 30;

/// Groups of points, and the numbers by which they were told apart.
pub(super) struct Divided {
    /// Places in the list, none empty.
    pub(super) groups: Vec<Vec<usize>>,
    pub(super) by: Vec<usize>,
}

/// Divides by the sides of the direction and of the numbers in which the
/// points lie farthest from the middle. Too many groups do no harm, a fit makes one of them again; a side that is overlooked does.
pub(super) fn divide(points: &Points) -> Divided {
    let list = &points.list;
    let Some((first, _)) = list.first() else { return Divided { groups: Vec::new(), by: Vec::new() } };
    let along = points.along(&direction(points));
    let mut strong: Vec<usize> = (0..first.len()).collect();
    let square = |j: usize| list.iter().map(|(q, weight)| weight * q[j] * q[j]).sum::<f64>();
    let squares: Vec<f64> = strong.iter().map(|j| square(*j)).collect();
    strong.sort_by(|a, b| squares[*b].total_cmp(&squares[*a]).then(a.cmp(b)));
    strong.truncate(DIVIDERS);
    let mut groups = vec![Vec::new(); 2 << strong.len()];
    for (i, ((q, _), along)) in list.iter().zip(along).enumerate() {
        let side = strong.iter().fold(usize::from(along > 0.0), |side, j| 2 * side + usize::from(q[*j] > 0.0));
        groups[side].push(i);
    }
    groups.retain(|g| !g.is_empty());
    Divided { groups, by: strong }
}

/// The direction of the largest mean square, by power iteration.
fn direction(points: &Points) -> Vec<f64> {
    let square = |q: &[f64]| q.iter().map(|q| q * q).sum::<f64>();
    let sizes = points.list.iter().map(|(q, weight)| weight * square(q));
    let largest = sizes.enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
    let mut direction = largest.map_or(Vec::new(), |(i, _)| points.list[i].0.clone());
    for _ in 0..TURNS {
        let mut next = vec![0.0; direction.len()];
        for ((q, weight), along) in points.list.iter().zip(points.along(&direction)) {
            add_multiple(&mut next, q, weight * along);
        }
        let length = square(&next).sqrt();
        if !(length > 0.0) {
            break;
        }
        direction = next.into_iter().map(|n| n / length).collect();
    }
    direction
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points on a plain lattice in twenty numbers.
    fn even(n: usize) -> impl Iterator<Item = Vec<f64>> {
        (0..n).map(move |i| (1..=20).map(|z| (i as f64 * f64::from(z * z * 17 + 1) / n as f64 + 0.3).fract() - 0.5).collect())
    }

    #[test]
    fn check_a_few_points_on_the_other_side_of_one_number_are_a_group() {
        let bad = Points::new(even(2039).filter(|q| q[3] > 0.45 || q[3] < -0.495).map(|q| (q, 1.0)).collect());
        let Divided { groups, by } = divide(&bad);
        assert!(by.contains(&3));
        assert_eq!(groups.iter().map(Vec::len).sum::<usize>(), bad.list.len());
        assert!(groups.iter().all(|g| g.iter().all(|i| bad.list[*i].0[3] > 0.0) || g.iter().all(|i| bad.list[*i].0[3] < 0.0)));
    }

    #[test]
    fn check_both_sides_of_many_numbers_together_are_told_apart() {
        let along = |q: &[f64]| q.iter().enumerate().map(|(j, q)| if j % 2 == 0 { *q } else { -q }).sum::<f64>();
        let bad = Points::new(even(9973).filter(|q| along(q).abs() > 2.5).map(|q| (q, 1.0)).collect());
        assert!(bad.list.len() > 200, "{}", bad.list.len());
        let pure = |g: &Vec<usize>| g.iter().filter(|i| along(&bad.list[**i].0) > 0.0).count();
        let mixed: usize = divide(&bad).groups.iter().map(|g| pure(g).min(g.len() - pure(g))).sum();
        assert!(mixed * 50 < bad.list.len(), "{mixed} of {}", bad.list.len());
    }

    #[test]
    fn check_no_points_and_points_in_the_middle_are_no_trouble() {
        assert!(divide(&Points::new(Vec::new())).groups.is_empty());
        assert_eq!(divide(&Points::new(vec![(vec![0.0], 1.0); 2])).groups, [vec![0, 1]]);
    }
}
