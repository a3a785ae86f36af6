//! Every accepted edit goes to the journal at once; the disk is flushed within 50 ms by a thread
//! of its own, several edits together; now and then the coding file itself is written anew.
//!
//! `saved` is told only of what has been flushed (rule 34). When the disk refuses, the edits stay
//! here and are tried again with the next one; nothing is dropped and nothing pretends.

use std::fs::File;
use std::io;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use chrono::{DateTime, FixedOffset};

use super::coder::Done;
use crate::model::{Coding, Edit};
use crate::storage::Error;
use crate::storage::coding_file::{self, OnDisk};
use crate::storage::journal::{self, Journal, StepKind};

/// Edits gathered before the disk is flushed, at most this long.
const GATHER: Duration = Duration::from_millis(40);

/// How far the record is safe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Saved {
    /// Everything is on the disk.
    All,
    /// So many edits are written and not flushed yet: milliseconds.
    Flushing,
    /// The disk refuses; why, in words.
    Failing(String),
}

enum Task {
    Flush(u64),
    Write(Box<Coding>),
    Stop,
}

/// Keeps the record of one coding on the disk.
#[derive(Debug)]
pub struct Autosave {
    journal: Journal,
    waiting: Vec<(DateTime<FixedOffset>, StepKind, Edit, Edit)>,
    failure: Option<String>,
    shared: Arc<Shared>,
    tasks: Sender<Task>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct Shared {
    flushed: AtomicU64,
    failure: Mutex<Option<String>>,
    /// Where the coding is written.
    on_disk: Mutex<OnDisk>,
    /// What happened to the coding file, in words that stay.
    notice: Mutex<Option<String>>,
    /// The journal that is written, to tell it from another one of its name.
    journal: File,
    /// The last edit that may have been given to the journal.
    given: AtomicU64,
    /// A flush failed: all edits up to this one may be lost though the next one succeeds, so that only the
    /// coding file written anew with them makes them safe; 0 when none did.
    whole_to: AtomicU64,
    /// The journal was replaced once: from then on nothing finds what is written to ours.
    is_orphaned: AtomicBool,
}

/// What lies where the journal should.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Found {
    Own,
    Nothing,
    /// Another program put its own there: whatever we write goes to a file without a name.
    Another,
}

impl Shared {
    fn journal_at(&self, on_disk: &OnDisk) -> Found {
        let path = coding_file::journal_path(on_disk.path());
        match (self.journal.metadata(), path.metadata()) {
            (Ok(own), Ok(there)) if there.is_file() => {
                if is_same_file(&own, &there) {
                    Found::Own
                } else {
                    Found::Another
                }
            }
            _ => Found::Nothing,
        }
    }

    fn found(&self) -> Found {
        if self.is_orphaned.load(Ordering::Acquire) {
            return Found::Another;
        }
        self.journal_at(&self.on_disk.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn write(&self, coding: &Coding) -> Result<PathBuf, Error> {
        let mut on_disk = self.on_disk.lock().unwrap_or_else(PoisonError::into_inner);
        let is_replaced = self.journal_at(&on_disk) == Found::Another;
        let _ = self.is_orphaned.fetch_or(is_replaced, Ordering::AcqRel);
        if let Some(words) = on_disk.write(coding, is_replaced)? {
            *self.notice.lock().unwrap_or_else(PoisonError::into_inner) = Some(words);
        }
        Ok(on_disk.path().to_owned())
    }
}

#[cfg(unix)]
fn is_same_file(a: &std::fs::Metadata, b: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}

/// Elsewhere a file that is open is not replaced.
#[cfg(not(unix))]
fn is_same_file(_: &std::fs::Metadata, _: &std::fs::Metadata) -> bool {
    true
}

impl Autosave {
    /// Begins, with everything in the journal already on the disk.
    ///
    /// # Errors
    /// When the system gives no thread or file handle.
    pub fn try_new(on_disk: OnDisk, journal: Journal) -> Result<Self, Error> {
        let handle = journal.handle()?;
        Self::flushed_by(on_disk, journal, move || handle.sync_data())
    }

    fn flushed_by(
        on_disk: OnDisk,
        journal: Journal,
        flush: impl Fn() -> io::Result<()> + Send + 'static,
    ) -> Result<Self, Error> {
        let shared = Arc::new(Shared {
            flushed: AtomicU64::new(journal.last_seq()),
            failure: Mutex::default(),
            on_disk: Mutex::new(on_disk),
            notice: Mutex::default(),
            journal: journal.handle()?,
            given: AtomicU64::new(journal.last_seq()),
            whole_to: AtomicU64::new(0),
            is_orphaned: AtomicBool::new(false),
        });
        let (tasks, inbox) = channel();
        let thread = {
            let shared = Arc::clone(&shared);
            std::thread::Builder::new()
                .name("autosave".to_owned())
                .spawn(move || work(&inbox, &flush, &shared))
                .map_err(|source| Error::Journal { path: journal.path().to_owned(), source })?
        };
        Ok(Self { journal, waiting: Vec::new(), failure: None, shared, tasks, thread: Some(thread) })
    }

    /// Takes a step in; when this returns and [`Autosave::saved`] is not failing, it survives a kill.
    pub fn take(&mut self, time: DateTime<FixedOffset>, done: &Done) {
        self.waiting.push((time, done.kind, done.edit.clone(), done.inverse.clone()));
        self.retry();
    }

    /// Tries again what the disk refused.
    pub fn retry(&mut self) {
        while let Some((time, kind, edit, inverse)) = self.waiting.first() {
            // Before, so that a flush that fails meanwhile counts it in.
            self.shared.given.store(self.journal.last_seq() + 1, Ordering::Release);
            match self.journal.append(*time, *kind, edit, inverse) {
                Ok(record) => {
                    let _ = self.waiting.remove(0);
                    self.failure = None;
                    // The thread lives as long as this does.
                    let _ = self.tasks.send(Task::Flush(record.seq));
                }
                Err(error) => {
                    self.failure = Some(error.to_string());
                    return;
                }
            }
        }
    }

    /// Steps that the disk has not taken yet: leaving now would lose them.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.waiting.len()
    }

    /// How far the record is safe.
    #[must_use]
    pub fn saved(&self) -> Saved {
        if let Some(why) = &self.failure {
            return Saved::Failing(why.clone());
        }
        if let Some(why) = self.shared.failure.lock().unwrap_or_else(PoisonError::into_inner).clone() {
            return Saved::Failing(why);
        }
        if self.shared.flushed.load(Ordering::Acquire) >= self.journal.last_seq() {
            Saved::All
        } else if self.thread.as_ref().is_none_or(JoinHandle::is_finished) {
            Saved::Failing("what saves has stopped: leave the coding and open it again".to_owned())
        } else {
            Saved::Flushing
        }
    }

    /// What happened to the coding file: another program changed it, and where the work is now.
    #[must_use]
    pub fn notice(&self) -> Option<String> {
        self.shared.notice.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Sequence number of the last edit written.
    #[must_use]
    pub fn last_seq(&self) -> u64 {
        self.journal.last_seq()
    }

    /// Whether the coding file must be written anew before anything counts as saved: the disk failed once.
    #[must_use]
    pub fn wants_whole(&self) -> bool {
        self.shared.whole_to.load(Ordering::Acquire) > 0
    }

    /// Writes the coding file itself anew, in the thread. Its `last_seq` must be [`Autosave::last_seq`],
    /// and nothing may be waiting: a file never claims what the journal does not hold.
    /// `false`: not now, because something is waiting.
    #[must_use]
    pub fn checkpoint(&self, coding: &Coding) -> bool {
        let can_be = self.waiting.is_empty() && coding.last_seq == self.journal.last_seq();
        can_be && self.tasks.send(Task::Write(Box::new(coding.clone()))).is_ok()
    }

    /// Ends: flushes, writes the coding file, shortens the journal. `coding` as for [`Autosave::checkpoint`].
    ///
    /// # Errors
    /// When something can't be written; the journal then still holds everything that was accepted.
    pub fn finish(mut self, coding: &Coding) -> Result<(), Error> {
        self.retry();
        self.stop();
        if self.waiting.is_empty() {
            let path = self.shared.write(coding)?;
            journal::compact(&coding_file::journal_path(&path))?;
        }
        Ok(())
    }

    fn stop(&mut self) {
        let _ = self.tasks.send(Task::Stop);
        if let Some(thread) = self.thread.take() {
            // A thread that panicked has nothing left to write: every edit is in the journal file.
            let _ = thread.join();
        }
    }
}

impl Drop for Autosave {
    fn drop(&mut self) {
        self.stop();
    }
}

fn work(inbox: &Receiver<Task>, flush: &dyn Fn() -> io::Result<()>, shared: &Shared) {
    let tell = |why: Option<String>| *shared.failure.lock().unwrap_or_else(PoisonError::into_inner) = why;
    let mut to_flush = None;
    loop {
        let task = match to_flush {
            // Something waits for the disk: gather what else comes, but not for long.
            Some(_) => inbox.recv_timeout(GATHER),
            None => inbox.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        let is_last = matches!(task, Ok(Task::Stop) | Err(RecvTimeoutError::Disconnected));
        if let Ok(Task::Flush(seq)) = task
            && to_flush.replace(seq).is_none()
        {
            continue;
        }
        // Before a whole file is written, which takes longer than an edit may wait.
        if let Some(seq) = to_flush {
            match (flush(), shared.found()) {
                (Err(error), _) => {
                    shared.whole_to.store(shared.given.load(Ordering::Acquire), Ordering::Release);
                    tell(Some(format!(
                        "the disk does not take what is written ({error}); the next step tries to write the whole coding anew"
                    )));
                }
                // What was written to a file that nobody finds again is not saved. It may come back: tried again.
                (Ok(()), Found::Nothing) => tell(Some(
                    "the study's folder or the journal in it is gone: put it back under its old name; the window still has everything".to_owned(),
                )),
                (Ok(()), Found::Another) => tell(Some(
                    "another program replaced this coding's journal: leave the coding now, and all of it is written beside the other one".to_owned(),
                )),
                (Ok(()), Found::Own) if shared.whole_to.load(Ordering::Acquire) > 0 => {}
                (Ok(()), Found::Own) => {
                    shared.flushed.store(seq, Ordering::Release);
                    to_flush = None;
                    tell(None);
                }
            }
        }
        if let Ok(Task::Write(coding)) = task {
            match shared.write(&coding) {
                // An older state, that was on its way already, makes nothing safe.
                Ok(_) if (1..=coding.last_seq).contains(&shared.whole_to.load(Ordering::Acquire)) => {
                    shared.whole_to.store(0, Ordering::Release);
                    let _ = shared.flushed.fetch_max(coding.last_seq, Ordering::AcqRel);
                    to_flush = to_flush.filter(|seq| *seq > coding.last_seq);
                    if to_flush.is_none() {
                        tell(None);
                    }
                }
                Ok(_) => {}
                Err(error) => tell(Some(error.to_string())),
            }
        }
        if is_last {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicU32;
    use std::time::Instant;

    use super::*;
    use crate::model::{Change, EthogramRef, Mark, MarkId};
    use crate::time::Micros;

    fn wait_for(what: &str, is_so: impl Fn() -> bool) {
        let start = Instant::now();
        while !is_so() {
            assert!(start.elapsed() < Duration::from_secs(20), "waited for {what}");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// A disk that fails once forgets what it was given, and takes the next flush as if nothing had been.
    #[test]
    fn rule_34_after_a_failed_flush_only_the_whole_file_written_anew_is_saved() {
        let folder = tempfile::tempdir().unwrap();
        let ethogram = EthogramRef { id: "e".into(), revision: 1, digest: String::new() };
        let coding = Coding::new("s1".into(), "K-01".into(), ethogram);
        let path = coding_file::create(folder.path(), &coding).unwrap();
        let opened = coding_file::open(&path).unwrap();
        let flushes = Arc::new(AtomicU32::new(0));
        let counted = Arc::clone(&flushes);
        let flush = move || match counted.fetch_add(1, Ordering::AcqRel) {
            0 => Err(io::Error::other("input/output error")),
            _ => Ok(()),
        };
        let mut coding = opened.coding;
        let mut autosave = Autosave::flushed_by(opened.on_disk, opened.journal, flush).unwrap();
        let mark = Mark::bout(MarkId(1), "move".into(), Micros::ZERO, None);
        let edit = Edit::new("a bout", vec![Change::Put(Box::new(mark))]);
        let inverse = coding.apply(&edit).unwrap();
        let done = Done { kind: StepKind::Do, edit, inverse, focus: None, said: String::new() };
        autosave.take(chrono::Local::now().fixed_offset(), &done);
        wait_for("more flushes", || flushes.load(Ordering::Acquire) > 3);
        assert!(matches!(autosave.saved(), Saved::Failing(why) if why.contains("input/output error")));
        assert!(autosave.wants_whole());
        // A file that was on its way from before the edit does not make it safe.
        let older = Coding { marks: Vec::new(), last_seq: 0, ..coding.clone() };
        autosave.tasks.send(Task::Write(Box::new(older))).unwrap();
        let before = flushes.load(Ordering::Acquire);
        wait_for("more flushes after it", || flushes.load(Ordering::Acquire) > before + 3);
        assert!(autosave.wants_whole() && matches!(autosave.saved(), Saved::Failing(_)));
        coding.last_seq = autosave.last_seq();
        assert!(autosave.checkpoint(&coding));
        wait_for("the whole file", || autosave.saved() == Saved::All);
        assert!(!autosave.wants_whole());
        assert_eq!(coding_file::read(&path).unwrap().marks.len(), 1);
        autosave.finish(&coding).unwrap();
    }
}
