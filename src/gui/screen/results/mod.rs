//! Results of one session, and Progress of one animal: the numbers beside the pictures of them. Whatever
//! is drawn leads to its place in the film.

mod figures;

use std::path::{Path, PathBuf};

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, mouse_area, row, scrollable, space, svg, text};
use iced::{Element, Length, Point, Subscription, Task};

use self::figures::Group;
use crate::gui::theme::{self, Mode, Palette};
use crate::measures::{Marks, Record, advice, summary};
use crate::model::{AnimalId, Purpose, SessionId};
use crate::report::album;
use crate::report::chart::{Chart, Look};
use crate::storage::StudyFolder;
use crate::storage::study_folder::LoadedCoding;
use crate::time::Micros;

/// Of what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// One coding.
    Session(PathBuf),
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
/// Width of the charts.
const WIDTH: u32 = 840;

/// The screen.
pub struct Results {
    folder: StudyFolder,
    subject: Subject,
    codings: Vec<LoadedCoding>,
    title: String,
    groups: Vec<Group>,
    charts: Vec<(Chart, svg::Handle)>,
    over: Option<(usize, Point)>,
    said: String,
}

impl Results {
    /// Reads what is needed and draws it.
    #[must_use]
    pub fn new(folder: StudyFolder, subject: Subject, mode: Mode) -> Self {
        let mut problems = Vec::new();
        let mut codings: Vec<LoadedCoding> = Vec::new();
        for path in paths(&folder, &subject) {
            match folder.load_coding(&path) {
                Ok(coding) => codings.push(coding),
                Err(error) => problems.push(error.to_string()),
            }
        }
        codings.sort_by(|a, b| {
            (a.session.recorded_at, &a.session.id).cmp(&(b.session.recorded_at, &b.session.id))
        });
        let said = if problems.is_empty() {
            "Click a bar, a step or a mark: the film opens there. Escape goes back, F10 saves the charts."
                .to_owned()
        } else {
            problems.join("; ")
        };
        let mut screen = Self {
            folder,
            subject,
            codings,
            title: String::new(),
            groups: Vec::new(),
            charts: Vec::new(),
            over: None,
            said,
        };
        screen.set_mode(mode);
        screen
    }

    /// Draws everything in the colours of a mode.
    pub fn set_mode(&mut self, mode: Mode) {
        let look = match mode {
            Mode::Dark => Look::dark(),
            Mode::Light => Look::light(),
        };
        let look = look.with_width(WIDTH);
        let records: Vec<Record<'_>> = self
            .codings
            .iter()
            .filter_map(|own| {
                Record::try_new(&own.coding, &own.ethogram, &own.session, &self.folder.study, Marks::All)
            })
            .collect();
        let name = |id: &AnimalId| {
            self.folder.study.animal(id).map_or_else(|| id.to_string(), |animal| animal.name.clone())
        };
        let (title, groups, charts) = match &self.subject {
            Subject::Session(_) => match records.first() {
                Some(record) => {
                    let before = self.before(record);
                    let mut course: Vec<Record<'_>> = before
                        .iter()
                        .filter_map(|own| {
                            let study = &self.folder.study;
                            Record::try_new(&own.coding, &own.ethogram, &own.session, study, Marks::All)
                        })
                        .collect();
                    course.push(record.clone());
                    let coding = &record.coding;
                    let title = format!(
                        "{} · {} · coded by {} ({})",
                        name(&record.session.animal),
                        record.session.recorded_at.map_or_else(
                            || record.session.id.to_string(),
                            |time| time.format("%-d %b %Y").to_string()
                        ),
                        coding.by,
                        coding.purpose.word()
                    );
                    let figures = summary::coding(record).figures;
                    let advice = (coding.purpose == Purpose::Primary).then(|| advice::after(&course));
                    (title, figures::groups(&figures, advice.as_ref()), album::of_session(record, &look))
                }
                None => (String::new(), Vec::new(), Vec::new()),
            },
            Subject::Animal(animal) => {
                let pooled = summary::animals(&records);
                let groups = pooled
                    .first()
                    .map(|own| figures::groups(&own.figures, Some(&advice::after(&records))))
                    .unwrap_or_default();
                let title = format!("{} · {} sessions", name(animal), records.len());
                let charts = if records.is_empty() { Vec::new() } else { album::of_animal(&records, &look) };
                (title, groups, charts)
            }
        };
        self.title = title;
        self.groups = groups;
        self.charts = charts
            .into_iter()
            .map(|chart| {
                let handle = svg::Handle::from_memory(chart.svg.clone().into_bytes());
                (chart, handle)
            })
            .collect();
        self.over = None;
    }

    /// Primary codings of the animal's sessions before this one.
    fn before(&self, record: &Record<'_>) -> Vec<LoadedCoding> {
        let animal = Subject::Animal(record.session.animal.clone());
        let mut all: Vec<LoadedCoding> = paths(&self.folder, &animal)
            .iter()
            .filter_map(|path| self.folder.load_coding(path).ok())
            .filter(|own| own.session.id != record.session.id)
            .filter(|own| own.session.recorded_at < record.session.recorded_at)
            .collect();
        all.sort_by_key(|own| own.session.recorded_at);
        all
    }

    /// What stands in the window's title.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Whether it shows an animal over its sessions.
    #[must_use]
    pub fn is_progress(&self) -> bool {
        matches!(self.subject, Subject::Animal(_))
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
            Message::Save | Message::KeyDown(Key::Named(Named::F10)) => self.save(),
            Message::Leave | Message::KeyDown(Key::Named(Named::Escape)) => return Action::Leave,
            Message::KeyDown(Key::Named(named)) => {
                let by = match named {
                    Named::ArrowDown => 60.0,
                    Named::ArrowUp => -60.0,
                    Named::PageDown | Named::Space => 480.0,
                    Named::PageUp => -480.0,
                    Named::Home => -1.0e6,
                    Named::End => 1.0e6,
                    _ => return Action::None,
                };
                let offset = scrollable::AbsoluteOffset { x: 0.0, y: by };
                return Action::Run(iced::widget::operation::scroll_by(SCROLL, offset));
            }
            Message::KeyDown(_) => {}
        }
        Action::None
    }

    fn hit(&self) -> Option<&crate::report::chart::Hit> {
        let (chart, at) = self.over?;
        let (chart, _) = self.charts.get(chart)?;
        chart.hit_at(f64::from(at.x), f64::from(at.y))
    }

    fn save(&mut self) {
        let folder = self.folder.root().join("figures");
        match write_charts(&folder, &self.title, &self.charts) {
            Ok(count) => self.said = format!("{count} charts saved as SVG in {}", folder.display()),
            Err(error) => self.said = format!("the charts can't be saved ({error}): {}", folder.display()),
        }
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
        let palette = mode.palette();
        if self.charts.is_empty() {
            return nothing(palette, &self.said);
        }
        let mut numbers = column![].spacing(12).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for group in &self.groups {
            numbers = numbers.push(group_view(group, palette));
        }
        let mut pictures =
            column![].spacing(12).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for (place, (chart, handle)) in self.charts.iter().enumerate() {
            #[allow(clippy::cast_precision_loss)] // Sizes of pictures.
            let (width, height) = (chart.width as f32, chart.height as f32);
            let picture = svg(handle.clone()).width(Length::Fixed(width)).height(Length::Fixed(height));
            let over = self.over.is_some_and(|(own, _)| own == place) && self.hit().is_some();
            let area = mouse_area(picture)
                .on_move(move |at| Message::Moved(place, at))
                .on_exit(Message::Left)
                .on_press(Message::Pressed(place));
            let pointer = iced::mouse::Interaction::Pointer;
            pictures = pictures.push(if over { area.interaction(pointer) } else { area });
        }
        let words = self.hit().map_or(self.said.as_str(), |hit| hit.words.as_str());
        let head = row![
            text(&self.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
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

/// The coding files a subject is made of.
fn paths(folder: &StudyFolder, subject: &Subject) -> Vec<PathBuf> {
    match subject {
        Subject::Session(path) => vec![path.clone()],
        Subject::Animal(animal) => folder
            .list()
            .sessions
            .iter()
            .filter(|entry| entry.session.animal == *animal && entry.session.left_out.is_none())
            .filter_map(|entry| {
                let primary = entry.codings.iter().find(|(_, head)| head.purpose == Purpose::Primary)?;
                Some(primary.0.clone())
            })
            .collect(),
    }
}

fn write_charts(folder: &Path, title: &str, charts: &[(Chart, svg::Handle)]) -> std::io::Result<usize> {
    std::fs::create_dir_all(folder)?;
    let name: String = title.chars().map(|own| if own.is_alphanumeric() { own } else { '-' }).collect();
    for (number, (chart, _)) in (1..).zip(charts) {
        let path = folder.join(format!("{name}-{number}.svg"));
        crate::files::write_atomically(&path, chart.svg.as_bytes()).map_err(std::io::Error::other)?;
    }
    Ok(charts.len())
}
