//! A preloaded block on four rows of balls or rollers: energy, force, tangent and element loads at a displacement.

use multiversion::multiversion;
use nalgebra::{SMatrix, SVector};

use super::element::Contact;
use super::rolling::Rolling;

/// Displacement or load of a block: y, z, roll, pitch, yaw (mm, rad; N, N mm).
pub type Vector5 = SVector<f64, 5>;

/// Stiffness of a block in the same order.
pub type Matrix5 = SMatrix<f64, 5, 5>;

/// Elements of a row that are computed side by side.
const LANES: usize = 4;

/// A row of elements in the section of the block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowPlace {
    /// Across the rail.
    pub y_mm: f64,
    /// Above the middle of the block.
    pub z_mm: f64,
    /// Direction of the block's motion that presses its elements: y, z.
    pub press: [f64; 2],
}

/// Geometry, preload and stiffness of a block's contacts.
#[derive(Debug, Clone, PartialEq)]
pub struct RowBlock {
    /// The rolling element.
    pub rolling: Rolling,
    /// Load of every element under preload alone, N.
    pub preload_element_n: f64,
    rows: [RowPlace; 4],
    count: usize,
    /// Places of the elements along the rail.
    elements_x_mm: Vec<f64>,
    /// The same in lanes, with the stiffness of each; a lane that only fills up has none.
    lanes: Vec<([f64; LANES], [f64; LANES])>,
    /// Approach of every element under preload alone.
    preload_approach_mm: f64,
}

/// A block displaced, in full.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockState {
    /// Energy of the contacts, N mm.
    pub energy_n_mm: f64,
    /// What the truck exerts on the block to hold it there.
    pub force: Vector5,
    /// Change of the force with the displacement.
    pub tangent: Matrix5,
    /// Load of each element, row by row, N.
    pub element_n: Vec<f64>,
}

/// Load of one row over its elements.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct RowLoad {
    /// Mean over the elements of load to the power of the life exponent.
    pub fatigue: f64,
    /// Greatest load of an element, N.
    pub greatest_n: f64,
    /// Greatest approach of an element over the approach under preload; 0 or less where the whole row is unloaded.
    pub approach_over_preload: f64,
}

/// What a displaced block carries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockLoads {
    /// What the truck exerts on it: y, z, roll, pitch, yaw (N, N mm).
    pub force: [f64; 5],
    /// Its rows.
    pub rows: [RowLoad; 4],
}

/// Sums over a row: load, load x, slope, slope x, slope x^2.
type Sums = [f64; 5];

impl RowBlock {
    /// A block from the geometry of its rows; `None` where it makes no contact.
    ///
    /// Elements stand at (k - (n - 1)/2) x pitch. `preload_n` is the vertical force of one opposed pair of rows,
    /// F_pr = 2 n Q_0 sin alpha.
    #[must_use]
    pub fn new(contact: &Contact, preload_n: f64) -> Option<Self> {
        let rolling = Rolling::new(contact)?;
        let count = contact.count;
        if count == 0 || !(contact.pitch_mm > 0.0 && preload_n >= 0.0 && contact.angle_rad.sin() > 0.0) {
            return None;
        }
        let middle = (count as f64 - 1.0) / 2.0;
        let elements_x_mm: Vec<f64> = (0..count).map(|k| (k as f64 - middle) * contact.pitch_mm).collect();
        let lane = |xs: &[f64]| {
            let (mut x, mut k) = ([0.0; LANES], [0.0; LANES]);
            for (i, place) in xs.iter().enumerate() {
                (x[i], k[i]) = (*place, rolling.stiffness_n_per_mm_n);
            }
            (x, k)
        };
        let preload_element_n = contact.share_n(preload_n);
        Some(Self {
            rows: four_rows(contact),
            count,
            lanes: elements_x_mm.chunks(LANES).map(lane).collect(),
            elements_x_mm,
            preload_approach_mm: rolling.approach_mm(preload_element_n),
            preload_element_n,
            rolling,
        })
    }

    /// The rows: two above, two below, +y side first.
    #[must_use]
    pub fn rows(&self) -> &[RowPlace; 4] {
        &self.rows
    }

    /// Places of the elements along the rail, mm.
    #[must_use]
    pub fn elements_x_mm(&self) -> &[f64] {
        &self.elements_x_mm
    }

    /// Approach of every element under preload alone, mm.
    #[must_use]
    pub fn preload_approach_mm(&self) -> f64 {
        self.preload_approach_mm
    }

    /// Approach of a row's middle and its change per mm along the rail: n . (u + theta x r).
    #[inline(always)]
    fn approach(&self, row: &RowPlace, d: &Vector5) -> (f64, f64) {
        let [ny, nz] = row.press;
        let middle = ny * d[0] + nz * d[1] + (nz * row.y_mm - ny * row.z_mm) * d[2];
        (self.preload_approach_mm + middle, ny * d[4] - nz * d[3])
    }

    /// Sums over a row whose approach is `middle + change * x`.
    #[inline(always)]
    fn sums(&self, middle: f64, change: f64) -> Sums {
        let mut lanes = [[0.0_f64; LANES]; 5];
        let exponent = self.rolling.element.contact_exponent();
        for (x, k) in &self.lanes {
            for i in 0..LANES {
                let approach = (middle + change * x[i]).max(0.0);
                let per_mm = k[i] * self.rolling.element.root(approach);
                let load = per_mm * approach;
                lanes[0][i] += load;
                lanes[1][i] += load * x[i];
                lanes[2][i] += per_mm;
                lanes[3][i] += per_mm * x[i];
                lanes[4][i] += per_mm * x[i] * x[i];
            }
        }
        let total = |l: &[f64; LANES]| (l[0] + l[1]) + (l[2] + l[3]);
        [total(&lanes[0]), total(&lanes[1]), exponent * total(&lanes[2]), exponent * total(&lanes[3]), exponent * total(&lanes[4])]
    }

    /// What the truck exerts on the block displaced by `d` from its preloaded place, and the tangent stiffness: gradient
    /// and second derivative of the convex energy sum K approach^(n+1)/(n+1).
    #[must_use]
    pub fn force_and_tangent(&self, d: &Vector5) -> (Vector5, Matrix5) {
        force_and_tangent(self, d)
    }

    /// Force alone.
    #[must_use]
    pub fn force(&self, d: &Vector5) -> Vector5 {
        let mut force = Vector5::zeros();
        for row in &self.rows {
            let [ny, nz] = row.press;
            let (middle, change) = self.approach(row, d);
            let [q, qx, ..] = self.sums(middle, change);
            force += Vector5::new(ny * q, nz * q, (nz * row.y_mm - ny * row.z_mm) * q, -nz * qx, ny * qx);
        }
        force
    }

    /// Force and row loads.
    #[must_use]
    pub fn loads(&self, d: &Vector5) -> BlockLoads {
        BlockLoads { force: self.force(d).into(), rows: self.row_loads(d) }
    }

    /// Load of each row, for life and unloading.
    #[must_use]
    pub fn row_loads(&self, d: &Vector5) -> [RowLoad; 4] {
        let end = self.elements_x_mm.last().copied().unwrap_or(0.0);
        self.rows.map(|row| {
            let (middle, change) = self.approach(&row, d);
            let fatigue: f64 =
                self.elements_x_mm.iter().map(|x| self.rolling.element.fatigue(self.element_load(middle + change * x))).sum();
            let greatest = middle + change.abs() * end;
            RowLoad {
                fatigue: fatigue / self.count as f64,
                greatest_n: self.element_load(greatest),
                approach_over_preload: self.over_preload(greatest),
            }
        })
    }

    /// An approach over that under preload; without preload every approach is endlessly more.
    #[inline(always)]
    pub(super) fn over_preload(&self, approach_mm: f64) -> f64 {
        if self.preload_approach_mm > 0.0 { approach_mm / self.preload_approach_mm } else { f64::INFINITY }
    }

    fn element_load(&self, approach_mm: f64) -> f64 {
        let approach = approach_mm.max(0.0);
        self.rolling.stiffness_n_per_mm_n * self.rolling.element.root(approach) * approach
    }

    /// The block displaced from its preloaded place, with its energy and every element's load.
    #[must_use]
    pub fn at(&self, d: &Vector5) -> BlockState {
        let (force, tangent) = self.force_and_tangent(d);
        let mut element_n = Vec::with_capacity(4 * self.count);
        let mut energy_n_mm = 0.0;
        for row in &self.rows {
            let (middle, change) = self.approach(row, d);
            for x in &self.elements_x_mm {
                let approach = (middle + change * x).max(0.0);
                let load = self.element_load(approach);
                energy_n_mm += load * approach / (self.rolling.element.contact_exponent() + 1.0);
                element_n.push(load);
            }
        }
        BlockState { energy_n_mm, force, tangent, element_n }
    }

    /// Stiffness around the preloaded place: y, z (N/mm), roll, pitch, yaw (N mm/rad). Zero without preload.
    #[must_use]
    pub fn stiffness_at_rest(&self) -> [f64; 5] {
        let (_, tangent) = self.force_and_tangent(&Vector5::zeros());
        std::array::from_fn(|i| tangent[(i, i)])
    }
}

/// One version of it for each kind of processor, with the same bits on all.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq", "x86_64+avx2"))]
fn force_and_tangent(block: &RowBlock, d: &Vector5) -> (Vector5, Matrix5) {
    let (mut force, mut tangent) = (Vector5::zeros(), Matrix5::zeros());
    for row in &block.rows {
        let [ny, nz] = row.press;
        let lever = nz * row.y_mm - ny * row.z_mm;
        let (middle, change) = block.approach(row, d);
        let [q, qx, t, tx, txx] = block.sums(middle, change);
        let (across, along) = ([ny, nz, lever], [-nz, ny]);
        for i in 0..3 {
            force[i] += across[i] * q;
            for j in i..3 {
                tangent[(i, j)] += across[i] * across[j] * t;
            }
            for j in 0..2 {
                tangent[(i, 3 + j)] += across[i] * along[j] * tx;
            }
        }
        for i in 0..2 {
            force[3 + i] += along[i] * qx;
            for j in i..2 {
                tangent[(3 + i, 3 + j)] += along[i] * along[j] * txx;
            }
        }
    }
    tangent.fill_lower_triangle_with_upper_triangle();
    (force, tangent)
}

/// Rows on the +y side press towards -y. In the x arrangement the upper rows press downwards, in the o arrangement upwards.
fn four_rows(contact: &Contact) -> [RowPlace; 4] {
    let (sine, cosine) = contact.angle_rad.sin_cos();
    let down = if contact.o { 1.0 } else { -1.0 };
    [(1.0, 1.0), (-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)].map(|(side, level)| RowPlace {
        y_mm: side * contact.row_lateral_mm,
        z_mm: level * contact.row_height_mm,
        press: [-side * cosine, level * down * sine],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact::{Element, sample};

    #[test]
    fn check_blocks_that_make_no_contact_are_refused() {
        let good = sample(Element::Ball);
        assert!(RowBlock::new(&good, 0.0).is_some());
        for bad in [Contact { count: 0, ..good }, Contact { pitch_mm: 0.0, ..good }, Contact { angle_rad: 0.0, ..good }] {
            assert!(RowBlock::new(&bad, 100.0).is_none(), "{bad:?}");
        }
        assert!(RowBlock::new(&good, -1.0).is_none() && RowBlock::new(&good, f64::NAN).is_none());
    }

    /// Row by row against the list of all elements, with the block tilted so that they differ along the row.
    #[test]
    fn check_a_rows_load_is_that_of_its_elements() {
        for element in [Element::Ball, Element::Roller] {
            let block = RowBlock::new(&sample(element), 400.0).unwrap();
            let d = Vector5::new(0.001, -0.002, 1e-4, 2e-4, -1e-4);
            let all = block.at(&d).element_n;
            for (i, row) in block.row_loads(&d).iter().enumerate() {
                let own = &all[10 * i..10 * (i + 1)];
                let mean = own.iter().map(|q| element.fatigue(*q)).sum::<f64>() / 10.0;
                let most = own.iter().copied().fold(0.0, f64::max);
                assert!((row.fatigue / mean - 1.0).abs() < 1e-12 && (row.greatest_n / most - 1.0).abs() < 1e-12);
                let approach = block.rolling.approach_mm(most) / block.preload_approach_mm();
                assert!((row.approach_over_preload / approach - 1.0).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn check_without_preload_a_row_never_unloads() {
        let block = RowBlock::new(&sample(Element::Ball), 0.0).unwrap();
        for d in [Vector5::zeros(), Vector5::new(0.01, 0.0, 0.0, 0.0, 0.0)] {
            assert!(block.row_loads(&d).iter().all(|r| r.approach_over_preload == f64::INFINITY));
        }
    }
}
