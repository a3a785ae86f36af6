//! The application: which screen is shown, and what passes between them.

mod acting;

use std::path::{Path, PathBuf};
use std::time::Instant;

use iced::widget::{button, column, container, row, text};
use iced::{Element, Length, Subscription, Task, Theme};

use super::screen::agreement::{self, Agreement};
use super::screen::by_samples::{self, BySamples};
use super::screen::changed_film::{self, ChangedFilm};
use super::screen::coding::{self, Coding};
use super::screen::earlier::{self, Earlier};
use super::screen::ethogram::{self, EthogramScreen};
use super::screen::films::{self, Films};
use super::screen::hand_over::{self, HandOver};
use super::screen::intake::{self, Intake};
use super::screen::new_study::{self, NewStudy};
use super::screen::reaction::{self, Reaction};
use super::screen::report::{self, ReportScreen};
use super::screen::results::{self, Results};
use super::screen::sessions::{self, Sessions};
use super::screen::settings::{self, SettingsScreen};
use super::screen::sheet::{self, SheetScreen};
use super::settings::Settings;
use super::theme::{self, Mode};
use crate::storage::{StudyFolder, study_folder};
use crate::time::Micros;

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// For the Sessions screen.
    Sessions(sessions::Message),
    /// For the Coding screen.
    Coding(coding::Message),
    /// For the form of a new study.
    NewStudy(new_study::Message),
    /// For handing a study over.
    HandOver(hand_over::Message),
    /// For new sessions.
    Intake(intake::Message),
    /// For the film that is kept.
    Films(films::Message),
    /// For earlier versions of codings.
    Earlier(earlier::Message),
    /// For changed film.
    ChangedFilm(changed_film::Message),
    /// For two codings of a session.
    Agreement(agreement::Message),
    /// For the numbers and charts.
    Results(results::Message),
    /// For the beginning of a coding by samples.
    BySamples(by_samples::Message),
    /// For the measurement of a reaction lag.
    Reaction(reaction::Message),
    /// For a sheet.
    Sheet(sheet::Message),
    /// For the ethogram.
    Ethogram(ethogram::Message),
    /// Show the ethogram.
    ShowEthogram,
    /// For the report.
    Report(report::Message),
    /// Show the report.
    ShowReport,
    /// For studies and settings.
    Settings(settings::Message),
    /// Show studies and settings.
    ShowSettings,
    /// The cautions have been read.
    CautionsRead,
    /// Show the cautions again.
    ShowCautions,
    /// Dark to light and back.
    ToggleMode,
    /// The next field has the keys.
    NextField,
    /// The field before.
    FieldBefore,
    /// The window is to be closed.
    CloseRequested(iced::window::Id),
}

enum Screen {
    Cautions,
    Sessions,
    NewStudy(NewStudy),
    HandOver(Box<HandOver>),
    Films(Box<Films>),
    Earlier(Box<Earlier>),
    ChangedFilm(Box<ChangedFilm>),
    Intake(Box<Intake>),
    Sheet(Box<SheetScreen>),
    BySamples(Box<BySamples>),
    Reaction(Box<Reaction>),
    Results(Box<Results>),
    Agreement(Box<Agreement>),
    Settings(Box<SettingsScreen>),
    Ethogram(Box<EthogramScreen>),
    Report(Box<ReportScreen>),
    Coding(Box<Coding>),
}

/// The application.
pub struct App {
    screen: Screen,
    sessions: Sessions,
    settings: Settings,
    pending: Option<PathBuf>,
    /// Two codings from which the ethogram was opened: they come back when it is left.
    beneath: Option<Box<Agreement>>,
}

/// What is shown once at first start, and printed with every report.
pub const CAUTIONS: [&str; 5] = [
    "This is not a diagnosis and not a statement of legal compliance. A change in behaviour can be illness or husbandry: contact a licensed veterinarian.",
    "Venomous animals, large constrictors and anything that bites stay under your house's own written handling protocol, which stands above any training plan.",
    "Every reptile may carry Salmonella: wash your hands.",
    "Licensing, dangerous-animal and animal-procedure law differ by place: follow your local codes. Research needs ethics approval.",
    "Filmed people are identifiable: tell them, limit who sees the film, and delete it on time.",
];

impl App {
    /// Opens what was asked for: a study, a clip, a session at a time; else the last study.
    pub fn new(target: Option<&Path>, session: Option<&str>, at: Option<Micros>) -> (Self, Task<Message>) {
        let settings = Settings::load();
        let mut said = None;
        let mut clip = None;
        let wanted = target
            .map(|path| settings.resolved(path))
            .or_else(|| settings.recent.first().filter(|path| path.exists()).cloned());
        let folder = wanted.as_deref().and_then(|path| {
            if path.is_file() && path.file_name().is_some_and(|name| name != "study.json") {
                // A clip: the study that was made around it before, or a new one.
                let beside = NewStudy::new(Some(path.to_owned()), None).folder_for();
                if beside.join("study.json").is_file() {
                    return open_study(&beside, &mut said);
                }
                clip = Some(path.to_owned());
                return None;
            }
            let root = study_folder::study_above(path).unwrap_or_else(|| path.to_owned());
            open_study(&root, &mut said)
        });
        let mut settings = settings;
        if let Some(folder) = &folder {
            settings.opened(folder.root());
        }
        let person = settings.person.clone();
        let sessions = Sessions::new(folder, person.clone(), said);
        let mut app = Self { screen: Screen::Sessions, sessions, settings, pending: None, beneath: None };
        let mut task = Task::none();
        if let Some(clip) = clip {
            app.screen = Screen::NewStudy(NewStudy::new(Some(clip), person));
            task = iced::widget::operation::focus("animal");
        } else if let Some(coding) = app.coding_of(session) {
            task = app.open(&coding, at);
        }
        if !app.settings.cautions_read {
            app.pending = None;
            let behind = std::mem::replace(&mut app.screen, Screen::Cautions);
            app.behind(behind);
        }
        let look = app.sessions.look().map_or_else(Task::none, |look| look.map(Message::Sessions));
        (app, Task::batch([task, look]))
    }

    /// What is shown once the cautions are read.
    fn behind(&mut self, screen: Screen) {
        match screen {
            Screen::Coding(mut coding) => {
                // What the disk does not take is told where it is opened again.
                let _ = coding.finish();
                self.pending = Some(coding.path().to_owned());
            }
            Screen::NewStudy(form) => self.pending = form.clip().map(Path::to_owned),
            Screen::Sessions
            | Screen::HandOver(_)
            | Screen::Films(_)
            | Screen::Earlier(_)
            | Screen::ChangedFilm(_)
            | Screen::Intake(_)
            | Screen::Sheet(_)
            | Screen::BySamples(_)
            | Screen::Reaction(_)
            | Screen::Results(_)
            | Screen::Agreement(_)
            | Screen::Settings(_)
            | Screen::Ethogram(_)
            | Screen::Report(_)
            | Screen::Cautions => {}
        }
    }

    /// The coding to open for a session: the person's own, else the first.
    fn coding_of(&self, session: Option<&str>) -> Option<PathBuf> {
        let folder = self.sessions.folder.as_ref()?;
        let wanted = session?;
        let listing = folder.list();
        let entry = listing.sessions.iter().find(|entry| entry.session.id.as_str() == wanted)?;
        let own = entry.codings.iter().find(|(_, head)| head.by.as_str() == self.sessions.person());
        own.or_else(|| entry.codings.first()).map(|(path, _)| path.clone())
    }

    fn open(&mut self, path: &Path, at: Option<Micros>) -> Task<Message> {
        let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
        match Coding::try_new(folder.clone(), path, at, &self.settings, Instant::now()) {
            Ok((coding, task)) => {
                self.screen = Screen::Coding(Box::new(coding));
                task.map(Message::Coding)
            }
            Err(error) => {
                let person = Some(self.sessions.person().to_owned());
                self.sessions = Sessions::new(Some(folder), person, Some(error.to_string()));
                self.screen = Screen::Sessions;
                Task::none()
            }
        }
    }

    /// Title of the window.
    #[must_use]
    pub fn title(&self) -> String {
        match &self.screen {
            Screen::Coding(coding) => format!("{} – Shedlight", coding.title()),
            _ => "Shedlight".to_owned(),
        }
    }

    /// Colours.
    #[must_use]
    pub fn theme(&self) -> Theme {
        self.settings.mode.theme()
    }

    /// How much larger everything is.
    #[must_use]
    pub fn scale(&self) -> f32 {
        self.settings.scale()
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Task<Message> {
        let task = self.act(message);
        if let Screen::Coding(coding) = &mut self.screen {
            coding.light();
        }
        match self.sessions.look() {
            Some(look) => Task::batch([task, look.map(Message::Sessions)]),
            None => task,
        }
    }

    fn act(&mut self, message: Message) -> Task<Message> {
        match message {
            Message::Sessions(message) => return self.act_on_sessions(message),
            Message::HandOver(message) => return self.act_on_hand_over(message),
            Message::Films(message) => return self.act_on_films(message),
            Message::Earlier(message) => return self.act_on_earlier(message),
            Message::ChangedFilm(message) => self.act_on_changed_film(message),
            Message::Intake(message) => return self.act_on_intake(message),
            Message::Results(message) => return self.act_on_results(&message),
            Message::Agreement(message) => return self.act_on_agreement(message),
            Message::Sheet(message) => self.act_on_sheet(message),
            Message::BySamples(message) => return self.act_on_by_samples(message),
            Message::Reaction(message) => return self.act_on_reaction(message),
            Message::Settings(message) => return self.act_on_settings(message),
            Message::Ethogram(message) => return self.act_on_ethogram(message),
            Message::Report(message) => return self.act_on_report(message),
            Message::ShowReport => {
                if let (Screen::Sessions, Some(folder)) = (&self.screen, &self.sessions.folder) {
                    self.screen = Screen::Report(Box::new(ReportScreen::new(folder.clone())));
                    return iced::widget::operation::focus(sheet::FIRST);
                }
            }
            Message::ShowEthogram => {
                if let (Screen::Sessions, Some(folder)) = (&self.screen, &self.sessions.folder) {
                    self.screen = Screen::Ethogram(Box::new(EthogramScreen::new(folder.clone())));
                    return iced::widget::operation::focus(sheet::FIRST);
                }
            }
            Message::ShowSettings => {
                if matches!(self.screen, Screen::Sessions) {
                    self.screen = Screen::Settings(Box::new(SettingsScreen::new(self.settings.clone())));
                }
            }
            Message::Coding(message) => return self.act_on_coding(message),
            Message::NewStudy(message) => return self.act_on_new_study(message),
            Message::CautionsRead => {
                self.settings.cautions_read = true;
                self.settings.save();
                self.screen = Screen::Sessions;
                if let Some(path) = self.pending.take() {
                    if path.to_string_lossy().ends_with(".coding.json") {
                        return self.open(&path, None);
                    }
                    self.screen = Screen::NewStudy(NewStudy::new(Some(path), self.settings.person.clone()));
                    return iced::widget::operation::focus("animal");
                }
            }
            Message::ShowCautions => {
                if matches!(self.screen, Screen::Sessions) {
                    self.screen = Screen::Cautions;
                }
            }
            Message::NextField => return iced::widget::operation::focus_next(),
            Message::FieldBefore => return iced::widget::operation::focus_previous(),
            Message::ToggleMode => {
                self.settings.mode = self.settings.mode.other();
                self.settings.save();
                match &mut self.screen {
                    Screen::Results(open) => {
                        return open.set_mode(self.settings.mode).map(Message::Results);
                    }
                    Screen::Settings(open) => open.set_mode(self.settings.mode),
                    Screen::Agreement(open) => open.set_mode(self.settings.mode),
                    _ => {}
                }
            }
            Message::CloseRequested(id) => {
                if let Screen::Coding(coding) = &mut self.screen
                    && !coding.finish()
                {
                    return Task::none();
                }
                if let Screen::Ethogram(open) = &mut self.screen {
                    open.finish();
                }
                return iced::window::close(id);
            }
        }
        Task::none()
    }

    fn remember_person(&mut self) {
        let person = self.sessions.person().trim().to_owned();
        if !person.is_empty() && self.settings.person.as_deref() != Some(person.as_str()) {
            self.settings.person = Some(person);
            self.settings.save();
        }
    }

    /// What is listened to.
    pub fn subscription(&self) -> Subscription<Message> {
        let own = match &self.screen {
            Screen::Coding(coding) => coding.subscription().map(Message::Coding),
            Screen::Sessions => Sessions::subscription().map(Message::Sessions),
            Screen::Cautions => iced::keyboard::listen().filter_map(|event| match event {
                iced::keyboard::Event::KeyPressed {
                    key: iced::keyboard::Key::Named(iced::keyboard::key::Named::Enter),
                    ..
                } => Some(Message::CautionsRead),
                _ => None,
            }),
            Screen::NewStudy(_) => NewStudy::subscription().map(Message::NewStudy),
            Screen::HandOver(_) => HandOver::subscription().map(Message::HandOver),
            Screen::Films(_) => Films::subscription().map(Message::Films),
            Screen::Earlier(_) => Earlier::subscription().map(Message::Earlier),
            Screen::ChangedFilm(_) => ChangedFilm::subscription().map(Message::ChangedFilm),
            Screen::Intake(_) => Intake::subscription().map(Message::Intake),
            Screen::Sheet(_) => SheetScreen::subscription().map(Message::Sheet),
            Screen::BySamples(_) => BySamples::subscription().map(Message::BySamples),
            Screen::Reaction(open) => open.subscription().map(Message::Reaction),
            Screen::Results(_) => Results::subscription().map(Message::Results),
            Screen::Agreement(open) => open.subscription().map(Message::Agreement),
            Screen::Settings(_) => SettingsScreen::subscription().map(Message::Settings),
            Screen::Ethogram(_) => EthogramScreen::subscription().map(Message::Ethogram),
            Screen::Report(_) => ReportScreen::subscription().map(Message::Report),
        };
        let fields = match &self.screen {
            Screen::Sessions
            | Screen::NewStudy(_)
            | Screen::Sheet(_)
            | Screen::Ethogram(_)
            | Screen::Report(_)
            | Screen::HandOver(_)
            | Screen::Films(_)
            | Screen::ChangedFilm(_)
            | Screen::Intake(_) => iced::event::listen_with(|event, _, _| match event {
                iced::Event::Keyboard(event) => field_key(event),
                _ => None,
            }),
            Screen::Cautions
            | Screen::BySamples(_)
            | Screen::Reaction(_)
            | Screen::Coding(_)
            | Screen::Earlier(_)
            | Screen::Results(_)
            | Screen::Agreement(_)
            | Screen::Settings(_) => Subscription::none(),
        };
        Subscription::batch([own, fields, iced::window::close_requests().map(Message::CloseRequested)])
    }

    /// The window.
    pub fn view(&self) -> Element<'_, Message> {
        let mode = self.settings.mode;
        let palette = mode.palette();
        let body: Element<'_, Message> = match &self.screen {
            Screen::Cautions => cautions(mode),
            Screen::Sessions => self.sessions.view(mode).map(Message::Sessions),
            Screen::NewStudy(form) => form.view(mode).map(Message::NewStudy),
            Screen::HandOver(open) => open.view(mode).map(Message::HandOver),
            Screen::Films(open) => open.view(mode).map(Message::Films),
            Screen::Earlier(open) => open.view(mode).map(Message::Earlier),
            Screen::ChangedFilm(open) => open.view(mode).map(Message::ChangedFilm),
            Screen::Intake(open) => open.view(mode).map(Message::Intake),
            Screen::Sheet(open) => open.view(mode).map(Message::Sheet),
            Screen::BySamples(open) => open.view(mode).map(Message::BySamples),
            Screen::Reaction(open) => open.view(mode).map(Message::Reaction),
            Screen::Results(open) => open.view(mode).map(Message::Results),
            Screen::Agreement(open) => open.view(mode).map(Message::Agreement),
            Screen::Settings(open) => open.view(mode).map(Message::Settings),
            Screen::Ethogram(open) => open.view(mode).map(Message::Ethogram),
            Screen::Report(open) => open.view(mode).map(Message::Report),
            Screen::Coding(coding) => coding.view(mode).map(Message::Coding),
        };
        let tab = |name: &'static str, active: bool, on: Option<Message>| {
            button(text(name).size(theme::BODY))
                .padding([4, 12])
                .style(theme::key(palette, active))
                .on_press_maybe(on)
        };
        let is_coding = matches!(self.screen, Screen::Coding(_));
        let place = match &self.screen {
            Screen::Coding(coding) => coding.title(),
            Screen::Sheet(open) => open.title().to_owned(),
            _ => String::new(),
        };
        let back = match &self.screen {
            Screen::Coding(_) => Some(Message::Coding(coding::Message::Leave)),
            Screen::HandOver(_) => Some(Message::HandOver(hand_over::Message::Leave)),
            Screen::Films(_) => Some(Message::Films(films::Message::Leave)),
            Screen::Earlier(_) => Some(Message::Earlier(earlier::Message::Leave)),
            Screen::ChangedFilm(_) => Some(Message::ChangedFilm(changed_film::Message::Leave)),
            Screen::Intake(_) => Some(Message::Intake(intake::Message::Leave)),
            Screen::Results(_) => Some(Message::Results(results::Message::Leave)),
            Screen::Agreement(_) => Some(Message::Agreement(agreement::Message::Leave)),
            Screen::Sheet(_) => Some(Message::Sheet(sheet::Message::Leave)),
            Screen::Settings(_) => Some(Message::Settings(settings::Message::Leave)),
            Screen::Ethogram(_) => Some(Message::Ethogram(ethogram::Message::Leave)),
            Screen::Report(_) => Some(Message::Report(report::Message::Leave)),
            Screen::BySamples(_) => Some(Message::BySamples(by_samples::Message::Leave)),
            Screen::Reaction(_) => Some(Message::Reaction(reaction::Message::Leave)),
            _ => None,
        };
        let asks = |what| {
            let free = matches!(self.screen, Screen::Sessions) && self.sessions.folder.is_some();
            free.then_some(Message::Sessions(sessions::Message::Sheet(what)))
        };
        let shows =
            |progress| matches!(&self.screen, Screen::Results(open) if open.is_progress() == progress);
        let bar = row![
            text("Shedlight").size(theme::BODY).font(theme::MEDIUM).color(palette.quiet),
            tab("Sessions", matches!(self.screen, Screen::Sessions), back),
            tab("Coding", is_coding, None),
            tab("Results", shows(false), asks(sessions::Ask::Results)),
            tab("Progress", shows(true), asks(sessions::Ask::Progress)),
            tab("Agreement", matches!(self.screen, Screen::Agreement(_)), asks(sessions::Ask::Agreement)),
            tab(
                "Ethogram",
                matches!(self.screen, Screen::Ethogram(_)),
                (matches!(self.screen, Screen::Sessions) && self.sessions.folder.is_some())
                    .then_some(Message::ShowEthogram),
            ),
            tab(
                "Report",
                matches!(self.screen, Screen::Report(_)),
                (matches!(self.screen, Screen::Sessions) && self.sessions.folder.is_some())
                    .then_some(Message::ShowReport),
            ),
            // What is open gives way to the buttons beside it.
            container(
                text(place)
                    .size(theme::BODY)
                    .color(palette.quiet)
                    .wrapping(iced::widget::text::Wrapping::None)
            )
            .align_right(Length::Fill)
            .clip(true),
            tab(
                "Settings",
                matches!(self.screen, Screen::Settings(_)),
                matches!(self.screen, Screen::Sessions).then_some(Message::ShowSettings),
            ),
            tab("Cautions", false, (!is_coding).then_some(Message::ShowCautions)),
            tab(if mode == Mode::Dark { "Light" } else { "Dark" }, false, Some(Message::ToggleMode)),
        ]
        .spacing(8)
        .align_y(iced::Center);
        let bar = container(bar).padding([4, 8]).width(Length::Fill).style(theme::plain(palette.panel));
        column![bar, body].into()
    }
}

/// Tab goes from field to field.
fn field_key(event: iced::keyboard::Event) -> Option<Message> {
    let iced::keyboard::Event::KeyPressed { key, modifiers, .. } = event else { return None };
    let is_tab = key == iced::keyboard::Key::Named(iced::keyboard::key::Named::Tab);
    is_tab.then_some(if modifiers.shift() { Message::FieldBefore } else { Message::NextField })
}

/// A seed nobody chose; small enough to be read out. What is drawn with it is kept beside it.
fn seed() -> u64 {
    u64::from(chrono::Local::now().timestamp_subsec_micros())
}

fn open_study(root: &Path, said: &mut Option<String>) -> Option<StudyFolder> {
    match StudyFolder::open(root) {
        Ok(folder) => Some(folder),
        Err(error) => {
            *said = Some(error.to_string());
            None
        }
    }
}

fn cautions<'a>(mode: Mode) -> Element<'a, Message> {
    let palette = mode.palette();
    let mut words =
        column![text("Before you begin").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text)]
            .spacing(12);
    for caution in CAUTIONS {
        words = words.push(text(caution).size(theme::BODY).color(palette.text));
    }
    words = words.push(
        button(text("I have read this (Enter)").size(theme::BODY))
            .padding([8, 16])
            .style(theme::key(palette, true))
            .on_press(Message::CautionsRead),
    );
    container(container(words).padding(24).max_width(720).style(theme::card(palette)))
        .center(Length::Fill)
        .into()
}
