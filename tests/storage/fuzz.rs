//! Every loader against damaged input: mutated from real files, seeded, the same on every machine.
//! `SHEDLIGHT_FUZZ=100000` runs longer; a failure names its round.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::model::{Clip, ClipId, validate};
use shedlight::storage::fingerprint::{self, ClipState};
use shedlight::storage::{StudyFolder, coding_file, conflict, journal, repair};

use crate::common::{folder, root};

const TOKENS: [&str; 18] = [
    "null",
    "true",
    "{}",
    "[]",
    "\"\"",
    "-1",
    "0",
    "1e400",
    "-1e999",
    "NaN",
    "9223372036854775807",
    "-9223372036854775808",
    "18446744073709551616",
    "1e-320",
    "\u{0}",
    "\"\\ud800\"",
    "{\"id\": 1}",
    "..",
];

struct Mutator(ChaCha8Rng);

impl Mutator {
    fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.0.next_u64() % u64::try_from(bound.max(1)).unwrap()).unwrap()
    }

    /// Places where a value begins: a mutation there is more often read on than one anywhere.
    fn value(&mut self, bytes: &[u8]) -> (usize, usize) {
        let from = self.below(bytes.len());
        let at = bytes[from..].iter().position(|byte| b":,[".contains(byte)).map_or(from, |n| from + n + 1);
        let end = bytes[at..].iter().position(|byte| b",]}\n".contains(byte)).map_or(bytes.len(), |n| at + n);
        (at, end)
    }

    fn mutate(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.below(3) {
            if bytes.is_empty() {
                return;
            }
            let at = self.below(bytes.len());
            match self.below(7) {
                0 => bytes[at] ^= 1 << self.below(8),
                1 => bytes.truncate(at),
                2 => {
                    let end = (at + self.below(200)).min(bytes.len());
                    let piece = bytes[at..end].to_vec();
                    let to = self.below(bytes.len());
                    let _: Vec<u8> = bytes.splice(to..to, piece).collect();
                }
                3 => {
                    let end = (at + self.below(60)).min(bytes.len());
                    let _: Vec<u8> = bytes.drain(at..end).collect();
                }
                4 => {
                    let open = if self.below(2) == 0 { "[" } else { "{\"a\":" };
                    let (at, _) = self.value(bytes);
                    let count = [3, 120, 130, 20_000][self.below(4)];
                    let _: Vec<u8> = bytes.splice(at..at, open.repeat(count).into_bytes()).collect();
                }
                _ => {
                    let (at, end) = self.value(bytes);
                    let token = TOKENS[self.below(TOKENS.len())];
                    let _: Vec<u8> = bytes.splice(at..end, token.bytes()).collect();
                }
            }
        }
    }
}

/// Reads the whole study as check, summary and the window do; what comes out does not matter.
fn read_everything(root: &Path) {
    let Ok(study) = StudyFolder::open(root) else { return };
    let _ = validate::study(&study.study);
    for ethogram in study.ethograms().0 {
        let _ = (validate::ethogram(&ethogram), ethogram.digest());
    }
    for entry in study.list().sessions {
        let _ = (validate::session(&entry.session, &study.study), entry.session.extent());
        for clip in &entry.session.clips {
            let _ = (fingerprint::find(root, clip), clip.clock());
        }
        for (path, _) in &entry.codings {
            if let Ok(loaded) = study.load_coding(path) {
                let _ = validate::coding(&loaded.coding, &loaded.ethogram, &loaded.session);
                let marks = shedlight::measures::Marks::All;
                let record = shedlight::measures::Record::try_new(
                    &loaded.coding,
                    &loaded.ethogram,
                    &loaded.session,
                    &study.study,
                    marks,
                );
                let _ = record.map(|record| shedlight::measures::slips::of(&record));
            }
        }
    }
}

fn rounds() -> u64 {
    std::env::var("SHEDLIGHT_FUZZ").ok().and_then(|own| own.parse().ok()).unwrap_or(250)
}

/// A small study; its files are the corpus.
fn corpus(folder: &Path) -> PathBuf {
    let study = folder.join("study");
    crate::export::copy(&root().join("sample-codings"), &study);
    for id in ["s1", "s2", "s4", "s5"] {
        let _ = fs::remove_dir_all(study.join("sessions").join(id));
    }
    study
}

fn fuzz(file: &str, seed: u64, read: impl Fn(&Path, &Path)) {
    let folder = folder();
    let study = corpus(folder.path());
    let path = study.join(file);
    if file.ends_with(".journal") {
        let mut opened = coding_file::open(&path.with_extension("coding.json")).unwrap();
        let edit = shedlight::model::Edit::new("nothing", vec![]);
        for _ in 0..6 {
            let kind = journal::StepKind::Do;
            let _ = opened.journal.append(chrono::DateTime::default(), kind, &edit, &edit).unwrap();
        }
    }
    let sound = fs::read(&path).unwrap();
    for round in 0..rounds() {
        let mut mutator = Mutator(ChaCha8Rng::seed_from_u64(seed << 40 | round));
        let mut bytes = sound.clone();
        mutator.mutate(&mut bytes);
        fs::write(&path, &bytes).unwrap();
        let outcome = catch_unwind(AssertUnwindSafe(|| read(&study, &path)));
        assert!(outcome.is_ok(), "round {round} of {file}: {}", String::from_utf8_lossy(&bytes));
    }
}

#[test]
fn damaged_studies_are_told() {
    fuzz("study.json", 1, |root, _| read_everything(root));
}

#[test]
fn damaged_ethograms_are_told() {
    let file = fs::read_dir(root().join("sample-codings/ethograms"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| Path::new(name).extension().is_some_and(|ending| ending == "json"))
        .min()
        .unwrap();
    fuzz(&format!("ethograms/{file}"), 2, |root, _| read_everything(root));
}

#[test]
fn damaged_sessions_are_told() {
    fuzz("sessions/s3/session.json", 3, |root, _| read_everything(root));
}

#[test]
fn damaged_codings_are_told() {
    fuzz("sessions/s3/K-07.1.coding.json", 4, |root, _| read_everything(root));
}

#[test]
fn damaged_journals_are_told() {
    fuzz("sessions/s3/K-07.1.journal", 5, |root, path| {
        let _ = journal::read(path, 0);
        let _ = journal::read(path, u64::MAX);
        read_everything(root);
    });
}

#[test]
fn damaged_codings_are_repaired_or_left_and_copies_are_merged_or_refused() {
    fuzz("sessions/s3/K-07.1.coding.json", 6, |_, path| {
        let folder = path.parent().unwrap();
        let other: Result<shedlight::model::Coding, _> = coding_file::read(path);
        if let Ok(other) = other {
            let _ = conflict::merge(None, &other, &other, conflict::Choice::Both);
        }
        let _ = repair::session_folder(folder);
        for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
            if entry.file_name().to_string_lossy().starts_with("put-aside") {
                fs::remove_dir_all(entry.path()).unwrap();
            }
        }
        let _ = fs::remove_dir_all(folder.join("versions"));
    });
}

#[test]
fn a_million_brackets_are_refused_with_their_place() {
    let folder = folder();
    let study = corpus(folder.path());
    let path = study.join("sessions/s3/K-07.1.coding.json");
    for open in ["[", "{\"a\":", "{\"marks\": ["] {
        fs::write(&path, open.repeat(1_000_000)).unwrap();
        let error = coding_file::read(&path).unwrap_err().to_string();
        assert!(error.contains("left as it is") && error.contains(".coding.json:1:"), "{error}");
    }
}

#[cfg(unix)]
#[test]
fn a_clip_path_that_leads_away_or_in_a_circle_is_only_ever_looked_at() {
    let folder = folder();
    let study = corpus(folder.path());
    let clips = study.join("clips");
    fs::create_dir_all(&clips).unwrap();
    std::os::unix::fs::symlink("circle.mp4", clips.join("circle.mp4")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", clips.join("endless.mp4")).unwrap();
    std::os::unix::fs::symlink(&study, clips.join("above")).unwrap();
    let known = {
        let film = folder.path().join("elsewhere/film");
        fs::create_dir(film.parent().unwrap()).unwrap();
        fs::write(&film, vec![1; 4_000]).unwrap();
        fingerprint::of_file(&film).unwrap()
    };
    for path in [
        "clips/circle.mp4",
        "clips/endless.mp4",
        "clips/above",
        "clips/above/clips/above",
        "/dev/zero",
        "",
        ".",
    ] {
        for fingerprint in [None, Some(known.clone())] {
            let clip = Clip { fingerprint, ..Clip::new(ClipId(0), path) };
            let state = fingerprint::find(&study, &clip);
            assert!(matches!(state, ClipState::Missing(_)), "{path}: {state:?}");
        }
    }
    // A way out of the study is a place like any other: read, and never written.
    let outside = folder.path().join("elsewhere/film");
    let before = fs::read(&outside).unwrap();
    let clip = Clip { fingerprint: Some(known), ..Clip::new(ClipId(0), "../elsewhere/film") };
    assert!(matches!(fingerprint::find(&study, &clip), ClipState::There(_)));
    assert_eq!(fs::read(&outside).unwrap(), before);
}
