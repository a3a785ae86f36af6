//! Faults of the disk and of others, each really caused.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use shedlight::model::{Coding, EthogramRef, Pass, Study, Taxon, starter};
use shedlight::storage::{coding_file, conflict, json, versions};
use shedlight::time::Micros;
use shedlight::workbench::autosave::{Autosave, Saved};
use shedlight::workbench::coder::{Coder, Pace};
use shedlight::workbench::history::History;

use super::kill::{reel, reel_shot};
use crate::common::folder;

pub(super) fn new_coding(folder: &Path) -> PathBuf {
    let ethogram = starter::ethogram(Taxon::Lizard);
    let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    coding_file::create(folder, &coding).unwrap()
}

pub(super) struct AtWork {
    pub(super) coder: Coder,
    pub(super) autosave: Autosave,
    _lock: shedlight::files::Lock,
}

impl AtWork {
    pub(super) fn open(path: &Path) -> Self {
        let opened = coding_file::open(path).unwrap();
        let history = History::from_records(&opened.records);
        let ethogram = Arc::new(starter::ethogram(Taxon::Lizard));
        let mut coder = Coder::new(opened.coding, ethogram, reel(), Micros::ZERO, history);
        coder.set_pass(Some(1));
        Self {
            coder,
            autosave: Autosave::try_new(opened.on_disk, opened.journal).unwrap(),
            _lock: opened.lock,
        }
    }

    pub(super) fn press(&mut self, n: i64) {
        let key = ['r', 'm'][usize::try_from(n % 2).unwrap()];
        let done = self.coder.press(key, reel_shot(n), Pace::Stepped).unwrap();
        self.autosave.take(chrono::DateTime::default(), &done);
        self.coder.set_progress(reel_shot(n).at, self.autosave.last_seq());
    }

    pub(super) fn wait(&self, wanted: impl Fn(&Saved) -> bool) -> Saved {
        let start = Instant::now();
        loop {
            let saved = self.autosave.saved();
            if wanted(&saved) {
                return saved;
            }
            assert!(start.elapsed() < Duration::from_secs(20), "still {saved:?}");
            std::thread::yield_now();
        }
    }

    pub(super) fn finish(self) -> Result<(), shedlight::storage::Error> {
        self.autosave.finish(self.coder.coding())
    }
}

#[test]
fn a_coding_changed_by_another_program_is_not_written_over_and_nothing_is_lost() {
    let folder = folder();
    let path = new_coding(folder.path());
    let mut work = AtWork::open(&path);
    work.press(1);
    let mut foreign = coding_file::read(&path).unwrap();
    foreign.marks.clear();
    let _ = foreign.extra.insert("from".to_owned(), "elsewhere".into());
    json::write(&path, &foreign).unwrap();
    let theirs = std::fs::read(&path).unwrap();
    assert!(work.autosave.checkpoint(work.coder.coding()));
    let start = Instant::now();
    while work.autosave.notice().is_none() {
        assert!(start.elapsed() < Duration::from_secs(20), "it is noticed");
        std::thread::yield_now();
    }
    let notice = work.autosave.notice().unwrap();
    assert!(notice.contains("K-01.1.conflict-1.coding.json"), "{notice}");
    // Work goes on and goes to the copy, also when it is never closed.
    work.press(2);
    let _ = work.wait(|saved| *saved == Saved::All);
    let wanted = work.coder.coding().marks.clone();
    let copy = folder.path().join("K-01.1.conflict-1.coding.json");
    assert_eq!(coding_file::read(&copy).unwrap().marks, wanted, "from the journal that went along");
    work.finish().unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), theirs);
    assert_eq!(json::read::<Coding>(&copy, shedlight::model::CODING_FORMAT).unwrap().marks, wanted);
    assert_eq!(coding_file::read(&path).unwrap().marks, [], "our edits are not mixed into theirs");
    assert_eq!(conflict::copies_in(folder.path()), [(copy, path)]);
}

#[test]
fn a_copy_of_an_ethogram_that_a_sync_program_left_is_told_and_not_used() {
    let folder = folder();
    let study = shedlight::storage::StudyFolder::create(folder.path(), Study::new("Copies")).unwrap();
    let own = starter::ethogram(Taxon::Lizard);
    study.save_ethogram(&own).unwrap();
    let mut other = own.clone();
    other.title = "changed elsewhere".to_owned();
    let name = format!("{}.{}.sync-conflict-20250301.json", own.id, own.revision);
    let copy = folder.path().join("ethograms").join(name);
    json::write(&copy, &other).unwrap();
    let (good, bad) = study.ethograms();
    assert_eq!(good, std::slice::from_ref(&own));
    let words = bad[0].to_string();
    assert!(bad.len() == 1 && words.contains("counts nowhere") && words.contains("sync-conflict"), "{words}");
    assert_eq!(study.ethogram_for_new().unwrap(), own);
    let ran = crate::common::shedlight(&["check", folder.path().to_str().unwrap()]);
    assert!(format!("{}{}", ran.out, ran.err).contains("sync-conflict-20250301"), "{}{}", ran.out, ran.err);
}

/// As a sync program does: under the same names lie other files.
#[cfg(unix)]
#[test]
fn a_journal_replaced_by_another_program_is_told_and_both_records_stay_whole() {
    let folder = folder();
    let path = new_coding(folder.path());
    let mut work = AtWork::open(&path);
    work.press(1);
    let _ = work.wait(|saved| *saved == Saved::All);
    // The other computer went on from there by itself.
    let elsewhere = crate::common::folder();
    for entry in std::fs::read_dir(folder.path()).unwrap() {
        let from = entry.unwrap().path();
        let name = from.file_name().unwrap().to_owned();
        if !name.to_string_lossy().ends_with(".lock") {
            let _ = std::fs::copy(&from, elsewhere.path().join(name)).unwrap();
        }
    }
    let theirs = elsewhere.path().join(path.file_name().unwrap());
    let mut other = AtWork::open(&theirs);
    other.press(8);
    let their_marks = other.coder.coding().marks.clone();
    drop(other);
    let (journal, their_journal) = (coding_file::journal_path(&path), coding_file::journal_path(&theirs));
    std::fs::rename(&their_journal, &journal).unwrap();
    work.press(2);
    let failing = work.wait(|saved| matches!(saved, Saved::Failing(_)));
    assert!(
        matches!(&failing, Saved::Failing(why) if why.contains("journal") && why.contains("leave")),
        "{failing:?}"
    );
    // What it says is so.
    let wanted = work.coder.coding().marks.clone();
    work.finish().unwrap();
    let copy = folder.path().join("K-01.1.conflict-1.coding.json");
    assert_eq!(coding_file::read(&copy).unwrap().marks, wanted);
    assert_eq!(coding_file::read(&path).unwrap().marks, their_marks, "ours are not mixed into theirs");
}

#[test]
fn the_state_before_a_sitting_is_kept_as_a_version() {
    let folder = folder();
    let path = new_coding(folder.path());
    for sitting in 1..=3_i64 {
        let mut work = AtWork::open(&path);
        work.press(2 * sitting - 1);
        assert!(work.autosave.checkpoint(work.coder.coding()));
        work.press(2 * sitting);
        work.finish().unwrap();
        assert_eq!(versions::list(&path).len(), usize::try_from(sitting).unwrap(), "one a sitting");
    }
    let before = coding_file::read(&path).unwrap();
    let kept = versions::restore(&path, 1).unwrap();
    assert_eq!(coding_file::read(&path).unwrap().marks, []);
    let _ = versions::restore(&path, kept).unwrap();
    assert_eq!(coding_file::read(&path).unwrap().marks, before.marks);
}

#[cfg(unix)]
#[test]
fn a_folder_that_goes_away_is_told_and_its_return_saves_everything() {
    let folder = folder();
    let (here, gone) = (folder.path().join("session"), folder.path().join("renamed"));
    std::fs::create_dir(&here).unwrap();
    let path = new_coding(&here);
    let mut work = AtWork::open(&path);
    work.press(1);
    let _ = work.wait(|saved| *saved == Saved::All);
    std::fs::rename(&here, &gone).unwrap();
    work.press(2);
    let told = work.wait(|saved| matches!(saved, Saved::Failing(_)));
    assert!(format!("{told:?}").contains("put it back"), "{told:?}");
    std::fs::rename(&gone, &here).unwrap();
    let _ = work.wait(|saved| *saved == Saved::All);
    let wanted = work.coder.coding().marks.clone();
    work.finish().unwrap();
    assert_eq!(coding_file::read(&path).unwrap().marks, wanted);
}

#[cfg(unix)]
#[test]
fn a_folder_removed_while_coding_is_told_at_the_end() {
    let folder = folder();
    let here = folder.path().join("session");
    std::fs::create_dir(&here).unwrap();
    let path = new_coding(&here);
    let mut work = AtWork::open(&path);
    std::fs::remove_dir_all(&here).unwrap();
    work.press(1);
    let _ = work.wait(|saved| matches!(saved, Saved::Failing(_)));
    let error = work.finish().unwrap_err().to_string();
    assert!(error.contains("the folder is not there"), "{error}");
}

#[test]
fn a_held_coding_says_who_has_it_and_a_lock_left_by_a_killed_program_is_taken_over() {
    let folder = folder();
    let path = new_coding(folder.path());
    let first = coding_file::open(&path).unwrap();
    let error = coding_file::open(&path).unwrap_err().to_string();
    assert!(error.contains("by K-01 on") && error.contains("since 20"), "{error}");
    assert!(coding_file::read(&path).is_ok(), "it can still be read");
    drop(first.lock);
    assert_eq!(coding_file::holder(&path), None);
    let lock = folder.path().join(".K-01.1.lock");
    let write = |computer: &str, hours: i64| {
        let mut holder = shedlight::files::Holder::here("K-02");
        if !computer.is_empty() {
            computer.clone_into(&mut holder.computer);
        }
        holder.since -= chrono::TimeDelta::hours(hours);
        std::fs::write(&lock, serde_json::to_vec(&holder).unwrap()).unwrap();
    };
    // A killed program on this computer.
    write("", 0);
    assert!(coding_file::open(&path).unwrap().remarks[0].contains("ended without closing"));
    // Another computer, whose lock a share does not pass on.
    write("the other office", 1);
    for _ in 0..2 {
        let error = coding_file::open(&path).unwrap_err().to_string();
        assert!(error.contains("the other office") && error.contains(".K-01.1.lock"), "{error}");
    }
    write("the other office", 13);
    assert!(coding_file::open(&path).unwrap().remarks[0].contains("taken over"));
    assert_eq!(coding_file::open(&path).unwrap().remarks, [""; 0], "given back");
}

/// Run again by the test below, under a limit on the size of files: writes until the system refuses.
#[cfg(unix)]
#[test]
fn child_on_a_full_disk() {
    let Some(path) = std::env::var_os("SHEDLIGHT_TEST_FULL") else { return };
    let mut work = AtWork::open(path.as_ref());
    let mut accepted = 0;
    for n in 1.. {
        work.press(n);
        if matches!(work.autosave.saved(), Saved::Failing(_)) {
            break;
        }
        accepted = n;
    }
    let refused = work.autosave.saved();
    let finished = work.finish().is_ok();
    let mut out = std::io::stdout();
    writeln!(out, "accepted {accepted}\nrefused {refused:?}\nfinished {finished}").unwrap();
}

#[cfg(unix)]
#[test]
fn a_write_the_system_cuts_short_loses_nothing_that_was_accepted() {
    let folder = folder();
    let path = new_coding(folder.path());
    let before = std::fs::read(&path).unwrap();
    // Blocks of 512 or 1024 bytes; the signal is ignored, so that the write fails half done (EFBIG).
    let run = std::process::Command::new("sh")
        .args(["-c", "trap '' XFSZ; ulimit -f 40; exec \"$0\" storage::faults::child_on_a_full_disk --exact --nocapture"])
        .arg(std::env::current_exe().unwrap())
        .env("SHEDLIGHT_TEST_FULL", &path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stdout).into_owned();
    let accepted: u64 = said
        .lines()
        .find_map(|line| line.strip_prefix("accepted "))
        .unwrap_or_else(|| panic!("{said}{}", String::from_utf8_lossy(&run.stderr)))
        .parse()
        .unwrap();
    assert!(accepted > 10 && said.contains("refused Failing"), "{said}");
    let opened = coding_file::open(&path).unwrap();
    assert!(opened.coding.last_seq >= accepted, "{} of {accepted}", opened.coding.last_seq);
    assert!(opened.remarks.iter().all(|remark| !remark.contains("damaged")), "{:?}", opened.remarks);
    assert!(said.contains("finished true") || std::fs::read(&path).unwrap() == before);
}

#[test]
fn an_earlier_version_comes_back_and_a_copy_is_merged_by_the_persons_choice() {
    use crate::common::{root, shedlight};
    let folder = folder();
    let study = folder.path().join("study");
    crate::export::copy(&root().join("sample-codings"), &study);
    let path = study.join("sessions/s3/K-07.1.coding.json");
    let text = path.to_str().unwrap();
    let original = coding_file::read(&path).unwrap();
    assert!(shedlight(&["restore", text]).out.contains("no earlier versions"));
    // Two people went on from the same state: one removed a mark and noted another, the copy notes it otherwise.
    let copy = path.with_file_name("K-07.1.conflict-1.coding.json");
    let mut other = original.clone();
    other.marks[2].note = Some("the copy's note".to_owned());
    other.marks[5].unsure = true;
    json::write(&copy, &other).unwrap();
    let mut this = original.clone();
    this.marks[2].note = Some("this one's note".to_owned());
    let _ = versions::replace(&path, this).unwrap();
    assert_eq!(shedlight(&["check", study.to_str().unwrap()]).code, 1, "a copy is a finding");
    // Without a choice nothing is written, and the difference is shown.
    let before = std::fs::read(&path).unwrap();
    let copy_text = copy.to_str().unwrap();
    let ran = shedlight(&["merge", text, copy_text, "--base", "1"]);
    assert!(ran.code == 1 && ran.out.contains("the copy's note"), "{}{}", ran.out, ran.err);
    assert!(std::fs::read(&path).unwrap() == before && copy.is_file());
    let ran = shedlight(&["merge", text, copy_text, "--base", "1", "--prefer", "other"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let merged = coding_file::read(&path).unwrap();
    assert_eq!(merged.marks[2].note.as_deref(), Some("the copy's note"));
    assert!(merged.marks[5].unsure && merged.marks.len() == original.marks.len());
    assert!(!copy.exists(), "put aside, so that it is not found again");
    // Back to the first state; what was there is kept too.
    let listed = shedlight(&["restore", text]).out;
    assert!(listed.contains("   1  kept") && listed.contains("   2  kept"), "{listed}");
    let ran = shedlight(&["restore", text, "--version", "1"]);
    assert!(ran.code == 0 && ran.out.contains("kept as version 3"), "{}{}", ran.out, ran.err);
    assert_eq!(coding_file::read(&path).unwrap().marks, original.marks);
    let ran = shedlight(&["restore", text, "--version", "9"]);
    assert_eq!(ran.code, 2, "{}{}", ran.out, ran.err);
}
