//! What lies in a session's folder and is no part of the record.

use std::path::{Path, PathBuf};

use super::study_folder::SIDE;
use super::{coding_file, conflict};

/// Something lying about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Leftover {
    /// A write that never finished; the file it was to replace is as it was.
    Part(PathBuf),
    /// A journal without its coding.
    Orphan(PathBuf),
    /// A damaged journal that was put aside.
    Damaged(PathBuf),
    /// What another window wrote where two changed the same field.
    Side(PathBuf),
    /// A JSON file that nothing reads.
    Unread(PathBuf),
}

/// What lies about in a session's folder, by name. Copies of codings are told by [`conflict`].
#[must_use]
pub fn of_session(folder: &Path) -> Vec<Leftover> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.sort();
    paths.into_iter().filter(|path| path.is_file()).filter_map(kind_of).collect()
}

/// What two windows left in the study's own folder.
#[must_use]
pub fn of_study(root: &Path) -> Vec<Leftover> {
    of_session(root).into_iter().filter(|left| matches!(left, Leftover::Side(_))).collect()
}

fn kind_of(path: PathBuf) -> Option<Leftover> {
    let name = path.file_name()?.to_string_lossy().into_owned();
    if name.starts_with('.') {
        let is_part = path.extension().is_some_and(|ending| ending == "part");
        return is_part.then_some(Leftover::Part(path));
    }
    let is_side = |own: &str| name.strip_prefix(own).is_some_and(|rest| rest.starts_with(SIDE));
    if is_side("session.") || is_side("study.") {
        return Some(Leftover::Side(path));
    }
    if name.contains(".journal.damaged") {
        return Some(Leftover::Damaged(path));
    }
    if let Some(stem) = name.strip_suffix(".journal") {
        let coding = path.with_file_name(format!("{stem}.coding.json"));
        debug_assert_eq!(coding_file::journal_path(&coding), path);
        return (!coding.is_file()).then_some(Leftover::Orphan(path));
    }
    let is_read =
        name == "session.json" || name.ends_with(".coding.json") || conflict::original_of(&path).is_some();
    let is_json = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
    (is_json && !is_read).then_some(Leftover::Unread(path))
}
