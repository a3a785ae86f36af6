//! A clip's index, kept on disk so that opening the clip again reads no packets and checks nothing
//! twice.
//!
//! The file is a private matter of one version of the program and of the film library: anything
//! that does not fit, down to a wrong checksum, only means that the clip is read anew. It says
//! nothing a scan would not say, and it never lies beside the clip.

use std::path::Path;

use super::index::Access;
use super::scan::{Entry, Print};
use crate::files;

const HEAD: &[u8; 16] = b"shedlight index5";
/// Bytes of a checksum.
const SUM: usize = 32;
/// What all kept indexes may take together.
const KEPT_BYTES: u64 = 256 << 20;

/// What a scan, and the checks after it, came to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Kept {
    pub(super) entries: Vec<Entry>,
    /// The packet of each frame as a full decode gave them, where the scan was not right.
    pub(super) decoded: Option<Vec<Option<u32>>>,
    pub(super) access: Access,
    /// Frames; fewer than the scan says when the file is cut off.
    pub(super) count: usize,
    pub(super) remarks: Vec<String>,
}

/// Reads a kept index; `None` when there is none, or it is not to be trusted.
pub(super) fn read(path: &Path) -> Option<Kept> {
    parse(&whole(path)?)
}

/// As [`read`], of what stands before the checksum.
pub(super) fn parse(body: &[u8]) -> Option<Kept> {
    let mut from = Bytes(body);
    if from.take(HEAD.len())? != HEAD || from.number()? != i64::from(library()) {
        return None;
    }
    let access = match from.number()? {
        0 => Access::Seeking,
        1 => Access::SeekingDecodedIndex,
        2 => Access::StraightOnly,
        _ => return None,
    };
    let count = from.length()?;
    let mut entries = Vec::new();
    for _ in 0..from.length()? {
        entries.push(Entry {
            pts: from.perhaps()?,
            dts: from.perhaps()?,
            position: isize::try_from(from.number()?).ok()?,
            print: Print {
                size: u32::try_from(from.number()?).ok()?,
                sum: u32::try_from(from.number()?).ok()?,
            },
            duration: from.number()?,
            is_key: from.number()? == 1,
            is_soft: from.number()? == 1,
            is_gradual: from.number()? == 1,
            is_shown: from.number()? == 1,
        });
    }
    let mut decoded = None;
    if from.number()? == 1 {
        let mut all = Vec::new();
        for _ in 0..from.length()? {
            all.push(from.perhaps()?.and_then(|packet| u32::try_from(packet).ok()));
        }
        decoded = Some(all);
    }
    let mut remarks = Vec::new();
    for _ in 0..from.length()? {
        let length = from.length()?;
        remarks.push(String::from_utf8(from.take(length)?.to_vec()).ok()?);
    }
    from.0.is_empty().then_some(Kept { entries, decoded, access, count, remarks })
}

/// Keeps an index. That it can't be kept costs time at the next opening, nothing else.
pub(super) fn write(path: &Path, kept: &Kept) {
    let mut to = HEAD.to_vec();
    put(&mut to, i64::from(library()));
    put(
        &mut to,
        match kept.access {
            Access::Seeking => 0,
            Access::SeekingDecodedIndex => 1,
            Access::StraightOnly => 2,
        },
    );
    put_length(&mut to, kept.count);
    put_length(&mut to, kept.entries.len());
    for entry in &kept.entries {
        put_perhaps(&mut to, entry.pts);
        put_perhaps(&mut to, entry.dts);
        put(&mut to, i64::try_from(entry.position).unwrap_or(-1));
        put(&mut to, i64::from(entry.print.size));
        put(&mut to, i64::from(entry.print.sum));
        put(&mut to, entry.duration);
        put(&mut to, i64::from(entry.is_key));
        put(&mut to, i64::from(entry.is_soft));
        put(&mut to, i64::from(entry.is_gradual));
        put(&mut to, i64::from(entry.is_shown));
    }
    put(&mut to, i64::from(kept.decoded.is_some()));
    if let Some(decoded) = &kept.decoded {
        put_length(&mut to, decoded.len());
        for packet in decoded {
            put_perhaps(&mut to, packet.map(i64::from));
        }
    }
    put_length(&mut to, kept.remarks.len());
    for remark in &kept.remarks {
        put_length(&mut to, remark.len());
        to.extend(remark.as_bytes());
    }
    keep(path, to);
}

/// What a kept file says before its checksum; `None` when it is not as it was written.
pub(super) fn whole(path: &Path) -> Option<Vec<u8>> {
    let mut bytes = std::fs::read(path).ok()?;
    let length = bytes.len().checked_sub(SUM)?;
    let sum = bytes.split_off(length);
    (blake3::hash(&bytes).as_bytes() == sum.as_slice()).then_some(bytes)
}

/// Writes a file with its checksum; the oldest of its folder go when they are too many.
pub(super) fn keep(path: &Path, mut bytes: Vec<u8>) {
    let sum = blake3::hash(&bytes);
    bytes.extend(sum.as_bytes());
    let Some(folder) = path.parent() else { return };
    if std::fs::create_dir_all(folder).is_ok() && files::write_atomically(path, &bytes).is_ok() {
        prune(folder);
    }
}

/// The oldest go until the rest is small enough.
fn prune(folder: &Path) {
    let Ok(found) = std::fs::read_dir(folder) else { return };
    let mut all: Vec<_> = found
        .flatten()
        .filter_map(|entry| {
            let about = entry.metadata().ok()?;
            Some((about.modified().ok()?, about.len(), entry.path()))
        })
        .collect();
    all.sort();
    let mut bytes: u64 = all.iter().map(|(_, size, _)| size).sum();
    for (_, size, path) in all {
        if bytes <= KEPT_BYTES {
            return;
        }
        bytes -= size;
        // Another window may have been quicker.
        let _ = std::fs::remove_file(path);
    }
}

fn library() -> u32 {
    ffmpeg_next::format::version()
}

/// Numbers are written seven bits a byte, the sign in the lowest bit: most are small.
fn put(to: &mut Vec<u8>, number: i64) {
    let mut rest = (number << 1 ^ number >> 63).cast_unsigned();
    loop {
        let low = (rest & 0x7F).to_le_bytes()[0];
        rest >>= 7;
        if rest == 0 {
            to.push(low);
            return;
        }
        to.push(low | 0x80);
    }
}

fn put_length(to: &mut Vec<u8>, length: usize) {
    put(to, i64::try_from(length).unwrap_or(i64::MAX));
}

fn put_perhaps(to: &mut Vec<u8>, number: Option<i64>) {
    put(to, i64::from(number.is_some()));
    if let Some(number) = number {
        put(to, number);
    }
}

/// What is left to read.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (head, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(head)
    }

    fn number(&mut self) -> Option<i64> {
        let mut value = 0_u64;
        for shift in (0..64).step_by(7) {
            let [byte] = self.take(1)? else { return None };
            value |= u64::from(byte & 0x7F).checked_shl(shift)?;
            if byte & 0x80 == 0 {
                return Some((value >> 1).cast_signed() ^ -(value & 1).cast_signed());
            }
        }
        None
    }

    fn length(&mut self) -> Option<usize> {
        usize::try_from(self.number()?).ok()
    }

    /// A number that may be missing; the outer `None` says that the bytes are not what they should be.
    #[allow(clippy::option_option)]
    fn perhaps(&mut self) -> Option<Option<i64>> {
        match self.number()? {
            0 => Some(None),
            _ => self.number().map(Some),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_kept_is_read_and_what_was_damaged_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("some/clip.index");
        let entry = |pts: Option<i64>, n: usize| Entry {
            pts,
            dts: Some(i64::MIN + 3),
            position: -1,
            print: Print { size: u32::try_from(n).unwrap() * 1_000_003, sum: u32::MAX },
            duration: 512,
            is_key: n == 0,
            is_soft: n == 2,
            is_gradual: n == 0,
            is_shown: n != 1,
        };
        let kept = Kept {
            entries: vec![entry(Some(-7), 0), entry(None, 1), entry(Some(i64::MAX), 2)],
            decoded: Some(vec![Some(5), None]),
            access: Access::SeekingDecodedIndex,
            count: 2,
            remarks: vec!["cut off – there".to_owned()],
        };
        write(&path, &kept);
        assert_eq!(read(&path), Some(kept));
        let bytes = std::fs::read(&path).unwrap();
        for place in 0..bytes.len() {
            let mut damaged = bytes.clone();
            damaged[place] ^= 0x10;
            std::fs::write(&path, &damaged).unwrap();
            assert_eq!(read(&path), None, "byte {place}");
            std::fs::write(&path, &bytes[..place]).unwrap();
            assert_eq!(read(&path), None, "cut at {place}");
        }
    }
}
