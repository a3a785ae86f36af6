//! Earlier states of a coding file: kept before a sitting first writes over it, listed, put back.
//!
//! They lie in `versions/` in the session's folder, one file each, `<person>.<n>.<number>.json`,
//! the last [`KEPT`] of them. Nothing reads them as codings.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::coding_file::{self, journal_path};
use super::{Error, json};
use crate::files;
use crate::model::{CODING_FORMAT, Coding, Mark, MarkId};

/// Versions kept of one coding; the oldest go first.
pub const KEPT: usize = 20;

/// One earlier state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Version {
    /// Rising; never given twice while any is there.
    pub number: u32,
    /// Its file.
    pub path: PathBuf,
    /// When it was kept, if the system knows.
    pub kept: Option<SystemTime>,
}

impl Version {
    /// When it was kept, in words.
    #[must_use]
    pub fn when(&self) -> String {
        self.kept.map_or_else(
            || "at a time that is not known".to_owned(),
            |kept| chrono::DateTime::<chrono::Local>::from(kept).format("%Y-%m-%d %H:%M").to_string(),
        )
    }
}

/// What putting an earlier state back changes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Difference {
    /// Marks that come back.
    pub back: usize,
    /// Marks that go.
    pub gone: usize,
    /// Marks that are there in both and stand otherwise.
    pub other: usize,
    /// Passes that are done now and were not then.
    pub open_again: Vec<String>,
}

impl Difference {
    /// From the present state to an earlier one.
    #[must_use]
    pub fn between(now: &Coding, then: &Coding) -> Self {
        let by_id = |coding: &Coding| -> BTreeMap<MarkId, Mark> {
            coding.marks.iter().map(|mark| (mark.id, mark.clone())).collect()
        };
        let (here, there) = (by_id(now), by_id(then));
        let was_done = |name: &str| then.passes.iter().any(|pass| pass.name == name && pass.done);
        let open_again = now.passes.iter().filter(|pass| pass.done && !was_done(&pass.name));
        Self {
            back: there.keys().filter(|id| !here.contains_key(id)).count(),
            gone: here.keys().filter(|id| !there.contains_key(id)).count(),
            other: here.iter().filter(|(id, mark)| there.get(id).is_some_and(|own| own != *mark)).count(),
            open_again: open_again.map(|pass| pass.name.clone()).collect(),
        }
    }

    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        let count = |n: usize, one: &str, many: &str| match n {
            0 => None,
            1 => Some(format!("1 mark {one}")),
            n => Some(format!("{n} marks {many}")),
        };
        let mut parts: Vec<String> = [
            count(self.back, "comes back", "come back"),
            count(self.gone, "goes", "go"),
            count(self.other, "stands as it stood", "stand as they stood"),
        ]
        .into_iter()
        .flatten()
        .collect();
        parts.extend(self.open_again.iter().map(|name| format!("the pass '{name}' is open again")));
        if parts.is_empty() { "no mark differs from now".to_owned() } else { parts.join(", ") }
    }
}

/// An earlier state as a person chooses among them.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Which.
    pub version: Version,
    /// How many marks it has, and what putting it back changes; else why it can't be read.
    pub told: Result<(usize, Difference), String>,
}

/// The present state of a coding and the earlier ones, newest first. What can't be read hides nothing but itself.
///
/// # Errors
/// When the present state can't be read.
pub fn states(coding: &Path) -> Result<(Coding, Vec<State>), Error> {
    let now = coding_file::read(coding)?;
    let told = |version: Version| {
        let then = json::read::<Coding>(&version.path, CODING_FORMAT);
        let told = then.map(|then| (then.marks.len(), Difference::between(&now, &then)));
        State { version, told: told.map_err(|error| error.to_string()) }
    };
    let earlier = list(coding).into_iter().rev().map(told).collect();
    Ok((now, earlier))
}

/// The folder of a coding's earlier states.
#[must_use]
pub fn folder(coding: &Path) -> PathBuf {
    coding.with_file_name("versions")
}

fn version_path(coding: &Path, number: u32, ending: &str) -> PathBuf {
    folder(coding).join(format!("{}.{number:04}.{ending}", coding_file::stem(coding)))
}

/// A place beside a version that holds nothing yet: the same state may be kept more than once.
#[must_use]
pub fn free_path(coding: &Path, number: u32, ending: &str) -> PathBuf {
    let mut path = version_path(coding, number, ending);
    let mut again = 2_u32;
    while path.exists() {
        path = version_path(coding, number, &format!("{again}.{ending}"));
        again += 1;
    }
    path
}

/// The earlier states of a coding, oldest first; none when there is no folder.
#[must_use]
pub fn list(coding: &Path) -> Vec<Version> {
    let Ok(entries) = std::fs::read_dir(folder(coding)) else { return Vec::new() };
    let before = format!("{}.", coding_file::stem(coding));
    let mut versions: Vec<Version> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let number = name.strip_prefix(&before)?.strip_suffix(".json")?.parse().ok()?;
            let kept = entry.metadata().ok().and_then(|about| about.modified().ok());
            Some(Version { number, path: entry.path(), kept })
        })
        .collect();
    versions.sort_by_key(|version| version.number);
    versions
}

/// Keeps a text as the newest version of a coding, unless it is the same as the newest there.
/// Returns its number.
///
/// # Errors
/// When it can't be written.
pub fn keep(coding: &Path, bytes: &[u8]) -> Result<u32, Error> {
    let versions = list(coding);
    if let Some(newest) = versions.last()
        && std::fs::read(&newest.path).is_ok_and(|there| there == bytes)
    {
        return Ok(newest.number);
    }
    let into = folder(coding);
    files::make_folder(&into)?;
    let number = versions.last().map_or(1, |newest| newest.number + 1);
    files::write_atomically(&version_path(coding, number, "json"), bytes)?;
    let surplus = (versions.len() + 1).saturating_sub(KEPT);
    for old in versions.iter().take(surplus) {
        // One too many is no harm.
        let _ = std::fs::remove_file(&old.path);
        let _ = std::fs::remove_file(old.path.with_extension("journal"));
    }
    Ok(number)
}

/// Writes a whole new state over a coding nobody has open: the present one, with what its journal
/// adds, is kept as a version first, and its journal goes with that version, since its edits do not
/// lead to the new state. Returns the number of the version kept.
///
/// # Errors
/// When it is open elsewhere, or something can't be read or written; the coding is then as it was.
pub fn replace(coding: &Path, mut new: Coding) -> Result<u32, Error> {
    let opened = coding_file::open(coding)?;
    let text =
        json::to_text(&opened.coding).map_err(|source| Error::Json { path: coding.to_owned(), source })?;
    let number = keep(coding, text.as_bytes())?;
    // The journal, until it is moved, adds nothing to a file that says it contains all of it.
    new.last_seq = opened.coding.last_seq;
    json::write(coding, &new)?;
    let journal = journal_path(coding);
    let aside = free_path(coding, number, "journal");
    files::rename(&journal, &aside).map_err(|source| Error::Journal { path: journal, source })?;
    Ok(number)
}

/// Puts an earlier state back; the present one is kept first. Returns the number it was kept under.
///
/// # Errors
/// When there is no such version, it can't be read, or as [`replace`].
pub fn restore(coding: &Path, number: u32) -> Result<u32, Error> {
    let path = version_path(coding, number, "json");
    let old: Coding = json::read(&path, CODING_FORMAT)?;
    replace(coding, old)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Change, Edit, EthogramRef};
    use crate::storage::journal::StepKind;
    use crate::time::Micros;

    fn with_marks(count: u64) -> Coding {
        let ethogram = EthogramRef { id: "e".into(), revision: 1, digest: String::new() };
        let mut coding = Coding::new("s".into(), "K-01".into(), ethogram);
        coding.marks = (1..=count).map(|id| Mark::event(MarkId(id), "approach".into(), Micros(1))).collect();
        coding
    }

    #[test]
    fn an_earlier_version_comes_back_and_the_present_one_is_kept_with_its_journal() {
        let folder = tempfile::tempdir().unwrap();
        let path = coding_file::create(folder.path(), &with_marks(1)).unwrap();
        let first = keep(&path, &std::fs::read(&path).unwrap()).unwrap();
        assert_eq!(keep(&path, &std::fs::read(&path).unwrap()).unwrap(), first, "the same is not kept twice");
        // An edit that only the journal has.
        let mut opened = coding_file::open(&path).unwrap();
        let mark = Mark::event(MarkId(9), "approach".into(), Micros(5));
        let edit = Edit::new("a mark", vec![Change::Put(Box::new(mark))]);
        let inverse = opened.coding.apply(&edit).unwrap();
        let _ = opened.journal.append(chrono::DateTime::default(), StepKind::Do, &edit, &inverse).unwrap();
        drop(opened);
        let kept = restore(&path, first).unwrap();
        let now = coding_file::open(&path).unwrap();
        assert_eq!(now.coding.marks.len(), 1);
        assert!(now.records.is_empty(), "undo does not reach over the change of versions");
        drop(now);
        let _ = restore(&path, kept).unwrap();
        assert_eq!(
            coding_file::read(&path).unwrap().marks.len(),
            2,
            "what the journal had is in the version"
        );
        assert!(restore(&path, 99).is_err());
        // The same state put aside again does not write over the first one's journal.
        let journal = version_path(&path, kept, "journal");
        let before = std::fs::read(&journal).unwrap();
        assert!(!before.is_empty());
        assert_eq!(restore(&path, kept).unwrap(), restore(&path, kept).unwrap());
        assert_eq!(std::fs::read(&journal).unwrap(), before);
    }

    #[test]
    fn what_putting_a_state_back_changes_is_told() {
        let (mut now, mut then) = (with_marks(4), with_marks(5));
        let _ = now.marks.remove(0);
        let _ = then.marks.pop();
        let _ = then.marks.pop();
        then.marks[1].unsure = true;
        let told = Difference::between(&now, &then);
        assert_eq!((told.back, told.gone, told.other), (1, 1, 1));
        assert_eq!(told.words(), "1 mark comes back, 1 mark goes, 1 mark stands as it stood");
        assert_eq!(Difference::between(&now, &now).words(), "no mark differs from now");
    }

    #[test]
    fn versions_are_bounded_and_the_oldest_go() {
        let folder = tempfile::tempdir().unwrap();
        let path = coding_file::create(folder.path(), &with_marks(0)).unwrap();
        for n in 0..KEPT + 7 {
            let _ = keep(&path, n.to_string().as_bytes()).unwrap();
        }
        let numbers: Vec<u32> = list(&path).iter().map(|version| version.number).collect();
        assert_eq!(numbers, (8..=27).collect::<Vec<u32>>());
    }
}
