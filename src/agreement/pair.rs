//! The numbers of one pair of codings, and of several pairs together.
//!
//! The structures are those of `agree --json`. There is one kappa a set and one a behaviour, never
//! one for everything (rule 29).

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use super::align::{Marks, NotComparable, Overlay, Pairing, Row, Unit};
use super::by_samples::{self, SampledAgreement};
pub use super::by_time::{BehaviourAgreement, Beside, SetAgreement, TolerantKappa, UnitError};
use super::by_time::{set_agreement, set_without};
use super::differences::{self, Differences};
use super::grras::Item;
use super::kappa::NoKappa;
use super::levels;
pub use super::levels::LevelAgreement;
use super::moments;
pub use super::moments::{AtTolerance, Difference, EventAgreement, EventTableAgreement};
use super::plan::Due;
pub use super::pooled::{PooledSet, Session, SessionKappa, pool};
use super::sessions::MeasuredAgreement;
use super::several::SeveralAgreement;
use super::training;
use super::trials;
pub use super::trials::{LatencyAgreement, TrialAgreement, TwoOutcomes};
use crate::measures::{self, Record};
use crate::model::{Coding, Ethogram, Purpose, Session as ModelSession, Study};
use crate::time::Micros;

/// What `agree` finds.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Agreement {
    /// One a pair.
    pub pairs: Vec<PairAgreement>,
    /// Pairs of the first and a second coder, added up where they follow one revision.
    pub pooled: Vec<PooledSet>,
    /// Durations and counts by session, of the same pairs.
    pub measured: Vec<MeasuredAgreement>,
    /// Sessions with three or more codings.
    pub several: Vec<SeveralAgreement>,
    /// Sessions for a second coder, and those that had one.
    pub double_coding: Vec<Due>,
    /// What a report of agreement has to answer (GRRAS).
    pub grras: Vec<Item>,
    /// Whose words stand beside a kappa; none: no words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scheme: Option<&'static str>,
    /// Seed of the intervals.
    pub seed: u64,
}

/// One pair.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairAgreement {
    /// File of the first coding.
    pub first: String,
    /// File of the second.
    pub second: String,
    /// Their session.
    pub session: String,
    /// Who made the first.
    pub first_by: String,
    /// Who made the second.
    pub second_by: String,
    /// What kind of pair.
    pub kind: PairKind,
    /// What was hidden from the first coder, as the coding says.
    pub first_masked: Vec<String>,
    /// What was hidden from the second.
    pub second_masked: Vec<String>,
    /// When the session was filmed.
    pub filmed: Option<DateTime<FixedOffset>>,
    /// When the first coding was closed, else begun.
    pub first_coded: Option<DateTime<FixedOffset>>,
    /// The same of the second.
    pub second_coded: Option<DateTime<FixedOffset>>,
    /// Why they can't be compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Seconds that both cover.
    pub window_s: f64,
    /// Seconds of them in which the animal is visible to both; none of codings by samples.
    pub visible_to_both_s: Option<f64>,
    /// Of codings by samples: how they agree sample by sample. Nothing below then has a value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub samples: Option<SampledAgreement>,
    /// One a set.
    pub sets: Vec<SetAgreement>,
    /// One a state that belongs to no set.
    pub states: Vec<SetAgreement>,
    /// One an event, and one a state's onsets.
    pub events: Vec<EventAgreement>,
    /// Events all together at other tolerances, each matched within its behaviour.
    pub events_sweep: Vec<AtTolerance>,
    /// Tables of events, with what only one record has.
    pub event_tables: Vec<EventTableAgreement>,
    /// Levels of concern over time.
    pub concern: Option<LevelAgreement>,
    /// Presentations.
    pub presentations: Option<TrialAgreement>,
    /// Where they differ, longest first.
    pub differences: Differences,
}

/// What kind of pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PairKind {
    /// Two people: the only kind that is pooled.
    Between,
    /// One person twice.
    Within,
    /// A training or trial coding is in it.
    Trial,
}

/// What kind of pair two codings of a study make (rule 14); `None`: they are not compared.
#[must_use]
pub fn kind_in_study(first: &Coding, second: &Coding) -> Option<PairKind> {
    if first.session != second.session {
        return None;
    }
    match (first.purpose, second.purpose) {
        (Purpose::Primary, Purpose::Second) | (Purpose::Second, Purpose::Primary) => Some(PairKind::Between),
        (Purpose::Primary, Purpose::Repeat) | (Purpose::Repeat, Purpose::Primary)
            if first.by == second.by =>
        {
            Some(PairKind::Within)
        }
        (Purpose::Trial, Purpose::Trial) if first.by != second.by && first.ethogram == second.ethogram => {
            Some(PairKind::Trial)
        }
        _ => None,
    }
}

/// Names of a pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Names {
    /// File of the first coding.
    pub first: String,
    /// File of the second.
    pub second: String,
    /// Their session.
    pub session: String,
    /// Who made the first.
    pub first_by: String,
    /// Who made the second.
    pub second_by: String,
    /// What kind of pair.
    pub kind: PairKind,
}

/// How a pair is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options<'a> {
    /// In what units time is compared.
    pub unit: Unit<'a>,
    /// Within which moments match; none: [`Pairing::default_tolerance`].
    pub tolerance: Option<Micros>,
    /// Seed of the intervals.
    pub seed: u64,
}

/// A pair that can't be compared, and why.
#[must_use]
pub fn not_comparable(names: Names, why: &NotComparable) -> PairAgreement {
    PairAgreement { why: Some(why.to_string()), ..empty(names) }
}

fn empty(names: Names) -> PairAgreement {
    PairAgreement {
        first: names.first,
        second: names.second,
        session: names.session,
        first_by: names.first_by,
        second_by: names.second_by,
        kind: names.kind,
        first_masked: Vec::new(),
        second_masked: Vec::new(),
        filmed: None,
        first_coded: None,
        second_coded: None,
        why: None,
        window_s: 0.0,
        visible_to_both_s: None,
        samples: None,
        sets: Vec::new(),
        states: Vec::new(),
        events: Vec::new(),
        events_sweep: Vec::new(),
        event_tables: Vec::new(),
        concern: None,
        presentations: None,
        differences: Differences::default(),
    }
}

/// The numbers of a pair, and the overlays they were counted from. The study is asked for the animal,
/// the plan's step and the house's targets.
#[must_use]
pub fn compare(
    names: Names,
    pairing: &Pairing<'_>,
    study: &Study,
    options: Options<'_>,
) -> (PairAgreement, Vec<Overlay>) {
    let [first, second] = pairing.codings();
    let mut found = PairAgreement {
        first_masked: first.masked.clone(),
        second_masked: second.masked.clone(),
        filmed: pairing.session().wall_clock(Micros::ZERO),
        first_coded: training::coded(first),
        second_coded: training::coded(second),
        window_s: pairing.window().length().seconds(),
        visible_to_both_s: Some(pairing.visible().total().seconds()),
        ..empty(names)
    };
    let Options { unit, seed, .. } = options;
    let tolerance = options.tolerance.unwrap_or_else(|| pairing.default_tolerance());
    let mut overlays = Vec::new();
    for row in pairing.rows() {
        let overlay = pairing.overlay(&row, unit);
        let agreement = match &overlay {
            Some(overlay) => set_agreement(pairing, overlay, unit, tolerance, seed),
            None => set_without(&row, NoKappa::PassNotDone),
        };
        match row {
            Row::Set(_) => found.sets.push(agreement),
            Row::State(_) => found.states.push(agreement),
        }
        overlays.extend(overlay);
    }
    for behaviour in &pairing.ethogram().behaviours {
        found.events.push(moments::event_agreement(pairing, behaviour, tolerance));
    }
    found.events_sweep = moments::sweep_of_events(pairing);
    found.event_tables = moments::tables(pairing, tolerance);
    if let Some(records) = records(pairing, study) {
        found.concern = Some(levels::levels(pairing, &records, tolerance, seed));
        found.presentations = Some(trials::trials(pairing, &records, tolerance));
    }
    found.differences = differences::of(pairing, tolerance);
    (found, overlays)
}

/// The numbers of two codings by samples of one session and one ethogram, whose [`Pairing`] says they are such.
///
/// # Errors
/// When one is continuous, or their samples are not the same.
pub fn compare_samples(
    names: &Names,
    codings: [&Coding; 2],
    (ethogram, session, study): (&Ethogram, &ModelSession, &Study),
    marks: Marks,
    seed: u64,
) -> Result<PairAgreement, NotComparable> {
    let [first, second] = codings;
    let samples = by_samples::compare(codings, ethogram, session, study, marks, seed)?;
    let window = |coding: &Coding| coding.observed_window(ethogram, session);
    let both = window(first).zip(window(second)).and_then(|(a, b)| a.intersection(b));
    Ok(PairAgreement {
        first_masked: first.masked.clone(),
        second_masked: second.masked.clone(),
        filmed: session.wall_clock(Micros::ZERO),
        first_coded: training::coded(first),
        second_coded: training::coded(second),
        window_s: both.map_or(0.0, |both| both.length().seconds()),
        samples: Some(samples),
        ..empty(names.clone())
    })
}

/// Both codings, prepared for measuring.
fn records<'a>(pairing: &Pairing<'a>, study: &'a Study) -> Option<[Record<'a>; 2]> {
    let marks = match pairing.marks() {
        Marks::All => measures::Marks::All,
        Marks::WithoutUnsure => measures::Marks::WithoutUnsure,
    };
    let [first, second] = pairing
        .codings()
        .map(|coding| Record::try_new(coding, pairing.ethogram(), pairing.session(), study, marks));
    Some([first?, second?])
}
