//! Charts one below the other, whose parts lead somewhere.

use iced::keyboard::key::Named;
use iced::widget::{Column, column, mouse_area, svg};
use iced::{Length, Point};

use crate::report::chart::{Chart, Hit};

/// A chart, and its picture as the window draws it.
pub type Drawn = (Chart, svg::Handle);

/// A chart to be drawn in the window.
#[must_use]
pub fn drawn(chart: Chart) -> Drawn {
    let handle = svg::Handle::from_memory(chart.svg.clone().into_bytes());
    (chart, handle)
}

/// What the pointer does on charts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Touch {
    /// It is over this place of this chart.
    Moved(usize, Point),
    /// It left the chart.
    Left,
    /// It was pressed on the chart.
    Pressed(usize),
}

/// What lies under the pointer.
#[must_use]
pub fn hit(charts: &[Drawn], over: Option<(usize, Point)>) -> Option<&Hit> {
    let (chart, at) = over?;
    let (chart, _) = charts.get(chart)?;
    chart.hit_at(f64::from(at.x), f64::from(at.y))
}

/// How far a key scrolls charts, in pixels; downwards above 0.
#[must_use]
pub fn scrolls(key: Named) -> Option<f32> {
    Some(match key {
        Named::ArrowDown => 60.0,
        Named::ArrowUp => -60.0,
        Named::PageDown | Named::Space => 480.0,
        Named::PageUp => -480.0,
        Named::Home => -1.0e6,
        Named::End => 1.0e6,
        _ => return None,
    })
}

/// The charts, in their own size.
pub fn pictures<'a, Message: Clone + 'a>(
    charts: &'a [Drawn],
    over: Option<(usize, Point)>,
    on: impl Fn(Touch) -> Message + Copy + 'a,
) -> Column<'a, Message> {
    // Room for the scroll bar beside them.
    let mut all = column![].spacing(12).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
    let is_on_something = hit(charts, over).is_some();
    for (place, (chart, handle)) in charts.iter().enumerate() {
        #[allow(clippy::cast_precision_loss)] // Sizes of pictures.
        let (width, height) = (chart.width as f32, chart.height as f32);
        let picture = svg(handle.clone()).width(Length::Fixed(width)).height(Length::Fixed(height));
        let area = mouse_area(picture)
            .on_move(move |at| on(Touch::Moved(place, at)))
            .on_exit(on(Touch::Left))
            .on_press(on(Touch::Pressed(place)));
        let is_over = is_on_something && over.is_some_and(|(own, _)| own == place);
        all = all.push(if is_over { area.interaction(iced::mouse::Interaction::Pointer) } else { area });
    }
    all
}
