//! Where the picture changes, on the session's clock: for finding one's way through long film, never data.

use std::sync::Arc;

use crate::media::motion::{From, Motion};
use crate::time::{ClipClock, Micros, Span, Spans, TimeBase};

/// Film shorter than this is seen through faster than it is looked through.
pub const LONG: Micros = Micros::from_whole_seconds(600);

/// The change of one clip's picture, where it lies in the session.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    span: Span,
    clock: ClipClock,
    motion: Arc<Motion>,
    heights: Vec<f32>,
}

/// The change of the picture through a session.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MotionLine {
    pieces: Vec<Piece>,
    stretches: Spans,
}

impl Piece {
    /// A clip's change; `span`: session time of its pictures.
    #[must_use]
    pub fn new(span: Span, clock: ClipClock, motion: &Arc<Motion>) -> Self {
        Self { span, clock, motion: Arc::clone(motion), heights: motion.heights() }
    }
}

impl MotionLine {
    /// Of the clips of one camera.
    #[must_use]
    pub fn new(pieces: Vec<Piece>) -> Self {
        let on_session = |piece: &Piece, span: Span| {
            let at = |own: Micros| piece.clock.session_time(own.0, TimeBase::MICROS);
            Span::try_new(at(span.from)?.max(piece.span.from), at(span.to)?.min(piece.span.to))
        };
        let all = pieces.iter().flat_map(|piece| {
            piece.motion.stretches().into_iter().filter_map(move |span| on_session(piece, span))
        });
        let stretches = Spans::union_of(all.collect::<Vec<_>>());
        Self { pieces, stretches }
    }

    /// Nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// Stretches that stand out.
    #[must_use]
    pub fn stretches(&self) -> &Spans {
        &self.stretches
    }

    /// Begin of the first stretch after a moment.
    #[must_use]
    pub fn next(&self, at: Micros) -> Option<Micros> {
        self.stretches.iter().map(|own| own.from).find(|from| *from > at)
    }

    /// Begin of the last stretch before a moment.
    #[must_use]
    pub fn previous(&self, at: Micros) -> Option<Micros> {
        self.stretches.iter().map(|own| own.from).take_while(|from| *from < at).last()
    }

    /// The greatest height between two moments, 0–1; `None` where nothing is known.
    #[must_use]
    pub fn height(&self, from: Micros, to: Micros) -> Option<f32> {
        self.pieces.iter().filter_map(|piece| piece.height(from, to)).reduce(f32::max)
    }

    /// What it was taken from.
    #[must_use]
    pub fn words(&self) -> &'static str {
        let is_seen = self.pieces.iter().all(|piece| piece.motion.from == From::Pictures);
        if is_seen { "from key pictures" } else { "guessed from the sizes of pictures in the file" }
    }
}

impl Piece {
    fn height(&self, from: Micros, to: Micros) -> Option<f32> {
        if to <= self.span.from || from >= self.span.to {
            return None;
        }
        let bin = self.motion.bin.0.max(1);
        let place = |at: Micros| usize::try_from(self.clock.clip_time(at)?.0.max(0) / bin).ok();
        let first = place(from.max(self.span.from))?;
        let last = place(to.min(self.span.to))?.max(first);
        self.heights
            .get(first..=last.min(self.heights.len().checked_sub(1)?))?
            .iter()
            .copied()
            .reduce(f32::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(seconds: i64) -> Micros {
        Micros::from_whole_seconds(seconds)
    }

    #[test]
    fn stretches_lie_on_the_sessions_clock_and_are_gone_through_one_by_one() {
        let mut change = vec![1.0; 100];
        change[20] = 50.0;
        change[60] = 25.0;
        change[61] = 50.0;
        let motion = Arc::new(Motion { from: From::Pictures, bin: s(1), change });
        // Filmed four times slower than it plays: a second of film is four of the session.
        let clip = crate::model::Clip {
            offset: s(1_000),
            real_time_factor: 0.25,
            ..crate::model::Clip::new(crate::model::ClipId(0), "a.mp4")
        };
        let clock = clip.clock().unwrap();
        let line = MotionLine::new(vec![Piece::new(Span::between(s(1_000), s(1_400)), clock, &motion)]);
        let found: Vec<Span> = line.stretches().iter().copied().collect();
        assert_eq!(found, [Span::between(s(1_080), s(1_084)), Span::between(s(1_240), s(1_248))]);
        assert_eq!(line.next(s(0)), Some(s(1_080)));
        assert_eq!(line.next(s(1_080)), Some(s(1_240)));
        assert_eq!(line.next(s(1_240)), None);
        assert_eq!(line.previous(s(1_240)), Some(s(1_080)));
        assert_eq!(line.previous(s(1_080)), None);
        assert_eq!(line.height(s(0), s(900)), None, "no film, no height");
        assert!(line.height(s(1_080), s(1_081)).unwrap() > 0.9);
        assert!(line.height(s(1_100), s(1_200)).unwrap() < 0.1);
    }
}
