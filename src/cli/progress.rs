//! A line that tells how far long work has come; on a terminal only, never in what is printed.

use indicatif::{ProgressBar, ProgressStyle};

/// A bar of a thousand steps with the time that is left.
pub(super) fn bar(does: &str) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg:24} {bar:40} {percent:>3} %  {eta} left")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(STEPS).with_style(style).with_message(does.to_owned())
}

/// Steps of a bar.
pub(super) const STEPS: u64 = 1000;

/// Where on the bar a share of the work lies.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A place on the bar.
pub(super) fn place(share: f32) -> u64 {
    (share.clamp(0.0, 1.0) * 1000.0) as u64
}
