//! The window.

mod window;
