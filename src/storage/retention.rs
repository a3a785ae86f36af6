//! Film that is older than the house keeps it: listed, and deleted only by the word of a person who may
//! decide it. What was coded of it stays, and who had it deleted, when and why is written beside it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use chrono::{Months, NaiveDate};

use super::fingerprint::{self, ClipState};
use super::study_folder::{self, LoadedCoding};
use super::{Error as StorageError, StudyFolder, coding_file};
use crate::model::{Clip, ClipId, FilmDeleted, PersonCode, Purpose, Retention, Session, SessionId, Status};

/// What has to be typed before film is deleted.
pub const WORD: &str = "delete film";

/// Why film was not deleted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The study could not be read or written.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// The word was not typed.
    #[error("nothing was deleted: type the words '{WORD}' to have it deleted")]
    NotTheWord,
    /// A reason is missing.
    #[error("nothing was deleted: write why")]
    NoReason,
    /// This person may not decide it.
    #[error("nothing was deleted: {by} may not decide it; {who}")]
    NotTheirs {
        /// Who asked.
        by: String,
        /// Who may.
        who: String,
    },
    /// It is not older than the house keeps it, or still needed.
    #[error("nothing was deleted: {why}: {path}")]
    NotDue {
        /// The film.
        path: PathBuf,
        /// Why it stays.
        why: String,
    },
    /// The file could not be deleted; the study says nothing of it.
    #[error("could not delete ({source}); the study is as it was: {path}")]
    Delete {
        /// The film.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// How film of a session counts besides its age. There is no default: whoever asks has to look it up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Needs {
    /// Sessions with an incident, whose film is kept longer.
    pub incidents: BTreeSet<SessionId>,
    /// Sessions that wait for a second coder, who needs the film.
    pub waiting: BTreeSet<SessionId>,
    /// Sessions with a coding that can't be read: what they show is not known.
    pub unknown: BTreeSet<SessionId>,
}

/// The codings of a study, read one after another; of one that can't be read its session.
pub fn codings(folder: &StudyFolder) -> impl Iterator<Item = Result<LoadedCoding, SessionId>> + '_ {
    let sessions = std::fs::read_dir(folder.root().join("sessions")).into_iter().flatten();
    let files = sessions.flatten().flat_map(|session| study_folder::coding_files(&session.path()));
    files.map(|path| {
        let session = path.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy();
        folder.load_coding(&path).map_err(|_| session.as_ref().into())
    })
}

/// A film of the study.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Where it lies.
    pub path: PathBuf,
    /// Bytes.
    pub size: u64,
    /// The clips that show it: one film may be several sessions' clip.
    pub clips: Vec<(SessionId, ClipId)>,
    /// The last day it is kept, or why that is not known or it is kept on.
    pub until: Result<NaiveDate, String>,
}

impl Kept {
    /// Whether the house's period for it is over.
    #[must_use]
    pub fn is_over(&self, today: NaiveDate) -> bool {
        self.until.as_ref().is_ok_and(|until| *until < today)
    }

    /// Sessions it belongs to, as people read them.
    #[must_use]
    pub fn sessions(&self) -> String {
        let names: BTreeSet<&str> = self.clips.iter().map(|(session, _)| session.as_str()).collect();
        names.into_iter().collect::<Vec<_>>().join(", ")
    }
}

/// Who may decide, in words.
#[must_use]
pub fn deciders(retention: Option<&Retention>) -> String {
    let codes: Vec<&str> =
        retention.map(|own| own.deciders.iter().map(PersonCode::as_str).collect()).unwrap_or_default();
    if codes.is_empty() {
        "nobody is named who may: name them in the study's sheet".to_owned()
    } else {
        format!("who may: {}", codes.join(", "))
    }
}

/// The film that is here, what is over first, then by the day it is kept until.
#[must_use]
pub fn list(folder: &StudyFolder, needs: &Needs) -> Vec<Kept> {
    let mut films: BTreeMap<PathBuf, Kept> = BTreeMap::new();
    let listing = folder.list();
    let is_unknown = !listing.unreadable.is_empty();
    for entry in listing.sessions {
        let until = if is_unknown {
            Err("a session can't be read: which film it needs is not known".to_owned())
        } else {
            until(folder, &entry.session, closed(folder, &entry.folder), needs)
        };
        for clip in &entry.session.clips {
            let Some(path) = film_of(folder, clip) else { continue };
            let size = std::fs::metadata(&path).map_or(0, |about| about.len());
            let own = (entry.session.id.clone(), clip.id);
            let film = films.entry(path.clone()).or_insert_with(|| Kept {
                path,
                size,
                clips: Vec::new(),
                until: until.clone(),
            });
            film.clips.push(own);
            // Of several sessions the one that keeps it longest counts.
            film.until = match (film.until.clone(), until.clone()) {
                (Ok(a), Ok(b)) => Ok(a.max(b)),
                (Err(why), _) | (_, Err(why)) => Err(why),
            };
        }
    }
    let mut films: Vec<Kept> = films.into_values().collect();
    films.sort_by(|a, b| match (&a.until, &b.until) {
        (Ok(x), Ok(y)) => (x, &a.path).cmp(&(y, &b.path)),
        (x, y) => (x.is_err(), &a.path).cmp(&(y.is_err(), &b.path)),
    });
    films
}

/// The film of a clip, if it is here.
fn film_of(folder: &StudyFolder, clip: &Clip) -> Option<PathBuf> {
    match fingerprint::find(folder.root(), clip) {
        ClipState::There(path) | ClipState::Moved(path) => Some(path.canonicalize().unwrap_or(path)),
        ClipState::Changed(_) | ClipState::Missing(_) => None,
    }
}

/// The last day on which a primary coding of a session was closed; why its film is kept on when that is not
/// known or anybody is still at work on it. Read with the journals: a coding that was opened again says so
/// there first.
fn closed(folder: &StudyFolder, session: &Path) -> Result<NaiveDate, &'static str> {
    if !study_folder::copies(session).is_empty() {
        return Err("a copy of a coding of it is not merged: what it shows is not known");
    }
    let root = folder.root();
    let (mut closed, mut is_open) = (None, false);
    for path in study_folder::coding_files(session) {
        let is_it = |name: &String| root.join(name.replace('\\', "/")) == path;
        if folder.study.reference_codings.iter().any(is_it) {
            return Err("people learn with a coding of it, against which theirs are held");
        }
        let coding = coding_file::read(&path)
            .map_err(|_| "a coding of it can't be read: what it shows is not known")?;
        is_open |= coding.status == Status::Open && coding.purpose != Purpose::Trial;
        if coding.purpose == Purpose::Primary && coding.status == Status::Closed {
            let day = coding.closed.ok_or("the day its coding was closed is not known")?.date_naive();
            closed = closed.max(Some(day));
        }
    }
    match closed {
        None => Err("its coding is not closed yet"),
        Some(_) if is_open => Err("a coding of it is still open"),
        Some(day) => Ok(day),
    }
}

/// The last day a session's film is kept.
fn until(
    folder: &StudyFolder,
    session: &Session,
    closed: Result<NaiveDate, &'static str>,
    needs: &Needs,
) -> Result<NaiveDate, String> {
    let retention = folder.study.retention.clone().unwrap_or_default();
    let months = retention.months.ok_or("the house has set no period")?;
    if needs.unknown.contains(&session.id) {
        return Err("a coding of it can't be read: what it shows is not known".to_owned());
    }
    if needs.waiting.contains(&session.id) {
        return Err("a second coder still needs it".to_owned());
    }
    let months = match (needs.incidents.contains(&session.id), retention.incident_months) {
        (false, _) => months,
        (true, Some(longer)) => months.max(longer),
        (true, None) => {
            return Err("it shows an incident, and the house has set no period for those".to_owned());
        }
    };
    closed?.checked_add_months(Months::new(months)).ok_or_else(|| "no such day".to_owned())
}

/// What a person says who has film deleted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// Their code.
    pub by: PersonCode,
    /// Why.
    pub reason: String,
    /// [`WORD`], as they typed it.
    pub typed: String,
    /// The day.
    pub today: NaiveDate,
}

/// Deletes a film, and what was kept of its pictures to open it quicker. Who, when and why is written into
/// its sessions first, and taken out again when the file can't be deleted. The study is read anew, and what
/// its film is needed for asked of `needs`, while every coding of the film is held: what a screen showed may
/// be long ago, and nobody may begin to look at the film meanwhile.
///
/// # Errors
/// When the person may not, the word or the reason is missing, the film is still to be kept, a coding of it
/// is open anywhere, or something can't be written or deleted.
pub fn delete(
    folder: &StudyFolder,
    film: &Path,
    needs: &dyn Fn(&StudyFolder) -> Needs,
    word: &Word,
) -> Result<Kept, Error> {
    if word.typed.trim() != WORD {
        return Err(Error::NotTheWord);
    }
    if word.reason.trim().is_empty() {
        return Err(Error::NoReason);
    }
    let folder = &StudyFolder::open(folder.root())?;
    let retention = folder.study.retention.as_ref();
    if !retention.is_some_and(|own| own.deciders.contains(&word.by)) {
        return Err(Error::NotTheirs { by: word.by.to_string(), who: deciders(retention) });
    }
    let not_due = |why: String| Error::NotDue { path: film.to_owned(), why };
    let wanted = film.canonicalize().unwrap_or_else(|_| film.to_owned());
    let mut held = Vec::new();
    for entry in folder.list().sessions {
        if entry.session.clips.iter().any(|clip| film_of(folder, clip).as_ref() == Some(&wanted)) {
            for coding in study_folder::coding_files(&entry.folder) {
                held.push(coding_file::lock(&coding)?.0);
            }
        }
    }
    let found = list(folder, &needs(folder)).into_iter().find(|own| own.path == wanted);
    let found = found.ok_or_else(|| not_due("it is no film of this study".to_owned()))?;
    match &found.until {
        Ok(until) if *until < word.today => {}
        Ok(until) => return Err(not_due(format!("the house keeps it until {until}"))),
        Err(why) => return Err(not_due(why.clone())),
    }
    let before: Vec<Session> = found
        .clips
        .iter()
        .map(|(session, _)| session)
        .collect::<BTreeSet<_>>()
        .into_iter()
        .map(|id| folder.session(id))
        .collect::<Result<_, _>>()?;
    let kept_of_it: Vec<PathBuf> = before
        .iter()
        .flat_map(|session| session.clips.iter().map(move |clip| (&session.id, clip)))
        .filter(|(session, clip)| found.clips.iter().any(|(own, id)| own == *session && *id == clip.id))
        .filter_map(|(_, clip)| fingerprint::index_file(clip.fingerprint.as_ref()?))
        .collect();
    let written = write_down(folder, &before, &found, word).map_err(Error::from).and_then(|()| {
        std::fs::remove_file(&found.path).map_err(|source| Error::Delete { path: found.path.clone(), source })
    });
    if let Err(error) = written {
        for session in &before {
            // As it was, as far as it can be written at all; `check` tells what could not.
            let _ = folder.save_session(session);
        }
        return Err(error);
    }
    for index in kept_of_it {
        // They hold a picture of it; none may be there.
        let _ = std::fs::remove_file(index.with_extension("png"));
        let _ = std::fs::remove_file(index);
    }
    drop(held);
    Ok(found)
}

fn write_down(
    folder: &StudyFolder,
    before: &[Session],
    film: &Kept,
    word: &Word,
) -> Result<(), StorageError> {
    for session in before {
        let mut session = session.clone();
        let own = session.id.clone();
        for clip in &mut session.clips {
            if film.clips.contains(&(own.clone(), clip.id)) {
                clip.deleted = Some(FilmDeleted {
                    on: word.today,
                    by: word.by.clone(),
                    reason: word.reason.trim().to_owned(),
                    extra: crate::model::Extra::new(),
                });
            }
        }
        folder.save_session(&session)?;
    }
    Ok(())
}
