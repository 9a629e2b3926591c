//! The frame: where the rails are held, and where the bridge goes.

/// Rails, anchors and stroke.
#[derive(Debug, Clone)]
pub struct Frame {
    /// Distance between the rails.
    pub span_mm: f64,
    /// Pads along the rails, increasing.
    pub anchors_x_mm: Vec<f64>,
    /// Positions of the bridge that are computed, increasing.
    pub stations_x_mm: Vec<f64>,
    /// Share of the distance that each station stands for; they add up to 1.
    pub station_share: Vec<f64>,
    /// Thermal expansion of the frame.
    pub expansion_per_k: f64,
    /// Correlation length of the straightness profiles.
    pub correlation_length_mm: f64,
}

impl Frame {
    /// Place along the rails in -1/2..1/2 between the first and the last anchor.
    #[must_use]
    pub fn s(&self, x_mm: f64) -> f64 {
        let (first, last) = (self.anchors_x_mm[0], self.anchors_x_mm[self.anchors_x_mm.len() - 1]);
        (x_mm - f64::midpoint(first, last)) / (last - first)
    }

    /// Distance from the first to the last anchor.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.anchors_x_mm[self.anchors_x_mm.len() - 1] - self.anchors_x_mm[0]
    }
}
