//! The invented demo study: one script yields its film and its true record.
//!
//! Every name, place and number is invented. The script ([`script`]) says for each session when a
//! cue is shown, how the animal turns, when it is out of sight and how much time it spends in
//! which state; [`record`] makes the codings of it, and `drawing` the film.

#[cfg(feature = "media")]
pub mod drawing;
pub mod moments;
pub mod record;
pub mod script;
pub mod study;

use std::path::{Path, PathBuf};

use crate::storage::{Error, StudyFolder, coding_file};

/// Title by which a demo study is known again.
pub const TITLE: &str = "Varnley Hollow Reptile Refuge: target and box training (demo)";

/// Writes the study without its film.
///
/// # Errors
/// When the folder is not empty or can't be written.
pub fn write(root: &Path) -> Result<StudyFolder, Error> {
    let folder = StudyFolder::create(root, study::study())?;
    for ethogram in [study::ethogram(), study::second_revision()] {
        folder.save_ethogram(&ethogram)?;
    }
    for session in script::SESSIONS {
        folder.save_session(&study::session(session))?;
    }
    for coding in record::codings().map_err(|source| Error::Json { path: root.to_owned(), source })? {
        let _ = coding_file::create(&folder.session_folder(&coding.session), &coding)?;
    }
    Ok(folder)
}

/// What a folder for the demo turned out to be.
#[derive(Debug)]
pub enum Begun {
    /// It was empty or missing: the demo was written there.
    Written(StudyFolder),
    /// The demo was there already.
    There(StudyFolder),
    /// It holds another study, which is left alone.
    Another,
}

/// Writes the study without its film, unless it is there already.
///
/// # Errors
/// When the folder can't be read or written.
pub fn begin(root: &Path) -> Result<Begun, Error> {
    if !root.join("study.json").is_file() {
        return write(root).map(Begun::Written);
    }
    let study = StudyFolder::open(root)?;
    Ok(if is_demo(&study) { Begun::There(study) } else { Begun::Another })
}

/// Where the demo is written when nobody says where: among a person's documents.
#[must_use]
pub fn default_folder() -> Option<PathBuf> {
    let folders = directories::UserDirs::new()?;
    Some(folders.document_dir().unwrap_or_else(|| folders.home_dir()).join("shedlight-demo"))
}

/// Whether a folder holds the demo.
#[must_use]
pub fn is_demo(folder: &StudyFolder) -> bool {
    folder.study.title == TITLE
}
