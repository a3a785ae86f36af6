//! How wide the columns of a printed table are. The typesetter could find it out, but only by setting every cell twice
//! over: of long tables that was most of the work.

use std::cell::RefCell;
use std::collections::BTreeMap;

use typst::text::Font;

use super::super::document::{Align, Rows, Span, Table, Text};
use super::RUN;

/// Size of the letters in a table, in points; the template has the same.
const SIZE: f64 = 8.5;
/// Left and right of a cell's text, and a hair for rounding.
const AROUND: f64 = 8.5;

/// Widths of letters.
pub(super) struct Widths<'f> {
    regular: &'f [Font],
    known: RefCell<BTreeMap<(char, bool), f64>>,
}

impl<'f> Widths<'f> {
    /// Of the fonts in the order in which letters are looked for; the second is the stronger one.
    pub(super) fn new(fonts: &'f [Font]) -> Self {
        Self { regular: fonts, known: RefCell::default() }
    }

    fn letter(&self, letter: char, strong: bool) -> f64 {
        *self.known.borrow_mut().entry((letter, strong)).or_insert_with(|| {
            let first = usize::from(strong);
            let fonts = self.regular.iter().skip(first).chain(self.regular);
            let advance = |font: &Font| {
                let face = font.ttf();
                let advance = face.glyph_hor_advance(face.glyph_index(letter)?)?;
                Some(f64::from(advance) / f64::from(face.units_per_em()))
            };
            // What no font has is printed as a box.
            fonts.into_iter().find_map(advance).unwrap_or(0.8) * SIZE
        })
    }

    fn text(&self, text: &str, strong: bool) -> f64 {
        text.chars().map(|letter| self.letter(letter, strong)).sum()
    }

    /// Widths of the longest word and of the longest line.
    fn of(&self, text: &str, strong: bool) -> (f64, f64) {
        let (mut word, mut line) = (0.0_f64, 0.0_f64);
        for own in text.split('\n') {
            line = line.max(self.text(own, strong));
            for own in own.split_whitespace() {
                // Longer runs may break.
                let end = own.char_indices().nth(RUN).map_or(own.len(), |(at, _)| at);
                word = word.max(self.text(own.get(..end).unwrap_or(own), strong));
            }
        }
        (word, line)
    }

    fn cell(&self, text: &Text) -> (f64, f64) {
        let mut whole = String::new();
        for span in &text.0 {
            match span {
                Span::Plain(words) | Span::Strong(words) | Span::Given(words) => whole.push_str(words),
                Span::Why(words) => {
                    whole.push('(');
                    whole.push_str(words);
                    whole.push(')');
                }
                Span::Moment(moment) => whole.push_str(&moment.clock),
            }
        }
        self.of(&whole, false)
    }
}

/// Widths of a table's columns in points, for a page of a width: what each column wants, if there is room for it; else
/// each its longest word, and what is left goes first to those that lack least.
pub(super) fn of(table: &Table, page: f64, widths: &Widths<'_>) -> Vec<f64> {
    let mut wishes: Vec<(f64, f64)> = table.columns.iter().map(|own| widths.of(own.head, true)).collect();
    for row in &table.rows {
        for ((wish, cell), column) in wishes.iter_mut().zip(row).zip(&table.columns) {
            let (word, line) = widths.cell(cell);
            // A number is never torn from its unit; a reason that stands for one may be.
            let is_number = column.align == Align::Numbers && cell.0.len() < 2;
            *wish = (wish.0.max(if is_number { line } else { word }), wish.1.max(line));
        }
    }
    let wishes: Vec<(f64, f64)> =
        wishes.into_iter().map(|(word, line)| (word + AROUND, line.max(word) + AROUND)).collect();
    let mut given = share(&wishes, page);
    if table.rows_for == Rows::FillingIn {
        // People write larger than we print.
        #[allow(clippy::cast_precision_loss)] // A dozen columns.
        let more = (page - given.iter().sum::<f64>()) / given.len().max(1) as f64;
        for own in &mut given {
            *own += more;
        }
    }
    given
}

fn share(wishes: &[(f64, f64)], page: f64) -> Vec<f64> {
    let least: f64 = wishes.iter().map(|wish| wish.0).sum();
    let whole: f64 = wishes.iter().map(|wish| wish.1).sum();
    if whole <= page {
        return wishes.iter().map(|wish| wish.1).collect();
    }
    if least >= page {
        return wishes.iter().map(|wish| wish.0 * page / least).collect();
    }
    let mut given: Vec<f64> = wishes.iter().map(|wish| wish.0).collect();
    let mut left = page - least;
    let mut order: Vec<usize> = (0..wishes.len()).collect();
    let lacks = |at: &usize| wishes.get(*at).map_or(0.0, |wish| wish.1 - wish.0);
    order.sort_by(|a, b| lacks(a).total_cmp(&lacks(b)));
    let mut waiting = wishes.len();
    for at in order {
        #[allow(clippy::cast_precision_loss)] // A dozen columns.
        let more = lacks(&at).min(left / waiting as f64);
        if let Some(own) = given.get_mut(at) {
            *own += more;
        }
        left -= more;
        waiting -= 1;
    }
    given
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: &[f64], wanted: &[f64]) {
        assert_eq!(found.len(), wanted.len());
        for (a, b) in found.iter().zip(wanted) {
            assert!((a - b).abs() < 1e-9, "{found:?} {wanted:?}");
        }
    }

    #[test]
    fn columns_get_what_they_want_or_share_what_there_is() {
        close(&share(&[(10.0, 20.0), (10.0, 50.0)], 100.0), &[20.0, 50.0]);
        // The narrow one whole, the two long ones alike.
        close(&share(&[(10.0, 20.0), (10.0, 500.0), (20.0, 400.0)], 100.0), &[20.0, 35.0, 45.0]);
        close(&share(&[(60.0, 80.0), (60.0, 70.0)], 100.0), &[50.0, 50.0]);
    }

    #[test]
    fn a_word_of_any_length_takes_no_more_than_a_run() {
        let fonts = super::super::fonts();
        let widths = Widths::new(&fonts);
        let (word, line) = widths.of(&"x".repeat(3_000), false);
        assert!(word < 120.0 && line > 3_000.0, "{word} {line}");
        assert!(widths.of("Wide", true).0 > widths.of("Wide", false).0 * 0.99);
    }
}
