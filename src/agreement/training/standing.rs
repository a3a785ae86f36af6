//! How far a coder is: from run to run against reference codings.

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use super::{Check, Criterion, Verdict, Work, coded};
use crate::model::Purpose;

/// How far a coder is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// The criterion was not yet reached on enough clips running.
    InTraining,
    /// It was, and the last run that could be judged reaches it too.
    Trained,
    /// It was, but the last run does not reach it.
    OutOfCriterion,
}

/// A coder's checks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// Who.
    pub coder: String,
    /// How far.
    pub state: State,
    /// Different clips in the run of good checks that lasts; one not judged neither adds nor ends.
    pub running: usize,
    /// By the day of coding.
    pub checks: Vec<Check>,
    /// Days from the last check to the coder's newest coding.
    pub days_since_check: Option<i64>,
    /// That is longer than the criterion allows.
    pub is_due: bool,
    /// What was coded between a good check and the bad one after it, or until the coder was trained again: it is to be
    /// coded once more.
    pub to_recode: Vec<String>,
}

/// How far a coder is, from their checks in any order and all they have coded.
#[must_use]
pub fn standing(coder: &str, mut checks: Vec<Check>, work: &[Work<'_>], criterion: &Criterion) -> Standing {
    checks.sort_by(|a, b| (a.coded, &a.session, &a.coding).cmp(&(b.coded, &b.session, &b.coding)));
    let mut clips: Vec<&str> = Vec::new();
    let mut state = State::InTraining;
    // The last good check of the time in which the coder could be relied on.
    let mut relied_until = None;
    // Times after a good check in which a bad one followed, up to where the coder was trained again: what was
    // coded in them is to be coded once more, also by a coder who is good now.
    let mut doubtful: Vec<(DateTime<FixedOffset>, Option<DateTime<FixedOffset>>)> = Vec::new();
    for own in &checks {
        match own.verdict {
            Verdict::Met => {
                if !clips.contains(&own.session.as_str()) {
                    clips.push(&own.session);
                }
                // Who dropped out is trained again: the same criterion.
                if clips.len() >= criterion.clips_running {
                    state = State::Trained;
                    if let Some((_, until)) = doubtful.last_mut() {
                        *until = until.or(own.coded);
                    }
                }
                if state == State::Trained {
                    relied_until = own.coded;
                }
            }
            Verdict::Missed => {
                clips.clear();
                if state == State::Trained {
                    state = State::OutOfCriterion;
                    doubtful.extend(relied_until.map(|good| (good, None)));
                }
            }
            Verdict::NotJudged => {}
        }
    }
    let running = clips.len();
    let counts = |own: &&Work<'_>| {
        own.coding.by.as_str() == coder && matches!(own.coding.purpose, Purpose::Primary | Purpose::Second)
    };
    let newest = work.iter().filter(counts).filter_map(|own| coded(own.coding)).max();
    let checked = checks.iter().filter(|own| own.verdict != Verdict::NotJudged).filter_map(|own| own.coded);
    let days_since_check = checked.max().zip(newest).map(|(last, newest)| (newest - last).num_days().max(0));
    let is_doubtful = |at: DateTime<FixedOffset>| {
        doubtful.iter().any(|(good, until)| at > *good && until.is_none_or(|until| at < until))
    };
    let to_recode = work
        .iter()
        .filter(counts)
        .filter(|own| coded(own.coding).is_some_and(is_doubtful))
        .filter(|own| checks.iter().all(|check| check.coding != own.file))
        .map(|own| own.file.to_owned())
        .collect();
    Standing {
        coder: coder.to_owned(),
        state,
        running,
        is_due: days_since_check.is_some_and(|days| days > criterion.check_every_days),
        days_since_check,
        checks,
        to_recode,
    }
}
