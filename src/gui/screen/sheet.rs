//! What is known around the film, as a sheet to fill in: a session, an animal, its plan, the study.

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription};

use super::new_study::id_of;
use crate::gui::theme::{self, Mode, Palette};
use crate::model::{Animal, AnimalId, Ethogram, Plan, PlanId, Session, SessionId};
use crate::storage::{Error, StudyFolder};
use crate::workbench::sheet::units::Units;
use crate::workbench::sheet::{self as sheets, Line, Section, Sheet};

/// What the sheet is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// A session.
    Session(SessionId),
    /// An animal; none: a new one.
    Animal(Option<AnimalId>),
    /// The plan of an animal; none: a new one.
    Plan(AnimalId, Option<PlanId>),
    /// The study.
    Study,
}

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// A line is written: its key and its text.
    Written(String, String),
    /// Keep it.
    Save,
    /// A key went down.
    KeyDown(Key, keyboard::Modifiers),
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Back to the sessions; the study as it now is.
    Leave(Box<StudyFolder>),
}

/// The field that has the keys first.
pub const FIRST: &str = "sheet-first";

/// A sheet, open.
pub struct SheetScreen {
    folder: StudyFolder,
    subject: Subject,
    /// Of a session: as it was read when the sheet was opened.
    session: Option<Session>,
    sheet: Sheet,
    before: Sheet,
    said: String,
    leaving: bool,
}

impl SheetScreen {
    /// The sheet of a part of the study, in the units a person reads.
    ///
    /// # Errors
    /// When the session can't be read.
    pub fn try_new(folder: StudyFolder, subject: Subject, units: Units) -> Result<Self, Error> {
        let mut read = None;
        let mut sheet = match &subject {
            Subject::Session(id) => {
                let session = read.insert(folder.session(id)?);
                sheets::session::sheet(session, &folder.study, last_before(&folder, session).as_ref())
            }
            Subject::Animal(id) => {
                let animal = id.as_ref().and_then(|id| folder.study.animal(id)).cloned().unwrap_or_default();
                sheets::animal::sheet(&animal)
            }
            Subject::Plan(animal, plan) => {
                let plan = plan.as_ref().and_then(|id| folder.study.plan(id)).cloned().unwrap_or_default();
                let name = folder.study.animal(animal).map_or("", |animal| animal.name.as_str());
                sheets::plan::sheet(&plan, name)
            }
            Subject::Study => sheets::study::sheet(&folder.study),
        };
        sheet.show_in(units);
        let last = if sheet.lines().any(|line| line.last_time().is_some()) {
            " F4 writes the empty lines as last time."
        } else {
            ""
        };
        Ok(Self {
            folder,
            subject,
            session: read,
            before: sheet.clone(),
            sheet,
            said: format!("Tab goes from line to line, Enter keeps the sheet, Escape leaves it.{last}"),
            leaving: false,
        })
    }

    /// What stands in the window's title.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.sheet.title
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Written(key, value) => {
                self.sheet.write(&key, value);
                self.leaving = false;
            }
            Message::Save => return self.save(),
            Message::KeyDown(Key::Named(Named::Escape), _) | Message::Leave => {
                let is_written = self
                    .sheet
                    .lines()
                    .map(|line| &line.value)
                    .ne(self.before.lines().map(|line| &line.value));
                if is_written && !self.leaving {
                    self.leaving = true;
                    "Not kept yet: Enter keeps it, Escape once more leaves it as it was."
                        .clone_into(&mut self.said);
                    return Action::None;
                }
                return Action::Leave(Box::new(self.folder.clone()));
            }
            Message::KeyDown(Key::Named(Named::F4), _) => {
                self.said = match self.sheet.write_as_last_time() {
                    0 => "No empty line is left of which the last time is known.".to_owned(),
                    1 => "One line is as last time now: look whether it was so again; Enter keeps it."
                        .to_owned(),
                    n => format!(
                        "{n} lines are as last time now: look whether it was so again; Enter keeps them."
                    ),
                };
                self.leaving = false;
            }
            Message::KeyDown(key, modifiers) => {
                let is_save = matches!(key.as_ref(), Key::Character("s")) && modifiers.command();
                if is_save {
                    return self.save();
                }
            }
        }
        Action::None
    }

    fn save(&mut self) -> Action {
        match self.keep() {
            Ok(true) => Action::Leave(Box::new(self.folder.clone())),
            Ok(false) => {
                let count = self.sheet.problems();
                let lines = if count == 1 { "A line" } else { "Some lines" };
                self.said = format!("{lines} can't be read yet: see beside. Nothing was changed.");
                Action::None
            }
            Err(error) => {
                self.said = error.to_string();
                Action::None
            }
        }
    }

    /// Reads the sheet and writes what it is of; `false` when a line can't be read.
    fn keep(&mut self) -> Result<bool, Error> {
        let study = self.folder.study.clone();
        match self.subject.clone() {
            Subject::Session(id) => {
                let session = self.session.clone().map_or_else(|| self.folder.session(&id), Ok)?;
                let Some(new) = sheets::session::read(&mut self.sheet, &session, &study) else {
                    return Ok(false);
                };
                if new != session {
                    self.folder.save_session_changes(&session, &new)?;
                }
                return Ok(true);
            }
            Subject::Animal(id) => {
                let old = id.as_ref().and_then(|id| study.animal(id)).cloned();
                let Some(mut new) = sheets::animal::read(&mut self.sheet, &old.clone().unwrap_or_default())
                else {
                    return Ok(false);
                };
                let known = self.folder.study.animals.iter_mut().find(|own| Some(&own.id) == id.as_ref());
                if let Some(own) = known {
                    *own = new;
                } else {
                    new.id =
                        free_id(&id_of(&new.name), |id| study.animal(&id.into()).is_some()).as_str().into();
                    self.folder.study.animals.push(new);
                }
            }
            Subject::Plan(animal, id) => {
                let old = id.as_ref().and_then(|id| study.plan(id)).cloned().unwrap_or_default();
                let ethogram = self.newest_ethogram();
                let Some(mut new) = sheets::plan::read(&mut self.sheet, &old, ethogram.as_ref()) else {
                    return Ok(false);
                };
                let known = self.folder.study.plans.iter_mut().find(|own| Some(&own.id) == id.as_ref());
                if let Some(own) = known {
                    *own = new;
                } else {
                    let base = format!("{animal}-plan");
                    new.id = free_id(&base, |id| study.plan(&id.into()).is_some()).as_str().into();
                    new.animal = animal;
                    self.folder.study.plans.push(new);
                }
            }
            Subject::Study => {
                let Some(new) = sheets::study::read(&mut self.sheet, &study) else { return Ok(false) };
                self.folder.study = new;
            }
        }
        if self.folder.study != study
            && let Err(error) = self.folder.save_study()
        {
            self.folder.study = study;
            return Err(error);
        }
        Ok(true)
    }

    fn newest_ethogram(&self) -> Option<Ethogram> {
        self.folder.ethograms().0.pop()
    }

    /// Keys of the sheet.
    pub fn subscription() -> Subscription<Message> {
        // A field that is written in keeps Escape to itself; here it means the sheet.
        iced::event::listen_with(|event, _, _| match event {
            iced::Event::Keyboard(keyboard::Event::KeyPressed { key, modifiers, .. }) => {
                Some(Message::KeyDown(key, modifiers))
            }
            _ => None,
        })
    }

    /// The sheet as it looks.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let halves = self.sheet.sections.len().div_ceil(2).max(1);
        let mut columns = row![].spacing(24);
        let mut is_first = true;
        for sections in self.sheet.sections.chunks(halves) {
            let mut part = column![].spacing(16).width(Length::FillPortion(1));
            for section in sections {
                part = part.push(section_view(
                    section,
                    palette,
                    &mut is_first,
                    Message::Written,
                    &Message::Save,
                ));
            }
            columns = columns.push(part);
        }
        let button = |words: &'static str, on, main| {
            button(text(words).size(theme::BODY))
                .padding([6, 14])
                .style(theme::key(palette, main))
                .on_press(on)
        };
        let problems = self.sheet.problems() > 0 || self.leaving;
        let foot = row![
            text(&self.said).size(theme::BODY).color(if problems { palette.accent } else { palette.quiet }),
            space::horizontal(),
            button("Leave (Escape)", Message::Leave, false),
            button("Keep (Enter)", Message::Save, true),
        ]
        .spacing(8)
        .align_y(iced::Center);
        let right = iced::Padding { right: 14.0, ..iced::Padding::ZERO };
        column![
            text(&self.sheet.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            scrollable(container(columns).padding(right)).height(Length::Fill),
            foot,
        ]
        .spacing(12)
        .padding(16)
        .into()
    }
}

/// Sections of lines below each other; `written` hears what is typed into a line, `keep` its Enter.
pub fn sections_view<'a, M: Clone + 'a>(
    sheet: &'a Sheet,
    palette: Palette,
    written: fn(String, String) -> M,
    keep: M,
) -> Element<'a, M> {
    let mut all = column![].spacing(16);
    let mut is_first = true;
    for section in &sheet.sections {
        all = all.push(section_view(section, palette, &mut is_first, written, &keep));
    }
    all.into()
}

fn section_view<'a, M: Clone + 'a>(
    section: &'a Section,
    palette: Palette,
    is_first: &mut bool,
    written: fn(String, String) -> M,
    keep: &M,
) -> Element<'a, M> {
    let mut lines =
        column![text(section.title).size(theme::TITLE).font(theme::MEDIUM).color(palette.text)].spacing(6);
    for line in &section.lines {
        lines = lines.push(line_view(line, palette, std::mem::take(is_first), written, keep));
    }
    container(lines).padding(12).width(Length::Fill).style(theme::card(palette)).into()
}

fn line_view<'a, M: Clone + 'a>(
    line: &'a Line,
    palette: Palette,
    is_first: bool,
    written: fn(String, String) -> M,
    keep: &M,
) -> Element<'a, M> {
    let mut field = text_input(&line.hint, &line.value)
        .size(theme::BODY)
        .padding([4, 8])
        .style(theme::input(palette))
        .on_input(move |text| written(line.key.clone(), text))
        .on_submit(keep.clone());
    if is_first {
        field = field.id(FIRST);
    }
    let mut all = row![text(&line.label).size(theme::BODY).color(palette.quiet).width(LABELS), field]
        .spacing(8)
        .align_y(iced::Center);
    if !line.unit.is_empty() {
        all = all.push(text(line.unit).size(theme::BODY).color(palette.quiet));
    }
    let mut both = column![all].spacing(2);
    if let Some(problem) = &line.problem {
        both = both.push(row![
            space().width(LABELS + 8.0),
            text(problem).size(theme::BODY).color(palette.accent).width(Length::Fill)
        ]);
    }
    both.into()
}

/// Width of the labels before the lines.
const LABELS: f32 = 150.0;

/// The animal's session before this one.
#[must_use]
pub fn last_before(folder: &StudyFolder, session: &Session) -> Option<Session> {
    let all = folder.list().sessions;
    all.into_iter()
        .map(|entry| entry.session)
        .filter(|own| own.animal == session.animal && own.id != session.id)
        .filter(|own| own.recorded_at < session.recorded_at || session.recorded_at.is_none())
        .max_by_key(|own| own.recorded_at)
}

/// An id nothing has yet.
fn free_id(base: &str, is_taken: impl Fn(&str) -> bool) -> String {
    let mut id = base.to_owned();
    let mut number = 2;
    while is_taken(&id) {
        id = format!("{base}-{number}");
        number += 1;
    }
    id
}

/// What an animal without a plan gets.
#[must_use]
pub fn plan_of(folder: &StudyFolder, animal: &AnimalId) -> Subject {
    let own =
        folder.study.plans.iter().find(|plan: &&Plan| plan.animal == *animal).map(|plan| plan.id.clone());
    Subject::Plan(animal.clone(), own)
}

/// The animals there are; a name for the sheet of a new one.
#[must_use]
pub fn animal_of(animal: Option<&Animal>) -> Subject {
    Subject::Animal(animal.map(|animal| animal.id.clone()))
}
