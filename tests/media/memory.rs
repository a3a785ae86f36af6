//! What is remembered of a clip: pictures in bounded memory, and its index on disk.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::time::{Duration, Instant};

use shedlight::media::{Film, FilmOptions, Heading, Picture};
use shedlight::time::FrameNumber;

use crate::common::{barcode_clip, folder, read_barcode};

fn number(picture: &Picture) -> Option<usize> {
    read_barcode(&image::DynamicImage::ImageRgba8(picture.to_rgba()).to_rgb8())
}

/// Asks as the window does, and waits.
fn seen(film: &Film, frame: u32, heading: Heading) -> Arc<Picture> {
    film.want(FrameNumber(frame), heading);
    let start = Instant::now();
    loop {
        if let Some(picture) = film.picture(FrameNumber(frame)) {
            return picture;
        }
        assert!(start.elapsed() < Duration::from_secs(20), "picture {frame} never came");
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn a_long_group_that_does_not_fit_is_kept_smaller_and_made_whole_when_the_movement_stops() {
    let folder = folder();
    let clip = folder.path().join("long-group.mp4");
    barcode_clip(&clip, 120, &["-c:v", "libx264", "-g", "120", "-keyint_min", "120", "-bf", "2"]);
    let whole = 192 * 144 * 3 / 2;
    let film = Film::open(&clip, FilmOptions { cache_bytes: 30 * whole, ..FilmOptions::default() }).unwrap();
    assert_eq!(film.fetch(FrameNumber(110), Heading::Still).unwrap().halvings, 0);
    let mut smaller = 0;
    for frame in (40..110).rev() {
        let picture = seen(&film, frame, Heading::Backward);
        assert_eq!(picture.frame, FrameNumber(frame));
        assert_eq!(number(&picture), Some(frame as usize), "the right picture at any size");
        smaller += usize::from(picture.halvings > 0);
    }
    assert!(smaller > 40, "stepping back was served from what one run left: {smaller}");
    let start = Instant::now();
    while film.picture(FrameNumber(40)).is_none_or(|picture| picture.halvings > 0) {
        assert!(start.elapsed() < Duration::from_secs(20), "it was never made whole");
        std::thread::sleep(Duration::from_millis(5));
    }
    assert_eq!(number(&film.picture(FrameNumber(40)).unwrap()), Some(40));
    // What is asked for with every sample has every sample.
    assert_eq!(film.fetch(FrameNumber(70), Heading::Still).unwrap().halvings, 0);
}

#[test]
fn around_a_jump_what_lies_near_is_filled_in_without_being_asked_for() {
    let folder = folder();
    let clip = folder.path().join("long-group.mp4");
    barcode_clip(&clip, 120, &["-c:v", "libx264", "-g", "120", "-keyint_min", "120", "-bf", "3"]);
    let film = Film::open(&clip, FilmOptions::default()).unwrap();
    assert_eq!(number(&film.fetch(FrameNumber(70), Heading::Still).unwrap()), Some(70));
    let start = Instant::now();
    for frame in (40..70).rev().chain(71..100) {
        let picture = loop {
            if let Some(picture) = film.picture(FrameNumber(frame)) {
                break picture;
            }
            assert!(start.elapsed() < Duration::from_secs(20), "picture {frame} was never filled in");
            std::thread::sleep(Duration::from_millis(1));
        };
        assert_eq!(number(&picture), Some(frame as usize));
    }
}

#[test]
fn a_kept_index_gives_the_same_film_without_reading_its_packets() {
    let folder = folder();
    for (name, encoding) in [
        ("clip.mp4", &["-c:v", "libx264", "-g", "30", "-bf", "2"][..]),
        ("clip.avi", &["-c:v", "mpeg4", "-g", "30", "-bf", "2"]),
        ("clip.ts", &["-c:v", "libx264", "-g", "30"]),
    ] {
        let clip = folder.path().join(name);
        barcode_clip(&clip, 700, encoding);
        let kept_at = folder.path().join(format!("kept/{name}.index"));
        let open = || {
            let options = FilmOptions { index_file: Some(kept_at.clone()), ..FilmOptions::default() };
            let mut heard = 0;
            let film = Film::open_with_progress(&clip, options, &mut |_| {
                heard += 1;
                ControlFlow::Continue(())
            });
            (film.unwrap(), heard)
        };
        let (first, heard) = open();
        assert!(heard > 0 && kept_at.exists(), "{name}: the first opening reads everything");
        let (second, heard) = open();
        assert_eq!(heard, 0, "{name}: the second reads no packets");
        assert_eq!(first.index().times(), second.index().times());
        assert_eq!(first.index().end(), second.index().end());
        assert_eq!(first.index().remarks(), second.index().remarks());
        for frame in [699, 350, 351, 349, 0, 512] {
            let picture = second.fetch(FrameNumber(frame), Heading::Still).unwrap();
            assert_eq!(number(&picture), Some(frame as usize), "{name}");
        }
    }
}

#[test]
fn a_kept_index_that_fits_another_clip_shows_no_wrong_picture() {
    let folder = folder();
    let (one, other) = (folder.path().join("one.mp4"), folder.path().join("other.mp4"));
    barcode_clip(&one, 300, &["-c:v", "libx264", "-g", "25"]);
    barcode_clip(&other, 200, &["-c:v", "libx264", "-g", "40", "-crf", "35"]);
    let index_file = Some(folder.path().join("kept.index"));
    let options = || FilmOptions { index_file: index_file.clone(), ..FilmOptions::default() };
    drop(Film::open(&one, options()).unwrap());
    let mixed = Film::open(&other, options()).unwrap();
    for frame in [0, 60, 130, 199, 280] {
        // A refusal is right; the wrong picture never is.
        if let Ok(picture) = mixed.fetch(FrameNumber(frame), Heading::Still) {
            assert_eq!(number(&picture), Some(frame as usize));
        }
    }
}
