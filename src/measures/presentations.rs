//! Presentations: from a cue's onset to its outcome (rules 17 to 22).

use serde::Serialize;

use super::record::Record;
use crate::model::{Behaviour, BehaviourId, Context, Kind, Level, Mark, MarkId, Role};
use crate::time::{Micros, Span};

/// One trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Presentation {
    /// From 1.
    pub number: u32,
    /// The cue's mark.
    pub mark: MarkId,
    /// The cue's onset.
    pub cue: Micros,
    /// Its end.
    pub end: Micros,
    /// How it ended.
    pub outcome: Outcome,
    /// Why it is void.
    pub reason: Option<String>,
    /// Time from the cue to the first orient.
    pub orient: Latency,
    /// To the first approach.
    pub approach: Latency,
    /// To the first contact.
    pub contact: Latency,
    /// To success.
    pub success: Latency,
    /// Onsets of approach and retreat inside, in order.
    pub turns: Vec<(Micros, Turn)>,
    /// The last of its approach, retreat, hide and escape onsets, when it was no approach.
    pub refused_at: Option<Micros>,
    /// The limited hold that applied.
    pub hold: Option<Micros>,
}

/// How a presentation ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The step's criterion met, without help.
    Success,
    /// Met after help.
    SuccessPrompted,
    /// The animal left or hid.
    OptOut,
    /// Nothing came of it.
    PassiveRefusal,
    /// The handler broke it off.
    Aborted,
    /// It does not count.
    Void,
    /// It still runs.
    Running,
}

impl Outcome {
    /// As people read it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Success => "success",
            Self::SuccessPrompted => "success, prompted",
            Self::OptOut => "opt-out",
            Self::PassiveRefusal => "passive refusal",
            Self::Aborted => "aborted",
            Self::Void => "void",
            Self::Running => "running",
        }
    }

    /// Whether it is in the denominator of the success rate (rule 19).
    #[must_use]
    pub const fn is_valid(self) -> bool {
        matches!(self, Self::Success | Self::OptOut | Self::PassiveRefusal)
    }
}

/// A time from the cue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Latency {
    /// Reached after this time.
    Reached(Micros),
    /// The animal was already at it: 0, flagged.
    Already,
    /// Not reached; watched for this long.
    Censored(Micros),
    /// Not a case: it had begun before the cue.
    LeftOut,
}

impl Latency {
    /// The time, if it was reached.
    #[must_use]
    pub const fn reached(self) -> Option<Micros> {
        match self {
            Self::Reached(time) => Some(time),
            Self::Already => Some(Micros::ZERO),
            Self::Censored(_) | Self::LeftOut => None,
        }
    }
}

/// A turn to or from the reference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// Towards it.
    Approach,
    /// Away from it.
    Retreat,
}

impl Presentation {
    /// Its time.
    #[must_use]
    pub fn span(&self) -> Span {
        Span::between(self.cue, self.end)
    }

    /// Whether a moment is inside: its end is (rule 16).
    #[must_use]
    pub fn contains(&self, at: Micros) -> bool {
        self.cue <= at && at <= self.end
    }

    /// Approach and retreat change direction at least twice, repeats merged (rule 22).
    #[must_use]
    pub fn is_vacillating(&self) -> bool {
        let changes = self.turns.windows(2).filter(|pair| matches!(pair, [a, b] if a.1 != b.1)).count();
        changes >= 2
    }
}

/// How long before the cue an approach may have begun and still be under way (rule 18).
const ALREADY: Micros = Micros::from_whole_seconds(3);

/// All presentations of a record, in order. A cue still shown in a record that is open is running.
#[must_use]
pub fn of(record: &Record<'_>) -> Vec<Presentation> {
    let mut cues: Vec<(Span, &Mark)> = record
        .ethogram
        .with_role(Role::Cue)
        .flat_map(|behaviour| record.marks_of(behaviour))
        .filter_map(|mark| Some((cue_span(mark, record.window())?, mark)))
        .filter(|(span, _)| record.window().contains(span.from))
        .collect();
    cues.sort_by_key(|(span, mark)| (span.from, mark.id));
    let marks = Moments::of(record);
    (1_u32..)
        .zip(&cues)
        .map(|(number, (cue, mark))| {
            let next = cues.get(number as usize).map(|(next, _)| next.from);
            one(record, &marks, number, *cue, mark, next)
        })
        .collect()
}

/// A cue coded as an event has no end of its own.
fn cue_span(mark: &Mark, window: Span) -> Option<Span> {
    if mark.is_event() { Span::try_new(mark.from, window.to) } else { mark.span(window.to) }
}

/// Onsets by role, found once for all presentations.
struct Moments {
    orient: Vec<Micros>,
    approach: Vec<Micros>,
    retreat: Vec<Micros>,
    contact: Vec<Micros>,
    away: Vec<Micros>,
    prompt: Vec<Micros>,
    abort: Vec<Micros>,
    back_off: Vec<Micros>,
    stop: Vec<Micros>,
    success: Vec<Micros>,
    disturbed: Vec<Span>,
    void: Vec<(Micros, Option<String>)>,
    held: Option<(Vec<Span>, Micros)>,
}

impl Moments {
    fn of(record: &Record<'_>) -> Self {
        let onsets = |role| record.role_onsets(role).into_iter().map(|(at, _)| at).collect::<Vec<_>>();
        let merged = |roles: &[Role]| {
            let mut all: Vec<Micros> = roles.iter().flat_map(|role| onsets(*role)).collect();
            all.sort_unstable();
            all.dedup();
            all
        };
        let named: Option<&Behaviour> =
            record.step().and_then(|step| record.ethogram.behaviour(step.success.as_ref()?));
        let of_behaviour = |b: &Behaviour| record.onsets(b).into_iter().map(|(at, _)| at).collect::<Vec<_>>();
        let held_s = record.step().and_then(|step| step.held_s).map(crate::time::Seconds::micros);
        let held = named
            .filter(|b| b.kind == Kind::State)
            .zip(held_s)
            .map(|(b, held)| (record.bouts(b).into_iter().map(|bout| bout.span).collect(), held));
        let mut disturbed: Vec<Span> = Vec::new();
        let mut void = Vec::new();
        for behaviour in record.ethogram.with_role(Role::Disturbance) {
            for mark in record.marks_of(behaviour) {
                disturbed.push(mark.span(record.window().to).unwrap_or(Span::between(mark.from, mark.from)));
            }
        }
        for behaviour in record.ethogram.with_role(Role::Void) {
            void.extend(record.marks_of(behaviour).map(|mark| {
                (
                    mark.from,
                    mark.reason
                        .clone()
                        .or_else(|| mark.note.clone())
                        .or_else(|| Some("marked void".to_owned())),
                )
            }));
        }
        let stop = stop_onsets(record);
        Self {
            orient: onsets(Role::Orient),
            approach: onsets(Role::Approach),
            retreat: onsets(Role::Retreat),
            contact: onsets(Role::Contact),
            away: merged(&[Role::Retreat, Role::Hide, Role::Escape]),
            prompt: onsets(Role::Prompt),
            abort: onsets(Role::Abort),
            back_off: onsets(Role::BackOff),
            stop,
            success: named.map_or_else(|| onsets(Role::Success), of_behaviour),
            disturbed,
            void,
            held,
        }
    }

    /// First moment of success at or after the cue.
    fn success_after(&self, cue: Micros) -> Option<Micros> {
        match &self.held {
            Some((bouts, held)) => bouts
                .iter()
                .filter(|span| span.to > cue)
                .map(|span| (span.from.max(cue) + *held, span.to))
                .find(|(at, to)| at <= to)
                .map(|(at, _)| at),
            None => first_in(&self.success, cue, Micros::MAX),
        }
    }
}

/// Onsets of behaviours that are at stop level from their first moment, wherever they occur.
fn stop_onsets(record: &Record<'_>) -> Vec<Micros> {
    let mut found = Vec::new();
    for behaviour in &record.ethogram.behaviours {
        for (at, id) in record.onsets(behaviour) {
            let detail = record.coding.mark(id).and_then(|mark| mark.detail.as_deref());
            let is_stop = behaviour.concern_in(record.animal()).any(|rule| {
                // Inside a presentation both contexts apply.
                let here = matches!(rule.when, Context::Any | Context::InPresentation);
                here && rule.level == Level::Stop
                    && rule.detail.as_deref().is_none_or(|wanted| Some(wanted) == detail)
            });
            if is_stop {
                found.push(at);
            }
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// First moment in [from, to].
fn first_in(moments: &[Micros], from: Micros, to: Micros) -> Option<Micros> {
    let place = moments.partition_point(|at| *at < from);
    moments.get(place).copied().filter(|at| *at <= to)
}

/// Last moment in [from, to].
fn last_in(moments: &[Micros], from: Micros, to: Micros) -> Option<Micros> {
    let place = moments.partition_point(|at| *at <= to);
    place.checked_sub(1).and_then(|place| moments.get(place)).copied().filter(|at| *at >= from)
}

fn one(
    record: &Record<'_>,
    moments: &Moments,
    number: u32,
    cue: Span,
    mark: &Mark,
    next: Option<Micros>,
) -> Presentation {
    let start = cue.from;
    let hold = record
        .step()
        .and_then(|step| step.hold_s)
        .or_else(|| record.taxon().map(crate::model::Taxon::default_hold))
        .map(crate::time::Seconds::micros);
    let is_open = mark.is_open() && !record.is_closed();
    // The latest it can end without anything happening.
    let mut end = cue.to.min(record.window().to);
    end = end.min(next.unwrap_or(Micros::MAX)).min(hold.map_or(Micros::MAX, |hold| start + hold));
    let runs = is_open && next.is_none() && hold.is_none_or(|hold| start + hold > record.window().to);

    let success = moments.success_after(start).filter(|at| *at <= end);
    let void = voided(record, moments, start, success.unwrap_or(end));
    let abort = aborted(moments, start, success.unwrap_or(end));
    let (mut outcome, mut reason) = (Outcome::PassiveRefusal, None);
    match (void, abort, success) {
        (Some((at, why)), abort, _) if abort.is_none_or(|abort| at <= abort) => {
            outcome = Outcome::Void;
            reason = why;
            end = at;
        }
        (_, Some(at), _) => {
            outcome = Outcome::Aborted;
            end = at;
        }
        (_, None, Some(at)) => {
            end = at;
            outcome = if first_in(&moments.prompt, start, at).is_some() {
                Outcome::SuccessPrompted
            } else {
                Outcome::Success
            };
        }
        (_, None, None) => {}
    }
    let hidden: Micros =
        crate::time::Spans::from(Span::between(start, end)).intersection(record.excluded()).total();
    if hidden.0 * 2 > (end - start).0 && outcome != Outcome::Void {
        outcome = Outcome::Void;
        reason = Some("more than half of it out of sight".to_owned());
    }
    let refused_at = last_in(&moments.away, start, end)
        .filter(|away| last_in(&moments.approach, start, end).is_none_or(|approach| approach < *away));
    if outcome == Outcome::PassiveRefusal && refused_at.is_some() {
        outcome = Outcome::OptOut;
    }
    if runs && matches!(outcome, Outcome::PassiveRefusal | Outcome::OptOut) {
        outcome = Outcome::Running;
    }
    let latency = |at: Option<Micros>| match at {
        Some(at) => Latency::Reached(at - start),
        None => Latency::Censored(end - start),
    };
    let under_way = last_in(&moments.approach, start - ALREADY, start - Micros(1))
        .is_some_and(|at| last_in(&moments.retreat, at, start).is_none());
    let orient = first_in(&moments.orient, start, end);
    let inside = |list: &[Micros], turn: Turn| {
        list.iter().copied().filter(|at| start <= *at && *at <= end).map(|at| (at, turn)).collect::<Vec<_>>()
    };
    let mut turns = inside(&moments.approach, Turn::Approach);
    turns.extend(inside(&moments.retreat, Turn::Retreat));
    turns.sort_by_key(|(at, turn)| (*at, *turn == Turn::Retreat));
    Presentation {
        number,
        mark: mark.id,
        cue: start,
        end,
        outcome,
        reason,
        orient: if under_way || orient == Some(start) { Latency::Already } else { latency(orient) },
        approach: if under_way { Latency::LeftOut } else { latency(first_in(&moments.approach, start, end)) },
        contact: latency(first_in(&moments.contact, start, end)),
        success: latency(success.filter(|at| *at <= end)),
        turns,
        refused_at,
        hold,
    }
}

/// First disturbance, file gap or void mark inside, before `until`.
fn voided(
    record: &Record<'_>,
    moments: &Moments,
    start: Micros,
    until: Micros,
) -> Option<(Micros, Option<String>)> {
    let disturbed = moments
        .disturbed
        .iter()
        .filter(|span| span.from <= until && (span.to > start || span.from >= start))
        .map(|span| (span.from.max(start), Some("disturbance".to_owned())))
        .min();
    let gap = record
        .session
        .file_gaps()
        .iter()
        .filter(|span| span.from < until && span.to > start)
        .map(|span| (span.from.max(start), Some("file gap".to_owned())))
        .min();
    let marked = moments.void.iter().filter(|(at, _)| start <= *at && *at <= until).min().cloned();
    [disturbed, gap, marked].into_iter().flatten().min_by_key(|(at, _)| *at)
}

/// Moment at which the handler broke it off: an abort mark, or a stop-level onset followed by the
/// cue's end, back-off or abort.
fn aborted(moments: &Moments, start: Micros, until: Micros) -> Option<Micros> {
    let marked = first_in(&moments.abort, start, until);
    let stopped = first_in(&moments.stop, start, until).and_then(|stop| {
        // `until` is the cue's end at the latest; when it is success, there was none before.
        first_in(&moments.back_off, stop, until).into_iter().chain(marked.filter(|at| *at >= stop)).min()
    });
    [marked, stopped].into_iter().flatten().min()
}

/// What the step asks for as success, for showing it.
#[must_use]
pub fn success_behaviour<'a>(record: &Record<'a>) -> Option<&'a BehaviourId> {
    record.step().and_then(|step| step.success.as_ref())
}
