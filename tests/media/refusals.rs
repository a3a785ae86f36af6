//! Files that are no film: one clear message, exit code 2, no panic, nothing written.

use std::path::Path;

use crate::common::{Ran, barcode_clip, ffmpeg, folder, shedlight};

fn frames(path: &Path) -> Ran {
    shedlight(&["frames".as_ref(), path.as_os_str()])
}

fn assert_refused(path: &Path, words: &str) {
    for ran in [
        frames(path),
        shedlight(&["verify".as_ref(), path.as_os_str()]),
        shedlight(&[
            "still".as_ref(),
            path.as_os_str(),
            "--frame=0".as_ref(),
            "--out=/nowhere/x.png".as_ref(),
        ]),
    ] {
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains(words), "'{}' should say '{words}'", ran.err);
        assert!(ran.err.contains(path.to_str().unwrap()), "it names the file: {}", ran.err);
        assert_eq!(ran.err.trim().lines().count(), 1, "one message: {}", ran.err);
        assert!(!ran.err.contains("panicked"));
        assert_eq!(ran.out, "");
    }
}

#[test]
fn what_is_no_film_is_refused_in_words() {
    let folder = folder();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    assert_refused(&folder.path().join("missing.mp4"), "No such file");
    assert_refused(&file("empty.mp4", b""), "empty");
    assert_refused(
        &file("text.mp4", b"Dear diary, the tortoise came to the target today.\n"),
        "no video file",
    );
    assert_refused(folder.path(), "folder");
    let noise: Vec<u8> =
        (0..60_000_u32).map(|n| u8::try_from(n.wrapping_mul(2_654_435_761) % 251).unwrap()).collect();
    assert_refused(&file("noise.avi", &noise), "no video file");
    let sound = folder.path().join("sound.m4a");
    ffmpeg(&["-f", "lavfi", "-i", "sine=d=1", sound.to_str().unwrap()], &[]);
    assert_refused(&sound, "only sound");
}

#[test]
fn a_playlist_is_not_followed() {
    let folder = folder();
    let clip = folder.path().join("clip.mp4");
    barcode_clip(&clip, 10, &["-c:v", "libx264"]);
    let clip = clip.to_str().unwrap();
    for (name, text) in [
        ("list.m3u8", format!("#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\n{clip}\n#EXT-X-ENDLIST\n")),
        ("list.txt", format!("ffconcat version 1.0\nfile '{clip}'\n")),
        ("named-as-film.mp4", format!("#EXTM3U\n{clip}\n")),
        ("list.ffconcat", format!("file '{clip}'\n")),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        assert_refused(&path, "playlist");
    }
}

#[test]
fn an_unfinished_recording_is_named_as_such() {
    let folder = folder();
    let whole = folder.path().join("whole.mp4");
    barcode_clip(&whole, 50, &["-c:v", "libx264"]);
    let bytes = std::fs::read(&whole).unwrap();
    let cut = folder.path().join("cut.mp4");
    std::fs::write(&cut, &bytes[..bytes.len() / 2]).unwrap();
    assert_refused(&cut, "Repair a COPY");
}

#[test]
fn a_frame_or_time_outside_the_clip_is_refused() {
    let folder = folder();
    let clip = folder.path().join("a.mp4");
    barcode_clip(&clip, 25, &["-c:v", "libx264"]);
    let out = folder.path().join("out.png");
    let still = |which: &str| {
        shedlight(&["still".as_ref(), clip.as_os_str(), which.as_ref(), "--out".as_ref(), out.as_os_str()])
    };
    let ran = still("--frame=25");
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("no frame 25: the clip has 25, numbered from 0"), "{}", ran.err);
    let ran = still("--at=1.0");
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("outside the clip"), "{}", ran.err);
    assert!(!out.exists());
    assert_eq!(still("--at=0.999").code, 0);
}

#[test]
fn a_name_that_looks_like_a_protocol_is_a_name() {
    let folder = folder();
    let clip = folder.path().join("http:clip.mp4");
    barcode_clip(&folder.path().join("a.mp4"), 10, &["-c:v", "libx264"]);
    std::fs::rename(folder.path().join("a.mp4"), &clip).unwrap();
    assert_eq!(frames(&clip).code, 0);
}
