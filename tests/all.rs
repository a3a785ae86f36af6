//! One integration binary: one link, shared helpers.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    missing_docs,
    unreachable_pub
)]

mod agreement;
mod architecture;
mod cli;
mod common;
mod export;
#[cfg(feature = "simulator")]
mod gui;
mod measures;
#[cfg(feature = "media")]
mod media;
mod report;
mod storage;
