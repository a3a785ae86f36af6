//! The numbers of one pair of codings, and of several pairs together.
//!
//! The structures are those of `agree --json`. There is one kappa a set and one a behaviour, never
//! one for everything (rule 29).

use serde::Serialize;

use super::align::{NotComparable, Overlay, Pairing, Row, Unit};
use super::kappa::{NoKappa, Table};
use super::matching;
use crate::model::{Behaviour, Ethogram, Kind};
use crate::numeric::{bootstrap, quantile};
use crate::time::Micros;

/// What `agree` finds.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Agreement {
    /// One a pair.
    pub pairs: Vec<PairAgreement>,
    /// Pairs of the first and a second coder, added up where they follow one revision.
    pub pooled: Vec<PooledSet>,
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
    /// Why they can't be compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Seconds that both cover.
    pub window_s: f64,
    /// Seconds of them in which the animal is visible to both.
    pub visible_to_both_s: f64,
    /// One a set.
    pub sets: Vec<SetAgreement>,
    /// One a state that belongs to no set.
    pub states: Vec<SetAgreement>,
    /// One an event, and one a state's onsets.
    pub events: Vec<EventAgreement>,
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

/// One set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetAgreement {
    /// The set (or the state that belongs to none).
    pub set: String,
    /// Its states in the ethogram's order; `(none)` last, where it is one of them.
    pub labels: Vec<String>,
    /// Seconds: rows first record, columns second.
    pub table_s: Vec<Vec<f64>>,
    /// Seconds compared.
    pub compared_s: f64,
    /// Share of agreement.
    pub observed: Option<f64>,
    /// Share expected by chance.
    pub expected: Option<f64>,
    /// Cohen's kappa.
    pub kappa: Option<f64>,
    /// The highest these margins allow.
    pub kappa_max: Option<f64>,
    /// 95 %: percentile bootstrap over blocks of 60 s.
    pub ci95: Option<[f64; 2]>,
    /// Each state against all others.
    pub behaviours: Vec<BehaviourAgreement>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One state against all others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BehaviourAgreement {
    /// The state.
    pub id: String,
    /// Its kappa.
    pub kappa: Option<f64>,
    /// Share of agreement on it.
    pub observed: Option<f64>,
    /// Seconds in the first record.
    pub first_s: f64,
    /// Seconds in the second.
    pub second_s: f64,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// The moments of one behaviour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EventAgreement {
    /// The behaviour.
    pub behaviour: String,
    /// An event, or the onsets of a state.
    pub kind: Kind,
    /// Seconds within which two moments match.
    pub tolerance_s: f64,
    /// Pairs.
    pub matched: Option<usize>,
    /// Only in the first record.
    pub only_first: Option<usize>,
    /// Only in the second.
    pub only_second: Option<usize>,
    /// matched/(matched + only first + only second).
    pub agreement: Option<f64>,
    /// Second minus first, over the pairs.
    pub onset_difference_s: OnsetDifference,
    /// Fewer than five in one record: read the counts, not the share.
    pub few: bool,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Second minus first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Default)]
pub struct OnsetDifference {
    /// Median.
    pub median: Option<f64>,
    /// Mean: one coder's habit of being later.
    pub bias: Option<f64>,
}

/// One set over several sessions.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PooledSet {
    /// The ethogram and its revision.
    pub ethogram: String,
    /// The set.
    pub set: String,
    /// Sessions added up.
    pub sessions: Vec<String>,
    /// Share of agreement.
    pub observed: Option<f64>,
    /// Cohen's kappa of the added tables.
    pub kappa: Option<f64>,
    /// 95 %: BCa over sessions, from five on.
    pub ci95: Option<[f64; 2]>,
    /// Lowest and highest of the sessions' own, below five.
    pub range: Option<[f64; 2]>,
    /// Each state over all of them.
    pub behaviours: Vec<BehaviourAgreement>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A state needs this much in each record for a kappa of its own (rule 31).
const ENOUGH: Micros = Micros::from_whole_seconds(10);
/// An event needs this many in each record (rule 31).
const ENOUGH_EVENTS: usize = 5;

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
        why: None,
        window_s: 0.0,
        visible_to_both_s: 0.0,
        sets: Vec::new(),
        states: Vec::new(),
        events: Vec::new(),
    }
}

/// The numbers of a pair, and the overlays they were counted from.
#[must_use]
pub fn compare(
    names: Names,
    pairing: &Pairing<'_>,
    ethogram: &Ethogram,
    unit: Unit<'_>,
    tolerance: Option<Micros>,
    seed: u64,
) -> (PairAgreement, Vec<Overlay>) {
    let mut found = PairAgreement {
        window_s: pairing.window().length().seconds(),
        visible_to_both_s: pairing.visible().total().seconds(),
        ..empty(names)
    };
    let mut overlays = Vec::new();
    for row in pairing.rows() {
        let overlay = pairing.overlay(&row, unit);
        let agreement = match &overlay {
            Some(overlay) => set_agreement(overlay, seed),
            None => set_without(&row, NoKappa::PassNotDone),
        };
        match row {
            Row::Set(_) => found.sets.push(agreement),
            Row::State(_) => found.states.push(agreement),
        }
        overlays.extend(overlay);
    }
    let tolerance = tolerance.unwrap_or_else(|| pairing.default_tolerance());
    for behaviour in &ethogram.behaviours {
        found.events.push(event_agreement(pairing, behaviour, tolerance));
    }
    (found, overlays)
}

fn table(cells: &[Vec<i64>]) -> Option<Table> {
    let rows: Vec<Vec<f64>> =
        cells.iter().map(|row| row.iter().map(|cell| Micros(*cell).seconds()).collect()).collect();
    Table::from_rows(&rows)
}

fn added<'a>(blocks: impl Iterator<Item = &'a Vec<Vec<i64>>>) -> Vec<Vec<i64>> {
    let mut sum: Vec<Vec<i64>> = Vec::new();
    for block in blocks {
        if sum.is_empty() {
            sum.clone_from(block);
            continue;
        }
        for (own, other) in sum.iter_mut().flatten().zip(block.iter().flatten()) {
            *own += other;
        }
    }
    sum
}

fn kappa_of_blocks(blocks: &[Vec<Vec<i64>>], picked: &[usize]) -> Option<f64> {
    let sum = added(picked.iter().filter_map(|place| blocks.get(*place)));
    Some(table(&sum)?.kappa().ok()?.kappa)
}

fn set_without(row: &Row, why: NoKappa) -> SetAgreement {
    SetAgreement {
        set: row.id().to_owned(),
        labels: Vec::new(),
        table_s: Vec::new(),
        compared_s: 0.0,
        observed: None,
        expected: None,
        kappa: None,
        kappa_max: None,
        ci95: None,
        behaviours: Vec::new(),
        why: Some(why.to_string()),
    }
}

fn set_agreement(overlay: &Overlay, seed: u64) -> SetAgreement {
    let Some(own) = table(&overlay.cells) else { return set_without(&overlay.row, NoKappa::NothingCompared) };
    let kappa = own.kappa();
    let ci95 =
        bootstrap::percentile(overlay.blocks.len(), seed, &|picked| kappa_of_blocks(&overlay.blocks, picked));
    let few_blocks = "an interval needs two blocks of 60 s";
    SetAgreement {
        set: overlay.row.id().to_owned(),
        labels: overlay.labels.clone(),
        table_s: overlay
            .cells
            .iter()
            .map(|row| row.iter().map(|cell| Micros(*cell).seconds()).collect())
            .collect(),
        compared_s: own.total(),
        observed: kappa.ok().map(|kappa| kappa.observed).or_else(|| observed_alone(&own)),
        expected: kappa.ok().map(|kappa| kappa.expected),
        kappa: kappa.ok().map(|kappa| kappa.kappa),
        kappa_max: kappa.ok().map(|kappa| kappa.max),
        ci95: ci95.filter(|_| kappa.is_ok()).map(|interval| [interval.low, interval.high]),
        behaviours: behaviours(&overlay.labels, &own),
        why: kappa.err().map(|why| why.to_string()).or_else(|| ci95.is_none().then(|| few_blocks.to_owned())),
    }
}

/// Agreement is defined where kappa is not.
fn observed_alone(table: &Table) -> Option<f64> {
    (table.total() > 0.0).then_some(1.0)
}

fn behaviours(labels: &[String], own: &Table) -> Vec<BehaviourAgreement> {
    labels
        .iter()
        .enumerate()
        .filter(|(_, label)| *label != super::align::NO_STATE)
        .map(|(i, label)| {
            let (first_s, second_s) = (own.row(i), own.column(i));
            let kappa = if first_s <= 0.0 && second_s <= 0.0 {
                Err(NoKappa::DidNotOccur)
            } else if first_s.min(second_s) < ENOUGH.seconds() {
                Err(NoKappa::TooFew)
            } else {
                own.one_against_rest(i).kappa()
            };
            BehaviourAgreement {
                id: label.clone(),
                kappa: kappa.ok().map(|kappa| kappa.kappa),
                observed: own.one_against_rest(i).kappa().ok().map(|kappa| kappa.observed),
                first_s,
                second_s,
                why: kappa.err().map(|why| why.to_string()),
            }
        })
        .collect()
}

fn event_agreement(pairing: &Pairing<'_>, behaviour: &Behaviour, tolerance: Micros) -> EventAgreement {
    let mut found = EventAgreement {
        behaviour: behaviour.id.to_string(),
        kind: behaviour.kind,
        tolerance_s: tolerance.seconds(),
        matched: None,
        only_first: None,
        only_second: None,
        agreement: None,
        onset_difference_s: OnsetDifference::default(),
        few: false,
        why: None,
    };
    let Some([first, second]) = pairing.onsets(behaviour) else {
        found.why = Some(NoKappa::PassNotDone.to_string());
        return found;
    };
    let matched = matching::events(&first, &second, tolerance);
    let differences: Vec<f64> = matched
        .pairs
        .iter()
        .filter_map(|(i, j)| Some((*second.get(*j)? - *first.get(*i)?).seconds()))
        .collect();
    found.agreement = matched.agreement();
    found.few = first.len().min(second.len()) < ENOUGH_EVENTS;
    found.why = match (first.is_empty() && second.is_empty(), differences.is_empty()) {
        (true, _) => Some(NoKappa::DidNotOccur.to_string()),
        (false, true) => Some("no pair, so no onset difference".to_owned()),
        (false, false) => None,
    };
    found.onset_difference_s =
        OnsetDifference { median: quantile::of(&differences, 0.5), bias: quantile::mean(&differences) };
    found.matched = Some(matched.pairs.len());
    found.only_first = Some(matched.only_first.len());
    found.only_second = Some(matched.only_second.len());
    found
}

/// A compared session, for pooling.
#[derive(Debug, Clone)]
pub struct Session {
    /// Its id.
    pub id: String,
    /// Ethogram and revision.
    pub ethogram: String,
    /// Its overlays.
    pub overlays: Vec<Overlay>,
}

/// Adds the tables of sessions that follow one revision; each session's own stands beside it (rules 29 and 31).
#[must_use]
pub fn pool(sessions: &[Session], seed: u64) -> Vec<PooledSet> {
    let mut keys: Vec<(&str, &Row)> = Vec::new();
    for session in sessions {
        for overlay in session.overlays.iter().filter(|overlay| matches!(overlay.row, Row::Set(_))) {
            if !keys.contains(&(session.ethogram.as_str(), &overlay.row)) {
                keys.push((&session.ethogram, &overlay.row));
            }
        }
    }
    keys.into_iter().filter_map(|(ethogram, row)| pool_set(sessions, ethogram, row, seed)).collect()
}

fn pool_set(sessions: &[Session], ethogram: &str, row: &Row, seed: u64) -> Option<PooledSet> {
    let mut names = Vec::new();
    let mut overlays: Vec<&Overlay> = Vec::new();
    for session in sessions.iter().filter(|session| session.ethogram == ethogram) {
        if let Some(overlay) = session.overlays.iter().find(|overlay| overlay.row == *row) {
            names.push(session.id.clone());
            overlays.push(overlay);
        }
    }
    // `(none)` may be a label of one session and not of another.
    let labels = overlays.iter().map(|overlay| &overlay.labels).max_by_key(|labels| labels.len())?;
    let tables: Vec<Vec<Vec<i64>>> = overlays
        .iter()
        .map(|overlay| {
            let mut cells = overlay.cells.clone();
            for line in &mut cells {
                line.resize(labels.len(), 0);
            }
            cells.resize(labels.len(), vec![0; labels.len()]);
            cells
        })
        .collect();
    let own = table(&added(tables.iter()))?;
    let kappa = own.kappa();
    let each: Vec<f64> = tables.iter().filter_map(|cells| Some(table(cells)?.kappa().ok()?.kappa)).collect();
    let ci95 = if tables.len() >= 5 {
        bootstrap::bca(tables.len(), seed, &|picked| kappa_of_blocks(&tables, picked))
    } else {
        None
    };
    let range = (tables.len() < 5 && !each.is_empty()).then(|| {
        [
            each.iter().copied().fold(f64::INFINITY, f64::min),
            each.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        ]
    });
    Some(PooledSet {
        ethogram: ethogram.to_owned(),
        set: row.id().to_owned(),
        observed: kappa.ok().map(|kappa| kappa.observed),
        kappa: kappa.ok().map(|kappa| kappa.kappa),
        ci95: ci95.map(|interval| [interval.low, interval.high]),
        range,
        behaviours: behaviours(labels, &own),
        why: kappa.err().map(|why| why.to_string()).or_else(|| {
            ci95.is_none().then(|| format!("{} sessions: values and range, no interval", tables.len()))
        }),
        sessions: names,
    })
}
