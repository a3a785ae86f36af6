//! Coding by samples: from point to point, or interval by interval.
//!
//! Film, cameras, journal and undo are those of every coding. What differs: a key speaks of the sample
//! at hand, Enter answers it, and the film goes where the next one is.

use std::fmt::Write as _;

use iced::widget::{column, container, progress_bar, row, scrollable, space, text};
use iced::{Alignment, Element, Length};

use super::keys::Wish;
use super::{Action, Coding, Message, Said, keys};
use crate::gui::theme::{self, Palette};
use crate::gui::widget::{strip, tape};
use crate::measures::recorded::Recorded;
use crate::measures::{Marks, Record};
use crate::model::samples::{Form, Sample, Samples};
use crate::model::{RecordingRule, Role};
use crate::time::{Micros, Spans};
use crate::workbench::coder::{Done, Pace};
use crate::workbench::player::Direction;
use crate::workbench::sampling::{self, Progress, State, Walk, asked_sets};

/// What happens when an interval has been played to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum After {
    /// The film stops; Enter answers the interval.
    Stops,
    /// What was played from its start to its end is answered, and the next one plays.
    GoesOn,
}

/// The samples of the coding that is open.
#[derive(Debug)]
pub(super) struct Sampling {
    walk: Walk,
    strip: strip::Content,
    progress: Progress,
    after: After,
    /// The interval that plays from its start.
    through: Option<u32>,
    /// What was found so far: name, hits, of how many.
    found: Vec<(String, u32, u32)>,
    /// The sample at hand: what is asked and what is answered.
    here: Vec<(String, Option<String>)>,
}

impl Coding {
    /// Whether it is a coding by samples.
    pub(super) fn is_sampled(&self) -> bool {
        self.coder.coding().rule != RecordingRule::Continuous
    }

    /// Number of the sample at hand.
    fn sample_number(&self) -> Option<u32> {
        Some(self.samples.as_ref()?.walk.sample()?.number)
    }

    /// Makes anew what is drawn of the samples; the samples themselves when the film has become known.
    pub(super) fn prepare_samples(&mut self) {
        let coding = self.coder.coding();
        let Some(window) = coding.observed_window(self.coder.ethogram(), &self.session) else { return };
        let Some(samples) = Samples::of(coding.rule, window) else { return };
        let film = Spans::from(window).without(&self.session.file_gaps());
        let pass = self.coder.sampled_pass();
        let sampling = if let Some(own) = self.samples.take() {
            Sampling { walk: own.walk.renewed(samples, film), ..own }
        } else {
            let mut walk = Walk::new(samples, film);
            let first = walk.sample().map_or(1, |own| own.number);
            if let Some(at) = self.asked_for {
                walk.go_to(at);
            } else if let Some(pass) = coding.passes.get(pass).filter(|pass| pass.answered.contains(first)) {
                let _ = walk.next_unanswered(&pass.answered);
            }
            // About eight samples in view.
            self.zoom = tape::Zoom::default().by(samples.every().seconds() * 8.0 / 30.0, f64::MAX);
            self.player.set_back_on_resume(Micros::ZERO);
            Sampling {
                walk,
                strip: strip::Content::default(),
                progress: Progress::default(),
                after: After::Stops,
                through: None,
                found: Vec::new(),
                here: Vec::new(),
            }
        };
        let states = sampling.walk.states(coding, self.coder.ethogram(), pass);
        self.prepared.tape.samples.clone_from(&states);
        let found = self.found_so_far();
        let progress = sampling::progress(&states);
        let extent = self.prepared.ribbon.extent;
        let strip = strip::Content { extent, samples: states, every: samples.every() };
        self.samples = Some(Sampling { strip, progress, found, ..sampling });
        self.prepare_here();
    }

    /// What was found in the samples answered so far.
    fn found_so_far(&self) -> Vec<(String, u32, u32)> {
        let coding = self.coder.coding();
        let ethogram = self.coder.ethogram();
        let study = &self.folder.study;
        let Some(record) = Record::try_new(coding, ethogram, &self.session, study, Marks::AsTheyStand) else {
            return Vec::new();
        };
        let Ok(recorded) = Recorded::of(&record) else { return Vec::new() };
        let live = ethogram.behaviours.iter().filter(|own| self.coder.is_live(&own.id));
        live.filter_map(|own| {
            let found = recorded.so_far(&record, own).ok()?;
            Some((own.name.clone(), found.hits, found.of))
        })
        .collect()
    }

    /// What is asked of the sample at hand, and what is answered.
    fn prepare_here(&mut self) {
        let Some(number) = self.sample_number() else { return };
        let ethogram = self.coder.ethogram();
        let names: Vec<_> = self
            .coder
            .marks_in(number)
            .filter_map(|mark| ethogram.behaviour(&mark.behaviour))
            .map(|own| (own.set.clone(), own.name.clone(), own.has_role(Role::Excluded)))
            .collect();
        let form = self.samples.as_ref().map(|own| own.walk.samples().form());
        let mut here: Vec<(String, Option<String>)> = Vec::new();
        if let Some((_, name, _)) = names.iter().find(|(.., is_hidden)| *is_hidden) {
            here.push((name.clone(), Some("the whole of it".to_owned())));
        } else if form == Some(Form::Point) {
            for set in asked_sets(self.coder.coding(), ethogram, self.coder.sampled_pass()) {
                let title = ethogram.set(&set).map_or_else(|| set.to_string(), |own| own.name.clone());
                let own = names.iter().find(|(own, ..)| own.as_ref() == Some(&set));
                here.push((title, own.map(|(_, name, _)| name.clone())));
            }
            for (_, name, _) in names.iter().filter(|(set, ..)| set.is_none()) {
                here.push((name.clone(), Some("holds".to_owned())));
            }
        } else {
            here.extend(names.iter().map(|(_, name, _)| (name.clone(), Some("ticked".to_owned()))));
        }
        if let Some(samples) = &mut self.samples {
            samples.here = here;
        }
    }

    /// Shows the picture of the sample at hand, standing.
    pub(super) fn show_sample(&mut self) {
        let now = self.now();
        let Some(samples) = &mut self.samples else { return };
        samples.through = None;
        samples.walk.stops();
        let Some(shot) = samples.walk.shot(self.player.reel()) else { return };
        if self.player.is_running() {
            self.player.pause();
        }
        self.player.go_to(shot.at, now);
        self.prepare_here();
    }

    /// Goes to the sample nearest to a moment.
    pub(super) fn go_to_sample_at(&mut self, at: Micros) {
        if let Some(samples) = &mut self.samples {
            samples.walk.go_to(at);
        }
        self.show_sample();
    }

    /// Plays the interval at hand from its start.
    fn play_interval(&mut self) {
        self.show_sample();
        let now = self.now();
        let number = self.sample_number();
        if let Some(samples) = &mut self.samples
            && samples.walk.shot(self.player.reel()).is_some()
        {
            samples.through = number;
            self.player.run(Direction::Forward, now);
        }
    }

    /// A coding key goes down.
    pub(super) fn answer(&mut self, key: char) {
        let Some(samples) = &self.samples else {
            self.said = Said::Refused("the samples are known as soon as the clips have been read".to_owned());
            return;
        };
        let form = samples.walk.samples().form();
        let Some(shot) = self.player.shown() else { return };
        let is_on_its_way =
            !self.player.is_current() && self.player.wanted() == samples.walk.shot(self.player.reel());
        if form == Form::Point && is_on_its_way {
            self.said = Said::Refused(
                "the picture of this point is still on its way: nothing was answered".to_owned(),
            );
            return;
        }
        let pace =
            if self.player.is_running() { Pace::Live { speed: self.player.speed() } } else { Pace::Stepped };
        let done = self.coder.answer(&samples.walk, key, shot, pace);
        let is_done = done.is_ok();
        let number = self.sample_number();
        self.take(done);
        let is_complete = number.is_some_and(|number| self.coder.is_answered(number));
        if is_done && is_complete && form == Form::Point {
            self.go_on();
        }
    }

    /// After an answer: the next sample nobody has answered, or the news that there is none.
    fn go_on(&mut self) {
        let (now, pass) = (self.now(), self.coder.sampled_pass());
        let Some(samples) = &mut self.samples else { return };
        samples.walk.answered_at(now);
        let none = crate::model::samples::Numbers::default();
        let answered = self.coder.coding().passes.get(pass).map_or(&none, |pass| &pass.answered);
        if samples.walk.next_unanswered(answered) {
            self.show_sample();
        } else if let Said::Done(words) = &mut self.said {
            let all = samples.walk.samples().form().words();
            let _ = write!(words, "; all {all} are answered: the coding can be closed");
            self.prepare_here();
        }
    }

    /// Enter, or an interval that was played to its end where the film goes on by itself.
    fn finish_here(&mut self) -> bool {
        let Some(samples) = &self.samples else { return false };
        let done = self.coder.finish_sample(&samples.walk);
        let is_done = done.is_ok();
        self.take(done);
        if is_done {
            self.go_on();
        }
        is_done
    }

    /// Whether an answer is still missing.
    fn is_any_left(&self) -> bool {
        self.samples.as_ref().is_some_and(|own| !own.progress.is_done())
    }

    /// An interval ends when its last picture has been seen: the film stops there, or goes on.
    pub(super) fn watch_interval(&mut self) {
        let Some(samples) = &self.samples else { return };
        if samples.walk.samples().form() != Form::Interval
            || self.player.direction() != Some(Direction::Forward)
        {
            return;
        }
        let (Some(sample), Some(wanted)) = (samples.walk.sample(), self.player.wanted()) else { return };
        let reel = self.player.reel();
        let last = last_of(sample, reel);
        let is_over = wanted.at >= sample.span.to
            || self.player.shown() == last && self.player.film_time(self.now()) >= sample.span.to
            || self.player.shown() == last && last == reel.shot(reel.len().saturating_sub(1));
        if !is_over {
            return;
        }
        let was_whole = samples.through == Some(sample.number);
        let goes_on = samples.after == After::GoesOn && was_whole;
        let now = self.now();
        self.player.pause();
        if let Some(last) = last {
            self.player.go_to(last.at, now);
        }
        if goes_on {
            let before = sample.number;
            if self.finish_here() && self.is_any_left() {
                self.play_interval();
                if let Some(samples) = &mut self.samples
                    && samples.walk.sample().is_some_and(|own| own.number == before + 1)
                {
                    samples.walk.runs_on();
                }
            }
            return;
        }
        let number = sample.number;
        self.said = Said::Done(format!(
            "interval {number} ends here: Enter answers it and plays the next, F3 plays it again"
        ));
    }

    /// What the keys that code nothing do here; `None`: what they always do.
    pub(super) fn sample_wish(&mut self, wish: Wish) -> Option<Action> {
        let form = self.samples.as_ref()?.walk.samples().form();
        let is_interval = form == Form::Interval;
        match wish {
            // Nobody has seen it yet: it is played first, else a key held down would make absences.
            Wish::EndState if is_interval && self.is_unseen() => self.play_interval(),
            Wish::EndState if !is_interval && !self.sees_its_point() => {
                self.said = Said::Refused(
                    "the picture of this point is not the one that is shown: Home goes back to it".to_owned(),
                );
            }
            Wish::EndState => {
                if self.finish_here() && is_interval && self.is_any_left() {
                    self.play_interval();
                }
            }
            Wish::Mark(by) => {
                if let Some(samples) = &mut self.samples {
                    samples.walk.step(if by > 0 { 1 } else { -1 });
                }
                self.show_sample();
            }
            Wish::OtherEdge => {
                let pass = self.coder.sampled_pass();
                let answered = self.coder.coding().passes.get(pass).map(|pass| pass.answered.clone());
                let is_there = match (&mut self.samples, answered) {
                    (Some(samples), Some(answered)) => samples.walk.next_unanswered(&answered),
                    _ => false,
                };
                if !is_there {
                    self.said = Said::Done(format!("all {} are answered", form.words()));
                }
                self.show_sample();
            }
            Wish::Start => self.show_sample(),
            Wish::Remove => {
                let done = self.coder.clear_sample(&self.samples.as_ref()?.walk);
                self.take(done);
            }
            Wish::Undo | Wish::Redo => {
                let done = if wish == Wish::Undo { self.coder.undo() } else { self.coder.redo() };
                let number = done.as_ref().ok().and_then(Done::sample);
                self.take(done);
                if let (Some(samples), Some(number)) = (&mut self.samples, number) {
                    samples.walk.choose(number);
                    self.show_sample();
                }
            }
            Wish::Loop if is_interval => self.play_interval(),
            Wish::Toggle if is_interval && !self.player.is_running() && !self.is_inside() => {
                self.play_interval();
            }
            Wish::PassDone if is_interval => {
                let samples = self.samples.as_mut()?;
                samples.after = if samples.after == After::Stops { After::GoesOn } else { After::Stops };
                let words = match samples.after {
                    After::Stops => "the film stops at the end of each interval, and Enter answers it",
                    After::GoesOn => {
                        "an interval played from its start to its end is answered, and the film goes on"
                    }
                };
                self.said = Said::Done(words.to_owned());
            }
            Wish::PassDone => {
                self.said = Said::Refused("it is done when every point is answered".to_owned());
            }
            Wish::Pass => self.said = Said::Refused(format!("{} are coded in one pass", form.words())),
            Wish::Nudge(_) | Wish::Split | Wish::Merge | Wish::Change => {
                self.said = Said::Refused(
                    "a sample has no edges: another key changes its answer, Delete clears it".to_owned(),
                );
            }
            // Looking around: what follows is not the interval played through any more.
            Wish::Step(_) | Wish::Skip(_) | Wish::End | Wish::Reverse => {
                self.look_around();
                return None;
            }
            _ => return None,
        }
        Some(Action::None)
    }

    /// What follows is not the interval played through any more.
    pub(super) fn look_around(&mut self) {
        if let Some(samples) = &mut self.samples {
            samples.through = None;
        }
    }

    /// Whether the picture of the point at hand is the one that is shown.
    fn sees_its_point(&self) -> bool {
        let own = self.samples.as_ref().and_then(|own| own.walk.shot(self.player.reel()));
        own.is_some() && self.player.is_current() && self.player.shown() == own
    }

    /// Whether the interval at hand has neither been played nor looked into, and nothing is told of it.
    fn is_unseen(&self) -> bool {
        let Some(samples) = &self.samples else { return false };
        let Some(number) = self.sample_number() else { return false };
        let is_told = self.coder.is_answered(number) || self.coder.marks_in(number).next().is_some();
        let is_at_start = self.player.wanted() == samples.walk.shot(self.player.reel());
        !is_told && samples.through != Some(number) && is_at_start && !self.player.is_running()
    }

    /// Whether the picture that is seen lies inside the interval and is not its last.
    fn is_inside(&self) -> bool {
        let Some(sample) = self.samples.as_ref().and_then(|own| own.walk.sample()) else { return false };
        let last = last_of(sample, self.player.reel());
        self.player.wanted().is_some_and(|own| sample.span.contains(own.at) && Some(own) != last)
    }

    /// Lights the caps of what is answered of the sample at hand.
    pub(super) fn light_sample(&mut self) {
        let Some(number) = self.sample_number() else { return };
        let told: Vec<String> = self.coder.marks_in(number).map(|mark| mark.behaviour.to_string()).collect();
        self.prepared.light_told(&self.coder, &told);
    }

    /// All samples, above the tape.
    pub(super) fn sample_strip(&self, palette: Palette) -> Option<Element<'_, Message>> {
        let samples = self.samples.as_ref()?;
        Some(strip::strip(&samples.strip, self.sample_number(), palette, Message::Go))
    }

    /// What stands beside the picture: the sample at hand, how far the work is, what was found.
    pub(super) fn sample_panel(&self, palette: Palette) -> Element<'_, Message> {
        let plain = |words: String| text(words).size(theme::BODY).color(palette.text);
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let Some(samples) = &self.samples else {
            return column![
                text("Samples").size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
                quiet("They are known as soon as the clips have been read.".to_owned()),
            ]
            .spacing(6)
            .width(316)
            .into();
        };
        let form = samples.walk.samples().form();
        let Some(sample) = samples.walk.sample() else {
            return container(quiet(format!(
                "The film is shorter than one {}: nothing can be sampled.",
                form.word()
            )))
            .width(316)
            .into();
        };
        let state = samples.strip.samples.iter().find(|(own, _)| own.number == sample.number);
        let (title, rule) = match form {
            Form::Point => (
                format!("Point {} of {}", sample.number, samples.walk.samples().count()),
                "Code what this picture shows, not what comes before or after it.".to_owned(),
            ),
            Form::Interval => (
                format!("Interval {} of {}", sample.number, samples.walk.samples().count()),
                format!(
                    "Tick what occurs from {} to {}, once each, however often or long.",
                    sample.span.from.clock(),
                    sample.span.to.clock()
                ),
            ),
        };
        let (word, ink) = match state.map(|(_, state)| *state) {
            Some(State::Answered) => ("answered", palette.text),
            Some(State::OutOfSight) => ("out of sight", palette.text),
            Some(State::Begun) => ("begun", palette.accent),
            Some(State::Gap) => ("no film", palette.quiet),
            Some(State::Unanswered) | None => ("open", palette.accent),
        };
        let head = row![
            text(title).size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
            space::horizontal(),
            text(word).size(theme::BODY).color(ink),
        ]
        .align_y(Alignment::Center);
        let mut here = column![].spacing(2);
        for (what, answer) in &samples.here {
            let answer: Element<'_, Message> = match answer {
                Some(answer) => plain(answer.clone()).into(),
                None => text("press its key").size(theme::BODY).color(palette.accent).into(),
            };
            here = here.push(row![quiet(what.clone()), space::horizontal(), answer].spacing(8));
        }
        if samples.here.is_empty() {
            here = here.push(quiet(match form {
                Form::Point => "Enter: nothing of what is asked holds".to_owned(),
                Form::Interval => "nothing ticked yet".to_owned(),
            }));
        }
        let mut found = column![].spacing(2);
        for (name, hits, of) in samples.found.iter().filter(|(_, hits, _)| *hits > 0) {
            let numbers =
                text(format!("{hits} of {of}")).size(theme::BODY).font(theme::MONO).color(palette.text);
            found = found.push(row![quiet(name.clone()), space::horizontal(), numbers].spacing(8));
        }
        let unit = match form {
            Form::Point => "Found so far, of visible points",
            Form::Interval => "Found so far, intervals with it (no share of time)",
        };
        let keys = keys::SAMPLES
            .iter()
            .filter(|(key, ..)| form == Form::Interval || !keys::ONLY_INTERVALS.contains(key))
            .take(if form == Form::Interval { 6 } else { 5 });
        let mut legend = column![].spacing(2);
        for (key, does) in keys {
            let key = text(*key).size(theme::BODY).font(theme::MONO).color(palette.text).width(104);
            legend = legend.push(row![key, quiet((*does).to_owned())].spacing(8));
        }
        #[allow(clippy::cast_precision_loss)] // A share of a bar.
        let share = samples.progress.answered as f32 / samples.progress.asked.max(1) as f32;
        let bar = progress_bar(0.0..=1.0, share).girth(6).style(move |_: &iced::Theme| progress_bar::Style {
            background: palette.raised.into(),
            bar: palette.text.into(),
            border: iced::border::rounded(3),
        });
        let is_any_found = samples.found.iter().any(|(_, hits, _)| *hits > 0);
        let inside = column![plain(rule), here, bar, plain(progress_words(samples))]
            .push(is_any_found.then(|| quiet(unit.to_owned())))
            .push(is_any_found.then_some(found))
            .push(legend)
            .spacing(8)
            .padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        column![head, scrollable(inside).height(Length::Fill)].spacing(6).width(316).into()
    }
}

impl Coding {
    /// What stands where the passes of other codings stand: how it is sampled.
    pub(super) fn sample_rule(&self, palette: Palette) -> Element<'_, Message> {
        let coding = self.coder.coding();
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let first = match (coding.rule, coding.offset_seed) {
            (RecordingRule::Instantaneous { offset_s, .. }, seed) => {
                let drawn = seed.map_or_else(String::new, |seed| format!(" (drawn, seed {seed})"));
                format!("the first {:.3} s after the start{drawn}", offset_s.micros().seconds())
            }
            _ => "a last partial one is not asked".to_owned(),
        };
        let rule = crate::gui::screen::by_samples::rule_words(coding.rule);
        let lines = column![
            text(rule).size(theme::BODY).color(palette.text),
            quiet(first),
            self.close_button(palette),
        ];
        container(lines.spacing(6)).width(316).into()
    }
}

/// How far it has come, and how long the rest will take.
fn progress_words(samples: &Sampling) -> String {
    let Progress { asked, answered, out_of_sight, in_gaps } = samples.progress;
    let mut words = format!("{answered} of {asked} answered");
    // Writing into a String can't fail.
    if out_of_sight > 0 {
        let _ = write!(words, ", {out_of_sight} of them out of sight");
    }
    if in_gaps > 0 {
        let _ = write!(words, "; {in_gaps} without film");
    }
    if let Some(left) = samples.walk.time_left(samples.progress).filter(|_| answered < asked) {
        let minutes = left.as_secs_f64() / 60.0;
        let left =
            if minutes < 1.0 { "under a minute".to_owned() } else { format!("about {minutes:.0} min") };
        let _ = write!(words, "; {left} left");
    }
    if samples.after == After::GoesOn {
        words.push_str("; goes on by itself (F5)");
    }
    words
}

/// The last picture of an interval.
fn last_of(sample: Sample, reel: &crate::workbench::reel::Reel) -> Option<crate::workbench::reel::Shot> {
    reel.shot_at(sample.span.to - Micros(1)).filter(|own| sample.span.contains(own.at))
}
