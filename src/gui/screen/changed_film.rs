//! Clips whose files were changed since they were added, and a person's word that one still shows the same.

use std::path::PathBuf;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription};

use crate::gui::theme::{self, Mode};
use crate::model::SessionId;
use crate::storage::acceptance;
use crate::storage::{Error, StudyFolder};

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// A clip is chosen.
    Choose(usize),
    /// Who says so is typed.
    By(String),
    /// Why is typed.
    Reason(String),
    /// Take the chosen one as it is.
    Accept,
    /// A key went down.
    KeyDown(Key),
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Back.
    Leave,
}

/// The field that has the keys first.
pub const FIRST: &str = "changed-film-first";

/// The screen.
pub struct ChangedFilm {
    folder: StudyFolder,
    session: SessionId,
    waiting: Vec<(String, PathBuf)>,
    chosen: usize,
    by: String,
    reason: String,
    said: Option<String>,
}

impl ChangedFilm {
    /// The changed clips of a session.
    ///
    /// # Errors
    /// When the session can't be read.
    pub fn try_new(folder: StudyFolder, session: SessionId, person: &str) -> Result<Self, Error> {
        let waiting = acceptance::waiting(folder.root(), &folder.session(&session)?);
        Ok(Self {
            folder,
            session,
            waiting,
            chosen: 0,
            by: person.to_owned(),
            reason: String::new(),
            said: None,
        })
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Choose(place) => self.chosen = place,
            Message::By(text) => self.by = text,
            Message::Reason(text) => self.reason = text,
            Message::Accept => self.accept(),
            Message::KeyDown(key) => match key.as_ref() {
                Key::Named(Named::ArrowDown) => {
                    self.chosen = (self.chosen + 1).min(self.waiting.len().saturating_sub(1));
                }
                Key::Named(Named::ArrowUp) => self.chosen = self.chosen.saturating_sub(1),
                Key::Named(Named::Escape) => return Action::Leave,
                _ => {}
            },
            Message::Leave => return Action::Leave,
        }
        Action::None
    }

    fn accept(&mut self) {
        let Some((clip, _)) = self.waiting.get(self.chosen).cloned() else { return };
        let folder = self.folder.session_folder(&self.session);
        let done = acceptance::accept(&self.folder, &folder, &clip, self.by.trim(), &self.reason);
        self.said = Some(match done {
            Ok(()) => {
                self.reason.clear();
                format!(
                    "{clip} is taken as it is now, by {}: go through some marks in its picture.",
                    self.by.trim()
                )
            }
            Err(refused) => format!("Nothing was changed: {refused}."),
        });
        if let Ok(session) = self.folder.session(&self.session) {
            self.waiting = acceptance::waiting(self.folder.root(), &session);
            self.chosen = self.chosen.min(self.waiting.len().saturating_sub(1));
        }
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
        let words = |words: &str| text(words.to_owned()).size(theme::BODY);
        let told = if self.waiting.is_empty() {
            "No clip of this session was changed since it was added."
        } else {
            "These files are not as they were when they were added: they are not shown until the original is back, or somebody says that they show the same. Look at them in another player first."
        };
        let head = column![
            text(format!("Changed film: {}", self.session))
                .size(theme::CLOCK)
                .font(theme::MEDIUM)
                .color(palette.text),
            words(told).color(palette.quiet),
        ]
        .spacing(6);
        let mut list = column![].spacing(6).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for (place, (clip, at)) in self.waiting.iter().enumerate() {
            let own = row![
                words(clip).color(palette.text),
                space::horizontal(),
                words(&at.display().to_string()).color(palette.quiet)
            ]
            .spacing(12);
            list = list.push(
                button(own)
                    .width(Length::Fill)
                    .padding([6, 12])
                    .style(theme::key(palette, place == self.chosen))
                    .on_press(Message::Choose(place)),
            );
        }
        let field = |hint: &'static str, value, on: fn(String) -> Message| {
            text_input(hint, value)
                .size(theme::BODY)
                .padding([6, 10])
                .style(theme::input(palette))
                .on_input(on)
                .on_submit(Message::Accept)
        };
        let mut foot = column![].spacing(8);
        if !self.waiting.is_empty() {
            foot = foot.push(
                words("To take the chosen file as it is now: who says so and why, then Enter. The coding must not be open.")
                    .color(palette.text),
            );
            foot = foot.push(
                row![
                    container(field("Code", &self.by, Message::By)).width(120),
                    field("Why: the same film, re-encoded smaller", &self.reason, Message::Reason).id(FIRST),
                    button(text("Take it (Enter)").size(theme::BODY))
                        .padding([6, 14])
                        .style(theme::key(palette, true))
                        .on_press(Message::Accept),
                ]
                .spacing(8),
            );
        }
        let said = words(self.said.as_deref().unwrap_or_default()).color(palette.accent);
        let keys = words("Up and Down choose, Tab goes to the fields, Escape goes back").color(palette.quiet);
        foot = foot.push(row![said, space::horizontal(), keys].spacing(12));
        column![head, scrollable(list).height(Length::Fill), foot].spacing(12).padding(16).into()
    }
}
