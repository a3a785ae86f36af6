//! `shedlight accept`: a person says that a changed file shows what the clip showed.

use std::io::Write;

use super::arguments::Accept;
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::storage::fingerprint::{self, ClipState};
use crate::storage::study_folder::{self, study_above};
use crate::storage::{StudyFolder, coding_file};

pub(super) fn run(asked: &Accept, out: &mut dyn Write) -> CommandResult {
    let usage = |what: String| Err(Error::Usage(what));
    let Some(root) = study_above(&asked.session) else {
        return usage(format!("this lies in no study: {}", asked.session.display()));
    };
    let study = StudyFolder::open(&root)?;
    let read = || Ok::<_, Error>(study_folder::read_session_folder(&asked.session)?.0.session);
    let Some(wanted) = &asked.clip else {
        let mut changed = 0;
        for clip in &read()?.clips {
            if let ClipState::Changed(at) = fingerprint::find(&root, clip) {
                changed += 1;
                writeln!(out, "changed since it was added: {}", clip.path)?;
                writeln!(
                    out,
                    "  look at it, then: shedlight accept SESSION --clip '{}' --by CODE --because WORDS: {}",
                    clip.path,
                    at.display()
                )?;
            }
        }
        if changed == 0 {
            writeln!(out, "no clip was changed")?;
        }
        return Ok(if changed == 0 { FINE } else { FINDINGS });
    };
    let (by, because) = (asked.by.clone().unwrap_or_default(), asked.because.clone().unwrap_or_default());
    if study.study.person(&by.as_str().into()).is_none() {
        return usage(format!("the study lists nobody with the code '{by}'"));
    }
    if because.trim().is_empty() {
        return usage(
            "say why the file may be taken: --because \"the same film, re-encoded smaller\"".to_owned(),
        );
    }
    // Whoever has a coding of it open looks at its clips and may write its session: none until this is
    // written, and what was written before is read.
    let codings = study_folder::coding_files(&asked.session);
    let _held: Vec<_> = codings.iter().map(|coding| coding_file::lock(coding)).collect::<Result<_, _>>()?;
    let mut session = read()?;
    let Some(clip) = session.clips.iter_mut().find(|clip| clip.path == *wanted) else {
        return usage(format!("the session has no clip '{wanted}'"));
    };
    match fingerprint::find(&root, clip) {
        ClipState::Changed(at) => {
            fingerprint::accept(clip, &at, by.as_str().into(), because.trim().to_owned())?;
            study.save_session(&session)?;
            writeln!(out, "taken as it is now, by {by}: {wanted}")?;
            writeln!(out, "open it once in the window, so that its length is measured")?;
            writeln!(
                out,
                "go through some marks in the picture: they lie where they lay in time, and the pictures may be others"
            )?;
            Ok(FINE)
        }
        ClipState::There(_) | ClipState::Moved(_) => {
            usage(format!("the clip is unchanged, there is nothing to accept: {wanted}"))
        }
        ClipState::Missing(at) => {
            usage(format!("the clip is missing; put a file there first: {}", at.display()))
        }
    }
}
