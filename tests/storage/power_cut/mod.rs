//! Power cuts: what programs really do to the disk is written down (`log.c`, between the program and the C library), and
//! after each single thing the power fails. Every state that the disk may then be in is made and opened.
//! Needs Linux and a C compiler.

mod replay;

use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use shedlight::model::{
    CODING_FORMAT, Change, Coding, Edit, End, EthogramRef, Mark, Pass, Session, Study, Taxon, starter,
};
use shedlight::storage::journal::{self, StepKind};
use shedlight::storage::{StudyFolder, coding_file, conflict, json, repair, versions};
use shedlight::workbench::autosave::Saved;

use self::replay::Disk;
use super::faults::AtWork;
use crate::common::{folder, root, shedlight};

/// The library that writes down what happens, built once.
fn log_library() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        let library = std::env::temp_dir().join(format!("shedlight-disk-log-{}.so", std::process::id()));
        let built = Command::new("cc")
            .args(["-O1", "-fPIC", "-shared", "-o"])
            .arg(&library)
            .arg(root().join("tests/storage/power_cut/log.c"))
            .args(["-ldl", "-lpthread"])
            .status()
            .expect("power cuts are tested with a small C library: apt-get install build-essential");
        assert!(built.success());
        library
    })
}

/// Runs a program on a folder; then lets the power fail after each thing it did, and holds each state the disk may be
/// in against `check`, which also hears what the program had said by then.
fn cut_everywhere(place: &Path, command: &mut Command, check: &dyn Fn(&Path, &str)) {
    let place = place.canonicalize().unwrap();
    let scratch = folder();
    let (list, made) = (scratch.path().join("list"), scratch.path().join("made"));
    let mut disk = Disk::of(&place);
    let ran = command
        .env("LD_PRELOAD", log_library())
        .env("SHEDLIGHT_DISK", &place)
        .env("SHEDLIGHT_DISK_LOG", &list)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .output()
        .unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&ran.stdout), String::from_utf8_lossy(&ran.stderr));
    assert!(ran.status.code().is_some_and(|code| code < 2), "{said}");
    let ops = replay::read_list(&list);
    let mut seen = BTreeSet::new();
    let mut states = 0;
    for (n, op) in ops.iter().enumerate() {
        disk.follow(op);
        for state in disk.after_a_cut() {
            // The same state after the program has said the same was looked at before.
            let digest = blake3_of(&(&state, &disk.said));
            if !seen.insert(digest) {
                continue;
            }
            replay::make(&state, &made);
            let looked = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| check(&made, &disk.said)));
            if looked.is_err() {
                let names: Vec<_> =
                    state.iter().map(|(path, own)| (path, own.as_ref().map_or(0, Vec::len))).collect();
                panic!(
                    "after {} things, the last: {op:.120?}\nsaid: {}\nthere: {names:#?}",
                    n + 1,
                    disk.said
                );
            }
            states += 1;
        }
    }
    assert_eq!(disk.as_seen(), replay::state_of(&place), "the list is the whole of what happened");
    assert!(ops.len() > 5 && states > 5, "{} things, {states} states", ops.len());
}

fn blake3_of(value: &impl std::fmt::Debug) -> String {
    blake3::hash(format!("{value:?}").as_bytes()).to_hex().to_string()
}

fn child(name: &str) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    let _ = command.args([&format!("storage::power_cut::{name}"), "--exact", "--nocapture"]);
    let _ = command.env("RUST_TEST_THREADS", "1");
    command
}

/// The folder a child is to work on; none when it is run by hand or with all tests.
fn own_disk() -> Option<PathBuf> {
    std::env::var_os("SHEDLIGHT_DISK").map(PathBuf::from)
}

fn say(what: &str) {
    // One write.
    std::io::stdout().write_all(format!("\n{what}\n").as_bytes()).unwrap();
}

/// The last thing said of a kind.
fn last<'a>(said: &'a str, kind: &str) -> Option<&'a str> {
    said.lines().rev().find_map(|line| line.strip_prefix(kind))
}

const CODING: &str = "study/sessions/s1/K-01.1.coding.json";

fn say_saved(work: &AtWork) {
    let _ = work.wait(|saved| *saved == Saved::All);
    say(&format!("saved {}", serde_json::to_string(&work.coder.coding().marks).unwrap()));
}

/// From no study at all to a coding that was worked on three times and put back once.
#[test]
fn child_that_works() {
    let Some(place) = own_disk() else { return };
    let mut study = StudyFolder::create(&place.join("study"), Study::new("A study")).unwrap();
    let ethogram = starter::ethogram(Taxon::Lizard);
    study.save_ethogram(&ethogram).unwrap();
    study.save_session(&Session::new("s1".into(), "bramble".into())).unwrap();
    let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    let path = coding_file::create(&study.session_folder(&"s1".into()), &coding).unwrap();
    say("made");
    let mut n = 0;
    for sitting in 0..3 {
        let mut work = AtWork::open(&path);
        for group in [1, 3, 2] {
            for _ in 0..group {
                n += 1;
                work.press(n);
            }
            say_saved(&work);
            assert!(work.autosave.checkpoint(work.coder.coding()));
        }
        n += 1;
        work.press(n);
        let marks = serde_json::to_string(&work.coder.coding().marks).unwrap();
        work.finish().unwrap();
        say(&format!("saved {marks}"));
        if sitting == 1 {
            say("restoring");
            let _ = versions::restore(&path, 2).unwrap();
            say(&format!(
                "saved {}",
                serde_json::to_string(&coding_file::read(&path).unwrap().marks).unwrap()
            ));
            say("restored");
            // The state that holds there is another one than that of the next key.
            n += 1;
        }
    }
    study.study.title = "Renamed".to_owned();
    study.save_study().unwrap();
    say("renamed");
}

/// That every mark told as saved is in the coding; what was ended then is as it was.
fn holds(coding: &Coding, saved: &[Mark]) -> bool {
    saved.iter().all(|mark| {
        coding.mark(mark.id).is_some_and(|own| {
            (own.from, &own.behaviour) == (mark.from, &mark.behaviour)
                && (mark.to == End::Open || own.to == mark.to)
        })
    })
}

#[test]
fn rule_34_after_a_power_cut_at_any_moment_of_work_everything_told_as_saved_is_there() {
    let place = folder();
    cut_everywhere(place.path(), &mut child("child_that_works"), &|place, said| {
        let Some(saved) = last(said, "saved ").or(said.contains("made").then_some("[]")) else { return };
        let saved: Vec<Mark> = serde_json::from_str(saved).unwrap();
        let study = StudyFolder::open(&place.join("study")).unwrap();
        let title = &study.study.title;
        assert!(title == "Renamed" || (title == "A study" && last(said, "renamed").is_none()), "{title}");
        assert_eq!(study.ethograms().0.len(), 1);
        let path = place.join(CODING);
        let is_there = || {
            let opened = coding_file::open(&path).unwrap();
            let _ = shedlight::workbench::history::History::from_records(&opened.records);
            assert!(study.load_coding(&path).is_ok());
            if holds(&opened.coding, &saved) {
                return true;
            }
            // While an earlier version is put back, the present state is that or a version.
            let mut versions = versions::list(&path).into_iter();
            let is_kept =
                versions.any(|own| holds(&json::read::<Coding>(&own.path, CODING_FORMAT).unwrap(), &saved));
            said.contains("restoring") && !said.contains("restored") && is_kept
        };
        assert!(is_there(), "{:?}", coding_file::read(&path).unwrap().marks);
        let done = repair::session_folder(path.parent().unwrap());
        assert!(done.iter().all(|own| own.is_done), "{done:?}");
        assert!(is_there(), "after repair");
    });
}

/// Every state of a mark that stands anywhere under a folder: in codings, versions, copies, and in journals.
fn all_marks(place: &Path) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(place).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            found.extend(all_marks(&path));
            continue;
        }
        let text = String::from_utf8_lossy(&fs::read(&path).unwrap()).into_owned();
        let lines = text.lines().map(|line| line.trim().trim_end_matches(','));
        let marks = lines.filter_map(|line| serde_json::from_str::<Mark>(line).ok());
        found.extend(marks.map(|mark| serde_json::to_string(&mark).unwrap()));
        if path.extension().is_some_and(|ending| ending == "journal") {
            let records = journal::read(&path, u64::MAX).unwrap().records;
            for change in records.into_iter().flat_map(|record| record.edit.changes) {
                if let Change::Put(mark) = change {
                    let _ = found.insert(serde_json::to_string(&mark).unwrap());
                }
            }
        }
    }
    found
}

/// A study with two codings of a session, an earlier version of one, and edits that only its journal has.
fn study_with_everything(place: &Path) -> PathBuf {
    let study = place.join("study");
    crate::export::copy(&root().join("sample-codings"), &study);
    for id in ["s1", "s2", "s4", "s5", "s6"] {
        fs::remove_dir_all(study.join("sessions").join(id)).unwrap();
    }
    let path = study.join("sessions/s3/K-07.1.coding.json");
    let mut earlier = coding_file::read(&path).unwrap();
    earlier.marks.truncate(9);
    let _ = versions::keep(&path, json::to_text(&earlier).unwrap().as_bytes()).unwrap();
    let mut opened = coding_file::open(&path).unwrap();
    for note in ["first", "second"] {
        let mut mark = opened.coding.marks[4].clone();
        mark.note = Some(note.to_owned());
        let edit = Edit::new("a note", vec![Change::Put(Box::new(mark))]);
        let inverse = opened.coding.apply(&edit).unwrap();
        let _ = opened.journal.append(chrono::DateTime::default(), StepKind::Do, &edit, &inverse).unwrap();
    }
    path
}

/// Lets the power fail all through a command of the program on such a study: no state of any mark is lost, every coding
/// opens, and once the command has said that it is done it is.
fn cut_command(place: &Path, arguments: &[&str], done: &str, unreadable: &[&str]) {
    let before = all_marks(place);
    // The command on a copy, without any cut: how it ends.
    let other = folder();
    crate::export::copy(place, other.path());
    let on = |root: &Path| -> Vec<String> {
        arguments.iter().map(|own| own.replace("STUDY", root.join("study").to_str().unwrap())).collect()
    };
    let ran = shedlight(&on(other.path()));
    assert!(ran.code < 2 && ran.out.contains(done), "{}{}", ran.out, ran.err);
    let codings = |root: &Path| {
        let folder = root.join("study/sessions/s3");
        let paths = shedlight::storage::study_folder::coding_files(&folder).into_iter();
        paths.map(|path| (path.file_name().unwrap().to_owned(), path)).collect::<Vec<_>>()
    };
    let wanted: Vec<_> = codings(other.path())
        .into_iter()
        .map(|(name, path)| (name, coding_file::read(&path).unwrap().marks))
        .collect();
    let mut command = Command::new(env!("CARGO_BIN_EXE_shedlight"));
    let _ = command.args(on(place));
    cut_everywhere(place, &mut command, &|place, said| {
        let now = all_marks(place);
        let lost: Vec<_> = before.difference(&now).collect();
        assert!(lost.is_empty(), "{lost:#?}");
        assert!(StudyFolder::open(&place.join("study")).is_ok());
        let found = codings(place);
        for (name, path) in &found {
            let is_damaged = unreadable.iter().any(|own| name == *own) && !said.contains(done);
            assert!(is_damaged || coding_file::read(path).is_ok(), "{}", name.display());
        }
        if said.contains(done) {
            let marks: Vec<_> = found
                .into_iter()
                .map(|(name, path)| (name, coding_file::open(&path).unwrap().coding.marks))
                .collect();
            assert_eq!(marks, wanted, "what was told as done is done");
        }
    });
}

#[test]
fn after_a_power_cut_during_restore_both_states_are_there() {
    let place = folder();
    let _ = study_with_everything(place.path());
    let coding = "STUDY/sessions/s3/K-07.1.coding.json";
    cut_command(place.path(), &["restore", coding, "--version", "1"], "is back", &[]);
}

#[test]
fn after_a_power_cut_during_merge_no_state_of_a_mark_is_lost() {
    let place = folder();
    let path = study_with_everything(place.path());
    let mut copy = coding_file::read(&path).unwrap();
    copy.marks[2].note = Some("the copy's".to_owned());
    let at = conflict::free_name(&path);
    json::write(&at, &copy).unwrap();
    fs::write(coding_file::journal_path(&at), "").unwrap();
    let (coding, copy) =
        ("STUDY/sessions/s3/K-07.1.coding.json", "STUDY/sessions/s3/K-07.1.conflict-1.coding.json");
    cut_command(place.path(), &["merge", coding, copy, "--prefer", "other"], "the copy is now", &[]);
}

#[test]
fn after_a_power_cut_during_repair_nothing_is_worse() {
    let place = folder();
    let path = study_with_everything(place.path());
    let torn = |path: &Path, length: usize| {
        let text = fs::read(path).unwrap();
        fs::write(path, &text[..text.len() - length]).unwrap();
    };
    torn(&coding_file::journal_path(&path), 20);
    torn(&path.with_file_name("K-12.1.coding.json"), 900);
    fs::write(path.with_file_name(".K-07.1.coding.json.99.part"), "{").unwrap();
    cut_command(place.path(), &["check", "STUDY", "--repair"], "files looked at", &["K-12.1.coding.json"]);
}

#[test]
fn after_a_power_cut_during_take_in_every_replaced_coding_is_kept() {
    let place = folder();
    let path = study_with_everything(place.path());
    // Another computer's study, in which the coding was gone on with.
    let other = folder();
    crate::export::copy(place.path(), other.path());
    let theirs = other.path().join("study/sessions/s3/K-07.1.coding.json");
    let mut coding = coding_file::read(&theirs).unwrap();
    coding.marks.truncate(20);
    fs::remove_file(coding_file::journal_path(&theirs)).unwrap();
    json::write(&theirs, &coding).unwrap();
    fs::create_dir(other.path().join("study/sessions/s9")).unwrap();
    let mut session: Session = json::read(&path.with_file_name("session.json"), "shedlight/session").unwrap();
    session.id = "s9".into();
    json::write(&other.path().join("study/sessions/s9/session.json"), &session).unwrap();
    let parcel = other.path().join("a.shedlight.zip");
    let ran =
        shedlight(&["pack", other.path().join("study").to_str().unwrap(), "--out", parcel.to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let arguments = ["take-in", parcel.to_str().unwrap(), "--into", "STUDY", "--take", "all"];
    cut_command(place.path(), &arguments, "What was replaced is kept", &[]);
}
