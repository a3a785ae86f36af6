//! One decoded picture, in the form that both the window and a still can use.

use std::num::NonZeroU32;

use crate::time::{FrameNumber, Micros};

/// A decoded picture: 8-bit planar 4:2:0, tightly packed, as the camera's sensor lay.
///
/// Kept in the stream's own colours (1.5 bytes a pixel instead of 4): the window's shader and
/// [`Picture::to_rgba`] turn it into RGB with the matrix and range given here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Which frame of its clip.
    pub frame: FrameNumber,
    /// Clip time: µs after the first shown picture.
    pub time: Micros,
    /// Width in pixels before turning.
    pub width: NonZeroU32,
    /// Height in pixels before turning.
    pub height: NonZeroU32,
    /// `width × height` bytes.
    pub luma: Vec<u8>,
    /// `⌈width/2⌉ × ⌈height/2⌉` bytes, blue difference.
    pub blue: Vec<u8>,
    /// `⌈width/2⌉ × ⌈height/2⌉` bytes, red difference.
    pub red: Vec<u8>,
    /// How to look at it.
    pub looks: Looks,
    /// How often width and height were halved to save room; 0: every sample is there.
    pub halvings: u8,
    /// It was filmed as two fields, one after the other.
    pub is_interlaced: bool,
}

/// What of a picture filmed as two fields is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Fields {
    /// Both, without combs where something moved between them.
    #[default]
    Both,
    /// Only what was taken first; the rows between are the mean of their neighbours.
    First,
    /// Only what was taken second, half a picture later.
    Second,
}

/// How a picture is to be looked at; the same for every picture of most clips.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Looks {
    /// Colour matrix of the stream.
    pub matrix: Matrix,
    /// Value range of the stream.
    pub range: Range,
    /// Clockwise turn that sets the picture upright.
    pub turn: Turn,
    /// Mirrored left to right, before the turn.
    pub mirrored: bool,
    /// Width of a pixel to its height, before turning; `(1, 1)` when square or not said.
    pub pixel_aspect: (u32, u32),
}

/// Colour matrix.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Matrix {
    /// ITU-R BT.601.
    Bt601,
    /// ITU-R BT.709.
    Bt709,
    /// ITU-R BT.2020, constant luminance not.
    Bt2020,
}

/// Value range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Range {
    /// Luma 16–235, chroma 16–240.
    Limited,
    /// 0–255.
    Full,
}

/// Clockwise turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Turn {
    /// As it lies.
    None,
    /// 90° clockwise.
    Quarter,
    /// 180°.
    Half,
    /// 270° clockwise.
    ThreeQuarters,
}

impl Picture {
    /// Bytes its planes take.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.luma.len() + self.blue.len() + self.red.len()
    }

    /// Width and height on the screen, pixel aspect and turn applied; the longer way is
    /// stretched, never the shorter one shrunk, so that no sample is lost.
    #[must_use]
    pub fn shown_size(&self) -> (u32, u32) {
        self.looks.shown_size(self.width.get(), self.height.get())
    }
}

/// A plane with both sides halved; the last row and column stand for those that are missing.
fn halved_plane(samples: &[u8], width: u32, height: u32) -> Vec<u8> {
    let (width, height) = (width as usize, height as usize);
    let mut half = Vec::with_capacity(width.div_ceil(2) * height.div_ceil(2));
    // The mean of four bytes is a byte.
    let mean =
        |four: [u8; 4]| u8::try_from((four.map(u16::from).iter().sum::<u16>() + 2) / 4).unwrap_or(u8::MAX);
    for pair in samples.chunks(width * 2).take(height.div_ceil(2)) {
        let (above, below) = pair.split_at(width.min(pair.len()));
        let below = if below.len() == width { below } else { above };
        // In pairs of known length, so that many are done with one instruction.
        let (above, odd_above) = above.as_chunks::<2>();
        let (below, odd_below) = below.as_chunks::<2>();
        half.extend(above.iter().zip(below).map(|([a, b], [c, d])| mean([*a, *b, *c, *d])));
        half.extend(odd_above.iter().zip(odd_below).map(|(a, b)| mean([*a, *a, *b, *b])));
    }
    half
}

impl Looks {
    /// Size on the screen of a picture of `width × height` stored pixels.
    #[must_use]
    pub fn shown_size(self, width: u32, height: u32) -> (u32, u32) {
        let (above, below) = self.pixel_aspect;
        let (above, below) = (u64::from(above.max(1)), u64::from(below.max(1)));
        let stretch = |length: u32, above: u64, below: u64| {
            let scaled = (u64::from(length) * above + below / 2) / below;
            u32::try_from(scaled).unwrap_or(u32::MAX)
        };
        let (w, h) = if above >= below {
            (stretch(width, above, below), height)
        } else {
            (width, stretch(height, below, above))
        };
        match self.turn {
            Turn::None | Turn::Half => (w, h),
            Turn::Quarter | Turn::ThreeQuarters => (h, w),
        }
    }
}

impl Picture {
    /// BLAKE3 of the samples: two pictures with the same hash are the same picture.
    #[must_use]
    pub fn hash(&self) -> [u8; 32] {
        let mut hasher = blake3::Hasher::new();
        let size = [self.width.get(), self.height.get()];
        for number in size {
            let _ = hasher.update(&number.to_le_bytes());
        }
        for plane in [&self.luma, &self.blue, &self.red] {
            let _ = hasher.update(plane);
        }
        *hasher.finalize().as_bytes()
    }

    /// The same picture with width and height halved so many times: each sample the mean of four.
    #[must_use]
    pub fn halved(mut self, times: u8) -> Self {
        for _ in 0..times {
            let (width, height) = (self.width.get(), self.height.get());
            let half = |length: u32| length.div_ceil(2);
            let (half_width, half_height) = (half(width), half(height));
            let luma = halved_plane(&self.luma, width, height);
            let blue = halved_plane(&self.blue, half(width), half(height));
            let red = halved_plane(&self.red, half(width), half(height));
            let (Some(new_width), Some(new_height)) =
                (NonZeroU32::new(half_width), NonZeroU32::new(half_height))
            else {
                return self;
            };
            self = Self {
                width: new_width,
                height: new_height,
                luma,
                blue,
                red,
                halvings: self.halvings + 1,
                ..self
            };
        }
        self
    }

    /// The picture as people see it: in RGB, upright, with square pixels.
    #[must_use]
    pub fn to_rgba(&self) -> image::RgbaImage {
        let (width, height) = self.shown_size();
        self.to_rgba_within(width, height)
    }

    /// As [`Picture::to_rgba`], in exactly this size: nearest samples, so that no colour is invented.
    #[must_use]
    pub fn to_rgba_within(&self, width: u32, height: u32) -> image::RgbaImage {
        self.part_to_rgba(Part::WHOLE, width, height)
    }

    /// A part of the picture in exactly this size.
    #[must_use]
    pub fn part_to_rgba(&self, part: Part, width: u32, height: u32) -> image::RgbaImage {
        let colours = Colours::new(self.looks);
        let (own_width, own_height) = (self.width.get(), self.height.get());
        let half_width = own_width.div_ceil(2) as usize;
        let mut pixels = Vec::with_capacity(width as usize * height as usize * 4);
        let turned = matches!(self.looks.turn, Turn::Quarter | Turn::ThreeQuarters);
        // Stored column (or row, when turned) of each shown column, and likewise for rows.
        let (across, along) = if turned { (own_height, own_width) } else { (own_width, own_height) };
        let columns = nearest(width, across, part.x, part.share);
        let rows = nearest(height, along, part.y, part.share);
        for row in &rows {
            for column in &columns {
                let (mut x, y) = match self.looks.turn {
                    Turn::None => (*column, *row),
                    Turn::Half => (own_width - 1 - column, own_height - 1 - row),
                    // A clockwise quarter: the stored left edge is the shown upper edge.
                    Turn::Quarter => (*row, own_height - 1 - column),
                    Turn::ThreeQuarters => (own_width - 1 - row, *column),
                };
                if self.looks.mirrored {
                    x = own_width - 1 - x;
                }
                let (x, y) = (x as usize, y as usize);
                let luma = self.luma.get(y * own_width as usize + x).copied().unwrap_or(16);
                let place = (y / 2) * half_width + x / 2;
                let blue = self.blue.get(place).copied().unwrap_or(128);
                let red = self.red.get(place).copied().unwrap_or(128);
                pixels.extend_from_slice(&colours.rgba(luma, blue, red));
            }
        }
        image::RgbaImage::from_raw(width, height, pixels).unwrap_or_default()
    }
}

/// A part of the upright picture that has its shape: where it begins, and its share of each side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Left edge, 0–1.
    pub x: f64,
    /// Upper edge, 0–1.
    pub y: f64,
    /// Its width to the picture's, and so its height, 0–1.
    pub share: f64,
}

impl Part {
    /// All of it.
    pub const WHOLE: Self = Self { x: 0.0, y: 0.0, share: 1.0 };
}

/// For each of `shown` places the nearest of `stored` ones, of a stretch of them.
fn nearest(shown: u32, stored: u32, from: f64, share: f64) -> Vec<u32> {
    let (from, length) = (from * f64::from(stored), share * f64::from(stored));
    (0..shown)
        .map(|i| {
            let place = from + (f64::from(i) + 0.5) * length / f64::from(shown.max(1));
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Within the picture.
            let place = place.max(0.0) as u32;
            place.min(stored.saturating_sub(1))
        })
        .collect()
}

/// Turns samples into RGB.
struct Colours {
    luma_offset: i32,
    luma_scale: i32,
    red_from_red: i32,
    green_from_blue: i32,
    green_from_red: i32,
    blue_from_blue: i32,
}

impl Matrix {
    /// Weights of red and blue in luma (ITU-R BT.601, BT.709, BT.2020).
    #[must_use]
    pub const fn weights(self) -> (f64, f64) {
        match self {
            Self::Bt601 => (0.299, 0.114),
            Self::Bt709 => (0.2126, 0.0722),
            Self::Bt2020 => (0.2627, 0.0593),
        }
    }
}

impl Colours {
    /// Fixed point with 16 fractional bits.
    const ONE: f64 = 65_536.0;

    fn new(looks: Looks) -> Self {
        let (kr, kb) = looks.matrix.weights();
        let kg = 1.0 - kr - kb;
        let (luma_offset, luma_range, chroma_range) = match looks.range {
            Range::Limited => (16, 219.0, 224.0),
            Range::Full => (0, 255.0, 255.0),
        };
        #[allow(clippy::cast_possible_truncation)] // Small constants.
        let fixed = |value: f64| (value * Self::ONE).round() as i32;
        Self {
            luma_offset,
            luma_scale: fixed(255.0 / luma_range),
            red_from_red: fixed(2.0 * (1.0 - kr) * 255.0 / chroma_range),
            green_from_blue: fixed(-2.0 * (1.0 - kb) * kb / kg * 255.0 / chroma_range),
            green_from_red: fixed(-2.0 * (1.0 - kr) * kr / kg * 255.0 / chroma_range),
            blue_from_blue: fixed(2.0 * (1.0 - kb) * 255.0 / chroma_range),
        }
    }

    fn rgba(&self, luma: u8, blue: u8, red: u8) -> [u8; 4] {
        let y = (i32::from(luma) - self.luma_offset) * self.luma_scale + (1 << 15);
        let (u, v) = (i32::from(blue) - 128, i32::from(red) - 128);
        let byte = |value: i32| u8::try_from((value >> 16).clamp(0, 255)).unwrap_or(u8::MAX);
        [
            byte(y + v * self.red_from_red),
            byte(y + u * self.green_from_blue + v * self.green_from_red),
            byte(y + u * self.blue_from_blue),
            255,
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn looks(turn: Turn, mirrored: bool) -> Looks {
        Looks { matrix: Matrix::Bt601, range: Range::Full, turn, mirrored, pixel_aspect: (1, 1) }
    }

    fn picture(looks: Looks, width: u32, height: u32, luma: Vec<u8>) -> Picture {
        let half = (width.div_ceil(2) * height.div_ceil(2)) as usize;
        Picture {
            frame: FrameNumber(0),
            time: Micros(0),
            width: NonZeroU32::new(width).unwrap(),
            height: NonZeroU32::new(height).unwrap(),
            luma,
            blue: vec![128; half],
            red: vec![128; half],
            looks,
            halvings: 0,
            is_interlaced: false,
        }
    }

    fn grey(image: &image::RgbaImage) -> Vec<u8> {
        image.pixels().map(|pixel| pixel.0[0]).collect()
    }

    #[test]
    fn turning_and_mirroring_move_every_sample_to_its_place() {
        // 1 2 3
        // 4 5 6
        let samples = vec![1, 2, 3, 4, 5, 6];
        let seen = |turn, mirrored| grey(&picture(looks(turn, mirrored), 3, 2, samples.clone()).to_rgba());
        assert_eq!(seen(Turn::None, false), [1, 2, 3, 4, 5, 6]);
        assert_eq!(seen(Turn::Quarter, false), [4, 1, 5, 2, 6, 3]);
        assert_eq!(seen(Turn::Half, false), [6, 5, 4, 3, 2, 1]);
        assert_eq!(seen(Turn::ThreeQuarters, false), [3, 6, 2, 5, 1, 4]);
        assert_eq!(seen(Turn::None, true), [3, 2, 1, 6, 5, 4]);
        assert_eq!(seen(Turn::Quarter, true), [6, 3, 5, 2, 4, 1]);
    }

    #[test]
    fn a_halved_picture_holds_means_and_the_last_row_and_column_stand_for_missing_ones() {
        // 1 2 3
        // 4 5 6
        // 7 8 9: (1+2+4+5)/4 = 3, (3+3+6+6)/4 = 4.5, (7+8+7+8)/4 = 7.5; halves are rounded up.
        let half = picture(looks(Turn::None, false), 3, 3, (1..=9).collect()).halved(1);
        assert_eq!((half.width.get(), half.height.get()), (2, 2));
        assert_eq!(half.luma, [3, 5, 8, 9]);
        // Bright ones don't run over.
        assert_eq!(picture(looks(Turn::None, false), 4, 2, vec![255; 8]).halved(1).luma, [255, 255]);
    }

    #[test]
    fn pixels_that_are_not_square_are_stretched() {
        let wide = Looks { pixel_aspect: (4, 3), ..looks(Turn::None, false) };
        assert_eq!(wide.shown_size(720, 576), (960, 576));
        let tall = Looks { pixel_aspect: (8, 9), ..looks(Turn::Quarter, false) };
        assert_eq!(tall.shown_size(720, 480), (540, 720));
    }

    #[test]
    fn colours_follow_matrix_and_range() {
        // ITU-R BT.601-7, table 3: 8-bit quantisation of the 100 % colour bars, red (limited range).
        let limited =
            |matrix| Colours::new(Looks { matrix, range: Range::Limited, ..looks(Turn::None, false) });
        let near = |seen: [u8; 4], wanted: [u8; 3]| seen.iter().zip(wanted).all(|(a, b)| a.abs_diff(b) <= 2);
        assert!(near(limited(Matrix::Bt601).rgba(81, 90, 240), [255, 0, 0]));
        assert!(near(limited(Matrix::Bt601).rgba(235, 128, 128), [255, 255, 255]));
        assert!(near(limited(Matrix::Bt601).rgba(16, 128, 128), [0, 0, 0]));
        // The same red by BT.709's weights: Y = 16 + 219·0.2126, worked by hand.
        assert!(near(limited(Matrix::Bt709).rgba(63, 102, 240), [255, 0, 0]));
        let full = Colours::new(looks(Turn::None, false));
        assert_eq!(full.rgba(200, 128, 128), [200, 200, 200, 255]);
    }
}
