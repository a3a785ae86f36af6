//! Sessions read on all cores, a few at a time, and handed on in their order: what is held does not
//! grow with the archive.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::Error;
use super::arguments::Choice;
use super::load::{self, takes_session};
use crate::model::Session;
use crate::storage::archive::{Archive, Occasion, Place};
use crate::storage::{StudyFolder, coding_file};

/// What is to be read.
#[derive(Debug, Default)]
pub(super) struct Plan {
    studies: Vec<Archive>,
    /// The sessions.
    pub(super) wanted: Vec<Wanted>,
    /// What could not be read so far, in words.
    pub(super) problems: Vec<String>,
}

/// A session that is wanted.
#[derive(Debug)]
pub(super) struct Wanted {
    study: usize,
    /// Where it lies.
    pub(super) place: Place,
    /// Which of its codings; none: all.
    files: Option<Vec<PathBuf>>,
}

/// Finds the sessions that the paths name and the choice takes, by date, then by id. `see` hears of each
/// session that is taken.
///
/// # Errors
/// When a path is neither a study, nor in one.
pub(super) fn plan(paths: &[PathBuf], choice: &Choice, see: &mut dyn FnMut(&Session)) -> Result<Plan, Error> {
    let mut plan = Plan::default();
    // A session named twice is taken once.
    let mut known: BTreeMap<PathBuf, usize> = BTreeMap::new();
    for path in paths {
        let study = plan.study_of(path)?;
        let path = std::path::absolute(path)?;
        let is_coding = path.is_file()
            && path.file_name().is_some_and(|name| name != "study.json" && name != "session.json");
        let folder = if path.is_file() {
            path.parent().map_or_else(PathBuf::new, Path::to_owned)
        } else {
            path.clone()
        };
        let mut found = Vec::new();
        if is_coding {
            match plan.session_folder_of(study, &path, &folder) {
                Ok(folder) => plan.one(&folder, choice, see, &mut found),
                Err(error) => plan.problems.push(error.to_string()),
            }
        } else if folder.join("session.json").is_file() {
            plan.one(&folder, choice, see, &mut found);
        } else if let Some(archive) = plan.studies.get(study) {
            let (places, problems) = archive.places(&mut |session| {
                let takes = takes_session(choice, session);
                if takes {
                    see(session);
                }
                takes
            });
            plan.problems.extend(problems.iter().map(ToString::to_string));
            // A folder inside the study takes only what lies in it.
            found.extend(places.into_iter().filter(|place| place.folder.starts_with(&folder)));
        }
        for place in found {
            let files = is_coding.then(|| vec![path.clone()]);
            if let Some(own) = known.get(&place.folder).and_then(|at| plan.wanted.get_mut(*at)) {
                own.files = both(own.files.take(), files);
            } else {
                let _ = known.insert(place.folder.clone(), plan.wanted.len());
                plan.wanted.push(Wanted { study, place, files });
            }
        }
    }
    plan.wanted.sort_by(|a, b| {
        let key = |own: &Wanted| (own.place.recorded_at, own.place.session.clone(), own.place.folder.clone());
        key(a).cmp(&key(b))
    });
    Ok(plan)
}

/// The codings of both; none stands for all.
fn both(a: Option<Vec<PathBuf>>, b: Option<Vec<PathBuf>>) -> Option<Vec<PathBuf>> {
    let (mut a, b) = (a?, b?);
    a.extend(b);
    a.sort();
    a.dedup();
    Some(a)
}

impl Plan {
    /// How each study is told from the others; nothing when there is only one.
    pub(super) fn names(&self) -> BTreeMap<PathBuf, String> {
        load::names(&self.studies.iter().map(Archive::folder).collect::<Vec<_>>())
    }

    fn study_of(&mut self, path: &Path) -> Result<usize, Error> {
        let root = load::study_of(path)?;
        if let Some(known) = self.studies.iter().position(|own| own.folder().root() == root) {
            return Ok(known);
        }
        self.studies.push(Archive::new(StudyFolder::open(&root)?));
        Ok(self.studies.len() - 1)
    }

    /// The folder of the session a coding is of: the one it lies in, or the one it names.
    fn session_folder_of(&self, study: usize, coding: &Path, folder: &Path) -> Result<PathBuf, Error> {
        if folder.join("session.json").is_file() {
            return Ok(folder.to_owned());
        }
        let head = coding_file::read_head(coding)?;
        let own = self.studies.get(study).map(|archive| archive.folder().session_folder(&head.session));
        Ok(own.unwrap_or_else(|| folder.to_owned()))
    }

    fn one(&mut self, folder: &Path, choice: &Choice, see: &mut dyn FnMut(&Session), found: &mut Vec<Place>) {
        match Archive::place(folder) {
            Ok((place, session)) if takes_session(choice, &session) => {
                see(&session);
                found.push(place);
            }
            Ok(_) => {}
            Err(error) => self.problems.push(error.to_string()),
        }
    }

    /// Reads every session, lets `work` work on it on one of the cores, and hands the results to `take` in
    /// the plan's order.
    ///
    /// # Errors
    /// What `take` could not do: the rest is then not read.
    pub(super) fn each<T: Send>(
        &self,
        work: &(dyn Fn(&StudyFolder, Result<Occasion, String>) -> T + Sync),
        take: &mut dyn FnMut(T) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get).min(8);
        let mut blocks = self.wanted.chunks(threads * EACH);
        let work_on = |own: &Wanted| {
            let archive = self.studies.get(own.study)?;
            let read = match &own.files {
                Some(files) => archive.read_some(&own.place, files),
                None => archive.read(&own.place),
            };
            Some(work(archive.folder(), read.map_err(|error| error.to_string())))
        };
        std::thread::scope(|scope| {
            let mut ready: Vec<T> = Vec::new();
            loop {
                // The next sessions are read while those before them are written.
                let block = blocks.next();
                let parts: Vec<_> = block
                    .map(|block| block.chunks(block.len().div_ceil(threads)))
                    .into_iter()
                    .flatten()
                    .map(|part| scope.spawn(|| part.iter().filter_map(work_on).collect::<Vec<T>>()))
                    .collect();
                for one in ready.drain(..) {
                    take(one)?;
                }
                if parts.is_empty() {
                    return Ok(());
                }
                for part in parts {
                    let done = part.join().map_err(|_| {
                        Error::Usage(
                            "the reading of a session broke off; run 'shedlight check' on the study"
                                .to_owned(),
                        )
                    })?;
                    ready.extend(done);
                }
            }
        })
    }
}

/// Sessions a core reads at a time.
const EACH: usize = 16;
