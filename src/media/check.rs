//! A clip's index, checked: what a scan says is held against what the decoder gives.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use super::Error;
use super::decode::{Decoder, Taking};
use super::film::Progress;
use super::index::{Access, Identity, Index};
use super::index_file::{self, Kept};
use super::scan::{self, Entry};
use super::source::Source;
use super::straight::Straight;
use crate::time::FrameNumber;

/// Frames decoded for the check at opening, at most.
const SAMPLE: usize = 48;

/// The clip's index: as it was kept, or by scanning and checking.
pub(super) fn indexed(
    mut source: Source,
    kept_at: Option<&Path>,
    progress: Progress<'_>,
) -> Result<(Source, Index), Error> {
    if let Some(kept) = kept_at.and_then(index_file::read)
        && let Ok(index) = Index::from_kept(&kept, &source)
    {
        return Ok((source, index));
    }
    let scanned = scan::scan(&mut source, progress)?;
    let (entries, is_growing) = (scanned.entries, scanned.is_growing);
    let mut index = Index::from_entries(&entries, &source, scanned.remarks)?;
    if is_growing {
        index.leave_ragged_end();
    }
    source.rewind()?;
    let (source, index, decoded) = checked(source, index, &entries, progress)?;
    // What is still being written is read anew the next time.
    if let Some(path) = kept_at.filter(|_| !is_growing) {
        let kept = Kept {
            entries,
            decoded,
            access: index.access(),
            count: index.len(),
            remarks: index.own_remarks(),
        };
        index_file::write(path, &kept);
    }
    Ok((source, index))
}

/// An index, and what a full decode gave if there was need of one.
type Checked = (Source, Index, Option<Vec<Option<u32>>>);

/// Holds the scan against a straight decode of a sample; where they differ, the index is rebuilt
/// by decoding, and as a last way out the clip is read straight.
fn checked(
    source: Source,
    index: Index,
    entries: &[Entry],
    progress: Progress<'_>,
) -> Result<Checked, Error> {
    let is_doubtful = index.access != Access::Seeking;
    let (source, index, is_right) = if is_doubtful { (source, index, false) } else { agrees(source, index)? };
    if is_right {
        return Ok((source, index, None));
    }
    let remarks = index.own_remarks();
    let (source, decoded) = decode_all(source, entries.len(), progress)?;
    let rebuilt = Index::rebuilt(entries, &decoded, &source, Access::SeekingDecodedIndex, remarks.clone())?;
    if rebuilt.access == Access::StraightOnly {
        return Ok((source, rebuilt, Some(decoded)));
    }
    let (source, rebuilt, is_right) = agrees(source, rebuilt)?;
    if is_right {
        return Ok((source, rebuilt, Some(decoded)));
    }
    let straight = Index::rebuilt(entries, &decoded, &source, Access::StraightOnly, remarks)?;
    Ok((source, straight, Some(decoded)))
}

/// Frames that are fetched by seeking and compared: of a sample that ends with `last`.
fn probes(last: usize) -> Vec<usize> {
    let mut probes = vec![0, 1, last / 4, last / 2, last / 2 + 1, last * 3 / 4, last];
    probes.retain(|place| *place <= last);
    probes.sort_unstable();
    probes.dedup();
    probes
}

/// Whether a straight decode of the beginning gives the frames the index has, and seeking gives
/// the pictures of the straight decode.
///
/// Only what is compared is converted and hashed. Each key of the sample is entered once, by seeking:
/// entering it again for every frame behind it would repeat the same run.
fn agrees(source: Source, mut index: Index) -> Result<(Source, Index, bool), Error> {
    let wanted = probes(index.len().min(SAMPLE) - 1);
    let mut straight = Straight::over(source)?;
    let mut seen = Vec::new();
    let mut hashes = BTreeMap::new();
    while seen.len() < SAMPLE {
        let Some(come) = straight.advance() else { break };
        // By what the index says of it, so that a lost picture moves no other.
        let frame = match index.identity {
            Identity::Packet => come.packet.and_then(|packet| index.frame_of_packet(packet)),
            Identity::CountFromKey | Identity::CountFromStart => Some(come.number),
        };
        if let Some(frame) = frame.filter(|frame| {
            wanted.contains(&(frame.0 as usize)) && !come.is_damaged && !index.is_after_loss(*frame)
        }) && let Some(picture) = straight.converted(come.number)
        {
            let _ = hashes.insert(frame, picture.hash());
        }
        seen.push((frame, come.is_damaged));
    }
    let has_ended = seen.len() < SAMPLE;
    let mut source = straight.into_source();
    source.rewind()?;
    if seen.is_empty() {
        return Err(Error::NoPicture { path: source.probe.path.clone() });
    }
    let is_damaged = seen.iter().any(|(_, is_damaged)| *is_damaged);
    let is_in_order = (0_u32..).map(FrameNumber).zip(&seen).all(|(n, (frame, _))| *frame == Some(n));
    if has_ended && seen.len() < index.len() && is_in_order && !is_damaged {
        // A short clip whose last frames are missing: what comes out is what there is.
        let lost = index.len() - seen.len();
        index.truncate(seen.len());
        index.add_remark(format!("the last {lost} frames can't be decoded: the file is cut off there"));
    }
    // Damage leaves pictures out; the others must still come in their order.
    let is_rising = seen.windows(2).all(|pair| match pair {
        [(Some(a), _), (Some(b), _)] => a < b,
        _ => false,
    });
    let fits = if is_damaged { is_rising } else { is_in_order && (!has_ended || seen.len() == index.len()) };
    if !fits {
        return Ok((source, index, false));
    }
    let index = Arc::new(index);
    let mut decoder = Decoder::try_new(source, Arc::clone(&index))?;
    let mut is_right = true;
    let mut entered = None;
    for (frame, hash) in &hashes {
        let key = index.key_for(*frame);
        if entered != Some(key) {
            decoder.forget();
            entered = Some(key);
        }
        let mut found = None;
        let result = decoder.decode_to(
            *frame,
            Taking {
                is_useful: &mut |_| ControlFlow::Continue(false),
                is_jump: false,
                take: &mut |picture| {
                    if picture.frame == *frame {
                        found = Some(picture.hash());
                    }
                    ControlFlow::Continue(())
                },
            },
        );
        if result.is_err() || found != Some(*hash) {
            is_right = false;
            break;
        }
    }
    let mut source = decoder.into_source();
    source.rewind()?;
    let index = Arc::into_inner(index).ok_or_else(|| Error::NoPicture { path: source.probe.path.clone() })?;
    Ok((source, index, is_right))
}

/// The packets of all frames in the order they are shown, by decoding the whole clip.
fn decode_all(
    mut source: Source,
    expected: usize,
    progress: Progress<'_>,
) -> Result<(Source, Vec<Option<u32>>), Error> {
    source.rewind()?;
    let mut straight = Straight::over(source)?;
    let mut decoded = Vec::with_capacity(expected);
    while let Some(next) = straight.advance() {
        decoded.push(next.packet);
        #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
        if decoded.len() % 64 == 0
            && progress((decoded.len() as f32 / expected.max(1) as f32).min(1.0)).is_break()
        {
            return Err(Error::Stopped);
        }
    }
    let mut source = straight.into_source();
    source.rewind()?;
    Ok((source, decoded))
}
