//! The whole session as one thin ribbon: where cues and stop-level marks lie, what is coded, where
//! the reading line is. Click or drag to go there.

use iced::widget::canvas::{self, Canvas, Event, Frame, Geometry, Path, Stroke};
use iced::{Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse};

use super::wave::{self, Wave};
use crate::gui::theme::Palette;
use crate::time::{Micros, Span};

/// Height in pixels.
pub const HEIGHT: f32 = 28.0;

/// What the ribbon shows; made when the record changes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Content {
    /// First picture to the end of the last.
    pub extent: Option<Span>,
    /// Time in which a state of the running pass is coded.
    pub coded: Vec<Span>,
    /// Cues.
    pub cues: Vec<Span>,
    /// Stop-level moments.
    pub stops: Vec<Micros>,
    /// Where clips meet.
    pub seams: Vec<Micros>,
    /// Time without film.
    pub gaps: Vec<Span>,
    /// The sound.
    pub sound: Vec<Wave>,
}

struct Ribbon<'a, Message> {
    content: &'a Content,
    at: Micros,
    palette: Palette,
    on_go: Box<dyn Fn(Micros) -> Message + 'a>,
}

/// The ribbon.
pub fn ribbon<'a, Message: 'a>(
    content: &'a Content,
    at: Micros,
    palette: Palette,
    on_go: impl Fn(Micros) -> Message + 'a,
) -> Element<'a, Message> {
    Canvas::new(Ribbon { content, at, palette, on_go: Box::new(on_go) })
        .width(Length::Fill)
        .height(HEIGHT)
        .into()
}

/// Pixel of a moment.
#[must_use]
pub fn x_of(extent: Span, at: Micros, width: f32) -> f32 {
    #[allow(clippy::cast_possible_truncation)] // A place on the screen.
    let share = ((at - extent.from).seconds() / extent.length().seconds().max(1e-6)) as f32;
    share.clamp(0.0, 1.0) * width
}

/// Moment of a pixel.
#[must_use]
pub fn moment_at(extent: Span, x: f32, width: f32) -> Micros {
    let share = f64::from((x / width.max(1.0)).clamp(0.0, 1.0));
    extent.from + Micros::from_seconds(extent.length().seconds() * share).unwrap_or_default()
}

impl<Message> canvas::Program<Message> for Ribbon<'_, Message> {
    type State = bool;

    fn update(
        &self,
        dragging: &mut bool,
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let extent = self.content.extent?;
        match event {
            Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)) if cursor.is_over(bounds) => {
                *dragging = true;
            }
            Event::Mouse(mouse::Event::ButtonReleased(mouse::Button::Left)) => *dragging = false,
            Event::Mouse(mouse::Event::CursorMoved { .. }) if *dragging => {}
            _ => return None,
        }
        if !*dragging {
            return None;
        }
        let x = cursor.position()?.x - bounds.x;
        let at = moment_at(extent, x, bounds.width);
        Some(canvas::Action::publish((self.on_go)(at)).and_capture())
    }

    fn draw(
        &self,
        _dragging: &bool,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let mut frame = Frame::new(renderer, bounds.size());
        let palette = self.palette;
        let (width, height) = (bounds.width, bounds.height);
        frame.fill_rectangle(Point::ORIGIN, bounds.size(), palette.panel);
        if let Some(extent) = self.content.extent {
            let block = |frame: &mut Frame, span: &Span, y: f32, height: f32, colour| {
                let from = x_of(extent, span.from, width);
                let to = x_of(extent, span.to, width).max(from + 1.0);
                frame.fill_rectangle(Point::new(from, y), Size::new(to - from, height), colour);
            };
            let body = Rectangle { x: 0.0, y: 1.0, width, height: height - 2.0 };
            wave::draw(&mut frame, &self.content.sound, body, palette.line, |x| moment_at(extent, x, width));
            for span in &self.content.coded {
                block(&mut frame, span, height - 8.0, 4.0, palette.quiet);
            }
            for span in &self.content.cues {
                block(&mut frame, span, 6.0, height - 18.0, palette.raised);
                let x = x_of(extent, span.from, width);
                frame.fill_rectangle(Point::new(x, 4.0), Size::new(1.0, height - 14.0), palette.text);
            }
            for span in &self.content.gaps {
                block(&mut frame, span, 0.0, height, palette.line);
            }
            for at in &self.content.seams {
                let x = x_of(extent, *at, width);
                frame.fill_rectangle(Point::new(x, 0.0), Size::new(1.0, height), palette.quiet);
            }
            for at in &self.content.stops {
                // A cross: concern is a shape, not a colour.
                let x = x_of(extent, *at, width);
                let stroke = Stroke::default().with_color(palette.text).with_width(2.0);
                for (from, to) in [((-4.0, 5.0), (4.0, 13.0)), ((4.0, 5.0), (-4.0, 13.0))] {
                    let line = Path::line(Point::new(x + from.0, from.1), Point::new(x + to.0, to.1));
                    frame.stroke(&line, stroke);
                }
            }
            let x = x_of(extent, self.at, width);
            frame.fill_rectangle(Point::new(x - 1.0, 0.0), Size::new(2.0, height), palette.accent);
        }
        vec![frame.into_geometry()]
    }

    fn mouse_interaction(&self, _: &bool, bounds: Rectangle, cursor: mouse::Cursor) -> mouse::Interaction {
        if cursor.is_over(bounds) { mouse::Interaction::Pointer } else { mouse::Interaction::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_and_moments_go_there_and_back() {
        let extent = Span::try_new(Micros(5_000_000), Micros(105_000_000)).unwrap();
        for x in [0.0, 10.0, 333.0, 999.0] {
            assert!((x_of(extent, moment_at(extent, x, 1000.0), 1000.0) - x).abs() < 0.01);
        }
        assert_eq!(moment_at(extent, -5.0, 1000.0), extent.from);
        assert_eq!(moment_at(extent, 2000.0, 1000.0), extent.to);
    }
}
