//! Packing a study.

use std::collections::{BTreeMap, BTreeSet};
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
    // What the other computer would refuse is told here, where the study is.
    drop(super::open(&part.0)?);
    // Somebody may have put one there meanwhile.
    if target.exists() {
        return Err(Error::Exists { path: target.to_owned() });
    }
    crate::files::rename(&part.0, target).map_err(fail)?;
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

/// What lies in a study's folder.
#[derive(Default)]
struct Found {
    /// Files by their paths.
    files: BTreeMap<String, PathBuf>,
    /// What lies among the clips, whatever it is called, and whether it is a link.
    clips: BTreeMap<String, (PathBuf, bool)>,
}

/// Film to be packed, by the names it gets.
#[derive(Default)]
struct Films {
    by_name: BTreeMap<String, PathBuf>,
    /// The same, by where it lies.
    packed: BTreeSet<PathBuf>,
    /// Names in lower case: where capitals make no difference two of them would be one file.
    taken: BTreeSet<String>,
    /// Names that are not given to other film.
    reserved: BTreeSet<String>,
}

impl Films {
    /// Adds a film under its own name, if it has one inside the study that can be everywhere and is free.
    fn add(&mut self, own: Option<String>, path: &Path, real: PathBuf) {
        if self.packed.contains(&real) {
            return;
        }
        let own = own.filter(|own| super::is_inside(own) && !self.taken.contains(&own.to_lowercase()));
        let name = own.unwrap_or_else(|| {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            free_name(&safe_name(&name), |name| {
                let name = name.to_lowercase();
                self.taken.contains(&name) || self.reserved.contains(&name)
            })
        });
        let _ = self.taken.insert(name.to_lowercase());
        let _ = self.packed.insert(real.clone());
        let _ = self.by_name.insert(name, real);
    }
}

/// The files of a study in the order of their names, and clips that are not there.
fn sources(
    folder: &StudyFolder,
    with_film: bool,
    remarks: &mut Vec<String>,
) -> Result<(Vec<Source>, Vec<String>), Error> {
    let root = folder.root();
    let mut found = Found::default();
    walk(root, "", &mut found, remarks)?;
    let mut films = Films {
        reserved: found
            .clips
            .iter()
            .filter(|(_, (_, is_link))| !is_link)
            .map(|(name, _)| name.to_lowercase())
            .collect(),
        ..Films::default()
    };
    let mut missing: Vec<String> = Vec::new();
    // Film that a session names and that is not handed on: it is another one, or counts as deleted.
    let mut withheld = BTreeSet::new();
    let inside_root = root.canonicalize().map_err(|source| Error::read(root, source))?;
    let listing = folder.list();
    for clip in listing.sessions.iter().flat_map(|entry| &entry.session.clips) {
        let state = fingerprint::find(root, clip);
        let path = match state {
            ClipState::There(path) | ClipState::Moved(path) if clip.deleted.is_none() => path,
            ClipState::There(path) | ClipState::Moved(path) | ClipState::Changed(path) => {
                withheld.extend(path.canonicalize());
                if clip.deleted.is_none() {
                    missing.push(clip.path.clone());
                }
                continue;
            }
            ClipState::Missing(_) => {
                if clip.deleted.is_none() {
                    missing.push(clip.path.clone());
                }
                continue;
            }
        };
        let real = path.canonicalize().map_err(|source| Error::read(&path, source))?;
        let own = real.strip_prefix(&inside_root).ok().and_then(slashed);
        // Found in the other place by what it is: its path there is another.
        if clip.fingerprint.is_some() || own.as_deref().is_some_and(super::is_inside) {
            films.add(own, &path, real);
        } else {
            missing.push(clip.path.clone());
        }
    }
    found.files.retain(|name, _| !films.by_name.contains_key(name));
    // What lies among the clips is film, also when no session names it.
    let clips = listing.sessions.iter().flat_map(|entry| &entry.session.clips);
    let known: Vec<_> = clips.filter_map(|clip| clip.fingerprint.as_ref()).collect();
    let is_named = |path: &Path| {
        let size = std::fs::metadata(path).map_or(0, |about| about.len());
        let mut like_it = known.iter().filter(|own| own.size == size).peekable();
        like_it.peek().is_some()
            && fingerprint::of_file(path).is_ok_and(|found| like_it.any(|own| own.ends == found.ends))
    };
    let mut unnamed = Vec::new();
    for (name, (path, is_link)) in found.clips {
        let real = path.canonicalize().unwrap_or_else(|_| path.clone());
        // Also when it is only another copy of one of them.
        if films.packed.contains(&real) || withheld.contains(&real) || is_named(&real) {
            continue;
        }
        if is_link {
            remarks.push(odd(&name));
        } else if with_film {
            films.add(Some(name), &path, real);
        } else {
            unnamed.push(name);
        }
    }
    if !unnamed.is_empty() {
        remarks.push(format!(
            "no session names what lies there, and it is not in the parcel, being packed without film: {}",
            unnamed.join(", ")
        ));
    }
    let mut sources: Vec<Source> =
        found.files.into_iter().map(|(inside, path)| Source { inside, path, is_film: false }).collect();
    if with_film {
        remarks.extend(listing.unreadable.iter().map(|session| {
            let name = session.file_name().unwrap_or_default().to_string_lossy();
            format!("its sheet can't be read, and which film it shows is not known; film outside the study is not in the parcel for it: session {name}")
        }));
        let films = films.by_name.into_iter();
        sources.extend(films.map(|(inside, path)| Source { inside, path, is_film: true }));
    } else {
        missing.clear();
    }
    sources.sort_by(|a, b| a.inside.cmp(&b.inside));
    let mut seen = BTreeSet::new();
    sources.retain(|source| {
        let is_new = seen.insert(source.inside.to_lowercase());
        if !is_new {
            remarks.push(format!(
                "its name differs from another one by capitals alone, which is one file elsewhere; it is not in the parcel: {}",
                source.inside
            ));
        }
        is_new
    });
    Ok((sources, missing))
}

/// A file's name as it can be on any system.
fn safe_name(name: &str) -> String {
    let is_bad = |c: char| c.is_control() || "/\\:*?\"<>|".contains(c);
    let name: String = name.chars().map(|c| if is_bad(c) { '-' } else { c }).collect();
    let name = name.trim_start_matches('.').trim_end_matches(['.', ' ']);
    // Empty, or the name of a device.
    if super::is_inside(name) { name.to_owned() } else { format!("film-{name}") }
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

/// Why something is left out, in words.
fn odd(inside: &str) -> String {
    format!("it is a link, or named as no file may be elsewhere; it is not in the parcel: {inside}")
}

/// A path with `/`, if it can be written as text.
fn slashed(path: &Path) -> Option<String> {
    let parts: Option<Vec<&str>> = path.iter().map(|part| part.to_str()).collect();
    parts.map(|parts| parts.join("/"))
}

/// All files of a study that belong to it: hidden ones are of the moment, and links lead elsewhere.
fn walk(folder: &Path, inside: &str, found: &mut Found, remarks: &mut Vec<String>) -> Result<(), Error> {
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
        } else if own.starts_with("clips/") {
            let _ = found.clips.insert(own, (path, !kind.is_file()));
        } else if kind.is_file() && super::is_inside(&own) {
            let _ = found.files.insert(own, path);
        } else {
            remarks.push(odd(&own));
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

    #[test]
    fn film_gets_a_name_that_can_be_everywhere() {
        for (name, safe) in [
            ("a.mp4", "a.mp4"),
            ("2025-03-03 10:15:00.mp4", "2025-03-03 10-15-00.mp4"),
            ("come.mp4", "come.mp4"),
            ("com1.mp4", "film-com1.mp4"),
            ("..", "film-"),
            (".mp4 ", "mp4"),
        ] {
            assert_eq!(safe_name(name), safe);
            assert!(super::super::is_inside(&format!("clips/{safe}")));
        }
    }
}
