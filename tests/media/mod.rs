//! Film: the right picture for every frame, on every kind of file, and clear refusals.

mod drawing;
mod exact;
mod hard;
mod memory;
pub mod motion;
mod mutated;
mod refusals;
mod sound;
