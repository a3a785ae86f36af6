//! Rule 34: what was accepted survives a kill, at any moment.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::model::{ClipId, Coding, EthogramRef, Pass, Taxon, starter};
use shedlight::storage::coding_file;
use shedlight::time::Micros;
use shedlight::workbench::autosave::{Autosave, Saved};
use shedlight::workbench::coder::{Coder, Pace};
use shedlight::workbench::history::History;
use shedlight::workbench::reel::{Piece, Reel};

use crate::common::folder;

pub(super) fn reel() -> Arc<Reel> {
    let times = (0..100_000).map(|n| Micros::from_millis(n * 40)).collect();
    Arc::new(Reel::new(vec![Piece { clip: ClipId(0), times, end: Micros::from_millis(4_000_000) }]))
}

/// Run again as a child by the test below: codes until it is killed, telling each accepted mark.
#[test]
fn rule_34_child_that_codes_until_killed() {
    let Some(path) = std::env::var_os("SHEDLIGHT_TEST_CODING") else {
        // Run by hand or with all tests it has nothing to do: its parent below is the test.
        return;
    };
    let opened = coding_file::open(path.as_ref()).unwrap();
    let ethogram = Arc::new(starter::ethogram(Taxon::Lizard));
    let history = History::from_records(&opened.records);
    let mut coder = Coder::new(opened.coding, ethogram, reel(), Micros::ZERO, history);
    coder.set_pass(Some(1));
    let mut autosave = Autosave::try_new(opened.on_disk, opened.journal).unwrap();
    for n in 1_i64.. {
        let shot = reel_shot(n);
        let key = ['r', 'm', 'a', 'e'][usize::try_from(n % 4).unwrap()];
        let done = coder.press(key, shot, Pace::Stepped).unwrap();
        autosave.take(chrono::DateTime::default(), &done);
        writeln!(std::io::stdout(), "accepted {}", coder.coding().marks.len()).unwrap();
        if n % 50 == 0 {
            coder.set_progress(shot.at, autosave.last_seq());
            assert!(autosave.checkpoint(coder.coding()));
        }
    }
}

pub(super) fn reel_shot(n: i64) -> shedlight::workbench::reel::Shot {
    shedlight::workbench::reel::Shot {
        at: Micros::from_millis(n * 40),
        clip: ClipId(0),
        frame: shedlight::time::FrameNumber(u32::try_from(n).unwrap()),
    }
}

/// Lets a child code until it has accepted so many marks more, kills it, and looks what is left; how many there
/// are now.
fn killed(path: &Path, accepted_before: usize, kill_after: usize) -> usize {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["storage::kill::rule_34_child_that_codes_until_killed", "--exact", "--nocapture"])
        .env("SHEDLIGHT_TEST_CODING", path)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut accepted = 0;
    // Kept open until it is dead: it is to die of the kill, not of a broken pipe.
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    for line in lines.by_ref() {
        let Some(count) = line.unwrap().strip_prefix("accepted ").map(|n| n.parse::<usize>().unwrap()) else {
            continue;
        };
        accepted = count;
        if count >= accepted_before + kill_after {
            break;
        }
    }
    child.kill().unwrap();
    let status = child.wait().unwrap();
    drop(lines);
    #[cfg(unix)]
    assert_eq!(std::os::unix::process::ExitStatusExt::signal(&status), Some(9), "it was killed");
    assert!(!status.success());
    assert!(accepted >= accepted_before + kill_after, "it was at work");
    let opened = coding_file::open(path).unwrap();
    let kept = opened.coding.marks.len();
    assert!(kept >= accepted, "kept {kept} of {accepted}");
    let history = History::from_records(&opened.records);
    assert!(history.next_undo().is_some(), "undo survives");
    drop(opened);
    // The child starts from the first picture again: move what is there out of its way.
    let mut coding = coding_file::read(path).unwrap();
    for mark in &mut coding.marks {
        mark.from = mark.from + Micros::from_millis(-4_000_000);
        if let shedlight::model::End::At(to) = &mut mark.to {
            *to = *to + Micros::from_millis(-4_000_000);
        }
    }
    let open: Vec<_> = coding.open_bouts().map(|mark| mark.id).collect();
    for mark in &mut coding.marks {
        if open.contains(&mark.id) {
            mark.to = shedlight::model::End::At(mark.from + Micros(1));
        }
    }
    shedlight::storage::json::write(path, &coding).unwrap();
    kept
}

#[test]
fn rule_34_a_killed_program_has_lost_no_accepted_mark() {
    let folder = folder();
    let ethogram = starter::ethogram(Taxon::Lizard);
    let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    let path = coding_file::create(folder.path(), &coding).unwrap();
    let mut accepted_before = 0;
    // Killed again and again, each time in another moment of its work.
    for kill_after in [1, 7, 49, 51, 120, 260] {
        accepted_before = killed(&path, accepted_before, kill_after);
    }
    // And at random moments; SHEDLIGHT_KILLS=500 takes a few minutes.
    let kills = std::env::var("SHEDLIGHT_KILLS").ok().and_then(|own| own.parse().ok()).unwrap_or(40);
    let mut random = ChaCha8Rng::seed_from_u64(34);
    let mut path = path;
    for kill in 0..kills {
        if kill % 20 == 0 {
            // A fresh record, so that the time goes into kills.
            path = coding_file::create(folder.path(), &coding).unwrap();
            accepted_before = 0;
        }
        let kill_after = usize::try_from(random.next_u64() % 150 + 1).unwrap();
        accepted_before = killed(&path, accepted_before, kill_after);
    }
}

#[test]
fn rule_34_saved_is_told_when_it_is_true() {
    let folder = folder();
    let ethogram = starter::ethogram(Taxon::Lizard);
    let coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    let path = coding_file::create(folder.path(), &coding).unwrap();
    let opened = coding_file::open(&path).unwrap();
    assert!(
        coding_file::open(&path).unwrap_err().to_string().contains("another window"),
        "two windows can't open one coding"
    );
    let mut coder = Coder::new(opened.coding, Arc::new(ethogram), reel(), Micros::ZERO, History::default());
    let mut autosave = Autosave::try_new(opened.on_disk, opened.journal).unwrap();
    assert_eq!(autosave.saved(), Saved::All);
    let done = coder.press('r', reel_shot(5), Pace::Stepped).unwrap();
    autosave.take(chrono::DateTime::default(), &done);
    let start = std::time::Instant::now();
    while autosave.saved() != Saved::All {
        assert!(start.elapsed().as_secs() < 20, "it is flushed in the end");
        std::thread::yield_now();
    }
    coder.set_progress(Micros::from_millis(200), autosave.last_seq());
    let wanted = coder.coding().clone();
    autosave.finish(&wanted).unwrap();
    drop(opened.lock);
    let again = coding_file::open(&path).unwrap();
    assert_eq!(again.coding, wanted);
    assert_eq!(again.remarks, [""; 0], "nothing had to be recovered");
    assert_eq!(History::from_records(&again.records).next_undo(), Some(&done.inverse));
}
