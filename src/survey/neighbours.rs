//! What the readings beside a reading say of it.

use crate::input::survey::Reading;

/// Median of what pairs of the four nearest other stations point to: one wrong neighbour does not move it.
pub(super) fn expected(series: &[&Reading], x: f64) -> Option<f64> {
    let mut others: Vec<&&Reading> = series.iter().filter(|r| (r.x_mm - x).abs() > 1e-6).collect();
    others.sort_by(|a, b| (a.x_mm - x).abs().total_cmp(&(b.x_mm - x).abs()).then(a.x_mm.total_cmp(&b.x_mm)));
    let near = &others[..others.len().min(4)];
    if near.len() < 3 {
        return None;
    }
    let pairs = near.iter().enumerate().flat_map(|(k, a)| near[k + 1..].iter().map(move |b| (a, b)));
    let apart = pairs.filter(|(a, b)| (a.x_mm - b.x_mm).abs() > 1e-6);
    let mut pointed: Vec<f64> = apart.map(|(a, b)| a.value + (b.value - a.value) * (x - a.x_mm) / (b.x_mm - a.x_mm)).collect();
    pointed.sort_by(f64::total_cmp);
    pointed.get(pointed.len() / 2).copied()
}
