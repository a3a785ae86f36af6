//! The film's sound: heard at its own speed, seen as a wave.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Coding, Said};
use crate::gui::speaker::Speaker;
use crate::gui::widget::wave::Wave;
use crate::media::sound::Peaks;
use crate::model::{Clip, ClipId};
use crate::time::{Span, TimeBase};
use crate::workbench::player::Direction;
use crate::workbench::sound::{Anchor, Lateness, SoundLine, Track};

/// What is heard, and how it looks.
#[derive(Debug, Default)]
pub(super) struct Hearing {
    line: Option<SoundLine>,
    speaker: Option<Speaker>,
    is_muted: bool,
    pub(super) lateness: Lateness,
    /// Clips that have sound; its shape comes later.
    peaks: BTreeMap<ClipId, Option<Arc<Peaks>>>,
}

impl Coding {
    /// Lets the sound be where the film is; it is heard only forward and at the film's own speed.
    pub(super) fn hear(&mut self) {
        let now = self.now();
        let is_own_speed = (self.player.speed() - 1.0).abs() < 1e-9;
        let is_wanted = !self.hearing.is_muted
            && is_own_speed
            && self.player.direction() == Some(Direction::Forward)
            && !self.hearing.peaks.is_empty();
        let anchor = is_wanted.then(|| Anchor {
            film: self.player.film_time(now),
            clock: self.start + now + self.hearing.lateness.now(),
        });
        if let Some(line) = &self.hearing.line {
            if is_wanted && self.hearing.speaker.is_none() {
                self.hearing.speaker = Some(Speaker::open(line.outlet()));
            }
            line.follow(anchor);
        }
        if let Some(why) = self.hearing.speaker.as_ref().and_then(Speaker::trouble) {
            self.said =
                Said::Refused(format!("the film runs without its sound: {why}; F12 twice tries again"));
        }
    }

    /// Sound on or off.
    pub(super) fn toggle_sound(&mut self) {
        if self.hearing.peaks.is_empty() {
            self.said = Said::Refused("these clips have no sound".to_owned());
            return;
        }
        self.hearing.is_muted = !self.hearing.is_muted;
        if self.hearing.is_muted {
            // Opened anew when it is switched on: another loudspeaker may have been plugged in.
            self.hearing.speaker = None;
        }
        self.said = Said::Done(if self.hearing.is_muted {
            "sound off".to_owned()
        } else {
            "sound on: heard while the film runs forward at 1×".to_owned()
        });
    }

    /// A clip has sound: it can be heard from now on.
    pub(super) fn sounds(&mut self, clip: ClipId) {
        let _ = self.hearing.peaks.entry(clip).or_default();
        self.lay_sound();
    }

    /// How loud a clip is from moment to moment.
    pub(super) fn heard(&mut self, clip: ClipId, peaks: Option<Arc<Peaks>>) {
        if peaks.is_some() {
            let _ = self.hearing.peaks.insert(clip, peaks);
            self.lay_sound();
        }
    }

    /// The clips of the chosen camera can be heard and seen where they lie.
    pub(super) fn lay_sound(&mut self) {
        let shown: Vec<(&Clip, Span)> = self
            .clips_of(self.camera)
            .filter_map(|clip| {
                let end = self.films.get(&clip.id)?.index().end();
                let to = clip.clock()?.session_time(end.0, TimeBase::MICROS)?;
                Some((clip, Span::try_new(clip.offset, to)?))
            })
            // A film that runs slower or faster than what it shows has no sound of its own speed.
            .filter(|(clip, _)| (clip.real_time_factor - 1.0).abs() < 1e-9)
            .collect();
        let mut waves = Vec::new();
        let mut tracks = Vec::new();
        for (clip, span) in shown {
            let (Some(clock), Some(film)) = (clip.clock(), self.films.get(&clip.id)) else { continue };
            let Some(peaks) = self.hearing.peaks.get(&clip.id) else { continue };
            waves.extend(peaks.as_ref().map(|peaks| Wave::new(span, clock, peaks)));
            let (path, index) = (film.probe().path.clone(), Arc::clone(film.index()));
            tracks.push(Track { path, index, clock, span });
        }
        tracks.sort_by_key(|track| track.span);
        if self.hearing.line.is_none() && !tracks.is_empty() {
            // Without a thread there is no sound; the pictures need none.
            self.hearing.line = SoundLine::try_new().ok();
        }
        if let Some(line) = &self.hearing.line {
            line.set_tracks(tracks);
        }
        self.waves = waves;
        self.prepare();
    }
}
