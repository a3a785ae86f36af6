//! Long work ended by Ctrl+C.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::common::{archive, folder, shedlight};

/// What lies in a folder, hidden things too.
fn inside(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Ends a command by Ctrl+C as soon as `has_begun`; what it said.
fn stopped(arguments: &[&str], has_begun: &mut dyn FnMut() -> bool) -> String {
    let mut child = Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    while !has_begun() && child.try_wait().unwrap().is_none() {
        std::thread::sleep(Duration::from_millis(2));
    }
    assert!(child.try_wait().unwrap().is_none(), "{arguments:?}: it ended before it could be stopped");
    let asked = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(asked.success());
    let ended = child.wait_with_output().unwrap();
    let told = String::from_utf8(ended.stderr).unwrap();
    assert_eq!(ended.status.code(), Some(2), "{arguments:?}: {told}");
    told
}

#[test]
fn an_export_that_is_stopped_leaves_nothing() {
    let folder = folder();
    let study = folder.path().join("study");
    archive::write(&study, 600, 300);
    let forms: &[&str] = if cfg!(feature = "parquet") { &["csv", "parquet"] } else { &["csv"] };
    for form in forms {
        let out = folder.path().join("out");
        let told = stopped(
            &["export", study.to_str().unwrap(), "--as", form, "--out", out.to_str().unwrap()],
            // It has begun to write when something lies beside the study.
            &mut || inside(folder.path()).len() > 1,
        );
        assert!(told.contains("stopped; nothing of it is left"), "{form}: {told}");
        assert_eq!(inside(folder.path()), ["study"], "{form}");
    }
    // The study is as it was, and can be exported.
    let checked = shedlight(&["summary", study.to_str().unwrap(), "--animal", "a0000", "--json"]);
    assert_eq!(checked.code, 0, "{}", checked.err);
}

#[test]
fn a_parcel_that_is_stopped_leaves_nothing() {
    let folder = folder();
    let study = folder.path().join("study");
    archive::write(&study, 600, 300);
    let out = folder.path().join("out.zip");
    let told = stopped(&["pack", study.to_str().unwrap(), "--out", out.to_str().unwrap()], &mut || {
        inside(folder.path()).len() > 1
    });
    assert!(told.contains("stopped"), "{told}");
    assert_eq!(inside(folder.path()), ["study"]);
}

/// Begins a report, hears a first share of it, stops it, and looks at what is there.
fn report_stopped(ending: &str, at: f32) {
    use std::io::BufRead as _;
    let folder = folder();
    let study = folder.path().join("study");
    let _ = archive::many(&study, 120);
    let out = folder.path().join(format!("out.{ending}"));
    let mut child = Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .args(["report", study.to_str().unwrap(), "--tell-progress", "--out", out.to_str().unwrap()])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = std::io::BufReader::new(child.stdout.take().unwrap()).lines();
    let mut shares = lines.map_while(Result::ok).map_while(|line| line.parse::<f32>().ok());
    let mut last = -1.0;
    let reached = shares.by_ref().any(|share| {
        assert!(share >= last && share <= 1.0, "{share} after {last}");
        last = share;
        share >= at
    });
    assert!(reached, "it told how far it was");
    let asked = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(asked.success());
    let _ = shares.count();
    let ended = child.wait_with_output().unwrap();
    let told = String::from_utf8(ended.stderr).unwrap();
    assert_eq!(ended.status.code(), Some(2), "{told}");
    assert!(told.contains("stopped; nothing of it is left"), "{told}");
    assert_eq!(inside(folder.path()), ["study"]);
}

#[test]
fn a_report_that_is_stopped_leaves_nothing() {
    report_stopped("html", 0.1);
}

#[cfg(feature = "pdf")]
#[test]
fn a_printed_one_is_stopped_while_it_is_set() {
    report_stopped("pdf", 0.55);
}

#[cfg(feature = "media")]
#[test]
fn a_cut_that_is_stopped_leaves_nothing() {
    let folder = folder();
    let study = folder.path().join("study");
    crate::common::copy(&super::sample(), &study);
    std::fs::create_dir_all(study.join("clips")).unwrap();
    let film = study.join("clips/long.mkv");
    let source = "testsrc2=s=640x360:r=25:d=60";
    let film = film.to_str().unwrap();
    crate::common::ffmpeg(
        &["-f", "lavfi", "-i", source, "-c:v", "libx264", "-preset", "ultrafast", film],
        &[],
    );
    let opened = shedlight::storage::StudyFolder::open(&study).unwrap();
    let mut session = opened.session(&"s1".into()).unwrap();
    let clip = shedlight::model::Clip::new(shedlight::model::ClipId(1), "clips/long.mkv");
    let length = shedlight::time::Micros::from_seconds(60.0);
    session.clips = vec![shedlight::model::Clip { length, ..clip }];
    opened.save_session(&session).unwrap();
    let out = folder.path().join("cut.mp4");
    let arguments = ["cut", study.to_str().unwrap(), "--session", "s1", "--from", "0", "--to", "60", "--out"];
    let told = stopped(&[&arguments[..], &[out.to_str().unwrap()]].concat(), &mut || {
        folder.path().join("cut.part.mp4").exists()
    });
    assert!(told.contains("stopped; nothing of it is left"), "{told}");
    assert_eq!(inside(folder.path()), ["study"]);
}
