//! Colours, patterns and widths of charts: for a dark window, a light one, and print in grey.

use crate::model::{Behaviour, Ethogram, Role};

/// A colour: red, green, blue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour(pub u8, pub u8, pub u8);

/// What lies over a colour, so that it can be told without seeing colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pattern {
    /// Nothing.
    #[default]
    Plain,
    /// Dots.
    Dots,
    /// Lines that lie.
    Rows,
    /// Lines that stand.
    Columns,
    /// Lines that lie and stand.
    Grid,
    /// Diagonals one way: watch.
    Hatch,
    /// Crossed diagonals: stop.
    Cross,
    /// Broad diagonals: unsure.
    Broad,
}

/// How an area is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fill {
    /// Its colour.
    pub colour: Colour,
    /// What lies over it.
    pub pattern: Pattern,
}

/// How states are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum States {
    /// By colours; the seventh bears a pattern.
    Colours,
    /// By greys, each with its pattern.
    Greys,
}

/// Everything that is not the data: the tokens of the window, and how wide a chart is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// What the chart lies on.
    pub panel: Colour,
    /// Tracks of rows, and what is empty.
    pub raised: Colour,
    /// Hairlines.
    pub line: Colour,
    /// Text and marks.
    pub text: Colour,
    /// Labels and units.
    pub quiet: Colour,
    /// Around bars.
    pub outline: Colour,
    /// How states are told apart.
    pub states: States,
    /// Width of a chart in pixels; its height follows from what it holds.
    pub width: u32,
}

/// Width of a chart where nothing else is asked for.
pub const WIDTH: u32 = 960;
/// Below this charts are not drawn narrower: their labels need the room.
pub const NARROWEST: u32 = 640;

/// Okabe & Ito's colours (2008) without orange, as in the window.
const COLOURS: [Colour; 6] = [
    Colour(0x56, 0xB4, 0xE9),
    Colour(0x00, 0x9E, 0x73),
    Colour(0xF0, 0xE4, 0x42),
    Colour(0xCC, 0x79, 0xA7),
    Colour(0x00, 0x72, 0xB2),
    Colour(0xD5, 0x5E, 0x00),
];
/// Greys in an order in which neighbours differ.
const GREYS: [(Colour, Pattern); 7] = [
    (Colour(0xE4, 0xE4, 0xE4), Pattern::Plain),
    (Colour(0x8C, 0x8C, 0x8C), Pattern::Plain),
    (Colour(0xFF, 0xFF, 0xFF), Pattern::Dots),
    (Colour(0x55, 0x55, 0x55), Pattern::Plain),
    (Colour(0xFF, 0xFF, 0xFF), Pattern::Rows),
    (Colour(0xBE, 0xBE, 0xBE), Pattern::Columns),
    (Colour(0xFF, 0xFF, 0xFF), Pattern::Grid),
];
/// A state in which nothing can be seen: no colour.
const UNSEEN: Colour = Colour(0x8C, 0x91, 0x99);

impl Look {
    /// Light letters on dark.
    #[must_use]
    pub const fn dark() -> Self {
        Self {
            panel: Colour(0x1D, 0x20, 0x25),
            raised: Colour(0x28, 0x2C, 0x33),
            line: Colour(0x36, 0x3B, 0x44),
            text: Colour(0xEC, 0xEA, 0xE4),
            quiet: Colour(0xA7, 0xAB, 0xB2),
            outline: Colour(0x15, 0x17, 0x1B),
            states: States::Colours,
            width: WIDTH,
        }
    }

    /// Dark letters on light.
    #[must_use]
    pub const fn light() -> Self {
        Self {
            panel: Colour(0xFF, 0xFF, 0xFF),
            raised: Colour(0xEC, 0xE8, 0xDF),
            line: Colour(0xD5, 0xD0, 0xC5),
            text: Colour(0x22, 0x25, 0x2A),
            quiet: Colour(0x5F, 0x64, 0x6C),
            outline: Colour(0x5F, 0x64, 0x6C),
            states: States::Colours,
            width: WIDTH,
        }
    }

    /// For paper without colour.
    #[must_use]
    pub const fn print() -> Self {
        Self {
            panel: Colour(0xFF, 0xFF, 0xFF),
            raised: Colour(0xF2, 0xF2, 0xF2),
            line: Colour(0xC8, 0xC8, 0xC8),
            text: Colour(0x10, 0x10, 0x10),
            quiet: Colour(0x4A, 0x4A, 0x4A),
            outline: Colour(0x10, 0x10, 0x10),
            states: States::Greys,
            width: WIDTH,
        }
    }

    /// The same, drawn so wide; never narrower than [`NARROWEST`].
    #[must_use]
    pub const fn with_width(self, width: u32) -> Self {
        Self { width: if width < NARROWEST { NARROWEST } else { width }, ..self }
    }

    /// Fill of the n-th state of its set.
    #[must_use]
    pub fn state(&self, place: usize) -> Fill {
        match self.states {
            States::Colours => {
                let colour = COLOURS.get(place % COLOURS.len()).copied().unwrap_or(self.text);
                let pattern = match place / COLOURS.len() % 3 {
                    0 => Pattern::Plain,
                    1 => Pattern::Dots,
                    _ => Pattern::Rows,
                };
                Fill { colour, pattern }
            }
            States::Greys => {
                let (colour, pattern) =
                    GREYS.get(place % GREYS.len()).copied().unwrap_or((self.raised, Pattern::Plain));
                Fill { colour, pattern }
            }
        }
    }

    /// Fill of what can't be seen.
    #[must_use]
    pub fn unseen(&self) -> Fill {
        match self.states {
            States::Colours => Fill { colour: UNSEEN, pattern: Pattern::Plain },
            States::Greys => Fill { colour: self.raised, pattern: Pattern::Broad },
        }
    }

    /// Fill of a behaviour, by its place among those of its kind and set, as in the window.
    #[must_use]
    pub fn of(&self, ethogram: &Ethogram, behaviour: &Behaviour) -> Fill {
        if behaviour.has_role(Role::Excluded) {
            return self.unseen();
        }
        let place = ethogram
            .behaviours
            .iter()
            .filter(|other| other.kind == behaviour.kind && other.set == behaviour.set)
            .position(|other| other.id == behaviour.id);
        self.state(place.unwrap_or(0))
    }
}

/// Black or white, whichever contrasts more.
#[must_use]
pub fn ink_on(colour: Colour) -> Colour {
    let (black, white) = (Colour(0, 0, 0), Colour(255, 255, 255));
    if contrast(colour, black) >= contrast(colour, white) { black } else { white }
}

/// Contrast of two colours (WCAG 2).
#[must_use]
pub fn contrast(a: Colour, b: Colour) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Relative luminance (WCAG 2).
fn luminance(colour: Colour) -> f64 {
    let part = |value: u8| {
        let value = f64::from(value) / 255.0;
        if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(colour.0) + 0.7152 * part(colour.1) + 0.0722 * part(colour.2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_contrast_with_what_they_lie_on() {
        for look in [Look::dark(), Look::light(), Look::print()] {
            for ground in [look.panel, look.raised] {
                assert!(contrast(look.text, ground) >= 4.5);
                assert!(contrast(look.quiet, ground) >= 4.5);
            }
            for place in 0..14 {
                let colour = look.state(place).colour;
                assert!(contrast(ink_on(colour), colour) >= 4.5, "{place}");
            }
        }
    }

    #[test]
    fn in_grey_no_two_of_seven_states_are_alike() {
        let look = Look::print();
        let fills: Vec<Fill> = (0..7).map(|place| look.state(place)).collect();
        for (i, fill) in fills.iter().enumerate() {
            assert!(fills.iter().skip(i + 1).all(|other| other != fill));
        }
    }
}
