//! Agreement of two codings of one session: alignment, tables, kappa, matched events.
//!
//! [`align`] says which time may be compared and lays the records over each other; [`kappa`] and
//! [`matching`] know nothing of codings; [`pair`] puts the numbers of one pair together, and of
//! several.

pub mod align;
pub mod kappa;
pub mod matching;
pub mod pair;
