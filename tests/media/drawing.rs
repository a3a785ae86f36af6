//! The demo's film: a picture on every moment of the record, and on it what the record says.

use serde_json::Value;

use crate::common::{folder, shedlight};

/// Pixels of the target's red in a picture.
fn target_pixels(image: &image::RgbImage) -> usize {
    image.pixels().filter(|pixel| pixel.0[0] > 180 && pixel.0[1] < 100 && pixel.0[2] < 90).count()
}

#[test]
fn a_picture_lies_on_every_moment_of_the_record_and_shows_it() {
    let folder = folder();
    let root = folder.path().join("demo");
    let drawn = shedlight(&["demo".as_ref(), root.as_os_str(), "--only=1".as_ref(), "--no-window".as_ref()]);
    assert_eq!(drawn.code, 0, "{}", drawn.err);
    let clip = root.join("clips/s1-phone.mp4");
    assert!(!root.join("clips/s3-phone.mp4").exists(), "only the first session was asked for");

    let frames = shedlight(&["frames".as_ref(), clip.as_os_str(), "--json".as_ref()]);
    let frames: Value = serde_json::from_str(&frames.out).unwrap();
    let times: Vec<f64> =
        frames["frames"].as_array().unwrap().iter().map(|frame| frame["time_s"].as_f64().unwrap()).collect();
    let text = std::fs::read_to_string(root.join("sessions/s1/K-07.1.coding.json")).unwrap();
    let coding: Value = serde_json::from_str(&text).unwrap();
    let marks = coding["marks"].as_array().unwrap();
    assert!(marks.len() > 50);
    for mark in marks {
        let number = usize::try_from(mark["frame"].as_u64().expect("each mark names its picture")).unwrap();
        #[allow(clippy::cast_precision_loss)]
        let from = mark["from"].as_i64().unwrap() as f64 / 1e6;
        assert!((times[number] - from).abs() < 1e-6, "picture {number} at {} for {mark}", times[number]);
    }
    let steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert!(steps.iter().any(|step| *step > 0.09) && steps.iter().any(|step| *step < 0.06), "uneven");

    // The second cue: the target is there from its first picture, and not one before.
    let cue = marks.iter().filter(|mark| mark["behaviour"] == "cue").nth(1).unwrap();
    let number = cue["frame"].as_u64().unwrap();
    let still = |number: u64| {
        let out = folder.path().join(format!("{number}.png"));
        let ran = shedlight(&[
            "still".as_ref(),
            clip.as_os_str(),
            format!("--frame={number}").as_ref(),
            "--out".as_ref(),
            out.as_os_str(),
        ]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        image::open(out).unwrap().to_rgb8()
    };
    let (before, first) = (still(number - 1), still(number));
    assert_eq!(first.dimensions(), (540, 960), "held upright");
    assert_eq!(target_pixels(&before), 0);
    assert!(target_pixels(&first) > 200);
}
