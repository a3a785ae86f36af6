//! Measures and agreement: the demo against the figures its script was written to give, statistics against
//! reference cases, small codings made by hand.

mod counted;
mod courses;
mod demo;
mod demo_records;
mod edges;
mod figures;
mod handmade;
pub mod made;
mod methods;
pub mod recorded;
mod reference;
mod samples;
mod sequences;
mod slips;
