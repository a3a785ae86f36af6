//! Holding a parcel against a study that is there: what only the parcel has, and what both have differently.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde::Serialize;

use super::{Entry, Error, Parcel, Progress, Workplace, by_path, coding_name, differences, whole};
use crate::model::{
    CODING_FORMAT, Clip, Coding, ETHOGRAM_FORMAT, Ethogram, SESSION_FORMAT, STUDY_FORMAT, Session, Status,
    Study,
};
use crate::storage::journal::{self, Record};
use crate::storage::{StudyFolder, coding_file, fingerprint, json};

/// What is to become of a part of a parcel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// The study stays as it is.
    Keep,
    /// The parcel's is taken.
    Take,
    /// The parcel's is put beside the study's own.
    Both,
}

impl Choice {
    /// As people read it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Keep => "keep yours",
            Self::Take => "take theirs",
            Self::Both => "keep both",
        }
    }
}

/// Which of two states is the later one, as far as the files tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Advice {
    /// The study does not have it.
    New,
    /// The parcel's goes on from the study's.
    TheirsIsLater,
    /// The study's goes on from the parcel's.
    YoursIsLater,
    /// Both were changed, or nothing tells.
    Undecided,
}

/// A part of a study.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// Title, place, targets, texts: `study.json` without people, animals and plans.
    Study,
    /// A person, by code.
    Person(String),
    /// An animal.
    Animal(String),
    /// A plan.
    Plan(String),
    /// A revision of an ethogram, by the name of its file.
    Ethogram(String),
    /// A session's sheet.
    Session(String),
    /// A coding with its journal: session, `<person>.<n>`.
    Coding(String, String),
    /// A clip, by the parcel's path.
    Film(String),
    /// Any other file, by its path.
    Other(String),
}

impl What {
    /// By which it is named in a command.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Study => "study".to_owned(),
            Self::Person(id) => format!("person:{id}"),
            Self::Animal(id) => format!("animal:{id}"),
            Self::Plan(id) => format!("plan:{id}"),
            Self::Ethogram(name) => format!("ethogram:{name}"),
            Self::Session(id) => format!("session:{id}"),
            Self::Coding(session, name) => format!("coding:{session}/{name}"),
            Self::Film(path) => format!("film:{path}"),
            Self::Other(path) => format!("file:{path}"),
        }
    }

    /// As people read it.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Study => "the study's own sheet".to_owned(),
            Self::Person(id) => format!("person {id}"),
            Self::Animal(id) => format!("animal {id}"),
            Self::Plan(id) => format!("plan {id}"),
            Self::Ethogram(name) => format!("ethogram {name}"),
            Self::Session(id) => format!("session {id}: its sheet"),
            Self::Coding(session, name) => format!("session {session}: coding {name}"),
            Self::Film(path) => format!("film {path}"),
            Self::Other(path) => path.clone(),
        }
    }
}

/// A part of a parcel that the study does not have, or has differently.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// Which.
    pub what: What,
    /// Which state is the later one.
    pub advice: Advice,
    /// How they differ, or what is new, in words.
    pub differences: Vec<String>,
    /// What can be chosen.
    pub options: Vec<Choice>,
    /// What is chosen: what is new is taken, what differs stays as it is.
    pub choice: Choice,
}

impl Item {
    /// Whether the study has it, differently.
    #[must_use]
    pub fn is_conflict(&self) -> bool {
        self.advice != Advice::New
    }

    /// The next thing that can be chosen.
    pub fn choose_next(&mut self) {
        let place = self.options.iter().position(|own| *own == self.choice).unwrap_or(0);
        let next = self.options.get(place + 1).or_else(|| self.options.first());
        self.choice = next.copied().unwrap_or(self.choice);
    }
}

/// A parcel held against a study.
#[derive(Debug)]
pub struct Comparison {
    /// What is new or differs.
    pub items: Vec<Item>,
    /// Parts that are the same on both sides.
    pub same: usize,
    /// BLAKE3 of the study's files as they were compared, by path; nothing where none was.
    pub(super) seen: BTreeMap<String, Option<String>>,
    /// The study as it was compared.
    pub(super) here: Study,
    /// The parcel's study file.
    pub(super) there: Study,
    /// Where the parcel's files are unpacked, but for film.
    pub(super) place: Workplace,
}

impl Comparison {
    /// Conflicts, however they are settled.
    #[must_use]
    pub fn conflicts(&self) -> usize {
        self.items.iter().filter(|item| item.is_conflict()).count()
    }
}

/// Unpacks a parcel, but for film, into a hidden folder of the study and holds it against the study.
///
/// # Errors
/// When the parcel is damaged, its study file can't be read, or it was stopped; nothing is changed.
pub fn compare(
    parcel: &mut Parcel,
    folder: &StudyFolder,
    progress: Progress<'_>,
) -> Result<Comparison, Error> {
    let root = folder.root();
    let place = Workplace::new(root.join(format!(".taking-in.{}", std::process::id())))?;
    parcel.unpack(&place.0, |entry| !entry.is_film(), progress)?;
    let there: Study = json::read(&place.0.join("study.json"), STUDY_FORMAT)?;
    let here = StudyFolder::open(root)?.study;
    let listing = folder.list();
    let clips = listing.sessions.iter().flat_map(|entry| &entry.session.clips);
    let deleted = clips.filter(|clip| clip.deleted.is_some()).cloned().collect();
    let mut own = Comparing { root, place: &place.0, deleted, items: Vec::new(), same: 0 };
    own.study_parts(&here, &there);
    let used: BTreeSet<String> = listing
        .sessions
        .iter()
        .flat_map(|entry| &entry.codings)
        .map(|(_, head)| format!("{}.{}", head.ethogram.id, head.ethogram.revision))
        .collect();
    let entries = by_path(&parcel.list);
    // Before they are read: what changes after that is noticed.
    let mut as_seen = BTreeMap::new();
    for path in entries.values().filter(|entry| !entry.is_film()).flat_map(|entry| own_files(&entry.path)) {
        let hash = whole(&root.join(&path));
        let _ = as_seen.insert(path, hash);
    }
    let mut seen = BTreeSet::new();
    for (path, entry) in &entries {
        if *path == "study.json" {
            continue;
        }
        if let Some((session, name)) = coding_name(path) {
            if seen.insert((session, name)) {
                own.coding(session, name);
            }
        } else if entry.is_film() {
            own.film(entry);
        } else {
            own.file(entry, &used);
        }
    }
    let Comparing { mut items, same, .. } = own;
    items.sort_by(|a, b| (!a.is_conflict(), &a.what).cmp(&(!b.is_conflict(), &b.what)));
    Ok(Comparison { items, same, seen: as_seen, here, there, place })
}

/// The files here that stand for one of the parcel: a coding goes with its journal.
fn own_files(path: &str) -> Vec<String> {
    coding_name(path).map_or_else(
        || vec![path.to_owned()],
        |(session, name)| {
            ["coding.json", "journal"].map(|ending| format!("sessions/{session}/{name}.{ending}")).to_vec()
        },
    )
}

struct Comparing<'a> {
    root: &'a Path,
    place: &'a Path,
    /// Clips here whose film was deleted.
    deleted: Vec<Clip>,
    items: Vec<Item>,
    same: usize,
}

/// The study file without what is compared one by one.
pub(super) fn without_parts(study: &Study) -> Study {
    Study { people: Vec::new(), animals: Vec::new(), plans: Vec::new(), ..study.clone() }
}

impl Comparing<'_> {
    fn new_item(&mut self, what: What, words: Vec<String>) {
        self.items.push(Item {
            what,
            advice: Advice::New,
            differences: words,
            options: vec![Choice::Take, Choice::Keep],
            choice: Choice::Take,
        });
    }

    fn conflict(&mut self, what: What, advice: Advice, differences: Vec<String>, options: Vec<Choice>) {
        self.items.push(Item { what, advice, differences, options, choice: Choice::Keep });
    }

    /// What can't be taken at all, and why.
    fn refused(&mut self, what: What, why: String) {
        self.conflict(what, Advice::Undecided, vec![why], vec![Choice::Keep]);
    }

    fn part<T: Serialize + PartialEq>(&mut self, what: What, here: Option<&T>, there: &T) {
        match here {
            None => self.new_item(what, Vec::new()),
            Some(here) if here == there => self.same += 1,
            Some(here) => {
                let differences = differences::between(here, there);
                self.conflict(what, Advice::Undecided, differences, vec![Choice::Keep, Choice::Take]);
            }
        }
    }

    fn study_parts(&mut self, here: &Study, there: &Study) {
        self.part(What::Study, Some(&without_parts(here)), &without_parts(there));
        for person in &there.people {
            self.part(What::Person(person.code.to_string()), here.person(&person.code), person);
        }
        for animal in &there.animals {
            self.part(What::Animal(animal.id.to_string()), here.animal(&animal.id), animal);
        }
        for plan in &there.plans {
            self.part(What::Plan(plan.id.to_string()), here.plan(&plan.id), plan);
        }
    }

    fn coding(&mut self, session: &str, name: &str) {
        let what = What::Coding(session.to_owned(), name.to_owned());
        let inside = format!("sessions/{session}/{name}.coding.json");
        let (own, other) = (self.root.join(&inside), self.place.join(&inside));
        let there = match read_coding(&other) {
            Ok(there) if there.coding.session.as_str() != session => {
                return self.refused(what, format!("it is a coding of session '{}'", there.coding.session));
            }
            Ok(there) => there,
            Err(why) => return self.refused(what, why),
        };
        if let Some(why) = self.other_definitions(&there.coding) {
            self.conflict(what, Advice::Undecided, vec![why], vec![Choice::Keep, Choice::Take]);
            return;
        }
        if !own.exists() {
            if !coding_file::journal_path(&own).exists() {
                return self.new_item(what, vec![there.words()]);
            }
            let words = vec![
                "yours: the coding file is gone and its journal is still here: 'shedlight check --repair' may bring it back"
                    .to_owned(),
                format!("theirs: {}", there.words()),
            ];
            return self.conflict(what, Advice::Undecided, words, vec![Choice::Keep, Choice::Take]);
        }
        let here = match read_coding(&own) {
            Ok(here) => here,
            Err(why) => {
                let words = vec![format!("yours can't be read: {why}"), format!("theirs: {}", there.words())];
                let options = vec![Choice::Keep, Choice::Both];
                return self.conflict(what, Advice::Undecided, words, options);
            }
        };
        if here.is_as(&there) {
            self.same += 1;
            return;
        }
        let advice = here.relation(&there);
        let words = vec![
            format!("yours: {}", here.words()),
            format!("theirs: {}", there.words()),
            match advice {
                Advice::TheirsIsLater => "theirs goes on from yours".to_owned(),
                Advice::YoursIsLater => "yours goes on from theirs".to_owned(),
                Advice::New | Advice::Undecided => "both were changed".to_owned(),
            },
        ];
        self.conflict(what, advice, words, vec![Choice::Keep, Choice::Take, Choice::Both]);
    }

    /// Why a coding's ethogram is not the one it was made under, as it would be after taking it in.
    fn other_definitions(&self, coding: &Coding) -> Option<String> {
        let name = format!("{}.{}", coding.ethogram.id, coding.ethogram.revision);
        let inside = format!("ethograms/{name}.json");
        let here = self.root.join(&inside);
        let found = if here.exists() { here } else { self.place.join(&inside) };
        let Ok(ethogram) = json::read::<Ethogram>(&found, ETHOGRAM_FORMAT) else {
            return Some(format!("its ethogram {name} is neither here nor in the parcel"));
        };
        let is_same = coding.ethogram.digest.is_empty()
            || ethogram.digest().is_ok_and(|digest| digest == coding.ethogram.digest);
        (!is_same).then(|| format!("it was made under another ethogram {name} than the one that is here"))
    }

    fn film(&mut self, entry: &Entry) {
        let is_it = |path: &Path| {
            std::fs::metadata(path).is_ok_and(|about| about.is_file() && about.len() == entry.size)
                && fingerprint::of_file(path).is_ok_and(|found| Some(found.ends) == entry.ends)
        };
        let mut nearby = vec![self.root.join(&entry.path)];
        if let Ok(entries) = std::fs::read_dir(self.root.join("clips")) {
            nearby.extend(entries.filter_map(|entry| Some(entry.ok()?.path())));
        }
        if nearby.iter().any(|path| is_it(path)) {
            self.same += 1;
            return;
        }
        #[allow(clippy::cast_precision_loss)] // For people.
        let size = format!("{:.1} MB", entry.size as f64 / 1e6);
        let what = What::Film(entry.path.clone());
        let is_this = |clip: &&Clip| {
            let known = clip.fingerprint.as_ref();
            known.is_some_and(|known| known.size == entry.size && Some(&known.ends) == entry.ends.as_ref())
        };
        if let Some(gone) = self.deleted.iter().find(is_this).and_then(|clip| clip.deleted.as_ref()) {
            let why = format!("it was deleted here on {} by {}", gone.on, gone.by);
            return self.refused(what, why);
        }
        if self.root.join(&entry.path).exists() {
            let words = vec![format!("another film has this name here; theirs: {size}")];
            self.conflict(what, Advice::Undecided, words, vec![Choice::Keep, Choice::Both]);
        } else {
            self.new_item(what, vec![size]);
        }
    }

    fn file(&mut self, entry: &Entry, used: &BTreeSet<String>) {
        let path = entry.path.as_str();
        let (own, other) = (self.root.join(path), self.place.join(path));
        let parts: Vec<&str> = path.split('/').collect();
        match parts.as_slice() {
            ["sessions", id, "session.json"] => {
                let what = What::Session((*id).to_owned());
                let there: Session = match json::read(&other, SESSION_FORMAT) {
                    Ok(there) => there,
                    Err(error) => return self.refused(what, error.to_string()),
                };
                if there.id.as_str() != *id {
                    return self.refused(what, format!("its file says it is session '{}'", there.id));
                }
                let here = own.exists().then(|| json::read::<Session>(&own, SESSION_FORMAT));
                match here.transpose() {
                    Ok(here) => self.part(what, here.as_ref(), &there),
                    Err(error) => self.unreadable_here(what, &error.to_string()),
                }
            }
            ["ethograms", file] if file.strip_suffix(".json").is_some() => {
                let name = file.strip_suffix(".json").unwrap_or(file);
                let what = What::Ethogram(name.to_owned());
                let there: Ethogram = match json::read(&other, ETHOGRAM_FORMAT) {
                    Ok(there) => there,
                    Err(error) => return self.refused(what, error.to_string()),
                };
                let here = own.exists().then(|| json::read::<Ethogram>(&own, ETHOGRAM_FORMAT));
                match here.transpose() {
                    Ok(Some(here)) if here != there && used.contains(name) => {
                        let mut words = differences::between(&here, &there);
                        words
                            .insert(0, "your codings were made under yours: it can't be replaced".to_owned());
                        self.conflict(what, Advice::Undecided, words, vec![Choice::Keep]);
                    }
                    Ok(here) => self.part(what, here.as_ref(), &there),
                    Err(error) => self.unreadable_here(what, &error.to_string()),
                }
            }
            _ => {
                let what = What::Other(path.to_owned());
                if !own.exists() {
                    self.new_item(what, Vec::new());
                } else if whole(&own).as_deref() == Some(entry.blake3.as_str()) {
                    self.same += 1;
                } else {
                    let words = vec!["the two files differ".to_owned()];
                    let options = vec![Choice::Keep, Choice::Take, Choice::Both];
                    self.conflict(what, Advice::Undecided, words, options);
                }
            }
        }
    }

    fn unreadable_here(&mut self, what: What, why: &str) {
        let words = vec![format!("yours can't be read: {why}")];
        self.conflict(what, Advice::Undecided, words, vec![Choice::Keep, Choice::Take]);
    }
}

/// A coding with what its journal adds, and that journal.
struct Read {
    coding: Coding,
    records: Vec<Record>,
}

fn read_coding(path: &Path) -> Result<Read, String> {
    // First the format, so that the message names what is wrong with the file itself.
    let _: Coding = json::read(path, CODING_FORMAT).map_err(|error| error.to_string())?;
    let coding = coding_file::read(path).map_err(|error| error.to_string())?;
    let records = journal::read(&coding_file::journal_path(path), coding.last_seq)
        .map_err(|error| error.to_string())?
        .records;
    Ok(Read { coding, records })
}

impl Read {
    fn words(&self) -> String {
        let coding = &self.coding;
        let done = coding.passes.iter().filter(|pass| pass.done).count();
        let state = match coding.status {
            Status::Closed => "closed".to_owned(),
            Status::Open => format!("{done} of {} passes done", coding.passes.len()),
        };
        let last = self
            .records
            .last()
            .map_or_else(String::new, |last| format!(", last edit {}", last.time.format("%Y-%m-%d %H:%M")));
        format!("{}, {} marks, {state}{last}", coding.purpose.word(), coding.marks.len())
    }

    /// Whether they say the same, wherever the work on them stands.
    fn is_as(&self, other: &Self) -> bool {
        let plain = |coding: &Coding| Coding { left_at: None, last_seq: 0, ..coding.clone() };
        plain(&self.coding) == plain(&other.coding)
    }

    /// Which of the two goes on from the other: it has the other's last edit and more.
    fn relation(&self, theirs: &Self) -> Advice {
        let goes_on = |from: &Self, to: &Self| {
            let last = from.coding.last_seq;
            let of = |read: &Self| read.records.iter().find(|record| record.seq == last).cloned();
            to.coding.last_seq > last
                && from.coding.begun == to.coding.begun
                && from.coding.by == to.coding.by
                && (last == 0 || of(from).is_some_and(|own| Some(own) == of(to)))
        };
        if goes_on(self, theirs) {
            Advice::TheirsIsLater
        } else if goes_on(theirs, self) {
            Advice::YoursIsLater
        } else {
            Advice::Undecided
        }
    }
}
