//! Statistics that know nothing of behaviour: quantiles, intervals, product limit, bootstrap.

pub mod quantile;
