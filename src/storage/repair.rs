//! Putting a session's folder in order again: leftovers, torn journals, locks nobody holds, coding
//! files that can't be read.
//!
//! Nothing is deleted: whatever is replaced, shortened or taken away lies afterwards in a new
//! folder `put-aside-<n>` of the session. A coding that somebody has open is left alone.

use std::path::{Path, PathBuf};

use super::leftovers::{self, Leftover};
use super::{Error, coding_file, conflict, journal, json, versions};
use crate::files;
use crate::model::{CODING_FORMAT, Change, Coding, Mark, MarkId, Status};

/// What became of one thing.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Repair {
    /// What it was about.
    pub path: PathBuf,
    /// Whether it is in order now.
    pub is_done: bool,
    /// What was done, or why nothing was, in words.
    pub what: String,
}

/// Where the originals go; made when the first one comes.
struct Aside {
    folder: PathBuf,
}

impl Aside {
    fn in_session(session: &Path) -> Self {
        let mut number = 1_u32;
        loop {
            let folder = session.join(format!("put-aside-{number}"));
            if !folder.exists() {
                return Self { folder };
            }
            number += 1;
        }
    }

    fn place(&self, path: &Path) -> Result<PathBuf, Error> {
        files::make_folder(&self.folder)?;
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let mut place = self.folder.join(&name);
        let mut again = 2_u32;
        while place.exists() {
            place = self.folder.join(format!("{name}.{again}"));
            again += 1;
        }
        Ok(place)
    }

    /// Takes a file away.
    fn take(&self, path: &Path) -> Result<String, Error> {
        let to = self.place(path)?;
        files::rename(path, &to).map_err(|source| files::Error::Write { path: path.to_owned(), source })?;
        Ok(self.words(&to))
    }

    /// Keeps a copy of a file that is changed or replaced; it is on the disk before that happens.
    fn keep(&self, path: &Path) -> Result<String, Error> {
        let to = self.place(path)?;
        let bytes = std::fs::read(path).map_err(|source| Error::Read { path: path.to_owned(), source })?;
        files::write_atomically(&to, &bytes)?;
        Ok(self.words(&to))
    }

    fn words(&self, to: &Path) -> String {
        let folder = self.folder.file_name().unwrap_or_default().to_string_lossy();
        format!("{folder}/{}", to.file_name().unwrap_or_default().to_string_lossy())
    }
}

/// Repairs what can be repaired in a session's folder, thing by thing; one that fails stops no other.
#[must_use]
pub fn session_folder(folder: &Path) -> Vec<Repair> {
    let mut done = Vec::new();
    let mut tell = |path: &Path, result: Result<Option<String>, Error>| match result {
        Ok(None) => {}
        Ok(Some(what)) => done.push(Repair { path: path.to_owned(), is_done: true, what }),
        Err(error) => {
            done.push(Repair {
                path: path.to_owned(),
                is_done: false,
                what: format!("left as it is: {error}"),
            });
        }
    };
    let aside = Aside::in_session(folder);
    for path in codings_in(folder) {
        tell(&path, coding(&path, &aside));
    }
    for left in leftovers::of_session(folder) {
        let Leftover::Part(path) = left else { continue };
        tell(&path, part(&path, folder, &aside));
    }
    done
}

/// Coding files, and those that should be there because their journal is.
fn codings_in(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries
        .filter_map(|entry| {
            let path = entry.ok()?.path();
            let name = path.file_name()?.to_string_lossy().into_owned();
            if name.starts_with('.') || !path.is_file() {
                return None;
            }
            let stem = name.strip_suffix(".journal").or_else(|| name.strip_suffix(".coding.json"))?;
            Some(path.with_file_name(format!("{stem}.coding.json")))
        })
        .filter(|path| conflict::original_of(path).is_none())
        .collect();
    paths.sort();
    paths.dedup();
    paths
}

fn part(path: &Path, folder: &Path, aside: &Aside) -> Result<Option<String>, Error> {
    // Its write may be under way: whoever writes here holds a coding.
    for coding in codings_in(folder) {
        drop(coding_file::lock(&coding)?);
    }
    let to = aside.take(path)?;
    Ok(Some(format!("a write that never finished was put aside: {to}")))
}

fn coding(path: &Path, aside: &Aside) -> Result<Option<String>, Error> {
    if let Some(newer) = coding_file::newer(path, None) {
        return Err(newer);
    }
    let (lock, left) = coding_file::lock(path)?;
    let mut done: Vec<String> =
        left.map(|left| format!("a lock nobody holds was given back: {left}")).into_iter().collect();
    if let Err(error) = json::read::<Coding>(path, CODING_FORMAT) {
        if matches!(error, Error::TooLarge { .. }) {
            return Err(error);
        }
        done.push(put_together(path, aside, &error)?);
    }
    done.extend(mend_journal(path, aside)?);
    drop(lock);
    Ok((!done.is_empty()).then(|| done.join("; ")))
}

/// Cuts a torn or damaged journal to its whole lines; edits the coding file lacks are written into it.
fn mend_journal(path: &Path, aside: &Aside) -> Result<Option<String>, Error> {
    let journal = coding_file::journal_path(path);
    let text = json::read_text(path)?;
    let mut coding: Coding = json::parse(path, &text, CODING_FORMAT)?;
    let before = coding.last_seq;
    let replay = journal::read(&journal, before)?;
    let mut done = Vec::new();
    if let Some(what) = journal::apply_to(&mut coding, &replay.records) {
        // What fitted is taken in below; the rest belongs to another state of this coding.
        let kept = aside.keep(&journal)?;
        journal::cut_after(&journal, &replay.records, coding.last_seq)?;
        done.push(format!(
            "{what}: it and what follows count nowhere and are set aside; the journal as it was: {kept}"
        ));
    } else if !replay.remarks.is_empty() {
        let kept = aside.keep(&journal)?;
        let _ = journal::Journal::open(&journal, before)?;
        done.push(format!("{}; the journal as it was: {kept}", replay.remarks.join("; ")));
    }
    let added = coding.last_seq - before;
    if added > 0 {
        let kept = aside.keep(path)?;
        let _ = coding_file::OnDisk::new(path, &text).write(&coding, false)?;
        done.push(format!(
            "{added} {} from the journal written into the coding file; the file as it was: {kept}",
            if added == 1 { "edit was" } else { "edits were" }
        ));
    }
    Ok((!done.is_empty()).then(|| done.join("; ")))
}

/// A coding file that can't be read is made anew, from the best source there is.
fn put_together(path: &Path, aside: &Aside, error: &Error) -> Result<String, Error> {
    // Bytes that are no text are damage too.
    let bytes = match std::fs::read(path) {
        Ok(bytes) => Some(bytes),
        Err(source) if source.kind() == std::io::ErrorKind::NotFound => None,
        Err(source) => return Err(Error::Read { path: path.to_owned(), source }),
    };
    let damaged = Remains::of(&String::from_utf8_lossy(bytes.as_deref().unwrap_or_default()));
    let Some((coding, words)) = best(path, damaged) else {
        let what = format!("nothing is left from which it could be put together ({error})");
        return Err(Error::Content { path: path.to_owned(), line: 1, column: 1, what });
    };
    let kept = match bytes {
        Some(_) => format!("; the damaged file: {}", aside.keep(path)?),
        None => String::new(),
    };
    json::write(path, &coding)?;
    Ok(format!("the coding file could not be read and was made anew {words}{kept}"))
}

/// What can still be read of a damaged coding file: what stands before the marks, and each whole line of a mark.
struct Remains {
    head: Option<Coding>,
    marks: Vec<Mark>,
}

impl Remains {
    fn of(text: &str) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let Some((before, after)) = text.split_once("\"marks\": [") else {
            return Self { head: None, marks: Vec::new() };
        };
        let head: Option<Coding> = serde_json::from_str(&format!("{before}\"marks\": []}}")).ok();
        let head = head.filter(|head| head.format == CODING_FORMAT);
        let mut marks: Vec<Mark> = after
            .lines()
            .filter_map(|line| serde_json::from_str(line.trim().trim_end_matches(',')).ok())
            .collect();
        marks.sort_by_key(|mark: &Mark| (mark.from, mark.id));
        Self { head, marks }
    }

    /// An earlier state with every edit the journal has since, when what can still be read of the damaged
    /// file stands so in it: else the file held something that neither of the two knows.
    fn followed(&self, start: &Coding, journal: &Path) -> Option<Coding> {
        let records = journal::read(journal, start.last_seq).ok()?.records;
        let mut coding = start.clone();
        let agrees = if let Some(head) = &self.head {
            // Held against the state the file was in, not against what came after it.
            let contained = records.partition_point(|record| record.seq <= head.last_seq);
            let contained = records.get(..contained).unwrap_or_default();
            let fits = journal::apply_to(&mut coding, contained).is_none();
            fits && coding.last_seq >= head.last_seq
                && self.marks.iter().all(|mark| coding.mark(mark.id) == Some(mark))
        } else {
            // Which state that was is gone: each mark stood so at some time.
            let is_put = |mark: &Mark| {
                let mut changes = records.iter().flat_map(|record| &record.edit.changes);
                changes.any(|change| matches!(change, Change::Put(own) if **own == *mark))
            };
            self.marks.iter().all(|mark| start.mark(mark.id) == Some(mark) || is_put(mark))
        };
        let fits = agrees && journal::apply_to(&mut coding, &records).is_none();
        (fits && coding.last_seq >= last_in(journal)).then_some(coding)
    }
}

/// The best state that can be had, and where it is from.
fn best(path: &Path, damaged: Remains) -> Option<(Coding, String)> {
    let journal = coding_file::journal_path(path);
    // Only a journal that is there and whole can tell that nothing is missing.
    let is_whole = journal::read(&journal, u64::MAX)
        .is_ok_and(|replay| replay.remarks.is_empty() && !replay.records.is_empty());
    let version = versions::list(path)
        .into_iter()
        .rev()
        .find_map(|version| Some((version.number, json::read::<Coding>(&version.path, CODING_FORMAT).ok()?)));
    // Everything the file contained: an earlier state and every edit since.
    if is_whole
        && let Some((number, old)) = &version
        && let Some(coding) = damaged.followed(old, &journal)
    {
        return Some((coding, format!("from version {number} and the journal: no edit is missing")));
    }
    if is_whole
        && let Some(head) = &damaged.head
        && starts_from_nothing(&journal)
    {
        let start = Coding { marks: Vec::new(), last_seq: 0, ..head.clone() };
        if let Some(coding) = damaged.followed(&start, &journal) {
            return Some((coding, "from the journal, which has every edit: none is missing".to_owned()));
        }
    }
    let of_version = version.map(|(number, old)| {
        let words = format!("from version {number} and what the journal holds: edits may be missing");
        (old, words)
    });
    let of_lines = damaged.head.map(|head| {
        let mut coding = Coding { marks: damaged.marks, ..head };
        let mut seen = std::collections::BTreeSet::new();
        coding.marks.retain(|mark| seen.insert(mark.id));
        let words = format!(
            "with {} marks from the whole lines of the damaged file and the journal: marks may be missing",
            coding.marks.len()
        );
        (coding, words)
    });
    let unsure = |(mut coding, words): (Coding, String)| {
        let with_journal = || {
            let mut coding = coding.clone();
            let replay = journal::read(&journal, coding.last_seq).ok()?;
            journal::apply_to(&mut coding, &replay.records).is_none().then_some(coding)
        };
        match with_journal() {
            Some(with) => coding = with,
            // Later edits need marks that are gone; they stay in the journal for a person to read.
            None => coding.last_seq = coding.last_seq.max(last_in(&journal)),
        }
        coding.status = Status::Open;
        coding.closed = None;
        // What is missing must not be taken for "did not occur".
        for pass in &mut coding.passes {
            pass.done = false;
        }
        (coding, format!("{words}, so no pass counts as done until it was looked through"))
    };
    let (of_version, of_lines) = (of_version.map(unsure), of_lines.map(unsure));
    match (of_version, of_lines) {
        (Some(version), Some(lines)) if version.0.marks.len() >= lines.0.marks.len() => Some(version),
        (version, lines) => lines.or(version),
    }
}

/// Whether a journal begins with a coding without marks, by the first mark it puts: an imported or agreed
/// coding had marks before its first edit, and those are in no journal.
fn starts_from_nothing(journal: &Path) -> bool {
    let records = journal::read(journal, 0).map(|replay| replay.records).unwrap_or_default();
    let first = records.iter().find_map(|record| {
        let mut changes = record.edit.changes.iter();
        changes.find_map(|change| match change {
            Change::Put(mark) => Some((mark.id, record)),
            _ => None,
        })
    });
    first.is_some_and(|(id, record)| {
        let is_new = record.inverse.changes.contains(&Change::Remove(id));
        id == MarkId(1) && is_new
    })
}

/// The last edit a journal holds, whole or not applied.
fn last_in(journal: &Path) -> u64 {
    journal::read(journal, u64::MAX).ok().and_then(|replay| Some(replay.records.last()?.seq)).unwrap_or(0)
}
