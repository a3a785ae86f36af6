//! The window.

mod screens;
mod window;
