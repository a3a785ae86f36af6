//! Finding the codings that paths name: a study, a session's folder, a coding file.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::Error;
use super::arguments::Choice;
use crate::model::Session;
use crate::storage::study_folder::{self, Definitions, LoadedCoding};
use crate::storage::{StudyFolder, coding_file};

/// The codings that were asked for.
#[derive(Debug, Default)]
pub(super) struct Loaded {
    /// Each with the study it belongs to, as a place in `studies`.
    pub(super) codings: Vec<(usize, LoadedCoding)>,
    /// The studies they belong to.
    pub(super) studies: Vec<StudyFolder>,
    /// What could not be read, in words.
    pub(super) problems: Vec<String>,
}

impl Loaded {
    /// How each study is told from the others; nothing when there is only one.
    pub(super) fn names(&self) -> BTreeMap<PathBuf, String> {
        names(&self.studies.iter().collect::<Vec<_>>())
    }

    /// The study of a coding.
    pub(super) fn study(&self, place: usize) -> Option<&StudyFolder> {
        self.studies.get(place)
    }

    /// Tells on the error stream what could not be read; an error when that was everything.
    pub(super) fn tell(&self) -> Result<(), Error> {
        super::remark(&self.problems);
        if self.codings.is_empty() && !self.problems.is_empty() { Err(Error::NothingRead) } else { Ok(()) }
    }
}

/// By folder, how each of several studies is told from the others: its title, and its folder where two have
/// the same. Nothing for one alone.
pub(super) fn names(studies: &[&StudyFolder]) -> BTreeMap<PathBuf, String> {
    if studies.len() < 2 {
        return BTreeMap::new();
    }
    let name = |own: &&StudyFolder| {
        let title = own.study.title.clone();
        let is_shared = studies.iter().filter(|other| other.study.title == title).count() > 1;
        let name = if is_shared { format!("{title} ({})", own.root().display()) } else { title };
        (own.root().to_owned(), name)
    };
    studies.iter().map(name).collect()
}

/// Loads all codings that the paths name and the choice takes. One broken file hides nothing but itself.
///
/// # Errors
/// When a path is neither a study, nor in one.
pub(super) fn codings(paths: &[PathBuf], choice: &Choice) -> Result<Loaded, Error> {
    let mut loaded = Loaded::default();
    let mut wanted: Vec<(usize, PathBuf)> = Vec::new();
    for path in paths {
        let root = study_of(path)?;
        let study = open_study(&mut loaded, &root)?;
        let found = files_of(&mut loaded, study, path)?;
        for file in found {
            if !wanted.iter().any(|(_, known)| *known == file) {
                wanted.push((study, file));
            }
        }
    }
    for (study, path) in wanted {
        let Some(folder) = loaded.studies.get(study) else { continue };
        match folder.load_coding(&path) {
            Ok(coding) => {
                if let Some(newer) = coding_file::newer(&path, Some(&coding.coding.ethogram)) {
                    let words = newer.to_string();
                    if !loaded.problems.contains(&words) {
                        loaded.problems.push(words);
                    }
                }
                if coding.definitions == Definitions::ChangedSince {
                    loaded.problems.push(format!(
                        "the ethogram {} revision {} was changed after this coding was made; make a new revision instead: {}",
                        coding.coding.ethogram.id, coding.coding.ethogram.revision, path.display()
                    ));
                }
                if takes(choice, &coding) {
                    loaded.codings.push((study, coding));
                }
            }
            Err(error) => loaded.problems.push(error.to_string()),
        }
    }
    loaded.codings.sort_by(|(_, a), (_, b)| {
        (a.session.recorded_at, &a.session.id, &a.path).cmp(&(b.session.recorded_at, &b.session.id, &b.path))
    });
    Ok(loaded)
}

/// The study a path lies in.
///
/// # Errors
/// When it lies in none, or there is nothing there.
pub(super) fn study_of(path: &Path) -> Result<PathBuf, Error> {
    study_folder::study_above(path).ok_or_else(|| {
        if path.exists() {
            Error::Usage(format!(
                "this lies in no study (there is no study.json in it or above it): {}",
                path.display()
            ))
        } else {
            Error::Usage(format!("there is no such file or folder: {}", path.display()))
        }
    })
}

fn open_study(loaded: &mut Loaded, root: &Path) -> Result<usize, Error> {
    if let Some(known) = loaded.studies.iter().position(|study| study.root() == root) {
        return Ok(known);
    }
    loaded.studies.push(StudyFolder::open(root)?);
    Ok(loaded.studies.len() - 1)
}

fn files_of(loaded: &mut Loaded, study: usize, path: &Path) -> Result<Vec<PathBuf>, Error> {
    if path.is_file() && path.file_name().is_some_and(|name| name != "study.json" && name != "session.json") {
        return Ok(vec![std::path::absolute(path)?]);
    }
    let folder = if path.is_file() { path.parent().unwrap_or(path) } else { path };
    let folder = std::path::absolute(folder)?;
    let mut files = Vec::new();
    if folder.join("session.json").is_file() {
        let (entry, problems) = study_folder::read_session_folder(&folder)?;
        files.extend(entry.codings.into_iter().map(|(path, _)| path));
        loaded.problems.extend(problems.iter().map(ToString::to_string));
        return Ok(files);
    }
    let Some(owner) = loaded.studies.get(study) else { return Ok(files) };
    let listing = owner.list();
    for entry in listing.sessions {
        // A folder inside the study takes only what lies in it.
        if entry.folder.starts_with(&folder) {
            files.extend(entry.codings.into_iter().map(|(path, _)| path));
        }
    }
    loaded.problems.extend(listing.problems.iter().map(ToString::to_string));
    Ok(files)
}

fn takes(choice: &Choice, coding: &LoadedCoding) -> bool {
    takes_session(choice, &coding.session)
}

/// Whether the choice takes a session.
pub(super) fn takes_session(choice: &Choice, session: &Session) -> bool {
    let day = session.wall_clock(crate::time::Micros::ZERO).map(|time| time.date_naive());
    let in_time = match (choice.from, choice.to, day) {
        (None, None, _) => true,
        (from, to, Some(day)) => from.is_none_or(|from| day >= from) && to.is_none_or(|to| day <= to),
        (_, _, None) => false,
    };
    choice.animal.as_ref().is_none_or(|animal| session.animal.as_str() == animal)
        && choice.step.is_none_or(|step| session.step == Some(step))
        && in_time
}
