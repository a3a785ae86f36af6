//! The shape of the sound, drawn where the film lies in time.

use std::sync::Arc;

use iced::widget::canvas::Frame;
use iced::{Color, Point, Rectangle, Size};

use crate::media::sound::Peaks;
use crate::time::{ClipClock, Micros, Span};

/// The sound of one clip.
#[derive(Debug, Clone, PartialEq)]
pub struct Wave {
    /// Session time of its pictures.
    pub span: Span,
    clock: ClipClock,
    fine: Arc<Peaks>,
    /// For views in which a pixel is longer than a quarter of a second.
    coarse: Peaks,
}

impl Wave {
    /// Of a clip's peaks.
    #[must_use]
    pub fn new(span: Span, clock: ClipClock, peaks: &Arc<Peaks>) -> Self {
        Self { span, clock, fine: Arc::clone(peaks), coarse: peaks.coarser(peaks.per_second.div_ceil(4)) }
    }

    /// Lowest and highest sample between two session times.
    fn between(&self, from: Micros, to: Micros) -> Option<(f32, f32)> {
        let is_wide = (to - from) > Micros::from_millis(500);
        let peaks = if is_wide { &self.coarse } else { &*self.fine };
        peaks.between(self.clock.clip_time(from)?, self.clock.clip_time(to)?)
    }
}

/// Draws what of the waves lies in a box, one column a pixel; `moment` tells the time of a column.
pub fn draw(frame: &mut Frame, waves: &[Wave], body: Rectangle, ink: Color, moment: impl Fn(f32) -> Micros) {
    let (middle, half) = (body.y + body.height / 2.0, body.height / 2.0);
    for wave in waves {
        let mut x = body.x;
        while x < body.x + body.width {
            let (from, to) = (moment(x), moment(x + 1.0));
            if to > wave.span.from
                && from < wave.span.to
                && let Some((low, high)) = wave.between(from, to)
            {
                // Quiet sound is what a keeper's voice is; the square root lets it be seen.
                let bent = |sample: f32| sample.abs().min(1.0).sqrt().copysign(sample) * half;
                let (top, bottom) = (middle - bent(high), middle - bent(low));
                frame.fill_rectangle(Point::new(x, top), Size::new(1.0, (bottom - top).max(1.0)), ink);
            }
            x += 1.0;
        }
    }
}
