//! Mixtures of posteriors: made and drawn.

use nalgebra::{DMatrix, DVector};
use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};

use super::ProfilePosterior;
use super::profile_mixture::Member;

impl ProfilePosterior {
    /// A mixture of posteriors with weights: mean and root are those of the whole, its numbers (mean 0, deviation 1, uncorrelated)
    /// are normal within each member. Evidence and surprise are those of the heaviest.
    ///
    /// Returns `None` for an empty list, or where the decomposition fails.
    #[must_use]
    pub fn mixed(list: &[(f64, Self)]) -> Option<Self> {
        let all: f64 = list.iter().map(|(w, _)| w).sum();
        let heaviest = &list.iter().max_by(|a, b| a.0.total_cmp(&b.0))?.1;
        let n = heaviest.mean.len();
        let mean = list.iter().fold(DVector::zeros(n), |sum, (w, p)| sum + &p.mean * (w / all));
        // Roots beside each other, not covariances: nothing is squared. Lines that nobody read are 1e7 times as wide as what was.
        let columns: usize = list.iter().map(|(_, p)| p.dimension() + 1).sum();
        let mut beside = DMatrix::zeros(columns.max(n), n);
        let mut from = 0;
        for (w, p) in list {
            let share = (w / all).sqrt();
            beside.view_mut((from, 0), (p.dimension(), n)).copy_from(&(p.root.transpose() * share));
            beside.row_mut(from + p.dimension()).copy_from(&((&p.mean - &mean).transpose() * share));
            from += p.dimension() + 1;
        }
        let svd = beside.qr().r().transpose().svd(true, false);
        let (u, sizes) = (svd.u?, svd.singular_values);
        let most = sizes.max();
        let kept: Vec<usize> = (0..sizes.len()).filter(|&i| sizes[i] > 1e-12 * most && most > 0.0).collect();
        let root = DMatrix::from_fn(n, kept.len(), |i, k| u[(i, kept[k])] * sizes[kept[k]]);
        let back = DMatrix::from_fn(kept.len(), n, |k, i| u[(i, kept[k])] / sizes[kept[k]]);
        let mut until = 0.0;
        let member = |(w, p): &(f64, Self)| {
            until += w / all;
            Member { until, shift: &back * (&p.mean - &mean), turn: &back * &p.root }
        };
        let members = list.iter().map(member).collect();
        Some(Self { mean, root, log_evidence: heaviest.log_evidence, surprise: heaviest.surprise.clone(), members })
    }

    /// The numbers of one draw for [`ProfilePosterior::draw`]: one uniform number picks the member, normal ones do the rest.
    pub fn numbers(&self, rng: &mut impl Rng) -> Vec<f64> {
        let normal = |count: usize, rng: &mut _| -> Vec<f64> { (0..count).map(|_| StandardNormal.sample(rng)).collect() };
        let Some(last) = self.members.last() else { return normal(self.dimension(), rng) };
        let picked: f64 = rng.random();
        let member = self.members.iter().find(|m| picked < m.until).unwrap_or(last);
        let z = normal(member.turn.ncols(), rng);
        (&member.shift + &member.turn * DVector::from_vec(z)).as_slice().to_vec()
    }
}
