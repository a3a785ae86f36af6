//! Agreement on presentations: what came of each, and how long it took.

use serde::Serialize;

use super::align::Pairing;
use super::kappa::{NoKappa, Table};
use super::matching;
use super::moments::Difference;
use super::weighted::Weights;
use crate::measures::Record;
use crate::measures::presentations::{self, Latency, Outcome, Presentation};
use crate::model::Role;
use crate::time::Micros;

/// Presentations of both records, matched by their cues.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct TrialAgreement {
    /// Presentations in both.
    pub matched: usize,
    /// Cues, in seconds, of the first record alone.
    pub only_first_s: Vec<f64>,
    /// Cues of the second record alone.
    pub only_second_s: Vec<f64>,
    /// Matched ones whose outcome one of the records can't tell.
    pub not_coded: usize,
    /// Outcomes that were given by either.
    pub labels: Vec<Outcome>,
    /// Counts: rows first record, columns second.
    pub table: Vec<Vec<u32>>,
    /// Share with one outcome.
    pub observed: Option<f64>,
    /// Cohen's kappa, from ten presentations on.
    pub kappa: Option<f64>,
    /// Its error, presentations taken for independent (Fleiss, Cohen & Everitt 1969).
    pub standard_error: Option<f64>,
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// Those with two outcomes.
    pub different: Vec<TwoOutcomes>,
    /// Orient, approach, contact, success.
    pub latencies: Vec<LatencyAgreement>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A presentation that ended otherwise for each.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TwoOutcomes {
    /// Its cue in the first record.
    pub cue_s: f64,
    /// Its number there.
    pub number: u32,
    /// What the first record makes of it.
    pub first: Outcome,
    /// What the second makes of it.
    pub second: Outcome,
}

/// A latency in both records.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LatencyAgreement {
    /// To what.
    pub to: &'static str,
    /// Seconds in the first and in the second record, where both reached it.
    pub pairs_s: Vec<[f64; 2]>,
    /// Second minus first.
    pub difference_s: Difference,
    /// Largest distance.
    pub largest_s: Option<f64>,
    /// Seconds of the tolerance.
    pub tolerance_s: f64,
    /// Share of the pairs within it.
    pub within: Option<f64>,
    /// `[[both reached, only first], [only second, neither]]`.
    pub reached: [[usize; 2]; 2],
    /// Left out: begun before the cue, or its pass not done, in either record.
    pub left_out: usize,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Fewer presentations than this have no kappa: our default.
pub const ENOUGH_PRESENTATIONS: usize = 10;

const OUTCOMES: [Outcome; 6] = [
    Outcome::Success,
    Outcome::SuccessPrompted,
    Outcome::OptOut,
    Outcome::PassiveRefusal,
    Outcome::Aborted,
    Outcome::Void,
];

/// How one latency is read off a presentation.
type Read = fn(&Presentation) -> Latency;

pub(super) fn trials(pairing: &Pairing<'_>, records: &[Record<'_>; 2], tolerance: Micros) -> TrialAgreement {
    let cues: Vec<_> = pairing.ethogram().with_role(Role::Cue).collect();
    let without = |why: &str| TrialAgreement { why: Some(why.to_owned()), ..TrialAgreement::default() };
    if cues.is_empty() {
        return without("no behaviour has this role");
    }
    if !pairing.is_done(&cues) {
        return without(&NoKappa::PassNotDone.to_string());
    }
    let [first, second] = records.each_ref().map(|record| {
        let mut own = presentations::of(record);
        own.retain(|p| pairing.window().contains(p.cue));
        own
    });
    let at = |list: &[Presentation]| -> Vec<Micros> { list.iter().map(|p| p.cue).collect() };
    let matched = matching::events(&at(&first), &at(&second), tolerance);
    let pairs: Vec<(&Presentation, &Presentation)> =
        matched.pairs.iter().filter_map(|(i, j)| Some((first.get(*i)?, second.get(*j)?))).collect();
    let alone = |list: &[Presentation], places: &[usize]| -> Vec<f64> {
        places.iter().filter_map(|place| list.get(*place)).map(|p| p.cue.seconds()).collect()
    };
    let known: Vec<_> = pairs
        .iter()
        .filter(|(a, b)| OUTCOMES.contains(&a.outcome) && OUTCOMES.contains(&b.outcome))
        .collect();
    let is_used = |own: &Outcome| known.iter().any(|(a, b)| a.outcome == *own || b.outcome == *own);
    let labels: Vec<Outcome> = OUTCOMES.into_iter().filter(is_used).collect();
    let count = |i: Outcome, j: Outcome| {
        u32::try_from(known.iter().filter(|(a, b)| a.outcome == i && b.outcome == j).count())
            .unwrap_or(u32::MAX)
    };
    let counts: Vec<Vec<u32>> =
        labels.iter().map(|i| labels.iter().map(|j| count(*i, *j)).collect()).collect();
    let rows: Vec<Vec<f64>> = counts.iter().map(|row| row.iter().copied().map(f64::from).collect()).collect();
    let own = Table::from_rows(&rows).ok_or(NoKappa::NothingCompared);
    let observed =
        own.as_ref().ok().and_then(|own| own.shares(&Weights::Nominal).ok()).map(|shares| shares.observed);
    let kappa = match own {
        Ok(_) if known.is_empty() => Err(NoKappa::NothingCompared),
        Ok(_) if known.len() < ENOUGH_PRESENTATIONS => Err(NoKappa::TooFew),
        Ok(own) => own.inference(&Weights::Nominal),
        Err(why) => Err(why),
    };
    let different = known.iter().filter(|(a, b)| a.outcome != b.outcome);
    let read: [(&'static str, Read); 4] = [
        ("orient", |p| p.orient),
        ("approach", |p| p.approach),
        ("contact", |p| p.contact),
        ("success", |p| p.success),
    ];
    TrialAgreement {
        matched: pairs.len(),
        only_first_s: alone(&first, &matched.only_first),
        only_second_s: alone(&second, &matched.only_second),
        not_coded: pairs.len() - known.len(),
        labels,
        table: counts,
        observed,
        kappa: kappa.ok().map(|own| own.kappa.value),
        standard_error: kappa.ok().map(|own| own.kappa.standard_error),
        word: None,
        different: different
            .map(|(a, b)| TwoOutcomes {
                cue_s: a.cue.seconds(),
                number: a.number,
                first: a.outcome,
                second: b.outcome,
            })
            .collect(),
        latencies: read.into_iter().map(|(to, read)| latency(to, read, &pairs, tolerance)).collect(),
        why: kappa.err().map(|why| why.to_string()),
    }
}

#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
fn latency(
    to: &'static str,
    read: Read,
    pairs: &[(&Presentation, &Presentation)],
    tolerance: Micros,
) -> LatencyAgreement {
    let mut reached = [[0; 2]; 2];
    let mut left_out = 0;
    let mut both: Vec<(Micros, Micros)> = Vec::new();
    for (a, b) in pairs {
        let (a, b) = (read(a), read(b));
        let is_case = |own: Latency| !matches!(own, Latency::LeftOut | Latency::NotCoded);
        if !is_case(a) || !is_case(b) {
            left_out += 1;
            continue;
        }
        let [[in_both, first], [second, neither]] = &mut reached;
        match (a.reached(), b.reached()) {
            (Some(a), Some(b)) => {
                *in_both += 1;
                both.push((a, b));
            }
            (Some(_), None) => *first += 1,
            (None, Some(_)) => *second += 1,
            (None, None) => *neither += 1,
        }
    }
    let differences: Vec<f64> = both.iter().map(|(a, b)| (*b - *a).seconds()).collect();
    let within = both.iter().filter(|(a, b)| a.distance(*b) <= tolerance).count();
    LatencyAgreement {
        to,
        pairs_s: both.iter().map(|(a, b)| [a.seconds(), b.seconds()]).collect(),
        difference_s: Difference::of(&differences),
        largest_s: both.iter().map(|(a, b)| a.distance(*b)).max().map(Micros::seconds),
        tolerance_s: tolerance.seconds(),
        within: (!both.is_empty()).then(|| within as f64 / both.len() as f64),
        reached,
        left_out,
        why: both.is_empty().then(|| "no presentation in which both reached it".to_owned()),
    }
}
