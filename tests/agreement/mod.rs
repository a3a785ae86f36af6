//! Tests of agreement.

pub mod by_samples;
mod case;
mod handmade;
mod pairs;
mod properties;
mod reference;
mod settle;
mod study;
mod training;
