//! Shedlight: step through a filmed training session frame by frame, code what animal and
//! handler did against a written ethogram, and get numbers that lead back to the picture.
//!
//! The rooms, and who may use whom (`tests/architecture.rs` holds them to it):
//!
//! ```text
//! time, numeric, files <- model <- measures <- agreement <- report <- export
//!                         model <- storage          time, files <- media
//!                         {model, storage, media, time} <- workbench, demo
//!    everything but gui <- cli        everything but cli <- gui       main -> {cli, gui}
//! ```

// Tests state what must hold; there a failed `unwrap` is a failed test.
#![cfg_attr(
    test,
    allow(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::indexing_slicing,
        clippy::float_cmp
    )
)]

pub mod agreement;
pub mod cli;
pub mod demo;
pub mod export;
pub mod files;
#[cfg(feature = "gui")]
pub mod gui;
pub mod measures;
#[cfg(feature = "media")]
pub mod media;
pub mod model;
pub mod numeric;
pub mod report;
pub mod storage;
pub mod time;
pub mod workbench;
