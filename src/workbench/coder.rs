//! From a key to a change of the record.
//!
//! The coder knows the rules (7 to 9): what a key starts, what it ends, what it may not do. It
//! changes its coding through [`Coding::apply`] alone and hands each step out as [`Done`], with
//! words for the status line and everything the journal needs.

mod place;
mod sampled;

use std::sync::Arc;

use chrono::{DateTime, FixedOffset};

use super::history::History;
use super::reel::{Reel, Shot};
use crate::model::{
    Behaviour, BehaviourId, Change, ClipId, Coding, Edit, EditError, End, Ethogram, Kind, Mark, MarkId, Pass,
    Placed, RecordingRule, Status,
};
use crate::storage::journal::StepKind;
use crate::time::Micros;

/// A step that was done.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// What kind of step.
    pub kind: StepKind,
    /// What was changed.
    pub edit: Edit,
    /// What takes it back.
    pub inverse: Edit,
    /// What happened, in words.
    pub said: String,
    /// The mark to look at now.
    pub focus: Option<MarkId>,
}

/// Why a key or a wish did nothing; shown, never silent.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// No behaviour has this key.
    #[error("no behaviour has the key {0}")]
    UnknownKey(char),
    /// The key belongs to another pass.
    #[error("{name} is not coded in this pass: choose its pass first")]
    OtherPass {
        /// The behaviour.
        name: String,
    },
    /// The state already holds.
    #[error("{name} already holds since {since}: Enter ends it")]
    AlreadyHolds {
        /// The state.
        name: String,
        /// Since when, as people read it.
        since: String,
    },
    /// Nothing holds that could be ended.
    #[error("no state holds here that could be ended")]
    NothingHolds,
    /// There is no such mark.
    #[error("that mark is not there any more")]
    NoSuchMark,
    /// It would overlap another bout.
    #[error("{name} holds there already: of one set only one state holds at a time")]
    Occupied {
        /// What holds.
        name: String,
    },
    /// An event has no end, a state is no event.
    #[error("a state and an event can't take each other's place")]
    OtherKind,
    /// A set of which one state always holds has no answer at a point.
    #[error("of {name} one always holds while the animal is seen: press its key, or that of out of sight")]
    SetOpen {
        /// The set.
        name: String,
    },
    /// The wish can't be fulfilled at this place.
    #[error("{0}")]
    NotHere(&'static str),
    /// Nothing to take back.
    #[error("nothing to undo")]
    NothingToUndo,
    /// Nothing to do again.
    #[error("nothing to redo")]
    NothingToRedo,
    /// The coding is only looked at.
    #[error("only to look at, nothing is written: the line above the film says why")]
    OnlyToLook(String),
    /// The coding is closed.
    #[error("this coding is closed: open it again before changing it")]
    Closed,
    /// The change itself makes no sense.
    #[error(transparent)]
    Edit(#[from] EditError),
}

/// How the film stood when a key went down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pace {
    /// It stood still on the picture.
    Stepped,
    /// It ran.
    Live {
        /// As a multiple of real time, above 0.
        speed: f64,
    },
}

/// An end of a bout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// Its start; also the moment of an event.
    From,
    /// Its end.
    To,
}

/// One person's record while it is being made.
#[derive(Debug)]
pub struct Coder {
    coding: Coding,
    ethogram: Arc<Ethogram>,
    reel: Arc<Reel>,
    reaction_lag: Micros,
    pass: Option<usize>,
    history: History,
    only_to_look: Option<String>,
}

impl Coder {
    /// A coder at work on a coding. `reaction_lag` is taken off marks placed live.
    #[must_use]
    pub fn new(
        coding: Coding,
        ethogram: Arc<Ethogram>,
        reel: Arc<Reel>,
        reaction_lag: Micros,
        history: History,
    ) -> Self {
        let first_open = coding.passes.iter().position(|pass| !pass.done);
        // Samples belong to a pass also when all of them are answered.
        let pass = if coding.rule == RecordingRule::Continuous { first_open } else { first_open.or(Some(0)) };
        Self { coding, ethogram, reel, reaction_lag, pass, history, only_to_look: None }
    }

    /// From now on nothing is changed; `why` is told whoever tries.
    pub fn only_look(&mut self, why: String) {
        self.only_to_look = Some(why);
    }

    fn may_change(&self) -> Result<(), Refusal> {
        self.only_to_look.clone().map_or(Ok(()), |why| Err(Refusal::OnlyToLook(why)))
    }

    /// The record.
    #[must_use]
    pub fn coding(&self) -> &Coding {
        &self.coding
    }

    /// Its definitions.
    #[must_use]
    pub fn ethogram(&self) -> &Arc<Ethogram> {
        &self.ethogram
    }

    /// The definitions the coding names, after they have become others (also by undo).
    pub fn set_ethogram(&mut self, ethogram: Arc<Ethogram>) {
        self.ethogram = ethogram;
        self.pass = self.pass.filter(|pass| *pass < self.coding.passes.len());
    }

    /// The pictures; they may come in later than the record.
    pub fn set_reel(&mut self, reel: Arc<Reel>) {
        self.reel = reel;
    }

    /// Remembers where work stopped and how far the journal goes; neither is a change of the record.
    pub fn set_progress(&mut self, left_at: Micros, last_seq: u64) {
        self.coding.left_at = Some(left_at);
        self.coding.last_seq = last_seq;
    }

    /// The pass being worked on; `None`: all behaviours at once.
    #[must_use]
    pub fn pass(&self) -> Option<usize> {
        self.pass
    }

    /// Chooses the pass.
    pub fn set_pass(&mut self, pass: Option<usize>) {
        if pass.is_none() && self.coding.rule != RecordingRule::Continuous {
            return;
        }
        self.pass = pass.filter(|pass| *pass < self.coding.passes.len());
    }

    /// Whether the behaviour is coded in the running pass (rule 9).
    #[must_use]
    pub fn is_live(&self, behaviour: &BehaviourId) -> bool {
        match self.pass.and_then(|pass| self.coding.passes.get(pass)) {
            Some(pass) => pass.behaviours.contains(behaviour),
            None => true,
        }
    }

    /// The behaviour a key codes: in the running pass first, so that two passes may share a key.
    ///
    /// # Errors
    /// When no behaviour has the key, or only one of another pass.
    pub fn behaviour_of(&self, key: char) -> Result<&Behaviour, Refusal> {
        let key = key.to_ascii_lowercase();
        let has_key = |b: &&Behaviour| b.key.is_some_and(|own| own.to_ascii_lowercase() == key);
        let mut found = None;
        for behaviour in self.ethogram.behaviours.iter().filter(has_key) {
            if self.is_live(&behaviour.id) {
                return Ok(behaviour);
            }
            found = found.or(Some(behaviour));
        }
        match found {
            Some(other) => Err(Refusal::OtherPass { name: other.name.clone() }),
            None => Err(Refusal::UnknownKey(key)),
        }
    }

    /// Bouts that hold at a moment, and open ones that began before it.
    #[must_use]
    pub fn holding_at(&self, at: Micros) -> Vec<&Mark> {
        let holds = |mark: &&Mark| mark.span(Micros::MAX).is_some_and(|span| span.contains(at));
        self.coding.marks.iter().filter(holds).collect()
    }

    /// Marks of the behaviours that exclude each other with this one (its set, or it alone), in order.
    fn line<'a>(&'a self, behaviour: &'a Behaviour) -> impl DoubleEndedIterator<Item = &'a Mark> {
        self.coding.marks.iter().filter(move |mark| match &behaviour.set {
            None => mark.behaviour == behaviour.id,
            Some(set) => {
                mark.behaviour == behaviour.id
                    || self.ethogram.behaviour(&mark.behaviour).is_some_and(|b| b.set.as_ref() == Some(set))
            }
        })
    }

    fn name_of(&self, id: &BehaviourId) -> String {
        self.ethogram.behaviour(id).map_or_else(|| id.to_string(), |behaviour| behaviour.name.clone())
    }

    fn find(&self, id: MarkId) -> Result<Mark, Refusal> {
        self.coding.mark(id).cloned().ok_or(Refusal::NoSuchMark)
    }

    fn behaviour_of_mark(&self, mark: &Mark) -> Result<Behaviour, Refusal> {
        self.ethogram.behaviour(&mark.behaviour).cloned().ok_or(Refusal::NoSuchMark)
    }

    /// Carries a step out and remembers how to take it back.
    pub(super) fn carry_out(
        &mut self,
        said: String,
        changes: Vec<Change>,
        focus: Option<MarkId>,
    ) -> Result<Done, Refusal> {
        self.may_change()?;
        let only_reopens =
            matches!(changes.as_slice(), [Change::Status(_)] | [Change::Status(_), Change::ClosedAt(_)]);
        if self.coding.status == Status::Closed && !only_reopens {
            return Err(Refusal::Closed);
        }
        let edit = Edit::new(said.clone(), changes);
        let inverse = self.coding.apply(&edit)?;
        self.history.take(StepKind::Do, inverse.clone());
        Ok(Done { kind: StepKind::Do, edit, inverse, said, focus })
    }

    /// Takes the last step back.
    ///
    /// # Errors
    /// When there is none.
    pub fn undo(&mut self) -> Result<Done, Refusal> {
        let edit = self.history.next_undo().cloned().ok_or(Refusal::NothingToUndo)?;
        self.repeat(StepKind::Undo, edit)
    }

    /// Does the last step taken back again.
    ///
    /// # Errors
    /// When there is none.
    pub fn redo(&mut self) -> Result<Done, Refusal> {
        let edit = self.history.next_redo().cloned().ok_or(Refusal::NothingToRedo)?;
        self.repeat(StepKind::Redo, edit)
    }

    fn repeat(&mut self, kind: StepKind, edit: Edit) -> Result<Done, Refusal> {
        self.may_change()?;
        let inverse = self.coding.apply(&edit)?;
        self.history.take(kind, inverse.clone());
        let word = if kind == StepKind::Undo { "undone" } else { "done again" };
        let said = format!("{word}: {}", edit.label);
        let focus = edit.changes.iter().rev().find_map(|change| match change {
            Change::Put(mark) => Some(mark.id),
            _ => None,
        });
        Ok(Done { kind, edit, inverse, said, focus })
    }

    /// Takes a mark away.
    ///
    /// # Errors
    /// When it is not there.
    pub fn remove(&mut self, id: MarkId) -> Result<Done, Refusal> {
        let mark = self.find(id)?;
        let said = format!("{} at {} removed", self.name_of(&mark.behaviour), mark.from.clock());
        self.carry_out(said, vec![Change::Remove(id)], None)
    }

    /// Moves the marks that sit on a clip's pictures to where these pictures now lie (rule 2).
    ///
    /// # Errors
    /// When a bout would end before it starts, or the coding is closed.
    pub fn realign(&mut self, clip: ClipId, to: impl Fn(Micros) -> Micros) -> Result<Done, Refusal> {
        let moved: Vec<Change> = self
            .coding
            .marks
            .iter()
            .filter(|mark| mark.clip == Some(clip))
            .map(|mark| {
                let end = match mark.to {
                    End::At(at) => End::At(to(at)),
                    own => own,
                };
                let placed = match mark.placed {
                    Placed::Live { speed, raw, lag } => Placed::Live { speed, raw: to(raw), lag },
                    Placed::Stepped => Placed::Stepped,
                };
                put(Mark { from: to(mark.from), to: end, placed, ..mark.clone() })
            })
            .collect();
        if moved.is_empty() {
            return Err(Refusal::NoSuchMark);
        }
        self.carry_out(format!("{} marks moved with their clip", moved.len()), moved, None)
    }

    /// Flags a mark as unsure, or as sure again.
    ///
    /// # Errors
    /// When it is not there.
    pub fn toggle_unsure(&mut self, id: MarkId) -> Result<Done, Refusal> {
        let mut mark = self.find(id)?;
        mark.unsure = !mark.unsure;
        let word = if mark.unsure { "unsure" } else { "sure" };
        let said = format!("{} at {} marked {word}", self.name_of(&mark.behaviour), mark.from.clock());
        self.carry_out(said, vec![put(mark)], Some(id))
    }

    /// Writes a note on a mark; an empty one takes it away.
    ///
    /// # Errors
    /// When it is not there.
    pub fn set_note(&mut self, id: MarkId, note: &str) -> Result<Done, Refusal> {
        let mut mark = self.find(id)?;
        mark.note = Some(note.trim().to_owned()).filter(|note| !note.is_empty());
        let said = format!("note on {} at {}", self.name_of(&mark.behaviour), mark.from.clock());
        self.carry_out(said, vec![put(mark)], Some(id))
    }

    /// Chooses the next of the details the behaviour allows, then none.
    ///
    /// # Errors
    /// When it is not there or the behaviour has no details.
    pub fn next_detail(&mut self, id: MarkId) -> Result<Done, Refusal> {
        let mut mark = self.find(id)?;
        let behaviour = self.behaviour_of_mark(&mark)?;
        if behaviour.details.is_empty() {
            return Err(Refusal::NotHere("this behaviour has no details to choose from"));
        }
        let next = match &mark.detail {
            None => 0,
            Some(detail) => {
                behaviour.details.iter().position(|own| own == detail).map_or(0, |place| place + 1)
            }
        };
        mark.detail = behaviour.details.get(next).cloned();
        let detail = mark.detail.clone().unwrap_or_else(|| "no detail".to_owned());
        let said = format!("{} at {}: {detail}", behaviour.name, mark.from.clock());
        self.carry_out(said, vec![put(mark)], Some(id))
    }

    /// Gives a mark another behaviour of the same kind.
    ///
    /// # Errors
    /// When the kinds differ, or another bout of the new set holds there.
    pub fn change_behaviour(&mut self, id: MarkId, to: &BehaviourId) -> Result<Done, Refusal> {
        let mut mark = self.find(id)?;
        let new = self.ethogram.behaviour(to).cloned().ok_or(Refusal::NoSuchMark)?;
        let fits = (new.kind == Kind::Event) == mark.is_event();
        if !fits {
            return Err(Refusal::OtherKind);
        }
        if let Some(span) = mark.span(Micros::MAX)
            && let Some(other) = self.line(&new).find(|other| {
                other.id != id && other.span(Micros::MAX).is_some_and(|own| own.intersection(span).is_some())
            })
        {
            return Err(Refusal::Occupied { name: self.name_of(&other.behaviour) });
        }
        let said = format!("{} at {} is now {}", self.name_of(&mark.behaviour), mark.from.clock(), new.name);
        mark.behaviour = new.id;
        mark.detail = mark.detail.filter(|detail| new.details.contains(detail));
        self.carry_out(said, vec![put(mark)], Some(id))
    }

    /// Cuts a bout in two at a picture inside it.
    ///
    /// # Errors
    /// When the picture is not inside it.
    pub fn split(&mut self, id: MarkId, at: Shot) -> Result<Done, Refusal> {
        let mark = self.find(id)?;
        let is_inside = mark.span(Micros::MAX).is_some_and(|span| span.from < at.at && at.at < span.to);
        if !is_inside {
            return Err(Refusal::NotHere("a bout is split at a picture inside it: go there first"));
        }
        let mut first = mark.clone();
        end_at(&mut first, at);
        let second = Mark {
            id: self.coding.next_id(),
            from: at.at,
            clip: Some(at.clip),
            frame: Some(at.frame),
            placed: Placed::Stepped,
            ..mark
        };
        let focus = second.id;
        let said = format!("{} split at {}", self.name_of(&second.behaviour), at.at.clock());
        self.carry_out(said, vec![put(first), put(second)], Some(focus))
    }

    /// Joins a bout with the next one of the same behaviour.
    ///
    /// # Errors
    /// When there is none, or another state of the set lies between.
    pub fn merge(&mut self, id: MarkId) -> Result<Done, Refusal> {
        let mut mark = self.find(id)?;
        let behaviour = self.behaviour_of_mark(&mark)?;
        if mark.is_event() {
            return Err(Refusal::NotHere("only bouts can be joined"));
        }
        let next = self.line(&behaviour).find(|other| other.id != id && other.from >= mark.from).cloned();
        match next {
            Some(next) if next.behaviour == mark.behaviour => {
                mark.to = next.to;
                mark.to_clip = next.to_clip;
                mark.to_frame = next.to_frame;
                mark.unsure |= next.unsure;
                mark.note = match (mark.note.take(), next.note.clone()) {
                    (Some(own), Some(other)) => Some(format!("{own}; {other}")),
                    (own, other) => own.or(other),
                };
                let said = format!("{} at {} joined with the next bout", behaviour.name, mark.from.clock());
                self.carry_out(said, vec![Change::Remove(next.id), put(mark)], Some(id))
            }
            Some(next) => Err(Refusal::Occupied { name: self.name_of(&next.behaviour) }),
            None => Err(Refusal::NotHere("there is no later bout of this behaviour to join with")),
        }
    }

    /// Ticks a pass as done, or takes the tick away.
    ///
    /// # Errors
    /// When there is no such pass, or its tick follows from the samples that are answered.
    pub fn set_pass_done(&mut self, pass: usize, done: bool) -> Result<Done, Refusal> {
        if self.coding.rule != RecordingRule::Continuous {
            return Err(Refusal::NotHere("it is done when every sample is answered, and not before"));
        }
        let mut passes = self.coding.passes.clone();
        let Some(own) = passes.get_mut(pass) else { return Err(Refusal::NotHere("there is no such pass")) };
        own.done = done;
        let said = format!("pass '{}' {}", own.name, if done { "done" } else { "not done" });
        self.carry_out(said, vec![Change::Passes(passes)], None)
    }

    /// Adds working time to a pass. Not a step of its own for undo: the caller journals it with the next one.
    pub fn add_minutes(&mut self, pass: usize, minutes: f64) {
        // Looking on is no coding.
        if self.only_to_look.is_none()
            && let Some(Pass { minutes: own, .. }) = self.coding.passes.get_mut(pass)
        {
            *own += minutes;
        }
    }

    /// Closes the coding now: bouts still open end with the window (rule 3).
    ///
    /// # Errors
    /// When it is closed already.
    pub fn close(&mut self, window_end: Micros, now: DateTime<FixedOffset>) -> Result<Done, Refusal> {
        let mut changes: Vec<Change> = Vec::new();
        for mark in self.coding.open_bouts() {
            if window_end > mark.from {
                changes.push(put(Mark { to: End::At(window_end), ..mark.clone() }));
            } else {
                // Begun at or after the end of what is observed: there is nothing of it.
                changes.push(Change::Remove(mark.id));
            }
        }
        let ended = changes.len();
        changes.extend([Change::Status(Status::Closed), Change::ClosedAt(Some(now))]);
        let said = match ended {
            0 => "coding closed".to_owned(),
            1 => "coding closed; one open bout ended with the session".to_owned(),
            n => format!("coding closed; {n} open bouts ended with the session"),
        };
        self.carry_out(said, changes, None)
    }

    /// Opens a closed coding again.
    ///
    /// # Errors
    /// None that a closed coding could cause.
    pub fn reopen(&mut self) -> Result<Done, Refusal> {
        let changes = vec![Change::Status(Status::Open), Change::ClosedAt(None)];
        self.carry_out("coding opened again".to_owned(), changes, None)
    }
}

fn put(mark: Mark) -> Change {
    Change::Put(Box::new(mark))
}

/// Lets a bout end at a picture.
fn end_at(mark: &mut Mark, shot: Shot) {
    mark.to = End::At(shot.at);
    mark.to_frame = Some(shot.frame);
    mark.to_clip = (mark.clip != Some(shot.clip)).then_some(shot.clip);
}
