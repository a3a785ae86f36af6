//! Coders in training and over time: against reference codings, and against themselves.
//!
//! A study names codings that stand as references. Whoever codes the same session is compared with
//! them; a run that reaches the [`Criterion`] on enough clips running ends the training, and one that
//! falls below it later says what to code again. What could not be judged is counted, never passed.
//! An agreed record is no reference: it was settled, and agreement is never computed on it.

mod standing;

use chrono::{DateTime, FixedOffset};
use serde::Serialize;

use super::align::{Marks, Pairing, Unit};
use super::moments::ENOUGH_EVENTS;
use super::pair::{self, Names, Options, PairAgreement, PairKind, SetAgreement};
use super::resolve;
use crate::model::{Coding, Ethogram, Kind, Purpose, Session, Status, Study};
use crate::time::Micros;

pub use self::standing::{Standing, State, standing};

/// What a run against a reference has to reach.
///
/// The numbers are ours. No kappa is acceptable everywhere: with few and unequal labels equally
/// accurate coders score lower (Bakeman, Quera, McArthur & Robinson 1997, Psychol Methods 2:357–370).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Criterion {
    /// Kappa of each set as a whole.
    pub set_kappa: f64,
    /// Kappa of each behaviour against all others of its set.
    pub behaviour_kappa: f64,
    /// matched/(matched + only first + only second) of all events.
    pub events: f64,
    /// On so many different clips running.
    pub clips_running: usize,
    /// A reference clip is coded again after so many days of coding.
    pub check_every_days: i64,
    /// A coder's second run sooner than this may be memory: common practice is two to four weeks.
    pub repeat_after_days: i64,
}

impl Default for Criterion {
    fn default() -> Self {
        Self {
            set_kappa: 0.8,
            behaviour_kappa: 0.6,
            events: 0.8,
            clips_running: 2,
            check_every_days: 30,
            repeat_after_days: 14,
        }
    }
}

/// A coding of a study, as training asks for it.
#[derive(Debug, Clone, Copy)]
pub struct Work<'a> {
    /// Its file, relative to the study.
    pub file: &'a str,
    /// The coding.
    pub coding: &'a Coding,
    /// Its session.
    pub session: &'a Session,
    /// Its definitions.
    pub ethogram: &'a Ethogram,
}

/// How codings are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct How {
    /// Which marks count.
    pub marks: Marks,
    /// Within which events match; none: [`Pairing::default_tolerance`].
    pub tolerance: Option<Micros>,
    /// Seed of the intervals.
    pub seed: u64,
}

/// What was judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// A set as a whole.
    Set,
    /// One state against the others.
    Behaviour,
    /// All events.
    Events,
}

/// One number against the criterion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// What.
    pub part: Part,
    /// Its id; of events `events`.
    pub id: String,
    /// What was reached.
    pub value: f64,
    /// What was needed.
    pub needed: f64,
}

impl Judged {
    /// Whether the criterion is reached; exactly at it counts.
    #[must_use]
    pub fn is_met(&self) -> bool {
        self.value >= self.needed
    }
}

/// What came of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Every number that could be judged reaches the criterion.
    Met,
    /// At least one does not.
    Missed,
    /// No set could be judged: neither passed nor failed.
    NotJudged,
}

/// A coding against its reference.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// Who was checked.
    pub coder: String,
    /// The session.
    pub session: String,
    /// File of the coding.
    pub coding: String,
    /// File of the reference.
    pub reference: String,
    /// When the coding was closed, else begun.
    pub coded: Option<DateTime<FixedOffset>>,
    /// Sets, then behaviours, then events.
    pub judged: Vec<Judged>,
    /// Behaviours, sets and events that occur but are too few, or not defined.
    pub not_judged: usize,
    /// What came of it.
    pub verdict: Verdict,
    /// Why they could not be compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One coder, one session, twice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Repeat {
    /// Who.
    pub coder: String,
    /// The session.
    pub session: String,
    /// File of the first run.
    pub first: String,
    /// File of the second.
    pub second: String,
    /// Days between them.
    pub days: Option<i64>,
    /// Sooner than common practice: memory may have helped.
    pub is_soon: bool,
    /// Kappa of each set that has one.
    pub kappas: Vec<SetKappa>,
    /// Why they could not be compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Kappa of a set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetKappa {
    /// The set.
    pub set: String,
    /// Its kappa.
    pub kappa: f64,
    /// 95 %.
    pub ci95: Option<[f64; 2]>,
}

/// Whom a coder is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Against {
    /// A reference coding.
    Reference,
    /// Another coder.
    Coder,
    /// Their own earlier coding.
    Themselves,
}

/// A coder's agreement at one time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// Who.
    pub coder: String,
    /// Compared with whom.
    pub against: Against,
    /// The session.
    pub session: String,
    /// Of two coders the day of the session; of a clip coded again the day it was coded.
    pub day: Option<DateTime<FixedOffset>>,
    /// The set.
    pub set: String,
    /// Its kappa.
    pub kappa: f64,
    /// 95 %.
    pub ci95: Option<[f64; 2]>,
}

/// A coding named as reference that can't be one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NoReference {
    /// As the study names it.
    pub file: String,
    /// Why not, and what would help.
    pub why: String,
}

/// Training and drift of a study's coders.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Training {
    /// What was asked for.
    pub criterion: Criterion,
    /// Codings that stand as references.
    pub references: Vec<String>,
    /// Named as references, but not usable.
    pub not_references: Vec<NoReference>,
    /// One a coder, by code.
    pub coders: Vec<Standing>,
    /// The same coder twice.
    pub repeats: Vec<Repeat>,
    /// Agreement over time, by coder, then by day.
    pub points: Vec<Point>,
}

/// Which codings are compared with which references: places in `work`, the reference first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Comparisons {
    /// Reference, coding.
    pub pairs: Vec<(usize, usize)>,
    /// Places of the references.
    pub references: Vec<usize>,
    /// What can't be one.
    pub not_references: Vec<NoReference>,
}

/// Finds the comparisons with references. A trial of definitions is no check of a coder.
#[must_use]
pub fn comparisons(work: &[Work<'_>], references: &[String]) -> Comparisons {
    let mut found = Comparisons::default();
    for file in references {
        let no = |why: &str| NoReference { file: file.clone(), why: why.to_owned() };
        match work.iter().position(|own| same_file(own.file, file)) {
            None => found.not_references.push(no(
                "there is no such coding, or it can't be read: name one of the study's coding files",
            )),
            Some(place) if work.get(place).is_some_and(|own| !resolve::is_comparable(own.coding)) => {
                found.not_references.push(no(
                    "it is an agreed record, and agreement is never computed on one: name one of the codings it was made from",
                ));
            }
            Some(place) if !found.references.contains(&place) => found.references.push(place),
            Some(_) => {}
        }
    }
    for reference in &found.references {
        let Some(standard) = work.get(*reference) else { continue };
        let checks = work.iter().enumerate().filter(|(place, own)| {
            own.coding.session == standard.coding.session
                && !found.references.contains(place)
                && own.coding.by != standard.coding.by
                && own.coding.status == Status::Closed
                && !matches!(own.coding.purpose, Purpose::Agreed | Purpose::Trial)
        });
        found.pairs.extend(checks.map(|(place, _)| (*reference, place)));
    }
    found
}

/// A path as either system writes it.
fn same_file(one: &str, other: &str) -> bool {
    one.replace('\\', "/") == other.replace('\\', "/")
}

/// When a coding was made: closed, else begun.
#[must_use]
pub fn coded(coding: &Coding) -> Option<DateTime<FixedOffset>> {
    coding.closed.or(coding.begun)
}

/// One run against a reference, which is the pair's first.
#[must_use]
pub fn check(pair: &PairAgreement, criterion: &Criterion) -> Check {
    let mut judged = Vec::new();
    let mut not_judged = 0;
    let mut judge = |part, id: &str, value: Option<f64>, needed| match value {
        Some(value) => judged.push(Judged { part, id: id.to_owned(), value, needed }),
        None => not_judged += 1,
    };
    let rows = || pair.sets.iter().chain(&pair.states).filter(|set| occurs(set));
    for set in rows() {
        judge(Part::Set, &set.set, set.kappa, criterion.set_kappa);
    }
    // Of a set with one state the set's kappa says all.
    for own in rows().filter(|set| set.behaviours.len() > 1).flat_map(|set| &set.behaviours) {
        if own.first_s > 0.0 || own.second_s > 0.0 {
            judge(Part::Behaviour, &own.id, own.kappa, criterion.behaviour_kappa);
        }
    }
    if let Some(agreement) = of_events(pair) {
        judge(Part::Events, "events", agreement, criterion.events);
    }
    // A pass that is not done can't be judged, and so nothing of it is passed.
    let undone =
        pair.sets.iter().chain(&pair.states).filter(|set| set.behaviours.is_empty() && set.why.is_some());
    let undone = undone.count()
        + pair.events.iter().filter(|own| own.kind == Kind::Event && own.matched.is_none()).count();
    not_judged += undone;
    let verdict = if judged.iter().any(|own| !own.is_met()) {
        Verdict::Missed
    } else if undone == 0 && judged.iter().any(|own| own.part == Part::Set) {
        Verdict::Met
    } else {
        Verdict::NotJudged
    };
    Check {
        coder: pair.second_by.clone(),
        session: pair.session.clone(),
        coding: pair.second.clone(),
        reference: pair.first.clone(),
        coded: pair.second_coded,
        judged,
        not_judged,
        verdict,
        why: pair.why.clone(),
    }
}

/// Either record holds one of its states.
fn occurs(set: &SetAgreement) -> bool {
    set.behaviours.iter().any(|own| own.first_s > 0.0 || own.second_s > 0.0)
}

/// Agreement on all events together; `None` when there are none, `Some(None)` when there are too few.
#[allow(clippy::cast_precision_loss, clippy::option_option)] // Counts far below 2^53.
fn of_events(pair: &PairAgreement) -> Option<Option<f64>> {
    let mut sum = [0_usize; 3];
    for own in pair.events.iter().filter(|own| own.kind == Kind::Event) {
        let counts = [own.matched, own.only_first, own.only_second];
        for (sum, count) in sum.iter_mut().zip(counts) {
            *sum += count.unwrap_or(0);
        }
    }
    let [matched, only_first, only_second] = sum;
    let all = matched + only_first + only_second;
    if all == 0 {
        return None;
    }
    let is_enough = matched + only_first.min(only_second) >= ENOUGH_EVENTS;
    Some(is_enough.then(|| matched as f64 / all as f64))
}

/// Training and drift of a study's coders, from all its codings.
#[must_use]
pub fn of_study(study: &Study, work: &[Work<'_>], how: How, criterion: Criterion) -> Training {
    let comparisons = comparisons(work, &study.reference_codings);
    let at = |(first, second): &(usize, usize)| Some((*work.get(*first)?, *work.get(*second)?));
    let against: Vec<PairAgreement> = comparisons
        .pairs
        .iter()
        .filter_map(at)
        .map(|(reference, own)| compared(study, [reference, own], PairKind::Trial, how))
        .collect();
    let mut pairs = Vec::new();
    for (place, first) in work.iter().enumerate() {
        for second in work.iter().skip(place + 1) {
            let Some(kind) = pair::kind_in_study(first.coding, second.coding) else { continue };
            if kind != PairKind::Trial {
                pairs.push(compared(study, pair_in_order([*first, *second]), kind, how));
            }
        }
    }
    put_together(&comparisons, &against, &pairs, work, criterion)
}

/// The record that counts comes first.
fn pair_in_order([first, second]: [Work<'_>; 2]) -> [Work<'_>; 2] {
    let is_primary = |own: &Work<'_>| own.coding.purpose == Purpose::Primary;
    if is_primary(&second) && !is_primary(&first) { [second, first] } else { [first, second] }
}

fn compared(study: &Study, [first, second]: [Work<'_>; 2], kind: PairKind, how: How) -> PairAgreement {
    let names = Names {
        first: first.file.to_owned(),
        second: second.file.to_owned(),
        session: first.coding.session.to_string(),
        first_by: first.coding.by.to_string(),
        second_by: second.coding.by.to_string(),
        kind,
    };
    match Pairing::try_new(first.coding, second.coding, first.ethogram, first.session, how.marks) {
        Ok(pairing) => {
            let options = Options { unit: Unit::Exact, tolerance: how.tolerance, seed: how.seed };
            pair::compare(names, &pairing, study, options).0
        }
        Err(why) => PairAgreement {
            second_coded: coded(second.coding),
            first_coded: coded(first.coding),
            ..pair::not_comparable(names, &why)
        },
    }
}

/// `against` are pairs with a reference first ([`Comparisons::pairs`]), `pairs` those of two coders and
/// of one coder twice.
fn put_together(
    comparisons: &Comparisons,
    against: &[PairAgreement],
    pairs: &[PairAgreement],
    work: &[Work<'_>],
    criterion: Criterion,
) -> Training {
    let mut names: Vec<&str> = against.iter().map(|pair| pair.second_by.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let of = |coder: &str| -> Vec<Check> {
        let own = against.iter().filter(|pair| pair.second_by == coder);
        own.map(|pair| check(pair, &criterion)).collect()
    };
    let mut points: Vec<Point> = against.iter().flat_map(|pair| points(pair, Against::Reference)).collect();
    for pair in pairs {
        // A comparison with a reference stands there already.
        let is_known = |own: &PairAgreement| {
            (&own.first, &own.second) == (&pair.first, &pair.second)
                || (&own.first, &own.second) == (&pair.second, &pair.first)
        };
        match pair.kind {
            _ if against.iter().any(is_known) => {}
            PairKind::Between => points.extend(self::points(pair, Against::Coder)),
            PairKind::Within => points.extend(self::points(pair, Against::Themselves)),
            PairKind::Trial => {}
        }
    }
    points.sort_by(|a, b| {
        (&a.coder, a.day, &a.session, a.against, &a.set)
            .cmp(&(&b.coder, b.day, &b.session, b.against, &b.set))
    });
    Training {
        criterion,
        references: comparisons
            .references
            .iter()
            .filter_map(|place| Some(work.get(*place)?.file.to_owned()))
            .collect(),
        not_references: comparisons.not_references.clone(),
        coders: names.into_iter().map(|coder| standing(coder, of(coder), work, &criterion)).collect(),
        repeats: pairs
            .iter()
            .filter(|pair| pair.kind == PairKind::Within)
            .map(|pair| repeat(pair, &criterion))
            .collect(),
        points,
    }
}

/// One coder twice.
#[must_use]
pub fn repeat(pair: &PairAgreement, criterion: &Criterion) -> Repeat {
    let days = pair.first_coded.zip(pair.second_coded).map(|(a, b)| (b - a).num_days().abs());
    Repeat {
        coder: pair.second_by.clone(),
        session: pair.session.clone(),
        first: pair.first.clone(),
        second: pair.second.clone(),
        days,
        is_soon: days.is_some_and(|days| days < criterion.repeat_after_days),
        kappas: kappas(pair),
        why: pair.why.clone(),
    }
}

fn kappas(pair: &PairAgreement) -> Vec<SetKappa> {
    let known = pair
        .sets
        .iter()
        .chain(&pair.states)
        .filter_map(|set| Some(SetKappa { set: set.set.clone(), kappa: set.kappa?, ci95: set.ci95 }));
    known.collect()
}

/// A pair's points: of two coders one for each of them.
fn points(pair: &PairAgreement, against: Against) -> Vec<Point> {
    let coders: &[&String] = match against {
        Against::Coder => &[&pair.first_by, &pair.second_by],
        Against::Reference | Against::Themselves => &[&pair.second_by],
    };
    let day = match against {
        Against::Coder => pair.filmed,
        Against::Reference | Against::Themselves => pair.second_coded.or(pair.filmed),
    };
    let mut found = Vec::new();
    for coder in coders {
        found.extend(kappas(pair).into_iter().map(|own| Point {
            coder: (*coder).clone(),
            against,
            session: pair.session.clone(),
            day,
            set: own.set,
            kappa: own.kappa,
            ci95: own.ci95,
        }));
    }
    found
}
