//! The open file formats: what they have in common.

use serde::de::DeserializeOwned;

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
