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

/// Shows a picture.
#[must_use]
pub fn video<'a, Message: 'a>(picture: &Arc<Picture>, gamma: f32) -> Element<'a, Message> {
    let program = shader::Program { picture: Arc::clone(picture), gamma };
    let card = iced::widget::shader(program).width(Length::Fill).height(Length::Fill);
    Element::new(Video { picture: Arc::clone(picture), gamma, card: card.into() })
}

struct Video<'a, Message> {
    picture: Arc<Picture>,
    gamma: f32,
    card: Element<'a, Message>,
}

/// The image made last for the software renderer, and of what.
#[derive(Default)]
struct Software(RefCell<Option<Made>>);

/// An image, and what it was made of.
struct Made {
    of: Arc<Picture>,
    size: (u32, u32),
    gamma: u32,
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
        let (width, height) = self.picture.shown_size();
        #[allow(clippy::cast_precision_loss)] // Sizes of pictures.
        let own = Size::new(width.max(1) as f32, height.max(1) as f32);
        let scale = (room.width / own.width).min(room.height / own.height);
        let fitted = Size::new((own.width * scale).floor(), (own.height * scale).floor());
        let limits = layout::Limits::new(fitted, fitted);
        let child = match tree.children.first_mut() {
            Some(tree) => self.card.as_widget_mut().layout(tree, renderer, &limits),
            None => layout::Node::new(fitted),
        };
        let left = ((room.width - fitted.width) / 2.0).floor();
        let top = ((room.height - fitted.height) / 2.0).floor();
        layout::Node::with_children(room, vec![child.move_to((left, top))])
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
        let gamma = self.gamma.to_bits();
        let is_made = made
            .as_ref()
            .is_some_and(|own| Arc::ptr_eq(&own.of, &self.picture) && own.size == size && own.gamma == gamma);
        if !is_made {
            let mut pixels = self.picture.to_rgba_within(size.0, size.1);
            brighten(&mut pixels, self.gamma);
            let handle = image::Handle::from_rgba(size.0, size.1, pixels.into_raw());
            *made = Some(Made { of: Arc::clone(&self.picture), size, gamma, handle });
        }
        if let Some(own) = made.as_ref() {
            renderer.draw_image(image::Image::new(own.handle.clone()), bounds, bounds);
        }
    }
}

/// Display-only gamma.
fn brighten(pixels: &mut ::image::RgbaImage, gamma: f32) {
    if (gamma - 1.0).abs() < 0.01 {
        return;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Between 0 and 255.
    let table: Vec<u8> = (0..=255_u8)
        .map(|n| ((f32::from(n) / 255.0).powf(1.0 / gamma.max(0.1)) * 255.0).round() as u8)
        .collect();
    for pixel in pixels.pixels_mut() {
        for part in pixel.0.iter_mut().take(3) {
            *part = table.get(usize::from(*part)).copied().unwrap_or(*part);
        }
    }
}
