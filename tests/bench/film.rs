//! How fast film is on this machine, as ratios within one run: index, first picture, cold exact seeks
//! against pure decoding and against a general-purpose player, steps, playing, memory. `cargo bench` runs it; the
//! clips are made with ffmpeg. `cargo bench --bench film -- CLIP…` measures clips of your own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout, missing_docs)]
#![allow(clippy::cast_precision_loss, clippy::indexing_slicing)]

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::media::straight::Straight;
use shedlight::media::{Film, FilmOptions, Heading};
use shedlight::time::FrameNumber;

mod player;

const CACHE: usize = 512 << 20;

fn clip(path: &Path, size: &str, seconds: u32, encoding: &[&str]) {
    let source = format!("testsrc2=s={size}:r=30:d={seconds}");
    let status = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-f", "lavfi", "-i", &source])
        .args(["-f", "lavfi", "-i", &format!("sine=d={seconds}"), "-c:a", "aac", "-pix_fmt", "yuv420p"])
        .args(encoding)
        .arg(path)
        .status()
        .expect("the benchmarks make their clips with ffmpeg");
    assert!(status.success());
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

fn at_share(mut times: Vec<Duration>, share: f64) -> f64 {
    times.sort_unstable();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let place = ((times.len() - 1) as f64 * share).round() as usize;
    millis(times[place])
}

/// Bytes this process has in memory.
fn resident() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/statm").ok()?;
    let pages: f64 = text.split(' ').nth(1)?.parse().ok()?;
    Some(pages * 4096.0)
}

fn measure(name: &str, path: &Path) {
    let bytes = std::fs::metadata(path).unwrap().len() as f64;
    // Once, so that the disk has no part in it.
    let _ = std::fs::read(path).unwrap();

    let start = Instant::now();
    let first = shedlight::media::first_picture(path).expect("there is a picture");
    let first_picture = start.elapsed();
    drop(first);

    let start = Instant::now();
    let film = Film::open(path, FilmOptions { cache_bytes: CACHE, ..FilmOptions::default() }).unwrap();
    let opening = start.elapsed();
    let count = u32::try_from(film.index().len()).unwrap();

    let start = Instant::now();
    let mut straight = Straight::open(path).unwrap();
    let mut decoded = 0_u32;
    // A long film decodes no faster later on.
    while decoded < 1_000 && straight.next_picture().is_some() {
        decoded += 1;
    }
    let each = start.elapsed().as_secs_f64() / f64::from(decoded);

    let mut random = ChaCha8Rng::seed_from_u64(7);
    let (mut seeks, mut ratios) = (Vec::new(), Vec::new());
    for _ in 0..30 {
        let target = FrameNumber(u32::try_from(random.next_u64() % u64::from(count)).unwrap());
        let key = (0..=target.0).rev().find(|n| film.index().is_key(FrameNumber(*n))).unwrap_or(0);
        film.forget();
        let start = Instant::now();
        let _ = film.fetch(target, Heading::Still).unwrap();
        let took = start.elapsed();
        seeks.push(took);
        ratios.push(took.as_secs_f64() / (each * f64::from(target.0 - key + 1)));
    }
    ratios.sort_by(f64::total_cmp);

    // Stepping as a held key does, thirty a second, over two groups.
    let step = |from: u32, to: u32, heading: Heading| -> Vec<Duration> {
        let _ = film.fetch(FrameNumber(from), heading).unwrap();
        std::thread::sleep(Duration::from_millis(500));
        let frames: Vec<u32> = if from < to { (from..to).collect() } else { (to..from).rev().collect() };
        frames
            .into_iter()
            .map(|frame| {
                let start = Instant::now();
                film.want(FrameNumber(frame), heading);
                while film.picture(FrameNumber(frame)).is_none() {
                    std::thread::sleep(Duration::from_micros(200));
                }
                let took = start.elapsed();
                std::thread::sleep(Duration::from_millis(33).saturating_sub(took));
                took
            })
            .collect()
    };
    let end = (count - 1).min(560);
    let back = step(end, end.saturating_sub(520), Heading::Backward);
    let on = step(10, end.min(300), Heading::Forward);

    println!("{name}: {count} pictures, {:.1} MB", bytes / 1e6);
    println!("  first picture           {:8.1} ms", millis(first_picture));
    println!(
        "  index and its check     {:8.1} ms   {:.0} MB/s, {:.0} pictures/s",
        millis(opening),
        bytes / 1e6 / opening.as_secs_f64(),
        f64::from(count) / opening.as_secs_f64()
    );
    println!("  decoding and converting {:8.1} pictures/s", 1.0 / each);
    println!(
        "  cold exact seek         {:8.1} ms median, {:.1} ms p95; {:.2} × decoding from the key (median)",
        at_share(seeks.clone(), 0.5),
        at_share(seeks, 0.95),
        ratios[ratios.len() / 2]
    );
    println!(
        "  held step back          {:8.1} ms p95, {:.1} ms longest",
        at_share(back.clone(), 0.95),
        at_share(back, 1.0)
    );
    println!(
        "  held step on            {:8.1} ms p95, {:.1} ms longest",
        at_share(on.clone(), 0.95),
        at_share(on, 1.0)
    );
    against_player(path, &film);
    if let Some(resident) = resident() {
        println!(
            "  in memory               {:8.0} MiB, cache bound {} MiB",
            resident / 1_048_576.0,
            CACHE >> 20
        );
    }
}

/// Seeks and steps back of a player and of ours, one after the other on the same targets.
fn against_player(path: &Path, film: &Film) {
    let Some(mut player) = player::Player::open(path) else {
        println!("  against a player: mpv is not installed");
        return;
    };
    let count = u64::try_from(film.index().len()).unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let (mut theirs, mut ours, mut their_steps, mut our_steps) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut same = 0;
    for _ in 0..30 {
        let target = FrameNumber(u32::try_from(random.next_u64() % (count - 1)).unwrap() + 1);
        let time = film.index().time(target).unwrap();
        theirs.push(player.seek(time.seconds()));
        let standing = player.standing_at().unwrap_or(f64::NAN);
        same += usize::from((standing - time.seconds()).abs() < 0.004);
        film.forget();
        let start = Instant::now();
        let _ = film.fetch(target, Heading::Still).unwrap();
        ours.push(start.elapsed());
        std::thread::sleep(Duration::from_millis(300));
        their_steps.push(player.step_back());
        let before = FrameNumber(target.0 - 1);
        let start = Instant::now();
        film.want(before, Heading::Backward);
        while film.picture(before).is_none() {
            std::thread::sleep(Duration::from_micros(200));
        }
        our_steps.push(start.elapsed());
        film.forget();
    }
    let share = |a: &[Duration], b: &[Duration]| {
        let mut pairs: Vec<f64> = a.iter().zip(b).map(|(a, b)| a.as_secs_f64() / b.as_secs_f64()).collect();
        pairs.sort_by(f64::total_cmp);
        pairs[pairs.len() / 2]
    };
    println!(
        "  against mpv: exact seek {:8.1} ms median, {:.1} ms theirs; {:.2} × theirs (median of pairs); {same} of 30 times on the same picture",
        at_share(ours.clone(), 0.5),
        at_share(theirs.clone(), 0.5),
        share(&ours, &theirs)
    );
    println!(
        "  against mpv: step back  {:8.1} ms median, {:.1} ms theirs; {:.3} × theirs (median of pairs)",
        at_share(our_steps.clone(), 0.5),
        at_share(their_steps.clone(), 0.5),
        share(&our_steps, &their_steps)
    );
}

fn main() {
    let own: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with("--")).collect();
    if !own.is_empty() {
        for clip in own {
            measure(&clip, Path::new(&clip));
        }
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let long =
        ["-c:v", "libx264", "-preset", "veryfast", "-g", "250", "-keyint_min", "250", "-sc_threshold", "0"];
    let short = ["-c:v", "libx264", "-preset", "veryfast", "-g", "30"];
    for (name, size, seconds, encoding) in [
        ("1080p, keys every 250.mp4", "1920x1080", 20, &long[..]),
        ("1080p, keys every 30.mkv", "1920x1080", 20, &short[..]),
        ("1080p, keys every 30.ts", "1920x1080", 20, &short[..]),
        ("2160p, keys every 30.mp4", "3840x2160", 8, &short[..]),
    ] {
        clip(&path(name), size, seconds, encoding);
        measure(name, &path(name));
    }
}
