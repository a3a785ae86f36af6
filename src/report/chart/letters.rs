//! Text as outlines, from the fonts the window bundles.
//!
//! A viewer that has no fonts, or others, shows the same picture. Pairs are kerned by the font's
//! GPOS table; shaping beyond that (ligatures, right-to-left scripts) is not done: labels are names
//! and numbers. A glyph the sans lacks is taken from its monospaced companion.

use std::fmt::Write as _;

use ttf_parser::gpos::{PairAdjustment, PositioningSubtable};
use ttf_parser::{Face, GlyphId, OutlineBuilder, Tag};

/// Which of the bundled fonts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Font {
    /// The sans.
    Regular,
    /// The sans, stronger.
    Medium,
    /// Its companion of fixed width: digits stand still.
    Mono,
}

/// A font, ready.
struct Loaded {
    face: Face<'static>,
    /// Lookups of its kerning.
    kerning: Vec<u16>,
    per_em: f64,
}

impl Loaded {
    fn try_new(bytes: &'static [u8]) -> Option<Self> {
        let face = Face::parse(bytes, 0).ok()?;
        let mut kerning = Vec::new();
        if let Some(gpos) = face.tables().gpos {
            for feature in gpos.features {
                if feature.tag == Tag::from_bytes(b"kern") {
                    kerning.extend(feature.lookup_indices);
                }
            }
        }
        kerning.sort_unstable();
        kerning.dedup();
        Some(Self { per_em: f64::from(face.units_per_em()), face, kerning })
    }

    /// How much two glyphs move together, in units.
    fn kern(&self, left: GlyphId, right: GlyphId) -> i16 {
        let Some(gpos) = self.face.tables().gpos else { return 0 };
        for lookup in self.kerning.iter().filter_map(|index| gpos.lookups.get(*index)) {
            for subtable in lookup.subtables.into_iter::<PositioningSubtable<'_>>() {
                let PositioningSubtable::Pair(pair) = subtable else { continue };
                let found = match pair {
                    PairAdjustment::Format1 { coverage, sets } => {
                        coverage.get(left).and_then(|index| sets.get(index)?.get(right))
                    }
                    PairAdjustment::Format2 { coverage, classes, matrix } if coverage.contains(left) => {
                        matrix.get((classes.0.get(left), classes.1.get(right)))
                    }
                    PairAdjustment::Format2 { .. } => None,
                };
                if let Some((value, _)) = found {
                    return value.x_advance;
                }
            }
        }
        0
    }
}

/// The bundled fonts.
pub(crate) struct Letters {
    regular: Option<Loaded>,
    medium: Option<Loaded>,
    mono: Option<Loaded>,
}

/// A glyph and where it stands, in ems from the text's start.
struct Placed<'a> {
    font: &'a Loaded,
    glyph: GlyphId,
    x: f64,
}

impl Letters {
    /// Reads the tables' heads; outlines are read when they are needed.
    pub(crate) fn new() -> Self {
        Self {
            regular: Loaded::try_new(include_bytes!("../../gui/fonts/Roboto-Regular.ttf")),
            medium: Loaded::try_new(include_bytes!("../../gui/fonts/Roboto-Medium.ttf")),
            mono: Loaded::try_new(include_bytes!("../../gui/fonts/DejaVuSansMono.ttf")),
        }
    }

    fn of(&self, font: Font) -> Option<&Loaded> {
        match font {
            Font::Regular => self.regular.as_ref(),
            Font::Medium => self.medium.as_ref(),
            Font::Mono => self.mono.as_ref(),
        }
    }

    /// Glyphs of a text, and its width in ems.
    fn placed(&self, text: &str, font: Font) -> (Vec<Placed<'_>>, f64) {
        let mut placed: Vec<Placed<'_>> = Vec::new();
        let mut x = 0.0;
        let (own, other) = (self.of(font), self.mono.as_ref());
        for letter in text.chars() {
            let find = |font: Option<&'_ Loaded>| font.and_then(|font| font.face.glyph_index(letter));
            let (font, glyph) = match (own, find(own), other, find(other)) {
                (Some(font), Some(glyph), _, _) | (_, None, Some(font), Some(glyph)) => (font, glyph),
                // Nobody has it: the font's own box says that something is missing.
                (Some(font), None, _, _) => (font, GlyphId(0)),
                _ => continue,
            };
            if let Some(before) = placed.last().filter(|before| std::ptr::eq(before.font, font)) {
                x += f64::from(font.kern(before.glyph, glyph)) / font.per_em;
            }
            placed.push(Placed { font, glyph, x });
            x += f64::from(font.face.glyph_hor_advance(glyph).unwrap_or(0)) / font.per_em;
        }
        (placed, x)
    }

    /// Width of a text in pixels.
    pub(crate) fn width(&self, text: &str, font: Font, size: f64) -> f64 {
        self.placed(text, font).1 * size
    }

    /// Path data of a text in units of 1/[`UNITS`] em, y upwards, from its start on the base line.
    pub(crate) fn outline(&self, text: &str, font: Font) -> String {
        let mut pen = Pen { data: String::new(), x: 0.0, scale: 1.0, at: (0, 0) };
        for Placed { font, glyph, x } in self.placed(text, font).0 {
            pen.x = x * UNITS;
            pen.scale = UNITS / font.per_em;
            let _ = font.face.outline_glyph(glyph, &mut pen);
        }
        pen.data
    }

    /// Traces a text of `size` pixels that begins at `(x, y)` on its base line, y downwards.
    #[cfg(feature = "media")]
    #[allow(clippy::cast_possible_truncation)] // Places in a picture.
    pub(crate) fn trace(
        &self,
        text: &str,
        font: Font,
        size: f64,
        (x, y): (f64, f64),
        to: &mut dyn OutlineBuilder,
    ) {
        for placed in self.placed(text, font).0 {
            let (x, scale) = ((x + placed.x * size) as f32, (size / placed.font.per_em) as f32);
            let mut onto = Onto { to: &mut *to, x, y: y as f32, scale };
            let _ = placed.font.face.outline_glyph(placed.glyph, &mut onto);
        }
    }
}

/// Hands outlines on, moved and scaled.
#[cfg(feature = "media")]
struct Onto<'a> {
    to: &'a mut dyn OutlineBuilder,
    x: f32,
    y: f32,
    scale: f32,
}

#[cfg(feature = "media")]
impl Onto<'_> {
    fn at(&self, x: f32, y: f32) -> (f32, f32) {
        // A font's y goes up, a picture's down.
        (self.x + x * self.scale, self.y - y * self.scale)
    }
}

#[cfg(feature = "media")]
impl OutlineBuilder for Onto<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.at(x, y);
        self.to.move_to(x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.at(x, y);
        self.to.line_to(x, y);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let ((x1, y1), (x, y)) = (self.at(x1, y1), self.at(x, y));
        self.to.quad_to(x1, y1, x, y);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let ((x1, y1), (x2, y2), (x, y)) = (self.at(x1, y1), self.at(x2, y2), self.at(x, y));
        self.to.curve_to(x1, y1, x2, y2, x, y);
    }

    fn close(&mut self) {
        self.to.close();
    }
}

/// Units in an em of [`Letters::outline`].
pub(crate) const UNITS: f64 = 1000.0;
/// Height of a capital, in ems: to put text in the middle of something.
pub(crate) const CAPITAL: f64 = 0.711;

/// Writes an outline as relative, whole-numbered path commands.
struct Pen {
    data: String,
    x: f64,
    scale: f64,
    /// Where the last command ended.
    at: (i64, i64),
}

impl Pen {
    #[allow(clippy::cast_possible_truncation)] // Units of a glyph are small.
    fn place(&self, x: f32, y: f32) -> (i64, i64) {
        let x = (f64::from(x) * self.scale + self.x).round();
        let y = (f64::from(y) * self.scale).round();
        (x as i64, y as i64)
    }

    fn write(&mut self, command: char, points: &[(i64, i64)]) {
        self.data.push(command);
        for (i, point) in points.iter().enumerate() {
            let (dx, dy) = (point.0 - self.at.0, point.1 - self.at.1);
            // A minus parts numbers as well as a space does. Writing into a String can't fail.
            let gap = if i > 0 && dx >= 0 { " " } else { "" };
            let _ = write!(self.data, "{gap}{dx}");
            let gap = if dy >= 0 { " " } else { "" };
            let _ = write!(self.data, "{gap}{dy}");
        }
        if let Some(last) = points.last() {
            self.at = *last;
        }
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        let to = self.place(x, y);
        // Absolute: after a closed contour the pen stands at its start, not where `at` says.
        self.at = (0, 0);
        self.write('M', &[to]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let to = self.place(x, y);
        self.write('l', &[to]);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let points = [self.place(x1, y1), self.place(x, y)];
        self.write('q', &points);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let points = [self.place(x1, y1), self.place(x2, y2), self.place(x, y)];
        self.write('c', &points);
    }

    fn close(&mut self) {
        self.data.push('z');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fonts_are_there_and_pairs_are_kerned() {
        let letters = Letters::new();
        for font in [Font::Regular, Font::Medium, Font::Mono] {
            assert!(letters.of(font).is_some(), "{font:?}");
        }
        let apart = letters.width("A", Font::Regular, 100.0) + letters.width("V", Font::Regular, 100.0);
        assert!(letters.width("AV", Font::Regular, 100.0) < apart - 1.0, "A and V move together");
        let digits: Vec<f64> =
            "0123456789".chars().map(|d| letters.width(&d.to_string(), Font::Regular, 14.0)).collect();
        assert!(digits.iter().all(|width| (width - digits[0]).abs() < 1e-9), "digits stand still");
    }

    #[test]
    fn every_sign_the_charts_use_has_a_glyph() {
        let letters = Letters::new();
        let (placed, _) = letters.placed("≥≤<>=—–−×·…%/()[]°→±½✎", Font::Regular);
        assert!(placed.iter().all(|own| own.glyph != GlyphId(0)));
    }
}
