//! Agreement of two codings by samples: the points or intervals that both answered, one by one.
//!
//! Of what lies between samples nobody knows anything, so nothing here is a time and nothing is matched.
//! A point tells which state of a set holds at it: a table a set. An interval tells of each behaviour
//! whether it occurred at all, several in one: a table of two a behaviour, and none a set.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::align::{self, NO_STATE, NotComparable};
use super::by_time::{Beside, ENOUGH_BLOCKS, against_rest, beside, kappa_of_blocks, kappa_of_two};
use super::kappa::{NoKappa, Table};
use crate::measures::Record;
use crate::measures::record::Marks;
use crate::measures::recorded::{Recorded, numbers_of};
use crate::model::samples::{Form, Sample};
use crate::model::{Actor, Behaviour, Coding, Ethogram, Kind, Role, Session, Set, Study};
use crate::numeric::bootstrap;
use crate::time::{Micros, Seconds};

/// A behaviour needs so many samples with it in each record for a kappa (our default, as of events).
pub const ENOUGH: i64 = 5;
/// Length of a block of the bootstrap (rule 31); samples farther apart are blocks of their own.
const BLOCK: Micros = Micros::from_whole_seconds(60);

/// Two codings by samples.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SampledAgreement {
    /// `point` or `interval`.
    pub each: &'static str,
    /// Seconds from one to the next.
    pub every_s: f64,
    /// Samples that are the same moments or stretches in both.
    pub in_both: usize,
    /// Those of them that both answered, on film.
    pub answered_by_both: usize,
    /// Those of them in which both saw the animal.
    pub visible_to_both: usize,
    /// Of points: one a set, and one a state that belongs to none.
    pub sets: Vec<SampledSet>,
    /// Of intervals: one a behaviour.
    pub behaviours: Vec<SampledTwo>,
    /// Samples the two differ in, in their order; of each what they differ about.
    pub differences: Vec<SampledApart>,
}

/// What two records say differently of one sample.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SampledApart {
    /// The sample's number in the first record.
    pub sample: u32,
    /// Where it lies, or begins, in session time.
    pub at_s: Seconds,
    /// The set, or the behaviour that belongs to none.
    pub about: String,
    /// What the first says; nothing where it says that none of them holds.
    pub first: Option<String>,
    /// What the second says.
    pub second: Option<String>,
}

/// Which state of a set holds at the points.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SampledSet {
    /// The set (or the state that belongs to none).
    pub set: String,
    /// Its states in the ethogram's order, `(none)` last.
    pub labels: Vec<String>,
    /// Points: rows first record, columns second.
    pub table: Vec<Vec<i64>>,
    /// Points compared.
    pub n: i64,
    /// Share of points with one label.
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
    /// Each state against all others.
    pub behaviours: Vec<SampledTwo>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One behaviour, there or not, sample by sample.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SampledTwo {
    /// The behaviour.
    pub id: String,
    /// Samples compared.
    pub n: i64,
    /// Samples in which both have it.
    pub both: i64,
    /// Only the first.
    pub only_first: i64,
    /// Only the second.
    pub only_second: i64,
    /// Share of samples on which they agree.
    pub observed: Option<f64>,
    /// Cohen's kappa.
    pub kappa: Option<f64>,
    /// 95 %, as the set's; none where fewer than five blocks of either record hold it.
    pub ci95: Option<[f64; 2]>,
    /// What the named scheme calls this kappa.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word: Option<&'static str>,
    /// What stands beside a kappa, and never for it.
    pub extra: Beside,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A record by samples.
struct Side<'a> {
    record: &'a Record<'a>,
    recorded: Recorded,
}

impl Side<'_> {
    /// Whether it answered a sample as far as these behaviours go.
    fn tells(&self, number: u32, behaviours: &[&Behaviour]) -> bool {
        let is_asked = |b: &&Behaviour| {
            let passes = &self.record.coding.passes;
            passes.iter().any(|pass| pass.behaviours.contains(&b.id) && pass.answered.contains(number))
        };
        behaviours.iter().all(is_asked)
    }

    /// In which samples each behaviour is.
    fn hits(&self, behaviours: &[&Behaviour]) -> Vec<BTreeSet<u32>> {
        behaviours.iter().map(|behaviour| numbers_of(self.record, behaviour).collect()).collect()
    }
}

/// A sample in both records, by its number in each.
struct Same {
    numbers: [u32; 2],
    at: Micros,
    block: i64,
}

/// A table, and the same in blocks.
#[derive(Default)]
struct Counted {
    cells: Vec<Vec<i64>>,
    blocks: Vec<Vec<Vec<i64>>>,
    /// Samples off the diagonal: number, time, row and column.
    apart: Vec<(u32, Micros, [usize; 2])>,
}

impl Counted {
    fn differences(&self, about: &str, labels: &[&Behaviour]) -> impl Iterator<Item = SampledApart> {
        let name = |place: usize| labels.get(place).map(|own| own.id.to_string());
        self.apart.iter().map(move |(sample, at, [first, second])| SampledApart {
            sample: *sample,
            at_s: Seconds(*at),
            about: about.to_owned(),
            first: name(*first),
            second: name(*second),
        })
    }
}

/// Compares two codings by samples of one session, that [`align::Pairing`] has found to be such.
///
/// # Errors
/// When one is continuous, or their samples are not the same.
pub fn compare(
    [first, second]: [&Coding; 2],
    ethogram: &Ethogram,
    session: &Session,
    study: &Study,
    marks: align::Marks,
    seed: u64,
) -> Result<SampledAgreement, NotComparable> {
    let marks = match marks {
        align::Marks::All => Marks::All,
        align::Marks::WithoutUnsure => Marks::WithoutUnsure,
    };
    let record =
        |coding| Record::try_new(coding, ethogram, session, study, marks).ok_or(NotComparable::NoWindow);
    let (first, second) = (record(first)?, record(second)?);
    let side = |record| Some(Side { record, recorded: Recorded::of(record).ok()? });
    let (Some(a), Some(b)) = (side(&first), side(&second)) else { return Err(NotComparable::OneSampled) };
    let same = same_samples(&a, &b)?;
    let is_visible = |own: &&Same| {
        let [one, other] = own.numbers;
        a.recorded.visible.contains(&one) && b.recorded.visible.contains(&other)
    };
    let sides = [&a, &b];
    let is_answered = |own: &&Same| own.numbers.iter().zip(sides).all(|(n, side)| is_there(side, *n));
    let form = a.recorded.samples.form();
    let mut found = SampledAgreement {
        each: form.word(),
        every_s: a.recorded.samples.every().seconds(),
        in_both: same.len(),
        answered_by_both: same.iter().filter(is_answered).count(),
        visible_to_both: same.iter().filter(is_visible).count(),
        sets: Vec::new(),
        behaviours: Vec::new(),
        differences: Vec::new(),
    };
    match form {
        Form::Point => {
            for (id, states) in rows(ethogram) {
                let is_visibility = ethogram.visibility_set().is_some_and(|set| set.as_str() == id);
                let counted = counted(&states, sides, &same, is_visibility);
                found.differences.extend(counted.iter().flat_map(|own| own.differences(&id, &states)));
                found.sets.push(of_set(id, &states, counted, seed));
            }
        }
        Form::Interval => {
            for behaviour in ethogram.behaviours.iter().filter(|b| !b.has_role(Role::Excluded)) {
                let list = [behaviour];
                let counted = counted(&list, sides, &same, false);
                found
                    .differences
                    .extend(counted.iter().flat_map(|own| own.differences(behaviour.id.as_str(), &list)));
                found.behaviours.push(match counted {
                    Some(own) => of_two(behaviour, &own, 0, seed),
                    None => without(behaviour, NoKappa::PassNotDone),
                });
            }
        }
    }
    found.differences.sort_by_key(|own| own.sample);
    Ok(found)
}

/// Whether a sample is on film, answered and not left out as unsure; in sight or not.
fn is_there(side: &Side<'_>, number: u32) -> bool {
    side.recorded.visible.contains(&number) || side.recorded.hidden.contains(&number)
}

/// The samples that are the same moment, or the same stretch, in both.
fn same_samples(a: &Side<'_>, b: &Side<'_>) -> Result<Vec<Same>, NotComparable> {
    let (of_first, of_second) = (a.recorded.samples, b.recorded.samples);
    let begins = |own: &crate::model::samples::Samples| own.get(1).map_or(Micros::ZERO, |own| own.span.from);
    let apart = (begins(&of_first) - begins(&of_second)).0;
    if (of_first.form(), of_first.every()) != (of_second.form(), of_second.every())
        || apart.rem_euclid(of_first.every().0) != 0
    {
        return Err(NotComparable::OtherSamples(asks(a), asks(b)));
    }
    let window = a.record.window().from;
    let same: Vec<Same> = of_first
        .iter()
        .filter_map(|own: Sample| {
            let other = of_second.get(of_second.number_at(own.span.from)?)?;
            let block = (own.span.from - window).0.div_euclid(BLOCK.0);
            (other.span == own.span).then_some(Same {
                numbers: [own.number, other.number],
                at: own.span.from,
                block,
            })
        })
        .collect();
    if same.is_empty() { Err(NotComparable::NoCommonTime) } else { Ok(same) }
}

/// How a record samples, in words.
fn asks(side: &Side<'_>) -> String {
    let samples = &side.recorded.samples;
    let from = samples.get(1).map_or_else(String::new, |own| format!(", the first at {} s", own.span.from));
    format!("one {} every {} s{from}", samples.form().word(), samples.every())
}

/// Each set with its states, then each state without one.
fn rows(ethogram: &Ethogram) -> Vec<(String, Vec<&Behaviour>)> {
    let states = || ethogram.behaviours.iter().filter(|b| b.kind == Kind::State);
    let of_set =
        |set: &Set| (set.id.to_string(), states().filter(|b| b.set.as_ref() == Some(&set.id)).collect());
    let sets = ethogram.sets.iter().map(of_set);
    let alone = states().filter(|b| b.set.is_none());
    sets.filter(|(_, states): &(_, Vec<_>)| !states.is_empty())
        .chain(alone.map(|b| (b.id.to_string(), vec![b])))
        .collect()
}

/// Counts samples; `None` when a pass that asks for one of the behaviours has no answer in either record. A
/// sample in which a record says two states of one set says nothing.
fn counted(
    behaviours: &[&Behaviour],
    sides: [&Side<'_>; 2],
    same: &[Same],
    is_visibility: bool,
) -> Option<Counted> {
    // As of time (rule 27): what the handler does, and visibility itself, also where the animal is hidden.
    let also_hidden = is_visibility || behaviours.iter().all(|b| b.who == Actor::Handler);
    let size = behaviours.len() + 1;
    let empty = vec![vec![0_i64; size]; size];
    let hits = sides.map(|side| side.hits(behaviours));
    let (mut cells, mut blocks) = (empty.clone(), BTreeMap::new());
    let (mut any, mut apart) = (false, Vec::new());
    for own in same {
        let mut labels = [0; 2];
        let mut is_told = true;
        for ((label, side), (number, hits)) in labels.iter_mut().zip(sides).zip(own.numbers.iter().zip(&hits))
        {
            let is_seen =
                if also_hidden { is_there(side, *number) } else { side.recorded.visible.contains(number) };
            let mut holding = hits.iter().enumerate().filter(|(_, hits)| hits.contains(number));
            *label = holding.next().map_or(behaviours.len(), |(place, _)| place);
            is_told &= is_seen && side.tells(*number, behaviours) && holding.next().is_none();
        }
        if !is_told {
            continue;
        }
        any = true;
        let [i, j] = labels;
        if i != j {
            apart.push((own.numbers[0], own.at, labels));
        }
        let block = blocks.entry(own.block).or_insert_with(|| empty.clone());
        for table in [&mut cells, block] {
            if let Some(cell) = table.get_mut(i).and_then(|row| row.get_mut(j)) {
                *cell += 1;
            }
        }
    }
    any.then(|| Counted { cells, blocks: blocks.into_values().collect(), apart })
}

#[allow(clippy::cast_precision_loss)] // Counts of samples.
fn table(cells: &[Vec<i64>]) -> Option<Table> {
    Table::from_rows(&cells.iter().map(|row| row.iter().map(|n| *n as f64).collect()).collect::<Vec<_>>())
}

fn of_set(id: String, states: &[&Behaviour], counted: Option<Counted>, seed: u64) -> SampledSet {
    let Some((own, counted)) = counted.and_then(|own| Some((table(&own.cells)?, own))) else {
        return SampledSet {
            set: id,
            labels: Vec::new(),
            table: Vec::new(),
            n: 0,
            observed: None,
            expected: None,
            kappa: None,
            kappa_max: None,
            ci95: None,
            word: None,
            behaviours: Vec::new(),
            why: Some(NoKappa::PassNotDone.to_string()),
        };
    };
    let kappa = own.kappa();
    let blocks = &counted.blocks;
    let interval = kappa
        .ok()
        .and_then(|_| bootstrap::percentile(blocks.len(), seed, &|picked| kappa_of_blocks(blocks, picked)));
    let labels = states.iter().map(|b| b.id.to_string()).chain([NO_STATE.to_owned()]);
    SampledSet {
        set: id,
        labels: labels.collect(),
        n: counted.cells.iter().flatten().sum(),
        observed: kappa.ok().map_or_else(|| (own.total() > 0.0).then_some(1.0), |kappa| Some(kappa.observed)),
        expected: kappa.ok().map(|kappa| kappa.expected),
        kappa: kappa.ok().map(|kappa| kappa.kappa),
        kappa_max: kappa.ok().map(|kappa| kappa.max),
        ci95: interval.map(|own| [own.low, own.high]),
        word: None,
        behaviours: states.iter().enumerate().map(|(place, b)| of_two(b, &counted, place, seed)).collect(),
        why: kappa.err().map(|why| why.to_string()),
        table: counted.cells,
    }
}

/// One label of a table against all others.
fn of_two(behaviour: &Behaviour, counted: &Counted, place: usize, seed: u64) -> SampledTwo {
    let [both, only_first, only_second, neither] = against_rest(&counted.cells, place);
    let two = table(&[vec![both, only_first], vec![only_second, neither]]).ok_or(NoKappa::NothingCompared);
    let (in_first, in_second) = (both + only_first, both + only_second);
    let kappa = if in_first.max(in_second) == 0 {
        Err(NoKappa::DidNotOccur)
    } else if in_first.min(in_second) < ENOUGH {
        Err(NoKappa::TooFew)
    } else {
        two.as_ref().map_err(|why| *why).and_then(Table::kappa)
    };
    let blocks: Vec<[i64; 4]> = counted.blocks.iter().map(|block| against_rest(block, place)).collect();
    // What lies in a few blocks is in many draws not at all.
    let holds = |side: fn(&[i64; 4]) -> i64| blocks.iter().filter(|block| side(block) > 0).count();
    let fewest = holds(|[both, first, ..]| both + first).min(holds(|[both, _, second, _]| both + second));
    let interval = kappa
        .ok()
        .filter(|_| fewest >= ENOUGH_BLOCKS)
        .and_then(|_| bootstrap::percentile(blocks.len(), seed, &|picked| kappa_of_two(&blocks, picked)));
    let n = both + only_first + only_second + neither;
    #[allow(clippy::cast_precision_loss)] // Counts of samples.
    let observed = (n > 0).then(|| (both + neither) as f64 / n as f64);
    SampledTwo {
        id: behaviour.id.to_string(),
        n,
        both,
        only_first,
        only_second,
        observed,
        kappa: kappa.ok().map(|kappa| kappa.kappa),
        ci95: interval.map(|own| [own.low, own.high]),
        word: None,
        extra: two
            .ok()
            .filter(|_| in_first.max(in_second) > 0)
            .map_or_else(Beside::default, |two| beside(&two)),
        why: kappa.err().map(|why| why.to_string()),
    }
}

fn without(behaviour: &Behaviour, why: NoKappa) -> SampledTwo {
    SampledTwo {
        id: behaviour.id.to_string(),
        n: 0,
        both: 0,
        only_first: 0,
        only_second: 0,
        observed: None,
        kappa: None,
        ci95: None,
        word: None,
        extra: Beside::default(),
        why: Some(why.to_string()),
    }
}
