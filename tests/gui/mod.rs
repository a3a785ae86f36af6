//! The window.

mod around;
mod care;
mod driver;
mod samples;
mod screens;
mod window;
