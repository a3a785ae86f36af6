//! The pictures of a session in the order of its clock, whichever clip they lie in.
//!
//! Player, coder and tape speak of pictures by their place on the reel. A mark may only sit on
//! one of them (rule 2), so the coder takes a [`Shot`], never a bare time.

use crate::model::ClipId;
use crate::time::{FrameNumber, Micros, Span, Spans};

/// A shown picture of the session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Shot {
    /// Session time at which it appears.
    pub at: Micros,
    /// Its clip.
    pub clip: ClipId,
    /// Its number there.
    pub frame: FrameNumber,
}

/// One clip's pictures, on the session's clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// The clip.
    pub clip: ClipId,
    /// Session time of each shown picture, rising.
    pub times: Vec<Micros>,
    /// Session time at which the last picture ends.
    pub end: Micros,
}

/// The pictures of one camera through a session; the pieces lie one after another.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Reel {
    shots: Vec<Shot>,
    film: Spans,
}

impl Reel {
    /// Joins pieces; where two overlap the earlier one wins (rule 4).
    #[must_use]
    pub fn new(mut pieces: Vec<Piece>) -> Self {
        pieces.retain(|piece| !piece.times.is_empty());
        pieces.sort_by_key(|piece| (piece.times.first().copied(), piece.clip));
        let mut shots: Vec<Shot> = Vec::with_capacity(pieces.iter().map(|piece| piece.times.len()).sum());
        let mut film = Vec::with_capacity(pieces.len());
        let mut taken_until = Micros(i64::MIN);
        for piece in pieces {
            for (frame, at) in (0..).zip(&piece.times) {
                // Equal times come from broken timestamps; the first picture stays.
                let is_after_last = shots.last().is_none_or(|last| last.at < *at);
                if *at >= taken_until && is_after_last {
                    shots.push(Shot { at: *at, clip: piece.clip, frame: FrameNumber(frame) });
                }
            }
            if let Some(first) = piece.times.first() {
                film.push(Span::between(*first, piece.end.max(*first)));
            }
            taken_until = taken_until.max(piece.end);
        }
        Self { shots, film: Spans::union_of(film) }
    }

    /// Number of pictures.
    #[must_use]
    pub fn len(&self) -> usize {
        self.shots.len()
    }

    /// There is no picture.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.shots.is_empty()
    }

    /// All of them.
    #[must_use]
    pub fn shots(&self) -> &[Shot] {
        &self.shots
    }

    /// The picture at a place.
    #[must_use]
    pub fn shot(&self, place: usize) -> Option<Shot> {
        self.shots.get(place).copied()
    }

    /// Place of the picture shown at a moment: the last one that has appeared; before the first
    /// picture, the first. `None` only when there is no picture.
    #[must_use]
    pub fn place_at(&self, at: Micros) -> Option<usize> {
        if self.is_empty() {
            return None;
        }
        Some(self.shots.partition_point(|shot| shot.at <= at).saturating_sub(1))
    }

    /// The picture shown at a moment.
    #[must_use]
    pub fn shot_at(&self, at: Micros) -> Option<Shot> {
        self.shot(self.place_at(at)?)
    }

    /// Place of a clip's picture, if it is on the reel.
    #[must_use]
    pub fn place_of(&self, clip: ClipId, frame: FrameNumber) -> Option<usize> {
        // Frames of one clip rise along the reel, but clips may interleave at a seam: search by clip.
        self.shots.iter().position(|shot| shot.clip == clip && shot.frame == frame)
    }

    /// The picture `by` places away, stopping at either end.
    #[must_use]
    pub fn step_from(&self, at: Micros, by: isize) -> Option<Shot> {
        let place = self.place_at(at)?.saturating_add_signed(by).min(self.len() - 1);
        self.shot(place)
    }

    /// Until when the picture at a place is shown: the next picture or the end of its film.
    #[must_use]
    pub fn shown_until(&self, place: usize) -> Option<Micros> {
        let shot = self.shot(place)?;
        let film_end = self.film.iter().find(|span| span.contains(shot.at)).map(|span| span.to);
        let next = self.shot(place + 1).map(|next| next.at);
        match (film_end, next) {
            (Some(end), Some(next)) => Some(end.min(next)),
            (end, next) => end.or(next),
        }
    }

    /// First picture.
    #[must_use]
    pub fn start(&self) -> Option<Micros> {
        self.shots.first().map(|shot| shot.at)
    }

    /// End of the last picture.
    #[must_use]
    pub fn end(&self) -> Option<Micros> {
        self.film.as_slice().last().map(|span| span.to)
    }

    /// Time with a picture.
    #[must_use]
    pub fn film(&self) -> &Spans {
        &self.film
    }

    /// Time between the first and the last picture without one: out of sight, "file gap" (rule 4).
    #[must_use]
    pub fn gaps(&self) -> Spans {
        match (self.start(), self.end()) {
            (Some(from), Some(to)) => Spans::from(Span::between(from, to)).without(&self.film),
            _ => Spans::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(clip: u32, times: &[i64], end: i64) -> Piece {
        Piece { clip: ClipId(clip), times: times.iter().copied().map(Micros).collect(), end: Micros(end) }
    }

    #[test]
    fn rule_4_the_earlier_clip_wins_and_gaps_show() {
        let reel =
            Reel::new(vec![piece(2, &[25, 35, 45], 55), piece(1, &[0, 10, 20], 30), piece(3, &[70, 80], 90)]);
        let at: Vec<i64> = reel.shots().iter().map(|shot| shot.at.0).collect();
        assert_eq!(at, [0, 10, 20, 35, 45, 70, 80]);
        assert_eq!(reel.gaps().as_slice(), [Span { from: Micros(55), to: Micros(70) }]);
        assert_eq!(reel.shown_until(4), Some(Micros(55)));
        assert_eq!(reel.shown_until(2), Some(Micros(35)));
        assert_eq!(reel.end(), Some(Micros(90)));
    }

    #[test]
    fn the_picture_shown_is_the_last_that_appeared() {
        let reel = Reel::new(vec![piece(1, &[0, 10, 20], 30)]);
        assert_eq!(reel.place_at(Micros(9)), Some(0));
        assert_eq!(reel.place_at(Micros(10)), Some(1));
        assert_eq!(reel.place_at(Micros(-5)), Some(0));
        assert_eq!(reel.step_from(Micros(12), -5).map(|shot| shot.at), Some(Micros(0)));
        assert_eq!(reel.step_from(Micros(12), 9).map(|shot| shot.at), Some(Micros(20)));
        assert_eq!(Reel::default().place_at(Micros(0)), None);
    }
}
