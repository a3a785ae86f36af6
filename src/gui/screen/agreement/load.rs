//! Finding what can be compared: the codings of a session, their numbers, and a study's coders.

use std::collections::BTreeSet;
use std::path::PathBuf;

use crate::agreement::align::{Marks, NO_STATE, Pairing, Unit};
use crate::agreement::differences::{Apart, Cause};
use crate::agreement::pair::{self, Names, PairAgreement, PairKind};
use crate::agreement::resolve::{self, Settled};
use crate::agreement::training::{self, Criterion, How, Training, Work};
use crate::model::{Coding, Ethogram, Purpose, SessionId, Status};
use crate::storage::StudyFolder;
use crate::storage::study_folder::LoadedCoding;

/// A session's codings that may be compared with the first.
pub(super) struct Codings {
    pub(super) first: LoadedCoding,
    /// Second coders before repeats.
    pub(super) others: Vec<LoadedCoding>,
    /// Records settled from two of them.
    pub(super) agreed: Vec<LoadedCoding>,
}

/// Why there is nothing to compare: what is missing, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Missing {
    pub(super) title: &'static str,
    pub(super) words: String,
}

/// The numbers of a pair.
pub(super) struct Compared {
    pub(super) found: PairAgreement,
    /// By causes, each with the longest first.
    pub(super) list: Vec<Apart>,
    /// Those with most seconds first.
    pub(super) groups: Vec<Group>,
    /// The record that was settled from the two, if there is one.
    pub(super) agreed: Option<PathBuf>,
    pub(super) settled: Vec<Settled>,
    /// Decisions on differences that are no longer there: a coding was changed since.
    pub(super) stale: usize,
}

/// Differences of one cause: a stretch of the list.
pub(super) struct Group {
    pub(super) cause: Cause,
    /// Place of its first.
    pub(super) from: usize,
}

/// The codings of a session: the primary one, and all that follow the same definitions.
pub(super) fn codings(folder: &StudyFolder, session: &SessionId) -> Result<Codings, Missing> {
    let missing = |title, words: String| Missing { title, words };
    let entry =
        folder.list().sessions.into_iter().find(|entry| entry.session.id == *session).ok_or_else(|| {
            missing("The session is gone", format!("There is no session {session} in this study any more."))
        })?;
    let mut problems = Vec::new();
    let mut all: Vec<LoadedCoding> = Vec::new();
    for (path, _) in &entry.codings {
        match folder.load_coding(path) {
            Ok(own) => all.push(own),
            Err(error) => problems.push(error.to_string()),
        }
    }
    let is_agreed = |own: &mut LoadedCoding| !resolve::is_comparable(&own.coding);
    let agreed: Vec<LoadedCoding> = all.extract_if(.., is_agreed).collect();
    let unread =
        if problems.is_empty() { String::new() } else { format!(" Not read: {}", problems.join("; ")) };
    let first = all.iter().position(|own| own.coding.purpose == Purpose::Primary).ok_or_else(|| {
        let words = format!(
            "Nobody has coded session {session} as the record that counts. Open it on Sessions and code it first.{unread}"
        );
        missing("This session is not coded yet", words)
    })?;
    let first = all.swap_remove(first);
    if all.is_empty() {
        let words = format!(
            "{} has coded session {session}; nobody else has. A second coder chooses their own code on Sessions and presses Ctrl+Enter (\"Second coding\"): they see the clip and the ethogram, and nothing of this record.{unread}",
            first.coding.by
        );
        return Err(missing("Only one coding", words));
    }
    let fits = |own: &LoadedCoding| {
        own.coding.rule == first.coding.rule
            && (&own.coding.ethogram.id, own.coding.ethogram.revision)
                == (&first.coding.ethogram.id, first.coding.ethogram.revision)
    };
    let (mut others, apart): (Vec<LoadedCoding>, Vec<LoadedCoding>) = all.into_iter().partition(fits);
    if others.is_empty() {
        let of = |own: &LoadedCoding| format!("{} revision {}", own.coding.by, own.coding.ethogram.revision);
        let theirs: Vec<String> = apart.iter().map(of).collect();
        let words = format!(
            "{}; {}. Two records are compared only when both are continuous and under one revision of the ethogram.{unread}",
            of(&first),
            theirs.join("; ")
        );
        return Err(missing("Coded under different definitions", words));
    }
    let rank = |own: &LoadedCoding| {
        (own.coding.by == first.coding.by, own.coding.purpose != Purpose::Second, own.path.clone())
    };
    others.sort_by_key(rank);
    Ok(Codings { first, others, agreed })
}

/// Compares the first coding with another.
pub(super) fn compare(
    folder: &StudyFolder,
    codings: &Codings,
    other: usize,
    seed: u64,
) -> Result<Compared, Missing> {
    let first = &codings.first;
    let second =
        codings.others.get(other).ok_or_else(|| not_comparable("there is no such coding".to_owned()))?;
    let pairing = pairing(first, second).map_err(not_comparable)?;
    let is_trial = |own: &Coding| matches!(own.purpose, Purpose::Training | Purpose::Trial);
    let names = Names {
        first: name(folder, first),
        second: name(folder, second),
        session: first.coding.session.to_string(),
        first_by: first.coding.by.to_string(),
        second_by: second.coding.by.to_string(),
        kind: if is_trial(&first.coding) || is_trial(&second.coding) {
            PairKind::Trial
        } else if first.coding.by == second.coding.by {
            PairKind::Within
        } else {
            PairKind::Between
        },
    };
    let parents = [names.first.clone(), names.second.clone()];
    let options = pair::Options { unit: Unit::Exact, tolerance: None, seed };
    let found = pair::compare(names, &pairing, &folder.study, options).0;
    let (mut list, mut groups): (Vec<Apart>, Vec<Group>) = Default::default();
    for (cause, own) in found.differences.by_cause() {
        groups.push(Group { cause: cause.clone(), from: list.len() });
        list.extend(own.into_iter().cloned());
    }
    let agreed = codings.agreed.iter().find(|own| own.coding.parents == parents);
    let kept = agreed.map(|own| resolve::settled_in(&own.coding)).unwrap_or_default();
    let all = kept.len();
    let settled: Vec<Settled> = kept.into_iter().filter(|own| list.contains(&own.apart)).collect();
    Ok(Compared {
        stale: all - settled.len(),
        settled,
        agreed: agreed.map(|own| own.path.clone()),
        list,
        groups,
        found,
    })
}

pub(super) fn not_comparable(words: String) -> Missing {
    Missing { title: "These two can't be compared", words }
}

/// The two laid over each other.
pub(super) fn pairing<'a>(first: &'a LoadedCoding, second: &'a LoadedCoding) -> Result<Pairing<'a>, String> {
    Pairing::try_new(&first.coding, &second.coding, &first.ethogram, &first.session, Marks::All)
        .map_err(|error| error.to_string())
}

/// A coding's file, relative to its study; with slashes on every system, so that a record that names its
/// parents does so wherever the study is carried.
pub(super) fn name(folder: &StudyFolder, own: &LoadedCoding) -> String {
    let relative = own.path.strip_prefix(folder.root()).unwrap_or(&own.path);
    relative.to_string_lossy().replace('\\', "/")
}

/// What the coders of a study come to, and the sets they can be looked at in.
#[derive(Debug)]
pub struct Coders {
    pub(super) found: Training,
    /// Ids with names.
    pub(super) sets: Vec<(String, String)>,
}

/// Reads the closed codings of a study, but for sessions that are hidden from who looks.
pub(super) fn coders(folder: &StudyFolder, hidden: &BTreeSet<SessionId>, seed: u64) -> Coders {
    let mut all: Vec<(String, LoadedCoding)> = Vec::new();
    for entry in folder.list().sessions {
        if entry.session.left_out.is_some() || hidden.contains(&entry.session.id) {
            continue;
        }
        let closed = entry.codings.iter().filter(|(_, head)| head.status == Status::Closed);
        for (path, _) in closed {
            if let Ok(own) = folder.load_coding(path) {
                all.push((name(folder, &own), own));
            }
        }
    }
    let work: Vec<Work<'_>> = all
        .iter()
        .map(|(file, own)| Work { file, coding: &own.coding, session: &own.session, ethogram: &own.ethogram })
        .collect();
    let how = How { seed, ..How::default() };
    let found = training::of_study(&folder.study, &work, how, Criterion::default());
    let mut sets: Vec<(String, String)> = Vec::new();
    for point in &found.points {
        if sets.iter().any(|(id, _)| *id == point.set) {
            continue;
        }
        let name = all.iter().rev().find_map(|(_, own)| known(&own.ethogram, &point.set));
        sets.push((point.set.clone(), name.unwrap_or_else(|| point.set.clone())));
    }
    // Where most states are told apart says most of a coder.
    let states =
        |id: &str| all.iter().map(|(_, own)| own.ethogram.states_of(&id.into()).count()).max().unwrap_or(0);
    sets.sort_by_key(|(id, _)| std::cmp::Reverse(states(id)));
    Coders { found, sets }
}

/// What people call a set or a behaviour; an id that is not in the ethogram is its own name.
pub(super) fn name_of(ethogram: &Ethogram, id: &str) -> String {
    match id {
        NO_STATE => "nothing".to_owned(),
        _ => known(ethogram, id).unwrap_or_else(|| id.to_owned()),
    }
}

fn known(ethogram: &Ethogram, id: &str) -> Option<String> {
    let set = ethogram.set(&id.into()).map(|set| set.name.clone());
    set.or_else(|| ethogram.behaviour(&id.into()).map(|own| own.name.clone()))
}
