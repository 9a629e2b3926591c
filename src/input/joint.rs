//! Joints of a plan and the arrangements they make. N, mm, rad.

/// The law of one joint component.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// A spring (N/mm or N mm/rad).
    Elastic {
        /// Stiffness.
        k: f64,
    },
    /// No force.
    Free,
    /// Sliding with drag until the travel is used up, then a stop (N, mm or N mm, rad).
    Float {
        /// Way to the stop, either side.
        travel: f64,
        /// Greatest drag.
        drag: f64,
        /// Stiffness before it slides.
        k_slide: f64,
        /// Stiffness of the stop.
        k_stop: f64,
    },
}

/// One of the six components of a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Its law.
    pub law: Law,
    /// What its slot takes up either way when the joint is tightened on the machine (mm, rad); 0 for a fit.
    pub take_up: f64,
}

/// A joint between a truck and its bridge end.
#[derive(Debug, Clone)]
pub struct Joint {
    /// Name of the joint type it was made from.
    pub name: String,
    /// Place from the truck reference.
    pub place_mm: [f64; 3],
    /// Laws in x, y, z, rx, ry, rz.
    pub components: [Component; 6],
}

/// One way to tie the bridge to its trucks.
#[derive(Debug, Clone)]
pub struct Arrangement {
    /// Its name in the plan.
    pub name: String,
    /// Joints at end A and at end B.
    pub ends: [Vec<Joint>; 2],
}

impl Component {
    /// Stiffness with which it counts before it slides: 0 if free.
    #[must_use]
    pub fn stiffness_at_rest(&self) -> f64 {
        match self.law {
            Law::Elastic { k } => k,
            Law::Free => 0.0,
            Law::Float { k_slide, .. } => k_slide,
        }
    }
}
