//! The window.

mod samples;
mod screens;
mod window;
