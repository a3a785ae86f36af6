//! Transitions of a set: which state follows which, as a table with shades.

use super::Chart;
use super::letters::Font;
use super::look::{Colour, Look, ink_on};
use super::page::{LINE, MARGIN, Page, count, percent, plural};
use super::shapes::{Anchor, Area, Dash, Stroke, Style};
use crate::model::SessionId;
use crate::time::Micros;

/// Fewer transitions than this are not shown: they tell nothing yet.
pub(super) const ENOUGH: u32 = 5;

/// How often each state was followed by each other.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Matrix {
    /// Whose, when: begins the title.
    pub whose: String,
    /// Names of the states, in the ethogram's order.
    pub states: Vec<String>,
    /// Rows: the state before; columns: the one that followed.
    pub counts: Vec<Vec<u32>>,
    /// For each cell a moment at which it happened, where one is known.
    pub first: Vec<Vec<Option<(SessionId, Micros)>>>,
    /// Sessions they were counted in.
    pub sessions: usize,
}

impl Matrix {
    fn cell(&self, from: usize, to: usize) -> u32 {
        self.counts.get(from).and_then(|row| row.get(to)).copied().unwrap_or(0)
    }

    fn followed(&self, from: usize) -> u32 {
        self.counts.get(from).map_or(0, |row| row.iter().sum())
    }
}

/// A table of transitions: n, and the share of a state's followers as a shade; n below 5 hidden. A cell leads to
/// the first of its transitions.
#[must_use]
pub fn transitions(matrix: &Matrix, look: &Look) -> Chart {
    let title = format!("{}: what follows what", matrix.whose);
    let total: u32 = (0..matrix.states.len()).map(|state| matrix.followed(state)).sum();
    let n = matrix.states.len();
    if total == 0 || n == 0 {
        let missing = "No transition: fewer than two states followed each other in sight.";
        return Page::empty(look, &title, missing);
    }
    let hidden = matrix.counts.iter().flatten().filter(|count| (1..ENOUGH).contains(*count)).count();
    let caption = format!(
        "{} in {}, never across out of sight. Shade and share: of all that followed the state on the \
         left (n at the right). Dot: 1 to 4, too few to tell ({}); blank: never.",
        plural(total as usize, "transition"),
        plural(matrix.sessions, "session"),
        plural(hidden, "cell")
    );
    let mut page = Page::new(look, &title, &caption);
    let names = 150.0;
    let room = (page.canvas.width() - names - MARGIN - 60.0) / count(n);
    let side = room.clamp(40.0, 84.0);
    let style = Style::label(look.text);
    let longest = matrix.states.iter().map(|name| page.canvas.text_width(name, style)).fold(0.0, f64::max);
    let heads = longest.clamp(40.0, 180.0) + 12.0;
    let grid = Area::new(names, page.top + LINE + heads, side * count(n), side.min(52.0) * count(n));
    let row = side.min(52.0);
    page.canvas.text(grid.x, page.top + LINE / 2.0, "followed by", Style::label(look.quiet));
    let before = Style::label(look.quiet).anchored(Anchor::End);
    page.canvas.text(grid.x - 12.0, grid.y - 12.0, "after", before);
    page.canvas.text(grid.right() + 12.0, grid.y - 12.0, "n", Style::label(look.quiet));
    for (i, name) in matrix.states.iter().enumerate() {
        let (x, y) = (grid.x + (count(i) + 0.5) * side, grid.y + (count(i) + 0.5) * row);
        let short = page.canvas.cut(name, style, heads - 8.0);
        page.canvas.turned(x, grid.y - 8.0, &short, style);
        let _ = page.canvas.text_within(
            grid.x - 12.0,
            y,
            name,
            style.anchored(Anchor::End),
            names - 12.0 - MARGIN,
        );
        let sum = matrix.followed(i).to_string();
        page.canvas.text(grid.right() + 12.0, y, &sum, style);
    }
    for from in 0..n {
        for to in 0..n {
            let area = Area::new(grid.x + count(to) * side, grid.y + count(from) * row, side, row);
            draw_cell(&mut page, matrix, (from, to), area);
        }
    }
    let edge = Area::new(grid.x, grid.y, side * count(n), row * count(n));
    page.canvas.rect(edge, None, Some(Stroke::solid(look.quiet, 1.0)), 0.0);
    page.canvas.grow(grid.y + row * count(n) + MARGIN);
    page.finish()
}

fn draw_cell(page: &mut Page, matrix: &Matrix, (from, to): (usize, usize), area: Area) {
    let look = page.canvas.look;
    let n = matrix.cell(from, to);
    let hair = Some(Stroke::solid(look.line, 1.0));
    let (x, y) = (area.x + area.width / 2.0, area.middle());
    let middle = |colour: Colour| Style::label(colour).anchored(Anchor::Middle);
    if from == to && n == 0 {
        page.canvas.rect(area, Some(look.raised), hair, 0.0);
        let stroke = Stroke::dashed(look.quiet, 1.0, Dash::Short);
        page.canvas.line((area.x, area.y), (area.right(), area.bottom()), stroke);
        return;
    }
    if n < ENOUGH {
        page.canvas.rect(area, None, hair, 0.0);
        if n > 0 {
            page.canvas.circle(x, y, 2.5, Some(look.quiet), None);
        }
    } else {
        let share = f64::from(n) / f64::from(matrix.followed(from).max(1));
        let grey = between(look.panel, look.text, share * 0.85);
        page.canvas.rect(area, Some(grey), hair, 0.0);
        let ink = ink_on(grey);
        page.canvas.text(x, y - 8.0, &n.to_string(), middle(ink).set_in(Font::Medium));
        page.canvas.text(x, y + 10.0, &percent(share), middle(ink));
    }
    let place = matrix.first.get(from).and_then(|row| row.get(to)).and_then(Option::as_ref);
    if let Some((session, at)) = place.filter(|_| n > 0) {
        let name = |place: usize| matrix.states.get(place).map_or("", String::as_str);
        let words = format!("{} followed by {}: n {n}; leads to the first", name(from), name(to));
        page.canvas.hit(area, session, *at, words);
    }
}

/// A colour between two.
fn between(from: Colour, to: Colour, share: f64) -> Colour {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Between two bytes.
    let part =
        |a: u8, b: u8| (f64::from(a) + (f64::from(b) - f64::from(a)) * share.clamp(0.0, 1.0)).round() as u8;
    Colour(part(from.0, to.0), part(from.1, to.1), part(from.2, to.2))
}
