//! What the plan's own rule would say after a session: advance, stay, step back, and why. The
//! decision stays the keeper's and is recorded with its reason.

use super::record::Record;
use super::summary::{self, CodingSummary};
use crate::model::Choice;

/// What the rule says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// Which way; none: the rule has nothing to go by.
    pub choice: Option<Choice>,
    /// Why, each in a sentence.
    pub reasons: Vec<String>,
}

/// Share of successes below which a session counts towards a step back (our default).
const POOR: (u32, u32) = (5, 10);

/// The rule for the last of an animal's sessions, given those before it, in order of time. Common
/// practice, no source; the numbers are our defaults, those of the step come first:
///
/// - a stop-level incident: step back;
/// - two sessions at the step with fewer than 5 of 10: step back;
/// - the step's criterion met in as many sessions in a row as it asks, no stop, time at watch not risen:
///   advance;
/// - otherwise stay.
#[must_use]
pub fn after(records: &[Record<'_>]) -> Advice {
    let Some(last) = records.last() else { return Advice { choice: None, reasons: Vec::new() } };
    let Some(step) = last.step() else {
        return none("the session names no step of a plan");
    };
    let found: Vec<CodingSummary> = records
        .iter()
        .rev()
        .take_while(|record| record.session.step == last.session.step)
        .map(summary::coding)
        .collect();
    let Some(own) = found.first() else { return none("there is no session") };
    let (Some(k), Some(n)) = (own.figures.success.k, own.figures.success.n) else {
        return none("success is not coded to its end");
    };
    let Some(stops) = own.figures.concern.stop_incidents.as_ref().map(Vec::len) else {
        return none("stop-level behaviours are not coded to their end");
    };
    if stops > 0 {
        let words = if stops == 1 { "incident" } else { "incidents" };
        return Advice {
            choice: Some(Choice::StepBack),
            reasons: vec![format!("{stops} stop-level {words} in this session")],
        };
    }
    let is_poor = |own: &CodingSummary| match (own.figures.success.k, own.figures.success.n) {
        (Some(k), Some(n)) if n > 0 => k * POOR.1 < POOR.0 * n,
        _ => false,
    };
    if found.len() >= 2 && found.iter().take(2).all(is_poor) {
        return Advice {
            choice: Some(Choice::StepBack),
            reasons: vec![format!("two sessions at step {} below {} of {}", step.n, POOR.0, POOR.1)],
        };
    }
    let wanted = step.sessions.max(1) as usize;
    let met = found.iter().take_while(|own| own.figures.success.criterion_met == Some(true)).count();
    let mut reasons = vec![format!(
        "{k} of {n} valid presentations; the step asks {} of {}",
        step.criterion.k, step.criterion.n
    )];
    match own.figures.success.criterion_met {
        None => reasons.push("too few valid presentations to judge the criterion".to_owned()),
        Some(true) if met < wanted => {
            reasons.push(format!("met in {met} of the {wanted} sessions in a row it asks"));
        }
        _ => {}
    }
    let share = |own: &CodingSummary| {
        let visible = own.figures.visible_s.filter(|visible| *visible > 0.0)?;
        Some(own.figures.concern.watch_s? / visible)
    };
    let has_risen = match (share(own), found.get(1).and_then(share)) {
        (Some(now), Some(before)) => now > before,
        _ => false,
    };
    if has_risen {
        reasons.push("more time at watch than the session before".to_owned());
    }
    let advances = met >= wanted && !has_risen;
    if advances {
        reasons.push("no stop-level behaviour".to_owned());
    }
    Advice { choice: Some(if advances { Choice::Advance } else { Choice::Stay }), reasons }
}

fn none(why: &str) -> Advice {
    Advice { choice: None, reasons: vec![why.to_owned()] }
}
