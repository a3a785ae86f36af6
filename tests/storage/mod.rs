//! The study folder and the bench: what keys do, and that nothing is lost.

mod bad_input;
mod faults;
mod keys;
mod kill;
mod parcel;
mod retention;
mod schemas;
