//! Runs independent trials in parallel so that trial i depends on the seed and on i alone.

use std::sync::{Mutex, PoisonError};

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::math::lanes::LANES;

/// Batches that a thread takes at a time, at most: the last ones are waited for.
const TOGETHER: usize = 8;

/// The random numbers of one trial.
pub(crate) type Stream = ChaCha8Rng;

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
pub(crate) fn run_batches<M: Send, R: Send>(
    first: u64,
    count: u64,
    seed: u64,
    memory: impl Fn() -> M + Sync + Send,
    batch: impl Fn(&mut M, u64, &mut [ChaCha8Rng]) -> R + Sync + Send,
) -> Vec<R> {
    fill_batches(first, &mut vec![(); count as usize], 1, seed, memory, |memory, start, rngs, _| batch(memory, start, rngs))
}

/// The same, and every batch writes its part of `to`: so many kinds of values a trial, kind by kind ([`of_batches`]).
pub(crate) fn fill_batches<M: Send, T: Send, R: Send>(
    first: u64,
    to: &mut [T],
    kinds: usize,
    seed: u64,
    memory: impl Fn() -> M + Sync + Send,
    batch: impl Fn(&mut M, u64, &mut [ChaCha8Rng], &mut [T]) -> R + Sync + Send,
) -> Vec<R> {
    // What one batch has used the next one takes: as many as there are threads.
    let idle = Mutex::new(Vec::new());
    let idle = || idle.lock().unwrap_or_else(PoisonError::into_inner);
    let one = |(number, part): (usize, &mut [T])| {
        let kept = idle().pop();
        let (mut memory, mut rngs) = kept.unwrap_or_else(|| (memory(), vec![ChaCha8Rng::seed_from_u64(seed); LANES]));
        let start = first + (number * LANES) as u64;
        let own = &mut rngs[..part.len() / kinds];
        for (rng, i) in own.iter_mut().zip(start..) {
            rng.set_word_pos(0);
            rng.set_stream(i);
        }
        let result = batch(&mut memory, start, own, part);
        idle().push((memory, rngs));
        result
    };
    to.par_chunks_mut(LANES * kinds).enumerate().with_max_len(TOGETHER).map(one).collect()
}

/// The values of one kind that batches wrote, in the order of the trials.
pub(crate) fn of_batches<T: Copy>(list: &[T], kinds: usize, kind: usize) -> Vec<T> {
    let mut own = Vec::with_capacity(list.len() / kinds);
    for batch in list.chunks(LANES * kinds) {
        own.extend_from_slice(batch.chunks(batch.len() / kinds).nth(kind).unwrap_or_default());
    }
    own
}
