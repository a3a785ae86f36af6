//! `shedlight report`: the welfare summary as one file.

use std::io::Write;
use std::path::Path;

use indicatif::ProgressBar;

use super::arguments::{Agree, Report as Asked, Unit};
use super::load::Loaded;
use super::progress::{self, Stop};
use super::{CommandResult, Error, FINDINGS, FINE, agree, export};
use crate::agreement::pair::Agreement;
use crate::export::Data;
use crate::export::names::{self, People, TakenOut};
use crate::measures::Record;
use crate::model::{Coding, Session};
use crate::report::document::Document;
use crate::report::link::StudyLink;
use crate::report::welfare::{self, IncidentStills, Input};
use crate::report::{album, html};
use crate::storage::StudyFolder;
#[cfg(feature = "media")]
use crate::storage::fingerprint::{self, ClipState};
use crate::storage::study_folder::{Definitions, LoadedCoding};

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
    let work = Work::begin(asked);
    let (mut data, problems) = export::data(&asked.study, &asked.choice)?;
    work.at(0.1)?;
    // The film is found by the paths that lie in the study.
    let filmed = data.sessions.clone();
    let mut named = asked.study.to_string_lossy().into_owned();
    let taken = asked.without_names.then(|| {
        named = folder_alone(&asked.study, &data);
        names::take_out(&mut data)
    });
    let link = StudyLink::new(&named);
    let document = document(asked, &data, (&filmed, &link), &work)?;
    let bytes = if ending.as_deref() == Some("pdf") {
        as_pdf(document, asked, &work)?
    } else {
        let mut bytes = Vec::new();
        html::write(&document, &mut bytes)?;
        bytes
    };
    work.at(1.0)?;
    work.bar.finish_and_clear();
    crate::files::write_atomically(&asked.out, &bytes)?;
    tell(asked, &data, &problems, taken.as_ref(), out)?;
    Ok(if problems.is_empty() { FINE } else { FINDINGS })
}

fn tell(
    asked: &Asked,
    data: &Data,
    problems: &[String],
    taken: Option<&TakenOut>,
    out: &mut dyn Write,
) -> Result<(), Error> {
    if asked.json {
        let found = serde_json::json!({
            "out": asked.out,
            "sessions": data.sessions.len(),
            "people_replaced": taken.map(|own| own.people),
            "texts_dropped": taken.map(|own| own.texts),
            "ids_with_names": taken.map(|own| &own.ids),
            "problems": problems,
        });
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
        return Ok(());
    }
    writeln!(
        out,
        "{}: {} sessions, {} codings",
        asked.out.display(),
        data.sessions.len(),
        data.codings.len()
    )?;
    if let Some(taken) = taken {
        export::tell_taken(taken, out)?;
    }
    Ok(())
}

/// How far the report is, told on a terminal or to the window; and whether it is still wanted.
struct Work {
    bar: ProgressBar,
    stop: Stop,
    to_window: bool,
}

impl Work {
    fn begin(asked: &Asked) -> Self {
        let bar = progress::bar("making the report");
        Self { bar, stop: progress::listen(), to_window: asked.tell_progress }
    }

    /// Goes to a share of the work.
    ///
    /// # Errors
    /// When it was stopped: the report is written at its end, so nothing of it is there.
    fn at(&self, share: f32) -> Result<(), Error> {
        self.bar.set_position(progress::place(share));
        if self.to_window {
            let mut window = std::io::stdout().lock();
            // A window that is gone has ended this program too.
            let _ = writeln!(window, "{share}").and_then(|()| window.flush());
        }
        if self.stop.flow().is_break() {
            self.bar.finish_and_clear();
            return Err(Error::Stopped);
        }
        Ok(())
    }
}

/// What a study is called in links that name nobody: its folder, without those above it.
fn folder_alone(study: &Path, data: &Data) -> String {
    let whole = std::path::absolute(study).unwrap_or_else(|_| study.to_owned());
    let name = whole.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    if name.is_empty() || People::of_data(data).are_in(&name) { "study".to_owned() } else { name }
}

fn document(
    asked: &Asked,
    data: &Data,
    (filmed, link): (&[Session], &StudyLink),
    work: &Work,
) -> Result<Document, Error> {
    let records = data.records();
    let summary = data.summary();
    work.at(0.15)?;
    let codings: Vec<&Coding> = data.codings.iter().map(|entry| &entry.coding).collect();
    // The charts need nothing of the agreement: two cores share them.
    let (figures, agreement) = std::thread::scope(|scope| {
        let drawn = scope.spawn(|| album::for_report(&data.study, &data.sessions, &codings, &records));
        let agreement = agreement(asked, data);
        (drawn.join(), agreement)
    });
    let figures = figures.map_err(|_| Error::Usage("a chart could not be drawn".to_owned()))?;
    let agreement = agreement?;
    work.at(0.3)?;
    let stills = stills(asked, &records, (filmed, link), work)?;
    work.at(0.5)?;
    let what = welfare::Asked {
        animal: asked.choice.animal.clone(),
        from: asked.choice.from,
        to: asked.choice.to,
        date: asked.date.unwrap_or_else(|| chrono::Local::now().date_naive()),
        without_names: asked.without_names,
    };
    Ok(welfare::document(Input {
        stills: &stills,
        study: &data.study,
        link,
        sessions: &data.sessions,
        codings: &codings,
        ethograms: &data.ethograms,
        records: &records,
        summary: &summary,
        agreement: &agreement,
        figures: &figures,
        asked: &what,
    }))
}

/// Pictures of each stop-level incident, from the clips that are here.
#[cfg(feature = "media")]
fn stills(
    asked: &Asked,
    records: &[Record<'_>],
    (filmed, link): (&[Session], &StudyLink),
    work: &Work,
) -> Result<Vec<IncidentStills>, Error> {
    let folder = StudyFolder::open(&asked.study)?;
    let count = records.len().max(1);
    let (found, problems) = crate::export::stills::of_incidents(
        records,
        link,
        &|session, clip| {
            let own = filmed.iter().find(|own| own.id == session.id).and_then(|own| own.clip(clip.id));
            match fingerprint::find(folder.root(), own.unwrap_or(clip)) {
                ClipState::There(path) | ClipState::Moved(path) => Ok(path),
                ClipState::Changed(_) => Err(format!("was changed since it was coded: {}", clip.path)),
                ClipState::Missing(_) => Err(format!("is not here: {}", clip.path)),
            }
        },
        &mut |done| {
            #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
            let share = (done as f32 / count as f32).min(1.0);
            // That it was stopped is told by the next step.
            if work.at(0.3 + 0.2 * share).is_err() {
                std::ops::ControlFlow::Break(())
            } else {
                std::ops::ControlFlow::Continue(())
            }
        },
    );
    super::remark(&problems);
    Ok(found)
}

#[cfg(not(feature = "media"))]
#[allow(clippy::unnecessary_wraps)] // The other one can fail.
fn stills(
    _asked: &Asked,
    _records: &[Record<'_>],
    _film: (&[Session], &StudyLink),
    _work: &Work,
) -> Result<Vec<IncidentStills>, Error> {
    super::remark(&["this build reads no film (feature 'media'): incidents are without stills".to_owned()]);
    Ok(Vec::new())
}

#[cfg(feature = "pdf")]
fn as_pdf(document: Document, asked: &Asked, work: &Work) -> Result<Vec<u8>, Error> {
    use std::time::{Duration, Instant};

    use super::arguments::PaperSize;
    use crate::report::pdf::{self, Paper};

    let missing = pdf::missing(&document);
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
    let expected = pdf::expected(&document);
    let begun = Instant::now();
    // The typesetter does not say how far it is and can't be interrupted: it works beside, and is left alone
    // when nobody wants the report any more.
    let set = std::thread::spawn(move || pdf::bytes(&document, paper));
    while !set.is_finished() {
        let share = begun.elapsed().as_secs_f32() / expected.as_secs_f32();
        work.at(0.5 + 0.5 * share.min(0.98))?;
        std::thread::sleep(Duration::from_millis(50));
    }
    let set = set.join().map_err(|_| {
        Error::Usage("the typesetter broke off; write F.html meanwhile, and tell the developers".to_owned())
    })?;
    set.map_err(|error| Error::Usage(error.to_string()))
}

#[cfg(not(feature = "pdf"))]
fn as_pdf(_document: Document, _asked: &Asked, _work: &Work) -> Result<Vec<u8>, Error> {
    Err(Error::NeedsFeature { command: "report --out F.pdf", feature: "pdf" })
}

/// As `shedlight agree STUDY` finds it.
fn agreement(asked: &Asked, data: &Data) -> Result<Agreement, Error> {
    let mut folder = StudyFolder::open(&asked.study)?;
    folder.study.clone_from(&data.study);
    let own = |entry: &crate::export::Entry| {
        Some(LoadedCoding {
            path: folder.root().join(&entry.file),
            session: data.session(&entry.coding.session)?.clone(),
            ethogram: data.ethogram(&entry.coding)?.clone(),
            coding: entry.coding.clone(),
            definitions: Definitions::AsCoded,
        })
    };
    let codings = data.codings.iter().filter_map(|entry| Some((0, own(entry)?))).collect();
    let loaded = Loaded { codings, studies: vec![folder.clone()], problems: Vec::new() };
    let all = Agree {
        paths: vec![asked.study.clone()],
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
