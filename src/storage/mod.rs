//! The study folder on disk: reading, writing, journal, recovery, fingerprints.

/// Why a study's file could not be read or written.
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
