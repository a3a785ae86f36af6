//! The coding bench without a screen: playhead, coder, history, autosave.
//!
//! Nothing here draws, and nothing asks what time it is: the window passes in pictures, keys and
//! moments, so that everything a key does can be tested as it is.

pub mod autosave;
pub mod coder;
pub mod covers;
pub mod ethogram;
pub mod history;
pub mod intake;
#[cfg(feature = "media")]
pub mod motion;
pub mod player;
pub mod reaction;
pub mod reel;
pub mod revision;
pub mod sampling;
pub mod sheet;
#[cfg(feature = "media")]
pub mod sound;
#[cfg(feature = "media")]
pub mod target_clip;
#[cfg(feature = "media")]
pub mod verify;
