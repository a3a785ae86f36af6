//! Codings: one person's record of one session.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};
use rustc_hash::FxHashMap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::samples::Numbers;
use super::{
    BehaviourId, CODING_FORMAT, End, Ethogram, EthogramId, Extra, Mark, MarkId, PassOutline, PersonCode,
    Session, SessionId, VERSION,
};
use crate::time::{Micros, Seconds, Span};

/// `sessions/<id>/<person>.<n>.coding.json`. The keys before `marks` are the header: a list of
/// codings reads no further.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Coding {
    /// `shedlight/coding`.
    pub format: String,
    /// Version of the format.
    pub version: u32,
    /// Of which session.
    pub session: SessionId,
    /// By whom.
    pub by: PersonCode,
    /// What it counts as (rule 14).
    pub purpose: Purpose,
    /// The coding files an agreed record was made from, relative to the study.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parents: Vec<String>,
    /// Under which definitions.
    pub ethogram: EthogramRef,
    /// How behaviour was recorded.
    #[serde(default)]
    pub rule: RecordingRule,
    /// The seed its first point was drawn with ([`super::samples::random_offset`]); none: it was chosen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset_seed: Option<u64>,
    /// What was hidden from the coder: first record, date, step, animal.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub masked: Vec<String>,
    /// The stretch of the session that was coded; none: rule 12 decides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<Span>,
    /// Runs through the film.
    #[serde(default)]
    pub passes: Vec<Pass>,
    /// Open or closed.
    #[serde(default)]
    pub status: Status,
    /// When it was begun.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub begun: Option<DateTime<FixedOffset>>,
    /// When it was closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<DateTime<FixedOffset>>,
    /// Session time of the picture shown last, so that work goes on where it stopped.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_at: Option<Micros>,
    /// Sequence number of the last journal line this file contains (rule 33).
    #[serde(default)]
    pub last_seq: u64,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
    /// Marks that the present revision of the ethogram has no place for: kept, shown, and counted nowhere.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub set_aside: Vec<Mark>,
    /// What was coded, by `from`, then by id. Last, so that the header can be read without it.
    #[serde(default)]
    pub marks: Vec<Mark>,
}

impl Coding {
    /// An open primary coding without marks.
    #[must_use]
    pub fn new(session: SessionId, by: PersonCode, ethogram: EthogramRef) -> Self {
        Self {
            format: CODING_FORMAT.to_owned(),
            version: VERSION,
            session,
            by,
            purpose: Purpose::Primary,
            parents: Vec::new(),
            ethogram,
            rule: RecordingRule::Continuous,
            offset_seed: None,
            masked: Vec::new(),
            window: None,
            passes: Vec::new(),
            status: Status::Open,
            begun: None,
            closed: None,
            left_at: None,
            last_seq: 0,
            extra: Extra::new(),
            set_aside: Vec::new(),
            marks: Vec::new(),
        }
    }

    /// The mark of this id.
    #[must_use]
    pub fn mark(&self, id: MarkId) -> Option<&Mark> {
        self.marks.iter().find(|mark| mark.id == id)
    }

    /// An id no mark has.
    #[must_use]
    pub fn next_id(&self) -> MarkId {
        MarkId(self.marks.iter().chain(&self.set_aside).map(|mark| mark.id.0 + 1).max().unwrap_or(1))
    }

    /// The stretch that was coded (rule 12): `window` if given; else session-start to session-end
    /// marks if both are there; else first picture to the end of the last. Never beyond the film.
    /// `None` without film.
    #[must_use]
    pub fn observed_window(&self, ethogram: &Ethogram, session: &Session) -> Option<Span> {
        self.window_by(ethogram, session, &|_| true)
    }

    /// The same as far as done passes tell: marks of the others are not complete (rule 13).
    #[must_use]
    pub fn observed_window_of_done_passes(&self, ethogram: &Ethogram, session: &Session) -> Option<Span> {
        self.window_by(ethogram, session, &|behaviour| self.is_done(behaviour))
    }

    fn window_by(
        &self,
        ethogram: &Ethogram,
        session: &Session,
        takes: &dyn Fn(&BehaviourId) -> bool,
    ) -> Option<Span> {
        use super::Role::{SessionEnd, SessionStart};
        let within_film = |span: Span| match session.extent() {
            Some(extent) => span.intersection(extent),
            None => Some(span),
        };
        if let Some(window) = self.window {
            return within_film(window);
        }
        // Samples are no moments: where one falls says nothing of when the session began.
        if self.rule != RecordingRule::Continuous {
            return session.extent();
        }
        let moments = |role| -> Vec<Micros> {
            let own: Vec<&BehaviourId> =
                ethogram.with_role(role).map(|behaviour| &behaviour.id).filter(|id| takes(id)).collect();
            let marks = self.marks.iter().filter(|mark| own.contains(&&mark.behaviour));
            if own.is_empty() { Vec::new() } else { marks.map(|mark| mark.from).collect() }
        };
        let start = moments(SessionStart).into_iter().min();
        // A session-end coded as a state ends the session where the state begins.
        let end = moments(SessionEnd).into_iter().max();
        match (start, end) {
            (Some(from), Some(to)) if from < to => within_film(Span { from, to }),
            _ => session.extent(),
        }
    }

    /// What `take` takes of the marks of each behaviour, in the record's order. Marks are large and many: who
    /// goes through them several times takes what is needed.
    #[must_use]
    pub fn by_behaviour<'a, T>(
        &'a self,
        take: impl Fn(&'a Mark) -> Option<T>,
    ) -> BTreeMap<&'a BehaviourId, Vec<T>> {
        // Found by hash while marks are many, put in order once.
        let mut places: FxHashMap<&BehaviourId, usize> = FxHashMap::default();
        let mut lists: Vec<(&BehaviourId, Vec<T>)> = Vec::new();
        for mark in &self.marks {
            let Some(taken) = take(mark) else { continue };
            let place = *places.entry(&mark.behaviour).or_insert_with(|| {
                lists.push((&mark.behaviour, Vec::new()));
                lists.len() - 1
            });
            if let Some((_, list)) = lists.get_mut(place) {
                list.push(taken);
            }
        }
        lists.into_iter().collect()
    }

    /// Whether a pass that holds the behaviour is done, so that absence means zero (rule 13).
    #[must_use]
    pub fn is_done(&self, behaviour: &BehaviourId) -> bool {
        self.passes.iter().any(|pass| pass.done && pass.behaviours.contains(behaviour))
    }

    /// Bouts that have not ended.
    pub fn open_bouts(&self) -> impl Iterator<Item = &Mark> {
        self.marks.iter().filter(|mark| matches!(mark.to, End::Open))
    }
}

/// What a coding counts as (rule 14).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// The one that counts.
    Primary,
    /// By a second person, to see how well two agree.
    Second,
    /// By the same person, later.
    Repeat,
    /// Settled from two others.
    Agreed,
    /// For learning.
    Training,
    /// To try a definition out.
    Trial,
}

impl Purpose {
    /// As people read it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Primary => "primary",
            Self::Second => "second",
            Self::Repeat => "repeat",
            Self::Agreed => "agreed",
            Self::Training => "training",
            Self::Trial => "trial",
        }
    }
}

/// Under which definitions a coding was made.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct EthogramRef {
    /// The ethogram.
    pub id: EthogramId,
    /// Its revision.
    pub revision: u32,
    /// [`Ethogram::digest`] of that revision.
    pub digest: String,
}

impl EthogramRef {
    /// A reference to this revision.
    ///
    /// # Errors
    /// As [`Ethogram::digest`].
    pub fn to(ethogram: &Ethogram) -> Result<Self, serde_json::Error> {
        Ok(Self { id: ethogram.id.clone(), revision: ethogram.revision, digest: ethogram.digest()? })
    }
}

/// How behaviour was recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RecordingRule {
    /// All of it, with its times.
    #[default]
    Continuous,
    /// What holds at sample points.
    Instantaneous {
        /// Time between points.
        every_s: Seconds,
        /// First point, from the window's start.
        #[serde(default)]
        offset_s: Seconds,
    },
    /// Whether it occurred in each interval.
    OneZero {
        /// Length of an interval.
        every_s: Seconds,
    },
}

/// One run through the film for one group of behaviours.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pass {
    /// Its name.
    pub name: String,
    /// What is coded in it.
    pub behaviours: Vec<BehaviourId>,
    /// It is complete: what was not marked did not occur.
    #[serde(default)]
    pub done: bool,
    /// Minutes spent on it.
    #[serde(default)]
    pub minutes: f64,
    /// Of a coding by samples: numbers of the points or intervals that are answered. In them what is not
    /// marked did not hold or occur; in the others nobody has looked.
    #[serde(default, skip_serializing_if = "Numbers::is_empty")]
    pub answered: Numbers,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl From<&PassOutline> for Pass {
    fn from(outline: &PassOutline) -> Self {
        Self {
            name: outline.name.clone(),
            behaviours: outline.behaviours.clone(),
            done: false,
            minutes: 0.0,
            answered: Numbers::default(),
            extra: Extra::new(),
        }
    }
}

/// Open or closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// Being worked on.
    #[default]
    Open,
    /// Done.
    Closed,
}
