//! The study folder and the bench: what keys do, and that nothing is lost.

mod bad_input;
mod disk;
mod faults;
mod fuzz;
mod keys;
mod kill;
mod parcel;
#[cfg(target_os = "linux")]
mod power_cut;
mod repair;
mod retention;
mod schemas;
