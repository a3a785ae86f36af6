//! Agreement of two codings of one session: alignment, tables, kappa, matched events.
//!
//! [`align`] says which time may be compared and lays the records over each other; [`pair`] puts
//! the numbers of one pair together, and of several. The rest knows nothing of codings:
//!
//! - tables: [`kappa`], [`weighted`] (with standard errors), [`prevalence`] (what unequal labels do);
//! - more than two people, or values missing: [`multi_rater`], [`fleiss`], [`alpha`];
//! - measured values: [`icc`], [`continuous`];
//! - moments: [`matching`], [`event_kappa`], [`ioa`]; units of time: [`time_units`].

pub mod align;
pub mod alpha;
pub mod continuous;
pub mod event_kappa;
pub mod fleiss;
pub mod icc;
pub mod ioa;
pub mod kappa;
pub mod matching;
pub mod multi_rater;
pub mod pair;
pub mod prevalence;
pub mod time_units;
pub mod weighted;
