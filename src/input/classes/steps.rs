//! Tables whose values change in steps with a nominal length.

/// Stands where a class has no value in a range.
pub(super) const NONE: f64 = f64::NAN;

/// A table: each range reaches from the one before it (excluded) to its own length (included).
#[derive(Debug)]
pub(super) struct Steps {
    /// Least length; 0 itself is never inside.
    pub(super) from_mm: f64,
    /// True where the least length itself belongs to the first range.
    pub(super) from_included: bool,
    /// Upper end of each range and the values of all classes.
    pub(super) rows: &'static [(f64, &'static [f64])],
}

impl Steps {
    /// Value of a class at a length, in the table's own unit.
    pub(super) fn at(&self, class: usize, length_mm: f64) -> Result<f64, String> {
        let last = self.rows.last().map_or(0.0, |r| r.0);
        let begun = length_mm > self.from_mm || (self.from_included && length_mm == self.from_mm && length_mm > 0.0);
        let row = self.rows.iter().find(|(to, _)| length_mm <= *to).filter(|_| begun);
        let Some((_, values)) = row else {
            let end = if last.is_finite() { format!("to {last} mm") } else { "on".into() };
            return Err(format!("the table runs from {} {end}; here the length is {length_mm} mm", self.from_mm));
        };
        let value = values.get(class).copied().filter(|v| v.is_finite());
        value.ok_or_else(|| format!("this class has no value at a length of {length_mm} mm"))
    }
}
