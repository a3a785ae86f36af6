//! Knowing a clip again (rule 32).

use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};

use super::Error;
use crate::model::{AcceptedFile, Clip, Extra, Fingerprint, PersonCode};

/// Bytes hashed at either end of the file.
const END: u64 = 1 << 20;

/// Size, and BLAKE3 of the first and last MiB (of the whole file, when it is shorter than two).
///
/// # Errors
/// When the file can't be read.
pub fn of_file(path: &Path) -> Result<Fingerprint, Error> {
    read_ends(path).map_err(|source| Error::Read { path: path.to_owned(), source })
}

fn read_ends(path: &Path) -> io::Result<Fingerprint> {
    let mut file = File::open(path)?;
    let size = file.metadata()?.len();
    let mut hasher = blake3::Hasher::new();
    let mut bytes = Vec::new();
    if size <= 2 * END {
        let _ = file.read_to_end(&mut bytes)?;
    } else {
        let _ = (&mut file).take(END).read_to_end(&mut bytes)?;
        let _ = file.seek(SeekFrom::Start(size - END))?;
        let _ = file.take(END).read_to_end(&mut bytes)?;
    }
    let _ = hasher.update(&bytes);
    Ok(Fingerprint {
        size,
        ends: hasher.finalize().to_hex().to_string(),
        frames: None,
        whole: None,
        extra: Extra::new(),
    })
}

/// Where a clip's index is kept for this person on this computer: never beside the clip.
#[must_use]
pub fn index_file(of: &Fingerprint) -> Option<PathBuf> {
    let folders = directories::ProjectDirs::from("", "", "shedlight")?;
    let ends = of.ends.get(..32)?;
    Some(folders.cache_dir().join("index").join(format!("{}-{ends}.index", of.size)))
}

/// What became of a clip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ClipState {
    /// Where it should be, and unchanged as far as is known.
    There(PathBuf),
    /// Found elsewhere by its fingerprint.
    Moved(PathBuf),
    /// Where it should be, but another file.
    Changed(PathBuf),
    /// Neither there nor in the folders nearby.
    Missing(PathBuf),
}

/// Finds a clip: by its path, then by its fingerprint in the study's clips folder, in the
/// folder it was in, and in the study itself.
#[must_use]
pub fn find(root: &Path, clip: &Clip) -> ClipState {
    let expected = root.join(&clip.path);
    let Some(known) = &clip.fingerprint else {
        return if expected.is_file() { ClipState::There(expected) } else { ClipState::Missing(expected) };
    };
    let is_same = |path: &Path| {
        // The size rules most files out without reading them.
        std::fs::metadata(path).is_ok_and(|about| about.is_file() && about.len() == known.size)
            && of_file(path).is_ok_and(|found| found.ends == known.ends)
    };
    if is_same(&expected) {
        return ClipState::There(expected);
    }
    let folders = [root.join("clips"), expected.parent().unwrap_or(root).to_owned(), root.to_owned()];
    for folder in folders {
        let Ok(entries) = std::fs::read_dir(folder) else { continue };
        let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
        paths.sort();
        if let Some(found) = paths.into_iter().find(|path| is_same(path)) {
            return ClipState::Moved(found);
        }
    }
    if expected.is_file() { ClipState::Changed(expected) } else { ClipState::Missing(expected) }
}

/// Takes a changed file for a clip from now on; who said so, when and why is recorded with what the
/// clip was known by before. How long it lasts is not known any more.
///
/// # Errors
/// When the file can't be read.
pub fn accept(clip: &mut Clip, file: &Path, by: PersonCode, reason: String) -> Result<(), Error> {
    let before = clip.fingerprint.replace(of_file(file)?);
    // That of another file: it is learned anew when the clip is opened.
    clip.length = None;
    let at = chrono::Local::now().fixed_offset();
    clip.accepted.push(AcceptedFile { by, at, reason, before, extra: Extra::new() });
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::ClipId;

    #[test]
    fn rule_32_a_clip_is_known_by_size_and_ends() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        let path = root.join("a.mp4");
        let mut bytes = vec![7_u8; 3 << 20];
        std::fs::write(&path, &bytes).unwrap();
        let clip = Clip { fingerprint: Some(of_file(&path).unwrap()), ..Clip::new(ClipId(0), "a.mp4") };
        assert_eq!(find(root, &clip), ClipState::There(path.clone()));
        // The middle is not part of it; either end and the size are.
        bytes[3 << 19] = 8;
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(find(root, &clip), ClipState::There(path.clone()));
        bytes[(3 << 20) - 1] = 8;
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(find(root, &clip), ClipState::Changed(path.clone()));
        bytes[(3 << 20) - 1] = 7;
        std::fs::create_dir(root.join("clips")).unwrap();
        let moved = root.join("clips").join("renamed.mp4");
        std::fs::write(&moved, &bytes).unwrap();
        std::fs::remove_file(&path).unwrap();
        assert_eq!(find(root, &clip), ClipState::Moved(moved.clone()));
        std::fs::remove_file(&moved).unwrap();
        assert_eq!(find(root, &clip), ClipState::Missing(path));
    }
}
