//! What a clip says of itself, before it is indexed.

use std::path::Path;

use super::source::Source;
use super::{Error, guard};
use crate::time::Micros;

/// What a container says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// When it was made, as it writes it.
    pub created: Option<String>,
    /// How long it is; not exact.
    pub length: Option<Micros>,
}

/// Reads what a clip says of itself, after a first look within bounds.
///
/// # Errors
/// When it is no clip that can be opened.
pub fn about(path: &Path) -> Result<About, Error> {
    guard::look(path)?;
    let source = Source::open(path)?;
    // In millionths of a second; negative when it is not written.
    let length = Some(source.input.duration()).filter(|own| *own > 0).map(Micros);
    Ok(About { created: source.probe.created, length })
}
