//! The film of the session: opening its clips, cameras, and the picture that should be seen.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Beside, Coding, Said};
use crate::export::drawn;
use crate::gui::feed::Fed;
use crate::measures::{Marks, Record, presentations};
use crate::media::{Fields, Film, Heading, Picture};
use crate::model::{Clip, ClipId, Extra, Session, SyncPoint};
use crate::storage::fingerprint::ClipState;
use crate::storage::{StudyFolder, coding_file, fingerprint};
use crate::time::{Micros, TimeBase};
use crate::workbench::coder::Refusal;
use crate::workbench::player::Direction;
use crate::workbench::reel::{Piece, Reel, Shot};

impl Coding {
    /// Lets the picture that should be seen be seen, as soon as it is there.
    pub(super) fn pursue(&mut self) {
        let now = self.now();
        let Some(wanted) = self.player.tick(now) else { return };
        if self.player.shown() == Some(wanted) && self.picture.is_some() {
            return;
        }
        let Some(film) = self.films.get(&wanted.clip) else { return };
        let heading = match self.player.direction() {
            Some(Direction::Forward) => Heading::Forward,
            Some(Direction::Reverse) => Heading::Backward,
            None if self.player.shown().is_some_and(|shown| wanted.at < shown.at) => Heading::Backward,
            None => Heading::Still,
        };
        film.want(wanted.frame, heading);
        if let Some(picture) = film.picture(wanted.frame) {
            self.show(wanted, picture);
        } else if let Some(why) = film.failure(wanted.frame) {
            self.unreadable(wanted, &why);
        }
    }

    fn show(&mut self, shot: Shot, picture: Arc<Picture>) {
        self.picture = Some(picture);
        let now = self.now();
        self.player.arrived(shot, now);
        // Not at each picture of a running film: the disk is not asked that often.
        if !self.player.is_running() || now > self.place_told + std::time::Duration::from_secs(1) {
            self.place_told = now;
            if self.only_to_look.is_none() {
                coding_file::remember_place(&self.path, shot.at);
            }
        }
    }

    /// A damaged picture is told and passed over, so that the film can be stepped on.
    fn unreadable(&mut self, shot: Shot, why: &str) {
        self.said = Said::Refused(format!("the picture at {} can't be decoded: {why}", shot.at.clock()));
        let now = self.now();
        self.player.arrived(shot, now);
    }

    pub(super) fn fed(&mut self, fed: Fed) {
        match fed {
            Fed::Opening(clip, share) => {
                let _ = self.opening.insert(clip, share);
            }
            Fed::FirstPicture(picture) => {
                // Something to look at while the clip is read; nothing can be placed on it.
                if self.picture.is_none() {
                    self.picture = Some(picture);
                }
            }
            Fed::Opened(clip, path, film) => {
                let _ = self.opening.remove(&clip);
                for remark in film.index().remarks() {
                    self.troubles.push(format!("{remark}: {}", path.display()));
                }
                self.learn(clip, &path, &film);
                if self.fields != Fields::Both {
                    film.set_fields(self.fields);
                }
                let _ = self.films.insert(clip, film);
                self.thread_reel();
            }
            Fed::Failed(clip, why) => {
                let _ = self.opening.remove(&clip);
                self.troubles.push(why);
            }
            Fed::Arrived(clip, frame) => {
                if let Some(wanted) =
                    self.player.wanted().filter(|shot| shot.clip == clip && shot.frame == frame)
                    && let Some(picture) = self.films.get(&clip).and_then(|film| film.picture(frame))
                {
                    self.show(wanted, picture);
                }
            }
            Fed::Unreadable(clip, frame, why) => {
                if let Some(wanted) =
                    self.player.wanted().filter(|shot| shot.clip == clip && shot.frame == frame)
                {
                    self.unreadable(wanted, &why);
                }
            }
            Fed::AllTried => self.opening.clear(),
            Fed::Sounds(clip) => self.sounds(clip),
            Fed::Heard(clip, peaks) => self.heard(clip, peaks),
        }
    }

    /// What a clip's index tells about the session is kept with it: measures need it without the film.
    fn learn(&mut self, id: ClipId, path: &Path, film: &Film) {
        let before = self.session.clone();
        if let Some(clip) = self.session.clips.iter_mut().find(|clip| clip.id == id) {
            let end =
                clip.clock().and_then(|clock| clock.session_time(film.index().end().0, TimeBase::MICROS));
            if clip.length.is_none() {
                clip.length = end.map(|end| end - clip.offset);
            }
            if clip.fingerprint.is_none() {
                clip.fingerprint = fingerprint::of_file(path).ok();
            }
            if let Some(fingerprint) = &mut clip.fingerprint
                && fingerprint.frames.is_none()
            {
                fingerprint.frames = u32::try_from(film.index().len()).ok();
            }
        }
        self.line_up_pieces();
        if self.session == before || self.only_to_look.is_some() {
            return;
        }
        let learned = &self.session.clips;
        let done = self.folder.change_session(&self.session.id, |session| {
            for clip in &mut session.clips {
                let Some(own) = learned.iter().find(|own| own.id == clip.id) else { continue };
                clip.length = clip.length.or(own.length);
                if clip.offset == Micros::ZERO {
                    clip.offset = own.offset;
                }
                match (&mut clip.fingerprint, &own.fingerprint) {
                    (None, own) => clip.fingerprint.clone_from(own),
                    (Some(known), Some(own)) if known.ends == own.ends && known.frames.is_none() => {
                        known.frames = own.frames;
                    }
                    _ => {}
                }
            }
        });
        if let Err(error) = done {
            self.troubles.push(error.to_string());
        }
    }

    /// A piece whose place was not known when it was added begins where the one before it ends.
    fn line_up_pieces(&mut self) {
        for place in 1..self.session.clips.len() {
            let (before, after) = self.session.clips.split_at_mut(place);
            let Some(own) = after.first_mut().filter(|own| own.offset == Micros::ZERO) else { continue };
            let last = before.iter().rfind(|clip| clip.camera == own.camera);
            if let Some(span) = last.and_then(Clip::span) {
                own.offset = span.to;
            }
        }
    }

    /// Cameras of the session, in the order of its clips; one without a name when there is but one.
    fn cameras(&self) -> Vec<Option<String>> {
        let mut cameras = Vec::new();
        for clip in &self.session.clips {
            if !cameras.contains(&clip.camera) {
                cameras.push(clip.camera.clone());
            }
        }
        cameras
    }

    /// The clips of one camera.
    pub(super) fn clips_of(&self, camera: usize) -> impl Iterator<Item = &Clip> {
        let camera = self.cameras().into_iter().nth(camera).flatten();
        self.session.clips.iter().filter(move |clip| clip.camera == camera)
    }

    /// The pictures of one camera whose clips are open.
    fn reel_of(&self, camera: usize) -> Reel {
        let mut pieces = Vec::new();
        for clip in self.clips_of(camera) {
            let (Some(film), Some(clock)) = (self.films.get(&clip.id), clip.clock()) else { continue };
            let times = film
                .index()
                .times()
                .iter()
                .filter_map(|time| clock.session_time(time.0, TimeBase::MICROS))
                .collect();
            let end = clock.session_time(film.index().end().0, TimeBase::MICROS).unwrap_or_default();
            pieces.push(Piece { clip: clip.id, times, end });
        }
        Reel::new(pieces)
    }

    /// Joins the pictures of the clips that are open: of the chosen camera, and of the one beside it.
    pub(super) fn thread_reel(&mut self) {
        let reel = Arc::new(self.reel_of(self.camera));
        self.other_reel = self.reel_of(self.other_camera());
        self.coder.set_reel(Arc::clone(&reel));
        let now = self.now();
        self.player.set_reel(reel, now);
        if let Some(at) = self.go_to_first {
            self.player.go_to(at, now);
        }
        if self.opening.is_empty() {
            self.go_to_first = None;
        }
        self.lay_sound();
        self.lay_motion();
        self.show_sample();
    }

    fn other_camera(&self) -> usize {
        (self.camera + 1) % self.cameras().len().max(1)
    }

    /// The next camera, at the same session time.
    pub(super) fn next_camera(&mut self) {
        let cameras = self.cameras();
        if cameras.len() < 2 {
            self.said = Said::Refused("this session was filmed by one camera".to_owned());
            return;
        }
        let at = self.at();
        self.camera = self.other_camera();
        self.beside_picture = None;
        self.thread_reel();
        let now = self.now();
        self.player.go_to(at, now);
        let name = cameras.into_iter().nth(self.camera).flatten().unwrap_or_default();
        self.said = Said::Done(format!("camera {} {name}", self.camera + 1));
    }

    /// Shows the other camera, or the picture before, beside the one that is coded; or no longer.
    pub(super) fn put_beside(&mut self, what: Beside) {
        if what == Beside::OtherCamera && self.cameras().len() < 2 {
            self.said = Said::Refused("this session was filmed by one camera".to_owned());
            return;
        }
        self.beside = if self.beside == what { Beside::Nothing } else { what };
        self.beside_picture = None;
    }

    /// Both fields, the first alone, the second alone, in turn.
    pub(super) fn next_field(&mut self) {
        if !self.picture.as_ref().is_some_and(|picture| picture.is_interlaced) {
            self.said = Said::Refused("this picture was not filmed as two fields".to_owned());
            return;
        }
        let words;
        (self.fields, words) = match self.fields {
            Fields::Both => (Fields::First, "the field taken first, alone"),
            Fields::First => (Fields::Second, "the field taken second, alone, half a picture later"),
            Fields::Second => (Fields::Both, "both fields, without combs"),
        };
        for film in self.films.values() {
            film.set_fields(self.fields);
        }
        // What is seen stays until the same picture has come anew.
        self.beside_picture = None;
        self.said = Said::Done(words.to_owned());
    }

    /// The picture that should stand beside the one that is coded.
    fn wanted_beside(&self) -> Option<Shot> {
        let shown = self.player.shown()?;
        match self.beside {
            Beside::Nothing => None,
            Beside::OtherCamera => self.other_reel.shot_at(shown.at),
            Beside::Before => self.player.reel().step_from(shown.at, -1).filter(|shot| *shot != shown),
        }
    }

    /// Lets the picture beside follow the one that is coded.
    pub(super) fn pursue_beside(&mut self) {
        let Some(shot) = self.wanted_beside() else {
            self.beside_picture = None;
            return;
        };
        if self.beside_picture.as_ref().is_some_and(|(own, _)| *own == shot) {
            return;
        }
        let Some(film) = self.films.get(&shot.clip) else { return };
        if self.beside == Beside::OtherCamera {
            film.want(shot.frame, Heading::Still);
        }
        if let Some(picture) = film.picture(shot.frame) {
            self.beside_picture = Some((shot, picture));
        }
    }

    /// Whether the picture beside is still to come.
    pub(super) fn waits_for_beside(&self) -> bool {
        let wanted = self.wanted_beside();
        wanted.is_some() && wanted != self.beside_picture.as_ref().map(|(shot, _)| *shot)
    }

    /// Notes the moment that is seen; with the same moment in another camera the clips are aligned.
    pub(super) fn align(&mut self) {
        let Some(shot) = self.player.shown() else { return };
        let Some(own_at) = self.films.get(&shot.clip).and_then(|film| film.index().time(shot.frame)) else {
            return;
        };
        let Some((clip, at)) = self.aligning.take().filter(|(clip, _)| *clip != shot.clip) else {
            self.aligning = Some((shot.clip, own_at));
            self.said = Said::Done(
                "this moment is noted: show the same one in the other camera (F7) and press F8 again"
                    .to_owned(),
            );
            return;
        };
        // The clip of the session's first camera stays where it is.
        let first = self.session.clips.first().map(|clip| clip.camera.clone());
        let is_first = |id| self.session.clip(id).map(|clip| clip.camera.clone()) == first;
        let (fixed, moved) = if is_first(shot.clip) { (shot.clip, clip) } else { (clip, shot.clip) };
        if let Some(why) = &self.only_to_look {
            self.said = Said::Refused(Refusal::OnlyToLook(why.clone()).to_string());
            return;
        }
        if self.is_sampled() && !self.coder.coding().marks.is_empty() {
            self.said = Said::Refused(
                "what is answered here speaks of moments of this film: align the cameras before samples are coded"
                    .to_owned(),
            );
            return;
        }
        let before = self.session.clone();
        self.session.sync_points.push(SyncPoint {
            what: None,
            clip,
            at,
            other: shot.clip,
            other_at: own_at,
            extra: Extra::new(),
        });
        let Some((offset, drift)) = self.session.aligned(fixed, moved) else {
            self.session = before;
            self.said = Said::Refused(
                "these moments would make one camera's clock run more than 2 % off: they are not the same moment; nothing was changed"
                    .to_owned(),
            );
            return;
        };
        let old_clock = self.session.clip(moved).and_then(Clip::clock);
        if let Some(clip) = self.session.clips.iter_mut().find(|clip| clip.id == moved) {
            clip.offset = offset;
            clip.drift = drift;
        }
        let new_clock = self.session.clip(moved).and_then(Clip::clock);
        let own = &self.session;
        let done = self.folder.change_session(&own.id, |session| {
            session.sync_points.extend(own.sync_points.last().cloned());
            if let Some(clip) = session.clips.iter_mut().find(|clip| clip.id == moved) {
                clip.offset = offset;
                clip.drift = drift;
            }
        });
        if let Err(error) = done {
            self.session = before;
            self.said = Said::Refused(error.to_string());
            return;
        }
        if let (Some(old), Some(new)) = (old_clock, new_clock) {
            let to = |at: Micros| {
                old.clip_time(at).and_then(|own| new.session_time(own.0, TimeBase::MICROS)).unwrap_or(at)
            };
            if self.coder.coding().marks.iter().any(|mark| mark.clip == Some(moved)) {
                let done = self.coder.realign(moved, to);
                self.take(done);
            }
        }
        self.thread_reel();
        self.said = Said::Done(format!(
            "the cameras are aligned: the other one begins at {} s{}",
            offset,
            if drift == 0.0 { String::new() } else { format!(", its clock is {:.4} % off", drift * 100.0) }
        ));
    }

    /// Saves the picture that is seen into the study's folder of stills, as it was filmed but for covered
    /// faces, or with what is coded of it below.
    pub(super) fn save_still(&mut self, is_drawn: bool) {
        let (Some(picture), Some(shot)) = (&self.picture, self.player.shown()) else { return };
        let folder = self.folder.root().join("stills");
        let time = shot.at.clock().replace(':', "-");
        let coded = if is_drawn { " coded" } else { "" };
        let path = folder.join(format!("{} {time}{coded}.png", self.session.id));
        let mut image = picture.to_rgba();
        if let Some(clip) = self.session.clip(shot.clip) {
            drawn::cover_faces(&mut image, clip, shot.at);
        }
        if is_drawn {
            let coding = self.coder.coding();
            let study = &self.folder.study;
            let record =
                Record::try_new(coding, self.coder.ethogram(), &self.session, study, Marks::AsTheyStand);
            let found = record.map_or_else(Vec::new, |record| presentations::of(&record));
            let words = drawn::caption(coding, self.coder.ethogram(), &self.session, &found, shot.at);
            image = drawn::Scribe::default().captioned(&image, &words);
        }
        let saved = std::fs::create_dir_all(&folder)
            .map_err(|error| error.to_string())
            .and_then(|()| image.save(&path).map_err(|error| error.to_string()));
        self.said = match saved {
            Ok(()) => Said::Done(format!("saved: {}", path.display())),
            Err(why) => Said::Refused(format!("the picture can't be saved ({why}): {}", path.display())),
        };
    }
}

/// The clips of a session that are there and unchanged, and in words what is in the way of the others.
pub(super) fn found(folder: &StudyFolder, session: &Session) -> (Vec<(ClipId, PathBuf)>, Vec<String>) {
    let mut troubles = Vec::new();
    let mut clips: Vec<(ClipId, PathBuf)> = Vec::new();
    for clip in &session.clips {
        match fingerprint::find(folder.root(), clip) {
            ClipState::There(path) | ClipState::Moved(path) => clips.push((clip.id, path)),
            ClipState::Changed(path) => troubles.push(format!(
                "The clip was changed since it was added; its marks may lie on other pictures, so it is not shown. \
                 Put the original back, or say that it shows the same (Shift+F4 in Sessions): {}",
                path.display()
            )),
            ClipState::Missing(_) if clip.deleted.is_some() => {
                troubles.extend(clip.deleted.as_ref().map(|deleted| {
                    format!(
                        "The film was deleted on {} by {}: {}. What was coded of it stays.",
                        deleted.on, deleted.by, deleted.reason
                    )
                }));
            }
            ClipState::Missing(path) => troubles.push(format!(
                "The clip is missing; coding goes on without its picture. Put it back: {}",
                path.display()
            )),
        }
    }
    (clips, troubles)
}
