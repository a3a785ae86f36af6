//! Reports: what measures come to, as documents and pictures.
//!
//! [`chart`] draws measures once, as SVG, for the window and for the printed report alike.

pub mod album;
pub mod chart;
