//! A preloaded block on four rows of balls: energy, force, tangent and ball loads at a displacement.

use nalgebra::{SMatrix, SVector};

use super::hertz::{Ellipse, point_contact};
use crate::input::plan::Contact;

/// Displacement or load of a block: y, z, roll, pitch, yaw (mm, rad; N, N mm).
pub type Vector5 = SVector<f64, 5>;

/// A row of balls in the section of the block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowPlace {
    /// Across the rail.
    pub y_mm: f64,
    /// Above the middle of the block.
    pub z_mm: f64,
    /// Direction of the block's motion that presses its balls: y, z.
    pub press: [f64; 2],
}

/// Geometry, preload and stiffness of a block's contacts.
#[derive(Debug, Clone, PartialEq)]
pub struct BallBlock {
    rows: Vec<RowPlace>,
    /// Places of the balls along the rail.
    balls_x_mm: Vec<f64>,
    /// Both contacts of a ball in series, N/mm^1.5.
    stiffness_n_per_mm15: f64,
    /// Approach of every ball under preload alone.
    preload_approach_mm: f64,
    /// Load of every ball under preload alone, N.
    pub preload_ball_n: f64,
}

/// A block displaced.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockState {
    /// Energy of the contacts, N mm.
    pub energy_n_mm: f64,
    /// What the truck exerts on the block to hold it there.
    pub force: Vector5,
    /// Change of the force with the displacement.
    pub tangent: SMatrix<f64, 5, 5>,
    /// Load of each ball, row by row, N.
    pub ball_n: Vec<f64>,
}

impl BallBlock {
    /// A block with balls at (k - (n - 1)/2) x pitch in every row.
    ///
    /// `preload_n` is the vertical force of one opposed pair of rows, F_pr = 2 n Q_0 sin alpha. Returns `None` unless there
    /// are rows and balls, the pitch is positive, preload is not negative and every row presses with some z.
    #[must_use]
    pub fn new(rows: Vec<RowPlace>, balls: usize, pitch_mm: f64, contact: &Ellipse, preload_n: f64) -> Option<Self> {
        let sine = rows.first().map(|r| r.press[1].abs())?;
        if balls == 0 || !(pitch_mm > 0.0 && preload_n >= 0.0 && sine > 0.0) {
            return None;
        }
        let middle = (balls as f64 - 1.0) / 2.0;
        // Two like contacts in series: each takes half of the approach.
        let stiffness = contact.stiffness_n_per_mm15 / 2.0_f64.powf(1.5);
        let preload_ball_n = preload_n / (2.0 * balls as f64 * sine);
        Some(Self {
            rows,
            balls_x_mm: (0..balls).map(|k| (k as f64 - middle) * pitch_mm).collect(),
            stiffness_n_per_mm15: stiffness,
            preload_approach_mm: (preload_ball_n / stiffness).powf(2.0 / 3.0),
            preload_ball_n,
        })
    }

    /// The block of a plan, with the contact of one ball; `None` where its geometry makes no contact.
    #[must_use]
    pub fn of_plan(contact: &Contact, preload_n: f64) -> Option<(Self, Ellipse)> {
        let ellipse = point_contact(contact.ball_mm, contact.conformity, contact.e_mpa, contact.nu)?;
        let rows = Self::four_rows(contact.row_lateral_mm, contact.row_height_mm, contact.angle_rad, contact.o);
        Some((Self::new(rows, contact.balls, contact.pitch_mm, &ellipse, preload_n)?, ellipse))
    }

    /// Four rows, two above and two below, at +-`y_mm` and +-`z_mm`, with a contact angle from the horizontal.
    ///
    /// Rows on the +y side press towards -y. In the x arrangement (`o` false) the upper rows press downwards, in the o
    /// arrangement upwards.
    #[must_use]
    pub fn four_rows(y_mm: f64, z_mm: f64, angle_rad: f64, o: bool) -> Vec<RowPlace> {
        let row = |side: f64, level: f64| {
            let down = if o { 1.0 } else { -1.0 };
            RowPlace { y_mm: side * y_mm, z_mm: level * z_mm, press: [-side * angle_rad.cos(), level * down * angle_rad.sin()] }
        };
        vec![row(1.0, 1.0), row(-1.0, 1.0), row(1.0, -1.0), row(-1.0, -1.0)]
    }

    /// Both contacts of a ball in series, N/mm^1.5.
    #[must_use]
    pub fn ball_stiffness_n_per_mm15(&self) -> f64 {
        self.stiffness_n_per_mm15
    }

    /// Approach of every ball under preload alone, mm.
    #[must_use]
    pub fn preload_approach_mm(&self) -> f64 {
        self.preload_approach_mm
    }

    /// The block displaced from its preloaded place: the gradient of a convex energy sum (2/5) K_h approach^2.5.
    #[must_use]
    pub fn at(&self, displacement: &Vector5) -> BlockState {
        let mut state = BlockState {
            energy_n_mm: 0.0,
            force: Vector5::zeros(),
            tangent: SMatrix::zeros(),
            ball_n: Vec::with_capacity(self.rows.len() * self.balls_x_mm.len()),
        };
        for row in &self.rows {
            let [ny, nz] = row.press;
            for x in &self.balls_x_mm {
                // Motion of the ball's place along its press direction: n . (u + theta x r).
                let way = Vector5::new(ny, nz, nz * row.y_mm - ny * row.z_mm, -nz * x, ny * x);
                let approach = (self.preload_approach_mm + way.dot(displacement)).max(0.0);
                let slope = self.stiffness_n_per_mm15 * approach.sqrt();
                let load = slope * approach;
                state.energy_n_mm += 0.4 * load * approach;
                state.force += way * load;
                state.tangent += way * way.transpose() * (1.5 * slope);
                state.ball_n.push(load);
            }
        }
        state
    }

    /// Stiffness around the preloaded place: y, z (N/mm), roll, pitch, yaw (N mm/rad). Zero without preload.
    #[must_use]
    pub fn stiffness_at_rest(&self) -> [f64; 5] {
        let tangent = self.at(&Vector5::zeros()).tangent;
        std::array::from_fn(|i| tangent[(i, i)])
    }
}
