//! When a picture of the film appears.
//!
//! One lies exactly on every moment of every coding; between them pictures come unevenly, as from
//! a phone, or twelve and a half a second, as from a fixed camera.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{Clip, ClipId, Coding, End, Session};
use crate::time::{FrameNumber, Micros};

/// Moments at which a picture appears, in session time, within the clip, in order. `codings` are
/// those of the clip's session.
#[must_use]
pub fn of_clip(clip: &Clip, codings: &[&Coding]) -> Vec<Micros> {
    let from = clip.offset;
    let to = from + clip.length.unwrap_or_default();
    let mut moments: BTreeSet<Micros> = BTreeSet::from([from]);
    for mark in codings.iter().flat_map(|coding| &coding.marks) {
        let _ = moments.insert(mark.from);
        if let End::At(to) = mark.to {
            let _ = moments.insert(to);
        }
    }
    moments.retain(|at| from <= *at && *at < to);
    if clip.path.contains("cctv") {
        // Ten on the tenths and two and a half between.
        let first = Micros(from.0 - from.0.rem_euclid(100_000));
        for tenth in 0..=(to - first).0 / 100_000 {
            let at = first + Micros(tenth * 100_000);
            let _ = moments.insert(at);
            if tenth % 4 == 0 {
                let _ = moments.insert(at + Micros(50_000));
            }
        }
    } else {
        // Twelve and a half a second, each a little early or late.
        for step in 0..=(to - from).0 / 80_000 {
            let at = from + Micros(step * 80_000 + (step * 7 % 5 - 2) * 9_000);
            if moments.range(at - Micros(20_000)..at + Micros(20_000)).next().is_none() {
                let _ = moments.insert(at);
            }
        }
    }
    moments.into_iter().filter(|at| from <= *at && *at < to).collect()
}

/// Writes into each mark the number of the picture it sits on.
pub(super) fn number_frames(session: &Session, codings: &mut [Coding]) {
    let shown: BTreeMap<ClipId, (Micros, Vec<Micros>)> = {
        let codings: Vec<&Coding> = codings.iter().collect();
        session.clips.iter().map(|clip| (clip.id, (clip.offset, of_clip(clip, &codings)))).collect()
    };
    for mark in codings.iter_mut().flat_map(|coding| &mut coding.marks) {
        let pictures = mark.clip.and_then(|clip| shown.get(&clip));
        mark.frame = pictures
            .and_then(|(_, moments)| moments.binary_search(&mark.from).ok())
            .and_then(|n| u32::try_from(n).ok())
            .map(FrameNumber);
    }
}
