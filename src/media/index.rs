//! Which frames a clip has, when each is shown, and where a decoder can begin.
//!
//! Made of a scan of all packets (`scan`). Frames are the packets that are shown, sorted
//! by presentation timestamp; a frame is its packet, and its time is that packet's timestamp in
//! the stream's own ticks, never a float and never number × 1/rate. Timestamps may lie (two
//! frames at one time, none at all, a clock that jumps): the packet a picture came from does not.
//! Files that write no presentation timestamps at all (AVI) are known by counting: the n-th key
//! that comes out of the decoder is the n-th key packet that went in.
//! What the scan says is held against a straight decode of a sample (in `check`); where
//! the two differ the index is rebuilt from the decoder's own output.

mod making;

use std::collections::HashMap;

use super::scan::Print;
use crate::time::{FrameNumber, Micros, TimeBase};

/// A place at which a decoder can begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Key {
    /// Its packet, in decode order.
    pub(super) packet: u32,
    /// First frame that can be had from it; those that come out before it lack their references.
    pub(super) frame: FrameNumber,
    /// What to seek to.
    pub(super) timestamp: i64,
    /// Where its packet begins in the file, if that can be sought.
    pub(super) position: Option<i64>,
    /// Pictures mend by and by from here.
    pub(super) is_soft: bool,
    /// The picture is whole only from the next key on.
    pub(super) is_gradual: bool,
    /// It is a frame itself.
    is_frame: bool,
}

/// How a decoded picture is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Identity {
    /// By the packet it came from.
    Packet,
    /// By counting from the key that was decoded first.
    CountFromKey,
    /// By counting from the start of the file.
    CountFromStart,
}

/// How pictures of a clip are reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// By seeking; a sample was checked against a straight read.
    Seeking,
    /// By seeking; the frames had to be counted by decoding the whole clip.
    SeekingDecodedIndex,
    /// Only by reading from the start: seeking gave other pictures than a straight read.
    StraightOnly,
}

impl Access {
    /// As people read it; `None` when there is nothing to tell.
    #[must_use]
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::Seeking => None,
            Self::SeekingDecodedIndex => {
                Some("the clip's own list of frames is wrong; it was made anew by decoding the whole clip")
            }
            Self::StraightOnly => Some(
                "the clip can only be read from its start: going back takes as long as reading up to there",
            ),
        }
    }
}

/// The frames of a clip.
#[derive(Debug)]
pub struct Index {
    time_base: TimeBase,
    /// Timestamp of each frame, in ticks, rising.
    pts: Vec<i64>,
    times: Vec<Micros>,
    end: Micros,
    /// Packet of each frame; empty where frames are counted.
    packets: Vec<u32>,
    /// Frame of each packet.
    frames: Vec<Option<FrameNumber>>,
    prints: Vec<Print>,
    pub(super) keys: Vec<Key>,
    by_position: HashMap<(isize, Print), u32>,
    by_timestamps: HashMap<(Option<i64>, Option<i64>, Print), u32>,
    pub(super) identity: Identity,
    pub(super) access: Access,
    remarks: Vec<String>,
    /// Packets before which others are missing, and which are no keys: nothing is certain from
    /// there to the end of the group.
    pub(super) after_loss: Vec<u32>,
}

/// Two packets look alike: neither may be taken for the other.
const AMBIGUOUS: u32 = u32::MAX;

impl Index {
    /// Number of frames.
    #[must_use]
    pub fn len(&self) -> usize {
        self.pts.len()
    }

    /// There is no frame; an opened clip always has one.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.pts.is_empty()
    }

    /// The last frame.
    #[must_use]
    pub fn last(&self) -> FrameNumber {
        FrameNumber(u32::try_from(self.len().saturating_sub(1)).unwrap_or(u32::MAX))
    }

    /// Clip time at which a frame appears.
    #[must_use]
    pub fn time(&self, frame: FrameNumber) -> Option<Micros> {
        self.times.get(frame.0 as usize).copied()
    }

    /// A frame's timestamp in the stream's ticks.
    #[must_use]
    pub fn pts(&self, frame: FrameNumber) -> Option<i64> {
        self.pts.get(frame.0 as usize).copied()
    }

    /// Clip times of all frames.
    #[must_use]
    pub fn times(&self) -> &[Micros] {
        &self.times
    }

    /// What a tick lasts.
    #[must_use]
    pub fn time_base(&self) -> TimeBase {
        self.time_base
    }

    /// Clip time at which the last frame ends.
    #[must_use]
    pub fn end(&self) -> Micros {
        self.end
    }

    /// The frame shown at a clip time: the last that has appeared; before the first, the first.
    #[must_use]
    pub fn frame_at(&self, time: Micros) -> FrameNumber {
        let place = self.times.partition_point(|other| *other <= time).saturating_sub(1);
        FrameNumber(u32::try_from(place).unwrap_or(u32::MAX))
    }

    /// Whether a decoder can begin at this very frame.
    #[must_use]
    pub fn is_key(&self, frame: FrameNumber) -> bool {
        self.keys
            .iter()
            .skip(self.keys.partition_point(|key| key.frame < frame))
            .take_while(|key| key.frame == frame)
            .any(|key| key.is_frame)
    }

    /// How pictures are reached.
    #[must_use]
    pub fn access(&self) -> Access {
        self.access
    }

    /// What a person should know about the file, in words.
    #[must_use]
    pub fn remarks(&self) -> Vec<String> {
        self.remarks.iter().cloned().chain(self.access.words().map(ToOwned::to_owned)).collect()
    }

    pub(super) fn add_remark(&mut self, remark: String) {
        self.remarks.push(remark);
    }

    pub(super) fn own_remarks(&self) -> Vec<String> {
        self.remarks.clone()
    }

    /// The frame that comes from a packet of the scan, counted in the order of the file; none where
    /// frames are counted, and for packets that are no frame.
    #[must_use]
    pub fn frame_of_packet(&self, packet: u32) -> Option<FrameNumber> {
        self.frames.get(packet as usize).copied().flatten()
    }

    /// Timestamp of the first shown picture on the file's clock, in ticks.
    pub(super) fn first_tick(&self) -> i64 {
        self.pts.first().copied().unwrap_or(0)
    }

    /// Whether frames are known by their packets, not by counting.
    #[must_use]
    pub fn knows_packets(&self) -> bool {
        self.identity == Identity::Packet
    }

    /// The packet a frame comes from; none where frames are counted.
    pub(super) fn packet_of(&self, frame: FrameNumber) -> Option<u32> {
        self.packets.get(frame.0 as usize).copied()
    }

    /// The bytes each frame takes in the file, where frames are known by their packets.
    pub(super) fn sizes(&self) -> impl Iterator<Item = (FrameNumber, u32)> {
        (0..)
            .map(FrameNumber)
            .zip(&self.packets)
            .filter_map(|(frame, packet)| self.prints.get(*packet as usize).map(|print| (frame, print.size)))
    }

    /// Whether a packet is the one the scan found in this place.
    pub(super) fn is_packet(&self, ordinal: u32, packet: &ffmpeg_next::Packet) -> bool {
        self.prints.get(ordinal as usize) == Some(&Print::of(packet))
    }

    /// From which packet on damage reaches a picture that comes from this one.
    pub(super) fn damage_from(&self, packet: u32, frame: FrameNumber) -> u32 {
        let mut place = self.keys.partition_point(|key| key.packet <= packet);
        loop {
            let Some(key) = place.checked_sub(1).and_then(|place| self.keys.get(place)) else { return 0 };
            if frame >= key.frame && !key.is_soft {
                return key.packet;
            }
            place -= 1;
        }
    }

    /// Place in `keys` of the last one from which the frame can be had.
    pub(super) fn key_for(&self, frame: FrameNumber) -> Option<usize> {
        self.keys.partition_point(|key| key.frame <= frame).checked_sub(1)
    }

    /// The frame of the first key after a frame; past the end when there is none.
    pub(super) fn next_key_frame(&self, frame: FrameNumber) -> FrameNumber {
        let next = self.keys.iter().map(|key| key.frame).find(|own| *own > frame);
        next.unwrap_or(FrameNumber(u32::MAX))
    }

    /// The key of a packet, if it is one.
    pub(super) fn key_at(&self, packet: u32) -> Option<Key> {
        let place = self.keys.binary_search_by_key(&packet, |key| key.packet).ok()?;
        self.keys.get(place).copied()
    }

    /// How many frames lie between the key a frame is decoded from and the next key.
    pub(super) fn group_len(&self, frame: FrameNumber) -> usize {
        let Some(place) = self.key_for(frame) else { return self.len() };
        let from = self.keys.get(place).map_or(0, |key| key.frame.0 as usize);
        let next = self.keys.iter().skip(place + 1).map(|key| key.frame.0 as usize).find(|next| *next > from);
        next.unwrap_or(self.len()) - from
    }

    /// Which packet of the scan this is; `None` when it can't be told for certain.
    pub(super) fn recognise(&self, packet: &ffmpeg_next::Packet) -> Option<u32> {
        let print = Print::of(packet);
        let by_position = self.by_position.get(&(packet.position(), print)).copied();
        if let Some(ordinal) = by_position.filter(|ordinal| *ordinal != AMBIGUOUS && packet.position() >= 0) {
            return Some(ordinal);
        }
        let key = (packet.pts(), packet.dts(), print);
        self.by_timestamps.get(&key).copied().filter(|ordinal| *ordinal != AMBIGUOUS)
    }

    /// Frames that never came out of the decoder at the end of the file are no frames.
    pub(super) fn truncate(&mut self, count: usize) {
        if count >= self.len() || count == 0 {
            return;
        }
        let end = self.times.get(count).copied().unwrap_or(self.end);
        self.pts.truncate(count);
        self.times.truncate(count);
        self.packets.truncate(count);
        for frame in &mut self.frames {
            *frame = frame.filter(|frame| (frame.0 as usize) < count);
        }
        self.end = end;
        self.keys.retain(|key| (key.frame.0 as usize) < count);
    }
}
