//! A block's motion, force and stiffness in eight poses side by side: as [`BlockElement`] has them for one.

#![allow(clippy::needless_range_loop, reason = "lanes are counted: the compiler turns each loop over them into one instruction")]

use super::DOF;
use super::eight_arrows::EightArrows;
use super::elements::BlockElement;
use super::kinematics::truck;
use crate::math::lanes::{EIGHT, EIGHT_ZEROS, EightLane, add_times, multiply_add};

impl BlockElement {
    /// Motion of the truck at the block: y, z, roll, pitch, yaw.
    #[inline(always)]
    pub(super) fn motion_of_eight<const FUSED: bool>(&self, pose: &[EightLane; DOF]) -> [EightLane; 5] {
        let t = truck(self.side);
        let (x, b) = (self.place.x_mm, self.place.lateral_mm);
        let (rx, ry, rz) = (&pose[t + 3], &pose[t + 4], &pose[t + 5]);
        let (mut y, mut z) = (EIGHT_ZEROS, EIGHT_ZEROS);
        for i in 0..EIGHT {
            y[i] = multiply_add::<FUSED, _>(rz[i], x, pose[t + 1][i]);
            z[i] = multiply_add::<FUSED, _>(-x, ry[i], multiply_add::<FUSED, _>(rx[i], b, pose[t + 2][i]));
        }
        [y, z, *rx, *ry, *rz]
    }

    /// Adds forces on the block's five motions to generalised forces.
    #[inline(always)]
    pub(super) fn add_force_of_eight<const FUSED: bool>(&self, f: &mut [EightLane; DOF], force: &[EightLane; 5]) {
        let t = truck(self.side);
        let (x, b) = (self.place.x_mm, self.place.lateral_mm);
        for (i, own) in force.iter().enumerate() {
            add_times::<FUSED>(&mut f[t + 1 + i], own, 1.0);
        }
        add_times::<FUSED>(&mut f[t + 3], &force[1], b);
        add_times::<FUSED>(&mut f[t + 4], &force[1], -x);
        add_times::<FUSED>(&mut f[t + 5], &force[0], x);
    }

    /// Adds stiffnesses on the block's five motions, given by their upper halves.
    #[inline(always)]
    pub(super) fn add_stiffness_of_eight<const FUSED: bool>(&self, k: &mut EightArrows, tangent: &[[EightLane; 5]; 5]) {
        let (x, b) = (self.place.x_mm, self.place.lateral_mm);
        let mut t = *tangent;
        for i in 0..5 {
            for j in 0..i {
                t[i][j] = t[j][i];
            }
        }
        for i in 0..5 {
            let [y, z, ..] = t[i];
            add_times::<FUSED>(&mut t[i][4], &y, x);
            add_times::<FUSED>(&mut t[i][2], &z, b);
            add_times::<FUSED>(&mut t[i][3], &z, -x);
        }
        for i in 0..5 {
            let (y, z) = (t[0][i], t[1][i]);
            add_times::<FUSED>(&mut t[4][i], &y, x);
            add_times::<FUSED>(&mut t[2][i], &z, b);
            add_times::<FUSED>(&mut t[3][i], &z, -x);
        }
        for i in 0..5 {
            for j in 0..=i {
                add_times::<FUSED>(&mut k.trucks[self.side][1 + i][1 + j], &t[i][j], 1.0);
            }
        }
    }
}
