//! `shedlight accept`: a person says that a changed file shows what the clip showed.

use std::io::Write;

use super::arguments::Accept;
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::storage::StudyFolder;
use crate::storage::acceptance::{self, Refused};
use crate::storage::study_folder::{self, study_above};

pub(super) fn run(asked: &Accept, out: &mut dyn Write) -> CommandResult {
    let Some(root) = study_above(&asked.session) else {
        return Err(Error::Usage(format!("this lies in no study: {}", asked.session.display())));
    };
    let study = StudyFolder::open(&root)?;
    let Some(wanted) = &asked.clip else {
        let session = study_folder::read_session_folder(&asked.session)?.0.session;
        let waiting = acceptance::waiting(&root, &session);
        for (clip, at) in &waiting {
            writeln!(out, "changed since it was added: {clip}")?;
            writeln!(
                out,
                "  look at it, then: shedlight accept SESSION --clip '{clip}' --by CODE --because WORDS: {}",
                at.display()
            )?;
        }
        if waiting.is_empty() {
            writeln!(out, "no clip was changed")?;
        }
        return Ok(if waiting.is_empty() { FINE } else { FINDINGS });
    };
    let (by, because) = (asked.by.clone().unwrap_or_default(), asked.because.clone().unwrap_or_default());
    acceptance::accept(&study, &asked.session, wanted, &by, &because).map_err(|refused| match refused {
        Refused::Storage(error) => error.into(),
        refused => Error::Usage(refused.to_string()),
    })?;
    writeln!(out, "taken as it is now, by {by}: {wanted}")?;
    writeln!(out, "open it once in the window, so that its length is measured")?;
    writeln!(
        out,
        "go through some marks in the picture: they lie where they lay in time, and the pictures may be others"
    )?;
    Ok(FINE)
}
