//! The coding drawn under a picture, for people who have only the picture.
//!
//! It stands in a band below: nothing of the picture is hidden. Faces that are marked are covered.

use image::{Rgba, RgbaImage};
use tiny_skia::{Color, FillRule, Paint, PathBuilder, PixmapMut, Transform};

use crate::measures::presentations::Presentation;
use crate::model::{Behaviour, Clip, Coding, End, Ethogram, Kind, Session};
use crate::report::chart::letters::{Font, Letters};
use crate::time::{ClipClock, Micros};

/// How long a moment stays written.
const EVENT: Micros = Micros::from_whole_seconds(1);

/// What is written about a moment.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Caption {
    /// Where it is: session time, session, who coded it.
    pub place: String,
    /// Its presentation, if it lies in one.
    pub presentation: Option<String>,
    /// States that hold, by the order of the ethogram.
    pub states: Vec<String>,
    /// Moments of the last second.
    pub events: Vec<String>,
}

/// What a coding says of a session time.
#[must_use]
pub fn caption(
    coding: &Coding,
    ethogram: &Ethogram,
    session: &Session,
    presentations: &[Presentation],
    at: Micros,
) -> Caption {
    let mut found: Vec<(usize, &Behaviour, String)> = coding
        .marks
        .iter()
        .filter(|mark| match mark.to {
            End::Event => mark.from <= at && at < mark.from + EVENT,
            End::At(to) => mark.from <= at && at < to,
            End::Open => mark.from <= at,
        })
        .filter_map(|mark| {
            let place = ethogram.behaviours.iter().position(|own| own.id == mark.behaviour)?;
            let behaviour = ethogram.behaviours.get(place)?;
            let detail = mark.detail.as_ref().map_or_else(String::new, |detail| format!(" ({detail})"));
            let unsure = if mark.unsure { "?" } else { "" };
            Some((place, behaviour, format!("{}{detail}{unsure}", behaviour.name)))
        })
        .collect();
    found.sort_by_key(|(place, ..)| *place);
    let of_kind = |kind: Kind| {
        found.iter().filter(|(_, own, _)| own.kind == kind).map(|(.., words)| words.clone()).collect()
    };
    let presentation = presentations.iter().find(|own| own.span().contains(at));
    Caption {
        place: format!("{} · session {} · coded by {}", at.clock(), session.id, coding.by),
        presentation: presentation.map(|own| format!("presentation {}", own.number)),
        states: of_kind(Kind::State),
        events: of_kind(Kind::Event),
    }
}

/// Covers the faces that are marked on a clip at a session time.
pub fn cover_faces(image: &mut RgbaImage, clip: &Clip, at: Micros) {
    let own_time = clip.clock().and_then(|clock: ClipClock| clock.clip_time(at));
    let (width, height) = (f64::from(image.width()), f64::from(image.height()));
    for cover in clip
        .face_covers
        .iter()
        .filter(|cover| own_time.is_some_and(|own| cover.from <= own && own < cover.to))
    {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Bounded by the picture.
        let pixel = |share: f64, length: f64, up: bool| {
            let at = share.clamp(0.0, 1.0) * length;
            (if up { at.ceil() } else { at.floor() }) as u32
        };
        let columns = pixel(cover.x, width, false)..pixel(cover.x + cover.width, width, true);
        for y in pixel(cover.y, height, false)..pixel(cover.y + cover.height, height, true) {
            for x in columns.clone() {
                if let Some(own) = image.get_pixel_mut_checked(x, y) {
                    *own = Rgba([0x20, 0x20, 0x20, 0xFF]);
                }
            }
        }
    }
}

/// Draws captions.
pub struct Scribe {
    letters: Letters,
}

impl Default for Scribe {
    fn default() -> Self {
        Self { letters: Letters::new() }
    }
}

const INK: Rgba<u8> = Rgba([0xEE, 0xEE, 0xEE, 0xFF]);
const QUIET: Rgba<u8> = Rgba([0xB0, 0xB4, 0xBA, 0xFF]);
const STRONG: Rgba<u8> = Rgba([0xFF, 0xC9, 0x4D, 0xFF]);
const GROUND: Rgba<u8> = Rgba([0x16, 0x18, 0x1B, 0xFF]);

impl Scribe {
    /// Height of the band below a picture of a width; even.
    #[must_use]
    pub fn band(width: u32) -> u32 {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A few dozen pixels.
        let height = (size(width) * 3.6) as u32;
        height & !1
    }

    /// The picture with its caption below.
    #[must_use]
    pub fn captioned(&self, picture: &RgbaImage, caption: &Caption) -> RgbaImage {
        let (width, height) = picture.dimensions();
        let mut whole = RgbaImage::from_pixel(width, height + Self::band(width), GROUND);
        image::imageops::replace(&mut whole, picture, 0, 0);
        let size = size(width);
        let margin = size * 0.6;
        let room = f64::from(width) - 2.0 * margin;
        let Some(mut canvas) = PixmapMut::from_bytes(&mut whole, width, height + Self::band(width)) else {
            return whole;
        };
        let (first, second) = (f64::from(height) + size * 1.4, f64::from(height) + size * 2.9);
        let right = caption.presentation.as_deref().unwrap_or("");
        let right_width = self.letters.width(right, Font::Regular, size);
        let place = self.cut(&caption.place, Font::Mono, size * 0.9, room - right_width - size);
        self.write(&mut canvas, &place, Font::Mono, size * 0.9, (margin, first), QUIET);
        let at = (f64::from(width) - margin - right_width, first);
        self.write(&mut canvas, right, Font::Regular, size, at, INK);
        let events = caption.events.join(" · ");
        let events = self.cut(&events, Font::Medium, size, room * 0.5);
        let events_width = self.letters.width(&events, Font::Medium, size);
        let left = if events.is_empty() { room } else { room - events_width - size };
        let states = caption.states.join(" · ");
        let states =
            self.cut(if states.is_empty() { "nothing coded" } else { &states }, Font::Regular, size, left);
        let ink = if caption.states.is_empty() { QUIET } else { INK };
        self.write(&mut canvas, &states, Font::Regular, size, (margin, second), ink);
        let at = (f64::from(width) - margin - events_width, second);
        self.write(&mut canvas, &events, Font::Medium, size, at, STRONG);
        whole
    }

    /// A text that fits into so many pixels.
    fn cut(&self, text: &str, font: Font, size: f64, room: f64) -> String {
        if self.letters.width(text, font, size) <= room {
            return text.to_owned();
        }
        let mut short = text.to_owned();
        while short.pop().is_some() {
            let with_dots = format!("{short}…");
            if self.letters.width(&with_dots, font, size) <= room {
                return with_dots;
            }
        }
        String::new()
    }

    fn write(
        &self,
        canvas: &mut PixmapMut<'_>,
        text: &str,
        font: Font,
        size: f64,
        at: (f64, f64),
        ink: Rgba<u8>,
    ) {
        let mut pen = Pen(PathBuilder::new());
        self.letters.trace(text, font, size, at, &mut pen);
        let Some(path) = pen.0.finish() else { return };
        let Rgba([r, g, b, _]) = ink;
        let mut paint = Paint::default();
        paint.set_color(Color::from_rgba8(r, g, b, 0xFF));
        canvas.fill_path(&path, &paint, FillRule::Winding, Transform::identity(), None);
    }
}

/// Height of the letters under a picture of a width.
fn size(width: u32) -> f64 {
    (f64::from(width) / 48.0).clamp(10.0, 44.0)
}

struct Pen(PathBuilder);

impl ttf_parser::OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to(x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to(x, y);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.quad_to(x1, y1, x, y);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.cubic_to(x1, y1, x2, y2, x, y);
    }

    fn close(&mut self) {
        self.0.close();
    }
}
