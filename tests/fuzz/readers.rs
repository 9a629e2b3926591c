//! Plans, surveys, callouts and installations broken by chance: bytes turned, words swapped, pieces of other files put in. Nothing may panic or
//! hang. A few seconds in every test run; `tests/fuzz/run.sh` does it for as long as is asked.
#![allow(clippy::print_stdout, reason = "a long run says what it did")]

use crate::common;

use std::path::Path;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use common::verdicts::{callouts, installation, plan, survey};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Longest time for one file.
const LONGEST: Duration = Duration::from_secs(10);

/// What is odd in numbers and texts.
const ODD: [&str; 30] = [
    "0",
    "-0",
    "-1",
    "1e400",
    "-1e400",
    "1e308",
    "1e-308",
    "5e-324",
    "nan",
    "inf",
    "-inf",
    "1e16",
    "9223372036854775807",
    "-9223372036854775808",
    "0x7f",
    "\"\"",
    "\"a\\u0000\"",
    "[]",
    "{}",
    "[[]]",
    "true",
    "1979-05-27",
    "1_000",
    "0.1e-9",
    "1000000",
    "=1+1",
    "\u{feff}",
    "\u{202e}",
    ",",
    ";",
];

struct Breaker {
    rng: ChaCha8Rng,
    words: Vec<String>,
}

impl Breaker {
    fn below(&mut self, n: usize) -> usize {
        (self.rng.next_u64() % n.max(1) as u64) as usize
    }

    fn range(&mut self, length: usize, longest: usize) -> std::ops::Range<usize> {
        let from = self.below(length + 1);
        from..(from + self.below(longest)).min(length)
    }

    /// One place of a file broken; `other` lends a piece.
    fn once(&mut self, text: &mut Vec<u8>, other: &[u8]) {
        match self.below(9) {
            0 if !text.is_empty() => {
                let at = self.below(text.len());
                text[at] ^= 1 << self.below(8);
            }
            1 => drop(text.drain(self.range(text.len(), 80))),
            2 => {
                let piece = text[self.range(text.len(), 200)].to_vec();
                let at = self.below(text.len() + 1);
                text.splice(at..at, piece);
            }
            3 => {
                let piece = other[self.range(other.len(), 400)].to_vec();
                let at = self.range(text.len(), 100);
                text.splice(at, piece);
            }
            4 => text.truncate(self.below(text.len() + 1)),
            5 => {
                let lines: Vec<&[u8]> = text.split(|b| *b == b'\n').collect();
                let (a, b) = (self.below(lines.len()), self.below(lines.len()));
                let mut lines = lines;
                lines.swap(a, b);
                *text = lines.join(&b'\n');
            }
            // A word or number for another: what gets farthest into the program.
            _ => {
                let whole = String::from_utf8_lossy(text).into_owned();
                let is_word = |c: char| c.is_alphanumeric() || "_.-+".contains(c);
                let starts: Vec<usize> =
                    whole.char_indices().filter(|(i, c)| is_word(*c) && !whole[..*i].ends_with(is_word)).map(|(i, _)| i).collect();
                if starts.is_empty() {
                    return;
                }
                let from = starts[self.below(starts.len())];
                let end = whole[from..].find(|c| !is_word(c)).map_or(whole.len(), |n| from + n);
                let number = whole[from..end].parse::<f64>().is_ok();
                let new = match (number, self.below(3)) {
                    (true, 0) => format!("{:e}", (self.below(2001) as f64 - 1000.0) * 10f64.powi(self.below(12) as i32 - 6)),
                    (_, 1) => {
                        let at = self.below(self.words.len());
                        self.words[at].clone()
                    }
                    _ => ODD[self.below(ODD.len())].to_string(),
                };
                *text = format!("{}{new}{}", &whole[..from], &whole[end..]).into_bytes();
            }
        }
    }
}

#[test]
fn broken_files_are_results_or_errors() {
    let number = |name: &str, usual: u64| std::env::var(name).ok().map_or(usual, |v| v.parse().unwrap());
    let (seconds, seed) = (number("RAILTRUE_FUZZ_SECONDS", 6), number("RAILTRUE_FUZZ_SEED", 1));
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| std::fs::read(root.join(name)).unwrap();
    let base = String::from_utf8(read("tests/corpus/base.toml")).unwrap();
    let plans =
        ["tests/corpus/base.toml", "examples/panel-bridge.toml", "examples/glass-loader.toml", "examples/tile-scanner.toml"].map(read);
    let surveys = ["tests/corpus/base.csv", "tests/data/survey_messy.csv"].map(read);
    let installations = ["examples/panel-bridge-installation.toml"].map(read);
    let drawings = ["examples/panel-bridge-callouts.csv"].map(read);
    let all: [(&'static str, &[Vec<u8>]); 4] =
        [("plan", &plans), ("survey", &surveys), ("callouts", &drawings), ("installation", &installations)];
    // Of one kind only, where it is named.
    let only = std::env::var("RAILTRUE_FUZZ_KIND").unwrap_or_default();
    let kinds: Vec<_> = all.into_iter().filter(|(name, _)| only.is_empty() || *name == only).collect();
    let words = plans.iter().chain(&surveys).chain(&drawings).chain(&installations).flat_map(|t| {
        let text = String::from_utf8_lossy(t).into_owned();
        text.split(|c: char| !(c.is_alphanumeric() || "_.-".contains(c))).filter(|w| !w.is_empty()).map(String::from).collect::<Vec<_>>()
    });
    let mut breaker = Breaker { rng: ChaCha8Rng::seed_from_u64(seed), words: words.collect() };

    // One thread reads, so that a hang is seen; it sends back an empty answer for each file.
    let (to, files) = channel::<(&'static str, Vec<u8>)>();
    let (answer, answers) = channel::<String>();
    std::thread::spawn(move || {
        for (kind, bytes) in files {
            let done = std::panic::catch_unwind(|| match kind {
                "plan" => plan(&bytes),
                "survey" => survey(&base, &bytes),
                "callouts" => callouts(&base, &bytes),
                _ => installation(&base, &bytes),
            });
            answer.send(done.map_err(|_| "PANIC".to_string()).unwrap_or_else(|e| e)).unwrap();
        }
    });
    let start = Instant::now();
    let (mut count, mut accepted) = (0_u64, 0_u64);
    let mut slowest = Duration::ZERO;
    let mut bad = Vec::new();
    while start.elapsed() < Duration::from_secs(seconds) {
        let (kind, seeds) = kinds[breaker.below(kinds.len())];
        let mut text = seeds[breaker.below(seeds.len())].clone();
        let (_, lenders) = all[breaker.below(all.len())];
        let other = lenders[breaker.below(lenders.len())].clone();
        for _ in 0..=breaker.below(4) {
            breaker.once(&mut text, &other);
        }
        let began = Instant::now();
        to.send((kind, text.clone())).unwrap();
        let said = answers.recv_timeout(LONGEST).unwrap_or_else(|_| "HANG".into());
        slowest = slowest.max(began.elapsed());
        count += 1;
        accepted += u64::from(said.contains("ACCEPTED"));
        if said == "PANIC" || said == "HANG" {
            let file = root.join(format!("target/fuzz-{kind}-{seed}-{count}"));
            std::fs::write(&file, &text).unwrap();
            bad.push(format!("{said}: {}", file.display()));
            if said == "HANG" || bad.len() > 9 {
                break;
            }
        }
    }
    let of = if only.is_empty() { "all kinds" } else { &only };
    println!("{of}, seed {seed}: {count} broken files, {accepted} of them still accepted, the slowest took {slowest:.1?}");
    assert!(bad.is_empty(), "{}", bad.join("\n"));
    assert!(accepted > 0 && accepted < count, "the fuzzer breaks all or nothing");
}
