//! Tests of cli.

#[cfg(all(unix, not(target_os = "macos")))]
mod register;
