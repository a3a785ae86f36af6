//! Taking people out of what is shared.
//!
//! Everybody becomes `P01`, `P02`, … in the order of the study's list of people, which only grows
//! at its end, so that a person keeps the pseudonym from one export to the next; codes nobody
//! listed follow, sorted. A hash of the code would be no better: codes are short enough to try all.
//! Free texts that hold a listed name or code are dropped, and so is every key this version does
//! not know. A name that nobody listed can't be recognised.

use std::collections::{BTreeMap, BTreeSet};

use super::{Data, Entry};
use crate::model::{Ethogram, Extra, PersonCode, Session, Study};

/// What was taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TakenOut {
    /// People who got a pseudonym.
    pub people: usize,
    /// Texts that were dropped because they held a name or a code.
    pub texts: usize,
}

/// Replaces people by pseudonyms and drops texts that name them.
#[must_use]
pub fn take_out(data: &mut Data) -> TakenOut {
    let mut others: BTreeSet<PersonCode> = data.codings.iter().map(|entry| entry.coding.by.clone()).collect();
    for session in &data.sessions {
        others.extend(named_in(session).cloned());
    }
    let people = People::of(&data.study, others);
    let mut texts = people.clean_study(&mut data.study);
    texts += data.sessions.iter_mut().map(|session| people.clean_session(session)).sum::<usize>();
    texts += data.ethograms.iter_mut().map(|ethogram| people.clean_ethogram(ethogram)).sum::<usize>();
    texts += data.codings.iter_mut().map(|entry| people.clean_entry(entry)).sum::<usize>();
    TakenOut { people: people.count(), texts }
}

/// Codes of people that a session names.
pub fn named_in(session: &Session) -> impl Iterator<Item = &PersonCode> {
    let left = session.left_out.iter().filter_map(|left| left.by.as_ref());
    let decided = session.decision.iter().filter_map(|decision| decision.by.as_ref());
    let deleted = session.clips.iter().filter_map(|clip| Some(&clip.deleted.as_ref()?.by));
    session.handler.iter().chain(left).chain(decided).chain(deleted)
}

/// Who gets which pseudonym: for an export that takes one session after another.
#[derive(Debug)]
pub struct People {
    names: Names,
}

impl People {
    /// The people of a study, and the codes that its sessions and codings name beside them.
    #[must_use]
    pub fn of(study: &Study, others: BTreeSet<PersonCode>) -> Self {
        Self { names: Names::of(study, others) }
    }

    /// How many people have a pseudonym.
    #[must_use]
    pub fn count(&self) -> usize {
        self.names.pseudonyms.len()
    }

    fn cleaner(&self) -> Cleaner<'_> {
        Cleaner { names: &self.names, dropped: 0 }
    }

    /// Takes people out of the study; gives the number of texts dropped.
    pub fn clean_study(&self, study: &mut Study) -> usize {
        let mut cleaner = self.cleaner();
        cleaner.study(study);
        cleaner.dropped
    }

    /// Takes people out of a session; gives the number of texts dropped.
    pub fn clean_session(&self, session: &mut Session) -> usize {
        let mut cleaner = self.cleaner();
        cleaner.session(session);
        cleaner.dropped
    }

    /// Takes people out of an ethogram; gives the number of texts dropped.
    pub fn clean_ethogram(&self, ethogram: &mut Ethogram) -> usize {
        let mut cleaner = self.cleaner();
        cleaner.ethogram(ethogram);
        cleaner.dropped
    }

    /// Takes people out of a coding and its file's name; gives the number of texts dropped.
    pub fn clean_entry(&self, entry: &mut Entry) -> usize {
        let mut cleaner = self.cleaner();
        entry.file = self.names.in_file(&entry.file, &entry.coding.by);
        let coding = &mut entry.coding;
        self.names.replace(&mut coding.by);
        // They name coding files, and those name people.
        coding.parents.clear();
        coding.extra.clear();
        for pass in &mut coding.passes {
            pass.extra.clear();
        }
        for mark in &mut coding.marks {
            cleaner.text(&mut mark.note);
            cleaner.text(&mut mark.reason);
            mark.extra.clear();
        }
        cleaner.dropped
    }
}

#[derive(Debug)]
struct Names {
    pseudonyms: BTreeMap<PersonCode, PersonCode>,
    /// Lower case, each part of a name by itself.
    words: BTreeSet<String>,
}

impl Names {
    fn of(study: &Study, others: BTreeSet<PersonCode>) -> Self {
        let mut order: Vec<PersonCode> = study.people.iter().map(|person| person.code.clone()).collect();
        order.extend(others);
        let mut pseudonyms = BTreeMap::new();
        for code in order {
            let next = format!("P{:02}", pseudonyms.len() + 1);
            let _ = pseudonyms.entry(code).or_insert_with(|| next.into());
        }
        let mut words: BTreeSet<String> =
            pseudonyms.keys().map(|code| code.as_str().to_lowercase()).collect();
        for name in study.people.iter().filter_map(|person| person.name.as_deref()) {
            let _ = words.insert(name.to_lowercase());
            // An initial or a "de" is in half of all texts.
            let parts = name.split(|c: char| !c.is_alphanumeric()).filter(|part| part.chars().count() > 2);
            words.extend(parts.map(str::to_lowercase));
        }
        let _ = words.remove("");
        Self { pseudonyms, words }
    }

    fn replace(&self, code: &mut PersonCode) {
        if let Some(pseudonym) = self.pseudonyms.get(code) {
            code.clone_from(pseudonym);
        }
    }

    /// Whether a text holds one of the names, as a word of its own.
    fn are_in(&self, text: &str) -> bool {
        let text = text.to_lowercase();
        self.words.iter().any(|word| {
            text.match_indices(word.as_str()).any(|(at, _)| {
                let before = text.get(..at).and_then(|rest| rest.chars().next_back());
                let after = text.get(at + word.len()..).and_then(|rest| rest.chars().next());
                let ends_word = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric());
                ends_word(before) && ends_word(after)
            })
        })
    }

    fn in_file(&self, file: &str, by: &PersonCode) -> String {
        let (folder, name) = file.rsplit_once('/').unwrap_or(("", file));
        let rest = name.strip_prefix(by.as_str()).unwrap_or(".1.coding.json");
        let own = self.pseudonyms.get(by).unwrap_or(by);
        format!("{folder}/{own}{rest}")
    }
}

struct Cleaner<'a> {
    names: &'a Names,
    dropped: usize,
}

impl Cleaner<'_> {
    fn text(&mut self, text: &mut Option<String>) {
        if text.as_ref().is_some_and(|text| self.names.are_in(text)) {
            *text = None;
            self.dropped += 1;
        }
    }

    /// A text that has to be there.
    fn needed(&mut self, text: &mut String) {
        if self.names.are_in(text) {
            "(left out: it named a person)".clone_into(text);
            self.dropped += 1;
        }
    }

    fn extra(&mut self, extra: &mut Extra) {
        self.dropped += extra.len();
        extra.clear();
    }

    fn study(&mut self, study: &mut Study) {
        for person in &mut study.people {
            self.names.replace(&mut person.code);
            person.name = None;
            person.extra.clear();
            self.text(&mut person.role);
        }
        for animal in &mut study.animals {
            for text in [&mut animal.origin, &mut animal.notes, &mut animal.born, &mut animal.identification]
            {
                self.text(text);
            }
            for concern in &mut animal.concern {
                self.text(&mut concern.reason);
            }
            self.extra(&mut animal.extra);
        }
        for plan in &mut study.plans {
            self.needed(&mut plan.goal);
            for step in &mut plan.steps {
                self.needed(&mut step.text);
            }
            self.extra(&mut plan.extra);
        }
        self.needed(&mut study.title);
        self.text(&mut study.place);
        for text in study.report.values_mut() {
            self.needed(text);
        }
        study.reference_codings.clear();
        if let Some(retention) = &mut study.retention {
            self.text(&mut retention.note);
            retention.deciders.iter_mut().for_each(|code| self.names.replace(code));
        }
        self.extra(&mut study.extra);
    }

    fn session(&mut self, session: &mut Session) {
        if let Some(handler) = &mut session.handler {
            self.names.replace(handler);
        }
        self.text(&mut session.notes);
        for anchor in &mut session.clock_anchors {
            self.text(&mut anchor.note);
        }
        if let Some(left) = &mut session.left_out {
            self.needed(&mut left.reason);
            if let Some(by) = &mut left.by {
                self.names.replace(by);
            }
        }
        if let Some(decision) = &mut session.decision {
            self.needed(&mut decision.reason);
            if let Some(by) = &mut decision.by {
                self.names.replace(by);
            }
        }
        for clip in &mut session.clips {
            self.text(&mut clip.camera);
            if let Some(deleted) = &mut clip.deleted {
                self.names.replace(&mut deleted.by);
                self.needed(&mut deleted.reason);
            }
            // Folders above the study are often named after somebody.
            let is_outside =
                clip.path.starts_with('/') || clip.path.contains(':') || clip.path.contains("..");
            if is_outside || self.names.are_in(&clip.path) {
                let ending = clip.path.rsplit_once('.').map_or("", |(_, ending)| ending);
                clip.path = format!("clips/{}-{}.{ending}", session.id, clip.id.0);
                self.dropped += 1;
            }
            clip.extra.clear();
        }
        session.facts.extra.clear();
        self.extra(&mut session.extra);
    }

    fn ethogram(&mut self, ethogram: &mut Ethogram) {
        self.text(&mut ethogram.changed);
        for behaviour in &mut ethogram.behaviours {
            behaviour.extra.clear();
        }
        self.extra(&mut ethogram.extra);
    }
}
