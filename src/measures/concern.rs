//! What called for attention, and what the handler did about it (rules 23 to 26).

use super::presentations::{Outcome, Presentation};
use super::record::{Missing, Record};
use crate::model::{Actor, Behaviour, BehaviourId, ConcernRule, Context, Kind, Level, Mark, Rise, Role};
use crate::time::{Micros, Span, Spans};

/// Parts of a run closer than this are one (rule 24).
const JOIN: Micros = Micros::from_whole_seconds(2);
/// How far ahead a back-off is looked for after events alone (rule 25).
const AHEAD: Micros = Micros::from_whole_seconds(30);
/// How far back a warning is looked for (rule 26).
const WARNING: Micros = Micros::from_whole_seconds(60);

/// Concern of one record.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Concern {
    /// Time at exactly watch.
    pub watch: Spans,
    /// Time at stop.
    pub stop: Spans,
    /// Incidents at watch, in order.
    pub watch_incidents: Vec<Incident>,
    /// Incidents at stop, in order.
    pub stop_incidents: Vec<Incident>,
    /// Presentations that start after the first stop incident of a session that was to end then.
    pub continued_after_stop: Vec<Micros>,
}

/// A maximal run at a level.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Incident {
    /// Its time; of events alone the first and last moment.
    pub span: Span,
    /// The behaviour it began with.
    pub behaviour: BehaviourId,
    /// Made of events alone.
    pub events_only: bool,
    /// The presentation it began in.
    pub presentation: Option<u32>,
    /// What the handler did.
    pub back_off: BackOff,
    /// Time from the first watch-level onset in the minute before.
    pub warning: Option<Micros>,
}

/// What the handler did after an incident began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BackOff {
    /// Backed off after this time.
    After(Micros),
    /// The state ended by itself first, after this time.
    StoppedByItself(Micros),
    /// None was seen in the time looked at.
    NotSeen(Micros),
    /// Back-offs were not coded to their end.
    NotCoded,
}

/// A piece of time, or a moment, at a level.
struct Piece {
    span: Span,
    level: Level,
    behaviour: BehaviourId,
    is_event: bool,
    /// It begins where a lower level rose to this one.
    is_raised: bool,
}

/// Concern of a record.
#[must_use]
pub fn of(record: &Record<'_>, presentations: &[Presentation]) -> Concern {
    let mut pieces = pieces_of(record, presentations);
    // Before what is hidden below goes: a watch-level event on the picture of a stop did warn.
    let stops: Vec<&Piece> = pieces.iter().filter(|own| own.level == Level::Stop).collect();
    let is_higher = |of: &Piece| {
        let here = |own: &&Piece| own.span.from == of.span.from || own.span.contains(of.span.from);
        stops.iter().filter(|own| here(own)).any(|own| own.behaviour == of.behaviour)
    };
    let watch_onsets: Vec<Micros> = pieces
        .iter()
        .filter(|piece| piece.level == Level::Watch && !is_higher(piece))
        .map(|piece| piece.span.from)
        .collect();
    let spans_at = |pieces: &[Piece], wanted: &dyn Fn(Level) -> bool| -> Spans {
        pieces.iter().filter(|piece| !piece.is_event && wanted(piece.level)).map(|piece| piece.span).collect()
    };
    // At any moment the highest level holds (rule 24): an event that is at stop is not at watch too.
    let mut stop_moments: Vec<Micros> = pieces
        .iter()
        .filter(|piece| piece.is_event && piece.level == Level::Stop)
        .map(|piece| piece.span.from)
        .collect();
    stop_moments.sort_unstable();
    let stop = spans_at(&pieces, &|level| level == Level::Stop);
    pieces.retain(|piece| {
        let is_lower = piece.level < Level::Stop;
        let hidden = piece.is_event
            && (stop_moments.binary_search(&piece.span.from).is_ok() || stop.contains(piece.span.from));
        !(is_lower && hidden)
    });
    let watch = spans_at(&pieces, &|level| level == Level::Watch).without(&stop);
    let mut warnings: Vec<Micros> = watch_onsets.into_iter().filter(|at| !stop.contains(*at)).collect();
    warnings.sort_unstable();
    let stop_incidents = incidents(record, &pieces, Level::Stop, &stop, &warnings, presentations);
    let watch_incidents = incidents(record, &pieces, Level::Watch, &watch, &warnings, presentations);
    let ends = record.plan().is_some_and(|plan| plan.end.after_stop);
    let first_stop = stop_incidents.first().map(|incident| incident.span.from);
    let continued_after_stop = first_stop
        .filter(|_| ends)
        .map(|first| presentations.iter().map(|p| p.cue).filter(|cue| *cue > first).collect())
        .unwrap_or_default();
    Concern { watch, stop, watch_incidents, stop_incidents, continued_after_stop }
}

/// Concern of a record of which everything is coded that can raise it; presentations too, where a rule
/// looks at them.
///
/// # Errors
/// When a pass it needs is not done, or only samples were recorded.
pub fn if_coded(record: &Record<'_>, presentations: &[Presentation]) -> Result<Concern, Missing> {
    record.is_continuous()?;
    let animal = record.animal();
    let watched = |b: &&Behaviour| b.concern_in(animal).next().is_some();
    let behaviours = &record.ethogram.behaviours;
    let looks_at_cue =
        behaviours.iter().flat_map(|b| b.concern_in(animal)).any(|rule| rule.when == Context::InPresentation);
    let coded = behaviours.iter().filter(watched).all(|b| record.coding.is_done(&b.id));
    if coded && (!looks_at_cue || record.is_coded(Role::Cue)) {
        Ok(of(record, presentations))
    } else {
        Err(Missing::PassNotDone)
    }
}

fn pieces_of(record: &Record<'_>, presentations: &[Presentation]) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for behaviour in &record.ethogram.behaviours {
        for rule in behaviour.concern_in(record.animal()) {
            apply(record, behaviour, rule, presentations, &mut pieces);
        }
    }
    pieces
}

/// Moments at which a lower level rises to stop.
pub(super) fn raised_stops(record: &Record<'_>, presentations: &[Presentation]) -> Vec<Micros> {
    pieces_of(record, presentations)
        .into_iter()
        .filter(|piece| piece.is_raised && piece.level == Level::Stop)
        .map(|piece| piece.span.from)
        .collect()
}

/// Puts what a rule makes of a behaviour's marks into `pieces`.
fn apply(
    record: &Record<'_>,
    behaviour: &Behaviour,
    rule: &ConcernRule,
    presentations: &[Presentation],
    pieces: &mut Vec<Piece>,
) {
    let fits =
        |mark: Option<&Mark>| rule.detail.is_none() || mark.is_some_and(|mark| mark.detail == rule.detail);
    let mut push = |span: Span, is_raised: bool, is_event: bool| {
        let level = rule.rise.as_ref().filter(|_| is_raised).map_or(rule.level, |rise| rise.to);
        if level > Level::None && (is_event || !span.is_empty()) {
            pieces.push(Piece { span, level, behaviour: behaviour.id.clone(), is_event, is_raised });
        }
    };
    let rise = rule.rise.as_ref();
    if behaviour.kind == Kind::Event {
        let inside = |at: Micros| rule.when == Context::Any || presentations.iter().any(|p| p.contains(at));
        let moments: Vec<Micros> = record
            .onsets(behaviour)
            .into_iter()
            .filter(|(at, id)| {
                // A mark is looked for only where its detail is asked: there are many.
                inside(*at) && (rule.detail.is_none() || fits(record.coding.mark(*id)))
            })
            .map(|(at, _)| at)
            .collect();
        for (i, at) in moments.iter().enumerate() {
            push(Span::between(*at, *at), reaches_count(&moments, i, rise), true);
        }
        return;
    }
    let context: Option<Spans> = (rule.when == Context::InPresentation)
        .then(|| presentations.iter().map(Presentation::span).collect());
    // Cut at out of sight, so that what is not seen neither counts nor rises.
    let bouts: Vec<Span> = record
        .bouts_where(behaviour, &|mark| fits(Some(mark)))
        .into_iter()
        .flat_map(|bout| match &context {
            None => vec![bout.span],
            Some(inside) => Spans::from(bout.span).intersection(inside).as_slice().to_vec(),
        })
        .collect();
    // A piece that only comes back into sight is no new onset.
    let begun: Vec<Micros> = record.onsets(behaviour).into_iter().map(|(at, _)| at).collect();
    let mut onsets: Vec<Micros> = Vec::new();
    let mut before = Micros::ZERO;
    for span in &bouts {
        let is_onset = context.is_some() || begun.binary_search(&span.from).is_ok();
        if is_onset {
            onsets.push(span.from);
        }
        let raised_from = rise.and_then(|rise| match (rise.after_s, rise.total_s) {
            (Some(after), _) => Some(span.from + after.micros()),
            (None, Some(total)) => Some(span.from + (total.micros() - before).max(Micros::ZERO)),
            (None, None) => {
                let last = onsets.len().checked_sub(1)?;
                (is_onset && reaches_count(&onsets, last, Some(rise))).then_some(span.from)
            }
        });
        before = before + span.length();
        match raised_from.filter(|at| *at < span.to) {
            Some(at) => {
                push(Span { from: span.from, to: at }, false, false);
                push(Span { from: at, to: span.to }, true, false);
            }
            None => push(*span, false, false),
        }
    }
}

/// Whether this onset makes the count within the window.
fn reaches_count(onsets: &[Micros], i: usize, rise: Option<&Rise>) -> bool {
    let Some((count, window)) = rise.and_then(|rise| Some((rise.count?, rise.window_s?.micros()))) else {
        return false;
    };
    let Some(at) = onsets.get(i) else { return false };
    let recent = onsets.iter().take(i + 1).filter(|earlier| *at - **earlier <= window).count();
    recent >= count as usize
}

/// Runs at a level, parts closer than two seconds joined.
fn incidents(
    record: &Record<'_>,
    pieces: &[Piece],
    level: Level,
    spans: &Spans,
    watch_onsets: &[Micros],
    presentations: &[Presentation],
) -> Vec<Incident> {
    let events = pieces.iter().filter(|piece| piece.is_event && piece.level == level);
    let mut parts: Vec<(Span, bool)> = spans.iter().map(|span| (*span, false)).collect();
    parts.extend(events.map(|piece| (piece.span, true)));
    parts.sort_unstable_by_key(|(span, is_event)| (span.from, *is_event, span.to));
    let mut runs: Vec<(Span, bool)> = Vec::new();
    for (span, is_event) in parts {
        match runs.last_mut() {
            Some((run, events_only)) if span.from - run.to < JOIN => {
                run.to = run.to.max(span.to);
                *events_only &= is_event;
            }
            _ => runs.push((span, is_event)),
        }
    }
    // By their start, of those alike in the order they came: the last that fits is the one a run begins with.
    let mut own: Vec<&Piece> = pieces.iter().filter(|piece| piece.level == level).collect();
    own.sort_by_key(|piece| piece.span.from);
    let coded = record.is_role_done(Role::BackOff).is_ok();
    let back_offs: Vec<Micros> = record.role_onsets(Role::BackOff).into_iter().map(|(at, _)| at).collect();
    let mut used = Micros(i64::MIN);
    let mut found = Vec::with_capacity(runs.len());
    for (i, (span, events_only)) in runs.iter().enumerate() {
        let next = runs.get(i + 1).map_or(record.window().to, |(next, _)| next.from).min(record.window().to);
        let until = if *events_only { next.min(span.from + AHEAD) } else { next };
        let after = back_offs.partition_point(|at| *at <= span.from.max(used));
        let back_off = back_offs.get(after).copied().filter(|at| *at <= until);
        let back_off = match back_off {
            _ if !coded => BackOff::NotCoded,
            Some(at) if *events_only || at <= span.to => {
                used = at;
                BackOff::After(at - span.from)
            }
            // The state had already ended when the handler moved.
            Some(_) | None if !*events_only && span.to < record.window().to => {
                BackOff::StoppedByItself(span.length())
            }
            Some(_) | None => BackOff::NotSeen(until - span.from),
        };
        let upto = own.partition_point(|piece| piece.span.from <= span.from);
        let first = own.iter().take(upto).rev().find(|piece| {
            if piece.is_event { piece.span.from == span.from } else { piece.span.to > span.from }
        });
        let early = watch_onsets.partition_point(|at| *at < span.from - WARNING);
        let warning = watch_onsets.get(early).filter(|at| **at < span.from).map(|at| span.from - *at);
        found.push(Incident {
            span: *span,
            behaviour: first.map(|piece| piece.behaviour.clone()).unwrap_or_default(),
            events_only: *events_only,
            presentation: presentations.iter().find(|p| p.contains(span.from)).map(|p| p.number),
            back_off,
            warning: if level == Level::Stop { warning } else { None },
        });
    }
    found
}

/// For each opt-out whether the handler honoured it within the house target (rule 26).
#[must_use]
pub fn honoured(record: &Record<'_>, presentations: &[Presentation]) -> (u32, u32) {
    let target = record.study.targets.back_off_s.micros();
    let back_offs: Vec<Micros> = record.role_onsets(Role::BackOff).into_iter().map(|(at, _)| at).collect();
    let (mut done, mut all) = (0, 0);
    for presentation in presentations.iter().filter(|p| p.outcome == Outcome::OptOut) {
        let Some(refused) = presentation.refused_at else { continue };
        all += 1;
        let within = |at: &Micros| *at >= refused && *at - refused <= target;
        if back_offs.iter().any(within) || within(&presentation.cue_end) {
            done += 1;
        }
    }
    (done, all)
}

/// From the end of each disturbance to the first approach after it; `None`: not resumed.
#[must_use]
pub fn resumes(record: &Record<'_>) -> Vec<(Micros, Option<Micros>)> {
    let approaches: Vec<Micros> = record.role_onsets(Role::Approach).into_iter().map(|(at, _)| at).collect();
    let mut found = Vec::new();
    for behaviour in record
        .ethogram
        .with_role(Role::Disturbance)
        .filter(|b| b.who == Actor::Handler || b.kind == Kind::State)
    {
        for mark in record.marks_of(behaviour) {
            let end = mark.span(record.window().to).map_or(mark.from, |span| span.to);
            if end < record.window().from {
                continue;
            }
            let resumed = approaches.iter().copied().find(|at| *at >= end && *at < record.window().to);
            found.push((end, resumed.map(|at| at - end)));
        }
    }
    found.sort_unstable();
    found
}
