//! How much the picture changes from second to second: a way to find one's way through a film of hours.
//!
//! It is no measure of behaviour. It sees a lamp, a shadow and a moth as well as an animal, and misses what is
//! small, slow or between two pictures it looks at; so it is kept beside the index in the cache, never in a
//! study, and no number of a study comes from it.
//!
//! Two ways. The sizes of packets are known from the index at once: where nothing moves, a picture that is told
//! as a change of the one before is small. Then key pictures are decoded, one a second at most and
//! `MAX_PICTURES` in all, so that time and memory are bounded however long the film is; each is reduced to
//! a grid of `COLUMNS` × `ROWS` cells, and two that follow each other are compared cell by cell.

use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

use super::decode::{Decoder, Taking};
use super::film::Progress;
use super::index::{Access, Index};
use super::source::Source;
use super::{Error, Picture, index_file};
use crate::time::{FrameNumber, Micros, Span};

/// Stretches of time told apart, at most: a day by seconds.
const MAX_BINS: usize = 86_400;
/// Pictures looked at, at most.
const MAX_PICTURES: usize = 14_400;
/// Key pictures farther apart than this say too little of the time between them.
const SPARSE: Micros = Micros::from_whole_seconds(10);
/// Cells a picture is reduced to.
const COLUMNS: usize = 32;
/// Its rows.
const ROWS: usize = 18;
/// An animal may be small: the cells that change most speak for the picture.
const LOUDEST: usize = 8;
/// Stretches of motion with less than this between them are one.
const JOINED: Micros = Micros::from_whole_seconds(5);

/// What the change was taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum From {
    /// Bytes of the pictures that are told as changes.
    Sizes,
    /// Cells of key pictures, in levels of brightness (0–255).
    Pictures,
}

/// The change of a clip's picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// What it was taken from.
    pub from: From,
    /// How long each stretch is.
    pub bin: Micros,
    /// Change in each stretch of clip time, from its start.
    pub change: Vec<f32>,
}

impl Motion {
    /// From the sizes of packets, which the index knows; `None` where it can't tell whose they are.
    #[must_use]
    pub fn of_sizes(index: &Index) -> Option<Self> {
        let (bin, count) = bins(index)?;
        let mut change = vec![0.0_f32; count];
        let mut is_any = false;
        for (frame, size) in index.sizes().filter(|(frame, _)| !index.is_key(*frame)) {
            let own = index.time(frame).and_then(|at| change.get_mut(place(at, bin)));
            if let Some(own) = own {
                is_any = true;
                #[allow(clippy::cast_precision_loss)] // A height on a strip.
                let size = size as f32;
                *own += size;
            }
        }
        is_any.then_some(Self { from: From::Sizes, bin, change })
    }

    /// Seconds of clip time that stand out from the stillest part of the film, as stretches.
    #[must_use]
    pub fn stretches(&self) -> Vec<Span> {
        let line = self.threshold();
        let mut found: Vec<Span> = Vec::new();
        for (number, _) in self.change.iter().enumerate().filter(|(_, own)| **own > line) {
            let from = Micros(self.bin.0 * i64::try_from(number).unwrap_or(0));
            let to = from + self.bin;
            match found.last_mut() {
                Some(last) if from - last.to < JOINED => *last = Span::between(last.from, to),
                _ => found.push(Span::between(from, to)),
            }
        }
        found
    }

    /// Above it a change is more than what the camera's noise makes. Taken from the stillest fifth, so that an
    /// animal may be about for most of the film.
    fn threshold(&self) -> f32 {
        let (low, base) = (self.quantile(0.05), self.quantile(0.2));
        let floor = match self.from {
            From::Pictures => 3.0,
            From::Sizes => base * 0.5,
        };
        base + (8.0 * (base - low)).max(floor)
    }

    fn quantile(&self, share: f32) -> f32 {
        let mut sorted = self.change.clone();
        sorted.sort_by(f32::total_cmp);
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        // Bounded by the length, which is.
        let place = (share * sorted.len().saturating_sub(1) as f32).round() as usize;
        sorted.get(place).copied().unwrap_or_default()
    }

    /// Heights to draw, 0–1: the square root shows little changes beside great ones.
    #[must_use]
    pub fn heights(&self) -> Vec<f32> {
        let base = self.quantile(0.2);
        let top = self.quantile(0.999).max(self.threshold());
        let height = |own: &f32| ((own - base).max(0.0) / (top - base).max(f32::EPSILON)).min(1.0).sqrt();
        self.change.iter().map(height).collect()
    }

    fn bytes(&self) -> Vec<u8> {
        let mut to = HEAD.to_vec();
        to.push(u8::from(self.from == From::Pictures));
        to.extend(self.bin.0.to_le_bytes());
        to.extend(self.change.iter().flat_map(|own| own.to_le_bytes()));
        to
    }

    fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (kind, rest) = bytes.strip_prefix(HEAD)?.split_first()?;
        let (bin, rest) = rest.split_first_chunk::<8>()?;
        let change: Vec<f32> =
            rest.chunks_exact(4).filter_map(|four| four.try_into().ok()).map(f32::from_le_bytes).collect();
        let bin = Micros(i64::from_le_bytes(*bin));
        let is_sound = bin > Micros::ZERO
            && rest.len().is_multiple_of(4)
            && change.len() <= MAX_BINS
            && change.iter().all(|own| own.is_finite() && *own >= 0.0);
        let from = if *kind == 1 { From::Pictures } else { From::Sizes };
        is_sound.then_some(Self { from, bin, change })
    }
}

const HEAD: &[u8; 17] = b"shedlight motion1";

/// The change as it was kept before, if it was.
#[must_use]
pub fn kept(path: &Path) -> Option<Motion> {
    Motion::from_bytes(&index_file::whole(path)?)
}

/// Looks at key pictures of a clip, and keeps what they say; `None` when they lie too far apart, or the clip can
/// only be read from its start: then sizes are all there is.
///
/// # Errors
/// When the clip can't be opened again, or `progress` stopped it: nothing is kept then.
pub fn of_pictures(
    path: &Path,
    index: &Arc<Index>,
    to: Option<&Path>,
    progress: Progress<'_>,
) -> Result<Option<Motion>, Error> {
    let Some((bin, count)) = bins(index) else { return Ok(None) };
    let chosen = chosen(index, bin, count);
    let is_sparse = index.end().0 / i64::try_from(chosen.len().max(1)).unwrap_or(1) > SPARSE.0;
    if index.access() == Access::StraightOnly || chosen.len() < 3 || is_sparse {
        return Ok(None);
    }
    let source = Source::open(path)?;
    // One thread: the film that is looked at goes first, and no picture after the key need be read for it to come out.
    let codec = source.decoder_with(1)?;
    let mut decoder = Decoder::new(source, codec, Arc::clone(index));
    let mut change = vec![0.0_f32; count];
    let mut before: Option<(usize, Vec<f32>)> = None;
    for (number, frame) in chosen.iter().enumerate() {
        #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
        let share = number as f32 / chosen.len() as f32;
        if progress(share).is_break() {
            return Err(Error::Stopped);
        }
        let mut cells = None;
        let mut take = |picture: Picture| {
            if picture.frame == *frame {
                cells = Some(grid(&picture));
            }
            ControlFlow::Continue(())
        };
        let taking =
            Taking { is_useful: &mut |_| ControlFlow::Continue(false), is_jump: false, take: &mut take };
        // A damaged picture says nothing; the next one is compared with the one before it.
        let _ = decoder.decode_to(*frame, taking);
        let (Some(cells), Some(at)) = (cells, index.time(*frame)) else { continue };
        let here = place(at, bin);
        if let Some((from, old)) = &before {
            let own = difference(old, &cells);
            for slot in change.iter_mut().take(here).skip(*from) {
                *slot = slot.max(own);
            }
        }
        before = Some((here, cells));
    }
    let found = Motion { from: From::Pictures, bin, change };
    if let Some(to) = to {
        index_file::keep(to, found.bytes());
    }
    Ok(Some(found))
}

/// How long a stretch is, and how many there are.
fn bins(index: &Index) -> Option<(Micros, usize)> {
    let second = Micros::from_whole_seconds(1);
    let length = index.end().0;
    let most = i64::try_from(MAX_BINS).unwrap_or(i64::MAX);
    let seconds = (length / second.0 + 1 + most - 1) / most;
    let bin = Micros(second.0 * seconds.max(1));
    let count = usize::try_from((length + bin.0 - 1) / bin.0).ok()?;
    (count > 0).then_some((bin, count))
}

fn place(at: Micros, bin: Micros) -> usize {
    usize::try_from(at.0.max(0) / bin.0).unwrap_or(usize::MAX)
}

/// The first key of each stretch that has one; each so-manieth only, where they are too many.
fn chosen(index: &Index, bin: Micros, count: usize) -> Vec<FrameNumber> {
    let step = count.div_ceil(MAX_PICTURES);
    let mut found = Vec::new();
    let mut next = 0;
    for (frame, at) in index.keys.iter().filter_map(|key| Some((key.frame, index.time(key.frame)?))) {
        let here = place(at, bin);
        if here >= next && index.is_key(frame) {
            found.push(frame);
            next = here + step;
        }
    }
    found
}

/// The mean brightness of each cell.
fn grid(picture: &Picture) -> Vec<f32> {
    let (width, height) = (picture.width.get() as usize, picture.height.get() as usize);
    let mut cells = Vec::with_capacity(COLUMNS * ROWS);
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            let (left, right) = (column * width / COLUMNS, (column + 1) * width / COLUMNS);
            let (top, bottom) = (row * height / ROWS, (row + 1) * height / ROWS);
            let mut sum = 0_u32;
            let mut count = 0_u32;
            for y in top..bottom.max(top + 1) {
                for sample in
                    picture.luma.get(y * width + left..y * width + right.max(left + 1)).unwrap_or(&[])
                {
                    sum += u32::from(*sample);
                    count += 1;
                }
            }
            #[allow(clippy::cast_precision_loss)] // A mean of bytes.
            cells.push(sum as f32 / count.max(1) as f32);
        }
    }
    cells
}

/// How much two pictures differ where they differ most; what brightens or darkens the whole of it is taken off.
fn difference(a: &[f32], b: &[f32]) -> f32 {
    let mut all: Vec<f32> = a.iter().zip(b).map(|(a, b)| b - a).collect();
    all.sort_by(f32::total_cmp);
    let middle = all.get(all.len() / 2).copied().unwrap_or_default();
    let mut off: Vec<f32> = all.iter().map(|own| (own - middle).abs()).collect();
    off.sort_by(|a, b| b.total_cmp(a));
    off.truncate(LOUDEST);
    #[allow(clippy::cast_precision_loss)] // Eight of them.
    let count = off.len().max(1) as f32;
    off.iter().sum::<f32>() / count
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motion(from: From, change: Vec<f32>) -> Motion {
        Motion { from, bin: Micros::from_whole_seconds(1), change }
    }

    #[test]
    fn what_stands_out_of_noise_is_a_stretch_and_near_ones_are_one() {
        let noise = |number: usize| 1.0 + 0.1 * f32::from(u8::try_from(number % 7).unwrap());
        let mut change: Vec<f32> = (0..600).map(noise).collect();
        for second in [100, 101, 104, 300] {
            change[second] = 30.0;
        }
        let seconds =
            |from, to| Span::between(Micros::from_whole_seconds(from), Micros::from_whole_seconds(to));
        let found = motion(From::Pictures, change).stretches();
        assert_eq!(found, [seconds(100, 105), seconds(300, 301)]);
        assert_eq!(motion(From::Pictures, (0..600).map(noise).collect()).stretches(), []);
        assert_eq!(motion(From::Sizes, vec![0.0; 20]).stretches(), []);
    }

    #[test]
    fn a_lamp_is_taken_off_and_a_small_thing_that_moves_is_not() {
        let before = vec![50.0; COLUMNS * ROWS];
        let lighter: Vec<f32> = before.iter().map(|own| own + 40.0).collect();
        assert!(difference(&before, &lighter) < 1e-3);
        let mut moved = lighter;
        for cell in &mut moved[200..204] {
            *cell -= 30.0;
        }
        assert!(difference(&before, &moved) > 10.0);
    }

    #[test]
    fn it_is_kept_as_it_was_and_what_is_no_motion_is_not_read() {
        let own = motion(From::Pictures, vec![0.0, 1.5, 200.0]);
        assert_eq!(Motion::from_bytes(&own.bytes()), Some(own.clone()));
        assert_eq!(Motion::from_bytes(b"something else"), None);
        let mut bytes = own.bytes();
        let _ = bytes.pop();
        assert_eq!(Motion::from_bytes(&bytes), None);
        let mut bytes = own.bytes();
        let length = bytes.len();
        bytes[length - 4..].copy_from_slice(&f32::NAN.to_le_bytes());
        assert_eq!(Motion::from_bytes(&bytes), None);
    }
}
