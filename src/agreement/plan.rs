//! Which sessions a second person codes.
//!
//! Each session has a number of its own between 0 and 1, drawn from the seed and its id alone; below the
//! share it is due. So a session that is due stays so, whatever is added after it. Besides, the first
//! session of each animal, coder and plan step is due unless a second coding of one like it is there
//! already, and so is each with a stop-level code. The first of its kind is not drawn: whoever wants at
//! least one at any time, and none taken back later, can't draw it.

use std::collections::BTreeSet;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde::Serialize;

use crate::measures::{Marks, Record, concern, presentations};
use crate::model::{AnimalId, Coding, Ethogram, PersonCode, Purpose, Session, SessionId, Study};

/// A session that somebody coded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// The session.
    pub session: SessionId,
    /// Its animal.
    pub animal: AnimalId,
    /// Who coded it first.
    pub coder: PersonCode,
    /// Its plan step.
    pub step: Option<u32>,
    /// It has a stop-level incident.
    pub has_stop: bool,
    /// Who coded it second; nobody yet.
    pub second: Vec<PersonCode>,
}

impl Candidate {
    /// From a primary coding, and those who made second ones.
    #[must_use]
    pub fn of(record: &Record<'_>, second: Vec<PersonCode>) -> Self {
        let found = concern::of(record, &presentations::of(record));
        Self {
            session: record.session.id.clone(),
            animal: record.session.animal.clone(),
            coder: record.coding.by.clone(),
            step: record.session.step,
            has_stop: !found.stop_incidents.is_empty(),
            second,
        }
    }
}

/// A primary coding as a candidate; none when its session is left out or the coding counts as something
/// else. `second`: who coded the session a second time.
#[must_use]
pub fn candidate(
    study: &Study,
    coding: &Coding,
    ethogram: &Ethogram,
    session: &Session,
    second: Vec<PersonCode>,
) -> Option<Candidate> {
    if coding.purpose != Purpose::Primary || session.left_out.is_some() {
        return None;
    }
    let record = Record::try_new(coding, ethogram, session, study, Marks::All);
    Some(match record {
        Some(record) => Candidate::of(&record, second),
        None => Candidate {
            session: session.id.clone(),
            animal: session.animal.clone(),
            coder: coding.by.clone(),
            step: session.step,
            has_stop: false,
            second,
        },
    })
}

/// Who coded a session a second time, from the purpose and person of each of its codings.
pub fn second_coders<'a>(
    first: &PersonCode,
    codings: impl Iterator<Item = (Purpose, &'a PersonCode)>,
) -> Vec<PersonCode> {
    let found: BTreeSet<&PersonCode> = codings
        .filter(|(purpose, by)| *purpose == Purpose::Second && *by != first)
        .map(|(_, by)| by)
        .collect();
    found.into_iter().cloned().collect()
}

/// A session that is due for a second coder, or had one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Due {
    /// The session.
    pub session: SessionId,
    /// Who coded it first, and so can't be the second.
    pub coder: PersonCode,
    /// Why; nothing when somebody coded it a second time unasked.
    pub reasons: Vec<Reason>,
    /// Who coded it a second time.
    pub second: Vec<PersonCode>,
}

impl Due {
    /// Nobody has yet.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.second.is_empty()
    }
}

/// Why a session is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
    /// Its number lies below the share.
    Drawn,
    /// The first of its animal, coder and step, of which none was coded twice.
    FirstOfItsKind,
    /// It has a stop-level code.
    StopLevel,
}

impl Reason {
    /// As people read it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Drawn => "drawn",
            Self::FirstOfItsKind => "first of its animal, coder and step",
            Self::StopLevel => "stop-level code",
        }
    }
}

/// Sessions due, in the order given: that in which they were made.
#[must_use]
pub fn due(candidates: &[Candidate], share: f64, seed: u64) -> Vec<Due> {
    let served: BTreeSet<_> = candidates.iter().filter(|own| !own.second.is_empty()).map(kind).collect();
    let mut kinds = BTreeSet::new();
    let mut found = Vec::new();
    for own in candidates {
        let is_first = kinds.insert(kind(own));
        let is_served = served.contains(&kind(own));
        let mut reasons = Vec::new();
        if number(&own.session, seed) < share {
            reasons.push(Reason::Drawn);
        }
        if is_first && (!is_served || !own.second.is_empty()) {
            reasons.push(Reason::FirstOfItsKind);
        }
        if own.has_stop {
            reasons.push(Reason::StopLevel);
        }
        if !reasons.is_empty() || !own.second.is_empty() {
            found.push(Due {
                session: own.session.clone(),
                coder: own.coder.clone(),
                reasons,
                second: own.second.clone(),
            });
        }
    }
    found
}

/// Sessions of one kind stand for each other.
fn kind(own: &Candidate) -> (&AnimalId, &PersonCode, Option<u32>) {
    (&own.animal, &own.coder, own.step)
}

/// A session's own number, from 0 to below 1.
#[allow(clippy::cast_precision_loss)] // 53 bits fit.
fn number(session: &SessionId, seed: u64) -> f64 {
    let mut hash = blake3::Hasher::new();
    let _ = hash.update(&seed.to_le_bytes()).update(session.as_str().as_bytes());
    let mut random = ChaCha8Rng::from_seed(*hash.finalize().as_bytes());
    (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(session: &str, animal: &str, step: u32) -> Candidate {
        Candidate {
            session: session.into(),
            animal: animal.into(),
            coder: "K-07".into(),
            step: Some(step),
            has_stop: false,
            second: Vec::new(),
        }
    }

    fn names(due: &[Due]) -> Vec<&str> {
        due.iter().map(|own| own.session.as_str()).collect()
    }

    #[test]
    fn at_least_one_of_each_kind_and_every_stop() {
        let mut all = vec![
            candidate("a", "bramble", 3),
            candidate("b", "bramble", 3),
            candidate("c", "bramble", 4),
            candidate("d", "sorrel", 3),
            candidate("e", "sorrel", 3),
        ];
        all[4].has_stop = true;
        // No share at all: only what has to be.
        assert_eq!(names(&due(&all, 0.0, 1)), ["a", "c", "d", "e"]);
        assert_eq!(due(&all, 0.0, 1)[3].reasons, [Reason::StopLevel]);
        // One of the first kind was coded twice: that is enough of it.
        all[1].second.push("K-12".into());
        let found = due(&all, 0.0, 1);
        assert_eq!(names(&found), ["b", "c", "d", "e"]);
        assert!(found[0].reasons.is_empty() && !found[0].is_waiting());
        assert_eq!(due(&all, 1.0, 1).len(), 5, "all of them");
    }

    #[test]
    fn what_is_due_stays_due_and_the_share_is_kept() {
        let all: Vec<Candidate> = (0..400).map(|i| candidate(&format!("s{i}"), "bramble", i / 100)).collect();
        let mut before: Vec<String> = Vec::new();
        for end in [1, 7, 100, 101, 400] {
            let found = due(&all[..end], 0.25, 9);
            let now: Vec<String> = names(&found).into_iter().map(str::to_owned).collect();
            assert!(before.iter().all(|own| now.contains(own)), "{end}");
            before = now;
        }
        // 400 draws of a quarter: 100, give or take 3 SD of 8.7; and four first ones.
        assert!((74..=130).contains(&before.len()), "{}", before.len());
        assert_ne!(due(&all, 0.25, 9), due(&all, 0.25, 10), "another seed draws others");
    }
}
