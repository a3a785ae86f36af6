//! Placing and moving marks: what a key press, Enter, a nudge and a dragged edge do.

use super::{Coder, Done, Edge, Pace, Refusal, end_at, put};
use crate::model::{Behaviour, Change, End, Kind, Mark, MarkId, Placed};
use crate::time::Micros;
use crate::workbench::reel::Shot;

impl Coder {
    /// A key goes down while `shot` is shown (rules 7 to 9).
    ///
    /// # Errors
    /// When the key means nothing here; nothing is then changed.
    pub fn press(&mut self, key: char, shot: Shot, pace: Pace) -> Result<Done, Refusal> {
        let behaviour = self.behaviour_of(key)?.clone();
        let (shot, placed) = self.placed(&behaviour, shot, pace);
        match behaviour.kind {
            Kind::Event => self.press_event(&behaviour, shot, placed),
            Kind::State => self.press_state(&behaviour, shot, placed),
        }
    }

    /// The picture a mark is placed on: the one shown, or while the film runs the one shown when
    /// the person decided (rule 8), but after the previous mark of its set.
    fn placed(&self, behaviour: &Behaviour, shot: Shot, pace: Pace) -> (Shot, Placed) {
        let Pace::Live { speed } = pace else { return (shot, Placed::Stepped) };
        let raw = shot.at;
        let behind = Micros::from_seconds(self.reaction_lag.seconds() * speed).unwrap_or_default();
        let mut decided = self.reel.shot_at(raw - behind).unwrap_or(shot);
        let before = self.line(behaviour).rfind(|mark| mark.from <= raw);
        if let Some(before) = before {
            // On its very picture the new mark would wipe the previous one out.
            let earliest = match before.to {
                End::At(to) if to <= raw => to,
                _ => self.reel.step_from(before.from, 1).map_or(raw, |next| next.at),
            };
            if decided.at < earliest {
                decided = self.reel.shot_at(earliest.min(raw)).unwrap_or(shot);
            }
        }
        (decided, Placed::Live { speed, raw, lag: self.reaction_lag })
    }

    /// Puts a mark that was placed live back on the picture that was shown when the key went down, or
    /// takes the person's reaction lag off it again. What was seen (`raw`) stays with the mark either way.
    ///
    /// # Errors
    /// When it was not placed live, no lag is known, or its place is taken.
    pub fn toggle_lag(&mut self, id: MarkId) -> Result<Done, Refusal> {
        let mark = self.find(id)?;
        let Placed::Live { speed, raw, lag } = mark.placed else {
            return Err(Refusal::NotHere("this mark was placed on a standing picture: it has no lag"));
        };
        if mark.sample.is_some() {
            return Err(Refusal::NotHere("a sample has no onset that could lag"));
        }
        let new = if lag > Micros::ZERO { Micros::ZERO } else { self.reaction_lag };
        if new == lag {
            return Err(Refusal::NotHere("no reaction lag is known of this person: measure it in Sessions"));
        }
        let behind = Micros::from_seconds(new.seconds() * speed).unwrap_or_default();
        let shot = self.reel.shot_at(raw - behind).ok_or(Refusal::NotHere("there is no film here"))?;
        let mut done = self.plan_move(id, Edge::From, shot)?;
        for change in &mut done.changes {
            if let Change::Put(own) = change
                && own.id == id
            {
                own.placed = Placed::Live { speed, raw, lag: new };
            }
        }
        let name = self.name_of(&mark.behaviour);
        let said = if new > Micros::ZERO {
            format!("{name} at {}: {:.2} s of reaction lag taken off", shot.at.clock(), behind.seconds())
        } else {
            format!("{name} back at {}, where the key went down", shot.at.clock())
        };
        self.carry_out(said, done.changes, Some(id))
    }

    fn press_event(&mut self, behaviour: &Behaviour, shot: Shot, placed: Placed) -> Result<Done, Refusal> {
        let same = self.line(behaviour).find(|mark| mark.from == shot.at).map(|mark| mark.id);
        if let Some(same) = same {
            let said = format!("{} at {} taken away", behaviour.name, shot.at.clock());
            return self.carry_out(said, vec![Change::Remove(same)], None);
        }
        let mark = Mark {
            placed,
            ..at_shot(Mark::event(self.coding.next_id(), behaviour.id.clone(), shot.at), shot)
        };
        let said = format!("{} at {}{}", behaviour.name, shot.at.clock(), lag_words(placed));
        let id = mark.id;
        self.carry_out(said, vec![put(mark)], Some(id))
    }

    fn press_state(&mut self, behaviour: &Behaviour, shot: Shot, placed: Placed) -> Result<Done, Refusal> {
        let at = shot.at;
        let holding = self
            .line(behaviour)
            .find(|mark| mark.span(Micros::MAX).is_some_and(|span| span.contains(at)))
            .cloned();
        let start = |to: End| Mark {
            to,
            placed,
            ..at_shot(Mark::bout(self.coding.next_id(), behaviour.id.clone(), at, None), shot)
        };
        let Some(holding) = holding else {
            // Empty time: it runs on, at most to the next bout of its set.
            let next = self.line(behaviour).find(|mark| mark.from > at).cloned();
            let mut mark = start(next.as_ref().map_or(End::Open, |next| End::At(next.from)));
            if let Some(next) = next {
                mark.to_frame = next.frame;
                mark.to_clip = next.clip.filter(|clip| *clip != shot.clip);
            }
            let said = format!("{} from {}{}", behaviour.name, at.clock(), lag_words(placed));
            let id = mark.id;
            return self.carry_out(said, vec![put(mark)], Some(id));
        };
        if holding.behaviour == behaviour.id {
            if holding.from == at {
                return self.take_away(&holding, behaviour);
            }
            if behaviour.set.is_some() {
                return Err(Refusal::AlreadyHolds {
                    name: behaviour.name.clone(),
                    since: holding.from.clock(),
                });
            }
            return self.end_bout(holding, shot);
        }
        // The other one ends where this one begins, and this one takes over its end.
        let mut mark = start(holding.to);
        mark.to_frame = holding.to_frame;
        mark.to_clip = match holding.to {
            End::At(_) => holding.to_clip.or(holding.clip).filter(|clip| *clip != shot.clip),
            End::Open | End::Event => None,
        };
        let id = mark.id;
        let ended = self.name_of(&holding.behaviour);
        let mut changes = Vec::new();
        let said = if holding.from == at {
            changes.push(Change::Remove(holding.id));
            format!("{} instead of {ended} from {}", behaviour.name, at.clock())
        } else {
            let mut shortened = holding;
            end_at(&mut shortened, shot);
            changes.push(put(shortened));
            format!("{} from {}, ends {ended}{}", behaviour.name, at.clock(), lag_words(placed))
        };
        changes.push(put(mark));
        self.carry_out(said, changes, Some(id))
    }

    /// A second press on the picture where a bout began takes it away; when it was the last thing
    /// done, what it had cut short is whole again.
    fn take_away(&mut self, bout: &Mark, behaviour: &Behaviour) -> Result<Done, Refusal> {
        let said = format!("{} at {} taken away", behaviour.name, bout.from.clock());
        let began_last = self.history.next_undo().filter(|inverse| {
            inverse.changes.iter().any(|change| matches!(change, Change::Remove(id) if *id == bout.id))
        });
        let changes =
            began_last.map_or_else(|| vec![Change::Remove(bout.id)], |inverse| inverse.changes.clone());
        self.carry_out(said, changes, None)
    }

    /// Enter: ends a state that holds: the chosen one, else the one of the running pass that began last.
    ///
    /// # Errors
    /// When none holds.
    pub fn end(&mut self, chosen: Option<MarkId>, shot: Shot) -> Result<Done, Refusal> {
        let holding = self.holding_at(shot.at);
        let is_chosen = |mark: &&&Mark| Some(mark.id) == chosen;
        let picked = holding
            .iter()
            .find(is_chosen)
            .or_else(|| holding.iter().rev().find(|mark| self.is_live(&mark.behaviour)))
            .map(|mark| (**mark).clone())
            .ok_or(Refusal::NothingHolds)?;
        self.end_bout(picked, shot)
    }

    fn end_bout(&mut self, mut bout: Mark, shot: Shot) -> Result<Done, Refusal> {
        let name = self.name_of(&bout.behaviour);
        let id = bout.id;
        if bout.from == shot.at {
            let said = format!("{name} at {} taken away", shot.at.clock());
            return self.carry_out(said, vec![Change::Remove(id)], None);
        }
        end_at(&mut bout, shot);
        self.carry_out(format!("{name} ends at {}", shot.at.clock()), vec![put(bout)], Some(id))
    }

    /// Moves an edge by pictures.
    ///
    /// # Errors
    /// As [`Coder::move_edge`].
    pub fn nudge(&mut self, id: MarkId, edge: Edge, pictures: isize) -> Result<Done, Refusal> {
        let mark = self.find(id)?;
        let at = match (edge, mark.to) {
            (Edge::From, _) => mark.from,
            (Edge::To, End::At(to)) => to,
            (Edge::To, End::Open | End::Event) => {
                return Err(Refusal::NotHere("this mark has no end that could be moved"));
            }
        };
        // An end may lie past the last picture; the step back from there is the last picture itself.
        let is_past_film = self.reel.end().is_some_and(|end| at >= end);
        let by = if is_past_film && pictures < 0 { pictures + 1 } else { pictures };
        let shot = self.reel.step_from(at, by).ok_or(Refusal::NotHere("there is no film here"))?;
        self.move_edge(id, edge, shot)
    }

    /// Moves an edge to a picture; a bout of the same set that touches there moves along.
    ///
    /// # Errors
    /// When a bout would vanish or run into another one.
    pub fn move_edge(&mut self, id: MarkId, edge: Edge, shot: Shot) -> Result<Done, Refusal> {
        let Moved { said, changes } = self.plan_move(id, edge, shot)?;
        self.carry_out(said, changes, Some(id))
    }

    /// The changes of such a move, not yet carried out.
    fn plan_move(&self, id: MarkId, edge: Edge, shot: Shot) -> Result<Moved, Refusal> {
        let mark = self.find(id)?;
        let behaviour = self.behaviour_of_mark(&mark)?;
        let name = behaviour.name.clone();
        if mark.is_event() {
            let taken = self.line(&behaviour).any(|other| other.id != id && other.from == shot.at);
            if taken {
                return Err(Refusal::Occupied { name });
            }
            let moved = at_shot(Mark { from: shot.at, ..mark }, shot);
            let said = format!("{name} moved to {}", shot.at.clock());
            return Ok(Moved { said, changes: vec![put(moved)] });
        }
        let line: Vec<Mark> = self.line(&behaviour).cloned().collect();
        let place = line.iter().position(|other| other.id == id).ok_or(Refusal::NoSuchMark)?;
        let mut changes = Vec::new();
        match edge {
            Edge::From => {
                if mark.span(Micros::MAX).is_none_or(|span| shot.at >= span.to) {
                    return Err(Refusal::NotHere("a bout can't start at or after its end"));
                }
                if let Some(before) = place.checked_sub(1).and_then(|place| line.get(place))
                    && let End::At(before_to) = before.to
                {
                    if before_to == mark.from {
                        if shot.at <= before.from {
                            return Err(Refusal::Occupied { name: self.name_of(&before.behaviour) });
                        }
                        let mut before = before.clone();
                        end_at(&mut before, shot);
                        changes.push(put(before));
                    } else if shot.at < before_to {
                        return Err(Refusal::Occupied { name: self.name_of(&before.behaviour) });
                    }
                }
                changes.push(put(at_shot(Mark { from: shot.at, ..mark }, shot)));
            }
            Edge::To => {
                if shot.at <= mark.from {
                    return Err(Refusal::NotHere("a bout can't end at or before its start"));
                }
                if let Some(after) = line.get(place + 1) {
                    let touches = mark.to == End::At(after.from);
                    if touches {
                        if after.span(Micros::MAX).is_none_or(|span| shot.at >= span.to) {
                            return Err(Refusal::Occupied { name: self.name_of(&after.behaviour) });
                        }
                        changes.push(put(at_shot(Mark { from: shot.at, ..after.clone() }, shot)));
                    } else if shot.at > after.from {
                        return Err(Refusal::Occupied { name: self.name_of(&after.behaviour) });
                    }
                }
                let mut mark = mark;
                end_at(&mut mark, shot);
                // Whichever moves away first makes room for the other.
                changes.push(put(mark));
            }
        }
        let which = if edge == Edge::From { "start" } else { "end" };
        Ok(Moved { said: format!("{which} of {name} moved to {}", shot.at.clock()), changes })
    }
}

/// An edge's move: in words, and what it changes.
struct Moved {
    said: String,
    changes: Vec<Change>,
}

/// Sets the picture a mark's start sits on.
fn at_shot(mark: Mark, shot: Shot) -> Mark {
    Mark { clip: Some(shot.clip), frame: Some(shot.frame), ..mark }
}

/// What was taken off a mark placed live, for the status line.
fn lag_words(placed: Placed) -> String {
    match placed {
        Placed::Live { speed, raw, lag } if lag > Micros::ZERO => {
            format!(" (pressed at {}, lag {:.2} s × {speed} taken off)", raw.clock(), lag.seconds())
        }
        Placed::Live { .. } | Placed::Stepped => String::new(),
    }
}
