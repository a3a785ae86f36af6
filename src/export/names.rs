//! Taking people out of what is shared.
//!
//! Everybody becomes `P01`, `P02`, … in the order of the study's list of people, which only grows
//! at its end, so that a person keeps the pseudonym from one export to the next; codes nobody
//! listed follow, sorted. A hash of the code would be no better: codes are short enough to try all.
//! Free texts that hold a listed name or code are dropped, and so is every key this version does
//! not know. A name that nobody listed can't be recognised.

use std::collections::{BTreeMap, BTreeSet};

use super::{Data, Entry};
use crate::model::{ConcernRule, Ethogram, Extra, PersonCode, Session, Study};

/// What was taken out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct TakenOut {
    /// People who got a pseudonym.
    pub people: usize,
    /// Texts that were dropped because they held a name or a code.
    pub texts: usize,
    /// Ids that hold one and stay: other things are found by them.
    pub ids: Vec<String>,
}

/// Replaces people by pseudonyms and drops texts that name them.
#[must_use]
pub fn take_out(data: &mut Data) -> TakenOut {
    let mut people = People::of_data(data);
    let ids = people.ids_in(data);
    let mut texts = people.clean_study(&mut data.study);
    texts += data.sessions.iter_mut().map(|session| people.clean_session(session)).sum::<usize>();
    texts += people.clean_ethograms(&mut data.ethograms);
    texts += data.codings.iter_mut().map(|entry| people.clean_entry(entry)).sum::<usize>();
    TakenOut { people: people.count(), texts, ids }
}

/// Codes of people that a session names.
pub fn named_in(session: &Session) -> impl Iterator<Item = &PersonCode> {
    let left = session.left_out.iter().filter_map(|left| left.by.as_ref());
    let decided = session.decision.iter().filter_map(|decision| decision.by.as_ref());
    let deleted = session.clips.iter().filter_map(|clip| Some(&clip.deleted.as_ref()?.by));
    let accepted = session.clips.iter().flat_map(|clip| &clip.accepted).map(|own| &own.by);
    session.handler.iter().chain(left).chain(decided).chain(deleted).chain(accepted)
}

/// The person that the name of a coding's file begins with, `<person>.<n>.coding.json`: mostly who made it. Of a
/// file that is called otherwise the whole name is taken for one.
#[must_use]
pub fn named_by(file: &str) -> PersonCode {
    parts_of(file).0.into()
}

/// Person and number of a coding's file.
fn parts_of(file: &str) -> (&str, Option<&str>) {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    let stem = name.strip_suffix(".coding.json").unwrap_or(name);
    let is_number = |n: &str| !n.is_empty() && n.bytes().all(|c| c.is_ascii_digit());
    match stem.rsplit_once('.') {
        Some((person, n)) if is_number(n) => (person, Some(n)),
        _ => (stem, None),
    }
}

/// Who gets which pseudonym: for an export that takes one session after another.
#[derive(Debug)]
pub struct People {
    names: Names,
    /// Digests of ethograms before names were taken out of them, and after.
    digests: BTreeMap<String, String>,
}

impl People {
    /// The people of a study, and the codes that its sessions and codings name beside them.
    #[must_use]
    pub fn of(study: &Study, others: BTreeSet<PersonCode>) -> Self {
        Self { names: Names::of(study, others), digests: BTreeMap::new() }
    }

    /// The people that anything of an export names.
    #[must_use]
    pub fn of_data(data: &Data) -> Self {
        let mut others: BTreeSet<PersonCode> =
            data.codings.iter().map(|entry| entry.coding.by.clone()).collect();
        others.extend(data.codings.iter().map(|entry| named_by(&entry.file)));
        others.extend(data.sessions.iter().flat_map(named_in).cloned());
        Self::of(&data.study, others)
    }

    /// Whether a text holds a name or a code.
    #[must_use]
    pub fn are_in(&self, text: &str) -> bool {
        self.names.are_in(text)
    }

    /// Ids and names of animals that hold a name or a code.
    fn ids_in(&self, data: &Data) -> Vec<String> {
        let study = &data.study;
        let mut ids: BTreeSet<&str> = data.sessions.iter().map(|own| own.id.as_str()).collect();
        ids.extend(study.animals.iter().flat_map(|own| [own.id.as_str(), own.name.as_str()]));
        ids.extend(study.plans.iter().map(|own| own.id.as_str()));
        for ethogram in &data.ethograms {
            let _ = ids.insert(ethogram.id.as_str());
            ids.extend(ethogram.behaviours.iter().map(|own| own.id.as_str()));
            ids.extend(ethogram.sets.iter().map(|own| own.id.as_str()));
        }
        ids.into_iter().filter(|id| self.are_in(id)).map(str::to_owned).collect()
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

    /// Takes people out of ethograms; gives the number of texts dropped. A coding that was made under one of
    /// them is then made under what became of it, when it is cleaned later.
    pub fn clean_ethograms(&mut self, ethograms: &mut [Ethogram]) -> usize {
        let mut dropped = 0;
        for ethogram in ethograms {
            let before = ethogram.digest();
            let mut cleaner = self.cleaner();
            cleaner.ethogram(ethogram);
            dropped += cleaner.dropped;
            if let (Ok(before), Ok(after)) = (before, ethogram.digest()) {
                let _ = self.digests.insert(before, after);
            }
        }
        dropped
    }

    /// An ethogram without people, for reading one of the codings by it.
    #[must_use]
    pub fn cleaned(&self, ethogram: &Ethogram) -> Ethogram {
        let mut own = ethogram.clone();
        self.cleaner().ethogram(&mut own);
        own
    }

    /// Takes people out of a coding and its file's name; gives the number of texts dropped.
    pub fn clean_entry(&self, entry: &mut Entry) -> usize {
        let mut cleaner = self.cleaner();
        entry.file = self.names.in_file(&entry.file);
        let coding = &mut entry.coding;
        if let Some(renewed) = self.digests.get(&coding.ethogram.digest) {
            coding.ethogram.digest.clone_from(renewed);
        }
        self.names.replace(&mut coding.by);
        // They name coding files, and those name people.
        coding.parents.clear();
        coding.masked.iter_mut().for_each(|hidden| cleaner.needed(hidden));
        coding.extra.clear();
        for pass in &mut coding.passes {
            cleaner.needed(&mut pass.name);
            pass.extra.clear();
        }
        for mark in coding.marks.iter_mut().chain(&mut coding.set_aside) {
            cleaner.text(&mut mark.note);
            cleaner.text(&mut mark.reason);
            if let Some(detail) = &mut mark.detail {
                cleaner.needed(detail);
            }
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
        let mut others = others;
        others.extend(study.retention.iter().flat_map(|own| own.deciders.clone()));
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

    /// A file's name with the pseudonym. Two files keep two names: two people have two pseudonyms.
    fn in_file(&self, file: &str) -> String {
        let folder = file.rsplit_once('/').map_or("", |(folder, _)| folder);
        let (person, number) = parts_of(file);
        let code = PersonCode::from(person);
        let own = self.pseudonyms.get(&code).unwrap_or(&code);
        // No coding has the number 0.
        format!("{folder}/{own}.{}.coding.json", number.unwrap_or("0"))
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
            if let Some(measured) = &mut person.lag_measured {
                measured.extra.clear();
            }
        }
        for animal in &mut study.animals {
            for text in [
                &mut animal.origin,
                &mut animal.notes,
                &mut animal.born,
                &mut animal.identification,
                &mut animal.species,
            ] {
                self.text(text);
            }
            for concern in &mut animal.concern {
                self.text(&mut concern.reason);
                self.rules(&mut concern.rules);
                concern.extra.clear();
            }
            if let Some(mass) = &mut animal.mass {
                mass.extra.clear();
            }
            self.extra(&mut animal.extra);
        }
        for plan in &mut study.plans {
            self.needed(&mut plan.goal);
            for text in [&mut plan.cue, &mut plan.marker, &mut plan.reinforcer] {
                self.text(text);
            }
            plan.end.extra.clear();
            for step in &mut plan.steps {
                self.needed(&mut step.text);
                step.extra.clear();
            }
            self.extra(&mut plan.extra);
        }
        self.needed(&mut study.title);
        self.text(&mut study.place);
        for text in study.report.values_mut() {
            self.needed(text);
        }
        study.reference_codings.clear();
        if let Some(choice) = &mut study.new_codings {
            choice.extra.clear();
        }
        if let Some(retention) = &mut study.retention {
            self.text(&mut retention.note);
            retention.deciders.iter_mut().for_each(|code| self.names.replace(code));
            retention.extra.clear();
        }
        study.targets.extra.clear();
        study.double_coding.extra.clear();
        self.extra(&mut study.extra);
    }

    fn session(&mut self, session: &mut Session) {
        if let Some(handler) = &mut session.handler {
            self.names.replace(handler);
        }
        self.text(&mut session.notes);
        for anchor in &mut session.clock_anchors {
            self.text(&mut anchor.note);
            anchor.extra.clear();
        }
        if let Some(left) = &mut session.left_out {
            self.needed(&mut left.reason);
            left.extra.clear();
            if let Some(by) = &mut left.by {
                self.names.replace(by);
            }
        }
        if let Some(decision) = &mut session.decision {
            self.needed(&mut decision.reason);
            decision.extra.clear();
            if let Some(by) = &mut decision.by {
                self.names.replace(by);
            }
        }
        for clip in &mut session.clips {
            self.text(&mut clip.camera);
            if let Some(deleted) = &mut clip.deleted {
                self.names.replace(&mut deleted.by);
                self.needed(&mut deleted.reason);
                deleted.extra.clear();
            }
            // Folders above the study are often named after somebody.
            let is_outside = clip.path.starts_with(['/', '\\', '~'])
                || clip.path.contains(':')
                || clip.path.contains("..");
            if is_outside || self.names.are_in(&clip.path) {
                let name = clip.path.rsplit(['/', '\\']).next().unwrap_or_default();
                // What stands behind a dot is no ending when it is long.
                let is_ending = |own: &&str| own.len() < 6 && own.bytes().all(|c| c.is_ascii_alphanumeric());
                let ending = name.rsplit_once('.').map(|(_, own)| own).filter(is_ending);
                let ending = ending.map_or_else(String::new, |ending| format!(".{ending}"));
                clip.path = format!("clips/{}-{}{ending}", session.id, clip.id.0);
                self.dropped += 1;
            }
            for accepted in &mut clip.accepted {
                self.names.replace(&mut accepted.by);
                self.needed(&mut accepted.reason);
                accepted.extra.clear();
                if let Some(before) = &mut accepted.before {
                    before.extra.clear();
                }
            }
            for gap in &mut clip.gaps {
                self.text(&mut gap.reason);
                gap.extra.clear();
            }
            for cover in &mut clip.face_covers {
                cover.extra.clear();
            }
            if let Some(fingerprint) = &mut clip.fingerprint {
                fingerprint.extra.clear();
            }
            clip.extra.clear();
        }
        for food in &mut session.food {
            self.needed(&mut food.item);
            food.extra.clear();
        }
        for point in &mut session.sync_points {
            self.text(&mut point.what);
            point.extra.clear();
        }
        session.facts.extra.clear();
        self.extra(&mut session.extra);
    }

    fn ethogram(&mut self, ethogram: &mut Ethogram) {
        self.needed(&mut ethogram.title);
        self.text(&mut ethogram.changed);
        for set in &mut ethogram.sets {
            self.needed(&mut set.name);
            set.extra.clear();
        }
        for pass in &mut ethogram.passes {
            self.needed(&mut pass.name);
            pass.extra.clear();
        }
        for behaviour in &mut ethogram.behaviours {
            self.needed(&mut behaviour.name);
            let definition = &mut behaviour.definition;
            self.needed(&mut definition.onset);
            for text in [
                &mut definition.offset,
                &mut definition.minimum,
                &mut definition.not_this,
                &mut definition.example,
                &mut definition.near_miss,
            ] {
                self.text(text);
            }
            let before = definition.stills.len();
            definition.stills.retain(|still| !self.names.are_in(still));
            self.dropped += before - definition.stills.len();
            definition.extra.clear();
            for detail in &mut behaviour.details {
                self.needed(detail);
            }
            self.rules(&mut behaviour.concern);
            behaviour.extra.clear();
        }
        self.extra(&mut ethogram.extra);
    }

    /// A rule holds for the marks of one detail: it goes the same way in both.
    fn rules(&mut self, rules: &mut [ConcernRule]) {
        for rule in rules {
            if let Some(detail) = &mut rule.detail {
                self.needed(detail);
            }
            if let Some(rise) = &mut rule.rise {
                rise.extra.clear();
            }
            rule.extra.clear();
        }
    }
}
