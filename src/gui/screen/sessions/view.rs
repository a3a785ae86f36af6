//! How Sessions looks.

use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length};

use super::{Message, Sessions, state_of};
use crate::gui::theme::{self, Mode, Palette};
use crate::storage::{CodingHead, SessionEntry};

/// Lines of a long list that are drawn.
const DRAWN: usize = 150;

impl Sessions {
    /// The screen.
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let Some(folder) = &self.folder else { return self.empty(palette) };
        let field = |hint: &'static str, value: &str, on: fn(String) -> Message| {
            text_input(hint, value)
                .size(theme::BODY)
                .padding([6, 10])
                .style(theme::input(palette))
                .on_input(on)
        };
        let head = row![
            text(&folder.study.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            text(folder.study.place.as_deref().unwrap_or("")).size(theme::BODY).color(palette.quiet),
            space::horizontal(),
            container(field("Show only …", &self.filter, Message::Filter)).width(232),
        ]
        .spacing(12)
        .align_y(iced::Center);
        let list = self.list(palette);
        let add = button(text("Add the clip").size(theme::BODY))
            .padding([6, 12])
            .style(theme::key(palette, false))
            .on_press(Message::AddClip);
        let path = field(
            "Path of a video file, or of a folder of them: new sessions; or drop files on this window",
            &self.clip_path,
            Message::ClipPath,
        )
        .on_submit(Message::AddClip);
        let said =
            self.said.as_deref().unwrap_or("Up and Down choose, Enter opens your coding or begins one.");
        let said = text(said).size(theme::BODY).color(if self.said.is_some() {
            palette.accent
        } else {
            palette.quiet
        });
        let main =
            column![scrollable(list).height(Length::Fill), row![path, add].spacing(8), said].spacing(8);
        column![head, row![main, self.actions(palette)].spacing(16)].spacing(12).padding(16).into()
    }

    fn list(&self, palette: Palette) -> Element<'_, Message> {
        let mut list = column![].spacing(6);
        // Of a long list what lies around the chosen session is drawn.
        let shown = self.shown();
        let middle = shown.iter().position(|(place, _)| *place == self.chosen).unwrap_or(0);
        let from = middle.saturating_sub(DRAWN / 2).min(shown.len().saturating_sub(DRAWN));
        let hint = |count: usize, which: &str| {
            (count > 0).then(|| {
                text(format!("{count} more {which}; type in Show only to narrow the list"))
                    .size(theme::BODY)
                    .color(palette.quiet)
            })
        };
        list = list.push(hint(from, "above"));
        for (place, entry) in shown.iter().skip(from).take(DRAWN) {
            list = list.push(self.entry(*place, entry, palette));
        }
        list = list.push(hint(shown.len().saturating_sub(from + DRAWN), "below"));
        if shown.is_empty() && !self.listing.sessions.is_empty() {
            list = list.push(
                text("No session has all these words. Look for animals, dates, steps, coders, open, closed, due, not coded, left out.")
                    .size(theme::BODY)
                    .color(palette.quiet),
            );
        }
        if self.listing.sessions.is_empty() {
            list = list.push(
                text("No session yet. Drop a video file on this window, or write its path below: it becomes a session, and you code it.")
                    .size(theme::BODY)
                    .color(palette.quiet),
            );
        }
        for problem in &self.listing.problems {
            list = list.push(text(problem.to_string()).size(theme::BODY).color(palette.accent));
        }
        list.into()
    }

    fn entry<'a>(&'a self, place: usize, entry: &'a SessionEntry, palette: Palette) -> Element<'a, Message> {
        let session = &entry.session;
        let folder = self.folder.as_ref();
        let animal = folder
            .and_then(|folder| folder.study.animal(&session.animal))
            .map_or_else(|| session.animal.to_string(), |animal| animal.name.clone());
        let when = session
            .wall_clock(crate::time::Micros::ZERO)
            .map_or_else(|| "date not known".to_owned(), |time| time.format("%-d %b %Y, %H:%M").to_string());
        let step = session.step.map_or_else(String::new, |step| format!("step {step}"));
        let clips = match session.clips.len() {
            0 => "no clip".to_owned(),
            1 => "1 clip".to_owned(),
            n => format!("{n} clips"),
        };
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let mut codings = row![].spacing(6);
        let is_masked = self.is_masked(entry);
        let (when, step) =
            if is_masked { ("date hidden".to_owned(), "hidden".to_owned()) } else { (when, step) };
        let mine = |head: &CodingHead| head.by.as_str() == self.person.trim();
        for (path, head) in entry.codings.iter().filter(|(_, head)| !is_masked || mine(head)) {
            codings = codings.push(
                button(text(state_of(head)).size(theme::BODY))
                    .padding([4, 10])
                    .style(theme::key(palette, false))
                    .on_press(Message::Open(path.clone())),
            );
        }
        if entry.codings.is_empty() {
            codings = codings.push(quiet("not coded yet".to_owned()));
        }
        if let Some(due) = self.due_words(entry) {
            codings = codings.push(text(due).size(theme::BODY).color(palette.accent));
        }
        let looks: Element<'_, Message> = match self.looks.get(&session.id) {
            Some(looks) => iced::widget::image(looks.clone()).width(64).height(36).into(),
            None => container("").width(64).height(36).style(theme::plain(palette.ground)).into(),
        };
        let mut left = row![
            looks,
            text(animal).size(theme::BODY).font(theme::MEDIUM).color(palette.text).width(120),
            quiet(when).width(170),
            quiet(step).width(60),
            quiet(clips).width(60),
        ]
        .spacing(12)
        .align_y(iced::Center);
        if let Some(left_out) = &session.left_out {
            left = left.push(quiet(format!("left out: {}", left_out.reason)));
        }
        // Many codings stand below each other, never outside.
        let codings =
            container(codings.wrap().vertical_spacing(4).align_x(iced::Right)).align_right(Length::Fill);
        let line = row![left, codings].spacing(12).align_y(iced::Center);
        button(line)
            .width(Length::Fill)
            .padding([4, 12])
            .style(theme::key(palette, place == self.chosen))
            .on_press(Message::Choose(place))
            .into()
    }

    /// No study is open.
    fn empty(&self, palette: Palette) -> Element<'_, Message> {
        let button = |words, main, on| {
            button(text(words).size(theme::BODY))
                .padding([8, 16])
                .style(theme::key(palette, main))
                .on_press(on)
        };
        let words = column![
            text("No study is open").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            text("A study is a folder that holds animals, sessions and codings. Drop a video file on this window to make one around it, or write its path here (Tab) and press Enter; or start with an empty one.")
                .size(theme::BODY)
                .color(palette.quiet),
            text_input("Path of a video file", &self.clip_path)
                .size(theme::BODY)
                .padding([6, 10])
                .style(theme::input(palette))
                .on_input(Message::ClipPath)
                .on_submit(Message::AddClip),
            row![
                button("New study (Enter)", true, Message::NewStudy),
                button("Other studies, and the demo to look around (F9)", false, Message::Settings),
            ]
            .spacing(8),
        ]
        .push(self.said.as_deref().map(|said| text(said).size(theme::BODY).color(palette.accent)))
        .spacing(12)
        .max_width(560);
        container(words).center(Length::Fill).into()
    }
}
