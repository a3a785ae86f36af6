//! The film beside the differences: one camera, played from a little before a moment.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use iced::Task;

use crate::gui::feed::{self, Fed};
use crate::media::{Film, Heading, Picture};
use crate::model::{ClipId, Session};
use crate::storage::StudyFolder;
use crate::storage::fingerprint::{self, ClipState};
use crate::time::{Micros, TimeBase};
use crate::workbench::player::{Direction, Player};
use crate::workbench::reel::{Piece, Reel, Shot};

/// The film of a session, and where it stands.
pub(super) struct Projection {
    session: Session,
    clips: Vec<(ClipId, PathBuf)>,
    films: BTreeMap<ClipId, Arc<Film>>,
    player: Player,
    picture: Option<Arc<Picture>>,
    opening: BTreeMap<ClipId, f32>,
    /// What is wrong with the film, in words.
    troubles: Vec<String>,
    /// Where to go as soon as there is film, and whether to play from there.
    wanted: Option<(Micros, bool)>,
    /// Where playing ends.
    until: Option<Micros>,
    start: Instant,
}

impl Projection {
    /// The clips of the session's first camera; nothing is opened yet.
    pub(super) fn of(folder: &StudyFolder, session: &Session) -> Self {
        let camera = session.clips.first().and_then(|clip| clip.camera.clone());
        let mut clips = Vec::new();
        let mut troubles = Vec::new();
        for clip in session.clips.iter().filter(|clip| clip.camera == camera) {
            match fingerprint::find(folder.root(), clip) {
                ClipState::There(path) | ClipState::Moved(path) => clips.push((clip.id, path)),
                ClipState::Changed(path) => {
                    troubles.push(format!("The clip was changed since it was coded: {}", path.display()));
                    clips.push((clip.id, path));
                }
                ClipState::Missing(path) => troubles.push(format!("Put it back: {}", path.display())),
            }
        }
        Self {
            session: session.clone(),
            opening: clips.iter().map(|(clip, _)| (*clip, 0.0)).collect(),
            clips,
            films: BTreeMap::new(),
            player: Player::new(Arc::new(Reel::default())),
            picture: None,
            troubles,
            wanted: None,
            until: None,
            start: Instant::now(),
        }
    }

    /// Opens the clips off the drawing thread; so much memory may their pictures take.
    pub(super) fn open(&self, cache_bytes: usize) -> Task<Fed> {
        if self.clips.is_empty() { Task::none() } else { feed::open(self.clips.clone(), cache_bytes) }
    }

    pub(super) fn picture(&self) -> Option<&Arc<Picture>> {
        self.picture.as_ref()
    }

    pub(super) fn troubles(&self) -> &[String] {
        &self.troubles
    }

    /// How far the slowest clip has been read; nothing when none is being read.
    pub(super) fn opening(&self) -> Option<f32> {
        self.opening.values().copied().reduce(f32::min)
    }

    /// There is film to be shown, now or soon.
    pub(super) fn has_film(&self) -> bool {
        !self.films.is_empty() || !self.opening.is_empty()
    }

    /// The moment that is shown.
    pub(super) fn at(&self) -> Option<Micros> {
        self.player.shown().map(|shot| shot.at)
    }

    pub(super) fn is_running(&self) -> bool {
        self.player.is_running()
    }

    fn now(&self) -> Duration {
        self.start.elapsed()
    }

    /// Shows a moment and stands there.
    pub(super) fn go_to(&mut self, at: Micros) {
        self.until = None;
        if self.films.is_empty() {
            self.wanted = Some((at, false));
            return;
        }
        let now = self.now();
        self.player.pause();
        self.player.go_to(at, now);
        self.pursue();
    }

    /// Plays from one moment to another.
    pub(super) fn play(&mut self, from: Micros, to: Micros) {
        self.go_to(from);
        self.until = Some(to);
        if let Some((_, plays)) = &mut self.wanted {
            *plays = true;
            return;
        }
        let now = self.now();
        self.player.run(Direction::Forward, now);
        self.pursue();
    }

    /// Stands still.
    pub(super) fn pause(&mut self) {
        self.until = None;
        self.player.pause();
    }

    /// Stops, or goes on.
    pub(super) fn toggle(&mut self) {
        self.until = None;
        if self.films.is_empty() {
            return;
        }
        let now = self.now();
        self.player.toggle(now);
        self.pursue();
    }

    /// So many pictures on, or back.
    pub(super) fn step(&mut self, by: isize) {
        self.until = None;
        let now = self.now();
        self.player.pause();
        self.player.step(by, now);
        self.pursue();
    }

    /// A picture of the window has passed.
    pub(super) fn tick(&mut self) {
        if self.until.is_some_and(|until| self.at().is_some_and(|at| at >= until)) {
            self.player.pause();
            self.until = None;
        }
        self.pursue();
    }

    /// Lets the picture that should be seen be seen, as soon as it is there.
    fn pursue(&mut self) {
        let now = self.now();
        let Some(wanted) = self.player.tick(now) else { return };
        if self.player.shown() == Some(wanted) && self.picture.is_some() {
            return;
        }
        let Some(film) = self.films.get(&wanted.clip) else { return };
        let heading = if self.player.is_running() { Heading::Forward } else { Heading::Still };
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
    }

    fn unreadable(&mut self, shot: Shot, why: &str) {
        self.troubles.push(format!("The picture at {} can't be decoded: {why}", shot.at.clock()));
        let now = self.now();
        self.player.arrived(shot, now);
    }

    pub(super) fn fed(&mut self, fed: Fed) {
        match fed {
            Fed::Opening(clip, share) => {
                let _ = self.opening.insert(clip, share);
            }
            Fed::Opened(clip, _, film) => {
                let _ = self.opening.remove(&clip);
                let _ = self.films.insert(clip, film);
                self.thread_reel();
            }
            Fed::Failed(clip, why) => {
                let _ = self.opening.remove(&clip);
                self.troubles.push(why);
            }
            Fed::Arrived(clip, frame) => {
                if let Some(wanted) = self.wanted_shot(clip, frame)
                    && let Some(picture) = self.films.get(&clip).and_then(|film| film.picture(frame))
                {
                    self.show(wanted, picture);
                }
            }
            Fed::Unreadable(clip, frame, why) => {
                if let Some(wanted) = self.wanted_shot(clip, frame) {
                    self.unreadable(wanted, &why);
                }
            }
            Fed::AllTried => self.opening.clear(),
            // The first picture is not of a moment anybody asked for; the film is heard on the Coding screen.
            Fed::FirstPicture(_) | Fed::Sounds(_) | Fed::Heard(..) => {}
        }
    }

    fn wanted_shot(&self, clip: ClipId, frame: crate::time::FrameNumber) -> Option<Shot> {
        self.player.wanted().filter(|shot| shot.clip == clip && shot.frame == frame)
    }

    fn thread_reel(&mut self) {
        let mut pieces = Vec::new();
        for clip in &self.session.clips {
            let (Some(film), Some(clock)) = (self.films.get(&clip.id), clip.clock()) else { continue };
            let of = |time: &Micros| clock.session_time(time.0, TimeBase::MICROS);
            let times = film.index().times().iter().filter_map(of).collect();
            let end = clock.session_time(film.index().end().0, TimeBase::MICROS).unwrap_or_default();
            pieces.push(Piece { clip: clip.id, times, end });
        }
        let reel = Reel::new(pieces);
        let reach = reel.end();
        let now = self.now();
        self.player.set_reel(Arc::new(reel), now);
        // Of several clips the one with the wanted moment may still be opening.
        let is_there = |at: Micros| self.opening.is_empty() || reach.is_some_and(|end| at < end);
        match (self.wanted.take_if(|(at, _)| is_there(*at)), self.until) {
            (Some((at, true)), Some(until)) => self.play(at, until),
            (Some((at, _)), _) => self.go_to(at),
            (None, _) => self.pursue(),
        }
    }
}
