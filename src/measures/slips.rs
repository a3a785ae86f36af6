//! Slips of coding: what a record holds that was hardly meant, each with its place and in a keeper's words.
//!
//! Nothing is changed and nothing refused: a slip is a question. Where one needs two behaviours coded
//! (food without marker), it is asked only when the passes of both are done: before that, absence
//! means nothing (rule 13). Cost grows with the number of marks.

use std::collections::BTreeMap;

use super::presentations::{self, Outcome, Presentation};
use super::record::Record;
use crate::model::{Actor, Behaviour, BehaviourId, Kind, Mark, MarkId, Role, SetId};
use crate::numeric::quantile;
use crate::time::{Micros, Span, Spans};

/// Something to look at again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slip {
    /// Where.
    pub at: Micros,
    /// What kind.
    pub kind: SlipKind,
    /// The mark it is about; none: a stretch without marks.
    pub mark: Option<MarkId>,
    /// What is odd, and what to ask oneself.
    pub words: String,
}

/// Kinds of slips.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum SlipKind {
    /// Two states hold of which only one can.
    Overlap,
    /// A state that was never ended, in a finished pass or a closed coding.
    OpenState,
    /// A cue shown long after its presentation had ended, or never taken away.
    CueLeftOn,
    /// A bout more than ten times as long as usual.
    LongState,
    /// An event of the animal where it could not be seen.
    OutOfSight,
    /// A contact while no cue was shown.
    ContactWithoutCue,
    /// A presentation in which nothing of the animal was coded.
    NoOutcome,
    /// Food that no marker announced.
    FoodWithoutMarker,
    /// A marker that no food followed.
    MarkerWithoutFood,
    /// More than a minute in sight without any mark.
    NothingMarked,
}

impl SlipKind {
    /// As a heading.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Overlap => "two at once",
            Self::OpenState => "never ended",
            Self::CueLeftOn => "cue left on",
            Self::LongState => "much longer than usual",
            Self::OutOfSight => "while out of sight",
            Self::ContactWithoutCue => "contact without a cue",
            Self::NoOutcome => "presentation without outcome",
            Self::FoodWithoutMarker => "food without marker",
            Self::MarkerWithoutFood => "marker without food",
            Self::NothingMarked => "nothing marked",
        }
    }
}

/// How many times its median a bout may last unasked (our default).
pub const TIMES_MEDIAN: f64 = 10.0;
/// Complete bouts from which a median can be called usual (our default).
pub const ENOUGH_BOUTS: usize = 5;
/// How long a cue may be shown after its presentation ended (our default).
pub const CUE_AFTER: Micros = Micros::from_whole_seconds(30);
/// Longest time from marker to food (our default).
pub const MARKER_TO_FOOD: Micros = Micros::from_whole_seconds(10);
/// Longest time in sight without any mark (our default).
pub const SILENCE: Micros = Micros::from_whole_seconds(60);

/// All slips of a record, by place.
#[must_use]
pub fn of(record: &Record<'_>) -> Vec<Slip> {
    // All of them are about times; samples have none.
    if record.is_continuous().is_err() {
        return Vec::new();
    }
    let presentations = presentations::of(record);
    let mut found = Slips(Vec::new());
    found.overlaps(record);
    found.cues_left_on(record, &presentations);
    found.open_states(record);
    found.long_states(record);
    found.events_out_of_sight(record);
    found.contacts_without_cue(record);
    found.presentations_without_outcome(record, &presentations);
    found.marker_and_food(record);
    found.nothing_marked(record);
    let mut slips = found.0;
    slips.sort_by_key(|slip| (slip.at, slip.kind, slip.mark));
    slips
}

/// States of which one at a time holds: those of a set, or one that belongs to none.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Line<'a> {
    Set(&'a SetId),
    Alone(&'a BehaviourId),
}

struct Slips(Vec<Slip>);

impl Slips {
    fn push(&mut self, kind: SlipKind, at: Micros, mark: impl Into<Option<MarkId>>, words: String) {
        self.0.push(Slip { at, kind, mark: mark.into(), words });
    }

    fn overlaps(&mut self, record: &Record<'_>) {
        let mut lines: BTreeMap<Line<'_>, Vec<(Span, MarkId, &Behaviour)>> = BTreeMap::new();
        for behaviour in &record.ethogram.behaviours {
            let line = behaviour.set.as_ref().map_or(Line::Alone(&behaviour.id), Line::Set);
            let own = lines.entry(line).or_default();
            // An open bout of the past excludes what comes after it, whatever the window.
            own.extend(
                marks_of(record, behaviour).filter_map(|m| Some((m.span(Micros::MAX)?, m.id, behaviour))),
            );
        }
        for marks in lines.values_mut() {
            marks.sort_by_key(|(span, id, _)| (*span, *id));
            let mut longest: Option<(Span, &Behaviour)> = None;
            for (span, id, behaviour) in marks.iter() {
                if let Some((before, holding)) = longest.filter(|(before, _)| span.from < before.to) {
                    let (new, old, since) = (&behaviour.name, &holding.name, before.from.clock());
                    let words = if behaviour.id == holding.id {
                        format!(
                            "'{new}' begins again although the one from {since} has not ended: which is right?"
                        )
                    } else {
                        format!(
                            "'{new}' begins while '{old}', from {since}, still holds; only one of them can: end the other here?"
                        )
                    };
                    self.push(SlipKind::Overlap, span.from, *id, words);
                }
                if longest.is_none_or(|(before, _)| span.to > before.to) {
                    longest = Some((*span, behaviour));
                }
            }
        }
    }

    fn cues_left_on(&mut self, record: &Record<'_>, presentations: &[Presentation]) {
        for presentation in presentations {
            let Some(mark) = record.coding.mark(presentation.mark) else { continue };
            let number = presentation.number;
            if mark.is_open() {
                if is_finished(record, mark) {
                    let words =
                        format!("The cue of presentation {number} was never taken away: when was it?");
                    self.push(SlipKind::CueLeftOn, mark.from, mark.id, words);
                }
                continue;
            }
            let Some(span) = mark.span(record.window().to) else { continue };
            let after = span.to - presentation.end;
            if after > CUE_AFTER && presentation.outcome != Outcome::Running {
                let words = format!(
                    "The cue of presentation {number} is shown for another {} after it had ended ({}): was its end forgotten?",
                    seconds(after),
                    presentation.outcome.words()
                );
                self.push(SlipKind::CueLeftOn, presentation.end, mark.id, words);
            }
        }
    }

    fn open_states(&mut self, record: &Record<'_>) {
        for behaviour in record.ethogram.behaviours.iter().filter(|b| !b.has_role(Role::Cue)) {
            for mark in marks_of(record, behaviour).filter(|m| m.is_open() && is_finished(record, m)) {
                let words = format!("'{}' was begun here and never ended: when did it stop?", behaviour.name);
                self.push(SlipKind::OpenState, mark.from, mark.id, words);
            }
        }
    }

    fn long_states(&mut self, record: &Record<'_>) {
        // In sight is the rule and may last as long as it likes.
        let is_usual = |b: &Behaviour| b.has_role(Role::Visible) || b.has_role(Role::PartVisible);
        // One question a mark is enough.
        let asked: Vec<MarkId> =
            self.0.iter().filter(|s| s.kind != SlipKind::Overlap).filter_map(|s| s.mark).collect();
        for behaviour in record.ethogram.behaviours.iter().filter(|b| b.kind == Kind::State && !is_usual(b)) {
            let bouts = record.bouts(behaviour);
            let length = |span: Span| span.length().seconds();
            let complete: Vec<f64> =
                bouts.iter().filter(|bout| bout.is_complete()).map(|bout| length(bout.span)).collect();
            let Some(median) = quantile::of(&complete, 0.5).filter(|_| complete.len() >= ENOUGH_BOUTS) else {
                continue;
            };
            for bout in bouts.iter().filter(|bout| length(bout.span) > TIMES_MEDIAN * median) {
                if asked.contains(&bout.mark) {
                    continue;
                }
                let words = format!(
                    "'{}' lasts {}, more than ten times the usual {median:.1} s: was its end forgotten?",
                    behaviour.name,
                    seconds(bout.span.length())
                );
                self.push(SlipKind::LongState, bout.span.from, bout.mark, words);
            }
        }
    }

    fn events_out_of_sight(&mut self, record: &Record<'_>) {
        let is_own = |b: &&Behaviour| b.kind == Kind::Event && b.who == Actor::Animal;
        for behaviour in record.ethogram.behaviours.iter().filter(is_own) {
            for mark in marks_of(record, behaviour) {
                let place = record.excluded().as_slice().partition_point(|span| span.to <= mark.from);
                let Some(span) =
                    record.excluded().as_slice().get(place).filter(|span| span.contains(mark.from))
                else {
                    continue;
                };
                let words = format!(
                    "'{}' is marked while the animal is out of sight ({} to {}), so it does not count: could it be seen?",
                    behaviour.name,
                    span.from.clock(),
                    span.to.clock()
                );
                self.push(SlipKind::OutOfSight, mark.from, mark.id, words);
            }
        }
    }

    fn contacts_without_cue(&mut self, record: &Record<'_>) {
        if record.is_role_done(Role::Contact).and(record.is_role_done(Role::Cue)).is_err() {
            return;
        }
        // A cue coded as an event has no end that could be told from the marks.
        let shown = |mark: &Mark| {
            mark.span(record.window().to).unwrap_or(Span::between(mark.from, record.window().to))
        };
        let mut cues: Vec<Span> = record
            .ethogram
            .with_role(Role::Cue)
            .flat_map(|behaviour| marks_of(record, behaviour))
            .map(shown)
            .collect();
        cues.sort_unstable();
        for (at, mark) in record.role_onsets(Role::Contact) {
            // The end of a presentation belongs to it (rule 16).
            if cues.iter().any(|cue| cue.from <= at && at <= cue.to) {
                continue;
            }
            let before = cues.iter().map(|cue| cue.to).filter(|to| *to < at).max();
            let last = before.map_or_else(
                || "none had been shown before".to_owned(),
                |to| format!("the last was taken away {} before", seconds(at - to)),
            );
            let words =
                format!("A contact while no cue is shown ({last}): is a cue missing, or was it chance?");
            self.push(SlipKind::ContactWithoutCue, at, mark, words);
        }
    }

    fn presentations_without_outcome(&mut self, record: &Record<'_>, presentations: &[Presentation]) {
        const TELLING: [Role; 12] = [
            Role::Orient,
            Role::Approach,
            Role::Retreat,
            Role::Contact,
            Role::Success,
            Role::Refuse,
            Role::Hide,
            Role::Escape,
            Role::Defensive,
            Role::Freeze,
            Role::Abort,
            Role::Void,
        ];
        let telling = |b: &&Behaviour| TELLING.iter().any(|role| b.has_role(*role));
        let behaviours: Vec<&Behaviour> = record.ethogram.behaviours.iter().filter(telling).collect();
        let is_coded = behaviours.iter().all(|b| record.coding.is_done(&b.id));
        if !is_coded || record.is_role_done(Role::Cue).is_err() {
            return;
        }
        let mut moments: Vec<Micros> =
            behaviours.iter().flat_map(|b| record.onsets(b)).map(|(at, _)| at).collect();
        moments.sort_unstable();
        for presentation in presentations.iter().filter(|p| p.outcome == Outcome::PassiveRefusal) {
            let next = moments.get(moments.partition_point(|at| *at < presentation.cue));
            if next.is_some_and(|at| *at <= presentation.end) {
                continue;
            }
            let words = format!(
                "Nothing the animal did is marked in presentation {}, so it counts as a passive refusal: did it really do nothing?",
                presentation.number
            );
            self.push(SlipKind::NoOutcome, presentation.cue, presentation.mark, words);
        }
    }

    fn marker_and_food(&mut self, record: &Record<'_>) {
        if record.is_role_done(Role::Marker).and(record.is_role_done(Role::Food)).is_err() {
            return;
        }
        let (markers, foods) = (record.role_onsets(Role::Marker), record.role_onsets(Role::Food));
        for (at, mark) in &foods {
            let before = markers.get(..markers.partition_point(|(marker, _)| marker <= at));
            let last = before.and_then(<[_]>::last).map(|(marker, _)| *at - *marker);
            if last.is_some_and(|since| since <= MARKER_TO_FOOD) {
                continue;
            }
            let last = last.map_or_else(
                || "none was given before".to_owned(),
                |since| format!("the last was given {} before", seconds(since)),
            );
            let words = format!("Food without a marker ({last}): was the marker missed?");
            self.push(SlipKind::FoodWithoutMarker, *at, *mark, words);
        }
        for (i, (at, mark)) in markers.iter().enumerate() {
            let next_marker = markers.get(i + 1).map_or(Micros::MAX, |(next, _)| *next);
            let food = foods.get(foods.partition_point(|(food, _)| food < at)).map(|(food, _)| *food);
            if food.is_some_and(|food| food <= *at + MARKER_TO_FOOD && (food < next_marker || food == *at)) {
                continue;
            }
            let next = match food {
                Some(food) if food < next_marker => format!("the next comes {} later", seconds(food - *at)),
                Some(_) => "another marker comes first".to_owned(),
                None => "none comes after it".to_owned(),
            };
            let words = format!("A marker without food ({next}): was the food missed?");
            self.push(SlipKind::MarkerWithoutFood, *at, *mark, words);
        }
    }

    fn nothing_marked(&mut self, record: &Record<'_>) {
        let window = record.window();
        let mut edges: Vec<Micros> = vec![window.from];
        for behaviour in &record.ethogram.behaviours {
            for mark in marks_of(record, behaviour) {
                edges.push(mark.from);
                edges.extend(mark.span(Micros::MAX).map(|span| span.to));
            }
        }
        // In a record in the making everything after the last mark is still to come.
        if record.is_closed() || record.coding.passes.iter().all(|pass| pass.done) {
            edges.push(window.to);
        }
        edges.retain(|at| window.from <= *at && *at <= window.to);
        edges.sort_unstable();
        edges.dedup();
        let states: Vec<(&Behaviour, Spans)> = record
            .ethogram
            .behaviours
            .iter()
            .filter(|b| b.kind == Kind::State && b.who == Actor::Animal && !b.has_role(Role::Visible))
            .map(|b| (b, record.bouts(b).into_iter().map(|bout| bout.span).collect()))
            .collect();
        for pair in edges.windows(2) {
            let [from, to] = pair else { continue };
            let stretch = Span::between(*from, *to);
            let seen = Spans::from(stretch).intersection(record.visible_so_far());
            if seen.total() <= SILENCE {
                continue;
            }
            let holding: Vec<String> = states
                .iter()
                .filter(|(_, spans)| spans.contains(*from))
                .map(|(b, _)| format!("'{}'", b.name))
                .collect();
            let holds = if holding.is_empty() {
                "no behaviour is said to hold".to_owned()
            } else {
                format!("{} is said to hold", holding.join(" and "))
            };
            let words = format!(
                "Nothing is marked for {} from here, and {holds} all the while: was this stretch watched?",
                seconds(stretch.length())
            );
            self.push(SlipKind::NothingMarked, *from, None, words);
        }
    }
}

/// All marks of a behaviour, unsure ones and those of passes that are not done too: a slip is one
/// whatever is measured.
fn marks_of<'a>(record: &Record<'a>, behaviour: &'a Behaviour) -> impl Iterator<Item = &'a Mark> {
    record.coding.marks.iter().filter(move |mark| mark.behaviour == behaviour.id)
}

/// Whether nobody is still at work on it: its pass is done, or the coding is closed.
fn is_finished(record: &Record<'_>, mark: &Mark) -> bool {
    record.is_closed() || record.coding.is_done(&mark.behaviour)
}

/// As people say a length.
fn seconds(length: Micros) -> String {
    format!("{:.1} s", length.seconds())
}
