//! Agreement on moments: events, and the onsets and ends of bouts.

use serde::Serialize;

use super::align::{Moment, Pairing, Row};
use super::event_kappa::{Event, EventTable};
use super::kappa::NoKappa;
use super::matching;
use crate::model::{Actor, Behaviour, Kind};
use crate::numeric::quantile;
use crate::time::Micros;

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
    pub onset_difference_s: Difference,
    /// The same of the ends of bouts, where both were seen; of events nothing.
    pub offset_difference_s: Difference,
    /// Agreement at other tolerances.
    pub sweep: Vec<AtTolerance>,
    /// Median time between one moment and the next, over both records.
    pub median_gap_s: Option<f64>,
    /// The tolerance is more than a quarter of that: pairs may be chance.
    pub tolerance_is_wide: bool,
    /// Fewer than five in one record: read the counts, not the share.
    pub few: bool,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Second minus first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Default)]
pub struct Difference {
    /// Pairs it is of.
    pub n: usize,
    /// Median.
    pub median: Option<f64>,
    /// Mean: one coder's habit of being later.
    pub bias: Option<f64>,
    /// Lower quartile.
    pub q1: Option<f64>,
    /// Upper quartile.
    pub q3: Option<f64>,
}

impl Difference {
    /// Of differences in seconds.
    #[must_use]
    pub fn of(differences: &[f64]) -> Self {
        let at = |q| quantile::of(differences, q);
        Self {
            n: differences.len(),
            median: at(0.5),
            bias: quantile::mean(differences),
            q1: at(0.25),
            q3: at(0.75),
        }
    }
}

/// Agreement at one tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtTolerance {
    /// The tolerance.
    pub tolerance_s: f64,
    /// Pairs.
    pub matched: usize,
    /// Only in the first record.
    pub only_first: usize,
    /// Only in the second.
    pub only_second: usize,
    /// matched/(matched + only first + only second).
    pub agreement: Option<f64>,
}

/// Events that could be taken for each other: a set's onsets, the animal's events, the handler's.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EventTableAgreement {
    /// The set, or `events of the animal`, `events of the handler`.
    pub what: String,
    /// Seconds within which two moments match.
    pub tolerance_s: f64,
    /// The behaviours; last `(no partner)`.
    pub labels: Vec<String>,
    /// Counts: rows first record, columns second; the last corner can't be counted and is `null`.
    pub table: Vec<Vec<Option<f64>>>,
    /// Share of all, paired or not, that both hold alike.
    pub observed: Option<f64>,
    /// The same by chance, fitted around the empty corner.
    pub expected: Option<f64>,
    /// Event kappa.
    pub kappa: Option<f64>,
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// Share in pairs, of one behaviour or two.
    pub share_paired: Option<f64>,
    /// Cohen's kappa of the pairs alone: read it with the share in pairs.
    pub kappa_of_pairs: Option<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// An event needs this many in each record (rule 31).
pub(super) const ENOUGH_EVENTS: usize = 5;

/// Tolerances of the sweep.
pub const SWEEP: [Micros; 8] = [
    Micros::from_millis(250),
    Micros::from_millis(500),
    Micros::from_millis(1_000),
    Micros::from_millis(1_500),
    Micros::from_millis(2_000),
    Micros::from_millis(3_000),
    Micros::from_millis(4_000),
    Micros::from_millis(5_000),
];

/// Label of what has no partner.
pub const NO_PARTNER: &str = "(no partner)";

pub(super) fn event_agreement(
    pairing: &Pairing<'_>,
    behaviour: &Behaviour,
    tolerance: Micros,
) -> EventAgreement {
    let mut found = EventAgreement {
        behaviour: behaviour.id.to_string(),
        kind: behaviour.kind,
        tolerance_s: tolerance.seconds(),
        matched: None,
        only_first: None,
        only_second: None,
        agreement: None,
        onset_difference_s: Difference::default(),
        offset_difference_s: Difference::default(),
        sweep: Vec::new(),
        median_gap_s: None,
        tolerance_is_wide: false,
        few: false,
        why: None,
    };
    let Some([first, second]) = pairing.moments(behaviour) else {
        found.why = Some(NoKappa::PassNotDone.to_string());
        return found;
    };
    let at = |list: &[Moment]| -> Vec<Micros> { list.iter().map(|moment| moment.at).collect() };
    let onsets = [at(&first), at(&second)];
    let matched = matching::events(&onsets[0], &onsets[1], tolerance);
    let pairs: Vec<(&Moment, &Moment)> =
        matched.pairs.iter().filter_map(|(i, j)| Some((first.get(*i)?, second.get(*j)?))).collect();
    let later: Vec<f64> = pairs.iter().map(|(a, b)| (b.at - a.at).seconds()).collect();
    let ended_later: Vec<f64> = pairs.iter().filter_map(|(a, b)| Some((b.to? - a.to?).seconds())).collect();
    found.agreement = matched.agreement();
    found.few = first.len().min(second.len()) < ENOUGH_EVENTS;
    found.why = match (first.is_empty() && second.is_empty(), later.is_empty()) {
        (true, _) => Some(NoKappa::DidNotOccur.to_string()),
        (false, true) => Some("no pair, so no onset difference".to_owned()),
        (false, false) => None,
    };
    found.onset_difference_s = Difference::of(&later);
    found.offset_difference_s = Difference::of(&ended_later);
    found.matched = Some(matched.pairs.len());
    found.only_first = Some(matched.only_first.len());
    found.only_second = Some(matched.only_second.len());
    if found.why.as_deref() != Some(&NoKappa::DidNotOccur.to_string()) {
        found.sweep =
            SWEEP.iter().map(|tolerance| at_tolerance(std::slice::from_ref(&onsets), *tolerance)).collect();
    }
    let gaps: Vec<f64> = onsets
        .iter()
        .flat_map(|list| list.iter().zip(list.iter().skip(1)).map(|(a, b)| (*b - *a).seconds()))
        .collect();
    found.median_gap_s = quantile::of(&gaps, 0.5);
    found.tolerance_is_wide = found.median_gap_s.is_some_and(|gap| tolerance.seconds() > gap / 4.0);
    found
}

fn at_tolerance(lists: &[[Vec<Micros>; 2]], tolerance: Micros) -> AtTolerance {
    let mut sum = matching::Matched::default();
    for [first, second] in lists {
        let own = matching::events(first, second, tolerance);
        sum.pairs.extend(own.pairs);
        sum.only_first.extend(own.only_first);
        sum.only_second.extend(own.only_second);
    }
    AtTolerance {
        tolerance_s: tolerance.seconds(),
        matched: sum.pairs.len(),
        only_first: sum.only_first.len(),
        only_second: sum.only_second.len(),
        agreement: sum.agreement(),
    }
}

/// All events together at each tolerance of the sweep, each matched within its behaviour.
pub(super) fn sweep_of_events(pairing: &Pairing<'_>) -> Vec<AtTolerance> {
    let events = pairing.ethogram().behaviours.iter().filter(|b| b.kind == Kind::Event);
    let lists: Vec<[Vec<Micros>; 2]> = events.filter_map(|behaviour| pairing.onsets(behaviour)).collect();
    if lists.iter().flatten().all(Vec::is_empty) {
        return Vec::new();
    }
    SWEEP.iter().map(|tolerance| at_tolerance(&lists, *tolerance)).collect()
}

/// Groups of behaviours whose moments could be taken for each other.
pub(super) fn groups<'a>(pairing: &Pairing<'a>) -> Vec<(String, Vec<&'a Behaviour>)> {
    let events = |who: Actor| -> Vec<&'a Behaviour> {
        let own = pairing.ethogram().behaviours.iter();
        own.filter(|b| b.kind == Kind::Event && b.who == who && pairing.is_done(&[*b])).collect()
    };
    let mut found: Vec<(String, Vec<&Behaviour>)> = pairing
        .rows()
        .iter()
        .filter(|row| matches!(row, Row::Set(_)))
        .map(|row| (row.id().to_owned(), pairing.states(row)))
        .filter(|(_, states)| pairing.is_done(states))
        .collect();
    found.push(("events of the animal".to_owned(), events(Actor::Animal)));
    found.push(("events of the handler".to_owned(), events(Actor::Handler)));
    found
}

/// Both records' moments of a group, each with the place of its behaviour.
pub(super) fn of_group(pairing: &Pairing<'_>, group: &[&Behaviour]) -> [Vec<(Moment, usize)>; 2] {
    let mut all = [Vec::new(), Vec::new()];
    for (place, behaviour) in group.iter().enumerate() {
        let Some(own) = pairing.moments(behaviour) else { continue };
        for (all, own) in all.iter_mut().zip(own) {
            all.extend(own.into_iter().map(|moment| (moment, place)));
        }
    }
    for list in &mut all {
        list.sort_unstable();
    }
    all
}

/// The tables of events (rule 30 b); groups of which nothing was seen are left out.
pub(super) fn tables(pairing: &Pairing<'_>, tolerance: Micros) -> Vec<EventTableAgreement> {
    let mut found = Vec::new();
    for (what, group) in groups(pairing) {
        let lists = of_group(pairing, &group);
        let [first, second] = lists
            .each_ref()
            .map(|list| list.iter().map(|(moment, place)| (moment.at, *place)).collect::<Vec<Event>>());
        if first.is_empty() && second.is_empty() {
            continue;
        }
        let Some(events) = EventTable::from_events(&first, &second, group.len(), tolerance) else { continue };
        let few = first.len().min(second.len()) < ENOUGH_EVENTS;
        let kappa = if few { Err(NoKappa::TooFew) } else { events.kappa() };
        let size = events.table().size();
        let cell = |i: usize, j: usize| (i + 1 < size || j + 1 < size).then(|| events.table().cell(i, j));
        let labels = group.iter().map(|behaviour| behaviour.id.to_string());
        found.push(EventTableAgreement {
            what,
            tolerance_s: tolerance.seconds(),
            labels: labels.chain([NO_PARTNER.to_owned()]).collect(),
            table: (0..size).map(|i| (0..size).map(|j| cell(i, j)).collect()).collect(),
            observed: kappa.as_ref().ok().map(|own| own.observed),
            expected: kappa.as_ref().ok().map(|own| own.expected),
            kappa: kappa.as_ref().ok().map(|own| own.kappa),
            word: None,
            share_paired: events.share_paired().ok(),
            kappa_of_pairs: if few { None } else { events.kappa_of_pairs().ok().map(|own| own.kappa) },
            why: kappa.err().map(|why| why.to_string()),
        });
    }
    found
}
