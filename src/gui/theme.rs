//! Colours, type and spacing of the window, for dark and light.
//!
//! One accent, for what runs and what is focused; states take Okabe & Ito's colours (2008) without
//! their orange, in the order of the ethogram. Concern is a word, never a colour alone.

use iced::widget::{button, container, text_input};
use iced::{Background, Border, Color, Font, Theme, color};

/// The bundled sans, regular.
pub const SANS: Font = Font::with_name("Roboto");
/// The bundled sans, medium.
pub const MEDIUM: Font = Font { weight: iced::font::Weight::Medium, ..Font::with_name("Roboto") };
/// The bundled companion of fixed width: digits stand still.
pub const MONO: Font = Font::with_name("DejaVu Sans Mono");

/// Body and quiet text.
pub const BODY: f32 = 14.0;
/// Titles.
pub const TITLE: f32 = 17.0;
/// The clock.
pub const CLOCK: f32 = 20.0;

/// Dark or light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// Light letters on dark.
    #[default]
    Dark,
    /// Dark letters on light.
    Light,
}

/// The colours of a mode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Palette {
    /// Window.
    pub ground: Color,
    /// Cards, rows of the tape.
    pub panel: Color,
    /// Keycaps, inputs.
    pub raised: Color,
    /// Hairlines.
    pub line: Color,
    /// Text.
    pub text: Color,
    /// Labels and units.
    pub quiet: Color,
    /// What runs; the focus.
    pub accent: Color,
}

impl Mode {
    /// Its colours.
    #[must_use]
    pub fn palette(self) -> Palette {
        match self {
            Self::Dark => Palette {
                ground: color!(0x15_17_1B),
                panel: color!(0x1D_20_25),
                raised: color!(0x28_2C_33),
                line: color!(0x36_3B_44),
                text: color!(0xEC_EA_E4),
                quiet: color!(0xA7_AB_B2),
                accent: color!(0xE3_A7_3C),
            },
            Self::Light => Palette {
                ground: color!(0xF5_F3_EE),
                panel: color!(0xFF_FF_FF),
                raised: color!(0xEC_E8_DF),
                line: color!(0xD5_D0_C5),
                text: color!(0x22_25_2A),
                quiet: color!(0x5F_64_6C),
                accent: color!(0x9A_6A_00),
            },
        }
    }

    /// The other one.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Dark => Self::Light,
            Self::Light => Self::Dark,
        }
    }

    /// As iced wants it.
    #[must_use]
    pub fn theme(self) -> Theme {
        let palette = self.palette();
        Theme::custom(
            match self {
                Self::Dark => "Shedlight dark",
                Self::Light => "Shedlight light",
            },
            iced::theme::Palette {
                background: palette.ground,
                text: palette.text,
                primary: palette.accent,
                success: color!(0x00_9E_73),
                warning: palette.accent,
                danger: color!(0xD5_5E_00),
            },
        )
    }
}

/// Okabe & Ito's colours without orange.
const STATES: [Color; 6] = [
    color!(0x56_B4_E9),
    color!(0x00_9E_73),
    color!(0xF0_E4_42),
    color!(0xCC_79_A7),
    color!(0x00_72_B2),
    color!(0xD5_5E_00),
];

/// Colour of the n-th state of an ethogram, and whether it returns for the second time and so
/// bears a pattern.
#[must_use]
pub fn state(place: usize) -> (Color, bool) {
    let colour = STATES.get(place % STATES.len()).copied().unwrap_or(Color::WHITE);
    (colour, place / STATES.len() % 2 == 1)
}

/// Colour of a state in which nothing can be seen: no colour.
pub const UNSEEN: Color = color!(0x8C_91_99);

/// Relative luminance (WCAG 2).
fn luminance(colour: Color) -> f32 {
    let part =
        |value: f32| if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) };
    0.2126 * part(colour.r) + 0.7152 * part(colour.g) + 0.0722 * part(colour.b)
}

/// Contrast of two colours (WCAG 2).
#[must_use]
pub fn contrast(a: Color, b: Color) -> f32 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Black or white, whichever contrasts more.
#[must_use]
pub fn ink_on(colour: Color) -> Color {
    if contrast(colour, Color::BLACK) >= contrast(colour, Color::WHITE) { Color::BLACK } else { Color::WHITE }
}

/// A card.
pub fn card(palette: Palette) -> impl Fn(&Theme) -> container::Style {
    move |_| container::Style {
        background: Some(Background::Color(palette.panel)),
        border: Border { color: palette.line, width: 1.0, radius: 6.0.into() },
        text_color: Some(palette.text),
        ..container::Style::default()
    }
}

/// A strip of the window without a frame.
pub fn plain(colour: Color) -> impl Fn(&Theme) -> container::Style {
    move |_| container::Style { background: Some(Background::Color(colour)), ..container::Style::default() }
}

/// A button; `active` ones are framed in the accent.
pub fn key(palette: Palette, active: bool) -> impl Fn(&Theme, button::Status) -> button::Style {
    move |_, status| {
        let (background, text) = match status {
            button::Status::Disabled => (palette.panel, palette.quiet),
            button::Status::Hovered | button::Status::Pressed => (palette.line, palette.text),
            button::Status::Active => (palette.raised, palette.text),
        };
        button::Style {
            background: Some(Background::Color(background)),
            text_color: text,
            border: Border {
                color: if active { palette.accent } else { palette.line },
                width: if active { 2.0 } else { 1.0 },
                radius: 6.0.into(),
            },
            ..button::Style::default()
        }
    }
}

/// A card that can be chosen; the one that is `here` is framed in the accent.
pub fn choice(palette: Palette, here: bool) -> impl Fn(&Theme, button::Status) -> button::Style {
    move |_, status| {
        let hovered = matches!(status, button::Status::Hovered | button::Status::Pressed);
        button::Style {
            background: Some(Background::Color(if hovered { palette.raised } else { palette.panel })),
            text_color: palette.text,
            border: Border {
                color: if here { palette.accent } else { palette.line },
                width: 1.0,
                radius: 6.0.into(),
            },
            ..button::Style::default()
        }
    }
}

/// A line of a list of actions: no frame, so that many of them stay quiet.
pub fn action(palette: Palette) -> impl Fn(&Theme, button::Status) -> button::Style {
    move |_, status| {
        let hovered = matches!(status, button::Status::Hovered | button::Status::Pressed);
        button::Style {
            background: hovered.then_some(Background::Color(palette.raised)),
            text_color: palette.text,
            border: Border { radius: 6.0.into(), ..Border::default() },
            ..button::Style::default()
        }
    }
}

/// Words over the picture: light on dark in both modes.
#[must_use]
pub fn over_picture(_: &Theme) -> container::Style {
    container::Style {
        background: Some(Background::Color(Color { a: 0.72, ..Color::BLACK })),
        border: Border { radius: 3.0.into(), ..Border::default() },
        text_color: Some(Color::WHITE),
        ..container::Style::default()
    }
}

/// An input.
pub fn input(palette: Palette) -> impl Fn(&Theme, text_input::Status) -> text_input::Style {
    move |_, status| text_input::Style {
        background: Background::Color(palette.raised),
        border: Border {
            color: if matches!(status, text_input::Status::Focused { .. }) {
                palette.accent
            } else {
                palette.line
            },
            width: 1.0,
            radius: 6.0.into(),
        },
        icon: palette.quiet,
        placeholder: palette.quiet,
        value: palette.text,
        selection: palette.accent,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_readable_has_contrast() {
        for mode in [Mode::Dark, Mode::Light] {
            let palette = mode.palette();
            for ground in [palette.ground, palette.panel, palette.raised] {
                for ink in [palette.text, palette.quiet] {
                    assert!(
                        contrast(ink, ground) >= 4.5,
                        "{mode:?}: {ink:?} on {ground:?} {}",
                        contrast(ink, ground)
                    );
                }
            }
            // The accent is a line and a frame: WCAG asks 3:1 of those.
            assert!(contrast(palette.accent, palette.ground) >= 3.0);
        }
        for place in 0..12 {
            let (colour, _) = state(place);
            assert!(contrast(ink_on(colour), colour) >= 4.5, "state {place}");
        }
        assert!(contrast(ink_on(UNSEEN), UNSEEN) >= 4.5);
        assert_ne!(state(0).1, state(6).1, "a colour that returns bears a pattern");
    }
}
