//! A machine simple enough for hand calculation, as plan text.

/// Knobs of the simple machine; the rest is stiff, massless or soft enough not to matter.
pub(crate) struct Simple {
    pub(crate) span_mm: f64,
    /// Blocks of both trucks: x, lateral.
    pub(crate) blocks: Vec<(f64, f64)>,
    /// Stiffness of every block, N/um: lateral, vertical.
    pub(crate) block_n_per_um: (f64, f64),
    /// Moment stiffness of every block, N m/mrad.
    pub(crate) block_moment: f64,
    /// Axial stiffness of the bridge over its length, N/um.
    pub(crate) bridge_axial_n_per_um: f64,
    /// Laws of every joint component at end A and at end B.
    pub(crate) joints: [[String; 6]; 2],
    pub(crate) bridge_kg: f64,
    /// Text of the load cases.
    pub(crate) duty: String,
    /// Text of `[errors]` and what follows it.
    pub(crate) errors: String,
    /// Text of requirements.
    pub(crate) requirement: String,
}

pub(crate) fn spring(n_per_um: f64) -> String {
    format!("{{ law = \"elastic\", stiffness_n_per_um = {n_per_um:?} }}")
}

pub(crate) fn hinge(n_m_per_mrad: f64) -> String {
    format!("{{ law = \"elastic\", stiffness_n_m_per_mrad = {n_m_per_mrad:?} }}")
}

pub(crate) fn float(travel_mm: f64, drag_n: f64, slide: f64, stop: f64) -> String {
    format!("{{ law = \"float\", travel_mm = {travel_mm:?}, drag_n = {drag_n:?}, slide_n_per_um = {slide:?}, stop_n_per_um = {stop:?} }}")
}

impl Default for Simple {
    fn default() -> Self {
        let stiff = [spring(1e6), spring(1e6), spring(1e6), hinge(1e6), hinge(1e6), hinge(1e6)];
        Self {
            span_mm: 1200.0,
            blocks: vec![(300.0, 0.0), (-300.0, 0.0)],
            block_n_per_um: (150.0, 200.0),
            block_moment: 20.0,
            bridge_axial_n_per_um: 300.0,
            joints: [stiff.clone(), stiff],
            bridge_kg: 0.0,
            duty: "[[duty]]\nname = \"rest\"\nshare = 1\npayload_y_mm = 600\n".into(),
            errors: "[errors]\n".into(),
            requirement: "[requirement]\nlife_km = { least = 100 }\n".into(),
        }
    }
}

impl Simple {
    pub(crate) fn text(&self) -> String {
        let blocks: Vec<String> = self.blocks.iter().map(|(x, b)| format!("{{ x_mm = {x:?}, lateral_mm = {b:?} }}")).collect();
        let m = self.block_moment;
        let mut t = format!(
            "format = 1\ntitle = \"simple\"\nchosen = \"only\"\n\
             [frame]\nspan_mm = {:?}\nfirst_anchor_mm = 0\nlast_anchor_mm = 4000\nanchor_pitch_mm = 500\nstroke_from_mm = 500\nstroke_to_mm = 3500\nstations = 7\nexpansion_per_k = 12e-6\n\
             [truck]\nmass_kg = 0\nbridge_axis_height_mm = 0\nblock = [{}]\n\
             [block]\nelement = \"ball\"\nrating_basis_km = \"100\"\ndynamic_n = 20000\nstatic_n = 30000\ndynamic_roll_n_m = 250\ndynamic_pitch_n_m = 200\ndynamic_yaw_n_m = 200\nstatic_roll_n_m = 350\nstatic_pitch_n_m = 300\nstatic_yaw_n_m = 300\n\
             lateral_n_per_um = {:?}\nvertical_n_per_um = {:?}\nroll_n_m_per_mrad = {m:?}\npitch_n_m_per_mrad = {m:?}\nyaw_n_m_per_mrad = {m:?}\npreload_n = 500\n\
             [bridge]\nmass_kg = {:?}\nexpansion_per_k = 24e-6\n[bridge.stiffness]\nea_n = {:?}\nei_vertical_n_m2 = 1e6\nei_lateral_n_m2 = 1e6\ngj_n_m2 = 1e6\n\
             [slide]\nmass_kg = 0\n[drive]\nkind = \"two\"\nstiffness_n_per_um = 50\n",
            self.span_mm,
            blocks.join(", "),
            self.block_n_per_um.0,
            self.block_n_per_um.1,
            self.bridge_kg,
            self.bridge_axial_n_per_um * 1e3 * self.span_mm,
        );
        for (end, laws) in ["a", "b"].iter().zip(&self.joints) {
            t += &format!("[joint.{end}]\n");
            for (axis, law) in ["x", "y", "z", "rx", "ry", "rz"].iter().zip(laws) {
                t += &format!("{axis} = {law}\n");
            }
        }
        t += "[arrangement.only]\nend_a = [ { joint = \"a\", z_mm = 0 } ]\nend_b = [ { joint = \"b\", z_mm = 0 } ]\n";
        t + &self.duty + &self.requirement + &self.errors
    }
}
