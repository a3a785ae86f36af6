//! From what a codec gives to a [`Picture`]: 8-bit planar 4:2:0, one whole picture, standard dynamic range.
//!
//! Three things change samples, and each picture is changed alike however it is reached:
//! other formats are converted by FFmpeg's scaler; high dynamic range is mapped by [`super::tone`];
//! a picture of two fields is shown without combs (the identity of the frame is untouched):
//! the rows of the field that was taken first stay as they are, and each sample of the other
//! field becomes the median of itself and the samples above and below it. Where nothing moves
//! between the fields that is nearly always itself; where something moves, the later field's
//! displaced rows give way to the first field's. On wish one field is shown alone.

use std::num::NonZeroU32;

use ffmpeg::format::Pixel;
use ffmpeg::software::scaling;
use ffmpeg_next as ffmpeg;

use super::picture::{Fields, Looks, Matrix, Picture, Range};
use super::source::aspect;
use super::{ffi, tone};
use crate::time::{FrameNumber, Micros};

/// Turns what the codec gives into a [`Picture`].
pub(super) struct Converter {
    looks: Looks,
    /// What is shown of interlaced pictures.
    pub(super) fields: Fields,
    scaler: Option<(Pixel, Pixel, u32, u32, scaling::Context)>,
    tone: Option<tone::Mapper>,
}

/// Three planes, tightly packed.
struct Planes {
    luma: Vec<u8>,
    blue: Vec<u8>,
    red: Vec<u8>,
}

impl Converter {
    pub(super) fn new(looks: Looks) -> Self {
        Self { looks, fields: Fields::Both, scaler: None, tone: None }
    }

    pub(super) fn picture(
        &mut self,
        raw: &ffmpeg::frame::Video,
        frame: FrameNumber,
        time: Micros,
    ) -> Result<Picture, String> {
        let (Some(width), Some(height)) = (NonZeroU32::new(raw.width()), NonZeroU32::new(raw.height()))
        else {
            return Err("it has no size".to_owned());
        };
        let mut looks = self.looks_of(raw);
        let (w, h) = (width.get(), height.get());
        let (half_width, half_height) = (w.div_ceil(2), h.div_ceil(2));
        let mut converted = ffmpeg::frame::Video::empty();
        let mut planes = if let Some(curve) = tone::Curve::of(raw) {
            let deep = if raw.format() == Pixel::YUV420P10LE && !ffi::is_upside_down(raw) {
                raw
            } else {
                self.convert(raw, Pixel::YUV420P10LE, &mut converted)?;
                &converted
            };
            let setting = (curve, looks.matrix, looks.range);
            let mapper = match self.tone.take() {
                Some(mapper) if mapper.setting() == setting => mapper,
                _ => tone::Mapper::new(setting),
            };
            let (luma, blue, red) = self.tone.insert(mapper).map(deep, w, h);
            looks.matrix = Matrix::Bt709;
            looks.range = Range::Limited;
            Planes { luma, blue, red }
        } else if is_plain(raw) {
            taken(raw, w, h, half_height)
        } else {
            // The chroma of two fields must not be mixed: its rows are halved after the fields are
            // told apart.
            let is_tall = raw.is_interlaced() && !is_half_high(raw.format());
            let target = match (is_full_by_name(raw.format()), is_tall) {
                (true, false) => Pixel::YUVJ420P,
                (true, true) => Pixel::YUVJ422P,
                (false, false) => Pixel::YUV420P,
                (false, true) => Pixel::YUV422P,
            };
            self.convert(raw, target, &mut converted)?;
            if is_tall {
                let mut tall = taken(&converted, w, h, h);
                for plane in [&mut tall.blue, &mut tall.red] {
                    self.without_combs(plane, half_width as usize, raw);
                    *plane = rows_halved(plane, half_width as usize);
                }
                self.without_combs(&mut tall.luma, w as usize, raw);
                return Ok(finished(frame, time, (width, height), tall, looks, true));
            }
            taken(&converted, w, h, half_height)
        };
        if raw.is_interlaced() {
            self.without_combs(&mut planes.luma, w as usize, raw);
            self.without_combs(&mut planes.blue, half_width as usize, raw);
            self.without_combs(&mut planes.red, half_width as usize, raw);
        }
        Ok(finished(frame, time, (width, height), planes, looks, raw.is_interlaced()))
    }

    fn without_combs(&self, plane: &mut [u8], width: usize, raw: &ffmpeg::frame::Video) {
        match self.fields {
            Fields::Both => one_field(plane, width, raw.is_top_first(), median),
            Fields::First => one_field(plane, width, raw.is_top_first(), mean),
            Fields::Second => one_field(plane, width, !raw.is_top_first(), mean),
        }
    }

    fn convert(
        &mut self,
        raw: &ffmpeg::frame::Video,
        target: Pixel,
        into: &mut ffmpeg::frame::Video,
    ) -> Result<(), String> {
        let (format, width, height) = (raw.format(), raw.width(), raw.height());
        let same = matches!(&self.scaler, Some((f, t, w, h, _)) if (*f, *t, *w, *h) == (format, target, width, height));
        if !same {
            let flags = scaling::Flags::BILINEAR | scaling::Flags::ACCURATE_RND;
            let context = scaling::Context::get(format, width, height, target, width, height, flags)
                .map_err(|error| error.to_string())?;
            self.scaler = Some((format, target, width, height, context));
        }
        let Some((.., scaler)) = &mut self.scaler else { return Err("no converter".to_owned()) };
        scaler.run(raw, into).map_err(|error| error.to_string())
    }

    fn looks_of(&self, raw: &ffmpeg::frame::Video) -> Looks {
        use ffmpeg::color::{Range as Said, Space};
        let name = format!("{:?}", raw.format());
        // What is not YUV becomes BT.601 in limited range when it is converted.
        let is_converted_rgb =
            ["RGB", "BGR", "GBR", "GRAY", "PAL8", "MONO"].iter().any(|part| name.contains(part));
        let matrix = match raw.color_space() {
            _ if is_converted_rgb => Matrix::Bt601,
            Space::BT709 => Matrix::Bt709,
            Space::BT470BG | Space::SMPTE170M | Space::FCC => Matrix::Bt601,
            Space::BT2020NCL | Space::BT2020CL => Matrix::Bt2020,
            // Nothing said: by the size, as cameras do (common practice, no source).
            _ if raw.height() >= 720 => Matrix::Bt709,
            _ => Matrix::Bt601,
        };
        let is_full = is_full_by_name(raw.format()) || (raw.color_range() == Said::JPEG && !is_converted_rgb);
        let ratio = raw.aspect_ratio();
        Looks {
            matrix,
            range: if is_full { Range::Full } else { Range::Limited },
            pixel_aspect: match self.looks.pixel_aspect {
                (1, 1) => aspect(ratio.numerator(), ratio.denominator()).unwrap_or((1, 1)),
                by_container => by_container,
            },
            ..self.looks
        }
    }
}

fn finished(
    frame: FrameNumber,
    time: Micros,
    (width, height): (NonZeroU32, NonZeroU32),
    planes: Planes,
    looks: Looks,
    is_interlaced: bool,
) -> Picture {
    let Planes { luma, blue, red } = planes;
    Picture { frame, time, width, height, luma, blue, red, looks, halvings: 0, is_interlaced }
}

fn is_plain(raw: &ffmpeg::frame::Video) -> bool {
    matches!(raw.format(), Pixel::YUV420P | Pixel::YUVJ420P) && !ffi::is_upside_down(raw)
}

/// The J formats are full range by name; their samples must not be squeezed.
fn is_full_by_name(format: Pixel) -> bool {
    matches!(format, Pixel::YUVJ420P | Pixel::YUVJ422P | Pixel::YUVJ444P | Pixel::YUVJ440P | Pixel::YUVJ411P)
}

/// Whether its chroma has half as many rows as its luma.
fn is_half_high(format: Pixel) -> bool {
    let name = format!("{format:?}");
    ["420", "NV12", "NV21", "P010", "P016"].iter().any(|part| name.contains(part))
}

fn taken(frame: &ffmpeg::frame::Video, width: u32, height: u32, chroma_height: u32) -> Planes {
    let half_width = width.div_ceil(2);
    Planes {
        luma: plane(frame, 0, width, height),
        blue: plane(frame, 1, half_width, chroma_height),
        red: plane(frame, 2, half_width, chroma_height),
    }
}

/// A plane without the padding behind its rows.
fn plane(frame: &ffmpeg::frame::Video, number: usize, width: u32, height: u32) -> Vec<u8> {
    let (width, height) = (width as usize, height as usize);
    let mut tight = Vec::with_capacity(width * height);
    for row in frame.data(number).chunks(frame.stride(number)).take(height) {
        tight.extend_from_slice(row.get(..width).unwrap_or(row));
    }
    tight.resize(width * height, 0);
    tight
}

/// The median of a sample and those above and below it.
fn median(own: u8, above: u8, below: u8) -> u8 {
    own.clamp(above.min(below), above.max(below))
}

/// What the field that is kept says of a row it does not have.
fn mean(_own: u8, above: u8, below: u8) -> u8 {
    above.midpoint(below)
}

/// Keeps the rows of one field; the others are made of themselves and their neighbours.
fn one_field(plane: &mut [u8], width: usize, is_top_kept: bool, made: fn(u8, u8, u8) -> u8) {
    if width == 0 || plane.len() < 2 * width {
        return;
    }
    let rows = plane.len() / width;
    let mut row = usize::from(is_top_kept);
    while row < rows {
        let (before, rest) = plane.split_at_mut(row * width);
        let Some((own, after)) = rest.split_at_mut_checked(width) else { return };
        let above = before.len().checked_sub(width).and_then(|from| before.get(from..));
        let below = after.get(..width);
        // At the edges the one neighbour there is stands for both.
        let (Some(above), Some(below)) = (above.or(below), below.or(above)) else { return };
        for ((own, above), below) in own.iter_mut().zip(above).zip(below) {
            *own = made(*own, *above, *below);
        }
        row += 2;
    }
}

/// Each two rows become their mean.
fn rows_halved(plane: &[u8], width: usize) -> Vec<u8> {
    let mut half = Vec::with_capacity(plane.len() / 2 + width);
    for pair in plane.chunks(2 * width) {
        let (above, below) = pair.split_at(width.min(pair.len()));
        let below = if below.len() == above.len() { below } else { above };
        half.extend(above.iter().zip(below).map(|(a, b)| a.midpoint(*b)));
    }
    half
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_field_stays_and_combs_go() {
        // A bar that moved one column between the fields; top field first.
        let mut combed = vec![9, 0, 0, 0, 9, 0, 9, 0, 0, 0, 9, 0];
        one_field(&mut combed, 3, true, median);
        assert_eq!(combed, [9, 0, 0, 9, 0, 0, 9, 0, 0, 9, 0, 0]);
        let mut bottom = vec![9, 0, 0, 0, 9, 0, 9, 0, 0, 0, 9, 0];
        one_field(&mut bottom, 3, false, median);
        assert_eq!(bottom, [0, 9, 0, 0, 9, 0, 0, 9, 0, 0, 9, 0]);
        // A slope that stands still is left alone.
        let mut still = vec![1, 2, 3, 4, 5];
        one_field(&mut still, 1, true, median);
        assert_eq!(still, [1, 2, 3, 4, 5]);
        // One field alone has nothing of the other, not even where nothing moved.
        let mut alone = vec![10, 90, 20, 90, 40];
        one_field(&mut alone, 1, true, mean);
        assert_eq!(alone, [10, 15, 20, 30, 40]);
        let mut other = vec![10, 90, 20, 80, 40];
        one_field(&mut other, 1, false, mean);
        assert_eq!(other, [90, 90, 85, 80, 80]);
    }

    #[test]
    fn rows_become_their_mean_and_a_last_one_stands_alone() {
        assert_eq!(rows_halved(&[10, 20, 30, 40, 7, 8], 2), [20, 30, 7, 8]);
    }
}
