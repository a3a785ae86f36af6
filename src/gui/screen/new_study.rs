//! Making a study, also around a bare clip: only the animal, the person and the ethogram are asked for.

use std::path::{Path, PathBuf};

use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::{button, column, container, row, text, text_input};
use iced::{Element, Length, Subscription};

use crate::gui::theme::{self, Mode};
use crate::model::{
    Animal, Clip, ClipId, ClockSource, Coding, EthogramRef, Pass, Person, Session, Study, Taxon, starter,
};
use crate::storage::{Error, StudyFolder, coding_file, fingerprint};
use crate::workbench::intake::is_next_name;

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// The animal's name is typed.
    Animal(String),
    /// The person's code is typed.
    Person(String),
    /// The study's folder is typed.
    Folder(String),
    /// A starter ethogram is chosen.
    Taxon(Taxon),
    /// Make it.
    Make,
    /// The next starter ethogram.
    NextTaxon,
    /// Leave it.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Open the coding that was begun, or the study without a clip.
    Made(Box<(StudyFolder, Option<PathBuf>)>),
    /// Back.
    Leave,
}

/// The form.
pub struct NewStudy {
    clip: Option<PathBuf>,
    animal: String,
    person: String,
    folder: String,
    taxon: Taxon,
    error: Option<String>,
}

impl NewStudy {
    /// A form, around a clip if there is one.
    #[must_use]
    pub fn new(clip: Option<PathBuf>, person: Option<String>) -> Self {
        let folder = match &clip {
            Some(clip) => {
                let stem = clip.file_stem().unwrap_or_default().to_string_lossy().into_owned();
                let clip = std::path::absolute(clip).unwrap_or_else(|_| clip.clone());
                clip.with_file_name(format!("{stem}-study"))
            }
            None => directories::UserDirs::new()
                .and_then(|dirs| {
                    dirs.document_dir().map(Path::to_owned).or_else(|| Some(dirs.home_dir().to_owned()))
                })
                .unwrap_or_default()
                .join("training-study"),
        };
        Self {
            clip,
            animal: String::new(),
            person: person.unwrap_or_default(),
            folder: folder.to_string_lossy().into_owned(),
            taxon: Taxon::Lizard,
            error: None,
        }
    }

    /// The clip it is made around.
    #[must_use]
    pub fn clip(&self) -> Option<&Path> {
        self.clip.as_deref()
    }

    /// Where the study would lie.
    #[must_use]
    pub fn folder_for(&self) -> PathBuf {
        PathBuf::from(&self.folder)
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Animal(text) => self.animal = text,
            Message::Person(text) => self.person = text,
            Message::Folder(text) => self.folder = text,
            Message::Taxon(taxon) => self.taxon = taxon,
            Message::NextTaxon => {
                self.taxon = match self.taxon {
                    Taxon::Snake => Taxon::Lizard,
                    Taxon::Lizard => Taxon::Chelonian,
                    Taxon::Chelonian => Taxon::Snake,
                };
            }
            Message::Leave => return Action::Leave,
            Message::Make => {
                let missing = [(&self.animal, "the animal's name"), (&self.person, "your code or initials")];
                if let Some((_, what)) = missing.iter().find(|(text, _)| text.trim().is_empty()) {
                    self.error = Some(format!("Please write {what}."));
                    return Action::None;
                }
                match self.make() {
                    Ok(made) => return Action::Made(Box::new(made)),
                    Err(error) => self.error = Some(error.to_string()),
                }
            }
        }
        Action::None
    }

    fn make(&self) -> Result<(StudyFolder, Option<PathBuf>), Error> {
        let animal = self.animal.trim();
        let id = id_of(animal);
        let mut study = Study::new(&format!("Training of {animal}"));
        study.animals.push(Animal {
            id: id.as_str().into(),
            name: animal.to_owned(),
            taxon: Some(self.taxon),
            ..Animal::default()
        });
        let person = self.person.trim();
        study.people.push(Person { code: id_of(person).to_uppercase().into(), ..Person::default() });
        let folder = StudyFolder::create(Path::new(self.folder.trim()), study)?;
        let ethogram = starter::ethogram(self.taxon);
        folder.save_ethogram(&ethogram)?;
        let Some(clip) = &self.clip else { return Ok((folder, None)) };
        let session = session_around(&folder, clip, id.as_str().into())?;
        let coding =
            begin_coding(&folder, &session, &id_of(person).to_uppercase(), crate::model::Purpose::Primary)?;
        Ok((folder, Some(coding)))
    }

    /// Keys of the form.
    pub fn subscription() -> Subscription<Message> {
        iced::keyboard::listen().filter_map(|event| match event {
            iced::keyboard::Event::KeyPressed { key: Key::Named(Named::F2), .. } => Some(Message::NextTaxon),
            iced::keyboard::Event::KeyPressed { key: Key::Named(Named::Escape), .. } => Some(Message::Leave),
            _ => None,
        })
    }

    /// The form as it looks.
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let label = |words: &'static str| text(words).size(theme::BODY).color(palette.quiet).width(130);
        let field = |hint: &'static str, value: &str, on: fn(String) -> Message| {
            text_input(hint, value)
                .size(theme::BODY)
                .padding([6, 10])
                .style(theme::input(palette))
                .on_input(on)
                .on_submit(Message::Make)
        };
        let head = match &self.clip {
            Some(clip) => {
                format!("A study around {}", clip.file_name().unwrap_or_default().to_string_lossy())
            }
            None => "A new study".to_owned(),
        };
        let mut taxa = row![].spacing(6);
        for taxon in Taxon::ALL {
            taxa = taxa.push(
                button(text(taxon.word()).size(theme::BODY))
                    .padding([6, 12])
                    .style(theme::key(palette, taxon == self.taxon))
                    .on_press(Message::Taxon(taxon)),
            );
        }
        let mut form = column![
            text(head).size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
            text("The clip stays where it is and is never changed. The study is a folder of text files beside it.")
                .size(theme::BODY)
                .color(palette.quiet),
            row![label("Animal"), field("Its name", &self.animal, Message::Animal).id("animal")].align_y(iced::Center),
            row![label("You"), field("Your code or initials", &self.person, Message::Person)].align_y(iced::Center),
            row![label("Ethogram (F2)"), taxa].align_y(iced::Center),
            row![label("Study folder"), field("Folder", &self.folder, Message::Folder)].align_y(iced::Center),
        ]
        .spacing(12);
        if let Some(error) = &self.error {
            form = form.push(text(error).size(theme::BODY).color(palette.accent));
        }
        let buttons = row![
            button(text("Make the study (Enter)").size(theme::BODY))
                .padding([8, 16])
                .style(theme::key(palette, true))
                .on_press(Message::Make),
            button(text("Back (Escape)").size(theme::BODY))
                .padding([8, 16])
                .style(theme::key(palette, false))
                .on_press(Message::Leave),
        ]
        .spacing(8);
        container(container(form.push(buttons)).padding(24).max_width(720).style(theme::card(palette)))
            .center(Length::Fill)
            .into()
    }
}

/// An id of letters, digits and hyphens.
#[must_use]
pub fn id_of(name: &str) -> String {
    let id: String = name
        .trim()
        .to_lowercase()
        .chars()
        .map(|letter| if letter.is_alphanumeric() { letter } else { '-' })
        .collect();
    let id = id.trim_matches('-').to_owned();
    if id.is_empty() { "unnamed".to_owned() } else { id }
}

/// A session with one clip, its id from the clip's date and the animal.
///
/// # Errors
/// When it can't be written.
pub fn session_around(
    folder: &StudyFolder,
    clip: &Path,
    animal: crate::model::AnimalId,
) -> Result<Session, Error> {
    let absolute = std::path::absolute(clip).unwrap_or_else(|_| clip.to_owned());
    let modified = std::fs::metadata(&absolute)
        .and_then(|about| about.modified())
        .map_err(|source| Error::Read { path: absolute.clone(), source })?;
    let day: chrono::DateTime<chrono::Local> = modified.into();
    // The file's own date, to be corrected by whoever knows better.
    let began = Some((day.fixed_offset(), ClockSource::Camera));
    session_of(folder, &[absolute], animal, day.date_naive(), began)
}

/// A session of the pieces of one recording, its id from the day and the animal. `began`: when, and how that
/// is known.
///
/// # Errors
/// When it can't be written.
pub fn session_of(
    folder: &StudyFolder,
    pieces: &[PathBuf],
    animal: crate::model::AnimalId,
    day: chrono::NaiveDate,
    began: Option<(chrono::DateTime<chrono::FixedOffset>, ClockSource)>,
) -> Result<Session, Error> {
    let base = format!("{}-{animal}", day.format("%Y-%m-%d"));
    let mut id = base.clone();
    let mut number = 2;
    while folder.session_folder(&id.as_str().into()).exists() {
        id = format!("{base}-{number}");
        number += 1;
    }
    let mut session = Session::new(id.into(), animal);
    (session.recorded_at, session.clock_source) = began.unzip();
    for (number, clip) in (0_u32..).zip(pieces) {
        let absolute = std::path::absolute(clip).unwrap_or_else(|_| clip.clone());
        let mut own = Clip::new(ClipId(number), &path_in(folder, &absolute).to_string_lossy());
        own.fingerprint = Some(fingerprint::of_file(&absolute)?);
        session.clips.push(own);
    }
    if let Some(last) = super::sheet::last_before(folder, &session) {
        crate::workbench::sheet::session::prefill(&mut session, &last);
    }
    folder.save_session(&session)?;
    Ok(session)
}

/// A clip's path as a session holds it: inside the study or beside it relative to it, else whole.
fn path_in(folder: &StudyFolder, absolute: &Path) -> PathBuf {
    let root = std::path::absolute(folder.root()).unwrap_or_else(|_| folder.root().to_owned());
    match (absolute.strip_prefix(&root), root.parent().and_then(|parent| absolute.strip_prefix(parent).ok()))
    {
        (Ok(inside), _) => inside.to_owned(),
        (Err(_), Some(beside)) => Path::new("..").join(beside),
        (Err(_), None) => absolute.to_owned(),
    }
}

/// The session whose last clip this one goes on from: in the same folder, named alike, its number the
/// next one.
#[must_use]
pub fn goes_on_from(folder: &StudyFolder, clip: &Path) -> Option<Session> {
    let absolute = std::path::absolute(clip).ok()?;
    let stem = absolute.file_stem()?.to_string_lossy().into_owned();
    folder.list().sessions.into_iter().map(|entry| entry.session).find(|session| {
        session.clips.last().is_some_and(|last| {
            let path = folder.root().join(&last.path);
            let path = std::path::absolute(&path).unwrap_or(path);
            let is_beside = same_folder(&path, &absolute);
            let before = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
            is_beside && before.is_some_and(|before| is_next_name(&before, &stem))
        })
    })
}

fn same_folder(a: &Path, b: &Path) -> bool {
    let folder = |path: &Path| path.parent().and_then(|folder| folder.canonicalize().ok());
    folder(a).is_some() && folder(a) == folder(b)
}

/// Adds the next piece of a recording to its session; where it begins is known once both are open.
///
/// # Errors
/// When it can't be written.
pub fn add_piece(folder: &StudyFolder, mut session: Session, clip: &Path) -> Result<Session, Error> {
    let absolute = std::path::absolute(clip).unwrap_or_else(|_| clip.to_owned());
    let last = session.clips.last().cloned();
    let id = session.clips.iter().map(|clip| clip.id.0 + 1).max().unwrap_or(0);
    let name = absolute.file_name().unwrap_or_default();
    let path = match &last {
        Some(last) => Path::new(&last.path).with_file_name(name),
        None => absolute.clone(),
    };
    let mut own = Clip::new(ClipId(id), &path.to_string_lossy());
    own.fingerprint = Some(fingerprint::of_file(&absolute)?);
    if let Some(last) = last {
        own.camera.clone_from(&last.camera);
        own.real_time_factor = last.real_time_factor;
        own.offset = last.span().map_or(crate::time::Micros::ZERO, |span| span.to);
    }
    session.clips.push(own);
    folder.save_session(&session)?;
    Ok(session)
}

/// Begins a coding of a session under the study's ethogram for new codings.
///
/// # Errors
/// When there is no ethogram, or it can't be written.
pub fn begin_coding(
    folder: &StudyFolder,
    session: &Session,
    person: &str,
    purpose: crate::model::Purpose,
) -> Result<PathBuf, Error> {
    let ethogram = folder.ethogram_for_new()?;
    let reference = EthogramRef::to(&ethogram).map_err(|source| Error::Json {
        path: folder.ethogram_path(&ethogram.id, ethogram.revision),
        source,
    })?;
    let mut coding = Coding::new(session.id.clone(), person.into(), reference);
    coding.purpose = purpose;
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    coding.begun = Some(chrono::Local::now().fixed_offset());
    if purpose == crate::model::Purpose::Second {
        coding.masked = ["first record", "date", "step"].map(str::to_owned).to_vec();
    }
    coding_file::create(&folder.session_folder(&session.id), &coding)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_ids() {
        assert_eq!(id_of("  Old Bramble! "), "old-bramble");
        assert_eq!(id_of("¡"), "unnamed");
    }
}
