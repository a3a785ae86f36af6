//! A stretch of a session as a film of its own, for teaching and for a committee.
//!
//! Pictures are taken exactly, by their session time, from whichever piece they lie in; faces that are
//! marked are covered; the coding can be drawn below. The originals are only read.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use image::{Rgba, RgbaImage};

use super::drawn::{Scribe, caption, cover_faces};
use crate::measures::presentations::{self, Presentation};
use crate::measures::{Marks, Record};
use crate::media::encode::{Content, OwnPlanes, Settings, Writer};
use crate::media::film::Progress;
use crate::media::picture::Turn;
use crate::media::{self, Film, FilmOptions, Heading};
use crate::model::{Clip, ClipId, Coding, Ethogram, Session, Study};
use crate::time::{Micros, Span, TimeBase};
use crate::workbench::reel::{Piece, Reel};
use crate::workbench::sound::{SoundTape, Track};

/// What is to be cut.
pub struct Wish<'a> {
    /// The session.
    pub session: &'a Session,
    /// Its clips of one camera, and where their files are.
    pub clips: Vec<(&'a Clip, PathBuf)>,
    /// From when to when.
    pub span: Span,
    /// The coding that is drawn below, with its ethogram and study.
    pub drawn: Option<(&'a Coding, &'a Ethogram, &'a Study)>,
    /// Without sound.
    pub silent: bool,
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Cut {
    /// Pictures.
    pub pictures: usize,
    /// Pictures that could not be decoded; the one before stays.
    pub unreadable: usize,
    /// From the first picture's session time …
    pub from_s: Micros,
    /// … to the end of the last.
    pub to_s: Micros,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels, with the band below.
    pub height: u32,
    /// With sound.
    pub sound: bool,
}

/// Why nothing was written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// A clip can't be read, or the film can't be written.
    #[error(transparent)]
    Media(#[from] media::Error),
    /// No picture lies there.
    #[error("there is no picture between {from} s and {to} s: the film of this session {film}")]
    NoPicture {
        /// From.
        from: Micros,
        /// To.
        to: Micros,
        /// Where it lies, in words.
        film: String,
    },
}

/// Samples a second of the sound.
const RATE: u32 = 48_000;

/// Writes the stretch; the container follows the ending of `out`. `progress` hears the share done, and may
/// stop it. Nothing is left of a film that was not finished.
///
/// # Errors
/// When a clip can't be read, no picture lies there, or the film can't be written.
pub fn write(wish: &Wish<'_>, out: &Path, progress: Progress<'_>) -> Result<Cut, Error> {
    let ending = out.extension().map_or_else(|| "mp4".to_owned(), |own| own.to_string_lossy().into_owned());
    let part = out.with_extension(format!("part.{ending}"));
    let written = into(wish, &part, progress).and_then(|cut| {
        std::fs::rename(&part, out)
            .map_err(|error| media::Error::Write { path: out.to_owned(), why: error.to_string() })?;
        Ok(cut)
    });
    if written.is_err() {
        // It may not have come that far.
        let _ = std::fs::remove_file(&part);
    }
    written
}

/// The clips, ready to be cut from.
struct Opened<'a> {
    films: Vec<(ClipId, &'a Clip, Film)>,
    reel: Reel,
    tracks: Vec<Track>,
}

fn open<'a>(clips: &[(&'a Clip, PathBuf)], progress: Progress<'_>) -> Result<Opened<'a>, media::Error> {
    let (mut films, mut pieces, mut tracks) = (Vec::new(), Vec::new(), Vec::new());
    for (clip, file) in clips {
        let Some(clock) = clip.clock() else { continue };
        media::guard::look(file)?;
        let film =
            Film::open_with_progress(file, FilmOptions::default(), &mut |share| progress(share * 0.1))?;
        let session_time = |own: Micros| clock.session_time(own.0, TimeBase::MICROS);
        let end = session_time(film.index().end()).unwrap_or_default();
        let times = film.index().times().iter().filter_map(|own| session_time(*own)).collect();
        pieces.push(Piece { clip: clip.id, times, end });
        // Slowed film has no sound of its own speed.
        if (clip.real_time_factor - 1.0).abs() < 1e-9
            && media::sound::read_from(file, film.index(), RATE, Micros::ZERO)?.is_some()
        {
            let span = Span::between(clip.offset, end);
            tracks.push(Track { path: file.clone(), index: Arc::clone(film.index()), clock, span });
        }
        films.push((clip.id, *clip, film));
    }
    Ok(Opened { films, reel: Reel::new(pieces), tracks })
}

fn into(wish: &Wish<'_>, path: &Path, progress: Progress<'_>) -> Result<Cut, Error> {
    let Opened { films, reel, tracks } = open(&wish.clips, progress)?;
    let none = || Error::NoPicture { from: wish.span.from, to: wish.span.to, film: words(&reel) };
    let first = reel.place_at(wish.span.from).ok_or_else(none)?;
    let shots: Vec<_> = (first..reel.len())
        .filter_map(|place| reel.shot(place))
        .take_while(|shot| shot.at < wish.span.to)
        .filter(|shot| {
            shot.at >= wish.span.from || reel.film().iter().any(|film| film.contains(wish.span.from))
        })
        .collect();
    // The picture that is shown at the beginning may have appeared before it.
    let start = shots.first().map(|shot| shot.at.max(wish.span.from)).ok_or_else(none)?;
    let to = reel.end().unwrap_or(wish.span.to).min(wish.span.to);
    if start >= to {
        return Err(none());
    }

    let found = wish.drawn.and_then(|(coding, ethogram, study)| {
        let record = Record::try_new(coding, ethogram, wish.session, study, Marks::AsTheyStand)?;
        Some(presentations::of(&record))
    });
    let found: &[Presentation] = found.as_deref().unwrap_or(&[]);
    let scribe = Scribe::default();
    let mut sound = (!wish.silent && !tracks.is_empty()).then(|| SoundTape::new(tracks, RATE, start));
    let mut writer: Option<(Writer, u32, u32)> = None;
    let mut planes = OwnPlanes::default();
    let mut unreadable = 0;
    let mut sounded = 0_u64;
    #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
    let count = shots.len() as f32;
    for (n, shot) in shots.iter().enumerate() {
        let Some((_, clip, film)) = films.iter().find(|(id, ..)| *id == shot.clip) else { continue };
        let Ok(picture) = film.fetch(shot.frame, Heading::Forward) else {
            unreadable += 1;
            continue;
        };
        let (width, height) = picture.shown_size();
        let (width, height) = match &writer {
            Some((_, width, height)) => (*width, *height),
            None => (width & !1, height & !1),
        };
        let mut image = fitted(&picture, width, height);
        cover_faces(&mut image, clip, shot.at);
        if let Some((coding, ethogram, _)) = wish.drawn {
            image = scribe.captioned(&image, &caption(coding, ethogram, wish.session, found, shot.at));
        }
        planes.fill(&image);
        let (writer, width, height) = match &mut writer {
            Some((writer, width, height)) => (writer, *width, *height),
            none => {
                let (writer, width, height) = none.insert((
                    Writer::create(path, &settings(image.width(), image.height(), sound.is_some()))?,
                    width,
                    height,
                ));
                (writer, *width, *height)
            }
        };
        let at = shot.at.max(start) - start;
        writer.write(planes.planes(), at)?;
        let shown_until = reel.place_at(shot.at).and_then(|place| reel.shown_until(place)).unwrap_or(to);
        let next = shots.get(n + 1).map_or(to, |next| next.at);
        if shown_until < next {
            // A hole in the film is shown as a hole, not hidden by the picture before it.
            let mut image = RgbaImage::from_pixel(width, height, Rgba([0, 0, 0, 0xFF]));
            if let Some((coding, ethogram, _)) = wish.drawn {
                let mut words = caption(coding, ethogram, wish.session, found, shown_until);
                words.place.push_str(" · no film here");
                image = scribe.captioned(&image, &words);
            }
            planes.fill(&image);
            writer.write(planes.planes(), shown_until - start)?;
        }
        // The sound keeps step with the pictures, so that the file need not be held in memory.
        let until = next - start;
        if let Some(sound) = &mut sound {
            sounded = sound_until(writer, sound, start, sounded, until)?;
        }
        #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
        if progress(0.1 + 0.9 * n as f32 / count).is_break() {
            return Err(media::Error::Stopped.into());
        }
    }
    let Some((writer, width, height)) = writer else { return Err(none()) };
    writer.finish()?;
    let band = if wish.drawn.is_some() { Scribe::band(width) } else { 0 };
    Ok(Cut {
        pictures: shots.len() - unreadable,
        unreadable,
        from_s: start,
        to_s: to,
        width,
        height: height + band,
        sound: sound.is_some(),
    })
}

/// Writes sound up to a time of the new film; how many samples of each channel there are then.
fn sound_until(
    writer: &mut Writer,
    sound: &mut SoundTape,
    start: Micros,
    written: u64,
    until: Micros,
) -> Result<u64, media::Error> {
    let wanted = u64::try_from(i128::from(until.0) * i128::from(RATE) / 1_000_000).unwrap_or(0);
    let mut at = written;
    let mut buffer = Vec::new();
    while at < wanted {
        let count = (wanted - at).min(4_800);
        buffer.clear();
        buffer.resize(usize::try_from(count).unwrap_or(0) * 2, 0.0);
        let since = i64::try_from(u128::from(at) * 1_000_000 / u128::from(RATE)).unwrap_or(i64::MAX);
        sound.read(start + Micros(since), &mut buffer);
        writer.write_sound(&buffer)?;
        at += count;
    }
    Ok(at)
}

fn settings(width: u32, height: u32, has_sound: bool) -> Settings {
    Settings {
        width,
        height,
        ticks_per_second: 90_000,
        turn: Turn::None,
        key_every: 60,
        created: None,
        content: Content::Film,
        sound_rate: has_sound.then_some(RATE),
    }
}

/// The picture as people see it, in the middle of so many pixels.
fn fitted(picture: &media::Picture, width: u32, height: u32) -> RgbaImage {
    let (own_width, own_height) = picture.shown_size();
    if (own_width & !1, own_height & !1) == (width, height) {
        let mut image = picture.to_rgba();
        if (own_width, own_height) != (width, height) {
            image = image::imageops::crop_imm(&image, 0, 0, width, height).to_image();
        }
        return image;
    }
    let scale = (f64::from(width) / f64::from(own_width)).min(f64::from(height) / f64::from(own_height));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // No larger than the picture.
    let pixels = |length: u32| ((f64::from(length) * scale).round() as u32).max(1);
    let inside = picture.to_rgba_within(pixels(own_width), pixels(own_height));
    let mut image = RgbaImage::from_pixel(width, height, Rgba([0, 0, 0, 0xFF]));
    let (x, y) = (
        i64::from(width.saturating_sub(inside.width()) / 2),
        i64::from(height.saturating_sub(inside.height()) / 2),
    );
    image::imageops::replace(&mut image, &inside, x, y);
    image
}

fn words(reel: &Reel) -> String {
    match (reel.start(), reel.end()) {
        (Some(from), Some(to)) if reel.gaps().is_empty() => format!("lies from {from} s to {to} s"),
        (Some(from), Some(to)) => format!("lies from {from} s to {to} s, with gaps"),
        _ => "has no picture that can be read".to_owned(),
    }
}
