//! `shedlight import`: marks from CSV or Web Annotations back into codings. Existing codings are
//! never touched: what is taken in becomes new files.

use std::io::Write;
use std::path::Path;

use serde_json::json;

use super::arguments::Import as Asked;
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::export::intake::{self, Intake, Known};
use crate::model::{Purpose, Session};
use crate::storage::{self, StudyFolder, coding_file, json as files};

/// A table of all marks of an archive of 5 million has half of it.
const LARGEST: u64 = 1 << 30;

pub(super) fn run(asked: &Asked, out: &mut dyn Write) -> CommandResult {
    let folder = StudyFolder::open(&asked.into)?;
    let listing = folder.list();
    let (ethograms, mut problems) = folder.ethograms();
    problems.extend(listing.problems);
    super::remark(&problems.iter().map(ToString::to_string).collect::<Vec<_>>());
    let sessions: Vec<Session> = listing.sessions.iter().map(|entry| entry.session.clone()).collect();
    let known = Known { study: &folder.study, sessions: &sessions, ethograms: &ethograms };
    let mut found = read(&asked.file, known)?;
    let mut written = Vec::new();
    for coding in &mut found.codings {
        let Some(entry) = listing.sessions.iter().find(|entry| entry.session.id == coding.session) else {
            continue;
        };
        let has_primary = entry.codings.iter().any(|(_, head)| head.purpose == Purpose::Primary);
        if coding.purpose == Purpose::Primary && has_primary {
            coding.purpose = Purpose::Trial;
            found.remarks.push(format!(
                "session {} has a primary coding already: this one is taken in as a trial and is not counted",
                coding.session
            ));
        }
        let path = coding_file::create(&folder.session_folder(&coding.session), coding)?;
        written.push((path, coding.marks.len()));
    }
    super::remark(&found.remarks);
    tell(asked, &found, &written, out)?;
    if written.is_empty() {
        return Err(Error::Usage(format!("nothing could be taken in from {}", asked.file.display())));
    }
    Ok(if found.refused.is_empty() { FINE } else { FINDINGS })
}

fn read(file: &Path, known: Known<'_>) -> Result<Intake, Error> {
    let text = files::read_text_up_to(file, LARGEST)?;
    let is_csv = file.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
    let found = if is_csv {
        let beside = file.with_file_name("codings.csv");
        let codings = if beside.is_file() && beside != file {
            Some(files::read_text_up_to(&beside, LARGEST)?)
        } else {
            None
        };
        intake::from_csv(&text, codings.as_deref(), known)
    } else {
        intake::from_web_annotation(&text, known)
    };
    Ok(found.map_err(|error| storage::Error::Content {
        path: file.to_owned(),
        line: 1,
        column: 1,
        what: error.to_string(),
    })?)
}

fn tell(
    asked: &Asked,
    found: &Intake,
    written: &[(std::path::PathBuf, usize)],
    out: &mut dyn Write,
) -> Result<(), Error> {
    if asked.json {
        let codings: Vec<_> =
            written.iter().map(|(path, marks)| json!({ "file": path, "marks": marks })).collect();
        let all = json!({ "codings": codings, "refused": found.refused, "remarks": found.remarks });
        serde_json::to_writer_pretty(&mut *out, &all)?;
        writeln!(out)?;
        return Ok(());
    }
    for (path, marks) in written {
        writeln!(out, "{marks} marks in {}", path.display())?;
    }
    if !found.refused.is_empty() {
        writeln!(out, "not taken in:")?;
    }
    for own in &found.refused {
        writeln!(out, "  {}: {}", own.place, own.why)?;
    }
    Ok(())
}
