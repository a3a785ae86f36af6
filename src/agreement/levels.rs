//! Agreement on the level of concern over time, and on incidents at stop.
//!
//! Levels are in order, so one too high costs less than two: weighted kappa, linear. One stop that a
//! coder missed matters more than any mean, so what was missed at stop stands beside it.

use serde::Serialize;

use super::align::{Pairing, Unit};
use super::by_time::{ENOUGH_BLOCKS, added, against_rest, seconds, table};
use super::kappa::NoKappa;
use super::matching;
use super::stretches::{self, Held, Lines};
use super::weighted::Weights;
use crate::measures::{Record, concern, presentations};
use crate::model::{Level, MarkId};
use crate::numeric::bootstrap;
use crate::time::{Micros, Span, Spans};

/// Levels of concern of a pair.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct LevelAgreement {
    /// `none`, `watch`, `stop`.
    pub labels: Vec<String>,
    /// Seconds while visible to both: rows first record, columns second.
    pub table_s: Vec<Vec<f64>>,
    /// Share of time at the very same level.
    pub exact: Option<f64>,
    /// Share of agreement, weighted.
    pub observed: Option<f64>,
    /// The same by chance.
    pub expected: Option<f64>,
    /// Weighted kappa, linear.
    pub kappa: Option<f64>,
    /// 95 %: percentile bootstrap over blocks of 60 s; none where fewer than five blocks of either record
    /// hold a raised level.
    pub ci95: Option<[f64; 2]>,
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// Of the time either had at stop, the share that both had.
    pub stop_in_both: Option<f64>,
    /// Stop incidents that begin within the tolerance of each other.
    pub stops_matched: Option<usize>,
    /// Stop incidents of the first record alone, by their start in seconds.
    pub stops_only_first_s: Vec<f64>,
    /// Stop incidents of the second record alone.
    pub stops_only_second_s: Vec<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

const LEVELS: usize = 3;
/// A level needs this much in each record (rule 31).
const ENOUGH: f64 = 10.0;

pub(super) fn levels(
    pairing: &Pairing<'_>,
    records: &[Record<'_>; 2],
    tolerance: Micros,
    seed: u64,
) -> LevelAgreement {
    let why = |why: NoKappa| LevelAgreement { why: Some(why.to_string()), ..LevelAgreement::default() };
    let graded: Vec<_> = pairing
        .ethogram()
        .behaviours
        .iter()
        .filter(|b| records.iter().any(|record| b.concern_in(record.animal()).next().is_some()))
        .collect();
    if graded.is_empty() {
        return LevelAgreement {
            why: Some("no behaviour has a level of concern".to_owned()),
            ..LevelAgreement::default()
        };
    }
    if !pairing.is_done(&graded) {
        return why(NoKappa::PassNotDone);
    }
    let found = records.each_ref().map(|record| concern::of(record, &presentations::of(record)));
    let line = |own: &concern::Concern| -> Vec<Held> {
        let at = |spans: &Spans, level: Level| -> Vec<Held> {
            let held = |span: &Span| Held { span: *span, label: level as usize, mark: MarkId(0) };
            spans.iter().map(held).collect()
        };
        let mut line = at(&own.watch, Level::Watch);
        line.extend(at(&own.stop, Level::Stop));
        line.sort_unstable();
        line
    };
    let lines = found.each_ref().map(line);
    let compared = pairing.visible();
    let lines = Lines {
        records: lines.each_ref().map(Vec::as_slice),
        compared,
        none: Level::None as usize,
        window: pairing.window(),
    };
    let counted = stretches::count(&lines.stretches(Unit::Exact), LEVELS, Unit::Exact);
    let Some(own) = table(&counted.cells) else { return why(NoKappa::NothingCompared) };
    let weighted = |cells: &[Vec<i64>]| table(cells)?.weighted(&Weights::Linear).ok();
    // Labels without time in either record say nothing; one with a little in one record decides alone.
    let raised = |of: &dyn Fn(usize) -> f64| (1..LEVELS).map(of).sum::<f64>();
    let few = raised(&|i| own.row(i)).min(raised(&|i| own.column(i))) < ENOUGH;
    let nothing = raised(&|i| own.row(i) + own.column(i)) <= 0.0;
    let kappa = match (nothing, few) {
        (true, _) => Err(NoKappa::DidNotOccur),
        (false, true) => Err(NoKappa::TooFew),
        (false, false) => own.weighted(&Weights::Linear),
    };
    // As of a state: what lies in a few blocks has no interval of its own.
    let holds_level = |block: &&Vec<Vec<i64>>| against_rest(block, Level::None as usize);
    let raised_in = |side: fn([i64; 4]) -> i64| {
        counted.blocks.iter().filter(|block| side(holds_level(block)) > 0).count()
    };
    let fewest = raised_in(|[_, _, second, neither]| second + neither)
        .min(raised_in(|[_, first, _, neither]| first + neither));
    let ci95 = bootstrap::percentile(counted.blocks.len(), seed, &|picked| {
        let sum = added(picked.iter().filter_map(|place| counted.blocks.get(*place)));
        Some(weighted(&sum)?.kappa)
    });
    let stop = Level::Stop as usize;
    let both = own.cell(stop, stop);
    let either = own.row(stop) + own.column(stop) - both;
    let starts = |own: &concern::Concern| -> Vec<Micros> {
        let all = own.stop_incidents.iter().map(|incident| incident.span.from);
        all.filter(|at| compared.contains(*at)).collect()
    };
    let [first, second] = found.each_ref().map(starts);
    let matched = matching::events(&first, &second, tolerance);
    let at = |list: &[Micros], places: &[usize]| -> Vec<f64> {
        places.iter().filter_map(|place| list.get(*place)).map(|at| at.seconds()).collect()
    };
    LevelAgreement {
        labels: ["none", "watch", "stop"].map(str::to_owned).to_vec(),
        table_s: seconds(&counted.cells),
        exact: own.shares(&Weights::Nominal).ok().map(|shares| shares.observed),
        observed: kappa.ok().map(|own| own.observed),
        expected: kappa.ok().map(|own| own.expected),
        kappa: kappa.ok().map(|own| own.kappa),
        ci95: ci95
            .filter(|_| kappa.is_ok() && fewest >= ENOUGH_BLOCKS)
            .map(|interval| [interval.low, interval.high]),
        word: None,
        stop_in_both: (either > 0.0).then(|| both / either),
        stops_matched: Some(matched.pairs.len()),
        stops_only_first_s: at(&first, &matched.only_first),
        stops_only_second_s: at(&second, &matched.only_second),
        why: kappa.err().map(|why| why.to_string()),
    }
}
