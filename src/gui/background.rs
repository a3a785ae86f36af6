//! Long work in a thread of its own, whose news come as messages; and stopping it.

use std::io;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use iced::Task;
use iced::futures::channel::mpsc::{self, UnboundedSender};

/// Starts work; `failed` is told when there is no thread for it.
pub fn run<T: Send + 'static>(
    name: &str,
    failed: impl FnOnce(io::Error) -> T,
    work: impl FnOnce(&UnboundedSender<T>) + Send + 'static,
) -> Task<T> {
    let (sender, receiver) = mpsc::unbounded();
    let failure = sender.clone();
    let spawned = std::thread::Builder::new().name(name.to_owned()).spawn(move || work(&sender));
    if let Err(error) = spawned {
        // The receiver is there: it is handed out below.
        let _ = failure.unbounded_send(failed(error));
    }
    Task::run(receiver, |told| told)
}

/// Work under way: how far it is, and how it is stopped.
#[derive(Debug, Clone, Default)]
pub struct Work {
    stop: Arc<AtomicBool>,
    /// How far, 0–1.
    pub share: f32,
}

impl Work {
    /// Asks it to end soon.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// For the thread that works: tells each hundredth, and says whether to go on.
    pub fn teller<T: Send + 'static>(
        self,
        sender: &UnboundedSender<T>,
        told: fn(f32) -> T,
    ) -> impl FnMut(f32) -> ControlFlow<()> + use<T> {
        let (stop, sender) = (self.stop, sender.clone());
        let mut last = -1.0_f32;
        move |share| {
            if share - last >= 0.01 {
                last = share;
                // When nobody listens any more the screen is gone; the work goes on to its end.
                let _ = sender.unbounded_send(told(share));
            }
            if stop.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        }
    }
}
