//! What Sessions learns off the drawing thread: who is due for a second coding, and how clips look.

use std::path::{Path, PathBuf};

use iced::Task;
use iced::futures::channel::mpsc;
use iced::widget::image::Handle;

use super::Message;
use crate::agreement::plan::{self, Due};
use crate::media;
use crate::model::{Purpose, SessionId};
use crate::storage::fingerprint::{self, ClipState};
use crate::storage::{SessionEntry, StudyFolder};

/// Size of a thumbnail in pixels; drawn at half of it, so that it is sharp at scale 2.
pub(super) const SIZE: (u32, u32) = (128, 72);
/// Sessions whose clips are looked into, the latest first.
const MOST: usize = 300;

/// What was learned.
#[derive(Debug, Clone)]
pub enum Learned {
    /// Sessions that are due for a second coder, or had one.
    Due(Vec<Due>),
    /// The first picture of a session's first clip.
    Looks(SessionId, Handle),
}

/// Looks through a study in a thread of its own; what comes of it comes as messages.
pub(super) fn look(folder: &StudyFolder, sessions: &[SessionEntry]) -> Task<Message> {
    let (folder, sessions) = (folder.clone(), sessions.to_vec());
    let (sender, receiver) = mpsc::unbounded();
    // Without a thread the list is as good as it was.
    let _ = std::thread::Builder::new().name("looking".to_owned()).spawn(move || {
        let due = due(&folder, &sessions);
        if sender.unbounded_send(Learned::Due(due)).is_err() {
            return;
        }
        for entry in sessions.iter().rev().take(MOST) {
            let looks = entry.session.clips.first().and_then(|clip| {
                let path = match fingerprint::find(folder.root(), clip) {
                    ClipState::There(path) | ClipState::Moved(path) => path,
                    ClipState::Changed(_) | ClipState::Missing(_) => return None,
                };
                let kept = clip.fingerprint.as_ref().and_then(fingerprint::index_file);
                thumbnail(&path, kept.map(|kept| kept.with_extension("png")).as_deref())
            });
            if let Some(looks) = looks {
                let (width, height) = looks.dimensions();
                let handle = Handle::from_rgba(width, height, looks.into_raw());
                if sender.unbounded_send(Learned::Looks(entry.session.id.clone(), handle)).is_err() {
                    return;
                }
            }
        }
    });
    Task::run(receiver, Message::Learned)
}

/// Who is due, by the study's own plan of double coding; one coding at a time is in memory.
#[must_use]
pub fn due(folder: &StudyFolder, sessions: &[SessionEntry]) -> Vec<Due> {
    let study = &folder.study;
    let mut candidates = Vec::new();
    for entry in sessions {
        for (path, head) in entry.codings.iter().filter(|(_, head)| head.purpose == Purpose::Primary) {
            // What can't be read is said in the list.
            let Ok(own) = folder.load_coding(path) else { continue };
            let beside = entry.codings.iter().map(|(_, head)| (head.purpose, &head.by));
            let second = plan::second_coders(&head.by, beside);
            candidates.extend(plan::candidate(study, &own.coding, &own.ethogram, &own.session, second));
        }
    }
    plan::due(&candidates, study.double_coding.share, study.double_coding.seed)
}

/// The clip's first picture, small; from the disk when it was kept there.
fn thumbnail(clip: &Path, kept: Option<&Path>) -> Option<image::RgbaImage> {
    if let Some(found) = kept.and_then(|kept| image::open(kept).ok()) {
        return Some(found.to_rgba8());
    }
    media::guard::look(clip).ok()?;
    let picture = media::first_picture(clip)?;
    let (width, height) = picture.shown_size();
    let scale = (f64::from(SIZE.0) / f64::from(width)).min(f64::from(SIZE.1) / f64::from(height));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // No larger than a thumbnail.
    let pixels = |length: u32| ((f64::from(length) * scale).round() as u32).max(1);
    let small = picture.to_rgba_within(pixels(width), pixels(height));
    if let Some(kept) = kept {
        keep(&small, kept);
    }
    Some(small)
}

/// That it can't be kept costs time at the next start, nothing else.
fn keep(small: &image::RgbaImage, kept: &Path) {
    let part: PathBuf = kept.with_extension("part.png");
    if let Some(folder) = kept.parent() {
        let _ = std::fs::create_dir_all(folder);
    }
    if small.save(&part).is_ok() {
        let _ = std::fs::rename(&part, kept);
    }
}
