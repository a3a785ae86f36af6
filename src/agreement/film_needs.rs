//! Which film is still needed, and which shows an incident: what a house asks before it deletes any.

use std::collections::BTreeSet;

use super::plan::{self, Candidate};
use crate::measures::{Marks, Record};
use crate::model::{Coding, Ethogram, PersonCode, Purpose, Session, SessionId, Study};

/// Sessions whose film is looked at in another way than by its age.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FilmNeeds {
    /// With a stop-level code in the coding that counts.
    pub incidents: BTreeSet<SessionId>,
    /// Due for a second coder, who has not closed a coding yet.
    pub waiting: BTreeSet<SessionId>,
}

/// From all codings of a study with their ethograms and sessions.
#[must_use]
pub fn of(study: &Study, codings: &[(&Coding, &Ethogram, &Session)]) -> FilmNeeds {
    let mut candidates = Vec::new();
    let mut needs = FilmNeeds::default();
    for (coding, ethogram, session) in codings {
        if coding.purpose != Purpose::Primary || session.left_out.is_some() {
            continue;
        }
        let second: Vec<PersonCode> = codings
            .iter()
            .filter(|(other, _, _)| {
                other.session == coding.session
                    && other.purpose == Purpose::Second
                    && other.status == crate::model::Status::Closed
                    && other.by != coding.by
            })
            .map(|(other, _, _)| other.by.clone())
            .collect();
        let record = Record::try_new(coding, ethogram, session, study, Marks::All);
        let candidate = record.map_or_else(
            || Candidate {
                session: session.id.clone(),
                animal: session.animal.clone(),
                coder: coding.by.clone(),
                step: session.step,
                has_stop: false,
                second: second.clone(),
            },
            |record| Candidate::of(&record, second.clone()),
        );
        if candidate.has_stop {
            let _ = needs.incidents.insert(candidate.session.clone());
        }
        candidates.push(candidate);
    }
    let due = plan::due(&candidates, study.double_coding.share, study.double_coding.seed);
    needs.waiting = due.into_iter().filter(plan::Due::is_waiting).map(|due| due.session).collect();
    needs
}
