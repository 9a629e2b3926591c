//! What is read from an outcome and counted over many.

use super::Outcome;
use crate::input::plan::Measure;

/// One figure of an outcome, in the unit of its field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is the field of `Outcome` or `RowsOutcome` of its name")]
pub enum Reading {
    Life,
    LifeLoss,
    PeakLoad,
    ExtraLoad,
    StaticSafety,
    RowUnloading,
    Pull,
    FloatTravel,
    ToolDisplacement,
    ToolYaw,
    JointForce,
    SlotUsed,
    LifeByLoad,
    PeakElement,
    PeakPressure,
    ElementSafety,
}

impl Reading {
    /// All, in their order.
    pub const ALL: [Self; 16] = [
        Self::Life,
        Self::LifeLoss,
        Self::PeakLoad,
        Self::ExtraLoad,
        Self::StaticSafety,
        Self::RowUnloading,
        Self::Pull,
        Self::FloatTravel,
        Self::ToolDisplacement,
        Self::ToolYaw,
        Self::JointForce,
        Self::SlotUsed,
        Self::LifeByLoad,
        Self::PeakElement,
        Self::PeakPressure,
        Self::ElementSafety,
    ];

    /// Its value; NaN for what only the contact level gives, at the linear level.
    #[must_use]
    pub fn of(self, o: &Outcome) -> f64 {
        let of_rows = |value: f64| if o.rows.is_some() { value } else { f64::NAN };
        let rows = o.rows.unwrap_or_default();
        match self {
            Self::Life => o.life_km,
            Self::LifeLoss => o.life_loss,
            Self::PeakLoad => o.peak_load_n,
            Self::ExtraLoad => o.extra_load_n,
            Self::StaticSafety => o.static_safety,
            Self::RowUnloading => o.row_unloading,
            Self::Pull => o.pull_n,
            Self::FloatTravel => o.float_travel_used,
            Self::ToolDisplacement => o.tool_displacement_mm,
            Self::ToolYaw => o.tool_yaw_mrad,
            Self::JointForce => o.joint_force_n,
            Self::SlotUsed => o.slot_used,
            Self::LifeByLoad => of_rows(rows.life_by_load_km),
            Self::PeakElement => of_rows(rows.peak_element_n),
            Self::PeakPressure => of_rows(rows.peak_pressure_mpa),
            Self::ElementSafety => of_rows(rows.element_safety),
        }
    }

    /// Its name in files.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Life => "life_km",
            Self::LifeLoss => "life_loss",
            Self::PeakLoad => "peak_load_n",
            Self::ExtraLoad => "extra_load_n",
            Self::StaticSafety => "static_safety",
            Self::RowUnloading => "row_unloading",
            Self::Pull => "pull_n",
            Self::FloatTravel => "float_travel_used",
            Self::ToolDisplacement => "tool_displacement_mm",
            Self::ToolYaw => "tool_yaw_mrad",
            Self::JointForce => "joint_force_n",
            Self::SlotUsed => "slot_used",
            Self::LifeByLoad => "life_by_load_km",
            Self::PeakElement => "peak_element_n",
            Self::PeakPressure => "peak_pressure_mpa",
            Self::ElementSafety => "element_safety",
        }
    }

    /// True where more is better.
    #[must_use]
    pub fn more_is_better(self) -> bool {
        matches!(self, Self::Life | Self::StaticSafety | Self::LifeByLoad | Self::ElementSafety)
    }

    /// True for what only the contact level gives.
    #[must_use]
    pub fn is_of_rows(self) -> bool {
        matches!(self, Self::LifeByLoad | Self::PeakElement | Self::PeakPressure | Self::ElementSafety)
    }
}

impl Measure {
    /// What a requirement holds a limit against.
    #[must_use]
    pub fn reading(self) -> Reading {
        match self {
            Self::Life => Reading::Life,
            Self::StaticSafety => Reading::StaticSafety,
            Self::FloatTravel => Reading::FloatTravel,
            Self::LifeLoss => Reading::LifeLoss,
            Self::RowUnloading => Reading::RowUnloading,
            Self::ToolDisplacement => Reading::ToolDisplacement,
            Self::ToolYaw => Reading::ToolYaw,
            Self::JointForce => Reading::JointForce,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_each_reading_stands_at_its_own_place() {
        assert!(Reading::ALL.iter().enumerate().all(|(i, r)| *r as usize == i));
    }

    /// What only rows tell is no number where there are none, and everything else is one.
    #[test]
    fn check_what_is_of_rows_is_no_number_without_them() {
        let without = Outcome::start();
        let of_rows: Vec<Reading> = Reading::ALL.into_iter().filter(|r| r.is_of_rows()).collect();
        assert_eq!(of_rows, [Reading::LifeByLoad, Reading::PeakElement, Reading::PeakPressure, Reading::ElementSafety]);
        assert!(Reading::ALL.iter().all(|r| r.of(&without).is_nan() == r.is_of_rows()));
    }
}
