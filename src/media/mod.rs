//! Film: opening a clip, indexing its packets, and the exact picture for any frame.
//!
//! Knows neither ethogram nor study. Times here are clip times: microseconds after the clip's
//! first shown picture, as the stream's own timestamps say.

pub mod picture;

/// Why film could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file could not be read.
    #[error("could not read {path}: {source}")]
    Read {
        /// Which file.
        path: std::path::PathBuf,
        /// Why.
        source: std::io::Error,
    },
}
