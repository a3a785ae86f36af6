//! Transitions of a set as a diagram: the states around a ring, arrows from each to what followed it.

use super::Chart;
use super::letters::Font;
use super::look::Look;
use super::page::{LINE, MARGIN, Page, count, plural};
use super::shapes::{Anchor, Area, Dash, Stroke, Style};
use super::transitions::{ENOUGH, Matrix};

/// Beyond this an adjusted residual stands out at 5 %, one cell looked at alone.
const STANDS_OUT: f64 = 1.96;
/// Half the height of a state's box.
const HALF: f64 = 22.0;
/// Half the distance between an arrow and the one that comes back.
const APART: f64 = 9.0;
/// Widest arrow.
const WIDEST: f64 = 9.0;

/// A diagram of transitions. Width of an arrow: how often; its line: how it stands to chance, from adjusted
/// residuals (`None`: not reckoned). What happened less than five times is not drawn but counted in the
/// caption. The number on an arrow leads to the first of its transitions.
#[must_use]
pub fn follow(matrix: &Matrix, adjusted: Option<&[Vec<Option<f64>>]>, look: &Look) -> Chart {
    let title = format!("{}: from state to state", matrix.whose);
    let most = matrix.counts.iter().flatten().copied().max().unwrap_or(0);
    let total: u32 = matrix.counts.iter().flatten().sum();
    if most < ENOUGH {
        let missing = format!(
            "{}: no state followed another {ENOUGH} times or more, so no arrow tells anything yet.",
            plural(total as usize, "transition")
        );
        return Page::empty(look, &title, &missing);
    }
    let few: Vec<u32> = matrix.counts.iter().flatten().copied().filter(|n| (1..ENOUGH).contains(n)).collect();
    let against = if adjusted.is_some() {
        "Solid: more often than chance (adjusted residual above 1.96); short dashes: less often; long dashes: as chance \
         would have it. Of many arrows some stand out by chance alone."
    } else {
        "What chance would give can't be reckoned."
    };
    let caption = format!(
        "{} in {}, never across out of sight. Number and width: how often. {against} No arrow: never, or 1 to 4 times \
         ({}). No state can follow itself: touching bouts are one.",
        plural(total as usize, "transition"),
        plural(matrix.sessions, "session"),
        plural(few.len(), "pair")
    );
    let mut page = Page::new(look, &title, &caption);
    let states = count(matrix.states.len());
    let height = (states * 62.0).clamp(240.0, 520.0);
    let middle = (page.canvas.width() / 2.0, page.top + LINE + HALF + height / 2.0);
    let ring = (page.canvas.width() / 2.0 - 110.0 - MARGIN, height / 2.0);
    let style = Style::label(look.text);
    let boxes: Vec<Area> = matrix
        .states
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let turn = std::f64::consts::TAU * (count(i) / states - 0.25);
            let width = (page.canvas.text_width(name, style) + 24.0).clamp(72.0, 200.0);
            let (x, y) = (middle.0 + ring.0 * turn.cos(), middle.1 + ring.1 * turn.sin());
            Area::new(x - width / 2.0, y - HALF, width, 2.0 * HALF)
        })
        .collect();
    // Thin ones first, so that what happened often lies on top.
    let mut arrows: Vec<(u32, usize, usize)> = Vec::new();
    for (from, row) in matrix.counts.iter().enumerate() {
        let drawn = row.iter().enumerate().filter(|(to, n)| **n >= ENOUGH && *to != from);
        arrows.extend(drawn.map(|(to, n)| (*n, from, to)));
    }
    arrows.sort_unstable();
    let mut labels = Vec::new();
    for (n, from, to) in arrows {
        let (Some(a), Some(b)) = (boxes.get(from), boxes.get(to)) else { continue };
        let residual = adjusted.and_then(|all| all.get(from)).and_then(|row| row.get(to)).copied().flatten();
        let width = (WIDEST * f64::from(n) / f64::from(most)).max(1.5);
        if let Some(place) = arrow(&mut page, (*a, *b), width, residual) {
            labels.push((n, from, to, place, residual));
        }
    }
    for (n, from, to, (x, y), residual) in labels {
        let words = n.to_string();
        let width = page.canvas.text_width(&words, style) + 8.0;
        let area = Area::new(x - width / 2.0, y - 9.0, width, 18.0);
        page.canvas.rect(area, Some(look.panel), Some(Stroke::solid(look.line, 1.0)), 4.0);
        page.canvas.text(x, y, &words, style.anchored(Anchor::Middle));
        let place = matrix.first.get(from).and_then(|row| row.get(to)).and_then(Option::as_ref);
        if let Some((session, at)) = place {
            let name = |place: usize| matrix.states.get(place).map_or("", String::as_str);
            let chance = residual.map_or_else(String::new, |own| format!(", adjusted residual {own:+.1}"));
            let words = format!("{} followed by {}: n {n}{chance}; leads to the first", name(from), name(to));
            page.canvas.hit(area, session, *at, words);
        }
    }
    for (i, (name, area)) in matrix.states.iter().zip(&boxes).enumerate() {
        page.canvas.rect(*area, Some(look.raised), Some(Stroke::solid(look.text, 1.5)), 6.0);
        let x = area.x + area.width / 2.0;
        let short = page.canvas.cut(name, style, area.width - 12.0);
        let centred = style.anchored(Anchor::Middle);
        page.canvas.text(x, area.middle() - 8.0, &short, centred.set_in(Font::Medium));
        let followed: u32 = matrix.counts.get(i).map_or(0, |row| row.iter().sum());
        let quiet = Style::label(look.quiet).anchored(Anchor::Middle);
        page.canvas.text(x, area.middle() + 10.0, &format!("left {followed}×"), quiet);
    }
    page.canvas.grow(middle.1 + height / 2.0 + HALF + MARGIN);
    page.finish()
}

/// An arrow between two boxes, beside the straight line so that the way back has room; where its number goes.
fn arrow(page: &mut Page, (a, b): (Area, Area), width: f64, residual: Option<f64>) -> Option<(f64, f64)> {
    let look = page.canvas.look;
    let centre = |area: Area| (area.x + area.width / 2.0, area.middle());
    let ((ax, ay), (bx, by)) = (centre(a), centre(b));
    let length = (bx - ax).hypot(by - ay);
    if length < 1.0 {
        return None;
    }
    let (dx, dy) = ((bx - ax) / length, (by - ay) / length);
    let aside = (-dy * APART, dx * APART);
    // From the centre of a box to its edge along the line.
    let edge = |area: Area| {
        let across = if dx.abs() > 1e-9 { area.width / 2.0 / dx.abs() } else { f64::INFINITY };
        let up = if dy.abs() > 1e-9 { area.height / 2.0 / dy.abs() } else { f64::INFINITY };
        across.min(up)
    };
    let (start, tip) = (edge(a), length - edge(b) - 2.0);
    let head = 8.0 + width;
    if tip - head <= start {
        return None;
    }
    let at = |along: f64, side: f64| {
        (ax + dx * along + aside.0 - dy * side, ay + dy * along + aside.1 + dx * side)
    };
    let dash = match residual {
        Some(own) if own > STANDS_OUT => Dash::Solid,
        Some(own) if own < -STANDS_OUT => Dash::Short,
        Some(_) => Dash::Long,
        None => Dash::Solid,
    };
    let ink = if dash == Dash::Solid { look.text } else { look.quiet };
    page.canvas.line(at(start, 0.0), at(tip - head, 0.0), Stroke::dashed(ink, width, dash));
    let half = 4.0 + width / 2.0;
    page.canvas.shape(&[at(tip, 0.0), at(tip - head, half), at(tip - head, -half)], Some(ink), None);
    Some(at(start + (tip - start) * 0.38, 0.0))
}
