//! Film: opening a clip, indexing its packets, and the exact picture for any frame.
//!
//! Knows neither ethogram nor study. Times here are clip times: microseconds after the clip's
//! first shown picture, as the stream's own timestamps say.
//!
//! The parts, each usable alone: [`source`] opens and reads a file under whitelists, [`index`]
//! says which frames there are and where a decoder can begin, [`decode`] gives the picture of a
//! frame exactly or refuses, `convert` makes it one of 8 bits a sample, [`film`] puts a thread and a cache around it, [`straight`] reads from
//! the first picture to the last without any index, as the measure of all the others; [`sound`] gives
//! the sound on the same clock.

mod about;
pub mod cache;
mod check;
mod clock;
mod convert;
pub mod decode;
pub mod encode;
mod ffi;
pub mod film;
pub mod guard;
pub mod index;
mod index_file;
pub mod motion;
pub mod picture;
mod scan;
pub mod sound;
pub mod source;
pub mod straight;
mod tone;

use std::path::PathBuf;

pub use about::{About, about};
pub use film::{Film, FilmEvent, FilmOptions, Heading};
pub use index::Index;
pub use picture::{Fields, Picture};

use crate::time::FrameNumber;

/// The first picture of a clip, before anything else of it is read; none when it has none.
#[must_use]
pub fn first_picture(path: &std::path::Path) -> Option<Picture> {
    straight::Straight::open(path).ok()?.next_picture().map(|first| first.picture)
}

/// What is done with a kept index and kept sound of a clip, behind their checksums, which no made-up input passes: for
/// fuzzing alone.
///
/// # Errors
/// When the clip can't be opened.
#[cfg(feature = "fuzz")]
pub fn reader_of_kept(clip: &std::path::Path) -> Result<impl Fn(&[u8]) + use<>, Error> {
    let source = source::Source::open(clip)?;
    Ok(move |body: &[u8]| {
        let _ = sound::Peaks::from_bytes(body);
        if let Some(kept) = index_file::parse(body) {
            let _ = Index::from_kept(&kept, &source);
        }
    })
}

/// Why film could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file could not be read.
    #[error("could not read the clip: {source}: {path}")]
    Read {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// There is nothing in it.
    #[error("the clip is empty (0 bytes): copy it again from the camera: {path}")]
    Empty {
        /// Which file.
        path: PathBuf,
    },
    /// It is no file at all.
    #[error("this is a folder, not a clip: name one video file: {path}")]
    Folder {
        /// Which.
        path: PathBuf,
    },
    /// The name can't be handed to the film library.
    #[error("the clip's path is not valid Unicode: rename it: {path}")]
    PathNotUnicode {
        /// Which file.
        path: PathBuf,
    },
    /// It is a list that names other files.
    #[error(
        "this is a playlist that names other files, not a clip, and is not followed: open the clips themselves: {path}"
    )]
    Playlist {
        /// Which file.
        path: PathBuf,
    },
    /// The file was never finished.
    #[error(
        "the clip has no closing index: the recording was cut off before the camera finished the file. Repair a COPY with the camera maker's tool and open that; the original is left as it is: {path}"
    )]
    Unfinished {
        /// Which file.
        path: PathBuf,
    },
    /// No kind of film.
    #[error("this is no video file that can be read here ({why}): {path}")]
    NotVideo {
        /// Which file.
        path: PathBuf,
        /// What the film library said.
        why: String,
    },
    /// Only sound.
    #[error("there is no picture in this file, only sound: open the video file: {path}")]
    OnlySound {
        /// Which file.
        path: PathBuf,
    },
    /// The codec can't be decoded.
    #[error("the film library on this machine can't decode {codec}: convert a copy to H.264: {path}")]
    NoDecoder {
        /// Its name.
        codec: String,
        /// Which file.
        path: PathBuf,
    },
    /// There is a video stream and not one picture.
    #[error("not one picture could be read from the clip: copy it again from the camera: {path}")]
    NoPicture {
        /// Which file.
        path: PathBuf,
    },
    /// There is no such frame.
    #[error("there is no frame {frame}: the clip has {count}, numbered from 0: {path}")]
    NoSuchFrame {
        /// The frame asked for.
        frame: FrameNumber,
        /// How many there are.
        count: usize,
        /// Which file.
        path: PathBuf,
    },
    /// A frame that can't be decoded.
    #[error("frame {frame} can't be decoded ({why}): the file is damaged there: {path}")]
    Unreadable {
        /// Which.
        frame: FrameNumber,
        /// What the film library said.
        why: String,
        /// Which file.
        path: PathBuf,
    },
    /// It did something to the film library that no film does.
    #[error(
        "the clip was not opened, because {why}: copy it again from the camera, or convert a copy of it elsewhere: {path}"
    )]
    Dangerous {
        /// Which file.
        path: PathBuf,
        /// What it did.
        why: String,
    },
    /// The work was stopped by the person who asked for it.
    #[error("stopped")]
    Stopped,
    /// Film could not be written.
    #[error("could not write the clip ({why}): {path}")]
    Write {
        /// Which file.
        path: PathBuf,
        /// What the film library said.
        why: String,
    },
}
