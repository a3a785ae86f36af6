//! Timestamps of a clip whose own clock was set back while it was written (a camera that starts anew
//! within one transport stream, films joined end to end), brought into one row.

use super::scan::Entry;
use super::source::Source;
use crate::time::TimeBase;

/// A stretch of packets on one clock.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    /// First packet.
    from: usize,
    pub(super) number: usize,
    /// Ticks to add so that the clip's clock goes on.
    pub(super) offset: i64,
}

/// How the timestamps of a clip that set its clock back are brought into one row.
pub(super) struct Clock {
    pieces: Vec<Piece>,
    /// The clock was set back where no decoder can begin: which frames go where, only decoding tells.
    pub(super) is_doubtful: bool,
}

impl Clock {
    pub(super) fn of(entries: &[Entry], source: &Source) -> Self {
        // FFmpeg reads a 33-bit clock that was set back as one that wrapped, a day ahead.
        let a_day = if source.seeks_by_bytes() { 1_i64 << 32 } else { i64::MAX };
        let mut clock = Self { pieces: vec![Piece { from: 0, number: 0, offset: 0 }], is_doubtful: false };
        let mut last_dts: Option<i64> = None;
        // Latest end of a shown picture, offset included.
        let mut end: Option<i64> = None;
        let mut offset = 0_i64;
        for (place, entry) in entries.iter().enumerate() {
            if let (Some(dts), Some(last)) = (entry.dts, last_dts)
                && (dts < last || dts.saturating_sub(last) > a_day)
            {
                if entry.is_key {
                    // The piece begins where the one before ended, so far as its own first picture says.
                    let start = entry.pts.or(entry.dts).unwrap_or(dts);
                    offset = end.map_or(offset, |end| end.saturating_sub(start));
                    clock.pieces.push(Piece { from: place, number: clock.pieces.len(), offset });
                } else {
                    clock.is_doubtful = true;
                }
            }
            last_dts = entry.dts.or(last_dts);
            if let Some(pts) = entry.pts.or(entry.dts).filter(|_| entry.is_shown) {
                let own = pts.saturating_add(offset).saturating_add(entry.duration.max(1));
                end = Some(end.map_or(own, |end| end.max(own)));
            }
        }
        clock
    }

    pub(super) fn piece(&self, packet: usize) -> Piece {
        let place = self.pieces.partition_point(|piece| piece.from <= packet);
        let first = Piece { from: 0, number: 0, offset: 0 };
        place.checked_sub(1).and_then(|place| self.pieces.get(place)).copied().unwrap_or(first)
    }

    pub(super) fn remarks(&self, time_base: TimeBase) -> Vec<String> {
        self.pieces
            .iter()
            .skip(1)
            .map(|piece| {
                let by = time_base.micros(piece.offset).unwrap_or_default();
                format!(
                    "the clip's clock is set back at packet {}: from there on {} are added, so that the film goes on without a gap; how long the pause was is not known",
                    piece.from,
                    by.clock()
                )
            })
            .collect()
    }
}
