//! The columns of marks, codings and sessions: name, type, unit, meaning and value in one place, so
//! that table and dictionary can't come apart.

use super::Cell;
use crate::export::{Data, Entry};
use crate::model::{
    Actor, Animal, Behaviour, Choice, Clip, ClipId, ClockSource, End, Ethogram, Kind, Mark, PersonCode,
    Placed, PlanId, Purpose, RecordingRule, Session, SetId, ShedState, Status, Study, Taxon,
};
use crate::time::Micros;

/// Types of the Table Schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::export) enum Type {
    Text,
    Integer,
    Number,
    Truth,
    Date,
    Moment,
}

/// A column of a table of `R`.
pub(in crate::export) struct Field<R: ?Sized> {
    pub(in crate::export) name: &'static str,
    pub(in crate::export) kind: Type,
    pub(in crate::export) unit: &'static str,
    pub(in crate::export) meaning: &'static str,
    pub(in crate::export) value: fn(&R) -> Cell,
}

pub(in crate::export) const fn field<R>(
    name: &'static str,
    kind: Type,
    unit: &'static str,
    meaning: &'static str,
    value: fn(&R) -> Cell,
) -> Field<R> {
    Field { name, kind, unit, meaning, value }
}

/// A coding with what it belongs to.
#[derive(Debug, Clone, Copy)]
pub(in crate::export) struct CodingRow<'a> {
    pub(in crate::export) entry: &'a Entry,
    session: &'a Session,
    ethogram: &'a Ethogram,
}

impl<'a> CodingRow<'a> {
    /// A coding of a session under its ethogram.
    pub(in crate::export) fn new(entry: &'a Entry, session: &'a Session, ethogram: &'a Ethogram) -> Self {
        Self { entry, session, ethogram }
    }

    pub(in crate::export) fn of(data: &'a Data, entry: &'a Entry) -> Option<Self> {
        let (session, ethogram) = (data.session(&entry.coding.session)?, data.ethogram(&entry.coding)?);
        Some(Self::new(entry, session, ethogram))
    }

    fn counts(&self) -> bool {
        self.entry.coding.purpose == Purpose::Primary && self.session.left_out.is_none()
    }
}

/// A mark with what it belongs to.
pub(in crate::export) struct MarkRow<'a> {
    coding: CodingRow<'a>,
    mark: &'a Mark,
    behaviour: Option<&'a Behaviour>,
    end: Option<Micros>,
}

impl<'a> MarkRow<'a> {
    pub(in crate::export) fn of(coding: CodingRow<'a>, mark: &'a Mark) -> Self {
        let end = match mark.to {
            End::At(to) => Some(to),
            End::Event | End::Open => None,
        };
        Self { coding, mark, behaviour: coding.ethogram.behaviour(&mark.behaviour), end }
    }

    fn clip(&self) -> Option<&'a Clip> {
        self.coding.session.clip(self.mark.clip?)
    }

    fn clip_time(&self, at: Option<Micros>, clip: Option<ClipId>) -> Cell {
        let clip = clip.and_then(|id| self.coding.session.clip(id));
        Cell::known(clip.and_then(Clip::clock).zip(at).and_then(|(clock, at)| clock.clip_time(at)))
    }
}

pub(in crate::export) struct SessionRow<'a> {
    pub(in crate::export) study: &'a Study,
    pub(in crate::export) session: &'a Session,
}

impl SessionRow<'_> {
    fn animal(&self) -> Option<&Animal> {
        self.study.animal(&self.session.animal)
    }
}

fn purpose(purpose: Purpose) -> Cell {
    Cell::text(purpose.word())
}

#[rustfmt::skip]
#[allow(clippy::too_many_lines)] // One table of columns.
pub(in crate::export) fn marks<'a>() -> Vec<Field<MarkRow<'a>>> {
    vec![
        field("session", Type::Text, "", "The session.", |r| Cell::text(r.coding.session.id.as_str())),
        field("animal", Type::Text, "", "The focal animal's id.", |r| Cell::text(r.coding.session.animal.as_str())),
        field("coding", Type::Text, "", "The coding's file, relative to the study.", |r| Cell::text(&r.coding.entry.file)),
        field("by", Type::Text, "", "Code of the person who coded it.", |r| Cell::text(r.coding.entry.coding.by.as_str())),
        field("purpose", Type::Text, "", "What the coding counts as; only primary ones are pooled.", |r| purpose(r.coding.entry.coding.purpose)),
        field("counts", Type::Truth, "", "The coding is the primary one of a session that is not left out.", |r| Cell::plain(r.coding.counts())),
        field("ethogram", Type::Text, "", "The ethogram.", |r| Cell::text(r.coding.entry.coding.ethogram.id.as_str())),
        field("revision", Type::Integer, "", "Its revision.", |r| Cell::plain(r.coding.entry.coding.ethogram.revision)),
        field("mark", Type::Integer, "", "The mark's id in its coding.", |r| Cell::plain(r.mark.id.0)),
        field("behaviour", Type::Text, "", "The behaviour's id.", |r| Cell::text(r.mark.behaviour.as_str())),
        field("behaviour_name", Type::Text, "", "The behaviour's name.", |r| Cell::maybe(r.behaviour.map(|b| &b.name))),
        field("kind", Type::Text, "", "state (lasting) or event (momentary).", |r| Cell::text(if r.mark.is_event() { "event" } else { "state" })),
        field("who", Type::Text, "", "Whose behaviour: animal or handler.", |r| Cell::maybe(r.behaviour.map(|b| if b.who == Actor::Animal { "animal" } else { "handler" }))),
        field("set", Type::Text, "", "The set of states of which one at a time holds.", |r| Cell::maybe(r.behaviour.and_then(|b| b.set.as_ref()).map(SetId::as_str))),
        field("pass_done", Type::Truth, "", "The pass that holds the behaviour is complete: what is not marked did not occur. If false, absence tells nothing.", |r| Cell::plain(r.coding.entry.coding.is_done(&r.mark.behaviour))),
        field("from_s", Type::Number, "s", "Session time of the first picture that shows it.", |r| Cell::plain(r.mark.from)),
        field("to_s", Type::Number, "s", "Session time of the first moment at which it no longer holds; empty for an event and for a bout that has not ended.", |r| Cell::known(r.end)),
        field("duration_s", Type::Number, "s", "to_s minus from_s, as coded: not cut at out of sight.", |r| Cell::known(r.end.map(|end| end - r.mark.from))),
        field("open", Type::Truth, "", "The bout has not ended.", |r| Cell::plain(r.mark.is_open())),
        field("wall_clock", Type::Moment, "", "Wall clock of from_s, corrected by the clock's anchors.", |r| Cell::known(r.coding.session.wall_clock(r.mark.from).map(|t| t.to_rfc3339()))),
        field("clip", Type::Integer, "", "Number of the clip whose picture from_s sits on.", |r| Cell::known(r.mark.clip.map(|clip| clip.0))),
        field("clip_path", Type::Text, "", "That clip's file.", |r| Cell::maybe(r.clip().map(|clip| &clip.path))),
        field("clip_from_s", Type::Number, "s", "from_s on that clip's own time.", |r| r.clip_time(Some(r.mark.from), r.mark.clip)),
        field("frame", Type::Integer, "", "Number of that picture, from 0.", |r| Cell::known(r.mark.frame.map(|frame| frame.0))),
        field("to_clip", Type::Integer, "", "Number of the clip whose picture to_s sits on, when it is another one.", |r| Cell::known(r.mark.to_clip.map(|clip| clip.0))),
        field("to_frame", Type::Integer, "", "Number of the picture that to_s sits on.", |r| Cell::known(r.mark.to_frame.map(|frame| frame.0))),
        field("detail", Type::Text, "", "A refinement the behaviour allows.", |r| Cell::maybe(r.mark.detail.as_ref())),
        field("unsure", Type::Truth, "", "The coder was not sure.", |r| Cell::plain(r.mark.unsure)),
        field("placed", Type::Text, "", "stepped (on a picture that stood still) or live (while the film ran).", |r| Cell::text(if r.mark.placed == Placed::Stepped { "stepped" } else { "live" })),
        field("live_speed", Type::Number, "1", "Speed of the film when it was placed live, as a multiple of real time.", |r| live(r.mark, |speed, _, _| Cell::plain(speed))),
        field("live_raw_s", Type::Number, "s", "Session time of the picture shown when the key went down.", |r| live(r.mark, |_, raw, _| Cell::plain(raw))),
        field("live_lag_s", Type::Number, "s", "Reaction lag that was taken off, in the coder's time.", |r| live(r.mark, |_, _, lag| Cell::plain(lag))),
        field("note", Type::Text, "", "A remark.", |r| Cell::maybe(r.mark.note.as_ref())),
        field("reason", Type::Text, "", "Why: of a void, of an agreed mark.", |r| Cell::maybe(r.mark.reason.as_ref())),
        field("other_keys", Type::Text, "", "Keys of the mark that this version does not know, as JSON.", |r| other(&r.mark.extra)),
    ]
}

fn live(mark: &Mark, value: fn(f64, Micros, Micros) -> Cell) -> Cell {
    match mark.placed {
        Placed::Stepped => Cell::Missing,
        Placed::Live { speed, raw, lag } => value(speed, raw, lag),
    }
}

fn other(extra: &crate::model::Extra) -> Cell {
    Cell::maybe((!extra.is_empty()).then(|| serde_json::to_string(extra).unwrap_or_default()))
}

fn json<T: serde::Serialize>(value: &T) -> Cell {
    Cell::maybe(serde_json::to_string(value).ok())
}

#[rustfmt::skip]
#[allow(clippy::too_many_lines)] // One table of columns.
pub(in crate::export) fn codings<'a>() -> Vec<Field<CodingRow<'a>>> {
    vec![
        field("coding", Type::Text, "", "The coding's file, relative to the study.", |r| Cell::text(&r.entry.file)),
        field("session", Type::Text, "", "The session.", |r| Cell::text(r.session.id.as_str())),
        field("animal", Type::Text, "", "The focal animal's id.", |r| Cell::text(r.session.animal.as_str())),
        field("by", Type::Text, "", "Code of the person who coded it.", |r| Cell::text(r.entry.coding.by.as_str())),
        field("purpose", Type::Text, "", "What it counts as; only primary ones are pooled.", |r| purpose(r.entry.coding.purpose)),
        field("counts", Type::Truth, "", "It is the primary one of a session that is not left out.", |r| Cell::plain(r.counts())),
        field("ethogram", Type::Text, "", "The ethogram.", |r| Cell::text(r.entry.coding.ethogram.id.as_str())),
        field("revision", Type::Integer, "", "Its revision.", |r| Cell::plain(r.entry.coding.ethogram.revision)),
        field("rule", Type::Text, "", "How behaviour was recorded, as JSON.", |r| json(&r.entry.coding.rule)),
        field("every_s", Type::Number, "s", "Interval of instantaneous or one-zero recording.", |r| match r.entry.coding.rule {
            RecordingRule::Continuous => Cell::Missing,
            RecordingRule::Instantaneous { every_s, .. } | RecordingRule::OneZero { every_s } => Cell::plain(every_s.micros()),
        }),
        field("masked", Type::Text, "", "What was hidden from the coder.", |r| Cell::maybe((!r.entry.coding.masked.is_empty()).then(|| r.entry.coding.masked.join("; ")))),
        field("window_from_s", Type::Number, "s", "Start of the stretch that was observed.", |r| Cell::known(r.entry.coding.observed_window(r.ethogram, r.session).map(|w| w.from))),
        field("window_to_s", Type::Number, "s", "Its end.", |r| Cell::known(r.entry.coding.observed_window(r.ethogram, r.session).map(|w| w.to))),
        field("window_set", Type::Truth, "", "A person set that stretch; else it comes from the marks or the film.", |r| Cell::plain(r.entry.coding.window.is_some())),
        field("status", Type::Text, "", "open or closed.", |r| Cell::text(if r.entry.coding.status == Status::Open { "open" } else { "closed" })),
        field("begun", Type::Moment, "", "When it was begun.", |r| Cell::known(r.entry.coding.begun.map(|t| t.to_rfc3339()))),
        field("closed", Type::Moment, "", "When it was closed.", |r| Cell::known(r.entry.coding.closed.map(|t| t.to_rfc3339()))),
        field("marks", Type::Integer, "", "Number of marks.", |r| Cell::plain(r.entry.coding.marks.len())),
        field("minutes", Type::Number, "min", "Minutes spent on all passes.", |r| Cell::plain(r.entry.coding.passes.iter().map(|pass| pass.minutes).sum::<f64>())),
        field("passes_not_done", Type::Text, "", "Names of passes that are not complete.", |r| {
            let names: Vec<&str> = r.entry.coding.passes.iter().filter(|pass| !pass.done).map(|pass| pass.name.as_str()).collect();
            Cell::maybe((!names.is_empty()).then(|| names.join("; ")))
        }),
        field("passes", Type::Text, "", "The passes with their behaviours, as JSON, for reading the coding back.", |r| json(&r.entry.coding.passes)),
    ]
}

#[rustfmt::skip]
#[allow(clippy::too_many_lines)] // One table of columns.
pub(in crate::export) fn sessions<'a>() -> Vec<Field<SessionRow<'a>>> {
    vec![
        field("session", Type::Text, "", "The session.", |r| Cell::text(r.session.id.as_str())),
        field("animal", Type::Text, "", "The focal animal's id.", |r| Cell::text(r.session.animal.as_str())),
        field("animal_name", Type::Text, "", "Its name.", |r| Cell::maybe(r.animal().map(|a| &a.name))),
        field("species", Type::Text, "", "Its species.", |r| Cell::maybe(r.animal().and_then(|a| a.species.as_ref()))),
        field("taxon", Type::Text, "", "Its group.", |r| Cell::maybe(r.animal().and_then(|a| a.taxon).map(Taxon::word))),
        field("handler", Type::Text, "", "Code of the person who handled.", |r| Cell::maybe(r.session.handler.as_ref().map(PersonCode::as_str))),
        field("recorded_at", Type::Moment, "", "Wall clock of the session's start as its source shows it.", |r| Cell::known(r.session.recorded_at.map(|t| t.to_rfc3339()))),
        field("true_start", Type::Moment, "", "The same, corrected by the clock's anchors.", |r| Cell::known(r.session.wall_clock(Micros::ZERO).map(|t| t.to_rfc3339()))),
        field("utc_offset_min", Type::Integer, "min", "Offset of that wall clock from UTC, east positive.", |r| Cell::known(r.session.wall_clock(Micros::ZERO).map(|t| t.offset().local_minus_utc() / 60))),
        field("clock_source", Type::Text, "", "How the wall clock is known: camera, overlay or person.", |r| Cell::maybe(r.session.clock_source.map(|s| match s {
            ClockSource::Camera => "camera", ClockSource::Overlay => "overlay", ClockSource::Person => "person",
        }))),
        field("zone", Type::Text, "", "Time zone by IANA name.", |r| Cell::maybe(r.session.zone.as_ref().or(r.study.zone.as_ref()))),
        field("plan", Type::Text, "", "The training plan.", |r| Cell::maybe(r.session.plan.as_ref().map(PlanId::as_str))),
        field("step", Type::Integer, "", "Its step.", |r| Cell::known(r.session.step)),
        field("air_c", Type::Number, "°C", "Air temperature.", |r| Cell::known(r.session.facts.air_c)),
        field("basking_c", Type::Number, "°C", "Temperature of the basking spot.", |r| Cell::known(r.session.facts.basking_c)),
        field("days_since_fed", Type::Number, "d", "Days since the last feed.", |r| Cell::known(r.session.facts.days_since_fed)),
        field("shed", Type::Text, "", "Where the animal was in its shed cycle.", |r| Cell::maybe(r.session.facts.shed.map(shed_word))),
        field("disturbance_expected", Type::Truth, "", "A disturbance was to be expected; empty: not said.", |r| Cell::known(r.session.facts.disturbance_expected)),
        field("exit_open", Type::Truth, "", "The animal could leave; empty: not said.", |r| Cell::known(r.session.facts.exit_open)),
        field("other_food", Type::Truth, "", "Other food was in reach; empty: not said.", |r| Cell::known(r.session.facts.other_food)),
        field("enclosure_as_usual", Type::Truth, "", "The enclosure was as usual; empty: not said.", |r| Cell::known(r.session.facts.enclosure_as_usual)),
        field("apart_from_group", Type::Truth, "", "The animal was apart from its group; empty: not said.", |r| Cell::known(r.session.facts.apart_from_group)),
        field("food", Type::Text, "", "Food used as reinforcer.", |r| {
            let items: Vec<&str> = r.session.food.iter().map(|food| food.item.as_str()).collect();
            Cell::maybe((!items.is_empty()).then(|| items.join("; ")))
        }),
        field("food_g", Type::Number, "g", "Grams of it together.", |r| Cell::known(r.session.food_grams())),
        field("clips", Type::Integer, "", "Number of clips.", |r| Cell::plain(r.session.clips.len())),
        field("film_s", Type::Number, "s", "Time covered by a picture of any clip.", |r| Cell::known((!r.session.film().is_empty()).then(|| r.session.film().total()))),
        field("gaps_s", Type::Number, "s", "Time between the first and the last picture without any.", |r| Cell::known((!r.session.film().is_empty()).then(|| r.session.file_gaps().total()))),
        field("left_out", Type::Truth, "", "It is left out of the measures.", |r| Cell::plain(r.session.left_out.is_some())),
        field("left_out_reason", Type::Text, "", "Why.", |r| Cell::maybe(r.session.left_out.as_ref().map(|l| &l.reason))),
        field("decision", Type::Text, "", "What was decided on the plan: advance, stay, step_back, pause, refer.", |r| Cell::maybe(r.session.decision.as_ref().map(|d| match d.choice {
            Choice::Advance => "advance", Choice::Stay => "stay", Choice::StepBack => "step_back", Choice::Pause => "pause", Choice::Refer => "refer",
        }))),
        field("decision_to_step", Type::Integer, "", "The step to go on with.", |r| Cell::known(r.session.decision.as_ref().and_then(|d| d.to_step))),
        field("decision_reason", Type::Text, "", "Why.", |r| Cell::maybe(r.session.decision.as_ref().map(|d| &d.reason))),
        field("decision_by", Type::Text, "", "Code of the person who decided.", |r| Cell::maybe(r.session.decision.as_ref().and_then(|d| d.by.as_ref()).map(PersonCode::as_str))),
        field("decision_on", Type::Date, "", "When.", |r| Cell::known(r.session.decision.as_ref().and_then(|d| d.on))),
        field("notes", Type::Text, "", "Anything else.", |r| Cell::maybe(r.session.notes.as_ref())),
    ]
}

fn shed_word(shed: ShedState) -> &'static str {
    match shed {
        ShedState::Between => "between",
        ShedState::Before => "before",
        ShedState::Shedding => "shedding",
        ShedState::After => "after",
    }
}

/// As people read it in a table.
pub(in crate::export) const fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::State => "state",
        Kind::Event => "event",
    }
}
