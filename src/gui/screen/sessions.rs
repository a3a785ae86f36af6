//! The home: what is in the study, who coded what, what to do next.

use std::path::PathBuf;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription};

use super::sheet::Subject;
use super::{new_study, results, sheet};
use crate::gui::theme::{self, Mode, Palette};
use crate::model::{Purpose, Status};
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
    /// Show numbers and charts.
    Results(results::Subject),
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
        Self { folder, listing, chosen, person, clip_path: String::new(), filter: String::new(), said }
    }

    /// Reads the folder again.
    pub fn refresh(&mut self) {
        self.listing = self.folder.as_ref().map(StudyFolder::list).unwrap_or_default();
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
        let wanted = self.filter.to_lowercase();
        let fits = |entry: &SessionEntry| {
            let session = &entry.session;
            wanted.is_empty()
                || session.id.as_str().to_lowercase().contains(&wanted)
                || session.animal.as_str().to_lowercase().contains(&wanted)
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
            Key::Named(Named::Enter) => {
                return match self.own_coding() {
                    Some(path) => Action::Open(path),
                    None if self.listing.sessions.is_empty() => Action::None,
                    None => self.begin(Purpose::Primary),
                };
            }
            Key::Named(Named::F12) if modifiers.shift() => return Action::Films,
            Key::Named(Named::F12) => return Action::HandOver,
            Key::Named(Named::F2) => return self.sheet(Ask::Session),
            Key::Named(Named::F3) if modifiers.shift() => return self.sheet(Ask::NewAnimal),
            Key::Named(Named::F3) => return self.sheet(Ask::Animal),
            Key::Named(Named::F4) => return self.sheet(Ask::Plan),
            Key::Named(Named::F5) => return self.sheet(Ask::Study),
            Key::Named(Named::F6) => return self.sheet(Ask::Results),
            Key::Named(Named::F7) => return self.sheet(Ask::Progress),
            Key::Named(Named::F8) => return self.sheet(Ask::Agreement),
            _ => {}
        }
        Action::None
    }

    /// The chosen session's coding of the person at work, else the primary one, else the first.
    fn own_coding(&self) -> Option<PathBuf> {
        let entry = self.listing.sessions.get(self.chosen)?;
        let mine = |(_, head): &&(PathBuf, CodingHead)| head.by.as_str() == self.person;
        let primary = |(_, head): &&(PathBuf, CodingHead)| head.purpose == Purpose::Primary;
        let found = entry.codings.iter().find(mine).or_else(|| entry.codings.iter().find(primary));
        found.or_else(|| entry.codings.first()).map(|(path, _)| path.clone())
    }

    fn sheet(&mut self, ask: Ask) -> Action {
        let Some(folder) = &self.folder else { return Action::None };
        let session = self.listing.sessions.get(self.chosen).map(|entry| &entry.session);
        let animal = session
            .and_then(|session| folder.study.animal(&session.animal))
            .or_else(|| folder.study.animals.first());
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
            return Action::Results(shown);
        }
        let subject = match ask {
            Ask::Results | Ask::Progress | Ask::Agreement => None,
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
        if path.join("study.json").is_file() {
            self.said = Some(format!("That is a study: open it with  shedlight {}", path.display()));
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

    /// The screen.
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let Some(folder) = &self.folder else { return empty(palette) };
        let field = |hint: &'static str, value: &str, on: fn(String) -> Message| {
            text_input(hint, value)
                .size(theme::BODY)
                .padding([6, 10])
                .style(theme::input(palette))
                .on_input(on)
        };
        let head = row![
            text(&folder.study.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            text(folder.study.place.as_deref().unwrap_or("")).size(theme::BODY).color(palette.quiet),
            space::horizontal(),
            container(field("Show only …", &self.filter, Message::Filter)).width(220),
        ]
        .spacing(12)
        .align_y(iced::Center);
        let mut list = column![].spacing(6);
        for (place, entry) in self.shown() {
            list = list.push(self.entry(place, entry, palette));
        }
        if self.listing.sessions.is_empty() {
            list = list.push(
                text("No session yet. Drop a video file on this window, or write its path below: it becomes a session, and you code it.")
                    .size(theme::BODY)
                    .color(palette.quiet),
            );
        }
        for problem in &self.listing.problems {
            list = list.push(text(problem.to_string()).size(theme::BODY).color(palette.accent));
        }
        let begin = |words: &'static str, purpose| {
            button(text(words).size(theme::BODY))
                .padding([6, 12])
                .style(theme::key(palette, false))
                .on_press(Message::Begin(purpose))
        };
        let ask = |words: &'static str, which| {
            button(text(words).size(theme::BODY))
                .padding([6, 12])
                .style(theme::key(palette, false))
                .on_press(Message::Sheet(which))
        };
        let foot = column![
            row![
                text("You").size(theme::BODY).color(palette.quiet),
                container(field("Your code", &self.person, Message::Person)).width(120),
                begin("Begin a coding of the chosen session", Purpose::Primary),
                begin("Code it as the second coder", Purpose::Second),
                space::horizontal(),
                button(text("New study").size(theme::BODY))
                    .padding([6, 12])
                    .style(theme::key(palette, false))
                    .on_press(Message::NewStudy),
            ]
            .spacing(8)
            .align_y(iced::Center),
            row![
                field(
                    "Path of a video file: a new session of the same animal",
                    &self.clip_path,
                    Message::ClipPath
                )
                .on_submit(Message::AddClip),
                button(text("Add the clip").size(theme::BODY))
                    .padding([6, 12])
                    .style(theme::key(palette, false))
                    .on_press(Message::AddClip),
                button(text("Hand over, take in (F12)").size(theme::BODY))
                    .padding([6, 12])
                    .style(theme::key(palette, false))
                    .on_press(Message::HandOver),
                button(text("Film kept (Shift+F12)").size(theme::BODY))
                    .padding([6, 12])
                    .style(theme::key(palette, false))
                    .on_press(Message::Films),
            ]
            .spacing(8),
            row![
                ask("Session (F2)", Ask::Session),
                ask("Animal (F3)", Ask::Animal),
                ask("New animal (Shift+F3)", Ask::NewAnimal),
                ask("Plan (F4)", Ask::Plan),
                ask("Study and people (F5)", Ask::Study),
                space::horizontal(),
                ask("Results (F6)", Ask::Results),
                ask("Progress (F7)", Ask::Progress),
                ask("Agreement (F8)", Ask::Agreement),
            ]
            .spacing(8),
            text(
                self.said.as_deref().unwrap_or("Up and Down choose, Enter opens your coding or begins one.")
            )
            .size(theme::BODY)
            .color(if self.said.is_some() { palette.accent } else { palette.quiet }),
        ]
        .spacing(8);
        column![head, scrollable(list).height(Length::Fill), foot].spacing(12).padding(16).into()
    }

    fn entry<'a>(&'a self, place: usize, entry: &'a SessionEntry, palette: Palette) -> Element<'a, Message> {
        let session = &entry.session;
        let folder = self.folder.as_ref();
        let animal = folder
            .and_then(|folder| folder.study.animal(&session.animal))
            .map_or_else(|| session.animal.to_string(), |animal| animal.name.clone());
        let when = session
            .wall_clock(crate::time::Micros::ZERO)
            .map_or_else(|| "date not known".to_owned(), |time| time.format("%-d %b %Y, %H:%M").to_string());
        let step = session.step.map_or_else(String::new, |step| format!("step {step}"));
        let clips = match session.clips.len() {
            0 => "no clip".to_owned(),
            1 => "1 clip".to_owned(),
            n => format!("{n} clips"),
        };
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let mut codings = row![].spacing(6);
        for (path, head) in &entry.codings {
            codings = codings.push(
                button(text(state_of(head)).size(theme::BODY))
                    .padding([4, 10])
                    .style(theme::key(palette, false))
                    .on_press(Message::Open(path.clone())),
            );
        }
        if entry.codings.is_empty() {
            codings = codings.push(quiet("not coded yet".to_owned()));
        }
        let mut left = row![
            text(animal).size(theme::BODY).font(theme::MEDIUM).color(palette.text).width(120),
            quiet(when).width(170),
            quiet(step).width(60),
            quiet(clips).width(60),
        ]
        .spacing(12)
        .align_y(iced::Center);
        if let Some(left_out) = &session.left_out {
            left = left.push(quiet(format!("left out: {}", left_out.reason)));
        }
        let line = row![left, space::horizontal(), codings].spacing(12).align_y(iced::Center);
        button(line)
            .width(Length::Fill)
            .padding([8, 12])
            .style(theme::key(palette, place == self.chosen))
            .on_press(Message::Choose(place))
            .into()
    }
}

/// Who, what for, and how far.
fn state_of(head: &CodingHead) -> String {
    let done = head.passes.iter().filter(|pass| pass.done).count();
    let state = match head.status {
        Status::Closed => "closed".to_owned(),
        Status::Open => format!("{done} of {} passes done", head.passes.len()),
    };
    format!("{} · {} · {state}", head.by, head.purpose.word())
}

/// No study is open.
fn empty<'a>(palette: Palette) -> Element<'a, Message> {
    let words = column![
        text("No study is open").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
        text("A study is a folder that holds animals, sessions and codings. Drop a video file on this window to make one around it, or start with an empty one.")
            .size(theme::BODY)
            .color(palette.quiet),
        text("To look around first, close this window and run  scripts/shedlight demo").size(theme::BODY).color(palette.quiet),
        button(text("New study").size(theme::BODY))
            .padding([8, 16])
            .style(theme::key(palette, true))
            .on_press(Message::NewStudy),
    ]
    .spacing(12)
    .max_width(560);
    container(words).center(Length::Fill).into()
}
