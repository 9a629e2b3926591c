//! Keys of a stated installation, from the errors' rows: every error with its value.

use std::sync::LazyLock;

use super::Kind::{Number, Numbers, Table, Tables, Whole};
use super::Need::{Default, Optional, Required};
use super::errors::FARTHEST;
use super::{Key, key, signed};
use crate::errors::{Entry, Holds, entries, seat_entries};

const PROFILE: super::Kind = Numbers { least: -FARTHEST, most: FARTHEST, length: 0 };
const THREE: super::Kind = Numbers { least: -FARTHEST, most: FARTHEST, length: 3 };

/// Keys in the order of a file.
pub(super) fn keys() -> &'static [Key] {
    static KEYS: LazyLock<Vec<Key>> = LazyLock::new(|| {
        let all: Vec<Entry> = entries().collect();
        let mut list = Vec::new();
        // What holds the same in the same unit is one line.
        let is_of = |e: &Entry, holds: Holds, unit: &str| e.spec.unit() == unit && same(e.holds, holds);
        for (i, entry) in all.iter().enumerate() {
            let of = |e: &&Entry| is_of(e, entry.holds, entry.spec.unit());
            if !all[..i].iter().any(|e| of(&e)) {
                let names: Vec<&str> = all.iter().filter(of).map(|e| e.key.as_str()).collect();
                list.push(described(entry, names.join("|").leak()));
            }
        }
        list.extend(seats());
        list.extend(SERVICE);
        list
    });
    &KEYS
}

fn same(a: Holds, b: Holds) -> bool {
    std::mem::discriminant(&a) == std::mem::discriminant(&b)
}

fn described(entry: &Entry, path: &'static str) -> Key {
    match entry.holds {
        Holds::Number => key(path, signed(FARTHEST), Default("0"), "Error of that name in the plan.", ""),
        Holds::Position => {
            let meaning = "Position of one drive ahead of the common one; their difference is the skew.";
            key(path, signed(FARTHEST), Default("0"), meaning, "")
        }
        Holds::OnePad => {
            let meaning = if entry.spec.angle { "Cross-level profile of one rail." } else { "Straightness profile of one rail." };
            key(path, PROFILE, Optional, meaning, "One an anchor, beside offset, slope and twist.")
        }
        Holds::OneBlock(_) => {
            key(path, PROFILE, Optional, "Place errors of the blocks in one truck.", "One a block, in the order of [truck].")
        }
    }
}

fn seats() -> Vec<Key> {
    let number = |entry: crate::errors::SeatEntry| {
        let meaning = if entry.spec.angle { "Offset in rx, ry, rz." } else { "Offset in x, y, z." };
        key(format!("seat[].{}", entry.key).leak(), THREE, Default("0"), meaning, "")
    };
    let fixed = [
        key("seat", Tables, Optional, "Errors of joint seats.", ""),
        key("seat[].end", super::Kind::Choice(&["a", "b"]), Required, "End of the bridge.", ""),
        key("seat[].number", Whole { least: 1, most: 1000 }, Required, "Number of the joint at its end, from 1.", ""),
    ];
    fixed.into_iter().chain(seat_entries().map(number)).collect()
}

#[rustfmt::skip] // one line a key
const SERVICE: [Key; 4] = [
    key("service", Table, Optional, "The one state of service that is wanted: exactly these temperatures, no shaft wind-up, no skew that comes and goes. Left out: the plan's own states.", ""),
    key("service.bridge_dt_k", Number { least: -100.0, most: 200.0, above: false }, Default("0"), "Bridge warmer than the reference by.", ""),
    key("service.frame_dt_k", Number { least: -100.0, most: 200.0, above: false }, Default("0"), "Frame warmer than the reference by.", ""),
    key("service.top_hotter_k", Number { least: -50.0, most: 50.0, above: false }, Default("0"), "Top of the bridge hotter than its underside by.", ""),
];
