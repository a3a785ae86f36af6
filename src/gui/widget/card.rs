//! Presentation cards: cue time, latencies as they come in, outcome, what the animal did.

use iced::widget::{button, column, container, row, space, text};
use iced::{Color, Element, Length};

use crate::gui::theme::{self, Palette};
use crate::time::{Micros, Span};

/// A stretch of the strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its length.
    pub length: Micros,
    /// Its colour; none: nothing is coded.
    pub colour: Option<Color>,
}

/// What a card shows; texts are made when the record changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Presentation {
    /// From 1.
    pub number: u32,
    /// From cue to end.
    pub span: Span,
    /// Cue time as people read it.
    pub cue: String,
    /// Name and value of each latency; "—" with the reason where there is none.
    pub latencies: Vec<(&'static str, String)>,
    /// How it ended.
    pub outcome: String,
    /// It still runs.
    pub running: bool,
    /// What the animal did from cue to end.
    pub strip: Vec<Stretch>,
    /// How long the strip would be at most.
    pub longest: Micros,
}

/// A card; `here`: the reading line lies in it.
pub fn card<'a, Message: Clone + 'a>(
    of: &'a Presentation,
    here: bool,
    palette: Palette,
    on_press: Message,
) -> Element<'a, Message> {
    let head = row![
        text(format!("{}", of.number)).size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
        text(&of.cue).size(theme::BODY).font(theme::MONO).color(palette.quiet),
        space::horizontal(),
        text(&of.outcome).size(theme::BODY).color(if of.running { palette.accent } else { palette.text }),
    ]
    .spacing(8)
    .align_y(iced::Alignment::Center);
    let mut times = row![].spacing(8);
    for (name, value) in &of.latencies {
        times = times.push(
            column![
                text(*name).size(theme::BODY).color(palette.quiet),
                text(value).size(theme::BODY).font(theme::MONO).color(palette.text),
            ]
            .width(Length::FillPortion(1)),
        );
    }
    button(column![head, times, strip(of, palette)].spacing(4))
        .padding(8)
        .width(Length::Fill)
        .style(theme::choice(palette, here || of.running))
        .on_press(on_press)
        .into()
}

/// Stretches as wide as they are long.
fn strip<'a, Message: 'a>(of: &Presentation, palette: Palette) -> Element<'a, Message> {
    let share = |length: Micros| -> u16 {
        let parts = length.0.saturating_mul(1000) / of.longest.0.max(1);
        u16::try_from(parts.clamp(1, 1000)).unwrap_or(1)
    };
    let mut stretches = row![].spacing(1).height(8);
    let mut left = of.longest;
    for stretch in &of.strip {
        left = left - stretch.length;
        let ink = stretch.colour.unwrap_or(palette.line);
        stretches = stretches.push(
            container(space())
                .width(Length::FillPortion(share(stretch.length)))
                .height(8)
                .style(theme::plain(ink)),
        );
    }
    if left > Micros::ZERO {
        stretches = stretches.push(space().width(Length::FillPortion(share(left))));
    }
    stretches.into()
}
