//! How the Coding screen looks.

use iced::widget::{button, column, container, responsive, row, scrollable, space, stack, text, text_input};
use iced::{Alignment, Element, Length, Size};

use super::{Coding, Message, Said, keys};
use crate::gui::theme::{self, Mode, Palette};
use crate::gui::widget::keyboard::Fold;
use crate::gui::widget::{card, covers, keyboard, ribbon, tape, video};
use crate::model::Status;
use crate::workbench::autosave::Saved;
use crate::workbench::player::{Direction, RunThrough};

/// In a window lower than this the keys are drawn low, so that the picture keeps its room.
const LOW: f32 = 900.0;

/// The field a note is typed into.
pub(super) const NOTE: &str = "note";

impl Coding {
    /// Lights the caps of the states that hold; once before each drawing.
    pub fn light(&mut self) {
        if self.is_sampled() {
            self.light_sample();
            return;
        }
        let at = self.at();
        self.prepared.light(&self.coder, at);
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        responsive(move |size| self.screen(size, mode.palette())).into()
    }

    /// How the keys are drawn: as was asked for, else as there is room.
    pub(super) fn fold_in(&self, height: f32) -> Fold {
        self.fold.unwrap_or(if height < LOW { Fold::Low } else { Fold::Whole })
    }

    /// The screen in a window of a size: the picture has all the room that the rest does not need.
    fn screen(&self, size: Size, palette: Palette) -> Element<'_, Message> {
        let fold = self.fold_in(size.height);
        let beside = if self.is_sampled() { self.sample_panel(palette) } else { self.presentations(palette) };
        let keys = keyboard::keyboard(&self.prepared.caps, fold, palette, Message::Press);
        let keys = container(keys).width(Length::Fill);
        let (upper, lower) = if fold == Fold::Whole {
            let passes = if self.is_sampled() { self.sample_rule(palette) } else { self.passes(palette) };
            (row![self.picture_area(palette), beside], Some(row![keys, passes].spacing(8)))
        } else {
            let pass = if self.is_sampled() { self.sample_rule(palette) } else { self.pass_line(palette) };
            let beside = column![container(beside).height(Length::Fill), pass].spacing(6).width(316);
            (row![self.picture_area(palette), beside], (fold == Fold::Low).then(|| row![keys]))
        };
        let upper = upper.spacing(8).height(Length::Fill);
        let at = self.at();
        let screen = column![upper, ribbon::ribbon(&self.prepared.ribbon, at, palette, Message::Go)]
            .push(self.sample_strip(palette))
            .push(self.motion_strip(palette));
        let screen = screen
            .extend([
                tape::tape(&self.prepared.tape, at, self.zoom, self.chosen, palette, Message::Tape),
                self.status(palette),
            ])
            .push(lower)
            .spacing(6)
            .padding(8);
        let screen = match &self.only_to_look {
            Some(why) => column![
                container(text(format!("Only to look at; nothing is written: {why}")).size(theme::BODY))
                    .style(move |_| iced::widget::container::Style {
                        text_color: Some(palette.accent),
                        ..Default::default()
                    })
                    .padding([6, 12]),
                screen,
            ],
            None => screen,
        };
        if !self.show_keys {
            return screen.into();
        }
        let keys = if self.covering.is_some() {
            legend("Covering faces; what moves the film moves it as ever:", super::covers::COVERS, 1, palette)
        } else {
            let all: Vec<(&str, &str)> = keys::TABLE.iter().map(|(key, does, _)| (*key, *does)).collect();
            let words = "Letters and digits code: they are drawn on the keyboard below. Everything else:";
            legend(words, &all, 3, palette)
        };
        stack![screen, keys].into()
    }

    fn picture_area(&self, palette: Palette) -> Element<'_, Message> {
        let inside: Element<'_, Message> = match (&self.picture, self.still_reading()) {
            (Some(picture), _) => {
                let main = video::video(picture, self.sight, video::Place::Main);
                let main = match &self.covering {
                    Some(own) => {
                        let (faces, chosen) = (own.shown.as_slice(), own.chosen);
                        stack![
                            main,
                            covers::covers(picture, self.sight, faces, chosen, palette, Message::Cover)
                        ]
                        .into()
                    }
                    None => main,
                };
                match &self.beside_picture {
                    Some((_, other)) => {
                        row![main, video::video(other, self.sight, video::Place::Beside)].spacing(4).into()
                    }
                    None => main,
                }
            }
            (None, Some(read)) => container(
                text(format!("Reading the clip, {read}. You can code as soon as its first picture is here."))
                    .size(theme::BODY)
                    .color(palette.quiet),
            )
            .center(Length::Fill)
            .into(),
            (None, None) if self.session.clips.is_empty() => container(
                text("This session has no clip yet. Go back (Escape) and add one.")
                    .size(theme::BODY)
                    .color(palette.quiet),
            )
            .center(Length::Fill)
            .into(),
            (None, None) => container(
                text(self.troubles.first().map_or("No picture", String::as_str))
                    .size(theme::BODY)
                    .color(palette.text),
            )
            .padding(24)
            .center(Length::Fill)
            .into(),
        };
        let picture = container(inside)
            .width(Length::Fill)
            .height(Length::Fill)
            .style(theme::plain(palette.panel))
            .clip(true);
        let clock = container(self.clock_line()).padding(8).align_bottom(Length::Fill);
        stack![picture, clock].into()
    }

    /// Session time, wall clock, frame, speed, camera.
    /// How much of the clip that is read last has been read; nothing when all are open.
    fn still_reading(&self) -> Option<String> {
        let share = self.opening.values().copied().reduce(f32::min)?;
        Some(format!("{:.0} %", share * 100.0))
    }

    fn clock_line(&self) -> Element<'_, Message> {
        let at = self.at();
        let shown = self.player.shown();
        let format = if self.is_masked("date") { "%H:%M:%S" } else { "%Y-%m-%d %H:%M:%S" };
        let wall = self
            .session
            .wall_clock(at)
            .map_or_else(|| "wall clock not known".to_owned(), |time| time.format(format).to_string());
        let read = self.still_reading();
        let frame = match (self.frame(), &read) {
            (Some(frame), _) => format!("frame {frame}"),
            (None, Some(_)) => String::new(),
            (None, None) => "—".to_owned(),
        };
        let read = read.map_or_else(String::new, |read| format!("reading the clip, {read}"));
        let motion = match self.player.direction() {
            None => "paused".to_owned(),
            Some(direction) => {
                let sign = if direction == Direction::Reverse { "−" } else { "" };
                let rate = self
                    .player
                    .true_rate()
                    .map_or_else(String::new, |rate| format!(", truly {sign}{rate:.2}×"));
                format!("{sign}{}×{rate}", self.player.speed())
            }
        };
        let left_out = match self.player.run_through() {
            RunThrough { left_out: 0, .. } => String::new(),
            RunThrough { seen, left_out } => format!("{left_out} of {} left out", seen + left_out),
        };
        let camera = shown
            .and_then(|shot| self.session.clip(shot.clip))
            .and_then(|clip| clip.camera.clone())
            .unwrap_or_default();
        let ink = iced::Color::WHITE;
        let quiet = |words: String| (!words.is_empty()).then(|| text(words).size(theme::BODY).color(ink));
        let speed =
            if self.player.is_running() { String::new() } else { format!("speed {}×", self.player.speed()) };
        let sight = if (self.sight.zoom - 1.0).abs() < 0.01 {
            String::new()
        } else {
            format!("{:.1}× close", self.sight.zoom)
        };
        let beside = match &self.beside_picture {
            Some((shot, _)) => format!("beside it {}", shot.at.clock()),
            None => String::new(),
        };
        let looping = if self.player.looping().is_some() { "repeating" } else { "" };
        let line = row![text(at.clock()).size(theme::CLOCK).font(theme::MONO).color(ink)]
            .push(quiet(frame))
            .push(quiet(read))
            .push(quiet(wall))
            .push(quiet(motion))
            .push(quiet(speed))
            .push(quiet(left_out))
            .push(quiet(looping.to_owned()))
            .push(quiet(camera))
            .push(quiet(sight))
            .push(quiet(beside))
            .spacing(16)
            .align_y(Alignment::Center);
        container(line).padding([2, 8]).style(theme::over_picture).into()
    }

    fn presentations(&self, palette: Palette) -> Element<'_, Message> {
        let at = self.at();
        // Room for the scroll bar beside them.
        let mut cards = column![].spacing(6).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for own in &self.prepared.cards {
            let here = own.span.contains(at);
            cards = cards.push(card::card(own, here, palette, Message::Go(own.span.from)));
        }
        if self.prepared.cards.is_empty() {
            cards = cards.push(
                text("Each cue you code becomes a presentation here, with its latencies and its outcome.")
                    .size(theme::BODY)
                    .color(palette.quiet),
            );
        }
        let head = row![
            text("Presentations").size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
            space::horizontal(),
            text(&self.prepared.reached).size(theme::BODY).color(palette.quiet),
        ]
        .padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO })
        .align_y(Alignment::Center);
        if let Some(moving) = &self.revising {
            return container(moving.view(palette)).width(316).into();
        }
        if self.reads_definition {
            return container(self.definition(palette)).width(316).into();
        }
        column![head, scrollable(cards).height(Length::Fill)].spacing(6).width(316).into()
    }

    fn passes(&self, palette: Palette) -> Element<'_, Message> {
        let coding = self.coder.coding();
        let mut list =
            column![text("Pass (F4), done (F5)").size(theme::BODY).color(palette.quiet)].spacing(4);
        for (i, pass) in coding.passes.iter().enumerate() {
            let running = self.coder.pass() == Some(i);
            let tick = if pass.done { "✓" } else { "–" };
            let minutes =
                if pass.minutes >= 1.0 { format!("  {:.0} min", pass.minutes) } else { String::new() };
            let name = button(text(format!("{}{minutes}", pass.name)).size(theme::BODY))
                .width(Length::Fill)
                .padding([4, 8])
                .style(theme::key(palette, running))
                .on_press(Message::ChoosePass(Some(i)));
            let tick = button(text(tick).size(theme::BODY).font(theme::MONO))
                .padding([4, 10])
                .style(theme::key(palette, pass.done))
                .on_press(Message::TickPass(i));
            list = list.push(row![name, tick].spacing(4));
        }
        let all = button(text("All behaviours").size(theme::BODY))
            .width(Length::Fill)
            .padding([4, 8])
            .style(theme::key(palette, self.coder.pass().is_none()))
            .on_press(Message::ChoosePass(None));
        let close = self.close_button(palette);
        list = list.push(row![all, close].spacing(4));
        // As high as the keyboard beside it, or as its own lines when they are more; the picture has the rest.
        #[allow(clippy::cast_precision_loss)] // A few lines.
        let lines = coding.passes.len() as f32 + 2.0;
        let height = keyboard::height(&self.prepared.caps, Fold::Whole).max(lines * 30.0).min(216.0);
        container(scrollable(list)).width(316).height(height).into()
    }

    /// The running pass on one line, where the keys are low: F4 goes to the next, F5 ticks it.
    fn pass_line(&self, palette: Palette) -> Element<'_, Message> {
        let coding = self.coder.coding();
        let running = self.coder.pass().and_then(|n| Some((n, coding.passes.get(n)?)));
        let name = match running {
            Some((n, pass)) => format!("{} of {}: {}", n + 1, coding.passes.len(), pass.name),
            None => "All behaviours".to_owned(),
        };
        let next = match self.coder.pass() {
            None => (!coding.passes.is_empty()).then_some(0),
            Some(pass) => (pass + 1 < coding.passes.len()).then_some(pass + 1),
        };
        let name = text(name).size(theme::BODY).wrapping(text::Wrapping::None);
        let name = button(container(name).clip(true))
            .width(Length::Fill)
            .padding([4, 8])
            .style(theme::key(palette, true))
            .on_press(Message::ChoosePass(next));
        let tick = running.map(|(n, pass)| {
            let words = if pass.done { "✓ done" } else { "– not done" };
            button(text(words).size(theme::BODY).font(theme::MONO))
                .padding([4, 8])
                .style(theme::key(palette, pass.done))
                .on_press(Message::TickPass(n))
        });
        let done = coding.passes.iter().filter(|pass| pass.done).count();
        let hint = format!("F4 next, F5 done · {done} of {} done", coding.passes.len());
        let hint = text(hint).size(theme::BODY).color(palette.quiet);
        column![
            row![hint, space::horizontal(), self.close_button(palette)].align_y(Alignment::Center),
            row![name].push(tick).spacing(4),
        ]
        .spacing(4)
        .into()
    }

    /// Closes the coding, or opens it again.
    pub(super) fn close_button(&self, palette: Palette) -> Element<'_, Message> {
        let closed = self.coder.coding().status == Status::Closed;
        button(text(if closed { "Open again" } else { "Close the coding" }).size(theme::BODY))
            .padding([4, 8])
            .style(theme::key(palette, closed))
            .on_press(Message::ToggleClosed)
            .into()
    }

    fn status(&self, palette: Palette) -> Element<'_, Message> {
        let saved = match self.autosave.as_ref().map(crate::workbench::autosave::Autosave::saved) {
            Some(Saved::All) => ("saved".to_owned(), palette.quiet),
            Some(Saved::Flushing) => ("saving …".to_owned(), palette.text),
            Some(Saved::Failing(why)) => (format!("NOT SAVED: {why}"), palette.accent),
            None if self.only_to_look.is_some() => ("only to look at".to_owned(), palette.accent),
            None => ("closed".to_owned(), palette.quiet),
        };
        let saved = text(saved.0).size(theme::BODY).color(saved.1);
        if let Some(note) = &self.note {
            let field = text_input("A note on the chosen mark; Enter keeps it", note)
                .id(NOTE)
                .size(theme::BODY)
                .padding([4, 8])
                .style(theme::input(palette))
                .on_input(Message::NoteTyped)
                .on_submit(Message::NoteDone);
            return row![field, saved].spacing(12).align_y(Alignment::Center).into();
        }
        let (words, ink) = match &self.said {
            Said::Done(words) => (words, palette.text),
            Said::Refused(words) => (words, palette.accent),
        };
        let notice = self.autosave.as_ref().and_then(crate::workbench::autosave::Autosave::notice);
        let trouble = self.troubles.first().filter(|_| self.picture.is_some()).cloned();
        let trouble = notice.or(trouble).unwrap_or_default();
        let proof = self.proof.as_ref().map_or_else(String::new, super::proof::Proof::words);
        row![
            text(words).size(theme::BODY).color(ink).width(Length::Fill),
            // As high as a line, higher where the words need it: a reason is never cut.
            space().height(24),
            text(proof).size(theme::BODY).color(palette.quiet),
            text(trouble).size(theme::BODY).color(palette.accent),
            text(if self.is_behind() { "a newer revision: Shift+F2" } else { "" })
                .size(theme::BODY)
                .color(palette.quiet),
            text("F1 keys").size(theme::BODY).color(palette.quiet),
            saved,
        ]
        .spacing(16)
        .align_y(Alignment::Center)
        .into()
    }
}

/// Keys over the screen, in so many columns.
fn legend<'a>(
    words: &'static str,
    all: &[(&'static str, &'static str)],
    columns: usize,
    palette: Palette,
) -> Element<'a, Message> {
    let length = all.len().div_ceil(columns).max(1);
    let mut columns = row![].spacing(32);
    for part in all.chunks(length) {
        let mut lines = column![].spacing(6);
        for (key, does) in part {
            lines = lines.push(
                row![
                    text(*key).size(theme::BODY).font(theme::MONO).color(palette.text).width(144),
                    text(*does).size(theme::BODY).color(palette.quiet),
                ]
                .spacing(8),
            );
        }
        columns = columns.push(lines);
    }
    let words = column![
        text("Keys").size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
        text(words).size(theme::BODY).color(palette.quiet),
        columns,
        text("F1 or Escape closes this.").size(theme::BODY).color(palette.quiet),
    ]
    .spacing(12);
    container(container(words).padding(20).style(theme::card(palette)))
        .center_x(Length::Fill)
        .padding(24)
        .into()
}
