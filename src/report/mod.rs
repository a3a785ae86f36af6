//! Reports: a neutral [`document`], what a welfare committee is given ([`welfare`]), how it is set
//! ([`html`]), and its pictures ([`chart`], [`album`]).
//!
//! Everything here is a function of its input: the date is passed in, so the same input gives the
//! same bytes. Charts are drawn once, as SVG, for the window and for the printed report alike.

pub mod album;
pub mod chart;
pub mod document;
pub mod html;
pub mod link;
#[cfg(feature = "pdf")]
pub mod pdf;
pub mod welfare;
pub mod words;
