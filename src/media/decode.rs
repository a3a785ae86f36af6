//! The exact picture of any frame, or a refusal; never a neighbour.
//!
//! A decoder begins at a key it has recognised packet for packet, drops what belongs to an
//! earlier group, and knows each picture that comes out by its timestamp (or by counting, where a
//! file writes none). "At or after the time, with a tolerance" is how wrong pictures are shown; it
//! is not done here.

use std::num::NonZeroU32;
use std::ops::ControlFlow;
use std::sync::Arc;

use ffmpeg::format::Pixel;
use ffmpeg::software::scaling;
use ffmpeg_next as ffmpeg;

use super::index::{Identity, Index};
use super::picture::{Looks, Matrix, Picture, Range};
use super::source::{Reading, Source, aspect};
use super::{Error, ffi};
use crate::time::{FrameNumber, Micros};

/// What came out of the codec.
enum Received {
    Frame,
    NeedsInput,
    Drained,
}

/// A decoder in the middle of a run from one key.
struct Run {
    /// Decode order of the next packet to be sent, counted from the key.
    next_packet: u32,
    /// Pictures before this timestamp lack their references.
    first_pts: Option<i64>,
    /// The frame whose turn it is, where frames are counted.
    next_counted: FrameNumber,
    /// A counted run begins with its key.
    waits_for_key: bool,
    /// Last frame that came out.
    last_out: Option<FrameNumber>,
    /// Read and recognised, not sent yet.
    pending: Option<ffmpeg::Packet>,
    at_end: bool,
}

/// Decodes frames of one clip exactly.
pub(super) struct Decoder {
    source: Source,
    codec: ffmpeg::decoder::Video,
    index: Arc<Index>,
    converter: Converter,
    run: Option<Run>,
}

impl Decoder {
    pub(super) fn try_new(source: Source, index: Arc<Index>) -> Result<Self, Error> {
        let codec = source.decoder()?;
        Ok(Self::new(source, codec, index))
    }

    /// With a codec opened elsewhere: the decoder itself can't be moved to another thread.
    pub(super) fn new(source: Source, codec: ffmpeg::decoder::Video, index: Arc<Index>) -> Self {
        let converter = Converter::new(source.probe.looks);
        Self { source, codec, index, converter, run: None }
    }

    pub(super) fn index(&self) -> &Arc<Index> {
        &self.index
    }

    pub(super) fn into_source(self) -> Source {
        self.source
    }

    /// Decodes until `target` has come out, handing every picture of the run to `take`, which may
    /// end the run early by breaking.
    ///
    /// # Errors
    /// When the target does not come out, from its key or from an earlier one.
    pub(super) fn decode_to(
        &mut self,
        target: FrameNumber,
        take: &mut dyn FnMut(Picture) -> ControlFlow<()>,
    ) -> Result<(), Error> {
        if !self.continues_to(target) {
            self.begin_for(target, 0)?;
        }
        if self.run_until(target, take)? {
            return Ok(());
        }
        // One more try from further back: the key may have been none.
        self.begin_for(target, 1)?;
        if self.run_until(target, take)? {
            return Ok(());
        }
        self.run = None;
        Err(Error::Unreadable {
            frame: target,
            why: "it never came out of the decoder".to_owned(),
            path: self.source.probe.path.clone(),
        })
    }

    /// Forgets where it is: the next frame is fetched as if the clip had just been opened.
    pub(super) fn forget(&mut self) {
        self.run = None;
    }

    /// Whether going on reaches the target no later than beginning anew.
    fn continues_to(&self, target: FrameNumber) -> bool {
        let Some(run) = &self.run else { return false };
        let is_ahead = run.last_out.is_none_or(|last| last < target);
        let key = self.index.key_for(target).and_then(|place| self.index.keys.get(place));
        is_ahead && (run.at_end || key.is_none_or(|key| key.packet <= run.next_packet))
    }

    /// Puts the decoder at the key for a frame, or `back` keys before it.
    fn begin_for(&mut self, target: FrameNumber, back: usize) -> Result<(), Error> {
        self.codec.flush();
        self.run = None;
        if self.index.identity == Identity::CountFromStart {
            return self.begin_at_start(None);
        }
        let Some(place) = self.index.key_for(target) else { return self.begin_at_start(None) };
        let place = place.saturating_sub(back);
        let Some(key) = self.index.keys.get(place).copied() else { return self.begin_at_start(None) };
        // A seek may land behind the key: go further back, then give up on seeking.
        for earlier in 0..3 {
            let Some(aim) = place.checked_sub(earlier).and_then(|place| self.index.keys.get(place)) else {
                break;
            };
            if !self.source.seek(aim.timestamp) {
                continue;
            }
            if let Some(packet) = self.read_up_to(key.packet) {
                self.run = Some(Run {
                    next_packet: key.packet,
                    first_pts: key.first_pts,
                    next_counted: key.frame,
                    waits_for_key: self.index.identity == Identity::CountFromKey,
                    last_out: None,
                    pending: Some(packet),
                    at_end: false,
                });
                return Ok(());
            }
        }
        self.begin_at_start(Some(key))
    }

    /// Reads to the packet of this ordinal; `None` when what is read can't be recognised or lies
    /// behind it.
    fn read_up_to(&mut self, wanted: u32) -> Option<ffmpeg::Packet> {
        loop {
            let Reading::Packet(packet) = self.source.read() else { return None };
            match self.index.recognise(&packet)? {
                ordinal if ordinal == wanted => return Some(packet),
                ordinal if ordinal > wanted => return None,
                _ => {}
            }
        }
    }

    /// Reads from the start; up to a key without decoding, when there is one.
    fn begin_at_start(&mut self, key: Option<super::index::Key>) -> Result<(), Error> {
        self.source.rewind()?;
        self.codec = self.source.decoder()?;
        let mut run = Run {
            next_packet: 0,
            first_pts: None,
            next_counted: FrameNumber(0),
            waits_for_key: false,
            last_out: None,
            pending: None,
            at_end: false,
        };
        if let Some(key) = key {
            for _ in 0..key.packet {
                if !matches!(self.source.read(), Reading::Packet(_)) {
                    break;
                }
            }
            run.next_packet = key.packet;
            run.first_pts = key.first_pts;
            run.next_counted = key.frame;
            run.waits_for_key = self.index.identity == Identity::CountFromKey;
        }
        self.run = Some(run);
        Ok(())
    }

    /// Runs until the target came out; `false` when it was passed or the file ended.
    fn run_until(
        &mut self,
        target: FrameNumber,
        take: &mut dyn FnMut(Picture) -> ControlFlow<()>,
    ) -> Result<bool, Error> {
        let mut raw = ffmpeg::frame::Video::empty();
        loop {
            match self.receive(&mut raw) {
                Received::Frame => {
                    let Some(frame) = self.identify(&raw) else { continue };
                    if let Some(run) = &mut self.run {
                        run.last_out = Some(frame);
                    }
                    let time = self.index.time(frame).unwrap_or(Micros::ZERO);
                    let picture = self.converter.picture(&raw, frame, time).map_err(|why| {
                        Error::Unreadable { frame, why, path: self.source.probe.path.clone() }
                    })?;
                    let stop = take(picture).is_break();
                    if frame == target {
                        return Ok(true);
                    }
                    if frame > target {
                        return Ok(false);
                    }
                    if stop {
                        // Whoever asked wants something else now; the run can go on later.
                        return Ok(true);
                    }
                }
                Received::NeedsInput => self.send_next(),
                Received::Drained => {
                    self.run = None;
                    return Ok(false);
                }
            }
        }
    }

    fn receive(&mut self, raw: &mut ffmpeg::frame::Video) -> Received {
        match self.codec.receive_frame(raw) {
            Ok(()) => Received::Frame,
            Err(ffmpeg::Error::Eof) => Received::Drained,
            Err(ffmpeg::Error::Other { errno }) if errno == ffmpeg::error::EAGAIN => {
                if self.run.as_ref().is_none_or(|run| run.at_end) {
                    Received::Drained
                } else {
                    Received::NeedsInput
                }
            }
            // A picture that can't be decoded is left out; the ones after it may be fine.
            Err(_) => Received::NeedsInput,
        }
    }

    fn send_next(&mut self) {
        let Some(run) = &mut self.run else { return };
        if run.at_end {
            return;
        }
        let packet = match run.pending.take() {
            Some(packet) => Some(packet),
            None => match self.source.read() {
                Reading::Packet(packet) => Some(packet),
                Reading::End | Reading::Broken(_) => None,
            },
        };
        // What the codec says against a packet shows in the pictures that do not come out.
        let _ = if let Some(packet) = packet {
            run.next_packet += 1;
            self.codec.send_packet(&packet)
        } else {
            run.at_end = true;
            self.codec.send_eof()
        };
    }

    /// Which frame this is; `None` for one that must not be shown.
    fn identify(&mut self, raw: &ffmpeg::frame::Video) -> Option<FrameNumber> {
        let run = self.run.as_mut()?;
        match self.index.identity {
            Identity::Timestamp => {
                let pts = raw.pts().or_else(|| raw.timestamp())?;
                if run.first_pts.is_some_and(|first| pts < first) {
                    return None;
                }
                self.index.frame_of(pts)
            }
            Identity::CountFromKey | Identity::CountFromStart => {
                if run.waits_for_key {
                    if !raw.is_key() {
                        return None;
                    }
                    run.waits_for_key = false;
                }
                let frame = run.next_counted;
                run.next_counted = FrameNumber(frame.0 + 1);
                (frame <= self.index.last()).then_some(frame)
            }
        }
    }
}

/// Turns what the codec gives into a [`Picture`].
pub(super) struct Converter {
    looks: Looks,
    scaler: Option<(Pixel, u32, u32, scaling::Context)>,
}

impl Converter {
    pub(super) fn new(looks: Looks) -> Self {
        Self { looks, scaler: None }
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
        let looks = self.looks_of(raw);
        let is_plain = matches!(raw.format(), Pixel::YUV420P | Pixel::YUVJ420P) && !ffi::is_upside_down(raw);
        let mut converted = ffmpeg::frame::Video::empty();
        let planes = if is_plain {
            raw
        } else {
            self.convert(raw, &mut converted)?;
            &converted
        };
        let (half_width, half_height) = (width.get().div_ceil(2), height.get().div_ceil(2));
        Ok(Picture {
            frame,
            time,
            width,
            height,
            luma: plane(planes, 0, width.get(), height.get()),
            blue: plane(planes, 1, half_width, half_height),
            red: plane(planes, 2, half_width, half_height),
            looks,
            halvings: 0,
        })
    }

    fn convert(&mut self, raw: &ffmpeg::frame::Video, into: &mut ffmpeg::frame::Video) -> Result<(), String> {
        let (format, width, height) = (raw.format(), raw.width(), raw.height());
        let same = matches!(&self.scaler, Some((f, w, h, _)) if (*f, *w, *h) == (format, width, height));
        if !same {
            // The J formats are full range by name; their samples must not be squeezed.
            let is_full =
                matches!(format, Pixel::YUVJ422P | Pixel::YUVJ444P | Pixel::YUVJ440P | Pixel::YUVJ411P);
            let target = if is_full { Pixel::YUVJ420P } else { Pixel::YUV420P };
            let flags = scaling::Flags::BILINEAR | scaling::Flags::ACCURATE_RND;
            let context = scaling::Context::get(format, width, height, target, width, height, flags)
                .map_err(|error| error.to_string())?;
            self.scaler = Some((format, width, height, context));
        }
        let Some((.., scaler)) = &mut self.scaler else { return Err("no converter".to_owned()) };
        scaler.run(raw, into).map_err(|error| error.to_string())
    }

    fn looks_of(&self, raw: &ffmpeg::frame::Video) -> Looks {
        use ffmpeg::color::{Range as Said, Space};
        let format = raw.format();
        let is_full_by_name = matches!(
            format,
            Pixel::YUVJ420P | Pixel::YUVJ422P | Pixel::YUVJ444P | Pixel::YUVJ440P | Pixel::YUVJ411P
        );
        let name = format!("{format:?}");
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
        let is_full = is_full_by_name || (raw.color_range() == Said::JPEG && !is_converted_rgb);
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
