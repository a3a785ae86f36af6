//! Every picture carries its own number; what `still` saves and what a shuffled, a reversed and a
//! straight read show must all carry the number that was asked for.

use std::path::Path;

use shedlight::media::{Film, FilmOptions, Heading};
use shedlight::time::{FrameNumber, Micros};

use crate::common::{barcode_clip, ffmpeg, ffprobe_pts, folder, read_barcode, shedlight};

/// Fetches every frame in an order that jumps about and then backwards, and reads its number;
/// compares the times with the stream's own; checks one `still` and `verify` through the program.
fn assert_exact(path: &Path, first_number: usize, count: usize) {
    let film = Film::open(path, FilmOptions::default()).unwrap();
    assert_eq!(film.index().len(), count, "{}: number of frames", path.display());
    let number_of = |frame: FrameNumber, heading| {
        let picture = film.fetch(frame, heading).unwrap();
        assert_eq!(picture.frame, frame);
        read_barcode(&image::DynamicImage::ImageRgba8(picture.to_rgba()).to_rgb8())
    };
    let count_u32 = u32::try_from(count).unwrap();
    // 37 shares no factor with any of the counts used: each frame once, far apart.
    for i in 0..count_u32 {
        let frame = FrameNumber(i * 37 % count_u32);
        if i % 5 == 0 {
            film.forget();
        }
        let seen = number_of(frame, Heading::Still);
        assert_eq!(seen, Some(first_number + frame.0 as usize), "{}: frame {frame}", path.display());
    }
    film.forget();
    for n in (0..count_u32).rev() {
        let seen = number_of(FrameNumber(n), Heading::Backward);
        assert_eq!(seen, Some(first_number + n as usize), "{}: backwards to {n}", path.display());
    }
    let times = film.index().times();
    assert!(times.is_sorted(), "{}: times rise", path.display());
    assert_eq!(times.first(), Some(&Micros::ZERO));
    let base = film.index().time_base();
    let pts = ffprobe_pts(path);
    // AVI and program streams leave some or all of them out.
    if pts.len() == count {
        for (n, (own, time)) in pts.iter().zip(times).enumerate() {
            assert_eq!(base.micros(own - pts[0]), Some(*time), "{}: time of frame {n}", path.display());
        }
    }
    let out = path.with_extension("png");
    let wanted = count / 2;
    let ran = shedlight(&[
        "still".as_ref(),
        path.as_os_str(),
        "--frame".as_ref(),
        wanted.to_string().as_ref(),
        "--out".as_ref(),
        out.as_os_str(),
    ]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(read_barcode(&image::open(&out).unwrap().to_rgb8()), Some(first_number + wanted));
    let ran = shedlight(&[
        "verify".as_ref(),
        path.as_os_str(),
        "--seeks".as_ref(),
        "40".as_ref(),
        "--json".as_ref(),
    ]);
    let found: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((ran.code, found["wrong"].as_u64()), (0, Some(0)), "{}", ran.out);
    assert_eq!(found["frames"].as_u64(), Some(count as u64));
}

fn check(name: &str, count: usize, encoding: &[&str]) {
    let folder = folder();
    let path = folder.path().join(name);
    barcode_clip(&path, count, encoding);
    assert_exact(&path, 0, count);
}

#[test]
fn h264_with_b_frames_closed_groups() {
    check("closed.mp4", 90, &["-c:v", "libx264", "-preset", "fast", "-bf", "3", "-g", "30"]);
}

#[test]
fn h264_open_groups() {
    check(
        "open.mp4",
        90,
        &["-c:v", "libx264", "-bf", "3", "-x264-params", "open-gop=1:keyint=12:log-level=0"],
    );
    check(
        "open.mkv",
        90,
        &["-c:v", "libx264", "-bf", "3", "-x264-params", "open-gop=1:keyint=12:log-level=0"],
    );
}

#[test]
fn h264_key_every_four() {
    check(
        "four.mp4",
        60,
        &["-c:v", "libx264", "-bf", "2", "-x264-params", "open-gop=1:keyint=4:log-level=0"],
    );
}

#[test]
fn hevc_open_groups_and_ten_bits() {
    check(
        "open.mp4",
        80,
        &["-c:v", "libx265", "-preset", "fast", "-x265-params", "open-gop=1:keyint=12:log-level=none"],
    );
    check(
        "ten.mkv",
        60,
        &[
            "-c:v",
            "libx265",
            "-preset",
            "fast",
            "-pix_fmt",
            "yuv420p10le",
            "-x265-params",
            "keyint=15:log-level=none",
        ],
    );
}

#[test]
fn vp9_and_vp8_with_hidden_pictures() {
    let hidden =
        ["-auto-alt-ref", "1", "-lag-in-frames", "16", "-b:v", "300k", "-deadline", "good", "-cpu-used", "5"];
    check("nine.webm", 80, &[&["-c:v", "libvpx-vp9"], &hidden[..]].concat());
    check("eight.webm", 80, &[&["-c:v", "libvpx"], &hidden[..]].concat());
}

#[test]
fn av1() {
    check("one.mkv", 50, &["-c:v", "libaom-av1", "-cpu-used", "8", "-g", "20", "-b:v", "300k"]);
}

#[test]
fn mpeg4_and_h264_in_avi_without_any_presentation_time() {
    check("four.avi", 90, &["-c:v", "mpeg4", "-bf", "2", "-g", "15", "-q:v", "3"]);
    check("h.avi", 90, &["-c:v", "libx264", "-bf", "2", "-g", "20"]);
}

#[test]
fn motion_jpeg() {
    check("m.avi", 40, &["-c:v", "mjpeg", "-pix_fmt", "yuvj420p", "-q:v", "3"]);
    check("m.mov", 40, &["-c:v", "mjpeg", "-pix_fmt", "yuvj422p", "-q:v", "3"]);
}

#[test]
fn transport_and_program_streams() {
    check("t.ts", 90, &["-c:v", "libx264", "-bf", "2", "-g", "20"]);
    check("p.mpg", 60, &["-c:v", "mpeg2video", "-bf", "2", "-g", "12", "-q:v", "2"]);
}

#[test]
fn wmv_flv_and_prores() {
    check("w.wmv", 50, &["-c:v", "wmv2", "-q:v", "3"]);
    check("f.flv", 50, &["-c:v", "flv1", "-q:v", "3"]);
    check("p.mov", 30, &["-c:v", "prores_ks", "-pix_fmt", "yuv422p10le"]);
}

#[test]
fn a_stream_copy_cut() {
    let folder = folder();
    let (whole, cut) = (folder.path().join("whole.mp4"), folder.path().join("cut.mp4"));
    barcode_clip(&whole, 100, &["-c:v", "libx264", "-bf", "2", "-g", "30"]);
    ffmpeg(&["-ss", "1.4", "-i", whole.to_str().unwrap(), "-c", "copy", cut.to_str().unwrap()], &[]);
    // The cut begins at 1.4 s: frame 35 of the whole clip; the pictures before it are there only to be decoded.
    assert_exact(&cut, 35, 65);
}

#[test]
fn a_variable_rate_phone_clip_held_upright() {
    let folder = folder();
    let (flat, turned) = (folder.path().join("flat.mp4"), folder.path().join("turned.mp4"));
    let uneven = "settb=1/1000,setpts='N*40+5*mod(N,3)+3*mod(N,5)'";
    barcode_clip(
        &flat,
        70,
        &[
            "-vf",
            uneven,
            "-fps_mode",
            "passthrough",
            "-enc_time_base",
            "1:1000",
            "-c:v",
            "libx264",
            "-bf",
            "2",
            "-g",
            "30",
        ],
    );
    let film = Film::open(&flat, FilmOptions::default()).unwrap();
    let steps: std::collections::BTreeSet<i64> =
        film.index().times().windows(2).map(|pair| (pair[1] - pair[0]).0).collect();
    assert!(steps.len() > 2, "the clip has a variable rate: {steps:?}");
    assert_exact(&flat, 0, 70);
    write_turned(&turned);
    assert_exact_times(&turned);
    let film = Film::open(&turned, FilmOptions::default()).unwrap();
    let picture = film.fetch(FrameNumber(20), Heading::Still).unwrap();
    assert_eq!(picture.shown_size(), (144, 192), "portrait");
    // Turned back, the number can be read.
    let upright = image::DynamicImage::ImageRgba8(picture.to_rgba()).to_rgb8();
    let back = image::imageops::rotate270(&upright);
    assert_eq!(read_barcode(&back), Some(20));
}

/// A portrait recording with uneven times, written by our own encoder.
fn write_turned(path: &Path) {
    use crate::common::{HEIGHT, WIDTH, barcodes};
    use shedlight::media::encode::{Content, Planes, Settings, Writer};
    use shedlight::media::picture::Turn;

    let settings = Settings {
        width: u32::try_from(WIDTH).unwrap(),
        height: u32::try_from(HEIGHT).unwrap(),
        ticks_per_second: 90_000,
        turn: Turn::Quarter,
        key_every: 12,
        created: Some("2025-03-03T14:00:00Z".to_owned()),
        content: Content::Drawing,
        sound_rate: None,
    };
    let mut writer = Writer::create(path, &settings).unwrap();
    let grey = vec![128; WIDTH * HEIGHT / 4];
    for (n, luma) in (0_i64..).zip(barcodes(40).chunks(WIDTH * HEIGHT)) {
        writer.write(Planes { luma, blue: &grey, red: &grey }, turned_time(n)).unwrap();
    }
    writer.finish().unwrap();
}

fn turned_time(n: i64) -> Micros {
    Micros(n * 70_000 + n % 3 * 11_000 + n % 7 * 100)
}

fn assert_exact_times(path: &Path) {
    let film = Film::open(path, FilmOptions::default()).unwrap();
    assert_eq!(film.probe().created.as_deref(), Some("2025-03-03T14:00:00.000000Z"));
    for (n, time) in (0..).zip(film.index().times()) {
        assert!(time.distance(turned_time(n)) <= Micros(6), "half a tick of 1/90000 s");
    }
}

#[test]
fn a_clip_that_starts_hours_in() {
    check("late.ts", 60, &["-c:v", "libx264", "-bf", "2", "-g", "20", "-output_ts_offset", "30000"]);
    check("late.mkv", 60, &["-c:v", "libx264", "-bf", "2", "-g", "20", "-output_ts_offset", "30000"]);
}

#[test]
fn full_range_odd_sizes_and_wide_pixels() {
    let folder = folder();
    let odd = folder.path().join("odd.mkv");
    barcode_clip(&odd, 20, &["-vf", "crop=191:143:0:0", "-pix_fmt", "yuv444p", "-c:v", "libx264"]);
    let film = Film::open(&odd, FilmOptions::default()).unwrap();
    assert_eq!(film.fetch(FrameNumber(3), Heading::Still).unwrap().shown_size(), (191, 143));
    let wide = folder.path().join("wide.mp4");
    barcode_clip(&wide, 20, &["-vf", "setsar=4/3", "-c:v", "libx264"]);
    let film = Film::open(&wide, FilmOptions::default()).unwrap();
    assert_eq!(film.fetch(FrameNumber(3), Heading::Still).unwrap().shown_size(), (256, 144));
    let full = folder.path().join("full.mp4");
    barcode_clip(&full, 20, &["-vf", "scale=out_range=full", "-color_range", "pc", "-c:v", "libx264"]);
    assert_exact(&full, 0, 20);
}

#[test]
fn a_truncated_file_shows_what_is_there_and_says_so() {
    let folder = folder();
    let whole = folder.path().join("whole.mkv");
    barcode_clip(&whole, 90, &["-c:v", "libx264", "-bf", "2", "-g", "20"]);
    let bytes = std::fs::read(&whole).unwrap();
    for (name, share) in [("most.mkv", 7), ("half.mkv", 5)] {
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes[..bytes.len() * share / 10]).unwrap();
        let film = Film::open(&path, FilmOptions::default()).unwrap();
        let count = film.index().len();
        assert!((10..90).contains(&count), "{count}");
        for n in (0..u32::try_from(count).unwrap()).rev() {
            // The very last frames may be damaged; they must not show another picture instead.
            if let Ok(picture) = film.fetch(FrameNumber(n), Heading::Still) {
                let seen = read_barcode(&image::DynamicImage::ImageRgba8(picture.to_rgba()).to_rgb8());
                assert_eq!(seen, Some(n as usize), "{name}");
            } else {
                assert!(n as usize + 4 > count, "{name}: frame {n} of {count} can't be read");
            }
        }
    }
}

#[test]
fn a_single_picture_is_a_clip() {
    check("one.mp4", 1, &["-c:v", "libx264"]);
}

#[test]
fn frames_prints_what_the_stream_says() {
    let folder = folder();
    let path = folder.path().join("a.mp4");
    barcode_clip(&path, 30, &["-c:v", "libx264", "-g", "10", "-bf", "0"]);
    let ran = shedlight(&["frames".as_ref(), path.as_os_str(), "--json".as_ref(), "--raw".as_ref()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let found: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let frames = found["frames"].as_array().unwrap();
    assert_eq!(frames.len(), 30);
    assert_eq!(frames[29]["time_s"], 1.16);
    assert!(ran.out.contains("\"time_s\":1.160000"), "six decimals");
    let keys: Vec<u64> = frames
        .iter()
        .filter(|frame| frame["key"] == true)
        .map(|frame| frame["n"].as_u64().unwrap())
        .collect();
    assert_eq!(keys, [0, 10, 20]);
    assert_eq!(frames[1]["pts"].as_i64(), Some(512), "MP4's usual tick is 1/12800 s here");
    let csv = shedlight(&["frames".as_ref(), path.as_os_str(), "--csv".as_ref()]);
    assert_eq!(csv.out.lines().nth(2), Some("1,0.040000,"));
}
