//! The walk through a coding by samples: which point or interval is at hand, which are answered, how far
//! it has come.
//!
//! Nothing here changes the record: [`super::coder::Coder::answer`] does, through the same journal as
//! everything else.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::time::Duration;

use super::reel::{Reel, Shot};
use crate::model::samples::{Form, Numbers, Sample, Samples};
use crate::model::{Coding, Ethogram, Kind, PassOutline, Role, SetId};
use crate::time::{Micros, Spans};

/// Where the work stands in the samples of a session.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    samples: Samples,
    film: Spans,
    here: u32,
    /// When the last answers came, for what is left.
    paces: VecDeque<Duration>,
    last: Option<Duration>,
    /// The film ran on into the sample at hand from the one before it, without a stop.
    ran_on: bool,
}

/// What is known of a sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// There is no film in it: out of sight, "file gap" (rule 4); nothing is asked.
    Gap,
    /// Nobody has looked.
    Unanswered,
    /// Something is answered, not all.
    Begun,
    /// Answered.
    Answered,
    /// Answered: the animal was out of sight.
    OutOfSight,
}

/// How far the walk has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Progress {
    /// Samples with film.
    pub asked: u32,
    /// Those of them that are answered.
    pub answered: u32,
    /// Those of these in which the animal was out of sight.
    pub out_of_sight: u32,
    /// Samples without film.
    pub in_gaps: u32,
}

impl Progress {
    /// Every sample with film is answered, and there is one.
    #[must_use]
    pub const fn is_done(&self) -> bool {
        self.asked > 0 && self.answered == self.asked
    }
}

/// Longer without an answer is time away, not time at work.
const AWAY: Duration = Duration::from_secs(60);
/// Answers the pace is reckoned from.
const PACES: usize = 30;

impl Walk {
    /// Through the samples, `film` being the time of which there are pictures.
    #[must_use]
    pub fn new(samples: Samples, film: Spans) -> Self {
        let mut walk = Self { samples, film, here: 1, paces: VecDeque::new(), last: None, ran_on: false };
        if walk.sample().is_none_or(|own| !walk.has_film(own)) {
            walk.step(1);
        }
        walk
    }

    /// The same walk where the film has become known to be longer or shorter.
    #[must_use]
    pub fn renewed(mut self, samples: Samples, film: Spans) -> Self {
        (self.samples, self.film) = (samples, film);
        self.here = self.here.clamp(1, self.samples.count().max(1));
        self
    }

    /// All samples.
    #[must_use]
    pub const fn samples(&self) -> &Samples {
        &self.samples
    }

    /// The sample at hand.
    #[must_use]
    pub fn sample(&self) -> Option<Sample> {
        self.samples.get(self.here)
    }

    /// Whether there is a picture in it.
    #[must_use]
    pub fn has_film(&self, sample: Sample) -> bool {
        if sample.span.is_empty() {
            self.film.contains(sample.span.from)
        } else {
            !self.film.intersection(&sample.span.into()).is_empty()
        }
    }

    /// Goes to a sample with film, the nearest one to a moment.
    pub fn go_to(&mut self, at: Micros) {
        let Some(number) = self.samples.number_at(at) else { return };
        // A point before or after may be nearer than the last one passed.
        let near = [number, number.saturating_add(1)];
        let nearest = near
            .into_iter()
            .filter_map(|number| self.samples.get(number))
            .filter(|own| self.samples.form() == Form::Point || own.number == number)
            .filter(|own| self.has_film(*own))
            .min_by_key(|own| own.span.from.distance(at));
        if let Some(nearest) = nearest {
            self.put(nearest.number);
        }
    }

    /// Goes to the sample of a number, if there is film in it.
    pub fn choose(&mut self, number: u32) {
        if self.samples.get(number).is_some_and(|own| self.has_film(own)) {
            self.put(number);
        }
    }

    fn put(&mut self, number: u32) {
        self.here = number;
        self.ran_on = false;
    }

    /// The film went on into the sample at hand from the one before it: a key may still speak of that one.
    pub fn runs_on(&mut self) {
        self.ran_on = true;
    }

    /// Whether it did.
    #[must_use]
    pub const fn ran_on(&self) -> bool {
        self.ran_on
    }

    /// The film stopped or began anew.
    pub fn stops(&mut self) {
        self.ran_on = false;
    }

    /// Goes to the next (positive) or previous sample with film; stays when there is none.
    pub fn step(&mut self, by: i32) {
        let mut number = self.here;
        while let Some(next) = number.checked_add_signed(by.signum()) {
            match self.samples.get(next) {
                Some(own) if self.has_film(own) => {
                    self.put(next);
                    return;
                }
                Some(_) => number = next,
                None => return,
            }
        }
    }

    /// Goes to the next sample that nobody has answered, round by the start; `false`: there is none.
    pub fn next_unanswered(&mut self, answered: &Numbers) -> bool {
        let after = self.here + 1..=self.samples.count();
        let found = after.chain(1..=self.here).find(|number| {
            !answered.contains(*number) && self.samples.get(*number).is_some_and(|own| self.has_film(own))
        });
        if let Some(number) = found {
            self.put(number);
        }
        found.is_some()
    }

    /// The picture of the sample at hand: at a point the one that is shown at it; of an interval its first.
    /// `None` where the reel has no picture, as when a clip is not open.
    #[must_use]
    pub fn shot(&self, reel: &Reel) -> Option<Shot> {
        let sample = self.sample()?;
        match self.samples.form() {
            Form::Point => reel.film().contains(sample.span.from).then(|| reel.shot_at(sample.span.from))?,
            Form::Interval => {
                let film = reel.film().intersection(&sample.span.into());
                let from = film.as_slice().first()?.from;
                let shot = reel.shot_at(from)?;
                // The picture that is shown when the interval begins may have appeared before it.
                let next = reel.step_from(shot.at, 1).filter(|next| sample.span.contains(next.at));
                Some(if shot.at < sample.span.from { next.unwrap_or(shot) } else { shot })
            }
        }
    }

    /// Whether every sample is answered, one more being so.
    #[must_use]
    pub fn is_done_with(&self, answered: &Numbers) -> bool {
        let mut asked = self.samples.iter().filter(|own| self.has_film(*own)).peekable();
        asked.peek().is_some() && asked.all(|own| answered.contains(own.number))
    }

    /// What is known of every sample, in order, in one pass.
    #[must_use]
    pub fn states(&self, coding: &Coding, ethogram: &Ethogram, pass: usize) -> Vec<(Sample, State)> {
        let is_hidden = |id| ethogram.behaviour(id).is_some_and(|b| b.has_role(Role::Excluded));
        let mut marked: BTreeMap<u32, bool> = BTreeMap::new();
        for mark in &coding.marks {
            if let Some(number) = mark.sample {
                *marked.entry(number).or_default() |= is_hidden(&mark.behaviour);
            }
        }
        let none = Numbers::default();
        let ranges = coding.passes.get(pass).map_or(&none, |pass| &pass.answered).sorted();
        let is_answered = |number: u32| {
            let after = ranges.partition_point(|[first, _]| *first <= number);
            after.checked_sub(1).and_then(|place| ranges.get(place)).is_some_and(|[_, last]| number <= *last)
        };
        let state = |sample: Sample| {
            let marked = marked.get(&sample.number);
            match (self.has_film(sample), is_answered(sample.number), marked) {
                (false, ..) => State::Gap,
                (true, true, Some(true)) => State::OutOfSight,
                (true, true, _) => State::Answered,
                (true, false, Some(_)) => State::Begun,
                (true, false, None) => State::Unanswered,
            }
        };
        self.samples.iter().map(|sample| (sample, state(sample))).collect()
    }

    /// Notes that a sample has just been answered; `now` on any clock that does not go back.
    pub fn answered_at(&mut self, now: Duration) {
        if let Some(last) = self.last.replace(now) {
            self.paces.push_back(now.saturating_sub(last).min(AWAY));
            while self.paces.len() > PACES {
                let _ = self.paces.pop_front();
            }
        }
    }

    /// Time that what is left will take at the pace of the last answers (their median); `None` before
    /// five of them.
    #[must_use]
    pub fn time_left(&self, progress: Progress) -> Option<Duration> {
        let mut paces: Vec<Duration> = self.paces.iter().copied().collect();
        paces.sort_unstable();
        let median = paces.get(paces.len() / 2).filter(|_| paces.len() >= 5)?;
        Some(*median * (progress.asked - progress.answered.min(progress.asked)))
    }
}

/// Counts states.
#[must_use]
pub fn progress(states: &[(Sample, State)]) -> Progress {
    let mut progress = Progress::default();
    for (_, state) in states {
        match state {
            State::Gap => progress.in_gaps += 1,
            State::Unanswered | State::Begun => progress.asked += 1,
            State::Answered => {
                progress.asked += 1;
                progress.answered += 1;
            }
            State::OutOfSight => {
                progress.asked += 1;
                progress.answered += 1;
                progress.out_of_sight += 1;
            }
        }
    }
    progress
}

/// Something that can be asked at each sample: a set of states, or one behaviour that belongs to none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// What people call it.
    pub name: String,
    /// The set; none: one behaviour alone.
    pub set: Option<SetId>,
    /// Its behaviours.
    pub outline: PassOutline,
    /// Whether it is asked unless a person says otherwise: what the animal does, not whether it is seen.
    pub usual: bool,
    /// Events can't be asked at points.
    pub is_event: bool,
}

/// All that can be asked, in the ethogram's order: its sets, then its behaviours without one.
#[must_use]
pub fn questions(ethogram: &Ethogram) -> Vec<Question> {
    let visibility = ethogram.visibility_set();
    let mut all = Vec::new();
    let question = |name: &str, set: Option<SetId>, behaviours, usual, is_event| Question {
        name: name.to_owned(),
        set,
        outline: PassOutline { name: name.to_owned(), behaviours, extra: crate::model::Extra::new() },
        usual,
        is_event,
    };
    for set in &ethogram.sets {
        let states: Vec<_> = ethogram.states_of(&set.id).collect();
        let is_animals = states.iter().any(|state| state.who == crate::model::Actor::Animal);
        let ids = states.iter().map(|state| state.id.clone()).collect();
        let usual = is_animals && visibility != Some(&set.id);
        all.push(question(&set.name, Some(set.id.clone()), ids, usual, false));
    }
    for own in ethogram.behaviours.iter().filter(|own| own.set.is_none()) {
        all.push(question(&own.name, None, vec![own.id.clone()], false, own.kind == Kind::Event));
    }
    all
}

/// The one pass of a coding by samples: what was chosen, and always out of sight.
///
/// # Errors
/// In words, when nothing is chosen, two behaviours share a key, or one has none.
pub fn pass_of(ethogram: &Ethogram, chosen: &[&Question], form: Form) -> Result<PassOutline, String> {
    let mut ids: BTreeSet<_> = chosen.iter().flat_map(|own| own.outline.behaviours.iter()).collect();
    if ids.is_empty() {
        return Err("choose at least one set or behaviour to ask for".to_owned());
    }
    ids.extend(ethogram.with_role(Role::Excluded).map(|own| &own.id));
    let mut keys: BTreeMap<char, &str> = BTreeMap::new();
    let mut behaviours = Vec::new();
    for own in ethogram.behaviours.iter().filter(|own| ids.contains(&own.id)) {
        if own.kind == Kind::Event && form == Form::Point {
            return Err(format!(
                "'{}' is an event: a point in time holds no events; use intervals",
                own.name
            ));
        }
        let Some(key) = own.key else {
            return Err(format!("'{}' has no key: give it one in the ethogram", own.name));
        };
        if let Some(other) = keys.insert(key.to_ascii_lowercase(), &own.name) {
            return Err(format!("'{}' and '{other}' share the key {key}: ask for one of them", own.name));
        }
        behaviours.push(own.id.clone());
    }
    let name = if form == Form::Point { "Points" } else { "Intervals" };
    Ok(PassOutline { name: name.to_owned(), behaviours, extra: crate::model::Extra::new() })
}

/// Sets of which an answer is asked at each point: those of which a state other than out of sight is in
/// the pass.
#[must_use]
pub fn asked_sets(coding: &Coding, ethogram: &Ethogram, pass: usize) -> Vec<SetId> {
    let Some(pass) = coding.passes.get(pass) else { return Vec::new() };
    let is_asked = |set: &&crate::model::Set| {
        let mut states = ethogram.states_of(&set.id);
        states.any(|own| !own.has_role(Role::Excluded) && pass.behaviours.contains(&own.id))
    };
    ethogram.sets.iter().filter(is_asked).map(|set| set.id.clone()).collect()
}
