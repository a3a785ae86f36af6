//! `check --repair`: what is damaged on purpose is put in order, and every original is kept.

use std::fs;
use std::path::{Path, PathBuf};

use shedlight::model::{Coding, Mark, MarkId, Status};
use shedlight::storage::{coding_file, json, repair, versions};
use shedlight::time::Micros;
use shedlight::workbench::autosave::Saved;

use super::faults::{AtWork, new_coding};
use crate::common::{folder, root, shedlight};

/// A coding with edits in the file, in the journal, and an earlier version.
fn coded(folder: &Path) -> (PathBuf, Coding) {
    let path = new_coding(folder);
    let mut work = AtWork::open(&path);
    for n in 1..=4 {
        work.press(n);
    }
    work.finish().unwrap();
    let mut work = AtWork::open(&path);
    for n in 5..=9 {
        work.press(n);
    }
    work.finish().unwrap();
    let coding = coding_file::read(&path).unwrap();
    assert_eq!((coding.last_seq, versions::list(&path).len()), (9, 2));
    (path, coding)
}

#[track_caller]
fn repaired(folder: &Path, words: &str) {
    let done = repair::session_folder(folder);
    assert!(done.len() == 1 && done[0].is_done && done[0].what.contains(words), "{done:?}");
    assert_eq!(repair::session_folder(folder), [], "the second time there is nothing to do");
}

#[test]
fn a_coding_file_cut_at_any_byte_comes_back_from_version_and_journal() {
    let whole = folder();
    let (path, wanted) = coded(whole.path());
    let bytes = fs::read(&path).unwrap();
    let mut aside = 0;
    for length in (0..bytes.len() - 2).step_by(7) {
        fs::write(&path, &bytes[..length]).unwrap();
        repaired(whole.path(), "no edit is missing");
        let now = coding_file::read(&path).unwrap();
        assert_eq!((&now.marks, now.last_seq), (&wanted.marks, wanted.last_seq), "cut at byte {length}");
        aside += 1;
        let kept = whole.path().join(format!("put-aside-{aside}/K-01.1.coding.json"));
        assert_eq!(fs::read(kept).unwrap(), &bytes[..length], "the original is kept");
    }
}

#[test]
fn a_coding_file_that_is_gone_comes_back_and_one_without_versions_from_the_journal() {
    let whole = folder();
    let (path, wanted) = coded(whole.path());
    fs::remove_file(&path).unwrap();
    repaired(whole.path(), "no edit is missing");
    assert_eq!(coding_file::read(&path).unwrap().marks, wanted.marks);
    // Only the head and the journal are left.
    fs::remove_dir_all(versions::folder(&path)).unwrap();
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, &text[..text.find("\"id\": 2").unwrap()]).unwrap();
    repaired(whole.path(), "from the journal, which has every edit");
    assert_eq!(coding_file::read(&path).unwrap().marks, wanted.marks);
}

/// As when a coding file and a journal come from two computers.
#[test]
fn a_journal_of_another_state_does_not_lock_the_coding_for_good() {
    let whole = folder();
    let (path, wanted) = coded(whole.path());
    let mut work = AtWork::open(&path);
    work.press(10);
    let _ = work.wait(|saved| *saved == Saved::All);
    let taken_back = work.coder.undo().unwrap();
    work.autosave.take(chrono::DateTime::default(), &taken_back);
    let _ = work.wait(|saved| *saved == Saved::All);
    drop(work);
    let journal = fs::read(coding_file::journal_path(&path)).unwrap();
    // This file says that it contains the edit that is then taken back.
    let mut other = wanted.clone();
    other.last_seq = 10;
    json::write(&path, &other).unwrap();
    let words = coding_file::open(&path).unwrap_err().to_string();
    assert!(words.contains("edit 11") && words.contains("--repair"), "{words}");
    repaired(whole.path(), "edit 11 of the journal does not fit");
    assert_eq!(fs::read(whole.path().join("put-aside-1/K-01.1.journal")).unwrap(), journal, "it is kept");
    let mut work = AtWork::open(&path);
    assert_eq!(work.coder.coding().marks, wanted.marks);
    work.press(12);
    work.finish().unwrap();
    assert_eq!(coding_file::read(&path).unwrap().last_seq, 11);
}

#[test]
fn a_version_alone_is_no_proof_that_no_edit_is_missing() {
    for journal_left in [None, Some(300), Some(0)] {
        let whole = folder();
        let (path, _) = coded(whole.path());
        // The version was closed with all passes done.
        let version = versions::list(&path).pop().unwrap();
        let mut old: Coding = json::read(&version.path, shedlight::model::CODING_FORMAT).unwrap();
        old.status = Status::Closed;
        for pass in &mut old.passes {
            pass.done = true;
        }
        json::write(&version.path, &old).unwrap();
        // A power cut leaves zeros, or nothing.
        let journal = coding_file::journal_path(&path);
        fs::write(&path, [0; 400]).unwrap();
        match journal_left {
            Some(zeros) => fs::write(&journal, vec![0; zeros]).unwrap(),
            None => fs::remove_file(&journal).unwrap(),
        }
        let done = repair::session_folder(whole.path());
        assert!(done.len() == 1 && done[0].is_done, "{done:?}");
        assert!(done[0].what.contains("edits may be missing, so no pass counts as done"), "{done:?}");
        let now = coding_file::read(&path).unwrap();
        assert_eq!((now.status, now.marks.len()), (Status::Open, old.marks.len()));
        assert!(!now.passes.is_empty() && now.passes.iter().all(|pass| !pass.done));
    }
}

#[test]
fn marks_that_no_journal_knows_are_not_dropped_as_if_none_was_missing() {
    for cut_before in [60, 1] {
        let whole = folder();
        let path = new_coding(whole.path());
        // As an import makes it: marks, and no edit yet.
        let mut coding = coding_file::read(&path).unwrap();
        coding.marks = (1..=100)
            .map(|id| Mark::event(MarkId(id), "approach".into(), Micros(i64::try_from(id).unwrap() * 1_000)))
            .collect();
        json::write(&path, &coding).unwrap();
        // The first sitting, killed before the file is written.
        let mut work = AtWork::open(&path);
        for n in 1..=8 {
            work.press(n);
        }
        let _ = work.wait(|saved| matches!(saved, Saved::All));
        let text = fs::read_to_string(&path).unwrap();
        drop(work);
        let cut = text.find(&format!("\"id\": {cut_before},")).unwrap();
        let _ = fs::remove_dir_all(versions::folder(&path));
        fs::write(&path, &text[..cut]).unwrap();
        let done = repair::session_folder(whole.path());
        assert!(done.len() == 1 && done[0].is_done, "{done:?}");
        assert!(done[0].what.contains("marks may be missing, so no pass counts as done"), "{done:?}");
        let now = coding_file::read(&path).unwrap();
        let kept = now.marks.iter().filter(|mark| mark.behaviour.as_str() == "approach").count();
        assert_eq!(kept, cut_before - 1, "what can be read is there");
        assert!(now.passes.iter().all(|pass| !pass.done));
    }
}

#[test]
fn without_journal_the_whole_lines_come_back_and_no_pass_counts_as_done() {
    let whole = folder();
    let (path, wanted) = coded(whole.path());
    let mut coding = wanted.clone();
    coding.status = Status::Closed;
    for pass in &mut coding.passes {
        pass.done = true;
    }
    json::write(&path, &coding).unwrap();
    fs::remove_dir_all(versions::folder(&path)).unwrap();
    fs::remove_file(coding_file::journal_path(&path)).unwrap();
    let text = fs::read_to_string(&path).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let broken = lines.iter().position(|line| line.contains("\"id\": 3")).unwrap();
    let mut damaged: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
    damaged[broken] = "    {\"id\": 3, \"beha\u{0}\n".to_owned();
    fs::write(&path, damaged.concat()).unwrap();
    repaired(whole.path(), "no pass counts as done");
    let now = coding_file::read(&path).unwrap();
    assert_eq!(now.marks.len(), wanted.marks.len() - 1);
    assert!(now.marks.iter().all(|mark| mark.id.0 != 3 && wanted.marks.contains(mark)));
    assert!(now.passes.iter().all(|pass| !pass.done) && now.status == Status::Open);
    // Nothing at all is left: told, and left.
    fs::write(&path, [0xff; 300]).unwrap();
    let done = repair::session_folder(whole.path());
    assert!(done.len() == 1 && !done[0].is_done && done[0].what.contains("left as it is"), "{done:?}");
    assert_eq!(fs::read(&path).unwrap(), [0xff; 300]);
}

#[test]
fn leftovers_torn_journals_and_stale_locks_are_put_in_order_and_an_open_coding_is_left_alone() {
    let whole = folder();
    let study = whole.path().join("study");
    crate::export::copy(&root().join("sample-codings"), &study);
    let session = study.join("sessions/s3");
    let path = session.join("K-07.1.coding.json");
    let text = study.to_str().unwrap();
    let sound = shedlight(&["check", text, "--repair"]);
    assert!(sound.out.contains("nothing to repair"), "{}{}", sound.out, sound.err);
    // A write that never finished, a lock of a killed program, and edits of which the last is torn.
    let part = session.join(".K-07.1.coding.json.99999.part");
    fs::write(&part, "{\"form").unwrap();
    let journal = coding_file::journal_path(&path);
    let mut opened = coding_file::open(&path).unwrap();
    let edit = shedlight::model::Edit::new("nothing", vec![]);
    for _ in 0..2 {
        let kind = shedlight::storage::journal::StepKind::Do;
        let _ = opened.journal.append(chrono::DateTime::default(), kind, &edit, &edit).unwrap();
    }
    let torn = fs::read(&journal).unwrap();
    fs::write(&journal, &torn[..torn.len() - 9]).unwrap();
    // Somebody has it open: nothing of it is touched, and that is told.
    let before = fs::read(&path).unwrap();
    let ran = shedlight(&["check", text, "--repair"]);
    assert!(ran.code == 1 && ran.out.contains("not repaired: left as it is: it is open"), "{}", ran.out);
    assert!(part.exists() && fs::read(&path).unwrap() == before && !session.join("put-aside-1").exists());
    opened.lock.leave();
    let ran = shedlight(&["check", text, "--repair", "--json"]);
    let told: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let repairs = told["repairs"].as_array().unwrap();
    assert_eq!(repairs.len(), 2, "{repairs:?}");
    let words = repairs[0]["what"].as_str().unwrap();
    for wanted in ["a lock nobody holds", "cut off", "1 edit was from the journal written"] {
        assert!(words.contains(wanted), "{words}");
    }
    let aside = session.join("put-aside-1");
    assert_eq!(fs::read(aside.join("K-07.1.coding.json")).unwrap(), before);
    assert_eq!(fs::read(aside.join("K-07.1.journal")).unwrap(), &torn[..torn.len() - 9]);
    assert_eq!(fs::read(aside.join(".K-07.1.coding.json.99999.part")).unwrap(), b"{\"form");
    assert!(!part.exists() && coding_file::holder(&path).is_none());
    assert_eq!(coding_file::open(&path).unwrap().remarks, [""; 0]);
    // As before the damage: the same exit code, nothing more to repair.
    let again = shedlight(&["check", text, "--repair"]);
    assert!(again.code == sound.code && again.out.contains("nothing to repair"), "{}", again.out);
}
