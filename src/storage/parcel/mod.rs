//! A study as one file, to hand over to another computer, and taking it in there.
//!
//! A parcel is a zip file with a list of its files and their checksums. [`pack`] writes one; [`open`]
//! looks whether it is whole and names nothing outside; [`take_as_new`] makes a new study of it, and
//! [`compare`] with [`take`] puts it together with a study that is there already: what only the parcel
//! has is added, and what both have differently stays as it is unless a person says otherwise. What is
//! replaced is kept beside. Everything is unpacked and checked before the first file of the study is
//! touched, so that a parcel that is damaged or stopped changes nothing.

mod compare;
mod differences;
mod packing;
mod take;

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, Read, Write};
use std::ops::ControlFlow;
use std::path::{Component, Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};

use crate::files;

pub use self::compare::{Advice, Choice, Comparison, Item, What, compare};
pub use self::packing::{Contents, Packed, pack};
pub use self::take::{Taken, take, take_as_new};

/// How the list of a parcel says what it is.
pub const FORMAT: &str = "shedlight/parcel";
/// The list's version.
const VERSION: u32 = 1;
/// The list's name inside the zip file.
const LIST: &str = "shedlight-parcel.json";
/// What a parcel's own name ends in; such files are not packed again.
pub const ENDING: &str = ".shedlight.zip";
/// A longer list is no parcel of a study: 10,000 sessions need a tenth of it.
const LONGEST_LIST: u64 = 256 << 20;
/// Read and written at once.
const PIECE: usize = 1 << 18;

/// Told how far long work has come, 0–1; answers whether to go on.
pub type Progress<'a> = &'a mut dyn FnMut(f32) -> ControlFlow<()>;

/// Why a parcel could not be made or taken in.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// A file of the study could not be read or written.
    #[error(transparent)]
    Storage(#[from] super::Error),
    /// Something lies where the parcel would be written.
    #[error("there is a file of this name already: name another one, nothing is written over: {path}")]
    Exists {
        /// Where.
        path: PathBuf,
    },
    /// It is no parcel, or none that can be read.
    #[error("this is no parcel that can be read ({why}): ask for it again: {path}")]
    NoParcel {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// A newer program made it.
    #[error(
        "the parcel was made by a newer Shedlight (version {found} of its list; this one reads up to {VERSION}): update Shedlight: {path}"
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: u32,
    },
    /// A file in it is not what its list says.
    #[error("the parcel is damaged at '{inside}' ({why}); nothing was taken in: ask for it again: {path}")]
    Damaged {
        /// The parcel.
        path: PathBuf,
        /// The file inside.
        inside: String,
        /// What is wrong.
        why: String,
    },
    /// It names a place outside the study.
    #[error(
        "the parcel names a place outside the study ('{inside}'); nothing was taken in: don't trust it: {path}"
    )]
    Outside {
        /// The parcel.
        path: PathBuf,
        /// The name.
        inside: String,
    },
    /// The study was changed while its differences were looked at.
    #[error("the study was changed meanwhile, nothing was taken in: compare once more: {path}")]
    ChangedMeanwhile {
        /// Which file.
        path: PathBuf,
    },
    /// A part of it was.
    #[error("it was changed since it was compared and stays as it is: compare once more: {path}")]
    PartChangedMeanwhile {
        /// Which file.
        path: PathBuf,
    },
    /// A person stopped it.
    #[error("stopped; nothing was changed")]
    Stopped,
}

impl Error {
    fn write(path: &Path, source: io::Error) -> Self {
        Self::Storage(crate::files::Error::Write { path: path.to_owned(), source }.into())
    }

    fn read(path: &Path, source: io::Error) -> Self {
        Self::Storage(super::Error::Read { path: path.to_owned(), source })
    }
}

/// What is in a parcel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct List {
    /// [`FORMAT`].
    pub format: String,
    /// Of the list.
    pub version: u32,
    /// Title of the study.
    pub title: String,
    /// When it was packed.
    pub packed: DateTime<FixedOffset>,
    /// Code of the person who packed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Version of the program that packed it.
    pub program: String,
    /// Whether film was to be packed.
    pub film: bool,
    /// Clips that were to be packed and were not there, or not as they were, by their paths.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub film_missing: Vec<String>,
    /// The files, by path.
    pub files: Vec<Entry>,
}

/// A file in a parcel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// Its path in the study, with `/`.
    pub path: String,
    /// Bytes.
    pub size: u64,
    /// BLAKE3 of the whole file, in hexadecimal.
    pub blake3: String,
    /// For film: BLAKE3 of its first and last MiB, by which it is known (rule 32).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends: Option<String>,
}

impl Entry {
    /// Whether it is film.
    #[must_use]
    pub fn is_film(&self) -> bool {
        self.ends.is_some()
    }
}

/// A parcel that was looked at: readable, with nothing in it that its list does not name.
#[derive(Debug)]
pub struct Parcel {
    path: PathBuf,
    archive: zip::ZipArchive<File>,
    list: List,
}

/// Opens a parcel and holds its list against what is in it. Checksums are looked at when it is taken in.
///
/// # Errors
/// When it is no parcel, or names a place outside.
pub fn open(path: &Path) -> Result<Parcel, Error> {
    let no_parcel = |why: String| Error::NoParcel { path: path.to_owned(), why };
    let file = File::open(path).map_err(|source| Error::read(path, source))?;
    let mut archive = zip::ZipArchive::new(file).map_err(|error| no_parcel(error.to_string()))?;
    let mut text = String::new();
    {
        let entry = archive.by_name(LIST).map_err(|_| no_parcel(format!("it has no list '{LIST}' in it")))?;
        let _ = entry
            .take(LONGEST_LIST)
            .read_to_string(&mut text)
            .map_err(|error| no_parcel(format!("its list can't be read: {error}")))?;
    }
    let list: List =
        serde_json::from_str(&text).map_err(|error| no_parcel(format!("its list can't be read: {error}")))?;
    if list.format != FORMAT {
        return Err(no_parcel(format!("it is a '{}'", list.format)));
    }
    if list.version > VERSION {
        return Err(Error::Newer { path: path.to_owned(), found: list.version });
    }
    let mut seen = BTreeSet::new();
    for entry in &list.files {
        if !is_inside(&entry.path) {
            return Err(Error::Outside { path: path.to_owned(), inside: entry.path.clone() });
        }
        // Where capitals make no difference two names would be one file.
        if !seen.insert(entry.path.to_lowercase()) {
            return Err(no_parcel(format!("it names '{}' twice", entry.path)));
        }
        if archive.index_for_name(&entry.path).is_none() {
            return Err(no_parcel(format!("'{}' is missing in it", entry.path)));
        }
    }
    if archive.len() != list.files.len() + 1 {
        return Err(no_parcel("it holds files that its list does not name".to_owned()));
    }
    if !list.files.iter().any(|entry| entry.path == "study.json") {
        return Err(no_parcel("there is no study.json in it".to_owned()));
    }
    Ok(Parcel { path: path.to_owned(), archive, list })
}

impl Parcel {
    /// Its list.
    #[must_use]
    pub fn list(&self) -> &List {
        &self.list
    }

    /// Where it lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Unpacks some of its files into a folder, holding each against its checksum.
    fn unpack(
        &mut self,
        into: &Path,
        mut wanted: impl FnMut(&Entry) -> bool,
        progress: Progress<'_>,
    ) -> Result<(), Error> {
        let chosen: Vec<Entry> = self.list.files.iter().filter(|entry| wanted(entry)).cloned().collect();
        let mut share = Share::of(chosen.iter().map(|entry| entry.size).sum());
        let mut folders = BTreeSet::new();
        for entry in &chosen {
            let damaged =
                |why: String| Error::Damaged { path: self.path.clone(), inside: entry.path.clone(), why };
            let target = into.join(&entry.path);
            if let Some(above) = target.parent() {
                make_folder(above)?;
                let _ = folders.insert(above.to_owned());
            }
            let mut inside = self.archive.by_name(&entry.path).map_err(|error| damaged(error.to_string()))?;
            let mut file = File::create(&target).map_err(|source| Error::write(&target, source))?;
            let mut hasher = blake3::Hasher::new();
            let mut piece = vec![0_u8; PIECE];
            let mut length = 0_u64;
            loop {
                let read = inside.read(&mut piece).map_err(|error| damaged(error.to_string()))?;
                let bytes = piece.get(..read).unwrap_or_default();
                length += bytes.len() as u64;
                // Never more than it says, however much would come out.
                if bytes.is_empty() || length > entry.size {
                    break;
                }
                let _ = hasher.update(bytes);
                file.write_all(bytes).map_err(|source| Error::write(&target, source))?;
                share.more(bytes.len() as u64, progress)?;
            }
            if length != entry.size {
                return Err(damaged(format!("it should have {} bytes", entry.size)));
            }
            if hasher.finalize().to_hex().as_str() != entry.blake3 {
                return Err(damaged("its checksum is another".to_owned()));
            }
            file.sync_all().map_err(|source| Error::write(&target, source))?;
        }
        for folder in &folders {
            files::flush_folder(folder);
        }
        Ok(())
    }
}

fn make_folder(folder: &Path) -> Result<(), Error> {
    Ok(files::make_folder(folder).map_err(super::Error::from)?)
}

/// How much of the bytes has been done.
struct Share {
    done: u64,
    all: u64,
}

impl Share {
    fn of(all: u64) -> Self {
        Self { done: 0, all: all.max(1) }
    }

    fn more(&mut self, bytes: u64, progress: Progress<'_>) -> Result<(), Error> {
        self.done += bytes;
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // A share for people.
        let share = (self.done as f64 / self.all as f64) as f32;
        if progress(share.min(1.0)).is_break() { Err(Error::Stopped) } else { Ok(()) }
    }
}

/// Whether a name in a parcel is the place of a file inside a study: parts that are names and nothing
/// else on any system, none of them hidden.
fn is_inside(path: &str) -> bool {
    let is_name = |part: &str| {
        let stem = part.split('.').next().unwrap_or_default().to_uppercase();
        let is_device = matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL")
            || ["COM", "LPT"].iter().any(|port| {
                stem.strip_prefix(port)
                    .is_some_and(|number| number.len() == 1 && number.bytes().all(|c| c.is_ascii_digit()))
            });
        !part.is_empty()
            && !part.starts_with('.')
            && !part.ends_with(['.', ' '])
            && !part.contains(|c: char| c.is_control() || "\\:*?\"<>|".contains(c))
            && !is_device
    };
    path.split('/').all(is_name)
        && Path::new(path).components().all(|part| matches!(part, Component::Normal(_)))
}

/// A folder for work that is gone when the work is, however it ends.
#[derive(Debug)]
struct Workplace(PathBuf);

impl Workplace {
    fn new(place: PathBuf) -> Result<Self, Error> {
        make_folder(&place)?;
        Ok(Self(place))
    }
}

impl Drop for Workplace {
    fn drop(&mut self) {
        // Gone already when it became the study's folder.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// `<person>.<n>` of a coding or journal file in the folder of a session, with the session.
fn coding_name(path: &str) -> Option<(&str, &str)> {
    let (session, name) = path.strip_prefix("sessions/")?.split_once('/')?;
    let stem = name.strip_suffix(".coding.json").or_else(|| name.strip_suffix(".journal"))?;
    (!name.contains('/')).then_some((session, stem))
}

/// Entries by their paths.
fn by_path(list: &List) -> BTreeMap<&str, &Entry> {
    list.files.iter().map(|entry| (entry.path.as_str(), entry)).collect()
}

/// BLAKE3 of a file, in hexadecimal; nothing when it can't be read.
fn whole(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let mut hasher = blake3::Hasher::new();
    let mut piece = vec![0_u8; PIECE];
    loop {
        let read = file.read(&mut piece).ok()?;
        if read == 0 {
            return Some(hasher.finalize().to_hex().to_string());
        }
        let _ = hasher.update(piece.get(..read)?);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_inside_a_study_are_taken() {
        for good in [
            "study.json",
            "sessions/s1/K-07.1.coding.json",
            "clips/a b.mp4",
            "stills/s1 1-02.png",
            "clips/come.mp4",
        ] {
            assert!(is_inside(good), "{good}");
        }
        for bad in [
            "",
            "/etc/passwd",
            "../x",
            "a/../../x",
            "a//b",
            "C:\\x",
            "c:x",
            "\\\\host\\x",
            "a\\b",
            ".ssh/key",
            "a/.b",
            "nul",
            "clips/COM1.mp4",
            "a\0b",
            "dot.",
            "space ",
            "./a",
        ] {
            assert!(!is_inside(bad), "{bad:?}");
        }
    }

    #[test]
    fn codings_are_told_by_their_place() {
        assert_eq!(coding_name("sessions/s5/K-07.1.coding.json"), Some(("s5", "K-07.1")));
        assert_eq!(coding_name("sessions/s5/K-07.1.journal"), Some(("s5", "K-07.1")));
        assert_eq!(coding_name("sessions/s5/session.json"), None);
        assert_eq!(coding_name("clips/a.coding.json"), None);
    }
}
