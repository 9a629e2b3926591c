//! Under which keys the numbers of an installation stand in a file, whatever its format: readers and writers go over these.

use super::{ErrorKind, ErrorSpec, Home, Installation};
use crate::units::SIDES;

/// What stands under a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// One number.
    Number,
    /// The position of one drive or the like; two of them lie apart by the error.
    Position,
    /// One number a pad; nothing for a straight rail.
    OnePad,
    /// One number a block of this rail's truck.
    OneBlock(usize),
}

/// A key of an installation file.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The key with its unit.
    pub key: String,
    /// The error that it is of.
    pub spec: &'static ErrorSpec,
    /// What stands under it.
    pub holds: Holds,
    side: usize,
}

impl Entry {
    /// Its numbers in the unit of the key.
    #[must_use]
    pub fn numbers(&self, of: &Installation) -> Vec<f64> {
        let values = match self.spec.home {
            Home::Apart(field) => vec![(field.of)(of)[self.side]],
            Home::Blocks(direction) => of.block_offset_mm[self.side].iter().map(|block| block[direction]).collect(),
            home => home.values(of),
        };
        values.into_iter().map(|v| v / self.spec.factor()).collect()
    }

    /// Puts numbers in the unit of the key into an installation.
    pub fn set(&self, numbers: &[f64], to: &mut Installation) {
        let values = numbers.iter().map(|v| v * self.spec.factor());
        match self.spec.home {
            Home::Apart(field) => values.for_each(|v| (field.of_mut)(to)[self.side] = v),
            Home::Blocks(direction) => to.block_offset_mm[self.side].iter_mut().zip(values).for_each(|(block, v)| block[direction] = v),
            Home::Pads(_) => self.spec.home.set_profile(values.collect(), to),
            home => values.enumerate().for_each(|(member, v)| home.set(member, v, to)),
        }
    }
}

/// All keys at the top of an installation file, error by error.
pub fn entries() -> impl Iterator<Item = Entry> {
    ErrorKind::ALL.iter().flat_map(|spec| {
        let one = move |side: usize, holds: Holds| Entry {
            key: format!("{}_{}", spec.stated_key.replace('#', SIDES[side]), spec.unit()),
            spec,
            holds,
            side,
        };
        match spec.home {
            Home::Scalar(_) => vec![one(0, Holds::Number)],
            Home::Pads(_) => vec![one(0, Holds::OnePad)],
            Home::Apart(_) => vec![one(0, Holds::Position), one(1, Holds::Position)],
            Home::Blocks(_) => vec![one(0, Holds::OneBlock(0)), one(1, Holds::OneBlock(1))],
            Home::Seats(_) => Vec::new(),
        }
    })
}

/// A key of one joint's seat in an installation file: three numbers.
#[derive(Debug, Clone)]
pub struct SeatEntry {
    /// The key with its unit.
    pub key: String,
    /// The error that it is of.
    pub spec: &'static ErrorSpec,
    first: usize,
}

impl SeatEntry {
    /// Its numbers in the unit of the key.
    #[must_use]
    pub fn numbers(&self, of: &[f64; 6]) -> Vec<f64> {
        of[self.first..self.first + 3].iter().map(|v| v / self.spec.factor()).collect()
    }

    /// Puts numbers in the unit of the key into a seat.
    pub fn set(&self, numbers: [f64; 3], to: &mut [f64; 6]) {
        to[self.first..self.first + 3].copy_from_slice(&numbers.map(|v| v * self.spec.factor()));
    }
}

/// All keys of one joint's seat.
pub fn seat_entries() -> impl Iterator<Item = SeatEntry> {
    ErrorKind::ALL.iter().filter_map(|spec| match spec.home {
        Home::Seats(first) => Some(SeatEntry { key: format!("{}_{}", spec.stated_key, spec.unit()), spec, first }),
        _ => None,
    })
}
