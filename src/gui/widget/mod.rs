//! What the screens are made of.

pub mod card;
pub mod covers;
pub mod definition;
pub mod keyboard;
pub mod motion;
pub mod pictures;
pub mod ribbon;
pub mod strip;
pub mod tape;
pub mod video;
pub mod wave;
