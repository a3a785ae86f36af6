//! Statistics that know nothing of behaviour: quantiles, intervals, product limit, bootstrap, ranks and their
//! tests, trends, tables.
//!
//! Pure functions of their arguments; what is undefined is `None` or a reason, never NaN.

use std::fmt;

pub mod bootstrap;
pub mod contingency;
pub mod distribution;
pub mod estimate;
pub mod interval;
pub mod linear;
pub mod log_rank;
pub mod mixture;
pub mod overlap;
pub mod product_limit;
pub mod quantile;
pub mod rank;
pub mod rank_tests;
pub mod trend;

/// Why a statistic has no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Undefined {
    /// Fewer cases than it needs.
    TooFew,
    /// All cases are alike.
    NoVariation,
    /// Two lists that belong together differ in length.
    LengthsDiffer,
    /// A value is no finite number, or lies outside its range.
    OutOfRange,
    /// Values repeat, and the method allows none to.
    Ties,
    /// What was looked for never happened.
    NoEvents,
    /// There is no time to divide by.
    NoTime,
    /// It reaches past the time anyone was watching.
    BeyondWatching,
    /// The data determine no estimate.
    NotEstimable,
    /// One process explains the data as well as two.
    OneProcess,
}

impl fmt::Display for Undefined {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFew => "too few",
            Self::NoVariation => "no variation",
            Self::LengthsDiffer => "lists of different lengths",
            Self::OutOfRange => "a value out of range",
            Self::Ties => "values repeat",
            Self::NoEvents => "it never happened",
            Self::NoTime => "no time to divide by",
            Self::BeyondWatching => "past the time anyone was watching",
            Self::NotEstimable => "the data determine no estimate",
            Self::OneProcess => "one process explains the data as well as two",
        })
    }
}
