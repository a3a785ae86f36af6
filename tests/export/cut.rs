//! A stretch of film cut out: the right pictures at the right times, with what belongs to them.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use shedlight::media::{Film, FilmOptions, Heading, sound};
use shedlight::model::{Clip, ClipId, FaceCover};
use shedlight::storage::StudyFolder;
use shedlight::time::{FrameNumber, Micros};

use super::{copy, sample};
use crate::common::{HEIGHT, WIDTH, barcode_clip, ffmpeg, folder, read_barcode, shedlight};

/// The demo's study with a film of our own in session s2: two pieces of 4 s with a hole of 2 s between them,
/// a click at 2.5 s of each, and a face to be covered from 2 to 3 s of the first.
fn study(folder: &Path) -> PathBuf {
    let root = folder.join("study");
    copy(&sample(), &root);
    std::fs::create_dir_all(root.join("clips")).unwrap();
    let film = folder.join("film.mkv");
    barcode_clip(&film, 100, &["-c:v", "libx264", "-g", "25", "-bf", "2", "-qp", "4"]);
    let click = "aevalsrc='0.9*between(t,2.5,2.502)':s=48000:d=4:c=stereo";
    for name in ["clips/one.mkv", "clips/two.mkv"] {
        let path = root.join(name);
        let inputs = ["-i", film.to_str().unwrap(), "-f", "lavfi", "-i", click, "-map", "0:v", "-map", "1:a"];
        let encoding = ["-c:v", "copy", "-c:a", "pcm_s16le", path.to_str().unwrap()];
        ffmpeg(&[&inputs[..], &encoding].concat(), &[]);
    }
    let study = StudyFolder::open(&root).unwrap();
    let mut session = study.session(&"s2".into()).unwrap();
    let clip = |id: u32, path: &str, offset: f64| Clip {
        offset: Micros::from_seconds(offset).unwrap(),
        length: Micros::from_seconds(4.0),
        ..Clip::new(ClipId(id), path)
    };
    let mut first = clip(1, "clips/one.mkv", 0.0);
    first.face_covers.push(FaceCover {
        from: Micros::from_whole_seconds(2),
        to: Micros::from_whole_seconds(3),
        x: 0.75,
        y: 0.5,
        width: 0.5,
        height: 0.5,
        face: 1,
        extra: serde_json::Map::new(),
    });
    session.clips = vec![first, clip(2, "clips/two.mkv", 6.0)];
    study.save_session(&session).unwrap();
    root
}

fn cut(study: &Path, out: &Path, more: &[&str]) -> crate::common::Ran {
    let mut arguments =
        vec!["cut", study.to_str().unwrap(), "--session", "s2", "--out", out.to_str().unwrap()];
    arguments.extend(more);
    shedlight(&arguments)
}

/// Number each picture bears, its time, and whether the corner is covered.
fn pictures(film: &Film) -> Vec<(Option<usize>, Micros, bool)> {
    let last = film.index().last().0;
    (0..=last)
        .map(|n| {
            let picture = film.fetch(FrameNumber(n), Heading::Forward).unwrap();
            let image = image::DynamicImage::ImageRgba8(picture.to_rgba()).to_rgb8();
            let (width, height) = (u32::try_from(WIDTH).unwrap(), u32::try_from(HEIGHT).unwrap());
            let film_part = image::imageops::crop_imm(&image, 0, 0, width, height).to_image();
            let corner = film_part.get_pixel(width - 4, height - 4).0;
            let is_covered = corner.iter().all(|own| own.abs_diff(0x20) < 12);
            (read_barcode(&film_part), film.index().time(FrameNumber(n)).unwrap(), is_covered)
        })
        .collect()
}

#[test]
fn every_picture_of_the_stretch_at_its_time_with_hole_sound_and_cover() {
    let folder = folder();
    let study = study(folder.path());
    let before = std::fs::read(study.join("clips/one.mkv")).unwrap();
    let out = folder.path().join("cut.mp4");
    let ran = cut(&study, &out, &["--from", "1.02", "--to", "7", "--drawn", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let film = Film::open(&out, FilmOptions::default()).unwrap();
    let seen = pictures(&film);
    // From the picture that is seen at 1.02 s; black where the film has a hole; then the second piece.
    let mut wanted: Vec<(Option<usize>, i64)> = vec![(Some(25), 0)];
    wanted.extend((26..100).map(|n| (Some(n), i64::try_from(n).unwrap() * 40_000 - 1_020_000)));
    wanted.push((None, 2_980_000));
    wanted.extend((0..25).map(|n| (Some(n), 4_980_000 + i64::try_from(n).unwrap() * 40_000)));
    assert_eq!(seen.len(), wanted.len());
    for (n, ((number, at, _), (wanted, wanted_at))) in seen.iter().zip(&wanted).enumerate() {
        assert_eq!(number, wanted, "picture {n}");
        assert!(at.distance(Micros(*wanted_at)) <= Micros(20), "picture {n} at {at}");
    }
    // The cover lies on the pictures of its two seconds and on no other.
    let covered: Vec<usize> = seen.iter().enumerate().filter(|(_, own)| own.2).map(|(n, _)| n).collect();
    assert_eq!(covered, (25..50).collect::<Vec<_>>());
    // The clicks of both pieces that lie in the stretch: one at 2.5 s; that of the second lies behind it.
    let peaks = sound::peaks(&out, film.index(), 1000, &mut |_| ControlFlow::Continue(())).unwrap().unwrap();
    let loud: Vec<usize> =
        peaks.max.iter().enumerate().filter(|(_, own)| **own > 0.3).map(|(n, _)| n).collect();
    assert!(!loud.is_empty() && loud.iter().all(|ms| ms.abs_diff(1_480) <= 4), "{loud:?}");
    // Nothing of the original was touched, nothing half-made is left.
    assert_eq!(std::fs::read(study.join("clips/one.mkv")).unwrap(), before);
    assert!(!folder.path().join("cut.part.mp4").exists());
    // The band below says where and what.
    let (_, height) = film.fetch(FrameNumber(0), Heading::Still).unwrap().shown_size();
    assert!(height > u32::try_from(HEIGHT).unwrap() + 20);
}

#[test]
fn a_plain_cut_has_the_size_of_the_film_and_no_sound_when_silent() {
    let folder = folder();
    let study = study(folder.path());
    let out = folder.path().join("plain.mkv");
    let ran = cut(&study, &out, &["--from", "0", "--to", "0.4", "--silent"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("10 pictures from 0.000000 s to 0.400000 s"), "{}", ran.out);
    let film = Film::open(&out, FilmOptions::default()).unwrap();
    let size = film.fetch(FrameNumber(0), Heading::Still).unwrap().shown_size();
    assert_eq!(size, (u32::try_from(WIDTH).unwrap(), u32::try_from(HEIGHT).unwrap()));
    assert!(sound::read_from(&out, film.index(), 48_000, Micros::ZERO).unwrap().is_none());
    let numbers: Vec<_> = pictures(&film).into_iter().map(|own| own.0).collect();
    assert_eq!(numbers, (0..10).map(Some).collect::<Vec<_>>());
}

#[test]
fn what_the_camera_wrote_beside_the_film_is_left_behind_and_the_band_names_nobody_when_asked() {
    let folder = folder();
    let study = study(folder.path());
    let holds = |path: &Path, word: &str| {
        std::fs::read(path).unwrap().windows(word.len()).any(|own| own == word.as_bytes())
    };
    // So large that the whole line below it can be read.
    let film = study.join("clips/one.mkv");
    let (source, path) = ("testsrc2=s=960x720:r=25:d=4", film.to_str().unwrap());
    let about = ["-metadata", "comment=filmed by Anna", "-metadata", "location=+51.5-000.1/"];
    ffmpeg(&[&["-f", "lavfi", "-i", source][..], &about, &["-c:v", "libx264", path]].concat(), &[]);
    assert!(holds(&film, "filmed by Anna"));
    let mut bands = Vec::new();
    for (name, more) in [("named.mp4", &[][..]), ("unnamed.mp4", &["--without-names"])] {
        let out = folder.path().join(name);
        let ran = cut(&study, &out, &[&["--from", "0", "--to", "0.2", "--drawn"], more].concat());
        assert_eq!(ran.code, 0, "{}", ran.err);
        for word in ["Anna", "+51.5", "K-07"] {
            assert!(!holds(&out, word), "{word} in {name}");
        }
        let film = Film::open(&out, FilmOptions::default()).unwrap();
        let picture = film.fetch(FrameNumber(0), Heading::Still).unwrap().to_rgba();
        let band = image::imageops::crop_imm(&picture, 0, 720, picture.width(), picture.height() - 720);
        bands.push(band.to_image());
    }
    let differing = bands[0].pixels().zip(bands[1].pixels()).filter(|(a, b)| a.0[0].abs_diff(b.0[0]) > 60);
    assert!(differing.count() > 4, "the code of the coder stands in one of them alone");
}

#[test]
fn what_cannot_be_cut_is_said_and_leaves_nothing() {
    let folder = folder();
    let study = study(folder.path());
    let out = folder.path().join("no.mp4");
    for (more, words) in [
        (&["--from", "4.5", "--to", "5.5"][..], "with gaps"),
        (&["--from", "30", "--to", "40"], "lies from 0.000000 s to 10.000000 s"),
        (&["--from", "3", "--to", "3"], "lies not after"),
        (&["--from", "0", "--to", "1", "--drawn", "--by", "nobody"], "no coding"),
        (&["--from", "0", "--to", "1", "--camera", "other"], "no film of this camera"),
    ] {
        let ran = cut(&study, &out, more);
        assert_eq!(ran.code, 2, "{more:?}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(words), "{more:?}: {}", ran.err);
        assert!(!out.exists() && !folder.path().join("no.part.mp4").exists());
    }
    let itself = study.join("clips/one.mkv");
    // Film of another session, which is not cut from.
    let folder_of = StudyFolder::open(&study).unwrap();
    let mut other = folder_of.session(&"s1".into()).unwrap();
    let others = study.join("clips/other.mkv");
    let _ = std::fs::copy(&itself, &others).unwrap();
    other.clips = vec![Clip::new(ClipId(1), "clips/other.mkv")];
    folder_of.save_session(&other).unwrap();
    let before = std::fs::read(&itself).unwrap();
    for film in [&itself, &others] {
        let ran = cut(&study, film, &["--from", "0", "--to", "1"]);
        assert!(ran.code == 2 && ran.err.contains("the film itself"), "{}", ran.err);
        let name = film.to_str().unwrap();
        let ran = shedlight(&["still", name, "--frame", "3", "--out", name]);
        assert!(ran.code == 2 && ran.err.contains("no picture"), "{}", ran.err);
        assert_eq!(std::fs::read(film).unwrap(), before);
    }
    // A picture made before is made anew.
    let (film, out) = (itself.to_str().unwrap(), folder.path().join("s.png"));
    for frame in ["3", "4"] {
        let ran = shedlight(&["still", film, "--frame", frame, "--out", out.to_str().unwrap()]);
        assert_eq!(ran.code, 0, "{}", ran.err);
    }
}
