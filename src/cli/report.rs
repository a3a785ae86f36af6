//! `shedlight report`: the welfare summary as one file.

use std::io::Write;
use std::path::PathBuf;

use super::arguments::{Agree, Report as Asked, Unit};
use super::{CommandResult, Error, FINDINGS, FINE, agree, export, load};
use crate::model::Coding;
use crate::report::link::StudyLink;
use crate::report::welfare::{self, Input};
use crate::report::{album, html};

pub(super) fn run(asked: &Asked, out: &mut dyn Write) -> CommandResult {
    let ending = asked.out.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("html" | "htm") => {}
        Some("pdf") => {
            return Err(Error::Usage(
                "a report as PDF needs the feature 'pdf', which is not built yet: write F.html and print it to PDF from the browser".to_owned(),
            ));
        }
        _ => return Err(Error::Usage(format!("name a file that ends in .html: {}", asked.out.display()))),
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
    let document = welfare::document(Input {
        study: &data.study,
        link: &link,
        sessions: &data.sessions,
        codings: &codings,
        ethograms: &data.ethograms,
        records: &records,
        summary: &summary,
        agreement: &agreement,
        figures: &album::for_report(&records),
        asked: &what,
    });
    let mut bytes = Vec::new();
    html::write(&document, &mut bytes)?;
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
