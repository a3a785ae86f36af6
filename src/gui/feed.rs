//! Opening a session's clips off the drawing thread, and hearing of decoded pictures.

use std::path::PathBuf;
use std::sync::Arc;

use iced::Task;
use iced::futures::channel::mpsc;

use crate::media::sound::{self, Peaks};
use crate::media::{self, Film, FilmEvent, FilmOptions, Picture};
use crate::model::ClipId;
use crate::storage::fingerprint;
use crate::time::{FrameNumber, Micros};

/// What came from a clip.
#[derive(Debug, Clone)]
pub enum Fed {
    /// How far the opening of a clip has come, 0–1.
    Opening(ClipId, f32),
    /// The first picture of a clip that is still being read.
    FirstPicture(Arc<Picture>),
    /// A clip is open.
    Opened(ClipId, PathBuf, Arc<Film>),
    /// A clip can't be opened; why, in words.
    Failed(ClipId, String),
    /// A picture that was asked for is there.
    Arrived(ClipId, FrameNumber),
    /// A picture that was asked for can't be decoded.
    Unreadable(ClipId, FrameNumber, String),
    /// A clip has sound.
    Sounds(ClipId),
    /// All clips have been tried.
    AllTried,
    /// How loud a clip is from moment to moment; nothing when it has no sound.
    Heard(ClipId, Option<Arc<Peaks>>),
}

/// Stretches of sound a second that are told apart on the tape.
const PEAKS: u32 = 200;

/// Opens clips one after another in a thread of their own.
pub fn open(clips: Vec<(ClipId, PathBuf)>, cache_bytes: usize) -> Task<Fed> {
    let (sender, receiver) = mpsc::unbounded();
    let failure = sender.clone();
    let spawned = std::thread::Builder::new().name("opening".to_owned()).spawn(move || {
        let mut opened = Vec::new();
        for (clip, path) in clips {
            let events = sender.clone();
            let on_event = move |event| {
                // When nobody listens any more the screen is gone.
                let _ = events.unbounded_send(match event {
                    FilmEvent::Decoded(frame) => Fed::Arrived(clip, frame),
                    FilmEvent::Unreadable { frame, why } => Fed::Unreadable(clip, frame, why),
                });
            };
            let index_file = fingerprint::of_file(&path).ok().as_ref().and_then(fingerprint::index_file);
            let is_known = index_file.as_ref().is_some_and(|path| path.exists());
            if !is_known && let Err(error) = media::guard::look(&path) {
                let _ = sender.unbounded_send(Fed::Failed(clip, error.to_string()));
                continue;
            }
            if !is_known && let Some(picture) = media::first_picture(&path) {
                let _ = sender.unbounded_send(Fed::FirstPicture(Arc::new(picture)));
            }
            let peaks_file = index_file.as_ref().map(|path| path.with_extension("peaks"));
            let options = FilmOptions { cache_bytes, index_file, on_event: Some(Box::new(on_event)) };
            let mut told = -1.0_f32;
            let mut progress = |share: f32| {
                if share - told > 0.01 {
                    told = share;
                    let _ = sender.unbounded_send(Fed::Opening(clip, share));
                }
                if sender.is_closed() {
                    std::ops::ControlFlow::Break(())
                } else {
                    std::ops::ControlFlow::Continue(())
                }
            };
            let fed = match Film::open_with_progress(&path, options, &mut progress) {
                Ok(film) => {
                    opened.push((clip, path.clone(), Arc::clone(film.index()), peaks_file));
                    Fed::Opened(clip, path, Arc::new(film))
                }
                Err(error) => Fed::Failed(clip, error.to_string()),
            };
            if sender.unbounded_send(fed).is_err() {
                return;
            }
            if let Some((clip, path, index, _)) = opened.last()
                && sound::read_from(path, index, 48_000, Micros::ZERO).is_ok_and(|sound| sound.is_some())
            {
                let _ = sender.unbounded_send(Fed::Sounds(*clip));
            }
        }
        let _ = sender.unbounded_send(Fed::AllTried);
        // Sound comes last: nobody waits for its shape.
        for (clip, path, index, peaks_file) in opened {
            let mut progress = |_| {
                if sender.is_closed() {
                    std::ops::ControlFlow::Break(())
                } else {
                    std::ops::ControlFlow::Continue(())
                }
            };
            let peaks = sound::peaks_kept(&path, &index, PEAKS, peaks_file.as_deref(), &mut progress);
            let heard = Fed::Heard(clip, peaks.ok().flatten().map(Arc::new));
            if sender.unbounded_send(heard).is_err() {
                return;
            }
        }
    });
    if let Err(error) = spawned {
        let _ = failure.unbounded_send(Fed::Failed(ClipId(0), format!("the clips can't be opened: {error}")));
    }
    Task::run(receiver, |fed| fed)
}
