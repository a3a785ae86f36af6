//! Clips with bytes changed at random: a message or right pictures, never a crash, a hang or all memory.
//!
//! `SHEDLIGHT_MUTANTS=3000 cargo test mutated` tries more than the suite does.

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use crate::common::{barcode_clip, folder, read_barcode, shedlight};

/// Address space the program may use, in KiB: 1.5 GiB.
const MEMORY: &str = "1572864";

/// Runs the program under a bound of memory; how it ended, what it said, how long it took.
fn run(arguments: &[&Path], command: &str) -> (Option<i32>, String, Duration) {
    let start = Instant::now();
    let output = Command::new("sh")
        .args(["-c", &format!("ulimit -v {MEMORY}; exec \"$0\" {command} \"$@\"")])
        .arg(env!("CARGO_BIN_EXE_shedlight"))
        .args(arguments)
        .output()
        .unwrap();
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned(), start.elapsed())
}

/// Changes some bytes: single ones, runs, swapped or missing stretches.
fn mutate(bytes: &mut Vec<u8>, random: &mut ChaCha8Rng) {
    let mut below = |bound: usize| usize::try_from(random.next_u64() % bound.max(1) as u64).unwrap();
    for _ in 0..=below(12) {
        let at = below(bytes.len());
        match below(5) {
            0 => bytes[at] ^= 1 << below(8),
            1 => bytes[at] = u8::try_from(below(256)).unwrap(),
            2 => {
                let end = (at + below(64)).min(bytes.len());
                bytes[at..end].fill(if below(2) == 0 { 0xFF } else { 0 });
            }
            3 => {
                let end = (at + below(400)).min(bytes.len());
                let _ = bytes.drain(at..end);
            }
            // The head is where sizes and counts stand.
            _ => {
                let at = below(600.min(bytes.len()));
                bytes[at] = u8::try_from(below(256)).unwrap();
            }
        }
        if bytes.len() < 64 {
            return;
        }
    }
}

#[test]
fn mutated_clips_give_a_message_or_pictures_and_never_end_the_program() {
    let folder = folder();
    let count: u64 = std::env::var("SHEDLIGHT_MUTANTS").ok().and_then(|text| text.parse().ok()).unwrap_or(60);
    let kinds: &[(&str, &[&str])] = &[
        ("a.mp4", &["-c:v", "libx264", "-g", "12", "-bf", "2"]),
        ("a.mkv", &["-c:v", "libx264", "-g", "12"]),
        ("a.avi", &["-c:v", "mpeg4", "-g", "12", "-bf", "2"]),
        ("a.ts", &["-c:v", "mpeg2video", "-g", "12"]),
        ("a.webm", &["-c:v", "libvpx-vp9", "-b:v", "200k"]),
        ("a.mov", &["-c:v", "mjpeg"]),
    ];
    let clips: Vec<(String, Vec<u8>)> = kinds
        .iter()
        .map(|(name, encoding)| {
            let path = folder.path().join(name);
            barcode_clip(&path, 40, encoding);
            ((*name).to_owned(), std::fs::read(path).unwrap())
        })
        .collect();
    let mut random = ChaCha8Rng::seed_from_u64(41);
    let (mut opened, mut refused, mut shown) = (0, 0, 0);
    for n in 0..count {
        let (name, whole) = &clips[usize::try_from(n).unwrap() % clips.len()];
        let mut bytes = whole.clone();
        mutate(&mut bytes, &mut random);
        let path = folder.path().join(format!("mutant-{name}"));
        std::fs::write(&path, &bytes).unwrap();
        let (code, said, took) = run(&[&path], "frames");
        let kept = || {
            let kept = std::env::temp_dir().join(format!("shedlight-mutant-{n}-{name}"));
            let _ = std::fs::copy(&path, &kept).unwrap();
            format!("mutant {n}: {said}, kept as {}", kept.display())
        };
        assert!(took < Duration::from_secs(12), "it hung for {took:?}: {}", kept());
        assert!(!said.contains("panicked"), "{}", kept());
        match code {
            Some(0) => opened += 1,
            Some(2) => refused += 1,
            other => panic!("it ended with {other:?}: {}", kept()),
        }
        // A picture of a damaged clip may be damaged; one that bears a number bears the right one, as
        // long as no frame is missing before it.
        if n % 10 == 0 && code == Some(0) {
            let out = folder.path().join("first.png");
            let still = shedlight(&[
                "still".as_ref(),
                path.as_os_str(),
                "--frame=0".as_ref(),
                "--out".as_ref(),
                out.as_os_str(),
            ]);
            assert!(matches!(still.code, 0 | 2), "{}", kept());
            if still.code == 0 {
                let image = image::open(&out).unwrap().to_rgb8();
                shown += usize::from(read_barcode(&image).is_some());
            }
        }
    }
    let tally = format!("{opened} opened, {refused} refused, {shown} first pictures with a number");
    assert!(opened > 0 && shown > 0 && refused + opened == count, "{tally}");
}
