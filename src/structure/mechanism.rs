//! Is every direction held? If not, which one is free.

use nalgebra::SymmetricEigen;

use super::{DOF, Matrix24, Vector24};

/// Length that makes rotations comparable with displacements.
const ARM_MM: f64 = 100.0;

/// A direction with less than this share of the greatest stiffness is free: rounding alone leaves about 1e-15.
const FREE: f64 = 1e-12;

/// The machine can move without resistance.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the machine is a mechanism: nothing holds {direction}")]
pub struct Mechanism {
    /// The free direction in words.
    pub direction: String,
    /// What would hold it.
    pub advice: String,
}

impl Mechanism {
    pub(super) fn no_rails() -> Self {
        Self { direction: "anything: the rails have no two anchors".into(), advice: "Give the anchors in increasing order.".into() }
    }
}

/// Scales a freedom so that a unit moves a point 100 mm away by about a millimetre.
pub(super) fn freedom_scale(i: usize) -> f64 {
    if i % 6 < 3 { 1.0 } else { 1.0 / ARM_MM }
}

/// How well a machine is held.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// Greatest over least stiffness of any direction.
    pub(super) condition: f64,
    /// The direction that is held least, in words.
    pub(super) weakest: String,
}

/// Condition number of a stiffness, and the direction in which it is least.
///
/// # Errors
/// The free direction, if the stiffness has one.
pub(super) fn held(stiffness: &Matrix24) -> Result<Held, Mechanism> {
    let scaled = Matrix24::from_fn(|i, j| stiffness[(i, j)] * freedom_scale(i) * freedom_scale(j));
    let eigen = SymmetricEigen::new(scaled);
    let greatest = eigen.eigenvalues.max();
    let (least_at, least) = eigen.eigenvalues.argmin();
    let mode = eigen.eigenvectors.column(least_at).into_owned();
    if least > FREE * greatest {
        return Ok(Held { condition: greatest / least, weakest: in_words(&mode) });
    }
    // Several free directions mix: take the one of them that a plain motion shows best.
    let free: Vec<Vector24> =
        (0..DOF).filter(|&i| eigen.eigenvalues[i] <= FREE * greatest).map(|i| eigen.eigenvectors.column(i).into_owned()).collect();
    let inside = |motion: &Vector24| free.iter().map(|v| v.dot(motion).powi(2)).sum::<f64>().sqrt() / motion.norm();
    for (name, advice, motion) in plain_motions() {
        if inside(&motion) > 0.95 {
            return Err(Mechanism { direction: name.into(), advice: advice.into() });
        }
    }
    Err(Mechanism {
        direction: in_words(&mode),
        advice: "Make one of the joint components along it elastic, or a float with slide stiffness.".into(),
    })
}

/// Motions that are commonly left free, in scaled freedoms.
fn plain_motions() -> Vec<(&'static str, &'static str, Vector24)> {
    let along = |freedoms: &[usize]| {
        let mut v = Vector24::zeros();
        freedoms.iter().for_each(|&f| v[f] = 1.0);
        v
    };
    vec![
        (
            "the motion of the whole bridge along the rails",
            "Give a drive stiffness above 0, and x elastic in the joints.",
            along(&[0, 6, 12, 18]),
        ),
        ("the bridge's motion along x against its trucks", "Make x elastic at both ends.", along(&[12, 18])),
        ("the bridge's motion along y, across the rails,", "Make y elastic at one end (the locating end).", along(&[13, 19])),
        ("the bridge's motion along z", "Make z elastic at both ends.", along(&[14, 20])),
        (
            "the bridge's rotation about its own axis (ry)",
            "Make ry elastic at one end, or use two joints apart in x at one end.",
            along(&[16, 22]),
        ),
        ("truck A's motion along the rails", "Make x elastic at end A, or drive truck A.", along(&[0])),
        ("truck B's motion along the rails", "Make x elastic at end B, or drive truck B.", along(&[6])),
    ]
}

/// What moves in a direction, the most moving first: truck A along z and the bridge about x.
fn in_words(mode: &Vector24) -> String {
    const ALONG: [&str; 6] = ["along x", "along y", "along z", "about x", "about y", "about z"];
    let most = mode.amax();
    let takes_part = |i: usize| mode[i].abs() > 0.3 * most;
    // Bodies that go the same way count as one: both ends of the bridge, or the whole machine.
    let together = |list: &[usize]| list.iter().all(|&i| takes_part(i) && mode[i] * mode[list[0]] > 0.0 && similar(mode[i], mode[list[0]]));
    let mut parts: Vec<(f64, String)> = Vec::new();
    for (f, along) in ALONG.iter().enumerate() {
        let (trucks, ends) = ([f, 6 + f], [12 + f, 18 + f]);
        if together(&[f, 6 + f, 12 + f, 18 + f]) {
            parts.push((mode[f].abs(), format!("trucks and bridge {along}")));
            continue;
        }
        for (pair, names) in [(trucks, ["truck A", "truck B", "both trucks"]), (ends, ["bridge end A", "bridge end B", "the bridge"])] {
            if together(&pair) {
                parts.push((mode[pair[0]].abs(), format!("{} {along}", names[2])));
            } else {
                let single = (0..2).filter(|&k| takes_part(pair[k])).map(|k| (mode[pair[k]].abs(), format!("{} {along}", names[k])));
                parts.extend(single);
            }
        }
    }
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut words: Vec<String> = parts.into_iter().map(|(_, words)| words).take(4).collect();
    let last = words.pop().unwrap_or_default();
    if words.is_empty() { last } else { format!("{} and {last}", words.join(", ")) }
}

/// True for two movements that differ by less than half.
fn similar(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.5 * a.abs().max(b.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_are_named_by_what_moves_most() {
        let words = |list: &[(usize, f64)]| {
            let mut mode = Vector24::zeros();
            list.iter().for_each(|&(i, x)| mode[i] = x);
            in_words(&mode)
        };
        assert_eq!(words(&[(2, 0.9), (15, 0.5), (21, 0.45), (7, 0.1)]), "truck A along z and the bridge about x");
        assert_eq!(words(&[(1, -0.5), (7, -0.5), (13, -0.5), (19, -0.5)]), "trucks and bridge along y");
        assert_eq!(words(&[(4, 0.7), (10, -0.7)]), "truck A about y and truck B about y");
    }

    #[test]
    fn a_stiffness_that_is_least_in_one_freedom_names_it() {
        let mut stiffness = Matrix24::identity() * 1e6;
        stiffness[(8, 8)] = 1.0;
        // Rotations count at 100 mm.
        for i in (0..DOF).filter(|i| i % 6 > 2) {
            stiffness[(i, i)] *= 1e4;
        }
        let found = held(&stiffness).unwrap_or_else(|m| panic!("{m}"));
        assert_eq!(found.weakest, "truck B along z");
        assert!((found.condition / 1e6 - 1.0).abs() < 1e-9, "{}", found.condition);
        stiffness[(8, 8)] = 0.0;
        assert!(held(&stiffness).is_err_and(|m| m.direction == "truck B along z"));
    }

    /// Every direction held alike: rotations with 100 mm of arm.
    fn even() -> Matrix24 {
        Matrix24::from_fn(|i, j| {
            if i != j {
                0.0
            } else if i % 6 < 3 {
                2.0
            } else {
                2.0e4
            }
        })
    }

    /// The same with a motion taken out.
    fn without(motion: &[(usize, f64)]) -> Matrix24 {
        let mut v = Vector24::zeros();
        motion.iter().for_each(|(i, x)| v[*i] = *x);
        v /= v.norm();
        let scale = Matrix24::from_diagonal(&Vector24::from_fn(|i, _| 1.0 / freedom_scale(i)));
        scale * (Matrix24::identity() - v * v.transpose()) * scale * 2.0
    }

    #[test]
    fn check_condition_of_springs_that_are_known() {
        assert!((held(&even()).unwrap().condition - 1.0).abs() < 1e-12);
        for (freedom, soft) in [(8, 0.002), (22, 20.0)] {
            let mut k = even();
            k[(freedom, freedom)] = soft;
            assert!((held(&k).unwrap().condition - 1000.0).abs() < 1e-6);
        }
        // Nearly free is held, free to rounding is not.
        let mut k = even();
        k[(0, 0)] = 2.0e-11;
        assert!(held(&k).is_ok());
        k[(0, 0)] = 2.0e-13;
        assert!(held(&k).is_err());
    }

    #[test]
    fn check_plain_motions_get_their_own_words() {
        let pairs = [([0, 6, 12, 18].as_slice(), "whole bridge along"), (&[12, 18], "along x against"), (&[13, 19], "along y, across")];
        let ends = [([14, 20].as_slice(), "along z"), (&[16, 22], "own axis"), (&[0], "truck A's motion"), (&[6], "truck B's motion")];
        for (freedoms, words) in pairs.into_iter().chain(ends) {
            let motion: Vec<(usize, f64)> = freedoms.iter().map(|f| (*f, 1.0)).collect();
            let said = held(&without(&motion)).unwrap_err();
            assert!(said.direction.contains(words), "{said}");
        }
    }

    #[test]
    fn check_other_motions_are_told_by_their_greatest_freedoms() {
        let said = held(&without(&[(3, 1.0), (10, -2.0), (17, 0.1), (19, 0.7)])).unwrap_err();
        assert_eq!(said.to_string(), "the machine is a mechanism: nothing holds truck B about y, truck A about x and bridge end B along y");
        // Two free at once: the plain one is named, though neither alone is what the search finds.
        let mut k = even();
        k[(0, 0)] = 0.0;
        k[(23, 23)] = 0.0;
        assert!(held(&k).unwrap_err().direction.contains("truck A's motion along the rails"));
    }

    #[test]
    fn check_bodies_count_as_one_only_where_they_move_alike() {
        // Less than half apart, whatever the size of both.
        for size in [0.02, 1.0, 40.0] {
            assert!(similar(size, 0.6 * size) && similar(0.6 * size, size) && similar(-size, -0.6 * size));
            assert!(!similar(size, 0.4 * size) && !similar(size, -0.6 * size));
        }
        assert!(!similar(1.0, 0.5), "half is no less than half");
        let words = |list: &[(usize, f64)]| {
            let mut mode = Vector24::zeros();
            list.iter().for_each(|&(i, x)| mode[i] = x);
            in_words(&mode)
        };
        assert_eq!(words(&[(2, 0.8), (8, 0.6)]), "both trucks along z");
        assert_eq!(words(&[(2, 0.9), (8, 0.4)]), "truck A along z and truck B along z");
        // What moves together, but little beside the most, is not told.
        assert_eq!(words(&[(2, 0.9), (0, 0.1), (6, 0.1)]), "truck A along z");
    }

    #[test]
    fn check_nothing_at_all_holds_nothing() {
        assert!(held(&Matrix24::zeros()).unwrap_err().direction.contains("the whole bridge along the rails"));
    }
}
