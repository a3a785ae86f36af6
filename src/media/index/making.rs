//! Making an [`Index`]: from a scan, from what a full decode gave, from what was kept.

use std::collections::{HashMap, HashSet};

use super::{AMBIGUOUS, Access, Identity, Index, Key};
use crate::media::Error;
use crate::media::clock::Clock;
use crate::media::index_file::Kept;
use crate::media::scan::Entry;
use crate::media::source::Source;
use crate::time::{FrameNumber, Micros, TimeBase};

/// A frame on its way into the index.
struct Placed {
    packet: Option<u32>,
    pts: Option<i64>,
    duration: i64,
}

impl Index {
    /// From a scan alone.
    pub(in crate::media) fn from_entries(
        entries: &[Entry],
        source: &Source,
        mut remarks: Vec<String>,
    ) -> Result<Self, Error> {
        let shown = entries.iter().filter(|entry| entry.is_shown).count();
        if shown == 0 {
            return Err(Error::NoPicture { path: source.probe.path.clone() });
        }
        let stamped = entries.iter().filter(|entry| entry.is_shown && entry.pts.is_some()).count();
        let identity = if stamped > 0 { Identity::Packet } else { Identity::CountFromKey };
        let clock = Clock::of(entries, source);
        let mut is_doubtful = (stamped > 0 && stamped < shown) || clock.is_doubtful;
        let mut placed: Vec<(usize, i64, Placed)> = Vec::with_capacity(shown);
        for (place, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.is_shown) {
            let own = if stamped > 0 { entry.pts } else { entry.dts };
            let piece = clock.piece(place);
            let pts = own.map(|pts| pts.saturating_add(piece.offset));
            let packet = u32::try_from(place).ok().filter(|_| identity == Identity::Packet);
            placed.push((
                piece.number,
                pts.unwrap_or(i64::MAX),
                Placed { packet, pts, duration: entry.duration },
            ));
        }
        placed.sort_by_key(|(piece, pts, _)| (*piece, *pts));
        let same = placed
            .windows(2)
            .any(|pair| matches!(pair, [(_, _, a), (_, _, b)] if a.pts.is_some() && a.pts == b.pts));
        // Two frames at one time, or frames without any: only the decoder can tell their order.
        is_doubtful |= same || (stamped == 0 && placed.iter().any(|(_, _, placed)| placed.pts.is_none()));
        remarks.extend(clock.remarks(source.time_base));
        let mut index = Self::empty(source.time_base, identity, remarks);
        let placed: Vec<Placed> = placed.into_iter().map(|(_, _, placed)| placed).collect();
        let _ = index.set_frames(&placed);
        index.remark_gaps();
        index.set_packets(entries);
        index.set_keys(entries, &clock, source);
        if is_doubtful {
            index.access = Access::SeekingDecodedIndex;
        }
        Ok(index)
    }

    /// An index as it was kept.
    pub(in crate::media) fn from_kept(kept: &Kept, source: &Source) -> Result<Self, Error> {
        let mut index = match &kept.decoded {
            Some(decoded) => Self::rebuilt(&kept.entries, decoded, source, kept.access, Vec::new())?,
            None => Self::from_entries(&kept.entries, source, Vec::new())?,
        };
        index.truncate(kept.count);
        index.remarks.clone_from(&kept.remarks);
        Ok(index)
    }

    fn empty(time_base: TimeBase, identity: Identity, remarks: Vec<String>) -> Self {
        Self {
            time_base,
            pts: Vec::new(),
            times: Vec::new(),
            end: Micros::ZERO,
            packets: Vec::new(),
            frames: Vec::new(),
            prints: Vec::new(),
            keys: Vec::new(),
            by_position: HashMap::new(),
            by_timestamps: HashMap::new(),
            identity,
            access: Access::Seeking,
            remarks,
            after_loss: Vec::new(),
        }
    }

    /// The same clip with the frames a full decode gave: the packet each came from.
    pub(in crate::media) fn rebuilt(
        entries: &[Entry],
        decoded: &[Option<u32>],
        source: &Source,
        access: Access,
        mut remarks: Vec<String>,
    ) -> Result<Self, Error> {
        if decoded.is_empty() {
            return Err(Error::NoPicture { path: source.probe.path.clone() });
        }
        let clock = Clock::of(entries, source);
        let mut once = HashSet::new();
        let is_told = decoded.iter().all(|packet| packet.is_some_and(|packet| once.insert(packet)));
        let access = if is_told { access } else { Access::StraightOnly };
        let identity =
            if access == Access::StraightOnly { Identity::CountFromStart } else { Identity::Packet };
        let has_pts = entries.iter().any(|entry| entry.pts.is_some());
        let mut placed: Vec<Placed> = decoded
            .iter()
            .map(|packet| {
                let place = packet.and_then(|packet| usize::try_from(packet).ok());
                let entry = place.and_then(|place| entries.get(place));
                let offset = place.map_or(0, |place| clock.piece(place).offset);
                Placed {
                    packet: packet.filter(|_| identity == Identity::Packet),
                    pts: entry.and_then(|entry| entry.pts).map(|pts| pts.saturating_add(offset)),
                    duration: entry.map_or(0, |entry| entry.duration),
                }
            })
            .collect();
        if !has_pts {
            // Only decoding times are written: they are those of the pictures in the order they are shown.
            let mut times: Vec<i64> = entries.iter().filter_map(|entry| entry.dts).collect();
            times.sort_unstable();
            for (placed, dts) in placed.iter_mut().zip(times) {
                placed.pts = Some(dts);
            }
        }
        let mut index = Self::empty(source.time_base, identity, Vec::new());
        let odd = index.set_frames(&placed);
        if odd > 0 {
            remarks.push(format!(
                "{odd} frames carry no time of their own, or one that another has or that goes back: they are shown evenly between their neighbours"
            ));
        }
        remarks.sort();
        remarks.dedup();
        index.remarks = remarks;
        index.access = access;
        index.set_packets(entries);
        index.set_keys(entries, &clock, source);
        Ok(index)
    }

    /// Gives each frame its time; how many had none that rises. Those lie evenly between their neighbours.
    fn set_frames(&mut self, placed: &[Placed]) -> usize {
        let usual = usual_step(placed);
        // A time counts when it rises above all before it and leaves one tick for each in between.
        let mut fixed: Vec<(usize, i64)> = Vec::with_capacity(placed.len());
        for (place, frame) in placed.iter().enumerate() {
            let Some(pts) = frame.pts else { continue };
            let leaves_room = fixed.last().is_none_or(|(before, last)| {
                let between = i64::try_from(place - before).unwrap_or(i64::MAX);
                pts.saturating_sub(*last) >= between
            });
            if leaves_room {
                fixed.push((place, pts));
            }
        }
        let odd = placed.len() - fixed.len();
        self.pts = Vec::with_capacity(placed.len());
        let first = fixed.first().copied().unwrap_or((0, 0));
        let lead = i64::try_from(first.0).unwrap_or(0);
        self.pts.extend((0..lead).map(|n| along(first.1, n - lead, usual)));
        for pair in fixed.windows(2) {
            let [(from, start), (to, end)] = pair else { continue };
            let steps = i64::try_from(to - from).unwrap_or(1);
            self.pts.extend((0..steps).map(|n| between(*start, *end, n, steps)));
        }
        if let Some((from, start)) = fixed.last() {
            let rest = i64::try_from(placed.len() - from).unwrap_or(1);
            self.pts.extend((0..rest).map(|n| along(*start, n, usual)));
        } else {
            let all = i64::try_from(placed.len()).unwrap_or(0);
            self.pts = (0..all).map(|n| along(0, n, usual)).collect();
        }
        self.packets = placed.iter().filter_map(|frame| frame.packet).collect();
        let first = self.pts.first().copied().unwrap_or(0);
        let time = |pts: i64| self.time_base.micros(pts.saturating_sub(first)).unwrap_or(Micros::MAX);
        self.times = self.pts.iter().map(|pts| time(*pts)).collect();
        let last = self.pts.last().copied().unwrap_or(first);
        let before = self.pts.len().checked_sub(2).and_then(|place| self.pts.get(place));
        let own = placed.last().map_or(0, |frame| frame.duration);
        let lasts = if own > 0 { own } else { before.map_or(0, |before| last.saturating_sub(*before)) };
        self.end = time(last.saturating_add(lasts));
        if lasts <= 0 {
            // A single picture of which nobody says how long it lasts: a common picture's length.
            self.end = Micros(self.end.0.saturating_add(Micros::from_millis(40).0));
        }
        odd
    }

    /// Says where the clock leaps on: nothing is shown in between but the picture before.
    fn remark_gaps(&mut self) {
        let mut steps: Vec<i64> = self.times.windows(2).filter_map(step).collect();
        steps.sort_unstable();
        let usual = steps.get(steps.len() / 2).copied().unwrap_or(0);
        let limit = usual.saturating_mul(20).max(1_000_000);
        let leaps = steps.iter().rev().take_while(|step| **step > limit).count();
        if leaps > 0 {
            let place = self.times.windows(2).position(|pair| step(pair).is_some_and(|step| step > limit));
            let at = place.and_then(|place| self.times.get(place)).copied().unwrap_or_default();
            self.remarks.push(format!(
                "the clip's clock leaps on {leaps} times by more than {} s, first at {}: nothing was recorded there, the camera's clock was set, or the file is damaged there",
                limit / 1_000_000,
                at.clock()
            ));
        }
    }

    fn set_packets(&mut self, entries: &[Entry]) {
        self.prints = entries.iter().map(|entry| entry.print).collect();
        self.frames = vec![None; entries.len()];
        for (frame, packet) in (0_u32..).map(FrameNumber).zip(&self.packets) {
            if let Some(place) = self.frames.get_mut(*packet as usize) {
                *place = Some(frame);
            }
        }
        for (ordinal, entry) in (0_u32..).zip(entries) {
            let _ = self
                .by_position
                .entry((entry.position, entry.print))
                .and_modify(|known| *known = AMBIGUOUS)
                .or_insert(ordinal);
            let _ = self
                .by_timestamps
                .entry((entry.pts, entry.dts, entry.print))
                .and_modify(|known| *known = AMBIGUOUS)
                .or_insert(ordinal);
        }
    }

    fn set_keys(&mut self, entries: &[Entry], clock: &Clock, source: &Source) {
        if source.seeks_by_bytes() {
            self.set_losses(entries);
        }
        // Seeking by decode timestamps is exact where the container has an index of them, and the
        // only way by time that works in program and transport streams.
        let has_pts = entries.iter().any(|entry| entry.pts.is_some());
        let by_decoding = !has_pts || source.probe.container.contains("mpeg");
        let by_bytes = source.seeks_by_bytes();
        let mut shown_before = 0_u32;
        self.keys.clear();
        for (place, entry) in entries.iter().enumerate() {
            if entry.is_key {
                let own = self.frames.get(place).copied().flatten();
                let frame = match self.identity {
                    Identity::CountFromKey | Identity::CountFromStart => Some(FrameNumber(shown_before)),
                    // A key that is not shown itself (before a cut) still leads to those after it.
                    Identity::Packet => own.or_else(|| {
                        let pts = entry.pts?.saturating_add(clock.piece(place).offset);
                        let place = self.pts.partition_point(|other| *other < pts);
                        u32::try_from(place).ok().map(FrameNumber)
                    }),
                };
                let timestamp = if by_decoding { entry.dts.or(entry.pts) } else { entry.pts.or(entry.dts) };
                let packet = u32::try_from(place).ok();
                // A key must not lead to an earlier frame than the one before it.
                if let (Some(frame), Some(packet)) = (frame, packet)
                    && self.keys.last().is_none_or(|last| last.frame <= frame)
                {
                    self.keys.push(Key {
                        packet,
                        frame,
                        timestamp: timestamp.unwrap_or(0),
                        position: i64::try_from(entry.position).ok().filter(|at| by_bytes && *at >= 0),
                        is_soft: entry.is_soft,
                        is_gradual: entry.is_gradual,
                        is_frame: own.is_some() || self.identity != Identity::Packet,
                    });
                }
            }
            shown_before += u32::from(entry.is_shown);
        }
    }
}

impl Index {
    /// Of a film that is still being written the last frames may lack some that come between
    /// them: they would have other numbers later, so they are left for later.
    pub(in crate::media) fn leave_ragged_end(&mut self) {
        const END: usize = 17;
        let mut steps: Vec<i64> = self.times.windows(2).filter_map(step).collect();
        let from = steps.len().saturating_sub(END);
        let end: Vec<i64> = steps.get(from..).unwrap_or(&[]).to_vec();
        steps.sort_unstable();
        let usual = steps.get(steps.len() / 2).copied().unwrap_or(0);
        if let Some(place) = end.iter().position(|step| *step * 2 > usual * 3) {
            self.truncate(from + place + 1);
        }
    }

    /// Broadcast streams lose packets without a word: where the clock of an even stream leaps, pictures are missing.
    fn set_losses(&mut self, entries: &[Entry]) {
        let step = |pair: &[Entry]| match pair {
            [Entry { dts: Some(a), .. }, Entry { dts: Some(b), .. }] => b.checked_sub(*a),
            _ => None,
        };
        let mut steps: Vec<i64> = entries.windows(2).filter_map(step).collect();
        steps.sort_unstable();
        let at = |share: usize| steps.get(steps.len() * share / 20).copied().unwrap_or(0);
        // A stream with uneven times tells nothing in this way.
        if at(2) <= 0 || at(2) != at(17) {
            return;
        }
        let usual = at(10);
        for (place, pair) in (1_u32..).zip(entries.windows(2)) {
            let is_loss = step(pair).is_some_and(|step| step * 2 > usual * 3);
            if is_loss && pair.last().is_some_and(|entry| !entry.is_key) {
                // The one before may have swallowed a part, and the time, of those that are missing.
                self.after_loss.extend([place - 1, place]);
            }
        }
        if !self.after_loss.is_empty() {
            self.remarks.push(format!(
                "pictures are missing in {} places: those after them, up to the next one that stands alone, can't be decoded for certain and are not shown",
                self.after_loss.len() / 2
            ));
            self.remarks.sort();
            self.remarks.dedup();
        }
    }

    /// Whether a frame can't be had for certain because others are missing before it.
    #[must_use]
    pub fn is_after_loss(&self, frame: FrameNumber) -> bool {
        self.packet_of(frame).is_some_and(|packet| {
            let from = self.damage_from(packet, frame);
            self.after_loss.iter().any(|lost| (from..=packet).contains(lost))
        })
    }
}

/// Time between two frames.
fn step(pair: &[Micros]) -> Option<i64> {
    let [before, after] = pair else { return None };
    Some((*after - *before).0)
}

/// The most common step between frames that carry times, in ticks; at least one.
fn usual_step(placed: &[Placed]) -> i64 {
    let own: Vec<i64> = placed.iter().filter_map(|frame| frame.pts).collect();
    let mut steps: Vec<i64> = own
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] if b > a => Some(b.saturating_sub(*a)),
            _ => None,
        })
        .collect();
    if let Some(duration) = placed.iter().map(|frame| frame.duration).find(|duration| *duration > 0) {
        steps.push(duration);
    }
    steps.sort_unstable();
    steps.get(steps.len() / 2).copied().unwrap_or(1).max(1)
}

/// `n` steps on from a time, or back; a damaged file may say times at the end of what can be counted.
fn along(from: i64, n: i64, step: i64) -> i64 {
    from.saturating_add(n.saturating_mul(step))
}

/// The `n`th of `steps` even steps from one time to another.
fn between(from: i64, to: i64, n: i64, steps: i64) -> i64 {
    let way = (i128::from(to) - i128::from(from)) * i128::from(n) / i128::from(steps.max(1));
    i64::try_from(i128::from(from) + way).unwrap_or(to)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_at_the_end_of_what_can_be_counted_stay_there() {
        assert_eq!((along(100, 3, 40), along(100, -2, 40)), (220, 20));
        assert_eq!(along(i64::MAX - 5, 3, 40), i64::MAX);
        assert_eq!(along(i64::MIN + 5, -3, i64::MAX), i64::MIN);
        assert_eq!((between(0, 100, 1, 4), between(-100, 100, 3, 4)), (25, 50));
        assert_eq!(between(i64::MIN, i64::MAX, 4, 4), i64::MAX);
    }
}
