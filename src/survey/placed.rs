//! From the instrument's own coordinates to the plan's axes: which motion laid the points there, and what it cannot know.

use nalgebra::Vector3;

use super::SurveyError;
use crate::geometry::{RigidMotion, lay_onto};
use crate::input::Plan;
use crate::input::survey::{FrameKind, Place, Point, Quantity, Reading, Survey};
use crate::units::{A, B, MRAD};

/// All readings at stations of the plan, and how coordinates came there.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// The readings.
    pub readings: Vec<Reading>,
    /// The motion of the points, if the survey has any.
    pub motion: Option<RigidMotion>,
    /// What was fitted, what was assumed and what cannot be seen, in sentences.
    pub said: Vec<String>,
}

/// Brings every reading of a survey to stations of the plan.
///
/// # Errors
/// The points cannot be placed along the rails.
pub fn place(plan: &Plan, survey: &Survey) -> Result<Placed, SurveyError> {
    let mut placed = Placed { readings: survey.readings.clone(), motion: None, said: Vec::new() };
    if survey.points.is_empty() {
        return Ok(placed);
    }
    if survey.state.frame == FrameKind::Plan {
        placed.said.push("coordinates are in the plan's axes as stated: nothing was fitted, a common yaw of both rails is kept".into());
        survey.points.iter().for_each(|p| add(&mut placed.readings, p, p.xyz_mm, p.x_mm.unwrap_or(p.xyz_mm[0]), plan));
        return Ok(placed);
    }
    let upright = survey.state.z_is_gravity == Some(true);
    let nominal = nominal_x(plan, &survey.points, &mut placed.said)?;
    let motion = fit(plan, &survey.points, &nominal, upright).ok_or(SurveyError::NoFrame)?;
    for (p, x) in survey.points.iter().zip(&nominal) {
        let at = motion.of(p.xyz_mm);
        // A named station is the pad that was meant; without one the place along the rails is where the point lies.
        add(&mut placed.readings, p, at, p.x_mm.map_or(at[0], |_| *x), plan);
    }
    if survey.state.levels_by_instrument && !upright {
        // A seat's slope across in the instrument's axes, seen in the plan's: the level line across rises there by this much.
        let across = motion.rotation.row(1);
        let level = Vector3::new(across[0], across[1], 0.0).normalize();
        let turn = (motion.rotation * level)[2];
        placed.readings.iter_mut().filter(|r| r.quantity == Quantity::CrossLevel).for_each(|r| r.value += turn);
    }
    let turned = motion.yaw_rad().to_degrees();
    placed.said.push(format!(
        "best rigid motion of {} points: turned by {turned:.3} degrees about z, {}",
        survey.points.len(),
        if upright {
            "none about x and y, because z is tied to gravity".to_string()
        } else {
            format!("z tilted by {:.3} mm/m; z is not tied to gravity", motion.tilt_rad() / MRAD)
        }
    ));
    placed.said.push(
        "the instrument's own axes say nothing of the square of the frame: a common yaw of both rails cannot be seen and is left at zero; it acts as a skew, so check the diagonals"
            .into(),
    );
    placed.motion = Some(motion);
    Ok(placed)
}

fn add(readings: &mut Vec<Reading>, point: &Point, at: [f64; 3], x_mm: f64, plan: &Plan) {
    let across = if point.rail == B { plan.frame.span_mm } else { 0.0 };
    for (quantity, value) in [(Quantity::Lateral, at[1] - across), (Quantity::Vertical, at[2])] {
        // A deviation comes from all three coordinates in the instrument's own axes, so the whole point is named.
        let [x, y, z] = point.xyz_mm;
        let place = Place { line: point.place.line, column: "point".into(), written: format!("({x}, {y}, {z})") };
        let reading = Reading { place, quantity, rail: Some(point.rail), x_mm, value, uncertainty: point.uncertainty_mm };
        readings.push(reading);
    }
}

/// Station of each point: as the file says, or by matching the points of each rail with its pads in their order.
pub(super) fn nominal_x(plan: &Plan, points: &[Point], said: &mut Vec<String>) -> Result<Vec<f64>, SurveyError> {
    if points.iter().all(|p| p.x_mm.is_some()) {
        return Ok(points.iter().filter_map(|p| p.x_mm).collect());
    }
    let (along, _) = axes(points).ok_or(SurveyError::NoFrame)?;
    let anchors = &plan.frame.anchors_x_mm;
    let place = |p: &Point| Vector3::from(p.xyz_mm).dot(&along);
    let mut x = vec![f64::NAN; points.len()];
    let mut shifts = Vec::new();
    for rail in [A, B] {
        let mut of: Vec<usize> = (0..points.len()).filter(|&i| points[i].rail == rail).collect();
        of.sort_by(|&i, &j| place(&points[i]).total_cmp(&place(&points[j])));
        // Repeated readings of one point stand together.
        let pitch = plan.frame.length_mm() / (anchors.len() - 1) as f64;
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for i in of {
            match groups.last_mut().filter(|g| place(&points[i]) - place(&points[g[0]]) < 0.2 * pitch) {
                Some(g) => g.push(i),
                None => groups.push(vec![i]),
            }
        }
        if groups.len() != anchors.len() {
            if groups.is_empty() {
                continue;
            }
            return Err(SurveyError::NoStations { found: groups.len(), pads: anchors.len() });
        }
        for (group, anchor) in groups.iter().zip(anchors) {
            for &i in group {
                x[i] = *anchor;
                shifts.push(place(&points[i]) - anchor);
            }
        }
    }
    let middle = shifts.iter().sum::<f64>() / shifts.len() as f64;
    let pitch = plan.frame.length_mm() / (anchors.len() - 1) as f64;
    let off = shifts.iter().map(|s| (s - middle).abs()).fold(0.0, f64::max);
    if off > 0.25 * pitch {
        return Err(SurveyError::NoStations { found: anchors.len(), pads: anchors.len() });
    }
    said.push(format!(
        "no stations are given: the points were matched with the pads in their order along the rails (largest misfit {off:.1} mm)"
    ));
    Ok(x)
}

/// Directions along the rails and up, from the points alone: z of the instrument is taken to point up rather than down.
pub(super) fn axes(points: &[Point]) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let of = |rail: usize| points.iter().filter(move |p| p.rail == rail).map(|p| Vector3::from(p.xyz_mm));
    let mean = |rail: usize| of(rail).sum::<Vector3<f64>>() / of(rail).count().max(1) as f64;
    let means = [mean(A), mean(B)];
    let mut scatter = nalgebra::Matrix3::zeros();
    for rail in [A, B] {
        for p in of(rail) {
            let d = p - means[rail];
            scatter += d * d.transpose();
        }
    }
    let eigen = scatter.symmetric_eigen();
    let along: Vector3<f64> = eigen.eigenvectors.column(eigen.eigenvalues.imax()).into_owned();
    if of(A).count() == 0 || of(B).count() == 0 {
        // One rail alone does not tell which way it runs: the way in which its points were read decides.
        let first = points.first()?;
        let last = points.last()?;
        let sense = along.dot(&(Vector3::from(last.xyz_mm) - Vector3::from(first.xyz_mm))).signum();
        return Some((along * sense, Vector3::z()));
    }
    let across = means[B] - means[A];
    let up = along.cross(&across).try_normalize(1e-9)?;
    let sense = if up.z < 0.0 { -1.0 } else { 1.0 };
    Some((along * sense, up * sense))
}

/// Lays the points onto the plan's rail lines; a point far off is left out of the fit (not of the survey).
fn fit(plan: &Plan, points: &[Point], nominal: &[f64], upright: bool) -> Option<RigidMotion> {
    let one_rail = points.iter().all(|p| p.rail == points[0].rail);
    let target: Vec<[f64; 3]> =
        points.iter().zip(nominal).map(|(p, x)| [*x, if p.rail == B { plan.frame.span_mm } else { 0.0 }, 0.0]).collect();
    let mut kept: Vec<usize> = (0..points.len()).collect();
    let mut motion = None;
    for _ in 0..3 {
        let measured: Vec<[f64; 3]> = kept.iter().map(|&i| points[i].xyz_mm).collect();
        let wanted: Vec<[f64; 3]> = kept.iter().map(|&i| target[i]).collect();
        // One rail alone leaves the rotation about itself open: the instrument's z is taken as upright.
        let found = lay_onto(&measured, &wanted, upright || one_rail)?;
        motion = Some(found);
        let off = |i: usize| {
            let p = found.of(points[i].xyz_mm);
            (p[1] - target[i][1]).hypot(p[2] - target[i][2])
        };
        let mut all: Vec<f64> = (0..points.len()).map(off).collect();
        all.sort_by(f64::total_cmp);
        let limit = 6.0 * all[all.len() / 2] + 1.0;
        kept = (0..points.len()).filter(|&i| off(i) <= limit).collect();
    }
    motion
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::read_plan;

    fn plan() -> Plan {
        read_plan(include_str!("../../examples/panel-bridge.toml"), "plan.toml").unwrap()
    }

    fn point(rail: usize, xyz_mm: [f64; 3]) -> Point {
        let place = Place { line: 1, column: String::new(), written: String::new() };
        Point { place, rail, xyz_mm, x_mm: None, uncertainty_mm: None }
    }

    /// Perfect rails in the plan's own axes, a point a pad: in them the middles of the rails lie square across from each other
    /// to the last digit.
    fn square(plan: &Plan) -> Vec<Point> {
        let pads = &plan.frame.anchors_x_mm;
        let across = |rail: usize| if rail == B { plan.frame.span_mm } else { 0.0 };
        [A, B].into_iter().flat_map(|rail| pads.iter().map(move |x| point(rail, [*x, across(rail), 0.0]))).collect()
    }

    #[test]
    fn check_points_that_are_square_already_are_matched_with_their_pads() {
        let plan = plan();
        let points = square(&plan);
        let mut said = Vec::new();
        let found = nominal_x(&plan, &points, &mut said).unwrap();
        assert_eq!(found, points.iter().map(|p| p.xyz_mm[0]).collect::<Vec<_>>());
        assert!(said[0].ends_with("(largest misfit 0.0 mm)"), "{said:?}");
    }

    /// Of two rails that do not match, the first is told.
    #[test]
    fn check_points_that_are_missing_are_counted_on_rail_a_first() {
        let plan = plan();
        let mut points = square(&plan);
        points.drain(20..22);
        let found = |points: &[Point]| nominal_x(&plan, points, &mut Vec::new()).unwrap_err();
        assert_eq!(found(&points), SurveyError::NoStations { found: 12, pads: 14 });
        points.remove(5);
        assert_eq!(found(&points), SurveyError::NoStations { found: 13, pads: 14 });
    }

    /// Up to a millimetre off, a point among perfect ones counts like every other: the whole is laid by least squares of all.
    /// One that is 5 mm off is left out, and all others lie where they should.
    #[test]
    fn check_only_a_point_that_is_far_off_is_left_out_of_the_fit() {
        let plan = plan();
        let perfect = square(&plan);
        let nominal: Vec<f64> = perfect.iter().map(|p| p.xyz_mm[0]).collect();
        let mut points = perfect.clone();
        let lifted = |points: &mut Vec<Point>, by_mm: f64| {
            points[9].xyz_mm[2] = by_mm;
            let motion = fit(&plan, points, &nominal, true).unwrap();
            points.iter().map(|p| motion.of(p.xyz_mm)[2]).collect::<Vec<_>>()
        };
        // By hand: upright axes can only be lifted, and least squares lift them by the mean, 0.56 mm over 28 points.
        for (i, z) in lifted(&mut points, 0.56).into_iter().enumerate() {
            assert!((z - if i == 9 { 0.54 } else { -0.02 }).abs() < 1e-9, "{i}: {z}");
        }
        for (i, z) in lifted(&mut points, 5.0).into_iter().enumerate() {
            assert!((z - if i == 9 { 5.0 } else { 0.0 }).abs() < 1e-9, "{i}: {z}");
        }
    }
}
