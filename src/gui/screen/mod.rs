//! The screens, one file each.

pub mod agreement;
pub mod by_samples;
pub mod changed_film;
pub mod coding;
pub mod earlier;
pub mod ethogram;
pub mod films;
pub mod hand_over;
pub mod intake;
pub mod new_study;
pub mod reaction;
pub mod report;
pub mod results;
pub mod sessions;
pub mod settings;
pub mod sheet;
