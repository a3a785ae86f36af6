//! A line that tells how far long work has come; on a terminal only, never in what is printed.

use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use indicatif::{ProgressBar, ProgressStyle};

/// A bar of a thousand steps with the time that is left.
pub(super) fn bar(does: &str) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg:24} {bar:40} {percent:>3} %  {eta} left")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(STEPS).with_style(style).with_message(does.to_owned())
}

/// Hears Ctrl+C from now on, so that long work can end without leaving half a file. A second one ends
/// the program as ever.
pub(super) fn listen() -> Stop {
    let heard = Arc::new(AtomicBool::new(false));
    let own = Arc::clone(&heard);
    // Where it can't be heard the program ends, as it would have.
    let _ = ctrlc::set_handler(move || {
        if own.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
    Stop(heard)
}

/// Whether the work is to end.
pub(super) struct Stop(Arc<AtomicBool>);

impl Stop {
    /// For work that asks now and then.
    pub(super) fn flow(&self) -> ControlFlow<()> {
        if self.0.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}

/// Steps of a bar.
pub(super) const STEPS: u64 = 1000;

/// Where on the bar a share of the work lies.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A place on the bar.
pub(super) fn place(share: f32) -> u64 {
    (share.clamp(0.0, 1.0) * 1000.0) as u64
}
