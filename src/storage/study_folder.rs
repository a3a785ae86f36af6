//! A study's folder: what lies where.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::coding_file::{self, CodingHead};
use super::{Error, conflict, cores, json};
use crate::files;
use crate::model::validate::{self, Gravity, Problem};
use crate::model::{
    BehaviourId, Coding, ETHOGRAM_FORMAT, Ethogram, EthogramId, EthogramRef, SESSION_FORMAT, STUDY_FORMAT,
    Session, SessionId, Study, VERSION, together,
};

/// An opened study.
#[derive(Debug, Clone, PartialEq)]
pub struct StudyFolder {
    root: PathBuf,
    /// Its `study.json`.
    pub study: Study,
    /// The same as it lay on the disk when it was read or written last, to tell own changes from others'.
    as_read: Study,
    /// What a person should hear of the last writing, in words.
    notice: Option<String>,
}

/// The sessions of a study, and what could not be read of it.
#[derive(Debug, Default)]
pub struct Listing {
    /// By date, then by id.
    pub sessions: Vec<SessionEntry>,
    /// Folders of sessions whose own sheet can't be read: which film they show is not known.
    pub unreadable: Vec<PathBuf>,
    /// Files that could not be read; the rest is usable.
    pub problems: Vec<Error>,
}

/// A session and its codings.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionEntry {
    /// The session.
    pub session: Session,
    /// Its folder.
    pub folder: PathBuf,
    /// Its codings, by file name, without their marks.
    pub codings: Vec<(PathBuf, CodingHead)>,
}

/// The way down to the study a file lies in.
#[must_use]
pub fn study_above(path: &Path) -> Option<PathBuf> {
    let absolute = std::path::absolute(path).ok()?;
    absolute.ancestors().find(|folder| folder.join("study.json").is_file()).map(Path::to_owned)
}

impl StudyFolder {
    /// Opens a study.
    ///
    /// # Errors
    /// When the folder has no readable `study.json`.
    pub fn open(root: &Path) -> Result<Self, Error> {
        let path = root.join("study.json");
        if !path.exists() {
            return Err(Error::NoStudy { path: root.to_owned() });
        }
        let study = json::read(&path, STUDY_FORMAT)?;
        Ok(Self { root: root.to_owned(), as_read: Study::clone(&study), study, notice: None })
    }

    /// Makes a study's folder; it must not exist yet, or be empty.
    ///
    /// # Errors
    /// When there is something in the folder, or it can't be written.
    pub fn create(root: &Path, study: Study) -> Result<Self, Error> {
        files::make_folder(root)?;
        let is_empty = std::fs::read_dir(root)
            .map_err(|source| Error::Read { path: root.to_owned(), source })?
            .next()
            .is_none();
        if !is_empty {
            return Err(Error::NotEmpty { path: root.to_owned() });
        }
        for folder in ["ethograms", "sessions", "clips"] {
            files::make_folder(&root.join(folder))?;
        }
        let mut new = Self { root: root.to_owned(), as_read: study.clone(), study, notice: None };
        new.save_study()?;
        Ok(new)
    }

    /// Its folder.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Nothing is written into the study of a newer version.
    fn may_be_written(&self) -> Result<(), Error> {
        if self.study.version <= VERSION {
            return Ok(());
        }
        let path = self.root.join("study.json");
        Err(Error::Newer { path, found: self.study.version, known: VERSION })
    }

    /// Writes `study.json`: what was changed here since it was read or written last, field by field. What another
    /// window wrote meanwhile stays, and is here from now on. Where both changed the same field this window's counts,
    /// the other's study is kept beside, and [`StudyFolder::take_notice`] tells.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn save_study(&mut self) -> Result<(), Error> {
        let path = self.root.join("study.json");
        let now = json::read::<Study>(&path, STUDY_FORMAT).ok();
        if let Some(now) = now.as_ref().filter(|now| now.version > VERSION) {
            return Err(Error::Newer { path, found: now.version, known: VERSION });
        }
        if let Some(now) = now.filter(|now| *now != self.as_read) {
            let (both, words) = put_together(&path, &self.as_read, &now, &self.study)?;
            json::write(&path, &both)?;
            self.study = both;
            self.notice = words.or_else(|| self.notice.take());
        } else {
            json::write(&path, &self.study)?;
        }
        self.as_read.clone_from(&self.study);
        Ok(())
    }

    /// What a person should hear of the last writing: that another window changed the same field. Told once.
    pub fn take_notice(&mut self) -> Option<String> {
        self.notice.take()
    }

    /// Where a revision of an ethogram lies.
    #[must_use]
    pub fn ethogram_path(&self, id: &EthogramId, revision: u32) -> PathBuf {
        self.root.join("ethograms").join(format!("{id}.{revision}.json"))
    }

    /// Reads a revision of an ethogram.
    ///
    /// # Errors
    /// When it is missing or can't be read.
    pub fn ethogram(&self, id: &EthogramId, revision: u32) -> Result<Ethogram, Error> {
        let path = self.ethogram_path(id, revision);
        if !path.exists() {
            return Err(Error::NoEthogram { id: id.to_string(), revision, path });
        }
        json::read(&path, ETHOGRAM_FORMAT)
    }

    /// Writes a revision of an ethogram.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn save_ethogram(&self, ethogram: &Ethogram) -> Result<(), Error> {
        self.may_be_written()?;
        files::make_folder(&self.root.join("ethograms"))?;
        json::write(&self.ethogram_path(&ethogram.id, ethogram.revision), ethogram)
    }

    /// All ethograms that can be read, by id and revision, and the errors of the others.
    #[must_use]
    pub fn ethograms(&self) -> (Vec<Ethogram>, Vec<Error>) {
        let (mut good, mut bad) = (Vec::new(), Vec::new());
        for path in files_in(&self.root.join("ethograms"), ".json") {
            match json::read::<Ethogram>(&path, ETHOGRAM_FORMAT) {
                // Every other file of the study finds it by its name alone.
                Ok(own) if self.ethogram_path(&own.id, own.revision) != path => {
                    bad.push(Error::Misnamed { path, id: own.id.to_string(), revision: own.revision });
                }
                Ok(ethogram) => {
                    if ethogram.version > VERSION {
                        bad.push(Error::Newer { path, found: ethogram.version, known: VERSION });
                    }
                    good.push(ethogram);
                }
                Err(error) => bad.push(error),
            }
        }
        good.sort_by(|a, b| (&a.id, a.revision).cmp(&(&b.id, b.revision)));
        (good, bad)
    }

    /// The ethogram that new codings are made under: the one the study chose, else the newest revision of the
    /// last one.
    ///
    /// # Errors
    /// When it is not there.
    pub fn ethogram_for_new(&self) -> Result<Ethogram, Error> {
        let (mut ethograms, _) = self.ethograms();
        let choice = self.study.new_codings.as_ref();
        if let Some(choice) = choice {
            ethograms.retain(|own| {
                own.id == choice.ethogram && choice.revision.is_none_or(|revision| own.revision == revision)
            });
        }
        ethograms.pop().ok_or_else(|| Error::NoEthogram {
            id: choice.map_or_else(|| "any".to_owned(), |own| own.ethogram.to_string()),
            revision: choice.and_then(|own| own.revision).unwrap_or(1),
            path: self.root.join("ethograms"),
        })
    }

    /// Example pictures of a behaviour, by name: they lie beside the ethogram and belong to all its revisions.
    #[must_use]
    pub fn stills_of(&self, ethogram: &EthogramId, behaviour: &BehaviourId) -> Vec<PathBuf> {
        let begin = format!("{behaviour} ");
        files_in(&self.stills(ethogram), ".png")
            .into_iter()
            .filter(|path| path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(&begin)))
            .collect()
    }

    /// Keeps an example picture, called by its behaviour and where it is from; `save` writes the file.
    ///
    /// # Errors
    /// Why it can't be kept, in words.
    pub fn add_still(
        &self,
        ethogram: &EthogramId,
        behaviour: &BehaviourId,
        place: &str,
        save: &dyn Fn(&Path) -> Result<(), String>,
    ) -> Result<PathBuf, String> {
        let folder = self.stills(ethogram);
        files::make_folder(&folder).map_err(|error| error.to_string())?;
        let path = folder.join(format!("{behaviour} {place}.png"));
        save(&path)?;
        Ok(path)
    }

    fn stills(&self, ethogram: &EthogramId) -> PathBuf {
        self.root.join("ethograms").join("stills").join(ethogram.as_str())
    }

    /// Folder of a session.
    #[must_use]
    pub fn session_folder(&self, id: &SessionId) -> PathBuf {
        self.root.join("sessions").join(id.as_str())
    }

    /// Reads a session.
    ///
    /// # Errors
    /// When it can't be read.
    pub fn session(&self, id: &SessionId) -> Result<Session, Error> {
        json::read(&self.session_folder(id).join("session.json"), SESSION_FORMAT)
    }

    /// Changes a session as it lies on the disk now, not as somebody read it a while ago: what others wrote
    /// meanwhile stays. Gives what was written.
    ///
    /// # Errors
    /// When it can't be read or written.
    pub fn change_session(
        &self,
        id: &SessionId,
        change: impl FnOnce(&mut Session),
    ) -> Result<Session, Error> {
        let mut session = self.session(id)?;
        let before = session.clone();
        change(&mut session);
        if session != before {
            self.save_session(&session)?;
        }
        Ok(session)
    }

    /// Writes what a person changed of a session from `old`, as they read it a while ago, to `new`: as
    /// [`StudyFolder::save_study`] does.
    ///
    /// # Errors
    /// When it can't be read or written.
    pub fn save_session_changes(&mut self, old: &Session, new: &Session) -> Result<(), Error> {
        let now = self.session(&old.id)?;
        let path = self.session_folder(&old.id).join("session.json");
        let (both, words) = put_together(&path, old, &now, new)?;
        if both != now {
            self.save_session(&both)?;
        }
        self.notice = words.or_else(|| self.notice.take());
        Ok(())
    }

    /// Writes a session, making its folder when it is new.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn save_session(&self, session: &Session) -> Result<(), Error> {
        self.may_be_written()?;
        let folder = self.session_folder(&session.id);
        files::make_folder(&folder)?;
        json::write(&folder.join("session.json"), session)
    }

    /// Sessions and the headers of their codings. One broken file hides nothing but itself.
    #[must_use]
    pub fn list(&self) -> Listing {
        let mut listing = Listing::default();
        // Told with the list, so that nobody works on it first and learns it after.
        listing.problems.extend(self.may_be_written().err());
        let Ok(entries) = std::fs::read_dir(self.root.join("sessions")) else { return listing };
        let mut folders: Vec<PathBuf> =
            entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| path.is_dir()).collect();
        folders.sort();
        let read = cores::each(&folders, |folder| read_session_folder(folder));
        for (folder, read) in folders.into_iter().zip(read) {
            match read {
                Ok((entry, problems)) => {
                    listing.sessions.push(entry);
                    listing.problems.extend(problems);
                }
                Err(error) => {
                    listing.problems.push(error);
                    listing.unreadable.push(folder);
                }
            }
        }
        listing.sessions.sort_by(|a, b| {
            (a.session.recorded_at, &a.session.id).cmp(&(b.session.recorded_at, &b.session.id))
        });
        listing
    }

    /// The ethogram a coding names, and whether it is the very one it was made under.
    ///
    /// # Errors
    /// When it is missing or can't be read.
    pub fn ethogram_of(&self, reference: &EthogramRef) -> Result<(Ethogram, Definitions), Error> {
        let ethogram = self.ethogram(&reference.id, reference.revision)?;
        // Of a newer version's file the digest can't be told: keys this version fills in are part of it.
        let is_same = ethogram.version > VERSION
            || reference.digest.is_empty()
            || ethogram.digest().is_ok_and(|digest| digest == reference.digest);
        Ok((ethogram, if is_same { Definitions::AsCoded } else { Definitions::ChangedSince }))
    }

    /// Reads a coding with everything needed to measure it, and holds it against them.
    ///
    /// # Errors
    /// When one of the files can't be read, or the coding makes no sense; with line and column.
    pub fn load_coding(&self, path: &Path) -> Result<LoadedCoding, Error> {
        let coding = coding_file::read(path)?;
        let beside = path.with_file_name("session.json");
        let session = if beside.is_file() {
            json::read(&beside, SESSION_FORMAT)?
        } else {
            // An earlier version, or one put aside.
            self.session(&coding.session)?
        };
        is_of(path, &coding, &session)?;
        let (ethogram, definitions) = self.ethogram_of(&coding.ethogram)?;
        let problems = validate::coding(&coding, &ethogram, &session);
        if let Some(worst) = problems.iter().find(|problem| problem.gravity == Gravity::Error) {
            return Err(place(path, worst));
        }
        Ok(LoadedCoding { path: path.to_owned(), coding, session, ethogram, definitions })
    }
}

/// What two windows made of one file, together. Where both changed the same the file as the other one wrote it, which
/// lies there now, is kept beside, and that is told in words.
fn put_together<T>(path: &Path, old: &T, now: &T, own: &T) -> Result<(T, Option<String>), Error>
where
    T: serde::Serialize + serde::de::DeserializeOwned,
{
    let both = together(old, now, own).map_err(|source| Error::Json { path: path.to_owned(), source })?;
    if both.clashes.is_empty() {
        return Ok((both.value, None));
    }
    let kept = free_side(path);
    json::write(&kept, now)?;
    let words = format!(
        "Another window changed the same meanwhile ({}): what you wrote counts now, what it wrote is kept in {}.",
        both.clashes.join("; "),
        kept.file_name().unwrap_or_default().to_string_lossy()
    );
    Ok((both.value, Some(words)))
}

/// `<name>.conflict-<n>.json` beside a file, with the next free number.
fn free_side(path: &Path) -> PathBuf {
    let mut number = 1_u32;
    loop {
        let free = path.with_extension(format!("{SIDE}{number}.json"));
        if !free.exists() {
            return free;
        }
        number += 1;
    }
}

/// What stands in the name of a file that another window wrote where two changed the same.
pub(super) const SIDE: &str = "conflict-";

/// Whether an ethogram is as it was when a coding was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Definitions {
    /// Unchanged.
    AsCoded,
    /// Someone changed a frozen revision.
    ChangedSince,
}

/// A coding with everything needed to measure it.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedCoding {
    /// Its file.
    pub path: PathBuf,
    /// The coding, with what its journal adds.
    pub coding: Coding,
    /// Its session.
    pub session: Session,
    /// Its ethogram.
    pub ethogram: Ethogram,
    /// Whether that is the ethogram it was made under.
    pub definitions: Definitions,
}

/// That a coding names the session in whose folder it lies: measured against another one it would tell of
/// the wrong animal and day.
pub(super) fn is_of(path: &Path, coding: &Coding, session: &Session) -> Result<(), Error> {
    if coding.session == session.id {
        return Ok(());
    }
    let what =
        format!("it names the session '{}' and lies in the folder of '{}'", coding.session, session.id);
    Err(Error::Content { path: path.to_owned(), line: 1, column: 1, what })
}

/// Turns a problem into an error with line and column.
#[must_use]
pub fn place(path: &Path, problem: &Problem) -> Error {
    let (line, column) = json::read_text(path).map_or((1, 1), |text| json::locate(&text, &problem.pointer));
    Error::Content { path: path.to_owned(), line, column, what: problem.to_string() }
}

/// Reads a session's folder: the session, its codings, and what could not be read.
///
/// # Errors
/// When the session itself can't be read.
pub fn read_session_folder(folder: &Path) -> Result<(SessionEntry, Vec<Error>), Error> {
    let session: Session = json::read(&folder.join("session.json"), SESSION_FORMAT)?;
    let (mut codings, mut problems) = (Vec::new(), copies(folder));
    if session.version > VERSION {
        let path = folder.join("session.json");
        problems.push(Error::Newer { path, found: session.version, known: VERSION });
    }
    for path in coding_files(folder) {
        match coding_file::read_head(&path) {
            Ok(head) => {
                if head.version > VERSION {
                    problems.push(Error::Newer { path: path.clone(), found: head.version, known: VERSION });
                }
                codings.push((path, head));
            }
            Err(error) => problems.push(error),
        }
    }
    Ok((SessionEntry { session, folder: folder.to_owned(), codings }, problems))
}

/// The coding files of a session's folder that count, by name: the one place that says which do. A copy that a
/// sync program left is not among them: its marks would count twice.
#[must_use]
pub fn coding_files(folder: &Path) -> Vec<PathBuf> {
    let mut files = files_in(folder, ".coding.json");
    files.retain(|path| conflict::original_of(path).is_none());
    files
}

/// The copies that sync programs left in a session's folder, each told as a problem.
#[must_use]
pub fn copies(folder: &Path) -> Vec<Error> {
    let told = |(path, original): (PathBuf, PathBuf)| {
        let original = original.file_name().unwrap_or_default().to_string_lossy().into_owned();
        Error::Copy { path, original }
    };
    conflict::copies_in(folder).into_iter().map(told).collect()
}

/// Files of a folder with this ending, by name; none when there is no folder.
fn files_in(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let named: BTreeMap<String, PathBuf> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            Some((entry.file_name().to_string_lossy().into_owned(), entry.path()))
        })
        .filter(|(name, path)| name.ends_with(ending) && !name.starts_with('.') && path.is_file())
        .collect();
    named.into_values().collect()
}
