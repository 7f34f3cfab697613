//! The JSON Schema of the system file, for editors.

use super::root::ROOT;
use super::section::{Kind, Section};
use serde_json::{Map, Value, json};

/// The JSON Schema (draft 2020-12) of the system file, made from the same declarations by which it is read.
pub fn schema() -> Value {
    let mut schema = section(&ROOT);
    if let Value::Object(object) = &mut schema {
        object.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        object.insert("title".into(), json!("System file"));
    }
    schema
}

fn section(section: &Section) -> Value {
    let keys = section.keys.iter().filter(|key| !key.column_only && key.may_be_written());
    let mut properties = Map::new();
    for key in keys.clone() {
        let mut property = kind(&key.kind);
        if let Value::Object(object) = &mut property {
            object.insert("description".into(), json!(key.doc));
            if key.above_zero && matches!(key.kind, Kind::Count(_)) {
                object.insert("minimum".into(), json!(1));
            }
        }
        properties.insert(key.name.into(), property);
    }
    let required: Vec<_> = keys.filter(|key| key.required).map(|key| key.name).collect();
    json!({
        "type": "object",
        "description": section.summary,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

fn kind(kind_of: &Kind) -> Value {
    let number = r"^\s*[0-9][0-9_]*(\.[0-9_]+)?\s*";
    let quantity = |units: &str| json!({ "type": "string", "pattern": format!(r"{number}({units})\s*$") });
    match kind_of {
        Kind::Text | Kind::Ref(_) => json!({ "type": "string" }),
        Kind::Name => json!({ "type": "string", "minLength": 1, "maxLength": 100, "pattern": r#"^[^./;:@"`]+$"# }),
        Kind::Time => quantity("ns|us|µs|μs|ms|s|min|h"),
        Kind::Size => quantity("B|kB|MB|GB|KiB|MiB|GiB|TiB"),
        Kind::Rate => quantity("B/s|kB/s|MB/s|GB/s|KiB/s|MiB/s|GiB/s"),
        Kind::BitRate => quantity("bit/s|kbit/s|Mbit/s"),
        Kind::Share => quantity("%|ppm"),
        Kind::Address => json!({ "type": "string", "pattern": "^0x[0-9a-fA-F_]+$" }),
        Kind::Count(most) => json!({ "type": "integer", "minimum": 0, "maximum": most }),
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::Date => json!({ "type": "string", "format": "date" }),
        Kind::Word(words) => json!({ "enum": words }),
        Kind::List(element) => json!({ "type": "array", "items": kind(element) }),
        Kind::Table(inner) => section(inner),
        Kind::Tables(inner) => json!({ "type": "array", "items": section(inner) }),
        Kind::Instead(_) => json!(false),
        Kind::Either(kinds) => json!({ "anyOf": kinds.iter().map(kind).collect::<Vec<_>>() }),
    }
}
