//! Where two codings of a session differ, how well they agree, and how each difference is settled into a
//! third, agreed record. Neither original is touched.

mod film;
mod load;
mod sampled;
mod settle;
mod tapes;
mod view;

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::scrollable::AbsoluteOffset;
use iced::{Point, Subscription, Task};

use self::film::Projection;
pub use self::load::Coders;
use self::load::{Codings, Compared, Missing};
use self::sampled::Sampled;
use crate::agreement::align::NO_STATE;
use crate::agreement::differences::Apart;
use crate::agreement::pair::SetAgreement;
use crate::agreement::resolve::{Decision, Reason};
use crate::gui::feed::Fed;
use crate::gui::theme::Mode;
use crate::gui::widget::pictures::{self, Touch};
use crate::gui::widget::tape::{Content, Gesture, Zoom};
use crate::model::{Behaviour, BehaviourId, EthogramId, PersonCode, RecordingRule, SessionId};
use crate::report::chart::{self, Chart, Look};
use crate::storage::StudyFolder;
use crate::storage::study_folder::LoadedCoding;
use crate::time::Micros;

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// A difference is chosen; once more: it is played.
    Choose(usize),
    /// A cause is chosen: its longest difference, and what its behaviours mean.
    Define(usize),
    /// A key went down.
    KeyDown(Key),
    /// Something came from a clip.
    Fed(Fed),
    /// A picture of the window has passed.
    Tick,
    /// On the tapes.
    Tape(Gesture),
    /// On a chart.
    Touch(Touch),
    /// The list was scrolled so far, in pixels.
    Scrolled(f32),
    /// What the study's coders come to.
    Coders(Arc<Coders>),
    /// A behaviour in the ethogram.
    Ethogram(BehaviourId),
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Scroll, or read in the background.
    Run(Task<Message>),
    /// Open this coding at this moment.
    Go(PathBuf, Micros),
    /// Show this behaviour in this ethogram, and come back.
    Ethogram(EthogramId, BehaviourId),
    /// Back.
    Leave,
}

/// The list of differences, and the charts.
const SCROLL: &str = "agreement-list";
const CHARTS: &str = "agreement-charts";
/// Height of a line of the list, with the room below it.
const LINE: f32 = 30.0;
/// How much of the film is seen before a difference, and after it.
const LEAD: Micros = Micros::from_whole_seconds(1);
/// Seed of the intervals, printed with them.
const SEED: u64 = 1;
/// Width of the charts.
const WIDTH: u32 = 840;

/// What is waited for before a difference is settled.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Asks {
    Nothing,
    /// What stands there instead.
    Instead,
    /// Why the two differ.
    Why(Decision),
}

/// What fills the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Differences,
    Numbers,
}

/// The screen.
pub struct Agreement {
    folder: StudyFolder,
    by: PersonCode,
    mode: Mode,
    open: Result<Box<Open>, Missing>,
    /// Two codings by samples, which are not laid along time.
    sampled: Option<Box<Sampled>>,
    coders: Option<Arc<Coders>>,
    /// Somebody reads the study for them.
    coders_asked: bool,
    hidden: BTreeSet<SessionId>,
}

/// Two codings laid side by side.
struct Open {
    codings: Codings,
    /// Which of the others is compared with the first.
    other: usize,
    compared: Compared,
    film: Projection,
    tapes: Content,
    zoom: Zoom,
    charts: Vec<pictures::Drawn>,
    over: Option<(usize, Point)>,
    chosen: usize,
    /// The moment the tapes stand at when there is no film.
    at: Micros,
    scrolled: f32,
    side: Side,
    /// The definitions stand beside.
    reads: bool,
    asks: Asks,
    said: String,
}

impl Agreement {
    /// Two codings of a session, and the task that opens its film: the primary one, and another person's,
    /// else a repeat.
    pub fn start(
        folder: StudyFolder,
        session: &SessionId,
        by: &str,
        mode: Mode,
        cache_bytes: usize,
    ) -> (Self, Task<Message>) {
        let screen = Self::new(folder, session, by, mode);
        let task = screen.open.as_ref().map_or_else(|_| Task::none(), |open| open.film.open(cache_bytes));
        (screen, task.map(Message::Fed))
    }

    /// The same without its film.
    #[must_use]
    pub fn new(folder: StudyFolder, session: &SessionId, by: &str, mode: Mode) -> Self {
        let mut sampled = None;
        let open = load::codings(&folder, session).and_then(|codings| {
            if codings.first.coding.rule == RecordingRule::Continuous {
                return Open::of(&folder, codings, mode).map(Box::new);
            }
            sampled = Some(Box::new(Sampled::of(&folder, codings, 0)?));
            Err(load::not_comparable("They are recorded by samples.".to_owned()))
        });
        Self {
            folder,
            by: by.trim().into(),
            mode,
            open,
            sampled,
            coders: None,
            coders_asked: false,
            hidden: BTreeSet::new(),
        }
    }

    /// Sessions of which nothing may be shown to the person at work, also not among others.
    pub fn hide(&mut self, sessions: BTreeSet<SessionId>) {
        self.hidden = sessions;
    }

    /// What stands in the window's title.
    #[must_use]
    pub fn title(&self) -> String {
        match (&self.open, &self.sampled) {
            (_, Some(sampled)) => sampled.title(),
            (Ok(open), _) => open.title(),
            _ => "Agreement".to_owned(),
        }
    }

    /// Draws everything in the colours of a mode.
    pub fn set_mode(&mut self, mode: Mode) {
        if std::mem::replace(&mut self.mode, mode) == mode {
            return;
        }
        if let Ok(open) = &mut self.open {
            open.lay(mode);
        }
        self.draw();
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        if let Some(sampled) = &mut self.sampled {
            return sampled.update(&self.folder, &message);
        }
        let Ok(open) = &mut self.open else {
            let leaves = matches!(message, Message::Leave | Message::KeyDown(Key::Named(Named::Escape)));
            return if leaves { Action::Leave } else { Action::None };
        };
        match message {
            Message::Choose(place) if place == open.chosen => open.play(),
            Message::Choose(place) => open.choose(place, self.mode),
            Message::Define(cause) => {
                if let Some(from) = open.compared.groups.get(cause).map(|group| group.from) {
                    open.choose(from, self.mode);
                    open.reads = true;
                }
            }
            Message::KeyDown(key) => return self.key_down(&key),
            Message::Fed(fed) => open.film.fed(fed),
            Message::Tick => open.film.tick(),
            Message::Tape(gesture) => open.gesture(gesture, self.mode),
            Message::Touch(Touch::Moved(chart, at)) => open.over = Some((chart, at)),
            Message::Touch(Touch::Left) => open.over = None,
            Message::Touch(Touch::Pressed(_)) => return open.pressed(self.mode),
            Message::Scrolled(to) => open.scrolled = to,
            Message::Coders(coders) => {
                self.coders = Some(coders);
                self.draw();
            }
            Message::Ethogram(behaviour) => {
                open.film.pause();
                return Action::Ethogram(open.codings.first.ethogram.id.clone(), behaviour);
            }
            Message::Leave => return Action::Leave,
        }
        Action::None
    }

    fn key_down(&mut self, key: &Key) -> Action {
        let Ok(open) = &mut self.open else { return Action::None };
        match key.as_ref() {
            Key::Named(Named::Escape) => return open.back(),
            Key::Named(Named::F3) => return self.show_numbers(),
            Key::Named(Named::F4) => return self.next_pair(),
            Key::Named(Named::F2) => open.reads = !open.reads && !open.behaviours().is_empty(),
            Key::Named(Named::F10) => {
                if let Some(id) = open.behaviours().first().map(|own| own.id.clone()) {
                    return self.update(Message::Ethogram(id));
                }
            }
            Key::Named(named) if open.side == Side::Numbers && named != Named::Enter => {
                let Some(y) = pictures::scrolls(named) else { return Action::None };
                return Action::Run(iced::widget::operation::scroll_by(CHARTS, AbsoluteOffset { x: 0.0, y }));
            }
            Key::Named(Named::Enter) => open.play(),
            Key::Named(Named::Space) => open.film.toggle(),
            Key::Named(Named::ArrowRight) => open.film.step(1),
            Key::Named(Named::ArrowLeft) => open.film.step(-1),
            Key::Named(Named::ArrowDown) => return self.step(1),
            Key::Named(Named::ArrowUp) => return self.step(-1),
            Key::Named(Named::PageDown) => return self.step(10),
            Key::Named(Named::PageUp) => return self.step(-10),
            Key::Named(Named::Backspace) => open.reopen(&self.folder, &self.by),
            Key::Character(letter) => return self.letter(letter),
            _ => {}
        }
        Action::None
    }

    fn letter(&mut self, letter: &str) -> Action {
        let Ok(open) = &mut self.open else { return Action::None };
        if open.side == Side::Numbers || open.compared.list.is_empty() {
            return Action::None;
        }
        if open.asks == Asks::Instead {
            open.decide_new(letter);
            return Action::None;
        }
        match letter.to_lowercase().as_str() {
            "1" => open.decide(Decision::First),
            "2" => open.decide(Decision::Second),
            "3" => open.decide(Decision::Both),
            "0" => open.decide(Decision::Neither),
            "n" => open.asks = Asks::Instead,
            "d" => return self.settle(Reason::Definition),
            "m" => return self.settle(Reason::Missed),
            "t" => return self.settle(Reason::Timing),
            "s" => return self.settle(Reason::Slip),
            "o" => return Action::Go(open.codings.first.path.clone(), open.at()),
            "+" | "=" => open.gesture(Gesture::Zoom(0.8), self.mode),
            "-" | "−" => open.gesture(Gesture::Zoom(1.25), self.mode),
            _ => {}
        }
        Action::None
    }

    fn settle(&mut self, reason: Reason) -> Action {
        let Ok(open) = &mut self.open else { return Action::None };
        if !open.settle(&self.folder, &self.by, reason) {
            return Action::None;
        }
        let said = open.said.clone();
        let action = self.step(1);
        if let Ok(open) = &mut self.open {
            open.said = said;
        }
        action
    }

    /// So many differences on, in the order of the list.
    fn step(&mut self, by: isize) -> Action {
        let Ok(open) = &mut self.open else { return Action::None };
        open.choose(open.chosen.saturating_add_signed(by), self.mode);
        let before = open.compared.groups.iter().filter(|group| group.from <= open.chosen).count();
        #[allow(clippy::cast_precision_loss)] // A place on the screen.
        let y = (open.chosen + before).saturating_sub(5) as f32 * LINE;
        Action::Run(iced::widget::operation::scroll_to(SCROLL, AbsoluteOffset { x: 0.0, y }))
    }

    /// The numbers instead of the differences, or back.
    fn show_numbers(&mut self) -> Action {
        let Ok(open) = &mut self.open else { return Action::None };
        open.film.pause();
        open.asks = Asks::Nothing;
        open.side = if open.side == Side::Numbers { Side::Differences } else { Side::Numbers };
        open.said.clear();
        self.draw();
        if std::mem::replace(&mut self.coders_asked, true) {
            return Action::None;
        }
        let folder = self.folder.clone();
        let hidden = self.hidden.clone();
        let read = async move { Arc::new(load::coders(&folder, &hidden, SEED)) };
        Action::Run(Task::perform(read, Message::Coders))
    }

    /// The first coding with the next of the others.
    fn next_pair(&mut self) -> Action {
        let Ok(open) = &mut self.open else { return Action::None };
        let other = (open.other + 1) % open.codings.others.len().max(1);
        if other == open.other {
            "There is no other coding to compare with.".clone_into(&mut open.said);
            return Action::None;
        }
        match load::compare(&self.folder, &open.codings, other, SEED) {
            Ok(compared) => open.take(other, compared, self.mode),
            Err(missing) => open.said = format!("{}: {}", missing.title, missing.words),
        }
        self.draw();
        Action::None
    }

    /// The charts; only when they are seen.
    fn draw(&mut self) {
        let Ok(open) = &mut self.open else { return };
        (open.charts, open.over) = (Vec::new(), None);
        if open.side == Side::Numbers {
            let charts = open.charts(self.mode, self.coders.as_deref());
            open.charts = charts.into_iter().map(pictures::drawn).collect();
        }
    }

    /// Keys, and the pictures of the window while the film runs.
    pub fn subscription(&self) -> Subscription<Message> {
        let keys = keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, modifiers, .. } if !modifiers.command() => {
                Some(Message::KeyDown(key))
            }
            _ => None,
        });
        match &self.open {
            Ok(open) if open.film.is_running() => {
                Subscription::batch([keys, iced::window::frames().map(|_| Message::Tick)])
            }
            _ => keys,
        }
    }
}

impl Open {
    fn of(folder: &StudyFolder, codings: Codings, mode: Mode) -> Result<Self, Missing> {
        let compared = load::compare(folder, &codings, 0, SEED)?;
        let mut open = Self {
            film: Projection::of(folder, &codings.first.session),
            codings,
            other: 0,
            tapes: Content::default(),
            zoom: Zoom::default(),
            charts: Vec::new(),
            over: None,
            chosen: 0,
            at: Micros::ZERO,
            scrolled: 0.0,
            side: Side::Differences,
            reads: false,
            asks: Asks::Nothing,
            said: String::new(),
            compared,
        };
        open.begin(mode);
        Ok(open)
    }

    /// Another pair of the same session.
    fn take(&mut self, other: usize, compared: Compared, mode: Mode) {
        (self.other, self.compared, self.scrolled) = (other, compared, 0.0);
        self.begin(mode);
    }

    fn begin(&mut self, mode: Mode) {
        self.choose(0, mode);
        self.lay(mode);
        self.said = match self.compared.stale {
            0 => String::new(),
            n => format!(
                "A coding was changed since: {n} decisions are about differences that are no longer there. The next decision writes the record without them."
            ),
        };
    }

    fn second(&self) -> &LoadedCoding {
        self.codings.others.get(self.other).unwrap_or(&self.codings.first)
    }

    fn chosen_apart(&self) -> Option<&Apart> {
        self.compared.list.get(self.chosen)
    }

    fn title(&self) -> String {
        let found = &self.compared.found;
        format!("{} · {} and {}", found.session, found.first_by, found.second_by)
    }

    /// The moment under the reading line.
    fn at(&self) -> Micros {
        self.film.at().unwrap_or(self.at)
    }

    fn choose(&mut self, place: usize, mode: Mode) {
        let was = self.chosen_apart().map(|own| own.place.clone());
        self.chosen = place.min(self.compared.list.len().saturating_sub(1));
        self.asks = Asks::Nothing;
        self.said.clear();
        let now = self.chosen_apart().map(|own| (own.place.clone(), own.span.from));
        if let Some((place, from)) = now {
            self.go_to(from);
            if was.as_ref() != Some(&place) {
                self.lay(mode);
            }
        }
        self.reads = self.reads && !self.behaviours().is_empty();
    }

    fn go_to(&mut self, at: Micros) {
        self.at = at;
        self.film.go_to(at);
    }

    /// Lays the tapes of what the chosen difference is about.
    fn lay(&mut self, mode: Mode) {
        let place = self.chosen_apart().map(|own| own.place.clone());
        self.tapes = place.map_or_else(Content::default, |place| {
            let both = [&self.codings.first, self.second()];
            tapes::of(both, &self.compared.list, &place, mode.palette())
        });
    }

    fn play(&mut self) {
        (self.side, self.over) = (Side::Differences, None);
        let Some(span) = self.chosen_apart().map(|own| own.span) else { return };
        if self.film.has_film() {
            self.film.play((span.from - LEAD).max(Micros::ZERO), span.to + LEAD);
        } else {
            "There is no film to play: see beside the tapes.".clone_into(&mut self.said);
        }
    }

    fn gesture(&mut self, gesture: Gesture, mode: Mode) {
        match gesture {
            Gesture::Go(at) => self.go_to(at.max(Micros::ZERO)),
            Gesture::Choose(mark) => {
                let bars = self.tapes.rows.iter().flat_map(|row| &row.bars);
                let from = bars.into_iter().find(|bar| bar.mark == mark).map(|bar| bar.span.from);
                match (tapes::place_of(mark), from) {
                    (Some(place), _) => self.choose(place, mode),
                    (None, Some(from)) => self.go_to(from),
                    (None, None) => {}
                }
            }
            // Neither record is changed here.
            Gesture::Drag(..) => {}
            Gesture::Zoom(factor) => {
                let length = self.tapes.extent.map_or(600.0, |extent| extent.length().seconds());
                self.zoom = self.zoom.by(factor, length);
            }
        }
    }

    /// A chart leads to the difference it is about.
    fn pressed(&mut self, mode: Mode) -> Action {
        let Some(hit) = pictures::hit(&self.charts, self.over).cloned() else { return Action::None };
        if hit.session.as_str() != self.compared.found.session {
            self.said = format!("That is session {}: choose it on Sessions.", hit.session);
            return Action::None;
        }
        let there = |own: &Apart| own.span.from == hit.at;
        if let Some(place) = self.compared.list.iter().position(there) {
            self.choose(place, mode);
            self.play();
        }
        Action::None
    }

    /// What was opened last is closed first.
    fn back(&mut self) -> Action {
        if self.asks != Asks::Nothing {
            self.asks = Asks::Nothing;
            "Nothing was decided.".clone_into(&mut self.said);
        } else if self.reads {
            self.reads = false;
        } else if self.side == Side::Numbers {
            (self.side, self.over) = (Side::Differences, None);
        } else {
            return Action::Leave;
        }
        Action::None
    }

    /// The behaviours the chosen difference is about.
    fn behaviours(&self) -> Vec<&Behaviour> {
        let Some(apart) = self.chosen_apart() else { return Vec::new() };
        let mut ids: Vec<&str> =
            [&apart.first, &apart.second].into_iter().flatten().map(String::as_str).collect();
        ids.dedup();
        let known = |id: &str| self.codings.first.ethogram.behaviour(&id.into());
        ids.into_iter().filter(|id| *id != NO_STATE).filter_map(known).collect()
    }

    fn charts(&self, mode: Mode, coders: Option<&Coders>) -> Vec<Chart> {
        let look = match mode {
            Mode::Dark => Look::dark(),
            Mode::Light => Look::light(),
        };
        let look = look.with_width(WIDTH);
        let found = &self.compared.found;
        let name = |id: &str| load::name_of(&self.codings.first.ethogram, id);
        let mut charts = vec![chart::agreement(found, &name, &look)];
        // Where both always hold the same, the row above says all; the most confused comes first.
        let confused = |set: &SetAgreement| {
            let agreed: f64 = set.table_s.iter().enumerate().filter_map(|(i, row)| row.get(i)).sum();
            set.compared_s - agreed
        };
        let mut tables: Vec<_> = found.sets.iter().chain(&found.states).collect();
        tables.retain(|set| confused(set) > 0.0005);
        tables.sort_by(|a, b| confused(b).total_cmp(&confused(a)));
        charts.extend(tables.into_iter().map(|set| chart::confusion(found, set, &name, &look)));
        if let Some((coders, (set, called))) = coders.and_then(|own| Some((own, own.sets.first()?))) {
            charts.push(chart::coders(&coders.found, set, called, &look));
        }
        charts
    }
}
