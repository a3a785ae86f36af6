//! Measures of one coding and of several: pure functions, exact over intervals.
