//! Earlier states of a session's codings: what each would change, and putting one back. The present one is kept first.

use std::path::PathBuf;
use std::sync::Arc;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, row, scrollable, space, text};
use iced::{Element, Length, Subscription, Task};

use crate::gui::background;
use crate::gui::theme::{self, Mode, Palette};
use crate::storage::coding_file;
use crate::storage::versions::{self, State};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A state is chosen.
    Choose(usize),
    /// Put the chosen one back.
    PutBack,
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
    /// The codings and their states.
    Listed(Arc<Vec<Listed>>),
    /// One was put back, or why not.
    Done(Result<String, String>),
}

/// A coding and its earlier states.
#[derive(Debug)]
pub struct Listed {
    path: PathBuf,
    /// What it is and how many marks it has now; or why it can't be read.
    words: String,
    states: Vec<State>,
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

/// The screen.
pub struct Earlier {
    title: String,
    codings: Vec<PathBuf>,
    listed: Option<Arc<Vec<Listed>>>,
    /// Among all states of all codings, in order.
    chosen: usize,
    /// Enter was pressed once.
    is_asked: bool,
    is_working: bool,
    said: Option<String>,
}

impl Earlier {
    /// The codings of a session, being read.
    pub fn new(title: String, codings: Vec<PathBuf>) -> (Self, Task<Message>) {
        let screen =
            Self { title, codings, listed: None, chosen: 0, is_asked: false, is_working: false, said: None };
        let task = screen.list();
        (screen, task)
    }

    fn list(&self) -> Task<Message> {
        let codings = self.codings.clone();
        let failed = |error: std::io::Error| Told::Done(Err(error.to_string()));
        background::run("versions", failed, move |sender| {
            let listed = codings.into_iter().map(Listed::of).collect();
            let _ = sender.unbounded_send(Told::Listed(Arc::new(listed)));
        })
        .map(Message::Told)
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        let is_asked = std::mem::take(&mut self.is_asked);
        match message {
            Message::Choose(place) => self.chosen = place,
            Message::PutBack => return self.put_back(is_asked),
            Message::KeyDown(key) => match key.as_ref() {
                Key::Named(Named::ArrowDown) => {
                    self.chosen = (self.chosen + 1).min(self.states().count().saturating_sub(1));
                    self.said = None;
                }
                Key::Named(Named::ArrowUp) => {
                    self.chosen = self.chosen.saturating_sub(1);
                    self.said = None;
                }
                Key::Named(Named::Enter) => return self.put_back(is_asked),
                Key::Named(Named::Escape) => return Action::Leave,
                _ => {}
            },
            Message::Told(Told::Listed(listed)) => {
                self.listed = Some(listed);
                self.chosen = self.chosen.min(self.states().count().saturating_sub(1));
            }
            Message::Told(Told::Done(done)) => {
                self.is_working = false;
                match done {
                    Ok(words) => {
                        self.said = Some(words);
                        self.chosen = 0;
                        return Action::Run(self.list());
                    }
                    Err(why) => self.said = Some(why),
                }
            }
            Message::Leave => return Action::Leave,
        }
        Action::None
    }

    fn listed(&self) -> &[Listed] {
        self.listed.as_ref().map_or(&[], |listed| listed.as_slice())
    }

    fn states(&self) -> impl Iterator<Item = (&Listed, &State)> {
        self.listed().iter().flat_map(|own| own.states.iter().map(move |state| (own, state)))
    }

    fn put_back(&mut self, is_asked: bool) -> Action {
        let Some((own, state)) = self.states().nth(self.chosen).filter(|_| !self.is_working) else {
            return Action::None;
        };
        let (path, number) = (own.path.clone(), state.version.number);
        let change = match &state.told {
            Ok((_, change)) => change.words(),
            Err(why) => {
                self.said = Some(why.clone());
                return Action::None;
            }
        };
        if !is_asked {
            self.is_asked = true;
            self.said = Some(format!(
                "Version {number}: {change}. Enter once more puts it back; what is there now is kept."
            ));
            return Action::None;
        }
        self.is_working = true;
        let failed = |error: std::io::Error| Told::Done(Err(error.to_string()));
        let task = background::run("versions", failed, move |sender| {
            let done = versions::restore(&path, number)
                .map(|kept| format!("Version {number} is back; what was there is kept as version {kept}."))
                .map_err(|error| error.to_string());
            let _ = sender.unbounded_send(Told::Done(done));
        });
        Action::Run(task.map(Message::Told))
    }

    /// Keys.
    pub fn subscription() -> Subscription<Message> {
        keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, .. } => Some(Message::KeyDown(key)),
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let counts = match &self.listed {
            None => "Reading the codings …".to_owned(),
            Some(_) if self.codings.is_empty() => "This session is not coded yet.".to_owned(),
            Some(_) if self.states().next().is_none() => {
                "No earlier versions yet: what stands there is kept before the first writing of every sitting."
                    .to_owned()
            }
            Some(_) => format!("The last {} of each coding are kept.", versions::KEPT),
        };
        let head = column![
            text(format!("Earlier versions: {}", self.title))
                .size(theme::CLOCK)
                .font(theme::MEDIUM)
                .color(palette.text),
            quiet(counts),
        ]
        .spacing(6);
        let mut list = column![].spacing(6).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        let mut place = 0;
        for own in self.listed() {
            list = list.push(text(&own.words).size(theme::BODY).font(theme::MEDIUM).color(palette.text));
            if own.states.is_empty() && self.states().next().is_some() {
                list = list.push(quiet("no earlier versions".to_owned()));
            }
            for state in &own.states {
                list = list.push(line(place, state, place == self.chosen, palette));
                place += 1;
            }
        }
        let said = text(self.said.as_deref().unwrap_or_default()).size(theme::BODY).color(palette.accent);
        let key = |words: &'static str, on, main| {
            button(text(words).size(theme::BODY))
                .padding([6, 14])
                .style(theme::key(palette, main))
                .on_press_maybe(on)
        };
        let can = self.states().next().is_some() && !self.is_working;
        let foot = row![
            iced::widget::container(said).width(Length::Fill),
            key("Leave (Escape)", Some(Message::Leave), false),
            key("Put back (Enter)", can.then_some(Message::PutBack), true),
        ]
        .spacing(8)
        .align_y(iced::Center);
        column![head, scrollable(list).height(Length::Fill), foot].spacing(12).padding(16).into()
    }
}

fn line(place: usize, state: &State, is_chosen: bool, palette: Palette) -> Element<'_, Message> {
    let cell = |words: String| text(words).size(theme::BODY);
    let (marks, change) = match &state.told {
        Ok((marks, change)) => (format!("{marks} marks"), change.words()),
        Err(why) => (String::new(), why.clone()),
    };
    let words = row![
        cell(format!("Version {}", state.version.number)).color(palette.text).width(110),
        cell(format!("kept {}", state.version.when())).color(palette.quiet).width(200),
        cell(marks).color(palette.text).width(110),
        cell(format!("put back: {change}")).color(palette.quiet),
        space::horizontal(),
    ]
    .spacing(12);
    button(words)
        .width(Length::Fill)
        .padding([6, 12])
        .style(theme::key(palette, is_chosen))
        .on_press(Message::Choose(place))
        .into()
}

impl Listed {
    fn of(path: PathBuf) -> Self {
        let name = coding_file::stem(&path);
        match versions::states(&path) {
            Ok((now, states)) => {
                let words =
                    format!("{name}: {}, by {}, now {} marks", now.purpose.word(), now.by, now.marks.len());
                Self { path, words, states }
            }
            Err(error) => Self { path, words: format!("{name}: {error}"), states: Vec::new() },
        }
    }
}
