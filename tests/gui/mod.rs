//! The window.

mod around;
mod care;
mod samples;
mod screens;
mod window;
