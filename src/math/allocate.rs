//! The cheapest division of an allowance: costs that fall as powers, a stack of weighted powers that must not be passed.

/// One part: it costs `cost / t^exponent` and adds `weight * t^power` to the stack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Cost at t = 1.
    pub cost: f64,
    /// How fast the cost rises as t shrinks: 1 reciprocal, 2 reciprocal squared.
    pub exponent: f64,
    /// What it adds to the stack at t = 1.
    pub weight: f64,
}

impl Part {
    /// The cheapest t at a price of the stack: where the last bit of cost saved equals the price of what it adds.
    ///
    /// Lagrange: `k B / t^(k+1) = price m w t^(m-1)`, so `t = (k B / (price m w))^(1/(k+m))`. Without limit where it adds nothing,
    /// 0 where it costs nothing but adds.
    #[must_use]
    pub fn at_price(&self, power: f64, price: f64) -> f64 {
        if self.weight <= 0.0 {
            return f64::INFINITY;
        }
        (self.exponent * self.cost / (price * power * self.weight)).powf(1.0 / (self.exponent + power))
    }
}

/// The cheapest t of every part with `sum of weight * t^power = most`; power 1 is an arithmetic stack, 2 a root-sum-square one
/// (`most` is then the square of the allowance).
///
/// With equal exponents this is the closed form `t_i ~ (B_i / w_i)^(1/(k+m))` (Spotts 1973; Chase and Greenwood 1988; both
/// from memory). Returns `None` unless `most` and all costs and weights are above 0.
#[must_use]
pub fn cheapest(parts: &[Part], power: f64, most: f64) -> Option<Vec<f64>> {
    if !(most > 0.0) || !parts.iter().all(|p| p.cost > 0.0 && p.weight > 0.0 && p.exponent > 0.0) {
        return None;
    }
    let stack = |price: f64| parts.iter().map(|p| p.weight * p.at_price(power, price).powf(power)).sum::<f64>();
    // The stack falls as the price rises: bisection on the logarithm of the price.
    let (mut low, mut high) = (-700.0_f64, 700.0_f64);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if stack(middle.exp()) > most { low = middle } else { high = middle }
    }
    let price = f64::midpoint(low, high).exp();
    Some(parts.iter().map(|p| p.at_price(power, price)).collect())
}
