//! The exact picture of any frame, or a refusal; never a neighbour.
//!
//! A decoder begins at a key it has recognised packet for packet, drops what belongs to an
//! earlier group, and knows each picture that comes out by the packet it came from: every packet
//! bears its number into the codec, where its timestamp would be, and the picture bears it out
//! again. (Where a file writes no times of pictures, they are counted from the key.) "At or after
//! the time, with a tolerance" is how wrong pictures are shown; it is not done here.
//!
//! Damage: from a packet that could not be decoded for certain to the end of its group no
//! picture is given. A codec conceals what it lacks with the picture before, and that picture bears
//! another number.

use std::collections::BTreeSet;
use std::ops::ControlFlow;
use std::sync::Arc;

use ffmpeg_next as ffmpeg;

use super::convert::Converter;
use super::index::{Identity, Index, Key};
use super::picture::{Fields, Picture};
use super::source::{Reading, Source, THREADS};
use super::{Error, scan};
use crate::time::{FrameNumber, Micros};

/// What came out of the codec.
enum Received {
    Frame,
    NeedsInput,
    Drained,
}

/// What became of a picture that came out.
enum Identified {
    /// This frame, whole.
    Frame(FrameNumber),
    /// This frame, and it can't be trusted.
    Damaged(FrameNumber),
    /// None that may be shown.
    Nothing,
}

/// A decoder in the middle of a run from one key.
struct Run {
    /// Decode order of the next packet to be sent.
    next_packet: u32,
    /// Pictures before this one lack their references.
    first: FrameNumber,
    /// It began at a key from which pictures mend by and by.
    is_soft: bool,
    /// The frame whose turn it is, where frames are counted.
    next_counted: FrameNumber,
    /// Last key that came out, where frames are counted.
    counted_from: u32,
    /// A counted run begins with its key.
    waits_for_key: bool,
    /// Last frame that came out.
    last_out: Option<FrameNumber>,
    /// Frames the codec was told to leave out.
    skipped: BTreeSet<FrameNumber>,
    /// Read and recognised, not sent yet.
    pending: Option<ffmpeg::Packet>,
    at_end: bool,
}

/// What is to happen with the pictures of a run.
pub(super) struct Taking<'a> {
    /// Whether a picture other than the target is of use; one that is not may be left undecoded. Breaks
    /// when nobody wants the run any more.
    pub(super) is_useful: &'a mut dyn FnMut(FrameNumber) -> ControlFlow<(), bool>,
    /// The target is made ready before those just before it: somebody waits for it, and for none of them.
    pub(super) is_jump: bool,
    /// Takes a picture, and may end the run early by breaking.
    pub(super) take: &'a mut dyn FnMut(Picture) -> ControlFlow<()>,
}

/// Decodes frames of one clip exactly.
pub(super) struct Decoder {
    source: Source,
    codec: ffmpeg::decoder::Video,
    index: Arc<Index>,
    converter: Converter,
    run: Option<Run>,
    /// Packets that could not be decoded for certain.
    bad: BTreeSet<u32>,
    can_skip: bool,
}

/// Codecs whose pictures that are said to be no reference truly are none. HEVC's are not on the
/// list: a picture there may be no reference of its own layer and one of the next.
const SKIPPING: &[&str] = &["h264", "mpeg2video", "mpeg1video", "mpeg4"];
/// Pictures that may come out before one that is shown earlier, at most (H.264 and HEVC keep 16).
const REORDERED: usize = 17;
/// Bytes of pictures that wait for the target of a jump before they are made ready.
const HELD: usize = 32 << 20;

impl Decoder {
    pub(super) fn try_new(source: Source, index: Arc<Index>) -> Result<Self, Error> {
        let codec = source.decoder()?;
        Ok(Self::new(source, codec, index))
    }

    /// With a codec opened elsewhere: the decoder itself can't be moved to another thread.
    pub(super) fn new(source: Source, codec: ffmpeg::decoder::Video, index: Arc<Index>) -> Self {
        let converter = Converter::new(source.probe.looks);
        let can_skip = SKIPPING.contains(&source.probe.codec.as_str()) && index.identity == Identity::Packet;
        let bad = index.after_loss.iter().copied().collect();
        Self { source, codec, index, converter, run: None, bad, can_skip }
    }

    pub(super) fn index(&self) -> &Arc<Index> {
        &self.index
    }

    pub(super) fn into_source(self) -> Source {
        self.source
    }

    /// Decodes until `target` has come out, handing every useful picture of the run to `taking`.
    ///
    /// # Errors
    /// When the target does not come out, from its key or from an earlier one, or is damaged.
    pub(super) fn decode_to(&mut self, target: FrameNumber, mut taking: Taking<'_>) -> Result<(), Error> {
        if self.is_known_damaged(target) {
            return Err(self.damaged(target));
        }
        if !self.continues_to(target) {
            self.begin_for(target, 0)?;
        }
        // Then from further back: the key may have been none, or one from which pictures mend by and by.
        for back in [1, 2, 5] {
            if self.run_until(target, &mut taking)? {
                return Ok(());
            }
            if self.is_known_damaged(target) {
                return Err(self.damaged(target));
            }
            self.begin_for(target, back)?;
        }
        if self.run_until(target, &mut taking)? {
            return Ok(());
        }
        self.run = None;
        Err(Error::Unreadable {
            frame: target,
            why: "it never came out of the decoder".to_owned(),
            path: self.source.probe.path.clone(),
        })
    }

    fn damaged(&self, frame: FrameNumber) -> Error {
        let why = "what it is made of can't be decoded for certain".to_owned();
        Error::Unreadable { frame, why, path: self.source.probe.path.clone() }
    }

    /// Whether damage found earlier reaches a frame.
    fn is_known_damaged(&self, frame: FrameNumber) -> bool {
        let Some(packet) = self.index.packet_of(frame) else { return false };
        self.is_reached_by_damage(packet, frame)
    }

    fn is_reached_by_damage(&self, packet: u32, frame: FrameNumber) -> bool {
        !self.bad.is_empty()
            && self.bad.range(self.index.damage_from(packet, frame)..=packet).next().is_some()
    }

    /// Forgets where it is: the next frame is fetched as if the clip had just been opened.
    pub(super) fn forget(&mut self) {
        self.run = None;
    }

    /// What is shown of interlaced pictures from now on.
    pub(super) fn set_fields(&mut self, fields: Fields) {
        self.converter.fields = fields;
    }

    /// Whether going on reaches the target no later than beginning anew.
    fn continues_to(&self, target: FrameNumber) -> bool {
        let Some(run) = &self.run else { return false };
        let is_ahead = run.last_out.is_none_or(|last| last < target)
            && !run.skipped.contains(&target)
            && target >= run.first;
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
        let is_gradual = self.index.keys.get(place).is_some_and(|key| key.is_gradual);
        let place = place.saturating_sub(back + usize::from(is_gradual));
        let Some(key) = self.index.keys.get(place).copied() else { return self.begin_at_start(None) };
        if let Some(packet) = self.packet_of_key(place, key) {
            self.run = Some(self.run_from(key, Some(packet)));
            return Ok(());
        }
        self.begin_at_start(Some(key))
    }

    fn run_from(&self, key: Key, pending: Option<ffmpeg::Packet>) -> Run {
        Run {
            next_packet: key.packet,
            first: match self.index.identity {
                Identity::Packet if key.is_gradual => self.index.next_key_frame(key.frame),
                Identity::Packet => key.frame,
                Identity::CountFromKey | Identity::CountFromStart => FrameNumber(0),
            },
            is_soft: key.is_soft,
            next_counted: key.frame,
            counted_from: key.packet,
            waits_for_key: self.index.identity == Identity::CountFromKey,
            last_out: None,
            skipped: BTreeSet::new(),
            pending,
            at_end: false,
        }
    }

    /// Seeks to a key and reads its packet. A seek may land behind it: then from further back.
    fn packet_of_key(&mut self, place: usize, key: Key) -> Option<ffmpeg::Packet> {
        let earlier: Vec<Key> = (0..3)
            .filter_map(|earlier| place.checked_sub(earlier).and_then(|place| self.index.keys.get(place)))
            .copied()
            .collect();
        for aim in &earlier {
            if aim.position.is_some_and(|position| self.source.seek_byte(position))
                && let Some(packet) = self.read_up_to(key.packet)
            {
                return Some(packet);
            }
        }
        for aim in &earlier {
            if self.source.seek(aim.timestamp)
                && let Some(packet) = self.read_up_to(key.packet)
            {
                return Some(packet);
            }
        }
        None
    }

    /// Reads to the packet of this ordinal; `None` when what is read can't be recognised or lies
    /// behind it.
    fn read_up_to(&mut self, wanted: u32) -> Option<ffmpeg::Packet> {
        // A stream entered at a byte begins with the rest of a packet.
        let mut strange = if self.source.seeks_by_bytes() { 16 } else { 0 };
        loop {
            let Reading::Packet(packet) = self.source.read() else { return None };
            match self.index.recognise(&packet) {
                Some(ordinal) if ordinal == wanted => return Some(packet),
                Some(ordinal) if ordinal > wanted => return None,
                Some(_) => strange = 0,
                None if strange > 0 => strange -= 1,
                None => return None,
            }
        }
    }

    /// Reads from the start; up to a key without decoding, when there is one.
    fn begin_at_start(&mut self, key: Option<Key>) -> Result<(), Error> {
        self.source.rewind()?;
        self.codec.flush();
        let mut run = Run {
            next_packet: 0,
            first: FrameNumber(0),
            is_soft: false,
            next_counted: FrameNumber(0),
            counted_from: 0,
            waits_for_key: false,
            last_out: None,
            skipped: BTreeSet::new(),
            pending: None,
            at_end: false,
        };
        if let Some(key) = key {
            for _ in 0..key.packet {
                if !matches!(self.source.read(), Reading::Packet(_)) {
                    break;
                }
            }
            run = self.run_from(key, None);
        }
        self.run = Some(run);
        Ok(())
    }

    /// Runs until the target came out; `false` when it was passed or the file ended.
    fn run_until(&mut self, target: FrameNumber, taking: &mut Taking<'_>) -> Result<bool, Error> {
        let mut raw = ffmpeg::frame::Video::empty();
        let mut held = Vec::new();
        let mut beyond = 0;
        loop {
            match self.receive(&mut raw) {
                Received::Frame => {
                    let (frame, is_whole) = match self.identify(&raw) {
                        Identified::Frame(frame) => (frame, true),
                        Identified::Damaged(frame) => (frame, false),
                        Identified::Nothing => continue,
                    };
                    if let Some(run) = &mut self.run {
                        run.last_out = run.last_out.max(Some(frame));
                    }
                    if !is_whole && frame == target {
                        return Err(self.damaged(target));
                    }
                    let mut stop = false;
                    let is_useful = frame == target
                        || match (taking.is_useful)(frame) {
                            ControlFlow::Continue(is_useful) => is_useful,
                            // Whoever asked wants something else now; the run can go on later.
                            ControlFlow::Break(()) => return Ok(true),
                        };
                    if is_whole && is_useful {
                        let bytes = raw.width() as usize * raw.height() as usize * 3 / 2;
                        if taking.is_jump && frame < target && (held.len() + 1) * bytes <= HELD {
                            held.push((frame, std::mem::replace(&mut raw, ffmpeg::frame::Video::empty())));
                        } else {
                            stop = self.hand_over(&raw, frame, taking)?;
                        }
                    }
                    if frame == target {
                        // The nearest first; also when something else is wanted now, for they are decoded.
                        for (frame, raw) in held.into_iter().rev() {
                            if self.hand_over(&raw, frame, taking).is_err() {
                                break;
                            }
                        }
                        return Ok(true);
                    }
                    beyond += usize::from(frame > target);
                    if beyond > REORDERED {
                        return Ok(false);
                    }
                    if stop {
                        return Ok(true);
                    }
                }
                Received::NeedsInput => self.send_next(target, taking),
                Received::Drained => {
                    self.run = None;
                    return Ok(false);
                }
            }
        }
    }

    /// Converts a picture and gives it away; whether no more are wanted.
    fn hand_over(
        &mut self,
        raw: &ffmpeg::frame::Video,
        frame: FrameNumber,
        taking: &mut Taking<'_>,
    ) -> Result<bool, Error> {
        let time = self.index.time(frame).unwrap_or(Micros::ZERO);
        let picture = self.converter.picture(raw, frame, time).map_err(|why| Error::Unreadable {
            frame,
            why,
            path: self.source.probe.path.clone(),
        })?;
        Ok((taking.take)(picture).is_break())
    }

    fn receive(&mut self, raw: &mut ffmpeg::frame::Video) -> Received {
        match self.codec.receive_frame(raw) {
            Ok(()) => Received::Frame,
            Err(ffmpeg::Error::Eof) => Received::Drained,
            Err(error) => {
                let is_hunger =
                    matches!(error, ffmpeg::Error::Other { errno } if errno == ffmpeg::error::EAGAIN);
                if !is_hunger {
                    // A picture that can't be decoded is left out.
                    self.note_failure();
                } else if self.run.as_ref().is_none_or(|run| run.at_end) {
                    return Received::Drained;
                }
                Received::NeedsInput
            }
        }
    }

    /// The codec failed on one of the packets it was given last.
    fn note_failure(&mut self) {
        let Some(run) = &self.run else { return };
        if run.is_soft && run.last_out.is_none() {
            return;
        }
        let last = run.next_packet.saturating_sub(1);
        let suspects = last.saturating_sub(THREADS)..=last;
        // Pictures that lack their references fail where a run begins; nothing depends on them.
        let is_leading = suspects
            .clone()
            .any(|packet| self.index.frame_of_packet(packet).is_some_and(|frame| frame < run.first));
        if !is_leading {
            self.bad.extend(suspects);
        }
    }

    fn send_next(&mut self, target: FrameNumber, taking: &mut Taking<'_>) {
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
        // A packet that is not the one the scan found here is refused: the file grew, or was changed.
        let ordinal = run.next_packet;
        let Some(mut packet) = packet.filter(|packet| self.index.is_packet(ordinal, packet)) else {
            run.at_end = true;
            let _ = self.codec.send_eof();
            return;
        };
        run.next_packet += 1;
        if packet.is_corrupt() && self.source.believes_corrupt() {
            let _ = self.bad.insert(ordinal);
        }
        if self.can_skip {
            let frame = self.index.frame_of_packet(ordinal);
            let is_useless = frame.is_some_and(|frame| {
                let no_use = ControlFlow::Continue(false);
                frame < target && frame >= run.first && (taking.is_useful)(frame) == no_use
            });
            if let Some(frame) = frame.filter(|_| is_useless) {
                let _ = run.skipped.insert(frame);
            }
            self.codec.skip_frame(if is_useless {
                ffmpeg::codec::discard::Discard::NonReference
            } else {
                ffmpeg::codec::discard::Discard::Default
            });
        }
        scan::number(&mut packet, ordinal);
        if self.codec.send_packet(&packet).is_err() {
            self.note_failure();
        }
    }

    /// Which frame this is.
    fn identify(&mut self, raw: &ffmpeg::frame::Video) -> Identified {
        let Some(run) = self.run.as_mut() else { return Identified::Nothing };
        let packet = raw.pts().and_then(|number| u32::try_from(number).ok());
        let is_bad = raw.is_corrupt() || raw.has_decode_errors();
        match self.index.identity {
            Identity::Packet => {
                let Some(packet) = packet else { return Identified::Nothing };
                let Some(frame) = self.index.frame_of_packet(packet) else { return Identified::Nothing };
                if frame < run.first {
                    return Identified::Nothing;
                }
                if is_bad {
                    let _ = self.bad.insert(packet);
                }
                if self.is_reached_by_damage(packet, frame) {
                    Identified::Damaged(frame)
                } else {
                    Identified::Frame(frame)
                }
            }
            Identity::CountFromKey | Identity::CountFromStart => {
                if run.waits_for_key {
                    if !raw.is_key() {
                        return Identified::Nothing;
                    }
                    run.waits_for_key = false;
                }
                if self.index.identity == Identity::CountFromKey
                    && let Some(key) = packet.and_then(|packet| self.index.key_at(packet))
                {
                    // Were pictures lost on the way, nobody knows which: the group is not to be trusted.
                    if key.frame != run.next_counted {
                        let _ = self.bad.insert(run.counted_from);
                        run.next_counted = key.frame;
                    }
                    run.counted_from = key.packet;
                }
                let frame = run.next_counted;
                run.next_counted = FrameNumber(frame.0 + 1);
                if frame > self.index.last() {
                    return Identified::Nothing;
                }
                let newest = packet.unwrap_or(run.next_packet);
                if is_bad {
                    let _ = self.bad.insert(newest);
                }
                let is_hit = self.bad.range(run.counted_from..=newest.max(run.counted_from)).next().is_some();
                if is_hit { Identified::Damaged(frame) } else { Identified::Frame(frame) }
            }
        }
    }
}
