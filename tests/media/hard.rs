//! Files as cards, cameras and broadcasts leave them: every picture that is shown bears the number that was
//! asked for, and what can't be exact is said.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use shedlight::media::index::Access;
use shedlight::media::{Fields, Film, FilmOptions, Heading, Picture};
use shedlight::time::{FrameNumber, Micros};

use crate::common::{barcode_clip, ffmpeg, ffprobe_pts, folder, read_barcode};

fn open(path: &Path) -> Film {
    Film::open(path, FilmOptions::default()).unwrap()
}

fn number(picture: &Picture) -> Option<usize> {
    read_barcode(&image::DynamicImage::ImageRgba8(picture.to_rgba()).to_rgb8())
}

/// Fetches all frames shuffled with cold seeks in between, then backwards. Hands each to `see`; how many can't be read.
fn every_way(film: &Film, mut see: impl FnMut(usize, Arc<Picture>)) -> usize {
    let count = u32::try_from(film.index().len()).unwrap();
    let stride = (37..37 + count).find(|stride| gcd(*stride, count) == 1).unwrap();
    let mut unreadable = 0;
    for i in 0..count {
        if i % 4 == 0 {
            film.forget();
        }
        let frame = FrameNumber(u32::try_from(u64::from(i) * u64::from(stride) % u64::from(count)).unwrap());
        match film.fetch(frame, Heading::Still) {
            Ok(picture) => see(frame.0 as usize, picture),
            Err(_) => unreadable += 1,
        }
    }
    film.forget();
    for n in (0..count).rev() {
        if let Ok(picture) = film.fetch(FrameNumber(n), Heading::Backward) {
            see(n as usize, picture);
        }
    }
    unreadable
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// All frames there, all right; `bears` says which number a frame bears.
fn assert_all(film: &Film, count: usize, bears: impl Fn(usize) -> usize) {
    let name = film.probe().path.display().to_string();
    assert_eq!(film.index().len(), count, "{name}: {:?}", film.index().remarks());
    let unreadable = every_way(film, |frame, picture| {
        assert_eq!(number(&picture), Some(bears(frame)), "{name}: frame {frame}");
    });
    assert_eq!(unreadable, 0, "{name}");
}

/// Times as ffprobe reads them from the decoded pictures.
fn assert_times(film: &Film) {
    let pts = ffprobe_pts(&film.probe().path);
    let base = film.index().time_base();
    let own: Vec<Option<Micros>> = pts.iter().map(|own| base.micros(own - pts[0])).collect();
    let times: Vec<Option<Micros>> = film.index().times().iter().copied().map(Some).collect();
    assert_eq!(times, own, "{}", film.probe().path.display());
}

fn clip(folder: &tempfile::TempDir, name: &str, count: usize, encoding: &[&str]) -> PathBuf {
    let path = folder.path().join(name);
    barcode_clip(&path, count, encoding);
    path
}

fn copy(from: &Path, to: &Path, options: &[&str]) {
    let mut arguments = vec!["-i", from.to_str().unwrap(), "-c", "copy"];
    arguments.extend(options);
    arguments.push(to.to_str().unwrap());
    ffmpeg(&arguments, &[]);
}

fn says(film: &Film, words: &str) -> bool {
    film.index().remarks().iter().any(|remark| remark.contains(words))
}

#[test]
fn high_dynamic_range_is_shown_in_ordinary_range() {
    let folder = folder();
    for (transfer, name) in [("smpte2084", "pq.mp4"), ("arib-std-b67", "hlg.mkv")] {
        let x265 = format!(
            "keyint=15:log-level=none:colorprim=bt2020:transfer={transfer}:colormatrix=bt2020nc:range=limited"
        );
        let path = clip(
            &folder,
            name,
            50,
            &[
                "-pix_fmt",
                "yuv420p10le",
                "-color_primaries",
                "bt2020",
                "-color_trc",
                transfer,
                "-colorspace",
                "bt2020nc",
                "-c:v",
                "libx265",
                "-preset",
                "fast",
                "-x265-params",
                &x265,
            ],
        );
        let film = open(&path);
        let picture = film.fetch(FrameNumber(3), Heading::Still).unwrap();
        assert_eq!(picture.looks.matrix, shedlight::media::picture::Matrix::Bt709, "{name}: mapped");
        let grey = picture.to_rgba().get_pixel(5, 100).0;
        assert!(grey[0].abs_diff(grey[2]) < 8 && (20..220).contains(&grey[0]), "{name}: grey {grey:?}");
        assert_all(&film, 50, |n| n);
        assert_times(&film);
    }
}

#[test]
fn two_fields_are_shown_as_one_picture() {
    let folder = folder();
    let h264 = ["-flags", "+ildct+ilme", "-c:v", "libx264", "-x264-params", "tff=1", "-bf", "2", "-g", "20"];
    let mpeg2 =
        ["-flags", "+ildct+ilme", "-top", "0", "-c:v", "mpeg2video", "-bf", "2", "-g", "12", "-q:v", "2"];
    for (name, encoding) in
        [("i.mp4", &h264[..]), ("i.ts", &h264), ("m.ts", &mpeg2), ("m.mkv", &mpeg2), ("m.mpg", &mpeg2)]
    {
        let film = open(&clip(&folder, name, 60, encoding));
        assert_all(&film, 60, |n| n);
        if film.probe().container != "mpeg" {
            assert_times(&film);
        }
    }
    // 50 pictures woven to 25 of two fields: the shown picture is that of the first field.
    let film = open(&clip(
        &folder,
        "woven.mp4",
        50,
        &[
            "-vf",
            "tinterlace=interleave_top",
            "-flags",
            "+ildct+ilme",
            "-c:v",
            "libx264",
            "-x264-params",
            "tff=1",
            "-qp",
            "10",
        ],
    ));
    assert_all(&film, 25, |n| 2 * n);
    // On wish one field alone; what was fetched before is not shown again.
    for (fields, later) in [(Fields::Second, 1), (Fields::First, 0), (Fields::Both, 0)] {
        film.set_fields(fields);
        assert_all(&film, 25, |n| 2 * n + later);
        assert!(film.fetch(FrameNumber(3), Heading::Still).unwrap().is_interlaced);
    }
}

#[test]
fn recovery_points_without_idr() {
    let folder = folder();
    let refreshed = ["-c:v", "libx264", "-x264-params", "intra-refresh=1:keyint=20:bframes=0:log-level=0"];
    for name in ["r.ts", "r.mkv", "r.mp4"] {
        let film = open(&clip(&folder, name, 120, &refreshed));
        assert_all(&film, 120, |n| n);
        assert_times(&film);
    }
}

#[test]
fn a_transport_stream_whose_clock_leaps_back_or_on() {
    let folder = folder();
    let encoding = ["-c:v", "libx264", "-bf", "2", "-g", "20"];
    let whole = clip(&folder, "whole.mp4", 100, &encoding);
    let part = |name: &str, from: &str, until: &str, offset: &str| {
        let path = folder.path().join(name);
        let select = format!("trim=start_frame={from}:end_frame={until},setpts=PTS-STARTPTS");
        ffmpeg(
            &[
                &["-i", whole.to_str().unwrap(), "-vf", &select, "-output_ts_offset", offset][..],
                &encoding,
                &[path.to_str().unwrap()],
            ]
            .concat(),
            &[],
        );
        std::fs::read(path).unwrap()
    };
    for (name, first, second, words) in [
        ("back.ts", "500", "20", "set back"),
        ("on.ts", "10", "900", "leaps on"),
        ("far.ts", "10", "40000", "leaps on"),
    ] {
        let joined = [part("a.ts", "0", "50", first), part("b.ts", "50", "100", second)].concat();
        let path = folder.path().join(name);
        std::fs::write(&path, joined).unwrap();
        let film = open(&path);
        assert_all(&film, 100, |n| n);
        assert!(says(&film, words), "{name}: {:?}", film.index().remarks());
        let times = film.index().times();
        assert!(times.windows(2).all(|pair| pair[0] < pair[1]), "{name}");
        if name == "back.ts" {
            assert_eq!(times[99], Micros::from_millis(99 * 40), "it goes on without a gap");
        }
    }
}

#[test]
fn a_transport_stream_whose_33_bits_wrap() {
    let folder = folder();
    // 2^33 / 90000 s is 95443.7 s.
    let path = clip(
        &folder,
        "wrap.ts",
        120,
        &["-c:v", "libx264", "-bf", "2", "-g", "20", "-output_ts_offset", "95440"],
    );
    let film = open(&path);
    assert_all(&film, 120, |n| n);
    assert_eq!(film.index().times()[119], Micros::from_millis(119 * 40));
    assert_times(&film);
}

#[test]
fn a_program_stream_is_reached_by_seeking() {
    let folder = folder();
    for (name, encoding) in [
        ("p.mpg", &["-c:v", "mpeg2video", "-bf", "2", "-g", "12", "-q:v", "2"][..]),
        ("one.mpg", &["-c:v", "mpeg1video", "-bf", "2", "-g", "15", "-q:v", "3"]),
        ("v.vob", &["-c:v", "mpeg2video", "-bf", "1", "-g", "10", "-q:v", "2"]),
    ] {
        let film = open(&clip(&folder, name, 140, encoding));
        assert_ne!(film.index().access(), Access::StraightOnly, "{name}: {:?}", film.index().remarks());
        assert_all(&film, 140, |n| n);
        let times = film.index().times();
        for (n, time) in (0_i64..).zip(times) {
            assert!(time.distance(Micros(n * 40_000)) <= Micros(12), "{name}: frame {n} at {time}");
        }
    }
}

#[test]
fn a_stream_that_changes_its_size() {
    let folder = folder();
    let encoding = ["-c:v", "libx264", "-g", "20", "-bf", "2"];
    let offset = |at: &'static str| [&encoding[..], &["-output_ts_offset", at]].concat();
    let small = clip(&folder, "small.ts", 40, &offset("10"));
    let scaled = [&["-vf", "scale=384:288:flags=neighbor"], &offset("11.6")[..]].concat();
    let large = clip(&folder, "large.ts", 40, &scaled);
    let joined = folder.path().join("sizes.ts");
    std::fs::write(&joined, [std::fs::read(small).unwrap(), std::fs::read(large).unwrap()].concat()).unwrap();
    for name in ["sizes.ts", "sizes.mkv"] {
        let path = folder.path().join(name);
        if path != joined {
            copy(&joined, &path, &[]);
        }
        let film = open(&path);
        let name = path.display();
        assert_eq!(film.index().len(), 80, "{name}: {:?}", film.index().remarks());
        let unreadable = every_way(&film, |frame, picture| {
            let wide = if frame < 40 { 192 } else { 384 };
            assert_eq!(picture.shown_size().0, wide, "{name}: frame {frame} in its own size");
            assert_eq!(number(&picture), Some(frame % 40), "{name}: frame {frame}");
        });
        assert_eq!(unreadable, 0, "{name}");
    }
}

#[test]
fn times_that_are_missing_or_twice_there() {
    let folder = folder();
    let plain = clip(&folder, "plain.mkv", 90, &["-c:v", "libx264", "-bf", "0", "-g", "20"]);
    let twice = folder.path().join("twice.mkv");
    copy(&plain, &twice, &["-bsf:v", "setts=ts='PTS-40*mod(N,2)*gt(N,40)'"]);
    let film = open(&twice);
    assert!(says(&film, "carry no time of their own"), "{:?}", film.index().remarks());
    assert!(film.index().times().windows(2).all(|pair| pair[0] < pair[1]));
    assert_eq!(film.index().times()[60], Micros::from_millis(60 * 40), "a time that is right stays");
    assert_all(&film, 90, |n| n);
    // B-frames in AVI: no picture has a time.
    let film = open(&clip(&folder, "none.avi", 90, &["-c:v", "mpeg4", "-bf", "2", "-g", "15", "-q:v", "3"]));
    assert_all(&film, 90, |n| n);
}

#[test]
fn very_fast_and_very_slow_film() {
    let folder = folder();
    let fast = clip(
        &folder,
        "fast.mp4",
        240,
        &["-vf", "settb=1/240,setpts=N", "-r", "240", "-c:v", "libx264", "-bf", "2", "-g", "60"],
    );
    let film = open(&fast);
    assert_all(&film, 240, |n| n);
    assert_times(&film);
    // Three hours at a picture a second; the numbers come round after 1024.
    let slow = folder.path().join("slow.mkv");
    let part = clip(
        &folder,
        "part.mkv",
        900,
        &[
            "-vf",
            "settb=1/1000,setpts=N*1000",
            "-r",
            "1",
            "-c:v",
            "libx264",
            "-preset",
            "ultrafast",
            "-g",
            "60",
            "-bf",
            "2",
        ],
    );
    ffmpeg(&["-stream_loop", "11", "-i", part.to_str().unwrap(), "-c", "copy", slow.to_str().unwrap()], &[]);
    let film = open(&slow);
    assert_eq!(film.index().len(), 10_800, "{:?}", film.index().remarks());
    assert!(film.index().end() >= Micros::from_whole_seconds(10_799));
    let start = std::time::Instant::now();
    for n in (0..10_800_u32).rev().step_by(97) {
        film.forget();
        let picture = film.fetch(FrameNumber(n), Heading::Still).unwrap();
        assert_eq!(number(&picture), Some(n as usize % 900), "frame {n}");
        assert_eq!(picture.time, Micros::from_whole_seconds(i64::from(n)));
    }
    assert!(start.elapsed().as_secs() < 60);
    assert_times(&film);
}

#[test]
fn a_film_in_parts_whole_and_still_growing() {
    let folder = folder();
    let parts = [
        "-c:v",
        "libx264",
        "-bf",
        "2",
        "-g",
        "20",
        "-movflags",
        "frag_keyframe+empty_moov+default_base_moof",
    ];
    let whole = clip(&folder, "parts.mp4", 120, &parts);
    let film = open(&whole);
    assert_all(&film, 120, |n| n);
    assert_times(&film);
    assert!(!says(&film, "still being written"), "{:?}", film.index().remarks());
    let stream = clip(&folder, "stream.ts", 120, &["-c:v", "libx264", "-bf", "2", "-g", "20"]);
    for (whole, name) in [(whole, "growing.mp4"), (stream, "growing.ts")] {
        let bytes = std::fs::read(whole).unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes[..bytes.len() * 6 / 10 + 11]).unwrap();
        let film = open(&path);
        assert!(says(&film, "still being written"), "{name}: {:?}", film.index().remarks());
        let count = film.index().len();
        assert!((40..110).contains(&count), "{name}: {count}");
        // While it is looked at, the rest arrives.
        std::fs::write(&path, &bytes).unwrap();
        let unreadable = every_way(&film, |frame, picture| {
            assert_eq!(number(&picture), Some(frame), "{name}: frame {frame}");
            assert_eq!(picture.time, Micros(i64::try_from(frame).unwrap() * 40_000));
        });
        assert!(unreadable <= 4, "{name}: {unreadable} of {count}");
        assert_eq!(open(&path).index().len(), 120, "{name}: opened again it is all there");
    }
}

#[test]
fn avi_without_its_index() {
    let folder = folder();
    for (name, encoding) in [
        ("m.avi", &["-c:v", "mjpeg", "-q:v", "3"][..]),
        ("d.avi", &["-c:v", "mpeg4", "-bf", "0", "-g", "15", "-q:v", "3"]),
        ("h.avi", &["-c:v", "libx264", "-bf", "2", "-g", "20"]),
    ] {
        let path = clip(&folder, name, 90, encoding);
        let bytes = std::fs::read(&path).unwrap();
        let at = bytes.windows(4).rposition(|four| four == b"idx1").unwrap();
        std::fs::write(&path, &bytes[..at]).unwrap();
        let film = open(&path);
        assert_all(&film, 90, |n| n);
    }
}

#[test]
fn other_sampling_and_full_range() {
    let folder = folder();
    for (name, encoding) in [
        ("422.mkv", &["-pix_fmt", "yuv422p", "-c:v", "libx264", "-bf", "2", "-g", "20"][..]),
        ("422-10.mp4", &["-pix_fmt", "yuv422p10le", "-c:v", "libx264", "-bf", "2", "-g", "20"]),
        ("full.mp4", &["-pix_fmt", "yuvj420p", "-c:v", "libx264", "-bf", "2", "-g", "20"]),
        ("full422.mov", &["-pix_fmt", "yuvj422p", "-c:v", "mjpeg", "-q:v", "3"]),
        ("field422.mov", &["-pix_fmt", "yuv422p10le", "-flags", "+ildct", "-top", "1", "-c:v", "prores_ks"]),
    ] {
        let film = open(&clip(&folder, name, 60, encoding));
        assert_all(&film, 60, |n| n);
        assert_times(&film);
    }
}

#[test]
fn bytes_overwritten_in_the_middle_leave_a_gap_and_move_nothing() {
    let folder = folder();
    let mut tally = Vec::new();
    for (name, encoding) in [
        ("a.mp4", &["-c:v", "libx264", "-bf", "2", "-g", "25"][..]),
        ("a.mkv", &["-c:v", "libx264", "-bf", "2", "-g", "25"]),
        ("a.ts", &["-c:v", "libx264", "-bf", "2", "-g", "25"]),
        ("b.mp4", &["-c:v", "libx265", "-preset", "fast", "-x265-params", "keyint=25:log-level=none"]),
        ("c.ts", &["-c:v", "mpeg2video", "-bf", "2", "-g", "12", "-q:v", "2"]),
        ("c.mpg", &["-c:v", "mpeg2video", "-bf", "2", "-g", "12", "-q:v", "2"]),
        ("d.avi", &["-c:v", "mpeg4", "-bf", "0", "-g", "12", "-q:v", "3"]),
        ("d2.avi", &["-c:v", "mpeg4", "-bf", "2", "-g", "12", "-q:v", "3"]),
        ("e.avi", &["-c:v", "mjpeg", "-q:v", "3"]),
        (
            "f.webm",
            &["-c:v", "libvpx-vp9", "-b:v", "300k", "-g", "25", "-deadline", "realtime", "-cpu-used", "8"],
        ),
    ] {
        let path = clip(&folder, name, 150, encoding);
        let mut bytes = std::fs::read(&path).unwrap();
        // A stretch inside the middle, of noise that is no start code.
        let at = bytes.len() * 9 / 20;
        for (n, byte) in bytes[at..at + 700].iter_mut().enumerate() {
            *byte = u8::try_from((n * 73 + 41) % 251).unwrap() | 1;
        }
        std::fs::write(&path, &bytes).unwrap();
        let film = open(&path);
        let count = film.index().len();
        assert!(count > 80, "{name}: {count}");
        let (mut wrong, mut bare, mut right) = (Vec::new(), 0, 0);
        let unreadable = every_way(&film, |frame, picture| match number(&picture) {
            Some(seen) if by_time(&film, frame) == seen => right += 1,
            // Where pictures of a program stream are missing, the times of those beside them are reckoned, and that
            // is said; these are before the damage.
            Some(seen)
                if says(&film, "evenly between")
                    && (seen == frame || by_time(&film, frame).abs_diff(seen) <= 2) =>
            {
                right += 1;
            }
            // AVI writes no times: what is missing makes the rest early, and that is said.
            Some(seen) if says(&film, "too early") && seen == by_time(&film, frame) + 1 => right += 1,
            Some(seen) => wrong.push((frame, seen)),
            None => bare += 1,
        });
        tally.push(format!(
            "{name}: {count} frames, {unreadable} refused, {right} right, {bare} without a number, wrong {wrong:?}, {:?}",
            film.index().remarks()
        ));
    }
    assert!(tally.iter().all(|line| line.contains("wrong []")), "{}", tally.join("\n"));
    assert!(tally.iter().all(|line| !line.contains(" 0 right")));
}

/// The number a picture bears by its time: 25 a second.
fn by_time(film: &Film, frame: usize) -> usize {
    let time = film.index().times()[frame].0;
    usize::try_from((time + 20_000) / 40_000).unwrap()
}
