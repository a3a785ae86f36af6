//! The screens, one file each.

pub mod coding;
pub mod new_study;
pub mod results;
pub mod sessions;
pub mod sheet;
