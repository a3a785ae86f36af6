//! The sound of a clip, on the clip's own clock.
//!
//! Zero is the first shown picture; where a sample lies comes from the sound stream's own
//! timestamps, never from counting on past a gap. Sound before the first picture has negative times.
//! A clip without sound, or whose sound can't be decoded here, has none.

use std::path::Path;

use ffmpeg::format::sample::{Sample, Type};
use ffmpeg::software::resampling;
use ffmpeg::{ChannelLayout, media};
use ffmpeg_next as ffmpeg;

use super::film::Progress;
use super::index::Index;
use super::source::Source;
use super::{Error, ffi, index_file};
use crate::time::{Micros, TimeBase};

/// Lowest and highest sample of each stretch of sound, for drawing; both channels together.
#[derive(Debug, Clone, PartialEq)]
pub struct Peaks {
    /// Stretches a second; stretch `n` begins at clip time `n / per_second` s.
    pub per_second: u32,
    /// Lowest sample, −1 … 1; 0 where there is no sound.
    pub min: Vec<f32>,
    /// Highest sample.
    pub max: Vec<f32>,
}

/// Sound in order, from one moment on: interleaved stereo at a wanted rate.
pub struct SoundReader {
    track: Track,
    rate: u32,
    /// Clip time of the next sample handed out, in samples.
    next: i64,
    /// Made, not handed out yet; its first sample is `next`.
    ready: Vec<f32>,
    is_finished: bool,
}

/// Samples of one piece of sound.
struct Piece {
    /// Clip time of its first sample, in samples of the wanted rate.
    at: i64,
    /// Left and right in turn.
    samples: Vec<f32>,
}

/// Opens the sound of a clip at a clip time; `None` when it has none.
///
/// # Errors
/// When the file can't be opened any more.
pub fn read_from(path: &Path, index: &Index, rate: u32, from: Micros) -> Result<Option<SoundReader>, Error> {
    let rate = rate.clamp(8_000, 192_000);
    let Some(mut track) = Track::open(path, index, rate)? else { return Ok(None) };
    if from > Micros::ZERO {
        track.seek(from);
    }
    Ok(Some(SoundReader { track, rate, next: samples_at(from, rate), ready: Vec::new(), is_finished: false }))
}

/// Lowest and highest samples of a clip's sound, from its first picture to its end, in one pass;
/// `None` when it has no sound. `progress` hears the share read and may stop it.
///
/// # Errors
/// When the file can't be opened any more, or the work was stopped.
pub fn peaks(
    path: &Path,
    index: &Index,
    per_second: u32,
    progress: Progress<'_>,
) -> Result<Option<Peaks>, Error> {
    const RATE: u32 = 48_000;
    // A stretch is at least one sample long.
    let per_second = per_second.clamp(1, 8_000);
    let Some(mut track) = Track::open(path, index, RATE)? else { return Ok(None) };
    let stretches = index.end().0.max(0).saturating_mul(i64::from(per_second)).div_ceil_by(1_000_000);
    let count = usize::try_from(stretches).unwrap_or(0);
    let mut peaks = Peaks { per_second, min: vec![0.0; count], max: vec![0.0; count] };
    let mut pieces = 0_u32;
    while let Some(piece) = track.next_piece() {
        for (at, pair) in (piece.at..).zip(piece.samples.chunks_exact(2)) {
            let mean = pair.iter().sum::<f32>() / 2.0;
            let Ok(at) = u64::try_from(at) else { continue };
            let place = usize::try_from(at * u64::from(per_second) / u64::from(RATE)).unwrap_or(usize::MAX);
            if let (Some(min), Some(max)) = (peaks.min.get_mut(place), peaks.max.get_mut(place)) {
                *min = min.min(mean);
                *max = max.max(mean);
            }
        }
        pieces += 1;
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // A share for a progress bar.
        let share = (piece.at.max(0) as f64 / f64::from(RATE) / index.end().seconds().max(0.001)) as f32;
        if pieces.is_multiple_of(256) && progress(share.min(1.0)).is_break() {
            return Err(Error::Stopped);
        }
    }
    Ok(Some(peaks))
}

/// [`peaks`], from the disk when they were kept there before; they are kept after they were made.
///
/// # Errors
/// As [`peaks`].
pub fn peaks_kept(
    path: &Path,
    index: &Index,
    per_second: u32,
    kept: Option<&Path>,
    progress: Progress<'_>,
) -> Result<Option<Peaks>, Error> {
    let stretches = |peaks: &Peaks| peaks.per_second == per_second;
    if let Some(peaks) = kept.and_then(index_file::whole).and_then(|bytes| Peaks::from_bytes(&bytes))
        && peaks.as_ref().is_none_or(stretches)
    {
        return Ok(peaks);
    }
    let peaks = peaks(path, index, per_second, progress)?;
    if let Some(kept) = kept {
        index_file::keep(kept, Peaks::bytes(peaks.as_ref()));
    }
    Ok(peaks)
}

const HEAD: &[u8; 15] = b"shedlight peak1";

impl Peaks {
    /// A byte for each sample: finer than any screen draws it.
    fn bytes(peaks: Option<&Self>) -> Vec<u8> {
        let mut to = HEAD.to_vec();
        let Some(peaks) = peaks else { return to };
        to.extend(peaks.per_second.to_le_bytes());
        #[allow(clippy::cast_possible_truncation)] // Bounded before.
        let byte = |sample: &f32| ((sample.clamp(-1.0, 1.0) * 127.0).round() as i8).cast_unsigned();
        to.extend(peaks.min.iter().map(byte));
        to.extend(peaks.max.iter().map(byte));
        to
    }

    /// The outer `None` says that the bytes are something else.
    #[allow(clippy::option_option)]
    pub(super) fn from_bytes(bytes: &[u8]) -> Option<Option<Self>> {
        let rest = bytes.strip_prefix(HEAD)?;
        if rest.is_empty() {
            return Some(None);
        }
        let (per_second, rest) = rest.split_first_chunk::<4>()?;
        let sample = |byte: &u8| f32::from(byte.cast_signed()) / 127.0;
        let (min, max) = rest.split_at(rest.len() / 2);
        let samples = |bytes: &[u8]| bytes.iter().map(sample).collect::<Vec<_>>();
        (min.len() == max.len()).then(|| {
            let per_second = u32::from_le_bytes(*per_second);
            Some(Self { per_second, min: samples(min), max: samples(max) })
        })
    }

    /// The same with so many stretches taken together.
    #[must_use]
    pub fn coarser(&self, by: u32) -> Self {
        let by = by.max(1);
        let chunk = usize::try_from(by).unwrap_or(1);
        let fold = |all: &[f32], with: fn(f32, f32) -> f32| {
            all.chunks(chunk).filter_map(|part| part.iter().copied().reduce(with)).collect()
        };
        Self {
            per_second: (self.per_second / by).max(1),
            min: fold(&self.min, f32::min),
            max: fold(&self.max, f32::max),
        }
    }

    /// Lowest and highest sample between two clip times; `None` outside the sound.
    #[must_use]
    pub fn between(&self, from: Micros, to: Micros) -> Option<(f32, f32)> {
        let place = |at: Micros| {
            usize::try_from(i128::from(at.0.max(0)) * i128::from(self.per_second) / 1_000_000).ok()
        };
        let (first, last) = (place(from)?, place(to)?.max(place(from)? + 1).min(self.min.len()));
        let low = self.min.get(first..last)?.iter().copied().reduce(f32::min)?;
        let high = self.max.get(first..last)?.iter().copied().reduce(f32::max)?;
        Some((low, high))
    }
}

/// Division that rounds up, of numbers that are not negative.
trait CeilDiv {
    fn div_ceil_by(self, by: i64) -> i64;
}

impl CeilDiv for i64 {
    fn div_ceil_by(self, by: i64) -> i64 {
        (self + by - 1) / by
    }
}

impl SoundReader {
    /// Samples a second.
    #[must_use]
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Clip time of the next sample that [`SoundReader::read`] gives.
    #[must_use]
    pub fn time(&self) -> Micros {
        let micros = i128::from(self.next) * 1_000_000 / i128::from(self.rate);
        Micros(i64::try_from(micros).unwrap_or(i64::MAX))
    }

    /// The next `frames` samples of both channels, left and right in turn; fewer at the end, none
    /// behind it. Where the stream has a gap there is silence.
    pub fn read(&mut self, frames: usize) -> Vec<f32> {
        let wanted = frames.saturating_mul(2);
        while self.ready.len() < wanted && !self.is_finished {
            match self.track.next_piece() {
                Some(piece) => self.add(piece),
                None => self.is_finished = true,
            }
        }
        let taken: Vec<f32> = self.ready.drain(..wanted.min(self.ready.len())).collect();
        self.next += i64::try_from(taken.len() / 2).unwrap_or(0);
        taken
    }

    fn add(&mut self, piece: Piece) {
        let end = self.next + i64::try_from(self.ready.len() / 2).unwrap_or(0);
        let gap = piece.at - end;
        if gap >= 0 {
            // More silence than a minute at once is no gap of a stream but a broken time.
            let silence = gap.min(i64::from(self.rate) * 60);
            let silence = usize::try_from(silence).unwrap_or(0);
            self.ready.resize(self.ready.len() + 2 * silence, 0.0);
            self.ready.extend(piece.samples);
        } else {
            let early = usize::try_from(-gap).unwrap_or(usize::MAX).saturating_mul(2);
            self.ready.extend(piece.samples.get(early..).unwrap_or(&[]));
        }
    }
}

fn samples_at(time: Micros, rate: u32) -> i64 {
    let samples = (i128::from(time.0) * i128::from(rate)).div_euclid(1_000_000);
    i64::try_from(samples).unwrap_or(0)
}

/// Before a moment that is wanted: codecs lean on what came before.
const LEAD: Micros = Micros::from_millis(250);

/// The sound stream of a clip, decoded and brought to one rate.
struct Track {
    source: Source,
    codec: ffmpeg::decoder::Audio,
    resampler: Option<(Sample, ChannelLayout, u32, resampling::Context)>,
    /// First shown picture, µs on the file's clock.
    zero: i64,
    rate: u32,
    /// Where the next sample that comes out of the resampler lies, in samples of the wanted rate.
    out: Option<i64>,
    at_end: bool,
    is_drained: bool,
}

impl Track {
    fn open(path: &Path, index: &Index, rate: u32) -> Result<Option<Self>, Error> {
        let mut source = Source::open(path)?;
        let Some(stream) = source.input.streams().best(media::Type::Audio) else { return Ok(None) };
        let (number, base) = (stream.index(), stream.time_base());
        let Some(time_base) = TimeBase::try_new(base.numerator(), base.denominator()) else {
            return Ok(None);
        };
        let codec = ffmpeg::codec::Context::from_parameters(stream.parameters()).and_then(|context| {
            let mut decoder = context.decoder();
            // Without it the codec can't leave out what an encoder put before the beginning.
            decoder.set_packet_time_base(base);
            decoder.audio()
        });
        let Ok(codec) = codec else { return Ok(None) };
        let first = index.first_tick();
        let zero = index.time_base().micros(first).unwrap_or_default().0;
        ffi::read_only(&mut source.input, number);
        source.stream = number;
        source.time_base = time_base;
        Ok(Some(Self {
            source,
            codec,
            resampler: None,
            zero,
            rate,
            out: None,
            at_end: false,
            is_drained: false,
        }))
    }

    fn seek(&mut self, to: Micros) {
        let micros = self.zero.saturating_add((to - LEAD).0);
        let base = self.source.time_base;
        let ticks = i128::from(micros) * i128::from(base.den()) / (i128::from(base.num()) * 1_000_000);
        // Where it can't be sought it is read from the start; what comes too early is dropped.
        if !self.source.seek(i64::try_from(ticks).unwrap_or(0)) {
            let stream = self.source.stream;
            let _ = self.source.rewind();
            ffi::read_only(&mut self.source.input, stream);
            self.source.stream = stream;
        }
        self.codec.flush();
    }

    /// The next piece; `None` at the end.
    fn next_piece(&mut self) -> Option<Piece> {
        use super::source::Reading;
        let mut raw = ffmpeg::frame::Audio::empty();
        loop {
            match self.codec.receive_frame(&mut raw) {
                Ok(()) => {
                    if let Some(piece) = self.resampled(&mut raw) {
                        return Some(piece);
                    }
                    continue;
                }
                Err(ffmpeg::Error::Eof) => return self.rest(),
                Err(_) if self.at_end => return self.rest(),
                // It wants more, or could not decode a packet: the times of the next say where it lies.
                Err(_) => {}
            }
            let _ = match self.source.read() {
                Reading::Packet(packet) => self.codec.send_packet(&packet),
                Reading::End | Reading::Broken(_) => {
                    self.at_end = true;
                    self.codec.send_eof()
                }
            };
        }
    }

    fn resampled(&mut self, raw: &mut ffmpeg::frame::Audio) -> Option<Piece> {
        let layout = match raw.channel_layout() {
            layout if layout.is_empty() => ChannelLayout::default(i32::from(raw.channels())),
            layout => layout,
        };
        let is_same = matches!(&self.resampler, Some((f, l, r, _)) if (*f, *l, *r) == (raw.format(), layout, raw.rate()));
        if !is_same {
            let context = resampling::Context::get(
                raw.format(),
                layout,
                raw.rate(),
                Sample::F32(Type::Packed),
                ChannelLayout::STEREO,
                self.rate,
            );
            self.resampler = Some((raw.format(), layout, raw.rate(), context.ok()?));
            self.out = None;
        }
        let (.., resampler) = self.resampler.as_mut()?;
        // What the resampler still holds lies before this piece.
        let held = resampler.delay().map_or(0, |delay| delay.output);
        if let Some(pts) = raw.pts().or_else(|| raw.timestamp()) {
            let base = self.source.time_base;
            // In samples, not in rounded microseconds.
            let rate = i128::from(self.rate);
            let on_file = i128::from(pts) * i128::from(base.num()) * rate / i128::from(base.den());
            let at = i64::try_from(on_file - i128::from(self.zero) * rate / 1_000_000).ok()? - held;
            // Timestamps are rounded to ticks: only more than 2 ms apart is another place.
            let is_on = self.out.is_some_and(|out| (out - at).abs() <= i64::from(self.rate) / 500);
            if !is_on {
                self.out = Some(at);
            }
        }
        // Room for all of it, and for what was held.
        let made = i64::try_from(raw.samples()).ok()? * i64::from(self.rate) / i64::from(raw.rate().max(1));
        let room = usize::try_from(held.max(0) + made + 64).ok()?;
        let mut out = ffmpeg::frame::Audio::new(Sample::F32(Type::Packed), room, ChannelLayout::STEREO);
        // The resampler insists on the layout it was made for, said or not.
        raw.set_channel_layout(layout);
        let _ = resampler.run(raw, &mut out).ok()?;
        self.piece(&out)
    }

    /// What the resampler holds at the end.
    fn rest(&mut self) -> Option<Piece> {
        if self.is_drained {
            return None;
        }
        self.is_drained = true;
        let (.., resampler) = self.resampler.as_mut()?;
        let held = usize::try_from(resampler.delay()?.output).ok()?;
        let mut out =
            ffmpeg::frame::Audio::new(Sample::F32(Type::Packed), held.max(1), ChannelLayout::STEREO);
        let _ = resampler.flush(&mut out).ok()?;
        self.piece(&out)
    }

    fn piece(&mut self, out: &ffmpeg::frame::Audio) -> Option<Piece> {
        let count = out.samples();
        let bytes = if count == 0 { return None } else { out.data(0).get(..count * 8)? };
        let samples =
            bytes.chunks_exact(4).map(|four| four.try_into().map_or(0.0, f32::from_ne_bytes)).collect();
        let at = self.out.unwrap_or(0);
        self.out = Some(at + i64::try_from(count).ok()?);
        Some(Piece { at, samples })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn peaks_are_kept_and_what_is_no_peak_is_not_read() {
        let peaks = Peaks { per_second: 4, min: vec![-1.0, -0.5, 0.0, 0.0], max: vec![1.0, 0.25, 0.5, 0.0] };
        let back = Peaks::from_bytes(&Peaks::bytes(Some(&peaks))).unwrap().unwrap();
        assert_eq!(back.per_second, 4);
        for (a, b) in peaks.min.iter().chain(&peaks.max).zip(back.min.iter().chain(&back.max)) {
            assert!((a - b).abs() < 0.005, "{a} {b}");
        }
        assert_eq!(Peaks::from_bytes(&Peaks::bytes(None)), Some(None));
        assert_eq!(Peaks::from_bytes(b"something else"), None);
        assert_eq!(Peaks::from_bytes(&[HEAD.as_slice(), &[1, 2]].concat()), None);
        assert_eq!(peaks.between(Micros::from_millis(250), Micros::from_millis(750)), Some((-0.5, 0.5)));
        assert_eq!(peaks.between(Micros::from_millis(10), Micros::from_millis(20)), Some((-1.0, 1.0)));
        assert_eq!(peaks.between(Micros::from_millis(5_000), Micros::from_millis(6_000)), None);
    }
}
