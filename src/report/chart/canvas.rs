//! Where charts are drawn: plain SVG without ids, so that several charts can stand in one document,
//! patterns as lines cut to their area, text as outlines. Numbers are written with two decimals;
//! what is no finite number is not drawn.

use std::fmt::Write as _;

use super::letters::{CAPITAL, Font, Letters, UNITS};
use super::look::{Colour, Fill, Look, Pattern, ink_on};
use super::{Chart, Hit};
use crate::model::SessionId;
use crate::time::Micros;

/// Size of all labels.
pub(super) const BODY: f64 = 14.0;
/// Size of titles.
pub(super) const TITLE: f64 = 17.0;
/// No hit is narrower or lower: a mark of a pixel can be pointed at.
const EASY: f64 = 9.0;

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

    fn is_drawable(&self) -> bool {
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

/// A chart that is being drawn.
pub(super) struct Canvas {
    pub(super) look: Look,
    pub(super) letters: Letters,
    body: String,
    hits: Vec<Hit>,
    height: f64,
}

impl Canvas {
    pub(super) fn new(look: &Look) -> Self {
        Self { look: *look, letters: Letters::new(), body: String::new(), hits: Vec::new(), height: 0.0 }
    }

    pub(super) fn width(&self) -> f64 {
        f64::from(self.look.width)
    }

    /// Makes room down to `y`.
    pub(super) fn grow(&mut self, y: f64) {
        self.height = self.height.max(y);
    }

    pub(super) fn text_width(&self, text: &str, style: Style) -> f64 {
        self.letters.width(text, style.font, style.size)
    }

    /// A text by the middle of its capitals.
    pub(super) fn text(&mut self, x: f64, y: f64, text: &str, style: Style) {
        self.set(x, y, text, style, false);
    }

    /// A text that reads upwards.
    pub(super) fn turned(&mut self, x: f64, y: f64, text: &str, style: Style) {
        self.set(x, y, text, style, true);
    }

    fn set(&mut self, x: f64, y: f64, text: &str, style: Style, turned: bool) {
        if text.trim().is_empty() || !x.is_finite() || !y.is_finite() {
            return;
        }
        let shift = match style.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => -self.text_width(text, style) / 2.0,
            Anchor::End => -self.text_width(text, style),
        };
        let scale = style.size / UNITS;
        let drop = CAPITAL * style.size / 2.0;
        let data = self.letters.outline(text, style.font);
        let transform = if turned {
            let (x, y) = (number(x + drop), number(y - shift));
            format!("matrix(0 -{scale:.4} -{scale:.4} 0 {x} {y})")
        } else {
            format!("matrix({scale:.4} 0 0 -{scale:.4} {} {})", number(x + shift), number(y + drop))
        };
        self.add(format_args!(
            "<path fill=\"{}\" transform=\"{transform}\" d=\"{data}\"/>",
            hex(style.colour)
        ));
    }

    /// A text cut to a width; whether any of it was drawn.
    pub(super) fn text_within(&mut self, x: f64, y: f64, text: &str, style: Style, width: f64) -> bool {
        let cut = self.cut(text, style, width);
        self.text(x, y, &cut, style);
        !cut.is_empty()
    }

    /// A text with its end cut off so that it fits; empty when hardly anything would be left.
    pub(super) fn cut(&self, text: &str, style: Style, width: f64) -> String {
        if self.text_width(text, style) <= width {
            return text.to_owned();
        }
        let mut letters: Vec<char> = text.chars().collect();
        while letters.len() > 3 {
            let _ = letters.pop();
            let shorter: String =
                letters.iter().collect::<String>().trim_end().chars().chain(['…']).collect();
            if self.text_width(&shorter, style) <= width {
                return shorter;
            }
        }
        String::new()
    }

    /// A text broken into lines of a width.
    pub(super) fn lines(&self, text: &str, style: Style, width: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split(' ') {
            match lines.last_mut() {
                Some(line) if self.text_width(&format!("{line} {word}"), style) <= width => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(word.to_owned()),
            }
        }
        lines
    }

    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        self.path(&[from, to], stroke);
    }

    /// A line through points.
    pub(super) fn path(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        if points.len() < 2 || points.iter().any(|(x, y)| !x.is_finite() || !y.is_finite()) {
            return;
        }
        let data = polyline(points);
        self.stroke(&data, stroke);
    }

    fn stroke(&mut self, data: &str, stroke: Stroke) {
        let dash = match stroke.dash {
            Dash::Solid => "",
            Dash::Long => " stroke-dasharray=\"7 4\"",
            Dash::Short => " stroke-dasharray=\"2 3\"",
        };
        self.add(format_args!(
            "<path fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"{dash} d=\"{data}\"/>",
            hex(stroke.colour),
            number(stroke.width)
        ));
    }

    /// A closed outline.
    pub(super) fn shape(&mut self, points: &[(f64, f64)], fill: Option<Colour>, stroke: Option<Stroke>) {
        if points.len() < 3 || points.iter().any(|(x, y)| !x.is_finite() || !y.is_finite()) {
            return;
        }
        let fill = fill.map_or_else(|| "none".to_owned(), hex);
        let edge = edge(stroke);
        self.add(format_args!("<path fill=\"{fill}\"{edge} d=\"{}z\"/>", polyline(points)));
    }

    /// A rectangle.
    pub(super) fn rect(&mut self, area: Area, fill: Option<Colour>, stroke: Option<Stroke>, radius: f64) {
        if !area.is_drawable() {
            return;
        }
        let fill = fill.map_or_else(|| "none".to_owned(), hex);
        let edge = edge(stroke);
        let round = if radius > 0.0 {
            format!(" rx=\"{}\"", number(radius.min(area.width / 2.0)))
        } else {
            String::new()
        };
        self.add(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"{round} fill=\"{fill}\"{edge}/>",
            number(area.x),
            number(area.y),
            number(area.width),
            number(area.height)
        ));
    }

    /// A filled rectangle with its pattern and a hair around it.
    pub(super) fn bar(&mut self, area: Area, fill: Fill) {
        self.rect(area, Some(fill.colour), None, 0.0);
        self.pattern(area, fill.pattern, ink_on(fill.colour));
        let outline = self.look.outline;
        // Around a bar of a pixel there is no room for a hair.
        if area.width > 2.5 {
            let inside = Area::new(area.x + 0.5, area.y + 0.5, area.width - 1.0, area.height - 1.0);
            self.rect(inside, None, Some(Stroke::solid(outline, 1.0)), 0.0);
        }
    }

    /// A pattern within a rectangle.
    pub(super) fn pattern(&mut self, area: Area, pattern: Pattern, ink: Colour) {
        if !area.is_drawable() {
            return;
        }
        let mut data = String::new();
        let width = match pattern {
            Pattern::Plain => return,
            Pattern::Dots => {
                dots(&mut data, area);
                2.4
            }
            Pattern::Rows => {
                rows(&mut data, area, 5.0);
                1.2
            }
            Pattern::Columns => {
                columns(&mut data, area, 5.0);
                1.2
            }
            Pattern::Grid => {
                rows(&mut data, area, 6.0);
                columns(&mut data, area, 6.0);
                1.0
            }
            Pattern::Hatch => {
                diagonals(&mut data, area, 6.0, 1.0);
                1.4
            }
            Pattern::Cross => {
                diagonals(&mut data, area, 6.0, 1.0);
                diagonals(&mut data, area, 6.0, -1.0);
                1.4
            }
            Pattern::Broad => {
                diagonals(&mut data, area, 10.0, 1.0);
                2.2
            }
        };
        if data.is_empty() {
            return;
        }
        let cap = if pattern == Pattern::Dots { " stroke-linecap=\"round\"" } else { "" };
        self.add(format_args!(
            "<path fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"{cap} d=\"{data}\"/>",
            hex(ink)
        ));
    }

    /// A mark around a point.
    pub(super) fn glyph(&mut self, x: f64, y: f64, glyph: Glyph, size: f64, ink: Colour) {
        let r = size / 2.0;
        let ground = self.look.panel;
        let halo = Some(Stroke::solid(ground, 1.0));
        match glyph {
            Glyph::Ring => self.circle(x, y, r - 0.8, None, Some(Stroke::solid(ink, 1.8))),
            Glyph::Disc => self.circle(x, y, r, Some(ink), halo),
            Glyph::Diamond => {
                self.shape(&[(x, y - r), (x + r, y), (x, y + r), (x - r, y)], Some(ink), halo);
            }
            Glyph::Towards => {
                self.shape(&[(x - r, y - r), (x + r, y), (x - r, y + r)], Some(ink), halo);
            }
            Glyph::Away => self.shape(
                &[(x + r, y - r), (x - r, y), (x + r, y + r)],
                Some(ground),
                Some(Stroke::solid(ink, 1.5)),
            ),
            Glyph::Square => {
                self.rect(Area::around(x, y, size * 0.85), Some(ink), halo, 0.0);
            }
            Glyph::Cross => {
                let stroke = Stroke::solid(ink, 2.0);
                self.line((x - r, y - r), (x + r, y + r), stroke);
                self.line((x - r, y + r), (x + r, y - r), stroke);
            }
        }
    }

    pub(super) fn circle(&mut self, x: f64, y: f64, r: f64, fill: Option<Colour>, stroke: Option<Stroke>) {
        if ![x, y, r].iter().all(|value| value.is_finite()) || r <= 0.0 {
            return;
        }
        let fill = fill.map_or_else(|| "none".to_owned(), hex);
        let edge = edge(stroke);
        self.add(format_args!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\"{edge}/>",
            number(x),
            number(y),
            number(r)
        ));
    }

    /// A place that leads to the film. Small ones are made large enough to be pointed at.
    pub(super) fn hit(&mut self, area: Area, session: &SessionId, at: Micros, words: String) {
        if ![area.x, area.y, area.width, area.height].iter().all(|value| value.is_finite()) {
            return;
        }
        let (width, height) = (area.width.max(EASY), area.height.max(EASY));
        let (x, y) = (area.x + (area.width - width) / 2.0, area.y + (area.height - height) / 2.0);
        self.hits.push(Hit { x, y, width, height, session: session.clone(), at, words });
    }

    fn add(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing into a String can't fail.
        let _ = self.body.write_fmt(element);
        self.body.push('\n');
    }

    /// The chart, with words for those who can't see it.
    pub(super) fn finish(mut self, title: &str, caption: &str) -> Chart {
        let width = self.look.width;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A height in pixels.
        let height = self.height.ceil().max(1.0) as u32;
        let (right, bottom) = (f64::from(width), f64::from(height));
        for hit in &mut self.hits {
            let (x, y) = (hit.x.clamp(0.0, right - 1.0), hit.y.clamp(0.0, bottom - 1.0));
            hit.width = (hit.x + hit.width).clamp(x + 1.0, right) - x;
            hit.height = (hit.y + hit.height).clamp(y + 1.0, bottom) - y;
            (hit.x, hit.y) = (x, y);
        }
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {width} {height}\">\n<title>{}</title>\n<desc>{}</desc>\n\
             <rect width=\"{width}\" height=\"{height}\" fill=\"{}\"/>\n{}</svg>\n",
            escaped(title),
            escaped(caption),
            hex(self.look.panel),
            self.body
        );
        Chart { svg, width, height, hits: self.hits }
    }
}

fn edge(stroke: Option<Stroke>) -> String {
    stroke.map_or_else(String::new, |stroke| {
        let dash = match stroke.dash {
            Dash::Solid => "",
            Dash::Long => " stroke-dasharray=\"7 4\"",
            Dash::Short => " stroke-dasharray=\"2 3\"",
        };
        format!(" stroke=\"{}\" stroke-width=\"{}\"{dash}", hex(stroke.colour), number(stroke.width))
    })
}

fn polyline(points: &[(f64, f64)]) -> String {
    let mut data = String::new();
    for (i, (x, y)) in points.iter().enumerate() {
        let command = if i == 0 { 'M' } else { 'L' };
        let _ = write!(data, "{command}{} {}", number(*x), number(*y));
    }
    data
}

fn segment(data: &mut String, from: (f64, f64), to: (f64, f64)) {
    let _ = write!(data, "M{} {}L{} {}", number(from.0), number(from.1), number(to.0), number(to.1));
}

/// Multiples of `step` within a stretch: patterns of neighbours continue each other.
fn multiples(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let mut next = (from / step).ceil() * step;
    std::iter::from_fn(move || {
        let own = next;
        next += step;
        (own < to).then_some(own)
    })
}

fn rows(data: &mut String, area: Area, step: f64) {
    for y in multiples(area.y + 1.0, area.bottom() - 0.5, step) {
        segment(data, (area.x, y), (area.right(), y));
    }
}

fn columns(data: &mut String, area: Area, step: f64) {
    for x in multiples(area.x + 1.0, area.right() - 0.5, step) {
        segment(data, (x, area.y), (x, area.bottom()));
    }
}

fn dots(data: &mut String, area: Area) {
    for (row, y) in multiples(area.y + 1.5, area.bottom() - 1.0, 4.0).enumerate() {
        let shift = if row % 2 == 0 { 0.0 } else { 3.0 };
        for x in multiples(area.x + 1.5 - shift, area.right() - 1.0 - shift, 6.0) {
            segment(data, (x + shift, y), (x + shift + 0.01, y));
        }
    }
}

/// Lines x ∓ y = c, cut to the area.
fn diagonals(data: &mut String, area: Area, step: f64, way: f64) {
    let (top, bottom) = (area.y, area.bottom());
    if way > 0.0 {
        for c in multiples(area.x + top, area.right() + bottom, step) {
            let (from, to) = (area.x.max(c - bottom), area.right().min(c - top));
            if to > from {
                segment(data, (from, c - from), (to, c - to));
            }
        }
    } else {
        for c in multiples(area.x - bottom, area.right() - top, step) {
            let (from, to) = (area.x.max(c + top), area.right().min(c + bottom));
            if to > from {
                segment(data, (from, from - c), (to, to - c));
            }
        }
    }
}

/// A number with two decimals and no more than it needs.
fn number(value: f64) -> String {
    let mut text = format!("{value:.2}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".to_owned() } else { text }
}

fn hex(colour: Colour) -> String {
    format!("#{:02x}{:02x}{:02x}", colour.0, colour.1, colour.2)
}

/// Text as XML holds it; control characters it can't hold are left out.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            letter if letter.is_control() && letter != '\n' => {}
            '\u{FFFE}' | '\u{FFFF}' => {}
            letter => safe.push(letter),
        }
    }
    safe
}
