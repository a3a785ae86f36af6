//! Answering samples: what a key says of a point or an interval.

use super::{Coder, Done, Pace, Refusal, put};
use crate::model::samples::{Form, Sample};
use crate::model::{Behaviour, Change, Kind, Mark, MarkId, Pass, Placed, Role};
use crate::time::Micros;
use crate::workbench::reel::Shot;
use crate::workbench::sampling::{Walk, asked_sets};

impl Coder {
    /// The pass whose samples are answered: the running one, else the only one there is.
    #[must_use]
    pub fn sampled_pass(&self) -> usize {
        self.pass.unwrap_or(0)
    }

    /// Marks of a sample.
    pub fn marks_in(&self, number: u32) -> impl Iterator<Item = &Mark> {
        self.coding.marks.iter().filter(move |mark| mark.sample == Some(number))
    }

    /// Whether a sample is answered in the running pass.
    #[must_use]
    pub fn is_answered(&self, number: u32) -> bool {
        self.coding.passes.get(self.sampled_pass()).is_some_and(|pass| pass.answered.contains(number))
    }

    /// A key goes down while a sample is at hand and `shot` is shown.
    ///
    /// At a point it answers its set; the picture must be the point's own. In an interval it ticks what
    /// occurred, once; while the film stands a second press takes the tick away. The key of out of sight says so of
    /// the whole sample.
    ///
    /// # Errors
    /// When the key means nothing here; nothing is then changed.
    pub fn answer(&mut self, walk: &Walk, key: char, shot: Shot, pace: Pace) -> Result<Done, Refusal> {
        let behaviour = self.behaviour_of(key)?.clone();
        let sample = self.sample_for(walk, &behaviour, shot, pace)?;
        match walk.samples().form() {
            Form::Point => self.answer_point(walk, sample, &behaviour, shot),
            Form::Interval => {
                let is_before = walk.sample().is_some_and(|here| sample.number < here.number);
                let lag = if is_before { self.reaction_lag } else { Micros::ZERO };
                let placed = match pace {
                    Pace::Stepped => Placed::Stepped,
                    Pace::Live { speed } => Placed::Live { speed, raw: shot.at, lag },
                };
                self.tick(walk, sample, &behaviour, shot, placed)
            }
        }
    }

    /// The sample a key speaks of: the one at hand; while the film runs on through intervals, the one in
    /// which the person decided (rule 8).
    fn sample_for(
        &self,
        walk: &Walk,
        behaviour: &Behaviour,
        shot: Shot,
        pace: Pace,
    ) -> Result<Sample, Refusal> {
        let sample = walk.sample().ok_or(Refusal::NotHere("there is no sample here"))?;
        let own = walk.shot(&self.reel).ok_or(Refusal::NotHere("there is no picture of this sample"))?;
        match (walk.samples().form(), pace) {
            (Form::Point, _) if behaviour.kind == Kind::Event => {
                Err(Refusal::NotHere("a point in time holds no events: only states are asked for here"))
            }
            (Form::Point, _) if shot != own => {
                Err(Refusal::NotHere("this is not the picture of the point: Home goes back to it"))
            }
            (Form::Interval, Pace::Stepped) if shot != own && !sample.span.contains(shot.at) => {
                Err(Refusal::NotHere("this picture lies outside the interval: Home goes back to it"))
            }
            (Form::Interval, Pace::Live { speed }) => {
                let behind = Micros::from_seconds(self.reaction_lag.seconds() * speed).unwrap_or_default();
                let number = walk.samples().number_at(shot.at - behind).unwrap_or(sample.number);
                // Never an interval that was not playing: at most the one before, and that only where the
                // film ran on from it.
                let first =
                    if walk.ran_on() { sample.number.saturating_sub(1).max(1) } else { sample.number };
                let number = number.clamp(first, sample.number);
                Ok(walk.samples().get(number).filter(|own| walk.has_film(*own)).unwrap_or(sample))
            }
            (Form::Point, _) | (Form::Interval, Pace::Stepped) => Ok(sample),
        }
    }

    fn answer_point(
        &mut self,
        walk: &Walk,
        sample: Sample,
        behaviour: &Behaviour,
        shot: Shot,
    ) -> Result<Done, Refusal> {
        let number = sample.number;
        let already = self.marks_in(number).find(|mark| mark.behaviour == behaviour.id).map(|mark| mark.id);
        let is_hiding = behaviour.has_role(Role::Excluded);
        if let Some(already) = already {
            if behaviour.set.is_some() {
                return Err(Refusal::NotHere("this point is answered so already: Delete clears it"));
            }
            let said = format!("point {number}: {} taken away", behaviour.name);
            return self.carry_out(said, vec![Change::Remove(already)], None);
        }
        let excludes = |mark: &Mark| match self.ethogram.behaviour(&mark.behaviour) {
            Some(other) => {
                is_hiding
                    || other.has_role(Role::Excluded)
                    || other.set.is_some() && other.set == behaviour.set
            }
            None => false,
        };
        let mut changes: Vec<Change> = self
            .marks_in(number)
            .filter(|mark| self.is_live(&mark.behaviour) && excludes(mark))
            .map(|mark| Change::Remove(mark.id))
            .collect();
        let mark = self.mark_of(sample, behaviour, shot, Placed::Stepped);
        let id = mark.id;
        // What is answered now: the sets of what stays, and this one.
        let pass = self.sampled_pass();
        let left = self.marks_in(number).filter(|mark| !excludes(mark));
        let mut answered: Vec<_> = left
            .filter_map(|mark| self.ethogram.behaviour(&mark.behaviour)?.set.clone())
            .chain(behaviour.set.clone())
            .collect();
        answered.sort_unstable();
        let asked = asked_sets(&self.coding, &self.ethogram, pass);
        let is_all = asked.iter().all(|set| answered.binary_search(set).is_ok());
        let is_complete = is_hiding || is_all && !self.asks_alone(pass);
        changes.push(put(mark));
        let was_hidden = self.marks_in(number).any(|mark| {
            self.ethogram.behaviour(&mark.behaviour).is_some_and(|own| own.has_role(Role::Excluded))
        });
        if is_complete || self.is_answered(number) && (!is_all || was_hidden) {
            changes.extend(self.passes_with(walk, number, is_complete));
        }
        let time = sample.span.from.clock();
        self.carry_out(format!("point {number} at {time}: {}", behaviour.name), changes, Some(id))
    }

    /// Whether something is asked for that no key alone completes: a state without a set.
    fn asks_alone(&self, pass: usize) -> bool {
        self.coding.passes.get(pass).is_some_and(|pass| {
            pass.behaviours.iter().any(|id| self.ethogram.behaviour(id).is_some_and(|own| own.set.is_none()))
        })
    }

    fn tick(
        &mut self,
        walk: &Walk,
        sample: Sample,
        behaviour: &Behaviour,
        shot: Shot,
        placed: Placed,
    ) -> Result<Done, Refusal> {
        let number = sample.number;
        let own = self.marks_in(number).find(|mark| mark.behaviour == behaviour.id).map(|mark| mark.id);
        if let Some(own) = own {
            // While the film runs a second press says that it occurred once more.
            if matches!(placed, Placed::Live { .. }) {
                return Err(Refusal::NotHere("it is ticked in this interval already"));
            }
            let said = format!("interval {number}: {} taken away", behaviour.name);
            let mut changes = vec![Change::Remove(own)];
            // Out of sight was all that was said of it: nobody has said what was to be seen.
            if behaviour.has_role(Role::Excluded) && self.is_answered(number) {
                changes.extend(self.passes_with(walk, number, false));
            }
            return self.carry_out(said, changes, None);
        }
        let hides = |mark: &&Mark| {
            self.ethogram.behaviour(&mark.behaviour).is_some_and(|other| other.has_role(Role::Excluded))
        };
        let mut changes = Vec::new();
        let mut also = "";
        if behaviour.has_role(Role::Excluded) {
            if self.marks_in(number).any(|mark| !hides(&mark)) {
                return Err(Refusal::NotHere(
                    "something is ticked in this interval, so it was seen in part: out of sight is for the whole of it",
                ));
            }
            changes.extend(self.marks_in(number).filter(hides).map(|mark| Change::Remove(mark.id)));
            also = ", the whole interval";
        } else {
            let hidden: Vec<Change> =
                self.marks_in(number).filter(hides).map(|mark| Change::Remove(mark.id)).collect();
            if !hidden.is_empty() {
                also = "; it was in sight after all";
                if self.is_answered(number) {
                    changes.extend(self.passes_with(walk, number, false));
                }
            }
            changes.extend(hidden);
        }
        let mark = self.mark_of(sample, behaviour, shot, placed);
        let id = mark.id;
        changes.push(put(mark));
        self.carry_out(format!("interval {number}: {}{also}", behaviour.name), changes, Some(id))
    }

    /// A mark of a sample on the picture that is shown; never outside an interval it speaks of.
    fn mark_of(&self, sample: Sample, behaviour: &Behaviour, shot: Shot, placed: Placed) -> Mark {
        let is_inside = sample.span.is_empty() || sample.span.contains(shot.at);
        let shot = if is_inside {
            shot
        } else {
            let last = sample.span.to - Micros(1);
            self.reel.shot_at(last).filter(|own| sample.span.contains(own.at)).unwrap_or(shot)
        };
        Mark {
            clip: Some(shot.clip),
            frame: Some(shot.frame),
            sample: Some(sample.number),
            placed,
            ..Mark::event(self.coding.next_id(), behaviour.id.clone(), shot.at)
        }
    }

    /// Enter: the sample at hand is answered; what was not marked did not hold or occur.
    ///
    /// # Errors
    /// When a set of which one state always holds has no answer at a point.
    pub fn finish_sample(&mut self, walk: &Walk) -> Result<Done, Refusal> {
        let sample = walk.sample().ok_or(Refusal::NotHere("there is no sample here"))?;
        let _ = walk.shot(&self.reel).ok_or(Refusal::NotHere("there is no picture of this sample"))?;
        let (number, pass) = (sample.number, self.sampled_pass());
        let form = walk.samples().form();
        let found: Vec<&Behaviour> =
            self.marks_in(number).filter_map(|mark| self.ethogram.behaviour(&mark.behaviour)).collect();
        let is_hidden = found.iter().any(|own| own.has_role(Role::Excluded));
        if form == Form::Point && !is_hidden {
            let open = asked_sets(&self.coding, &self.ethogram, pass).into_iter().find(|set| {
                let is_exhaustive = self.ethogram.set(set).is_some_and(|own| own.exhaustive);
                is_exhaustive && !found.iter().any(|own| own.set.as_ref() == Some(set))
            });
            if let Some(set) = open {
                let name = self.ethogram.set(&set).map_or_else(|| set.to_string(), |own| own.name.clone());
                return Err(Refusal::SetOpen { name });
            }
        }
        let words = if found.is_empty() {
            "nothing of what is asked".to_owned()
        } else {
            found.iter().map(|own| own.name.as_str()).collect::<Vec<_>>().join(", ")
        };
        let changes = self.passes_with(walk, number, true);
        self.carry_out(format!("{} {number}: {words}", form.word()), changes.into_iter().collect(), None)
    }

    /// Delete: nobody has looked at the sample at hand.
    ///
    /// # Errors
    /// When there is nothing to clear.
    pub fn clear_sample(&mut self, walk: &Walk) -> Result<Done, Refusal> {
        let sample = walk.sample().ok_or(Refusal::NotHere("there is no sample here"))?;
        let number = sample.number;
        let ids: Vec<MarkId> =
            self.marks_in(number).filter(|mark| self.is_live(&mark.behaviour)).map(|mark| mark.id).collect();
        if ids.is_empty() && !self.is_answered(number) {
            return Err(Refusal::NotHere("nothing is answered here"));
        }
        let mut changes: Vec<Change> = ids.into_iter().map(Change::Remove).collect();
        changes.extend(self.passes_with(walk, number, false));
        self.carry_out(format!("{} {number} cleared", walk.samples().form().word()), changes, None)
    }

    /// The passes with a sample answered or not; the tick of the pass follows from all of them.
    fn passes_with(&self, walk: &Walk, number: u32, is_answered: bool) -> Option<Change> {
        let mut passes: Vec<Pass> = self.coding.passes.clone();
        let pass = passes.get_mut(self.sampled_pass())?;
        if is_answered {
            pass.answered.insert(number);
        } else {
            pass.answered.remove(number);
        }
        pass.done = walk.is_done_with(&pass.answered);
        Some(Change::Passes(passes))
    }
}

impl Done {
    /// The sample a step was about, to go there when it is undone.
    #[must_use]
    pub fn sample(&self) -> Option<u32> {
        let of_mark = |change: &Change| match change {
            Change::Put(mark) => mark.sample,
            _ => None,
        };
        let passes = |edit: &crate::model::Edit| {
            edit.changes.iter().find_map(|change| match change {
                Change::Passes(passes) => Some(passes.clone()),
                _ => None,
            })
        };
        let by_mark = self.edit.changes.iter().chain(&self.inverse.changes).find_map(of_mark);
        by_mark.or_else(|| {
            let (new, old) = (passes(&self.edit)?, passes(&self.inverse)?);
            new.iter().zip(&old).find_map(|(new, old)| {
                let (new, old) = (&new.answered, &old.answered);
                let numbers =
                    |own: &crate::model::samples::Numbers| own.sorted().into_iter().flat_map(|[a, b]| a..=b);
                let one_way = numbers(new).find(|number| !old.contains(*number));
                one_way.or_else(|| numbers(old).find(|number| !new.contains(*number)))
            })
        })
    }
}
