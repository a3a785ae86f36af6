//! Reading a clip from the first picture to the last, with nothing but the decoder: what random
//! access is measured against.

use std::path::Path;

use ffmpeg_next as ffmpeg;

use super::convert::Converter;
use super::source::{Reading, Source, THREADS};
use super::{Error, Picture, scan};
use crate::time::{FrameNumber, Micros, TimeBase};

/// Pictures in the order in which the decoder shows them.
pub struct Straight {
    source: Source,
    codec: ffmpeg::decoder::Video,
    converter: Converter,
    raw: ffmpeg::frame::Video,
    next: FrameNumber,
    /// Of each packet read: its timestamp, and whether it is a key.
    packets: Vec<(Option<i64>, bool)>,
    /// Damage since this packet.
    damaged_at: Option<usize>,
    at_end: bool,
}

/// A picture of a straight read.
#[derive(Debug)]
pub struct StraightPicture {
    /// The picture; its number is its place in the read, its time is not set.
    pub picture: Picture,
    /// Its timestamp in the stream's ticks, if it has one.
    pub pts: Option<i64>,
    /// The packet it came from, counted from the start of the file.
    pub packet: Option<u32>,
    /// It, or what it is made of, could not be decoded for certain.
    pub is_damaged: bool,
}

/// A picture of a straight read that has not been converted.
pub(super) struct Come {
    pub(super) number: FrameNumber,
    pub(super) pts: Option<i64>,
    pub(super) packet: Option<u32>,
    pub(super) is_damaged: bool,
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
        Ok(Self {
            source,
            codec,
            converter,
            raw: ffmpeg::frame::Video::empty(),
            next: FrameNumber(0),
            packets: Vec::new(),
            damaged_at: None,
            at_end: false,
        })
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
        loop {
            let come = self.advance()?;
            let Some(picture) = self.converted(come.number) else { continue };
            let Come { pts, packet, is_damaged, .. } = come;
            return Some(StraightPicture { picture, pts, packet, is_damaged });
        }
    }

    /// The picture that came last.
    pub(super) fn converted(&mut self, number: FrameNumber) -> Option<Picture> {
        self.converter.picture(&self.raw, number, Micros::ZERO).ok()
    }

    /// On to the next picture.
    pub(super) fn advance(&mut self) -> Option<Come> {
        loop {
            match self.codec.receive_frame(&mut self.raw) {
                Ok(()) => return Some(self.come()),
                Err(ffmpeg::Error::Eof) => return None,
                Err(ffmpeg::Error::Other { errno }) if errno == ffmpeg::error::EAGAIN => {
                    if self.at_end {
                        return None;
                    }
                }
                // It could not decode a picture; the next packet follows.
                Err(_) if self.at_end => return None,
                Err(_) => self.note_failure(),
            }
            match self.source.read() {
                Reading::Packet(mut packet) => {
                    if packet.is_corrupt() && self.source.believes_corrupt() {
                        self.damaged_at = Some(self.packets.len());
                    }
                    let ordinal = u32::try_from(self.packets.len()).unwrap_or(u32::MAX);
                    self.packets.push((packet.pts(), packet.is_key()));
                    scan::number(&mut packet, ordinal);
                    if self.codec.send_packet(&packet).is_err() {
                        self.note_failure();
                    }
                }
                Reading::End | Reading::Broken(_) => {
                    self.at_end = true;
                    // What is still inside comes out; there is nothing else it could say.
                    let _ = self.codec.send_eof();
                }
            }
        }
    }

    fn note_failure(&mut self) {
        // It failed on one of the last packets: a key among them may be meant.
        let last = self.packets.len().saturating_sub(1);
        self.damaged_at = Some(self.damaged_at.unwrap_or(0).max(last));
    }

    fn come(&mut self) -> Come {
        let number = self.next;
        self.next = FrameNumber(number.0 + 1);
        let packet = self.raw.pts().and_then(|number| usize::try_from(number).ok());
        let about = packet.and_then(|packet| self.packets.get(packet)).copied();
        let is_bad = self.raw.is_corrupt() || self.raw.has_decode_errors();
        if is_bad {
            self.damaged_at = packet.or(self.damaged_at);
        } else if let (Some(packet), Some((_, true)), Some(at)) = (packet, about, self.damaged_at)
            && packet > at + THREADS as usize
        {
            self.damaged_at = None;
        }
        Come {
            number,
            pts: about.and_then(|(pts, _)| pts),
            packet: packet.and_then(|packet| u32::try_from(packet).ok()),
            is_damaged: is_bad || self.damaged_at.is_some(),
        }
    }
}
