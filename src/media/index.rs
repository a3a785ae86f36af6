//! Which frames a clip has, when each is shown, and where a decoder can begin.
//!
//! One scan reads every packet of the video stream, without decoding. Frames are the packets that
//! are shown, sorted by presentation timestamp; a frame is known by its place in that order and by
//! its timestamp in the stream's own ticks, never by a float and never by number × 1/rate.
//! Files that write no presentation timestamps at all (AVI) are known by ordinals: the n-th key
//! that comes out of the decoder is the n-th key packet that went in.
//! What the scan says is held against a straight decode of a sample (in [`super::film`]); where
//! the two differ the index is rebuilt from the decoder's own output.

use std::collections::HashMap;
use std::ops::ControlFlow;

use super::index_file::Kept;
use super::source::{Reading, Source};
use super::{Error, ffi};
use crate::time::{FrameNumber, Micros, TimeBase};

/// What is known of a packet from the scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Entry {
    pub(super) pts: Option<i64>,
    pub(super) dts: Option<i64>,
    pub(super) position: isize,
    pub(super) size: usize,
    pub(super) duration: i64,
    pub(super) is_key: bool,
    pub(super) is_shown: bool,
}

/// A place at which a decoder can begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Key {
    /// Its packet, in decode order.
    pub(super) packet: u32,
    /// First frame that can be had from it.
    pub(super) frame: FrameNumber,
    /// What to seek to.
    pub(super) timestamp: i64,
    /// Pictures that come out before this timestamp belong to an earlier group and lack their references.
    pub(super) first_pts: Option<i64>,
}

/// How a decoded picture is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Identity {
    /// By its timestamp.
    Timestamp,
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
    pub(super) keys: Vec<Key>,
    by_position: HashMap<(isize, usize), u32>,
    by_timestamps: HashMap<(Option<i64>, Option<i64>, usize), u32>,
    pub(super) identity: Identity,
    pub(super) access: Access,
    remarks: Vec<String>,
}

/// Two packets look alike: neither may be taken for the other.
const AMBIGUOUS: u32 = u32::MAX;

impl Index {
    /// Scans a file. `progress` hears the share read so far and may stop the scan.
    ///
    /// # Errors
    /// When the file has no packet of film, or the scan is stopped.
    pub(super) fn scan(
        source: &mut Source,
        progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
    ) -> Result<(Self, Vec<Entry>), Error> {
        let path = source.probe.path.clone();
        #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
        let bytes = std::fs::metadata(&path).map_or(0, |about| about.len()).max(1) as f32;
        let mut entries = Vec::new();
        let mut remarks = Vec::new();
        loop {
            match source.read() {
                Reading::Packet(packet) => {
                    entries.push(Entry {
                        pts: packet.pts(),
                        dts: packet.dts(),
                        position: packet.position(),
                        size: packet.size(),
                        duration: packet.duration(),
                        is_key: packet.is_key(),
                        is_shown: !ffi::is_discarded(&packet),
                    });
                    #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
                    if entries.len() % 512 == 0
                        && progress((packet.position().max(0) as f32 / bytes).min(1.0)).is_break()
                    {
                        return Err(Error::Stopped);
                    }
                }
                Reading::End => break,
                Reading::Broken(why) => {
                    remarks.push(format!(
                        "the file can't be read to its end ({why}): what could be read is shown"
                    ));
                    break;
                }
            }
        }
        let index = Self::from_entries(&entries, source, remarks)?;
        Ok((index, entries))
    }

    /// An index as it was kept.
    pub(super) fn from_kept(kept: &Kept, source: &Source) -> Result<Self, Error> {
        let mut index = match &kept.decoded {
            Some(decoded) => Self::rebuilt(&kept.entries, decoded, source, kept.access, Vec::new())?,
            None => Self::from_entries(&kept.entries, source, Vec::new())?,
        };
        index.truncate(kept.count);
        index.remarks.clone_from(&kept.remarks);
        Ok(index)
    }

    fn from_entries(entries: &[Entry], source: &Source, remarks: Vec<String>) -> Result<Self, Error> {
        let shown: Vec<&Entry> = entries.iter().filter(|entry| entry.is_shown).collect();
        if shown.is_empty() {
            return Err(Error::NoPicture { path: source.probe.path.clone() });
        }
        let all_stamped = shown.iter().all(|entry| entry.pts.is_some());
        let identity = if all_stamped { Identity::Timestamp } else { Identity::CountFromKey };
        let stamp = |entry: &Entry| if all_stamped { entry.pts } else { entry.dts.or(entry.pts) };
        let mut stamped: Vec<(i64, i64)> =
            shown.iter().filter_map(|entry| Some((stamp(entry)?, entry.duration))).collect();
        stamped.sort_unstable();
        let count_before = stamped.len();
        stamped.dedup_by_key(|(pts, _)| *pts);
        let is_doubtful = stamped.len() < count_before || (!all_stamped && stamped.len() < shown.len());
        let mut index = Self::empty(source.time_base, identity, remarks);
        index.set_frames(&stamped);
        index.set_packets(entries);
        // Seeking by decode timestamps is exact where the container has an index of them, and the
        // only way that works in program and transport streams.
        let by_decoding = !all_stamped || source.probe.container.contains("mpeg");
        index.set_keys(entries, by_decoding);
        if is_doubtful {
            // Two frames at one time, or frames without any: only the decoder can tell them apart.
            index.access = Access::SeekingDecodedIndex;
        }
        Ok(index)
    }

    fn empty(time_base: TimeBase, identity: Identity, remarks: Vec<String>) -> Self {
        Self {
            time_base,
            pts: Vec::new(),
            times: Vec::new(),
            end: Micros::ZERO,
            keys: Vec::new(),
            by_position: HashMap::new(),
            by_timestamps: HashMap::new(),
            identity,
            access: Access::Seeking,
            remarks,
        }
    }

    /// The same clip with the frames a full decode gave: timestamp of each, where it had one.
    pub(super) fn rebuilt(
        entries: &[Entry],
        decoded: &[Option<i64>],
        source: &Source,
        access: Access,
        mut remarks: Vec<String>,
    ) -> Result<Self, Error> {
        if decoded.is_empty() {
            return Err(Error::NoPicture { path: source.probe.path.clone() });
        }
        let durations: HashMap<i64, i64> =
            entries.iter().filter_map(|entry| Some((entry.pts?, entry.duration))).collect();
        let mut stamped = Vec::with_capacity(decoded.len());
        let mut usual = 1;
        let mut is_rising = true;
        for pts in decoded {
            let last = stamped.last().map(|(pts, _): &(i64, i64)| *pts);
            let next = match (*pts, last) {
                (Some(pts), Some(last)) if pts > last => {
                    usual = pts - last;
                    pts
                }
                (Some(pts), None) => pts,
                // No time, or one that goes back: the frame follows the one before it.
                (_, last) => {
                    is_rising = false;
                    last.map_or(0, |last| last + usual)
                }
            };
            stamped.push((next, durations.get(&next).copied().unwrap_or(0)));
        }
        if !is_rising {
            remarks.push(
                "some frames carry no time or one that goes back; they are shown evenly after the one before"
                    .to_owned(),
            );
        }
        let access = if is_rising { access } else { Access::StraightOnly };
        let identity = match access {
            Access::StraightOnly => Identity::CountFromStart,
            Access::Seeking | Access::SeekingDecodedIndex => Identity::Timestamp,
        };
        let mut index = Self::empty(source.time_base, identity, remarks);
        index.access = access;
        index.set_frames(&stamped);
        index.set_packets(entries);
        index.set_keys(entries, source.probe.container.contains("mpeg"));
        Ok(index)
    }

    fn set_frames(&mut self, stamped: &[(i64, i64)]) {
        self.pts = stamped.iter().map(|(pts, _)| *pts).collect();
        let first = self.pts.first().copied().unwrap_or(0);
        let time = |pts: i64| self.time_base.micros(pts.saturating_sub(first)).unwrap_or(Micros::MAX);
        self.times = self.pts.iter().map(|pts| time(*pts)).collect();
        let last = self.pts.last().copied().unwrap_or(first);
        let before = self.pts.len().checked_sub(2).and_then(|place| self.pts.get(place));
        let own = stamped.last().map_or(0, |(_, duration)| *duration);
        let lasts = if own > 0 { own } else { before.map_or(0, |before| last - before) };
        self.end = time(last.saturating_add(lasts));
        if lasts <= 0 {
            // A single picture of which nobody says how long it lasts: a common picture's length.
            self.end = self.end + Micros::from_millis(40);
        }
    }

    fn set_packets(&mut self, entries: &[Entry]) {
        for (ordinal, entry) in (0_u32..).zip(entries) {
            let _ = self
                .by_position
                .entry((entry.position, entry.size))
                .and_modify(|known| *known = AMBIGUOUS)
                .or_insert(ordinal);
            let _ = self
                .by_timestamps
                .entry((entry.pts, entry.dts, entry.size))
                .and_modify(|known| *known = AMBIGUOUS)
                .or_insert(ordinal);
        }
    }

    fn set_keys(&mut self, entries: &[Entry], by_decoding: bool) {
        let mut shown_before = 0_u32;
        self.keys.clear();
        for (ordinal, entry) in (0_u32..).zip(entries) {
            if entry.is_key {
                let frame = match (self.identity, entry.pts) {
                    (Identity::Timestamp, Some(pts)) => {
                        u32::try_from(self.pts.partition_point(|other| *other < pts)).ok()
                    }
                    (Identity::Timestamp, None) => None,
                    (Identity::CountFromKey | Identity::CountFromStart, _) => Some(shown_before),
                };
                let timestamp = if by_decoding { entry.dts.or(entry.pts) } else { entry.pts.or(entry.dts) };
                if let (Some(frame), Some(timestamp)) = (frame, timestamp) {
                    let first_pts = entry.pts.filter(|_| self.identity == Identity::Timestamp);
                    // A key must not lead to an earlier frame than the one before it.
                    if self.keys.last().is_none_or(|last| last.frame.0 <= frame) {
                        self.keys.push(Key {
                            packet: ordinal,
                            frame: FrameNumber(frame),
                            timestamp,
                            first_pts,
                        });
                    }
                }
            }
            shown_before += u32::from(entry.is_shown);
        }
    }

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
        let exact =
            |key: &Key| key.frame == frame && key.first_pts.is_none_or(|pts| self.pts(frame) == Some(pts));
        self.keys
            .iter()
            .skip(self.keys.partition_point(|key| key.frame < frame))
            .take_while(|key| key.frame == frame)
            .any(exact)
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

    /// The frame of a timestamp.
    pub(super) fn frame_of(&self, pts: i64) -> Option<FrameNumber> {
        let place = self.pts.binary_search(&pts).ok()?;
        u32::try_from(place).ok().map(FrameNumber)
    }

    /// Place in `keys` of the last one from which the frame can be had.
    pub(super) fn key_for(&self, frame: FrameNumber) -> Option<usize> {
        self.keys.partition_point(|key| key.frame <= frame).checked_sub(1)
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
        let by_position = self.by_position.get(&(packet.position(), packet.size())).copied();
        if let Some(ordinal) = by_position.filter(|ordinal| *ordinal != AMBIGUOUS && packet.position() >= 0) {
            return Some(ordinal);
        }
        let key = (packet.pts(), packet.dts(), packet.size());
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
        self.end = end;
        self.keys.retain(|key| (key.frame.0 as usize) < count);
    }
}
