//! The keyboard, drawn as the keys lie on it: each cap bears its behaviour.

use iced::widget::{button, column, container, row, space, text, tooltip};
use iced::{Alignment, Element, Length};

use crate::gui::theme::{self, Palette};

/// Rows of keys as they lie on most keyboards; other layouts put other letters here.
pub const LAYOUT: [&str; 4] = ["1234567890", "qwertyuiop", "asdfghjkl", "zxcvbnm"];

/// The key at the same distance from the other end of its row.
#[must_use]
pub fn mirrored(key: char) -> char {
    let own = key.to_ascii_lowercase();
    LAYOUT
        .iter()
        .find_map(|line| line.chars().rev().nth(line.chars().position(|other| other == own)?))
        .unwrap_or(key)
}

/// What a cap bears.
#[derive(Debug, Clone, PartialEq)]
pub struct Cap {
    /// Its letter or digit.
    pub key: char,
    /// The ethogram's key it stands for: another one where the keys lie mirrored.
    pub codes: char,
    /// The behaviour's name; none: no behaviour has the key.
    pub name: Option<String>,
    /// Its definition.
    pub definition: String,
    /// What the handler should do about it; empty: nothing.
    pub concern: &'static str,
    /// Colour of a state.
    pub colour: Option<iced::Color>,
    /// It belongs to the running pass.
    pub live: bool,
    /// The state holds at the reading line.
    pub holds: bool,
    /// The state is being recorded.
    pub recording: bool,
}

/// How much room the drawn keys take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fold {
    /// Caps as high as they are on a desk, with their names on two lines.
    Whole,
    /// A line each; rows in which no key codes now are left out.
    Low,
    /// None is drawn.
    Away,
}

/// Whether a row is drawn.
fn is_drawn(line: &[Cap], fold: Fold) -> bool {
    fold == Fold::Whole || line.iter().any(|cap| cap.live && cap.name.is_some())
}

/// Height of the keyboard in pixels.
#[must_use]
pub fn height(caps: &[Vec<Cap>], fold: Fold) -> f32 {
    let rows = caps.iter().filter(|line| is_drawn(line, fold)).count();
    #[allow(clippy::cast_precision_loss)] // Four rows.
    let rows = rows as f32;
    match fold {
        Fold::Whole => rows * 54.0,
        Fold::Low => rows * 30.0,
        Fold::Away => 0.0,
    }
}

/// The keyboard.
pub fn keyboard<'a, Message: Clone + 'a>(
    caps: &'a [Vec<Cap>],
    fold: Fold,
    palette: Palette,
    on_press: impl Fn(char) -> Message + 'a,
) -> Element<'a, Message> {
    let mut rows = column![].spacing(4);
    for (number, line) in caps.iter().enumerate().filter(|(_, line)| is_drawn(line, fold)) {
        #[allow(clippy::cast_precision_loss)] // Four rows.
        let indent = number as f32 * 14.0;
        let mut keys = row![].spacing(4).padding(iced::Padding { left: indent, ..iced::Padding::ZERO });
        for cap in line {
            keys = keys.push(draw(cap, fold, palette, &on_press));
        }
        rows = rows.push(keys);
    }
    rows.into()
}

fn draw<'a, Message: Clone + 'a>(
    cap: &'a Cap,
    fold: Fold,
    palette: Palette,
    on_press: &(impl Fn(char) -> Message + 'a),
) -> Element<'a, Message> {
    let dim = !cap.live || cap.name.is_none();
    let ink = if dim { palette.quiet } else { palette.text };
    let letter = text(cap.key.to_ascii_uppercase()).size(theme::BODY).font(theme::MONO).color(palette.quiet);
    let concern =
        text(cap.concern).size(if fold == Fold::Low { 11.0 } else { theme::BODY }).color(palette.quiet);
    let dot = text(if cap.recording { "●" } else { "" }).size(10).font(theme::MONO).color(palette.accent);
    let stripe = container("").width(Length::Fill).height(2).style(theme::plain(match cap.colour {
        Some(colour) if !dim => colour,
        _ => palette.line,
    }));
    let face = if fold == Fold::Low {
        let name = text(cap.name.as_deref().unwrap_or("")).size(theme::BODY).color(ink);
        // A name is cut at the edge of its cap: the letter before it is what a coder looks for.
        let name = name.wrapping(text::Wrapping::None).line_height(1.0);
        let name = container(name).width(Length::Fill).clip(true);
        let line = row![letter.line_height(1.0), name, concern.line_height(1.0), dot].spacing(3);
        column![container(line.align_y(Alignment::Center)).height(20), stripe]
    } else {
        let name: String = cap.name.as_deref().unwrap_or("").chars().take(26).collect();
        column![
            row![letter.line_height(1.0), space::horizontal(), concern.line_height(1.0), dot]
                .spacing(4)
                .align_y(Alignment::Center),
            container(text(name).size(theme::BODY).color(ink).line_height(1.05)).height(30).clip(true),
            stripe
        ]
    };
    // On one line names need the room that keys without a behaviour leave.
    let width = if fold == Fold::Low && cap.name.is_none() { 1 } else { 3 };
    let key = button(face)
        .width(Length::FillPortion(width))
        .height(if fold == Fold::Low { 26 } else { 50 })
        .padding([2, 4])
        .style(theme::key(palette, cap.holds))
        .on_press_maybe((!dim).then(|| on_press(cap.key)));
    if cap.definition.is_empty() {
        return key.into();
    }
    let title = cap.name.as_deref().unwrap_or("");
    let words = column![
        text(title).size(theme::BODY).font(theme::MEDIUM).color(palette.text),
        text(&cap.definition).size(theme::BODY).color(palette.text),
    ]
    .spacing(4);
    let words = container(words).padding(8).max_width(360).style(theme::card(palette));
    tooltip(key, words, tooltip::Position::Top).gap(4).into()
}
#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mirrored_keys_change_places_within_their_row_and_back() {
        assert_eq!((mirrored('q'), mirrored('1'), mirrored('A'), mirrored('v')), ('p', '0', 'l', 'v'));
        for key in LAYOUT.iter().flat_map(|line| line.chars()) {
            assert_eq!(mirrored(mirrored(key)), key);
        }
        assert_eq!(mirrored('/'), '/');
    }
}
