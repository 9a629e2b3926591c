//! Level regions and level lines of a grid of values, cell by cell, in the grid's own coordinates.

/// A point on the grid: column, row, in cells.
pub(super) type Point = (f64, f64);

/// The region where a field is at or above a level: whole runs of cells, and polygons where the level passes.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Region {
    /// Row, first column, last column (excluded) of cells that lie inside wholly.
    pub(super) runs: Vec<(usize, usize, usize)>,
    /// Parts of the cells that the level passes.
    pub(super) parts: Vec<Vec<Point>>,
    /// The level's line, piece by piece.
    pub(super) line: Vec<[Point; 2]>,
}

/// Region of `field` (by row, then by column) at or above a level; values between corners run straight along the edges.
pub(super) fn region(field: &[Vec<f64>], level: f64) -> Region {
    let mut region = Region::default();
    for row in 0..field.len().saturating_sub(1) {
        let mut begun: Option<usize> = None;
        let cells = field[row].len().saturating_sub(1);
        for column in 0..cells {
            let corners = [(column, row), (column + 1, row), (column + 1, row + 1), (column, row + 1)];
            let values = corners.map(|(c, r)| field[r][c] - level);
            let inside = values.iter().filter(|v| **v >= 0.0).count();
            if inside == 4 {
                begun.get_or_insert(column);
                continue;
            }
            if let Some(first) = begun.take() {
                region.runs.push((row, first, column));
            }
            if inside > 0 {
                cut(corners.map(|(c, r)| (c as f64, r as f64)), values, &mut region);
            }
        }
        if let Some(first) = begun {
            region.runs.push((row, first, cells));
        }
    }
    region
}

/// The part of one cell where the values are not below 0.
fn cut(corners: [Point; 4], values: [f64; 4], region: &mut Region) {
    let (mut part, mut crossings) = (Vec::new(), Vec::new());
    for i in 0..4 {
        let j = (i + 1) % 4;
        let (here, there) = (values[i], values[j]);
        if here >= 0.0 {
            part.push(corners[i]);
        }
        if (here >= 0.0) != (there >= 0.0) {
            let t = here / (here - there);
            let at = (corners[i].0 + t * (corners[j].0 - corners[i].0), corners[i].1 + t * (corners[j].1 - corners[i].1));
            part.push(at);
            crossings.push((at, here >= 0.0));
        }
    }
    // Going round the cell, the line runs from where the region is left to where it is entered again.
    let n = crossings.len();
    for i in 0..n {
        if crossings[i].1 {
            region.line.push([crossings[i].0, crossings[(i + 1) % n].0]);
        }
    }
    region.parts.push(part);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(region: &Region) -> f64 {
        let shoelace = |p: &Vec<Point>| {
            let twice = |i: usize| {
                let (a, b) = (p[i], p[(i + 1) % p.len()]);
                a.0 * b.1 - b.0 * a.1
            };
            (0..p.len()).map(twice).sum::<f64>().abs() / 2.0
        };
        region.runs.iter().map(|r| (r.2 - r.1) as f64).sum::<f64>() + region.parts.iter().map(shoelace).sum::<f64>()
    }

    #[test]
    fn a_disc_has_its_area_and_its_line_the_length_of_its_circle() {
        let field: Vec<Vec<f64>> =
            (0..=60).map(|r| (0..=60).map(|c| 20.0 - f64::from(r - 30_i32).hypot(f64::from(c - 30_i32))).collect()).collect();
        let disc = region(&field, 0.0);
        assert!((area(&disc) / (std::f64::consts::PI * 400.0) - 1.0).abs() < 2e-3, "{}", area(&disc));
        let length: f64 = disc.line.iter().map(|[a, b]| (a.0 - b.0).hypot(a.1 - b.1)).sum();
        assert!((length / (std::f64::consts::TAU * 20.0) - 1.0).abs() < 2e-3, "{length}");
        for p in disc.line.iter().flatten() {
            assert!((20.0 - (p.0 - 30.0).hypot(p.1 - 30.0)).abs() < 0.05);
        }
    }

    #[test]
    fn a_plane_is_cut_exactly_and_all_or_nothing_needs_no_line() {
        let field: Vec<Vec<f64>> = (0..3).map(|_| (0..5).map(f64::from).collect()).collect();
        let right = region(&field, 1.25);
        assert!((area(&right) - 2.0 * 2.75).abs() < 1e-12);
        assert!(right.line.iter().flatten().all(|p| (p.0 - 1.25).abs() < 1e-12));
        assert!((area(&region(&field, -1.0)) - 8.0).abs() < 1e-12 && region(&field, -1.0).line.is_empty());
        assert_eq!(region(&field, 9.0), Region::default());
    }

    #[test]
    fn a_saddle_has_two_lines() {
        let saddle = region(&[vec![1.0, -1.0], vec![-1.0, 1.0]], 0.0);
        assert_eq!((saddle.line.len(), saddle.parts.len()), (2, 1));
    }
}
