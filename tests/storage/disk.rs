//! Disks that are full or read-only, and two programs on one coding: each really caused, without rights of an administrator (a user namespace has mounts of its own).

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

use shedlight::storage::{Error, coding_file, journal, json, versions};
use shedlight::workbench::autosave::Saved;

use super::faults::{AtWork, new_coding};
use crate::common::folder;

/// Runs one of the children below where a shell script has mounted what it needs.
#[cfg(target_os = "linux")]
fn with_mounts(script: &str, child: &str, place: &Path) -> String {
    let may = Command::new("unshare").args(["--user", "--map-root-user", "--mount", "true"]).output();
    let why = match &may {
        Ok(ran) if ran.status.success() => None,
        Ok(ran) => Some(String::from_utf8_lossy(&ran.stderr).into_owned()),
        Err(error) => Some(error.to_string()),
    };
    // Not passed over: a test that did not run has not passed.
    assert!(
        why.is_none(),
        "a disk that is full or read-only is mounted in a user namespace, and this system allows none ({}). \
         Allow it (sysctl kernel.unprivileged_userns_clone=1, or kernel.apparmor_restrict_unprivileged_userns=0; \
         in a container --security-opt seccomp=unconfined --cap-add SYS_ADMIN), or run these two tests elsewhere",
        why.unwrap_or_default().trim()
    );
    let run = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-ec"])
        .arg(format!("{script}\nexec \"$1\" storage::disk::{child} --exact --nocapture"))
        .arg(place)
        .arg(std::env::current_exe().unwrap())
        .env("SHEDLIGHT_TEST_DISK", place)
        .output()
        .unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
    assert!(run.status.success(), "{said}");
    said
}

#[test]
fn child_on_a_small_disk() {
    let Some(place) = std::env::var_os("SHEDLIGHT_TEST_DISK") else { return };
    let place = Path::new(&place);
    let path = new_coding(place);
    let ballast = place.join("ballast");
    fs::write(&ballast, vec![1; 160 << 10]).unwrap();
    let mut work = AtWork::open(&path);
    let mut n = 0;
    while !matches!(work.autosave.saved(), Saved::Failing(_)) {
        n += 1;
        work.press(n);
    }
    let why = format!("{:?}", work.autosave.saved());
    // The record goes on in the window; a file is not half replaced.
    for _ in 0..5 {
        n += 1;
        work.press(n);
    }
    let before = fs::read(&path).unwrap();
    let error =
        json::write(&path, &serde_json::json!({"fill": "x".repeat(200 << 10)})).unwrap_err().to_string();
    assert!(error.contains("free some space"), "{error}");
    assert_eq!(fs::read(&path).unwrap(), before);
    assert!(versions::keep(&path, &vec![b' '; 200 << 10]).is_err());
    // A program killed now has lost nothing that was accepted.
    let there = coding_file::read(&path).unwrap().last_seq;
    assert!(there >= work.autosave.last_seq(), "{there}");
    fs::remove_file(&ballast).unwrap();
    work.autosave.retry();
    let _ = work.wait(|saved| *saved == Saved::All);
    let last_seq = work.autosave.last_seq();
    work.coder.set_progress(shedlight::time::Micros::ZERO, last_seq);
    let wanted = work.coder.coding().marks.clone();
    work.finish().unwrap();
    let now = coding_file::open(&path).unwrap();
    assert_eq!(now.coding.marks, wanted);
    assert_eq!(now.remarks, [""; 0], "nothing was torn");
    writeln!(std::io::stdout(), "all {n} there after: {why}").unwrap();
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_loses_nothing_and_everything_is_saved_when_there_is_room_again() {
    let folder = folder();
    let mount = "mount -t tmpfs -o size=256k shedlight \"$0\"";
    let said = with_mounts(mount, "child_on_a_small_disk", folder.path());
    assert!(said.contains("there after: Failing") && said.contains("No space left"), "{said}");
}

#[test]
fn child_in_a_read_only_folder() {
    let Some(place) = std::env::var_os("SHEDLIGHT_TEST_DISK") else { return };
    let study = Path::new(&place).join("study");
    let path = study.join("sessions/s3/K-07.1.coding.json");
    let refused = fs::write(study.join("x"), "x").unwrap_err();
    assert_eq!(refused.kind(), std::io::ErrorKind::ReadOnlyFilesystem);
    let error = coding_file::open(&path).unwrap_err();
    assert!(coding_file::only_to_look(&error), "{error}");
    assert!(error.to_string().contains("choose a folder you may write to"), "{error}");
    assert!(!coding_file::read(&path).unwrap().marks.is_empty());
    let text = study.to_str().unwrap();
    let summary = crate::common::shedlight(&["summary", text]);
    assert!(summary.code == 0 && summary.out.contains("s3"), "{}{}", summary.out, summary.err);
    let restored = crate::common::shedlight(&["restore", path.to_str().unwrap(), "--version", "1"]);
    assert_eq!(restored.code, 2, "{}{}", restored.out, restored.err);
    writeln!(std::io::stdout(), "looked at").unwrap();
}

#[cfg(target_os = "linux")]
#[test]
fn a_study_on_a_read_only_disk_is_looked_at_and_says_so() {
    let folder = folder();
    crate::export::copy(&crate::common::root().join("sample-codings"), &folder.path().join("study"));
    let mount = "mount --bind \"$0\" \"$0\"; mount -o remount,bind,ro \"$0\"";
    let said = with_mounts(mount, "child_in_a_read_only_folder", folder.path());
    assert!(said.contains("looked at"), "{said}");
}

#[test]
fn a_clock_set_back_changes_nothing_of_the_record() {
    let folder = folder();
    let path = new_coding(folder.path());
    let mut opened = coding_file::open(&path).unwrap();
    let edit = shedlight::model::Edit::new("nothing", vec![]);
    let now = chrono::Local::now().fixed_offset();
    for years in [0, 30, -30, 2] {
        let time = now - chrono::TimeDelta::days(365 * years);
        let kind = journal::StepKind::Do;
        let _ = opened.journal.append(time, kind, &edit, &edit).unwrap();
    }
    drop(opened);
    let opened = coding_file::open(&path).unwrap();
    assert_eq!(opened.records.iter().map(|record| record.seq).collect::<Vec<_>>(), [1, 2, 3, 4]);
    drop(opened.lock);
    // A version kept "before" the earlier one is still the newer one.
    let first = versions::keep(&path, b"1").unwrap();
    let second = versions::keep(&path, b"2").unwrap();
    let file = &versions::list(&path)[1].path;
    let long_ago = std::time::SystemTime::UNIX_EPOCH;
    fs::File::options().write(true).open(file).unwrap().set_modified(long_ago).unwrap();
    assert_eq!(versions::list(&path).iter().map(|own| own.number).collect::<Vec<_>>(), [first, second]);
    // A lock from the future on this computer is known for what it is.
    let mut holder = shedlight::files::Holder::here("K-02");
    holder.since = now + chrono::TimeDelta::days(900);
    fs::write(folder.path().join(".K-01.1.lock"), serde_json::to_vec(&holder).unwrap()).unwrap();
    assert!(coding_file::open(&path).is_ok());
}

#[test]
fn two_programs_on_one_coding_the_second_only_looks_until_the_first_is_gone() {
    let folder = folder();
    let path = new_coding(folder.path());
    let mut first = Command::new(std::env::current_exe().unwrap())
        .args(["storage::kill::rule_34_child_that_codes_until_killed", "--exact", "--nocapture"])
        .env("SHEDLIGHT_TEST_CODING", &path)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(first.stdout.take().unwrap()).lines();
    for _ in 0..5 {
        let _ = lines.by_ref().map(Result::unwrap).find(|line| line.starts_with("accepted")).unwrap();
        let error = coding_file::open(&path).unwrap_err();
        assert!(matches!(error, Error::Held { .. }) && coding_file::only_to_look(&error), "{error}");
        assert!(!coding_file::read(&path).unwrap().marks.is_empty(), "looked at while the other writes");
    }
    let seen = coding_file::read(&path).unwrap().last_seq;
    first.kill().unwrap();
    let _ = first.wait().unwrap();
    let opened = coding_file::open(&path).unwrap();
    assert!(opened.coding.last_seq >= seen);
    assert!(opened.remarks.iter().any(|own| own.contains("ended without closing")), "{:?}", opened.remarks);
}
