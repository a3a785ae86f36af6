//! All samples of a session as one thin strip: which are answered, out of sight, still to do; where the
//! work stands. Click to go there.
//!
//! What is known of a sample is told by the height of its bar, not by colour alone.

use iced::widget::canvas::{self, Canvas, Event, Frame, Geometry, Path, Stroke};
use iced::{Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse};

use super::ribbon::{moment_at, x_of};
use crate::gui::theme::Palette;
use crate::model::samples::Sample;
use crate::time::{Micros, Span};
use crate::workbench::sampling::State;

/// Height in pixels.
pub const HEIGHT: f32 = 20.0;

/// What the strip shows; made when the record changes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Content {
    /// First picture to the end of the last.
    pub extent: Option<Span>,
    /// The samples, in order.
    pub samples: Vec<(Sample, State)>,
    /// From one to the next.
    pub every: Micros,
}

struct Strip<'a, Message> {
    content: &'a Content,
    here: Option<u32>,
    palette: Palette,
    on_go: Box<dyn Fn(Micros) -> Message + 'a>,
}

/// The strip; `here`: number of the sample at hand.
pub fn strip<'a, Message: 'a>(
    content: &'a Content,
    here: Option<u32>,
    palette: Palette,
    on_go: impl Fn(Micros) -> Message + 'a,
) -> Element<'a, Message> {
    Canvas::new(Strip { content, here, palette, on_go: Box::new(on_go) })
        .width(Length::Fill)
        .height(HEIGHT)
        .into()
}

/// Share of the height a state takes, from the bottom.
#[must_use]
pub const fn height_of(state: State) -> f32 {
    match state {
        State::Gap => 0.0,
        State::Unanswered => 0.15,
        State::Begun => 0.35,
        State::OutOfSight => 0.5,
        State::Answered => 1.0,
    }
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
        let at = moment_at(self.content.extent?, position.x, bounds.width);
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
        let palette = self.palette;
        frame.fill_rectangle(Point::ORIGIN, bounds.size(), palette.panel);
        if let Some(extent) = self.content.extent {
            let top = 4.0;
            let full = bounds.height - top - 1.0;
            let slot = x_of(extent, extent.from + self.content.every, bounds.width);
            // Room between neighbours while there is any; a sample is seen, however many there are.
            let wide = if slot > 4.0 { slot - 2.0 } else { slot.max(1.0) };
            for (sample, state) in &self.content.samples {
                let is_point = sample.span.is_empty();
                let from = x_of(extent, sample.span.from, bounds.width);
                let (x, width) = if is_point { (from, wide.min(7.0)) } else { (from + 1.0, wide) };
                let ink = match state {
                    State::Gap => {
                        let size = Size::new(width, full);
                        frame.fill_rectangle(Point::new(x, top), size, palette.line);
                        continue;
                    }
                    State::Unanswered | State::Begun => palette.quiet,
                    State::OutOfSight => crate::gui::theme::UNSEEN,
                    State::Answered => palette.text,
                };
                let height = (full * height_of(*state)).max(2.0);
                frame.fill_rectangle(Point::new(x, top + full - height), Size::new(width, height), ink);
                if self.here == Some(sample.number) {
                    let around = Path::rectangle(
                        Point::new(x - 2.0, 1.0),
                        Size::new(width.max(2.0) + 4.0, bounds.height - 2.0),
                    );
                    frame.stroke(&around, Stroke::default().with_color(palette.accent).with_width(2.0));
                }
            }
        }
        vec![frame.into_geometry()]
    }

    fn mouse_interaction(&self, (): &(), bounds: Rectangle, cursor: mouse::Cursor) -> mouse::Interaction {
        if cursor.is_over(bounds) { mouse::Interaction::Pointer } else { mouse::Interaction::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_a_height_of_its_own() {
        let all = [State::Gap, State::Unanswered, State::Begun, State::OutOfSight, State::Answered];
        let heights: Vec<f32> = all.into_iter().map(height_of).collect();
        assert!(heights.windows(2).all(|pair| pair[1] - pair[0] >= 0.1), "{heights:?}");
    }
}
