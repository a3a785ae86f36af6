//! What a coding by samples came to: instantaneous and one-zero records as they were made.
//!
//! The unit is the sample. A sample nobody has looked at is in no denominator, and while there is one
//! no number is complete. What [`super::sampling`] reckons from a continuous record, these count.

use std::collections::BTreeSet;

use super::record::{Missing, Record};
use crate::model::samples::{Form, Sample, Samples};
use crate::model::{Behaviour, BehaviourId, Kind, Role};
use crate::numeric::interval::wilson;
use crate::time::Spans;

/// The samples of one record.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// Where they lie.
    pub samples: Samples,
    /// Those for which there is no film: out of sight, "file gap" (rule 4).
    pub in_gaps: u32,
    /// Those with film that are answered.
    pub answered: u32,
    /// Those of them in which the animal was out of sight.
    pub out_of_sight: u32,
    /// These, by number; without those flagged unsure where these are left out.
    pub hidden: BTreeSet<u32>,
    /// The other ones of them, by number; without those flagged unsure where these are left out.
    pub visible: BTreeSet<u32>,
}

/// How often a behaviour was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The behaviour.
    pub behaviour: BehaviourId,
    /// Visible points at which it held, or intervals in which it held or occurred.
    pub hits: u32,
    /// Visible points or intervals that are answered.
    pub of: u32,
}

impl Found {
    /// Of points: an estimate of the share of visible time. Of intervals: of those with any visible time
    /// the share with at least one; neither time nor frequency.
    ///
    /// # Errors
    /// When nothing is visible.
    pub fn share(&self) -> Result<f64, Missing> {
        if self.of == 0 { Err(Missing::NeverVisible) } else { Ok(f64::from(self.hits) / f64::from(self.of)) }
    }

    /// Wilson's 95 % interval of that share. Samples that follow closely resemble each other: it is then
    /// too narrow.
    #[must_use]
    pub fn interval(&self) -> Option<(f64, f64)> {
        wilson(self.hits, self.of)
    }
}

/// Whether there is any film in a sample.
#[must_use]
pub fn has_film(sample: Sample, film: &Spans) -> bool {
    if sample.span.is_empty() {
        film.contains(sample.span.from)
    } else {
        !film.intersection(&sample.span.into()).is_empty()
    }
}

impl Recorded {
    /// Of a record, as far as it goes.
    ///
    /// # Errors
    /// A continuous record, or an interval that makes no sense.
    pub fn of(record: &Record<'_>) -> Result<Self, Missing> {
        let samples = Samples::of(record.coding.rule, record.window()).ok_or(Missing::NotSampled)?;
        let film = Spans::from(record.window()).without(&record.session.file_gaps());
        let hidden: BTreeSet<u32> = record
            .ethogram
            .with_role(Role::Excluded)
            .flat_map(|behaviour| numbers_of(record, behaviour))
            .collect();
        // An answer that is left out leaves its sample out too, else it would count as absence.
        let doubtful: BTreeSet<u32> = if record.with_unsure() {
            BTreeSet::new()
        } else {
            record.coding.marks.iter().filter(|mark| mark.unsure).filter_map(|mark| mark.sample).collect()
        };
        let mut found = Self {
            samples,
            in_gaps: 0,
            answered: 0,
            out_of_sight: 0,
            hidden: BTreeSet::new(),
            visible: BTreeSet::new(),
        };
        for sample in samples.iter() {
            let is_answered = record.coding.passes.iter().any(|pass| pass.answered.contains(sample.number));
            if !has_film(sample, &film) {
                found.in_gaps += 1;
            } else if is_answered {
                found.answered += 1;
                let is_hidden = hidden.contains(&sample.number);
                found.out_of_sight += u32::from(is_hidden);
                if !doubtful.contains(&sample.number) {
                    let own = if is_hidden { &mut found.hidden } else { &mut found.visible };
                    let _ = own.insert(sample.number);
                }
            }
        }
        Ok(found)
    }

    /// Samples that nobody has answered yet.
    #[must_use]
    pub fn unanswered(&self) -> u32 {
        self.samples.count() - self.in_gaps - self.answered
    }

    /// How often a behaviour was found, in the samples answered so far.
    ///
    /// # Errors
    /// When it was not asked for, means out of sight itself, or is an event that points can't hold.
    pub fn so_far(&self, record: &Record<'_>, behaviour: &Behaviour) -> Result<Found, Missing> {
        if behaviour.has_role(Role::Excluded) {
            return Err(Missing::NeverVisible);
        }
        if self.samples.form() == Form::Point && behaviour.kind == Kind::Event {
            return Err(Missing::NotContinuous);
        }
        let pass = record.coding.passes.iter().find(|pass| pass.behaviours.contains(&behaviour.id));
        let pass = pass.ok_or(Missing::PassNotDone)?;
        let seen: BTreeSet<u32> =
            self.visible.iter().copied().filter(|number| pass.answered.contains(*number)).collect();
        let hits: BTreeSet<u32> =
            numbers_of(record, behaviour).filter(|number| seen.contains(number)).collect();
        let count = |set: &BTreeSet<u32>| u32::try_from(set.len()).unwrap_or(u32::MAX);
        Ok(Found { behaviour: behaviour.id.clone(), hits: count(&hits), of: count(&seen) })
    }

    /// How often a behaviour was found, all samples answered.
    ///
    /// # Errors
    /// As [`Recorded::so_far`]; and while a sample is not answered.
    pub fn found(&self, record: &Record<'_>, behaviour: &Behaviour) -> Result<Found, Missing> {
        if self.unanswered() > 0 {
            return Err(Missing::PassNotDone);
        }
        self.so_far(record, behaviour)
    }
}

/// Samples in which a behaviour was found, answered to the end or not.
pub fn numbers_of<'a>(record: &'a Record<'a>, behaviour: &'a Behaviour) -> impl Iterator<Item = u32> + 'a {
    let unsure = record.with_unsure();
    let own = move |mark: &&crate::model::Mark| mark.behaviour == behaviour.id && (unsure || !mark.unsure);
    record.coding.marks.iter().filter(own).filter_map(|mark| mark.sample)
}
