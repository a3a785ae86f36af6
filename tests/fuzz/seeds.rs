//! The sound study that inputs are put into, and the sound inputs that a run begins with.

use std::fs;
use std::path::Path;

use shedlight::model::{Change, Edit, Mark, MarkId};
use shedlight::storage::{coding_file, journal};
use shedlight::time::Micros;

use super::loaders::{AND, CODING, SESSION, coding_path};

/// The study's folder anew, with one session; a copy of it stays beside.
pub(crate) fn study(samples: &Path, root: &Path) {
    let sound = root.with_file_name("sound");
    let _ = fs::remove_dir_all(&sound);
    let session = sound.join("sessions").join(SESSION);
    for folder in [&session, &sound.join("ethograms"), &sound.join("clips")] {
        fs::create_dir_all(folder).expect("the scratch folder can be written");
    }
    let copy = |name: &str| {
        fs::copy(samples.join(name), sound.join(name)).expect("the samples are there");
    };
    copy("study.json");
    copy("ethograms/refuge.1.json");
    copy("ethograms/refuge.2.json");
    copy(&format!("sessions/{SESSION}/session.json"));
    copy(&format!("sessions/{SESSION}/{CODING}.coding.json"));
    study_again(root);
}

/// The study as it was before an input changed it.
pub(crate) fn study_again(root: &Path) {
    let _ = fs::remove_dir_all(root);
    copy_folder(&root.with_file_name("sound"), root);
}

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("the scratch folder can be written");
    for entry in fs::read_dir(from).expect("it is there").flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy_folder(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).expect("the scratch folder can be written");
        }
    }
}

/// Sound inputs for a loader: the samples themselves, and what is made of them.
pub(crate) fn write(loader: &str, samples: &Path, root: &Path, into: &Path) {
    let put = |name: &str, bytes: &[u8]| fs::write(into.join(name), bytes).expect("seeds can be written");
    let all = |folder: &Path, ending: &str| {
        let found = fs::read_dir(folder).into_iter().flatten().flatten();
        for entry in found.filter(|entry| entry.file_name().to_string_lossy().ends_with(ending)) {
            put(&entry.file_name().to_string_lossy(), &fs::read(entry.path()).expect("it is there"));
        }
    };
    let sessions = || fs::read_dir(samples.join("sessions")).expect("it is there").flatten();
    match loader {
        "study" => all(samples, "study.json"),
        "ethogram" => all(&samples.join("ethograms"), ".json"),
        "session" => {
            for entry in sessions() {
                let text = fs::read(entry.path().join("session.json")).expect("it is there");
                put(&entry.file_name().to_string_lossy(), &text);
            }
        }
        "coding" => {
            all(&samples.join("sessions").join(SESSION), ".coding.json");
            put("short", short(root).as_bytes());
        }
        "journal" => {
            put("resealed", &[b"1", lines(root).as_slice()].concat());
            put(
                "raw",
                &[
                    b"0",
                    fs::read(coding_file::journal_path(&coding_path(root))).unwrap_or_default().as_slice(),
                ]
                .concat(),
            );
        }
        "repair" => put("short", &[short(root).as_bytes(), AND.as_bytes(), &lines(root)].concat()),
        "parcel" => {
            let mut text = b"1".to_vec();
            for name in ["study.json", "sessions/s5/session.json", "ethograms/refuge.2.json"] {
                text.extend(format!("@@@{name}\n").bytes());
                text.extend(fs::read(samples.join(name)).expect("it is there"));
            }
            text.extend(format!("@@@sessions/s5/{CODING}.coding.json\n{}", short(root)).bytes());
            put("parts", &text);
        }
        #[cfg(feature = "media")]
        "index" => {
            let clip = std::env::var("SHEDLIGHT_CLIP").expect("SHEDLIGHT_CLIP names a clip");
            let kept = into.join("kept");
            let options =
                shedlight::media::FilmOptions { index_file: Some(kept.clone()), ..Default::default() };
            drop(shedlight::media::Film::open(clip.as_ref(), options).expect("the clip opens"));
            let mut body = fs::read(&kept).expect("it was kept");
            // Without its checksum.
            body.truncate(body.len() - 32);
            put("kept", &body);
            put("sound", b"shedlight peak1\x20\0\0\0\x01\x02\x03\x04");
        }
        // Made by the command line: see scripts/fuzz.
        _ => {}
    }
}

/// The sample coding with its first marks alone: short inputs are tried more often.
fn short(root: &Path) -> String {
    let mut own = coding_file::read(&coding_path(root)).expect("the sample is sound");
    own.marks.truncate(12);
    shedlight::storage::json::to_text(&own).expect("it can be written")
}

/// Lines of a journal without their checksums, and the journal itself where it belongs.
fn lines(root: &Path) -> Vec<u8> {
    let mut opened = coding_file::open(&coding_path(root)).expect("the sample is sound");
    let behaviour = opened.coding.marks.first().expect("it has marks").behaviour.clone();
    let first = opened.coding.marks.first().expect("it has marks").clone();
    let mut all = Vec::new();
    let mut changed = first.clone();
    changed.note = Some("noted".to_owned());
    let passes = opened.coding.passes.clone();
    let edits = [
        vec![Change::Put(Box::new(Mark::event(MarkId(9_001), behaviour, Micros(5_000_000))))],
        vec![Change::Remove(MarkId(9_001))],
        vec![Change::Put(Box::new(changed)), Change::Passes(passes)],
        vec![Change::Window(None)],
    ];
    for (edit, kind) in
        edits.into_iter().zip([journal::StepKind::Do, journal::StepKind::Undo].into_iter().cycle())
    {
        let edit = Edit::new("an edit", edit);
        let inverse = opened.coding.apply(&edit).expect("it fits");
        let record =
            opened.journal.append(chrono::DateTime::default(), kind, &edit, &inverse).expect("it is written");
        all.extend(serde_json::to_vec(&record).expect("it can be written"));
        all.push(b'\n');
    }
    all
}
