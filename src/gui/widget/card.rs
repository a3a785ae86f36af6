//! Presentation cards: cue time, latencies as they come in, outcome.

use iced::widget::{column, container, row, text};
use iced::{Element, Length};

use crate::gui::theme::{self, Palette};

/// What a card shows; texts are made when the record changes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Presentation {
    /// From 1.
    pub number: u32,
    /// Cue time as people read it.
    pub cue: String,
    /// Name and value of each latency; "—" with the reason where there is none.
    pub latencies: Vec<(&'static str, String)>,
    /// How it ended.
    pub outcome: String,
    /// It still runs.
    pub running: bool,
}

/// A card.
#[must_use]
pub fn card<Message: 'static>(of: &Presentation, palette: Palette) -> Element<'_, Message> {
    let head = row![
        text(format!("{}", of.number)).size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
        text(&of.cue).size(theme::BODY).font(theme::MONO).color(palette.quiet),
        iced::widget::space::horizontal(),
        text(&of.outcome).size(theme::BODY).color(if of.running { palette.accent } else { palette.text }),
    ]
    .spacing(8)
    .align_y(iced::Alignment::Center);
    let mut times = row![].spacing(12);
    for (name, value) in &of.latencies {
        times = times.push(column![
            text(*name).size(12).color(palette.quiet),
            text(value).size(theme::BODY).font(theme::MONO).color(palette.text),
        ]);
    }
    container(column![head, times].spacing(4))
        .padding(8)
        .width(Length::Fill)
        .style(theme::card(palette))
        .into()
}
