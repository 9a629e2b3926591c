//! `schema`: the plan's keys as a JSON Schema, for editors that complete and check TOML.

use serde_json::{Map, Value, json};

use super::{Done, Failure};
use crate::input::catalogue::{Key, Kind, Need, PLAN};

pub(super) fn run() -> Result<Done, Failure> {
    let mut schema = table("");
    if let Some(map) = schema.as_object_mut() {
        map.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        map.insert("title".into(), json!("railtrue plan"));
    }
    Ok(Done { text: format!("{schema:#}\n"), within: true })
}

/// Schema of the table at an actual path.
fn table(path: &str) -> Value {
    let (mut properties, mut any_name, mut required) = (Map::new(), None, Vec::new());
    for key in PLAN.below(path) {
        let names: Vec<&str> = key.names().collect();
        for name in &names {
            properties.entry(*name).or_insert_with(|| value(key, &join(path, name)));
            if key.need == Need::Required {
                required.push(json!(name));
            }
        }
        if names.is_empty() {
            any_name = Some(value(key, &join(path, "name")));
        }
    }
    let mut schema = json!({ "type": "object", "properties": properties, "additionalProperties": any_name.unwrap_or(json!(false)) });
    if let (Some(map), false) = (schema.as_object_mut(), required.is_empty()) {
        map.insert("required".into(), json!(required));
    }
    schema
}

fn value(key: &Key, path: &str) -> Value {
    let range = |least: f64, most: f64, above: bool| {
        let mut map = json!({ "type": "number", "maximum": most });
        if let Some(m) = map.as_object_mut() {
            m.insert(if above { "exclusiveMinimum" } else { "minimum" }.into(), json!(least));
        }
        map
    };
    let mut schema = match key.kind {
        Kind::Number { least, most, above } => range(least, most, above),
        Kind::Numbers { least, most, length } => {
            let items = range(least, most, false);
            if length == 0 {
                json!({ "type": "array", "items": items })
            } else {
                json!({ "type": "array", "items": items, "minItems": length, "maxItems": length })
            }
        }
        Kind::Whole { least, most } => json!({ "type": "integer", "minimum": least, "maximum": most }),
        Kind::Text => json!({ "type": "string" }),
        Kind::Choice(words) => {
            let numbers: Vec<Value> = words.iter().filter_map(|w| w.parse::<f64>().ok()).map(|n| json!(n)).collect();
            json!({ "enum": words.iter().map(|w| json!(w)).chain(numbers).collect::<Vec<_>>() })
        }
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::Texts => json!({ "type": "array", "items": { "type": "string" } }),
        Kind::Table => table(path),
        Kind::Source => json!({ "type": ["string", "object"], "additionalProperties": { "type": "string" } }),
        Kind::Tables => json!({ "type": "array", "items": table(&format!("{path}[]")) }),
    };
    if let Some(map) = schema.as_object_mut() {
        map.insert("description".into(), json!(format!("{} {}", key.meaning, key.usual).trim()));
        if let Need::Default(text) = key.need {
            map.insert("default".into(), text.parse::<f64>().map_or_else(|_| json!(text), |n| json!(n)));
        }
    }
    schema
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() { name.into() } else { format!("{path}.{name}") }
}
