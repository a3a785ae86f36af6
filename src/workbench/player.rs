//! The playhead: which picture should be seen now, and which one is.
//!
//! No screen and no clock: the window says what time it is, and which pictures have arrived. The
//! picture seen stays until the one that is due has come; none in between is ever shown in its
//! stead. What is slow is told as a slower true rate, not hidden by a clock that runs on alone:
//! when the pictures fall behind, the clock waits for them.

use std::sync::Arc;
use std::time::Duration;

use super::reel::{Reel, Shot};
use crate::time::{Micros, Span};

/// Speeds to choose from, as multiples of real time.
pub const SPEEDS: [f64; 9] = [0.1, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0, 8.0];

/// Which way the film runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Onward.
    Forward,
    /// Backward.
    Reverse,
}

/// Whether it runs.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Motion {
    Standing,
    Running {
        direction: Direction,
        /// Film time and clock time that belonged together last.
        film: Micros,
        clock: Duration,
    },
}

/// How far the wanted picture may fall behind before the clock waits for it.
const PATIENCE: Duration = Duration::from_millis(120);

/// The playhead.
#[derive(Debug)]
pub struct Player {
    reel: Arc<Reel>,
    motion: Motion,
    speed: usize,
    slowed: bool,
    wanted: usize,
    shown: Option<usize>,
    wanted_since: Duration,
    looping: Option<Span>,
    back_on_resume: Micros,
    /// Clock and film time of the pictures shown lately, for the true rate.
    recent: std::collections::VecDeque<(Duration, Micros)>,
    /// Place of the picture seen last, as long as the film has run on from it without a jump.
    ran_from: Option<usize>,
    run_through: RunThrough,
    /// Redraws since it began to run that may take their time.
    settling: u8,
}

/// The first redraws of a running film draw what was not drawn before: the clock waits for them.
const SETTLING: u8 = 3;

/// Pictures that a running film came past.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RunThrough {
    /// Those that were seen.
    pub seen: usize,
    /// Those that were not, because the next one was due already.
    pub left_out: usize,
}

impl Player {
    /// Standing at the reel's first picture.
    #[must_use]
    pub fn new(reel: Arc<Reel>) -> Self {
        Self {
            reel,
            motion: Motion::Standing,
            speed: 4,
            slowed: false,
            wanted: 0,
            shown: None,
            wanted_since: Duration::ZERO,
            looping: None,
            back_on_resume: Micros::ZERO,
            recent: std::collections::VecDeque::new(),
            ran_from: None,
            run_through: RunThrough::default(),
            settling: 0,
        }
    }

    /// The pictures.
    #[must_use]
    pub fn reel(&self) -> &Arc<Reel> {
        &self.reel
    }

    /// Other pictures of the same time: those of another camera, or of a clip that has just been opened.
    pub fn set_reel(&mut self, reel: Arc<Reel>, now: Duration) {
        let at = self.wanted().map(|shot| shot.at);
        self.reel = reel;
        self.shown = None;
        self.wanted = 0;
        self.recent.clear();
        self.ran_from = None;
        if let Some(at) = at {
            self.go_to(at, now);
        }
    }

    /// Whether it goes back a little when it starts to run again.
    #[must_use]
    pub fn back_on_resume(&self) -> Micros {
        self.back_on_resume
    }

    /// How far to go back when it starts to run again.
    pub fn set_back_on_resume(&mut self, by: Micros) {
        self.back_on_resume = by;
    }

    /// The picture that should be seen.
    #[must_use]
    pub fn wanted(&self) -> Option<Shot> {
        self.reel.shot(self.wanted)
    }

    /// The picture that is seen: what a mark is placed on.
    #[must_use]
    pub fn shown(&self) -> Option<Shot> {
        self.reel.shot(self.shown?)
    }

    /// Whether the picture that should be seen is seen.
    #[must_use]
    pub fn is_current(&self) -> bool {
        self.shown == Some(self.wanted)
    }

    /// Whether it runs.
    #[must_use]
    pub fn is_running(&self) -> bool {
        matches!(self.motion, Motion::Running { .. })
    }

    /// Which way it runs, if it does.
    #[must_use]
    pub fn direction(&self) -> Option<Direction> {
        match self.motion {
            Motion::Running { direction, .. } => Some(direction),
            Motion::Standing => None,
        }
    }

    /// Speed chosen, as a multiple of real time; a quarter of it while slowed.
    #[must_use]
    pub fn speed(&self) -> f64 {
        let chosen = SPEEDS.get(self.speed).copied().unwrap_or(1.0);
        if self.slowed { chosen / 4.0 } else { chosen }
    }

    /// The stretch that is repeated.
    #[must_use]
    pub fn looping(&self) -> Option<Span> {
        self.looping
    }

    /// Starts to run.
    pub fn run(&mut self, direction: Direction, now: Duration) {
        let at = self.wanted().map_or(Micros::ZERO, |shot| shot.at);
        let is_at_end = self.wanted + 1 >= self.reel.len();
        if !self.is_running() && direction == Direction::Forward {
            if is_at_end {
                let start = self.looping.map(|span| span.from).or(self.reel.start()).unwrap_or_default();
                self.go_to(start, now);
            } else if self.back_on_resume > Micros::ZERO {
                self.go_to(at - self.back_on_resume, now);
            }
        }
        let film = self.wanted().map_or(Micros::ZERO, |shot| shot.at);
        self.recent.clear();
        self.run_through = RunThrough::default();
        self.ran_from = self.shown.filter(|_| self.is_current());
        self.motion = Motion::Running { direction, film, clock: now };
        self.settling = SETTLING;
    }

    /// Stands still on the picture that is seen.
    pub fn pause(&mut self) {
        self.motion = Motion::Standing;
        self.slowed = false;
        if let Some(shown) = self.shown {
            self.wanted = shown;
        }
    }

    /// Runs or stands.
    pub fn toggle(&mut self, now: Duration) {
        if self.is_running() { self.pause() } else { self.run(Direction::Forward, now) }
    }

    /// One of [`SPEEDS`] faster (positive) or slower.
    pub fn change_speed(&mut self, by: isize, now: Duration) {
        self.rebase(now);
        self.speed = self.speed.saturating_add_signed(by).min(SPEEDS.len() - 1);
    }

    /// Runs at a quarter of the speed as long as a key is held.
    pub fn hold_slow(&mut self, slow: bool, now: Duration) {
        self.rebase(now);
        self.slowed = slow;
    }

    /// Lets film and clock belong together anew, so that a change of speed acts from now on.
    fn rebase(&mut self, now: Duration) {
        let at = self.film_time(now);
        if let Motion::Running { film, clock, .. } = &mut self.motion {
            *film = at;
            *clock = now;
        }
        self.recent.clear();
    }

    /// Repeats a stretch, or stops repeating.
    pub fn set_loop(&mut self, span: Option<Span>) {
        self.looping = span.filter(|span| !span.is_empty());
    }

    /// Goes to the picture shown at a session time.
    pub fn go_to(&mut self, at: Micros, now: Duration) {
        if let Some(place) = self.reel.place_at(at) {
            self.want(place, now);
            let film = self.wanted().map_or(at, |shot| shot.at);
            if let Motion::Running { film: own, clock, .. } = &mut self.motion {
                *own = film;
                *clock = now;
            } else {
                self.run_through = RunThrough::default();
            }
            self.recent.clear();
            self.ran_from = None;
        }
    }

    /// Stands still and goes `by` pictures on (or back).
    pub fn step(&mut self, by: isize, now: Duration) {
        if self.is_running() {
            self.pause();
        }
        self.run_through = RunThrough::default();
        let last = self.reel.len().saturating_sub(1);
        self.want(self.wanted.saturating_add_signed(by).min(last), now);
    }

    /// Goes on or back by a time.
    pub fn skip(&mut self, by: Micros, now: Duration) {
        let at = self.wanted().map_or(Micros::ZERO, |shot| shot.at);
        self.go_to(at + by, now);
    }

    fn want(&mut self, place: usize, now: Duration) {
        if place != self.wanted {
            self.wanted = place;
            self.wanted_since = now;
        }
    }

    /// Film time at a clock time; while standing, that of the wanted picture.
    #[must_use]
    pub fn film_time(&self, now: Duration) -> Micros {
        match self.motion {
            Motion::Standing => self.wanted().map_or(Micros::ZERO, |shot| shot.at),
            Motion::Running { direction, film, clock } => {
                let passed = now.saturating_sub(clock).as_secs_f64() * self.speed();
                let passed = Micros::from_seconds(passed).unwrap_or_default();
                match direction {
                    Direction::Forward => film + passed,
                    Direction::Reverse => film - passed,
                }
            }
        }
    }

    /// Moves the wanted picture to where the clock is; call at each redraw while running. Returns
    /// the picture that should be seen.
    pub fn tick(&mut self, now: Duration) -> Option<Shot> {
        let Motion::Running { direction, .. } = self.motion else { return self.wanted() };
        if !self.is_current() && self.shown.is_some() && now.saturating_sub(self.wanted_since) > PATIENCE {
            // The pictures fall behind: the clock waits, so that the time told stays the picture's.
            if let (Motion::Running { film, clock, .. }, Some(shot)) =
                (&mut self.motion, self.reel.shot(self.wanted))
            {
                *film = shot.at;
                *clock = now;
            }
            return self.wanted();
        }
        let mut at = self.film_time(now);
        let bounds = self.looping.or_else(|| Span::try_new(self.reel.start()?, self.reel.end()?));
        if let Some(bounds) = bounds {
            let is_out = match direction {
                Direction::Forward => at >= bounds.to,
                Direction::Reverse => at < bounds.from,
            };
            if is_out && self.looping.is_some() {
                at = if direction == Direction::Forward { bounds.from } else { bounds.to - Micros(1) };
                self.go_to(at, now);
                return self.wanted();
            }
            if is_out {
                let last =
                    if direction == Direction::Forward { self.reel.len().saturating_sub(1) } else { 0 };
                self.want(last, now);
                if self.is_current() {
                    self.motion = Motion::Standing;
                }
                return self.wanted();
            }
        }
        if let Some(place) = self.reel.place_at(at) {
            // Rounding must never turn the film round.
            let place = match direction {
                Direction::Forward => place.max(self.wanted),
                Direction::Reverse => place.min(self.wanted),
            };
            let place = self.settled(place, direction, now);
            self.want(place, now);
        }
        self.wanted()
    }

    /// No picture is left out because the film has only just begun to run.
    fn settled(&mut self, due: usize, direction: Direction, now: Duration) -> usize {
        if self.settling == 0 {
            return due;
        }
        self.settling -= 1;
        let next = match direction {
            Direction::Forward => due.min(self.wanted + 1),
            Direction::Reverse => due.max(self.wanted.saturating_sub(1)),
        };
        if let (true, Some(shot)) = (next != due && self.speed() <= 1.0, self.reel.shot(next)) {
            self.motion = Motion::Running { direction, film: shot.at, clock: now };
            return next;
        }
        due
    }

    /// A picture is now seen.
    pub fn arrived(&mut self, shot: Shot, now: Duration) {
        let Some(place) = self.reel.place_at(shot.at).filter(|place| self.reel.shot(*place) == Some(shot))
        else {
            return;
        };
        if self.shown != Some(place) {
            self.shown = Some(place);
            if self.is_running() {
                let left_out = self.ran_from.map_or(0, |before| before.abs_diff(place).saturating_sub(1));
                self.run_through.left_out += left_out;
                self.run_through.seen += 1;
                self.ran_from = Some(place);
                self.recent.push_back((now, shot.at));
                while self.recent.len() > 24 {
                    let _ = self.recent.pop_front();
                }
            }
        }
    }

    /// Pictures seen and left out since the film began to run this time; what was jumped over counts as neither.
    #[must_use]
    pub fn run_through(&self) -> RunThrough {
        self.run_through
    }

    /// Film time that really passes in a second, over the last pictures; `None` before there are any.
    #[must_use]
    pub fn true_rate(&self) -> Option<f64> {
        let (first, last) = (self.recent.front()?, self.recent.back()?);
        let clock = last.0.saturating_sub(first.0).as_secs_f64();
        (self.recent.len() >= 4 && clock > 0.0).then(|| last.1.distance(first.1).seconds() / clock)
    }
}

#[cfg(test)]
mod tests {
    use super::super::reel::Piece;
    use super::*;
    use crate::model::ClipId;

    /// Pictures every 40 ms from 0 to 4 s, a gap, and from 6 s to 8 s.
    fn player() -> Player {
        let piece = |clip, from: i64, to: i64| Piece {
            clip: ClipId(clip),
            times: (from..to).step_by(40).map(Micros::from_millis).collect(),
            end: Micros::from_millis(to),
        };
        let mut player = Player::new(Arc::new(Reel::new(vec![piece(0, 0, 4_000), piece(1, 6_000, 8_000)])));
        player.arrived(player.wanted().unwrap(), Duration::ZERO);
        player
    }

    const fn ms(millis: u64) -> Duration {
        Duration::from_millis(millis)
    }

    /// Lets it run with pictures that take `delay` to arrive; returns the times shown.
    fn watch(player: &mut Player, from: u64, to: u64, delay: u64) -> Vec<i64> {
        let mut seen = Vec::new();
        let mut coming: Option<(u64, Shot)> = None;
        for now in from..to {
            if let Some((at, shot)) = coming
                && now >= at
            {
                player.arrived(shot, ms(now));
                seen.push(shot.at.0 / 1000);
                coming = None;
            }
            if let Some(wanted) = player.tick(ms(now))
                && player.shown() != Some(wanted)
                && coming.is_none()
            {
                coming = Some((now + delay, wanted));
            }
        }
        seen
    }

    #[test]
    fn pictures_are_shown_at_their_own_times() {
        let mut player = player();
        player.run(Direction::Forward, ms(0));
        let seen = watch(&mut player, 0, 1_010, 0);
        assert_eq!(seen.first(), Some(&40));
        assert_eq!(seen.last(), Some(&1_000));
        assert_eq!(player.run_through(), RunThrough { seen: 25, left_out: 0 });
        assert!((player.true_rate().unwrap() - 1.0).abs() < 0.05);
    }

    #[test]
    fn a_first_redraw_that_takes_long_leaves_no_picture_out() {
        for (direction, from, last, pictures) in
            [(Direction::Forward, 0, 1_000, 25), (Direction::Reverse, 2_000, 960, 26)]
        {
            let mut player = player();
            player.go_to(Micros::from_millis(from), ms(0));
            player.arrived(player.wanted().unwrap(), ms(0));
            player.run(direction, ms(0));
            let first = player.tick(ms(100)).unwrap();
            assert_eq!(first.at.distance(Micros::from_millis(from)), Micros::from_millis(40));
            player.arrived(first, ms(100));
            let seen = watch(&mut player, 101, 1_065, 0);
            assert_eq!(seen.last(), Some(&last));
            assert_eq!(player.run_through(), RunThrough { seen: pictures, left_out: 0 });
        }
        // Later on, and faster than life, it keeps its speed.
        let mut player = player();
        player.run(Direction::Forward, ms(0));
        let _ = watch(&mut player, 0, 500, 0);
        assert_eq!(player.tick(ms(600)).unwrap().at, Micros::from_millis(600));
        let mut player = self::player();
        player.change_speed(2, ms(0));
        player.run(Direction::Forward, ms(0));
        assert_eq!(player.tick(ms(100)).unwrap().at, Micros::from_millis(200));
    }

    #[test]
    fn faster_than_the_machine_leaves_pictures_out_and_tells_the_true_rate() {
        let mut player = player();
        player.change_speed(9, ms(0));
        assert!((player.speed() - 8.0).abs() < f64::EPSILON);
        player.run(Direction::Forward, ms(0));
        let seen = watch(&mut player, 0, 400, 10);
        assert!(seen.is_sorted(), "{seen:?}");
        assert!(seen.len() < 60);
        let last = usize::try_from(seen.last().unwrap() / 40).unwrap();
        assert_eq!(player.run_through(), RunThrough { seen: seen.len(), left_out: last - seen.len() });
        assert!(player.run_through().left_out > 0);
        // Much too slow: the clock waits for the pictures.
        let mut player = self::player();
        player.run(Direction::Forward, ms(0));
        let seen = watch(&mut player, 0, 2_000, 300);
        assert!(seen.is_sorted() && *seen.last().unwrap() < 1_700, "{seen:?}");
        assert!(player.true_rate().unwrap() < 1.0);
    }

    #[test]
    fn reverse_runs_back_and_stops_at_the_start() {
        let mut player = player();
        player.go_to(Micros::from_millis(400), ms(0));
        player.run(Direction::Reverse, ms(0));
        let seen = watch(&mut player, 0, 600, 0);
        assert!(seen.is_sorted_by(|a, b| a >= b), "{seen:?}");
        assert_eq!(player.shown().unwrap().at, Micros::ZERO);
        assert!(!player.is_running());
    }

    #[test]
    fn the_old_picture_stays_until_the_wanted_one_is_there() {
        let mut player = player();
        player.go_to(Micros::from_millis(2_000), ms(0));
        assert_eq!(player.shown().unwrap().at, Micros::ZERO);
        assert!(!player.is_current());
        player.arrived(player.wanted().unwrap(), ms(5));
        assert!(player.is_current());
        // A picture that is not on the reel is not taken.
        player.arrived(Shot { at: Micros(3), ..player.wanted().unwrap() }, ms(6));
        assert_eq!(player.shown().unwrap().at, Micros::from_millis(2_000));
    }

    #[test]
    fn it_stands_on_the_last_picture_and_starts_over_from_there() {
        let mut player = player();
        player.go_to(Micros::from_millis(7_800), ms(0));
        player.arrived(player.wanted().unwrap(), ms(0));
        player.run(Direction::Forward, ms(0));
        let _ = watch(&mut player, 0, 400, 0);
        assert!(!player.is_running());
        assert_eq!(player.shown().unwrap().at, Micros::from_millis(7_960));
        player.run(Direction::Forward, ms(500));
        assert_eq!(player.wanted().unwrap().at, Micros::ZERO);
    }

    #[test]
    fn a_loop_comes_round() {
        let mut player = player();
        player.set_loop(Span::try_new(Micros::from_millis(1_000), Micros::from_millis(1_400)));
        player.go_to(Micros::from_millis(1_000), ms(0));
        player.run(Direction::Forward, ms(0));
        let seen = watch(&mut player, 0, 1_000, 0);
        assert!(seen.iter().all(|at| (1_000..1_400).contains(at)), "{seen:?}");
        assert!(seen.iter().filter(|at| **at == 1_000).count() >= 2);
        assert_eq!(player.run_through().left_out, 0, "the way back is not left out");
    }

    #[test]
    fn steps_stand_still_and_resuming_goes_back_when_asked() {
        let mut player = player();
        player.run(Direction::Forward, ms(0));
        player.step(2, ms(10));
        assert!(!player.is_running());
        assert_eq!(player.wanted().unwrap().at, Micros::from_millis(80));
        player.step(-9, ms(20));
        assert_eq!(player.wanted().unwrap().at, Micros::ZERO);
        player.go_to(Micros::from_millis(3_000), ms(30));
        player.arrived(player.wanted().unwrap(), ms(31));
        player.set_back_on_resume(Micros::from_millis(2_000));
        player.toggle(ms(40));
        assert_eq!(player.wanted().unwrap().at, Micros::from_millis(1_000));
        player.skip(Micros::from_millis(5_000), ms(50));
        assert_eq!(player.wanted().unwrap().clip, ClipId(1));
    }
}
