//! JSON in which a key that appears twice in one table is an error: readers keep one of the two, and not always the same.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

/// A value without duplicate keys.
struct Strict(Value);

/// Reads a text.
///
/// # Errors
/// It is not JSON, or a key is given twice.
pub(super) fn read(text: &str) -> Result<Value, serde_json::Error> {
    serde_json::from_str::<Strict>(text).map(|strict| strict.0)
}

impl<'de> Deserialize<'de> for Strict {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Reader).map(Self)
    }
}

struct Reader;

impl<'de> Visitor<'de> for Reader {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_bool<E>(self, v: bool) -> Result<Value, E> {
        Ok(Value::Bool(v))
    }

    fn visit_i64<E>(self, v: i64) -> Result<Value, E> {
        Ok(v.into())
    }

    fn visit_u64<E>(self, v: u64) -> Result<Value, E> {
        Ok(v.into())
    }

    fn visit_f64<E: Error>(self, v: f64) -> Result<Value, E> {
        Number::from_f64(v).map(Value::Number).ok_or_else(|| E::custom("a number is too large"))
    }

    fn visit_str<E>(self, v: &str) -> Result<Value, E> {
        Ok(v.into())
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        while let Some(Strict(item)) = seq.next_element()? {
            list.push(item);
        }
        Ok(Value::Array(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value, A::Error> {
        let mut table = Map::new();
        while let Some(key) = map.next_key::<String>()? {
            let Strict(value) = map.next_value()?;
            if table.contains_key(&key) {
                return Err(A::Error::custom(format!("the key \"{key}\" is given twice")));
            }
            table.insert(key, value);
        }
        Ok(Value::Object(table))
    }
}

#[cfg(test)]
mod tests {
    use super::read;

    #[test]
    fn what_is_read_is_what_others_read_and_a_double_key_is_refused() {
        let text = r#"{"a": [1, -2, 3.5, 18446744073709551615, null, true, "x"], "b": {"c": {}}}"#;
        let whole: serde_json::Value = serde_json::from_str(text).unwrap();
        assert_eq!(read(text).unwrap(), whole);
        let twice = read("{\"a\": {\"b\": 1,\n \"c\": 2, \"b\": 1}}").unwrap_err();
        assert!(twice.to_string().contains("the key \"b\" is given twice") && twice.line() == 2, "{twice}");
        assert!(read("[1] [2]").is_err() && read("{").is_err());
    }
}
