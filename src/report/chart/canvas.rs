//! Where charts are drawn: plain SVG without ids, so that several charts can stand in one document,
//! patterns as lines cut to their area, text as outlines. Numbers are written with two decimals;
//! what is no finite number is not drawn.

use std::fmt::Write as _;

use super::hatching;
use super::letters::{CAPITAL, Letters, UNITS};
use super::look::{Colour, Fill, Look, Pattern, ink_on};
use super::shapes::{Anchor, Area, Dash, Glyph, Stroke, Style};
use super::{Chart, Hit};
use crate::model::SessionId;
use crate::time::Micros;

/// No hit is narrower or lower: a mark of a pixel can be pointed at.
const EASY: f64 = 9.0;

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
        let (data, width) = hatching::of(area, pattern);
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
                &[(x + r * 0.8, y - r * 0.9), (x - r * 0.8, y), (x + r * 0.8, y + r * 0.9)],
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

/// A number with two decimals and no more than it needs.
pub(super) fn number(value: f64) -> String {
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
