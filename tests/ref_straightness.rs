//! Straight lines through points against published values.

use approx::assert_relative_eq;
use railtrue::geometry::line_fit::{end_points, least_squares, minimum_zone};

fn table(name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap();
    text.lines().skip(1).map(|l| l.split(',').map(str::to_string).collect()).collect()
}

fn example(set: &str) -> (Vec<f64>, Vec<f64>) {
    let rows: Vec<Vec<String>> = table("straightness_examples.csv").into_iter().filter(|r| r[0] == set).collect();
    let column = |i: usize| rows.iter().map(|r| r[i].parse().unwrap()).collect();
    (column(1), column(2))
}

/// NIST Statistical Reference Datasets, linear regression, Norris: certified values.
#[test]
fn ref_nist_norris() {
    let rows = table("norris.csv");
    let (y, x): (Vec<f64>, Vec<f64>) = rows.iter().map(|r| (r[0].parse::<f64>().unwrap(), r[1].parse::<f64>().unwrap())).unzip();
    assert_eq!(x.len(), 36);
    let fit = least_squares(&x, &y).unwrap();
    assert_relative_eq!(fit.line.offset, -0.262_323_073_774_029, max_relative = 1e-12);
    assert_relative_eq!(fit.line.slope, 1.002_116_818_020_45, max_relative = 1e-14);
    assert_relative_eq!(fit.deviation[0], 0.232_818_234_301_152, max_relative = 1e-12);
    assert_relative_eq!(fit.deviation[1], 0.429_796_848_199_937e-3, max_relative = 1e-12);
    assert_relative_eq!(fit.residual, 0.884_796_396_144_373, max_relative = 1e-12);
    // Minimum zone of the same points, recomputed independently: 130949/32990.
    let zone = minimum_zone(&x, &y).unwrap();
    assert_relative_eq!(zone.zone(&x, &y), 130_949.0 / 32_990.0, max_relative = 1e-10);
    assert_relative_eq!(zone.slope, 1.000_606_244_32, max_relative = 1e-10);
    assert_relative_eq!(fit.line.zone(&x, &y), 4.142_163_981_54, max_relative = 1e-10);
}

/// Published course example: autocollimator on a 100 mm base, 0.5 um per second of arc; its result by end points is 3 um.
/// Least squares and minimum zone were recomputed independently.
#[test]
fn ref_autocollimator_table_gives_three_micrometres() {
    let (x, z) = example("autocollimator_course");
    assert_relative_eq!(end_points(&x, &z).unwrap().zone(&x, &z), 3.0, max_relative = 1e-12);
    let zone = minimum_zone(&x, &z).unwrap();
    assert_relative_eq!(zone.zone(&x, &z), 3.0, max_relative = 1e-12);
    assert_relative_eq!(zone.slope, 0.01, max_relative = 1e-12);
    assert_relative_eq!(least_squares(&x, &z).unwrap().line.zone(&x, &z), 85.0 / 28.0, max_relative = 1e-12);
}

/// One set of points, three answers, computed in exact fractions.
#[test]
fn check_three_answers_differ_and_are_named() {
    let (x, z) = example("self_made_6pt");
    assert_relative_eq!(least_squares(&x, &z).unwrap().line.zone(&x, &z), 237.0 / 35.0, max_relative = 1e-12);
    assert_relative_eq!(end_points(&x, &z).unwrap().zone(&x, &z), 33.0 / 5.0, max_relative = 1e-12);
    let zone = minimum_zone(&x, &z).unwrap();
    assert_relative_eq!(zone.zone(&x, &z), 6.5, max_relative = 1e-12);
    assert_relative_eq!(zone.slope, 0.5, max_relative = 1e-12);
}

#[test]
fn check_a_parabola_has_one_answer() {
    let x: Vec<f64> = (0..=10).map(f64::from).collect();
    let z: Vec<f64> = x.iter().map(|i| i * (10.0 - i)).collect();
    let answers = [least_squares(&x, &z).unwrap().line, end_points(&x, &z).unwrap(), minimum_zone(&x, &z).unwrap()];
    for line in answers {
        assert_relative_eq!(line.zone(&x, &z), 25.0, max_relative = 1e-12);
    }
}
