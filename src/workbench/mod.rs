//! The coding bench without a screen: playhead, coder, history, autosave.

pub mod reel;
