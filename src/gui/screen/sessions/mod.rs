//! The home: what is in the study, who coded what, what to do next.

mod actions;
mod background;
mod view;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::image::Handle;
use iced::{Subscription, Task};

pub use self::background::{Learned, due};
use super::sheet::Subject;
use super::{by_samples, new_study, results, sheet};
use crate::agreement::plan::Due;
use crate::model::{Purpose, RecordingRule, SessionId, Status};
use crate::storage::{CodingHead, Listing, SessionEntry, StudyFolder};

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// Choose a session.
    Choose(usize),
    /// Open a coding.
    Open(PathBuf),
    /// Begin a coding of the chosen session.
    Begin(Purpose),
    /// The person's code is typed.
    Person(String),
    /// The path of a clip is typed.
    ClipPath(String),
    /// Add that clip as a new session of this animal.
    AddClip,
    /// A file was dropped on the window.
    Dropped(PathBuf),
    /// What to show is typed.
    Filter(String),
    /// A key went down.
    KeyDown(Key, keyboard::Modifiers),
    /// A sheet is to be filled in.
    Sheet(Ask),
    /// Another study.
    NewStudy,
    /// Something was learned in the background.
    Learned(Learned),
    /// Studies and settings.
    Settings,
    /// The ethogram.
    Ethogram,
    /// The report.
    Report,
    /// Hand the study over, or take one in.
    HandOver,
    /// The film and how long it is kept.
    Films,
}

/// Which sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    /// Of the chosen session.
    Session,
    /// Of its animal.
    Animal,
    /// Of an animal that is not in the study yet.
    NewAnimal,
    /// Of the animal's plan.
    Plan,
    /// Of the study.
    Study,
    /// Not a sheet: the session's numbers.
    Results,
    /// Not a sheet: the animal over its sessions.
    Progress,
    /// Not a sheet: two codings of the session.
    Agreement,
    /// Not a sheet: a coding by samples.
    BySamples,
    /// Not a sheet: the person's reaction lag.
    Reaction,
    /// Not a sheet: earlier versions of the session's codings.
    Earlier,
    /// Not a sheet: clips of the session whose files were changed.
    ChangedFilm,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Open a coding.
    Open(PathBuf),
    /// New sessions from a file, and more to come.
    TakeIn(PathBuf),
    /// Hand the study over, or take one in.
    HandOver,
    /// Show the film and how long it is kept.
    Films,
    /// Make a new study, around a clip if one was dropped.
    NewStudy(Option<PathBuf>),
    /// Fill in a sheet.
    Sheet(Subject),
    /// Show numbers and charts, but nothing of these sessions.
    Results(results::Subject, BTreeSet<SessionId>),
    /// Show studies and settings.
    Settings,
    /// Show the ethogram.
    Ethogram,
    /// Show the report.
    Report,
    /// Code a session by samples.
    BySamples(SessionId),
    /// Measure the person's reaction lag.
    Reaction,
    /// Show earlier versions of these codings, under this title.
    Earlier(String, Vec<PathBuf>),
    /// Show the changed clips of a session.
    ChangedFilm(SessionId),
    /// Compare two codings of a session.
    Agreement(crate::model::SessionId),
}

/// The home of a study.
pub struct Sessions {
    /// The study, if one is open.
    pub folder: Option<StudyFolder>,
    listing: Listing,
    chosen: usize,
    person: String,
    clip_path: String,
    filter: String,
    said: Option<String>,
    /// Who is due for a second coding; none before that is known.
    due: Option<BTreeMap<SessionId, Due>>,
    looks: BTreeMap<SessionId, Handle>,
    /// The list is new: the background has not been asked yet.
    is_new: bool,
}

impl Sessions {
    /// The sessions of a study.
    #[must_use]
    pub fn new(folder: Option<StudyFolder>, person: Option<String>, said: Option<String>) -> Self {
        let listing = folder.as_ref().map(StudyFolder::list).unwrap_or_default();
        let person = person
            .or_else(|| folder.as_ref()?.study.people.first().map(|person| person.code.to_string()))
            .unwrap_or_default();
        let chosen = listing.sessions.len().saturating_sub(1);
        Self {
            folder,
            listing,
            chosen,
            person,
            clip_path: String::new(),
            filter: String::new(),
            said,
            due: None,
            looks: BTreeMap::new(),
            is_new: true,
        }
    }

    /// Reads the folder again.
    pub fn refresh(&mut self) {
        self.listing = self.folder.as_ref().map(StudyFolder::list).unwrap_or_default();
        self.is_new = true;
        if let Some(words) = self.folder.as_mut().and_then(StudyFolder::take_notice) {
            self.said = Some(words);
        }
    }

    /// Asks the background about a list that is new.
    pub fn look(&mut self) -> Option<Task<Message>> {
        let folder = self.folder.as_ref().filter(|_| self.is_new)?;
        self.is_new = false;
        Some(background::look(folder, &self.listing.sessions))
    }

    /// Whether the first record of a session, its date and its step are hidden from the person at work,
    /// who is to code it a second time and has not closed that coding yet.
    fn is_masked(&self, entry: &SessionEntry) -> bool {
        // A trial by samples takes nobody's turn as the second coder.
        let own = entry
            .codings
            .iter()
            .find(|(_, head)| head.by.as_str() == self.person.trim() && head.purpose != Purpose::Trial);
        if let Some((_, head)) = own {
            return head.purpose == Purpose::Second && head.status == Status::Open;
        }
        let person = self.person.trim();
        if person.is_empty() {
            return false;
        }
        let Some(due) = &self.due else {
            // Not known yet: what may have to be hidden is hidden until it is.
            return entry.codings.iter().any(|(_, head)| head.purpose == Purpose::Primary);
        };
        let due = due.get(&entry.session.id);
        due.is_some_and(|due| due.is_waiting() && due.coder.as_str() != person)
    }

    /// Sessions of which nothing may be shown to the person at work, neither alone nor among others.
    #[must_use]
    pub fn masked(&self) -> BTreeSet<SessionId> {
        let masked = self.listing.sessions.iter().filter(|entry| self.is_masked(entry));
        masked.map(|entry| entry.session.id.clone()).collect()
    }

    /// Whether a session is among them.
    #[must_use]
    pub fn is_hidden(&self, session: &SessionId) -> bool {
        self.masked().contains(session)
    }

    /// What can be looked for in a session: what its line says, and what it is called.
    fn words(&self, entry: &SessionEntry) -> String {
        let session = &entry.session;
        let name = self.folder.as_ref().and_then(|folder| folder.study.animal(&session.animal));
        let mut words = vec![
            session.id.to_string(),
            session.animal.to_string(),
            name.map(|animal| animal.name.clone()).unwrap_or_default(),
            self.due_words(entry).unwrap_or_default(),
        ];
        if let Some(left_out) = &session.left_out {
            words.push(format!("left out {}", left_out.reason));
        }
        if entry.codings.is_empty() {
            words.push("not coded".to_owned());
        }
        if !self.is_masked(entry) {
            words.push(session.step.map_or_else(String::new, |step| format!("step {step}")));
            if let Some(time) = session.wall_clock(crate::time::Micros::ZERO) {
                words.push(time.format("%-d %b %Y %Y-%m-%d").to_string());
            }
            words.extend(entry.codings.iter().map(|(_, head)| state_of(head)));
        }
        words.join(" ").to_lowercase()
    }

    /// That somebody is due for a second coding, and why.
    fn due_words(&self, entry: &SessionEntry) -> Option<String> {
        let due = self.due.as_ref()?.get(&entry.session.id).filter(|due| due.is_waiting())?;
        let whose = if due.coder.as_str() == self.person.trim() { "another coder" } else { "you" };
        Some(format!("second coding due: {whose}"))
    }

    /// Says something below the list.
    pub fn say(&mut self, words: String) {
        self.said = Some(words);
    }

    /// Code of the person at work.
    #[must_use]
    pub fn person(&self) -> &str {
        &self.person
    }

    fn shown(&self) -> Vec<(usize, &SessionEntry)> {
        let filter = self.filter.to_lowercase();
        let wanted: Vec<&str> = filter.split_whitespace().collect();
        let fits = |entry: &SessionEntry| {
            if wanted.is_empty() {
                return true;
            }
            let words = self.words(entry);
            wanted.iter().all(|word| words.contains(word))
        };
        self.listing.sessions.iter().enumerate().filter(|(_, entry)| fits(entry)).collect()
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Choose(place) => self.chosen = place,
            Message::Open(path) => return Action::Open(path),
            Message::Begin(purpose) => return self.begin(purpose),
            Message::Person(text) => self.person = text,
            Message::ClipPath(text) => self.clip_path = text,
            Message::AddClip => {
                let path = PathBuf::from(self.clip_path.trim());
                return self.add_clip(path);
            }
            Message::Dropped(path) => return self.add_clip(path),
            Message::Filter(text) => self.filter = text,
            Message::Settings => return Action::Settings,
            Message::Ethogram => return Action::Ethogram,
            Message::Report => return Action::Report,
            Message::Learned(Learned::Due(due)) => {
                self.due = Some(due.into_iter().map(|due| (due.session.clone(), due)).collect());
            }
            Message::Learned(Learned::Looks(session, looks)) => {
                let _ = self.looks.insert(session, looks);
            }
            Message::NewStudy => return Action::NewStudy(None),
            Message::HandOver => return Action::HandOver,
            Message::Films => return Action::Films,
            Message::KeyDown(key, modifiers) => return self.key_down(&key, modifiers),
            Message::Sheet(ask) => return self.sheet(ask),
        }
        Action::None
    }

    fn key_down(&mut self, key: &Key, modifiers: keyboard::Modifiers) -> Action {
        let shown: Vec<usize> = self.shown().into_iter().map(|(place, _)| place).collect();
        let place = shown.iter().position(|own| *own == self.chosen).unwrap_or(0);
        let go = |to: usize| shown.get(to).copied();
        match key.as_ref() {
            Key::Named(Named::ArrowDown) => self.chosen = go(place + 1).unwrap_or(self.chosen),
            Key::Named(Named::ArrowUp) => {
                self.chosen = place.checked_sub(1).and_then(go).unwrap_or(self.chosen);
            }
            Key::Character("n") if modifiers.command() => return Action::NewStudy(None),
            Key::Named(Named::Enter) if self.folder.is_none() => return Action::NewStudy(None),
            Key::Named(Named::Enter) if modifiers.command() => return self.begin(Purpose::Second),
            Key::Named(Named::Enter) => {
                return match self.own_coding() {
                    Some(path) => Action::Open(path),
                    None if self.listing.sessions.is_empty() => Action::None,
                    None => {
                        let entry = self.listing.sessions.get(self.chosen);
                        let is_second = entry.is_some_and(|entry| self.is_masked(entry));
                        if is_second && self.due.is_none() {
                            self.said = Some(
                                "Looking who is due for a second coding: once more in a moment.".to_owned(),
                            );
                            return Action::None;
                        }
                        self.begin(if is_second { Purpose::Second } else { Purpose::Primary })
                    }
                };
            }
            Key::Named(Named::F12) if modifiers.shift() => return Action::Films,
            Key::Named(Named::F12) => return Action::HandOver,
            Key::Named(Named::F2) if modifiers.shift() => return self.sheet(Ask::BySamples),
            Key::Named(Named::F5) if modifiers.shift() => return self.sheet(Ask::Reaction),
            Key::Named(Named::F6) if modifiers.shift() => return self.sheet(Ask::Earlier),
            Key::Named(Named::F4) if modifiers.shift() => return self.sheet(Ask::ChangedFilm),
            Key::Named(Named::F2) => return self.sheet(Ask::Session),
            Key::Named(Named::F3) if modifiers.shift() => return self.sheet(Ask::NewAnimal),
            Key::Named(Named::F3) => return self.sheet(Ask::Animal),
            Key::Named(Named::F4) => return self.sheet(Ask::Plan),
            Key::Named(Named::F5) => return self.sheet(Ask::Study),
            Key::Named(Named::F6) => return self.sheet(Ask::Results),
            Key::Named(Named::F7) => return self.sheet(Ask::Progress),
            Key::Named(Named::F8) => return self.sheet(Ask::Agreement),
            Key::Named(Named::F9) => return Action::Settings,
            Key::Named(Named::F10) => return Action::Ethogram,
            Key::Named(Named::F11) => return Action::Report,
            _ => {}
        }
        Action::None
    }

    /// The chosen session's coding of the person at work, else the primary one, else the first.
    fn own_coding(&self) -> Option<PathBuf> {
        let entry = self.listing.sessions.get(self.chosen)?;
        // Beside a coding that is due a trial of one's own is not the work to go on with.
        let is_masked = self.is_masked(entry);
        let mine = |(_, head): &&(PathBuf, CodingHead)| {
            head.by.as_str() == self.person && !(is_masked && head.purpose == Purpose::Trial)
        };
        let primary = |(_, head): &&(PathBuf, CodingHead)| head.purpose == Purpose::Primary;
        let found = entry.codings.iter().find(mine);
        if found.is_none() && is_masked {
            return None;
        }
        let found = found.or_else(|| entry.codings.iter().find(primary));
        found.or_else(|| entry.codings.first()).map(|(path, _)| path.clone())
    }

    fn sheet(&mut self, ask: Ask) -> Action {
        let Some(folder) = &self.folder else { return Action::None };
        let is_masked = self.listing.sessions.get(self.chosen).is_some_and(|entry| self.is_masked(entry));
        if is_masked
            && matches!(ask, Ask::Session | Ask::Results | Ask::Progress | Ask::Agreement | Ask::Earlier)
        {
            let words = "You are this session's second coder: what the first one found, and when it was, is hidden until your own coding is closed.";
            self.said = Some(words.to_owned());
            return Action::None;
        }
        if let Some(entry) = self.listing.sessions.get(self.chosen) {
            match ask {
                Ask::Earlier => {
                    let codings = entry.codings.iter().map(|(path, _)| path.clone()).collect();
                    return Action::Earlier(entry.session.id.to_string(), codings);
                }
                Ask::ChangedFilm => return Action::ChangedFilm(entry.session.id.clone()),
                _ => {}
            }
        }
        let session = self.listing.sessions.get(self.chosen).map(|entry| &entry.session);
        let animal = session
            .and_then(|session| folder.study.animal(&session.animal))
            .or_else(|| folder.study.animals.first());
        if ask == Ask::Reaction {
            return Action::Reaction;
        }
        if ask == Ask::BySamples
            && let Some(session) = session
        {
            return Action::BySamples(session.id.clone());
        }
        if ask == Ask::Agreement
            && let Some(session) = session
        {
            return Action::Agreement(session.id.clone());
        }
        let shown = match ask {
            Ask::Results => self.own_coding().map(results::Subject::Session),
            Ask::Progress => animal.map(|animal| results::Subject::Animal(animal.id.clone())),
            _ => None,
        };
        if let Some(shown) = shown {
            return Action::Results(shown, self.masked());
        }
        let subject = match ask {
            Ask::Results
            | Ask::Progress
            | Ask::Agreement
            | Ask::BySamples
            | Ask::Reaction
            | Ask::Earlier
            | Ask::ChangedFilm => None,
            Ask::Study => Some(Subject::Study),
            Ask::NewAnimal => Some(Subject::Animal(None)),
            Ask::Session => session.map(|session| Subject::Session(session.id.clone())),
            Ask::Animal => Some(sheet::animal_of(animal)),
            Ask::Plan => animal.map(|animal| sheet::plan_of(folder, &animal.id)),
        };
        if let Some(subject) = subject {
            return Action::Sheet(subject);
        }
        let missing =
            if ask == Ask::Results { "This session is not coded yet." } else { "Choose a session first." };
        self.said = Some(missing.to_owned());
        Action::None
    }

    fn begin(&mut self, purpose: Purpose) -> Action {
        let person = new_study::id_of(&self.person).to_uppercase();
        if self.person.trim().is_empty() {
            self.said = Some("Write your code or initials first.".to_owned());
            return Action::None;
        }
        let (Some(folder), Some(entry)) = (&mut self.folder, self.listing.sessions.get(self.chosen)) else {
            return Action::None;
        };
        if folder.study.person(&person.as_str().into()).is_none() {
            folder
                .study
                .people
                .push(crate::model::Person { code: person.as_str().into(), ..Default::default() });
            if let Err(error) = folder.save_study() {
                self.said = Some(error.to_string());
                return Action::None;
            }
        }
        match new_study::begin_coding(folder, &entry.session, &person, purpose) {
            Ok(path) => Action::Open(path),
            Err(error) => {
                self.said = Some(error.to_string());
                Action::None
            }
        }
    }

    fn add_clip(&mut self, path: PathBuf) -> Action {
        if !path.exists() {
            let why = if path.as_os_str().is_empty() {
                "Write the path of a video file."
            } else {
                "There is no such file: "
            };
            self.said = Some(format!("{why}{}", path.display()));
            return Action::None;
        }
        if path.join("study.json").is_file() {
            self.said = Some(format!("That is a study: F9 opens it by its path: {}", path.display()));
            return Action::None;
        }
        let Some(folder) = &self.folder else { return Action::NewStudy(Some(path)) };
        if folder.study.animals.is_empty() {
            return Action::NewStudy(Some(path));
        }
        self.clip_path.clear();
        Action::TakeIn(path)
    }

    /// The animal of the chosen session.
    #[must_use]
    pub fn animal(&self) -> Option<&crate::model::AnimalId> {
        self.listing.sessions.get(self.chosen).map(|entry| &entry.session.animal)
    }

    /// Chooses a session, if it is there.
    pub fn choose(&mut self, session: &crate::model::SessionId) {
        let place = self.listing.sessions.iter().position(|entry| entry.session.id == *session);
        self.chosen = place.unwrap_or(self.chosen);
    }

    /// Keys, and files dropped on the window.
    pub fn subscription() -> Subscription<Message> {
        let keys = keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, modifiers, .. } => Some(Message::KeyDown(key, modifiers)),
            _ => None,
        });
        let files = iced::event::listen_with(|event, _, _| match event {
            iced::Event::Window(iced::window::Event::FileDropped(path)) => Some(Message::Dropped(path)),
            _ => None,
        });
        Subscription::batch([keys, files])
    }
}

/// Who, what for, and how far.
fn state_of(head: &CodingHead) -> String {
    let done = head.passes.iter().filter(|pass| pass.done).count();
    let state = match head.status {
        Status::Closed => "closed".to_owned(),
        Status::Open => format!("{done} of {} passes done", head.passes.len()),
    };
    let rule = match head.rule {
        RecordingRule::Continuous => String::new(),
        rule => format!(" · {}", by_samples::rule_words(rule)),
    };
    format!("{} · {}{rule} · {state} · revision {}", head.by, head.purpose.word(), head.ethogram.revision)
}
