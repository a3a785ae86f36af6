//! What counts as a behaviour, to be read beside the film.

use iced::widget::{Column, column, text};

use crate::gui::theme::{self, Palette};
use crate::model::{Behaviour, Kind};

/// The name of a behaviour, and what its definition says; lines that say nothing are not there.
#[must_use]
pub fn definition<'a, Message: 'a>(behaviour: &'a Behaviour, palette: Palette) -> Column<'a, Message> {
    let quiet = |words: &'static str| text(words).size(theme::BODY).color(palette.quiet);
    let own = &behaviour.definition;
    let lines = [
        ("Begins", Some(&own.onset)),
        ("Ends", own.offset.as_ref()),
        ("At least", own.minimum.as_ref()),
        ("Not this", own.not_this.as_ref()),
        ("Example", own.example.as_ref()),
        ("Near miss", own.near_miss.as_ref()),
    ];
    let mut all = column![
        text(&behaviour.name).size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
        quiet(if behaviour.kind == Kind::State { "a state: it lasts" } else { "an event: a moment" }),
    ]
    .spacing(6);
    for (head, words) in lines {
        if let Some(words) = words.filter(|words| !words.trim().is_empty()) {
            all =
                all.push(column![quiet(head), text(words).size(theme::BODY).color(palette.text)].spacing(1));
        }
    }
    all
}
