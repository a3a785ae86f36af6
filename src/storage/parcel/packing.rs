//! Packing a study.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset};
use zip::CompressionMethod;
use zip::write::SimpleFileOptions;

use super::{ENDING, Entry, Error, FORMAT, LIST, List, PIECE, Progress, Share, VERSION};
use crate::storage::StudyFolder;
use crate::storage::fingerprint::{self, ClipState};

/// What is to be packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contents {
    /// With the clips.
    pub film: bool,
    /// Code of the person who packs.
    pub by: Option<String>,
    /// When.
    pub now: DateTime<FixedOffset>,
}

/// What was packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    /// Files of the study.
    pub files: usize,
    /// Clips among them.
    pub clips: usize,
    /// Bytes of the parcel.
    pub size: u64,
    /// What a person should know, in words.
    pub remarks: Vec<String>,
}

/// A file to be packed, and the name it gets.
struct Source {
    inside: String,
    path: PathBuf,
    is_film: bool,
}

/// Packs a study into one file, which appears whole or not at all.
///
/// # Errors
/// When something is there already, something can't be read or written, or it was stopped.
pub fn pack(
    folder: &StudyFolder,
    contents: &Contents,
    target: &Path,
    progress: Progress<'_>,
) -> Result<Packed, Error> {
    if target.exists() {
        return Err(Error::Exists { path: target.to_owned() });
    }
    let mut remarks = Vec::new();
    let (sources, film_missing) = sources(folder, contents.film, &mut remarks)?;
    let name = target.file_name().unwrap_or_default().to_string_lossy();
    let part = Part(target.with_file_name(format!(".{name}.{}.part", std::process::id())));
    let size_of = |source: &Source| std::fs::metadata(&source.path).map_or(0, |about| about.len());
    let mut share = Share::of(sources.iter().map(size_of).sum());
    let fail = |source: io::Error| Error::write(target, source);
    let file = File::create(&part.0).map_err(fail)?;
    let mut zip = zip::ZipWriter::new(file);
    let mut list = List {
        format: FORMAT.to_owned(),
        version: VERSION,
        title: folder.study.title.clone(),
        packed: contents.now,
        by: contents.by.clone(),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        film: contents.film,
        film_missing,
        files: Vec::new(),
    };
    for source in &sources {
        // Film is compressed already.
        let method = if source.is_film { CompressionMethod::Stored } else { CompressionMethod::Deflated };
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .large_file(size_of(source) > u64::from(u32::MAX) / 2);
        zip.start_file(source.inside.as_str(), options).map_err(|error| fail(error.into()))?;
        list.files.push(pour(source, &mut zip, target, &mut |bytes| share.more(bytes, progress))?);
    }
    let text = serde_json::to_string_pretty(&list).map_err(|error| fail(error.into()))?;
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    zip.start_file(LIST, options).map_err(|error| fail(error.into()))?;
    zip.write_all(text.as_bytes()).map_err(fail)?;
    let file = zip.finish().map_err(|error| fail(error.into()))?;
    file.sync_all().map_err(fail)?;
    let size = file.metadata().map_err(fail)?.len();
    drop(file);
    // Somebody may have put one there meanwhile.
    if target.exists() {
        return Err(Error::Exists { path: target.to_owned() });
    }
    std::fs::rename(&part.0, target).map_err(fail)?;
    remarks.extend(list.film_missing.iter().map(|path| {
        format!("a clip is not where it was, or was changed since; it is not in the parcel: {path}")
    }));
    let clips = list.files.iter().filter(|entry| entry.is_film()).count();
    Ok(Packed { files: list.files.len(), clips, size, remarks })
}

/// Half a parcel goes when the work ends, however it ends.
struct Part(PathBuf);

impl Drop for Part {
    fn drop(&mut self) {
        // Gone already when it was moved to its place.
        let _ = std::fs::remove_file(&self.0);
    }
}

/// Pours a file into the parcel; its entry.
fn pour(
    source: &Source,
    zip: &mut zip::ZipWriter<File>,
    target: &Path,
    told: &mut dyn FnMut(u64) -> Result<(), Error>,
) -> Result<Entry, Error> {
    let unreadable = |error| Error::read(&source.path, error);
    let mut file = File::open(&source.path).map_err(unreadable)?;
    let mut hasher = blake3::Hasher::new();
    let mut piece = vec![0_u8; PIECE];
    let mut size = 0_u64;
    loop {
        let read = file.read(&mut piece).map_err(unreadable)?;
        let bytes = piece.get(..read).unwrap_or_default();
        if bytes.is_empty() {
            break;
        }
        let _ = hasher.update(bytes);
        zip.write_all(bytes).map_err(|error| Error::write(target, error))?;
        size += bytes.len() as u64;
        told(bytes.len() as u64)?;
    }
    let ends = if source.is_film { Some(fingerprint::of_file(&source.path)?.ends) } else { None };
    Ok(Entry { path: source.inside.clone(), size, blake3: hasher.finalize().to_hex().to_string(), ends })
}

/// The files of a study in the order of their names, and clips that are not there.
fn sources(
    folder: &StudyFolder,
    with_film: bool,
    remarks: &mut Vec<String>,
) -> Result<(Vec<Source>, Vec<String>), Error> {
    let root = folder.root();
    let mut found = BTreeMap::new();
    walk(root, "", &mut found, remarks)?;
    let (mut film, mut missing): (BTreeMap<String, PathBuf>, Vec<String>) = Default::default();
    let inside_root = root.canonicalize().map_err(|source| Error::read(root, source))?;
    for entry in folder.list().sessions {
        for clip in &entry.session.clips {
            let path = match fingerprint::find(root, clip) {
                ClipState::There(path) | ClipState::Moved(path) => path,
                ClipState::Changed(_) | ClipState::Missing(_) => {
                    missing.push(clip.path.clone());
                    continue;
                }
            };
            let real = path.canonicalize().map_err(|source| Error::read(&path, source))?;
            let own = real.strip_prefix(&inside_root).ok().and_then(slashed);
            let is_known = film.values().any(|other| *other == real);
            let name = match own {
                Some(own) if super::is_inside(&own) => own,
                _ if is_known => continue,
                // Found in the other place by what it is: its path there is another.
                _ if clip.fingerprint.is_some() => {
                    let name = path.file_name().unwrap_or_default().to_string_lossy();
                    free_name(&name, |name| film.contains_key(name) || found.contains_key(name))
                }
                _ => {
                    missing.push(clip.path.clone());
                    continue;
                }
            };
            let _ = film.insert(name, real);
        }
    }
    // What lies among the clips is film, also when no session names it.
    found.retain(|name, _| !name.starts_with("clips/") && !film.contains_key(name));
    if with_film {
        for (inside, path) in film {
            let _ = found.insert(inside, (path, true));
        }
    } else {
        missing.clear();
    }
    let sources = found.into_iter().map(|(inside, (path, is_film))| Source { inside, path, is_film });
    Ok((sources.collect(), missing))
}

/// A name in `clips` that is not taken.
fn free_name(name: &str, is_taken: impl Fn(&str) -> bool) -> String {
    let (stem, ending) = name.rsplit_once('.').map_or((name, ""), |(stem, ending)| (stem, ending));
    let dot = if ending.is_empty() { "" } else { "." };
    let mut free = format!("clips/{name}");
    let mut number = 2_u32;
    while is_taken(&free) {
        free = format!("clips/{stem}-{number}{dot}{ending}");
        number += 1;
    }
    free
}

/// A path with `/`, if it can be written as text.
fn slashed(path: &Path) -> Option<String> {
    let parts: Option<Vec<&str>> = path.iter().map(|part| part.to_str()).collect();
    parts.map(|parts| parts.join("/"))
}

/// All files of a study that belong to it: hidden ones are of the moment, and links lead elsewhere.
fn walk(
    folder: &Path,
    inside: &str,
    found: &mut BTreeMap<String, (PathBuf, bool)>,
    remarks: &mut Vec<String>,
) -> Result<(), Error> {
    let unreadable = |source| Error::read(folder, source);
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let path = entry.path();
        let Some(name) = entry.file_name().to_str().map(str::to_owned) else {
            remarks.push(format!("its name is no text; it is not in the parcel: {}", path.display()));
            continue;
        };
        if name.starts_with('.')
            || name.ends_with(ENDING)
            || (inside.is_empty() && name == super::take::REPLACED)
        {
            continue;
        }
        let own = if inside.is_empty() { name } else { format!("{inside}/{name}") };
        let kind = entry.file_type().map_err(unreadable)?;
        if kind.is_dir() {
            walk(&path, &own, found, remarks)?;
        } else if kind.is_file() && super::is_inside(&own) {
            let _ = found.insert(own, (path, false));
        } else if !own.starts_with("clips/") {
            remarks.push(format!(
                "it is a link, or named as no file may be elsewhere; it is not in the parcel: {own}"
            ));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn film_from_elsewhere_gets_a_name_of_its_own() {
        assert_eq!(free_name("a.mp4", |_| false), "clips/a.mp4");
        let taken = ["clips/a.mp4", "clips/a-2.mp4", "clips/film"];
        assert_eq!(free_name("a.mp4", |name| taken.contains(&name)), "clips/a-3.mp4");
        assert_eq!(free_name("film", |name| taken.contains(&name)), "clips/film-2");
    }
}
