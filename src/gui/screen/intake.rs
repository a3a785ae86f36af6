//! New sessions from files: which are pieces of one recording, whose, and when each began.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset, NaiveDateTime, TimeZone as _};
use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription, Task};

use super::new_study;
use crate::gui::background;
use crate::gui::theme::{self, Mode, Palette};
use crate::media;
use crate::model::{AnimalId, ClockSource, SessionId};
use crate::storage::{StudyFolder, fingerprint};
use crate::workbench::intake::{self, Began, Found, Recording, Source};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A file was dropped on the window.
    Dropped(PathBuf),
    /// A file was looked at.
    Looked(Box<Looked>),
    /// A recording is chosen.
    Choose(usize),
    /// When one began is typed.
    When(usize, String),
    /// The chosen recording is of the next animal.
    NextAnimal,
    /// The pieces of the chosen recording are recordings of their own.
    Apart,
    /// The chosen recording goes on from the one above.
    Join,
    /// The chosen recording is not taken.
    Remove,
    /// Make the sessions.
    Add,
    /// A key went down.
    KeyDown(Key),
    /// Back.
    Leave,
}

/// What was learned of a file.
#[derive(Debug, Clone)]
pub enum Looked {
    /// It is film; the session it goes on from, if there is one.
    Film(Box<Found>, Option<SessionId>),
    /// It can't be taken; why, in words.
    Refused(String),
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Back to the sessions; what was made, and the last of them.
    Done(String, Option<SessionId>),
}

/// The field of the first recording.
pub const FIRST: &str = "intake-first";
const FORM: &str = "%Y-%m-%d %H:%M:%S";

struct Line {
    recording: Recording,
    animal: usize,
    /// When it began, as it is typed.
    when: String,
    is_typed: bool,
    problem: Option<String>,
}

/// The screen.
pub struct Intake {
    folder: StudyFolder,
    animals: Vec<(AnimalId, String)>,
    /// The animal of what comes next.
    animal: usize,
    found: Vec<(Found, Option<SessionId>)>,
    apart: BTreeSet<PathBuf>,
    joined: BTreeSet<PathBuf>,
    lines: Vec<Line>,
    chosen: usize,
    reading: usize,
    refused: Vec<String>,
    said: String,
    is_asked: bool,
}

/// The house's own wall clock.
fn zone(naive: NaiveDateTime) -> Option<DateTime<FixedOffset>> {
    chrono::Local.from_local_datetime(&naive).earliest().map(|time| time.fixed_offset())
}

impl Intake {
    /// For a study with an animal; `animal`: whose sessions they are likely to be.
    #[must_use]
    pub fn new(folder: StudyFolder, animal: Option<&AnimalId>) -> Self {
        let animals: Vec<(AnimalId, String)> =
            folder.study.animals.iter().map(|own| (own.id.clone(), own.name.clone())).collect();
        let animal = animals.iter().position(|(id, _)| Some(id) == animal).unwrap_or(0);
        Self {
            folder,
            animals,
            animal,
            found: Vec::new(),
            apart: BTreeSet::new(),
            joined: BTreeSet::new(),
            lines: Vec::new(),
            chosen: 0,
            reading: 0,
            refused: Vec::new(),
            said: "More files can be dropped here. Enter makes the sessions; the film stays where it is."
                .to_owned(),
            is_asked: false,
        }
    }

    /// Looks at a file, off the drawing thread.
    pub fn look(&mut self, path: &Path) -> Task<Message> {
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        if self.found.iter().any(|(found, _)| found.path == path) {
            return Task::none();
        }
        self.reading += 1;
        let folder = self.folder.clone();
        let failed = |error: std::io::Error| Looked::Refused(error.to_string());
        background::run("intake", failed, move |sender| {
            // When nobody listens any more the screen is gone.
            let _ = sender.unbounded_send(look_at(&folder, &path));
        })
        .map(|looked| Message::Looked(Box::new(looked)))
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        if !matches!(message, Message::Add | Message::KeyDown(_)) {
            self.is_asked = false;
        }
        match message {
            Message::Dropped(path) => return Action::Run(self.look(&path)),
            Message::Looked(looked) => {
                self.reading = self.reading.saturating_sub(1);
                match *looked {
                    Looked::Film(found, goes_on) => {
                        self.found.push((*found, goes_on));
                        self.group();
                    }
                    Looked::Refused(why) => self.refused.push(why),
                }
            }
            Message::Choose(place) => self.chosen = place,
            Message::When(place, text) => {
                self.chosen = place;
                if let Some(line) = self.lines.get_mut(place) {
                    (line.when, line.is_typed, line.problem) = (text, true, None);
                }
            }
            Message::NextAnimal => {
                let count = self.animals.len().max(1);
                if let Some(line) = self.lines.get_mut(self.chosen) {
                    line.animal = (line.animal + 1) % count;
                }
            }
            Message::Apart => self.take_apart(),
            Message::Join => {
                if let (true, Some(first)) = (self.chosen > 0, self.first_of(self.chosen)) {
                    let _ = self.apart.remove(&first);
                    let _ = self.joined.insert(first);
                    self.chosen -= 1;
                    self.group();
                }
            }
            Message::Remove => {
                if let Some(line) = self.lines.get(self.chosen) {
                    let gone: Vec<PathBuf> =
                        line.recording.pieces.iter().map(|piece| piece.path.clone()).collect();
                    self.found.retain(|(found, _)| !gone.contains(&found.path));
                    self.group();
                }
            }
            Message::Add => return self.add(),
            Message::KeyDown(key) => {
                return match key.as_ref() {
                    Key::Named(Named::ArrowDown) => {
                        self.chosen = (self.chosen + 1).min(self.lines.len().saturating_sub(1));
                        Action::None
                    }
                    Key::Named(Named::ArrowUp) => {
                        self.chosen = self.chosen.saturating_sub(1);
                        Action::None
                    }
                    Key::Named(Named::F2) => self.update(Message::NextAnimal),
                    Key::Named(Named::F3) => self.update(Message::Join),
                    Key::Named(Named::F4) => self.update(Message::Apart),
                    Key::Named(Named::F8) => self.update(Message::Remove),
                    Key::Named(Named::Enter) => self.add(),
                    Key::Named(Named::Escape) => self.update(Message::Leave),
                    _ => Action::None,
                };
            }
            Message::Leave => return Action::Done(String::new(), None),
        }
        Action::None
    }

    fn first_of(&self, place: usize) -> Option<PathBuf> {
        self.lines.get(place)?.recording.pieces.first().map(|piece| piece.path.clone())
    }

    fn take_apart(&mut self) {
        let Some(line) = self.lines.get(self.chosen) else { return };
        for piece in line.recording.pieces.iter().skip(1) {
            let _ = self.apart.insert(piece.path.clone());
            let _ = self.joined.remove(&piece.path);
        }
        self.group();
    }

    /// Puts the files together anew; what was typed and chosen stays with its first piece.
    fn group(&mut self) {
        let mut recordings: Vec<Recording> = Vec::new();
        let files = self.found.iter().map(|(found, _)| found.clone()).collect();
        for mut recording in intake::recordings(files, &zone) {
            let pieces = std::mem::take(&mut recording.pieces);
            for piece in pieces {
                let is_own = recording.pieces.is_empty() || self.apart.contains(&piece.path);
                if is_own && !recording.pieces.is_empty() {
                    recordings.push(std::mem::replace(
                        &mut recording,
                        Recording { began: intake::began(&piece, &zone), pieces: Vec::new() },
                    ));
                }
                recording.pieces.push(piece);
            }
            recordings.push(recording);
        }
        let mut together: Vec<Recording> = Vec::new();
        for recording in recordings {
            let is_joined = recording.pieces.first().is_some_and(|first| self.joined.contains(&first.path));
            match together.last_mut().filter(|_| is_joined) {
                Some(last) => last.pieces.extend(recording.pieces),
                None => together.push(recording),
            }
        }
        let old = std::mem::take(&mut self.lines);
        for recording in together {
            let first = recording.pieces.first().map(|piece| piece.path.clone());
            let known = old
                .iter()
                .find(|line| line.recording.pieces.first().map(|piece| &piece.path) == first.as_ref());
            let when = match (known.filter(|line| line.is_typed), &recording.began) {
                (Some(line), _) => line.when.clone(),
                (None, Some(began)) if began.source != Source::Disk => began.at.format(FORM).to_string(),
                (None, _) => String::new(),
            };
            self.lines.push(Line {
                animal: known.map_or(self.animal, |line| line.animal),
                is_typed: known.is_some_and(|line| line.is_typed),
                when,
                problem: None,
                recording,
            });
        }
        self.chosen = self.chosen.min(self.lines.len().saturating_sub(1));
    }

    /// The session a recording goes on from, if it does.
    fn goes_on(&self, line: &Line) -> Option<&SessionId> {
        let first = line.recording.pieces.first()?;
        self.found.iter().find(|(found, _)| found.path == first.path)?.1.as_ref()
    }

    fn add(&mut self) -> Action {
        if self.reading > 0 {
            "Some files are still being looked at.".clone_into(&mut self.said);
            return Action::None;
        }
        for line in &mut self.lines {
            line.problem = read(&line.when).err();
        }
        if self.lines.iter().any(|line| line.problem.is_some()) {
            "A date can't be read; nothing was made.".clone_into(&mut self.said);
            return Action::None;
        }
        let undated = self
            .lines
            .iter()
            .filter(|line| self.goes_on(line).is_none() && line.when.trim().is_empty())
            .count();
        if undated > 0 && !self.is_asked {
            self.is_asked = true;
            self.said = format!(
                "{undated} of them have no date: write when they began, or press Enter once more to leave it unknown."
            );
            return Action::None;
        }
        let (mut made, mut went_on, mut last) = (0, 0, None);
        while let Some(line) = self.lines.first() {
            match self.make(line) {
                Ok((session, is_new)) => {
                    if is_new {
                        made += 1;
                    } else {
                        went_on += 1;
                    }
                    last = Some(session);
                }
                Err(error) => {
                    // What is made is made; the rest stays here.
                    self.said = error.to_string();
                    return Action::None;
                }
            }
            let line = self.lines.remove(0);
            let gone = line.recording.pieces;
            self.found.retain(|(found, _)| gone.iter().all(|piece| piece.path != found.path));
        }
        let mut words = format!("{made} {} made", if made == 1 { "session was" } else { "sessions were" });
        if went_on > 0 {
            words = format!("{words}, {went_on} went on with a session that was there");
        }
        Action::Done(format!("{words}. Enter begins the coding of the chosen one."), last)
    }

    fn make(&self, line: &Line) -> Result<(SessionId, bool), crate::storage::Error> {
        let pieces: Vec<PathBuf> = line.recording.pieces.iter().map(|piece| piece.path.clone()).collect();
        if let Some(id) = self.goes_on(line) {
            for piece in &pieces {
                let session = self.folder.session(id)?;
                let _ = new_study::add_piece(&self.folder, session, piece)?;
            }
            return Ok((id.clone(), false));
        }
        let animal = self.animals.get(line.animal).map(|(id, _)| id.clone()).unwrap_or_default();
        let typed = read(&line.when).ok().flatten();
        let began = match (&line.recording.began, typed) {
            (Some(began), Some(at)) if !line.is_typed && began.source != Source::Disk => {
                // The same moment with its own zone and all its digits.
                Some(began.at).filter(|own| own.timestamp() == at.timestamp()).or(Some(at))
            }
            (_, typed) => typed,
        };
        let how = if line.is_typed { ClockSource::Person } else { ClockSource::Camera };
        let of_disk = line.recording.began.map(|began| began.at);
        let day = began.or(of_disk).unwrap_or_else(|| chrono::Local::now().fixed_offset()).date_naive();
        let began = began.map(|at| (at, how));
        let session = new_study::session_of(&self.folder, &pieces, animal, day, began)?;
        Ok((session.id, true))
    }

    /// Keys, and files dropped on the window.
    pub fn subscription() -> Subscription<Message> {
        iced::event::listen_with(|event, status, _| match event {
            iced::Event::Keyboard(keyboard::Event::KeyPressed { key, .. }) => {
                let is_free = status == iced::event::Status::Ignored || key == Key::Named(Named::Escape);
                is_free.then_some(Message::KeyDown(key))
            }
            iced::Event::Window(iced::window::Event::FileDropped(path)) => Some(Message::Dropped(path)),
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let head = column![
            text("New sessions").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            quiet("One session a recording. Pieces that a camera cut are put together.".to_owned()),
        ]
        .spacing(6);
        let mut list = column![].spacing(8).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for (place, line) in self.lines.iter().enumerate() {
            list = list.push(self.line(place, line, palette));
        }
        if self.reading > 0 {
            let files = if self.reading == 1 { "file" } else { "files" };
            list = list.push(quiet(format!("Looking at {} {files} …", self.reading)));
        } else if self.lines.is_empty() {
            list = list.push(quiet("Nothing to take. Drop video files on this window.".to_owned()));
        }
        for why in &self.refused {
            list = list.push(text(why).size(theme::BODY).color(palette.accent));
        }
        let key = |words: &'static str, on: Message| {
            button(text(words).size(theme::BODY))
                .padding([6, 12])
                .style(theme::key(palette, false))
                .on_press_maybe((!self.lines.is_empty()).then_some(on))
        };
        let keys = row![
            key("Next animal (F2)", Message::NextAnimal),
            key("Goes on from the one above (F3)", Message::Join),
            key("Pieces are recordings of their own (F4)", Message::Apart),
            key("Leave it out (F8)", Message::Remove),
            space::horizontal(),
            button(text("Make the sessions (Enter)").size(theme::BODY))
                .padding([6, 12])
                .style(theme::key(palette, true))
                .on_press_maybe((!self.lines.is_empty()).then_some(Message::Add)),
        ]
        .spacing(8);
        let said = text(&self.said).size(theme::BODY).color(palette.accent);
        column![head, scrollable(list).height(Length::Fill), keys, said].spacing(12).padding(16).into()
    }

    fn line<'a>(&'a self, place: usize, line: &'a Line, palette: Palette) -> Element<'a, Message> {
        let here = place == self.chosen;
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let names: Vec<String> = line
            .recording
            .pieces
            .iter()
            .map(|piece| piece.path.file_name().unwrap_or_default().to_string_lossy().into_owned())
            .collect();
        let count = match names.len() {
            1 => "one file".to_owned(),
            n => format!("{n} pieces of one recording"),
        };
        let length: i64 =
            line.recording.pieces.iter().filter_map(|piece| piece.length).map(|length| length.0).sum();
        let minutes =
            if length > 0 { format!(", {}", crate::time::Micros(length).clock()) } else { String::new() };
        let animal = self.animals.get(line.animal).map_or("", |(_, name)| name.as_str());
        let about = match (self.goes_on(line), &line.recording.began) {
            (Some(session), _) => format!("goes on from session {session}: it is added there"),
            (None, _) if line.is_typed => "as you wrote it".to_owned(),
            (None, Some(began)) => began.words().to_owned(),
            (None, None) => "nothing tells when it began: please write it".to_owned(),
        };
        let is_open = self.goes_on(line).is_none();
        let is_unsure = !line.is_typed && line.recording.began.is_none_or(|began: Began| !began.is_sure);
        let guess = line.recording.began.map_or_else(
            || "2025-03-13 15:05".to_owned(),
            |began| format!("perhaps {}", began.at.format("%Y-%m-%d %H:%M")),
        );
        let field = text_input(&guess, &line.when)
            .size(theme::BODY)
            .padding([4, 8])
            .style(theme::input(palette))
            .on_submit(Message::Add)
            .on_input_maybe(is_open.then_some(move |text| Message::When(place, text)));
        let field = if place == 0 { field.id(FIRST) } else { field };
        let mut words = column![
            row![
                text(names.join(", ")).size(theme::BODY).color(palette.text),
                space::horizontal(),
                quiet(format!("{count}{minutes}"))
            ]
            .spacing(12),
            row![
                text(animal).size(theme::BODY).font(theme::MEDIUM).color(palette.text).width(140),
                quiet("began".to_owned()),
                container(field).width(210),
                text(about).size(theme::BODY).color(if is_unsure && is_open {
                    palette.accent
                } else {
                    palette.quiet
                }),
            ]
            .spacing(12)
            .align_y(iced::Center),
        ]
        .spacing(6);
        if let Some(problem) = &line.problem {
            words = words.push(text(problem).size(theme::BODY).color(palette.accent));
        }
        button(words)
            .width(Length::Fill)
            .padding([8, 12])
            .style(theme::key(palette, here))
            .on_press(Message::Choose(place))
            .into()
    }
}

/// A day and a time on the house's clock; nothing when nothing is written.
fn read(text: &str) -> Result<Option<DateTime<FixedOffset>>, String> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let naive = [FORM, "%Y-%m-%d %H:%M"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
        .ok_or("write day and time as 2025-03-13 15:05")?;
    zone(naive).map(Some).ok_or_else(|| "there was no such time: the clocks were put forward".to_owned())
}

/// What there is to know of a file before it becomes a session.
#[must_use]
pub fn look_at(folder: &StudyFolder, path: &Path) -> Looked {
    let refuse = |why: String| Looked::Refused(why);
    let fingerprint = match fingerprint::of_file(path) {
        Ok(fingerprint) => fingerprint,
        Err(error) => return refuse(error.to_string()),
    };
    let is_it = |clip: &crate::model::Clip| {
        clip.fingerprint
            .as_ref()
            .is_some_and(|own| own.size == fingerprint.size && own.ends == fingerprint.ends)
    };
    let listing = folder.list();
    let known = listing.sessions.iter().find(|entry| entry.session.clips.iter().any(is_it));
    if let Some(entry) = known {
        return refuse(format!("it is a clip of session {} already: {}", entry.session.id, path.display()));
    }
    let about = match media::about(path) {
        Ok(about) => about,
        Err(error) => return refuse(error.to_string()),
    };
    let modified = std::fs::metadata(path).and_then(|about| about.modified()).ok();
    let modified = modified.map(|time| DateTime::<chrono::Local>::from(time).fixed_offset());
    let found =
        Found { path: path.to_owned(), fingerprint, modified, created: about.created, length: about.length };
    let goes_on = new_study::goes_on_from(folder, path).map(|session| session.id);
    Looked::Film(Box::new(found), goes_on)
}
