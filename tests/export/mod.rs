//! Tests of exports, of the way back, and of the report.

mod csv;
#[cfg(feature = "media")]
mod cut;
mod odd;
mod other_tools;
#[cfg(feature = "parquet")]
mod parquet;
#[cfg(all(feature = "pdf", feature = "media"))]
mod pdf;
mod report;
mod round_trip;
#[cfg(unix)]
mod stop;
mod web_annotation;
mod webvtt;

use std::path::{Path, PathBuf};

pub use crate::common::copy;
use crate::common::{root, shedlight};

/// The demo's record.
pub fn sample() -> PathBuf {
    root().join("sample-codings")
}

/// All files of a folder, relative, sorted.
pub fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.push(path.strip_prefix(folder).unwrap().to_owned());
            }
        }
    }
    found.sort();
    found
}

/// Exports a study and gives the folder.
pub fn export(study: &Path, form: &str, out: &Path, more: &[&str]) {
    let (study, target) = (study.to_str().unwrap(), out.to_str().unwrap());
    let mut arguments = vec!["export", study, "--as", form, "--out", target];
    arguments.extend(more);
    let ran = shedlight(&arguments);
    assert_eq!(ran.code, 0, "{}", ran.err);
}
