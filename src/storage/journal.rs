//! The journal beside an open coding (rules 33 and 34).
//!
//! Each accepted edit is one line, written with one call before the window shows it as accepted,
//! so that a killed program loses nothing; flushing to the disk follows within 50 ms. A line holds
//! its sequence number, the time, what kind of step it was, the edit, the edit that takes it back,
//! and a checksum. Replaying applies only what the coding file does not contain yet; the undo
//! history is rebuilt from all lines.

use std::fs::{File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use super::{Error, json};
use crate::files;
use crate::model::{Coding, Edit};

/// Edits kept when a coding is closed, so that undo survives.
pub const KEPT_ON_CLOSE: usize = 10_000;

/// One line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Rising by one.
    pub seq: u64,
    /// When.
    pub time: DateTime<FixedOffset>,
    /// What kind of step.
    pub kind: StepKind,
    /// What was changed.
    pub edit: Edit,
    /// What takes it back.
    pub inverse: Edit,
}

/// What kind of step a record is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepKind {
    /// Something new.
    Do,
    /// The last step taken back.
    Undo,
    /// A step done again.
    Redo,
}

/// What stood in a journal.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Replay {
    /// Its whole lines.
    pub records: Vec<Record>,
    /// What was cut off or put aside, in words.
    pub remarks: Vec<String>,
    /// Bytes of the whole lines.
    whole_bytes: u64,
    is_damaged: bool,
}

/// Reads a journal without changing it; none there is an empty one. `contained` is the last edit
/// the coding file contains: edits up to it may be missing here (a power cut can take lines whose
/// edits the coding file already has), later ones may not.
///
/// # Errors
/// When it can't be read.
pub fn read(path: &Path, contained: u64) -> Result<Replay, Error> {
    let bytes = match json::read_bytes(path) {
        Ok(bytes) => bytes,
        Err(Error::Read { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => {
            return Ok(Replay::default());
        }
        Err(error) => return Err(error),
    };
    Ok(parse(&bytes, contained))
}

fn parse(bytes: &[u8], contained: u64) -> Replay {
    let mut replay = Replay::default();
    let mut rest = bytes;
    while !rest.is_empty() {
        let Some(end) = rest.iter().position(|byte| *byte == b'\n') else {
            replay.remarks.push("the last edit was cut off while it was written; it is left out".to_owned());
            return replay;
        };
        let (line, after) = rest.split_at(end + 1);
        let last = replay.records.last().map_or(0, |last| last.seq);
        // What is missing before a line must be in the coding file, else applying it would skip edits.
        let follows = |record: &Record| record.seq > last && record.seq - 1 <= last.max(contained);
        let Some(record) = unseal(line.get(..end).unwrap_or(line)).filter(follows) else {
            replay.is_damaged = true;
            replay.remarks.push(format!(
                "the journal is damaged after edit {last}: what follows can't be trusted and is put aside"
            ));
            return replay;
        };
        replay.records.push(record);
        replay.whole_bytes += line.len() as u64;
        rest = after;
    }
    replay
}

/// What stands between a record and its checksum.
const SEAL: &str = ",\"check\":\"";

fn seal(record: &Record) -> Result<String, serde_json::Error> {
    let body = serde_json::to_string(record)?;
    let check = check_of(&body);
    let open = body.strip_suffix('}').unwrap_or(&body);
    Ok(format!("{open}{SEAL}{check}\"}}\n"))
}

fn unseal(line: &[u8]) -> Option<Record> {
    let line = std::str::from_utf8(line).ok()?;
    let (open, tail) = line.rsplit_once(SEAL)?;
    let body = format!("{open}}}");
    (check_of(&body) == tail.strip_suffix("\"}")?).then_some(())?;
    serde_json::from_str(&body).ok()
}

/// The first 64 bits of BLAKE3: enough against accidents, which is all that is asked.
fn check_of(body: &str) -> String {
    blake3::hash(body.as_bytes()).to_hex().chars().take(16).collect()
}

/// `<name>.journal.damaged`, or with a number when an earlier one lies there: none is written over.
fn free_place_aside(path: &Path) -> PathBuf {
    let mut aside = path.with_extension("journal.damaged");
    let mut number = 2_u32;
    while aside.exists() {
        aside = path.with_extension(format!("journal.damaged-{number}"));
        number += 1;
    }
    aside
}

/// A journal that is being written.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
    next_seq: u64,
}

impl Journal {
    /// Opens a journal to go on with it: cuts a torn last line, puts a damaged rest aside.
    ///
    /// # Errors
    /// When it can't be read or written.
    pub fn open(path: &Path, last_seq_of_coding: u64) -> Result<(Self, Replay), Error> {
        let fail = |source| Error::Journal { path: path.to_owned(), source };
        let mut replay = read(path, last_seq_of_coding)?;
        if replay.is_damaged {
            let aside = free_place_aside(path);
            let bytes = std::fs::read(path).map_err(fail)?;
            // The copy must be on the disk before the original is cut.
            files::write_atomically(&aside, &bytes)?;
            replay.remarks.push(format!("the whole damaged journal is kept as {}", aside.display()));
        }
        let file = OpenOptions::new().create(true).append(true).open(path).map_err(fail)?;
        if file.metadata().map_err(fail)?.len() > replay.whole_bytes {
            file.set_len(replay.whole_bytes).map_err(fail)?;
        }
        // A killed program may have left lines that were never flushed, and a new file has no flushed name.
        file.sync_all().map_err(fail)?;
        files::flush_folder(path.parent().unwrap_or(path));
        let last = replay.records.last().map_or(0, |record| record.seq);
        Ok((Self { path: path.to_owned(), file, next_seq: last.max(last_seq_of_coding) + 1 }, replay))
    }

    /// Writes an accepted edit; when this returns, a killed program has not lost it.
    ///
    /// # Errors
    /// When it can't be written; the line is then not half there.
    pub fn append(
        &mut self,
        time: DateTime<FixedOffset>,
        kind: StepKind,
        edit: &Edit,
        inverse: &Edit,
    ) -> Result<Record, Error> {
        let record = Record { seq: self.next_seq, time, kind, edit: edit.clone(), inverse: inverse.clone() };
        let line = seal(&record).map_err(|source| Error::Json { path: self.path.clone(), source })?;
        let fail = |source| Error::Journal { path: self.path.clone(), source };
        let before = self.file.metadata().map_err(fail)?.len();
        if let Err(source) = self.file.write_all(line.as_bytes()) {
            // Half a line on a full disk: cut it off, so that a later one is not glued to it.
            let _ = self.file.set_len(before);
            return Err(fail(source));
        }
        self.next_seq += 1;
        Ok(record)
    }

    /// The file, for flushing it from another thread.
    ///
    /// # Errors
    /// When the system has no handle left.
    pub fn handle(&self) -> Result<File, Error> {
        self.file.try_clone().map_err(|source| Error::Journal { path: self.path.clone(), source })
    }

    /// Sequence number of the last edit written.
    #[must_use]
    pub fn last_seq(&self) -> u64 {
        self.next_seq - 1
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// Shortens the journal of a closed coding to the last [`KEPT_ON_CLOSE`] edits.
///
/// # Errors
/// When it can't be read or written; it is then as it was.
pub fn compact(path: &Path) -> Result<(), Error> {
    // What this program wrote itself a moment ago has no line that could be missing.
    let replay = read(path, u64::MAX)?;
    let surplus = replay.records.len().saturating_sub(KEPT_ON_CLOSE);
    if surplus == 0 {
        return Ok(());
    }
    write(path, replay.records.iter().skip(surplus))
}

/// Leaves of a journal, whose records were read, only those up to an edit.
///
/// # Errors
/// When it can't be written; it is then as it was.
pub(super) fn cut_after(path: &Path, records: &[Record], last: u64) -> Result<(), Error> {
    write(path, records.iter().take_while(|record| record.seq <= last))
}

fn write<'a>(path: &Path, records: impl Iterator<Item = &'a Record>) -> Result<(), Error> {
    let mut text = String::new();
    for record in records {
        text.push_str(&seal(record).map_err(|source| Error::Json { path: path.to_owned(), source })?);
    }
    Ok(files::write_atomically(path, text.as_bytes())?)
}

/// Applies to a coding what it does not contain yet. Returns what could not be applied, in words.
#[must_use]
pub fn apply_to(coding: &mut Coding, records: &[Record]) -> Option<String> {
    for record in records.iter().filter(|record| record.seq > coding.last_seq).cloned().collect::<Vec<_>>() {
        if let Err(error) = coding.apply(&record.edit) {
            return Some(format!("edit {} of the journal does not fit the coding ({error})", record.seq));
        }
        coding.last_seq = record.seq;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Change, EthogramRef, Mark, MarkId};
    use crate::time::Micros;

    fn coding() -> Coding {
        let ethogram = EthogramRef { id: "e".into(), revision: 1, digest: String::new() };
        Coding::new("s".into(), "K-01".into(), ethogram)
    }

    fn written(folder: &Path, count: u64) -> (PathBuf, Coding) {
        let path = folder.join("a.journal");
        let (mut journal, _) = Journal::open(&path, 0).unwrap();
        let mut coding = coding();
        let time = DateTime::parse_from_rfc3339("2025-03-03T10:00:00+00:00").unwrap();
        for id in 1..=count {
            let at = Micros(i64::try_from(id * 7 % 5 * 1_000).unwrap());
            let mark = Mark::event(MarkId(id), "approach".into(), at);
            let edit = Edit::new("a mark", vec![Change::Put(Box::new(mark))]);
            let inverse = coding.apply(&edit).unwrap();
            let record = journal.append(time, StepKind::Do, &edit, &inverse).unwrap();
            coding.last_seq = record.seq;
        }
        (path, coding)
    }

    #[test]
    fn rule_33_a_journal_cut_anywhere_gives_back_its_whole_lines() {
        let folder = tempfile::tempdir().unwrap();
        let (path, _) = written(folder.path(), 4);
        let bytes = std::fs::read(&path).unwrap();
        let line_ends: Vec<usize> =
            bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1).collect();
        for length in 0..=bytes.len() {
            let cut = folder.path().join("cut.journal");
            std::fs::write(&cut, &bytes[..length]).unwrap();
            let whole = line_ends.iter().filter(|end| **end <= length).count();
            let (mut journal, replay) = Journal::open(&cut, 0).unwrap();
            assert_eq!(replay.records.len(), whole, "cut at byte {length}");
            let is_torn = length != 0 && !line_ends.contains(&length);
            assert_eq!(!replay.remarks.is_empty(), is_torn, "cut at byte {length}: {:?}", replay.remarks);
            // It can be gone on with.
            let edit = Edit::new("x", vec![]);
            let record = journal.append(DateTime::default(), StepKind::Do, &edit, &edit).unwrap();
            assert_eq!(record.seq, whole as u64 + 1);
            assert_eq!(read(&cut, 0).unwrap().records.len(), whole + 1);
        }
    }

    #[test]
    fn rule_33_replay_applies_only_what_the_file_does_not_contain() {
        let folder = tempfile::tempdir().unwrap();
        let (path, wanted) = written(folder.path(), 6);
        let records = read(&path, 0).unwrap().records;
        for contained in 0..=6 {
            let mut coding = coding();
            let (old, _) = records.split_at(contained);
            assert_eq!(apply_to(&mut coding, old), None);
            assert_eq!(apply_to(&mut coding, &records), None);
            assert_eq!(coding, wanted);
        }
    }

    #[test]
    fn damage_in_the_middle_is_put_aside_and_told() {
        let folder = tempfile::tempdir().unwrap();
        let (path, _) = written(folder.path(), 5);
        let mut bytes = std::fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        let (journal, replay) = Journal::open(&path, 0).unwrap();
        assert!((1..4).contains(&replay.records.len()), "{}", replay.records.len());
        assert!(replay.remarks[0].contains("put aside"));
        assert_eq!(std::fs::read(folder.path().join("a.journal.damaged")).unwrap(), bytes);
        assert_eq!(journal.last_seq(), replay.records.len() as u64);
        // Damaged once more: the first copy stays as it is.
        let mut again = std::fs::read(&path).unwrap();
        again[30] ^= 1;
        std::fs::write(&path, &again).unwrap();
        let (_, replay) = Journal::open(&path, 0).unwrap();
        assert!(replay.records.is_empty());
        assert_eq!(std::fs::read(folder.path().join("a.journal.damaged")).unwrap(), bytes);
        assert_eq!(std::fs::read(folder.path().join("a.journal.damaged-2")).unwrap(), again);
    }

    #[test]
    fn rule_33_compacting_keeps_the_last_edits_and_never_empties() {
        let folder = tempfile::tempdir().unwrap();
        let (path, _) = written(folder.path(), 30);
        compact(&path).unwrap();
        assert_eq!(read(&path, 0).unwrap().records.len(), 30);
        let (path, _) = written(
            &{
                let inner = folder.path().join("b");
                std::fs::create_dir(&inner).unwrap();
                inner
            },
            KEPT_ON_CLOSE as u64 + 12,
        );
        compact(&path).unwrap();
        let records = read(&path, KEPT_ON_CLOSE as u64 + 12).unwrap().records;
        assert_eq!((records.len(), records[0].seq), (KEPT_ON_CLOSE, 13));
    }

    #[test]
    fn rule_34_edits_after_a_gap_the_coding_file_covers_are_kept() {
        let folder = tempfile::tempdir().unwrap();
        let (path, mut coding) = written(folder.path(), 6);
        // A power cut took the last lines, while the coding file already contained them.
        let bytes = std::fs::read(&path).unwrap();
        let ends: Vec<usize> =
            bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1).collect();
        std::fs::write(&path, &bytes[..ends[3]]).unwrap();
        let contained = coding.last_seq;
        let (mut journal, _) = Journal::open(&path, contained).unwrap();
        let mut wanted = coding.clone();
        for id in [7, 8] {
            let mark = Mark::event(MarkId(id), "approach".into(), Micros(9_000));
            let edit = Edit::new("a mark", vec![Change::Put(Box::new(mark))]);
            let inverse = wanted.apply(&edit).unwrap();
            let record = journal.append(DateTime::default(), StepKind::Do, &edit, &inverse).unwrap();
            wanted.last_seq = record.seq;
        }
        drop(journal);
        // Killed here, before the coding file was written again.
        let (_, replay) = Journal::open(&path, contained).unwrap();
        assert_eq!(apply_to(&mut coding, &replay.records), None);
        assert_eq!(coding, wanted, "{:?}", replay.remarks);
    }

    #[test]
    fn rule_33_edits_that_neither_file_has_are_not_skipped() {
        let folder = tempfile::tempdir().unwrap();
        let (path, _) = written(folder.path(), 6);
        let text = std::fs::read_to_string(&path).unwrap();
        let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
        let _ = lines.remove(2);
        let without_third = lines.concat();
        std::fs::write(&path, without_third).unwrap();
        assert_eq!(read(&path, 2).unwrap().records.len(), 2, "edit 3 is nowhere: nothing after it counts");
        assert_eq!(read(&path, 3).unwrap().records.len(), 5, "the coding file has it");
    }
}
