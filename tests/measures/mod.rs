//! Measures and agreement of the demo against the figures the script was written to give.

mod demo;
mod figures;
mod handmade;
