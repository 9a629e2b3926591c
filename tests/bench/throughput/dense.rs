//! What a dense matrix product reaches on this processor, on one thread: nalgebra's, and NumPy's where it is there.

use super::baseline::Baseline;
use super::clock::best_of;
use nalgebra::DMatrix;

/// Multiply-adds per second.
pub struct Products {
    pub nalgebra: f64,
    pub numpy: Option<f64>,
}

pub fn products_per_second(numpy: Option<&mut Baseline>) -> Products {
    let n = 384;
    let a = DMatrix::from_fn(n, n, |i, j| ((i * 31 + j * 17) % 101) as f64 / 101.0);
    let mut c = DMatrix::zeros(n, n);
    let seconds = best_of(60, || c.gemm(1.0, &a, &a, 0.0));
    assert!(c[(0, 0)] > 0.0);
    let products = Products { nalgebra: (n * n * n) as f64 / seconds, numpy: numpy.map(Baseline::products_per_second) };
    let of_numpy = products.numpy.map_or("SKIPPED".to_string(), |p| format!("{:.1}", p / 1e9));
    println!(
        "dense product, one thread: {:.1} thousand million multiply-adds a second (nalgebra), {of_numpy} (NumPy)",
        products.nalgebra / 1e9
    );
    products
}
