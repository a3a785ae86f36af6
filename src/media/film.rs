//! An opened clip: its index, a thread that decodes, and a cache between it and whoever looks.
//!
//! The newest request wins. Asking never blocks; what has been decoded is in the cache, and an
//! event says so. The picture shown so far stays with the one who shows it: nothing here ever
//! hands out another picture than the one that was named.

use std::collections::BTreeMap;
use std::fmt;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

use super::cache::Cache;
use super::decode::{Decoder, Taking};
use super::index::Index;
use super::source::{Probe, Source};
use super::{Error, Fields, Picture, check};
use crate::time::FrameNumber;

/// Hears how far the opening has come (0–1), and may stop it.
pub type Progress<'a> = &'a mut dyn FnMut(f32) -> ControlFlow<()>;

/// How a clip is opened.
pub struct FilmOptions {
    /// Bound of the picture cache in bytes.
    pub cache_bytes: usize,
    /// Where the clip's index is kept, or is to be kept; nowhere when there is none.
    pub index_file: Option<PathBuf>,
    /// Hears of decoded pictures, from the decoding thread: it must be quick.
    pub on_event: Option<Box<dyn Fn(FilmEvent) + Send>>,
}

impl Default for FilmOptions {
    fn default() -> Self {
        Self { cache_bytes: Cache::DEFAULT_BYTES, index_file: None, on_event: None }
    }
}

/// What happened in the decoding thread.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FilmEvent {
    /// The picture that was asked for is in the cache.
    Decoded(FrameNumber),
    /// It can't be decoded.
    Unreadable {
        /// Which.
        frame: FrameNumber,
        /// Why, in words.
        why: String,
    },
}

/// Where the reading goes: pictures lying there are decoded ahead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Heading {
    /// Both ways alike.
    #[default]
    Still,
    /// Onward.
    Forward,
    /// Backward.
    Backward,
}

/// An opened clip.
pub struct Film {
    probe: Probe,
    index: Arc<Index>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl fmt::Debug for Film {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Film")
            .field("path", &self.probe.path)
            .field("frames", &self.index.len())
            .finish_non_exhaustive()
    }
}

struct Shared {
    state: Mutex<State>,
    changed: Condvar,
}

struct State {
    cache: Cache,
    wanted: Option<FrameNumber>,
    /// Someone waits for the wanted picture with every sample.
    whole: bool,
    heading: Heading,
    /// Counts the requests, so that a run can tell that it is not wanted any more.
    serial: u64,
    failed: BTreeMap<FrameNumber, String>,
    fields: Fields,
    forget: bool,
    stop: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        // A panic while holding the lock leaves a cache that is still a cache.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Film {
    /// Opens and indexes a clip; takes as long as reading the file once.
    ///
    /// # Errors
    /// When the file is no film that can be read, or the opening was stopped.
    pub fn open(path: &Path, options: FilmOptions) -> Result<Self, Error> {
        Self::open_with_progress(path, options, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Film::open`], telling how far it has come.
    ///
    /// # Errors
    /// As [`Film::open`].
    pub fn open_with_progress(
        path: &Path,
        options: FilmOptions,
        progress: Progress<'_>,
    ) -> Result<Self, Error> {
        let (source, index) = check::indexed(Source::open(path)?, options.index_file.as_deref(), progress)?;
        let probe = source.probe.clone();
        let codec = source.decoder()?;
        let index = Arc::new(index);
        let shared = Arc::new(Shared {
            state: Mutex::new(State {
                cache: Cache::new(options.cache_bytes),
                wanted: None,
                whole: false,
                heading: Heading::Still,
                serial: 0,
                failed: BTreeMap::new(),
                fields: Fields::Both,
                forget: false,
                stop: false,
            }),
            changed: Condvar::new(),
        });
        let thread = {
            let (shared, index) = (Arc::clone(&shared), Arc::clone(&index));
            std::thread::Builder::new()
                .name("film".to_owned())
                .spawn(move || {
                    let decoder = Decoder::new(source, codec, index);
                    Worker { decoder, shared, on_event: options.on_event }.work();
                })
                .map_err(|source| Error::Read { path: path.to_owned(), source })?
        };
        Ok(Self { probe, index, shared, thread: Some(thread) })
    }

    /// What the clip is.
    #[must_use]
    pub fn probe(&self) -> &Probe {
        &self.probe
    }

    /// Its frames.
    #[must_use]
    pub fn index(&self) -> &Arc<Index> {
        &self.index
    }

    /// Asks for a picture, and for those around it; replaces what was asked for before.
    ///
    /// Where two groups of pictures don't fit the cache, those behind the reading line are kept
    /// smaller; the wanted one is made whole as soon as the movement stops.
    pub fn want(&self, frame: FrameNumber, heading: Heading) {
        self.ask(frame, heading, false);
    }

    fn ask(&self, frame: FrameNumber, heading: Heading, whole: bool) {
        let frame = frame.min(self.index.last());
        let mut state = self.shared.lock();
        state.cache.set_reading_line(frame);
        state.wanted = Some(frame);
        state.whole = whole;
        state.heading = heading;
        state.serial += 1;
        self.shared.changed.notify_all();
    }

    /// The picture, if it has been decoded and is still kept. Never waits for decoding.
    #[must_use]
    pub fn picture(&self, frame: FrameNumber) -> Option<Arc<Picture>> {
        self.shared.lock().cache.get(frame)
    }

    /// Why a picture could not be decoded, if that was found out.
    #[must_use]
    pub fn failure(&self, frame: FrameNumber) -> Option<String> {
        self.shared.lock().failed.get(&frame).cloned()
    }

    /// Asks for a picture with every sample and waits for it.
    ///
    /// # Errors
    /// When there is no such frame, or it can't be decoded.
    pub fn fetch(&self, frame: FrameNumber, heading: Heading) -> Result<Arc<Picture>, Error> {
        if frame > self.index.last() {
            return Err(Error::NoSuchFrame { frame, count: self.index.len(), path: self.probe.path.clone() });
        }
        self.ask(frame, heading, true);
        let mut state = self.shared.lock();
        loop {
            if let Some(picture) = state.cache.get(frame).filter(|picture| picture.halvings == 0) {
                return Ok(picture);
            }
            if let Some(why) = state.failed.get(&frame) {
                return Err(Error::Unreadable { frame, why: why.clone(), path: self.probe.path.clone() });
            }
            if state.stop {
                return Err(Error::Stopped);
            }
            state = self.shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Shows another part of pictures that were filmed as two fields.
    pub fn set_fields(&self, fields: Fields) {
        let wanted = {
            let mut state = self.shared.lock();
            state.fields = fields;
            state.wanted
        };
        self.forget();
        if let Some(wanted) = wanted {
            self.want(wanted, Heading::Still);
        }
    }

    /// Forgets all decoded pictures and the decoder's place, for measuring.
    pub fn forget(&self) {
        let mut state = self.shared.lock();
        state.cache.clear();
        state.failed.clear();
        state.wanted = None;
        state.serial += 1;
        state.forget = true;
        self.shared.changed.notify_all();
    }
}

impl Drop for Film {
    fn drop(&mut self) {
        {
            let mut state = self.shared.lock();
            state.stop = true;
            state.serial += 1;
        }
        self.shared.changed.notify_all();
        if let Some(thread) = self.thread.take() {
            // A thread that panicked has nothing left to tell.
            let _ = thread.join();
        }
    }
}

/// How long nothing may be asked for until a picture shown smaller is made whole.
const SETTLED: std::time::Duration = std::time::Duration::from_millis(100);
/// Pictures this near to the reading line are kept whole.
const NEAR: u32 = 4;

/// How often pictures must be halved so that two groups of them fit; going backward needs two.
fn halvings(group: usize, bytes: usize, limit: usize) -> u8 {
    let needed = group.saturating_mul(2).saturating_mul(bytes);
    (0..3).find(|times| needed >> (2 * times) <= limit).unwrap_or(3)
}

/// Pictures decoded ahead of the reading line, at most.
const AHEAD: u32 = 64;
/// Pictures decoded against the heading, at most.
const BEHIND: u32 = 12;
/// Pictures before the target of a jump that are decoded with it: enough to step back until those before
/// them are filled in. Each makes every jump slower.
const WITH_A_JUMP: u32 = 2;
/// Pictures decoded onward before those behind a jump are filled in.
const ONWARD_FIRST: u32 = 8;

struct Worker {
    decoder: Decoder,
    shared: Arc<Shared>,
    on_event: Option<Box<dyn Fn(FilmEvent) + Send>>,
}

impl Worker {
    fn work(mut self) {
        while let Some((serial, target, is_request)) = self.next_task() {
            self.decode(serial, target, is_request);
        }
    }

    /// The next frame to decode, waiting when there is nothing to do; `None`: stop.
    fn next_task(&mut self) -> Option<(u64, FrameNumber, bool)> {
        let mut state = self.shared.lock();
        loop {
            if state.stop {
                return None;
            }
            if state.forget {
                state.forget = false;
                self.decoder.forget();
                self.decoder.set_fields(state.fields);
            }
            if let Some(wanted) = state.wanted {
                let is_here =
                    if state.whole { state.cache.has_whole(wanted) } else { state.cache.contains(wanted) };
                let may_work = !state.failed.contains_key(&wanted);
                if !is_here && may_work {
                    return Some((state.serial, wanted, true));
                }
                if let Some(ahead) = next_ahead(&state, wanted, self.decoder.index()) {
                    return Some((state.serial, ahead, false));
                }
                if may_work && !state.cache.has_whole(wanted) {
                    // Shown smaller than it is: made whole once nobody has asked for another for a while.
                    let serial = state.serial;
                    let (again, _) = self
                        .shared
                        .changed
                        .wait_timeout(state, SETTLED)
                        .unwrap_or_else(PoisonError::into_inner);
                    state = again;
                    if state.serial == serial && !state.stop {
                        state.whole = true;
                    }
                    continue;
                }
            }
            state = self.shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn decode(&mut self, serial: u64, target: FrameNumber, is_request: bool) {
        let shared = Arc::clone(&self.shared);
        let on_event = self.on_event.as_deref();
        let mut reached = false;
        let group = self.decoder.index().group_len(target);
        // Another wish breaks the run off, unless this run is on its way to it.
        let is_stale = |state: &State, frame: FrameNumber| {
            state.stop
                || state.forget
                || (state.serial != serial
                    && state.wanted.is_none_or(|wanted| wanted <= frame || wanted > target || !is_request))
        };
        // Far before a place that was jumped to nothing is kept: the codec need not even decode
        // it, and those who go back from there find it filled in. Who reads backward needs it all.
        let is_jump = is_request && shared.lock().heading != Heading::Backward;
        let mut is_useful = |frame: FrameNumber| {
            let state = shared.lock();
            let is_useful = !is_jump || frame.0 + WITH_A_JUMP >= target.0 || state.wanted == Some(frame);
            // One that is of use is taken first.
            if !is_useful && is_stale(&state, frame) {
                return ControlFlow::Break(());
            }
            ControlFlow::Continue(is_useful)
        };
        let mut take = |picture: Picture| {
            let frame = picture.frame;
            let mut state = shared.lock();
            if state.forget {
                // Made as nobody wants it any more.
                return ControlFlow::Break(());
            }
            let halvings = match (state.wanted, state.heading) {
                (Some(wanted), Heading::Still | Heading::Backward) if frame.0 + NEAR < wanted.0 => {
                    halvings(group, picture.bytes(), state.cache.limit())
                }
                _ => 0,
            };
            let is_wanted = state.wanted == Some(frame);
            let is_there_smaller = halvings > 0 && state.cache.contains(frame);
            if is_wanted
                || (!is_there_smaller && state.cache.would_keep(frame, picture.bytes() >> (2 * halvings)))
            {
                let picture = if halvings > 0 && !is_wanted {
                    drop(state);
                    let smaller = picture.halved(halvings);
                    state = shared.lock();
                    smaller
                } else {
                    picture
                };
                state.cache.put(Arc::new(picture));
            }
            reached |= frame == target;
            let is_stale = is_stale(&state, frame);
            drop(state);
            if is_wanted {
                shared.changed.notify_all();
                if let Some(on_event) = on_event {
                    on_event(FilmEvent::Decoded(frame));
                }
            }
            if is_stale { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        let taking = Taking { is_useful: &mut is_useful, is_jump, take: &mut take };
        let result = self.decoder.decode_to(target, taking);
        let mut state = shared.lock();
        let why = match result {
            Ok(()) if reached && !is_request && !state.cache.contains(target) => {
                // There was no room for it: nothing more is decoded ahead for this wish.
                if state.serial == serial {
                    state.heading = Heading::Still;
                    state.wanted = state.wanted.filter(|wanted| !state.cache.contains(*wanted));
                }
                return;
            }
            Ok(()) => return,
            Err(Error::Unreadable { why, .. }) => why,
            Err(error) => error.to_string(),
        };
        let _ = state.failed.insert(target, why.clone());
        drop(state);
        shared.changed.notify_all();
        if is_request && let Some(on_event) = on_event {
            on_event(FilmEvent::Unreadable { frame: target, why });
        }
    }
}

/// The nearest frame around the reading line that is still missing and would be kept.
fn next_ahead(state: &State, wanted: FrameNumber, index: &Index) -> Option<FrameNumber> {
    // The size of a picture is known from the one that is there.
    let bytes = state.cache.get(wanted).map_or(0, |picture| picture.bytes());
    let room = u32::try_from(state.cache.limit().checked_div(bytes).unwrap_or(0)).unwrap_or(u32::MAX);
    let (forward, backward) = match state.heading {
        Heading::Forward => (AHEAD, BEHIND),
        Heading::Backward => (BEHIND, AHEAD),
        Heading::Still => (AHEAD / 2, AHEAD / 2),
    };
    let (forward, backward) = (forward.min(room / 3), backward.min(room / 3));
    let is_missing = |frame: &FrameNumber| !state.cache.contains(*frame) && !state.failed.contains_key(frame);
    let onward = (1..=forward)
        .map(|by| FrameNumber(wanted.0.saturating_add(by)))
        .take_while(|frame| *frame <= index.last())
        .find(is_missing);
    let back = (1..=backward).map_while(|by| wanted.0.checked_sub(by).map(FrameNumber)).find(is_missing);
    let is_soon = |frame: &FrameNumber| frame.0 <= wanted.0.saturating_add(ONWARD_FIRST);
    match state.heading {
        Heading::Backward => back.or(onward),
        Heading::Still => onward.filter(is_soon).or(back).or(onward),
        Heading::Forward => onward.or(back),
    }
}
