//! What the hot loop writes: a batch's extremes and sums, and its working memory.

use super::rows::OWN;
use crate::math::lanes::{Lane, SingleLane};

/// Extremes and sums of a batch.
#[derive(Debug, Clone, Default)]
pub(super) struct Sweep {
    pub(crate) memory: Memory,
    /// Largest P of each block.
    pub(crate) peak: Vec<SingleLane>,
    /// Of the machine.
    pub(crate) life_km: Lane,
    pub(super) peak_static: SingleLane,
    /// Largest Fz, times its weight in P.
    pub(crate) lift: SingleLane,
    pub(super) joint_square: SingleLane,
    pub(super) tool_square: SingleLane,
    pub(super) tool_yaw: SingleLane,
    pub(crate) travel_used: SingleLane,
    pub(crate) slot_used: SingleLane,
    /// Largest equivalent load at each station.
    pub(crate) stroke: Vec<SingleLane>,
}

/// Scaled numbers, what no station changes, and what each station does: working memory.
#[derive(Debug, Clone, Default)]
pub(crate) struct Memory {
    pub(crate) numbers: Vec<SingleLane>,
    pub(crate) take_ups: Vec<SingleLane>,
    pub(crate) made: Vec<SingleLane>,
    pub(super) mounts: Vec<SingleLane>,
    pub(crate) rail: Vec<SingleLane>,
    /// Poses of the trucks off their seats, with what no station changes.
    pub(crate) trucks: [SingleLane; OWN],
    pub(crate) response: Vec<SingleLane>,
    /// Equivalent loads of a block, by pairs of situations.
    pub(crate) equivalent: Vec<[SingleLane; 2]>,
    /// What a station tires a block, and its sum over the stations of each block.
    pub(super) tired: SingleLane,
    pub(crate) fatigue: Vec<Lane>,
}
