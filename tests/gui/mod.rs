//! The window.

mod care;
mod samples;
mod screens;
mod window;
