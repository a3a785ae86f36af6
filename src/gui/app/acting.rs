//! What the screens ask the application for.

use std::path::Path;
use std::time::Instant;

use iced::Task;

use super::{App, Message, Screen, open_study, seed};
use crate::gui::screen::agreement::{self, Agreement};
use crate::gui::screen::by_samples::{self, BySamples};
use crate::gui::screen::changed_film::{self, ChangedFilm};
use crate::gui::screen::earlier::{self, Earlier};
use crate::gui::screen::ethogram::EthogramScreen;
use crate::gui::screen::films::{self, Films};
use crate::gui::screen::hand_over::{self, HandOver};
use crate::gui::screen::intake::{self, Intake};
use crate::gui::screen::new_study::{self, NewStudy};
use crate::gui::screen::reaction::{self, Reaction};
use crate::gui::screen::results::{self, Results};
use crate::gui::screen::sessions::{self, Sessions};
use crate::gui::screen::settings::{self, SettingsScreen};
use crate::gui::screen::sheet::{self, SheetScreen};
use crate::gui::screen::{coding, ethogram, report};
use crate::storage::StudyFolder;

impl App {
    pub(super) fn act_on_new_study(&mut self, message: new_study::Message) -> Task<Message> {
        let Screen::NewStudy(form) = &mut self.screen else { return Task::none() };
        match form.update(message) {
            new_study::Action::None => {}
            new_study::Action::Leave => self.screen = Screen::Sessions,
            new_study::Action::Made(made) => {
                let (folder, coding) = *made;
                self.settings.opened(folder.root());
                let person = folder.study.people.first().map(|person| person.code.to_string());
                self.sessions = Sessions::new(Some(folder), person, None);
                self.remember_person();
                self.screen = Screen::Sessions;
                if let Some(coding) = coding {
                    return self.open(&coding, None);
                }
            }
        }
        Task::none()
    }

    pub(super) fn act_on_report(&mut self, message: report::Message) -> Task<Message> {
        let Screen::Report(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            report::Action::None => {}
            report::Action::Run(task) => return task.map(Message::Report),
            report::Action::Leave(folder) => {
                self.sessions.folder = Some(*folder);
                self.sessions.refresh();
                self.screen = Screen::Sessions;
            }
        }
        Task::none()
    }

    pub(super) fn act_on_ethogram(&mut self, message: ethogram::Message) -> Task<Message> {
        use iced::keyboard::{Key, key::Named};
        let Screen::Ethogram(open) = &mut self.screen else { return Task::none() };
        let names_a_set =
            matches!(&message, ethogram::Message::KeyDown(key, _) if *key == Key::Named(Named::F3));
        match open.update(message) {
            ethogram::Action::Leave(folder) => {
                self.sessions.folder = Some(*folder);
                if let Some(mut open) = self.beneath.take() {
                    open.set_mode(self.settings.mode);
                    self.screen = Screen::Agreement(open);
                } else {
                    self.sessions.refresh();
                    self.screen = Screen::Sessions;
                }
            }
            ethogram::Action::None if names_a_set => {
                return iced::widget::operation::focus(ethogram::NEW_SET);
            }
            ethogram::Action::Scroll(y) => {
                let offset = iced::widget::scrollable::RelativeOffset { x: 0.0, y };
                return iced::widget::operation::snap_to(ethogram::LIST, offset);
            }
            ethogram::Action::None => {}
        }
        Task::none()
    }

    pub(super) fn act_on_agreement(&mut self, message: agreement::Message) -> Task<Message> {
        // What its film brings is taken in also while the ethogram lies over it.
        let ((Screen::Agreement(open), _) | (_, Some(open))) = (&mut self.screen, &mut self.beneath) else {
            return Task::none();
        };
        match open.update(message) {
            agreement::Action::None => {}
            agreement::Action::Run(task) => return task.map(Message::Agreement),
            agreement::Action::Leave => {
                self.sessions.refresh();
                self.screen = Screen::Sessions;
            }
            agreement::Action::Go(coding, at) => return self.open(&coding, Some(at)),
            agreement::Action::Ethogram(ethogram, behaviour) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                let over = Screen::Ethogram(Box::new(EthogramScreen::at(folder, &ethogram, &behaviour)));
                if let Screen::Agreement(open) = std::mem::replace(&mut self.screen, over) {
                    self.beneath = Some(open);
                }
                return iced::widget::operation::focus(sheet::FIRST);
            }
        }
        Task::none()
    }

    pub(super) fn act_on_settings(&mut self, message: settings::Message) -> Task<Message> {
        // The demo is drawn to its end also when its screen has been left.
        if let (settings::Message::Demo(settings::Told::Done(Ok(root))), false) =
            (&message, matches!(self.screen, Screen::Settings(_)))
        {
            self.sessions.say(format!("The demo is ready: {}", root.display()));
            self.settings.opened(root);
        }
        let Screen::Settings(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            settings::Action::None => {}
            settings::Action::Run(task) => return task.map(Message::Settings),
            settings::Action::Leave => self.screen = Screen::Sessions,
            settings::Action::Take(settings) => {
                self.settings = settings;
                self.settings.save();
            }
            settings::Action::Open(root) => {
                self.show_study(&root);
            }
        }
        Task::none()
    }

    pub(super) fn act_on_by_samples(&mut self, message: by_samples::Message) -> Task<Message> {
        let Screen::BySamples(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            by_samples::Action::None => {}
            by_samples::Action::Scroll(y) => {
                let offset = iced::widget::scrollable::RelativeOffset { x: 0.0, y };
                return iced::widget::operation::snap_to(by_samples::LIST, offset);
            }
            by_samples::Action::Leave => self.screen = Screen::Sessions,
            by_samples::Action::Open(path) => {
                // The person may be new in the study.
                if let Some(folder) = &mut self.sessions.folder
                    && let Ok(fresh) = StudyFolder::open(folder.root())
                {
                    *folder = fresh;
                }
                return self.open(&path, None);
            }
        }
        Task::none()
    }

    pub(super) fn act_on_reaction(&mut self, message: reaction::Message) -> Task<Message> {
        let Screen::Reaction(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            reaction::Action::None => {}
            reaction::Action::Run(task) => return task.map(Message::Reaction),
            reaction::Action::Leave(folder) => {
                self.sessions.folder = Some(*folder);
                self.sessions.refresh();
                self.screen = Screen::Sessions;
            }
        }
        Task::none()
    }

    pub(super) fn act_on_coding(&mut self, message: coding::Message) -> Task<Message> {
        if let Screen::Coding(coding) = &mut self.screen {
            match coding.update(message) {
                coding::Action::None => {}
                coding::Action::Run(task) => return task.map(Message::Coding),
                coding::Action::Leave => {
                    self.sessions.refresh();
                    self.screen = Screen::Sessions;
                }
            }
        }
        Task::none()
    }

    pub(super) fn act_on_intake(&mut self, message: intake::Message) -> Task<Message> {
        let Screen::Intake(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            intake::Action::None => {}
            intake::Action::Run(task) => return task.map(Message::Intake),
            intake::Action::Done(words, session) => {
                self.sessions.refresh();
                if let Some(session) = session {
                    self.sessions.choose(&session);
                    self.sessions.say(words);
                }
                self.screen = Screen::Sessions;
            }
        }
        Task::none()
    }

    pub(super) fn act_on_films(&mut self, message: films::Message) -> Task<Message> {
        let Screen::Films(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            films::Action::None => {}
            films::Action::Run(task) => return task.map(Message::Films),
            films::Action::Leave => self.screen = Screen::Sessions,
        }
        Task::none()
    }

    pub(super) fn act_on_earlier(&mut self, message: earlier::Message) -> Task<Message> {
        let Screen::Earlier(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            earlier::Action::None => {}
            earlier::Action::Run(task) => return task.map(Message::Earlier),
            earlier::Action::Leave => {
                self.sessions.refresh();
                self.screen = Screen::Sessions;
            }
        }
        Task::none()
    }

    pub(super) fn act_on_changed_film(&mut self, message: changed_film::Message) {
        if let Screen::ChangedFilm(open) = &mut self.screen
            && let changed_film::Action::Leave = open.update(message)
        {
            self.sessions.refresh();
            self.screen = Screen::Sessions;
        }
    }

    pub(super) fn act_on_hand_over(&mut self, message: hand_over::Message) -> Task<Message> {
        let Screen::HandOver(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            hand_over::Action::None => {}
            hand_over::Action::Run(task) => return task.map(Message::HandOver),
            hand_over::Action::Leave => {
                // People, animals and sessions may have come in.
                let mut said = None;
                if let Some(folder) = &self.sessions.folder {
                    let folder = open_study(folder.root(), &mut said);
                    self.sessions = Sessions::new(folder, self.settings.person.clone(), said);
                }
                self.screen = Screen::Sessions;
            }
            hand_over::Action::Open(root) => {
                self.show_study(&root);
            }
        }
        Task::none()
    }

    /// Shows the sessions of a study, or why it can't be opened.
    fn show_study(&mut self, root: &Path) {
        let mut said = None;
        let folder = open_study(root, &mut said);
        if let Some(folder) = &folder {
            self.settings.opened(folder.root());
        }
        self.sessions = Sessions::new(folder, self.settings.person.clone(), said);
        self.screen = Screen::Sessions;
    }

    pub(super) fn act_on_results(&mut self, message: &results::Message) -> Task<Message> {
        let Screen::Results(open) = &mut self.screen else { return Task::none() };
        match open.update(message) {
            results::Action::None => {}
            results::Action::Run(task) => return task.map(Message::Results),
            results::Action::Leave => self.screen = Screen::Sessions,
            results::Action::Go(session, at) => {
                let shown = open.coding().map(Path::to_owned);
                if let Some(coding) = shown.or_else(|| self.coding_of(Some(session.as_str()))) {
                    return self.open(&coding, Some(at));
                }
            }
        }
        Task::none()
    }

    pub(super) fn act_on_sheet(&mut self, message: sheet::Message) {
        if let Screen::Sheet(open) = &mut self.screen
            && let sheet::Action::Leave(folder) = open.update(message)
        {
            self.sessions.folder = Some(*folder);
            self.sessions.refresh();
            self.screen = Screen::Sessions;
        }
    }

    pub(super) fn act_on_sessions(&mut self, message: sessions::Message) -> Task<Message> {
        let action = self.sessions.update(message);
        self.remember_person();
        match action {
            sessions::Action::None => {}
            sessions::Action::Open(path) => return self.open(&path, None),
            sessions::Action::TakeIn(path) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                let mut open = Intake::new(folder, self.sessions.animal());
                let task = open.look_into(&path).map(Message::Intake);
                self.screen = Screen::Intake(Box::new(open));
                return Task::batch([task, iced::widget::operation::focus(intake::FIRST)]);
            }
            sessions::Action::HandOver => {
                let mut open = HandOver::new(self.sessions.folder.clone(), self.sessions.person());
                open.hide(self.sessions.masked());
                self.screen = Screen::HandOver(Box::new(open));
                return iced::widget::operation::focus(hand_over::FIRST);
            }
            sessions::Action::Films => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                let today = chrono::Local::now().date_naive();
                let (open, task) = Films::new(folder, self.sessions.person(), today);
                self.screen = Screen::Films(Box::new(open));
                return task.map(Message::Films);
            }
            sessions::Action::Earlier(title, codings) => {
                let (open, task) = Earlier::new(title, codings);
                self.screen = Screen::Earlier(Box::new(open));
                return task.map(Message::Earlier);
            }
            sessions::Action::ChangedFilm(session) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                match ChangedFilm::try_new(folder, session, self.sessions.person()) {
                    Ok(open) => {
                        self.screen = Screen::ChangedFilm(Box::new(open));
                        return iced::widget::operation::focus(changed_film::FIRST);
                    }
                    Err(error) => self.sessions.say(error.to_string()),
                }
            }
            sessions::Action::NewStudy(clip) => {
                let person = self.settings.person.clone();
                self.screen = Screen::NewStudy(NewStudy::new(clip, person));
                return iced::widget::operation::focus("animal");
            }
            sessions::Action::Report => return self.act(Message::ShowReport),
            sessions::Action::Ethogram => return self.act(Message::ShowEthogram),
            sessions::Action::Settings => {
                self.screen = Screen::Settings(Box::new(SettingsScreen::new(self.settings.clone())));
            }
            sessions::Action::Agreement(session) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                let (person, cache) = (self.sessions.person(), self.settings.cache_bytes());
                let (mut open, task) = Agreement::start(folder, &session, person, self.settings.mode, cache);
                open.hide(self.sessions.masked());
                self.screen = Screen::Agreement(Box::new(open));
                return task.map(Message::Agreement);
            }
            sessions::Action::Results(subject, hidden) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                let (open, task) = Results::start(folder, subject, hidden, self.settings.mode);
                self.screen = Screen::Results(Box::new(open));
                return task.map(Message::Results);
            }
            sessions::Action::BySamples(session) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                match BySamples::try_new(folder, &session, self.sessions.person(), seed()) {
                    Ok(mut open) => {
                        if self.sessions.is_hidden(&session) {
                            open.hide();
                        }
                        self.screen = Screen::BySamples(Box::new(open));
                    }
                    Err(error) => self.sessions.say(error.to_string()),
                }
            }
            sessions::Action::Reaction => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                let open = Reaction::new(folder, self.sessions.person(), seed(), Instant::now());
                self.screen = Screen::Reaction(Box::new(open));
            }
            sessions::Action::Sheet(subject) => {
                let Some(folder) = self.sessions.folder.clone() else { return Task::none() };
                match SheetScreen::try_new(folder, subject, self.settings.units) {
                    Ok(open) => {
                        self.screen = Screen::Sheet(Box::new(open));
                        return iced::widget::operation::focus(sheet::FIRST);
                    }
                    Err(error) => self.sessions.say(error.to_string()),
                }
            }
        }
        Task::none()
    }
}
