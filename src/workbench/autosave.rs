//! Every accepted edit goes to the journal at once; the disk is flushed within 50 ms by a thread
//! of its own, several edits together; now and then the coding file itself is written anew.
//!
//! `saved` is told only of what has been flushed (rule 34). When the disk refuses, the edits stay
//! here and are tried again with the next one; nothing is dropped and nothing pretends.

use std::fs::File;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
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
}

impl Shared {
    fn journal_is_there(&self) -> bool {
        let on_disk = self.on_disk.lock().unwrap_or_else(PoisonError::into_inner);
        coding_file::journal_path(on_disk.path()).is_file()
    }

    fn write(&self, coding: &Coding) -> Result<PathBuf, Error> {
        let mut on_disk = self.on_disk.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(words) = on_disk.write(coding)? {
            *self.notice.lock().unwrap_or_else(PoisonError::into_inner) = Some(words);
        }
        Ok(on_disk.path().to_owned())
    }
}

impl Autosave {
    /// Begins, with everything in the journal already on the disk.
    ///
    /// # Errors
    /// When the system gives no thread or file handle.
    pub fn try_new(on_disk: OnDisk, journal: Journal) -> Result<Self, Error> {
        let shared = Arc::new(Shared {
            flushed: AtomicU64::new(journal.last_seq()),
            failure: Mutex::default(),
            on_disk: Mutex::new(on_disk),
            notice: Mutex::default(),
        });
        let (tasks, inbox) = channel();
        let handle = journal.handle()?;
        let thread = {
            let shared = Arc::clone(&shared);
            std::thread::Builder::new()
                .name("autosave".to_owned())
                .spawn(move || work(&inbox, &handle, &shared))
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

    /// Writes the coding file itself anew, in the thread. Its `last_seq` must be [`Autosave::last_seq`],
    /// and nothing may be waiting: a file never claims what the journal does not hold.
    pub fn checkpoint(&self, coding: &Coding) {
        if self.waiting.is_empty() && coding.last_seq == self.journal.last_seq() {
            let _ = self.tasks.send(Task::Write(Box::new(coding.clone())));
        }
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

fn work(inbox: &Receiver<Task>, journal: &File, shared: &Shared) {
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
            match journal.sync_data() {
                // What was written to a file that nobody finds again is not saved. It may come back: tried again.
                Ok(()) if !shared.journal_is_there() => tell(Some(
                    "the study's folder or the journal in it is gone: put it back under its old name; the window still has everything".to_owned(),
                )),
                Ok(()) => {
                    shared.flushed.store(seq, Ordering::Release);
                    to_flush = None;
                    tell(None);
                }
                // Tried again after the next wait.
                Err(error) => tell(Some(format!("the disk does not take what is written ({error})"))),
            }
        }
        if let Ok(Task::Write(coding)) = task
            && let Err(error) = shared.write(&coding)
        {
            tell(Some(error.to_string()));
        }
        if is_last {
            return;
        }
    }
}
