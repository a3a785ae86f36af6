//! Measuring a person's reaction lag on a clip that the program draws.

use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use iced::futures::channel::mpsc;
use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, progress_bar, row, text};
use iced::{Element, Length, Subscription, Task};

use crate::gui::feed::{self, Fed};
use crate::gui::screen::coding::keys;
use crate::gui::theme::{self, Mode, Palette};
use crate::gui::widget::video::{self, Sight};
use crate::media::{Film, Heading, Picture};
use crate::model::{ClipId, Extra, LagMeasured, Person};
use crate::storage::StudyFolder;
use crate::time::{Micros, Seconds};
use crate::workbench::player::{Direction, Player};
use crate::workbench::reaction::{self, FEWEST, Lag, Measured, TooPoor};
use crate::workbench::reel::{Piece, Reel};
use crate::workbench::target_clip;

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A key went down; `true`: it was held.
    KeyDown(Key, keyboard::Modifiers, bool),
    /// How far the drawing is, or what came of it.
    Drawn(Drawn),
    /// Something from the clip.
    Fed(Fed),
    /// The window can draw again.
    Tick,
    /// Begin.
    Begin,
    /// Keep what was measured.
    Keep,
    /// Back to the sessions.
    Leave,
}

/// What comes from the drawing.
#[derive(Debug, Clone)]
pub enum Drawn {
    /// The share done.
    Share(f32),
    /// It is there, or can't be; why.
    Done(Result<PathBuf, String>),
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Show the sessions; the study may have changed.
    Leave(Box<StudyFolder>),
}

enum Stage {
    Words,
    Drawing(f32),
    Opening,
    Running(Box<Run>),
    Told(Measured),
    Failed(String),
}

/// The clip while it plays.
struct Run {
    film: Arc<Film>,
    player: Player,
    picture: Option<Arc<Picture>>,
    presses: Vec<Micros>,
    has_begun: bool,
}

/// Where the clip lies; it goes when this does.
struct Clip {
    path: PathBuf,
    stop: Arc<AtomicBool>,
}

impl Drop for Clip {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        // Only a clip of ours lies there; a system that does not let it go overwrites it the next time.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// The screen.
pub struct Reaction {
    folder: StudyFolder,
    person: String,
    changes: Vec<Micros>,
    stage: Stage,
    clip: Option<Clip>,
    start: Instant,
    said: Option<String>,
}

impl Reaction {
    /// For the person at work; `seed` draws the moments.
    #[must_use]
    pub fn new(folder: StudyFolder, person: &str, seed: u64, now: Instant) -> Self {
        Self {
            folder,
            person: super::by_samples::code_of(person),
            changes: reaction::moments(seed),
            stage: Stage::Words,
            clip: None,
            start: now,
            said: None,
        }
    }

    fn now(&self) -> Duration {
        self.start.elapsed()
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::KeyDown(key, modifiers, repeat) => return self.key_down(&key, modifiers, repeat),
            Message::Begin => return self.begin(),
            Message::Keep => return self.keep(),
            Message::Leave => return self.leave(),
            Message::Drawn(Drawn::Share(share)) => {
                if let Stage::Drawing(own) = &mut self.stage {
                    *own = share;
                }
            }
            Message::Drawn(Drawn::Done(Ok(path))) => {
                if matches!(self.stage, Stage::Drawing(_)) {
                    self.stage = Stage::Opening;
                    let open = feed::open(vec![(ClipId(0), path)], 256 << 20);
                    return Action::Run(open.map(Message::Fed));
                }
            }
            Message::Drawn(Drawn::Done(Err(why))) | Message::Fed(Fed::Failed(_, why)) => {
                self.clip = None;
                self.stage = Stage::Failed(why);
            }
            Message::Fed(Fed::Opened(_, _, film)) => self.run(film),
            Message::Fed(_) | Message::Tick => self.pursue(),
        }
        Action::None
    }

    fn leave(&mut self) -> Action {
        self.clip = None;
        Action::Leave(Box::new(self.folder.clone()))
    }

    fn begin(&mut self) -> Action {
        if self.person.is_empty() {
            self.said = Some("Write your code or initials in Sessions first.".to_owned());
            return Action::None;
        }
        let cache = directories::ProjectDirs::from("", "", "shedlight").map(|own| own.cache_dir().to_owned());
        let folder = cache.unwrap_or_else(std::env::temp_dir);
        let path = folder.join(format!("reaction-{}.mp4", std::process::id()));
        let stop = Arc::new(AtomicBool::new(false));
        self.clip = Some(Clip { path: path.clone(), stop: Arc::clone(&stop) });
        self.stage = Stage::Drawing(0.0);
        let changes = self.changes.clone();
        let (sender, receiver) = mpsc::unbounded();
        let failure = sender.clone();
        let spawned = std::thread::Builder::new().name("target".to_owned()).spawn(move || {
            let made =
                std::fs::create_dir_all(&folder).map_err(|error| format!("{error}: {}", folder.display()));
            let done = made.and_then(|()| {
                let drawn = target_clip::write(&path, &changes, &mut |share| {
                    let _ = sender.unbounded_send(Drawn::Share(share));
                    if stop.load(Ordering::Relaxed) {
                        ControlFlow::Break(())
                    } else {
                        ControlFlow::Continue(())
                    }
                });
                drawn.map(|()| path.clone()).map_err(|error| error.to_string())
            });
            if stop.load(Ordering::Relaxed) {
                let _ = std::fs::remove_file(&path);
                return;
            }
            let _ = sender.unbounded_send(Drawn::Done(done));
        });
        if let Err(error) = spawned {
            let _ = failure.unbounded_send(Drawn::Done(Err(error.to_string())));
        }
        Action::Run(Task::run(receiver, Message::Drawn))
    }

    /// The clip is open: it plays from its start.
    fn run(&mut self, film: Arc<Film>) {
        if !matches!(self.stage, Stage::Opening) {
            return;
        }
        let piece = Piece { clip: ClipId(0), times: film.index().times().to_vec(), end: film.index().end() };
        let player = Player::new(Arc::new(Reel::new(vec![piece])));
        let run = Run { film, player, picture: None, presses: Vec::new(), has_begun: false };
        self.stage = Stage::Running(Box::new(run));
        self.pursue();
    }

    /// Lets the picture that should be seen be seen; begins when the first one is there; ends with the last.
    fn pursue(&mut self) {
        let now = self.now();
        let Stage::Running(run) = &mut self.stage else { return };
        if let Some(wanted) = run.player.tick(now)
            && run.player.shown() != Some(wanted)
        {
            run.film.want(wanted.frame, Heading::Forward);
            if let Some(picture) = run.film.picture(wanted.frame) {
                run.picture = Some(picture);
                run.player.arrived(wanted, now);
            }
        }
        if run.player.shown().is_some() && !run.has_begun {
            run.has_begun = true;
            run.player.run(Direction::Forward, now);
        } else if run.has_begun && !run.player.is_running() {
            let measured = reaction::measure(&self.changes, &run.presses, Micros::MAX);
            self.clip = None;
            self.stage = Stage::Told(measured);
        }
    }

    /// A key that counts went down: what was seen then.
    fn press(&mut self) {
        if let Stage::Running(run) = &mut self.stage
            && let Some(shown) = run.player.shown().filter(|_| run.player.is_running())
        {
            run.presses.push(shown.at);
        }
    }

    fn key_down(&mut self, key: &Key, modifiers: keyboard::Modifiers, repeat: bool) -> Action {
        let counts = keys::code(key, modifiers).is_some() || *key == Key::Named(Named::Space);
        match (key.as_ref(), &self.stage) {
            (Key::Named(Named::Escape), Stage::Running(_) | Stage::Drawing(_) | Stage::Opening) => {
                // Half a measurement is none.
                self.clip = None;
                self.stage = Stage::Words;
                self.said = Some("Stopped: nothing was kept.".to_owned());
            }
            (Key::Named(Named::Escape), _) => return self.leave(),
            (Key::Named(Named::Enter), Stage::Words | Stage::Failed(_)) if !repeat => return self.begin(),
            (Key::Named(Named::Enter), Stage::Told(told)) if !repeat => {
                return if told.lag().is_ok() { self.keep() } else { self.again() };
            }
            (Key::Character("r" | "R"), Stage::Told(_)) if !repeat => return self.again(),
            (_, Stage::Running(_)) if counts && !repeat => self.press(),
            _ => {}
        }
        Action::None
    }

    fn again(&mut self) -> Action {
        // Other moments: those just seen might be remembered.
        let last = self.changes.last().map_or(0, |at| at.0.unsigned_abs());
        self.changes = reaction::moments(last ^ u64::from(self.start.elapsed().subsec_nanos()));
        self.begin()
    }

    fn keep(&mut self) -> Action {
        let Stage::Told(told) = &self.stage else { return Action::None };
        let lag = match told.lag() {
            Ok(lag) => lag,
            Err(why) => {
                self.said = Some(format!("Not kept: {why}."));
                return Action::None;
            }
        };
        let before = self.folder.study.clone();
        keep_in(&mut self.folder.study.people, &self.person, lag, chrono::Local::now().date_naive());
        if let Err(error) = self.folder.save_study() {
            self.folder.study = before;
            self.said = Some(error.to_string());
            return Action::None;
        }
        self.leave()
    }

    /// Redraws while the clip plays.
    pub fn subscription(&self) -> Subscription<Message> {
        let keys = keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, modifiers, repeat, .. } => {
                Some(Message::KeyDown(key, modifiers, repeat))
            }
            _ => None,
        });
        if matches!(self.stage, Stage::Running(_)) {
            Subscription::batch([keys, iced::window::frames().map(|_| Message::Tick)])
        } else {
            keys
        }
    }

    /// What is known of the person now.
    fn known(&self) -> String {
        let person = self.folder.study.people.iter().find(|own| own.code.as_str() == self.person);
        match person.and_then(|own| Some((own.reaction_lag_s?, own.lag_measured.as_ref()))) {
            None => {
                format!("No lag is known of {}: marks placed live stay where the key went down.", self.person)
            }
            Some((lag, None)) => {
                format!("{:.2} s is noted for {}, written by hand.", lag.micros().seconds(), self.person)
            }
            Some((lag, Some(own))) => format!(
                "{:.2} s is noted for {}, measured on {} from {} changes, half of them within {:.2} s.",
                lag.micros().seconds(),
                self.person,
                own.date,
                own.n,
                own.iqr_s.micros().seconds()
            ),
        }
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        match &self.stage {
            Stage::Words => self.words(palette),
            Stage::Drawing(share) => {
                waiting("The clip is drawn anew, so that nobody can learn it.", *share, palette)
            }
            Stage::Opening => waiting("The clip is being read.", 1.0, palette),
            Stage::Running(run) => running(run, palette),
            Stage::Told(told) => self.told(told, palette),
            Stage::Failed(why) => {
                let words = format!("The clip could not be made: {why}");
                self.page("Reaction lag", vec![words], Some(("Try again (Enter)", Message::Begin)), palette)
            }
        }
    }

    fn words(&self, palette: Palette) -> Element<'_, Message> {
        let words = vec![
            "When you mark while the film runs, your key comes a little after the picture. Here that lag is measured, and from then on it is taken off marks you place live. What you saw when you pressed stays with each mark, and Ctrl+L on a mark puts it back.".to_owned(),
            "A clip of two minutes shows a dark disc that becomes a bright square, and back, at moments you can't foresee. Press any letter, digit or Space as soon as it changes, each time. Don't guess ahead.".to_owned(),
            format!(
                "Measured is the whole way from this screen to this keyboard: do it on the computer you code on. With several behaviours to choose from people are slower than here, so part of the lag remains. At least {FEWEST} answered changes are needed."
            ),
            self.known(),
        ];
        self.page("Reaction lag", words, Some(("Begin (Enter)", Message::Begin)), palette)
    }

    fn told(&self, told: &Measured, palette: Palette) -> Element<'_, Message> {
        let counts = format!(
            "{} of {} changes answered, {} missed, {} presses that answered none.",
            told.lags.len(),
            told.shown,
            told.misses,
            told.early
        );
        match told.lag() {
            Ok(lag) => {
                let words = vec![
                    format!("Your lag is {:.2} s (median).", lag.median.seconds()),
                    format!(
                        "Half of the lags lie within {:.2} s of each other (first to third quartile); their median distance from the median is {:.2} s.",
                        lag.iqr.seconds(),
                        lag.mad.seconds()
                    ),
                    counts,
                    format!(
                        "Kept, {:.2} s × speed are taken off each mark you place live from now on. Marks placed before stay as they are.",
                        lag.median.seconds()
                    ),
                ];
                self.page("Measured", words, Some(("Keep it (Enter)", Message::Keep)), palette)
            }
            Err(why) => {
                let words = vec![
                    format!("This is not good enough to be kept: {why}."),
                    counts,
                    match why {
                        TooPoor::TooFew { .. } | TooPoor::Missed { .. } => {
                            "Press once at each change, as soon as you see it.".to_owned()
                        }
                        TooPoor::Early { .. } => {
                            "Wait for the change: guessing ahead measures nothing.".to_owned()
                        }
                        TooPoor::Spread { .. } => {
                            "Try again when nothing distracts you; one number must be able to stand for all."
                                .to_owned()
                        }
                    },
                    "Nothing was changed.".to_owned(),
                ];
                self.page("Not kept", words, Some(("Once more (Enter)", Message::Begin)), palette)
            }
        }
    }

    fn page(
        &self,
        title: &'static str,
        words: Vec<String>,
        act: Option<(&'static str, Message)>,
        palette: Palette,
    ) -> Element<'_, Message> {
        let mut inside = column![
            row![
                text(title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
                text(format!("coder {}", self.person)).size(theme::BODY).color(palette.quiet),
            ]
            .spacing(12)
            .align_y(iced::Center)
        ]
        .spacing(12);
        for own in words {
            inside = inside.push(text(own).size(theme::BODY).color(palette.text));
        }
        if let Some(said) = &self.said {
            inside = inside.push(text(said).size(theme::BODY).color(palette.accent));
        }
        let mut acts = row![].spacing(8);
        if let Some((name, message)) = act {
            acts = acts.push(
                button(text(name).size(theme::BODY))
                    .padding([8, 16])
                    .style(theme::key(palette, true))
                    .on_press(message),
            );
        }
        if matches!(&self.stage, Stage::Told(told) if told.lag().is_ok()) {
            acts = acts.push(text("R measures once more.").size(theme::BODY).color(palette.quiet));
        }
        acts =
            acts.push(text("Escape goes back.").size(theme::BODY).color(palette.quiet)).align_y(iced::Center);
        container(container(inside.push(acts)).padding(24).max_width(720).style(theme::card(palette)))
            .center(Length::Fill)
            .into()
    }
}

/// The clip is made or read.
fn waiting<'a>(words: &'static str, share: f32, palette: Palette) -> Element<'a, Message> {
    let bar = progress_bar(0.0..=1.0, share).girth(6).style(move |_: &iced::Theme| progress_bar::Style {
        background: palette.raised.into(),
        bar: palette.text.into(),
        border: iced::border::rounded(3),
    });
    let inside = column![
        text("Reaction lag").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
        text(words).size(theme::BODY).color(palette.text),
        bar,
        text("Put a finger on a key. It begins by itself. Escape stops.")
            .size(theme::BODY)
            .color(palette.quiet),
    ]
    .spacing(12)
    .max_width(640);
    container(inside).center(Length::Fill).padding(24).into()
}

/// The target, and nothing that could be watched instead.
fn running(run: &Run, palette: Palette) -> Element<'_, Message> {
    let picture: Element<'_, Message> = match &run.picture {
        Some(picture) => video::video(picture, Sight::default(), video::Place::Main),
        None => text("").into(),
    };
    let left = reaction::LENGTH - run.player.shown().map_or(Micros::ZERO, |shot| shot.at);
    let foot = row![
        text("Press any letter, digit or Space when it changes.").size(theme::BODY).color(palette.text),
        iced::widget::space::horizontal(),
        text(format!("{:.0} s left · Escape stops", left.seconds())).size(theme::BODY).color(palette.quiet),
    ];
    column![container(picture).height(Length::Fill).width(Length::Fill), foot].spacing(8).padding(16).into()
}

/// Notes a lag with how it was measured.
fn keep_in(people: &mut Vec<Person>, code: &str, lag: Lag, date: chrono::NaiveDate) {
    let place = people.iter().position(|own| own.code.as_str() == code).unwrap_or_else(|| {
        people.push(Person { code: code.into(), ..Person::default() });
        people.len() - 1
    });
    if let Some(person) = people.get_mut(place) {
        person.reaction_lag_s = Some(Seconds(lag.median));
        person.lag_measured = Some(LagMeasured {
            date,
            n: lag.n,
            misses: lag.misses,
            early: lag.early,
            iqr_s: Seconds(lag.iqr),
            mad_s: Seconds(lag.mad),
            extra: Extra::new(),
        });
    }
}

#[cfg(all(test, feature = "simulator"))]
mod calibrated;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lag_is_kept_with_its_date_and_spread_and_nothing_else_of_the_person_changes() {
        let mut people =
            vec![Person { code: "K-07".into(), role: Some("keeper".to_owned()), ..Person::default() }];
        let ms = Micros::from_millis;
        let lag = Lag { median: ms(241), iqr: ms(40), mad: ms(20), n: 26, misses: 1, early: 2 };
        let date = chrono::NaiveDate::from_ymd_opt(2026, 3, 4).unwrap();
        keep_in(&mut people, "K-07", lag, date);
        keep_in(&mut people, "NEW", lag, date);
        let written = serde_json::to_string(&people[0]).unwrap();
        assert_eq!(
            written,
            r#"{"code":"K-07","role":"keeper","reaction_lag_s":0.241,"lag_measured":{"date":"2026-03-04","n":26,"misses":1,"early":2,"iqr_s":0.04,"mad_s":0.02}}"#
        );
        assert_eq!(people[1].reaction_lag_s, Some(Seconds(ms(241))));
    }

    fn told(folder: &std::path::Path, lags: usize) -> Reaction {
        let study = crate::model::Study::new("A lag");
        let folder = StudyFolder::create(folder, study).unwrap();
        let mut screen = Reaction::new(folder, "k-07", 3, Instant::now());
        let presses: Vec<Micros> =
            screen.changes.iter().take(lags).map(|at| *at + Micros::from_millis(230)).collect();
        screen.stage = Stage::Told(reaction::measure(&screen.changes, &presses, Micros::MAX));
        screen
    }

    fn enter() -> Message {
        Message::KeyDown(Key::Named(Named::Enter), keyboard::Modifiers::default(), false)
    }

    #[test]
    fn a_good_measurement_is_kept_in_the_study_and_a_poor_one_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().join("good");
        let mut screen = told(&root, 99);
        let _ = screen.view(Mode::Dark);
        assert!(matches!(screen.update(enter()), Action::Leave(_)));
        let person = StudyFolder::open(&root).unwrap().study.people[0].clone();
        assert_eq!((person.code.as_str(), person.reaction_lag_s), ("K-07", Some(Seconds::from_millis(230))));
        assert_eq!(person.lag_measured.unwrap().misses, 0);
        // Half of the changes missed: Keep is refused, with its reason.
        let root = folder.path().join("poor");
        let mut screen = told(&root, 12);
        let _ = screen.view(Mode::Light);
        assert!(matches!(screen.update(Message::Keep), Action::None));
        assert!(screen.said.unwrap().contains("missed"));
        assert!(StudyFolder::open(&root).unwrap().study.people.is_empty());
    }
}
