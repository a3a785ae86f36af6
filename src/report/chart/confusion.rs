//! The table of a set in seconds as a heat map: what one coder held while the other held what.

use super::Chart;
use super::letters::Font;
use super::look::{Colour, Look, ink_on};
use super::page::{MARGIN, Page, count};
use super::shapes::{Anchor, Area, Stroke, Style};
use crate::agreement::align::NO_STATE;
use crate::agreement::differences::{Apart, Place};
use crate::agreement::pair::{PairAgreement, SetAgreement};
use crate::model::SessionId;

/// Height of a cell.
const HEIGHT: f64 = 34.0;
/// A cell is never narrower; below it nobody reads the number.
const NARROWEST: f64 = 46.0;
/// Nor wider: a table of two labels stays a table.
const WIDEST: f64 = 120.0;
/// The strongest shade: the letters on it must still be read.
const STRONGEST: f64 = 0.8;

/// One set of a pair. Rows are the first coder's, columns the second's; the stronger the shade of a cell,
/// the larger its share of its row. A cell beside the diagonal leads to the longest such difference.
#[must_use]
pub fn confusion(
    found: &PairAgreement,
    set: &SetAgreement,
    name: &dyn Fn(&str) -> String,
    look: &Look,
) -> Chart {
    let title = format!("{}, seconds", name(&set.set));
    if set.compared_s <= 0.0 {
        let why = set.why.as_deref().unwrap_or("no time is compared");
        return Page::empty(look, &title, &format!("No table: {why}."));
    }
    let cell = |i: usize, j: usize| set.table_s.get(i).and_then(|row| row.get(j)).copied().unwrap_or(0.0);
    let places = 0..set.labels.len();
    let row = |i: usize| places.clone().map(|j| cell(i, j)).sum::<f64>();
    let column = |j: usize| places.clone().map(|i| cell(i, j)).sum::<f64>();
    let (seen, absent): (Vec<usize>, Vec<usize>) =
        places.clone().partition(|i| row(*i) > 0.0 || column(*i) > 0.0);
    let named = |place: usize| {
        set.labels
            .get(place)
            .map_or_else(String::new, |id| if id == NO_STATE { "no state".to_owned() } else { name(id) })
    };
    let mut caption = format!(
        "Rows {}, columns {}; {:.1} s compared. The stronger the shade, the larger the share of its row; framed: both the same.",
        found.first_by, found.second_by, set.compared_s
    );
    let absent: Vec<String> = absent.into_iter().map(named).collect();
    if !absent.is_empty() {
        caption = format!("{caption} Did not occur: {}.", absent.join(", "));
    }
    let mut page = Page::new(look, &title, &caption);
    let label = Style::label(look.text);
    let widest = seen.iter().map(|i| page.canvas.text_width(&named(*i), label)).fold(0.0, f64::max);
    let left = MARGIN + (widest + 12.0).min(page.canvas.width() * 0.28);
    let room = page.canvas.width() - MARGIN - left;
    // One more column and row for the sums.
    let width = (room / (count(seen.len()) + 1.0)).clamp(NARROWEST, WIDEST);
    let heads: Vec<Vec<String>> =
        seen.iter().map(|i| page.canvas.lines(&named(*i), label, width - 6.0)).collect();
    let most = heads.iter().map(Vec::len).max().unwrap_or(1).min(3);
    let top = page.top + count(most) * 18.0 + 10.0;
    let middle = label.anchored(Anchor::Middle);
    let at = |j: usize| left + count(j) * width;
    for (j, lines) in heads.iter().enumerate() {
        let lines = lines.iter().take(most);
        let first = top - 14.0 - count(lines.len().saturating_sub(1)) * 18.0;
        for (k, line) in lines.enumerate() {
            let text = page.canvas.cut(line, middle, width - 4.0);
            page.canvas.text(at(j) + width / 2.0, first + count(k) * 18.0, &text, middle);
        }
    }
    let quiet = middle.set_in(Font::Medium);
    page.canvas.text(at(seen.len()) + width / 2.0, top - 14.0, "first", quiet);
    for (i, own) in seen.iter().enumerate() {
        let y = top + count(i) * HEIGHT;
        let sum = row(*own);
        let _ = page.canvas.text_within(MARGIN, y + HEIGHT / 2.0, &named(*own), label, left - MARGIN - 8.0);
        for (j, other) in seen.iter().enumerate() {
            let seconds = cell(*own, *other);
            let share = if sum > 0.0 { seconds / sum } else { 0.0 };
            let fill = blend(look.panel, look.text, share * STRONGEST);
            let area = Area::new(at(j) + 1.0, y + 1.0, width - 2.0, HEIGHT - 2.0);
            page.canvas.rect(area, Some(fill), Some(Stroke::solid(look.line, 1.0)), 0.0);
            let words = if seconds > 0.0 { figure(seconds) } else { "·".to_owned() };
            let ink = middle_on(fill);
            page.canvas.text(area.x + area.width / 2.0, area.middle(), &words, ink);
            if own == other {
                let inner = Area::new(area.x + 1.0, area.y + 1.0, area.width - 2.0, area.height - 2.0);
                page.canvas.rect(inner, None, Some(Stroke::solid(look.text, 2.0)), 0.0);
            } else if let Some(apart) = longest(found, set, *own, *other) {
                let words = format!(
                    "{} and {}: {} s; the longest of it at {}",
                    named(*own),
                    named(*other),
                    figure(seconds),
                    apart.span.from.clock()
                );
                let session = SessionId::from(found.session.as_str());
                page.canvas.hit(area, &session, apart.span.from, words);
            }
        }
        page.canvas.text(at(seen.len()) + width / 2.0, y + HEIGHT / 2.0, &figure(sum), middle);
    }
    let below = top + count(seen.len()) * HEIGHT + HEIGHT / 2.0;
    page.canvas.text(MARGIN, below, "second", label.set_in(Font::Medium));
    for (j, other) in seen.iter().enumerate() {
        page.canvas.text(at(j) + width / 2.0, below, &figure(column(*other)), middle);
    }
    page.canvas.text(at(seen.len()) + width / 2.0, below, &figure(set.compared_s), middle);
    page.canvas.grow(below + HEIGHT / 2.0 + MARGIN / 2.0);
    page.finish()
}

/// The longest difference of a cell: the list has them by length.
fn longest<'a>(found: &'a PairAgreement, set: &SetAgreement, i: usize, j: usize) -> Option<&'a Apart> {
    let (first, second) = (set.labels.get(i)?, set.labels.get(j)?);
    found.differences.list.iter().find(|own| {
        matches!(&own.place, Place::Set(id) | Place::State(id) if *id == set.set)
            && own.first.as_deref().unwrap_or(NO_STATE) == first
            && own.second.as_deref().unwrap_or(NO_STATE) == second
    })
}

fn middle_on(fill: Colour) -> Style {
    Style::label(ink_on(fill)).anchored(Anchor::Middle)
}

/// Seconds as a cell has room for.
fn figure(seconds: f64) -> String {
    if seconds >= 999.95 { format!("{seconds:.0}") } else { format!("{seconds:.1}") }
}

/// From one colour part of the way to another.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Between two bytes.
fn blend(from: Colour, to: Colour, share: f64) -> Colour {
    let share = share.clamp(0.0, 1.0);
    let part = |a: u8, b: u8| (f64::from(a) + (f64::from(b) - f64::from(a)) * share).round() as u8;
    Colour(part(from.0, to.0), part(from.1, to.1), part(from.2, to.2))
}
