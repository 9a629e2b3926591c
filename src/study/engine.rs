//! Runs independent trials in parallel so that trial i depends on the seed and on i alone.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

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

/// Results of trials `first..first + count` in their order, `lanes` of them at a time.
///
/// Trial i gets the same generator as in [`run`]; a batch begins at `first` plus a multiple of `lanes`, but what a trial
/// gives must not depend on its neighbours.
pub(super) fn run_batches<M, T: Send>(
    first: u64,
    count: u64,
    lanes: usize,
    seed: u64,
    memory: impl Fn() -> M + Sync + Send,
    batch: impl Fn(&mut M, u64, &mut [ChaCha8Rng]) -> T + Sync + Send,
) -> Vec<T> {
    let seeded = ChaCha8Rng::seed_from_u64(seed);
    let starts: Vec<u64> = (first..first + count).step_by(lanes).collect();
    let one = |memory: &mut M, start: u64| {
        let of = |i: u64| {
            let mut rng = seeded.clone();
            rng.set_stream(i);
            rng
        };
        let mut rngs: Vec<ChaCha8Rng> = (start..(start + lanes as u64).min(first + count)).map(of).collect();
        batch(memory, start, &mut rngs)
    };
    starts.into_par_iter().map_init(memory, one).collect()
}

/// Random words that belong to a seed and to a number, whatever else is drawn.
pub(super) fn words(seed: u64, number: u64) -> impl FnMut() -> u64 {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(number);
    move || rng.next_u64()
}
