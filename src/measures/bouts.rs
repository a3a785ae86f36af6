//! Bouts and counts of one behaviour (rules 13 to 16).

use super::record::{Bout, Missing, Record, Seen};
use crate::model::{Behaviour, Kind};
use crate::numeric::product_limit::{Curve, Ending, Time};
use crate::numeric::quantile;
use crate::time::Micros;

/// What a behaviour came to in one record or several.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    /// Bouts, or events.
    pub n: u32,
    /// Bouts of which both edges were seen.
    pub n_complete: u32,
    /// Time of all of them.
    pub total: Micros,
    /// Lengths of the complete ones, in seconds, in order of time.
    pub complete: Vec<f64>,
    /// Lengths of those whose start was seen, for the product limit.
    pub started: Vec<Time>,
}

/// Counts a behaviour in a record.
///
/// # Errors
/// When its pass is not done, or only samples were recorded.
pub fn tally(record: &Record<'_>, behaviour: &Behaviour) -> Result<Tally, Missing> {
    record.is_continuous()?;
    if !record.coding.is_done(&behaviour.id) {
        return Err(Missing::PassNotDone);
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    if behaviour.kind == Kind::Event {
        return Ok(Tally { n: count(record.onsets(behaviour).len()), ..Tally::default() });
    }
    let bouts = record.bouts(behaviour);
    let complete: Vec<f64> =
        bouts.iter().filter(|bout| bout.is_complete()).map(|bout| bout.span.length().seconds()).collect();
    // Left-censored ones are left out: nobody knows how long they had run (rule 15).
    let started = bouts.iter().filter(|bout| bout.start == Seen::Whole).map(time_of).collect();
    Ok(Tally {
        n: count(bouts.len()),
        n_complete: count(complete.len()),
        total: bouts.iter().map(|bout| bout.span.length()).sum(),
        complete,
        started,
    })
}

fn time_of(bout: &Bout) -> Time {
    Time {
        length: bout.span.length().seconds(),
        ending: if bout.end == Seen::Whole { Ending::Reached } else { Ending::Censored },
    }
}

impl Tally {
    /// Takes another session's in.
    pub fn add(&mut self, other: &Self) {
        self.n += other.n;
        self.n_complete += other.n_complete;
        self.total = self.total + other.total;
        self.complete.extend(&other.complete);
        self.started.extend(&other.started);
    }

    /// Mean length of complete bouts, in seconds.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        quantile::mean(&self.complete)
    }

    /// A quantile of their lengths.
    #[must_use]
    pub fn quantile(&self, q: f64) -> Option<f64> {
        quantile::of(&self.complete, q)
    }

    /// Their standard deviation.
    #[must_use]
    pub fn standard_deviation(&self) -> Option<f64> {
        quantile::standard_deviation(&self.complete)
    }

    /// Median length by the product limit, bouts cut at their end taken as censored.
    #[must_use]
    pub fn product_limit_median(&self) -> Option<f64> {
        Curve::of(&self.started).median().at
    }
}
