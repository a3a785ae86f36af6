//! One reading of every packet of the video stream, without decoding: what [`super::index`] is made of.

use std::io::{Read as _, Seek as _, SeekFrom};
use std::ops::ControlFlow;
use std::path::Path;

use super::source::{Reading, Source};
use super::{Error, ffi};

/// What is known of a packet from the scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools)] // Four independent facts.
pub(super) struct Entry {
    pub(super) pts: Option<i64>,
    pub(super) dts: Option<i64>,
    pub(super) position: isize,
    pub(super) print: Print,
    pub(super) duration: i64,
    pub(super) is_key: bool,
    /// A key at which not everything before is forgotten (H.264 recovery point without IDR).
    pub(super) is_soft: bool,
    /// A soft key from which the picture mends only by and by, over the pictures up to the next key.
    pub(super) is_gradual: bool,
    pub(super) is_shown: bool,
}

/// Tells packets apart: size, and a sum over the first and last bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Print {
    pub(super) size: u32,
    pub(super) sum: u32,
}

impl Print {
    pub(super) fn of(packet: &ffmpeg_next::Packet) -> Self {
        const EACH: usize = 48;
        let data = packet.data().unwrap_or(&[]);
        let head = data.get(..EACH).unwrap_or(data);
        let tail = data.get(data.len().saturating_sub(EACH)..).unwrap_or(&[]);
        // FNV-1a: its constants are part of its definition.
        let sum = head
            .iter()
            .chain(tail)
            .fold(0x811c_9dc5_u32, |sum, byte| (sum ^ u32::from(*byte)).wrapping_mul(0x0100_0193));
        Self { size: u32::try_from(data.len()).unwrap_or(u32::MAX), sum }
    }
}

/// Lets a packet bear its number into the codec where its timestamp was; the picture bears it out.
pub(super) fn number(packet: &mut ffmpeg_next::Packet, ordinal: u32) {
    packet.set_pts(Some(i64::from(ordinal)));
    packet.set_dts(None);
}

/// The packets of a clip.
pub(super) struct Scanned {
    pub(super) entries: Vec<Entry>,
    pub(super) remarks: Vec<String>,
    /// The file may yet grow.
    pub(super) is_growing: bool,
}

/// Reads all packets. `progress` hears the share read so far and may stop the scan.
pub(super) fn scan(
    source: &mut Source,
    progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
) -> Result<Scanned, Error> {
    let path = source.probe.path.clone();
    let length = || std::fs::metadata(&path).map_or(0, |about| about.len());
    let length_before = length();
    #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
    let bytes = length_before.max(1) as f32;
    let is_h264 = source.probe.codec == "h264";
    let is_vp8 = source.probe.codec == "vp8";
    let mut entries: Vec<Entry> = Vec::new();
    let mut remarks = Vec::new();
    let mut corrupt = 0_usize;
    loop {
        match source.read() {
            Reading::Packet(packet) => {
                let data = packet.data().unwrap_or(&[]);
                // VP8 marks a picture that is only there to be referred to (RFC 6386, 9.1).
                let is_hidden = is_vp8 && data.first().is_some_and(|byte| byte & 0x10 == 0);
                corrupt += usize::from(packet.is_corrupt() && source.believes_corrupt());
                entries.push(Entry {
                    pts: packet.pts(),
                    dts: packet.dts(),
                    position: packet.position(),
                    print: Print::of(&packet),
                    duration: packet.duration(),
                    is_key: packet.is_key(),
                    is_soft: is_h264 && packet.is_key() && !has_idr(data),
                    is_gradual: is_h264 && packet.is_key() && !has_idr(data) && mends_gradually(data),
                    is_shown: !is_hidden && !ffi::is_discarded(&packet),
                });
                #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
                if entries.len().is_multiple_of(512)
                    && progress((packet.position().max(0) as f32 / bytes).min(1.0)).is_break()
                {
                    return Err(Error::Stopped);
                }
            }
            Reading::End => break,
            Reading::Broken(why) => {
                remarks
                    .push(format!("the file can't be read to its end ({why}): what could be read is shown"));
                break;
            }
        }
    }
    if corrupt > 0 {
        remarks.push(format!(
            "the file is damaged in {corrupt} places: frames that can't be decoded for certain are not shown"
        ));
    }
    if source.probe.container == "avi" {
        let said = source.input.stream(source.stream).map_or(0, |stream| stream.frames());
        let found = i64::try_from(entries.len()).unwrap_or(i64::MAX);
        if said > found {
            remarks.push(format!(
                "{} of the {said} frames the file should have are not there; AVI writes no times, so after the place where they are missing each frame is that much too early",
                said - found
            ));
        }
    }
    let grew = length() > length_before;
    let is_cut = is_cut_short(&path, &source.probe.container, length());
    if grew {
        remarks.push(
            "the file was still being written when it was opened: it is shown as far as it went; open it again for the rest"
                .to_owned(),
        );
    } else if is_cut {
        remarks.push(
            "the file ends in the middle of a part: it is still being written, or was cut off; it is shown as far as it goes"
                .to_owned(),
        );
    }
    Ok(Scanned { entries, remarks, is_growing: grew || is_cut })
}

/// The parts of an H.264 packet, each beginning with its header.
fn parts(data: &[u8]) -> Vec<&[u8]> {
    // Lengths before the parts, as MP4 and Matroska write them; four bytes each in all but odd files.
    let mut found = Vec::new();
    let mut rest = data;
    while let Some((head, after)) = rest.split_at_checked(4) {
        let length = head.iter().fold(0_usize, |sum, byte| sum << 8 | usize::from(*byte));
        let Some((part, next)) = after.split_at_checked(length).filter(|_| length > 0) else { break };
        found.push(part);
        rest = next;
    }
    if rest.is_empty() {
        return found;
    }
    // Start codes between the parts.
    let starts = data.windows(3).enumerate().filter(|(_, three)| three.starts_with(&[0, 0, 1]));
    starts.filter_map(|(at, _)| data.get(at + 3..)).collect()
}

/// Whether an H.264 packet holds a picture at which everything before is forgotten (NAL type 5).
fn has_idr(data: &[u8]) -> bool {
    parts(data).iter().any(|part| part.first().is_some_and(|header| header & 0x1F == 5))
}

/// Whether it is a recovery point that asks for some pictures more (SEI 6 with a count above 0; H.264, D.1.8):
/// a count of 0 is a single 1 bit.
fn mends_gradually(data: &[u8]) -> bool {
    parts(data).iter().filter(|part| part.first().is_some_and(|header| header & 0x1F == 6)).any(|part| {
        let mut rest = part.get(1..).unwrap_or(&[]);
        // Messages one after another: kind and length, each in bytes of 255 and a last one.
        while rest.len() > 2 {
            let mut number = || -> Option<usize> {
                let mut sum = 0;
                loop {
                    let (byte, after) = rest.split_first()?;
                    rest = after;
                    sum += usize::from(*byte);
                    if *byte != 255 {
                        return Some(sum);
                    }
                }
            };
            let (Some(kind), Some(length)) = (number(), number()) else { return false };
            if kind == 6 {
                return rest.first().is_some_and(|byte| byte & 0x80 == 0);
            }
            rest = rest.get(length..).unwrap_or(&[]);
        }
        false
    })
}

/// Whether the last part of the file is not all there.
fn is_cut_short(path: &Path, container: &str, length: u64) -> bool {
    const PACKET: u64 = 188;
    if container == "mpegts" {
        // Blu-ray's and other packets are longer; only the common kind is judged.
        let Ok(mut file) = std::fs::File::open(path) else { return false };
        let mut head = [0_u8; 189];
        let is_common =
            file.read_exact(&mut head).is_ok() && head.first() == Some(&0x47) && head.last() == Some(&0x47);
        return is_common && !length.is_multiple_of(PACKET);
    }
    if !container.contains("mp4") {
        return false;
    }
    let Ok(mut file) = std::fs::File::open(path) else { return false };
    let mut at = 0_u64;
    let mut is_in_parts = false;
    while at < length {
        let mut head = [0_u8; 16];
        let there = usize::try_from((length - at).min(16)).unwrap_or(0);
        let Some(head) = head.get_mut(..there) else { return false };
        if file.seek(SeekFrom::Start(at)).and_then(|_| file.read_exact(head)).is_err() {
            return false;
        }
        let number = |from: usize, to: usize| {
            head.get(from..to).map(|bytes| bytes.iter().fold(0_u64, |sum, byte| sum << 8 | u64::from(*byte)))
        };
        is_in_parts |= head.get(4..8) == Some(b"moof");
        let size = match number(0, 4) {
            Some(1) => number(8, 16),
            // To the end of the file, whatever that is.
            Some(0) => return false,
            size => size,
        };
        match size {
            Some(size) if size >= 8 => at = at.saturating_add(size),
            _ => return is_in_parts,
        }
    }
    // Only a film in parts is written part after part.
    is_in_parts && at > length
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_idr_is_found_both_ways() {
        assert!(has_idr(&[0, 0, 0, 2, 0x67, 9, 0, 0, 0, 3, 0x65, 1, 2]));
        assert!(!has_idr(&[0, 0, 0, 2, 0x67, 9, 0, 0, 0, 3, 0x41, 1, 2]));
        assert!(has_idr(&[0, 0, 0, 1, 0x09, 0xF0, 0, 0, 1, 0x65, 8, 8]));
        assert!(!has_idr(&[0, 0, 0, 1, 0x09, 0xF0, 0, 0, 1, 0x41, 8, 8]));
        assert!(!has_idr(&[]));
    }
}
