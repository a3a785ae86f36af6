//! Handing a study over as one file, and taking one in: what is new, what differs, and what is chosen.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, progress_bar, row, scrollable, space, text, text_input};
use iced::{Element, Length, Subscription, Task};

use crate::gui::background::{self, Work};
use crate::gui::theme::{self, Mode, Palette};
use crate::model::SessionId;
use crate::storage::StudyFolder;
use crate::storage::parcel::{self, Choice, Comparison, Contents, Item, Packed, Parcel, Taken, What};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// Where the parcel is written is typed.
    Out(String),
    /// With film or without.
    ToggleFilm,
    /// Pack the study.
    Pack,
    /// The parcel to take in is typed.
    Parcel(String),
    /// A file was dropped on the window.
    Dropped(PathBuf),
    /// Where it is taken in is typed.
    Into(String),
    /// Hold the parcel against what is there.
    Look,
    /// Take in what is chosen.
    Take,
    /// A line of the list is chosen.
    Choose(usize),
    /// What becomes of the chosen line.
    NextChoice,
    /// A key went down.
    KeyDown(Key),
    /// How far it has come, or what came of it.
    Told(Told),
    /// Back.
    Leave,
}

/// What comes from the work.
#[derive(Debug, Clone)]
pub enum Told {
    /// The share done.
    Share(f32),
    /// The parcel is written.
    Packed(Result<Packed, String>),
    /// The parcel was looked at.
    Looked(Result<Looked, String>),
    /// It was taken into a study.
    Taken(Result<Taken, String>),
    /// It is a new study.
    New(Result<PathBuf, String>),
}

/// A parcel that was looked at; taken out of here when it is taken in.
#[derive(Debug, Clone)]
pub struct Looked {
    parcel: Arc<Mutex<Option<Parcel>>>,
    /// None: there is no study where it is to go.
    found: Arc<Mutex<Option<Comparison>>>,
    items: Vec<Item>,
    same: usize,
    about: String,
    is_new: bool,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Open a study that was taken in.
    Open(PathBuf),
    /// Back.
    Leave,
}

const LIST: &str = "hand-over-list";
/// The field that has the keys first.
pub const FIRST: &str = "hand-over-first";
/// Lines that are drawn of a long list, around the chosen one.
const DRAWN: usize = 100;

/// The screen.
pub struct HandOver {
    /// Sessions of which nothing may be shown to the person at work.
    hidden: BTreeSet<SessionId>,
    folder: Option<StudyFolder>,
    person: String,
    out: String,
    with_film: bool,
    parcel: String,
    into: String,
    looked: Option<Looked>,
    chosen: usize,
    work: Option<Work>,
    said: String,
}

impl HandOver {
    /// For a study, or for none yet.
    #[must_use]
    pub fn new(folder: Option<StudyFolder>, person: &str) -> Self {
        let root =
            folder.as_ref().map(|own| std::path::absolute(own.root()).unwrap_or_else(|_| own.root().into()));
        let out = root.as_ref().map(|root| {
            let name = root.file_name().unwrap_or_default().to_string_lossy();
            let day = chrono::Local::now().format("%Y-%m-%d");
            root.with_file_name(format!("{name} {day}{}", parcel::ENDING)).display().to_string()
        });
        Self {
            hidden: BTreeSet::new(),
            person: person.to_owned(),
            out: out.unwrap_or_default(),
            with_film: false,
            parcel: String::new(),
            into: root.map(|root| root.display().to_string()).unwrap_or_default(),
            looked: None,
            chosen: 0,
            work: None,
            said: "Nothing of the study changes before you take something in.".to_owned(),
            folder,
        }
    }

    /// Sessions of which nothing may be shown to the person at work: only that something differs.
    pub fn hide(&mut self, sessions: BTreeSet<SessionId>) {
        self.hidden = sessions;
    }

    fn is_hidden(&self, what: &What) -> bool {
        match what {
            What::Session(id) | What::Coding(id, _) => self.hidden.iter().any(|own| own.as_str() == id),
            _ => false,
        }
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Out(text) => self.out = text,
            Message::ToggleFilm => self.with_film = !self.with_film,
            Message::Pack => return self.pack(),
            Message::Parcel(text) => {
                self.parcel = text;
                self.looked = None;
            }
            Message::Dropped(path) => {
                self.parcel = path.display().to_string();
                return self.look();
            }
            Message::Into(text) => {
                self.into = text;
                self.looked = None;
            }
            Message::Look => return self.look(),
            Message::Take => return self.take(),
            Message::Choose(place) => self.chosen = place,
            Message::NextChoice => self.next_choice(),
            Message::KeyDown(key) => return self.key_down(&key),
            Message::Told(told) => return self.told(told),
            Message::Leave => return self.leave(),
        }
        Action::None
    }

    fn key_down(&mut self, key: &Key) -> Action {
        let count = self.looked.as_ref().map_or(0, |looked| looked.items.len());
        match key.as_ref() {
            Key::Named(Named::F2) => self.with_film = !self.with_film,
            Key::Named(Named::F5) => return self.pack(),
            Key::Named(Named::F6) => return self.look(),
            Key::Named(Named::F7) => return self.take(),
            Key::Named(Named::ArrowDown) => self.chosen = (self.chosen + 1).min(count.saturating_sub(1)),
            Key::Named(Named::ArrowUp) => self.chosen = self.chosen.saturating_sub(1),
            Key::Named(Named::F8) => self.next_choice(),
            Key::Named(Named::Escape) => return self.leave(),
            _ => {}
        }
        Action::None
    }

    /// The first Escape stops what is under way, the next one leaves.
    fn leave(&mut self) -> Action {
        match &self.work {
            Some(work) => {
                work.stop();
                "It is being stopped …".clone_into(&mut self.said);
                Action::None
            }
            None => Action::Leave,
        }
    }

    fn next_choice(&mut self) {
        if let Some(item) = self.looked.as_mut().and_then(|looked| looked.items.get_mut(self.chosen)) {
            item.choose_next();
        }
    }

    fn begin(&mut self, words: &str) -> Option<Work> {
        if self.work.is_some() {
            "One thing after the other: Escape stops what is under way.".clone_into(&mut self.said);
            return None;
        }
        words.clone_into(&mut self.said);
        let work = Work::default();
        self.work = Some(work.clone());
        Some(work)
    }

    fn pack(&mut self) -> Action {
        let Some(folder) = self.folder.clone() else {
            "No study is open that could be packed.".clone_into(&mut self.said);
            return Action::None;
        };
        if self.out.trim().is_empty() {
            "Write where the parcel goes first.".clone_into(&mut self.said);
            return Action::None;
        }
        let Some(work) = self.begin("Packing …") else { return Action::None };
        let target = PathBuf::from(self.out.trim());
        let by = Some(self.person.trim().to_owned()).filter(|by| !by.is_empty());
        let contents = Contents { film: self.with_film, by, now: chrono::Local::now().fixed_offset() };
        let failed = |error: std::io::Error| Told::Packed(Err(error.to_string()));
        let task = background::run("packing", failed, move |sender| {
            let packed = parcel::pack(&folder, &contents, &target, &mut work.teller(sender, Told::Share));
            let _ = sender.unbounded_send(Told::Packed(packed.map_err(|error| error.to_string())));
        });
        Action::Run(task.map(Message::Told))
    }

    fn look(&mut self) -> Action {
        if self.parcel.trim().is_empty() || self.into.trim().is_empty() {
            "Write which parcel, and into which folder.".clone_into(&mut self.said);
            return Action::None;
        }
        let Some(work) = self.begin("Looking through the parcel …") else { return Action::None };
        self.looked = None;
        let (path, into) = (PathBuf::from(self.parcel.trim()), PathBuf::from(self.into.trim()));
        let failed = |error: std::io::Error| Told::Looked(Err(error.to_string()));
        let task = background::run("looking", failed, move |sender| {
            let looked = look_at(&path, &into, &mut work.teller(sender, Told::Share));
            let _ = sender.unbounded_send(Told::Looked(looked.map_err(|error| error.to_string())));
        });
        Action::Run(task.map(Message::Told))
    }

    fn take(&mut self) -> Action {
        let Some(looked) = self.looked.clone() else {
            "Look at the parcel first (F6).".clone_into(&mut self.said);
            return Action::None;
        };
        let Some(work) = self.begin("Taking in …") else { return Action::None };
        let taken_out = |own: &Arc<Mutex<Option<Parcel>>>| own.lock().ok().and_then(|mut own| own.take());
        let parcel = taken_out(&looked.parcel);
        let found = looked.found.lock().ok().and_then(|mut own| own.take());
        self.looked = None;
        let into = PathBuf::from(self.into.trim());
        let failed = |error: std::io::Error| Told::Taken(Err(error.to_string()));
        let task = background::run("taking in", failed, move |sender| {
            let mut progress = work.teller(sender, Told::Share);
            let Some(mut parcel) = parcel else { return };
            let told = match found {
                None => Told::New(
                    parcel::take_as_new(&mut parcel, &into, &mut progress)
                        .map(|folder| folder.root().to_owned())
                        .map_err(|error| error.to_string()),
                ),
                Some(mut found) => {
                    found.items = looked.items;
                    let now = chrono::Local::now().fixed_offset();
                    let taken = StudyFolder::open(&into)
                        .map_err(parcel::Error::from)
                        .and_then(|folder| parcel::take(&mut parcel, found, &folder, now, &mut progress));
                    Told::Taken(taken.map_err(|error| error.to_string()))
                }
            };
            let _ = sender.unbounded_send(told);
        });
        Action::Run(task.map(Message::Told))
    }

    fn told(&mut self, told: Told) -> Action {
        if let Told::Share(share) = told {
            if let Some(work) = &mut self.work {
                work.share = share;
            }
            return Action::None;
        }
        self.work = None;
        match told {
            Told::Share(_) => {}
            Told::Packed(Ok(packed)) => {
                self.said = format!(
                    "Packed: {} files, {} of them film, {}. {}",
                    packed.files,
                    packed.clips,
                    megabytes(packed.size),
                    packed.remarks.join("; ")
                );
            }
            Told::Looked(Ok(looked)) => {
                self.chosen = 0;
                self.said = if looked.is_new {
                    "It becomes a new study in that folder. F7 takes it in.".to_owned()
                } else if looked.items.is_empty() {
                    "Nothing in it is new or different.".to_owned()
                } else {
                    "What is new is taken, what differs stays as it is unless you choose otherwise (F8). F7 takes it in."
                        .to_owned()
                };
                self.looked = Some(looked);
            }
            Told::Taken(Ok(taken)) => {
                let aside = taken.replaced.as_ref().map_or_else(String::new, |place| {
                    format!(" What was replaced is kept in {}.", place.display())
                });
                let failed = if taken.failed.is_empty() {
                    String::new()
                } else {
                    format!(" Not taken: {}.", taken.failed.join("; "))
                };
                self.said = format!(
                    "{} parts taken in, {} stayed as they were.{aside}{failed}",
                    taken.taken.len(),
                    taken.kept.len()
                );
            }
            Told::New(Ok(root)) => return Action::Open(root),
            Told::Packed(Err(why)) | Told::Looked(Err(why)) | Told::Taken(Err(why)) | Told::New(Err(why)) => {
                self.said = why;
            }
        }
        Action::None
    }

    /// Keys, and files dropped on the window.
    pub fn subscription() -> Subscription<Message> {
        iced::event::listen_with(|event, status, _| match event {
            iced::Event::Keyboard(keyboard::Event::KeyPressed { key, .. }) => {
                // A field keeps what it can use; Escape means the screen.
                let is_free = status == iced::event::Status::Ignored || key == Key::Named(Named::Escape);
                is_free.then_some(Message::KeyDown(key))
            }
            iced::Event::Window(iced::window::Event::FileDropped(path)) => Some(Message::Dropped(path)),
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let columns = row![
            container(self.give(palette)).width(Length::FillPortion(1)),
            container(self.take_in(palette)).width(Length::FillPortion(1)),
        ]
        .spacing(24);
        let mut all = column![columns, self.list(palette)].spacing(16).padding(16);
        if let Some(work) = &self.work {
            all = all.push(
                row![
                    progress_bar(0.0..=1.0, work.share).girth(6),
                    text("Escape stops it").size(theme::BODY).color(palette.quiet)
                ]
                .spacing(12)
                .align_y(iced::Center),
            );
        }
        all.push(text(&self.said).size(theme::BODY).color(palette.accent)).into()
    }

    fn give(&self, palette: Palette) -> Element<'_, Message> {
        let film = if self.with_film { "With the film (F2)" } else { "Without the film (F2)" };
        let mut lines = column![
            head("Hand this study over", palette),
            quiet(
                "One file with all sheets, definitions and codings; open it on the other computer here, on the right.",
                palette
            ),
        ]
        .spacing(8);
        if self.folder.is_none() {
            return card(lines.push(quiet("No study is open.", palette)), palette);
        }
        lines = lines.push(
            field("The file to write", &self.out, palette)
                .id(FIRST)
                .on_input(Message::Out)
                .on_submit(Message::Pack),
        );
        let keys = row![
            key(film, self.with_film, palette).on_press(Message::ToggleFilm),
            space::horizontal(),
            key("Pack (F5)", false, palette).on_press(Message::Pack),
        ];
        card(lines.push(keys), palette)
    }

    fn take_in(&self, palette: Palette) -> Element<'_, Message> {
        let lines = column![
            head("Take a study in", palette),
            quiet(
                "Drop the file on this window or write its path. Into a new folder it becomes a study of its own; into a study it is held against it first.",
                palette
            ),
            field("The packed study (….shedlight.zip)", &self.parcel, palette)
                .on_input(Message::Parcel)
                .on_submit(Message::Look),
            field("Into this folder", &self.into, palette).on_input(Message::Into).on_submit(Message::Look),
            row![
                key("Look at it (F6)", false, palette).on_press(Message::Look),
                space::horizontal(),
                key("Take it in (F7)", self.looked.is_some(), palette)
                    .on_press_maybe(self.looked.is_some().then_some(Message::Take)),
            ],
        ]
        .spacing(8);
        card(lines, palette)
    }

    fn list(&self, palette: Palette) -> Element<'_, Message> {
        let Some(looked) = &self.looked else { return space::vertical().into() };
        let conflicts = looked.items.iter().filter(|item| item.is_conflict()).count();
        let counts = if looked.is_new {
            looked.about.clone()
        } else {
            format!(
                "{}: {conflicts} different, {} new, {} the same",
                looked.about,
                looked.items.len() - conflicts,
                looked.same
            )
        };
        let mut list = column![].spacing(6).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        let from = self.chosen.saturating_sub(DRAWN / 2).min(looked.items.len().saturating_sub(DRAWN));
        for (place, item) in looked.items.iter().enumerate().skip(from).take(DRAWN) {
            list = list.push(self.item(place, item, palette));
        }
        column![
            row![
                text(counts).size(theme::BODY).font(theme::MEDIUM).color(palette.text),
                space::horizontal(),
                quiet("Up, Down; F8: what becomes of it", palette)
            ],
            scrollable(list).id(LIST).height(Length::Fill)
        ]
        .spacing(8)
        .height(Length::Fill)
        .into()
    }

    fn item<'a>(&self, place: usize, item: &'a Item, palette: Palette) -> Element<'a, Message> {
        let here = place == self.chosen;
        let word = if item.is_conflict() { "differs" } else { "new" };
        let choice = match (item.is_conflict(), item.choice) {
            (false, Choice::Take) => "is added",
            (false, _) => "is left out",
            (true, choice) => choice.word(),
        };
        let mut words = column![
            row![
                text(word).size(theme::BODY).color(palette.quiet).width(70),
                text(item.what.words()).size(theme::BODY).color(palette.text),
                space::horizontal(),
                text(choice).size(theme::BODY).font(theme::MEDIUM).color(if item.choice == Choice::Keep {
                    palette.quiet
                } else {
                    palette.accent
                }),
            ]
            .spacing(8)
        ]
        .spacing(2);
        if here {
            for line in item.differences.iter().filter(|_| !self.is_hidden(&item.what)) {
                words =
                    words.push(row![space().width(78), text(line).size(theme::BODY).color(palette.quiet)]);
            }
        }
        button(words)
            .width(Length::Fill)
            .padding([6, 12])
            .style(theme::key(palette, here))
            .on_press(if here { Message::NextChoice } else { Message::Choose(place) })
            .into()
    }
}

/// Opens a parcel and, where there is a study, holds it against that.
fn look_at(
    path: &std::path::Path,
    into: &std::path::Path,
    progress: parcel::Progress<'_>,
) -> Result<Looked, parcel::Error> {
    let mut opened = parcel::open(path)?;
    let list = opened.list();
    let film = list.files.iter().filter(|entry| entry.is_film()).count();
    let about = format!(
        "'{}', packed {}{}, {} files, {film} of them film",
        list.title,
        list.packed.format("%Y-%m-%d %H:%M"),
        list.by.as_ref().map_or_else(String::new, |by| format!(" by {by}")),
        list.files.len()
    );
    let found = if into.join("study.json").is_file() {
        let folder = StudyFolder::open(into)?;
        Some(parcel::compare(&mut opened, &folder, progress)?)
    } else {
        None
    };
    Ok(Looked {
        parcel: Arc::new(Mutex::new(Some(opened))),
        is_new: found.is_none(),
        items: found.as_ref().map(|found| found.items.clone()).unwrap_or_default(),
        same: found.as_ref().map_or(0, |found| found.same),
        found: Arc::new(Mutex::new(found)),
        about,
    })
}

/// Bytes as people read them.
pub(super) fn megabytes(bytes: u64) -> String {
    #[allow(clippy::cast_precision_loss)] // For people.
    let size = bytes as f64 / 1e6;
    format!("{size:.1} MB")
}

fn head(words: &str, palette: Palette) -> Element<'_, Message> {
    text(words).size(theme::TITLE).font(theme::MEDIUM).color(palette.text).into()
}

fn quiet(words: &str, palette: Palette) -> Element<'_, Message> {
    text(words).size(theme::BODY).color(palette.quiet).into()
}

fn field<'a>(hint: &'a str, value: &'a str, palette: Palette) -> text_input::TextInput<'a, Message> {
    text_input(hint, value).size(theme::BODY).padding([6, 10]).style(theme::input(palette))
}

fn key(words: &str, active: bool, palette: Palette) -> button::Button<'_, Message> {
    button(text(words).size(theme::BODY)).padding([6, 12]).style(theme::key(palette, active))
}

fn card(lines: iced::widget::Column<'_, Message>, palette: Palette) -> Element<'_, Message> {
    container(lines).padding(16).width(Length::Fill).style(theme::card(palette)).into()
}
