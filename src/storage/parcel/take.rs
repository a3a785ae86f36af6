//! Taking a parcel in: as a new study, or into one that is there.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};

use super::compare::without_parts;
use super::{Choice, Comparison, Error, Parcel, Progress, What, Workplace, make_folder, whole};
use crate::files;
use crate::model::Study;
use crate::storage::{Error as StorageError, StudyFolder, coding_file, conflict, json};

/// The folder of a study in which what was replaced is kept.
pub(super) const REPLACED: &str = "replaced";

/// What was taken in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Taken {
    /// Parts that were added or replaced, by their keys.
    pub taken: Vec<String>,
    /// Parts that differ and stayed as they were.
    pub kept: Vec<String>,
    /// Parts that could not be taken, and why.
    pub failed: Vec<String>,
    /// Where what was replaced is kept, if anything was.
    pub replaced: Option<PathBuf>,
}

/// Makes a new study of a parcel; its folder appears whole or not at all.
///
/// # Errors
/// When something is in the folder, the parcel is damaged, or it was stopped.
pub fn take_as_new(parcel: &mut Parcel, root: &Path, progress: Progress<'_>) -> Result<StudyFolder, Error> {
    let root = std::path::absolute(root).map_err(|source| Error::read(root, source))?;
    if root.exists() {
        let mut inside = std::fs::read_dir(&root).map_err(|source| Error::read(&root, source))?;
        if inside.next().is_some() {
            return Err(StorageError::NotEmpty { path: root }.into());
        }
    }
    let name = root.file_name().unwrap_or_default().to_string_lossy();
    let part = Workplace::new(root.with_file_name(format!(".{name}.{}.part", std::process::id())))?;
    parcel.unpack(&part.0, |_| true, progress)?;
    for folder in ["ethograms", "sessions", "clips"] {
        let folder = part.0.join(folder);
        make_folder(&folder)?;
    }
    let _ = StudyFolder::open(&part.0)?;
    if root.exists() {
        // Empty, as was looked at; not every system renames over a folder.
        std::fs::remove_dir(&root).map_err(|source| Error::write(&root, source))?;
    }
    files::rename(&part.0, &root).map_err(|source| Error::write(&root, source))?;
    Ok(StudyFolder::open(&root)?)
}

/// Takes in what was chosen. Chosen film is unpacked and checked first; then file by file goes to its
/// place, and what it replaces to `replaced/<now>`.
///
/// # Errors
/// When the film is damaged, the study was changed meanwhile, or it was stopped: nothing is changed
/// then. What fails after that is told in [`Taken::failed`], and the rest is taken in.
pub fn take(
    parcel: &mut Parcel,
    comparison: Comparison,
    folder: &StudyFolder,
    now: DateTime<FixedOffset>,
    progress: Progress<'_>,
) -> Result<Taken, Error> {
    let Comparison { mut items, seen, here, there, place, .. } = comparison;
    // A session's sheet is there before its codings, whichever of them are conflicts.
    items.sort_by(|a, b| a.what.cmp(&b.what));
    let film = |path: &str| {
        let is_it = |what: &What| matches!(what, What::Film(own) if own == path);
        items.iter().any(|item| is_it(&item.what) && item.choice != Choice::Keep)
    };
    parcel.unpack(&place.0, |entry| entry.is_film() && film(&entry.path), progress)?;
    let root = folder.root();
    if let Some(newer) = json::newer(&root.join("study.json")) {
        return Err(newer.into());
    }
    if StudyFolder::open(root)?.study != here {
        return Err(Error::ChangedMeanwhile { path: root.join("study.json") });
    }
    let aside = root.join(REPLACED).join(now.format("%Y-%m-%d %H%M%S").to_string());
    let mut own = Taking { root, place: &place.0, seen: &seen, aside, taken: Taken::default(), study: here };
    let mut parts = 0;
    for item in &items {
        if item.choice == Choice::Keep {
            if item.is_conflict() {
                own.taken.kept.push(item.what.key());
            }
            continue;
        }
        let done = match &item.what {
            What::Study | What::Person(_) | What::Animal(_) | What::Plan(_) => {
                own.part(&item.what, &there);
                parts += 1;
                continue;
            }
            What::Ethogram(name) => own.file(&format!("ethograms/{name}.json"), item.choice),
            What::Session(id) => own.file(&format!("sessions/{id}/session.json"), item.choice),
            What::Film(path) | What::Other(path) => own.file(path, item.choice),
            What::Coding(session, name) => own.coding(session, name, item.choice),
        };
        match done {
            Ok(()) => own.taken.taken.push(item.what.key()),
            Err(error) => own.taken.failed.push(format!("{}: {error}", item.what.words())),
        }
    }
    if parts > 0 {
        let study = std::mem::replace(&mut own.study, Study::new(""));
        let kept = own.keep("study.json");
        match kept.and_then(|()| Ok(json::write(&root.join("study.json"), &study)?)) {
            Ok(()) => {
                let is_part = |what: &What| {
                    matches!(what, What::Study | What::Person(_) | What::Animal(_) | What::Plan(_))
                };
                let parts = items.iter().filter(|item| is_part(&item.what) && item.choice != Choice::Keep);
                own.taken.taken.extend(parts.map(|item| item.what.key()));
            }
            Err(error) => own.taken.failed.push(format!("study.json: {error}")),
        }
    }
    if own.aside.exists() {
        own.taken.replaced = Some(own.aside.clone());
    }
    Ok(own.taken)
}

struct Taking<'a> {
    root: &'a Path,
    place: &'a Path,
    seen: &'a BTreeMap<String, Option<String>>,
    aside: PathBuf,
    taken: Taken,
    study: Study,
}

impl Taking<'_> {
    /// Puts a part of the parcel's study file into this one; it is written when all are.
    fn part(&mut self, what: &What, there: &Study) {
        match what {
            What::Person(id) => {
                put(&mut self.study.people, &there.people, |own| own.code.as_str() == id);
            }
            What::Animal(id) => put(&mut self.study.animals, &there.animals, |own| own.id.as_str() == id),
            What::Plan(id) => put(&mut self.study.plans, &there.plans, |own| own.id.as_str() == id),
            _ => {
                let own = std::mem::replace(&mut self.study, without_parts(there));
                (self.study.people, self.study.animals, self.study.plans) =
                    (own.people, own.animals, own.plans);
            }
        }
    }

    /// Copies a file of the study to where it is kept, if it is there.
    fn keep(&self, inside: &str) -> Result<(), Error> {
        let (own, kept) = (self.root.join(inside), self.aside.join(inside));
        if !own.exists() {
            return Ok(());
        }
        if let Some(above) = kept.parent() {
            make_folder(above)?;
        }
        let bytes = std::fs::read(&own).map_err(|source| Error::read(&own, source))?;
        Ok(files::write_atomically(&kept, &bytes).map_err(StorageError::from)?)
    }

    /// Nothing is replaced that is another than the one a person decided about.
    fn is_as_seen(&self, inside: &str) -> Result<(), Error> {
        let own = self.root.join(inside);
        // Film is taken only where nothing lies.
        let is_same = match self.seen.get(inside) {
            Some(Some(seen)) => whole(&own).as_ref() == Some(seen),
            Some(None) | None => !own.exists(),
        };
        if is_same { Ok(()) } else { Err(Error::PartChangedMeanwhile { path: own }) }
    }

    /// Moves an unpacked file to its place, or beside it.
    fn file(&self, inside: &str, choice: Choice) -> Result<(), Error> {
        let own = self.root.join(inside);
        let target = if choice == Choice::Both { free_beside(&own) } else { own };
        if choice == Choice::Take {
            self.is_as_seen(inside)?;
            if let Some(newer) = json::newer(&target) {
                return Err(newer.into());
            }
            self.keep(inside)?;
        }
        self.put_there(inside, &target)
    }

    fn put_there(&self, inside: &str, target: &Path) -> Result<(), Error> {
        let fail = |source| Error::write(target, source);
        if let Some(above) = target.parent() {
            make_folder(above)?;
        }
        files::rename(&self.place.join(inside), target).map_err(fail)
    }

    /// A coding goes with its journal. Its own journal must never meet the other coding: it would
    /// add its edits to it.
    fn coding(&self, session: &str, name: &str, choice: Choice) -> Result<(), Error> {
        let inside = |ending: &str| format!("sessions/{session}/{name}.{ending}");
        let own = self.root.join(inside("coding.json"));
        let sheet = own.with_file_name("session.json");
        if !sheet.is_file() {
            return Err(
                StorageError::Read { path: sheet, source: std::io::ErrorKind::NotFound.into() }.into()
            );
        }
        let has_journal = self.place.join(inside("journal")).is_file();
        if choice == Choice::Both {
            let target = conflict::free_name(&own);
            if has_journal {
                self.put_there(&inside("journal"), &coding_file::journal_path(&target))?;
            }
            return self.put_there(&inside("coding.json"), &target);
        }
        // Nobody may be at work on it.
        if let Some(newer) = coding_file::newer(&own, None) {
            return Err(newer.into());
        }
        let _held = coding_file::lock(&own)?;
        self.is_as_seen(&inside("coding.json"))?;
        self.is_as_seen(&inside("journal"))?;
        // Of a coding file that was lost its journal may still hold every edit.
        self.keep(&inside("coding.json"))?;
        self.keep(&inside("journal"))?;
        if own.exists() {
            // What only the journal holds goes into the file before the journal goes.
            if let Ok(whole) = coding_file::read(&own) {
                json::write(&own, &whole)?;
            }
        }
        let journal = coding_file::journal_path(&own);
        if journal.exists() {
            std::fs::remove_file(&journal).map_err(|source| Error::write(&journal, source))?;
            // Gone for good, before the other coding comes.
            files::flush_folder(journal.parent().unwrap_or(self.root));
        }
        self.put_there(&inside("coding.json"), &own)?;
        if has_journal { self.put_there(&inside("journal"), &journal) } else { Ok(()) }
    }
}

/// Replaces the one of a list that is meant, or adds it.
fn put<T: Clone>(list: &mut Vec<T>, from: &[T], is_it: impl Fn(&T) -> bool) {
    let Some(new) = from.iter().find(|own| is_it(own)) else { return };
    match list.iter_mut().find(|own| is_it(own)) {
        Some(own) => own.clone_from(new),
        None => list.push(new.clone()),
    }
}

/// A name beside a file that nothing has.
fn free_beside(path: &Path) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().map_or_else(String::new, |own| format!(".{}", own.to_string_lossy()));
    let mut number = 2_u32;
    loop {
        let free = path.with_file_name(format!("{stem}-{number}{ending}"));
        if !free.exists() {
            return free;
        }
        number += 1;
    }
}
