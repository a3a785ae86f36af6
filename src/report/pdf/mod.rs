//! A document as PDF, set by a typesetter: pages with numbers, contents, heads of tables repeated, charts as
//! vectors, tagged for screen readers (PDF/UA-1).
//!
//! The document goes to the typesetter as data beside a fixed template, so that nothing a person wrote is
//! read as markup. Fonts are the bundled ones: the same input gives the same bytes on every machine. What
//! neither of them can write (Arabic, Hebrew, East Asian scripts, emoji in colour) is printed as a
//! box; [`missing`] says which characters those are, and HTML shows them.

mod columns;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use chrono::{Datelike, NaiveDate};
use serde_json::{Value, json};
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Smart};
use typst::layout::PagedDocument;
use typst::syntax::{FileId, Source, VirtualPath};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

use self::columns::Widths;
use super::document::{
    Align, Block, Column, Document, Figure, Rows, Section, Span, Still, Table, Text, may_break_before,
};
use super::html::still_words;

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 × 297 mm.
    #[default]
    A4,
    /// 8.5 × 11 inches.
    Letter,
}

impl Paper {
    /// Between the margins of the template, in millimetres.
    fn width(self) -> f64 {
        match self {
            Self::A4 => 170.0,
            Self::Letter => 175.9,
        }
    }
}

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The typesetter refused; nothing a person can mend.
    #[error("the report could not be set: {0}; write F.html meanwhile, and tell the developers")]
    Set(String),
}

const TEMPLATE: &str = include_str!("report.typ");

/// Letters of a run without a space, after which it may break.
const RUN: usize = 24;

/// Between two columns of a page, in points.
const GUTTER: f64 = 18.0;

/// About so many rows fill a page.
const A_PAGE: usize = 60;

/// Rows of all tables of a section.
fn rows(section: &Section) -> usize {
    let own = |block: &Block| if let Block::Table(table) = block { table.rows.len() } else { 0 };
    section.blocks.iter().map(own).sum()
}

/// Rows of a table that is kept on one page.
const SHORT: usize = 14;

/// The document as PDF.
///
/// # Errors
/// When the typesetter refuses it.
pub fn bytes(document: &Document, paper: Paper) -> Result<Vec<u8>, Error> {
    let desk = Desk::new(document, paper);
    let set = typst::compile::<PagedDocument>(&desk).output.map_err(|errors| first(&errors))?;
    let standards = PdfStandards::new(&[PdfStandard::Ua_1]).map_err(|error| Error::Set(error.to_string()))?;
    let ident = format!("shedlight report {} {} {}", document.title, document.subtitle, document.date);
    let options = PdfOptions {
        ident: Smart::Custom(&ident),
        timestamp: day(document.date).map(Timestamp::new_utc),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&set, &options).map_err(|errors| first(&errors))
}

/// About how long the typesetter takes here, for who waits: a slower computer needs longer.
#[must_use]
pub fn expected(document: &Document) -> Duration {
    let mut micros = 300_000;
    for section in &document.sections {
        for block in &section.blocks {
            micros += match block {
                Block::Table(table) => CELL * table.rows.len() * table.columns.len(),
                Block::Figure(figure) => figure.svg.len() / BYTES,
                _ => PIECE,
            };
        }
    }
    Duration::from_micros(u64::try_from(micros).unwrap_or(u64::MAX))
}

/// Microseconds for a cell, for another piece of text, and bytes of a chart for each, as measured on two cores.
const CELL: usize = 200;
const PIECE: usize = 1_000;
const BYTES: usize = 10;

fn first(errors: &[typst::diag::SourceDiagnostic]) -> Error {
    let words = errors.first().map(|error| {
        let hints: Vec<String> = error.hints.iter().map(ToString::to_string).collect();
        format!("{} {}", error.message, hints.join("; ")).trim_end().to_owned()
    });
    Error::Set(words.unwrap_or_else(|| "no reason given".to_owned()))
}

/// Characters of the document that no bundled font can write.
#[must_use]
pub fn missing(document: &Document) -> BTreeSet<char> {
    let mut found = BTreeSet::new();
    let fonts = fonts();
    let mut data = data(document, Paper::A4, &fonts, &mut BTreeMap::new());
    each_text(&mut data, &mut |text| {
        found.extend(text.chars().filter(|letter| !can_write(&fonts, *letter)));
    });
    found
}

/// Does something with every text that is set; not with addresses and the template's own words.
fn each_text(value: &mut Value, with: &mut dyn FnMut(&mut String)) {
    match value {
        Value::String(text) => with(text),
        Value::Array(all) => all.iter_mut().for_each(|own| each_text(own, with)),
        Value::Object(all) => {
            let own_words = ["url", "path", "kind", "k", "id", "paper", "language"];
            for (_, own) in all.iter_mut().filter(|(key, _)| !own_words.contains(&key.as_str())) {
                each_text(own, with);
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// Whether a letter is in one of the fonts, or needs no picture.
fn can_write(fonts: &[Font], letter: char) -> bool {
    matches!(letter, ' ' | '\n' | '\u{200b}')
        || letter.is_whitespace()
        || letter.is_control()
        || is_silent(letter)
        || fonts.iter().any(|font| font.ttf().glyph_index(letter).is_some())
}

fn fonts() -> Vec<Font> {
    [
        include_bytes!("../../gui/fonts/Roboto-Regular.ttf").as_slice(),
        include_bytes!("../../gui/fonts/Roboto-Medium.ttf").as_slice(),
        include_bytes!("../../gui/fonts/DejaVuSansMono.ttf").as_slice(),
    ]
    .into_iter()
    .filter_map(|bytes| Font::new(Bytes::new(bytes), 0))
    .collect()
}

fn day(date: NaiveDate) -> Option<Datetime> {
    let number = |own: u32| u8::try_from(own).unwrap_or(1);
    Datetime::from_ymd_hms(date.year(), number(date.month()), number(date.day()), 0, 0, 0)
}

/// All the typesetter may see: the template, the document, its charts, and three fonts.
struct Desk {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    template: Source,
    files: BTreeMap<String, Bytes>,
    date: NaiveDate,
}

impl Desk {
    fn new(document: &Document, paper: Paper) -> Self {
        let mut files = BTreeMap::new();
        let fonts = fonts();
        let mut data = data(document, paper, &fonts, &mut files);
        each_text(&mut data, &mut |text| *text = writable(text, &fonts));
        let _ = files.insert("/document.json".to_owned(), Bytes::from_string(data.to_string()));
        Self {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            template: Source::new(FileId::new(None, VirtualPath::new("/report.typ")), TEMPLATE.to_owned()),
            files,
            date: document.date,
        }
    }
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.template.id() { Ok(self.template.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let path = id.vpath().as_rooted_path().to_string_lossy().into_owned();
        self.files.get(&path).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<i64>) -> Option<Datetime> {
        Datetime::from_ymd(
            self.date.year(),
            u8::try_from(self.date.month()).ok()?,
            u8::try_from(self.date.day()).ok()?,
        )
    }
}

/// The document as the template reads it; charts become files.
fn data(document: &Document, paper: Paper, fonts: &[Font], files: &mut BTreeMap<String, Bytes>) -> Value {
    let date = document.date;
    let widths = Widths::new(fonts);
    let mut copy = Copy { paper, widths, files, tables: 0, figures: 0 };
    json!({
        "title": document.title,
        "subtitle": document.subtitle,
        "language": document.language,
        "date": [date.year(), date.month(), date.day()],
        "program": format!("Shedlight {}", env!("CARGO_PKG_VERSION")),
        "paper": match paper { Paper::A4 => "a4", Paper::Letter => "us-letter" },
        "sections": document.sections.iter().map(|own| copy.section(own)).collect::<Vec<_>>(),
    })
}

/// The document on its way to the typesetter. Tables and figures get their numbers here: counted by the typesetter
/// they would have every page set once more.
struct Copy<'f> {
    paper: Paper,
    widths: Widths<'f>,
    files: &'f mut BTreeMap<String, Bytes>,
    tables: u32,
    figures: u32,
}

impl Copy<'_> {
    fn section(&mut self, section: &Section) -> Value {
        json!({
            "id": section.id,
            "title": section.title,
            // Stretches between page breaks are set side by side, on all cores; where a section has pages of its own
            // anyway, a new one costs little paper.
            "new-page": section.id == "definitions" || rows(section) > A_PAGE,
            "blocks": section.blocks.iter().filter_map(|own| self.block(own)).collect::<Vec<_>>(),
        })
    }

    fn block(&mut self, block: &Block) -> Option<Value> {
        Some(match block {
            Block::Heading(text) => json!({ "kind": "heading", "text": spans(text) }),
            Block::Paragraph(text) => json!({ "kind": "paragraph", "text": spans(text) }),
            Block::List(items) if items.is_empty() => return None,
            Block::List(items) => {
                json!({ "kind": "list", "items": items.iter().map(spans).collect::<Vec<_>>() })
            }
            Block::Pairs(pairs) if pairs.is_empty() => return None,
            Block::Pairs(pairs) => {
                let pairs: Vec<Value> =
                    pairs.iter().map(|(name, value)| json!({ "name": name, "text": spans(value) })).collect();
                json!({ "kind": "pairs", "pairs": pairs })
            }
            Block::Table(table) => self.table(table),
            Block::Figure(figure) => self.figure(figure),
            Block::Stills(stills) => {
                let stills: Vec<Value> = stills.iter().map(|own| self.still(own)).collect();
                json!({ "kind": "stills", "stills": stills })
            }
            Block::Framed(title, blocks) => {
                let inside: Vec<Value> = blocks.iter().filter_map(|own| self.block(own)).collect();
                json!({ "kind": "framed", "title": title, "long": blocks.len() > 8, "blocks": inside })
            }
        })
    }

    fn table(&mut self, table: &Table) -> Value {
        self.tables += 1;
        let page = self.paper.width() / 25.4 * 72.0;
        let widths = columns::of(table, page, &self.widths);
        // A long narrow table goes down the page twice.
        let is_narrow = widths.iter().sum::<f64>() <= (page - GUTTER) / 2.0 && table.rows.len() > A_PAGE / 2;
        let column = |(own, width): (&Column, f64)| json!({ "head": own.head, "numbers": own.align == Align::Numbers, "width": width });
        let rows: Vec<Vec<Value>> = table.rows.iter().map(|row| row.iter().map(spans).collect()).collect();
        json!({
            "kind": "table",
            "caption": format!("Table {}. {}", self.tables, table.caption),
            "columns": table.columns.iter().zip(widths).map(column).collect::<Vec<_>>(),
            "rows": rows,
            "note": table.note.as_ref().map(spans),
            "fill-in": table.rows_for == Rows::FillingIn,
            "short": table.rows.len() <= SHORT,
            "new-page": table.rows.len() > 10 * A_PAGE,
            "gutter": is_narrow.then_some(GUTTER),
        })
    }

    fn figure(&mut self, figure: &Figure) -> Value {
        self.figures += 1;
        let path = format!("/figure-{}.svg", self.figures);
        let _ = self.files.insert(path.clone(), Bytes::from_string(figure.svg.clone()));
        json!({
            "kind": "figure",
            "path": path,
            "caption": format!("Figure {}. {}", self.figures, figure.caption),
            "description": figure.description,
            "height": height(ratio(&figure.svg), self.paper),
        })
    }

    fn still(&mut self, still: &Still) -> Value {
        let path = format!("/still-{}.jpg", self.files.len() + 1);
        let _ = self.files.insert(path.clone(), Bytes::new(still.jpeg.clone()));
        json!({
            "path": path,
            "description": still_words(still),
            "clock": still.moment.clock,
            "url": still.moment.url,
            "words": still.words,
        })
    }
}

/// A text as the typesetter takes it into a tagged document: a box for each letter no font has, a plain space
/// for each space no font has, nothing that steers a terminal; and runs without a space, wider than a cell,
/// may break.
fn writable(text: &str, fonts: &[Font]) -> String {
    let mut safe = String::with_capacity(text.len());
    let mut run = 0;
    for letter in text.chars() {
        if is_silent(letter) || (letter.is_control() && letter != '\n' && letter != '\t') {
            continue;
        }
        run = if letter.is_whitespace() { 0 } else { run + 1 };
        if run > RUN && may_break_before(letter) {
            safe.push('\u{200b}');
            run = 1;
        }
        safe.push(match letter {
            '\n' => '\n',
            _ if letter.is_whitespace() => ' ',
            _ if can_write(fonts, letter) => letter,
            _ => '□',
        });
    }
    safe
}

/// Marks that only steer the writing and need no picture; the one at which a run may break stays.
fn is_silent(letter: char) -> bool {
    matches!(letter, '\u{200c}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}')
}

/// How high a chart is printed, in millimetres: as wide as the page if that is not too high, and a little smaller where
/// one more then fits on its page.
fn height(ratio: f64, paper: Paper) -> f64 {
    let page = match paper {
        Paper::A4 => 251.0,
        Paper::Letter => 233.4,
    };
    let whole = ratio * paper.width();
    if whole > page - CAPTION {
        return page - CAPTION - 16.0;
    }
    let share = |n: f64| page / n - CAPTION;
    [2.0, 3.0, 4.0]
        .map(share)
        .into_iter()
        .find(|share| whole > *share && whole <= share * SMALLER)
        .unwrap_or(whole)
}

/// Room for a figure's caption, in millimetres.
const CAPTION: f64 = 11.0;
/// So much smaller its letters can be read as well.
const SMALLER: f64 = 1.2;

/// Height of a chart to its width.
fn ratio(svg: &str) -> f64 {
    let number = |name: &str| -> Option<f64> {
        let rest = svg.get(svg.find(&format!(" {name}=\""))? + name.len() + 3..)?;
        rest.get(..rest.find('"')?)?.trim_end_matches("px").parse().ok()
    };
    match (number("width"), number("height")) {
        (Some(width), Some(height)) if width > 0.0 => height / width,
        _ => 0.6,
    }
}

fn spans(text: &Text) -> Value {
    let span = |own: &Span| match own {
        Span::Plain(words) => json!({ "k": "plain", "t": words }),
        Span::Strong(words) => json!({ "k": "strong", "t": words }),
        Span::Given(words) => json!({ "k": "given", "t": words }),
        Span::Why(words) => json!({ "k": "why", "t": words }),
        Span::Moment(moment) => json!({ "k": "moment", "clock": moment.clock, "url": moment.url }),
    };
    Value::Array(text.0.iter().map(span).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chart_a_little_too_high_for_two_on_a_page_is_printed_smaller() {
        for paper in [Paper::A4, Paper::Letter] {
            let page = if paper == Paper::A4 { 251.0 } else { 233.4 };
            for step in 1..400_u32 {
                let ratio = f64::from(step) / 100.0;
                let own = height(ratio, paper);
                assert!(own + CAPTION <= page && own <= ratio * paper.width() + 1e-9, "{ratio}: {own}");
                let beside = (page / (own + CAPTION) + 1e-9).floor();
                // Never smaller for nothing: one more has room on the page than at full width, or it is the page.
                if own < ratio * paper.width() - 1e-9 && ratio * paper.width() < page - CAPTION {
                    assert!(beside > (page / (ratio * paper.width() + CAPTION)).floor(), "{ratio}: {own}");
                    assert!(own * SMALLER >= ratio * paper.width() - 1e-9);
                }
            }
        }
        assert!((ratio("<svg width=\"720\" height=\"360\">") - 0.5).abs() < 1e-9);
    }
}
