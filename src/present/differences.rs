//! What differs between two results in JSON.

use serde_json::Value;

/// Far below any unit's last digit: numbers that differ by no more are the same.
const NOTHING: f64 = 1e-12;

/// One difference: where, what stood there, what stands there now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Path of the value.
    pub place: String,
    /// What the old result has.
    pub old: String,
    /// What the new one has.
    pub new: String,
    /// Both are numbers.
    pub numbers: bool,
}

/// All differences; numbers may differ by a relative amount.
#[must_use]
pub fn differences(old: &Value, new: &Value, relative: f64) -> Vec<Difference> {
    let mut list = Vec::new();
    compare("", old, new, relative, &mut list);
    list
}

fn compare(place: &str, old: &Value, new: &Value, relative: f64, list: &mut Vec<Difference>) {
    match (old, new) {
        (Value::Object(a), Value::Object(b)) => {
            let keys: std::collections::BTreeSet<&String> = a.keys().chain(b.keys()).collect();
            for key in keys {
                let below = if place.is_empty() { key.clone() } else { format!("{place}.{key}") };
                compare(&below, a.get(key).unwrap_or(&Value::Null), b.get(key).unwrap_or(&Value::Null), relative, list);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (i, (x, y)) in a.iter().zip(b).enumerate() {
                let name = |v: &Value| v.get("name").and_then(Value::as_str).map_or_else(|| (i + 1).to_string(), Into::into);
                compare(&format!("{place}[{}]", name(x)), x, y, relative, list);
            }
        }
        // Counts, seeds and the like are exact.
        (Value::Number(a), Value::Number(b)) if whole(a) && whole(b) && a == b => {}
        (Value::Number(a), Value::Number(b)) => {
            let (x, y) = (a.as_f64().unwrap_or(f64::NAN), b.as_f64().unwrap_or(f64::NAN));
            if (whole(a) && whole(b)) || !((x - y).abs() <= relative * x.abs().max(y.abs()) + NOTHING) {
                list.push(Difference { place: place.into(), old: a.to_string(), new: b.to_string(), numbers: true });
            }
        }
        _ if old == new => {}
        _ => list.push(Difference { place: place.into(), old: short(old), new: short(new), numbers: false }),
    }
}

fn whole(n: &serde_json::Number) -> bool {
    n.is_u64() || n.is_i64()
}

/// Quarter pixels by which a place in a drawing may differ: another processor rounds otherwise.
const DRAWN: f64 = 4.0;

/// Whether two figures are the same but for places that differ by a pixel.
#[must_use]
pub fn same_drawing(old: &str, new: &str) -> bool {
    let parts = |t: &'_ str| -> Vec<String> {
        t.split(|c: char| c.is_whitespace() || ",:;\"()<>=".contains(c)).filter(|p| !p.is_empty()).map(Into::into).collect()
    };
    let same = |(a, b): (&String, &String)| match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(x), Ok(y)) => (x - y).abs() <= DRAWN,
        _ => a == b,
    };
    let (a, b) = (parts(old), parts(new));
    a.len() == b.len() && a.iter().zip(&b).all(same)
}

fn short(value: &Value) -> String {
    let text = match value {
        Value::Null => "nothing".into(),
        Value::Array(list) => format!("a list of {}", list.len()),
        Value::Object(_) => "a table".into(),
        other => other.to_string(),
    };
    if text.chars().count() > 60 { format!("{}...", text.chars().take(57).collect::<String>()) } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn numbers_within_the_tolerance_are_the_same_and_others_are_named() {
        let old = json!({ "a": [{ "name": "stiff", "x": 1.0 }], "b": "word", "c": 1 });
        let near = json!({ "a": [{ "name": "stiff", "x": 1.000_000_5 }], "b": "word", "c": 1 });
        assert!(differences(&old, &near, 1e-6).is_empty());
        let far = json!({ "a": [{ "name": "stiff", "x": 1.000_01 }], "b": "other", "d": 1 });
        let places: Vec<String> = differences(&old, &far, 1e-6).into_iter().map(|d| d.place).collect();
        assert_eq!(places, ["a[stiff].x", "b", "c", "d"]);
    }
}
