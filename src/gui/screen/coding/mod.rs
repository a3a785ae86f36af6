//! The Coding screen: the picture, the presentations, the ribbon, the tape, the keyboard.

pub mod keys;
mod prepared;
mod view;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use iced::keyboard;
use iced::{Subscription, Task};

use self::keys::Wish;
use self::prepared::Prepared;
use crate::gui::feed::{self, Fed};
use crate::gui::widget::tape;
use crate::media::{Film, Heading, Picture};
use crate::model::{ClipId, MarkId, Session};
use crate::storage::fingerprint::{self, ClipState};
use crate::storage::{Error, StudyFolder, coding_file};
use crate::time::{FrameNumber, Micros, Span};
use crate::workbench::autosave::{Autosave, Saved};
use crate::workbench::coder::{Coder, Done, Edge, Pace, Refusal};
use crate::workbench::history::History;
use crate::workbench::player::{Direction, Player};
use crate::workbench::reel::{Piece, Reel, Shot};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A key went down.
    KeyDown(keyboard::Key, keyboard::Modifiers, bool),
    /// A cap was clicked.
    Press(char),
    /// Something from the clips.
    Fed(Fed),
    /// The window can draw again: the film runs, or what was written is on its way to the disk.
    Tick,
    /// Something on the tape.
    Tape(tape::Gesture),
    /// The ribbon was clicked.
    Go(Micros),
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

/// One coding, open.
pub struct Coding {
    path: PathBuf,
    folder: StudyFolder,
    session: Session,
    coder: Coder,
    autosave: Option<Autosave>,
    _lock: crate::files::Lock,
    player: Player,
    films: BTreeMap<ClipId, Arc<Film>>,
    opening: BTreeMap<ClipId, f32>,
    troubles: Vec<String>,
    picture: Option<Arc<Picture>>,
    said: Said,
    chosen: Option<(MarkId, Edge)>,
    zoom: tape::Zoom,
    gamma: f32,
    note: Option<String>,
    changing: bool,
    show_keys: bool,
    prepared: Prepared,
    start: Instant,
    edits_since_checkpoint: u32,
    go_to_first: Option<Micros>,
    place_told: std::time::Duration,
}

impl Coding {
    /// Opens a coding file and begins to open its clips.
    ///
    /// # Errors
    /// When it is open elsewhere, or something of it can't be read.
    pub fn try_new(
        folder: StudyFolder,
        path: &Path,
        at: Option<Micros>,
        now: Instant,
    ) -> Result<(Self, Task<Message>), Error> {
        let opened = coding_file::open(path)?;
        let session = folder.session(&opened.coding.session)?;
        let (ethogram, _) = folder.ethogram_of(&opened.coding.ethogram)?;
        let lag = folder
            .study
            .person(&opened.coding.by)
            .and_then(|person| person.reaction_lag_s)
            .unwrap_or_default();
        let history = History::from_records(&opened.records);
        let go_to_first = at.or_else(|| coding_file::place(path)).or(opened.coding.left_at);
        let autosave = Autosave::try_new(opened.path.clone(), opened.journal)?;
        let mut troubles = Vec::new();
        let mut clips: Vec<(ClipId, PathBuf)> = Vec::new();
        for clip in &session.clips {
            match fingerprint::find(folder.root(), clip) {
                ClipState::There(path) | ClipState::Moved(path) => clips.push((clip.id, path)),
                ClipState::Changed(path) => {
                    troubles.push(format!(
                        "The clip was changed since it was added; its marks may lie on other pictures: {}",
                        path.display()
                    ));
                    clips.push((clip.id, path));
                }
                ClipState::Missing(path) => troubles.push(format!(
                    "The clip is missing; coding goes on without its picture. Put it back: {}",
                    path.display()
                )),
            }
        }
        let opening = clips.iter().map(|(clip, _)| (*clip, 0.0)).collect();
        let coder =
            Coder::new(opened.coding, Arc::new(ethogram), Arc::new(Reel::default()), lag.micros(), history);
        let mut screen = Self {
            path: path.to_owned(),
            prepared: Prepared::default(),
            folder,
            session,
            coder,
            autosave: Some(autosave),
            _lock: opened.lock,
            player: Player::new(Arc::new(Reel::default())),
            films: BTreeMap::new(),
            opening,
            troubles,
            picture: None,
            said: Said::Done(if opened.remarks.is_empty() {
                "Letters and digits code; F1 shows all keys".to_owned()
            } else {
                opened.remarks.join("; ")
            }),
            chosen: None,
            zoom: tape::Zoom::default(),
            gamma: 1.0,
            note: None,
            changing: false,
            show_keys: false,
            start: now,
            edits_since_checkpoint: 0,
            go_to_first,
            place_told: std::time::Duration::ZERO,
        };
        screen.prepare();
        let task = feed::open(clips, crate::media::cache::Cache::DEFAULT_BYTES).map(Message::Fed);
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
        if let Some((n, pass)) = self.coder.pass().and_then(|n| Some((n, coding.passes.get(n)?))) {
            words.push(format!("pass {} of {}, {}", n + 1, coding.passes.len(), pass.name.to_lowercase()));
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
        self.prepared = Prepared::of(&self.coder, &self.session, &self.folder.study, self.player.reel());
    }

    /// Moment under the reading line.
    fn at(&self) -> Micros {
        self.player.shown().or(self.player.wanted()).map_or(Micros::ZERO, |shot| shot.at)
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::KeyDown(key, modifiers, repeat) => return self.key_down(&key, modifiers, repeat),
            Message::Press(key) => self.press(key),
            Message::Fed(fed) => self.fed(fed),
            Message::Tick => {}
            Message::Tape(gesture) => self.gesture(gesture),
            Message::Go(at) => self.player.go_to(at, self.now()),
            Message::NoteTyped(text) => self.note = Some(text),
            Message::NoteDone => {
                let text = self.note.take();
                if let (Some(text), Some((mark, _))) = (text, self.chosen) {
                    let done = self.coder.set_note(mark, &text);
                    self.take(done);
                }
            }
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
                        Some(end) => self.coder.close(end),
                        None => {
                            Err(Refusal::NotHere("the clips must be open once before a coding can be closed"))
                        }
                    }
                };
                self.take(done);
            }
            Message::Leave => {
                self.finish();
                return Action::Leave;
            }
        }
        self.pursue();
        Action::None
    }

    /// Lets the picture that should be seen be seen, as soon as it is there.
    fn pursue(&mut self) {
        let now = self.now();
        let Some(wanted) = self.player.tick(now) else { return };
        if self.player.shown() == Some(wanted) && self.picture.is_some() {
            return;
        }
        let Some(film) = self.films.get(&wanted.clip) else { return };
        let heading = match self.player.direction() {
            Some(Direction::Forward) => Heading::Forward,
            Some(Direction::Reverse) => Heading::Backward,
            None if self.player.shown().is_some_and(|shown| wanted.at < shown.at) => Heading::Backward,
            None => Heading::Still,
        };
        film.want(wanted.frame, heading);
        if let Some(picture) = film.picture(wanted.frame) {
            self.show(wanted, picture);
        } else if let Some(why) = film.failure(wanted.frame) {
            self.unreadable(wanted, &why);
        }
    }

    fn show(&mut self, shot: Shot, picture: Arc<Picture>) {
        self.picture = Some(picture);
        let now = self.now();
        self.player.arrived(shot, now);
        // Not at each picture of a running film: the disk is not asked that often.
        if !self.player.is_running() || now > self.place_told + std::time::Duration::from_secs(1) {
            self.place_told = now;
            coding_file::remember_place(&self.path, shot.at);
        }
    }

    /// A damaged picture is told and passed over, so that the film can be stepped on.
    fn unreadable(&mut self, shot: Shot, why: &str) {
        self.said = Said::Refused(format!("the picture at {} can't be decoded: {why}", shot.at.clock()));
        let now = self.now();
        self.player.arrived(shot, now);
    }

    fn fed(&mut self, fed: Fed) {
        match fed {
            Fed::Opening(clip, share) => {
                let _ = self.opening.insert(clip, share);
            }
            Fed::Opened(clip, path, film) => {
                let _ = self.opening.remove(&clip);
                for remark in film.index().remarks() {
                    self.troubles.push(format!("{remark}: {}", path.display()));
                }
                self.learn(clip, &path, &film);
                let _ = self.films.insert(clip, film);
                self.thread_reel();
            }
            Fed::Failed(clip, why) => {
                let _ = self.opening.remove(&clip);
                self.troubles.push(why);
            }
            Fed::Arrived(clip, frame) => {
                if let Some(wanted) =
                    self.player.wanted().filter(|shot| shot.clip == clip && shot.frame == frame)
                    && let Some(picture) = self.films.get(&clip).and_then(|film| film.picture(frame))
                {
                    self.show(wanted, picture);
                }
            }
            Fed::Unreadable(clip, frame, why) => {
                if let Some(wanted) =
                    self.player.wanted().filter(|shot| shot.clip == clip && shot.frame == frame)
                {
                    self.unreadable(wanted, &why);
                }
            }
            Fed::AllTried => self.opening.clear(),
        }
    }

    /// What a clip's index tells about the session is kept with it: measures need it without the film.
    fn learn(&mut self, id: ClipId, path: &Path, film: &Film) {
        let before = self.session.clone();
        if let Some(clip) = self.session.clips.iter_mut().find(|clip| clip.id == id) {
            let end = clip
                .clock()
                .and_then(|clock| clock.session_time(film.index().end().0, crate::time::TimeBase::MICROS));
            if clip.length.is_none() {
                clip.length = end.map(|end| end - clip.offset);
            }
            if clip.fingerprint.is_none() {
                clip.fingerprint = fingerprint::of_file(path).ok();
            }
            if let Some(fingerprint) = &mut clip.fingerprint
                && fingerprint.frames.is_none()
            {
                fingerprint.frames = u32::try_from(film.index().len()).ok();
            }
        }
        if self.session != before
            && let Err(error) = self.folder.save_session(&self.session)
        {
            self.troubles.push(error.to_string());
        }
    }

    /// Joins the pictures of the clips that are open: of the first camera.
    fn thread_reel(&mut self) {
        let camera = self.session.clips.first().and_then(|clip| clip.camera.clone());
        let mut pieces = Vec::new();
        for clip in self.session.clips.iter().filter(|clip| clip.camera == camera) {
            let (Some(film), Some(clock)) = (self.films.get(&clip.id), clip.clock()) else { continue };
            let micros = crate::time::TimeBase::MICROS;
            let times =
                film.index().times().iter().filter_map(|time| clock.session_time(time.0, micros)).collect();
            let end = clock.session_time(film.index().end().0, micros).unwrap_or_default();
            pieces.push(Piece { clip: clip.id, times, end });
        }
        let reel = Arc::new(Reel::new(pieces));
        self.coder.set_reel(Arc::clone(&reel));
        let at = self.player.wanted().map(|shot| shot.at);
        self.player = Player::new(reel);
        self.player.set_back_on_resume(Micros::ZERO);
        let now = self.now();
        if let Some(at) = self.go_to_first.or(at) {
            self.player.go_to(at, now);
        }
        if self.opening.is_empty() {
            self.go_to_first = None;
        }
        self.prepare();
    }

    fn press(&mut self, key: char) {
        let Some(shot) = self.player.shown().filter(|_| self.picture.is_some()) else {
            self.said = Said::Refused("there is no picture yet to place a mark on".to_owned());
            return;
        };
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
                if let Some(autosave) = &mut self.autosave {
                    autosave.take(chrono::Local::now().fixed_offset(), &done);
                }
                self.chosen = done.focus.map(|mark| (mark, Edge::From));
                self.said = Said::Done(done.said);
                self.edits_since_checkpoint += 1;
                if self.edits_since_checkpoint >= 40 {
                    self.checkpoint();
                }
                self.prepare();
            }
            Err(refusal) => self.said = Said::Refused(refusal.to_string()),
        }
    }

    fn checkpoint(&mut self) {
        self.edits_since_checkpoint = 0;
        let at = self.at();
        if let Some(autosave) = &self.autosave {
            self.coder.set_progress(at, autosave.last_seq());
            autosave.checkpoint(self.coder.coding());
        }
    }

    /// Puts everything on the disk; the screen is left after it.
    pub fn finish(&mut self) {
        let at = self.at();
        if let Some(autosave) = self.autosave.take() {
            self.coder.set_progress(at, autosave.last_seq());
            if let Err(error) = autosave.finish(self.coder.coding()) {
                self.said = Said::Refused(error.to_string());
            }
        }
    }

    fn key_down(&mut self, key: &keyboard::Key, modifiers: keyboard::Modifiers, repeat: bool) -> Action {
        // What the disk refused is tried again with whatever a person does next.
        if let Some(autosave) = &mut self.autosave {
            autosave.retry();
        }
        if let Some(letter) = keys::code(key, modifiers) {
            // A held key codes once.
            if !repeat {
                self.press(letter);
                self.pursue();
            }
            return Action::None;
        }
        let Some(wish) = keys::wish(key, modifiers) else { return Action::None };
        let may_repeat = matches!(
            wish,
            Wish::Step(_) | Wish::Skip(_) | Wish::Nudge(_) | Wish::Zoom(_) | Wish::Undo | Wish::Redo
        );
        if repeat && !may_repeat {
            return Action::None;
        }
        let action = self.wish(wish);
        self.pursue();
        action
    }

    fn wish(&mut self, wish: Wish) -> Action {
        let now = self.now();
        match wish {
            Wish::Toggle => self.player.toggle(now),
            Wish::Reverse => self.player.run(Direction::Reverse, now),
            Wish::Step(by) => self.player.step(by, now),
            Wish::Skip(seconds) => self.player.skip(Micros::from_whole_seconds(seconds), now),
            Wish::Speed(by) => self.player.change_speed(by, now),
            Wish::Start => self.player.go_to(Micros(i64::MIN / 2), now),
            Wish::End => self.player.go_to(Micros::MAX, now),
            Wish::Mark(by) => self.go_to_mark(by),
            Wish::Zoom(closer) => self.gesture(tape::Gesture::Zoom(if closer { 0.7 } else { 1.4 })),
            Wish::Gamma => self.gamma = if self.gamma < 2.0 { self.gamma + 0.4 } else { 1.0 },
            Wish::Keys => self.show_keys = !self.show_keys,
            Wish::Loop => {
                let at = self.at();
                let span = Span::try_new(at - Micros::from_whole_seconds(4), at);
                self.player.set_loop(if self.player.looping().is_some() { None } else { span });
            }
            Wish::Pass => {
                let count = self.coder.coding().passes.len();
                let next = match self.coder.pass() {
                    None => Some(0),
                    Some(pass) if pass + 1 < count => Some(pass + 1),
                    Some(_) => None,
                };
                self.coder.set_pass(next);
                self.prepare();
            }
            Wish::PassDone => {
                if let Some(pass) = self.coder.pass() {
                    self.tick_pass(pass);
                }
            }
            Wish::Undo => {
                let done = self.coder.undo();
                self.take(done);
            }
            Wish::Redo => {
                let done = self.coder.redo();
                self.take(done);
            }
            Wish::EndState => {
                let done = match self.player.shown() {
                    Some(shot) => self.coder.end(self.chosen.map(|(mark, _)| mark), shot),
                    None => Err(Refusal::NothingHolds),
                };
                self.take(done);
            }
            Wish::Leave if self.show_keys || self.changing || self.note.is_some() => {
                self.show_keys = false;
                self.changing = false;
                self.note = None;
            }
            Wish::Leave => {
                self.finish();
                return Action::Leave;
            }
            Wish::Remove
            | Wish::Nudge(_)
            | Wish::OtherEdge
            | Wish::Unsure
            | Wish::Note
            | Wish::Detail
            | Wish::Split
            | Wish::Merge
            | Wish::Change => return self.correct(wish),
        }
        Action::None
    }

    /// Wishes that need a chosen mark.
    fn correct(&mut self, wish: Wish) -> Action {
        let Some((mark, edge)) = self.chosen else {
            self.said = Said::Refused("choose a mark first: PageUp, PageDown, or click it".to_owned());
            return Action::None;
        };
        let done = match wish {
            Wish::Remove => self.coder.remove(mark),
            Wish::Nudge(by) => {
                let done = self.coder.nudge(mark, edge, by);
                let moved = done.is_ok();
                self.take(done);
                if moved {
                    self.chosen = Some((mark, edge));
                    self.show_edge(mark, edge);
                }
                return Action::None;
            }
            Wish::Unsure => self.coder.toggle_unsure(mark),
            Wish::Detail => self.coder.next_detail(mark),
            Wish::Merge => self.coder.merge(mark),
            Wish::Split => match self.player.shown() {
                Some(shot) => self.coder.split(mark, shot),
                None => Err(Refusal::NothingHolds),
            },
            Wish::OtherEdge => {
                let other = if edge == Edge::From { Edge::To } else { Edge::From };
                self.chosen = Some((mark, other));
                self.show_edge(mark, other);
                return Action::None;
            }
            Wish::Note => {
                self.note =
                    Some(self.coder.coding().mark(mark).and_then(|own| own.note.clone()).unwrap_or_default());
                return Action::Run(iced::widget::operation::focus(view::NOTE));
            }
            Wish::Change => {
                self.changing = true;
                self.said =
                    Said::Done("press the key of the behaviour it should be; Escape leaves it".to_owned());
                return Action::None;
            }
            _ => return Action::None,
        };
        self.take(done);
        Action::None
    }

    /// Goes to the picture of an edge, so that a nudge is seen.
    fn show_edge(&mut self, mark: MarkId, edge: Edge) {
        let now = self.now();
        if let Some(mark) = self.coder.coding().mark(mark) {
            let at = match (edge, mark.to) {
                (Edge::To, crate::model::End::At(to)) => to,
                _ => mark.from,
            };
            self.player.go_to(at, now);
        }
    }

    fn go_to_mark(&mut self, by: isize) {
        let at = self.at();
        let marks = &self.coder.coding().marks;
        let live = marks.iter().filter(|mark| self.coder.is_live(&mark.behaviour));
        let found = if by > 0 {
            live.filter(|mark| mark.from > at).min_by_key(|mark| (mark.from, mark.id))
        } else {
            live.filter(|mark| mark.from < at).max_by_key(|mark| (mark.from, mark.id))
        };
        match found.map(|mark| (mark.id, mark.from)) {
            Some((id, from)) => {
                self.chosen = Some((id, Edge::From));
                let now = self.now();
                self.player.go_to(from, now);
            }
            None => self.said = Said::Refused("there is no further mark of this pass".to_owned()),
        }
    }

    fn tick_pass(&mut self, pass: usize) {
        let done = self.coder.coding().passes.get(pass).is_some_and(|pass| pass.done);
        let done = self.coder.set_pass_done(pass, !done);
        let chosen = self.chosen;
        self.take(done);
        self.chosen = chosen;
    }

    fn gesture(&mut self, gesture: tape::Gesture) {
        let now = self.now();
        match gesture {
            tape::Gesture::Go(at) => self.player.go_to(at, now),
            tape::Gesture::Choose(mark) => self.chosen = Some((mark, Edge::From)),
            tape::Gesture::Zoom(factor) => {
                let session = self.prepared.ribbon.extent.map_or(600.0, |extent| extent.length().seconds());
                self.zoom = self.zoom.by(factor, session);
            }
            tape::Gesture::Drag(mark, edge, at) => {
                let Some(shot) = self.player.reel().shot_at(at) else { return };
                let is_there = self.coder.coding().mark(mark).is_some_and(|own| match edge {
                    Edge::From => own.from == shot.at,
                    Edge::To => own.to == crate::model::End::At(shot.at),
                });
                if !is_there {
                    let done = self.coder.move_edge(mark, edge, shot);
                    self.take(done);
                    self.chosen = Some((mark, edge));
                }
            }
        }
    }

    /// Redraws while the film runs, and looks at the saving now and then.
    pub fn subscription(&self) -> Subscription<Message> {
        let keys = keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, modifiers, repeat, .. } => {
                Some(Message::KeyDown(key, modifiers, repeat))
            }
            _ => None,
        });
        let is_saving = self.autosave.as_ref().is_some_and(|autosave| autosave.saved() == Saved::Flushing);
        let mut all = vec![keys];
        if self.player.is_running() || is_saving {
            all.push(iced::window::frames().map(|_| Message::Tick));
        }
        Subscription::batch(all)
    }

    /// Frame number under the reading line.
    fn frame(&self) -> Option<FrameNumber> {
        self.player.shown().map(|shot| shot.frame)
    }
}
