//! What the figures and pages of a survey show, as numbers: profiles with their uncertainty, readings, limits, before and after.

use nalgebra::DVector;

use super::corrected::Corrected;
use super::lines::{line, line_weights};
use super::measured::{LATERAL, Measured, ROLL, VERTICAL};
use crate::geometry::Rails;
use crate::input::survey::{Quantity, Reading};
use crate::input::{ErrorKind, Plan};
use crate::units::{A, B, MRAD};

/// One line of a panel.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Curve {
    /// Rail it belongs to; none for B against A.
    pub rail: Option<usize>,
    /// Most likely value at each place.
    pub value: Vec<f64>,
    /// Standard uncertainty at each place.
    pub uncertainty: Vec<f64>,
    /// Value after the correction, where there is one.
    pub after: Option<Vec<f64>>,
    /// Readings: place and value.
    pub readings: Vec<(f64, f64)>,
}

/// One panel.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Panel {
    /// What it shows.
    pub heading: &'static str,
    /// mm or mm/m.
    pub unit: &'static str,
    /// Places along the rails, mm.
    pub x_mm: Vec<f64>,
    /// True for places that are pads.
    pub at_pad: Vec<bool>,
    /// Limits at each place: lower, upper; offset and drift together.
    pub limits: Option<[Vec<f64>; 2]>,
    /// The lines.
    pub curves: Vec<Curve>,
}

/// Steps of a bay between two pads.
const PER_BAY: usize = 4;

/// The five panels of a survey: span, height, straightness across and in height, cross-level.
#[must_use]
pub fn panels(plan: &Plan, rails: &Rails, corrected: &Corrected, measured: &Measured, after: Option<&Measured>) -> Vec<Panel> {
    let anchors = &plan.frame.anchors_x_mm;
    let mut x_mm: Vec<f64> =
        anchors.windows(2).flat_map(|w| (0..PER_BAY).map(move |k| w[0] + (w[1] - w[0]) * k as f64 / PER_BAY as f64)).collect();
    x_mm.extend(anchors.last());
    let view = View { plan, rails, corrected, measured, after, x_mm };
    let span = [ErrorKind::Span, ErrorKind::Parallelism];
    let height = [ErrorKind::Height, ErrorKind::VerticalParallelism];
    let mut list = vec![
        view.against("Span: rail B less rail A, from the plan's span", LATERAL, span, Quantity::Gauge),
        view.against("Height: rail B over rail A", VERTICAL, height, Quantity::Height),
        view.straight("Straightness across, each rail about its own line", LATERAL),
        view.straight("Straightness in height, each rail about its own line", VERTICAL),
        view.cross_level(),
    ];
    list.retain(|p| !p.curves.is_empty());
    list
}

struct View<'v> {
    plan: &'v Plan,
    rails: &'v Rails,
    corrected: &'v Corrected,
    measured: &'v Measured,
    after: Option<&'v Measured>,
    x_mm: Vec<f64>,
}

impl View<'_> {
    fn anchors(&self) -> usize {
        self.plan.frame.anchors_x_mm.len()
    }

    /// Weights of the anchor values of one rail at a place, less those of its own line where `free`.
    fn weights(&self, rail: usize, x: f64, free: bool) -> DVector<f64> {
        let n = self.anchors();
        let mut weights = DVector::zeros(2 * n);
        weights.rows_mut(rail * n, n).copy_from_slice(&self.rails.spline().weights(x).value);
        if free {
            let [offset, drift] = line_weights(&self.plan.frame, rail);
            weights -= offset + drift * self.plan.frame.s(x);
        }
        weights
    }

    fn curve(
        &self,
        direction: usize,
        rail: Option<usize>,
        weights: &dyn Fn(f64) -> DVector<f64>,
        readings: Vec<(f64, f64)>,
        scale: f64,
    ) -> Curve {
        let at: Vec<(f64, f64)> = self.x_mm.iter().map(|x| self.measured.profiles[direction].of(&weights(*x))).collect();
        let later = |m: &Measured| self.x_mm.iter().map(|x| m.profiles[direction].of(&weights(*x)).0 / scale).collect();
        Curve {
            rail,
            value: at.iter().map(|(v, _)| v / scale).collect(),
            uncertainty: at.iter().map(|(_, u)| u / scale).collect(),
            after: self.after.map(later),
            readings: readings.into_iter().map(|(x, v)| (x, v / scale)).collect(),
        }
    }

    fn panel(&self, heading: &'static str, unit: &'static str, limits: Option<[Vec<f64>; 2]>, curves: Vec<Curve>) -> Panel {
        let at_pad = (0..self.x_mm.len()).map(|i| i % PER_BAY == 0).collect();
        Panel { heading, unit, x_mm: self.x_mm.clone(), at_pad, limits, curves }
    }

    /// Corridor of an offset with a drift that may be used up to its limit either way.
    fn corridor(&self, kinds: [ErrorKind; 2], scale: f64) -> Option<[Vec<f64>; 2]> {
        let offset = self.plan.errors.get(kinds[0])?;
        let drift = self.plan.errors.get(kinds[1]).map_or(0.0, |s| s.upper.abs().max(s.lower.abs()));
        let one = |limit: f64, sign: f64| self.x_mm.iter().map(|x| (limit + sign * drift * self.plan.frame.s(*x).abs()) / scale).collect();
        Some([one(offset.lower, -1.0), one(offset.upper, 1.0)])
    }

    fn against(&self, heading: &'static str, direction: usize, kinds: [ErrorKind; 2], both: Quantity) -> Panel {
        if !self.measured.read[direction].iter().any(|r| *r) || (direction == VERTICAL && !self.measured.seen.vertical[0]) {
            return self.panel(heading, "mm", None, Vec::new());
        }
        let weights = |x: f64| self.weights(B, x, false) - self.weights(A, x, false);
        let mut readings: Vec<(f64, f64)> = self.readings(both, None).map(|r| (r.x_mm, r.value)).collect();
        let single = if direction == LATERAL { Quantity::Lateral } else { Quantity::Vertical };
        for b in self.readings(single, Some(B)) {
            readings.extend(self.readings(single, Some(A)).filter(|a| (a.x_mm - b.x_mm).abs() < 1.0).map(|a| (b.x_mm, b.value - a.value)));
        }
        let curve = self.curve(direction, None, &weights, readings, 1.0);
        self.panel(heading, "mm", self.corridor(kinds, 1.0), vec![curve])
    }

    fn straight(&self, heading: &'static str, direction: usize) -> Panel {
        let single = if direction == LATERAL { Quantity::Lateral } else { Quantity::Vertical };
        let curves = [A, B].into_iter().filter(|&rail| self.measured.read[direction][rail]).map(|rail| {
            let means = self.measured.profiles[direction].mean_profiles();
            let [offset, drift] = line(&self.plan.frame, &means[rail]);
            let readings = self.readings(single, Some(rail)).map(|r| (r.x_mm, r.value - offset - drift * self.plan.frame.s(r.x_mm)));
            self.curve(direction, Some(rail), &|x| self.weights(rail, x, true), readings.collect(), 1.0)
        });
        let curves = curves.collect();
        let kind = |rail| if direction == LATERAL { ErrorKind::StraightnessLateral(rail) } else { ErrorKind::StraightnessVertical(rail) };
        let zone = [A, B].into_iter().filter_map(|r| self.plan.errors.get(kind(r))).map(|s| s.upper).reduce(f64::min);
        let n = self.x_mm.len();
        self.panel(heading, "mm", zone.map(|z| [vec![-z / 2.0; n], vec![z / 2.0; n]]), curves)
    }

    fn cross_level(&self) -> Panel {
        let curves = [A, B].into_iter().filter(|&rail| self.measured.read[ROLL][rail]).map(|rail| {
            let readings = self.readings(Quantity::CrossLevel, Some(rail)).map(|r| (r.x_mm, r.value)).collect();
            self.curve(ROLL, Some(rail), &|x| self.weights(rail, x, false), readings, MRAD)
        });
        let limits = self.corridor([ErrorKind::CrossLevel(A), ErrorKind::CrossLevelTwist(A)], MRAD);
        self.panel("Cross-level of each rail's seat", "mm/m", limits, curves.collect())
    }

    fn readings(&self, quantity: Quantity, rail: Option<usize>) -> impl Iterator<Item = &Reading> {
        self.corrected.readings.iter().filter(move |r| r.quantity == quantity && r.rail == rail)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;
    use crate::input::survey::read_survey;
    use crate::survey::evaluate_survey;

    /// Headings of the panels of a survey with this head and these columns, all at zero at every pad.
    fn headings(head: &str, columns: &str) -> Vec<&'static str> {
        let plan = read_plan(include_str!("../../examples/panel-bridge.toml"), "plan.toml").unwrap();
        let rails = Rails::new(&plan).unwrap();
        let zeros = ",0".repeat(columns.split(',').count());
        let mut text = format!("{head}# u_point_mm = 0.01\n# frame_c = 20\n# bridge = off\nrail,station,{columns}\n");
        for rail in ["A", "B"] {
            text.extend(plan.frame.anchors_x_mm.iter().map(|x| format!("{rail},{x}{zeros}\n")));
        }
        let survey = read_survey(text.as_bytes(), "survey.csv", &plan, &[], &[]).unwrap();
        let found = evaluate_survey(&plan, &rails, &survey).unwrap();
        panels(&plan, &rails, &found.corrected, &found.measured, None).iter().map(|p| p.heading.split([':', ',']).next().unwrap()).collect()
    }

    /// Where z is not tied to gravity the height of rail B over rail A is not seen, and there is nothing to show.
    #[test]
    fn check_only_what_was_read_and_can_be_seen_is_shown() {
        assert_eq!(headings("", "lateral"), ["Span", "Straightness across"]);
        assert_eq!(headings("", "vertical"), ["Height", "Straightness in height"]);
        let straight = ["Straightness across", "Straightness in height"];
        assert_eq!(headings("", "lateral,vertical"), [["Span", "Height"], straight].concat());
        assert_eq!(headings("# z_axis = free\n", "lateral,vertical"), [["Span"].as_slice(), &straight].concat());
    }
}
