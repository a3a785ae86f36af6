//! Rectangles over faces, drawn on the picture with the mouse and dragged along.

use iced::widget::canvas::{self, Canvas, Event, Frame, Geometry, Path, Stroke};
use iced::{Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse};

use super::video::{self, Sight};
use crate::gui::theme::Palette;
use crate::media::Picture;
use crate::workbench::covers::{Place, SMALLEST};

/// What the mouse did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gesture {
    /// A new rectangle was drawn.
    Drawn(Place),
    /// A rectangle was taken.
    Taken(u32),
    /// The one that was taken lies here now.
    Moved(u32, Place),
    /// It was let go.
    LetGo,
}

/// What the mouse is at.
#[derive(Debug, Default, Clone, Copy)]
pub enum Drag {
    /// Nothing.
    #[default]
    None,
    /// Drawing, from one corner to where it is now.
    Drawing((f64, f64), (f64, f64)),
    /// Moving one, held this far from its corner.
    Moving(u32, Place, (f64, f64)),
}

struct Covers<'a, Message> {
    shown: (u32, u32),
    sight: Sight,
    faces: &'a [(u32, Place)],
    chosen: Option<u32>,
    palette: Palette,
    on_gesture: Box<dyn Fn(Gesture) -> Message + 'a>,
}

/// Lies over the picture, which must be drawn in the same place.
pub fn covers<'a, Message: 'a>(
    picture: &Picture,
    sight: Sight,
    faces: &'a [(u32, Place)],
    chosen: Option<u32>,
    palette: Palette,
    on_gesture: impl Fn(Gesture) -> Message + 'a,
) -> Element<'a, Message> {
    let shown = picture.shown_size();
    Canvas::new(Covers { shown, sight, faces, chosen, palette, on_gesture: Box::new(on_gesture) })
        .width(Length::Fill)
        .height(Length::Fill)
        .into()
}

impl<Message> Covers<'_, Message> {
    /// Where the picture lies.
    fn picture(&self, room: Size) -> Rectangle {
        video::fitted(room, self.shown)
    }

    /// The share of the picture under a point.
    fn share(&self, room: Size, point: Point) -> (f64, f64) {
        let (picture, part) = (self.picture(room), self.sight.part());
        let along = |at: f32, from: f32, length: f32| f64::from((at - from) / length.max(1.0));
        (
            part.x + along(point.x, picture.x, picture.width) * part.share,
            part.y + along(point.y, picture.y, picture.height) * part.share,
        )
    }

    /// Where a place is on the screen.
    #[allow(clippy::cast_possible_truncation)] // Places on the screen.
    fn on_screen(&self, room: Size, place: Place) -> Rectangle {
        let (picture, part) = (self.picture(room), self.sight.part());
        let x = picture.x + ((place.x - part.x) / part.share) as f32 * picture.width;
        let y = picture.y + ((place.y - part.y) / part.share) as f32 * picture.height;
        let width = (place.width / part.share) as f32 * picture.width;
        Rectangle { x, y, width, height: (place.height / part.share) as f32 * picture.height }
    }
}

impl<Message> canvas::Program<Message> for Covers<'_, Message> {
    type State = Drag;

    fn update(
        &self,
        drag: &mut Drag,
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let Event::Mouse(event) = event else { return None };
        let at = cursor
            .position()
            .map(|at| self.share(bounds.size(), Point::new(at.x - bounds.x, at.y - bounds.y)));
        let told = |gesture| Some(canvas::Action::publish((self.on_gesture)(gesture)).and_capture());
        match (event, *drag) {
            (mouse::Event::ButtonPressed(mouse::Button::Left), _) if cursor.is_over(bounds) => {
                let at = at?;
                // The chosen one first, where two lie one over the other.
                let mut under = self.faces.iter().filter(|(_, place)| place.holds(at.0, at.1));
                let chosen = under.clone().find(|(face, _)| Some(*face) == self.chosen);
                if let Some((face, place)) = chosen.or_else(|| under.next_back()) {
                    *drag = Drag::Moving(*face, *place, (at.0 - place.x, at.1 - place.y));
                    return told(Gesture::Taken(*face));
                }
                *drag = Drag::Drawing(at, at);
                Some(canvas::Action::request_redraw().and_capture())
            }
            (mouse::Event::CursorMoved { .. }, Drag::Drawing(from, _)) => {
                *drag = Drag::Drawing(from, at?);
                Some(canvas::Action::request_redraw().and_capture())
            }
            (mouse::Event::CursorMoved { .. }, Drag::Moving(face, place, held)) => {
                let at = at?;
                told(Gesture::Moved(
                    face,
                    Place { x: at.0 - held.0, y: at.1 - held.1, ..place }.moved(0.0, 0.0),
                ))
            }
            (mouse::Event::ButtonReleased(mouse::Button::Left), Drag::Drawing(from, to)) => {
                *drag = Drag::None;
                // A click draws nothing.
                let is_drawn = (from.0 - to.0).abs() >= SMALLEST && (from.1 - to.1).abs() >= SMALLEST;
                if is_drawn { told(Gesture::Drawn(Place::between(from, to))) } else { None }
            }
            (mouse::Event::ButtonReleased(mouse::Button::Left), Drag::Moving(..)) => {
                *drag = Drag::None;
                told(Gesture::LetGo)
            }
            _ => None,
        }
    }

    fn draw(
        &self,
        drag: &Drag,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let mut frame = Frame::new(renderer, bounds.size());
        // As it will be covered, but so that the face can still be followed.
        let dim = iced::Color { a: 0.55, ..iced::Color::from_rgb8(0x20, 0x20, 0x20) };
        let mut plate = |place: Place, is_chosen: bool| {
            let own = self.on_screen(bounds.size(), place);
            frame.fill_rectangle(own.position(), own.size(), dim);
            let outline = Path::rectangle(own.position(), own.size());
            let (ink, width) = if is_chosen { (self.palette.accent, 3.0) } else { (iced::Color::WHITE, 1.5) };
            frame.stroke(&outline, Stroke::default().with_color(ink).with_width(width));
        };
        for (face, place) in self.faces {
            plate(*place, Some(*face) == self.chosen);
        }
        if let Drag::Drawing(from, to) = drag {
            plate(Place::between(*from, *to), true);
        }
        vec![frame.into_geometry()]
    }

    fn mouse_interaction(&self, drag: &Drag, bounds: Rectangle, cursor: mouse::Cursor) -> mouse::Interaction {
        match (drag, cursor.position_in(bounds)) {
            (Drag::Moving(..), _) => mouse::Interaction::Grabbing,
            (Drag::Drawing(..), _) => mouse::Interaction::Crosshair,
            (Drag::None, Some(at)) => {
                let (x, y) = self.share(bounds.size(), at);
                let is_over = self.faces.iter().any(|(_, place)| place.holds(x, y));
                if is_over { mouse::Interaction::Grab } else { mouse::Interaction::Crosshair }
            }
            (Drag::None, None) => mouse::Interaction::default(),
        }
    }
}
