//! Long film: where its picture changes, looked for behind the coding, and gone to. Navigation, never data.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use iced::Task;
use iced::widget::{column, row, space, text};
use iced::{Alignment, Element};

use super::{Coding, Message, Said};
use crate::gui::background;
use crate::gui::theme::{self, Palette};
use crate::gui::widget::motion;
use crate::media::Index;
use crate::media::motion::{self as change, Motion};
use crate::model::ClipId;
use crate::storage::fingerprint;
use crate::time::{Micros, Span, TimeBase};
use crate::workbench::motion::{LONG, MotionLine, Piece};

/// What comes from the search.
#[derive(Debug, Clone)]
pub enum Told {
    /// The share of all long clips looked through.
    Share(f32),
    /// What is known of a clip.
    Found(ClipId, Arc<Motion>),
    /// It is over; why, when it failed.
    Over(Option<String>),
}

/// A search under way: it can be stopped, and rests while the film runs.
#[derive(Debug, Clone, Default)]
struct Search {
    stop: Arc<AtomicBool>,
    rest: Arc<AtomicBool>,
}

/// What is known of long film.
#[derive(Debug, Default)]
pub(super) struct Moving {
    clips: BTreeMap<ClipId, Arc<Motion>>,
    line: MotionLine,
    search: Option<(Search, f32)>,
}

impl Drop for Moving {
    fn drop(&mut self) {
        if let Some((search, _)) = &self.search {
            search.stop.store(true, Ordering::Relaxed);
        }
    }
}

impl Coding {
    /// Begins to look for motion in the clips that are long; nothing when there is none.
    pub(super) fn look_for_motion(&mut self) -> Option<Task<Message>> {
        let clips: Vec<(ClipId, PathBuf, Arc<Index>)> = self
            .films
            .iter()
            .filter(|(_, film)| film.index().end() >= LONG)
            .map(|(clip, film)| (*clip, film.probe().path.clone(), Arc::clone(film.index())))
            .collect();
        if clips.is_empty() || self.moving.search.is_some() {
            return None;
        }
        let search = Search::default();
        self.moving.search = Some((search.clone(), 0.0));
        let failed = |error: std::io::Error| Told::Over(Some(error.to_string()));
        let task = background::run("motion", failed, move |sender| {
            let count = clips.len();
            let mut trouble = None;
            for (number, (clip, path, index)) in clips.into_iter().enumerate() {
                // When nobody listens any more the screen is gone.
                let tell = |told| sender.unbounded_send(told).is_ok();
                let kept = fingerprint::of_file(&path).ok().as_ref().and_then(fingerprint::index_file);
                let kept = kept.map(|path| path.with_extension("motion"));
                if let Some(known) = kept.as_deref().and_then(change::kept) {
                    let _ = tell(Told::Found(clip, Arc::new(known)));
                    continue;
                }
                if let Some(guessed) = Motion::of_sizes(&index) {
                    let _ = tell(Told::Found(clip, Arc::new(guessed)));
                }
                let mut last = -1.0_f32;
                let mut progress = |share: f32| {
                    #[allow(clippy::cast_precision_loss)] // A share of a few clips.
                    let share = (number as f32 + share) / count as f32;
                    if share - last > 0.005 {
                        last = share;
                        if !tell(Told::Share(share)) {
                            return ControlFlow::Break(());
                        }
                    }
                    while search.rest.load(Ordering::Relaxed) && !search.stop.load(Ordering::Relaxed) {
                        std::thread::sleep(Duration::from_millis(100));
                    }
                    if search.stop.load(Ordering::Relaxed) {
                        ControlFlow::Break(())
                    } else {
                        ControlFlow::Continue(())
                    }
                };
                match change::of_pictures(&path, &index, kept.as_deref(), &mut progress) {
                    Ok(Some(seen)) => {
                        let _ = tell(Told::Found(clip, Arc::new(seen)));
                    }
                    Ok(None) => {}
                    Err(crate::media::Error::Stopped) => break,
                    Err(error) => trouble = Some(error.to_string()),
                }
            }
            let _ = sender.unbounded_send(Told::Over(trouble));
        });
        Some(task.map(Message::Motion))
    }

    /// Takes in what the search found.
    pub(super) fn motion_told(&mut self, told: Told) {
        match told {
            Told::Share(share) => {
                if let Some((_, own)) = &mut self.moving.search {
                    *own = share;
                }
            }
            Told::Found(clip, motion) => {
                let _ = self.moving.clips.insert(clip, motion);
                self.lay_motion();
            }
            Told::Over(why) => {
                self.moving.search = None;
                if let Some(why) = why {
                    self.said =
                        Said::Refused(format!("where the picture changes could not be looked for: {why}"));
                }
            }
        }
    }

    /// The chosen camera's clips, where they lie.
    pub(super) fn lay_motion(&mut self) {
        let pieces = self
            .clips_of(self.camera)
            .filter_map(|clip| {
                let motion = self.moving.clips.get(&clip.id)?;
                let (end, clock) = (self.films.get(&clip.id)?.index().end(), clip.clock()?);
                let span = Span::try_new(clip.offset, clock.session_time(end.0, TimeBase::MICROS)?)?;
                Some(Piece::new(span, clock, motion))
            })
            .collect();
        self.moving.line = MotionLine::new(pieces);
    }

    /// The film that runs goes before the film that is looked through.
    pub(super) fn rest_search(&self) {
        if let Some((search, _)) = &self.moving.search {
            search.rest.store(self.player.is_running(), Ordering::Relaxed);
        }
    }

    /// Stops the search, or begins it again.
    pub(super) fn toggle_search(&mut self) -> Option<Task<Message>> {
        if let Some((search, _)) = &self.moving.search {
            search.stop.store(true, Ordering::Relaxed);
            self.said = Said::Done("the look for motion is stopped; Shift+F11 begins it again".to_owned());
            return None;
        }
        let begun = self.look_for_motion();
        self.said = if begun.is_some() {
            Said::Done("looking where the picture changes".to_owned())
        } else {
            Said::Refused("only film of ten minutes or more is looked through for motion".to_owned())
        };
        begun
    }

    /// To the stretch after (1) or before (-1) in which the picture changes.
    pub(super) fn go_to_motion(&mut self, by: isize) {
        let line = &self.moving.line;
        // From where the film is going, also when its picture is still on its way.
        let at = self.player.wanted().map_or_else(|| self.at(), |shot| shot.at);
        let there = if by > 0 { line.next(at) } else { line.previous(at) };
        match there {
            Some(there) => {
                self.look_at(there);
                self.said = Said::Done(format!(
                    "the picture changes from {}: a place to look at, not a mark",
                    there.clock()
                ));
            }
            None if line.is_empty() => {
                self.said = Said::Refused("motion is looked for in film of ten minutes or more".to_owned());
            }
            None => {
                let side = if by > 0 { "behind" } else { "before" };
                let yet = if self.moving.search.is_some() { " yet: still looking" } else { "" };
                let words = format!("no stretch of motion stands out {side} this moment{yet}");
                self.said = Said::Refused(words);
            }
        }
    }

    /// Shows a moment; in a coding by samples it is a look around.
    pub(super) fn look_at(&mut self, at: Micros) {
        let now = self.now();
        self.look_around();
        self.player.go_to(at, now);
    }

    /// The strip of motion with what it is, for long film.
    pub(super) fn motion_strip(&self, palette: Palette) -> Option<Element<'_, Message>> {
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let line = &self.moving.line;
        let extent = self.prepared.ribbon.extent?;
        if line.is_empty() {
            return None;
        }
        let found = line.stretches().as_slice().len();
        let search = match &self.moving.search {
            Some((_, share)) => format!("looking, {:.0} % (Shift+F11 stops)", share * 100.0),
            None => line.words().to_owned(),
        };
        let words = row![
            text("Where the picture changes").size(theme::BODY).color(palette.text),
            quiet("to find your way; not data".to_owned()),
            space::horizontal(),
            quiet(format!("{found} stretches")),
            quiet("Shift+PageUp, Shift+PageDown".to_owned()),
            quiet(search),
        ]
        .spacing(16)
        .align_y(Alignment::Center);
        let strip = motion::strip(line, extent, self.at(), palette, Message::Look);
        Some(column![words, strip].spacing(2).into())
    }
}
