//! One source of error taken from another installation: all its members at once.

use crate::input::{ErrorKind, Installation};

/// Copies an error with all its members (every block, every seat, the whole profile) into an installation.
pub(super) fn take(kind: ErrorKind, from: &Installation, to: &mut Installation) {
    use ErrorKind as K;
    match kind {
        K::Span => to.span_mm = from.span_mm,
        K::Parallelism => to.parallelism_mm = from.parallelism_mm,
        K::Height => to.height_mm = from.height_mm,
        K::VerticalParallelism => to.vertical_parallelism_mm = from.vertical_parallelism_mm,
        K::CrossLevel(rail) => to.cross_level_rad[rail] = from.cross_level_rad[rail],
        K::CrossLevelTwist(rail) => to.cross_level_twist_rad[rail] = from.cross_level_twist_rad[rail],
        K::StraightnessLateral(rail) => to.residual[rail][0].clone_from(&from.residual[rail][0]),
        K::StraightnessVertical(rail) => to.residual[rail][1].clone_from(&from.residual[rail][1]),
        K::StraightnessRoll(rail) => to.residual[rail][2].clone_from(&from.residual[rail][2]),
        K::BlockLateral => blocks(0, from, to),
        K::BlockVertical => blocks(1, from, to),
        K::BridgeLength => to.bridge_length_mm = from.bridge_length_mm,
        K::BridgeTwist => to.bridge_twist_rad = from.bridge_twist_rad,
        K::EndTilt(end) => to.end_tilt_rad[end] = from.end_tilt_rad[end],
        K::EndSquareness(end) => to.end_squareness_rad[end] = from.end_squareness_rad[end],
        K::Skew => to.drive_offset_mm = from.drive_offset_mm,
        K::Seat => seats(0..3, from, to),
        K::SeatAngle => seats(3..6, from, to),
    }
}

fn blocks(direction: usize, from: &Installation, to: &mut Installation) {
    let pairs = to.block_offset_mm.iter_mut().flatten().zip(from.block_offset_mm.iter().flatten());
    pairs.for_each(|(to, from)| to[direction] = from[direction]);
}

fn seats(axes: std::ops::Range<usize>, from: &Installation, to: &mut Installation) {
    let pairs = to.seats.iter_mut().flatten().zip(from.seats.iter().flatten());
    pairs.for_each(|(to, from)| to[axes.clone()].copy_from_slice(&from[axes.clone()]));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;
    use crate::structure::Machine;
    use crate::study::{Draws, run};

    #[test]
    fn all_sources_together_make_the_other_installation_and_none_alone_does() {
        let text = include_str!("../../examples/panel-bridge.toml");
        let plan = read_plan(text, "panel-bridge.toml").unwrap();
        let machine = Machine::new(&plan, 0).unwrap();
        let draws = Draws::new(&plan, machine.rails());
        let pair = run(0, 2, 1, || (), |(), _, rng| draws.draw(rng));
        let mut made = pair[0].clone();
        for spec in &ErrorKind::ALL {
            let before = made.clone();
            take(spec.kind, &pair[1], &mut made);
            assert!(made != before, "{} copies nothing", spec.key);
            let mut back = made.clone();
            take(spec.kind, &pair[0], &mut back);
            assert!(back == before, "{} copies more than itself", spec.key);
        }
        assert!(made == pair[1]);
    }
}
