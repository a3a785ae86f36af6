//! `shedlight restore` and `shedlight merge`: earlier states of a coding, and copies beside it.

use std::io::Write;
use std::path::Path;

use super::arguments::{Merge, Prefer, Restore};
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::model::validate::{self, Gravity};
use crate::model::{CODING_FORMAT, Coding, Mark};
use crate::storage::conflict::{self, Choice};
use crate::storage::study_folder::study_above;
use crate::storage::{StudyFolder, coding_file, json, versions};

pub(super) fn restore(asked: &Restore, out: &mut dyn Write) -> CommandResult {
    if let Some(number) = asked.number {
        let kept = versions::restore(&asked.coding, number)?;
        writeln!(out, "version {number} is back; what was there is kept as version {kept}")?;
        return Ok(FINE);
    }
    let (now, all) = versions::states(&asked.coding)?;
    if all.is_empty() {
        writeln!(out, "no earlier versions: {}", asked.coding.display())?;
        return Ok(FINE);
    }
    writeln!(out, "   now  by {}  {} marks", now.by, now.marks.len())?;
    for state in all.iter().rev() {
        let (number, when) = (state.version.number, state.version.when());
        match &state.told {
            Ok((marks, change)) => {
                writeln!(out, "{number:>4}  kept {when}  {marks} marks; put back: {}", change.words())?;
            }
            Err(error) => writeln!(out, "{number:>4}  kept {when}  {error}")?,
        }
    }
    Ok(FINE)
}

fn words(mark: Option<&Mark>) -> String {
    mark.map_or_else(
        || "removed".to_owned(),
        |mark| {
            // A mark that was read can be written; its line is as in the file.
            serde_json::to_string(mark).unwrap_or_else(|_| mark.behaviour.to_string())
        },
    )
}

pub(super) fn merge(asked: &Merge, out: &mut dyn Write) -> CommandResult {
    let this = coding_file::read(&asked.coding)?;
    let other = coding_file::read(&asked.copy)?;
    let of = |coding: &Coding| (coding.session.clone(), coding.by.clone(), coding.ethogram.id.clone());
    if of(&this) == of(&other) && this.ethogram.revision != other.ethogram.revision {
        return Err(Error::Usage(format!(
            "the coding speaks of revision {} of the ethogram, the copy of revision {}: move the older one on first, with Shift+F2 while it is open in Coding",
            this.ethogram.revision, other.ethogram.revision
        )));
    }
    if (&this.session, &this.by, &this.ethogram) != (&other.session, &other.by, &other.ethogram) {
        return Err(Error::Usage(
            "the two are not states of one coding: session, person and ethogram must be the same".to_owned(),
        ));
    }
    let base = asked.base.map(|number| version(&asked.coding, number)).transpose()?;
    let choice = match asked.prefer {
        None | Some(Prefer::This) => Choice::This,
        Some(Prefer::Other) => Choice::Other,
        Some(Prefer::Both) => Choice::Both,
    };
    let merged = conflict::merge(base.as_ref(), &this, &other, choice);
    for clash in &merged.clashes {
        writeln!(out, "mark {} differs", clash.id.0)?;
        writeln!(out, "  this:  {}", words(clash.this.as_ref()))?;
        writeln!(out, "  other: {}", words(clash.other.as_ref()))?;
    }
    for remark in &merged.remarks {
        writeln!(out, "note: {remark}")?;
    }
    if !merged.clashes.is_empty() && asked.prefer.is_none() {
        writeln!(out, "nothing was written: choose with --prefer this, other or both")?;
        return Ok(FINDINGS);
    }
    let study = study_above(&asked.coding)
        .ok_or_else(|| Error::Usage("the coding lies in no study's folder".to_owned()))?;
    let study = StudyFolder::open(&study)?;
    let session = study.session(&this.session)?;
    let (ethogram, _) = study.ethogram_of(&this.ethogram)?;
    let problems = validate::coding(&merged.coding, &ethogram, &session);
    let errors: Vec<_> = problems.iter().filter(|problem| problem.gravity == Gravity::Error).collect();
    if !errors.is_empty() {
        for problem in &errors {
            writeln!(out, "error: {problem}")?;
        }
        writeln!(
            out,
            "nothing was written: together the two make no sense; choose otherwise, or correct one of them first"
        )?;
        return Ok(FINDINGS);
    }
    let number = versions::replace(&asked.coding, merged.coding)?;
    let aside = put_aside(&asked.coding, &asked.copy, number)?;
    writeln!(
        out,
        "{} marks taken over, {} settled by choice; what was there is version {number}, the copy is now {}",
        merged.taken,
        merged.clashes.len(),
        aside.display()
    )?;
    Ok(FINE)
}

fn version(coding: &Path, number: u32) -> Result<Coding, Error> {
    let found = versions::list(coding).into_iter().find(|version| version.number == number);
    let found = found.ok_or_else(|| Error::Usage(format!("there is no version {number} of this coding")))?;
    Ok(json::read(&found.path, CODING_FORMAT)?)
}

/// Out of the way, so that it is not found again as a copy; nothing is deleted.
fn put_aside(coding: &Path, copy: &Path, number: u32) -> Result<std::path::PathBuf, Error> {
    let to = versions::free_path(coding, number, "copy.json");
    crate::files::rename(copy, &to)?;
    let journal = coding_file::journal_path(copy);
    if journal.is_file() {
        crate::files::rename(&journal, &to.with_extension("journal"))?;
    }
    Ok(to)
}
