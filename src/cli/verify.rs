//! `shedlight verify`: random access against a straight read, and how long each takes here.

use std::io::Write;

use super::arguments::Verify;
use super::{CommandResult, Error};

#[cfg(not(feature = "media"))]
pub(super) fn run(_asked: &Verify, _out: &mut dyn Write) -> CommandResult {
    Err(Error::NeedsFeature { command: "verify", feature: "media" })
}

#[cfg(feature = "media")]
pub(super) fn run(asked: &Verify, out: &mut dyn Write) -> CommandResult {
    let found = measured::verify(&asked.clip, asked.seeks)?;
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
    } else {
        measured::print(&found, out)?;
    }
    Ok(if found.wrong == 0 { super::FINE } else { super::FINDINGS })
}

#[cfg(feature = "media")]
mod measured {
    use std::io::Write;
    use std::path::Path;
    use std::time::{Duration, Instant};

    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
    use serde::Serialize;

    use super::Error;
    use crate::media::straight::Straight;
    use crate::media::{Film, FilmOptions, Heading};
    use crate::numeric::quantile;
    use crate::time::FrameNumber;

    /// What `verify` found; the keys are those of its JSON.
    #[derive(Debug, Serialize)]
    pub(super) struct Found {
        clip: String,
        frames: usize,
        checked: usize,
        unreadable: usize,
        pub(super) wrong: usize,
        first_picture_ms: f64,
        seek_ms: Spread,
        step_back_ms: Spread,
        step_forward_ms: Spread,
        decode_fps: f64,
        playback_fps: f64,
        access: &'static str,
        remarks: Vec<String>,
        wrong_frames: Vec<u32>,
    }

    #[derive(Debug, Serialize)]
    struct Spread {
        median: Option<f64>,
        p95: Option<f64>,
    }

    impl Spread {
        fn of(mut times: Vec<Duration>) -> Self {
            times.sort_unstable();
            let millis: Vec<f64> = times.iter().map(|time| time.as_secs_f64() * 1e3).collect();
            Self { median: quantile::sorted(&millis, 0.5), p95: quantile::sorted(&millis, 0.95) }
        }
    }

    pub(super) fn verify(clip: &Path, seeks: u32) -> Result<Found, Error> {
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
        }
        let decode_fps = rate(shown as usize, start.elapsed());

        let count = index.len();
        let mut check = Check { film: &film, truth: &truth, checked: 0, unreadable: 0, wrong: Vec::new() };
        let mut seek_times = Vec::new();
        for frame in shuffled(count, seeks) {
            film.forget();
            seek_times.push(check.frame(frame, Heading::Still));
        }
        // Stepping back from the end, and forward again, as a coder does.
        let steps = u32::try_from(count).unwrap_or(u32::MAX).min(seeks.max(2));
        let last = u32::try_from(count).unwrap_or(u32::MAX) - 1;
        let first = last + 1 - steps;
        film.forget();
        let mut back: Vec<Duration> =
            (first..=last).rev().map(|n| check.frame(FrameNumber(n), Heading::Backward)).collect();
        let mut forward: Vec<Duration> =
            (first..=last).map(|n| check.frame(FrameNumber(n), Heading::Forward)).collect();
        // The first of each is a seek, not a step.
        let _ = back.drain(..1);
        let _ = forward.drain(..1);

        film.forget();
        let played = u32::try_from(count).unwrap_or(u32::MAX).min(600);
        let start = Instant::now();
        for n in 0..played {
            let _ = check.frame(FrameNumber(n), Heading::Forward);
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

    struct Check<'a> {
        film: &'a Film,
        /// Hash of each frame of a straight read, and whether it is damaged there.
        truth: &'a std::collections::BTreeMap<FrameNumber, ([u8; 32], bool)>,
        checked: usize,
        unreadable: usize,
        wrong: Vec<u32>,
    }

    impl Check<'_> {
        /// Fetches a frame, compares it, and says how long the fetch took.
        fn frame(&mut self, frame: FrameNumber, heading: Heading) -> Duration {
            let start = Instant::now();
            let picture = self.film.fetch(frame, heading);
            let took = start.elapsed();
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
            took
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

    pub(super) fn print(found: &Found, out: &mut dyn Write) -> Result<(), std::io::Error> {
        let spread = |spread: &Spread| match (spread.median, spread.p95) {
            (Some(median), Some(p95)) => format!("{median:.1} ms (95 % within {p95:.1} ms)"),
            _ => "—".to_owned(),
        };
        let verdict = if found.wrong == 0 { "every one the right picture" } else { "WRONG PICTURES" };
        writeln!(out, "{}", found.clip)?;
        writeln!(out, "  frames          {}, reached {}", found.frames, found.access)?;
        writeln!(out, "  checked         {} fetches, {} wrong: {verdict}", found.checked, found.wrong)?;
        if found.unreadable > 0 {
            writeln!(
                out,
                "  damaged         {} fetches refused: the file is damaged there",
                found.unreadable
            )?;
        }
        writeln!(out, "  first picture   {:.0} ms after opening", found.first_picture_ms)?;
        writeln!(out, "  exact seek      {}", spread(&found.seek_ms))?;
        writeln!(out, "  step back       {}", spread(&found.step_back_ms))?;
        writeln!(out, "  step forward    {}", spread(&found.step_forward_ms))?;
        writeln!(out, "  decoding        {:.0} pictures a second", found.decode_fps)?;
        writeln!(out, "  playing         {:.0} pictures a second at most", found.playback_fps)?;
        for remark in &found.remarks {
            writeln!(out, "  note            {remark}")?;
        }
        Ok(())
    }
}
