//! Beginning a coding by samples: points or intervals, how far apart, what is asked; or going on with one.
//!
//! Lines of choices, all by keys: Up and Down choose a line, Left and Right change it, digits write a number,
//! Enter begins.

use std::path::PathBuf;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text};
use iced::{Element, Length, Subscription};

use crate::gui::theme::{self, Mode, Palette};
use crate::model::samples::{Form, Samples, random_offset};
use crate::model::{
    Coding, Ethogram, EthogramRef, Pass, Person, Purpose, RecordingRule, Session, SessionId, Status,
};
use crate::storage::{CodingHead, StudyFolder, coding_file, study_folder};
use crate::time::{Micros, Seconds};
use crate::workbench::sampling::{Question, pass_of, questions};

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// A key went down.
    KeyDown(Key, keyboard::Modifiers),
    /// A line was clicked.
    Choose(usize),
    /// Begin, or go on.
    Begin,
    /// Back to the sessions.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Open a coding.
    Open(PathBuf),
    /// Bring the chosen line into view: its share of the list.
    Scroll(f32),
    /// Show the sessions.
    Leave,
}

/// The list of lines.
pub const LIST: &str = "by-samples";

/// Intervals to choose from, in seconds; others are written.
const INTERVALS: [i64; 11] = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800];
/// Seconds a person takes for a point, before their own pace is known (our guess).
const GUESS_S: f64 = 4.0;

/// Where the first point lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum First {
    Random,
    At(Micros),
}

/// A line that can be chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Line {
    Old(usize),
    Form,
    Every,
    First,
    Question(usize),
}

/// How a coding by samples begins.
pub struct BySamples {
    folder: StudyFolder,
    session: Session,
    person: String,
    ethogram: Option<Ethogram>,
    old: Vec<(PathBuf, CodingHead)>,
    is_primary_free: bool,
    /// What is hidden from the person, who is due as the second coder.
    hides: Vec<String>,
    form: Form,
    every: Micros,
    first: First,
    seed: u64,
    questions: Vec<(Question, bool)>,
    line: usize,
    written: Option<String>,
    said: Option<String>,
}

impl BySamples {
    /// For a session and the person at work. `seed` draws the first point.
    ///
    /// # Errors
    /// When the session can't be read.
    pub fn try_new(
        folder: StudyFolder,
        session: &SessionId,
        person: &str,
        seed: u64,
    ) -> Result<Self, crate::storage::Error> {
        let session_folder = folder.session_folder(session);
        let (entry, _) = study_folder::read_session_folder(&session_folder)?;
        let ethogram = folder.ethogram_for_new().ok();
        let person = code_of(person);
        let is_primary_free = entry.codings.iter().all(|(_, head)| head.purpose != Purpose::Primary);
        let mine = |(_, head): &(PathBuf, CodingHead)| {
            head.rule != RecordingRule::Continuous && head.by.as_str() == person
        };
        let old: Vec<_> = entry.codings.into_iter().filter(mine).collect();
        let questions =
            ethogram.as_ref().map(questions).unwrap_or_default().into_iter().map(|own| (own.usual, own));
        let questions = questions.map(|(usual, own)| (own, usual)).collect();
        Ok(Self {
            folder,
            session: entry.session,
            person,
            ethogram,
            old,
            is_primary_free,
            hides: Vec::new(),
            form: Form::Point,
            every: Micros::from_whole_seconds(15),
            first: First::Random,
            seed,
            questions,
            line: 0,
            written: None,
            said: None,
        })
    }

    fn lines(&self) -> Vec<Line> {
        let mut lines: Vec<Line> = (0..self.old.len()).map(Line::Old).collect();
        lines.extend([Line::Form, Line::Every]);
        if self.form == Form::Point {
            lines.push(Line::First);
        }
        let can_be_asked =
            |(_, (own, _)): &(usize, &(Question, bool))| self.form == Form::Interval || !own.is_event;
        lines.extend(self.questions.iter().enumerate().filter(can_be_asked).map(|(n, _)| Line::Question(n)));
        lines
    }

    fn chosen(&self) -> Option<Line> {
        self.lines().get(self.line).copied()
    }

    fn offset(&self) -> Micros {
        match self.first {
            First::Random => random_offset(self.every, self.seed),
            First::At(at) => at,
        }
    }

    /// The rule as it stands.
    fn rule(&self) -> RecordingRule {
        let every_s = Seconds(self.every);
        match self.form {
            Form::Point => RecordingRule::Instantaneous { every_s, offset_s: Seconds(self.offset()) },
            Form::Interval => RecordingRule::OneZero { every_s },
        }
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::KeyDown(key, modifiers) => return self.key_down(&key, modifiers),
            Message::Choose(line) => {
                let again = self.line == line;
                let _ = self.take_written();
                self.line = line;
                if again && matches!(self.chosen(), Some(Line::Question(_) | Line::Form)) {
                    self.change(1);
                }
            }
            Message::Begin => return self.begin(),
            Message::Leave => return Action::Leave,
        }
        Action::None
    }

    fn key_down(&mut self, key: &Key, modifiers: keyboard::Modifiers) -> Action {
        let last = self.lines().len().saturating_sub(1);
        match key.as_ref() {
            Key::Named(Named::ArrowDown | Named::Tab) if !modifiers.shift() => {
                let _ = self.take_written();
                self.line = (self.line + 1).min(last);
                return self.scroll();
            }
            Key::Named(Named::ArrowUp | Named::Tab) => {
                let _ = self.take_written();
                self.line = self.line.saturating_sub(1);
                return self.scroll();
            }
            Key::Named(Named::ArrowRight | Named::Space) => self.change(1),
            Key::Named(Named::ArrowLeft) => self.change(-1),
            Key::Named(Named::Backspace) => {
                if let Some(written) = &mut self.written {
                    let _ = written.pop();
                }
            }
            Key::Named(Named::Enter) => {
                let is_taken = self.take_written();
                return if is_taken { self.begin() } else { Action::None };
            }
            Key::Named(Named::Escape) if self.written.is_some() => self.written = None,
            Key::Named(Named::Escape) => return Action::Leave,
            Key::Character(text)
                if matches!(self.chosen(), Some(Line::Every | Line::First))
                    && text.chars().all(|own| own.is_ascii_digit() || ".,".contains(own)) =>
            {
                let written = self.written.get_or_insert_default();
                if written.len() < 9 {
                    written.push_str(&text.replace(',', "."));
                }
            }
            _ => {}
        }
        Action::None
    }

    /// Where the chosen line lies in a list that is longer than the window.
    #[allow(clippy::cast_precision_loss)] // A few lines.
    fn scroll(&self) -> Action {
        let last = self.lines().len().saturating_sub(1).max(1);
        Action::Scroll(self.line as f32 / last as f32)
    }

    /// Takes a number that was written; `false` when it makes no sense, which is said.
    fn take_written(&mut self) -> bool {
        let Some(written) = self.written.take().filter(|own| !own.is_empty()) else { return true };
        let seconds = written.parse::<f64>().ok().and_then(Micros::from_seconds);
        let taken = match (self.chosen(), seconds) {
            (Some(Line::Every), Some(every)) if every >= Micros::from_millis(100) => {
                self.every = every;
                if let First::At(at) = self.first
                    && at >= every
                {
                    self.first = First::At(Micros::ZERO);
                }
                true
            }
            (Some(Line::First), Some(at)) if at < self.every => {
                self.first = First::At(at);
                true
            }
            _ => false,
        };
        self.said = (!taken).then(|| match self.chosen() {
            Some(Line::First) => {
                format!("{written}: write seconds below the interval of {} s", short(self.every))
            }
            _ => format!("{written}: write seconds, 0.1 or more"),
        });
        taken
    }

    /// Left and Right on the chosen line.
    fn change(&mut self, by: i32) {
        (self.written, self.said) = (None, None);
        match self.chosen() {
            Some(Line::Form) => {
                self.form = if self.form == Form::Point { Form::Interval } else { Form::Point };
            }
            Some(Line::Every) => {
                let all = INTERVALS.map(Micros::from_whole_seconds);
                let next = if by > 0 {
                    all.into_iter().find(|own| *own > self.every)
                } else {
                    all.into_iter().rev().find(|own| *own < self.every)
                };
                self.every = next.unwrap_or(self.every);
                if let First::At(at) = self.first
                    && at >= self.every
                {
                    self.first = First::At(Micros::ZERO);
                }
            }
            Some(Line::First) => {
                self.first = match self.first {
                    First::Random => First::At(Micros::ZERO),
                    First::At(_) => First::Random,
                };
            }
            Some(Line::Question(n)) => {
                if let Some((_, asked)) = self.questions.get_mut(n) {
                    *asked = !*asked;
                }
            }
            Some(Line::Old(_)) | None => {}
        }
    }

    fn asked(&self) -> Vec<&Question> {
        let can_be = |own: &Question| self.form == Form::Interval || !own.is_event;
        self.questions.iter().filter(|(own, asked)| *asked && can_be(own)).map(|(own, _)| own).collect()
    }

    fn begin(&mut self) -> Action {
        if let Some(Line::Old(n)) = self.chosen()
            && let Some((path, _)) = self.old.get(n)
        {
            return Action::Open(path.clone());
        }
        match self.make() {
            Ok(path) => Action::Open(path),
            Err(why) => {
                self.said = Some(why);
                Action::None
            }
        }
    }

    /// The person is due as this session's second coder: what they may not know yet stays hidden here too.
    pub fn hide(&mut self) {
        self.hides = ["first record", "date", "step"].map(str::to_owned).to_vec();
    }

    /// Writes the coding.
    fn make(&mut self) -> Result<PathBuf, String> {
        if self.person.is_empty() {
            return Err("write your code or initials in Sessions first".to_owned());
        }
        let ethogram = self
            .ethogram
            .clone()
            .ok_or("the study's ethogram for new codings can't be read: F10 in Sessions shows it")?;
        let pass = pass_of(&ethogram, &self.asked(), self.form)?;
        let rule = self.rule();
        if let Some(extent) = self.session.extent()
            && Samples::of(rule, extent).is_none_or(|own| own.count() == 0)
        {
            return Err(format!("the film is shorter than one {}: choose a shorter one", self.form.word()));
        }
        let reference = EthogramRef::to(&ethogram).map_err(|error| error.to_string())?;
        let mut coding = Coding::new(self.session.id.clone(), self.person.as_str().into(), reference);
        coding.rule = rule;
        let is_random = self.form == Form::Point && self.first == First::Random;
        coding.offset_seed = is_random.then_some(self.seed);
        coding.masked.clone_from(&self.hides);
        // Numbers of samples are counted from here, whatever film is added or moved later.
        coding.window = self.session.extent();
        // One coding a session counts (rule 14): another one beside it is for comparison.
        coding.purpose = if self.is_primary_free { Purpose::Primary } else { Purpose::Trial };
        coding.passes = vec![Pass::from(&pass)];
        coding.begun = Some(chrono::Local::now().fixed_offset());
        if self.folder.study.person(&coding.by).is_none() {
            self.folder.study.people.push(Person { code: coding.by.clone(), ..Person::default() });
            self.folder.save_study().map_err(|error| error.to_string())?;
        }
        coding_file::create(&self.folder.session_folder(&self.session.id), &coding)
            .map_err(|error| error.to_string())
    }

    /// Keys.
    pub fn subscription() -> Subscription<Message> {
        keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, modifiers, .. } => Some(Message::KeyDown(key, modifiers)),
            _ => None,
        })
    }

    /// What it will come to, in words.
    fn outlook(&self) -> String {
        let Some(extent) = self.session.extent() else {
            return "How many there are is known when the clips have been opened once.".to_owned();
        };
        let samples = Samples::of(self.rule(), extent);
        let Some(samples) = samples.filter(|own| own.count() > 0) else {
            return format!("The film is shorter than one {}.", self.form.word());
        };
        let n = samples.count();
        let minutes = match self.form {
            Form::Point => f64::from(n) * GUESS_S / 60.0,
            Form::Interval => samples.every().seconds() * f64::from(n) / 60.0,
        };
        let time = match self.form {
            Form::Point => format!("about {minutes:.0} min at {GUESS_S:.0} s a point"),
            Form::Interval => format!("{minutes:.0} min of film to watch"),
        };
        format!("{n} {} in {} of film; {time}.", samples.form().words(), extent.length().clock())
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let animal = self.folder.study.animal(&self.session.animal);
        let name = animal.map_or_else(|| self.session.animal.to_string(), |own| own.name.clone());
        let head = row![
            text("Code by samples").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            text(format!("{name} · session {} · coder {}", self.session.id, self.person))
                .size(theme::BODY)
                .color(palette.quiet),
        ]
        .spacing(12)
        .align_y(iced::Center);
        let room = iced::Padding { right: 14.0, ..iced::Padding::ZERO };
        let mut list = column![].spacing(4).padding(room);
        let mut shown = None;
        for (n, line) in self.lines().into_iter().enumerate() {
            let part = match line {
                Line::Old(_) => "Go on with",
                Line::Form | Line::Every | Line::First => "Begin a new one",
                Line::Question(_) => "What is asked of each; out of sight always is",
            };
            if shown.replace(part) != Some(part) {
                list = list.push(
                    container(text(part).size(theme::BODY).color(palette.quiet))
                        .padding(iced::Padding { top: 8.0, ..iced::Padding::ZERO }),
                );
            }
            list = list.push(self.line(n, line, palette));
        }
        let advice = match self.form {
            Form::Point => {
                "The film jumps to each point, and you say what its picture shows. Valid for shares of time; blind to what is shorter than the interval; no events, no bouts, no latencies."
            }
            Form::Interval => {
                "The film plays interval by interval, and you tick what occurs. It gives the share of intervals with at least one: neither a share of time nor a frequency (Altmann 1974). Choose it to match an older series."
            }
        };
        let begin =
            if matches!(self.chosen(), Some(Line::Old(_))) { "Go on (Enter)" } else { "Begin (Enter)" };
        let purpose = if self.is_primary_free {
            "It will be the primary coding of this session."
        } else {
            "The session has a primary coding already: this one is a trial, listed and compared, never pooled."
        };
        let foot = column![
            text(advice).size(theme::BODY).color(palette.text),
            text(self.outlook()).size(theme::BODY).color(palette.text),
            text(purpose).size(theme::BODY).color(palette.quiet),
            row![
                button(text(begin).size(theme::BODY))
                    .padding([6, 12])
                    .style(theme::key(palette, true))
                    .on_press(Message::Begin),
                text(self.said.as_deref().unwrap_or(
                    "Up and Down choose a line, Left and Right change it, digits write seconds, Escape goes back."
                ))
                .size(theme::BODY)
                .color(if self.said.is_some() { palette.accent } else { palette.quiet }),
            ]
            .spacing(12)
            .align_y(iced::Center),
        ]
        .spacing(8);
        let body =
            column![head, scrollable(list).id(LIST).height(Length::Fill), foot].spacing(12).max_width(900);
        container(body).padding(16).center_x(Length::Fill).into()
    }

    fn line(&self, n: usize, line: Line, palette: Palette) -> Element<'_, Message> {
        let is_here = n == self.line;
        let number = |at: Micros| match self.written.as_ref().filter(|_| is_here) {
            Some(written) => format!("{written}▏ s"),
            None => format!("{} s", short(at)),
        };
        let (name, value) = match line {
            Line::Old(n) => match self.old.get(n) {
                Some((_, head)) => (rule_words(head.rule), state_words(head)),
                None => (String::new(), String::new()),
            },
            Line::Form => (
                "How".to_owned(),
                match self.form {
                    Form::Point => "‹ points in time (instantaneous) ›".to_owned(),
                    Form::Interval => "‹ intervals (one-zero) ›".to_owned(),
                },
            ),
            Line::Every => match self.form {
                Form::Point => ("From one point to the next".to_owned(), number(self.every)),
                Form::Interval => ("Length of an interval".to_owned(), number(self.every)),
            },
            Line::First => (
                "First point after the start".to_owned(),
                match self.first {
                    First::Random if !(is_here && self.written.is_some()) => {
                        format!("‹ {} s, drawn at random, seed {} ›", short(self.offset()), self.seed)
                    }
                    First::Random => number(Micros::ZERO),
                    First::At(at) => number(at),
                },
            ),
            Line::Question(n) => match self.questions.get(n) {
                Some((own, asked)) => {
                    (own.name.clone(), if *asked { "✓ asked" } else { "– not asked" }.to_owned())
                }
                None => (String::new(), String::new()),
            },
        };
        let inside = row![
            text(name).size(theme::BODY).color(palette.text),
            space::horizontal(),
            text(value).size(theme::BODY).font(theme::MONO).color(palette.text),
        ]
        .spacing(12)
        .align_y(iced::Center);
        button(inside)
            .width(Length::Fill)
            .padding([6, 12])
            .style(theme::key(palette, is_here))
            .on_press(Message::Choose(n))
            .into()
    }
}

/// Seconds without needless zeros.
fn short(time: Micros) -> String {
    let text = time.to_string();
    let cut = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    cut.to_owned()
}

/// A rule of recording, short.
#[must_use]
pub fn rule_words(rule: RecordingRule) -> String {
    match rule {
        RecordingRule::Continuous => "continuous".to_owned(),
        RecordingRule::Instantaneous { every_s, .. } => format!("points every {} s", short(every_s.micros())),
        RecordingRule::OneZero { every_s } => format!("intervals of {} s", short(every_s.micros())),
    }
}

fn state_words(head: &CodingHead) -> String {
    let answered: u32 = head
        .passes
        .iter()
        .flat_map(|pass| pass.answered.sorted())
        .map(|[first, last]| last - first + 1)
        .sum();
    let state = match head.status {
        Status::Closed => "closed",
        Status::Open if head.passes.iter().all(|pass| pass.done) => "all answered",
        Status::Open => "open",
    };
    format!("{answered} answered · {state}")
}

/// A person's code as the study keeps it; empty when nothing is written.
pub(super) fn code_of(person: &str) -> String {
    if person.trim().is_empty() { String::new() } else { super::new_study::id_of(person).to_uppercase() }
}
