//! `shedlight check`: every file of a study, readable and consistent; its clips, found and unchanged.

use std::fmt::Write as _;
use std::io::Write;
use std::path::Path;

use serde::Serialize;

use super::arguments::Check;
use super::{CommandResult, FINDINGS, FINE};
use crate::measures::{Marks, Record, slips};
use crate::model::validate::{self, Gravity, Problem};
use crate::model::{CODING_FORMAT, Coding, Session};
use crate::storage::fingerprint::{self, ClipState};
use crate::storage::leftovers::{self, Leftover};
use crate::storage::repair::{self, Repair};
use crate::storage::study_folder::Definitions;
use crate::storage::{StudyFolder, coding_file, journal, json, versions};

/// Something found.
#[derive(Debug, Serialize)]
struct Finding {
    /// `error`, `remark`, or `slip`: something a coder may have missed, and may have meant.
    gravity: &'static str,
    path: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    column: Option<usize>,
    what: String,
}

struct Findings(Vec<Finding>);

impl Findings {
    fn add(&mut self, gravity: &'static str, path: &Path, what: String) {
        self.0.push(Finding { gravity, path: path.display().to_string(), line: None, column: None, what });
    }

    fn leftover(&mut self, left: &Leftover) {
        match left {
            Leftover::Part(path) => {
                let what = "a write that never finished: it may be deleted when no window is open";
                self.add("remark", path, what.to_owned());
            }
            Leftover::Orphan(path) => {
                let what = "a journal without its coding: put the coding file back beside it";
                self.add("error", path, what.to_owned());
            }
            Leftover::Damaged(path) => {
                let what =
                    "a damaged journal that was put aside: keep it until its coding has been looked through";
                self.add("remark", path, what.to_owned());
            }
            Leftover::Side(path) => {
                let what = "what another window wrote where two changed the same: take over what is missing, then delete it";
                self.add("remark", path, what.to_owned());
            }
            Leftover::Unread(path) => {
                let what =
                    "nothing reads this file: a copy that a sync program left, or it lies in the wrong place";
                self.add("remark", path, what.to_owned());
            }
        }
    }

    fn problems(&mut self, path: &Path, problems: &[Problem]) {
        if problems.is_empty() {
            return;
        }
        let text = json::read_text(path).unwrap_or_default();
        for problem in problems {
            let (line, column) = json::locate(&text, &problem.pointer);
            self.0.push(Finding {
                gravity: if problem.gravity == Gravity::Error { "error" } else { "remark" },
                path: path.display().to_string(),
                line: Some(line),
                column: Some(column),
                what: problem.to_string(),
            });
        }
    }
}

pub(super) fn run(asked: &Check, out: &mut dyn Write) -> CommandResult {
    let study = StudyFolder::open(&asked.study)?;
    let repairs = if asked.repair { repair_all(&study) } else { Vec::new() };
    let mut found = Findings(Vec::new());
    let mut files = 1;
    found.problems(&study.root().join("study.json"), &validate::study(&study.study));
    for left in &leftovers::of_study(study.root()) {
        found.leftover(left);
    }
    let (ethograms, errors) = study.ethograms();
    files += ethograms.len() + errors.len();
    for ethogram in &ethograms {
        let path = study.ethogram_path(&ethogram.id, ethogram.revision);
        if !path.exists() {
            found.add(
                "error",
                &path,
                "an ethogram's file is not named <id>.<revision>.json: rename it".to_owned(),
            );
        }
        found.problems(&path, &validate::ethogram(ethogram));
    }
    let listing = study.list();
    for error in errors.iter().chain(&listing.problems) {
        files += 1;
        // The message names its own place.
        found.add("error", study.root(), error.to_string());
    }
    for entry in &listing.sessions {
        files += 1;
        let path = entry.folder.join("session.json");
        found.problems(&path, &validate::session(&entry.session, &study.study));
        check_clips(&study, &entry.session, &path, &mut found);
        for left in leftovers::of_session(&entry.folder) {
            found.leftover(&left);
        }
        for (path, _) in &entry.codings {
            files += 1;
            if let Some(holder) = coding_file::holder(path) {
                found.add("remark", path, format!("it is open, or was not closed: {holder}"));
            }
            for version in versions::list(path) {
                files += 1;
                if let Err(error) = json::read::<Coding>(&version.path, CODING_FORMAT) {
                    found.add("remark", &version.path, format!("an earlier version can't be read: {error}"));
                }
            }
            check_coding(&study, path, &mut found);
        }
    }
    let errors = found.0.iter().filter(|finding| finding.gravity == "error").count();
    if asked.json {
        let text = serde_json::json!({
            "study": asked.study.display().to_string(), "files": files, "errors": errors, "findings": found.0,
            "repairs": repairs,
        });
        serde_json::to_writer_pretty(&mut *out, &text)?;
        writeln!(out)?;
    } else {
        for repair in &repairs {
            let word = if repair.is_done { "repaired" } else { "not repaired" };
            writeln!(out, "{word}: {}: {}", repair.what, repair.path.display())?;
        }
        if asked.repair && repairs.is_empty() {
            writeln!(out, "nothing to repair")?;
        }
        for finding in &found.0 {
            let place = match (finding.line, finding.column) {
                (Some(line), Some(column)) => format!("{}:{line}:{column}", finding.path),
                _ => finding.path.clone(),
            };
            writeln!(out, "{}: {}: {place}", finding.gravity, finding.what)?;
        }
        let slips = found.0.iter().filter(|finding| finding.gravity == "slip").count();
        let mut verdict = if found.0.len() == slips {
            "nothing to complain of".to_owned()
        } else {
            format!("{errors} errors, {} remarks", found.0.len() - errors - slips)
        };
        if slips > 0 {
            // Writing into a String can't fail.
            let _ = write!(verdict, "; {slips} places that may be slips of coding");
        }
        writeln!(out, "{files} files looked at: {verdict}")?;
    }
    // A slip may be as it should be: it alone is no finding.
    let is_fine = repairs.iter().all(|repair| repair.is_done)
        && found.0.iter().all(|finding| finding.gravity == "slip");
    Ok(if is_fine { FINE } else { FINDINGS })
}

/// Every session's folder, readable or not.
fn repair_all(study: &StudyFolder) -> Vec<Repair> {
    let Ok(entries) = std::fs::read_dir(study.root().join("sessions")) else { return Vec::new() };
    let mut folders: Vec<_> =
        entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| path.is_dir()).collect();
    folders.sort();
    folders.iter().flat_map(|folder| repair::session_folder(folder)).collect()
}

fn check_clips(study: &StudyFolder, session: &Session, path: &Path, found: &mut Findings) {
    for clip in &session.clips {
        let state = fingerprint::find(study.root(), clip);
        if let Some(deleted) = &clip.deleted {
            if let ClipState::There(at) | ClipState::Moved(at) = &state {
                let what = format!(
                    "the film of '{}' counts as deleted since {} and is still here: delete it too, or take that out of the session",
                    clip.path, deleted.on
                );
                found.add("error", at, what);
            }
            continue;
        }
        match state {
            ClipState::There(_) => {}
            ClipState::Moved(to) => {
                found.add("remark", path, format!("clip '{}' was moved; it is now {}", clip.path, to.display()));
            }
            ClipState::Changed(at) => found.add(
                "error",
                &at,
                "the clip was changed or replaced since it was added: put the original back, or look at it and say 'shedlight accept'; its marks may lie on other pictures".to_owned(),
            ),
            ClipState::Missing(at) => found.add(
                "error",
                &at,
                "the clip is missing: put it back, or open the session and name where it is now".to_owned(),
            ),
        }
    }
}

fn check_coding(study: &StudyFolder, path: &Path, found: &mut Findings) {
    let coding = match coding_file::read(path) {
        Ok(coding) => coding,
        Err(error) => return found.add("error", path, error.to_string()),
    };
    let journal_path = coding_file::journal_path(path);
    // Read as the coding file stands; what the journal adds has been applied to `coding` already.
    let contained = coding_file::read_head(path).map_or(coding.last_seq, |head| head.last_seq);
    if let Ok(replay) = journal::read(&journal_path, contained) {
        let pending = replay.records.iter().filter(|record| record.seq > contained).count();
        if pending > 0 {
            let what = format!(
                "{pending} edits are in the journal and not yet in the coding file: open the coding once and close it"
            );
            found.add("remark", &journal_path, what);
        }
        for remark in replay.remarks {
            found.add("remark", &journal_path, remark);
        }
    }
    let (ethogram, definitions) = match study.ethogram_of(&coding.ethogram) {
        Ok(ethogram) => ethogram,
        Err(error) => return found.add("error", path, error.to_string()),
    };
    if definitions == Definitions::ChangedSince {
        let what = "its ethogram revision was changed after it was made: put the old text back and make a new revision";
        found.add("error", path, what.to_owned());
    }
    let session = match study.session(&coding.session) {
        Ok(session) => session,
        Err(error) => return found.add("error", path, error.to_string()),
    };
    found.problems(path, &validate::coding(&coding, &ethogram, &session));
    if let Some(record) = Record::try_new(&coding, &ethogram, &session, &study.study, Marks::All) {
        for slip in slips::of(&record) {
            found.0.push(Finding {
                gravity: "slip",
                path: path.display().to_string(),
                line: None,
                column: None,
                what: format!("at {}: {}", slip.at.clock(), slip.words),
            });
        }
    }
}
