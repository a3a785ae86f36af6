//! Rectangles that cover faces in what is shared, followed through a clip.
//!
//! All times are the clip's own. A face is a chain of rectangles with one number: where it moves, one ends
//! and the next begins, so that each picture has exactly one. Nothing is drawn into the film.

use crate::model::{Extra, FaceCover};
use crate::time::Micros;

/// The smallest side, as a share of the picture's: smaller ones are slips of the hand.
pub const SMALLEST: f64 = 0.01;

/// A place in the picture: shares of its width and height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Place {
    /// In the middle: where a rectangle begins that is drawn by key.
    pub const MIDDLE: Self = Self { x: 0.4, y: 0.35, width: 0.2, height: 0.3 };

    /// Between two corners, in any order.
    #[must_use]
    pub fn between(a: (f64, f64), b: (f64, f64)) -> Self {
        let (x, y) = (a.0.min(b.0), a.1.min(b.1));
        Self { x, y, width: (a.0 - b.0).abs(), height: (a.1 - b.1).abs() }.within()
    }

    /// Moved by shares of the picture.
    #[must_use]
    pub fn moved(self, x: f64, y: f64) -> Self {
        Self { x: self.x + x, y: self.y + y, ..self }.within()
    }

    /// Larger or smaller around its middle.
    #[must_use]
    pub fn grown(self, width: f64, height: f64) -> Self {
        let (wide, high) = ((self.width + width).max(SMALLEST), (self.height + height).max(SMALLEST));
        let (x, y) = (self.x + (self.width - wide) / 2.0, self.y + (self.height - high) / 2.0);
        Self { x, y, width: wide, height: high }.within()
    }

    /// Whether a point lies in it.
    #[must_use]
    pub fn holds(self, x: f64, y: f64) -> bool {
        (self.x..self.x + self.width).contains(&x) && (self.y..self.y + self.height).contains(&y)
    }

    /// Inside the picture, with a size, in ten thousandths: finer nobody sees, and files stay readable.
    fn within(self) -> Self {
        let even = |share: f64| (share * 10_000.0).round() / 10_000.0;
        let (width, height) = (even(self.width.clamp(SMALLEST, 1.0)), even(self.height.clamp(SMALLEST, 1.0)));
        let (x, y) = (self.x.clamp(0.0, 1.0 - width), self.y.clamp(0.0, 1.0 - height));
        Self { x: even(x), y: even(y), width, height }
    }

    fn of(cover: &FaceCover) -> Self {
        Self { x: cover.x, y: cover.y, width: cover.width, height: cover.height }
    }

    fn put(self, cover: &mut FaceCover) {
        (cover.x, cover.y, cover.width, cover.height) = (self.x, self.y, self.width, self.height);
    }
}

fn is_at(cover: &FaceCover, at: Micros) -> bool {
    cover.from <= at && at < cover.to
}

/// Faces covered at a moment, by their numbers, and where.
#[must_use]
pub fn at(covers: &[FaceCover], at: Micros) -> Vec<(u32, Place)> {
    let mut found: Vec<_> =
        covers.iter().filter(|own| is_at(own, at)).map(|own| (own.face, Place::of(own))).collect();
    found.sort_by_key(|(face, _)| *face);
    found
}

/// Covers another face from a moment to the clip's end; its number.
pub fn begin(covers: &mut Vec<FaceCover>, from: Micros, to: Micros, place: Place) -> u32 {
    let face = covers.iter().map(|own| own.face).max().unwrap_or_default().saturating_add(1);
    let Place { x, y, width, height } = place.within();
    covers.push(FaceCover { from, to: to.max(from), x, y, width, height, face, extra: Extra::new() });
    face
}

/// From this moment on the face is there; before it, it stays where it was. Whether it is covered then at all.
pub fn follow(covers: &mut Vec<FaceCover>, face: u32, from: Micros, place: Place) -> bool {
    let Some(own) = covers.iter_mut().find(|own| own.face == face && is_at(own, from)) else { return false };
    if own.from == from {
        place.within().put(own);
        return true;
    }
    let mut after = own.clone();
    own.to = from;
    after.from = from;
    place.within().put(&mut after);
    covers.push(after);
    covers.sort_by_key(|own| (own.face, own.from));
    true
}

/// The face is gone from this moment on. Whether anything of it was there.
pub fn end(covers: &mut Vec<FaceCover>, face: u32, at: Micros) -> bool {
    let is_later = |own: &FaceCover| own.face == face && own.to > at;
    let any = covers.iter().any(is_later);
    covers.retain(|own| own.face != face || own.from < at);
    for own in covers.iter_mut().filter(|own| own.face == face) {
        own.to = own.to.min(at);
    }
    any
}

/// The face was none, or is to be seen: nothing of it is covered any more.
pub fn remove(covers: &mut Vec<FaceCover>, face: u32) {
    covers.retain(|own| own.face != face);
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: fn(i64) -> Micros = Micros::from_whole_seconds;

    fn square(x: f64) -> Place {
        Place { x, y: 0.25, width: 0.25, height: 0.25 }
    }

    #[test]
    fn a_face_is_followed_and_each_moment_has_exactly_one_rectangle_of_it() {
        let mut covers = Vec::new();
        let face = begin(&mut covers, S(2), S(60), square(0.0));
        let other = begin(&mut covers, S(5), S(60), square(0.5));
        assert_ne!(face, other);
        for (at, x) in [(10, 0.1), (4, 0.05), (20, 0.3), (10, 0.12)] {
            assert!(follow(&mut covers, face, S(at), square(x)));
        }
        let seen = |covers: &[FaceCover], second| -> Vec<(u32, f64)> {
            at(covers, S(second)).into_iter().map(|(face, place)| (face, place.x)).collect()
        };
        assert_eq!(seen(&covers, 1), []);
        assert_eq!(seen(&covers, 2), [(face, 0.0)]);
        assert_eq!(seen(&covers, 4), [(face, 0.05)]);
        assert_eq!(seen(&covers, 9), [(face, 0.05), (other, 0.5)]);
        assert_eq!(seen(&covers, 10), [(face, 0.12), (other, 0.5)]);
        assert_eq!(seen(&covers, 59), [(face, 0.3), (other, 0.5)]);
        assert_eq!(seen(&covers, 60), [], "its end is the first moment without it");
        // Where it was not covered there is nothing to follow.
        assert!(!follow(&mut covers, face, S(1), square(0.7)));
        // Gone in the middle of a rectangle: what came after goes too, what was before stays.
        assert!(end(&mut covers, face, S(12)));
        assert_eq!(seen(&covers, 11), [(face, 0.12), (other, 0.5)]);
        assert_eq!(seen(&covers, 12), [(other, 0.5)]);
        assert!(!end(&mut covers, face, S(30)));
        remove(&mut covers, face);
        assert_eq!(seen(&covers, 11), [(other, 0.5)]);
        // At its very first picture it is not there at all.
        assert!(end(&mut covers, other, S(5)) && covers.is_empty());
    }

    #[test]
    fn a_place_never_leaves_the_picture_and_never_vanishes() {
        let odd = [(-3.0, 0.2), (0.9, 4.0), (0.5, 0.5), (f64::MAX, f64::MIN)];
        for a in odd {
            for b in odd {
                for place in
                    [Place::between(a, b), Place::between(a, b).moved(b.0, a.1), square(0.1).grown(a.0, b.1)]
                {
                    assert!(place.x >= 0.0 && place.x + place.width <= 1.0 + 1e-12, "{place:?}");
                    assert!(place.y >= 0.0 && place.y + place.height <= 1.0 + 1e-12, "{place:?}");
                    assert!(place.width >= SMALLEST && place.height >= SMALLEST, "{place:?}");
                }
            }
        }
        let drawn = Place::between((0.6, 0.7), (0.2, 0.3));
        assert!(drawn.holds(0.2, 0.3) && drawn.holds(0.5, 0.6) && !drawn.holds(0.61, 0.5), "{drawn:?}");
    }
}
