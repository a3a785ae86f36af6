//! The ethogram: what counts as which behaviour, its keys, what is questionable, what a revision changes.
//!
//! Each change is kept at once. A revision that codings use stays as it is: the first change makes the next.

mod for_new;
mod starters;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription};

use super::sheet::sections_view;
use crate::gui::theme::{self, Mode, Palette};
use crate::gui::widget::keyboard::{Cap, Fold, LAYOUT, keyboard as drawn_keyboard};
use crate::model::{Behaviour, BehaviourId, Ethogram, EthogramId, Kind, Level};
use crate::storage::{CodingHead, StudyFolder};
use crate::workbench::ethogram::{Editor, Finding, findings};
use crate::workbench::sheet::{Sheet, behaviour as sheets};

pub use self::starters::LIST;
use self::starters::Starters;

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// A key went down.
    KeyDown(Key, keyboard::Modifiers),
    /// A behaviour was chosen.
    Choose(BehaviourId),
    /// A line is written: its key and its text.
    Written(String, String),
    /// Keep what is written.
    Keep,
    /// A cap was clicked: the chosen behaviour gets that key.
    Cap(char),
    /// The name of a new set is typed.
    SetName(String),
    /// The new set is named.
    SetNamed,
    /// A line of the starters was clicked.
    Starter(usize),
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Show this place of the list of starters, 0–1.
    Scroll(f32),
    /// Back to the sessions; the study may have changed.
    Leave(Box<StudyFolder>),
}

/// The screen.
pub struct EthogramScreen {
    folder: StudyFolder,
    /// The newest revision of each ethogram, and which is shown.
    all: Vec<Ethogram>,
    place: usize,
    editor: Option<Editor>,
    used_by: usize,
    chosen: Option<BehaviourId>,
    sheet: Option<Sheet>,
    findings: Vec<Finding>,
    caps: Vec<Vec<Cap>>,
    new_set: Option<String>,
    starters: Option<Starters>,
    said: (String, bool),
}

const HINT: &str = "Up, Down: behaviour · Tab: next line · Enter: keep · F2 new · F3 new set · F4 other ethogram · F5 for new codings · F6 exhaustive · F7 starters · F8 remove · Ctrl+Up/Down: move · Ctrl+Z undo";

impl EthogramScreen {
    /// The study's newest ethogram.
    #[must_use]
    pub fn new(folder: StudyFolder) -> Self {
        let mut own = Self {
            folder,
            all: Vec::new(),
            place: usize::MAX,
            editor: None,
            used_by: 0,
            chosen: None,
            sheet: None,
            findings: Vec::new(),
            caps: Vec::new(),
            new_set: None,
            starters: None,
            said: (HINT.to_owned(), false),
        };
        own.read();
        own
    }

    /// The newest revision of an ethogram, at one of its behaviours.
    #[must_use]
    pub fn at(folder: StudyFolder, ethogram: &EthogramId, behaviour: &BehaviourId) -> Self {
        let mut own = Self::new(folder);
        if let Some(place) = own.all.iter().position(|other| other.id == *ethogram) {
            own.place = place;
            own.read();
        }
        if own.editor.as_ref().is_some_and(|editor| editor.ethogram().behaviour(behaviour).is_some()) {
            own.chosen = Some(behaviour.clone());
            own.show();
        } else {
            own.said = (format!("The newest revision has no {behaviour} any more."), true);
        }
        own
    }

    /// Reads the ethograms from the disk and opens the one at hand.
    fn read(&mut self) {
        let (all, problems) = self.folder.ethograms();
        // By id the revisions rise: the last of each counts.
        let mut newest: Vec<Ethogram> = Vec::new();
        for ethogram in &all {
            match newest.iter_mut().find(|own| own.id == ethogram.id) {
                Some(own) if own.revision < ethogram.revision => *own = ethogram.clone(),
                Some(_) => {}
                None => newest.push(ethogram.clone()),
            }
        }
        self.place = self.place.min(newest.len().saturating_sub(1));
        let Some(ethogram) = newest.get(self.place).cloned() else {
            self.all = newest;
            if problems.is_empty() {
                self.toggle_starters();
                return;
            }
            self.said = (problems.first().map(ToString::to_string).unwrap_or_default(), true);
            return;
        };
        self.used_by = used_by(&self.folder, &ethogram);
        let before =
            all.iter().find(|own| own.id == ethogram.id && own.revision + 1 == ethogram.revision).cloned();
        self.all = newest;
        self.chosen = ethogram.behaviours.first().map(|own| own.id.clone());
        self.editor = Some(Editor::new(ethogram, self.used_by > 0, before));
        self.show();
    }

    /// Makes anew what follows from the ethogram and the choice.
    fn show(&mut self) {
        let Some(editor) = &self.editor else { return };
        let ethogram = editor.ethogram();
        let chosen = self.chosen.as_ref().and_then(|id| ethogram.behaviour(id));
        self.sheet = chosen.map(|own| sheets::sheet(own, ethogram));
        self.findings = findings(ethogram);
        let pass = self
            .chosen
            .as_ref()
            .and_then(|id| ethogram.passes.iter().find(|pass| pass.behaviours.contains(id)));
        let cap = |key: char| {
            let in_pass = |own: &&Behaviour| pass.is_none_or(|pass| pass.behaviours.contains(&own.id));
            let of_key: Vec<&Behaviour> =
                ethogram.behaviours.iter().filter(|own| own.key == Some(key)).collect();
            let own = of_key.iter().find(|own| in_pass(own)).or_else(|| of_key.first());
            Cap {
                key,
                codes: key,
                // A free key can be given away.
                name: Some(own.map(|own| own.name.clone()).unwrap_or_default()),
                definition: own.map(|own| own.definition.onset.clone()).unwrap_or_default(),
                concern: own
                    .and_then(|own| own.concern.iter().map(|rule| rule.level).max())
                    .map_or("", Level::word),
                colour: None,
                live: true,
                holds: own.is_some_and(|own| Some(&own.id) == self.chosen.as_ref()),
                recording: false,
            }
        };
        self.caps = LAYOUT.iter().map(|line| line.chars().map(cap).collect()).collect();
    }

    /// Takes what is written into the ethogram and onto the disk; `false` when a line can't be read.
    fn keep(&mut self) -> bool {
        let (Some(editor), Some(sheet), Some(id)) = (&mut self.editor, &mut self.sheet, &self.chosen) else {
            return true;
        };
        let Some(old) = editor.ethogram().behaviour(id).cloned() else { return true };
        let Some(new) = sheets::read(sheet, &old, editor.ethogram()) else {
            self.said = ("A line can't be read yet: see beside it. Nothing was changed.".to_owned(), true);
            return false;
        };
        if new == old {
            return true;
        }
        self.change(|editor, id| editor.set_behaviour(id, new))
    }

    /// Changes the ethogram and writes it; `false` when it could not be written: then it is as it was.
    fn change(&mut self, change: impl FnOnce(&mut Editor, &BehaviourId)) -> bool {
        let Some(editor) = &mut self.editor else { return true };
        let id = self.chosen.clone().unwrap_or_else(|| "".into());
        if !editor.is_frozen() {
            // Another window may have begun a coding with it.
            self.used_by = used_by(&self.folder, editor.ethogram());
            if self.used_by > 0 {
                editor.freeze();
            }
        }
        let (was_frozen, before) = (editor.is_frozen(), editor.clone());
        change(editor, &id);
        if *editor == before {
            return true;
        }
        let new = editor.ethogram();
        if was_frozen && self.folder.ethogram_path(&new.id, new.revision).exists() {
            self.said = (
                format!(
                    "Revision {} was made elsewhere meanwhile: leave (Escape) and come back to see it. Nothing was changed.",
                    new.revision
                ),
                true,
            );
            *editor = before;
            return false;
        }
        if let Err(error) = self.folder.save_ethogram(editor.ethogram()) {
            *editor = before;
            self.said = (error.to_string(), true);
            return false;
        }
        let revision = editor.ethogram().revision;
        self.said = if was_frozen {
            self.used_by = 0;
            (
                format!(
                    "Kept as revision {revision}: the one before is used by codings and stays as it was. New codings use this one."
                ),
                false,
            )
        } else {
            (format!("Kept in revision {revision}."), false)
        };
        self.show();
        true
    }

    /// Keeps what is written before the window closes; what can't be read stays unkept.
    pub fn finish(&mut self) {
        let _ = self.keep();
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::KeyDown(key, modifiers) => return self.key_down(&key, modifiers),
            Message::Choose(id) => {
                if self.keep() {
                    self.chosen = Some(id);
                    self.show();
                }
            }
            Message::Written(key, value) => {
                if let Some(sheet) = &mut self.sheet {
                    sheet.write(&key, value);
                }
            }
            Message::Keep => {
                let _ = self.keep();
            }
            Message::Cap(key) => {
                if self.keep() {
                    let _ = self.change(|editor, id| editor.set_key(id, key));
                }
            }
            Message::SetName(name) => self.new_set = Some(name),
            Message::SetNamed => {
                let name = self.new_set.take().unwrap_or_default();
                if !name.trim().is_empty() {
                    let _ = self.change(|editor, _| editor.add_set(name.trim()));
                }
            }
            Message::Starter(place) => self.starter_clicked(place),
            Message::Leave => return self.leave(),
        }
        Action::None
    }

    fn leave(&mut self) -> Action {
        if self.starters.is_some() && self.editor.is_some() {
            self.starters = None;
            return Action::None;
        }
        if self.new_set.take().is_some() || !self.keep() {
            return Action::None;
        }
        Action::Leave(Box::new(self.folder.clone()))
    }

    fn key_down(&mut self, key: &Key, modifiers: keyboard::Modifiers) -> Action {
        if !modifiers.command() && self.starter_key(key) {
            return self.starters.as_ref().map_or(Action::None, |own| Action::Scroll(own.place()));
        }
        match key.as_ref() {
            Key::Named(Named::Escape) => return self.leave(),
            Key::Named(Named::ArrowDown) if modifiers.command() && self.keep() => {
                let _ = self.change(|editor, id| editor.move_behaviour(id, 1));
            }
            Key::Named(Named::ArrowUp) if modifiers.command() && self.keep() => {
                let _ = self.change(|editor, id| editor.move_behaviour(id, -1));
            }
            Key::Named(Named::ArrowDown) if !modifiers.command() => self.step(1),
            Key::Named(Named::ArrowUp) if !modifiers.command() => self.step(-1),
            Key::Named(Named::F2) if self.keep() => {
                let mut made = None;
                if self.change(|editor, id| made = Some(editor.add_behaviour(Some(id)))) {
                    self.chosen = made.or(self.chosen.take());
                    self.show();
                }
            }
            Key::Named(Named::F3) if self.keep() => self.new_set = Some(String::new()),
            Key::Named(Named::F4) if self.keep() => {
                self.place = (self.place + 1) % self.all.len().max(1);
                self.read();
            }
            Key::Named(Named::F5) if self.keep() => self.next_for_new(),
            Key::Named(Named::F6) if self.keep() => {
                let set = self.behaviour().and_then(|own| own.set.clone());
                match set {
                    Some(set) => {
                        let _ = self.change(|editor, _| editor.toggle_exhaustive(&set));
                    }
                    None => self.said = ("This behaviour belongs to no set.".to_owned(), true),
                }
            }
            Key::Named(Named::F7) if self.keep() => self.toggle_starters(),
            Key::Named(Named::F8) => {
                let next = self.neighbour();
                if self.change(Editor::remove_behaviour) {
                    self.chosen = next;
                    self.show();
                }
            }
            // What is written and not kept yet is kept first, so that it can be done again.
            Key::Character("z" | "Z") if modifiers.command() && self.keep() => {
                let redo = modifiers.shift();
                let _ = self.change(|editor, _| {
                    let _ = if redo { editor.redo() } else { editor.undo() };
                });
            }
            _ => {}
        }
        Action::None
    }

    fn behaviour(&self) -> Option<&Behaviour> {
        self.editor.as_ref()?.ethogram().behaviour(self.chosen.as_ref()?)
    }

    /// The behaviour that is chosen when the present one goes.
    fn neighbour(&self) -> Option<BehaviourId> {
        let all = &self.editor.as_ref()?.ethogram().behaviours;
        let place = all.iter().position(|own| Some(&own.id) == self.chosen.as_ref())?;
        let next = all.get(place + 1).or_else(|| all.get(place.checked_sub(1)?));
        next.map(|own| own.id.clone())
    }

    fn step(&mut self, by: isize) {
        if !self.keep() {
            return;
        }
        let Some(editor) = &self.editor else { return };
        let all = &editor.ethogram().behaviours;
        let place = all.iter().position(|own| Some(&own.id) == self.chosen.as_ref()).unwrap_or(0);
        let next = place.saturating_add_signed(by).min(all.len().saturating_sub(1));
        self.chosen = all.get(next).map(|own| own.id.clone());
        self.show();
    }

    /// Keys; those a written line keeps to itself are not among them.
    pub fn subscription() -> Subscription<Message> {
        iced::event::listen_with(|event, _, _| match event {
            iced::Event::Keyboard(keyboard::Event::KeyPressed { key, modifiers, .. }) => {
                Some(Message::KeyDown(key, modifiers))
            }
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let Some(editor) = &self.editor else {
            let words = text(&self.said.0).size(theme::BODY).color(palette.text);
            return match &self.starters {
                Some(own) => container(column![self.starters_view(own, palette), words].spacing(8))
                    .padding(24)
                    .center_x(Length::Fill)
                    .into(),
                None => container(words).center(Length::Fill).into(),
            };
        };
        let ethogram = editor.ethogram();
        let used = match (self.used_by, editor.is_frozen()) {
            (0, _) => "used by no coding: changes are kept in it".to_owned(),
            (1, _) => "used by 1 coding: the first change makes the next revision".to_owned(),
            (n, _) => format!("used by {n} codings: the first change makes the next revision"),
        };
        let head = row![
            text(&ethogram.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            text(format!("revision {} · {used}", ethogram.revision)).size(theme::BODY).color(palette.quiet),
            space::horizontal(),
            text(self.for_new_words()).size(theme::BODY).color(palette.text),
        ]
        .spacing(12)
        .align_y(iced::Center);
        let middle: Element<'_, Message> = match (&self.starters, &self.sheet) {
            (Some(own), _) => self.starters_view(own, palette),
            (None, Some(sheet)) => scrollable(
                container(sections_view(sheet, palette, Message::Written, Message::Keep))
                    .padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO }),
            )
            .height(Length::Fill)
            .into(),
            (None, None) => container(
                text("Choose a behaviour, or make one with F2.").size(theme::BODY).color(palette.quiet),
            )
            .center(Length::Fill)
            .into(),
        };
        let body = row![
            container(self.list(ethogram, palette)).width(260),
            container(middle).width(Length::Fill),
            container(self.remarks(editor, palette)).width(300),
        ]
        .spacing(12)
        .height(Length::Fill);
        let foot: Element<'_, Message> = match &self.new_set {
            Some(name) => text_input("Name of the new set of states; Enter makes it, Escape leaves it", name)
                .id(NEW_SET)
                .size(theme::BODY)
                .padding([4, 8])
                .style(theme::input(palette))
                .on_input(Message::SetName)
                .on_submit(Message::SetNamed)
                .into(),
            None => text(&self.said.0)
                .size(theme::BODY)
                .color(if self.said.1 { palette.accent } else { palette.quiet })
                .into(),
        };
        column![head, body, drawn_keyboard(&self.caps, Fold::Whole, palette, Message::Cap), foot]
            .spacing(8)
            .padding(12)
            .into()
    }

    fn list<'a>(&'a self, ethogram: &'a Ethogram, palette: Palette) -> Element<'a, Message> {
        let mut list = column![].spacing(3).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        let mut heading = None;
        for behaviour in &ethogram.behaviours {
            let group = match (&behaviour.set, behaviour.kind) {
                (Some(set), _) => ethogram.set(set).map_or_else(
                    || set.to_string(),
                    |own| format!("{}{}", own.name, if own.exhaustive { "" } else { " (not exhaustive)" }),
                ),
                (None, Kind::State) => "States of their own".to_owned(),
                (None, Kind::Event) => "Events".to_owned(),
            };
            if heading.as_ref() != Some(&group) {
                list = list.push(text(group.clone()).size(theme::BODY).color(palette.quiet));
                heading = Some(group);
            }
            let key =
                behaviour.key.map_or_else(|| "–".to_owned(), |key| key.to_ascii_uppercase().to_string());
            let is_questioned = self.findings.iter().any(|own| own.behaviour.as_ref() == Some(&behaviour.id));
            let words = row![
                text(key).size(theme::BODY).font(theme::MONO).color(palette.quiet).width(16),
                text(&behaviour.name).size(theme::BODY).color(palette.text),
                space::horizontal(),
                text(if is_questioned { "?" } else { "" }).size(theme::BODY).color(palette.accent),
            ]
            .spacing(6);
            list = list.push(
                button(words)
                    .width(Length::Fill)
                    .padding([3, 8])
                    .style(theme::key(palette, Some(&behaviour.id) == self.chosen.as_ref()))
                    .on_press(Message::Choose(behaviour.id.clone())),
            );
        }
        scrollable(list).height(Length::Fill).into()
    }

    fn remarks<'a>(&'a self, editor: &Editor, palette: Palette) -> Element<'a, Message> {
        let mut all = column![].spacing(6).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        let head =
            |words: &'static str| text(words).size(theme::TITLE).font(theme::MEDIUM).color(palette.text);
        all = all.push(head("Questions"));
        if self.findings.is_empty() {
            all = all.push(text("None.").size(theme::BODY).color(palette.quiet));
        }
        for finding in &self.findings {
            let ink = if finding.is_error { palette.accent } else { palette.text };
            let words = text(&finding.words).size(theme::BODY).color(ink);
            all = all.push(match &finding.behaviour {
                Some(id) => Element::from(
                    button(words)
                        .width(Length::Fill)
                        .padding([3, 8])
                        .style(theme::key(palette, false))
                        .on_press(Message::Choose(id.clone())),
                ),
                None => words.into(),
            });
        }
        let differences = editor.differences();
        if !differences.is_empty() {
            all = all.push(head("What this revision changes"));
            for own in differences {
                let what = if own.is_of_meaning { "meaning" } else { "wording" };
                all = all.push(text(format!("{} ({what})", own.words)).size(theme::BODY).color(palette.text));
            }
            all = all.push(
                text("Numbers from before and after a change of meaning are not of one kind: the summary names the revision.")
                    .size(theme::BODY)
                    .color(palette.quiet),
            );
        }
        scrollable(all).height(Length::Fill).into()
    }
}

/// How many codings use a revision.
fn used_by(folder: &StudyFolder, ethogram: &Ethogram) -> usize {
    let listing = folder.list();
    let codings = listing.sessions.iter().flat_map(|entry| &entry.codings);
    let uses =
        |head: &CodingHead| head.ethogram.id == ethogram.id && head.ethogram.revision == ethogram.revision;
    codings.filter(|(_, head)| uses(head)).count()
}

/// The field for the name of a new set.
pub const NEW_SET: &str = "ethogram-new-set";
