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
