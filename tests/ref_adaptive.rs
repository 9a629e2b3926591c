//! The adaptive procedure of JCGM 101:2008, 7.9, on a model with a known answer.

use railtrue::draw::{run, unit_draw};
use railtrue::input::sources::Spread;
use railtrue::study::{Estimates, SEQUENCE, numerical_tolerance, settled};

#[test]
fn ref_jcgm_101_adaptive_reaches_its_digits() {
    // 9.2.3: four rectangular quantities of u = 1 each; exact half-width 2 sqrt(3) (2 - (3/5)^(1/4)) = 3.8794067 of the
    // 95 % interval, u = 2. Two digits mean 0.05: reached in at least 95 % of 200 seeded repeats.
    let exact = 3.879_406_741;
    let tolerance = numerical_tolerance(2.0, 2);
    let (mut within, mut longest) = (0, 0);
    for repeat in 0..200 {
        let mut all: Vec<f64> = Vec::new();
        let mut sequences = Vec::new();
        loop {
            let next = run(
                all.len() as u64,
                SEQUENCE,
                1000 + repeat,
                || (),
                |(), _, rng| (0..4).map(|_| 3.0_f64.sqrt() * unit_draw(Spread::Uniform, false, rng)).sum::<f64>(),
            );
            sequences.push(Estimates::of(&next));
            all.extend(next);
            if settled(&sequences, Estimates::of(&all).values[1], 2) {
                break;
            }
            assert!(sequences.len() < 200, "no end");
        }
        let [_, _, low, high] = Estimates::of(&all).values;
        within += usize::from((high - exact).abs() <= tolerance && (low + exact).abs() <= tolerance);
        longest = longest.max(sequences.len());
    }
    assert!(within >= 190, "{within} of 200 within {tolerance}; longest {longest} sequences");
}
