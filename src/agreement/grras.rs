//! What a report of agreement has to answer: the fifteen items of GRRAS (Kottner et al. 2011, J Clin
//! Epidemiol 64:96–106; wording ours), each from the study or named as missing. What only a person can
//! write is taken from the study's report texts.

use std::collections::BTreeSet;

use serde::Serialize;

use super::pair::{Agreement, PairKind};
use super::plan::Due;
use crate::model::{Coding, Ethogram, Purpose, Session, Study};

/// One item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Item {
    /// 1 to 15.
    pub number: u8,
    /// What is asked.
    pub asks: &'static str,
    /// What the study answers.
    pub answer: Option<String>,
    /// What is missing, and where to put it.
    pub missing: Option<String>,
}

/// What the items are answered from.
#[derive(Debug, Clone, Copy)]
pub struct Sources<'a> {
    /// The study.
    pub study: &'a Study,
    /// Its codings, with their sessions and definitions.
    pub codings: &'a [(&'a Coding, &'a Session, &'a Ethogram)],
    /// The numbers.
    pub found: &'a Agreement,
}

/// Keys of the study's report texts that answer what no number can.
pub const KNOWN: &str = "agreement_known";
/// Training and experience of the coders.
pub const EXPERIENCE: &str = "agreement_experience";
/// What the agreement means in practice.
pub const RELEVANCE: &str = "agreement_relevance";

/// The fifteen items.
#[must_use]
pub fn items(from: &Sources<'_>) -> Vec<Item> {
    let item = |number, asks, (answer, missing): Answer| Item { number, asks, answer, missing };
    vec![
        item(1, "the report says that agreement was looked at", kinds(from)),
        item(2, "the instrument: which ethogram, which version", instrument(from)),
        item(3, "the subjects: which animals", animals(from)),
        item(4, "the raters: who coded", raters(from)),
        item(
            5,
            "what is known about agreement on these behaviours, and why it is looked at again",
            text(from, KNOWN),
        ),
        item(6, "how the number of sessions, coders and repeats was chosen", sample(from)),
        item(7, "how sessions were sampled", sampling(from)),
        item(8, "how coding was done: time between repeats, what coders knew, masking", process(from)),
        item(9, "whether codings were made independently", independence(from)),
        item(10, "the statistics", statistics(from)),
        item(11, "numbers of coders, sessions and repeats that came of it", numbers(from)),
        item(12, "the coders' training and experience, the animals' condition", experience(from)),
        item(13, "estimates, with their uncertainty", estimates(from)),
        item(14, "what the agreement means in practice", text(from, RELEVANCE)),
        item(
            15,
            "detailed results",
            if from.found.pairs.is_empty() {
                (None, Some("there is no pair of codings to give results of".to_owned()))
            } else {
                yes("each pair's tables, sweeps and differences: agree --json; one row a set and behaviour: agree --csv".to_owned())
            },
        ),
    ]
}

/// What is answered, and what is missing.
type Answer = (Option<String>, Option<String>);

fn yes(answer: String) -> Answer {
    (Some(answer), None)
}

fn no(missing: &str) -> Answer {
    (None, Some(missing.to_owned()))
}

fn text(from: &Sources<'_>, key: &str) -> Answer {
    match from.study.report.get(key).filter(|text| !text.trim().is_empty()) {
        Some(text) => yes(text.trim().to_owned()),
        None => (
            None,
            Some(format!("only a person can say: write it into the study's report texts under \"{key}\"")),
        ),
    }
}

fn list<T: Ord + std::fmt::Display>(of: impl Iterator<Item = T>) -> String {
    let all: BTreeSet<T> = of.collect();
    all.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

fn pairs(from: &Sources<'_>, kind: PairKind) -> usize {
    from.found.pairs.iter().filter(|pair| pair.kind == kind && pair.why.is_none()).count()
}

/// Codings that agreement is computed on.
fn rated<'a>(from: &Sources<'a>) -> impl Iterator<Item = &'a (&'a Coding, &'a Session, &'a Ethogram)> {
    from.codings.iter().filter(|(coding, _, _)| {
        matches!(coding.purpose, Purpose::Primary | Purpose::Second | Purpose::Repeat)
    })
}

fn kinds(from: &Sources<'_>) -> Answer {
    let (between, within) = (pairs(from, PairKind::Between), pairs(from, PairKind::Within));
    if between + within == 0 {
        return no("no session was coded twice");
    }
    yes(format!("agreement of two coders: {between}; of one coder twice: {within}"))
}

fn instrument(from: &Sources<'_>) -> Answer {
    let used = |own: &(&Coding, &Session, &Ethogram)| {
        format!("{} revision {} ({} behaviours)", own.2.id, own.2.revision, own.2.behaviours.len())
    };
    let names = list(rated(from).map(used));
    if names.is_empty() { no("no coding follows an ethogram") } else { yes(names) }
}

fn animals(from: &Sources<'_>) -> Answer {
    let ids: BTreeSet<_> = rated(from).map(|(_, session, _)| &session.animal).collect();
    let known: Vec<_> = ids.iter().filter_map(|id| from.study.animal(id)).collect();
    let without: Vec<String> =
        known.iter().filter(|own| own.species.is_none()).map(|own| own.id.to_string()).collect();
    let named = known.iter().filter_map(|own| Some(format!("{} ({})", own.id, own.species.as_ref()?)));
    let answer = list(named);
    let missing = (!without.is_empty()).then(|| format!("the species of {}", without.join(", ")));
    if ids.is_empty() {
        return no("no session was coded");
    }
    ((!answer.is_empty()).then_some(answer), missing)
}

fn coders<'a>(from: &Sources<'a>) -> BTreeSet<&'a crate::model::PersonCode> {
    rated(from).map(|(coding, _, _)| &coding.by).collect()
}

fn raters(from: &Sources<'_>) -> Answer {
    let codes = coders(from);
    let role = |code: &crate::model::PersonCode| from.study.person(code).and_then(|own| own.role.clone());
    let named: Vec<String> = codes
        .iter()
        .map(|code| role(code).map_or_else(|| code.to_string(), |role| format!("{code} ({role})")))
        .collect();
    let without: Vec<String> =
        codes.iter().filter(|code| role(code).is_none()).map(ToString::to_string).collect();
    let missing = (!without.is_empty()).then(|| format!("the role of {}", without.join(", ")));
    ((!named.is_empty()).then(|| named.join(", ")), missing)
}

fn sample(from: &Sources<'_>) -> Answer {
    let plan = &from.study.double_coding;
    let share = plan.share * 100.0;
    yes(format!(
        "{share:.0} % of the sessions, at least one of each animal, coder and plan step, and each with a stop-level code; not from a calculation of precision"
    ))
}

fn sampling(from: &Sources<'_>) -> Answer {
    let waiting: Vec<&str> = from
        .found
        .double_coding
        .iter()
        .filter(|due| due.is_waiting())
        .map(|due| due.session.as_str())
        .collect();
    let unasked: Vec<&str> = from
        .found
        .double_coding
        .iter()
        .filter(|due| due.reasons.is_empty())
        .map(|due| due.session.as_str())
        .collect();
    let mut missing = Vec::new();
    if !waiting.is_empty() {
        missing.push(format!("due and not yet coded a second time: {}", waiting.join(", ")));
    }
    if !unasked.is_empty() {
        missing.push(format!("coded a second time without being drawn: {}", unasked.join(", ")));
    }
    let drawn = from.found.double_coding.iter().filter(|due: &&Due| !due.reasons.is_empty()).count();
    (
        Some(format!(
            "{drawn} sessions by a seeded draw (seed {}), the first of each kind, and stop-level codes",
            from.study.double_coding.seed
        )),
        (!missing.is_empty()).then(|| missing.join("; ")),
    )
}

fn later<'a>(from: &Sources<'a>) -> impl Iterator<Item = &'a (&'a Coding, &'a Session, &'a Ethogram)> {
    rated(from).filter(|(coding, _, _)| coding.purpose != Purpose::Primary)
}

fn process(from: &Sources<'_>) -> Answer {
    let name = |coding: &Coding, session: &Session| format!("{} of {}", coding.by, session.id);
    let masked: Vec<String> = later(from)
        .filter(|(coding, _, _)| !coding.masked.is_empty())
        .map(|(coding, session, _)| {
            format!("{}: masked to {}", name(coding, session), coding.masked.join(", "))
        })
        .collect();
    let mut missing: Vec<String> = later(from)
        .filter(|(coding, _, _)| coding.masked.is_empty())
        .map(|(coding, session, _)| format!("what was hidden from {}", name(coding, session)))
        .collect();
    let mut apart = Vec::new();
    for (coding, session, _) in later(from).filter(|(coding, _, _)| coding.purpose == Purpose::Repeat) {
        let first = rated(from).find(|(other, _, _)| {
            other.purpose == Purpose::Primary && other.session == coding.session && other.by == coding.by
        });
        match first.and_then(|(first, _, _)| Some((coding.begun? - first.begun?).num_days())) {
            Some(days) => apart.push(format!("{} after {days} days", name(coding, session))),
            None => missing.push(format!("when {} was coded again", session.id)),
        }
    }
    let answer: Vec<String> = masked.into_iter().chain(apart).collect();
    if answer.is_empty() && missing.is_empty() {
        return no("no session was coded twice");
    }
    ((!answer.is_empty()).then(|| answer.join("; ")), (!missing.is_empty()).then(|| missing.join("; ")))
}

/// What a second coder must not have seen, as codings name it.
const FIRST_RECORD: &str = "first record";

fn independence(from: &Sources<'_>) -> Answer {
    let is_masked = |coding: &Coding| coding.masked.iter().any(|own| own == FIRST_RECORD);
    let all: Vec<_> = later(from).collect();
    let open: Vec<String> = all
        .iter()
        .filter(|(coding, _, _)| !is_masked(coding))
        .map(|(coding, session, _)| format!("{} of {}", coding.by, session.id))
        .collect();
    if all.is_empty() {
        return no("no session was coded twice");
    }
    let masked = all.len() - open.len();
    (
        (masked > 0).then(|| {
            format!("{masked} of {} later codings were made without the first record in view", all.len())
        }),
        (!open.is_empty())
            .then(|| format!("not recorded whether the first record was hidden: {}", open.join(", "))),
    )
}

fn statistics(from: &Sources<'_>) -> Answer {
    let draws = crate::numeric::bootstrap::DRAWS;
    yes(format!(
        "time-weighted Cohen's kappa of each set; events matched one to one within a tolerance; intervals by bootstrap over blocks of 60 s (one session) or BCa over sessions (five or more), {draws} draws, seed {}; ICC(2,1) and limits of agreement over five or more sessions",
        from.found.seed
    ))
}

fn numbers(from: &Sources<'_>) -> Answer {
    let sessions: BTreeSet<_> = rated(from).map(|(coding, _, _)| &coding.session).collect();
    let twice: BTreeSet<&str> = from
        .found
        .pairs
        .iter()
        .filter(|pair| pair.kind == PairKind::Between && pair.why.is_none())
        .map(|pair| pair.session.as_str())
        .collect();
    yes(format!(
        "{} coders; {} sessions coded, {} of them by two; {} coded again by the same person",
        coders(from).len(),
        sessions.len(),
        twice.len(),
        pairs(from, PairKind::Within)
    ))
}

fn experience(from: &Sources<'_>) -> Answer {
    let training = from.codings.iter().filter(|(coding, _, _)| coding.purpose == Purpose::Training);
    let trained = list(training.map(|(coding, _, _)| &coding.by));
    let (own, missing) = text(from, EXPERIENCE);
    let trained = (!trained.is_empty()).then(|| format!("training codings by {trained}"));
    let answer: Vec<String> = own.into_iter().chain(trained).collect();
    ((!answer.is_empty()).then(|| answer.join("; ")), missing)
}

fn estimates(from: &Sources<'_>) -> Answer {
    let one = |own: &super::pair::PooledSet| {
        let kappa = own.kappa?;
        let spread = match (own.ci95, own.range) {
            (Some([low, high]), _) => format!(" [{low:.3}, {high:.3}]"),
            (None, Some([low, high])) => format!(" (sessions from {low:.3} to {high:.3})"),
            (None, None) => String::new(),
        };
        Some(format!("{} kappa {kappa:.3}{spread}", own.set))
    };
    let all: Vec<String> = from.found.pooled.iter().filter_map(one).collect();
    let few = from.found.pooled.iter().any(|own| own.ci95.is_none());
    if all.is_empty() {
        return no("no kappa over sessions");
    }
    (
        Some(all.join("; ")),
        few.then(|| "an interval over sessions wants five double-coded sessions of one revision".to_owned()),
    )
}
