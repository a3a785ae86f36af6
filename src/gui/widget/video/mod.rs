//! The picture, as large as its place allows, upright and with square pixels.
//!
//! With a graphics card it goes through a shader; the software renderer draws no shader, and
//! there an image of the size on the screen is made, once for each picture. Which of the two draws
//! is known only while drawing, from the renderer itself.

mod shader;

use std::cell::RefCell;
use std::sync::Arc;

use iced::advanced::image::Renderer as _;
use iced::advanced::layout::{self, Layout};
use iced::advanced::widget::{Tree, Widget, tree};
use iced::advanced::{image, mouse, renderer};
use iced::{Element, Length, Rectangle, Size, Theme};

use crate::media::Picture;
use crate::media::picture::Part;

/// How a picture is looked at; for the screen only, noted nowhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// How much larger than as a whole, 1–16.
    pub zoom: f64,
    /// What is in the middle, as shares of width and height.
    pub centre: (f64, f64),
    /// Above 1: dark parts brighter.
    pub gamma: f32,
    /// Above 1: more.
    pub contrast: f32,
}

impl Default for Sight {
    fn default() -> Self {
        Self { zoom: 1.0, centre: (0.5, 0.5), gamma: 1.0, contrast: 1.0 }
    }
}

impl Sight {
    /// Closer (above 1) or farther, the same place in the middle as far as the picture goes.
    #[must_use]
    pub fn closer(self, factor: f64) -> Self {
        Self { zoom: (self.zoom * factor).clamp(1.0, 16.0), ..self }.moved(0.0, 0.0)
    }

    /// What is in the middle, moved by shares of what is in view; never out of the picture.
    #[must_use]
    pub fn moved(self, x: f64, y: f64) -> Self {
        let half = 0.5 / self.zoom;
        let within = |own: f64, by: f64| (own + by / self.zoom).clamp(half, 1.0 - half);
        Self { centre: (within(self.centre.0, x), within(self.centre.1, y)), ..self }
    }

    /// The part of the picture in view.
    #[must_use]
    pub fn part(self) -> Part {
        let share = 1.0 / self.zoom;
        Part { x: self.centre.0 - share / 2.0, y: self.centre.1 - share / 2.0, share }
    }
}

/// Which of the pictures on the screen it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The one that is coded.
    Main,
    /// The one beside it.
    Beside,
}

/// Shows a picture.
#[must_use]
pub fn video<'a, Message: 'a>(picture: &Arc<Picture>, sight: Sight, on: Place) -> Element<'a, Message> {
    let program = shader::Program { picture: Arc::clone(picture), sight, on };
    let card = iced::widget::shader(program).width(Length::Fill).height(Length::Fill);
    Element::new(Video { picture: Arc::clone(picture), sight, card: card.into() })
}

/// Where a picture of a size lies in the room it has: as large as possible, in the middle.
#[must_use]
pub fn fitted(room: Size, (width, height): (u32, u32)) -> Rectangle {
    #[allow(clippy::cast_precision_loss)] // Sizes of pictures.
    let own = Size::new(width.max(1) as f32, height.max(1) as f32);
    let scale = (room.width / own.width).min(room.height / own.height);
    let (width, height) = ((own.width * scale).floor(), (own.height * scale).floor());
    let (x, y) = (((room.width - width) / 2.0).floor(), ((room.height - height) / 2.0).floor());
    Rectangle { x, y, width, height }
}

struct Video<'a, Message> {
    picture: Arc<Picture>,
    sight: Sight,
    card: Element<'a, Message>,
}

/// The image made last for the software renderer, and of what.
#[derive(Default)]
struct Software(RefCell<Option<Made>>);

/// An image, and what it was made of.
struct Made {
    of: Arc<Picture>,
    size: (u32, u32),
    sight: Sight,
    handle: image::Handle,
}

impl<Message> Widget<Message, Theme, iced::Renderer> for Video<'_, Message> {
    fn tag(&self) -> tree::Tag {
        tree::Tag::of::<Software>()
    }

    fn state(&self) -> tree::State {
        tree::State::new(Software::default())
    }

    fn children(&self) -> Vec<Tree> {
        vec![Tree::new(&self.card)]
    }

    fn diff(&self, tree: &mut Tree) {
        tree.diff_children(std::slice::from_ref(&self.card));
    }

    fn size(&self) -> Size<Length> {
        Size::new(Length::Fill, Length::Fill)
    }

    fn layout(
        &mut self,
        tree: &mut Tree,
        renderer: &iced::Renderer,
        limits: &layout::Limits,
    ) -> layout::Node {
        let room = limits.max();
        let place = fitted(room, self.picture.shown_size());
        let limits = layout::Limits::new(place.size(), place.size());
        let child = match tree.children.first_mut() {
            Some(tree) => self.card.as_widget_mut().layout(tree, renderer, &limits),
            None => layout::Node::new(place.size()),
        };
        layout::Node::with_children(room, vec![child.move_to(place.position())])
    }

    fn draw(
        &self,
        tree: &Tree,
        renderer: &mut iced::Renderer,
        theme: &Theme,
        style: &renderer::Style,
        layout: Layout<'_>,
        cursor: mouse::Cursor,
        viewport: &Rectangle,
    ) {
        let (Some(place), Some(child)) = (layout.children().next(), tree.children.first()) else { return };
        if matches!(renderer, iced::Renderer::Primary(_)) {
            self.card.as_widget().draw(child, renderer, theme, style, place, cursor, viewport);
            return;
        }
        let bounds = place.bounds();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Sizes on the screen.
        let size = (bounds.width.max(1.0) as u32, bounds.height.max(1.0) as u32);
        let Software(made) = tree.state.downcast_ref::<Software>();
        let mut made = made.borrow_mut();
        let is_made = made.as_ref().is_some_and(|own| {
            Arc::ptr_eq(&own.of, &self.picture) && own.size == size && own.sight == self.sight
        });
        if !is_made {
            let mut pixels = self.picture.part_to_rgba(self.sight.part(), size.0, size.1);
            brighten(&mut pixels, self.sight);
            let handle = image::Handle::from_rgba(size.0, size.1, pixels.into_raw());
            *made = Some(Made { of: Arc::clone(&self.picture), size, sight: self.sight, handle });
        }
        if let Some(own) = made.as_ref() {
            renderer.draw_image(image::Image::new(own.handle.clone()), bounds, bounds);
        }
    }
}

/// Display-only contrast and gamma.
fn brighten(pixels: &mut ::image::RgbaImage, sight: Sight) {
    if (sight.gamma - 1.0).abs() < 0.01 && (sight.contrast - 1.0).abs() < 0.01 {
        return;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Between 0 and 255.
    let table: Vec<u8> = (0..=255_u8)
        .map(|n| {
            let spread = ((f32::from(n) / 255.0 - 0.5) * sight.contrast + 0.5).clamp(0.0, 1.0);
            (spread.powf(1.0 / sight.gamma.max(0.1)) * 255.0).round() as u8
        })
        .collect();
    for pixel in pixels.pixels_mut() {
        for part in pixel.0.iter_mut().take(3) {
            *part = table.get(usize::from(*part)).copied().unwrap_or(*part);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_in_view_never_leaves_the_picture() {
        let mut sight = Sight::default();
        assert_eq!(sight.part(), Part::WHOLE);
        for (x, y) in [(0.4, 0.0), (0.4, 0.9), (-9.0, 0.2), (0.1, -9.0)] {
            sight = sight.closer(1.7).moved(x, y);
            let part = sight.part();
            assert!(part.x >= -1e-9 && part.x + part.share <= 1.0 + 1e-9, "{part:?}");
            assert!(part.y >= -1e-9 && part.y + part.share <= 1.0 + 1e-9, "{part:?}");
        }
        for _ in 0..9 {
            sight = sight.closer(0.5);
        }
        assert_eq!(sight.part(), Part::WHOLE, "all the way out is all of it");
    }
}
