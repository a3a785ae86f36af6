//! Where the picture of long film changes: found, kept, bounded, stopped.

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use shedlight::media::motion::{self, From, Motion};
use shedlight::media::{Error, Film, FilmOptions, Index};
use shedlight::time::Micros;

use crate::common::{ffmpeg, folder};

/// Five minutes of dim noise, four pictures a second; a small bright box crosses it from 1:40 to 2:10 and from 4:00 to
/// 4:20. A lamp goes on at 3:00 and stays on.
pub fn still_and_moving(path: &Path, seconds: u32, key_every: u32) {
    let ground = format!("color=0x303030:s=192x108:r=4:d={seconds}");
    let scene = "[1]format=yuv420p[b];[0][b]overlay=x='20+mod(t*15,140)':y=50:enable='between(t,100,130)+between(t,240,260)',\
                 eq=brightness='if(gte(t,180),0.15,0)':eval=frame,noise=alls=5:allf=t";
    let keys = key_every.to_string();
    ffmpeg(
        &[
            "-f",
            "lavfi",
            "-i",
            &ground,
            "-f",
            "lavfi",
            "-i",
            "color=white:s=14x14:r=4",
            "-filter_complex",
            scene,
            "-t",
            &seconds.to_string(),
            "-c:v",
            "libx264",
            "-preset",
            "ultrafast",
            "-g",
            &keys,
            "-keyint_min",
            &keys,
            "-sc_threshold",
            "0",
            "-pix_fmt",
            "yuv420p",
            path.to_str().unwrap(),
        ],
        &[],
    );
}

fn index_of(path: &Path) -> Arc<Index> {
    Arc::clone(Film::open(path, FilmOptions::default()).unwrap().index())
}

/// Whether the stretches are those two, each edge within the distance of two key pictures.
fn assert_found(motion: &Motion) {
    let found = motion.stretches();
    let seconds: Vec<(f64, f64)> = found.iter().map(|own| (own.from.seconds(), own.to.seconds())).collect();
    assert_eq!(found.len(), 2, "{seconds:?}");
    for ((from, to), (wanted_from, wanted_to)) in seconds.iter().zip([(100.0, 130.0), (240.0, 260.0)]) {
        assert!((from - wanted_from).abs() <= 4.0 && (to - wanted_to).abs() <= 4.0, "{seconds:?}");
    }
}

#[test]
fn key_pictures_tell_where_something_moves_and_a_lamp_is_not_motion() {
    let folder = folder();
    let path = folder.path().join("night.mp4");
    still_and_moving(&path, 300, 8);
    let index = index_of(&path);
    let kept = folder.path().join("cache/night.motion");
    let mut shares = Vec::new();
    let mut progress = |share| {
        shares.push(share);
        ControlFlow::Continue(())
    };
    let motion = motion::of_pictures(&path, &index, Some(&kept), &mut progress).unwrap().unwrap();
    assert_eq!(
        (motion.from, motion.bin, motion.change.len()),
        (From::Pictures, Micros::from_whole_seconds(1), 300)
    );
    assert_found(&motion);
    assert!(shares.len() <= 151 && shares.windows(2).all(|pair| pair[0] <= pair[1]), "one a key, rising");
    assert_eq!(motion::kept(&kept).as_ref(), Some(&motion), "what is kept is what was found");
    // What is kept and damaged is not believed.
    let mut bytes = std::fs::read(&kept).unwrap();
    bytes[40] ^= 1;
    std::fs::write(&kept, bytes).unwrap();
    assert_eq!(motion::kept(&kept), None);
}

#[test]
fn sizes_of_packets_guess_it_at_once_and_sparse_keys_leave_it_at_that() {
    let folder = folder();
    let path = folder.path().join("sparse.mp4");
    still_and_moving(&path, 300, 240);
    let index = index_of(&path);
    let guessed = Motion::of_sizes(&index).unwrap();
    assert_eq!((guessed.from, guessed.change.len()), (From::Sizes, 300));
    let total: f32 = guessed.change.iter().sum();
    assert!(total > 0.0 && guessed.heights().iter().all(|own| (0.0..=1.0).contains(own)));
    let seen = motion::of_pictures(&path, &index, None, &mut |_| ControlFlow::Continue(())).unwrap();
    assert_eq!(seen, None, "a key a minute says nothing of the seconds between");
}

#[test]
fn a_search_that_is_stopped_keeps_nothing_and_a_still_film_has_no_stretch() {
    let folder = folder();
    let path = folder.path().join("still.mp4");
    still_and_moving(&path, 90, 8);
    let index = index_of(&path);
    let kept = folder.path().join("still.motion");
    let mut calls = 0;
    let mut stop = |_| {
        calls += 1;
        if calls > 5 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let stopped = motion::of_pictures(&path, &index, Some(&kept), &mut stop);
    assert!(matches!(stopped, Err(Error::Stopped)) && !kept.exists());
    let motion =
        motion::of_pictures(&path, &index, None, &mut |_| ControlFlow::Continue(())).unwrap().unwrap();
    assert_eq!(motion.stretches(), []);
}
