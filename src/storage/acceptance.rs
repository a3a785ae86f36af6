//! A person says that a changed file shows what a clip showed: it is taken as it is from then on.

use std::path::{Path, PathBuf};

use super::fingerprint::{self, ClipState};
use super::study_folder::{self, StudyFolder};
use super::{Error, coding_file};
use crate::model::Session;

/// Why it was not taken; nothing was changed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Refused {
    /// Who says so is not known.
    #[error("the study lists nobody with the code '{0}'")]
    Nobody(String),
    /// No reason was given.
    #[error("say why the file may be taken, such as: the same film, re-encoded smaller")]
    NoReason,
    /// No such clip.
    #[error("the session has no clip '{0}'")]
    NoClip(String),
    /// It is as it was.
    #[error("the clip is unchanged, there is nothing to accept: {0}")]
    Unchanged(String),
    /// There is no file.
    #[error("the clip is missing; put a file there first: {0}")]
    Missing(PathBuf),
    /// Something could not be read or written, or is open.
    #[error(transparent)]
    Storage(#[from] Error),
}

/// Clips whose files were changed since they were added, by their paths, and where the files are.
#[must_use]
pub fn waiting(root: &Path, session: &Session) -> Vec<(String, PathBuf)> {
    let changed = |clip: &crate::model::Clip| match fingerprint::find(root, clip) {
        ClipState::Changed(at) => Some((clip.path.clone(), at)),
        ClipState::There(_) | ClipState::Moved(_) | ClipState::Missing(_) => None,
    };
    session.clips.iter().filter(|clip| clip.deleted.is_none()).filter_map(changed).collect()
}

/// Takes the file of a clip as it is now, by the word of a person.
///
/// # Errors
/// When it is not to be, or can't be.
pub fn accept(
    study: &StudyFolder,
    folder: &Path,
    clip: &str,
    by: &str,
    because: &str,
) -> Result<(), Refused> {
    if study.study.person(&by.into()).is_none() {
        return Err(Refused::Nobody(by.to_owned()));
    }
    if because.trim().is_empty() {
        return Err(Refused::NoReason);
    }
    // Whoever has a coding of it open looks at its clips and may write its session: none until this is
    // written, and what was written before is read.
    let codings = study_folder::coding_files(folder);
    let _held = codings.iter().map(|coding| coding_file::lock(coding)).collect::<Result<Vec<_>, Error>>()?;
    let mut session = study_folder::read_session_folder(folder)?.0.session;
    let Some(own) = session.clips.iter_mut().find(|own| own.path == clip) else {
        return Err(Refused::NoClip(clip.to_owned()));
    };
    match fingerprint::find(study.root(), own) {
        ClipState::Changed(at) => fingerprint::accept(own, &at, by.into(), because.trim().to_owned())?,
        ClipState::There(_) | ClipState::Moved(_) => return Err(Refused::Unchanged(clip.to_owned())),
        ClipState::Missing(at) => return Err(Refused::Missing(at)),
    }
    Ok(study.save_session(&session)?)
}
