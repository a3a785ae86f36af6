//! Agreement on states: which of a set's states each record holds, moment by moment.

use serde::Serialize;

use super::align::{NO_STATE, Overlay, Pairing, Row, Unit};
use super::kappa::{NoKappa, Table};
use super::stretches::Stretch;
use super::time_units;
use super::weighted::Weights;
use crate::numeric::bootstrap;
use crate::time::Micros;

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
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// The error as if units were independent; none when time is compared exactly.
    pub units: Option<UnitError>,
    /// Kappa of units that may differ by the tolerance.
    pub tolerant: Option<TolerantKappa>,
    /// Each state against all others.
    pub behaviours: Vec<BehaviourAgreement>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// The error of a kappa of counted units, were they independent. They are not: it is too small.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UnitError {
    /// Units counted.
    pub n: u32,
    /// After Fleiss, Cohen & Everitt 1969.
    pub standard_error: Option<f64>,
    /// Kappa ± 1.96 errors.
    pub ci95: Option<[f64; 2]>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Kappa of units, of which one agrees when the other record has its label near it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TolerantKappa {
    /// Length of a unit; none: a picture.
    pub unit_s: Option<f64>,
    /// Units to either side.
    pub units: usize,
    /// The first record's units looked for in the second.
    pub first: Option<f64>,
    /// The second record's units looked for in the first.
    pub second: Option<f64>,
    /// Mean of both.
    pub kappa: Option<f64>,
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
    /// 95 %: as the set's; none where fewer than five blocks (sessions) of either record hold it.
    pub ci95: Option<[f64; 2]>,
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// Share of agreement on it.
    pub observed: Option<f64>,
    /// Seconds in the first record.
    pub first_s: f64,
    /// Seconds in the second.
    pub second_s: f64,
    /// Second minus first.
    pub difference_s: f64,
    /// What stands beside a kappa, and never for it.
    pub extra: Beside,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// What unequal labels and unequal coders do to a kappa of two labels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Default)]
pub struct Beside {
    /// Above 0: the state fills most of the time.
    pub prevalence_index: Option<f64>,
    /// Above 0: the first coder gives it more often.
    pub bias_index: Option<f64>,
    /// Prevalence- and bias-adjusted kappa, 2 p_o − 1.
    pub pabak: Option<f64>,
    /// Gwet's AC1.
    pub ac1: Option<f64>,
    /// Of the time either gave it, how much both did.
    pub specific: Option<f64>,
    /// Of the time either did not, how much neither did.
    pub specific_absence: Option<f64>,
}

/// A state needs this much in each record for a kappa of its own (rule 31).
const ENOUGH: Micros = Micros::from_whole_seconds(10);

/// In so many blocks of each record for an interval of its own: our default.
pub(super) const ENOUGH_BLOCKS: usize = 5;

/// Units of the tolerant kappa where time is compared exactly.
const TOLERANT_UNIT: Micros = Micros::from_whole_seconds(1);

pub(super) fn table(cells: &[Vec<i64>]) -> Option<Table> {
    Table::from_rows(&seconds(cells))
}

pub(super) fn seconds(cells: &[Vec<i64>]) -> Vec<Vec<f64>> {
    cells.iter().map(|row| row.iter().map(|cell| Micros(*cell).seconds()).collect()).collect()
}

pub(super) fn added<'a>(blocks: impl Iterator<Item = &'a Vec<Vec<i64>>>) -> Vec<Vec<i64>> {
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

pub(super) fn kappa_of_blocks(blocks: &[Vec<Vec<i64>>], picked: &[usize]) -> Option<f64> {
    let sum = added(picked.iter().filter_map(|place| blocks.get(*place)));
    Some(table(&sum)?.kappa().ok()?.kappa)
}

/// A row of which nothing can be said.
pub(super) fn set_without(row: &Row, why: NoKappa) -> SetAgreement {
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
        word: None,
        units: None,
        tolerant: None,
        behaviours: Vec::new(),
        why: Some(why.to_string()),
    }
}

/// The numbers of an overlay. The tolerance is that of moments.
pub(super) fn set_agreement(
    pairing: &Pairing<'_>,
    overlay: &Overlay,
    unit: Unit<'_>,
    tolerance: Micros,
    seed: u64,
) -> SetAgreement {
    let Some(own) = table(&overlay.cells) else { return set_without(&overlay.row, NoKappa::NothingCompared) };
    let kappa = own.kappa();
    let ci95 =
        bootstrap::percentile(overlay.blocks.len(), seed, &|picked| kappa_of_blocks(&overlay.blocks, picked));
    let few_blocks = "an interval needs two blocks of 60 s";
    SetAgreement {
        set: overlay.row.id().to_owned(),
        labels: overlay.labels.clone(),
        table_s: seconds(&overlay.cells),
        compared_s: own.total(),
        observed: kappa.ok().map(|kappa| kappa.observed).or_else(|| observed_alone(&own)),
        expected: kappa.ok().map(|kappa| kappa.expected),
        kappa: kappa.ok().map(|kappa| kappa.kappa),
        kappa_max: kappa.ok().map(|kappa| kappa.max),
        ci95: ci95.filter(|_| kappa.is_ok()).map(|interval| [interval.low, interval.high]),
        word: None,
        units: unit_error(&overlay.units),
        tolerant: tolerant(pairing, &overlay.row, unit, tolerance),
        behaviours: behaviours(&overlay.labels, &own, &|label| {
            let own: Vec<[i64; 4]> = overlay.blocks.iter().map(|block| against_rest(block, label)).collect();
            // What lies in a few blocks is in many draws not at all: their spread is not its error.
            let holds = |side: fn(&[i64; 4]) -> i64| own.iter().filter(|block| side(block) > 0).count();
            let fewest =
                holds(|[both, first, ..]| both + first).min(holds(|[both, _, second, _]| both + second));
            if fewest < ENOUGH_BLOCKS {
                return None;
            }
            let interval = bootstrap::percentile(own.len(), seed, &|picked| kappa_of_two(&own, picked))?;
            Some([interval.low, interval.high])
        }),
        why: kappa.err().map(|why| why.to_string()).or_else(|| ci95.is_none().then(|| few_blocks.to_owned())),
    }
}

/// Agreement is defined where kappa is not.
fn observed_alone(table: &Table) -> Option<f64> {
    (table.total() > 0.0).then_some(1.0)
}

fn unit_error(units: &[Vec<u32>]) -> Option<UnitError> {
    if units.is_empty() {
        return None;
    }
    let rows: Vec<Vec<f64>> = units.iter().map(|row| row.iter().copied().map(f64::from).collect()).collect();
    let found = Table::from_rows(&rows)?.inference(&Weights::Nominal);
    let interval = found.map(|found| found.kappa.normal95());
    Some(UnitError {
        n: units.iter().flatten().sum(),
        standard_error: found.ok().map(|found| found.kappa.standard_error),
        ci95: interval.ok().and_then(Result::ok).map(|(low, high)| [low, high]),
        why: match interval {
            Err(why) => Some(why.to_string()),
            Ok(Err(why)) => Some(why.to_string()),
            Ok(Ok(_)) => None,
        },
    })
}

/// Units that touch; a tolerance does not reach over time that is not compared.
fn runs(stretches: &[Stretch]) -> impl Iterator<Item = &[Stretch]> {
    stretches.chunk_by(|a, b| a.span.to == b.span.from)
}

fn tolerant(pairing: &Pairing<'_>, row: &Row, unit: Unit<'_>, tolerance: Micros) -> Option<TolerantKappa> {
    let (unit, length) = match unit {
        Unit::Exact => (Unit::Every(TOLERANT_UNIT), Some(TOLERANT_UNIT)),
        Unit::Every(length) => (unit, Some(length)),
        Unit::Pictures(_) => (unit, None),
    };
    let laid = pairing.laid(row, unit)?;
    let length_us = if let Some(length) = length {
        length.0
    } else {
        // Pictures come at uneven times: as many as fit by their mean length. Where film is missing is none.
        let missing = pairing.session().file_gaps();
        let pictures = laid.stretches.iter().filter(|own| !missing.contains(own.span.from));
        let lengths: Vec<i64> = pictures.map(|own| own.span.length().0).collect();
        let total: i64 = lengths.iter().sum();
        total / i64::try_from(lengths.len().max(1)).ok()?
    };
    let reach = usize::try_from(tolerance.0 / length_us.max(1)).ok()?;
    let size = laid.labels.len();
    let mut sums = [vec![vec![0.0; size]; size], vec![vec![0.0; size]; size]];
    for run in runs(&laid.stretches) {
        let of = |record: usize| -> Vec<usize> {
            run.iter().map(|own| own.labels.get(record).copied().unwrap_or(0)).collect()
        };
        let (first, second) = (of(0), of(1));
        for (sum, (own, other)) in sums.iter_mut().zip([(&first, &second), (&second, &first)]) {
            let table = time_units::tolerant_table(own, other, size, reach)?;
            for (i, line) in sum.iter_mut().enumerate() {
                for (j, cell) in line.iter_mut().enumerate() {
                    *cell += table.cell(i, j);
                }
            }
        }
    }
    let [first, second] = &sums;
    let found = time_units::Tolerant {
        first: Table::from_rows(first)?.kappa(),
        second: Table::from_rows(second)?.kappa(),
    };
    Some(TolerantKappa {
        unit_s: length.map(Micros::seconds),
        units: reach,
        first: found.first.ok().map(|own| own.kappa),
        second: found.second.ok().map(|own| own.kappa),
        kappa: found.mean().ok(),
        why: found.mean().err().map(|why| why.to_string()),
    })
}

/// Both, only first, only second, neither.
pub(super) fn against_rest(block: &[Vec<i64>], label: usize) -> [i64; 4] {
    let mut found = [0; 4];
    for (i, row) in block.iter().enumerate() {
        for (j, cell) in row.iter().enumerate() {
            let place = match (i == label, j == label) {
                (true, true) => 0,
                (true, false) => 1,
                (false, true) => 2,
                (false, false) => 3,
            };
            if let Some(own) = found.get_mut(place) {
                *own += cell;
            }
        }
    }
    found
}

pub(super) fn kappa_of_two(blocks: &[[i64; 4]], picked: &[usize]) -> Option<f64> {
    let mut sum = [0_i64; 4];
    for block in picked.iter().filter_map(|place| blocks.get(*place)) {
        for (own, other) in sum.iter_mut().zip(block) {
            *own += other;
        }
    }
    let [both, first, second, neither] = sum;
    Some(table(&[vec![both, first], vec![second, neither]])?.kappa().ok()?.kappa)
}

pub(super) fn behaviours(
    labels: &[String],
    own: &Table,
    interval: &dyn Fn(usize) -> Option<[f64; 2]>,
) -> Vec<BehaviourAgreement> {
    let each = labels.iter().enumerate().filter(|(_, label)| *label != NO_STATE);
    each.map(|(i, label)| {
        let (first_s, second_s) = (own.row(i), own.column(i));
        let two = own.one_against_rest(i);
        let kappa = if first_s <= 0.0 && second_s <= 0.0 {
            Err(NoKappa::DidNotOccur)
        } else if first_s.min(second_s) < ENOUGH.seconds() {
            Err(NoKappa::TooFew)
        } else {
            two.kappa()
        };
        BehaviourAgreement {
            id: label.clone(),
            kappa: kappa.ok().map(|kappa| kappa.kappa),
            ci95: kappa.ok().and_then(|_| interval(i)),
            word: None,
            observed: two.kappa().ok().map(|kappa| kappa.observed),
            first_s,
            second_s,
            difference_s: second_s - first_s,
            extra: if first_s.max(second_s) > 0.0 { beside(&two) } else { Beside::default() },
            why: kappa.err().map(|why| why.to_string()),
        }
    })
    .collect()
}

pub(super) fn beside(two: &Table) -> Beside {
    Beside {
        prevalence_index: two.prevalence_index().ok(),
        bias_index: two.bias_index().ok(),
        pabak: two.brennan_prediger().ok().map(|own| own.value),
        ac1: two.gwet_ac1().ok().map(|own| own.value),
        specific: two.specific_agreement(0).ok(),
        specific_absence: two.specific_agreement(1).ok(),
    }
}
