//! The Coding screen: the picture, the presentations, the ribbon, the tape, the keyboard.

mod at_work;
mod correct;
pub mod covers;
mod definition;
mod film;
pub mod keys;
pub mod motion;
mod prepared;
mod proof;
mod revision;
mod samples;
mod sound;
mod view;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use iced::keyboard;
use iced::{Subscription, Task};

use self::keys::Wish;
use self::prepared::Prepared;
use self::samples::Sampling;
use self::sound::Hearing;
use crate::gui::feed::{self, Fed};
use crate::gui::settings::Settings;
use crate::gui::widget::covers::Gesture;
use crate::gui::widget::video::Sight;
use crate::gui::widget::wave::Wave;
use crate::gui::widget::{keyboard as cap, tape};
use crate::media::{Fields, Film, Picture};
use crate::model::{BehaviourId, ClipId, MarkId, Session};
use crate::storage::{Error, StudyFolder, coding_file};
use crate::time::{FrameNumber, Micros};
use crate::workbench::autosave::{Autosave, Saved};
use crate::workbench::coder::{Coder, Done, Edge, Pace, Refusal};
use crate::workbench::history::History;
use crate::workbench::player::Player;
use crate::workbench::reel::{Reel, Shot};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A key went down.
    KeyDown(keyboard::Key, keyboard::Modifiers, bool),
    /// A key went up.
    KeyUp(keyboard::Key),
    /// A cap was clicked.
    Press(char),
    /// Something from the clips.
    Fed(Fed),
    /// The window can draw again: the film runs, or what was written is on its way to the disk.
    Tick,
    /// Something on the rectangles over faces.
    Cover(Gesture),
    /// Something on the tape.
    Tape(tape::Gesture),
    /// The ribbon was clicked.
    Go(Micros),
    /// How far the proof of the clip has come, or what came of it.
    Proof(proof::Told),
    /// Where the picture changes in long film.
    Motion(motion::Told),
    /// A moment is to be looked at.
    Look(Micros),
    /// What the newest revision would change is to be shown, or no longer.
    LookAtRevision,
    /// The coding is put under it.
    MoveRevision,
    /// The note is typed.
    NoteTyped(String),
    /// The note is finished.
    NoteDone,
    /// A pass was chosen.
    ChoosePass(Option<usize>),
    /// A pass was ticked or unticked.
    TickPass(usize),
    /// The coding is to be closed or opened again.
    ToggleClosed,
    /// Back to the sessions.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Show the sessions.
    Leave,
}

/// What stands in the status line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Said {
    /// What happened.
    Done(String),
    /// Why nothing happened.
    Refused(String),
}

/// How far the film goes back when it starts to run again; a key switches it off.
pub(super) const BACK_ON_RESUME: Micros = Micros::from_whole_seconds(2);

/// What stands beside the picture that is coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beside {
    Nothing,
    OtherCamera,
    Before,
}

/// One coding, open.
#[allow(clippy::struct_excessive_bools)] // Each on its own.
pub struct Coding {
    path: PathBuf,
    folder: StudyFolder,
    session: Session,
    coder: Coder,
    autosave: Option<Autosave>,
    _lock: Option<crate::files::Lock>,
    /// Why nothing may be written, when that is so.
    only_to_look: Option<String>,
    player: Player,
    films: BTreeMap<ClipId, Arc<Film>>,
    opening: BTreeMap<ClipId, f32>,
    troubles: Vec<String>,
    picture: Option<Arc<Picture>>,
    said: Said,
    chosen: Option<(MarkId, Edge)>,
    zoom: tape::Zoom,
    sight: Sight,
    camera: usize,
    other_reel: Reel,
    beside: Beside,
    fields: Fields,
    mirrored: bool,
    reads_definition: bool,
    /// The behaviour that was coded, or tried, last.
    last: Option<BehaviourId>,
    examples: Vec<iced::widget::image::Handle>,
    beside_picture: Option<(Shot, Arc<Picture>)>,
    aligning: Option<(ClipId, Micros)>,
    covering: Option<covers::Covering>,
    /// It was said that leaving loses what the disk did not take.
    leaves_unsaved: bool,
    note: Option<String>,
    changing: bool,
    show_keys: bool,
    /// How the keys are drawn, where a person chose.
    fold: Option<cap::Fold>,
    prepared: Prepared,
    hearing: Hearing,
    proof: Option<proof::Proof>,
    waves: Vec<Wave>,
    moving: motion::Moving,
    revising: Option<revision::Moving>,
    newest_revision: u32,
    start: Instant,
    edits_since_checkpoint: u32,
    /// The coding file lacks something: an edit, or what was recovered. What was only looked at is not written
    /// again: it would push out the versions before it, and meet a copy that another computer wrote meanwhile.
    is_changed: bool,
    /// When the coding file was written anew last.
    checkpointed: std::time::Duration,
    go_to_first: Option<Micros>,
    /// The moment the screen was asked to open at; none: where work stopped.
    asked_for: Option<Micros>,
    samples: Option<Sampling>,
    place_told: std::time::Duration,
    /// When a person last did something, how long they have been at it, and when a break was proposed.
    last_act: std::time::Duration,
    at_work: std::time::Duration,
    break_told: bool,
}

impl Coding {
    /// Opens a coding file and begins to open its clips. One that somebody else has, that a newer version
    /// wrote, or that lies in a folder that can't be written is opened to look at, and that is told.
    ///
    /// # Errors
    /// When something of it can't be read.
    pub fn try_new(
        folder: StudyFolder,
        path: &Path,
        at: Option<Micros>,
        settings: &Settings,
        now: Instant,
    ) -> Result<(Self, Task<Message>), Error> {
        let (coding, records, remarks, keeper, only_to_look) = match coding_file::open(path) {
            Ok(opened) => {
                let keeper = (Autosave::try_new(opened.on_disk, opened.journal)?, opened.lock);
                (opened.coding, opened.records, opened.remarks, Some(keeper), None)
            }
            Err(error) if coding_file::only_to_look(&error) => {
                (coding_file::read(path)?, Vec::new(), Vec::new(), None, Some(error.to_string()))
            }
            Err(error) => return Err(error),
        };
        let (autosave, lock) = keeper.unzip();
        let session = folder.session(&coding.session)?;
        let (ethogram, _) = folder.ethogram_of(&coding.ethogram)?;
        let newest_revision = revision::newest(&folder, &ethogram.id);
        let lag =
            folder.study.person(&coding.by).and_then(|person| person.reaction_lag_s).unwrap_or_default();
        let history = History::from_records(&records);
        let go_to_first = at.or_else(|| coding_file::place(path)).or(coding.left_at);
        let (clips, troubles) = film::found(&folder, &session);
        let opening = clips.iter().map(|(clip, _)| (*clip, 0.0)).collect();
        let mut coder =
            Coder::new(coding, Arc::new(ethogram), Arc::new(Reel::default()), lag.micros(), history);
        if let Some(why) = &only_to_look {
            coder.only_look(why.clone());
        }
        let mut screen = Self {
            path: path.to_owned(),
            prepared: Prepared::default(),
            folder,
            session,
            coder,
            autosave,
            _lock: lock,
            only_to_look,
            player: new_player(),
            films: BTreeMap::new(),
            opening,
            troubles,
            picture: None,
            said: Said::Done(if remarks.is_empty() {
                "Letters and digits code; F1 shows all keys".to_owned()
            } else {
                remarks.join("; ")
            }),
            chosen: None,
            zoom: tape::Zoom::default(),
            sight: Sight::default(),
            camera: 0,
            other_reel: Reel::default(),
            beside: Beside::Nothing,
            fields: Fields::Both,
            mirrored: settings.mirrored,
            reads_definition: false,
            last: None,
            examples: Vec::new(),
            beside_picture: None,
            aligning: None,
            covering: None,
            leaves_unsaved: false,
            note: None,
            changing: false,
            show_keys: false,
            fold: None,
            hearing: Hearing::default(),
            proof: None,
            waves: Vec::new(),
            moving: motion::Moving::default(),
            revising: None,
            newest_revision,
            start: now,
            edits_since_checkpoint: 0,
            is_changed: !remarks.is_empty(),
            checkpointed: std::time::Duration::ZERO,
            go_to_first,
            asked_for: at,
            samples: None,
            place_told: std::time::Duration::ZERO,
            last_act: std::time::Duration::ZERO,
            at_work: std::time::Duration::ZERO,
            break_told: false,
        };
        screen.prepare();
        let task = feed::open(clips, settings.cache_bytes()).map(Message::Fed);
        Ok((screen, task))
    }

    /// What stands in the window's title: whose session, and what of it this coder may know.
    #[must_use]
    pub fn title(&self) -> String {
        let coding = self.coder.coding();
        let animal = self.folder.study.animal(&self.session.animal);
        let mut words = vec![animal.map_or_else(|| self.session.animal.to_string(), |own| own.name.clone())];
        if let Some(time) = self.session.recorded_at.filter(|_| !self.is_masked("date")) {
            words.push(time.format("%-d %b %Y").to_string());
        }
        if let Some(step) = self.session.step.filter(|_| !self.is_masked("step")) {
            words.push(format!("step {step}"));
        }
        words.push(format!("coder {}", coding.by));
        if self.is_sampled() {
            // How far apart stands beside the picture.
            words.push("by samples".to_owned());
        } else if let Some(n) = self.coder.pass() {
            words.push(format!("pass {} of {}", n + 1, coding.passes.len()));
        }
        words.join(" · ")
    }

    /// Whether something is hidden from this coder.
    fn is_masked(&self, what: &str) -> bool {
        self.coder.coding().masked.iter().any(|own| own == what)
    }

    /// Its file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn now(&self) -> std::time::Duration {
        self.start.elapsed()
    }

    fn prepare(&mut self) {
        self.prepared =
            Prepared::of(&self.coder, &self.session, &self.folder.study, self.player.reel(), self.mirrored);
        self.prepared.tape.sound.clone_from(&self.waves);
        self.prepared.ribbon.sound.clone_from(&self.waves);
        self.prepare_samples();
    }

    /// Moment under the reading line.
    fn at(&self) -> Micros {
        self.player.shown().or(self.player.wanted()).map_or(Micros::ZERO, |shot| shot.at)
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        if matches!(message, Message::KeyDown(..) | Message::Press(_) | Message::Tape(_) | Message::Go(_)) {
            self.count_time();
        }
        let mut begun = None;
        match message {
            Message::KeyDown(key, modifiers, repeat) => return self.key_down(&key, modifiers, repeat),
            Message::KeyUp(key) => {
                if keys::is_slow(&key) {
                    let now = self.now();
                    self.player.hold_slow(false, now);
                }
            }
            Message::Press(key) => self.press(key),
            Message::Fed(fed) => {
                let is_all = matches!(fed, Fed::AllTried);
                self.fed(fed);
                if is_all {
                    begun = self.look_for_motion();
                }
            }
            Message::Motion(told) => self.motion_told(told),
            Message::Look(at) => self.look_at(at),
            Message::LookAtRevision => self.look_at_revision(),
            Message::MoveRevision => self.move_revision(),
            Message::Tick => {
                let now = self.now();
                self.hearing.lateness.redrawn(now);
                self.checkpoint_when_due();
            }
            Message::Tape(gesture) => self.gesture(gesture),
            Message::Cover(gesture) => self.cover_gesture(gesture),
            Message::Proof(told) => self.proof_told(told),
            Message::Go(at) if self.is_sampled() => self.go_to_sample_at(at),
            Message::Go(at) => self.player.go_to(at, self.now()),
            Message::NoteTyped(text) => self.note = Some(text),
            Message::NoteDone => {
                let text = self.note.take();
                if let (Some(text), Some((mark, _))) = (text, self.chosen) {
                    let done = self.coder.set_note(mark, &text);
                    self.take(done);
                }
            }
            // Samples have one pass, done when all are answered.
            Message::ChoosePass(_) | Message::TickPass(_) if self.is_sampled() => {}
            Message::ChoosePass(pass) => {
                self.coder.set_pass(pass);
                self.prepare();
            }
            Message::TickPass(pass) => self.tick_pass(pass),
            Message::ToggleClosed => {
                let end =
                    self.coder.coding().observed_window(self.coder.ethogram(), &self.session).map(|w| w.to);
                let done = if self.coder.coding().status == crate::model::Status::Closed {
                    self.coder.reopen()
                } else {
                    match end {
                        Some(end) => self.coder.close(end, chrono::Local::now().fixed_offset()),
                        None => {
                            Err(Refusal::NotHere("the clips must be open once before a coding can be closed"))
                        }
                    }
                };
                self.take(done);
            }
            Message::Leave => return if self.finish() { Action::Leave } else { Action::None },
        }
        self.pursue();
        self.watch_interval();
        self.pursue_beside();
        self.show_covers();
        self.hear();
        self.rest_search();
        begun.map_or(Action::None, Action::Run)
    }

    fn press(&mut self, key: char) {
        if self.covering.is_some() {
            self.said = Said::Refused("faces are being covered: Escape goes back to coding".to_owned());
            return;
        }
        let key = if self.mirrored { cap::mirrored(key) } else { key };
        let named = self.coder.ethogram().behaviours.iter().find(|own| own.key == Some(key));
        let live = self.coder.behaviour_of(key).ok().or(named).map(|own| own.id.clone());
        if live.is_some() && live != self.last {
            self.last = live;
            self.read_examples();
        }
        let Some(shot) = self.player.shown().filter(|_| self.picture.is_some()) else {
            self.said = Said::Refused("there is no picture yet to place a mark on".to_owned());
            return;
        };
        if self.is_sampled() {
            self.answer(key);
            return;
        }
        if std::mem::take(&mut self.changing) {
            let to = self.coder.behaviour_of(key).map(|behaviour| behaviour.id.clone());
            let done = match (to, self.chosen) {
                (Ok(to), Some((mark, _))) => self.coder.change_behaviour(mark, &to),
                (Err(refusal), _) => Err(refusal),
                (_, None) => Err(Refusal::NoSuchMark),
            };
            self.take(done);
            return;
        }
        let pace =
            if self.player.is_running() { Pace::Live { speed: self.player.speed() } } else { Pace::Stepped };
        let done = self.coder.press(key, shot, pace);
        self.take(done);
    }

    /// Takes a step in: journal first, then the picture of it.
    fn take(&mut self, done: Result<Done, Refusal>) {
        match done {
            Ok(done) => {
                self.leaves_unsaved = false;
                self.revising = None;
                self.follow_ethogram();
                if let Some(autosave) = &mut self.autosave {
                    autosave.take(chrono::Local::now().fixed_offset(), &done);
                }
                self.chosen = done.focus.map(|mark| (mark, Edge::From));
                self.said = Said::Done(done.said);
                self.edits_since_checkpoint += 1;
                self.is_changed = true;
                self.checkpoint_when_due();
                self.prepare();
            }
            Err(refusal) => self.said = Said::Refused(refusal.to_string()),
        }
    }

    /// The coding file itself is written anew after some edits, after a minute, and when only that makes them safe.
    fn checkpoint_when_due(&mut self) {
        let (edits, since) = (self.edits_since_checkpoint, self.now().saturating_sub(self.checkpointed));
        let wants_whole = self.autosave.as_ref().is_some_and(Autosave::wants_whole);
        let (second, minute) = (std::time::Duration::from_secs(1), std::time::Duration::from_secs(60));
        if edits >= 40 || edits > 0 && since >= minute || wants_whole && since >= second {
            self.checkpoint();
        }
    }

    fn checkpoint(&mut self) {
        self.checkpointed = self.now();
        let at = self.at();
        if let Some(autosave) = &self.autosave {
            self.coder.set_progress(at, autosave.last_seq());
            if autosave.checkpoint(self.coder.coding()) {
                self.edits_since_checkpoint = 0;
            }
        }
    }

    /// Puts everything on the disk; the screen is left after it.
    /// `false`: the disk does not take what was coded last; asked a second time, it is left all the same.
    pub fn finish(&mut self) -> bool {
        let at = self.at();
        if let Some(autosave) = &mut self.autosave {
            autosave.retry();
            let lost = autosave.waiting();
            if lost > 0 && !self.leaves_unsaved {
                self.leaves_unsaved = true;
                let why = match autosave.saved() {
                    Saved::Failing(why) => why,
                    Saved::All | Saved::Flushing => String::new(),
                };
                self.said = Said::Refused(format!(
                    "NOT SAVED, {lost} steps ({why}): make room or bring the folder back, and leave again; leaving twice loses them"
                ));
                return false;
            }
        }
        if let Some(autosave) = self.autosave.take().filter(|_| self.is_changed) {
            self.coder.set_progress(at, autosave.last_seq());
            if let Err(error) = autosave.finish(self.coder.coding()) {
                self.said = Said::Refused(error.to_string());
            }
        }
        true
    }

    fn key_down(&mut self, key: &keyboard::Key, modifiers: keyboard::Modifiers, repeat: bool) -> Action {
        // What the disk refused is tried again with whatever a person does next.
        if let Some(autosave) = &mut self.autosave {
            autosave.retry();
        }
        self.checkpoint_when_due();
        if self.cover_key(key, modifiers) {
            return Action::None;
        }
        if let Some(letter) = keys::code(key, modifiers) {
            // A held key codes once.
            if !repeat {
                self.press(letter);
                self.pursue();
            }
            return Action::None;
        }
        if keys::is_slow(key) {
            let now = self.now();
            self.player.hold_slow(true, now);
            return Action::None;
        }
        let Some(wish) = keys::wish(key, modifiers) else { return Action::None };
        let may_repeat = matches!(
            wish,
            Wish::Step(_)
                | Wish::Skip(_)
                | Wish::Nudge(_)
                | Wish::Zoom(_)
                | Wish::Closer(_)
                | Wish::Pan(..)
                | Wish::Undo
                | Wish::Redo
        );
        if repeat && !may_repeat {
            return Action::None;
        }
        let action = self.wish(wish);
        self.pursue();
        self.pursue_beside();
        self.show_covers();
        self.hear();
        self.rest_search();
        action
    }

    /// Redraws while the film runs, and looks at the saving now and then.
    pub fn subscription(&self) -> Subscription<Message> {
        let keys = keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, modifiers, repeat, .. } => {
                Some(Message::KeyDown(key, modifiers, repeat))
            }
            keyboard::Event::KeyReleased { key, .. } => Some(Message::KeyUp(key)),
            keyboard::Event::ModifiersChanged(_) => None,
        });
        let is_saving = self.autosave.as_ref().is_some_and(|autosave| autosave.saved() == Saved::Flushing);
        let mut all = vec![keys];
        if self.player.is_running() || is_saving || self.waits_for_beside() {
            all.push(iced::window::frames().map(|_| Message::Tick));
        }
        Subscription::batch(all)
    }

    /// Frame number under the reading line.
    fn frame(&self) -> Option<FrameNumber> {
        self.player.shown().map(|shot| shot.frame)
    }
}

/// Standing, and going back a little when it starts to run again.
fn new_player() -> Player {
    let mut player = Player::new(Arc::new(Reel::default()));
    player.set_back_on_resume(BACK_ON_RESUME);
    player
}
