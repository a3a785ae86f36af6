//! Coding files: reading them with what their journal adds, and opening one to work on it.

use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use serde::Deserialize;

use super::journal::{self, Journal, Record};
use super::{Error, conflict, json, versions};
use crate::files::{Holder, Lock};
use crate::model::{
    CODING_FORMAT, Coding, EthogramRef, Pass, PersonCode, Purpose, RecordingRule, SessionId, Status,
};
use crate::time::{Micros, Span};

/// What stands before the marks: enough for a list of codings.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct CodingHead {
    /// Version of the format.
    #[serde(default)]
    pub version: u32,
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

/// `<person>.<n>`: the name of a coding without its ending.
#[must_use]
pub fn stem(coding: &Path) -> String {
    let name = coding.file_name().unwrap_or_default().to_string_lossy();
    name.strip_suffix(".coding.json").unwrap_or(&name).to_owned()
}

/// Where the journal of a coding lies.
#[must_use]
pub fn journal_path(coding: &Path) -> PathBuf {
    coding.with_file_name(format!("{}.journal", stem(coding)))
}

fn lock_path(coding: &Path) -> PathBuf {
    coding.with_file_name(format!(".{}.lock", stem(coding)))
}

/// The coding file as this program last read or wrote it: known again before it is written over.
#[derive(Debug)]
pub struct OnDisk {
    path: PathBuf,
    seen: blake3::Hash,
    is_kept: bool,
}

impl OnDisk {
    pub(super) fn new(path: &Path, text: &str) -> Self {
        Self { path: path.to_owned(), seen: blake3::hash(text.as_bytes()), is_kept: false }
    }

    /// Where the coding is written: another file after a conflict.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes the coding anew. What lay there is kept as a version before the first time. When another
    /// program changed the file meanwhile it is left as it is: this state is written beside it, the
    /// journal goes with it, and that is told in words. So it is when the journal was replaced by another
    /// program's (`is_replaced`), which then stays where it is: applied to this state it would mix the two.
    ///
    /// # Errors
    /// When something can't be read or written; the file is then untouched.
    pub fn write(&mut self, coding: &Coding, is_replaced: bool) -> Result<Option<String>, Error> {
        let text = json::to_text(coding).map_err(|source| Error::Json { path: self.path.clone(), source })?;
        let there = match json::read_bytes(&self.path) {
            Ok(there) => Some(there),
            // Nothing there that could be written over.
            Err(Error::Read { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => None,
            // Not what was there.
            Err(Error::TooLarge { .. }) => Some(Vec::new()),
            Err(error) => return Err(error),
        };
        let mut notice = None;
        match there {
            there if is_replaced || there.as_ref().is_some_and(|there| blake3::hash(there) != self.seen) => {
                let copy = conflict::free_name(&self.path);
                crate::files::write_atomically(&copy, text.as_bytes())?;
                // Its edits lead to this state; applied to the other one they would mix the two.
                let journal = journal_path(&self.path);
                if !is_replaced
                    && let Err(source) = crate::files::rename(&journal, &journal_path(&copy))
                    && source.kind() != std::io::ErrorKind::NotFound
                {
                    // As if it had not been tried; the journal still holds everything.
                    let _ = std::fs::remove_file(&copy);
                    return Err(Error::Journal { path: journal, source });
                }
                notice = Some(format!(
                    "another program changed {}: it was left as it is; your work goes on in {}; put the two together later with 'shedlight merge'",
                    self.path.file_name().unwrap_or_default().to_string_lossy(),
                    copy.file_name().unwrap_or_default().to_string_lossy(),
                ));
                self.path = copy;
            }
            there => {
                if let Some(there) = there.filter(|_| !self.is_kept) {
                    let _ = versions::keep(&self.path, &there)?;
                }
                crate::files::write_atomically(&self.path, text.as_bytes())?;
            }
        }
        self.is_kept = true;
        self.seen = blake3::hash(text.as_bytes());
        Ok(notice)
    }
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
        return Err(does_not_fit(path, &what));
    }
    Ok(coding)
}

/// A coding opened to work on it: nobody else can, until this is dropped.
#[derive(Debug)]
pub struct OpenedCoding {
    /// Its file.
    pub path: PathBuf,
    /// Its file as it was read, for writing it anew.
    pub on_disk: OnDisk,
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

/// A lock that nobody on another computer has given back is taken over after this.
const STALE_AFTER: chrono::TimeDelta = chrono::TimeDelta::hours(12);

/// Takes a coding's lock; with words when one was taken over that nobody had given back.
pub(crate) fn lock(path: &Path) -> Result<(Lock, Option<String>), Error> {
    let file = lock_path(path);
    let before = Holder::read(&file);
    let lock = match Lock::try_new(&file) {
        Ok(lock) => lock,
        Err(crate::files::Error::Locked { .. }) => {
            let holder = before.map_or_else(
                || "in another window".to_owned(),
                |holder| format!("in another window, {holder}"),
            );
            return Err(Error::Held { path: path.to_owned(), holder, remedy: String::new() });
        }
        Err(other) => return Err(other.into()),
    };
    let Some(holder) = before else { return Ok((lock, None)) };
    // The system's lock is ours: on this computer the holder is gone. Another computer's lock may
    // not be seen through a share, so its word counts for a while.
    if holder.is_here() {
        return Ok((lock, Some(format!("the window that had it open ({holder}) ended without closing it"))));
    }
    let age = chrono::Local::now().fixed_offset() - holder.since;
    if age > STALE_AFTER {
        return Ok((
            lock,
            Some(format!("it was taken over from another computer ({holder}), which never gave it back")),
        ));
    }
    lock.leave();
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let remedy = format!(" (if it is not open there any more, remove the file {name} beside it)");
    Err(Error::Held { path: path.to_owned(), holder: format!("on another computer, {holder}"), remedy })
}

/// Who a coding's lock file names, if anybody: someone at work, or someone whose program was killed.
#[must_use]
pub fn holder(path: &Path) -> Option<Holder> {
    Holder::read(&lock_path(path))
}

/// That a coding, its session, its study or its ethogram is of a newer version: it can be looked at,
/// and nothing may be written for it.
#[must_use]
pub fn newer(path: &Path, ethogram: Option<&EthogramRef>) -> Option<Error> {
    let study = super::study_folder::study_above(path);
    let definitions = study
        .as_ref()
        .zip(ethogram)
        .map(|(root, own)| root.join("ethograms").join(format!("{}.{}.json", own.id, own.revision)));
    let files = [
        Some(path.to_owned()),
        Some(path.with_file_name("session.json")),
        study.map(|root| root.join("study.json")),
        definitions,
    ];
    files.into_iter().flatten().find_map(|file| json::newer(&file))
}

fn does_not_fit(coding: &Path, what: &str) -> Error {
    let what = format!("{what}; 'shedlight check STUDY --repair' sets aside what does not fit");
    Error::Content { path: journal_path(coding), line: 1, column: 1, what }
}

/// Why a coding is only looked at, when that is so in spite of an error of [`open`]: it is of a newer
/// version, somebody else has it, or its folder can't be written.
#[must_use]
pub fn only_to_look(error: &Error) -> bool {
    matches!(
        error,
        Error::Newer { .. } | Error::Held { .. } | Error::Files(crate::files::Error::Write { .. })
    )
}

/// Opens a coding to work on it, recovering what a killed program left in the journal.
///
/// # Errors
/// When it is open elsewhere, is of a newer version, or can't be read or written. With
/// [`only_to_look`] it can still be [`read`].
pub fn open(path: &Path) -> Result<OpenedCoding, Error> {
    if let Some(newer) = newer(path, None) {
        return Err(newer);
    }
    let (lock, left) = lock(path)?;
    let text = json::read_text(path)?;
    let mut coding: Coding = json::parse(path, &text, CODING_FORMAT)?;
    if let Some(newer) = newer(path, Some(&coding.ethogram)) {
        return Err(newer);
    }
    lock.tell(&Holder::here(coding.by.as_str()));
    let before = coding.last_seq;
    let (journal, replay) = Journal::open(&journal_path(path), coding.last_seq)?;
    let mut remarks = replay.remarks;
    remarks.extend(left);
    if let Some(what) = journal::apply_to(&mut coding, &replay.records) {
        return Err(does_not_fit(path, &what));
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
    let on_disk = OnDisk::new(path, &text);
    Ok(OpenedCoding {
        path: path.to_owned(),
        on_disk,
        coding,
        journal,
        records: replay.records,
        remarks,
        lock,
    })
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
    if let Some(newer) = newer(&path, Some(&coding.ethogram)) {
        return Err(newer);
    }
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
