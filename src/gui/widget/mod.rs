//! What the screens are made of.

pub mod card;
pub mod keyboard;
pub mod ribbon;
pub mod tape;
pub mod video;
pub mod wave;
