//! `shedlight report`: the welfare summary as one file.

use std::io::Write;
use std::path::PathBuf;

use super::arguments::{Agree, Report as Asked, Unit};
use super::{CommandResult, Error, FINDINGS, FINE, agree, export, load};
use crate::measures::Record;
use crate::model::Coding;
use crate::report::document::Document;
use crate::report::link::StudyLink;
use crate::report::welfare::{self, IncidentStills, Input};
use crate::report::{album, html};
#[cfg(feature = "media")]
use crate::storage::{
    StudyFolder,
    fingerprint::{self, ClipState},
};

pub(super) fn run(asked: &Asked, out: &mut dyn Write) -> CommandResult {
    let ending = asked.out.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("html" | "htm") => {}
        Some("pdf") if cfg!(feature = "pdf") => {}
        Some("pdf") => return Err(Error::NeedsFeature { command: "report --out F.pdf", feature: "pdf" }),
        _ => {
            let words = format!("name a file that ends in .pdf or .html: {}", asked.out.display());
            return Err(Error::Usage(words));
        }
    }
    let (data, problems) = export::data(&asked.study, &asked.choice)?;
    let records = data.records();
    let summary = data.summary();
    let agreement = agreement(asked)?;
    let codings: Vec<&Coding> = data.codings.iter().map(|entry| &entry.coding).collect();
    let link = StudyLink::new(&asked.study.to_string_lossy());
    let what = welfare::Asked {
        animal: asked.choice.animal.clone(),
        from: asked.choice.from,
        to: asked.choice.to,
        date: asked.date.unwrap_or_else(|| chrono::Local::now().date_naive()),
    };
    let stills = stills(asked, &records, &link)?;
    let document = welfare::document(Input {
        stills: &stills,
        study: &data.study,
        link: &link,
        sessions: &data.sessions,
        codings: &codings,
        ethograms: &data.ethograms,
        records: &records,
        summary: &summary,
        agreement: &agreement,
        figures: &album::for_report(&data.study, &data.sessions, &codings, &records),
        asked: &what,
    });
    let bytes = if ending.as_deref() == Some("pdf") {
        as_pdf(&document, asked)?
    } else {
        let mut bytes = Vec::new();
        html::write(&document, &mut bytes)?;
        bytes
    };
    crate::files::write_atomically(&asked.out, &bytes)?;
    if asked.json {
        let found =
            serde_json::json!({ "out": asked.out, "sessions": data.sessions.len(), "problems": problems });
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
    } else {
        writeln!(
            out,
            "{}: {} sessions, {} codings",
            asked.out.display(),
            data.sessions.len(),
            data.codings.len()
        )?;
    }
    Ok(if problems.is_empty() { FINE } else { FINDINGS })
}

/// Pictures of each stop-level incident, from the clips that are here.
#[cfg(feature = "media")]
fn stills(asked: &Asked, records: &[Record<'_>], link: &StudyLink) -> Result<Vec<IncidentStills>, Error> {
    let folder = StudyFolder::open(&asked.study)?;
    let (found, problems) = crate::export::stills::of_incidents(
        records,
        link,
        &|clip| match fingerprint::find(folder.root(), clip) {
            ClipState::There(path) | ClipState::Moved(path) => Ok(path),
            ClipState::Changed(path) => Err(format!("was changed since it was coded: {}", path.display())),
            ClipState::Missing(path) => Err(format!("is not here: {}", path.display())),
        },
    );
    super::remark(&problems);
    Ok(found)
}

#[cfg(not(feature = "media"))]
#[allow(clippy::unnecessary_wraps)] // The other one can fail.
fn stills(_asked: &Asked, _records: &[Record<'_>], _link: &StudyLink) -> Result<Vec<IncidentStills>, Error> {
    super::remark(&["this build reads no film (feature 'media'): incidents are without stills".to_owned()]);
    Ok(Vec::new())
}

#[cfg(feature = "pdf")]
fn as_pdf(document: &Document, asked: &Asked) -> Result<Vec<u8>, Error> {
    use super::arguments::PaperSize;
    use crate::report::pdf::{self, Paper};

    let missing = pdf::missing(document);
    if !missing.is_empty() {
        let some: String = missing.iter().take(12).collect();
        super::remark(&[format!(
            "{} characters have no glyph in the bundled fonts and are printed as boxes ({some}{}); F.html shows them",
            missing.len(),
            if missing.len() > 12 { " …" } else { "" }
        )]);
    }
    let paper = match asked.paper {
        PaperSize::A4 => Paper::A4,
        PaperSize::Letter => Paper::Letter,
    };
    pdf::bytes(document, paper).map_err(|error| Error::Usage(error.to_string()))
}

#[cfg(not(feature = "pdf"))]
fn as_pdf(_document: &Document, _asked: &Asked) -> Result<Vec<u8>, Error> {
    Err(Error::NeedsFeature { command: "report --out F.pdf", feature: "pdf" })
}

/// As `shedlight agree STUDY` finds it.
fn agreement(asked: &Asked) -> Result<crate::agreement::pair::Agreement, Error> {
    let paths: Vec<PathBuf> = vec![asked.study.clone()];
    let loaded = load::codings(&paths, &asked.choice)?;
    let all = Agree {
        paths,
        tolerance: None,
        unit: Unit::Exact,
        choice: super::arguments::Choice {
            without_unsure: asked.choice.without_unsure,
            ..Default::default()
        },
        json: false,
        csv: false,
        all: true,
        grras: false,
        training: false,
        scheme: None,
    };
    agree::compare(&all, &loaded, false)
}
