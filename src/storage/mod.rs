//! The study folder on disk: reading, writing, journal, recovery, fingerprints.
//!
//! What is on disk belongs to the people who made it. A file that can't be read is reported with
//! its path, line and column and left as it is; the rest of the study goes on. Every write
//! replaces a whole file in one step; what is typed between two of those is in the journal.

pub mod acceptance;
pub mod archive;
pub mod coding_file;
pub mod conflict;
mod cores;
pub mod fingerprint;
pub mod journal;
pub mod json;
pub mod leftovers;
pub mod parcel;
pub mod repair;
pub mod retention;
pub mod study_folder;
pub mod versions;

use std::path::PathBuf;

pub use coding_file::{CodingHead, OpenedCoding};
pub use study_folder::{Listing, SessionEntry, StudyFolder};

/// Why a study's file could not be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file could not be read.
    #[error("could not read: {source}: {path}")]
    Read {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// No file of a study is as large as that.
    #[error(
        "the file has {megabytes} MB, and none of a study has more than {largest} MB: it was not read and is left as it is; is it another program's, or was it written twice over? Earlier states of a coding are listed by 'shedlight restore': {path}"
    )]
    TooLarge {
        /// Which file.
        path: PathBuf,
        /// Its size.
        megabytes: u64,
        /// The largest that is read.
        largest: u64,
    },
    /// The folder is no study.
    #[error("there is no study.json in this folder: open a study's folder, or make a new study: {path}")]
    NoStudy {
        /// Which folder.
        path: PathBuf,
    },
    /// A study would be written over something else.
    #[error("the folder is not empty: choose a new one for the study: {path}")]
    NotEmpty {
        /// Which folder.
        path: PathBuf,
    },
    /// The text is not what it should be.
    #[error(
        "{what} (the file is left as it is; repair it in a text editor, or put back a copy): {path}:{line}:{column}"
    )]
    Content {
        /// Which file.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong.
        what: String,
    },
    /// It is a file of another kind.
    #[error("this is a '{found}' file, not a '{wanted}' file: it may lie in the wrong place: {path}")]
    WrongFormat {
        /// Which file.
        path: PathBuf,
        /// What it says it is.
        found: String,
        /// What it should be.
        wanted: &'static str,
    },
    /// A newer program wrote it.
    #[error(
        "it was written by a newer Shedlight (format version {found}; this one knows up to {known}): update Shedlight to work on it; until then it can be looked at as far as it is understood, and is left as it is: {path}"
    )]
    Newer {
        /// Which file.
        path: PathBuf,
        /// Its version.
        found: u32,
        /// The newest known.
        known: u32,
    },
    /// A second state of a coding lies beside it.
    #[error(
        "this is another state of '{original}', left by a sync program or by a change on two sides; it counts nowhere: put the two together with 'shedlight merge': {path}"
    )]
    Copy {
        /// The copy.
        path: PathBuf,
        /// Name of the coding it belongs to.
        original: String,
    },
    /// An ethogram under another name than its own.
    #[error(
        "this is revision {revision} of ethogram '{id}' and would be named '{id}.{revision}.json': it counts nowhere under this name; remove it if a sync program left it beside the right one, or rename it: {path}"
    )]
    Misnamed {
        /// Which file.
        path: PathBuf,
        /// The ethogram it says it is.
        id: String,
        /// Its revision.
        revision: u32,
    },
    /// Someone has the coding open.
    #[error("it is open {holder}: close it there first{remedy}: {path}")]
    Held {
        /// Which coding.
        path: PathBuf,
        /// By whom, where and since when.
        holder: String,
        /// What to do when that is not true.
        remedy: String,
    },
    /// A file could not be written or locked.
    #[error(transparent)]
    Files(#[from] crate::files::Error),
    /// The journal could not be written.
    #[error(
        "could not write the journal ({source}): what was coded is still in the window; free some space and go on: {path}"
    )]
    Journal {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Something can't be put into JSON.
    #[error("could not write as JSON ({source}): {path}")]
    Json {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
    /// An ethogram revision that a coding names is not there.
    #[error(
        "the ethogram '{id}' revision {revision} is missing: put its file back into the study's ethograms folder: {path}"
    )]
    NoEthogram {
        /// The ethogram.
        id: String,
        /// Its revision.
        revision: u32,
        /// Where it should be.
        path: PathBuf,
    },
}
