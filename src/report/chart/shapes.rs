//! Rectangles, lines, marks and how text is set: what the canvas is given.

use super::letters::Font;
use super::look::Colour;

/// Size of all labels.
pub(super) const BODY: f64 = 14.0;
/// Size of titles.
pub(super) const TITLE: f64 = 17.0;

/// A rectangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Area {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) width: f64,
    pub(super) height: f64,
}

impl Area {
    pub(super) const fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height }
    }

    /// Around a point.
    pub(super) fn around(x: f64, y: f64, size: f64) -> Self {
        Self::new(x - size / 2.0, y - size / 2.0, size, size)
    }

    pub(super) fn right(&self) -> f64 {
        self.x + self.width
    }

    pub(super) fn bottom(&self) -> f64 {
        self.y + self.height
    }

    pub(super) fn middle(&self) -> f64 {
        self.y + self.height / 2.0
    }

    /// There is something of it to be drawn.
    pub(super) fn is_drawable(&self) -> bool {
        [self.x, self.y, self.width, self.height].iter().all(|value| value.is_finite())
            && self.width > 0.0
            && self.height > 0.0
    }
}

/// How a line is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dash {
    Solid,
    Long,
    Short,
}

/// A line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    pub(super) colour: Colour,
    pub(super) width: f64,
    pub(super) dash: Dash,
}

impl Stroke {
    pub(super) const fn solid(colour: Colour, width: f64) -> Self {
        Self { colour, width, dash: Dash::Solid }
    }

    pub(super) const fn dashed(colour: Colour, width: f64, dash: Dash) -> Self {
        Self { colour, width, dash }
    }
}

/// Which point of a text is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    pub(super) font: Font,
    pub(super) size: f64,
    pub(super) colour: Colour,
    pub(super) anchor: Anchor,
}

impl Style {
    pub(super) const fn label(colour: Colour) -> Self {
        Self { font: Font::Regular, size: BODY, colour, anchor: Anchor::Start }
    }

    pub(super) const fn anchored(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    pub(super) const fn set_in(self, font: Font) -> Self {
        Self { font, ..self }
    }
}

/// A mark that is told by its shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Glyph {
    Ring,
    Disc,
    Diamond,
    /// Points to the right.
    Towards,
    /// Points to the left.
    Away,
    Square,
    Cross,
}
