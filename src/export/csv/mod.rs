//! Comma-separated values after RFC 4180, with a dictionary as a Frictionless Data Package.
//!
//! A text that a spreadsheet would take for a formula is written with an apostrophe before it:
//! one whose first character, after any apostrophes, is `= + - @`, one of their full-width forms, a
//! tab or a line end. Reading takes exactly that apostrophe away again, so nothing is lost. Numbers are
//! written as they are: `-0.25` is a number and no formula.

pub(super) mod columns;
pub(super) mod measures;
pub(super) mod package;

use std::io::{self, Write};

use self::columns::Field;
use super::{Data, Sink};

/// A value of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Cell {
    /// Nothing is known.
    Missing,
    /// A text.
    Text(String),
    /// A number, a truth, a date: written as it is.
    Plain(String),
}

impl Cell {
    pub(super) fn text(text: impl AsRef<str>) -> Self {
        Self::Text(text.as_ref().to_owned())
    }

    pub(super) fn maybe(text: Option<impl AsRef<str>>) -> Self {
        text.map_or(Self::Missing, Self::text)
    }

    #[allow(clippy::needless_pass_by_value)] // Numbers, given as they are.
    pub(super) fn plain(value: impl ToString) -> Self {
        Self::Plain(value.to_string())
    }

    pub(super) fn known(value: Option<impl ToString>) -> Self {
        value.map_or(Self::Missing, Self::plain)
    }
}

/// Sign of the decimals, and the separator of cells that goes with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decimal {
    /// `0.25`, cells between commas: RFC 4180.
    #[default]
    Point,
    /// `0,25`, cells between semicolons: as spreadsheets in much of the world expect it.
    Comma,
}

impl Decimal {
    pub(super) const fn separator(self) -> char {
        match self {
            Self::Point => ',',
            Self::Comma => ';',
        }
    }

    /// Of the table a text holds: what stands between the names of its columns.
    pub(super) fn of(text: &str) -> Self {
        let head = text.trim_start_matches(['\u{feff}', '\r', '\n']).lines().next().unwrap_or_default();
        let count = |own: char| head.matches(own).count();
        if count(';') > count(',') { Self::Comma } else { Self::Point }
    }
}

/// Writes the tables and their dictionary.
///
/// # Errors
/// When the sink can't take them.
pub fn write(data: &Data, decimal: Decimal, sink: &mut dyn Sink) -> io::Result<()> {
    let summary = data.summary();
    sink.file("marks.csv", &mut |out| {
        let fields = columns::marks();
        head(out, decimal, &fields)?;
        data.codings.iter().filter_map(|entry| columns::CodingRow::of(data, entry)).try_for_each(|coding| {
            coding
                .entry
                .coding
                .marks
                .iter()
                .try_for_each(|mark| row(out, decimal, &fields, &columns::MarkRow::of(coding, mark)))
        })
    })?;
    sink.file("codings.csv", &mut |out| {
        let fields = columns::codings();
        head(out, decimal, &fields)?;
        let mut rows = data.codings.iter().filter_map(|entry| columns::CodingRow::of(data, entry));
        rows.try_for_each(|coding| row(out, decimal, &fields, &coding))
    })?;
    sink.file("sessions.csv", &mut |out| {
        let fields = columns::sessions();
        head(out, decimal, &fields)?;
        data.sessions.iter().try_for_each(|session| {
            row(out, decimal, &fields, &columns::SessionRow { study: &data.study, session })
        })
    })?;
    sink.file("presentations.csv", &mut |out| {
        let fields = measures::presentations_columns();
        head(out, decimal, &fields)?;
        measures::presentations(&summary).try_for_each(|one| row(out, decimal, &fields, &one))
    })?;
    sink.file("measures.csv", &mut |out| {
        let fields = measures::measures();
        head(out, decimal, &fields)?;
        measures::all(&summary).iter().try_for_each(|one| row(out, decimal, &fields, one))
    })?;
    let package = package::of(data, decimal);
    sink.file("datapackage.json", &mut |out| {
        serde_json::to_writer_pretty(&mut *out, &package)?;
        writeln!(out)
    })
}

fn head<R>(out: &mut dyn Write, decimal: Decimal, fields: &[Field<R>]) -> io::Result<()> {
    let names: Vec<&str> = fields.iter().map(|field| field.name).collect();
    write!(out, "{}\r\n", names.join(&decimal.separator().to_string()))
}

fn row<R>(out: &mut dyn Write, decimal: Decimal, fields: &[Field<R>], value: &R) -> io::Result<()> {
    for (i, field) in fields.iter().enumerate() {
        if i > 0 {
            write!(out, "{}", decimal.separator())?;
        }
        match (field.value)(value) {
            Cell::Missing => {}
            Cell::Plain(text) if decimal == Decimal::Comma && field.kind == columns::Type::Number => {
                out.write_all(text.replace('.', ",").as_bytes())?;
            }
            Cell::Plain(text) => out.write_all(text.as_bytes())?,
            Cell::Text(text) => out.write_all(quoted(&guarded(&text)).as_bytes())?,
        }
    }
    out.write_all(b"\r\n")
}

/// Whether a spreadsheet would take a text for a formula, or would if it were not guarded.
fn looks_like_formula(text: &str) -> bool {
    let first = text.trim_start_matches('\'').chars().next();
    first.is_some_and(|c| "=+-@\t\r\n＝＋－＠".contains(c))
}

/// A text that no spreadsheet calculates.
fn guarded(text: &str) -> String {
    // A NUL ends the text for many readers.
    let text = text.replace('\0', "\u{fffd}");
    if looks_like_formula(&text) { format!("'{text}") } else { text }
}

/// The text a guarded one was made from.
pub(super) fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if looks_like_formula(text) => rest,
        _ => text,
    }
}

/// A field of comma-separated values (RFC 4180) that no spreadsheet calculates; a number stays one.
#[must_use]
pub fn field(text: &str) -> String {
    if text.parse::<f64>().is_ok() { text.to_owned() } else { quoted(&guarded(text)) }
}

fn quoted(text: &str) -> String {
    let needs =
        text.contains([',', ';', '"', '\n', '\r', '\t']) || text.starts_with(' ') || text.ends_with(' ');
    if needs { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

/// Reads comma-separated values, or semicolon-separated ones, as the first line tells: each row with the number of its first line. Line ends of all
/// kinds, a byte order mark and rows of any length are taken.
///
/// # Errors
/// The line of a quote that never ends.
pub fn parse(text: &str) -> Result<Vec<(usize, Vec<String>)>, usize> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let separator = Decimal::of(text).separator();
    let mut rows = Vec::new();
    let (mut row, mut cell): (Vec<String>, String) = (Vec::new(), String::new());
    let (mut line, mut row_line, mut quote_line) = (1, 1, 1);
    let (mut in_quotes, mut had_any) = (false, false);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        if in_quotes {
            match c {
                '"' if chars.peek() == Some(&'"') => {
                    cell.push('"');
                    let _ = chars.next();
                }
                '"' => in_quotes = false,
                c => {
                    line += usize::from(c == '\n');
                    cell.push(c);
                }
            }
            continue;
        }
        match c {
            '"' if cell.is_empty() => (in_quotes, had_any, quote_line) = (true, true, line),
            c if c == separator => {
                row.push(std::mem::take(&mut cell));
                had_any = true;
            }
            '\r' | '\n' => {
                if c == '\r' && chars.peek() == Some(&'\n') {
                    let _ = chars.next();
                }
                line += 1;
                if had_any || !cell.is_empty() {
                    row.push(std::mem::take(&mut cell));
                    rows.push((row_line, std::mem::take(&mut row)));
                }
                (had_any, row_line) = (false, line);
            }
            c => cell.push(c),
        }
    }
    if in_quotes {
        return Err(quote_line);
    }
    if had_any || !cell.is_empty() {
        row.push(cell);
        rows.push((row_line, row));
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_is_guarded_and_comes_back_as_it_was() {
        for text in ["=1+1", "+1", "-1", "@a", "'=1", "''=1", "'", "'a", "", "a=1", "\tx", "＝1", " =1"] {
            let safe = guarded(text);
            assert!(!"=+-@\t＝".contains(safe.chars().next().unwrap_or('a')), "{text:?} -> {safe:?}");
            assert_eq!(unguarded(&safe), text);
        }
    }

    #[test]
    fn a_field_is_guarded_and_a_number_is_not() {
        for (text, wanted) in [
            ("-0.25", "-0.25"),
            ("1e-9", "1e-9"),
            ("", ""),
            ("K-07", "K-07"),
            ("=HYPERLINK(\"http://x\")", "\"'=HYPERLINK(\"\"http://x\"\")\""),
            ("-1+1", "'-1+1"),
            ("a\tb", "\"a\tb\""),
        ] {
            assert_eq!(field(text), wanted);
        }
    }

    #[test]
    fn quotes_line_ends_and_commas_come_back() {
        let cells = ["a,b", "say \"no\"", "two\nlines", "cr\ronly", " edge ", "", "plain"];
        let line = cells.map(quoted).join(",");
        let read = parse(&format!("{line}\r\n{line}")).unwrap();
        assert_eq!(read.len(), 2);
        assert!(read.iter().all(|(_, row)| *row == cells));
        assert_eq!(parse("a\n\"b").unwrap_err(), 2);
        assert_eq!(
            parse("\u{feff}a\n\n,\n").unwrap(),
            [(1, vec!["a".to_owned()]), (3, vec![String::new(); 2])]
        );
    }
}
