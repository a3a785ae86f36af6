//! Measures of one coding and of several: pure functions, exact over intervals.
//!
//! [`record::Record`] prepares a coding once: what was observed, what was seen, the bouts as they
//! count. Everything else is a function of records. A value that is not defined carries the
//! reason; it is never shown as zero.

pub mod advice;
pub mod bouts;
pub mod concern;
pub mod presentations;
pub mod quantity;
pub mod record;
pub mod recorded;
pub mod sampling;
pub mod sequence;
pub mod slips;
pub mod summary;
pub mod survivorship;
pub mod trend;

pub use record::{Marks, Missing, Record};
