//! Durations and counts, session by session: two measured values of each session.
//!
//! The session is the unit. Sessions of different length make values that differ for that reason
//! alone, which raises a correlation; the pairs are always given.

use serde::Serialize;

use super::continuous::{Width, limits_of_agreement};
use super::icc::{Form, MeanSquares};
use super::pair::{PairAgreement, PairKind};

/// One measure over sessions.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasuredAgreement {
    /// The ethogram and its revision.
    pub ethogram: String,
    /// The behaviour.
    pub behaviour: String,
    /// Which measure.
    pub measure: Measure,
    /// One a pair of codings.
    pub pairs: Vec<TwoValues>,
    /// ICC(2,1), from five sessions on.
    pub icc: Option<f64>,
    /// Its limits.
    pub icc_ci95: Option<[f64; 2]>,
    /// Mean of second minus first.
    pub bias: Option<f64>,
    /// Limits of agreement: mean ± 1.96 SD of second minus first.
    pub limits: Option<[f64; 2]>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// What was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Seconds of the time compared.
    DurationS,
    /// Moments, or onsets, in the time compared.
    Count,
}

/// A session measured twice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TwoValues {
    /// The session.
    pub session: String,
    /// By the first coder.
    pub first: f64,
    /// By the second.
    pub second: f64,
}

/// From this many sessions on (rule 31).
const ENOUGH_SESSIONS: usize = 5;

/// Measures of all pairs of two people, each with the ethogram it follows. Behaviours that no record has
/// are left out.
#[must_use]
pub fn measured(pairs: &[(&str, &PairAgreement)]) -> Vec<MeasuredAgreement> {
    let mut found: Vec<MeasuredAgreement> = Vec::new();
    for (ethogram, pair) in pairs.iter().filter(|(_, pair)| pair.kind == PairKind::Between) {
        for (behaviour, measure, first, second) in values(pair) {
            let is_same = |own: &&mut MeasuredAgreement| {
                own.ethogram == *ethogram && own.behaviour == behaviour && own.measure == measure
            };
            let value = TwoValues { session: pair.session.clone(), first, second };
            match found.iter_mut().find(is_same) {
                Some(own) => own.pairs.push(value),
                None => found.push(MeasuredAgreement {
                    ethogram: (*ethogram).to_owned(),
                    behaviour,
                    measure,
                    pairs: vec![value],
                    icc: None,
                    icc_ci95: None,
                    bias: None,
                    limits: None,
                    why: None,
                }),
            }
        }
    }
    found.retain(|own| own.pairs.iter().any(|pair| pair.first > 0.0 || pair.second > 0.0));
    for own in &mut found {
        finish(own);
    }
    found
}

#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
fn values(pair: &PairAgreement) -> Vec<(String, Measure, f64, f64)> {
    let rows = pair.sets.iter().chain(&pair.states);
    let durations = rows
        .flat_map(|row| &row.behaviours)
        .map(|own| (own.id.clone(), Measure::DurationS, own.first_s, own.second_s));
    let counts = pair.events.iter().filter_map(|own| {
        let (both, first, second) = (own.matched?, own.only_first?, own.only_second?);
        let count = |alone: usize| (both + alone) as f64;
        Some((own.behaviour.clone(), Measure::Count, count(first), count(second)))
    });
    durations.chain(counts).collect()
}

fn finish(own: &mut MeasuredAgreement) {
    let mut sessions: Vec<&str> = own.pairs.iter().map(|pair| pair.session.as_str()).collect();
    sessions.sort_unstable();
    sessions.dedup();
    if sessions.len() < ENOUGH_SESSIONS {
        own.why = Some(format!("{} sessions: the pairs, no coefficient", sessions.len()));
        return;
    }
    if sessions.len() < own.pairs.len() {
        own.why = Some("a session was coded more than twice: its pairs are not independent".to_owned());
        return;
    }
    let rows: Vec<Vec<Option<f64>>> =
        own.pairs.iter().map(|pair| vec![Some(pair.first), Some(pair.second)]).collect();
    let icc = MeanSquares::of(&rows).and_then(|squares| squares.single(Form::Random));
    let differences: Vec<f64> = own.pairs.iter().map(|pair| pair.second - pair.first).collect();
    let limits = limits_of_agreement(&differences, Width::Z196);
    match icc {
        Ok(icc) => {
            own.icc = Some(icc.value);
            own.icc_ci95 = icc.ci95.ok().map(|(low, high)| [low, high]);
            own.why = icc.ci95.err().map(|why| why.to_string());
        }
        Err(why) => own.why = Some(why.to_string()),
    }
    if let Ok(limits) = limits {
        own.bias = Some(limits.bias);
        own.limits = Some([limits.low, limits.high]);
    }
}
