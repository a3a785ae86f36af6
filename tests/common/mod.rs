//! What the tests share: clips made with ffmpeg, and the built program.
#![allow(dead_code)] // Not every feature set uses all of it.

pub mod archive;
pub mod python;

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// What the program printed and how it ended.
#[derive(Debug)]
pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

/// Runs the built program.
pub fn shedlight<S: AsRef<std::ffi::OsStr>>(arguments: &[S]) -> Ran {
    let output: Output = Command::new(env!("CARGO_BIN_EXE_shedlight")).args(arguments).output().unwrap();
    Ran {
        code: output.status.code().expect("it was not killed"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// A folder that goes away with the test.
pub fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// The repository.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Copies a folder.
pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &target);
        } else {
            let _ = std::fs::copy(&path, &target).unwrap();
        }
    }
}

/// Runs ffmpeg, feeding it `input`.
pub fn ffmpeg(arguments: &[&str], input: &[u8]) {
    let mut child = Command::new("ffmpeg")
        .args(["-v", "error", "-y"])
        .args(arguments)
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the tests make their clips with ffmpeg: apt-get install ffmpeg");
    // It may end before it has read everything; its own message then says why.
    let _ = child.stdin.take().unwrap().write_all(input);
    let done = child.wait_with_output().unwrap();
    assert!(done.status.success(), "ffmpeg {arguments:?}: {}", String::from_utf8_lossy(&done.stderr));
}

/// Size of the pictures of a barcode clip.
pub const WIDTH: usize = 192;
pub const HEIGHT: usize = 144;
const BITS: usize = 10;
const CELL: usize = 16;

/// Raw grey pictures, each with its own number as black and white blocks: ten bits in the upper
/// row, their complement below, over a background that moves, so that no two pictures are alike.
pub fn barcodes(count: usize) -> Vec<u8> {
    let mut film = Vec::with_capacity(count * WIDTH * HEIGHT);
    for number in 0..count {
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                film.push(sample(number, x, y));
            }
        }
    }
    film
}

fn sample(number: usize, x: usize, y: usize) -> u8 {
    let (column, row) = (x / CELL, y / CELL);
    if (1..=BITS).contains(&column) && (1..3).contains(&row) {
        let bit = number >> (column - 1) & 1 == 1;
        return if bit == (row == 1) { 235 } else { 16 };
    }
    u8::try_from(100 + (x + 3 * number) % 50).unwrap()
}

/// Reads the number off a picture of any size; `None` when the two rows contradict each other.
pub fn read_barcode(image: &image::RgbImage) -> Option<usize> {
    let (width, height) = image.dimensions();
    let mut number = 0;
    for bit in 0..BITS {
        let light = |row: usize| {
            let x =
                u32::try_from((bit + 1) * CELL + CELL / 2).unwrap() * width / u32::try_from(WIDTH).unwrap();
            let y = u32::try_from(row * CELL + CELL / 2).unwrap() * height / u32::try_from(HEIGHT).unwrap();
            image.get_pixel(x, y).0[1] > 125
        };
        if light(1) == light(2) {
            return None;
        }
        if light(1) {
            number |= 1 << bit;
        }
    }
    Some(number)
}

/// A barcode clip: `encoding` are ffmpeg's arguments after the input.
pub fn barcode_clip(path: &Path, count: usize, encoding: &[&str]) {
    let size = format!("{WIDTH}x{HEIGHT}");
    let mut arguments =
        vec!["-f", "rawvideo", "-pix_fmt", "gray", "-s", size.as_str(), "-r", "25", "-i", "pipe:0"];
    if !encoding.contains(&"-pix_fmt") {
        arguments.extend(["-pix_fmt", "yuv420p"]);
    }
    arguments.extend(encoding);
    let path = path.to_str().unwrap();
    arguments.push(path);
    ffmpeg(&arguments, &barcodes(count));
}

/// Times of a clip's pictures as ffprobe reads them from the decoded frames: PTS in ticks, and the time base.
pub fn ffprobe_pts(path: &Path) -> Vec<i64> {
    let output = Command::new("ffprobe")
        .args(["-v", "error", "-select_streams", "v:0", "-show_entries", "frame=pts", "-of", "csv=p=0"])
        .arg(path)
        .output()
        .unwrap();
    String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .filter_map(|line| line.trim_matches(',').parse().ok())
        .collect()
}
