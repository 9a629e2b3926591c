//! Where an error lives in an installation: how its numbers are set, read and taken away.

use super::Installation;

/// A field of an installation.
#[derive(Debug)]
pub struct Field<T: 'static> {
    pub(super) of: fn(&Installation) -> &T,
    pub(super) of_mut: fn(&mut Installation) -> &mut T,
}

impl<T> Clone for Field<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Field<T> {}

/// A field by its name, with an index where one of a pair is meant.
macro_rules! field {
    ($($at:tt)+) => {
        $crate::errors::Field { of: |i| &i.$($at)+, of_mut: |i| &mut i.$($at)+ }
    };
}
pub(super) use field;

/// Where an error lives in an installation. An error has as many members as it has numbers there.
#[derive(Debug, Clone, Copy)]
pub enum Home {
    /// One number.
    Scalar(Field<f64>),
    /// Two positions that lie apart by the error, half of it each way.
    Apart(Field<[f64; 2]>),
    /// One number a block: its lateral (0) or vertical (1) place.
    Blocks(usize),
    /// Three numbers a joint seat, from this component on.
    Seats(usize),
    /// One number a pad of one rail. A profile has none in the perfect installation.
    Pads(Field<Vec<f64>>),
}

impl Home {
    /// True for an error that is one number.
    #[must_use]
    pub fn is_one_number(self) -> bool {
        matches!(self, Self::Scalar(_) | Self::Apart(_))
    }

    /// How many numbers the error has in this installation.
    #[must_use]
    pub fn members(self, of: &Installation) -> usize {
        match self {
            Self::Scalar(_) | Self::Apart(_) => 1,
            Self::Blocks(_) => of.block_offset_mm.iter().map(Vec::len).sum(),
            Self::Seats(_) => 3 * of.seats.iter().map(Vec::len).sum::<usize>(),
            Self::Pads(list) => (list.of)(of).len(),
        }
    }

    /// Every number of the error (mm or rad): blocks of truck A before those of B, seats of end A before those of B.
    #[must_use]
    pub fn values(self, of: &Installation) -> Vec<f64> {
        match self {
            Self::Scalar(field) => vec![*(field.of)(of)],
            Self::Apart(field) => {
                let [a, b] = (field.of)(of);
                vec![b - a]
            }
            Self::Blocks(direction) => of.block_offset_mm.iter().flatten().map(|block| block[direction]).collect(),
            Self::Seats(first) => of.seats.iter().flatten().flat_map(|seat| seat[first..first + 3].to_vec()).collect(),
            Self::Pads(list) => (list.of)(of).clone(),
        }
    }

    /// Sets one member (mm or rad); nothing where the machine has no such member.
    pub fn set(self, member: usize, value: f64, to: &mut Installation) {
        let place = match self {
            Self::Scalar(field) => Some((field.of_mut)(to)),
            Self::Apart(field) => {
                *(field.of_mut)(to) = [-value / 2.0, value / 2.0];
                None
            }
            Self::Blocks(direction) => to.block_offset_mm.iter_mut().flatten().nth(member).map(|block| &mut block[direction]),
            Self::Seats(first) => to.seats.iter_mut().flatten().nth(member / 3).map(|seat| &mut seat[first + member % 3]),
            Self::Pads(list) => (list.of_mut)(to).get_mut(member),
        };
        if let Some(place) = place {
            *place = value;
        }
    }

    /// Sets all numbers along a rail; nothing for an error that does not live along one.
    pub fn set_profile(self, at_anchors: Vec<f64>, to: &mut Installation) {
        if let Self::Pads(list) = self {
            *(list.of_mut)(to) = at_anchors;
        }
    }
}
