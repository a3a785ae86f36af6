//! Whether a clip can be trusted here: every picture reached at random is that of a straight read, and how
//! long each takes on this computer.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde::Serialize;

use crate::media::film::Progress;
use crate::media::straight::Straight;
use crate::media::{Error, Film, FilmOptions, Heading, Picture};
use crate::numeric::quantile;
use crate::time::FrameNumber;

/// What was found; the keys are those of the command's JSON.
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    /// The clip.
    pub clip: String,
    /// Its frames.
    pub frames: usize,
    /// Pictures fetched and compared.
    pub checked: usize,
    /// Fetches that were refused where the file is damaged.
    pub unreadable: usize,
    /// Pictures that were not those of a straight read.
    pub wrong: usize,
    /// From opening to the first picture.
    pub first_picture_ms: f64,
    /// Cold exact seeks.
    pub seek_ms: Spread,
    /// Steps back.
    pub step_back_ms: Spread,
    /// Steps forward.
    pub step_forward_ms: Spread,
    /// Pictures a second of a straight read.
    pub decode_fps: f64,
    /// Pictures a second at most while playing.
    pub playback_fps: f64,
    /// How frames are reached.
    pub access: &'static str,
    /// What is to be known about the file.
    pub remarks: Vec<String>,
    /// Numbers of the wrong pictures.
    pub wrong_frames: Vec<u32>,
}

/// Median and 95th percentile of times.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Spread {
    /// Median in ms.
    pub median: Option<f64>,
    /// 95 of 100 took no longer, in ms.
    pub p95: Option<f64>,
}

impl Spread {
    fn of(mut times: Vec<Duration>) -> Self {
        times.sort_unstable();
        let millis: Vec<f64> = times.iter().map(|time| time.as_secs_f64() * 1e3).collect();
        Self { median: quantile::sorted(&millis, 0.5), p95: quantile::sorted(&millis, 0.95) }
    }
}

/// Reads a clip straight through, then fetches pictures in shuffled order, backward and forward, and compares.
/// `progress` hears the share done, and may stop it.
///
/// # Errors
/// When the clip can't be read, or the work was stopped.
pub fn verify(clip: &Path, seeks: u32, progress: Progress<'_>) -> Result<Found, Error> {
    let start = Instant::now();
    let film = Film::open(clip, FilmOptions::default())?;
    // A first picture that can't be decoded is counted below.
    let _ = film.fetch(FrameNumber(0), Heading::Still);
    let first_picture = start.elapsed();

    let start = Instant::now();
    let mut straight = Straight::open(clip)?;
    let index = film.index();
    let mut truth = std::collections::BTreeMap::new();
    let (mut shown, mut unknown) = (0_u32, 0_usize);
    while let Some(next) = straight.next_picture() {
        // By the packet it came from; where frames are counted, by counting.
        let by_packet = next.packet.and_then(|packet| index.frame_of_packet(packet));
        let frame = by_packet.or_else(|| (!index.knows_packets()).then_some(FrameNumber(shown)));
        shown += 1;
        match frame {
            Some(frame) => {
                let _ = truth.insert(frame, (next.picture.hash(), next.is_damaged));
            }
            None => unknown += 1,
        }
        go_on(progress, STRAIGHT * share(shown as usize, index.len()))?;
    }
    let decode_fps = rate(shown as usize, start.elapsed());

    let count = index.len();
    let mut check = Check {
        film: &film,
        truth: &truth,
        checked: 0,
        unreadable: 0,
        wrong: Vec::new(),
        to_compare: std::collections::BTreeSet::new(),
    };
    let mut seek_times = Vec::new();
    for frame in shuffled(count, seeks) {
        film.forget();
        seek_times.push(check.frame(frame, Heading::Still));
        let done = share(seek_times.len(), count.min(seeks as usize));
        go_on(progress, STRAIGHT + (SOUGHT - STRAIGHT) * done)?;
    }
    // Stepping back from the end, and forward again, as a coder does.
    let steps = u32::try_from(count).unwrap_or(u32::MAX).min(seeks.max(2));
    let last = u32::try_from(count).unwrap_or(u32::MAX) - 1;
    let first = last + 1 - steps;
    film.forget();
    let (mut back, mut forward) = (Vec::new(), Vec::new());
    for n in (first..=last).rev() {
        back.push(check.shown(FrameNumber(n), Heading::Backward));
        go_on(progress, SOUGHT)?;
    }
    for n in first..=last {
        forward.push(check.shown(FrameNumber(n), Heading::Forward));
        go_on(progress, STEPPED)?;
    }
    // What was shown smaller than it is could not be compared then.
    for frame in std::mem::take(&mut check.to_compare) {
        let _ = check.frame(frame, Heading::Backward);
    }
    // The first of each is a seek, not a step.
    let _ = back.drain(..1);
    let _ = forward.drain(..1);

    film.forget();
    let played = u32::try_from(count).unwrap_or(u32::MAX).min(600);
    let start = Instant::now();
    for n in 0..played {
        let _ = check.frame(FrameNumber(n), Heading::Forward);
        go_on(progress, STEPPED + (1.0 - STEPPED) * share(n as usize, played as usize))?;
    }
    let playback_fps = rate(played as usize, start.elapsed());
    let (checked, unreadable, mut wrong) = (check.checked, check.unreadable, check.wrong);
    // Frames a straight read has and the index does not are wrong too.
    wrong.sort_unstable();
    wrong.dedup();
    Ok(Found {
        clip: clip.to_string_lossy().into_owned(),
        frames: count,
        checked,
        unreadable,
        wrong: wrong.len() + unknown,
        first_picture_ms: first_picture.as_secs_f64() * 1e3,
        seek_ms: Spread::of(seek_times),
        step_back_ms: Spread::of(back),
        step_forward_ms: Spread::of(forward),
        decode_fps,
        playback_fps,
        access: index.access().words().unwrap_or("by seeking"),
        remarks: index.remarks(),
        wrong_frames: wrong,
    })
}

/// How far the work has come when a part of it is done; by what each takes on common clips.
const STRAIGHT: f32 = 0.3;
const SOUGHT: f32 = 0.85;
const STEPPED: f32 = 0.95;

fn go_on(progress: Progress<'_>, done: f32) -> Result<(), Error> {
    if progress(done.min(1.0)).is_break() { Err(Error::Stopped) } else { Ok(()) }
}

#[allow(clippy::cast_precision_loss)] // A share for a progress bar.
fn share(done: usize, of: usize) -> f32 {
    done as f32 / of.max(1) as f32
}

struct Check<'a> {
    film: &'a Film,
    /// Hash of each frame of a straight read, and whether it is damaged there.
    truth: &'a std::collections::BTreeMap<FrameNumber, ([u8; 32], bool)>,
    checked: usize,
    unreadable: usize,
    wrong: Vec<u32>,
    to_compare: std::collections::BTreeSet<FrameNumber>,
}

impl Check<'_> {
    /// Asks for a frame as the window does, and says how long it took until it could be shown; a picture
    /// that is kept smaller is compared later.
    fn shown(&mut self, frame: FrameNumber, heading: Heading) -> Duration {
        let start = Instant::now();
        self.film.want(frame, heading);
        loop {
            match self.film.picture(frame) {
                Some(picture) if picture.halvings > 0 => {
                    let _ = self.to_compare.insert(frame);
                    return start.elapsed();
                }
                Some(picture) => {
                    let took = start.elapsed();
                    self.compare(frame, Ok(picture));
                    return took;
                }
                None if self.film.failure(frame).is_some() => return self.frame(frame, heading),
                None => std::thread::sleep(Duration::from_micros(100)),
            }
        }
    }

    /// Fetches a frame, compares it, and says how long the fetch took.
    fn frame(&mut self, frame: FrameNumber, heading: Heading) -> Duration {
        let start = Instant::now();
        let picture = self.film.fetch(frame, heading);
        let took = start.elapsed();
        self.compare(frame, picture);
        took
    }

    fn compare(&mut self, frame: FrameNumber, picture: Result<Arc<Picture>, Error>) {
        self.checked += 1;
        let is_right = match (picture, self.truth.get(&frame)) {
            (Ok(picture), Some((hash, _))) => picture.frame == frame && picture.hash() == *hash,
            // Refusing what a straight read can't give for certain either is right.
            (Err(_), None | Some((_, true))) => {
                self.unreadable += 1;
                true
            }
            (Err(_), _) if self.film.index().is_after_loss(frame) => {
                self.unreadable += 1;
                true
            }
            _ => false,
        };
        if !is_right {
            self.wrong.push(frame.0);
        }
    }
}

/// Frames in shuffled order, the same for every run: all of them, or as many as asked for.
fn shuffled(count: usize, wanted: u32) -> Vec<FrameNumber> {
    let mut frames: Vec<FrameNumber> =
        (0..u32::try_from(count).unwrap_or(u32::MAX)).map(FrameNumber).collect();
    let mut random = ChaCha8Rng::seed_from_u64(1);
    for i in (1..frames.len()).rev() {
        let other = usize::try_from(random.next_u64() % (i as u64 + 1)).unwrap_or(0);
        frames.swap(i, other);
    }
    frames.truncate(wanted as usize);
    frames
}

#[allow(clippy::cast_precision_loss)] // A rate for people.
fn rate(count: usize, took: Duration) -> f64 {
    count as f64 / took.as_secs_f64().max(1e-9)
}
