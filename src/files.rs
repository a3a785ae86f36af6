//! Writing files so that a crash leaves either the old one or the new one, whole.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Why a file could not be written or locked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// Writing failed; the file is as it was before.
    #[error("could not write (the file is as it was before): {source}{}: {path}", remedy(source))]
    Write {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Another window or program holds it.
    #[error("it is open in another window: close it there first: {path}")]
    Locked {
        /// Which file.
        path: PathBuf,
    },
}

/// What a person can do about a failed write.
fn remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "; free some space and try again",
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "; choose a folder you may write to"
        }
        io::ErrorKind::NotFound => "; the folder is not there",
        _ => "",
    }
}

/// Writes a file in one step: a temporary file beside it, flushed to the disk, then renamed over
/// it, and the folder flushed.
///
/// # Errors
/// When any of it fails; the old file is then untouched and the temporary one gone.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let fail = |source| Error::Write { path: path.to_owned(), source };
    let folder = above(path);
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let temporary = folder.join(format!(".{name}.{}.part", std::process::id()));
    let written = (|| {
        let mut file = File::create(&temporary)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        std::fs::rename(&temporary, path)
    })();
    if let Err(error) = written {
        // It may never have been made.
        let _ = std::fs::remove_file(&temporary);
        return Err(fail(error));
    }
    flush_folder(folder);
    Ok(())
}

/// The folder a path lies in.
fn above(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Flushes the names in a folder: a new file's content alone does not bring its name through a power cut.
pub fn flush_folder(folder: &Path) {
    // Not every system can flush a folder; what was done in it has happened all the same.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Makes a folder, and those it lies in, so that a power cut does not take it with what is put into it.
///
/// # Errors
/// When it can't be made.
pub fn make_folder(folder: &Path) -> Result<(), Error> {
    if folder.is_dir() {
        return Ok(());
    }
    let above = above(folder);
    make_folder(above)?;
    match std::fs::create_dir(folder) {
        Ok(()) => flush_folder(above),
        // Somebody else was quicker.
        Err(_) if folder.is_dir() => {}
        Err(source) => return Err(Error::Write { path: folder.to_owned(), source }),
    }
    Ok(())
}

/// Gives a file or folder another name, and flushes both folders.
///
/// # Errors
/// When it can't be renamed; it then has its old name.
pub fn rename(from: &Path, to: &Path) -> io::Result<()> {
    std::fs::rename(from, to)?;
    flush_folder(above(to));
    if above(from) != above(to) {
        flush_folder(above(from));
    }
    Ok(())
}

/// A lock on a file, held until it is dropped; the lock file stays, and is empty when nobody holds it.
#[derive(Debug)]
pub struct Lock {
    file: File,
    is_left: bool,
}

/// Who holds a lock, as its file says.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Holder {
    /// The person's code.
    pub by: String,
    /// The computer's name; empty when the system does not tell.
    pub computer: String,
    /// Since when.
    pub since: chrono::DateTime<chrono::FixedOffset>,
}

impl Holder {
    /// This computer, now.
    #[must_use]
    pub fn here(by: &str) -> Self {
        Self { by: by.to_owned(), computer: computer(), since: chrono::Local::now().fixed_offset() }
    }

    /// Whether it is this computer.
    #[must_use]
    pub fn is_here(&self) -> bool {
        self.computer == computer()
    }

    /// From a lock file; none when nobody stands in it, or it can't be read.
    #[must_use]
    pub fn read(path: &Path) -> Option<Self> {
        serde_json::from_slice(&std::fs::read(path).ok()?).ok()
    }
}

impl std::fmt::Display for Holder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let computer = if self.computer.is_empty() { "a nameless computer" } else { &self.computer };
        write!(f, "by {} on {computer} since {}", self.by, self.since.format("%Y-%m-%d %H:%M"))
    }
}

/// This computer's name, as far as the system tells it without asking a library.
fn computer() -> String {
    let told = std::fs::read_to_string("/proc/sys/kernel/hostname")
        .or_else(|_| std::fs::read_to_string("/etc/hostname"))
        .ok()
        .or_else(|| std::env::var("COMPUTERNAME").ok())
        .or_else(|| std::env::var("HOSTNAME").ok());
    told.unwrap_or_default().trim().to_owned()
}

impl Drop for Lock {
    fn drop(&mut self) {
        if !self.is_left {
            // A name left behind only means that the next one is told of it.
            let _ = self.file.set_len(0);
        }
        // Closing alone would not do: a child process started meanwhile may share the open file.
        let _ = self.file.unlock();
    }
}

impl Lock {
    /// Takes the lock.
    ///
    /// # Errors
    /// [`Error::Locked`] when someone else holds it; [`Error::Write`] when the lock file can't be made.
    pub fn try_new(path: &Path) -> Result<Self, Error> {
        let fail = |source| Error::Write { path: path.to_owned(), source };
        let file = OpenOptions::new().create(true).truncate(false).write(true).open(path).map_err(fail)?;
        match file.try_lock() {
            Ok(()) => Ok(Self { file, is_left: false }),
            Err(TryLockError::WouldBlock) => Err(Error::Locked { path: path.to_owned() }),
            Err(TryLockError::Error(source)) => Err(fail(source)),
        }
    }

    /// Writes who holds it into its file, for others to read.
    pub fn tell(&self, holder: &Holder) {
        // It holds all the same when this fails; others are then told less.
        let text = serde_json::to_vec(holder).unwrap_or_default();
        let _ = self.file.set_len(0).and_then(|()| (&self.file).write_all(&text));
    }

    /// Gives it back with what stands in its file.
    pub fn leave(mut self) {
        self.is_left = true;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_old_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.json");
        write_atomically(&path, b"old").unwrap();
        let missing = folder.path().join("missing").join("a.json");
        let error = write_atomically(&missing, b"new").unwrap_err().to_string();
        assert!(error.contains("the folder is not there"), "{error}");
        write_atomically(&path, b"new").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "no temporary file is left");
    }

    #[test]
    fn two_can_not_hold_one_lock() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lock");
        let first = Lock::try_new(&path).unwrap();
        assert!(matches!(Lock::try_new(&path), Err(Error::Locked { .. })));
        drop(first);
        assert!(Lock::try_new(&path).is_ok());
    }
}
