//! What one installation comes to, as a whole and block by block.

/// What one installation comes to (all extremes over stations, load cases and states of service).
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Outcome {
    /// Life of the system of blocks, km.
    pub life_km: f64,
    /// 1 - life / life of the perfect installation; negative where an error happens to help.
    pub life_loss: f64,
    /// Largest equivalent load of any block, without preload, N.
    pub peak_load_n: f64,
    /// Largest increase of a block's largest equivalent load over that in the perfect installation, N.
    pub extra_load_n: f64,
    /// Least static safety of any block.
    pub static_safety: f64,
    /// How near a row of elements is to unloading, 1 where it does: largest equivalent load over 2^n times the preload; at
    /// the contact level 1 less the largest approach left in a row over that under preload.
    pub row_unloading: f64,
    /// Largest pull of a truck on a block against its rail (Fz > 0), N.
    pub pull_n: f64,
    /// Largest share of a float's travel; 0 without floats.
    pub float_travel_used: f64,
    /// First station at which a float is on its stop, mm along the rails.
    pub stop_from_x_mm: Option<f64>,
    /// True where some float never slides.
    pub float_sticks: bool,
    /// Largest displacement of the tool point against the perfect installation, mm.
    pub tool_displacement_mm: f64,
    /// Largest yaw of the tool point against the perfect installation, mrad.
    pub tool_yaw_mrad: f64,
    /// Largest resultant force in one joint, N.
    pub joint_force_n: f64,
    /// Largest share of a slot used when the joints were tightened.
    pub slot_used: f64,
    /// What the balls say, at the contact level; life is then theirs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rows: Option<RowsOutcome>,
}

/// What the rows of rolling elements add to an outcome at the contact level.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct RowsOutcome {
    /// Life by the sum of load ratios, as the linear level counts it, from the same loads, km.
    pub life_by_load_km: f64,
    /// Largest load of a rolling element, preload in it, N.
    pub peak_element_n: f64,
    /// Its contact pressure, MPa.
    pub peak_pressure_mpa: f64,
    /// Load of an element under C0 over that largest load (ISO 14728-2: a lasting dent of 1e-4 of the diameter).
    pub element_safety: f64,
}

/// One block over the whole stroke, duty and service.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct BlockOutcome {
    /// Mean load with preload, N.
    pub mean_load_n: f64,
    /// Rating life, km; of its rows at the contact level.
    pub life_km: f64,
    /// Largest equivalent load without preload, N.
    pub peak_load_n: f64,
    /// Its increase over the perfect installation, N.
    pub extra_load_n: f64,
    /// Least static safety.
    pub static_safety: f64,
    /// Largest P0, N.
    pub peak_static_load_n: f64,
    /// Largest pull of the truck against the rail, N.
    pub pull_n: f64,
    /// Largest load of a rolling element at the contact level, else 0, N.
    pub peak_element_n: f64,
    /// How near a row is to unloading at the contact level, else 0.
    pub row_unloading: f64,
}

impl Outcome {
    pub(crate) fn start() -> Self {
        Self {
            life_km: 0.0,
            life_loss: 0.0,
            peak_load_n: 0.0,
            extra_load_n: 0.0,
            static_safety: f64::INFINITY,
            row_unloading: 0.0,
            pull_n: 0.0,
            float_travel_used: 0.0,
            stop_from_x_mm: None,
            float_sticks: false,
            tool_displacement_mm: 0.0,
            tool_yaw_mrad: 0.0,
            joint_force_n: 0.0,
            slot_used: 0.0,
            rows: None,
        }
    }

    pub(super) fn note_tool(&mut self, tool: &[f64; 4], perfect: &[f64; 4]) {
        let way = |i: usize| tool[i] - perfect[i];
        let square: f64 = (0..3).map(|i| way(i).powi(2)).sum();
        self.tool_displacement_mm = self.tool_displacement_mm.max(square.sqrt());
        self.tool_yaw_mrad = self.tool_yaw_mrad.max(way(3).abs() / crate::units::MRAD);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: a way of (2, 3, 6) mm is 7 mm long; the greatest of each is kept.
    #[test]
    fn check_the_tool_point_is_counted_from_the_perfect_installation() {
        let mut outcome = Outcome::start();
        assert_eq!((outcome.tool_displacement_mm, outcome.tool_yaw_mrad), (0.0, 0.0));
        outcome.note_tool(&[3.0, 5.0, 9.0, -0.004], &[1.0, 2.0, 3.0, -0.001]);
        assert!((outcome.tool_displacement_mm - 7.0).abs() < 1e-12 && (outcome.tool_yaw_mrad - 3.0).abs() < 1e-12);
        outcome.note_tool(&[1.0, 0.0, 0.0, 0.002], &[0.0; 4]);
        assert!((outcome.tool_displacement_mm - 7.0).abs() < 1e-12 && (outcome.tool_yaw_mrad - 3.0).abs() < 1e-12);
        outcome.note_tool(&[0.0, 0.0, -8.0, 0.005], &[0.0; 4]);
        assert!((outcome.tool_displacement_mm - 8.0).abs() < 1e-12 && (outcome.tool_yaw_mrad - 5.0).abs() < 1e-12);
    }
}
