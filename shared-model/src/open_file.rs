//! The open file formats: what they have in common.

use std::borrow::Cow;

use schemars::generate::{SchemaGenerator, SchemaSettings};
use schemars::transform::{RecursiveTransform, Transform};
use schemars::{JsonSchema, Schema, json_schema};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

/// Why an open file was refused, and where in it.
#[derive(thiserror::Error, Debug, Clone, PartialEq, Eq)]
#[error("{place}: {what}")]
pub struct FileError {
    /// As in `pieces[2].width (line 4, column 31)`.
    pub place: String,
    pub what: String,
}

impl FileError {
    pub(crate) fn new(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self { place: place.into(), what: what.into() }
    }
}

/// Reads JSON text; an error names the field and the line.
pub(crate) fn read<T: DeserializeOwned>(json: &str) -> Result<T, FileError> {
    let mut reader = serde_json::Deserializer::from_str(json);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let path = error.path().to_string();
        let error = error.into_inner();
        let (line, column) = (error.line(), error.column());
        let field = if path == "." { "the file".to_owned() } else { path };
        // serde_json repeats the line and column at the end of its message; the place already names them.
        let what = error.to_string().replace(&format!(" at line {line} column {column}"), "");
        FileError::new(format!("{field} (line {line}, column {column})"), what)
    })?;
    reader.end().map_err(|error| FileError::new("the end of the file", error.to_string()))?;
    Ok(value)
}

/// The JSON Schema (draft 2020-12) of what [`read`] takes as a `T`. It refuses whatever the types refuse; how a number is
/// spelled and whether one part fits another only the reader sees.
pub(crate) fn schema<T: JsonSchema>(title: &str, examples: &[&str]) -> Value {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>();
    schema.insert("title".to_owned(), title.into());
    let examples: Vec<Value> = examples.iter().filter_map(|it| serde_json::from_str(it).ok()).collect();
    if !examples.is_empty() {
        schema.insert("examples".to_owned(), examples.into());
    }
    RecursiveTransform(spell_out).transform(&mut schema);
    schema.to_value()
}

/// Validators need not check a `format`: what it says is written in keywords that all of them check.
fn spell_out(schema: &mut Schema) {
    let bounds = match schema.get("format").and_then(Value::as_str) {
        Some("int64") => json!({ "minimum": i64::MIN, "maximum": i64::MAX }),
        Some("uint8") => json!({ "minimum": 0, "maximum": u8::MAX }),
        Some("uint32") => json!({ "minimum": 0, "maximum": u32::MAX }),
        Some("uuid") => json!({ "pattern": "^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$" }),
        _ => return,
    };
    for (keyword, value) in bounds.as_object().into_iter().flatten() {
        if schema.get(keyword).is_none() {
            schema.insert(keyword.clone(), value.clone());
        }
    }
}

/// For schemas: a number that must be more than zero.
pub(crate) struct Positive;

impl JsonSchema for Positive {
    fn schema_name() -> Cow<'static, str> {
        "Positive".into()
    }

    fn inline_schema() -> bool {
        true
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "number", "exclusiveMinimum": 0, "maximum": i64::MAX })
    }
}
