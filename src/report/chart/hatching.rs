//! Patterns as lines cut to a rectangle: no `<pattern>`, whose id would clash when two charts stand in
//! one document. Neighbours continue each other, because lines lie at multiples of their distance.

use std::fmt::Write as _;

use super::canvas::number;
use super::look::Pattern;
use super::shapes::Area;

/// Path data of a pattern, and how wide its lines are.
pub(super) fn of(area: Area, pattern: Pattern) -> (String, f64) {
    let mut data = String::new();
    let width = match pattern {
        Pattern::Plain => 0.0,
        Pattern::Dots => {
            dots(&mut data, area);
            2.4
        }
        Pattern::Rows => {
            rows(&mut data, area, 5.0);
            1.2
        }
        Pattern::Columns => {
            columns(&mut data, area, 5.0);
            1.2
        }
        Pattern::Grid => {
            rows(&mut data, area, 6.0);
            columns(&mut data, area, 6.0);
            1.0
        }
        Pattern::Hatch => {
            diagonals(&mut data, area, 6.0, 1.0);
            1.4
        }
        Pattern::Cross => {
            diagonals(&mut data, area, 6.0, 1.0);
            diagonals(&mut data, area, 6.0, -1.0);
            1.4
        }
        Pattern::Broad => {
            diagonals(&mut data, area, 10.0, 1.0);
            2.2
        }
    };
    (data, width)
}

fn segment(data: &mut String, from: (f64, f64), to: (f64, f64)) {
    let _ = write!(data, "M{} {}L{} {}", number(from.0), number(from.1), number(to.0), number(to.1));
}

/// Multiples of `step` within a stretch: patterns of neighbours continue each other.
fn multiples(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let mut next = (from / step).ceil() * step;
    std::iter::from_fn(move || {
        let own = next;
        next += step;
        (own < to).then_some(own)
    })
}

fn rows(data: &mut String, area: Area, step: f64) {
    for y in multiples(area.y + 1.0, area.bottom() - 0.5, step) {
        segment(data, (area.x, y), (area.right(), y));
    }
}

fn columns(data: &mut String, area: Area, step: f64) {
    for x in multiples(area.x + 1.0, area.right() - 0.5, step) {
        segment(data, (x, area.y), (x, area.bottom()));
    }
}

fn dots(data: &mut String, area: Area) {
    for (row, y) in multiples(area.y + 1.5, area.bottom() - 1.0, 4.0).enumerate() {
        let shift = if row % 2 == 0 { 0.0 } else { 3.0 };
        for x in multiples(area.x + 1.5 - shift, area.right() - 1.0 - shift, 6.0) {
            segment(data, (x + shift, y), (x + shift + 0.01, y));
        }
    }
}

/// Lines x ∓ y = c, cut to the area.
fn diagonals(data: &mut String, area: Area, step: f64, way: f64) {
    let (top, bottom) = (area.y, area.bottom());
    if way > 0.0 {
        for c in multiples(area.x + top, area.right() + bottom, step) {
            let (from, to) = (area.x.max(c - bottom), area.right().min(c - top));
            if to > from {
                segment(data, (from, c - from), (to, c - to));
            }
        }
    } else {
        for c in multiples(area.x - bottom, area.right() - top, step) {
            let (from, to) = (area.x.max(c + top), area.right().min(c + bottom));
            if to > from {
                segment(data, (from, from - c), (to, to - c));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_leaves_its_rectangle() {
        let area = Area::new(13.0, 7.0, 31.0, 18.0);
        for pattern in [
            Pattern::Dots,
            Pattern::Rows,
            Pattern::Columns,
            Pattern::Grid,
            Pattern::Hatch,
            Pattern::Cross,
            Pattern::Broad,
        ] {
            let (data, width) = of(area, pattern);
            assert!(width > 0.0 && !data.is_empty(), "{pattern:?}");
            for point in data.split(['M', 'L']).filter(|point| !point.is_empty()) {
                let (x, y) = point.split_once(' ').unwrap();
                let (x, y): (f64, f64) = (x.parse().unwrap(), y.parse().unwrap());
                assert!((13.0..=44.02).contains(&x) && (7.0..=25.0).contains(&y), "{pattern:?} {x} {y}");
            }
        }
        assert_eq!(of(area, Pattern::Plain).0, "");
    }
}
