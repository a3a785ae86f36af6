//! The agreed record in the making: the first record's marks, changed by one decision after another.

use super::super::align::{NO_STATE, Pairing, Row, counts};
use super::super::differences::Place;
use super::{Decision, Error, NewMark, Reason, Settled};
use crate::model::{Actor, Behaviour, BehaviourId, Coding, End, Kind, Mark, MarkId, Role};
use crate::time::{Micros, Span, Spans};

/// The record in the making.
pub(super) struct Draft<'p, 'a> {
    pairing: &'p Pairing<'a>,
    marks: Vec<Mark>,
}

impl<'a> Draft<'_, 'a> {
    pub(super) fn of<'p>(pairing: &'p Pairing<'a>) -> Draft<'p, 'a> {
        let [first, _] = pairing.codings();
        Draft { marks: inside(pairing, first), pairing }
    }

    fn behaviour(&self, id: &BehaviourId) -> Option<&'a Behaviour> {
        self.pairing.ethogram().behaviour(id)
    }

    pub(super) fn settle(&mut self, own: &Settled) -> Result<(), Error> {
        match own.apart.place {
            Place::Events(_) => self.settle_event(own),
            Place::Set(_) | Place::State(_) => self.settle_states(own),
        }
    }

    fn settle_event(&mut self, own: &Settled) -> Result<(), Error> {
        let apart = &own.apart;
        let [_, second] = self.pairing.codings();
        let keeps_first = matches!(own.decision, Decision::First | Decision::Both);
        let takes_second = matches!(own.decision, Decision::Second | Decision::Both);
        if !keeps_first && let Some(id) = apart.first_mark {
            self.marks.retain(|mark| !(mark.id == id && mark.is_event()));
        }
        if takes_second && let Some(mark) = apart.second_mark.and_then(|id| second.mark(id)) {
            self.marks.push(self.reasoned(Mark { id: ADDED, ..mark.clone() }, own.reason));
        }
        if let Decision::New(new) = &own.decision {
            for new in new {
                let fits = self.behaviour(&new.behaviour).is_some_and(|b| b.kind == Kind::Event);
                let inside = self.pairing.window().contains(new.from);
                self.push_new(new, fits && new.to.is_none() && inside, own)?;
            }
        }
        Ok(())
    }

    fn settle_states(&mut self, own: &Settled) -> Result<(), Error> {
        let (apart, span) = (&own.apart, own.apart.span);
        match &own.decision {
            Decision::First => {}
            Decision::Second => self.take_second(&apart.place, span, Some(own.reason)),
            // Of a state alone one has it and one has not: both is having it.
            Decision::Both if matches!(apart.place, Place::State(_)) => {
                if apart.first.as_deref() == Some(NO_STATE) {
                    self.take_second(&apart.place, span, Some(own.reason));
                }
            }
            Decision::Both => {
                let (at, place) = (span.from, apart.place.name().to_owned());
                return Err(Error::OneAtATime { at, place });
            }
            Decision::Neither => self.clear(&apart.place, span),
            Decision::New(new) => {
                self.clear(&apart.place, span);
                let mut last = span.from;
                for new in new {
                    let in_place = self.behaviour(&new.behaviour).is_some_and(|b| is_of(&apart.place, b));
                    let in_order =
                        new.from >= last && new.to.is_some_and(|to| to > new.from && to <= span.to);
                    self.push_new(new, in_place && in_order, own)?;
                    last = new.to.unwrap_or(last);
                }
            }
        }
        Ok(())
    }

    fn push_new(&mut self, new: &NewMark, fits: bool, own: &Settled) -> Result<(), Error> {
        if !fits {
            return Err(Error::DoesNotFit {
                at: new.from,
                behaviour: new.behaviour.to_string(),
                place: own.apart.place.name().to_owned(),
            });
        }
        let mark = match new.to {
            Some(to) => Mark::bout(ADDED, new.behaviour.clone(), new.from, Some(to)),
            None => Mark::event(ADDED, new.behaviour.clone(), new.from),
        };
        self.marks.push(self.reasoned(self.on_a_picture(mark), own.reason));
        Ok(())
    }

    /// Takes the place's states out of a stretch, cutting those that reach beyond it.
    fn clear(&mut self, place: &Place, span: Span) {
        let mut kept = Vec::with_capacity(self.marks.len());
        for mark in std::mem::take(&mut self.marks) {
            let touches =
                mark.span(self.pairing.window().to).and_then(|own| own.intersection(span)).is_some();
            if !touches || !self.behaviour(&mark.behaviour).is_some_and(|b| is_of(place, b)) {
                kept.push(mark);
                continue;
            }
            let rest = mark.span(self.pairing.window().to).map(Spans::from).unwrap_or_default();
            for (i, piece) in rest.without(&span.into()).iter().enumerate() {
                let id = if i == 0 { mark.id } else { ADDED };
                kept.push(self.cut(&Mark { id, ..mark.clone() }, *piece));
            }
        }
        self.marks = kept;
    }

    fn take_second(&mut self, place: &Place, span: Span, reason: Option<Reason>) {
        self.clear(place, span);
        let [_, second] = self.pairing.codings();
        for mark in inside(self.pairing, second) {
            let own = mark.span(self.pairing.window().to).and_then(|own| own.intersection(span));
            let Some(own) = own else { continue };
            if self.behaviour(&mark.behaviour).is_some_and(|b| is_of(place, b)) {
                let mark = self.cut(&Mark { id: ADDED, ..mark }, own);
                self.marks.push(match reason {
                    Some(reason) => self.reasoned(mark, reason),
                    None => mark,
                });
            }
        }
    }

    /// The mark over this stretch of it. Its pictures are looked up where its edges moved.
    fn cut(&self, mark: &Mark, to: Span) -> Mark {
        let mut cut = mark.clone();
        let window_end = self.pairing.window().to;
        let whole = mark.span(window_end);
        cut.from = to.from;
        if whole.is_none_or(|whole| whole.to != to.to) || mark.is_open() {
            cut.to = End::At(to.to);
            (cut.to_clip, cut.to_frame) = (None, None);
        }
        if mark.from != to.from {
            (cut.clip, cut.frame) = (None, None);
        }
        self.on_a_picture(cut)
    }

    /// Pictures of edges that one of the two records has at the same moment.
    fn on_a_picture(&self, mut mark: Mark) -> Mark {
        let picture = |at: Micros| {
            let all = self.pairing.codings().into_iter().flat_map(|coding| &coding.marks);
            let mut edges = all.flat_map(|own| {
                let from = (own.from, own.clip, own.frame);
                let to = match own.to {
                    End::At(to) => Some((to, own.to_clip.or(own.clip), own.to_frame)),
                    End::Event | End::Open => None,
                };
                [Some(from), to].into_iter().flatten()
            });
            edges.find(|(own, clip, frame)| *own == at && clip.is_some() && frame.is_some())
        };
        if mark.frame.is_none()
            && let Some((_, clip, frame)) = picture(mark.from)
        {
            (mark.clip, mark.frame) = (clip, frame);
        }
        if mark.to_frame.is_none()
            && let End::At(to) = mark.to
            && let Some((_, clip, frame)) = picture(to)
        {
            (mark.to_clip, mark.to_frame) = (clip.filter(|own| Some(*own) != mark.clip), frame);
        }
        mark
    }

    /// A void keeps its own reason: the measures read it.
    fn reasoned(&self, mark: Mark, reason: Reason) -> Mark {
        if self.behaviour(&mark.behaviour).is_some_and(|b| b.has_role(Role::Void)) {
            return mark;
        }
        Mark { reason: Some(reason.word().to_owned()), ..mark }
    }

    /// Where only the second saw the animal, and it was settled that it was in sight.
    pub(super) fn see_with_the_second(&mut self) {
        let [first, second] = self.pairing.codings();
        let window = self.pairing.window();
        let hidden = |marks: &[Mark]| -> Spans {
            let own = marks
                .iter()
                .filter(|mark| self.behaviour(&mark.behaviour).is_some_and(|b| b.has_role(Role::Excluded)));
            own.filter_map(|mark| mark.span(window.to)?.intersection(window)).collect()
        };
        let only_second = hidden(&first.marks).without(&hidden(&second.marks)).without(&hidden(&self.marks));
        let rows: Vec<Place> = self
            .pairing
            .rows()
            .into_iter()
            .filter(|row| self.pairing.compared(row) == *self.pairing.visible())
            .map(|row| match row {
                Row::Set(set) => Place::Set(set.to_string()),
                Row::State(state) => Place::State(state.to_string()),
            })
            .collect();
        for span in &only_second {
            for row in &rows {
                self.take_second(row, *span, None);
            }
            let of_animal =
                |mark: &Mark| self.behaviour(&mark.behaviour).is_some_and(|b| b.who == Actor::Animal);
            // What the first coder has there was coded while out of sight.
            let own = |mark: &Mark| {
                mark.is_event() && mark.id != ADDED && span.contains(mark.from) && of_animal(mark)
            };
            let kept: Vec<Mark> = self.marks.iter().filter(|mark| !own(mark)).cloned().collect();
            let events = second.marks.iter().filter(|mark| mark.is_event() && span.contains(mark.from));
            let events: Vec<Mark> = events
                .filter(|mark| of_animal(mark))
                .map(|mark| Mark { id: ADDED, ..mark.clone() })
                .collect();
            self.marks = kept;
            self.marks.extend(events);
        }
    }

    /// In order, with ids of their own; pieces of one bout that a cut parted are one again.
    pub(super) fn finish(self) -> Vec<Mark> {
        let mut marks = self.marks;
        marks.sort_by(|a, b| (a.from, a.id, &a.behaviour).cmp(&(b.from, b.id, &b.behaviour)));
        let mut joined: Vec<Mark> = Vec::with_capacity(marks.len());
        for mark in marks {
            let before = joined.iter_mut().rev().find(|own| {
                own.to == End::At(mark.from) && own.behaviour == mark.behaviour && own.detail == mark.detail
            });
            match before {
                // Two touching bouts that a coder made stay two.
                Some(before) if before.id == ADDED || mark.id == ADDED => {
                    before.to = mark.to;
                    before.to_frame = mark.to_frame;
                    before.to_clip = mark.to_clip.or(mark.clip).filter(|own| Some(*own) != before.clip);
                    before.unsure |= mark.unsure;
                    before.reason = before.reason.take().or(mark.reason);
                }
                _ => joined.push(mark),
            }
        }
        for (id, mark) in (1..).zip(&mut joined) {
            mark.id = MarkId(id);
        }
        joined
    }
}

/// Not one of the first record's.
const ADDED: MarkId = MarkId(u64::MAX);

fn is_of(place: &Place, behaviour: &Behaviour) -> bool {
    match place {
        Place::Set(set) => {
            behaviour.kind == Kind::State && behaviour.set.as_ref().is_some_and(|own| own.as_str() == set)
        }
        Place::State(state) => behaviour.set.is_none() && behaviour.id.as_str() == state,
        Place::Events(_) => behaviour.kind == Kind::Event,
    }
}

/// The marks of a coding that are compared, within the common window.
fn inside(pairing: &Pairing<'_>, coding: &Coding) -> Vec<Mark> {
    let window = pairing.window();
    let mut found = Vec::new();
    for mark in coding.marks.iter().filter(|mark| counts(mark, pairing.marks())) {
        match mark.span(window.to) {
            None if mark.is_event() && window.contains(mark.from) => found.push(mark.clone()),
            None => {}
            Some(span) => {
                let Some(own) = span.intersection(window) else { continue };
                let mut cut = mark.clone();
                if own.from != span.from {
                    (cut.clip, cut.frame) = (None, None);
                }
                if own.to != span.to || mark.is_open() {
                    (cut.to, cut.to_clip, cut.to_frame) = (End::At(own.to), None, None);
                }
                cut.from = own.from;
                found.push(cut);
            }
        }
    }
    found
}
