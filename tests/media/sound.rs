//! Sound lies where the pictures say it does.
#![allow(clippy::cast_precision_loss)]

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use shedlight::media::sound;
use shedlight::media::{Film, FilmOptions};
use shedlight::time::{ClipClock, Micros, Span, TimeBase};
use shedlight::workbench::sound::{Anchor, SoundLine, Track};

use crate::common::{barcode_clip, ffmpeg, folder};

/// Half a millisecond of click on both channels, over next to nothing.
const CLICK: &str = "aevalsrc='0.001*sin(700*t)+0.9*between(t,2.5,2.5005)':s=44100:d=4:c=stereo";

/// A hundred pictures with a click at 2.5 s of the sound; `before` goes before the picture's input.
fn clip(folder: &Path, name: &str, before: &[&str], encoding: &[&str]) -> PathBuf {
    let picture = folder.join("picture.mkv");
    barcode_clip(&picture, 100, &["-c:v", "libx264", "-g", "25", "-bf", "2"]);
    let path = folder.join(name);
    let inputs =
        ["-i", picture.to_str().unwrap(), "-f", "lavfi", "-i", CLICK, "-map", "0:v", "-map", "1:a", "-c:v"];
    let copied =
        if encoding.contains(&"mpeg2video") || encoding.contains(&"mjpeg") { &[][..] } else { &["copy"] };
    ffmpeg(&[before, &inputs[..], copied, encoding, &[path.to_str().unwrap()]].concat(), &[]);
    path
}

fn assert_click(path: &Path, at: f64) {
    let name = path.display();
    let film = Film::open(path, FilmOptions::default()).unwrap();
    let peaks = sound::peaks(path, film.index(), 1000, &mut |_| ControlFlow::Continue(()))
        .unwrap()
        .expect("there is sound");
    assert_eq!(peaks.min.len(), peaks.max.len());
    let length = film.index().end().seconds();
    assert!(
        (peaks.max.len() as f64 / 1000.0 - length).abs() < 0.002,
        "{name}: {} of {length} s",
        peaks.max.len()
    );
    let loudest = loudest(peaks.max.iter().copied());
    assert!((loudest as f64 / 1000.0 - at).abs() <= 0.0015, "{name}: peak in ms {loudest}, click at {at} s");
    for from in [0.0, 0.7, at - 0.4, at - 0.013] {
        for rate in [48_000_u32, 44_100, 16_000] {
            let from = Micros::from_seconds(from).unwrap();
            let mut reader =
                sound::read_from(path, film.index(), rate, from).unwrap().expect("there is sound");
            let start = reader.time();
            assert!(start.distance(from) <= Micros(100), "{name}: it begins at {start} instead of {from}");
            let wanted = (rate * 2) as usize;
            let mut samples = Vec::new();
            // In small bites, as a player takes them.
            while samples.len() < 2 * wanted {
                let bite = reader.read(777);
                if bite.is_empty() {
                    break;
                }
                samples.extend(bite);
            }
            let loudest = self::loudest(samples.chunks(2).map(|pair| pair[0]).take(wanted));
            let seen = start.seconds() + loudest as f64 / f64::from(rate);
            if at < start.seconds() + 1.9 {
                assert!(
                    (seen - at).abs() <= 0.001,
                    "{name} from {from} at {rate}: click at {seen} instead of {at}"
                );
            }
        }
    }
}

fn loudest(samples: impl Iterator<Item = f32>) -> usize {
    samples.enumerate().max_by(|(_, a), (_, b)| a.total_cmp(b)).unwrap().0
}

#[test]
fn a_click_is_where_it_was_made() {
    let folder = folder();
    for (name, encoding) in [
        ("pcm.mov", &["-c:a", "pcm_s16le"][..]),
        ("pcm.mkv", &["-c:a", "pcm_f32le"]),
        ("aac.mp4", &["-c:a", "aac", "-b:a", "192k"]),
        ("mp2.ts", &["-c:a", "mp2", "-b:a", "192k"]),
        ("flac.mkv", &["-c:a", "flac"]),
        ("pcm.avi", &["mjpeg", "-c:a", "pcm_s16le"]),
    ] {
        assert_click(&clip(folder.path(), name, &[], encoding), 2.5);
    }
}

#[test]
fn the_clock_is_the_pictures_not_the_sounds() {
    let folder = folder();
    // The picture begins 0.6 s after the sound.
    assert_click(&clip(folder.path(), "late.mkv", &["-itsoffset", "0.6"], &["-c:a", "pcm_s16le"]), 1.9);
    assert_click(
        &clip(folder.path(), "late.ts", &["-itsoffset", "0.6"], &["-c:a", "mp2", "-b:a", "192k"]),
        1.9,
    );
}

#[test]
fn a_clip_without_sound_has_none_and_the_work_can_be_stopped() {
    let folder = folder();
    let silent = folder.path().join("silent.mp4");
    barcode_clip(&silent, 30, &["-c:v", "libx264"]);
    let film = Film::open(&silent, FilmOptions::default()).unwrap();
    let peaks = sound::peaks(&silent, film.index(), 100, &mut |_| ControlFlow::Continue(())).unwrap();
    assert_eq!(peaks, None);
    assert!(sound::read_from(&silent, film.index(), 48_000, Micros::ZERO).unwrap().is_none());

    let long = folder.path().join("long.mkv");
    ffmpeg(
        &[
            "-f",
            "lavfi",
            "-i",
            "color=s=64x48:r=5:d=60",
            "-f",
            "lavfi",
            "-i",
            "sine=d=60",
            "-c:v",
            "libx264",
            "-c:a",
            "pcm_s16le",
            long.to_str().unwrap(),
        ],
        &[],
    );
    let film = Film::open(&long, FilmOptions::default()).unwrap();
    let mut heard = 0;
    let stopped = sound::peaks(&long, film.index(), 100, &mut |share| {
        assert!((0.0..=1.0).contains(&share));
        heard += 1;
        if heard == 2 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    assert!(matches!(stopped, Err(shedlight::media::Error::Stopped)), "{stopped:?}");
}

/// Plays a second of film from `from` as a loudspeaker would; the film time of the loudest sample.
fn played(line: &SoundLine, from: f64) -> (f64, f32) {
    const RATE: u32 = 48_000;
    let outlet = line.outlet();
    outlet.set_rate(RATE);
    let film = Micros::from_seconds(from).unwrap();
    // A loudspeaker is a little behind what is written to it.
    let clock = Instant::now() + Duration::from_millis(40);
    line.follow(Some(Anchor { film, clock }));
    let mut samples = Vec::new();
    for bite in 0..100_u32 {
        let heard = clock + Duration::from_millis(10) * bite;
        std::thread::sleep(heard.saturating_duration_since(Instant::now()));
        let mut out = vec![0.0; 2 * RATE as usize / 100];
        outlet.fill(&mut out, heard);
        samples.extend(out.chunks(2).map(|pair| pair[0]));
    }
    line.follow(None);
    let loudest = loudest(samples.iter().map(|sample| sample.abs()));
    (from + loudest as f64 / f64::from(RATE), samples[loudest].abs())
}

#[test]
fn film_and_sound_run_together_through_jumps_and_pieces() {
    let folder = folder();
    let path = clip(folder.path(), "pcm.mkv", &[], &["-c:a", "pcm_s16le"]);
    let index = Arc::clone(Film::open(&path, FilmOptions::default()).unwrap().index());
    // The same clip twice, the second piece with a clock that runs 100 in a million too fast.
    let track = |offset: f64, drift: f64| {
        let offset = Micros::from_seconds(offset).unwrap();
        let clock = ClipClock::try_new(offset, drift, 1.0).unwrap();
        let to = clock.session_time(index.end().0, TimeBase::MICROS).unwrap();
        let span = Span::try_new(offset, to).unwrap();
        Track { path: path.clone(), index: Arc::clone(&index), clock, span }
    };
    let line = SoundLine::try_new().unwrap();
    line.set_tracks(vec![track(0.0, 0.0), track(4.5, 1e-4)]);
    for (from, click) in [(2.2, 2.5), (1.9, 2.5), (6.5, 7.00025), (2.3, 2.5)] {
        // A machine that does something else for a tenth of a second leaves sound out: once more then.
        let found = (0..5).map(|_| played(&line, from)).find(|(_, loud)| *loud > 0.5);
        let (at, _) = found.unwrap_or_else(|| panic!("no click from {from}"));
        assert!((at - click).abs() <= 0.003, "from {from}: heard at {at}, made at {click}");
    }
    // Between the pieces, and behind the last, there is nothing.
    for from in [4.2 - 0.9, 8.4] {
        let (_, loud) = played(&line, from);
        assert!(loud < 0.01, "from {from}: {loud}");
    }
}
