//! The checked plan: what every study starts from. A plan that exists is valid.
//! Units: N, mm, MPa, rad, kg, m/s2, K; pairs are in the order rail A, rail B.

pub use super::block::{Block, Contact, Element, Level};
pub use super::cost::Budget;
pub use super::frame::Frame;
use super::inputs::Input;
pub use super::joint::{Arrangement, Component, Joint, Law};
use super::provenance::Provenance;
use super::site::Site;
use super::sources::ErrorSources;
use super::title_block::TitleBlock;
use crate::contact::stiffness_from_geometry;

/// A whole plan.
#[derive(Debug, Clone)]
pub struct Plan {
    /// What the machine is, for headings.
    pub title: String,
    /// Index in `arrangements` of the one that sets the exit code.
    pub chosen: usize,
    /// Rails, anchors, stroke.
    pub frame: Frame,
    /// The plates on the blocks of each rail.
    pub trucks: [Truck; 2],
    /// The bearing block, the same everywhere.
    pub block: Block,
    /// What each rail's blocks stand on.
    pub supports: [Support; 2],
    /// The cross beam.
    pub bridge: Bridge,
    /// Mass of the slide without payload, moving along the bridge.
    pub slide_kg: f64,
    /// What moves the trucks along the rails.
    pub drive: Drive,
    /// How the bridge may be tied to the trucks.
    pub arrangements: Vec<Arrangement>,
    /// The state in which joints are tightened.
    pub tightening: Tightening,
    /// Load cases with shares of the distance (they add up to 1).
    pub duty: Vec<LoadCase>,
    /// Temperatures with shares of the distance (they add up to 1).
    pub seasons: Vec<Season>,
    /// Sources of error with their limits.
    pub errors: ErrorSources,
    /// What the machine must reach.
    pub requirements: Vec<Requirement>,
    /// How the Monte Carlo study is run.
    pub study: StudySettings,
    /// What an hour of keeping tolerances costs.
    pub budget: Budget,
    /// What ties the plan to a drawing and a machine.
    pub title_block: TitleBlock,
    /// Every value of the plan with its source.
    pub inputs: Vec<Input>,
    /// Tables and keys whose values are assumed, not known.
    pub assumed: Vec<String>,
    /// Distance travelled in a year.
    pub km_per_year: Option<f64>,
    /// Temperature at which the sizes hold, degrees Celsius.
    pub reference_c: f64,
    /// Survey files and corrections on site.
    pub site: Site,
}

/// One truck: a rigid plate on its blocks.
#[derive(Debug, Clone)]
pub struct Truck {
    /// Blocks from the truck reference: along the rail, and across from the rail line.
    pub blocks: Vec<BlockPlace>,
    /// Mass of truck, drive and plates.
    pub mass_kg: f64,
    /// Centre of gravity from the truck reference.
    pub centre_mm: [f64; 3],
    /// Height of the bridge axis above the truck reference.
    pub bridge_axis_height_mm: f64,
}

/// Where a block sits in its truck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockPlace {
    /// Along the rail from the truck reference.
    pub x_mm: f64,
    /// Across from the rail line (twin-rail axes).
    pub lateral_mm: f64,
}

/// Stiffness of rail bed and frame under one block; infinite where none is given.
#[derive(Debug, Clone, Copy)]
pub struct Support {
    /// In y, z (N/mm) and roll (N mm/rad).
    pub stiffness: [f64; 3],
}

/// The cross beam from end A to end B.
#[derive(Debug, Clone)]
pub struct Bridge {
    /// Axial stiffness EA.
    pub ea_n: f64,
    /// Bending stiffness EI about x (vertical bending).
    pub ei_vertical_n_mm2: f64,
    /// Bending stiffness EI about z (lateral bending).
    pub ei_lateral_n_mm2: f64,
    /// Torsion stiffness GJ.
    pub gj_n_mm2: f64,
    /// Shear stiffness G A_s in vertical bending; infinite for a slender beam.
    pub gas_vertical_n: f64,
    /// Shear stiffness G A_s in lateral bending.
    pub gas_lateral_n: f64,
    /// Mass, spread evenly.
    pub mass_kg: f64,
    /// Thermal expansion.
    pub expansion_per_k: f64,
    /// Height over which a vertical temperature difference acts.
    pub height_mm: Option<f64>,
}

/// Which trucks are driven.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DriveKind {
    /// One drive a truck.
    Two,
    /// Only the truck of this side is driven.
    One(usize),
    /// A motor at this side and a shaft across to the other.
    Shaft {
        /// Side of the motor.
        motor: usize,
        /// Yield of the shaft, seen at the far rail, per newton of thrust there.
        compliance_mm_per_n: f64,
    },
}

/// The drives: a spring along x on each driven truck.
#[derive(Debug, Clone)]
pub struct Drive {
    /// Which trucks are driven.
    pub kind: DriveKind,
    /// Stiffness of one drive along x, N/mm.
    pub stiffness_n_per_mm: f64,
    /// Height of the thrust line above the truck reference.
    pub height_mm: f64,
    /// Thrust line across from the rail line, for each truck.
    pub lateral_mm: [f64; 2],
}

/// The state in which the joints are tightened.
#[derive(Debug, Clone)]
pub struct Tightening {
    /// Station of the bridge.
    pub station_x_mm: f64,
    /// Place of the slide along the bridge.
    pub payload_y_mm: f64,
    /// Payload on the slide.
    pub payload_kg: f64,
    /// Payload's arm from the bridge axis along x and z.
    pub payload_arm_mm: [f64; 2],
    /// Temperatures, as differences from the reference.
    pub thermal: Thermal,
    /// Drive positions s_A and s_B.
    pub drive_offset_mm: [f64; 2],
}

/// Temperatures as differences from the reference.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Thermal {
    /// Bridge.
    pub bridge_dt_k: f64,
    /// Frame between the rails.
    pub frame_dt_k: f64,
    /// Top of the bridge hotter than its underside by.
    pub top_hotter_k: f64,
}

/// Temperatures during a share of the distance.
#[derive(Debug, Clone)]
pub struct Season {
    /// Its name.
    pub name: String,
    /// Share of the distance.
    pub share: f64,
    /// Temperatures, as differences from the reference.
    pub thermal: Thermal,
}

/// Constant masses, places and accelerations during a share of the distance.
#[derive(Debug, Clone)]
pub struct LoadCase {
    /// Its name.
    pub name: String,
    /// Share of the distance; 0 for a case that counts for extremes only.
    pub share: f64,
    /// Payload on the slide.
    pub payload_kg: f64,
    /// Place of slide and payload along the bridge.
    pub payload_y_mm: f64,
    /// Their arm from the bridge axis along x and z.
    pub payload_arm_mm: [f64; 2],
    /// Acceleration of bridge, slide and trucks.
    pub acceleration_m_per_s2: [f64; 3],
    /// Further masses and forces.
    pub extras: Vec<Extra>,
}

/// What an extra mass or force is fixed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Carrier {
    /// The bridge.
    Bridge,
    /// The truck of this side.
    Truck(usize),
}

/// A mass or force at a stated point.
#[derive(Debug, Clone)]
pub struct Extra {
    /// What it is fixed to.
    pub carrier: Carrier,
    /// On the bridge: arm x, place y along the bridge, arm z from its axis.
    /// On a truck: x, y, z from the truck reference.
    pub place_mm: [f64; 3],
    /// Mass.
    pub mass_kg: f64,
    /// Force.
    pub force_n: [f64; 3],
}

/// What a requirement is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Measure {
    /// Life of the system of blocks, km: at least.
    Life,
    /// Least static safety of any block: at least.
    StaticSafety,
    /// Largest share of a float's travel: at most.
    FloatTravel,
    /// 1 - life / life of the perfect installation: at most.
    LifeLoss,
    /// Largest block load over the load at which a row unloads: at most 1.
    RowUnloading,
    /// Displacement of the tool point against the perfect installation, mm: at most.
    ToolDisplacement,
    /// Yaw of the tool point against the perfect installation, mrad: at most.
    ToolYaw,
    /// Largest force in one joint, N: at most.
    JointForce,
}

/// A requirement that a share of all installations must meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Requirement {
    /// What it is about.
    pub measure: Measure,
    /// The limit.
    pub limit: f64,
    /// Share of installations that must meet it.
    pub quantile: f64,
    /// Confidence with which the share must be shown.
    pub confidence: f64,
}

/// Which state of a sliding float's drag counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DragStates {
    /// Full drag in both directions, each for half of the distance.
    BothSigns,
    /// The law as it stands: drag grows with the way slid.
    Law,
}

/// How the Monte Carlo study is run.
#[derive(Debug, Clone)]
pub struct StudySettings {
    /// Number of installations; the most of them where `digits` is given.
    pub draws: u64,
    /// Significant digits of the standard uncertainty that end the study.
    pub digits: Option<u32>,
    /// Seed of the random streams.
    pub seed: u64,
    /// State of the drag.
    pub drag: DragStates,
}

impl Plan {
    /// Number of values that are assumed, not known.
    #[must_use]
    pub fn assumed_values(&self) -> usize {
        self.values_from(Provenance::Assumed)
    }

    /// Number of values that rest on this.
    #[must_use]
    pub fn values_from(&self, provenance: Provenance) -> usize {
        self.inputs.iter().filter(|i| i.provenance == provenance).count()
    }

    /// Largest number of joints that any arrangement has at each end.
    #[must_use]
    pub fn joints_at_most(&self) -> [usize; 2] {
        [0, 1].map(|end| self.arrangements.iter().map(|a| a.ends[end].len()).max().unwrap_or(0))
    }

    /// The same plan with contact-level blocks as springs of their stiffness at rest; `None` at the linear level.
    #[must_use]
    pub fn on_springs(&self) -> Option<Self> {
        let contact = self.block.contact.as_ref().filter(|_| self.block.level == Level::Contact)?;
        let stiffness = stiffness_from_geometry(contact, self.block.preload_n, self.block.c_n)?;
        Some(Self { block: Block { level: Level::Linear, stiffness, ..self.block.clone() }, ..self.clone() })
    }

    /// Number of blocks on both trucks.
    #[must_use]
    pub fn block_count(&self) -> usize {
        self.trucks.iter().map(|t| t.blocks.len()).sum()
    }
}
