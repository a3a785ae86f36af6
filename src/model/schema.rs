//! JSON Schemas of the study's files, generated from the types; a test compares `docs/schema/` with them.

use schemars::{JsonSchema, schema_for};

use super::{Coding, Ethogram, Session, Study};

/// File name and text of each schema.
///
/// # Errors
/// When a schema can't be put into JSON, which would be a defect of the generator.
pub fn all() -> Result<Vec<(&'static str, String)>, serde_json::Error> {
    Ok(vec![
        ("study.schema.json", text::<Study>()?),
        ("ethogram.schema.json", text::<Ethogram>()?),
        ("session.schema.json", text::<Session>()?),
        ("coding.schema.json", text::<Coding>()?),
    ])
}

fn text<T: JsonSchema>() -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(&schema_for!(T))?;
    text.push('\n');
    Ok(text)
}
