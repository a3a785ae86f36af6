//! One number of a session: what is followed from session to session, with what it was divided by.

use super::presentations::{self, Outcome, Presentation};
use super::record::{Missing, Record};
use super::{bouts, concern, summary};
use crate::model::{BehaviourId, Kind, Role};
use crate::time::{Micros, Spans};

/// What is followed over sessions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Quantity {
    /// Share of valid presentations that succeed.
    Success,
    /// Median latency from the cue to the first orient, in seconds (product limit).
    OrientLatency,
    /// The same to the first approach.
    ApproachLatency,
    /// The same to the first contact.
    ContactLatency,
    /// Approaches among approaches and retreats.
    ApproachShare,
    /// Share of observed time out of sight.
    OutOfSight,
    /// Share of visible time at watch.
    Watch,
    /// Incidents at stop in an hour of visible time.
    StopIncidents,
    /// Food deliveries in a minute of observed time.
    Food,
    /// A state's share of visible time.
    Share(BehaviourId),
    /// Bouts or events of a behaviour in an hour of visible time.
    Rate(BehaviourId),
}

/// What a number was divided by, or found from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Denominator {
    /// Presentations.
    Presentations(u32),
    /// Approach and retreat onsets.
    Turns(u32),
    /// Time observed.
    Observed(Micros),
    /// Time visible.
    Visible(Micros),
}

/// A number of one session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// The number.
    pub value: f64,
    /// What it was divided by.
    pub of: Denominator,
}

/// The quantity in one record.
///
/// # Errors
/// Why it has no value there.
pub fn value(record: &Record<'_>, quantity: &Quantity) -> Result<Value, Missing> {
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let presented = || record.is_role_done(Role::Cue).map(|()| presentations::of(record));
    let latency = |role: Role, of: fn(&Presentation) -> presentations::Latency| {
        record.is_role_done(role)?;
        let (curve, n, _) = summary::curve(presented()?.iter(), of);
        let median =
            if n == 0 { Err(Missing::None) } else { curve.median().at.ok_or(Missing::MedianNotReached) };
        Ok(Value { value: median?, of: Denominator::Presentations(n) })
    };
    let visible = || match record.visible()?.total() {
        Micros::ZERO => Err(Missing::NeverVisible),
        time => Ok(time),
    };
    let over_visible = |above: f64, hours: f64| {
        let time = visible()?;
        Ok(Value { value: above / (time.seconds() / hours), of: Denominator::Visible(time) })
    };
    let observed = record.window().length();
    match quantity {
        Quantity::Success => {
            outcomes_told(record)?;
            let all = presented()?;
            let valid = count(all.iter().filter(|p| p.outcome.is_valid()).count());
            let success = count(all.iter().filter(|p| p.outcome == Outcome::Success).count());
            let value = (valid > 0).then(|| f64::from(success) / f64::from(valid));
            Ok(Value { value: value.ok_or(Missing::None)?, of: Denominator::Presentations(valid) })
        }
        Quantity::OrientLatency => latency(Role::Orient, |p| p.orient),
        Quantity::ApproachLatency => latency(Role::Approach, |p| p.approach),
        Quantity::ContactLatency => latency(Role::Contact, |p| p.contact),
        Quantity::ApproachShare => {
            record.is_role_done(Role::Approach)?;
            record.is_role_done(Role::Retreat)?;
            let turns = |role| count(record.role_onsets(role).len());
            let (a, r) = (turns(Role::Approach), turns(Role::Retreat));
            let value = (a + r > 0).then(|| f64::from(a) / f64::from(a + r));
            Ok(Value { value: value.ok_or(Missing::None)?, of: Denominator::Turns(a + r) })
        }
        Quantity::OutOfSight => {
            let hidden = observed - record.visible()?.total();
            Ok(Value { value: hidden.seconds() / observed.seconds(), of: Denominator::Observed(observed) })
        }
        Quantity::Watch => over_visible(watched(record)?.watch.total().seconds(), 1.0),
        Quantity::StopIncidents => {
            over_visible(f64::from(count(watched(record)?.stop_incidents.len())), 3_600.0)
        }
        Quantity::Food => {
            record.is_role_done(Role::Food)?;
            let deliveries = f64::from(count(record.role_onsets(Role::Food).len()));
            Ok(Value { value: deliveries / (observed.seconds() / 60.0), of: Denominator::Observed(observed) })
        }
        Quantity::Share(id) => {
            let behaviour = record.ethogram.behaviour(id).ok_or(Missing::NotInEthogram)?;
            if behaviour.kind == Kind::Event {
                return Err(Missing::NoDuration);
            }
            if behaviour.has_role(Role::Excluded) {
                return Err(Missing::NeverVisible);
            }
            let _ = bouts::tally(record, behaviour)?;
            // What is not cut at out of sight counts only where the animal was seen, so that no share
            // passes 1.
            let spans: Spans = record.bouts(behaviour).into_iter().map(|bout| bout.span).collect();
            over_visible(spans.intersection(record.visible()?).total().seconds(), 1.0)
        }
        Quantity::Rate(id) => {
            let behaviour = record.ethogram.behaviour(id).ok_or(Missing::NotInEthogram)?;
            over_visible(f64::from(bouts::tally(record, behaviour)?.n), 3_600.0)
        }
    }
}

/// That everything is coded that tells success from refusal, and a refusal from a void or aborted
/// presentation: what is not coded would count as a refusal.
fn outcomes_told(record: &Record<'_>) -> Result<(), Missing> {
    match record.step().and_then(|step| step.success.as_ref()) {
        Some(named) if !record.coding.is_done(named) => return Err(Missing::PassNotDone),
        Some(_) => {}
        None => record.is_role_done(Role::Success)?,
    }
    // A role that nothing has tells that nothing of it happened.
    let telling = [
        Role::Approach,
        Role::Retreat,
        Role::Hide,
        Role::Escape,
        Role::Prompt,
        Role::Abort,
        Role::BackOff,
        Role::Disturbance,
        Role::Void,
        Role::Excluded,
    ];
    let is_open = |role| record.is_role_done(role) == Err(Missing::PassNotDone);
    // At stop level a presentation is broken off.
    let is_told = is_concern_told(record) && !telling.into_iter().any(is_open);
    if is_told { Ok(()) } else { Err(Missing::PassNotDone) }
}

/// Whether everything that can raise a level is coded to its end.
fn is_concern_told(record: &Record<'_>) -> bool {
    let mut raising =
        record.ethogram.behaviours.iter().filter(|b| b.concern_in(record.animal()).next().is_some());
    raising.all(|b| record.coding.is_done(&b.id))
}

/// Concern, if it is told.
fn watched(record: &Record<'_>) -> Result<concern::Concern, Missing> {
    record.is_continuous()?;
    if is_concern_told(record) {
        Ok(concern::of(record, &presentations::of(record)))
    } else {
        Err(Missing::PassNotDone)
    }
}
