//! Charts: measures as pictures that lead back to the film.
//!
//! Each function is pure: the same measures and the same [`Look`] give the same bytes. A [`Chart`]
//! is an SVG without fonts, ids and scripts (text is set as outlines), so that the window and the
//! printed report show the same, with the rectangles that lead somewhere. Every chart says in its
//! caption how many cases stand behind it and which denominator; with nothing to show it says what is
//! missing. All of it can be read without colour: by name, key, pattern or shape.

mod agreement;
mod axes;
mod budget;
mod canvas;
mod coders;
mod concern;
mod confusion;
mod course;
mod coverage;
mod cues;
mod cumulative;
mod follow;
mod found;
mod hatching;
mod latency;
pub(crate) mod letters;
mod look;
mod page;
mod raster;
mod sampled;
mod shapes;
mod survivorship;
mod transitions;

pub use self::agreement::agreement;
pub use self::budget::budget;
pub use self::coders::coders;
pub use self::concern::concern;
pub use self::confusion::confusion;
pub use self::course::{Occasion, Reading, approach, success, trend};
pub use self::coverage::{Coverage, Covered, coverage};
pub use self::cues::cue_raster;
pub use self::cumulative::cumulative;
pub use self::follow::follow;
pub use self::found::found;
pub use self::latency::latencies;
pub use self::look::{Colour, Fill, Look, NARROWEST, Pattern, States, WIDTH, contrast, ink_on};
pub use self::raster::session_raster;
pub use self::sampled::{Sampled, sampled};
pub use self::survivorship::{Length, survivorship};
pub use self::transitions::{Matrix, transitions};
use crate::model::SessionId;
use crate::time::Micros;

/// A picture, and what its parts lead to.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// The picture.
    pub svg: String,
    /// Its width in pixels.
    pub width: u32,
    /// Its height in pixels.
    pub height: u32,
    /// What leads somewhere; a later one lies over an earlier.
    pub hits: Vec<Hit>,
}

/// A rectangle in a chart's own pixels that leads to a moment of a film.
#[derive(Debug, Clone, PartialEq)]
pub struct Hit {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// The session.
    pub session: SessionId,
    /// The moment.
    pub at: Micros,
    /// What it is, in a sentence.
    pub words: String,
}

impl Chart {
    /// What lies under a point, the uppermost first to be found.
    #[must_use]
    pub fn hit_at(&self, x: f64, y: f64) -> Option<&Hit> {
        let inside =
            |hit: &&Hit| (hit.x..hit.x + hit.width).contains(&x) && (hit.y..hit.y + hit.height).contains(&y);
        self.hits.iter().rfind(inside)
    }
}
