//! A document as PDF, set by a typesetter: pages with numbers, contents, heads of tables repeated, charts as
//! vectors, tagged for screen readers (PDF/UA-1).
//!
//! The document goes to the typesetter as data beside a fixed template, so that nothing a person wrote is
//! read as markup. Fonts are the bundled ones: the same input gives the same bytes on every machine. What
//! neither of them can write (Arabic, Hebrew, East Asian scripts, emoji in colour) is printed as a
//! box; [`missing`] says which characters those are, and HTML shows them.

use std::collections::{BTreeMap, BTreeSet};

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

use super::document::{Align, Block, Document, Rows, Section, Span, Still, Text, may_break_before};
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

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The typesetter refused; nothing a person can mend.
    #[error("the report could not be set: {0}; write F.html meanwhile, and tell the developers")]
    Set(String),
}

const TEMPLATE: &str = include_str!("report.typ");

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
    let mut data = data(document, Paper::A4, &mut BTreeMap::new());
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
        let mut data = data(document, paper, &mut files);
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
fn data(document: &Document, paper: Paper, files: &mut BTreeMap<String, Bytes>) -> Value {
    let date = document.date;
    json!({
        "title": document.title,
        "subtitle": document.subtitle,
        "language": document.language,
        "date": [date.year(), date.month(), date.day()],
        "program": format!("Shedlight {}", env!("CARGO_PKG_VERSION")),
        "paper": match paper { Paper::A4 => "a4", Paper::Letter => "us-letter" },
        "sections": document.sections.iter().map(|own| section(own, files)).collect::<Vec<_>>(),
    })
}

fn section(section: &Section, files: &mut BTreeMap<String, Bytes>) -> Value {
    json!({
        "id": section.id,
        "title": section.title,
        "blocks": section.blocks.iter().filter_map(|own| block(own, files)).collect::<Vec<_>>(),
    })
}

fn block(block: &Block, files: &mut BTreeMap<String, Bytes>) -> Option<Value> {
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
        Block::Table(table) => {
            let column = |own: &super::document::Column| json!({ "head": own.head, "numbers": own.align == Align::Numbers });
            let rows: Vec<Vec<Value>> =
                table.rows.iter().map(|row| row.iter().map(spans).collect()).collect();
            json!({
                "kind": "table",
                "caption": table.caption,
                "columns": table.columns.iter().map(column).collect::<Vec<_>>(),
                "rows": rows,
                "note": table.note.as_ref().map(spans),
                "fill-in": table.rows_for == Rows::FillingIn,
                "short": table.rows.len() <= SHORT,
            })
        }
        Block::Figure(figure) => {
            let path = format!("/figure-{}.svg", files.len() + 1);
            let _ = files.insert(path.clone(), Bytes::from_string(figure.svg.clone()));
            json!({
                "kind": "figure",
                "path": path,
                "caption": figure.caption,
                "description": figure.description,
                "tall": is_tall(&figure.svg),
            })
        }
        Block::Stills(stills) => {
            let still = |own: &Still| {
                let path = format!("/still-{}.jpg", files.len() + 1);
                let _ = files.insert(path.clone(), Bytes::new(own.jpeg.clone()));
                json!({
                    "path": path,
                    "description": still_words(own),
                    "clock": own.moment.clock,
                    "url": own.moment.url,
                    "words": own.words,
                })
            };
            json!({ "kind": "stills", "stills": stills.iter().map(still).collect::<Vec<_>>() })
        }
        Block::Framed(title, blocks) => {
            let inside: Vec<Value> = blocks.iter().filter_map(|own| self::block(own, files)).collect();
            json!({ "kind": "framed", "title": title, "long": blocks.len() > 8, "blocks": inside })
        }
    })
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
        if run > 24 && may_break_before(letter) {
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

/// Whether a chart as wide as the page would be higher than it.
fn is_tall(svg: &str) -> bool {
    let number = |name: &str| -> Option<f64> {
        let rest = svg.get(svg.find(&format!(" {name}=\""))? + name.len() + 3..)?;
        rest.get(..rest.find('"')?)?.trim_end_matches("px").parse().ok()
    };
    matches!((number("width"), number("height")), (Some(width), Some(height)) if height > width * 1.25)
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
