//! Film: the right picture for every frame, on every kind of file, and clear refusals.

mod exact;
mod refusals;
