//! `shedlight export`: the study in forms other tools open.

#[cfg(feature = "parquet")]
mod parquet;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use indicatif::ProgressBar;

use super::arguments::{Choice, Export as Asked, Form};
use super::load::{self, Loaded};
use super::progress::{self, Stop};
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::export::csv::Decimal;
use crate::export::names::{self, TakenOut};
use crate::export::{self, Data, Entry, Sink};
use crate::measures::Marks;
use crate::storage::StudyFolder;

pub(super) fn run(asked: &Asked, out: &mut dyn Write) -> CommandResult {
    if asked.decimal != Decimal::Point && asked.form != Form::Csv {
        return Err(Error::Usage("--decimal comma is for --as csv alone".to_owned()));
    }
    let stop = progress::listen();
    if asked.form == Form::Parquet {
        return parquet(asked, stop, out);
    }
    let (mut data, mut problems) = data(&asked.study, &asked.choice)?;
    // Also those no coding uses yet: the definitions belong to the study.
    let (all, unread) = StudyFolder::open(&asked.study)?.ethograms();
    problems.extend(unread.iter().map(ToString::to_string));
    data.ethograms = all;
    let taken_out = asked.without_names.then(|| names::take_out(&mut data));
    let mut folder = NewFolder::begin(&asked.out, stop)?;
    // A file a coding, or a handful of tables: near enough for a bar.
    folder.expected = data.codings.len() + data.sessions.len() / 2 + 6;
    let written = match asked.form {
        Form::Csv => export::csv::write(&data, asked.decimal, &mut folder),
        Form::Json => export::json::write(&data, &mut folder),
        Form::Webvtt => export::webvtt::write(&data, &mut folder),
        Form::WebAnnotation => export::web_annotation::write(&data, &mut folder),
        Form::Parquet => Ok(()),
    };
    let files = folder.finish(written)?;
    let told = Told {
        files: files.len(),
        sessions: data.sessions.len(),
        codings: data.codings.len(),
        marks: data.codings.iter().map(|entry| entry.coding.marks.len()).sum(),
        taken_out,
        problems,
    };
    tell(asked, &told, Some(&files), out)
}

#[cfg(feature = "parquet")]
fn parquet(asked: &Asked, stop: Stop, out: &mut dyn Write) -> CommandResult {
    self::parquet::run(asked, stop, out)
}

#[cfg(not(feature = "parquet"))]
fn parquet(_asked: &Asked, _stop: Stop, _out: &mut dyn Write) -> CommandResult {
    Err(Error::NeedsFeature { command: "export --as parquet", feature: "parquet" })
}

/// What was exported.
struct Told {
    files: usize,
    sessions: usize,
    codings: usize,
    marks: usize,
    taken_out: Option<TakenOut>,
    problems: Vec<String>,
}

/// Says what was exported; `files` are their names where they are few enough to be listed.
fn tell(asked: &Asked, told: &Told, files: Option<&[String]>, out: &mut dyn Write) -> CommandResult {
    let taken_out = told.taken_out.as_ref();
    if asked.json {
        let mut own = serde_json::json!({
            "out": asked.out,
            "files": told.files,
            "sessions": told.sessions,
            "codings": told.codings,
            "marks": told.marks,
            "people_replaced": taken_out.map(|own| own.people),
            "texts_dropped": taken_out.map(|own| own.texts),
            "ids_with_names": taken_out.map(|own| &own.ids),
            "problems": told.problems,
        });
        if let (Some(own), Some(files)) = (own.as_object_mut(), files) {
            let _ = own.insert("files".to_owned(), serde_json::json!(files));
        }
        serde_json::to_writer_pretty(&mut *out, &own)?;
        writeln!(out)?;
    } else {
        writeln!(
            out,
            "{} {} in {}: {} sessions, {} codings",
            told.files,
            if told.files == 1 { "file" } else { "files" },
            asked.out.display(),
            told.sessions,
            told.codings
        )?;
        if let Some(taken) = taken_out {
            tell_taken(taken, out)?;
        }
    }
    Ok(if told.problems.is_empty() { FINE } else { FINDINGS })
}

/// Says what was taken out, and that it can't be all.
pub(super) fn tell_taken(taken: &TakenOut, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "{} people have pseudonyms; {} texts that named one, or could, are left out. A name that study.json does not list can't be recognised: look through what is left.",
        taken.people, taken.texts
    )?;
    if !taken.ids.is_empty() {
        writeln!(
            out,
            "These ids hold a name and stay, for other things are found by them: {}",
            taken.ids.join(", ")
        )?;
    }
    Ok(())
}

/// Loads a study whole, as exports and reports need it; what could not be read is told and returned.
pub(super) fn data(study: &Path, choice: &Choice) -> Result<(Data, Vec<String>), Error> {
    let root = std::path::absolute(study)?;
    let folder = StudyFolder::open(&root)?;
    let loaded: Loaded = load::codings(std::slice::from_ref(&root), choice)?;
    super::remark(&loaded.problems);
    let mut sessions: Vec<_> = folder
        .list()
        .sessions
        .into_iter()
        .map(|entry| entry.session)
        .filter(|session| load::takes_session(choice, session))
        .collect();
    // A record of people and of film: by date, then by id.
    sessions.sort_by(|a, b| (a.recorded_at, &a.id).cmp(&(b.recorded_at, &b.id)));
    let mut data = Data {
        study: folder.study.clone(),
        ethograms: Vec::new(),
        sessions,
        codings: Vec::new(),
        marks: if choice.without_unsure { Marks::WithoutUnsure } else { Marks::All },
    };
    for (_, own) in loaded.codings {
        let relative = own.path.strip_prefix(&root).unwrap_or(&own.path);
        let parts: Vec<_> = relative.iter().map(|part| part.to_string_lossy().into_owned()).collect();
        if data.ethogram(&own.coding).is_none() {
            data.ethograms.push(own.ethogram);
        }
        data.codings.push(Entry { file: parts.join("/"), coding: own.coding });
    }
    data.ethograms.sort_by(|a, b| (&a.id, a.revision).cmp(&(&b.id, b.revision)));
    Ok((data, loaded.problems))
}

/// A folder that appears whole or not at all: written beside its place, then moved there. Ctrl+C ends the
/// writing anywhere.
struct NewFolder {
    place: PathBuf,
    part: PathBuf,
    files: Vec<String>,
    /// Files that are to come, for the bar; 0: someone else moves it.
    expected: usize,
    bar: ProgressBar,
    stop: Stop,
}

impl NewFolder {
    fn begin(place: &Path, stop: Stop) -> Result<Self, Error> {
        let place = std::path::absolute(place)?;
        let fail = |source| crate::files::Error::Write { path: place.clone(), source };
        if place.exists() {
            let is_empty = std::fs::read_dir(&place).map_err(fail)?.next().is_none();
            if !is_empty {
                return Err(Error::Usage(format!(
                    "the folder is not empty: name a new one, nothing is written over: {}",
                    place.display()
                )));
            }
        }
        let name = place.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let above = place.parent().unwrap_or(Path::new(".")).to_owned();
        std::fs::create_dir_all(&above).map_err(fail)?;
        let part = above.join(format!(".{name}.{}.part", std::process::id()));
        std::fs::create_dir(&part).map_err(fail)?;
        let bar = progress::bar("exporting");
        Ok(Self { place, part, files: Vec::new(), expected: 0, bar, stop })
    }

    /// Moves the folder to its place when all was written.
    fn finish(mut self, written: io::Result<()>) -> Result<Vec<String>, Error> {
        let fail = |source| crate::files::Error::Write { path: self.place.clone(), source };
        self.bar.finish_and_clear();
        if self.stop.flow().is_break() {
            return Err(Error::Stopped);
        }
        written.map_err(fail)?;
        if self.place.exists() {
            // Empty, as was looked at; not every system renames over a folder.
            std::fs::remove_dir(&self.place).map_err(fail)?;
        }
        std::fs::rename(&self.part, &self.place).map_err(fail)?;
        Ok(std::mem::take(&mut self.files))
    }
}

impl Drop for NewFolder {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
        // Gone already when it was moved to its place.
        let _ = std::fs::remove_dir_all(&self.part);
    }
}

impl Sink for NewFolder {
    fn file(
        &mut self,
        path: &str,
        content: &mut dyn FnMut(&mut dyn Write) -> io::Result<()>,
    ) -> io::Result<()> {
        let target =
            path.split('/').filter(|part| *part != "..").fold(self.part.clone(), |at, part| at.join(part));
        if let Some(above) = target.parent() {
            std::fs::create_dir_all(above)?;
        }
        let mut file =
            io::BufWriter::new(Watched { file: std::fs::File::create(&target)?, stop: &self.stop });
        content(&mut file)?;
        file.into_inner().map_err(io::IntoInnerError::into_error)?.file.sync_all()?;
        self.files.push(path.to_owned());
        if self.expected > 0 {
            #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
            let share = self.files.len() as f32 / self.expected as f32;
            self.bar.set_position(progress::place(share));
        }
        Ok(())
    }
}

/// A file whose writing ends when the person asks for it.
struct Watched<'a> {
    file: std::fs::File,
    stop: &'a Stop,
}

impl Write for Watched<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.stop.flow().is_break() {
            return Err(io::Error::other("stopped"));
        }
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}
