//! Where the picture changes, as a thin strip as long as the ribbon: to find one's way through long film.
//!
//! Stretches that stand out are drawn in the ink of text, the rest in that of hairlines: told by shade and height.

use iced::widget::canvas::{self, Canvas, Event, Frame, Geometry};
use iced::{Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse};

use super::ribbon::{moment_at, x_of};
use crate::gui::theme::Palette;
use crate::time::{Micros, Span};
use crate::workbench::motion::MotionLine;

/// Height in pixels.
pub const HEIGHT: f32 = 18.0;

struct Strip<'a, Message> {
    line: &'a MotionLine,
    extent: Span,
    at: Micros,
    palette: Palette,
    on_go: Box<dyn Fn(Micros) -> Message + 'a>,
}

/// The strip of a session from its first picture to the end of its last.
pub fn strip<'a, Message: 'a>(
    line: &'a MotionLine,
    extent: Span,
    at: Micros,
    palette: Palette,
    on_go: impl Fn(Micros) -> Message + 'a,
) -> Element<'a, Message> {
    Canvas::new(Strip { line, extent, at, palette, on_go: Box::new(on_go) })
        .width(Length::Fill)
        .height(HEIGHT)
        .into()
}

impl<Message> canvas::Program<Message> for Strip<'_, Message> {
    type State = ();

    fn update(
        &self,
        (): &mut (),
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let is_press = matches!(event, Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)));
        let position = cursor.position_in(bounds).filter(|_| is_press)?;
        let at = moment_at(self.extent, position.x, bounds.width);
        Some(canvas::Action::publish((self.on_go)(at)).and_capture())
    }

    fn draw(
        &self,
        (): &(),
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let mut frame = Frame::new(renderer, bounds.size());
        let (palette, width, height) = (self.palette, bounds.width, bounds.height);
        frame.fill_rectangle(Point::ORIGIN, bounds.size(), palette.panel);
        let stands_out = self.line.stretches().as_slice();
        let mut x = 0.0;
        while x < width {
            let (from, to) = (moment_at(self.extent, x, width), moment_at(self.extent, x + 1.0, width));
            if let Some(share) = self.line.height(from, to) {
                let next = stands_out.partition_point(|own| own.to <= from);
                let is_out = stands_out.get(next).is_some_and(|own| own.from < to.max(from + Micros(1)));
                // A stretch is seen, however short it is beside the whole.
                let tall = (share * (height - 2.0)).max(if is_out { 4.0 } else { 1.0 });
                let ink = if is_out { palette.text } else { palette.line };
                frame.fill_rectangle(Point::new(x, height - tall), Size::new(1.0, tall), ink);
            }
            x += 1.0;
        }
        let here = x_of(self.extent, self.at, width);
        frame.fill_rectangle(Point::new(here - 1.0, 0.0), Size::new(2.0, height), palette.accent);
        vec![frame.into_geometry()]
    }

    fn mouse_interaction(&self, (): &(), bounds: Rectangle, cursor: mouse::Cursor) -> mouse::Interaction {
        if cursor.is_over(bounds) { mouse::Interaction::Pointer } else { mouse::Interaction::default() }
    }
}
