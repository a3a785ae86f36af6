//! Studies and settings: what was opened lately, the demo, and how the window is for this person here.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use iced::futures::channel::mpsc;
use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, progress_bar, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription, Task};

use crate::demo::{self, Begun};
use crate::gui::settings::Settings;
use crate::gui::theme::{self, Mode, Palette};
use crate::workbench::sheet::units::{Temperature, Weight};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A key went down.
    KeyDown(Key),
    /// Choose a line.
    Choose(usize),
    /// The chosen setting's next value (1) or the one before (-1).
    Change(isize),
    /// Do what the chosen line is for.
    Act,
    /// The path of a study is typed.
    Path(String),
    /// Open the study of that path.
    OpenPath,
    /// How far the demo has come, or what came of it.
    Demo(Told),
    /// Back.
    Leave,
}

/// What comes from the drawing of the demo.
#[derive(Debug, Clone)]
pub enum Told {
    /// The share done.
    Share(f32),
    /// Its folder, or why there is none.
    Done(Result<PathBuf, String>),
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Take the settings as they are now.
    Take(Settings),
    /// Open a study.
    Open(PathBuf),
    /// Back.
    Leave,
}

/// A line that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Line {
    Study(PathBuf),
    Demo,
    Mode,
    TextSize,
    Cache,
    Mirrored,
    Temperature,
    Weight,
}

/// Sizes of text to choose from, in percent.
const TEXT_SIZES: [u16; 5] = [100, 115, 130, 150, 175];
/// Bounds of the pictures kept in memory, in MiB.
const CACHES: [u32; 5] = [256, 512, 1024, 2048, 4096];

/// The demo is being drawn: by one thread of this program at a time, also when its screen has been left.
static IS_DRAWN: AtomicBool = AtomicBool::new(false);

/// The screen.
pub struct SettingsScreen {
    settings: Settings,
    lines: Vec<Line>,
    chosen: usize,
    path: String,
    said: String,
    drawing: Option<f32>,
}

impl SettingsScreen {
    /// With the settings as they are.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        let studies = settings.recent.iter().filter(|path| path.join("study.json").is_file());
        let mut lines: Vec<Line> = studies.cloned().map(Line::Study).collect();
        lines.extend([Line::Demo, Line::Mode, Line::TextSize, Line::Cache, Line::Mirrored]);
        lines.extend([Line::Temperature, Line::Weight]);
        let said = "Up and Down choose, Left and Right change, Enter opens, Escape goes back.".to_owned();
        Self { settings, lines, chosen: 0, path: String::new(), said, drawing: None }
    }

    /// The theme was changed elsewhere.
    pub fn set_mode(&mut self, mode: Mode) {
        self.settings.mode = mode;
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::KeyDown(key) => match key.as_ref() {
                Key::Named(Named::ArrowDown) => self.chosen = (self.chosen + 1).min(self.lines.len() - 1),
                Key::Named(Named::ArrowUp) => self.chosen = self.chosen.saturating_sub(1),
                Key::Named(Named::ArrowRight) => return self.change(1),
                Key::Named(Named::ArrowLeft) => return self.change(-1),
                Key::Named(Named::Enter) if self.path.is_empty() => return self.act(),
                Key::Named(Named::Escape) => return Action::Leave,
                _ => {}
            },
            Message::Choose(line) => self.chosen = line.min(self.lines.len() - 1),
            Message::Change(by) => return self.change(by),
            Message::Act => return self.act(),
            Message::Path(text) => self.path = text,
            Message::OpenPath => {
                let typed = PathBuf::from(self.path.trim());
                if typed.join("study.json").is_file() {
                    return Action::Open(typed);
                }
                self.said = format!("there is no study in that folder (no study.json): {}", typed.display());
            }
            Message::Demo(Told::Share(share)) => self.drawing = Some(share),
            Message::Demo(Told::Done(done)) => {
                self.drawing = None;
                match done {
                    Ok(root) => return Action::Open(root),
                    Err(why) => self.said = format!("the demo could not be written: {why}"),
                }
            }
            Message::Leave => return Action::Leave,
        }
        Action::None
    }

    fn act(&mut self) -> Action {
        match self.lines.get(self.chosen) {
            Some(Line::Study(path)) => Action::Open(path.clone()),
            Some(Line::Demo) => self.draw_demo(),
            _ => self.change(1),
        }
    }

    fn change(&mut self, by: isize) -> Action {
        match self.lines.get(self.chosen) {
            Some(Line::Mode) => self.settings.mode = self.settings.mode.other(),
            Some(Line::TextSize) => {
                self.settings.text_percent = next(&TEXT_SIZES, self.settings.text_percent, by);
            }
            Some(Line::Cache) => self.settings.cache_mib = next(&CACHES, self.settings.cache_mib, by),
            Some(Line::Mirrored) => self.settings.mirrored = !self.settings.mirrored,
            Some(Line::Temperature) => {
                let all = [Temperature::Celsius, Temperature::Fahrenheit];
                self.settings.units.temperature = next(&all, self.settings.units.temperature, by);
            }
            Some(Line::Weight) => {
                let all = [Weight::Grams, Weight::Kilograms, Weight::Ounces];
                self.settings.units.weight = next(&all, self.settings.units.weight, by);
            }
            Some(Line::Study(_) | Line::Demo) | None => return Action::None,
        }
        Action::Take(self.settings.clone())
    }

    /// Writes the demo beside the other documents and draws its film, in a thread of its own.
    fn draw_demo(&mut self) -> Action {
        if self.drawing.is_some() {
            return Action::None;
        }
        let Some(root) = demo::default_folder() else {
            "there is no home folder here to write the demo to".clone_into(&mut self.said);
            return Action::None;
        };
        if IS_DRAWN.swap(true, Ordering::Relaxed) {
            "the demo is being drawn already; it is said in Sessions when it is ready"
                .clone_into(&mut self.said);
            return Action::None;
        }
        self.drawing = Some(0.0);
        "the film of six invented sessions is being drawn; you can go on meanwhile"
            .clone_into(&mut self.said);
        let (sender, receiver) = mpsc::unbounded();
        let failure = sender.clone();
        let spawned = std::thread::Builder::new().name("demo".to_owned()).spawn(move || {
            let drawn = match demo::begin(&root) {
                Ok(Begun::Written(study) | Begun::There(study)) => {
                    let told = sender.clone();
                    // When nobody listens any more it is drawn all the same: half a demo helps nobody.
                    demo::drawing::draw_with_total(&study, &|share| {
                        let _ = told.unbounded_send(Told::Share(share));
                    })
                    .map_err(|error| error.to_string())
                }
                Ok(Begun::Another) => Err(format!("another study lies in its place: {}", root.display())),
                Err(error) => Err(error.to_string()),
            };
            IS_DRAWN.store(false, Ordering::Relaxed);
            let _ = sender.unbounded_send(Told::Done(drawn.map(|()| root)));
        });
        if let Err(error) = spawned {
            IS_DRAWN.store(false, Ordering::Relaxed);
            let _ = failure.unbounded_send(Told::Done(Err(error.to_string())));
        }
        Action::Run(Task::run(receiver, Message::Demo))
    }

    /// Keys.
    pub fn subscription() -> Subscription<Message> {
        keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, .. } => Some(Message::KeyDown(key)),
            _ => None,
        })
    }

    /// The screen.
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let head =
            |words: &'static str| text(words).size(theme::TITLE).font(theme::MEDIUM).color(palette.text);
        let first_setting = self.lines.iter().position(|line| *line == Line::Mode).unwrap_or(0);
        let mut studies = column![head("Studies")].spacing(6);
        let mut settings = column![head("For you on this computer")].spacing(6);
        for (place, line) in self.lines.iter().enumerate() {
            let drawn = self.line(place, line, palette);
            if place < first_setting {
                studies = studies.push(drawn);
            } else {
                settings = settings.push(drawn);
            }
        }
        let path = text_input("Another study's folder; Enter opens it", &self.path)
            .size(theme::BODY)
            .padding([6, 10])
            .style(theme::input(palette))
            .on_input(Message::Path)
            .on_submit(Message::OpenPath);
        studies = studies.push(path);
        if let Some(share) = self.drawing {
            studies = studies.push(progress_bar(0.0..=1.0, share).girth(6));
        }
        let body = row![
            container(studies).width(Length::FillPortion(1)),
            container(settings).width(Length::FillPortion(1)),
        ]
        .spacing(32);
        let said = text(&self.said).size(theme::BODY).color(palette.quiet);
        column![scrollable(body).height(Length::Fill), said].spacing(12).padding(16).into()
    }

    fn line<'a>(&'a self, place: usize, line: &'a Line, palette: Palette) -> Element<'a, Message> {
        let (name, value) = match line {
            Line::Study(path) => {
                let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                let folder = path.parent().map(|folder| folder.display().to_string()).unwrap_or_default();
                (name, folder)
            }
            Line::Demo => {
                let value = match self.drawing {
                    Some(share) => format!("drawing, {:.0} %", share * 100.0),
                    None => "invented; to look around".to_owned(),
                };
                ("The demo".to_owned(), value)
            }
            Line::Mode => {
                let value = if self.settings.mode == Mode::Dark { "dark" } else { "light" };
                ("Theme".to_owned(), value.to_owned())
            }
            Line::TextSize => ("Size of everything".to_owned(), format!("{} %", self.settings.text_percent)),
            Line::Cache => {
                let value = format!("{} MiB of pictures", self.settings.cache_mib);
                ("Kept in memory for each clip".to_owned(), value)
            }
            Line::Mirrored => {
                let value = if self.settings.mirrored { "mirrored: Q is P" } else { "as the ethogram says" };
                ("Coding keys".to_owned(), value.to_owned())
            }
            Line::Temperature => {
                let value = match self.settings.units.temperature {
                    Temperature::Celsius => "°C",
                    Temperature::Fahrenheit => "°F; files and reports keep °C",
                };
                ("Temperatures in forms".to_owned(), value.to_owned())
            }
            Line::Weight => {
                let value = match self.settings.units.weight {
                    Weight::Grams => "g",
                    Weight::Kilograms => "kg, food in g; files and reports keep g",
                    Weight::Ounces => "oz; files and reports keep g",
                };
                ("Body mass and food in forms".to_owned(), value.to_owned())
            }
        };
        let words = row![
            text(name).size(theme::BODY).color(palette.text),
            space::horizontal(),
            text(value).size(theme::BODY).color(palette.quiet),
        ]
        .spacing(12);
        let here = place == self.chosen;
        let on_press = if here { Message::Act } else { Message::Choose(place) };
        button(words)
            .width(Length::Fill)
            .padding([8, 12])
            .style(theme::key(palette, here))
            .on_press(on_press)
            .into()
    }
}

/// The value after (or before) one, stopping at either end.
fn next<T: Copy + PartialEq>(values: &[T], now: T, by: isize) -> T {
    let place = values.iter().position(|own| *own == now).unwrap_or(0);
    let next = place.saturating_add_signed(by).min(values.len().saturating_sub(1));
    values.get(next).copied().unwrap_or(now)
}
