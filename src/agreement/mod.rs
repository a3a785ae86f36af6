//! Agreement of codings of one session: alignment, tables, kappa, matched events.
//!
//! [`align`] says which time may be compared and lays the records over each other; [`pair`] puts
//! the numbers of one pair together, and of several:
//!
//! - one pair: [`by_time`] (of codings by samples [`by_samples`]), [`moments`], [`levels`], [`trials`], and where they differ, [`differences`];
//! - a study: [`pooled`], [`sessions`], [`several`], who is due for a second coder, [`plan`], what a
//!   report has to answer, [`grras`];
//! - coders over time: [`training`], against references, drift, the same coder twice;
//! - what comes of it: [`resolve`], an agreed record; [`scheme`], words for a kappa.
//!
//! The rest knows nothing of codings:
//!
//! - tables: [`kappa`], [`weighted`] (with standard errors), [`prevalence`] (what unequal labels do);
//! - more than two people, or values missing: [`multi_rater`], [`fleiss`], [`alpha`];
//! - measured values: [`icc`], [`continuous`];
//! - moments: [`matching`], [`event_kappa`], [`ioa`]; units of time: [`time_units`].

pub mod align;
pub mod alpha;
pub mod by_samples;
pub mod by_time;
pub mod continuous;
pub mod differences;
pub mod event_kappa;
pub mod film_needs;
pub mod fleiss;
pub mod grras;
pub mod icc;
pub mod ioa;
pub mod kappa;
pub mod levels;
pub mod matching;
pub mod moments;
pub mod multi_rater;
pub mod pair;
pub mod plan;
pub mod pooled;
pub mod prevalence;
pub mod resolve;
pub mod scheme;
pub mod sessions;
pub mod several;
mod stretches;
pub mod time_units;
pub mod training;
pub mod trials;
pub mod weighted;
