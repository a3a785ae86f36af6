//! A study read one session after another, so that an archive of any size fits.
//!
//! [`Archive::places`] looks at each `session.json` once and keeps only what orders them;
//! [`Archive::read`] then reads one session with its codings. Ethograms are read once. Reading
//! takes `&self`, so that several threads can each have a session.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, Datelike as _, FixedOffset};

use super::study_folder::{self, Definitions};
use super::{Error, StudyFolder, coding_file, cores, json};
use crate::model::validate::{self, Gravity};
use crate::model::{
    AnimalId, Coding, Ethogram, EthogramId, EthogramRef, SESSION_FORMAT, Session, SessionId, VERSION,
};
use crate::time::Micros;

/// A study, to be read piece by piece.
#[derive(Debug)]
pub struct Archive {
    folder: StudyFolder,
    known: Mutex<BTreeMap<(EthogramId, u32), Known>>,
}

/// An ethogram and its digest, made once.
#[derive(Debug, Clone)]
struct Known {
    ethogram: Arc<Ethogram>,
    digest: Option<String>,
}

/// Where a session lies, and what orders it among others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Its folder.
    pub folder: PathBuf,
    /// Its id.
    pub session: SessionId,
    /// The focal animal.
    pub animal: AnimalId,
    /// Its start as its source shows it.
    pub recorded_at: Option<DateTime<FixedOffset>>,
    /// The year of its true start, in its own zone.
    pub year: Option<i32>,
}

/// A session and its codings.
#[derive(Debug)]
pub struct Occasion {
    /// The session.
    pub session: Session,
    /// Its codings that can be read, by file name.
    pub codings: Vec<CodingRead>,
    /// What could not be read, in words; the rest is usable.
    pub problems: Vec<String>,
}

/// A coding with its definitions.
#[derive(Debug)]
pub struct CodingRead {
    /// Its file.
    pub path: PathBuf,
    /// The coding, with what its journal adds.
    pub coding: Coding,
    /// Its ethogram.
    pub ethogram: Arc<Ethogram>,
}

/// Sessions whose small files are held at once while places are found.
const BLOCK: usize = 1_000;

impl Archive {
    /// Over an opened study.
    #[must_use]
    pub fn new(folder: StudyFolder) -> Self {
        Self { folder, known: Mutex::default() }
    }

    /// The study's folder.
    #[must_use]
    pub fn folder(&self) -> &StudyFolder {
        &self.folder
    }

    /// Where each session lies that `takes` takes, by date, then by id; and what could not be read.
    pub fn places(&self, takes: &mut dyn FnMut(&Session) -> bool) -> (Vec<Place>, Vec<Error>) {
        let (mut places, mut problems) = (Vec::new(), Vec::new());
        let Ok(entries) = std::fs::read_dir(self.folder.root().join("sessions")) else {
            return (places, problems);
        };
        let mut folders: Vec<PathBuf> =
            entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| path.is_dir()).collect();
        folders.sort();
        for block in folders.chunks(BLOCK) {
            let read = cores::each(block, |folder| -> Result<Session, Error> {
                json::read(&folder.join("session.json"), SESSION_FORMAT)
            });
            for (folder, read) in block.iter().zip(read) {
                match read {
                    Ok(session) if takes(&session) => places.push(Place::of(folder.clone(), &session)),
                    Ok(_) => {}
                    Err(error) => problems.push(error),
                }
            }
        }
        places.sort_by(|a, b| (a.recorded_at, &a.session).cmp(&(b.recorded_at, &b.session)));
        (places, problems)
    }

    /// Where one session's folder lies, as a place.
    ///
    /// # Errors
    /// When its `session.json` can't be read.
    pub fn place(folder: &Path) -> Result<(Place, Session), Error> {
        let session: Session = json::read(&folder.join("session.json"), SESSION_FORMAT)?;
        Ok((Place::of(folder.to_owned(), &session), session))
    }

    /// Reads a session with its codings. One broken coding hides nothing but itself.
    ///
    /// # Errors
    /// When the session itself can't be read.
    pub fn read(&self, place: &Place) -> Result<Occasion, Error> {
        let mut occasion = self.read_some(place, &study_folder::coding_files(&place.folder))?;
        occasion.problems.extend(study_folder::copies(&place.folder).iter().map(ToString::to_string));
        Ok(occasion)
    }

    /// Reads a session with these of its codings.
    ///
    /// # Errors
    /// When the session itself can't be read.
    pub fn read_some(&self, place: &Place, files: &[PathBuf]) -> Result<Occasion, Error> {
        let session: Session = json::read(&place.folder.join("session.json"), SESSION_FORMAT)?;
        let (mut codings, mut problems) = (Vec::new(), Vec::new());
        for path in files {
            match self.coding(path, &session) {
                Ok((read, definitions)) => {
                    // In memory first: the files are looked at again only when one of them is newer.
                    let versions = [
                        read.coding.version,
                        session.version,
                        read.ethogram.version,
                        self.folder().study.version,
                    ];
                    if versions.iter().any(|version| *version > VERSION) {
                        let newer = coding_file::newer(path, Some(&read.coding.ethogram));
                        problems.extend(newer.map(|newer| newer.to_string()));
                    }
                    if definitions == Definitions::ChangedSince {
                        problems.push(format!(
                            "the ethogram {} revision {} was changed after this coding was made; make a new revision instead: {}",
                            read.coding.ethogram.id, read.coding.ethogram.revision, path.display()
                        ));
                    }
                    codings.push(read);
                }
                Err(error) => problems.push(error.to_string()),
            }
        }
        Ok(Occasion { session, codings, problems })
    }

    fn coding(&self, path: &Path, session: &Session) -> Result<(CodingRead, Definitions), Error> {
        let coding = coding_file::read(path)?;
        let known = self.ethogram(&coding.ethogram)?;
        let wanted = &coding.ethogram.digest;
        let is_same =
            known.ethogram.version > VERSION || wanted.is_empty() || known.digest.as_ref() == Some(wanted);
        study_folder::is_of(path, &coding, session)?;
        let problems = validate::coding(&coding, &known.ethogram, session);
        if let Some(worst) = problems.iter().find(|problem| problem.gravity == Gravity::Error) {
            return Err(study_folder::place(path, worst));
        }
        let definitions = if is_same { Definitions::AsCoded } else { Definitions::ChangedSince };
        Ok((CodingRead { path: path.to_owned(), coding, ethogram: known.ethogram }, definitions))
    }

    fn ethogram(&self, wanted: &EthogramRef) -> Result<Known, Error> {
        let key = (wanted.id.clone(), wanted.revision);
        if let Some(known) = self.known.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Ok(known.clone());
        }
        let ethogram = self.folder.ethogram(&wanted.id, wanted.revision)?;
        let digest = ethogram.digest().ok();
        let known = Known { ethogram: Arc::new(ethogram), digest };
        let mut all = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(all.entry(key).or_insert(known).clone())
    }
}

impl Place {
    fn of(folder: PathBuf, session: &Session) -> Self {
        Self {
            folder,
            session: session.id.clone(),
            animal: session.animal.clone(),
            recorded_at: session.recorded_at,
            year: year_of(session),
        }
    }
}

/// The year of a session's true start, in its own zone.
#[must_use]
pub fn year_of(session: &Session) -> Option<i32> {
    session.wall_clock(Micros::ZERO).map(|start| start.year())
}
