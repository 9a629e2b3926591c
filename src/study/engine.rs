//! Runs independent trials in parallel so that trial i depends on the seed and on i alone.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::math::lanes::LANES;

/// The random numbers of one trial.
pub(super) type Stream = ChaCha8Rng;

/// Results of trials `first..first + count`, in their order.
///
/// Trial i gets the generator `ChaCha8` with the given seed and stream i, so results are the same for any number
/// of threads. `memory` makes the working memory of one thread; it must not carry anything from trial to trial.
pub fn run<M, T: Send>(
    first: u64,
    count: u64,
    seed: u64,
    memory: impl Fn() -> M + Sync + Send,
    trial: impl Fn(&mut M, u64, &mut ChaCha8Rng) -> T + Sync + Send,
) -> Vec<T> {
    let one = |memory: &mut M, i: u64| {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(i);
        trial(memory, i, &mut rng)
    };
    (first..first + count).into_par_iter().map_init(memory, one).collect()
}

/// Results of trials `first..first + count` in their order, [`LANES`] of them at a time.
///
/// Trial i gets the same generator as in [`run`]; a batch begins at `first` plus a multiple of [`LANES`], but what a trial
/// gives must not depend on its neighbours.
pub(super) fn run_batches<M, R: Send>(
    first: u64,
    count: u64,
    seed: u64,
    memory: impl Fn() -> M + Sync + Send,
    batch: impl Fn(&mut M, u64, &mut [ChaCha8Rng]) -> R + Sync + Send,
) -> Vec<R> {
    fill_batches(first, &mut [vec![(); count as usize]], seed, memory, |memory, start, rngs, _| batch(memory, start, rngs))
}

/// The same for as many trials as the lists are long, and every batch writes its part of each list.
pub(super) fn fill_batches<M, T: Send, R: Send>(
    first: u64,
    lists: &mut [Vec<T>],
    seed: u64,
    memory: impl Fn() -> M + Sync + Send,
    batch: impl Fn(&mut M, u64, &mut [ChaCha8Rng], &mut [&mut [T]]) -> R + Sync + Send,
) -> Vec<R> {
    let count = lists.iter().map(Vec::len).min().unwrap_or(0);
    let mut parts: Vec<Vec<&mut [T]>> = (0..count.div_ceil(LANES)).map(|_| Vec::with_capacity(lists.len())).collect();
    for list in lists {
        parts.iter_mut().zip(list.chunks_mut(LANES)).for_each(|(parts, part)| parts.push(part));
    }
    let start = || (memory(), vec![ChaCha8Rng::seed_from_u64(seed); LANES]);
    let one = |(memory, rngs): &mut (M, Vec<ChaCha8Rng>), (number, mut parts): (usize, Vec<&mut [T]>)| {
        let start = first + (number * LANES) as u64;
        let rngs = &mut rngs[..LANES.min(count - number * LANES)];
        for (rng, i) in rngs.iter_mut().zip(start..) {
            rng.set_word_pos(0);
            rng.set_stream(i);
        }
        batch(memory, start, rngs, &mut parts)
    };
    parts.into_par_iter().enumerate().map_init(start, one).collect()
}

/// Random words that belong to a seed and to a number, whatever else is drawn.
pub(super) fn words(seed: u64, number: u64) -> impl FnMut() -> u64 {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(number);
    move || rng.next_u64()
}
