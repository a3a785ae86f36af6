//! Proving the clip that is shown: every picture reached at random is that of a straight read.
//!
//! It runs beside the coding in a thread of its own, tells how far it has come, and can be stopped.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use iced::Task;
use iced::futures::channel::mpsc;

use super::{Action, Coding, Message, Said};
use crate::media::Error;
use crate::workbench::verify::{self, Found};

/// Exact seeks tried.
const SEEKS: u32 = 60;

/// A proof that is under way; the work stops when it is dropped.
#[derive(Debug)]
pub(super) struct Proof {
    stop: Arc<AtomicBool>,
    share: f32,
}

impl Proof {
    /// For the status line.
    pub(super) fn words(&self) -> String {
        format!("proving the clip: {:.0} %; F11 stops it", self.share * 100.0)
    }
}

impl Drop for Proof {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// What comes from the work.
#[derive(Debug, Clone)]
pub enum Told {
    /// The share done.
    Share(f32),
    /// It is done, or could not be.
    Done(Result<Arc<Found>, String>),
}

impl Coding {
    /// Begins to prove the clip that is shown, or stops it.
    pub(super) fn prove(&mut self) -> Action {
        if self.proof.take().is_some() {
            self.said = Said::Done("the proof of the clip was stopped".to_owned());
            return Action::None;
        }
        let film = self.player.shown().and_then(|shot| self.films.get(&shot.clip));
        let Some(path) = film.map(|film| film.probe().path.clone()) else {
            self.said = Said::Refused("there is no clip yet to prove".to_owned());
            return Action::None;
        };
        let stop = Arc::new(AtomicBool::new(false));
        self.proof = Some(Proof { stop: Arc::clone(&stop), share: 0.0 });
        let (sender, receiver) = mpsc::unbounded();
        let failure = sender.clone();
        let spawned = std::thread::Builder::new().name("proof".to_owned()).spawn(move || {
            let mut told = 0.0_f32;
            let found = verify::verify(&path, SEEKS, &mut |share| {
                if share - told >= 0.01 {
                    told = share;
                    let _ = sender.unbounded_send(Told::Share(share));
                }
                if stop.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
            });
            if !matches!(found, Err(Error::Stopped)) {
                let found = found.map(Arc::new).map_err(|error| error.to_string());
                let _ = sender.unbounded_send(Told::Done(found));
            }
        });
        if let Err(error) = spawned {
            let _ = failure.unbounded_send(Told::Done(Err(error.to_string())));
        }
        Action::Run(Task::run(receiver, Message::Proof))
    }

    pub(super) fn proof_told(&mut self, told: Told) {
        let Some(proof) = &mut self.proof else { return };
        match told {
            Told::Share(share) => proof.share = share,
            Told::Done(done) => {
                self.proof = None;
                self.said = match done {
                    Ok(found) => words(&found),
                    Err(why) => Said::Refused(format!("the clip can't be proved: {why}")),
                };
            }
        }
    }
}

fn words(found: &Found) -> Said {
    let time = |ms: Option<f64>| ms.map_or_else(|| "—".to_owned(), |ms| format!("{ms:.0} ms"));
    let speed = format!(
        "exact seek {}, step back {}, up to {:.0} pictures a second here",
        time(found.seek_ms.median),
        time(found.step_back_ms.median),
        found.playback_fps
    );
    let damaged = match found.unreadable {
        0 => String::new(),
        n => format!(", {n} refused where the file is damaged"),
    };
    if found.wrong == 0 {
        Said::Done(format!("{} pictures compared{damaged}, every one the right one; {speed}", found.checked))
    } else {
        Said::Refused(format!(
            "{} of {} pictures are NOT those of a straight read{damaged}: don't code this clip before it is copied anew",
            found.wrong, found.checked
        ))
    }
}
