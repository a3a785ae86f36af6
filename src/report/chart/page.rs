//! What every chart has: a title, a caption with its counts, a legend, or a word on what is missing.

use super::Chart;
use super::canvas::Canvas;
use super::letters::Font;
use super::look::{Fill, Look, Pattern, ink_on};
use super::shapes::{Anchor, Area, Dash, Glyph, Stroke, Style, TITLE};
use crate::measures::Record;
use crate::model::Session;
use crate::time::Micros;

/// Around everything.
pub(super) const MARGIN: f64 = 16.0;
/// From one line of text to the next.
pub(super) const LINE: f64 = 20.0;
/// Room below a plot for tick labels and the axis title.
pub(super) const BELOW: f64 = 44.0;

/// A chart with its heading.
pub(super) struct Page {
    pub(super) canvas: Canvas,
    /// Below the heading.
    pub(super) top: f64,
    title: String,
    caption: String,
}

/// What a legend shows beside a name.
#[derive(Debug, Clone, Copy)]
pub(super) enum Sample {
    Fill(Fill),
    Glyph(Glyph),
    Line(Stroke),
    /// A tick that stands.
    Tick,
    /// An outline with nothing in it.
    Hollow,
}

impl Page {
    pub(super) fn new(look: &Look, title: &str, caption: &str) -> Self {
        let mut canvas = Canvas::new(look);
        let room = canvas.width() - 2.0 * MARGIN;
        let heading = Style { font: Font::Medium, size: TITLE, colour: look.text, anchor: Anchor::Start };
        let mut y = MARGIN + 8.0;
        for line in canvas.lines(title, heading, room) {
            let _ = canvas.text_within(MARGIN, y, &line, heading, room);
            y += 24.0;
        }
        let quiet = Style::label(look.quiet);
        for line in canvas.lines(caption, quiet, room) {
            let _ = canvas.text_within(MARGIN, y, &line, quiet, room);
            y += LINE;
        }
        let top = y + 4.0;
        canvas.grow(top);
        Self { canvas, top, title: title.to_owned(), caption: caption.to_owned() }
    }

    /// The chart that has nothing to show: what is missing, and what would help.
    pub(super) fn empty(look: &Look, title: &str, missing: &str) -> Chart {
        let mut page = Self::new(look, title, "");
        let area = Area::new(MARGIN, MARGIN + 32.0, page.canvas.width() - 2.0 * MARGIN, 96.0);
        page.canvas.rect(area, Some(look.raised), None, 6.0);
        let frame = Area::new(area.x + 0.5, area.y + 0.5, area.width - 1.0, area.height - 1.0);
        page.canvas.rect(frame, None, Some(Stroke::dashed(look.quiet, 1.0, Dash::Long)), 6.0);
        let style = Style::label(look.text).anchored(Anchor::Middle);
        let lines = page.canvas.lines(missing, style, area.width - 32.0);
        let first = area.middle() - count(lines.len().saturating_sub(1)) * LINE / 2.0;
        for (i, line) in lines.iter().enumerate() {
            page.canvas.text(area.x + area.width / 2.0, first + count(i) * LINE, line, style);
        }
        page.canvas.grow(area.bottom() + MARGIN);
        missing.clone_into(&mut page.caption);
        page.finish()
    }

    /// A legend from `y` on; the place below it.
    pub(super) fn legend(&mut self, x: f64, y: f64, entries: &[(Sample, String)]) -> f64 {
        let look = self.canvas.look;
        let style = Style::label(look.text);
        let end = self.canvas.width() - MARGIN;
        let (mut at, mut line) = (x, y + LINE / 2.0);
        for (sample, name) in entries {
            let needed = 22.0 + self.canvas.text_width(name, style);
            if at + needed > end && at > x {
                at = x;
                line += LINE + 2.0;
            }
            let swatch = Area::new(at, line - 7.0, 16.0, 14.0);
            match sample {
                Sample::Fill(fill) => self.canvas.bar(swatch, *fill),
                Sample::Glyph(glyph) => self.canvas.glyph(at + 8.0, line, *glyph, 11.0, look.text),
                Sample::Line(stroke) => self.canvas.line((at, line), (at + 16.0, line), *stroke),
                Sample::Tick => {
                    let stroke = Stroke::solid(look.text, 2.0);
                    self.canvas.line((at + 8.0, line - 6.0), (at + 8.0, line + 6.0), stroke);
                }
                Sample::Hollow => {
                    let inside = Area::new(swatch.x + 0.5, swatch.y + 0.5, 15.0, 13.0);
                    self.canvas.rect(inside, None, Some(Stroke::dashed(look.quiet, 1.0, Dash::Short)), 0.0);
                }
            }
            let _ = self.canvas.text_within(at + 22.0, line, name, style, end - at - 22.0);
            at += needed + 18.0;
        }
        let below = line + LINE / 2.0 + 4.0;
        self.canvas.grow(below + MARGIN / 2.0);
        below
    }

    /// The first of some words that fits into a bar, on a plate where a pattern would cross it.
    pub(super) fn label_in(&mut self, area: Area, fill: Fill, words: &[String]) {
        let style = Style::label(ink_on(fill.colour)).anchored(Anchor::Middle);
        let room = area.width - 6.0;
        let fitting = words.iter().find(|text| self.canvas.text_width(text, style) <= room);
        let Some(text) = fitting.filter(|text| !text.is_empty()) else { return };
        let (x, y) = (area.x + area.width / 2.0, area.middle());
        if fill.pattern != Pattern::Plain {
            let width = self.canvas.text_width(text, style) + 4.0;
            self.canvas.rect(Area::new(x - width / 2.0, y - 7.5, width, 15.0), Some(fill.colour), None, 2.0);
        }
        self.canvas.text(x, y, text, style);
    }

    pub(super) fn finish(mut self) -> Chart {
        self.canvas.grow(self.top + MARGIN);
        self.canvas.finish(&self.title, &self.caption)
    }
}

/// A count, for reckoning with places.
#[allow(clippy::cast_precision_loss)] // Far below 2^53.
pub(super) fn count(n: usize) -> f64 {
    n as f64
}

/// One thing or several: `1 session`, `3 sessions`.
pub(super) fn plural(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// Seconds as minutes and seconds, with hours when there are any.
pub(super) fn clock(seconds: f64) -> String {
    let at = Micros::from_seconds(seconds.round()).unwrap_or_default().clock();
    at.split('.').next().unwrap_or_default().to_owned()
}

/// A share in percent.
pub(super) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// The day of a session, or its id where no clock is known.
pub(super) fn day(session: &Session) -> String {
    session
        .wall_clock(Micros::ZERO)
        .map_or_else(|| session.id.to_string(), |time| time.format("%-d %b %Y").to_string())
}

/// The day without its year.
pub(super) fn short_day(session: &Session) -> String {
    session
        .wall_clock(Micros::ZERO)
        .map_or_else(|| session.id.to_string(), |time| time.format("%-d %b").to_string())
}

/// Whose session and when: the start of titles.
pub(super) fn whose(record: &Record<'_>) -> String {
    let animal = record.animal().map_or_else(|| record.session.animal.to_string(), |own| own.name.clone());
    format!("{animal}, {}", day(record.session))
}

/// The animals of some sessions, for a title.
pub(super) fn animals(records: &[Record<'_>]) -> String {
    let mut names: Vec<String> = Vec::new();
    for record in records {
        let name = record.animal().map_or_else(|| record.session.animal.to_string(), |own| own.name.clone());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if names.len() > 3 { format!("{} animals", names.len()) } else { names.join(", ") }
}

/// What was observed and seen, as captions begin.
pub(super) fn effort(record: &Record<'_>) -> String {
    let observed = record.window().length().seconds();
    match record.visible() {
        Ok(visible) => {
            let seen = visible.total().seconds();
            format!("Observed {observed:.0} s, visible {seen:.0} s ({:.1}\u{a0}%)", seen / observed * 100.0)
        }
        Err(why) => format!("Observed {observed:.0} s, visible time not known: {why}"),
    }
}
