//! The study in forms other tools open: CSV with a dictionary, JSON, WebVTT captions, Web
//! Annotations; and the way back from CSV and Web Annotations into marks.
//!
//! Values become bytes here and go to a [`Sink`], which decides where they lie. [`Data`] owns what
//! is exported, so that names can be taken out of it once, before any of the forms is made.

pub mod csv;
#[cfg(feature = "media")]
pub mod cut;
#[cfg(feature = "media")]
pub mod drawn;
pub mod intake;
pub mod json;
pub mod names;
#[cfg(feature = "parquet")]
pub mod parquet;
#[cfg(feature = "media")]
pub mod stills;
pub mod web_annotation;
pub mod webvtt;

use std::io::{self, Write};

use crate::measures::summary::{self, Summary};
use crate::measures::{Marks, Record};
use crate::model::{Coding, Ethogram, Session, SessionId, Study};

/// What is exported.
#[derive(Debug, Clone, PartialEq)]
pub struct Data {
    /// The study.
    pub study: Study,
    /// Its ethograms that a coding uses.
    pub ethograms: Vec<Ethogram>,
    /// Its sessions, by date; also those nobody has coded.
    pub sessions: Vec<Session>,
    /// Its codings, in the order of their sessions.
    pub codings: Vec<Entry>,
    /// Which marks the measures take.
    pub marks: Marks,
}

/// A coding and the name of its file.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Relative to the study, with `/`: `sessions/s1/K-07.1.coding.json`.
    pub file: String,
    /// The coding.
    pub coding: Coding,
}

impl Entry {
    /// Name of the file without folder and ending: `K-07.1`.
    #[must_use]
    pub fn stem(&self) -> &str {
        let name = self.file.rsplit('/').next().unwrap_or(&self.file);
        name.strip_suffix(".coding.json").unwrap_or(name)
    }
}

impl Data {
    /// A session.
    #[must_use]
    pub fn session(&self, id: &SessionId) -> Option<&Session> {
        self.sessions.iter().find(|session| session.id == *id)
    }

    /// The ethogram of a coding.
    #[must_use]
    pub fn ethogram(&self, coding: &Coding) -> Option<&Ethogram> {
        let wanted = &coding.ethogram;
        self.ethograms.iter().find(|own| own.id == wanted.id && own.revision == wanted.revision)
    }

    /// Its codings, prepared for measuring; those whose session has no known length are left out.
    #[must_use]
    pub fn records(&self) -> Vec<Record<'_>> {
        self.codings
            .iter()
            .filter_map(|entry| {
                let coding = &entry.coding;
                let (session, ethogram) = (self.session(&coding.session)?, self.ethogram(coding)?);
                Record::try_new(coding, ethogram, session, &self.study, self.marks)
            })
            .collect()
    }

    /// The measures of its codings.
    #[must_use]
    pub fn summary(&self) -> Summary {
        let records = self.records();
        Summary {
            codings: records.iter().map(summary::coding).collect(),
            animals: summary::animals(&records),
        }
    }
}

/// Where the files of an export go.
pub trait Sink {
    /// Takes one file; `path` is relative, with `/`.
    ///
    /// # Errors
    /// When it can't be written.
    fn file(
        &mut self,
        path: &str,
        content: &mut dyn FnMut(&mut dyn Write) -> io::Result<()>,
    ) -> io::Result<()>;
}

/// A name that every file system takes: what it could not hold becomes `_`.
#[must_use]
pub fn file_name(text: &str) -> String {
    let safe: String = text
        .chars()
        .map(|c| if c.is_control() || "/\\:*?\"<>|%#".contains(c) { '_' } else { c })
        .take(80)
        .collect();
    let safe = safe.trim_matches(|c| c == '.' || c == ' ');
    if safe.is_empty() { "_".to_owned() } else { safe.to_owned() }
}
