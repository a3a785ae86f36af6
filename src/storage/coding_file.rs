//! Coding files: reading them with what their journal adds, and opening one to work on it.

use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use serde::Deserialize;

use super::journal::{self, Journal, Record};
use super::{Error, json};
use crate::files::Lock;
use crate::model::{
    CODING_FORMAT, Coding, EthogramRef, Pass, PersonCode, Purpose, RecordingRule, SessionId, Status,
};
use crate::time::{Micros, Span};

/// What stands before the marks: enough for a list of codings.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct CodingHead {
    /// Of which session.
    pub session: SessionId,
    /// By whom.
    pub by: PersonCode,
    /// What it counts as.
    pub purpose: Purpose,
    /// Under which definitions.
    pub ethogram: EthogramRef,
    /// How behaviour was recorded.
    #[serde(default)]
    pub rule: RecordingRule,
    /// The stretch that was coded, if it was set.
    #[serde(default)]
    pub window: Option<Span>,
    /// Runs through the film.
    #[serde(default)]
    pub passes: Vec<Pass>,
    /// Open or closed.
    #[serde(default)]
    pub status: Status,
    /// When it was begun.
    #[serde(default)]
    pub begun: Option<DateTime<FixedOffset>>,
    /// When it was closed.
    #[serde(default)]
    pub closed: Option<DateTime<FixedOffset>>,
    /// Where work stopped.
    #[serde(default)]
    pub left_at: Option<Micros>,
    /// The last journal line the file contains (rule 33).
    #[serde(default)]
    pub last_seq: u64,
}

/// Where the journal of a coding lies.
#[must_use]
pub fn journal_path(coding: &Path) -> PathBuf {
    let name = coding.file_name().unwrap_or_default().to_string_lossy();
    let stem = name.strip_suffix(".coding.json").unwrap_or(&name);
    coding.with_file_name(format!("{stem}.journal"))
}

fn lock_path(coding: &Path) -> PathBuf {
    let name = coding.file_name().unwrap_or_default().to_string_lossy();
    let stem = name.strip_suffix(".coding.json").unwrap_or(&name);
    coding.with_file_name(format!(".{stem}.lock"))
}

fn place_path(coding: &Path) -> PathBuf {
    lock_path(coding).with_extension("place")
}

/// Remembers the picture being looked at, so that a killed window opens again at the same place.
/// It is a convenience and no part of the record: a failure is passed over.
pub fn remember_place(coding: &Path, at: Micros) {
    let _ = std::fs::write(place_path(coding), at.0.to_string());
}

/// The picture that was looked at last, if it was remembered.
#[must_use]
pub fn place(coding: &Path) -> Option<Micros> {
    let text = std::fs::read_to_string(place_path(coding)).ok()?;
    text.trim().parse().ok().map(Micros)
}

/// Reads a coding's header. What its journal adds is not looked at.
///
/// # Errors
/// When the file can't be read or is not what it should be.
pub fn read_head(path: &Path) -> Result<CodingHead, Error> {
    json::read(path, CODING_FORMAT)
}

/// Reads a coding and applies what its journal adds to it, changing neither.
///
/// # Errors
/// When one of them can't be read.
pub fn read(path: &Path) -> Result<Coding, Error> {
    let mut coding: Coding = json::read(path, CODING_FORMAT)?;
    let replay = journal::read(&journal_path(path), coding.last_seq)?;
    if let Some(what) = journal::apply_to(&mut coding, &replay.records) {
        return Err(Error::Content { path: journal_path(path), line: 1, column: 1, what });
    }
    Ok(coding)
}

/// A coding opened to work on it: nobody else can, until this is dropped.
#[derive(Debug)]
pub struct OpenedCoding {
    /// Its file.
    pub path: PathBuf,
    /// The coding, with everything the journal held.
    pub coding: Coding,
    /// The journal, ready for more.
    pub journal: Journal,
    /// Its records, from which undo is rebuilt.
    pub records: Vec<Record>,
    /// What a person should know, in words.
    pub remarks: Vec<String>,
    /// Keeps others out.
    pub lock: Lock,
}

/// Opens a coding to work on it, recovering what a killed program left in the journal.
///
/// # Errors
/// When it is open elsewhere, or can't be read or written.
pub fn open(path: &Path) -> Result<OpenedCoding, Error> {
    let lock = Lock::try_new(&lock_path(path)).map_err(|error| match error {
        crate::files::Error::Locked { .. } => crate::files::Error::Locked { path: path.to_owned() },
        other => other,
    })?;
    let mut coding: Coding = json::read(path, CODING_FORMAT)?;
    let before = coding.last_seq;
    let (journal, replay) = Journal::open(&journal_path(path), coding.last_seq)?;
    let mut remarks = replay.remarks;
    if let Some(what) = journal::apply_to(&mut coding, &replay.records) {
        return Err(Error::Content { path: journal_path(path), line: 1, column: 1, what });
    }
    let recovered = coding.last_seq - before;
    if recovered > 0 {
        remarks.insert(
            0,
            format!(
                "{recovered} {} recovered from the journal",
                if recovered == 1 { "edit was" } else { "edits were" }
            ),
        );
    }
    Ok(OpenedCoding { path: path.to_owned(), coding, journal, records: replay.records, remarks, lock })
}

/// Makes the file of a new coding, `<person>.<n>.coding.json` with the next free number.
///
/// # Errors
/// When it can't be written.
pub fn create(session_folder: &Path, coding: &Coding) -> Result<PathBuf, Error> {
    let mut number = 1_u32;
    let path = loop {
        let path = session_folder.join(format!("{}.{number}.coding.json", coding.by));
        if !path.exists() && !journal_path(&path).exists() {
            break path;
        }
        number += 1;
    };
    json::write(&path, coding)?;
    Ok(path)
}

/// Writes a coding anew that no person edits by keys, such as an agreed record while it is settled.
///
/// # Errors
/// When it is open elsewhere, has edits of its own, or can't be written.
pub fn replace(path: &Path, coding: &Coding) -> Result<(), Error> {
    let opened = open(path)?;
    if opened.coding.last_seq > 0 {
        let what = "it was edited by hand since it was settled: go on there, or settle a new one".to_owned();
        return Err(Error::Content { path: path.to_owned(), line: 1, column: 1, what });
    }
    json::write(path, coding)
}
