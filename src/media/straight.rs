//! Reading a clip from the first picture to the last, with nothing but the decoder: what random
//! access is measured against.

use std::path::Path;

use ffmpeg_next as ffmpeg;

use super::decode::Converter;
use super::source::{Reading, Source};
use super::{Error, Picture};
use crate::time::{FrameNumber, Micros, TimeBase};

/// Pictures in the order in which the decoder shows them.
pub struct Straight {
    source: Source,
    codec: ffmpeg::decoder::Video,
    converter: Converter,
    next: FrameNumber,
    at_end: bool,
}

/// A picture of a straight read.
#[derive(Debug)]
pub struct StraightPicture {
    /// The picture; its number is its place in the read, its time is not set.
    pub picture: Picture,
    /// Its timestamp in the stream's ticks, if it has one.
    pub pts: Option<i64>,
}

impl Straight {
    /// Opens a clip.
    ///
    /// # Errors
    /// When it can't be opened.
    pub fn open(path: &Path) -> Result<Self, Error> {
        Self::over(Source::open(path)?)
    }

    /// From where the source stands, which must be its start.
    pub(super) fn over(source: Source) -> Result<Self, Error> {
        let codec = source.decoder()?;
        let converter = Converter::new(source.probe.looks);
        Ok(Self { source, codec, converter, next: FrameNumber(0), at_end: false })
    }

    pub(super) fn into_source(self) -> Source {
        self.source
    }

    /// What a tick of the timestamps lasts.
    #[must_use]
    pub fn time_base(&self) -> TimeBase {
        self.source.time_base
    }

    /// The next picture; `None` at the end. Pictures that can't be decoded are left out.
    pub fn next_picture(&mut self) -> Option<StraightPicture> {
        let mut raw = ffmpeg::frame::Video::empty();
        loop {
            match self.codec.receive_frame(&mut raw) {
                Ok(()) => {
                    let number = self.next;
                    self.next = FrameNumber(number.0 + 1);
                    let Ok(picture) = self.converter.picture(&raw, number, Micros::ZERO) else { continue };
                    return Some(StraightPicture { picture, pts: raw.pts().or_else(|| raw.timestamp()) });
                }
                Err(ffmpeg::Error::Eof) => return None,
                Err(_) if self.at_end => return None,
                // It wants input, or could not decode a picture: either way the next packet follows.
                Err(_) => {}
            }
            let _ = match self.source.read() {
                Reading::Packet(packet) => self.codec.send_packet(&packet),
                Reading::End | Reading::Broken(_) => {
                    self.at_end = true;
                    self.codec.send_eof()
                }
            };
        }
    }
}
