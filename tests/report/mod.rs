//! Charts of the demo.

mod chart;
mod gallery;
