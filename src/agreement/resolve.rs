//! An agreed record, settled from two: the first record with each difference decided.
//!
//! The two codings stay as they are. The agreed one names them as its parents, keeps every decision with
//! its reason, and covers the stretch that both cover. Agreement is never computed on it: it is no
//! independent record (see [`is_comparable`]).

mod draft;

use serde::{Deserialize, Serialize};

use self::draft::Draft;
use super::align::Pairing;
use super::differences::{Apart, How, Place};
use crate::model::{BehaviourId, Coding, MarkId, PersonCode, Purpose, Status};
use crate::time::{Micros, Seconds, Span};

/// What is decided about a difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// The first record is right.
    First,
    /// The second is.
    Second,
    /// Both are: for events, and for states that exclude nothing.
    Both,
    /// Neither: nothing is there.
    Neither,
    /// Something else: these stand there instead.
    New(Vec<NewMark>),
}

/// A mark that neither record has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewMark {
    /// What.
    pub behaviour: BehaviourId,
    /// From when, or at what moment.
    pub from: Micros,
    /// Until when; of an event nothing.
    pub to: Option<Micros>,
}

/// Why the records differed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
    /// The definition can be read in two ways.
    Definition,
    /// One of them missed it.
    Missed,
    /// The same, at another moment.
    Timing,
    /// A wrong key, a forgotten end.
    Slip,
}

impl Reason {
    /// As people read it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Definition => "definition",
            Self::Missed => "missed",
            Self::Timing => "timing",
            Self::Slip => "slip",
        }
    }
}

/// A settled difference.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settled {
    /// The difference.
    pub apart: Apart,
    /// What is decided.
    pub decision: Decision,
    /// Why they differed.
    pub reason: Reason,
}

/// Why a record can't be settled so.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// A difference that these records do not have (any more).
    #[error("there is no such difference at {at} s in {place}: the codings have changed since")]
    NoSuchDifference {
        /// Where.
        at: Micros,
        /// In what.
        place: String,
    },
    /// Two states of a set at one time.
    #[error("both can't hold at {at} s: {place} has one state at a time")]
    OneAtATime {
        /// Where.
        at: Micros,
        /// In what.
        place: String,
    },
    /// A new mark that does not belong there.
    #[error("{behaviour} at {at} s does not fit into {place} there")]
    DoesNotFit {
        /// Where.
        at: Micros,
        /// What.
        behaviour: String,
        /// In what.
        place: String,
    },
    /// A parent that is itself settled.
    #[error("an agreed record can't be settled again: name the two codings it was made from")]
    ParentIsAgreed,
    /// A decision could not be put into JSON, which its types exclude.
    #[error("a decision could not be written down")]
    NotWritten,
}

/// An agreed record.
#[derive(Debug, Clone, PartialEq)]
pub struct Agreed {
    /// The record. Open, and its passes not done, while a difference is unsettled.
    pub coding: Coding,
    /// Differences without a decision: the first record stands there.
    pub unsettled: Vec<Apart>,
}

/// Where an agreed coding keeps its decisions.
pub const DECISIONS: &str = "decisions";

/// Whether agreement may be computed on a coding.
#[must_use]
pub fn is_comparable(coding: &Coding) -> bool {
    coding.purpose != Purpose::Agreed
}

/// Builds the agreed record of a pair.
///
/// `parents` are the codings' files, relative to the study; `by` is who settled it; `differences` all of
/// the pair ([`super::differences::of`]). Where visibility is settled so that the animal is in sight and
/// only the second coder saw it, the second coder's states of the animal stand there.
///
/// # Errors
/// When a decision does not fit its difference, or a parent is itself agreed.
pub fn agreed(
    pairing: &Pairing<'_>,
    parents: [&str; 2],
    by: &PersonCode,
    differences: &[Apart],
    settled: &[Settled],
) -> Result<Agreed, Error> {
    let [first, second] = pairing.codings();
    if !is_comparable(first) || !is_comparable(second) {
        return Err(Error::ParentIsAgreed);
    }
    let mut draft = Draft::of(pairing);
    for own in settled {
        if !differences.contains(&own.apart) {
            let (at, place) = (own.apart.span.from, own.apart.place.name().to_owned());
            return Err(Error::NoSuchDifference { at, place });
        }
        draft.settle(own)?;
    }
    draft.see_with_the_second();
    let unsettled: Vec<Apart> =
        differences.iter().filter(|own| !settled.iter().any(|known| known.apart == **own)).cloned().collect();
    let mut coding = Coding::new(first.session.clone(), by.clone(), first.ethogram.clone());
    coding.purpose = Purpose::Agreed;
    coding.parents = parents.map(str::to_owned).to_vec();
    coding.rule = first.rule;
    coding.window = Some(pairing.window());
    coding.passes.clone_from(&first.passes);
    for pass in &mut coding.passes {
        let both = pass.behaviours.iter().all(|own| first.is_done(own) && second.is_done(own));
        pass.done = pass.done && both && unsettled.is_empty();
        pass.minutes = 0.0;
    }
    coding.status = Status::Open;
    coding.marks = draft.finish();
    let decisions = serde_json::to_value(settled.iter().map(Kept::from).collect::<Vec<_>>());
    let _ = coding.extra.insert(DECISIONS.to_owned(), decisions.map_err(|_| Error::NotWritten)?);
    Ok(Agreed { coding, unsettled })
}

/// The decisions an agreed coding keeps, to go on settling where it was left; nothing when it keeps none
/// that can be read.
#[must_use]
pub fn settled_in(coding: &Coding) -> Vec<Settled> {
    let Some(kept) = coding.extra.get(DECISIONS) else { return Vec::new() };
    let kept: Vec<Kept> = serde::Deserialize::deserialize(kept).unwrap_or_default();
    kept.into_iter().map(Settled::from).collect()
}

/// A decision as an agreed coding keeps it: its times, as those of marks, in µs.
#[derive(Serialize, Deserialize)]
struct Kept {
    kind: How,
    place: Place,
    from: Micros,
    to: Micros,
    first: Option<String>,
    second: Option<String>,
    first_mark: Option<MarkId>,
    second_mark: Option<MarkId>,
    decision: Decision,
    reason: Reason,
}

impl From<&Settled> for Kept {
    fn from(own: &Settled) -> Self {
        let apart = own.apart.clone();
        Self {
            kind: apart.kind,
            place: apart.place,
            from: apart.span.from,
            to: apart.span.to,
            first: apart.first,
            second: apart.second,
            first_mark: apart.first_mark,
            second_mark: apart.second_mark,
            decision: own.decision.clone(),
            reason: own.reason,
        }
    }
}

impl From<Kept> for Settled {
    fn from(kept: Kept) -> Self {
        let span = Span::between(kept.from, kept.to);
        Self {
            apart: Apart {
                kind: kept.kind,
                place: kept.place,
                span,
                seconds: Seconds(span.length()),
                first: kept.first,
                second: kept.second,
                first_mark: kept.first_mark,
                second_mark: kept.second_mark,
            },
            decision: kept.decision,
            reason: kept.reason,
        }
    }
}
