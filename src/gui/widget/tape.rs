//! The tape: the film runs under a reading line fixed in the middle, so that the eye never hunts
//! for the present.
//!
//! Rows are prepared when the record changes; drawing touches only what is in view.

use iced::widget::canvas::{self, Canvas, Event, Frame, Geometry, Path, Stroke, Text};
use iced::{Color, Element, Length, Pixels, Point, Rectangle, Renderer, Size, Theme, alignment, mouse};

use super::wave::{self, Wave};
use crate::gui::theme::{self, Palette};
use crate::model::MarkId;
use crate::model::samples::Sample;
use crate::time::{Micros, Span};
use crate::workbench::coder::Edge;
use crate::workbench::sampling::State;

/// Height of a row; many rows are lower, so that the picture keeps its room.
const fn row_height(rows: usize) -> f32 {
    if rows > 5 { 18.0 } else { 25.0 }
}
/// Height of the ruler.
const RULER: f32 = 20.0;
/// Width of the row names.
const NAMES: f32 = 112.0;

/// How much time is in view, in seconds: from 2 s to the whole session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zoom(f64);

impl Default for Zoom {
    fn default() -> Self {
        Self(30.0)
    }
}

impl Zoom {
    /// Closer (below 1) or farther (above), within bounds.
    #[must_use]
    pub fn by(self, factor: f64, session_s: f64) -> Self {
        Self((self.0 * factor).clamp(2.0, session_s.max(2.0) * 2.0))
    }

    /// Seconds in view.
    #[must_use]
    pub const fn seconds(self) -> f64 {
        self.0
    }
}

/// One bar, or one event.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::struct_excessive_bools)] // Four independent ways in which it is drawn.
pub struct Bar {
    /// Its mark.
    pub mark: MarkId,
    /// Its time; of an event its moment twice.
    pub span: Span,
    /// It has not ended: no right edge.
    pub open: bool,
    /// It is a moment.
    pub event: bool,
    /// Its name.
    pub name: String,
    /// Its colour.
    pub colour: Color,
    /// Its colour is used twice: it bears a pattern.
    pub pattern: bool,
    /// The coder was not sure: hatched.
    pub unsure: bool,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// In order of time; those of a set do not overlap.
    pub bars: Vec<Bar>,
}

/// What the tape shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Content {
    /// From top to bottom.
    pub rows: Vec<Row>,
    /// Time without film.
    pub gaps: Vec<Span>,
    /// First picture to the end of the last.
    pub extent: Option<Span>,
    /// The sound.
    pub sound: Vec<Wave>,
    /// In a coding by samples: the points or intervals, in order.
    pub samples: Vec<(Sample, State)>,
}

/// What a person did on the tape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gesture {
    /// Go to a moment.
    Go(Micros),
    /// Choose a mark.
    Choose(MarkId),
    /// Move an edge to a moment.
    Drag(MarkId, Edge, Micros),
    /// See more or less time.
    Zoom(f64),
}

struct Tape<'a, Message> {
    content: &'a Content,
    at: Micros,
    zoom: Zoom,
    chosen: Option<(MarkId, Edge)>,
    palette: Palette,
    on: Box<dyn Fn(Gesture) -> Message + 'a>,
}

/// The tape.
pub fn tape<'a, Message: 'a>(
    content: &'a Content,
    at: Micros,
    zoom: Zoom,
    chosen: Option<(MarkId, Edge)>,
    palette: Palette,
    on: impl Fn(Gesture) -> Message + 'a,
) -> Element<'a, Message> {
    #[allow(clippy::cast_precision_loss)] // A few rows.
    let height = RULER + row_height(content.rows.len()) * content.rows.len() as f32;
    Canvas::new(Tape { content, at, zoom, chosen, palette, on: Box::new(on) })
        .width(Length::Fill)
        .height(height)
        .into()
}

/// Time and pixels of a tape.
#[derive(Debug, Clone, Copy)]
pub struct Scale {
    at: Micros,
    per_second: f64,
    middle: f64,
}

impl Scale {
    /// With `at` in the middle of what is right of the names.
    #[must_use]
    pub fn new(at: Micros, zoom: Zoom, width: f32) -> Self {
        let room = f64::from((width - NAMES).max(1.0));
        Self { at, per_second: room / zoom.seconds(), middle: f64::from(NAMES) + room / 2.0 }
    }

    /// Pixel of a moment; far outside it is cut off, so that drawing stays exact.
    #[must_use]
    #[allow(clippy::cast_possible_truncation)] // A place on the screen.
    pub fn x(self, at: Micros) -> f32 {
        (self.middle + (at - self.at).seconds() * self.per_second).clamp(-10_000.0, 20_000.0) as f32
    }

    /// Moment of a pixel.
    #[must_use]
    pub fn moment(self, x: f32) -> Micros {
        let seconds = (f64::from(x) - self.middle) / self.per_second;
        self.at + Micros::from_seconds(seconds).unwrap_or_default()
    }
}

/// Seconds between ticks, so that they are at least 70 pixels apart.
#[must_use]
pub fn tick_seconds(per_second: f64) -> f64 {
    let steps = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0];
    steps.into_iter().find(|step| step * per_second >= 70.0).unwrap_or(7200.0)
}

/// A drag that goes on.
#[derive(Debug, Clone, Copy, Default)]
pub struct Hold {
    edge: Option<(MarkId, Edge)>,
}

impl<Message> Tape<'_, Message> {
    fn row(&self) -> f32 {
        row_height(self.content.rows.len())
    }

    fn bar_at(&self, scale: Scale, position: Point) -> Option<(&Bar, Option<Edge>)> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A row's number.
        let row = ((position.y - RULER) / self.row()).floor().max(0.0) as usize;
        let row = self.content.rows.get(row).filter(|_| position.y >= RULER)?;
        let near = |at: Micros| (scale.x(at) - position.x).abs() <= 5.0;
        for bar in row.bars.iter().rev() {
            if bar.event && near(bar.span.from) {
                return Some((bar, Some(Edge::From)));
            }
            if !bar.event && near(bar.span.from) {
                return Some((bar, Some(Edge::From)));
            }
            if !bar.event && !bar.open && near(bar.span.to) {
                return Some((bar, Some(Edge::To)));
            }
            if !bar.event && scale.x(bar.span.from) <= position.x && position.x <= scale.x(bar.span.to) {
                return Some((bar, None));
            }
        }
        None
    }

    /// Points as lines, intervals between lines; what is answered bears a filled box in the ruler.
    fn draw_samples(&self, frame: &mut Frame, scale: Scale, (first, last): (Micros, Micros), height: f32) {
        let palette = self.palette;
        let samples = &self.content.samples;
        let from = samples.partition_point(|(sample, _)| sample.span.to < first);
        for (sample, state) in samples.iter().skip(from).take_while(|(own, _)| own.span.from <= last) {
            let (x, end) = (scale.x(sample.span.from), scale.x(sample.span.to));
            for x in [x, end] {
                frame.fill_rectangle(Point::new(x, RULER), Size::new(1.0, height - RULER), palette.line);
            }
            let side = 8.0;
            let place = Point::new(
                if sample.span.is_empty() { x - side / 2.0 } else { (x + end - side) / 2.0 },
                RULER - 4.0,
            );
            let square = Path::rectangle(place, Size::new(side, side));
            match state {
                State::Gap => {}
                State::Answered => frame.fill(&square, palette.text),
                State::OutOfSight => frame.fill(&square, theme::UNSEEN),
                State::Begun | State::Unanswered => {
                    let ink = if *state == State::Begun { palette.accent } else { palette.quiet };
                    frame.stroke(&square, Stroke::default().with_color(ink).with_width(1.5));
                }
            }
        }
    }

    /// `until`: where the next event of the row begins; an event's name ends before it.
    fn draw_bar(&self, frame: &mut Frame, scale: Scale, bar: &Bar, y: f32, width: f32, until: f32) {
        let palette = self.palette;
        let chosen = self.chosen.filter(|(mark, _)| *mark == bar.mark);
        let row = self.row();
        let gap = if row > 22.0 { 3.0 } else { 1.0 };
        let (top, height) = (y + gap, row - 2.0 * gap);
        if bar.event {
            let x = scale.x(bar.span.from);
            frame.fill_rectangle(Point::new(x - 1.5, top), Size::new(3.0, height), bar.colour);
            let ink = if chosen.is_some() { palette.accent } else { palette.text };
            let name = cut(&bar.name, until - x - 9.0);
            label(frame, &name, Point::new(x + 5.0, y + row / 2.0), ink, theme::BODY);
            if bar.unsure {
                label(frame, "?", Point::new(x - 10.0, y + row / 2.0), palette.text, theme::BODY);
            }
            if chosen.is_some() {
                frame.fill_rectangle(Point::new(x - 3.0, top - 2.0), Size::new(6.0, 3.0), palette.accent);
            }
            return;
        }
        let from = scale.x(bar.span.from).max(NAMES);
        let to = scale.x(bar.span.to).min(width);
        if to <= from {
            return;
        }
        let body = Rectangle { x: from, y: top, width: to - from, height };
        frame.fill_rectangle(body.position(), body.size(), bar.colour);
        if bar.pattern {
            dots(frame, body, theme::ink_on(bar.colour));
        }
        if bar.unsure {
            hatch(frame, body, theme::ink_on(bar.colour));
        }
        let edge = |frame: &mut Frame, a: Point, b: Point, colour, wide| {
            frame.stroke(&Path::line(a, b), Stroke::default().with_color(colour).with_width(wide));
        };
        let outline = palette.ground;
        edge(frame, Point::new(from, top), Point::new(to, top), outline, 1.0);
        edge(frame, Point::new(from, top + height), Point::new(to, top + height), outline, 1.0);
        edge(frame, Point::new(from, top), Point::new(from, top + height), outline, 1.0);
        if !bar.open {
            edge(frame, Point::new(to, top), Point::new(to, top + height), outline, 1.0);
        }
        let name = cut(&bar.name, to - from - 8.0);
        label(frame, &name, Point::new(from + 5.0, y + row / 2.0), theme::ink_on(bar.colour), theme::BODY);
        if let Some((_, at)) = chosen {
            let frame_line = Path::rectangle(body.position(), body.size());
            frame.stroke(&frame_line, Stroke::default().with_color(palette.text).with_width(2.0));
            let x = if at == Edge::From { from } else { to };
            frame.fill_rectangle(
                Point::new(x - 3.0, top - 2.0),
                Size::new(6.0, height + 4.0),
                palette.accent,
            );
        }
    }
}

/// A name cut to so many pixels; nothing when hardly a letter of it would be left.
fn cut(name: &str, width: f32) -> String {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A count of letters.
    let room = (width.max(0.0) / 7.4) as usize;
    if name.chars().count() <= room {
        name.to_owned()
    } else if room >= 4 {
        name.chars().take(room - 1).chain(['…']).collect()
    } else {
        String::new()
    }
}

fn label(frame: &mut Frame, content: &str, at: Point, colour: Color, size: f32) {
    if content.is_empty() {
        return;
    }
    frame.fill_text(Text {
        content: content.to_owned(),
        position: at,
        color: colour,
        size: Pixels(size),
        font: theme::SANS,
        align_y: alignment::Vertical::Center,
        ..Text::default()
    });
}

/// Broad diagonals: the coder was not sure.
fn hatch(frame: &mut Frame, body: Rectangle, ink: Color) {
    let stroke = Stroke::default().with_color(Color { a: 0.45, ..ink }).with_width(3.0);
    let mut x = body.x - body.height;
    while x < body.x + body.width {
        let from = (x.max(body.x), body.y + body.height - (x.max(body.x) - x));
        let end = (x + body.height).min(body.x + body.width);
        let to = (end, body.y + body.height - (end - x));
        frame.stroke(&Path::line(Point::new(from.0, from.1), Point::new(to.0, to.1)), stroke);
        x += 10.0;
    }
}

fn dots(frame: &mut Frame, body: Rectangle, ink: Color) {
    let mut x = body.x + 4.0;
    while x < body.x + body.width - 2.0 {
        frame.fill_rectangle(
            Point::new(x, body.y + body.height - 5.0),
            Size::new(2.0, 2.0),
            Color { a: 0.7, ..ink },
        );
        x += 8.0;
    }
}

impl<Message> canvas::Program<Message> for Tape<'_, Message> {
    type State = Hold;

    fn update(
        &self,
        hold: &mut Hold,
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let scale = Scale::new(self.at, self.zoom, bounds.width);
        let position = cursor.position().map(|at| Point::new(at.x - bounds.x, at.y - bounds.y));
        let publish = |gesture| Some(canvas::Action::publish((self.on)(gesture)).and_capture());
        match event {
            Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)) if cursor.is_over(bounds) => {
                let position = position?;
                let Some((bar, edge)) = self.bar_at(scale, position) else {
                    return publish(Gesture::Go(scale.moment(position.x)));
                };
                hold.edge = edge.map(|edge| (bar.mark, edge));
                publish(Gesture::Choose(bar.mark))
            }
            Event::Mouse(mouse::Event::CursorMoved { .. }) if hold.edge.is_some() => {
                let (mark, edge) = hold.edge?;
                publish(Gesture::Drag(mark, edge, scale.moment(position?.x)))
            }
            Event::Mouse(mouse::Event::ButtonReleased(mouse::Button::Left)) => {
                *hold = Hold::default();
                None
            }
            Event::Mouse(mouse::Event::WheelScrolled { delta }) if cursor.is_over(bounds) => {
                let (mouse::ScrollDelta::Lines { y, .. } | mouse::ScrollDelta::Pixels { y, .. }) = delta;
                publish(Gesture::Zoom(if *y > 0.0 { 0.8 } else { 1.25 }))
            }
            _ => None,
        }
    }

    fn draw(
        &self,
        _hold: &Hold,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let mut frame = Frame::new(renderer, bounds.size());
        let palette = self.palette;
        let (width, height) = (bounds.width, bounds.height);
        let scale = Scale::new(self.at, self.zoom, width);
        let (first, last) = (scale.moment(NAMES), scale.moment(width));
        frame.fill_rectangle(Point::ORIGIN, bounds.size(), palette.panel);
        for gap in &self.content.gaps {
            let (from, to) = (scale.x(gap.from).max(NAMES), scale.x(gap.to).min(width));
            if to > from {
                frame.fill_rectangle(
                    Point::new(from, RULER),
                    Size::new(to - from, height - RULER),
                    palette.line,
                );
                label(
                    &mut frame,
                    "file gap",
                    Point::new(from + 4.0, RULER + 8.0),
                    palette.quiet,
                    theme::BODY,
                );
            }
        }
        // The sound lies behind the ruler: it needs no room of its own.
        let body = Rectangle { x: NAMES, y: 0.0, width: width - NAMES, height: RULER };
        wave::draw(&mut frame, &self.content.sound, body, palette.raised, |x| scale.moment(x));
        self.draw_samples(&mut frame, scale, (first, last), height);
        let tick = tick_seconds(scale.per_second);
        let mut seconds = (first.seconds() / tick).ceil() * tick;
        while seconds <= last.seconds() {
            let at = Micros::from_seconds(seconds).unwrap_or_default();
            let x = scale.x(at);
            if seconds >= -1e-9 && x > NAMES {
                frame.fill_rectangle(Point::new(x, RULER - 5.0), Size::new(1.0, 5.0), palette.quiet);
                let clock = at.clock();
                let words = if tick >= 1.0 {
                    clock.split('.').next().unwrap_or(&clock)
                } else {
                    clock.trim_end_matches("00")
                };
                label(&mut frame, words, Point::new(x + 3.0, 8.0), palette.quiet, theme::BODY);
            }
            seconds += tick;
        }
        let mut y = RULER;
        for row in &self.content.rows {
            frame.fill_rectangle(Point::new(0.0, y), Size::new(width, 1.0), palette.line);
            // Rows of sets are disjoint, so ends rise with starts; others are few.
            let from =
                row.bars.partition_point(|bar| bar.span.from < first - Micros::from_whole_seconds(3_600));
            for (n, bar) in
                row.bars.iter().enumerate().skip(from).take_while(|(_, bar)| bar.span.from <= last)
            {
                let until = row.bars.get(n + 1).map_or(width, |next| scale.x(next.span.from));
                let in_view = bar.event || bar.span.to >= first;
                if in_view && (!bar.event || bar.span.from >= first) {
                    self.draw_bar(&mut frame, scale, bar, y, width, until);
                }
            }
            y += self.row();
        }
        // The names lie over what runs out to the left.
        frame.fill_rectangle(Point::ORIGIN, Size::new(NAMES - 1.0, height), palette.panel);
        frame.fill_rectangle(Point::new(NAMES - 1.0, 0.0), Size::new(1.0, height), palette.line);
        let mut y = RULER;
        for row in &self.content.rows {
            let name = cut(&row.name, NAMES - 10.0);
            label(&mut frame, &name, Point::new(8.0, y + self.row() / 2.0), palette.quiet, theme::BODY);
            y += self.row();
        }
        #[allow(clippy::cast_possible_truncation)] // A place on the screen.
        let middle = scale.middle as f32;
        frame.fill_rectangle(Point::new(middle - 1.0, 0.0), Size::new(2.0, height), palette.accent);
        vec![frame.into_geometry()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_and_moments_go_there_and_back() {
        let scale = Scale::new(Micros(83_500_000), Zoom::default(), 1280.0);
        for x in [112.0, 500.0, 1279.0] {
            assert!((scale.x(scale.moment(x)) - x).abs() < 0.01);
        }
        let middle = scale.x(Micros(83_500_000));
        assert!((middle - (112.0 + (1280.0 - 112.0) / 2.0)).abs() < 0.01, "the present is in the middle");
    }

    #[test]
    fn zoom_has_bounds_and_ticks_do_not_crowd() {
        assert!((Zoom::default().by(0.0001, 600.0).seconds() - 2.0).abs() < 1e-9);
        assert!((Zoom::default().by(10_000.0, 600.0).seconds() - 1200.0).abs() < 1e-9);
        for per_second in [0.1, 1.0, 35.0, 500.0] {
            assert!(tick_seconds(per_second) * per_second >= 70.0);
        }
    }
}
