//! The study folder and the bench: what keys do, and that nothing is lost.

mod keys;
mod kill;
