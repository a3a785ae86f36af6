//! A document apart from how it is set: sections, paragraphs, lists, tables, figures, boxes, and
//! moments of film that lead back to the picture.

use chrono::NaiveDate;

/// A whole document.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// Language, as in BCP 47.
    pub language: &'static str,
    /// Title.
    pub title: String,
    /// Line under it.
    pub subtitle: String,
    /// Its date, passed in.
    pub date: NaiveDate,
    /// In order.
    pub sections: Vec<Section>,
}

/// A section with a heading.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Unique in the document, for links.
    pub id: &'static str,
    /// Heading, with its number.
    pub title: String,
    /// What stands in it.
    pub blocks: Vec<Block>,
}

/// A piece of a section.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A heading inside the section.
    Heading(Text),
    /// A paragraph.
    Paragraph(Text),
    /// A list without order.
    List(Vec<Text>),
    /// Names and what belongs to each.
    Pairs(Vec<(String, Text)>),
    /// A table.
    Table(Table),
    /// A figure.
    Figure(Figure),
    /// Pictures of film, beside each other.
    Stills(Vec<Still>),
    /// Something set apart, with its own heading.
    Framed(String, Vec<Block>),
}

/// A run of text.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Text(pub Vec<Span>);

/// A piece of a text.
#[derive(Debug, Clone, PartialEq)]
pub enum Span {
    /// Our own words.
    Plain(String),
    /// Our own words, stressed.
    Strong(String),
    /// What a person wrote: its script may run the other way.
    Given(String),
    /// Why a value is not there.
    Why(String),
    /// A moment of film.
    Moment(Moment),
}

/// A moment of film, and the ways to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moment {
    /// Its session.
    pub session: String,
    /// As people read it: `4:31.000`.
    pub clock: String,
    /// A `shedlight:` link that opens the window there.
    pub url: String,
    /// The command that does the same.
    pub command: String,
}

/// A table; its first column names the rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Says what it shows and of what.
    pub caption: String,
    /// Heads and alignment.
    pub columns: Vec<Column>,
    /// Each as long as `columns`.
    pub rows: Vec<Vec<Text>>,
    /// Stands below it.
    pub note: Option<Text>,
    /// What its rows are for.
    pub rows_for: Rows,
}

/// What rows are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Rows {
    /// Reading.
    #[default]
    Reading,
    /// Filling in by hand.
    FillingIn,
}

/// A column's head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// With its unit.
    pub head: &'static str,
    /// How its cells stand.
    pub align: Align,
}

/// How cells stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Words,
    /// Numbers.
    Numbers,
}

/// A chart with its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// Where it belongs.
    pub part: Part,
    /// Stands below it.
    pub caption: String,
    /// What it shows, for who can't see it.
    pub description: String,
    /// The picture, as an `svg` element.
    pub svg: String,
}

/// A picture of film.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Still {
    /// When it was.
    pub moment: Moment,
    /// What it is taken for: before, at the start of, or after something.
    pub words: String,
    /// JPEG.
    pub jpeg: Vec<u8>,
}

/// Parts of the report that have figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// What was filmed and coded.
    Effort,
    /// Time budget.
    Budget,
    /// Approach and retreat.
    Approach,
    /// Success and refusals.
    Success,
    /// Latency curves.
    Latency,
    /// Concern.
    Concern,
    /// Food.
    Food,
    /// Agreement.
    Agreement,
}

impl Text {
    /// What a person wrote.
    #[must_use]
    pub fn given(text: &str) -> Self {
        Self(vec![Span::Given(text.to_owned())])
    }

    /// Adds our own words.
    #[must_use]
    pub fn and(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span::Plain(words.into()));
        self
    }

    /// Adds why a value is not there.
    #[must_use]
    pub fn and_why(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span::Why(words.into()));
        self
    }

    /// Adds what a person wrote.
    #[must_use]
    pub fn and_given(mut self, words: &str) -> Self {
        self.0.push(Span::Given(words.to_owned()));
        self
    }

    /// Adds a moment.
    #[must_use]
    pub fn and_at(mut self, moment: Moment) -> Self {
        self.0.push(Span::Moment(moment));
        self
    }

    /// Its words, without links.
    #[must_use]
    pub fn plain(&self) -> String {
        let word = |span: &Span| match span {
            Span::Plain(text) | Span::Strong(text) | Span::Given(text) | Span::Why(text) => text.clone(),
            Span::Moment(moment) => moment.clock.clone(),
        };
        self.0.iter().map(word).collect()
    }
}

impl From<&str> for Text {
    fn from(text: &str) -> Self {
        Self(vec![Span::Plain(text.to_owned())])
    }
}

impl From<String> for Text {
    fn from(text: String) -> Self {
        Self(vec![Span::Plain(text)])
    }
}

impl From<Moment> for Text {
    fn from(moment: Moment) -> Self {
        Self(vec![Span::Moment(moment)])
    }
}

/// Whether a long run may break before a letter: scripts written without spaces break by themselves, and
/// letters that join, or marks that sit on others, must not be torn.
pub(super) fn may_break_before(letter: char) -> bool {
    letter.is_ascii_graphic() || (matches!(letter, '\u{c0}'..='\u{52f}') && letter.is_alphabetic())
}

impl Block {
    /// A paragraph of our own words.
    #[must_use]
    pub fn words(text: impl Into<Text>) -> Self {
        Self::Paragraph(text.into())
    }
}

impl Table {
    /// A table without rows; columns of numbers are named with a leading `#`.
    #[must_use]
    pub fn new(caption: impl Into<String>, heads: &[&'static str]) -> Self {
        let column = |head: &&'static str| match head.strip_prefix('#') {
            Some(head) => Column { head, align: Align::Numbers },
            None => Column { head, align: Align::Words },
        };
        Self {
            caption: caption.into(),
            columns: heads.iter().map(column).collect(),
            rows: Vec::new(),
            note: None,
            rows_for: Rows::Reading,
        }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<Text>) {
        self.rows.push(cells);
    }
}
