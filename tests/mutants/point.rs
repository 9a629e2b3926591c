//! Which of the changes compiled into this copy is on: read once from the environment. In a copy for mutation testing only.

use std::io::Write;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering::Relaxed};

const UNREAD: u32 = u32::MAX;
const COVER: u32 = u32::MAX - 1;
const MOST: usize = 40_000;

static CHOSEN: AtomicU32 = AtomicU32::new(UNREAD);
static SEEN: [AtomicBool; MOST] = [const { AtomicBool::new(false) }; MOST];

/// True where change `id` is not the one that is on.
#[inline(always)]
pub fn off(id: u32) -> bool {
    let chosen = CHOSEN.load(Relaxed);
    if chosen < COVER { chosen != id } else { slow(id) }
}

#[cold]
#[inline(never)]
fn slow(id: u32) -> bool {
    if CHOSEN.load(Relaxed) == UNREAD {
        // A test that panics has failed: nothing is gained by unwinding, shrinking or running the others.
        std::panic::set_hook(Box::new(|_| std::process::exit(101)));
        let chosen = match std::env::var_os("RAILTRUE_MUTANT_COVER") {
            Some(_) => COVER,
            None => std::env::var("RAILTRUE_MUTANT").ok().and_then(|v| v.parse().ok()).unwrap_or(0),
        };
        CHOSEN.store(chosen, Relaxed);
    }
    if CHOSEN.load(Relaxed) != COVER {
        return CHOSEN.load(Relaxed) != id;
    }
    if !SEEN[id as usize].load(Relaxed) && !SEEN[id as usize].swap(true, Relaxed) {
        if let Some(path) = std::env::var_os("RAILTRUE_MUTANT_COVER") {
            if let Ok(mut file) = std::fs::OpenOptions::new().append(true).create(true).open(path) {
                let _ = file.write_all(format!("{id}\n").as_bytes());
            }
        }
    }
    true
}
