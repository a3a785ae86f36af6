//! Film and how long the house keeps it; what is over goes only by the word of who may decide it.

use std::sync::Arc;

use chrono::NaiveDate;
use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription, Task};

use super::hand_over::megabytes;
use crate::agreement::film_needs::{self, FilmNeeds};
use crate::gui::background;
use crate::gui::theme::{self, Mode, Palette};
use crate::storage::StudyFolder;
use crate::storage::retention::{self, Kept, Needs, WORD, Word};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A film is chosen.
    Choose(usize),
    /// Who decides is typed.
    By(String),
    /// Why is typed.
    Reason(String),
    /// The word is typed.
    Word(String),
    /// Delete the chosen film.
    Delete,
    /// A key went down.
    KeyDown(Key),
    /// What came of it.
    Told(Told),
    /// Back.
    Leave,
}

/// What comes from the work.
#[derive(Debug, Clone)]
pub enum Told {
    /// The film that is here.
    Listed(Arc<Listed>),
    /// A film was deleted, or why not.
    Deleted(Result<String, String>),
    /// The work could not begin.
    Failed(String),
}

/// The film of a study.
#[derive(Debug, Default)]
pub struct Listed {
    films: Vec<Kept>,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Back.
    Leave,
}

/// The field that has the keys first.
pub const FIRST: &str = "films-first";
/// Lines that are drawn of a long list, around the chosen one.
const DRAWN: usize = 150;

/// The screen.
pub struct Films {
    folder: StudyFolder,
    today: NaiveDate,
    listed: Option<Arc<Listed>>,
    chosen: usize,
    by: String,
    reason: String,
    word: String,
    is_deleting: bool,
    said: String,
}

impl Films {
    /// The film of a study on a day, being listed.
    pub fn new(folder: StudyFolder, person: &str, today: NaiveDate) -> (Self, Task<Message>) {
        let screen = Self {
            listed: None,
            chosen: 0,
            by: person.to_owned(),
            reason: String::new(),
            word: String::new(),
            is_deleting: false,
            said: retention::deciders(folder.study.retention.as_ref()),
            folder,
            today,
        };
        let task = screen.list();
        (screen, task)
    }

    fn list(&self) -> Task<Message> {
        let folder = self.folder.clone();
        let failed = |error: std::io::Error| Told::Failed(error.to_string());
        background::run("film", failed, move |sender| {
            let _ = sender.unbounded_send(Told::Listed(Arc::new(Listed::of(&folder))));
        })
        .map(Message::Told)
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Choose(place) => self.chosen = place,
            Message::By(text) => self.by = text,
            Message::Reason(text) => self.reason = text,
            Message::Word(text) => self.word = text,
            Message::Delete => return self.delete(),
            Message::KeyDown(key) => match key.as_ref() {
                Key::Named(Named::ArrowDown) => {
                    let count = self.films().len();
                    self.chosen = (self.chosen + 1).min(count.saturating_sub(1));
                }
                Key::Named(Named::ArrowUp) => self.chosen = self.chosen.saturating_sub(1),
                Key::Named(Named::Escape) => return Action::Leave,
                _ => {}
            },
            Message::Told(Told::Listed(listed)) => {
                self.listed = Some(listed);
                self.chosen = self.chosen.min(self.films().len().saturating_sub(1));
            }
            Message::Told(Told::Deleted(done)) => {
                self.is_deleting = false;
                self.word.clear();
                match done {
                    Ok(words) => {
                        self.said = words;
                        return Action::Run(self.list());
                    }
                    Err(why) => self.said = why,
                }
            }
            Message::Told(Told::Failed(why)) => self.said = why,
            Message::Leave => return Action::Leave,
        }
        Action::None
    }

    fn films(&self) -> &[Kept] {
        self.listed.as_ref().map_or(&[], |listed| &listed.films)
    }

    fn delete(&mut self) -> Action {
        let (Some(listed), false) = (self.listed.clone(), self.is_deleting) else { return Action::None };
        let Some(film) = listed.films.get(self.chosen).map(|film| film.path.clone()) else {
            return Action::None;
        };
        let word = Word {
            by: self.by.trim().into(),
            reason: self.reason.clone(),
            typed: self.word.clone(),
            today: self.today,
        };
        self.is_deleting = true;
        let folder = self.folder.clone();
        let failed = |error: std::io::Error| Told::Deleted(Err(error.to_string()));
        let task = background::run("film", failed, move |sender| {
            let done = retention::delete(&folder, &film, &needs, &word);
            let told = done
                .map(|gone| {
                    format!(
                        "Deleted and written down: {}. Stills, cut-out stretches and copies elsewhere stay.",
                        name_of(&gone.path)
                    )
                })
                .map_err(|error| error.to_string());
            let _ = sender.unbounded_send(Told::Deleted(told));
        });
        Action::Run(task.map(Message::Told))
    }

    /// Keys.
    pub fn subscription() -> Subscription<Message> {
        iced::event::listen_with(|event, status, _| match event {
            iced::Event::Keyboard(keyboard::Event::KeyPressed { key, .. }) => {
                let is_free = status == iced::event::Status::Ignored || key == Key::Named(Named::Escape);
                is_free.then_some(Message::KeyDown(key))
            }
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let retention = self.folder.study.retention.clone().unwrap_or_default();
        let period = |months: Option<u32>, of: &str| {
            months.map_or_else(|| format!("{of}: no period set"), |n| format!("{of}: {n} months"))
        };
        let over = self.films().iter().filter(|film| film.is_over(self.today));
        let (count, size) = over.fold((0, 0), |(count, size), film| (count + 1, size + film.size));
        let counts = match &self.listed {
            None => "Looking through the film …".to_owned(),
            Some(listed) if listed.films.is_empty() => "No film of this study is here.".to_owned(),
            Some(listed) => {
                format!("{} films; the period of {count} is over ({})", listed.films.len(), megabytes(size))
            }
        };
        let rules = format!(
            "{} after its coding is closed; {}. F5 in Sessions sets them and names who may decide.",
            period(retention.months, "Film"),
            period(retention.incident_months, "with a stop-level code"),
        );
        let head = column![
            text("Film and how long it is kept").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            text(rules).size(theme::BODY).color(palette.quiet),
            text(counts).size(theme::BODY).font(theme::MEDIUM).color(palette.text),
        ]
        .spacing(6);
        let mut list = column![].spacing(6).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        let from = self.chosen.saturating_sub(DRAWN / 2).min(self.films().len().saturating_sub(DRAWN));
        for (place, film) in self.films().iter().enumerate().skip(from).take(DRAWN) {
            list = list.push(self.line(place, film, palette));
        }
        column![head, scrollable(list).height(Length::Fill), self.deciding(palette)]
            .spacing(12)
            .padding(16)
            .into()
    }

    fn line<'a>(&self, place: usize, film: &'a Kept, palette: Palette) -> Element<'a, Message> {
        let here = place == self.chosen;
        let is_over = film.is_over(self.today);
        let until = match &film.until {
            Ok(day) if is_over => format!("over since {day}"),
            Ok(day) => format!("kept until {day}"),
            Err(why) => format!("kept: {why}"),
        };
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let words = row![
            text(name_of(&film.path)).size(theme::BODY).color(palette.text).width(300),
            quiet(film.sessions()).width(220),
            quiet(megabytes(film.size)).width(90),
            space::horizontal(),
            text(until).size(theme::BODY).color(if is_over { palette.accent } else { palette.quiet }),
        ]
        .spacing(12);
        button(words)
            .width(Length::Fill)
            .padding([6, 12])
            .style(theme::key(palette, here))
            .on_press(Message::Choose(place))
            .into()
    }

    fn deciding(&self, palette: Palette) -> Element<'_, Message> {
        let field = |hint: &'static str, value, on: fn(String) -> Message| {
            text_input(hint, value)
                .size(theme::BODY)
                .padding([6, 10])
                .style(theme::input(palette))
                .on_input(on)
                .on_submit(Message::Delete)
        };
        let chosen = self.films().get(self.chosen).filter(|film| film.is_over(self.today));
        let mut lines = column![].spacing(8);
        if let Some(film) = chosen {
            lines = lines.push(
                text(format!(
                    "To delete {} for good: who decides it, why, and the words '{WORD}', then Enter. What was coded of it stays.",
                    name_of(&film.path)
                ))
                .size(theme::BODY)
                .color(palette.text),
            );
            lines = lines.push(
                row![
                    container(field("Code", &self.by, Message::By)).width(120),
                    field("Why", &self.reason, Message::Reason).id(FIRST),
                    container(field("delete film", &self.word, Message::Word)).width(160),
                ]
                .spacing(8),
            );
        }
        let said = text(&self.said).size(theme::BODY).color(palette.accent);
        let keys = text("Up and Down choose, Tab goes to the fields, Escape goes back")
            .size(theme::BODY)
            .color(palette.quiet);
        lines.push(row![said, space::horizontal(), keys]).into()
    }
}

impl Listed {
    /// Lists the film of a study.
    #[must_use]
    pub fn of(folder: &StudyFolder) -> Self {
        Self { films: retention::list(folder, &needs(folder)) }
    }

    /// What is over first, then by the day it is kept until.
    #[must_use]
    pub fn films(&self) -> &[Kept] {
        &self.films
    }
}

/// What the film of a study is needed for, by its codings as they are now.
fn needs(folder: &StudyFolder) -> Needs {
    let codings = retention::codings(folder);
    let codings = codings.map(|read| read.map(|own| (own.coding, own.ethogram, own.session)));
    let FilmNeeds { incidents, waiting, unknown } = film_needs::of(&folder.study, codings);
    Needs { incidents, waiting, unknown }
}

fn name_of(path: &std::path::Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}
