//! Sums of products, many at a time, the same bits on every processor.

use multiversion::multiversion;

use super::lanes::{EIGHT, each};

/// Adds `factor` times the numbers.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2", "x86_64+avx2"))]
pub fn add_multiple(to: &mut [f64], numbers: &[f64], factor: f64) {
    for (sum, x) in to.iter_mut().zip(numbers) {
        *sum += factor * x;
    }
}

/// Place of the largest number, the first of several; none of them may be NaN.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2", "x86_64+avx2"))]
#[must_use]
pub fn largest(numbers: &[f64]) -> Option<usize> {
    let (eights, rest) = numbers.as_chunks::<EIGHT>();
    let mut most = [f64::NEG_INFINITY; EIGHT];
    for eight in eights {
        most = each(|i| if eight[i] > most[i] { eight[i] } else { most[i] });
    }
    let mut largest = f64::NEG_INFINITY;
    for x in most.iter().chain(rest) {
        largest = if *x > largest { *x } else { largest };
    }
    numbers.iter().position(|x| *x == largest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_the_largest_of_every_length() {
        assert_eq!(largest(&[]), None);
        for length in 1..40 {
            for place in 0..length {
                let numbers: Vec<f64> = (0..length).map(|i| if i == place { 0.5 } else { -((i * 7 % 5) as f64) - 1.0 }).collect();
                assert_eq!(largest(&numbers), Some(place), "{length}");
                assert_eq!(largest(&[numbers.clone(), numbers].concat()), Some(place), "{length}");
            }
        }
    }

    /// Whole numbers, whose sums are exact.
    #[test]
    fn check_sums_of_products() {
        for length in 0..40 {
            let a: Vec<f64> = (0..length).map(|i| f64::from(i * 7 % 11) - 4.0).collect();
            let b: Vec<f64> = (0..length).map(|i| f64::from(i * 5 % 13) - 6.0).collect();
            let mut sum = a.clone();
            add_multiple(&mut sum, &b, -3.0);
            assert!((0..a.len()).all(|i| sum[i] == a[i] - 3.0 * b[i]), "{length}");
        }
    }
}
