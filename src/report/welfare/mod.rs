//! The summary a welfare committee reads, signs and can trace, in the order of its sections.
//!
//! What it never says: what an animal feels, that its welfare is good because nothing was coded, a
//! diagnosis, a cause, anything of a species, of a day, of time nobody saw, or of the agreement on
//! what never occurred. What is missing is named as missing.

mod agreed;
mod appendix;
mod behaviour;
mod checklist;
mod closing;
mod concern;
mod front;
mod methods;
mod subjects;
mod words;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::document::{Block, Document, Figure, Moment, Part, Still};
use super::link::StudyLink;
use crate::agreement::pair::Agreement;
use crate::measures::Record;
use crate::measures::summary::{CodingSummary, Summary};
use crate::model::{Animal, AnimalId, Coding, Ethogram, Session, SessionId, Study};
use crate::time::Micros;

/// What the report is made from.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// The study.
    pub study: &'a Study,
    /// Where it lies.
    pub link: &'a StudyLink,
    /// Its sessions in the period, also those nobody has coded.
    pub sessions: &'a [Session],
    /// All codings of them.
    pub codings: &'a [&'a Coding],
    /// The ethograms they follow.
    pub ethograms: &'a [Ethogram],
    /// The codings, prepared for measuring.
    pub records: &'a [Record<'a>],
    /// Their measures.
    pub summary: &'a Summary,
    /// How well two coders agree.
    pub agreement: &'a Agreement,
    /// Charts, made elsewhere.
    pub figures: &'a [Figure],
    /// Pictures of stop-level incidents, made elsewhere.
    pub stills: &'a [IncidentStills],
    /// What was asked for.
    pub asked: &'a Asked,
}

/// Pictures of a stop-level incident, or why there are none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IncidentStills {
    /// Its session.
    pub session: SessionId,
    /// When it began.
    pub at: Micros,
    /// The pictures, in order.
    pub stills: Result<Vec<Still>, String>,
}

/// What was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// One animal only.
    pub animal: Option<String>,
    /// From this day.
    pub from: Option<NaiveDate>,
    /// To this day.
    pub to: Option<NaiveDate>,
    /// The report's own date.
    pub date: NaiveDate,
    /// People have pseudonyms, and texts that named one are left out.
    pub without_names: bool,
}

/// The records that count: one a session, the primary one, of sessions that are not left out (rule 14).
#[must_use]
pub fn counted<'a>(records: &'a [Record<'a>]) -> Vec<&'a Record<'a>> {
    let mut seen = BTreeSet::new();
    let counts = |record: &&Record<'_>| {
        record.coding.purpose == crate::model::Purpose::Primary && record.session.left_out.is_none()
    };
    records.iter().filter(counts).filter(|record| seen.insert(&record.session.id)).collect()
}

/// The report.
#[must_use]
pub fn document(input: Input<'_>) -> Document {
    let mut sections = vec![front::what(&input), front::first(&input)];
    sections.push(subjects::animals(&input));
    sections.push(subjects::plans(&input));
    sections.push(methods::methods(&input));
    sections.push(methods::effort(&input));
    sections.push(behaviour::budget(&input));
    sections.push(behaviour::approach(&input));
    sections.push(behaviour::success(&input));
    sections.push(behaviour::latency(&input));
    sections.push(concern::concern(&input));
    sections.push(behaviour::food(&input));
    sections.push(agreed::agreement(&input));
    sections.push(closing::deviations(&input));
    sections.push(closing::actions(&input));
    sections.push(closing::sign_off());
    sections.extend(appendix::all(&input));
    sections.push(checklist::checklist(&input));
    Document {
        language: "en",
        title: format!("Welfare summary: {}", input.study.title),
        subtitle: front::subtitle(&input),
        date: input.asked.date,
        sections,
    }
}

impl<'a> Input<'a> {
    fn animal(&self, id: &AnimalId) -> Option<&'a Animal> {
        self.study.animal(id)
    }

    fn animal_name(&self, id: &str) -> String {
        let found = self.study.animals.iter().find(|animal| animal.id.as_str() == id);
        found.map_or_else(|| id.to_owned(), |animal| animal.name.clone())
    }

    /// Animals with a session in the period, in the study's order, then those it does not list.
    fn animals(&self) -> Vec<AnimalId> {
        let mut found: Vec<AnimalId> = Vec::new();
        let is_here = |id: &AnimalId| self.sessions.iter().any(|session| session.animal == *id);
        found.extend(self.study.animals.iter().map(|animal| animal.id.clone()).filter(is_here));
        for session in self.sessions {
            if !found.contains(&session.animal) {
                found.push(session.animal.clone());
            }
        }
        found
    }

    fn session(&self, id: &str) -> Option<&'a Session> {
        self.sessions.iter().find(|session| session.id.as_str() == id)
    }

    /// The measures of the codings that count, one a session, in the order of sessions.
    fn counted(&self) -> Vec<&'a CodingSummary> {
        let mut by_session: BTreeMap<&str, &CodingSummary> = BTreeMap::new();
        for own in self.summary.codings.iter().filter(|own| own.counts) {
            let _ = by_session.entry(own.session.as_str()).or_insert(own);
        }
        self.sessions.iter().filter_map(|session| by_session.get(session.id.as_str()).copied()).collect()
    }

    fn counted_of(&self, animal: &str) -> Vec<&'a CodingSummary> {
        self.counted().into_iter().filter(|own| own.animal == animal).collect()
    }

    /// The records behind them.
    fn counted_records(&self) -> Vec<&'a Record<'a>> {
        counted(self.records)
    }

    fn moment(&self, session: &str, at: Micros) -> Moment {
        self.link.moment(session, at)
    }

    fn moment_s(&self, session: &str, at_s: f64) -> Moment {
        self.moment(session, Micros::from_seconds(at_s).unwrap_or_default())
    }

    /// The charts of a part.
    fn charts(&self, part: Part) -> impl Iterator<Item = Block> + 'a {
        self.figures.iter().filter(move |figure| figure.part == part).cloned().map(Block::Figure)
    }

    /// A text a person wrote for the report.
    fn written(&self, key: &str) -> Option<&'a str> {
        self.study.report.get(key).map(String::as_str).filter(|text| !text.trim().is_empty())
    }
}
