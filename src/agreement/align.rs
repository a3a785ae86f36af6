//! Two codings of one session laid over each other.
//!
//! [`Pairing`] finds the time that may be compared (rule 27) and which state each record holds in
//! it; tables and matched events are counted from there. All of it works on intervals: cost grows
//! with the number of marks, not with the length of the film.

use std::collections::BTreeMap;

use super::stretches::{self, Held, Lines, Stretch};
use crate::model::{
    Actor, Behaviour, BehaviourId, Coding, End, Ethogram, Kind, Mark, MarkId, Placed, RecordingRule, Role,
    Session, SetId,
};
use crate::time::{Micros, Span, Spans};

/// Time in which no state of a set was coded.
pub const NO_STATE: &str = "(none)";

/// Which marks are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Marks {
    /// All.
    #[default]
    All,
    /// Without those flagged unsure.
    WithoutUnsure,
}

/// In what units time is compared (rule 28).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Unit<'a> {
    /// Every moment counts by its length.
    #[default]
    Exact,
    /// Units of this length from the window's start, a last partial one dropped.
    Every(Micros),
    /// At each shown picture: the session times at which they appear, rising.
    Pictures(&'a [Micros]),
}

/// Why two codings can't be compared at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NotComparable {
    /// They are of two sessions.
    #[error("they are of two sessions, {0} and {1}")]
    Sessions(String, String),
    /// They follow two ethograms or two revisions of one.
    #[error("they follow different definitions, {0} and {1}")]
    Ethograms(String, String),
    /// One of them has neither film nor a window.
    #[error("the length of the session is not known: its clips have not been opened yet")]
    NoWindow,
    /// Both hold samples: what lies between them is not known.
    #[error("they are recorded by samples: they are compared sample by sample, nothing of them by time")]
    Sampled,
    /// One of them holds samples.
    #[error("one of them is recorded by samples and the other continuously: two of one kind can be compared")]
    OneSampled,
    /// They hold samples, but not the same.
    #[error("their samples are not the same ({0}; {1}): code one of them again at the other's samples")]
    OtherSamples(String, String),
    /// Their windows do not meet.
    #[error("they cover different stretches of the session")]
    NoCommonTime,
}

/// Two codings of one session, and the time in which they may be compared.
#[derive(Debug)]
pub struct Pairing<'a> {
    first: &'a Coding,
    second: &'a Coding,
    ethogram: &'a Ethogram,
    session: &'a Session,
    marks: Marks,
    /// The marks of each record that are compared, by behaviour, found once.
    by_behaviour: [BTreeMap<&'a BehaviourId, Vec<Compared>>; 2],
    window: Span,
    visible: Spans,
}

/// Which state of a row each record holds: rows first record, columns second, in µs (exact) or
/// in whole units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overlay {
    /// The row.
    pub row: Row,
    /// The states, in the ethogram's order; [`NO_STATE`] last, where it is one of them.
    pub labels: Vec<String>,
    /// `cells[i][j]`: first record holds `labels[i]`, second `labels[j]`; microseconds.
    pub cells: Vec<Vec<i64>>,
    /// The same in blocks of 60 s of compared time, for the interval.
    pub blocks: Vec<Vec<Vec<i64>>>,
    /// The same in whole units; nothing when time is compared exactly.
    pub units: Vec<Vec<u32>>,
}

/// The stretches of a row.
pub(super) struct Laid {
    /// As those of [`Overlay`].
    pub(super) labels: Vec<String>,
    /// In order.
    pub(super) stretches: Vec<Stretch>,
}

/// What is compared of a mark.
#[derive(Debug, Clone, Copy)]
struct Compared {
    from: Micros,
    to: End,
    id: MarkId,
}

impl From<&Mark> for Compared {
    fn from(mark: &Mark) -> Self {
        Self { from: mark.from, to: mark.to, id: mark.id }
    }
}

impl Compared {
    fn span(&self, open_until: Micros) -> Option<Span> {
        self.to.span(self.from, open_until)
    }
}

/// An event, or a bout that begins in the compared time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment {
    /// Its moment, or its onset.
    pub at: Micros,
    /// A bout's end, where it was seen in the compared time.
    pub to: Option<Micros>,
    /// The mark it begins with.
    pub mark: MarkId,
}

/// A row of the tape that is compared by time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Row {
    /// A set.
    Set(SetId),
    /// A state that belongs to no set.
    State(BehaviourId),
}

impl Row {
    /// Its id.
    #[must_use]
    pub fn id(&self) -> &str {
        match self {
            Self::Set(set) => set.as_str(),
            Self::State(state) => state.as_str(),
        }
    }
}

impl<'a> Pairing<'a> {
    /// Lays two codings over each other.
    ///
    /// # Errors
    /// When they are not of one session, one revision, or have no time in common.
    pub fn try_new(
        first: &'a Coding,
        second: &'a Coding,
        ethogram: &'a Ethogram,
        session: &'a Session,
        marks: Marks,
    ) -> Result<Self, NotComparable> {
        if first.session != second.session {
            return Err(NotComparable::Sessions(first.session.to_string(), second.session.to_string()));
        }
        if (&first.ethogram.id, first.ethogram.revision) != (&second.ethogram.id, second.ethogram.revision) {
            let name =
                |coding: &Coding| format!("{} revision {}", coding.ethogram.id, coding.ethogram.revision);
            return Err(NotComparable::Ethograms(name(first), name(second)));
        }
        match (first.rule, second.rule) {
            (RecordingRule::Continuous, RecordingRule::Continuous) => {}
            (RecordingRule::Continuous, _) | (_, RecordingRule::Continuous) => {
                return Err(NotComparable::OneSampled);
            }
            _ => return Err(NotComparable::Sampled),
        }
        let window_of = |coding: &Coding| coding.observed_window(ethogram, session);
        let (Some(a), Some(b)) = (window_of(first), window_of(second)) else {
            return Err(NotComparable::NoWindow);
        };
        let window = a.intersection(b).ok_or(NotComparable::NoCommonTime)?;
        let by_behaviour = [first, second]
            .map(|coding| coding.by_behaviour(|mark| counts(mark, marks).then(|| Compared::from(mark))));
        let hidden = |own: &BTreeMap<&BehaviourId, Vec<Compared>>, end: Micros| -> Spans {
            let excluded = ethogram.with_role(Role::Excluded).filter_map(|b| own.get(&b.id)).flatten();
            excluded.filter_map(|mark| mark.span(end)).collect()
        };
        let [of_first, of_second] = &by_behaviour;
        let visible = Spans::from(window)
            .without(&session.file_gaps())
            .without(&hidden(of_first, a.to))
            .without(&hidden(of_second, b.to));
        Ok(Self { first, second, ethogram, session, marks, by_behaviour, window, visible })
    }

    /// The two codings.
    #[must_use]
    pub fn codings(&self) -> [&'a Coding; 2] {
        [self.first, self.second]
    }

    /// Their definitions.
    #[must_use]
    pub fn ethogram(&self) -> &'a Ethogram {
        self.ethogram
    }

    /// Their session.
    #[must_use]
    pub fn session(&self) -> &'a Session {
        self.session
    }

    /// Which marks are compared.
    #[must_use]
    pub fn marks(&self) -> Marks {
        self.marks
    }

    /// The stretch that both cover.
    #[must_use]
    pub fn window(&self) -> Span {
        self.window
    }

    /// The time in which the animal is visible to both.
    #[must_use]
    pub fn visible(&self) -> &Spans {
        &self.visible
    }

    /// The rows that are compared by time: each set, then each state without one.
    #[must_use]
    pub fn rows(&self) -> Vec<Row> {
        let sets = self.ethogram.sets.iter().filter(|set| self.ethogram.states_of(&set.id).next().is_some());
        let alone = self.ethogram.behaviours.iter().filter(|b| b.kind == Kind::State && b.set.is_none());
        sets.map(|set| Row::Set(set.id.clone())).chain(alone.map(|b| Row::State(b.id.clone()))).collect()
    }

    /// The states of a row.
    pub(super) fn states(&self, row: &Row) -> Vec<&'a Behaviour> {
        match row {
            Row::Set(set) => self
                .ethogram
                .behaviours
                .iter()
                .filter(|b| b.kind == Kind::State && b.set.as_ref() == Some(set))
                .collect(),
            Row::State(id) => self.ethogram.behaviour(id).into_iter().collect(),
        }
    }

    /// Whether the passes of all these behaviours are done in both records (rule 13).
    pub(super) fn is_done(&self, behaviours: &[&Behaviour]) -> bool {
        behaviours.iter().all(|b| self.first.is_done(&b.id) && self.second.is_done(&b.id))
    }

    /// The time in which a row is compared (rule 27): the visibility set and the handler's
    /// behaviours over the whole common window, the others while visible to both.
    pub(super) fn compared(&self, row: &Row) -> Spans {
        let of_handler = self.states(row).iter().all(|b| b.who == Actor::Handler);
        let of_visibility = matches!(row, Row::Set(set) if self.ethogram.visibility_set() == Some(set));
        if of_handler || of_visibility { Spans::from(self.window) } else { self.visible.clone() }
    }

    /// Which state of a row each record holds; `None` when a pass that holds one of its states is
    /// not done in both.
    #[must_use]
    pub fn overlay(&self, row: &Row, unit: Unit<'_>) -> Option<Overlay> {
        let laid = self.laid(row, unit)?;
        let counted = stretches::count(&laid.stretches, laid.labels.len(), unit);
        Some(Overlay {
            row: row.clone(),
            labels: laid.labels,
            cells: counted.cells,
            blocks: counted.blocks,
            units: counted.units,
        })
    }

    /// The stretches of a row, and its labels.
    pub(super) fn laid(&self, row: &Row, unit: Unit<'_>) -> Option<Laid> {
        let states = self.states(row);
        if !self.is_done(&states) {
            return None;
        }
        let none = states.len();
        let compared = self.compared(row);
        let lines = self.by_behaviour.each_ref().map(|own| line(own, &states, self.window.to));
        let lines = Lines {
            records: lines.each_ref().map(Vec::as_slice),
            compared: &compared,
            none,
            window: self.window,
        };
        let lasting;
        let unit = match unit {
            Unit::Pictures(times) => {
                lasting = self.with_ends_of_film(times);
                Unit::Pictures(&lasting)
            }
            other => other,
        };
        let stretches = lines.stretches(unit);
        let exhaustive =
            matches!(row, Row::Set(set) if self.ethogram.set(set).is_some_and(|set| set.exhaustive));
        let complete = stretches.iter().all(|stretch| !stretch.labels.contains(&none));
        let mut labels: Vec<String> = states.iter().map(|b| b.id.to_string()).collect();
        if !(exhaustive && complete) {
            labels.push(NO_STATE.to_owned());
        }
        Some(Laid { labels, stretches })
    }

    /// The times of pictures, and where the film breaks off: the last picture before a gap lasts until there,
    /// not until the film goes on.
    fn with_ends_of_film(&self, times: &[Micros]) -> Vec<Micros> {
        let breaks = self.session.file_gaps();
        let mut all: Vec<Micros> = times.iter().copied().chain(breaks.iter().map(|gap| gap.from)).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// The states of the first record along time, in order.
    pub(super) fn first_line(&self, states: &[&Behaviour]) -> Vec<Held> {
        let [first, _] = &self.by_behaviour;
        line(first, states, self.window.to)
    }

    /// Onsets of a behaviour in both records inside the compared time, each in order; bouts that
    /// follow each other too closely to be two (rule 10) have one onset. `None` when its pass is
    /// not done in both.
    #[must_use]
    pub fn onsets(&self, behaviour: &Behaviour) -> Option<[Vec<Micros>; 2]> {
        Some(self.moments(behaviour)?.map(|list| list.into_iter().map(|moment| moment.at).collect()))
    }

    /// As [`Pairing::onsets`], with the marks and, of bouts, their ends.
    #[must_use]
    pub fn moments(&self, behaviour: &Behaviour) -> Option<[Vec<Moment>; 2]> {
        if !self.is_done(&[behaviour]) {
            return None;
        }
        let compared = match behaviour.who {
            Actor::Handler => Spans::from(self.window),
            Actor::Animal => self.visible.clone(),
        };
        Some(self.by_behaviour.each_ref().map(|own| self.moments_of(own, behaviour, &compared)))
    }

    fn moments_of(
        &self,
        own: &BTreeMap<&BehaviourId, Vec<Compared>>,
        behaviour: &Behaviour,
        compared: &Spans,
    ) -> Vec<Moment> {
        let mut marks = own.get(&behaviour.id).cloned().unwrap_or_default();
        marks.sort_by_key(|mark| mark.from);
        let gap = behaviour.new_bout_after_s.unwrap_or_default().micros();
        let mut moments: Vec<Moment> = Vec::with_capacity(marks.len());
        let mut ended: Option<Micros> = None;
        for mark in marks {
            let span = mark.span(self.window.to);
            let goes_on =
                span.is_some() && ended.is_some_and(|ended| mark.from - ended < gap || mark.from == ended);
            if !goes_on {
                moments.push(Moment { at: mark.from, to: None, mark: mark.id });
            }
            if let Some(span) = span {
                ended = ended.max(Some(span.to));
                if let Some(last) = moments.last_mut() {
                    last.to = ended;
                }
            }
        }
        moments.retain(|moment| compared.contains(moment.at));
        for moment in &mut moments {
            // An end at an edge or out of sight was not seen.
            moment.to = moment.to.filter(|to| compared.contains(*to));
        }
        moments
    }

    /// Tolerance for matching events where none is given (rule 30): 1 s, or 2 s when one of the
    /// records has more marks placed live than stepped.
    #[must_use]
    pub fn default_tolerance(&self) -> Micros {
        let mostly_live = |coding: &Coding| {
            let live = coding.marks.iter().filter(|mark| matches!(mark.placed, Placed::Live { .. })).count();
            live * 2 > coding.marks.len()
        };
        Micros::from_whole_seconds(if mostly_live(self.first) || mostly_live(self.second) { 2 } else { 1 })
    }
}

/// The states of a record along time, in order.
fn line(own: &BTreeMap<&BehaviourId, Vec<Compared>>, states: &[&Behaviour], end: Micros) -> Vec<Held> {
    let mut line = Vec::new();
    for (label, behaviour) in states.iter().enumerate() {
        let marks = own.get(&behaviour.id).into_iter().flatten();
        let held = marks.filter_map(|mark| Some(Held { span: mark.span(end)?, label, mark: mark.id }));
        line.extend(held.filter(|held| !held.span.is_empty()));
    }
    // A rising list for each state: the stable sort finds them and merges.
    line.sort();
    line
}

/// Whether a mark is among those compared.
pub(super) fn counts(mark: &Mark, marks: Marks) -> bool {
    marks != Marks::WithoutUnsure || !mark.unsure
}
