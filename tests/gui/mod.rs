//! The window.

mod care;
mod screens;
mod window;
