//! What the source that a plan names for a value rests on, by its first words.

/// Name of the key in every table.
pub(super) const SOURCE: &str = "source";

/// Key of the source of whatever is not named among sources by key.
pub(super) const OTHERS: &str = "others";

/// What a value rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Provenance {
    /// The maker's data sheet.
    DataSheet,
    /// A measurement.
    Measured,
    /// A drawing or a model of the design.
    Drawing,
    /// A calculation.
    Calculated,
    /// A standard.
    Standard,
    /// The order or specification of the machine: what was agreed.
    Specification,
    /// Nothing yet: a value of the right order.
    Assumed,
    /// The plan is silent and the program's usual value counts.
    Default,
    /// The plan states the value and no source.
    NotStated,
    /// A name or a setting, which needs no source.
    Choice,
}

impl Provenance {
    /// The words with which a source begins, and what they mean.
    pub const WORDS: [(&'static str, Self); 7] = [
        ("data sheet", Self::DataSheet),
        ("measured", Self::Measured),
        ("drawing", Self::Drawing),
        ("calculated", Self::Calculated),
        ("standard", Self::Standard),
        ("specification", Self::Specification),
        ("assumed", Self::Assumed),
    ];

    /// The kind that a source's first words name.
    #[must_use]
    pub fn of(source: &str) -> Option<Self> {
        let begins = |word: &str| source.strip_prefix(word).is_some_and(|rest| !rest.starts_with(|c: char| c.is_alphanumeric()));
        Self::WORDS.iter().find(|(word, _)| begins(word)).map(|(_, kind)| *kind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_source_begins_with_its_kind() {
        assert_eq!(Provenance::of("data sheet of the block, page 3"), Some(Provenance::DataSheet));
        assert_eq!(Provenance::of("assumed: half a metre"), Some(Provenance::Assumed));
        assert_eq!(Provenance::of("measured"), Some(Provenance::Measured));
        assert!(Provenance::of("drawings").is_none() && Provenance::of("").is_none() && Provenance::of("the data sheet").is_none());
    }
}
