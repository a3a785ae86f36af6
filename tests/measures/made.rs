//! Small codings made by hand: a window, behaviours, marks in seconds.

use shedlight::measures::{Marks, Record};
use shedlight::model::{
    Actor, Behaviour, Coding, Ethogram, EthogramRef, Extra, Kind, Mark, MarkId, Pass, Role, Session, Set,
    Status, Study,
};
use shedlight::time::{Micros, Span};

pub const ACTIVITY: &str = "activity";
pub const VISIBILITY: &str = "visibility";
pub const HIDDEN: &str = "out-of-sight";

/// A session of one coding, all of it in one pass that is done.
pub struct Made {
    pub study: Study,
    pub ethogram: Ethogram,
    pub session: Session,
    pub coding: Coding,
}

pub fn seconds(at: f64) -> Micros {
    Micros::from_seconds(at).unwrap()
}

impl Made {
    /// Out of sight is there from the start; everything else is added.
    pub fn new(session: &str, length_s: f64) -> Self {
        let mut ethogram = Ethogram::new("made".into(), "Made by hand");
        for (id, exhaustive) in [(VISIBILITY, false), (ACTIVITY, true)] {
            ethogram.sets.push(Set { id: id.into(), name: id.to_owned(), exhaustive, extra: Extra::new() });
        }
        let mut coding = Coding::new(
            session.into(),
            "K-07".into(),
            EthogramRef { id: "made".into(), revision: 1, digest: String::new() },
        );
        coding.window = Span::try_new(Micros::ZERO, seconds(length_s));
        coding.status = Status::Closed;
        coding.passes.push(Pass {
            name: "All".to_owned(),
            behaviours: Vec::new(),
            done: true,
            minutes: 0.0,
            answered: shedlight::model::samples::Numbers::default(),
            extra: Extra::new(),
        });
        let mut made = Self {
            study: Study::new("Made"),
            ethogram,
            session: Session::new(session.into(), "bramble".into()),
            coding,
        };
        made.behaviour(HIDDEN, Kind::State, Some(VISIBILITY), &[Role::Excluded], Actor::Animal);
        made
    }

    pub fn behaviour(&mut self, id: &str, kind: Kind, set: Option<&str>, roles: &[Role], who: Actor) {
        let mut behaviour = Behaviour::new(id, id, kind);
        behaviour.set = set.map(Into::into);
        behaviour.roles = roles.to_vec();
        behaviour.who = who;
        self.ethogram.behaviours.push(behaviour);
        self.coding.passes[0].behaviours.push(id.into());
    }

    /// States of the activity set.
    pub fn activities(&mut self, ids: &[&str]) {
        for id in ids {
            self.behaviour(id, Kind::State, Some(ACTIVITY), &[], Actor::Animal);
        }
    }

    /// Cue, marker and food by the handler; orient, approach, retreat and contact by the animal.
    pub fn training(&mut self) {
        self.behaviour("cue", Kind::State, None, &[Role::Cue], Actor::Handler);
        for (id, role) in [("marker", Role::Marker), ("food", Role::Food), ("back-off", Role::BackOff)] {
            self.behaviour(id, Kind::Event, None, &[role], Actor::Handler);
        }
        for (id, role) in [("orient", Role::Orient), ("approach", Role::Approach), ("retreat", Role::Retreat)]
        {
            self.behaviour(id, Kind::Event, None, &[role], Actor::Animal);
        }
        self.behaviour("contact", Kind::Event, None, &[Role::Contact, Role::Success], Actor::Animal);
    }

    fn push(&mut self, make: impl FnOnce(MarkId) -> Mark) -> MarkId {
        let id = self.coding.next_id();
        self.coding.marks.push(make(id));
        id
    }

    pub fn bout(&mut self, id: &str, from_s: f64, to_s: f64) -> MarkId {
        self.push(|mark| Mark::bout(mark, id.into(), seconds(from_s), Some(seconds(to_s))))
    }

    pub fn open_bout(&mut self, id: &str, from_s: f64) -> MarkId {
        self.push(|mark| Mark::bout(mark, id.into(), seconds(from_s), None))
    }

    pub fn event(&mut self, id: &str, at_s: f64) -> MarkId {
        self.push(|mark| Mark::event(mark, id.into(), seconds(at_s)))
    }

    pub fn record(&self) -> Record<'_> {
        Record::try_new(&self.coding, &self.ethogram, &self.session, &self.study, Marks::All).unwrap()
    }

    pub fn own(&self, id: &str) -> &Behaviour {
        self.ethogram.behaviour(&id.into()).unwrap()
    }
}
