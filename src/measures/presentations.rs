//! Presentations: from a cue's onset to its outcome (rules 17 to 22).

use serde::Serialize;

use super::record::Record;
use crate::model::{Behaviour, BehaviourId, ConcernRule, Context, Kind, Level, Mark, MarkId, Role};
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
    /// The end of the cue itself.
    pub cue_end: Micros,
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
    /// What would tell is not coded to its end.
    NotCoded,
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
            Self::NotCoded => "not coded",
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
    /// The pass that would tell is not done.
    NotCoded,
}

impl Latency {
    /// The time, if it was reached.
    #[must_use]
    pub const fn reached(self) -> Option<Micros> {
        match self {
            Self::Reached(time) => Some(time),
            Self::Already => Some(Micros::ZERO),
            Self::Censored(_) | Self::LeftOut | Self::NotCoded => None,
        }
    }

    /// As tables say it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Reached(_) | Self::Already => "reached",
            Self::Censored(_) => "censored",
            Self::LeftOut => "left_out",
            Self::NotCoded => "not_coded",
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
    let mut cues: Vec<Cue> =
        record.ethogram.with_role(Role::Cue).flat_map(|behaviour| cues_of(record, behaviour)).collect();
    cues.sort_by_key(|cue| (cue.span.from, cue.mark));
    let mut moments = Moments::of(record);
    let all = |moments: &Moments| -> Vec<Presentation> {
        (1_u32..)
            .zip(&cues)
            .map(|(number, cue)| {
                let next = cues.get(number as usize).map(|next| next.span.from);
                one(record, moments, number, cue, next)
            })
            .collect()
    };
    let found = all(&moments);
    // A level may rise to stop inside a presentation; that it does depends on where presentations lie.
    let raised = super::concern::raised_stops(record, &found);
    if raised.is_empty() {
        return found;
    }
    moments.stop.extend(raised);
    moments.stop.sort_unstable();
    all(&moments)
}

/// A cue as it counts.
#[derive(Debug, Clone, Copy)]
struct Cue {
    span: Span,
    mark: MarkId,
    is_open: bool,
}

/// Bouts of a cue that begin in the window, touching ones joined (rule 10); never cut at out of sight.
fn cues_of(record: &Record<'_>, behaviour: &Behaviour) -> Vec<Cue> {
    let gap = behaviour.new_bout_after_s.unwrap_or_default().micros();
    let mut cues: Vec<Cue> = Vec::new();
    let mut found: Vec<(Span, &Mark)> = record
        .marks_of(behaviour)
        .filter_map(|mark| Some((cue_span(mark, record.window())?, mark)))
        .collect();
    found.sort_by_key(|(span, mark)| (span.from, mark.id));
    for (span, mark) in found {
        match cues.last_mut() {
            Some(last)
                if !mark.is_event() && (span.from <= last.span.to || span.from - last.span.to < gap) =>
            {
                last.span.to = last.span.to.max(span.to);
                last.is_open |= mark.is_open();
            }
            _ => cues.push(Cue { span, mark: mark.id, is_open: mark.is_open() }),
        }
    }
    cues.retain(|cue| record.window().contains(cue.span.from));
    cues
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
    tells: Tells,
}

/// What the done passes can tell (rule 13). A record in the making tells what it holds.
#[allow(clippy::struct_excessive_bools)] // One for each measure.
struct Tells {
    orient: bool,
    approach: bool,
    contact: bool,
    success: bool,
    /// A refusal and of which kind, or that the handler broke it off.
    refusal: bool,
}

impl Tells {
    fn of(record: &Record<'_>) -> Self {
        let is_role = |role| record.is_coded(role);
        let success = match record.step().and_then(|step| step.success.as_ref()) {
            Some(named) => record.is_live() || record.coding.is_done(named),
            None => is_role(Role::Success),
        };
        let turns = [Role::Approach, Role::Retreat, Role::Hide, Role::Escape, Role::Abort, Role::BackOff];
        let is_stop = |b: &&Behaviour| {
            b.concern_in(record.animal()).any(|rule| {
                rule.level == Level::Stop || rule.rise.as_ref().is_some_and(|rise| rise.to == Level::Stop)
            })
        };
        let stops_told = record.is_live()
            || record.ethogram.behaviours.iter().filter(is_stop).all(|b| record.coding.is_done(&b.id));
        Self {
            orient: is_role(Role::Orient),
            approach: is_role(Role::Approach),
            contact: is_role(Role::Contact),
            success,
            refusal: stops_told && turns.into_iter().all(is_role),
        }
    }
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
            tells: Tells::of(record),
        }
    }

    /// First moment of success at or after the cue.
    fn success_after(&self, cue: Micros) -> Option<Micros> {
        match &self.held {
            Some((bouts, held)) => bouts
                .iter()
                .map(|span| (span.from + *held, span.to))
                .find(|(at, to)| cue <= *at && at <= to)
                .map(|(at, _)| at),
            None => first_in(&self.success, cue, Micros::MAX),
        }
    }
}

/// Onsets of behaviours that are at stop level from their first moment, wherever they occur.
fn stop_onsets(record: &Record<'_>) -> Vec<Micros> {
    let mut found = Vec::new();
    for behaviour in &record.ethogram.behaviours {
        // Inside a presentation both contexts apply.
        let here = |rule: &&ConcernRule| {
            rule.level == Level::Stop && matches!(rule.when, Context::Any | Context::InPresentation)
        };
        let details: Vec<Option<&str>> =
            behaviour.concern_in(record.animal()).filter(here).map(|rule| rule.detail.as_deref()).collect();
        if details.is_empty() {
            continue;
        }
        let is_any = details.contains(&None);
        for (at, id) in record.onsets(behaviour) {
            // A mark is looked for only where its detail is asked: there are many.
            let detail = || record.coding.mark(id).and_then(|mark| mark.detail.as_deref());
            if is_any || detail().is_some_and(|own| details.contains(&Some(own))) {
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

fn one(record: &Record<'_>, moments: &Moments, number: u32, cue: &Cue, next: Option<Micros>) -> Presentation {
    let Cue { span: cue, mark, is_open } = *cue;
    let start = cue.from;
    let hold = record
        .step()
        .and_then(|step| step.hold_s)
        .or_else(|| record.taxon().map(crate::model::Taxon::default_hold))
        .map(crate::time::Seconds::micros);
    let is_open = is_open && !record.is_closed();
    // The latest it can end without anything happening.
    let mut end = cue.to.min(record.window().to);
    end = end.min(next.unwrap_or(Micros::MAX)).min(hold.map_or(Micros::MAX, |hold| start + hold));
    let runs = is_open && next.is_none() && hold.is_none_or(|hold| start + hold > record.window().to);

    let success = moments.success_after(start).filter(|at| *at <= end);
    // On the picture of a success nothing voids it any more.
    let void = voided(record, moments, start, success.map_or(end, |success| success - Micros(1)));
    let abort = aborted(moments, start, end, success, (!is_open).then_some(cue.to));
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
            outcome = if first_in(&moments.prompt, start, at - Micros(1)).is_some() {
                Outcome::SuccessPrompted
            } else {
                Outcome::Success
            };
        }
        (_, None, None) => {}
    }
    // That someone marked it void is no happening in it: it ends where it would.
    if let Some((_, why)) = moments.void.iter().filter(|(at, _)| start <= *at && *at <= end).min()
        && outcome != Outcome::Void
    {
        outcome = Outcome::Void;
        reason.clone_from(why);
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
    let is_told = match outcome {
        Outcome::Void | Outcome::Running => true,
        Outcome::PassiveRefusal | Outcome::OptOut => moments.tells.success && moments.tells.refusal,
        _ => moments.tells.success,
    };
    if !is_told {
        outcome = Outcome::NotCoded;
    }
    let latency = |at: Option<Micros>, is_coded: bool| match at {
        _ if !is_coded => Latency::NotCoded,
        Some(at) => Latency::Reached(at - start),
        None => Latency::Censored(end - start),
    };
    let under_way = last_in(&moments.approach, start - ALREADY, start - Micros(1))
        .is_some_and(|at| last_in(&moments.retreat, at, start).is_none());
    let orient = first_in(&moments.orient, start, end);
    let is_already = under_way || orient == Some(start);
    let mut turns = turns_in(&moments.approach, Turn::Approach, start, end);
    turns.extend(turns_in(&moments.retreat, Turn::Retreat, start, end));
    turns.sort_by_key(|(at, turn)| (*at, *turn == Turn::Retreat));
    Presentation {
        number,
        mark,
        cue: start,
        cue_end: cue.to,
        end,
        outcome,
        reason,
        orient: match moments.tells.orient {
            true if is_already => Latency::Already,
            told => latency(orient, told),
        },
        approach: match moments.tells.approach {
            true if is_already => Latency::LeftOut,
            told => latency(first_in(&moments.approach, start, end), told),
        },
        contact: latency(first_in(&moments.contact, start, end), moments.tells.contact),
        success: latency(success.filter(|at| *at <= end), moments.tells.success),
        turns,
        refused_at,
        hold,
    }
}

/// Those of a rising list in [from, to], as turns of one kind.
fn turns_in(list: &[Micros], turn: Turn, from: Micros, to: Micros) -> Vec<(Micros, Turn)> {
    let first = list.partition_point(|at| *at < from);
    list.iter().skip(first).take_while(|at| **at <= to).map(|at| (*at, turn)).collect()
}

/// First disturbance or file gap inside, up to `until`.
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
    [disturbed, gap].into_iter().flatten().min_by_key(|(at, _)| *at)
}

/// Moment at which the handler broke it off: an abort mark, or a stop-level onset followed by the
/// cue's end, back-off or abort before success (rule 19).
fn aborted(
    moments: &Moments,
    start: Micros,
    end: Micros,
    success: Option<Micros>,
    cue_ends: Option<Micros>,
) -> Option<Micros> {
    // On the picture of a success it comes too late.
    let until = success.map_or(end, |success| success - Micros(1));
    let marked = first_in(&moments.abort, start, until);
    let stopped = first_in(&moments.stop, start, until).and_then(|stop| {
        let backed_off = first_in(&moments.back_off, stop, until);
        let cue_ended = cue_ends.filter(|at| *at == end && success.is_none());
        let marked = marked.filter(|at| *at >= stop);
        [backed_off, cue_ended, marked].into_iter().flatten().min()
    });
    [marked, stopped].into_iter().flatten().min()
}

/// What the step asks for as success, for showing it.
#[must_use]
pub fn success_behaviour<'a>(record: &Record<'a>) -> Option<&'a BehaviourId> {
    record.step().and_then(|step| step.success.as_ref())
}
