//! Results of one session, and Progress of one animal: the numbers beside the pictures of them. Whatever
//! is drawn leads to its place in the film.

mod drawn;
mod figures;
mod save;

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, sensor, space, text};
use iced::{Element, Length, Point, Size, Subscription, Task};

pub use self::drawn::Drawn;
use self::figures::Group;
use crate::gui::theme::{self, Mode, Palette};
use crate::gui::widget::pictures::{self, Touch};
use crate::model::{AnimalId, SessionId};
use crate::storage::StudyFolder;
use crate::time::Micros;

/// Of what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// One coding.
    Session(PathBuf),
    /// Codings of several sessions, chosen one by one: pooled, the session as the unit.
    Several(Vec<PathBuf>),
    /// All primary codings of an animal.
    Animal(AnimalId),
}

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// The pointer moved over a chart.
    Moved(usize, Point),
    /// It left it.
    Left,
    /// A chart was clicked.
    Pressed(usize),
    /// A key went down.
    KeyDown(Key),
    /// Save the charts.
    Save,
    /// They are saved, or not: in words.
    Saved(String),
    /// The screen has this size.
    Sized(Size),
    /// What was asked for is drawn; the number says by which asking.
    Drawn(u64, Arc<Drawn>),
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Scroll.
    Run(Task<Message>),
    /// Show this moment of this session's film.
    Go(SessionId, Micros),
    /// Back.
    Leave,
}

/// The pictures' scroll.
const SCROLL: &str = "results-charts";
/// The screen.
pub struct Results {
    folder: StudyFolder,
    subject: Subject,
    /// Sessions that the person at work is still to code a second time: nothing of them is shown.
    hidden: BTreeSet<SessionId>,
    mode: Mode,
    /// Width of the charts.
    width: u32,
    /// What is shown; while something new is being drawn, what was there before.
    drawn: Option<Arc<Drawn>>,
    /// How often drawing was asked for: what an earlier asking brings late is not shown.
    asked: u64,
    over: Option<(usize, Point)>,
    said: String,
}

/// What the last line says while nothing else is to be said.
const HELP: &str = "Click a mark: the film opens there. C: the session's next coding, + and −: a session in or out, \
                    A: the whole study. Escape goes back, F10 saves the charts.";
/// The same for one animal's progress.
const HELP_PROGRESS: &str =
    "Click a dot, a bar or a step: the film opens there. Escape goes back, F10 saves the charts.";

impl Results {
    /// The screen, and the task that reads what is needed and draws it, off the drawing thread.
    pub fn start(
        folder: StudyFolder,
        subject: Subject,
        hidden: BTreeSet<SessionId>,
        mode: Mode,
    ) -> (Self, Task<Message>) {
        let said = String::new();
        let width = drawn::WIDTHS.0;
        let mut screen =
            Self { folder, subject, hidden, mode, width, drawn: None, asked: 0, over: None, said };
        let task = screen.draw();
        (screen, task)
    }

    /// The same, drawn before it returns.
    #[must_use]
    pub fn new(folder: StudyFolder, subject: Subject, hidden: BTreeSet<SessionId>, mode: Mode) -> Self {
        let width = drawn::WIDTHS.0;
        let drawn = Some(Arc::new(Drawn::of(&folder, &subject, &hidden, mode, width)));
        Self { folder, subject, hidden, mode, width, drawn, asked: 0, over: None, said: String::new() }
    }

    /// Draws everything anew; what is there stays until it is done.
    fn draw(&mut self) -> Task<Message> {
        self.asked += 1;
        let (asked, folder, subject, mode) =
            (self.asked, self.folder.clone(), self.subject.clone(), self.mode);
        let (hidden, width) = (self.hidden.clone(), self.width);
        let drawn = async move { Arc::new(Drawn::of(&folder, &subject, &hidden, mode, width)) };
        Task::perform(drawn, move |drawn| Message::Drawn(asked, drawn))
    }

    /// Draws everything in the colours of a mode.
    pub fn set_mode(&mut self, mode: Mode) -> Task<Message> {
        self.mode = mode;
        self.draw()
    }

    /// Takes other sessions.
    fn choose(&mut self, subject: Subject) -> Action {
        if subject == self.subject {
            "There is no other one.".clone_into(&mut self.said);
            return Action::None;
        }
        self.subject = subject;
        self.said.clear();
        Action::Run(self.draw())
    }

    /// What stands in the window's title.
    #[must_use]
    pub fn title(&self) -> &str {
        self.drawn.as_ref().map_or("", |drawn| &drawn.title)
    }

    /// Whether it shows an animal over its sessions.
    #[must_use]
    pub fn is_progress(&self) -> bool {
        matches!(self.subject, Subject::Animal(_))
    }

    /// The coding that is shown, if it is one alone.
    #[must_use]
    pub fn coding(&self) -> Option<&std::path::Path> {
        match &self.subject {
            Subject::Session(path) => Some(path),
            Subject::Several(_) | Subject::Animal(_) => None,
        }
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: &Message) -> Action {
        match message {
            Message::Moved(chart, at) => self.over = Some((*chart, *at)),
            Message::Left => self.over = None,
            Message::Pressed(_) => {
                if let Some((session, at)) = self.hit().map(|hit| (hit.session.clone(), hit.at)) {
                    return Action::Go(session, at);
                }
            }
            Message::Save | Message::KeyDown(Key::Named(Named::F10)) => return self.save(),
            Message::Saved(words) => self.said.clone_from(words),
            Message::Sized(size) => {
                let width = drawn::width_in(size.width);
                if width != self.width {
                    self.width = width;
                    return Action::Run(self.draw());
                }
            }
            Message::Drawn(asked, drawn) => {
                if *asked == self.asked {
                    (self.drawn, self.over) = (Some(drawn.clone()), None);
                }
            }
            Message::KeyDown(Key::Character(key)) if !self.is_progress() => {
                let subject = match key.as_str() {
                    "+" | "=" => drawn::with_another(&self.folder, &self.subject, &self.hidden),
                    "-" | "−" => drawn::without_last(&self.folder, &self.subject, &self.hidden),
                    "c" | "C" => drawn::next_coding(&self.folder, &self.subject),
                    "a" | "A" => drawn::whole_study(&self.folder, &self.hidden),
                    _ => return Action::None,
                };
                return self.choose(subject);
            }
            Message::Leave | Message::KeyDown(Key::Named(Named::Escape)) => return Action::Leave,
            Message::KeyDown(Key::Named(named)) => {
                let Some(by) = pictures::scrolls(*named) else { return Action::None };
                let offset = scrollable::AbsoluteOffset { x: 0.0, y: by };
                return Action::Run(iced::widget::operation::scroll_by(SCROLL, offset));
            }
            Message::KeyDown(_) => {}
        }
        Action::None
    }

    fn hit(&self) -> Option<&crate::report::chart::Hit> {
        pictures::hit(&self.drawn.as_ref()?.charts, self.over)
    }

    fn save(&mut self) -> Action {
        let Some(drawn) = self.drawn.clone() else { return Action::None };
        "Saving the charts …".clone_into(&mut self.said);
        let folder = self.folder.root().join("figures");
        let name = format!("{} {}", self.folder.study.title, drawn.title);
        let saved = async move { save::charts(&folder, &name, &drawn.charts) };
        Action::Run(Task::perform(saved, Message::Saved))
    }

    /// What the last line says.
    fn words<'s>(&'s self, drawn: &'s Drawn) -> &'s str {
        let help = if self.is_progress() { HELP_PROGRESS } else { HELP };
        let said = [self.said.as_str(), drawn.problems.as_str()];
        said.into_iter().find(|words| !words.is_empty()).unwrap_or(help)
    }

    /// Keys of the screen.
    pub fn subscription() -> Subscription<Message> {
        keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, .. } => Some(Message::KeyDown(key)),
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let inside = container(self.inside(mode.palette())).width(Length::Fill).height(Length::Fill);
        sensor(inside).on_show(Message::Sized).on_resize(Message::Sized).into()
    }

    fn inside(&self, palette: Palette) -> Element<'_, Message> {
        let Some(drawn) = &self.drawn else { return still_drawing(palette) };
        if drawn.charts.is_empty() {
            return nothing(palette, self.words(drawn));
        }
        let mut numbers = column![].spacing(12).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for group in &drawn.groups {
            numbers = numbers.push(group_view(group, palette));
        }
        let pictures = pictures::pictures(&drawn.charts, self.over, |touch| match touch {
            Touch::Moved(chart, at) => Message::Moved(chart, at),
            Touch::Left => Message::Left,
            Touch::Pressed(chart) => Message::Pressed(chart),
        });
        let words = self.hit().map_or_else(|| self.words(drawn), |hit| hit.words.as_str());
        let head = row![
            text(&drawn.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            space::horizontal(),
            button(text("Save the charts (F10)").size(theme::BODY))
                .padding([4, 12])
                .style(theme::key(palette, false))
                .on_press(Message::Save),
        ]
        .align_y(iced::Center);
        column![
            head,
            row![
                scrollable(numbers).height(Length::Fill).width(Length::Fill),
                scrollable(pictures).id(SCROLL).height(Length::Fill),
            ]
            .spacing(12)
            .height(Length::Fill),
            text(words).size(theme::BODY).color(palette.quiet),
        ]
        .spacing(8)
        .padding(12)
        .into()
    }
}

fn group_view(group: &Group, palette: Palette) -> Element<'_, Message> {
    let mut lines =
        column![text(group.title).size(theme::TITLE).font(theme::MEDIUM).color(palette.text)].spacing(3);
    for (what, value) in &group.lines {
        let value = text(value).size(theme::BODY).color(palette.text).width(Length::FillPortion(3));
        let what = text(what).size(theme::BODY).color(palette.quiet).width(Length::FillPortion(2));
        lines = lines.push(row![what, value].spacing(8));
    }
    container(lines).padding(12).width(Length::Fill).style(theme::card(palette)).into()
}

/// The first time, until there is something to show.
fn still_drawing(palette: Palette) -> Element<'static, Message> {
    container(text("Counting and drawing …").size(theme::BODY).color(palette.quiet))
        .center(Length::Fill)
        .into()
}

/// Nothing can be shown.
fn nothing(palette: Palette, said: &str) -> Element<'_, Message> {
    let words = column![
        text("Nothing to show yet").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
        text("Numbers come from codings: open a session, code it, and tick a pass as done. A session whose film has never been opened has no length yet.")
            .size(theme::BODY)
            .color(palette.quiet),
        text(said).size(theme::BODY).color(palette.quiet),
        button(text("Back (Escape)").size(theme::BODY))
            .padding([8, 16])
            .style(theme::key(palette, true))
            .on_press(Message::Leave),
    ]
    .spacing(12)
    .max_width(560);
    container(words).center(Length::Fill).into()
}
