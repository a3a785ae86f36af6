//! The sound of the film: what has to be heard while it runs.
//!
//! The player's clock rules. Whoever owns the loudspeaker asks what is to be heard at a moment of the
//! clock; a thread reads ahead from the clips. When the film is not where the sound expected it, silence
//! or a leap brings them together; the pictures never wait for the sound.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::media::Index;
use crate::media::sound::{self, SoundReader};
use crate::time::{ClipClock, Micros, Span, TimeBase};

/// A clip that can be heard.
#[derive(Debug, Clone)]
pub struct Track {
    /// Its file.
    pub path: PathBuf,
    /// Its pictures, whose first one is its zero.
    pub index: Arc<Index>,
    /// Where it lies in the session.
    pub clock: ClipClock,
    /// Session time in which its pictures are seen.
    pub span: Span,
}

/// Film time and clock time that belong together while the film runs at its own speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Anchor {
    /// Session time of the film.
    pub film: Micros,
    /// The same moment on the clock.
    pub clock: Instant,
}

impl Anchor {
    fn film_at(self, clock: Instant) -> Micros {
        let passed = |from: Instant, to: Instant| {
            Micros(i64::try_from(to.saturating_duration_since(from).as_micros()).unwrap_or(i64::MAX / 2))
        };
        self.film + passed(self.clock, clock) - passed(clock, self.clock)
    }
}

/// How late pictures are seen: from the moment one is due until the screen shows it. The sound waits as long.
///
/// Nothing tells when a screen lights up. But a picture taken at one redraw has been drawn by the next,
/// and was due half a redraw before it was taken, on average. On a computer without a graphics card a
/// redraw takes long enough to be heard as a sound that comes too early.
#[derive(Debug, Default)]
pub struct Lateness {
    last: Option<Duration>,
    /// From redraw to redraw, smoothed: sound that follows each of them would stumble.
    between: Duration,
}

impl Lateness {
    /// Longer than this lies between two redraws when the window was hidden or busy with something else.
    const LONGEST: Duration = Duration::from_millis(200);

    /// The window is drawn anew, at a clock time.
    pub fn redrawn(&mut self, now: Duration) {
        let gap = self.last.replace(now).map(|last| now.saturating_sub(last));
        if let Some(gap) = gap.filter(|gap| *gap <= Self::LONGEST) {
            self.between = if self.between.is_zero() { gap } else { (self.between * 15 + gap) / 16 };
        }
    }

    /// What is taken now is seen so much after it was due.
    #[must_use]
    pub fn now(&self) -> Duration {
        self.between * 3 / 2
    }
}

/// Farther apart than this is a jump of the film; what was read ahead is of no use.
const JUMP: Micros = Micros::from_millis(100);
/// Nearer than this, sound and picture are together: an ear does not notice, a correction would click.
const TOGETHER: Micros = Micros::from_millis(15);
/// So much is read ahead.
const AHEAD: Micros = Micros::from_millis(600);
/// Read at once.
const PIECE: Duration = Duration::from_millis(20);

/// The sound of a session, read ahead of the film.
#[derive(Debug)]
pub struct SoundLine {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

/// The side of the line that the loudspeaker asks.
#[derive(Debug, Clone)]
pub struct Outlet(Arc<Shared>);

#[derive(Debug, Default)]
struct Shared {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    /// Samples a second; none before the loudspeaker is open.
    rate: Option<u32>,
    tracks: Arc<Vec<Track>>,
    anchor: Option<Anchor>,
    /// Counts the jumps, so that a piece that was being read meanwhile can be told.
    serial: u64,
    queue: Queue,
    stop: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl SoundLine {
    /// Of a session whose clips are not open yet.
    ///
    /// # Errors
    /// When no thread can be started.
    pub fn try_new() -> std::io::Result<Self> {
        let shared = Arc::new(Shared::default());
        let thread = {
            let shared = Arc::clone(&shared);
            std::thread::Builder::new().name("sound".to_owned()).spawn(move || read_ahead(&shared))?
        };
        Ok(Self { shared, thread: Some(thread) })
    }

    /// For the loudspeaker.
    #[must_use]
    pub fn outlet(&self) -> Outlet {
        Outlet(Arc::clone(&self.shared))
    }

    /// The clips that can be heard; of one camera, in order.
    pub fn set_tracks(&self, tracks: Vec<Track>) {
        let mut state = self.shared.lock();
        state.tracks = Arc::new(tracks);
        state.jump();
        self.shared.changed.notify_all();
    }

    /// Where the film is; `None` while nothing is to be heard.
    pub fn follow(&self, anchor: Option<Anchor>) {
        let mut state = self.shared.lock();
        let is_jump = match (state.anchor, anchor) {
            (Some(before), Some(now)) => before.film_at(now.clock).distance(now.film) > JUMP,
            (before, now) => before.is_some() != now.is_some(),
        };
        state.anchor = anchor;
        if is_jump {
            state.jump();
            self.shared.changed.notify_all();
        }
    }
}

impl Drop for SoundLine {
    fn drop(&mut self) {
        self.shared.lock().stop = true;
        self.shared.changed.notify_all();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Outlet {
    /// The loudspeaker is open and takes so many samples a second.
    pub fn set_rate(&self, rate: u32) {
        let mut state = self.0.lock();
        state.rate = Some(rate);
        state.jump();
        self.0.changed.notify_all();
    }

    /// Fills a buffer of stereo samples, left and right in turn, whose first one is heard at a clock time.
    pub fn fill(&self, out: &mut [f32], heard: Instant) {
        let mut state = self.0.lock();
        match (state.anchor, state.rate) {
            (Some(anchor), Some(rate)) => {
                let film = anchor.film_at(heard);
                state.queue.fill(out, film, rate);
                self.0.changed.notify_all();
            }
            _ => out.fill(0.0),
        }
    }
}

impl State {
    fn jump(&mut self) {
        self.serial += 1;
        self.queue = Queue::default();
    }
}

/// Stereo samples that belong to a session time.
#[derive(Debug)]
struct Piece {
    at: Micros,
    samples: Vec<f32>,
}

/// What has been read ahead.
#[derive(Debug, Default)]
struct Queue {
    pieces: VecDeque<Piece>,
    /// Samples of the first piece that have been heard, both channels counted.
    taken: usize,
    /// It was brought together with the film once; from then on small differences stay.
    is_together: bool,
}

impl Queue {
    fn end(&self, rate: u32) -> Option<Micros> {
        self.pieces.back().map(|piece| piece.at + length(piece.samples.len() / 2, rate))
    }

    fn fill(&mut self, mut out: &mut [f32], mut film: Micros, rate: u32) {
        while !out.is_empty() {
            let Some(piece) = self.pieces.front() else { break };
            let left = piece.samples.get(self.taken..).unwrap_or(&[]);
            let early = piece.at + length(self.taken / 2, rate) - film;
            let bound = if self.is_together { TOGETHER } else { Micros::from_millis(1) };
            if left.is_empty() {
                self.next_piece();
            } else if early > bound {
                // Its time has not come: the stream has a gap, or the pictures hold the clock.
                let silent = samples(early, rate).min(out.len());
                let (now, later) = out.split_at_mut(silent);
                now.fill(0.0);
                film = film + length(silent / 2, rate);
                out = later;
                self.is_together = true;
            } else if early < Micros(-bound.0) {
                // Too late to be heard.
                let late = samples(Micros(-early.0), rate);
                if late >= left.len() { self.next_piece() } else { self.taken += late }
            } else {
                let count = left.len().min(out.len());
                let (now, later) = out.split_at_mut(count);
                for (to, from) in now.iter_mut().zip(left) {
                    *to = *from;
                }
                self.taken += count;
                film = film + length(count / 2, rate);
                out = later;
                self.is_together = true;
            }
        }
        out.fill(0.0);
    }

    fn next_piece(&mut self) {
        let _ = self.pieces.pop_front();
        self.taken = 0;
    }
}

fn length(frames: usize, rate: u32) -> Micros {
    let micros = frames as u128 * 1_000_000 / u128::from(rate.max(1));
    Micros(i64::try_from(micros).unwrap_or(i64::MAX / 2))
}

/// Samples of both channels in a time, at least those of one moment.
fn samples(time: Micros, rate: u32) -> usize {
    let frames = i128::from(time.0) * i128::from(rate) / 1_000_000;
    usize::try_from(frames.max(1)).unwrap_or(usize::MAX / 4) * 2
}

/// The sound of a session read in order, as fast as it can be.
pub struct SoundTape {
    tracks: Vec<Track>,
    rate: u32,
    queue: Queue,
    next: Micros,
    reading: Option<Reading>,
}

impl SoundTape {
    /// From a session time on, so many samples a second.
    #[must_use]
    pub fn new(mut tracks: Vec<Track>, rate: u32, from: Micros) -> Self {
        tracks.sort_by_key(|track| track.span);
        Self { tracks, rate, queue: Queue::default(), next: from, reading: None }
    }

    /// Fills a buffer of stereo samples from a session time on; silence where there is no sound.
    pub fn read(&mut self, from: Micros, out: &mut [f32]) {
        let end = from + length(out.len() / 2, self.rate);
        while self.queue.end(self.rate).is_none_or(|have| have < end) {
            let next = self.next;
            let Some(place) = self.tracks.iter().position(|track| next < track.span.to) else { break };
            if self.tracks.get(place).is_some_and(|track| track.span.from >= end) {
                break;
            }
            let piece = read_piece(&self.tracks, place, &mut self.next, &mut self.reading, self.rate);
            self.queue.pieces.extend(piece);
        }
        self.queue.fill(out, from, self.rate);
    }
}

/// What the thread reads from at the moment.
struct Reading {
    track: usize,
    reader: SoundReader,
}

fn read_ahead(shared: &Shared) {
    let mut known = 0;
    let mut next = Micros::ZERO;
    let mut reading: Option<Reading> = None;
    let mut state = shared.lock();
    while !state.stop {
        let wanted = match (state.anchor, state.rate) {
            (Some(anchor), Some(rate)) => Some((anchor.film_at(Instant::now()), rate)),
            _ => None,
        };
        let Some((film, rate)) = wanted else {
            reading = None;
            state = shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
            continue;
        };
        if known != state.serial {
            known = state.serial;
            reading = None;
            next = film;
        }
        next = next.max(film - JUMP);
        let is_enough = state.queue.end(rate).is_some_and(|end| end - film > AHEAD);
        let tracks = Arc::clone(&state.tracks);
        let place = tracks.iter().position(|track| next < track.span.to);
        if let (false, Some(place)) = (is_enough, place) {
            drop(state);
            let piece = read_piece(&tracks, place, &mut next, &mut reading, rate);
            state = shared.lock();
            if let Some(piece) = piece.filter(|_| known == state.serial) {
                state.queue.pieces.push_back(piece);
            }
        } else {
            let woken = shared.changed.wait_timeout(state, Duration::from_millis(50));
            state = woken.unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

/// The next piece of sound; `next` moves behind it. A clip that has none, or no more, is passed over.
fn read_piece(
    tracks: &[Track],
    place: usize,
    next: &mut Micros,
    reading: &mut Option<Reading>,
    rate: u32,
) -> Option<Piece> {
    let track = tracks.get(place)?;
    *next = (*next).max(track.span.from);
    if reading.as_ref().is_none_or(|reading| reading.track != place) {
        let from = track.clock.clip_time(*next)?;
        let opened = sound::read_from(&track.path, &track.index, rate, from).ok().flatten();
        *reading = opened.map(|reader| Reading { track: place, reader });
    }
    let piece = reading.as_mut().and_then(|reading| {
        let at = track.clock.session_time(reading.reader.time().0, TimeBase::MICROS)?;
        let frames = usize::try_from(PIECE.as_millis() * u128::from(rate) / 1_000).ok()?;
        let samples = reading.reader.read(frames);
        (!samples.is_empty()).then_some(Piece { at, samples })
    });
    *next = piece.as_ref().map_or(track.span.to, |piece| piece.at + length(piece.samples.len() / 2, rate));
    piece
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 1_000;

    /// Pieces of 20 ms; each sample says its own session time in ms.
    fn queue(from: i64, to: i64) -> Queue {
        let mut queue = Queue::default();
        for at in (from..to).step_by(20) {
            #[allow(clippy::cast_precision_loss)]
            let samples = (at..at + 20).flat_map(|ms| [ms as f32, ms as f32]).collect();
            queue.pieces.push_back(Piece { at: Micros::from_millis(at), samples });
        }
        queue
    }

    fn heard(queue: &mut Queue, film: i64, millis: usize) -> Vec<f32> {
        let mut out = vec![-1.0; millis * 2];
        queue.fill(&mut out, Micros::from_millis(film), RATE);
        out.chunks(2).map(|pair| pair[0]).collect()
    }

    #[test]
    fn what_is_heard_belongs_to_the_moment() {
        let mut queue = queue(1_000, 1_200);
        assert_eq!(heard(&mut queue, 1_003, 4), [1_003.0, 1_004.0, 1_005.0, 1_006.0]);
        assert_eq!(heard(&mut queue, 1_007, 2), [1_007.0, 1_008.0]);
        // The clock and the loudspeaker are never quite of one mind: no click for a few milliseconds.
        assert_eq!(heard(&mut queue, 1_014, 2), [1_009.0, 1_010.0]);
        // More than that is brought together again, by a leap …
        assert_eq!(heard(&mut queue, 1_100, 2), [1_100.0, 1_101.0]);
        // … or by silence, while the pictures hold the clock.
        assert_eq!(heard(&mut queue, 1_082, 25)[19..22], [0.0, 1_102.0, 1_103.0]);
        // Behind the end of what was read there is silence, not the last sample for ever.
        assert_eq!(heard(&mut queue, 1_199, 3), [1_199.0, 0.0, 0.0]);
    }

    #[test]
    fn the_sound_waits_for_as_long_as_a_picture_takes_to_be_seen() {
        let mut late = Lateness::default();
        assert_eq!(late.now(), Duration::ZERO);
        let redraws = |late: &mut Lateness, from: u64, every: usize| {
            (from..from + 5_000).step_by(every).for_each(|at| late.redrawn(Duration::from_millis(at)));
        };
        redraws(&mut late, 0, 16);
        assert_eq!(late.now().as_millis(), 24);
        // A window that stood still for an hour was not an hour late.
        redraws(&mut late, 3_600_000, 16);
        assert_eq!(late.now().as_millis(), 24);
        // Where drawing takes longer it is soon known; one slow redraw alone moves nothing much.
        late.redrawn(Duration::from_millis(3_605_100));
        assert!(late.now().as_millis() < 35, "{:?}", late.now());
        redraws(&mut late, 3_606_000, 40);
        assert!(late.now().as_millis().abs_diff(60) <= 1, "{:?}", late.now());
    }

    #[test]
    fn a_gap_between_pieces_is_silence() {
        let mut queue = queue(0, 40);
        queue.pieces.extend(self::queue(100, 140).pieces);
        let out = heard(&mut queue, 0, 120);
        assert_eq!(out[39..42], [39.0, 0.0, 0.0]);
        assert_eq!(out[99..102], [0.0, 100.0, 101.0]);
    }

    #[test]
    fn nothing_is_heard_before_the_loudspeaker_is_open_or_while_the_film_stands() {
        let line = SoundLine::try_new().unwrap();
        let outlet = line.outlet();
        let mut out = [9.0; 8];
        outlet.fill(&mut out, Instant::now());
        assert!(out.iter().all(|sample| *sample == 0.0));
        line.follow(Some(Anchor { film: Micros::ZERO, clock: Instant::now() }));
        outlet.set_rate(RATE);
        line.follow(None);
        out = [9.0; 8];
        outlet.fill(&mut out, Instant::now());
        assert!(out.iter().all(|sample| *sample == 0.0));
    }
}
