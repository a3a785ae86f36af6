//! Which film is still needed, and which shows an incident: what a house asks before it deletes any.

use std::collections::{BTreeMap, BTreeSet};

use super::plan;
use crate::measures::{Marks, Record, concern, presentations};
use crate::model::{
    Behaviour, Coding, Ethogram, Level, PersonCode, Purpose, RecordingRule, Session, SessionId, Status, Study,
};

/// Sessions whose film is looked at in another way than by its age.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FilmNeeds {
    /// With a stop-level code in any coding, also in sessions that are left out of the numbers.
    pub incidents: BTreeSet<SessionId>,
    /// Due for a second coder, who has not closed a coding yet.
    pub waiting: BTreeSet<SessionId>,
    /// With a coding that could not be read or measured: nobody knows what it shows.
    pub unknown: BTreeSet<SessionId>,
}

/// From all codings of a study, one after another; of one that can't be read its session.
#[must_use]
pub fn of(
    study: &Study,
    codings: impl Iterator<Item = Result<(Coding, Ethogram, Session), SessionId>>,
) -> FilmNeeds {
    let mut needs = FilmNeeds::default();
    let mut candidates = Vec::new();
    let mut seconds: BTreeMap<SessionId, Vec<(Purpose, PersonCode)>> = BTreeMap::new();
    for read in codings {
        let (coding, ethogram, session) = match read {
            Ok(read) => read,
            Err(session) => {
                let _ = needs.unknown.insert(session);
                continue;
            }
        };
        // Also what was marked in a pass nobody finished, and a sample that shows it.
        let animal = study.animal(&session.animal);
        let is_stop = |behaviour: &Behaviour| {
            behaviour.concern_in(animal).any(|rule| {
                rule.level == Level::Stop || rule.rise.as_ref().is_some_and(|rise| rise.to == Level::Stop)
            })
        };
        let is_sampled = coding.rule != RecordingRule::Continuous;
        if is_sampled
            && coding.marks.iter().any(|mark| ethogram.behaviour(&mark.behaviour).is_some_and(is_stop))
        {
            let _ = needs.incidents.insert(session.id.clone());
        }
        match Record::try_new(&coding, &ethogram, &session, study, Marks::AsTheyStand) {
            Some(record) => {
                if !concern::of(&record, &presentations::of(&record)).stop_incidents.is_empty() {
                    let _ = needs.incidents.insert(session.id.clone());
                }
            }
            None => {
                let _ = needs.unknown.insert(session.id.clone());
            }
        }
        candidates.extend(plan::candidate(study, &coding, &ethogram, &session, Vec::new()));
        if coding.status == Status::Closed {
            seconds.entry(session.id).or_default().push((coding.purpose, coding.by));
        }
    }
    for candidate in &mut candidates {
        let known = seconds.get(&candidate.session).map(Vec::as_slice).unwrap_or_default();
        let known = known.iter().map(|(purpose, by)| (*purpose, by));
        candidate.second = plan::second_coders(&candidate.coder, known);
    }
    let due = plan::due(&candidates, study.double_coding.share, study.double_coding.seed);
    needs.waiting = due.into_iter().filter(plan::Due::is_waiting).map(|due| due.session).collect();
    needs
}
