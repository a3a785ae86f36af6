//! Statistics that know nothing of behaviour: quantiles, intervals, product limit, bootstrap, rank
//! tests.
//!
//! Pure functions of their arguments; what is undefined is `None` or a reason, never NaN.

pub mod bootstrap;
pub mod distribution;
pub mod estimate;
pub mod interval;
pub mod product_limit;
pub mod quantile;
pub mod rank_tests;
