//! Decoded pictures kept in memory, bounded by bytes.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Picture;
use crate::time::FrameNumber;

/// Pictures around the reading line; when full, the ones farthest from it go first.
#[derive(Debug)]
pub struct Cache {
    pictures: BTreeMap<FrameNumber, Arc<Picture>>,
    bytes: usize,
    limit: usize,
    reading_line: FrameNumber,
}

impl Cache {
    /// Default bound: 512 MiB.
    pub const DEFAULT_BYTES: usize = 512 << 20;

    /// An empty cache that holds at most `limit` bytes, but always the picture at the reading line.
    #[must_use]
    pub fn new(limit: usize) -> Self {
        Self { pictures: BTreeMap::new(), bytes: 0, limit, reading_line: FrameNumber(0) }
    }

    /// The picture, if it is here.
    #[must_use]
    pub fn get(&self, frame: FrameNumber) -> Option<Arc<Picture>> {
        self.pictures.get(&frame).cloned()
    }

    /// Whether the picture is here.
    #[must_use]
    pub fn contains(&self, frame: FrameNumber) -> bool {
        self.pictures.contains_key(&frame)
    }

    /// Whether the picture is here with every sample.
    #[must_use]
    pub fn has_whole(&self, frame: FrameNumber) -> bool {
        self.pictures.get(&frame).is_some_and(|picture| picture.halvings == 0)
    }

    /// Where people look now; decides what is kept.
    pub fn set_reading_line(&mut self, frame: FrameNumber) {
        self.reading_line = frame;
    }

    /// Whether a picture of this size at this place would stay: it would not when keeping it
    /// means dropping one nearer to the reading line.
    #[must_use]
    pub fn would_keep(&self, frame: FrameNumber, bytes: usize) -> bool {
        if self.bytes + bytes <= self.limit {
            return true;
        }
        let distance = |other: FrameNumber| other.0.abs_diff(self.reading_line.0);
        self.farthest().is_none_or(|farthest| distance(farthest) > distance(frame))
    }

    /// Keeps a picture.
    pub fn put(&mut self, picture: Arc<Picture>) {
        if self.has_whole(picture.frame) && picture.halvings > 0 {
            return;
        }
        let added = picture.bytes();
        if let Some(old) = self.pictures.insert(picture.frame, picture) {
            self.bytes -= old.bytes();
        }
        self.bytes += added;
        while self.bytes > self.limit && self.pictures.len() > 1 {
            let Some(farthest) = self.farthest() else { break };
            if let Some(gone) = self.pictures.remove(&farthest) {
                self.bytes -= gone.bytes();
            }
        }
    }

    fn farthest(&self) -> Option<FrameNumber> {
        let first = *self.pictures.first_key_value()?.0;
        let last = *self.pictures.last_key_value()?.0;
        let line = self.reading_line.0;
        Some(if first.0.abs_diff(line) >= last.0.abs_diff(line) { first } else { last })
    }

    /// Forgets all pictures.
    pub fn clear(&mut self) {
        self.pictures.clear();
        self.bytes = 0;
    }

    /// Bytes of the pictures held.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.bytes
    }

    /// Most bytes it may hold.
    #[must_use]
    pub fn limit(&self) -> usize {
        self.limit
    }
}

#[cfg(test)]
mod tests {
    use std::num::NonZeroU32;

    use super::super::picture::{Looks, Matrix, Range, Turn};
    use super::*;
    use crate::time::Micros;

    fn picture(frame: u32) -> Arc<Picture> {
        let looks = Looks {
            matrix: Matrix::Bt601,
            range: Range::Limited,
            turn: Turn::None,
            mirrored: false,
            pixel_aspect: (1, 1),
        };
        let size = NonZeroU32::new(10).unwrap();
        Arc::new(Picture {
            frame: FrameNumber(frame),
            time: Micros(0),
            width: size,
            height: size,
            luma: vec![0; 100],
            blue: vec![0; 25],
            red: vec![0; 25],
            looks,
            halvings: 0,
            is_interlaced: false,
        })
    }

    #[test]
    fn the_farthest_goes_first_and_the_bound_holds() {
        let mut cache = Cache::new(450);
        cache.set_reading_line(FrameNumber(10));
        for frame in [2, 9, 10, 30, 11] {
            cache.put(picture(frame));
            assert!(cache.bytes() <= 450);
        }
        assert!(
            cache.contains(FrameNumber(9))
                && cache.contains(FrameNumber(10))
                && cache.contains(FrameNumber(11))
        );
        assert!(!cache.would_keep(FrameNumber(50), 150));
        assert!(cache.would_keep(FrameNumber(10), 150));
    }

    #[test]
    fn one_picture_is_kept_even_when_it_is_larger_than_the_bound() {
        let mut cache = Cache::new(10);
        cache.put(picture(1));
        assert!(cache.contains(FrameNumber(1)));
    }
}
