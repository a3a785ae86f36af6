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
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
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
    // Not every file system can flush a folder; the rename has happened all the same.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// A lock on a file, held until it is dropped; the lock file stays and says nothing by itself.
#[derive(Debug)]
pub struct Lock {
    file: File,
}

impl Drop for Lock {
    fn drop(&mut self) {
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
            Ok(()) => Ok(Self { file }),
            Err(TryLockError::WouldBlock) => Err(Error::Locked { path: path.to_owned() }),
            Err(TryLockError::Error(source)) => Err(fail(source)),
        }
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
