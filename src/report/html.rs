//! A document as one HTML file that needs nothing else: read on a screen, printed on A4 or Letter,
//! in grey, by a screen reader. It holds no script and asks for nothing from outside. It is
//! well-formed XML too, so that any parser reads it.

use std::io::{self, Write};

use base64::Engine as _;

use super::document::{
    Align, Block, Document, Figure, Moment, Rows, Section, Span, Still, Table, Text, may_break_before,
};

/// Light and dark ink only; all that has meaning has words.
const STYLE: &str = include_str!("style.css");

/// Rows of a table that is kept on one page in print.
const SHORT: usize = 14;

/// Writes a document.
///
/// # Errors
/// When the writer can't take it.
pub fn write(document: &Document, out: &mut dyn Write) -> io::Result<()> {
    let title = escaped(&document.title);
    write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<meta name=\"generator\" content=\"Shedlight {}\"/>\n<title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n",
        document.language,
        env!("CARGO_PKG_VERSION")
    )?;
    writeln!(out, "<a class=\"skip\" href=\"#main\">To the text</a>")?;
    writeln!(
        out,
        "<header>\n<h1><bdi>{title}</bdi></h1>\n<p class=\"subtitle\"><bdi>{}</bdi></p>\n</header>",
        escaped(&document.subtitle)
    )?;
    writeln!(out, "<nav aria-label=\"Contents\">\n<ul>")?;
    for section in &document.sections {
        writeln!(out, "<li><a href=\"#{}\">{}</a></li>", section.id, escaped(&section.title))?;
    }
    writeln!(out, "</ul>\n</nav>\n<main id=\"main\">")?;
    let mut numbers = Numbers::default();
    for one in &document.sections {
        section(one, &mut numbers, out)?;
    }
    writeln!(out, "</main>\n</body>\n</html>")
}

/// Tables and figures are numbered through.
#[derive(Default)]
struct Numbers {
    tables: u32,
    figures: u32,
}

fn section(section: &Section, numbers: &mut Numbers, out: &mut dyn Write) -> io::Result<()> {
    let (id, title) = (section.id, escaped(&section.title));
    writeln!(out, "<section id=\"{id}\" aria-labelledby=\"{id}-head\">\n<h2 id=\"{id}-head\">{title}</h2>")?;
    for one in &section.blocks {
        block(one, numbers, 3, out)?;
    }
    writeln!(out, "</section>")
}

fn block(piece: &Block, numbers: &mut Numbers, level: u8, out: &mut dyn Write) -> io::Result<()> {
    match piece {
        Block::Heading(words) => writeln!(out, "<h{level}>{}</h{level}>", text(words)),
        Block::Paragraph(words) => writeln!(out, "<p>{}</p>", text(words)),
        Block::List(items) if items.is_empty() => Ok(()),
        Block::List(items) => {
            writeln!(out, "<ul>")?;
            for item in items {
                writeln!(out, "<li>{}</li>", text(item))?;
            }
            writeln!(out, "</ul>")
        }
        Block::Pairs(pairs) => {
            writeln!(out, "<dl>")?;
            for (name, value) in pairs {
                writeln!(out, "<div><dt>{}</dt><dd>{}</dd></div>", escaped(name), text(value))?;
            }
            writeln!(out, "</dl>")
        }
        Block::Table(own) => table(own, numbers, out),
        Block::Figure(own) => figure(own, numbers, out),
        Block::Stills(stills) => {
            writeln!(out, "<div class=\"stills\">")?;
            for still in stills {
                writeln!(
                    out,
                    "<figure>\n<img src=\"data:image/jpeg;base64,{}\" alt=\"{}\"/>\n<figcaption>{} {}</figcaption>\n</figure>",
                    base64::engine::general_purpose::STANDARD.encode(&still.jpeg),
                    escaped(&still_words(still)),
                    at(&still.moment),
                    escaped(&still.words)
                )?;
            }
            writeln!(out, "</div>")
        }
        Block::Framed(title, blocks) => {
            writeln!(out, "<div class=\"framed\">\n<h{level}>{}</h{level}>", escaped(title))?;
            for one in blocks {
                block(one, numbers, level + 1, out)?;
            }
            writeln!(out, "</div>")
        }
    }
}

fn table(table: &Table, numbers: &mut Numbers, out: &mut dyn Write) -> io::Result<()> {
    numbers.tables += 1;
    let n = numbers.tables;
    // What fits a page is not torn apart.
    let short = if table.rows.len() <= SHORT { " short" } else { "" };
    let fill_in = if table.rows_for == Rows::FillingIn { " fill-in" } else { "" };
    // A table wider than the window can be reached and moved with the keys.
    writeln!(
        out,
        "<div class=\"wide{short}{fill_in}\" role=\"region\" tabindex=\"0\" aria-labelledby=\"table-{n}\">\n<table>\n<caption id=\"table-{n}\">Table {n}. {}</caption>\n<thead>\n<tr>",
        lines(&table.caption)
    )?;
    let class = |align: Align| if align == Align::Numbers { " class=\"number\"" } else { "" };
    for column in &table.columns {
        write!(out, "<th scope=\"col\"{}>{}</th>", class(column.align), escaped(column.head))?;
    }
    writeln!(out, "</tr>\n</thead>\n<tbody>")?;
    if table.rows.is_empty() {
        writeln!(out, "<tr><td colspan=\"{}\">None.</td></tr>", table.columns.len())?;
    }
    for row in &table.rows {
        write!(out, "<tr>")?;
        for (i, (cell, column)) in row.iter().zip(&table.columns).enumerate() {
            let class = class(column.align);
            if i == 0 {
                write!(out, "<th scope=\"row\"{class}>{}</th>", text(cell))?;
            } else {
                write!(out, "<td{class}>{}</td>", text(cell))?;
            }
        }
        writeln!(out, "</tr>")?;
    }
    writeln!(out, "</tbody>\n</table>")?;
    if let Some(note) = &table.note {
        writeln!(out, "<p class=\"note\">{}</p>", text(note))?;
    }
    writeln!(out, "</div>")
}

fn figure(figure: &Figure, numbers: &mut Numbers, out: &mut dyn Write) -> io::Result<()> {
    numbers.figures += 1;
    // The element alone: a prolog has no place inside a page.
    let svg = figure.svg.find("<svg").and_then(|at| figure.svg.get(at..)).unwrap_or_default();
    writeln!(
        out,
        "<figure>\n<div role=\"img\" aria-label=\"{}\">{svg}</div>\n<figcaption>Figure {}. {}</figcaption>\n</figure>",
        escaped(&figure.description),
        numbers.figures,
        escaped(&figure.caption)
    )
}

/// What a still is, for who can't see it.
pub(super) fn still_words(still: &Still) -> String {
    format!("Film of session {} at {}, {}", still.moment.session, still.moment.clock, still.words)
}

fn text(words: &Text) -> String {
    words.0.iter().map(span).collect()
}

fn span(span: &Span) -> String {
    match span {
        Span::Plain(words) => lines(words),
        Span::Strong(words) => format!("<strong>{}</strong>", lines(words)),
        Span::Why(words) => format!("<span class=\"why\">({})</span>", lines(words)),
        Span::Given(words) => format!("<bdi>{}</bdi>", lines(words)),
        Span::Moment(moment) => at(moment),
    }
}

fn at(moment: &Moment) -> String {
    format!(
        "<span class=\"moment\"><a href=\"{}\" aria-label=\"{} of session {}, open the film there\">{}</a> <code>{}</code></span>",
        escaped(&moment.url),
        escaped(&moment.clock),
        escaped(&moment.session),
        escaped(&moment.clock),
        escaped(&moment.command)
    )
}

/// Line ends of what a person wrote stay; a run without a space may break, so that no cell is wider
/// than the page.
fn lines(words: &str) -> String {
    breakable(words.trim_end()).replace('\n', "<br/>").replace('\u{200b}', "<wbr/>")
        + if words.ends_with(' ') { " " } else { "" }
}

/// Characters after which a run without a space may break.
const RUN: usize = 30;

/// Text as HTML and XML take it, with zero-width spaces in long runs; characters XML has no place for become U+FFFD.
fn breakable(words: &str) -> String {
    let mut safe = String::with_capacity(words.len());
    let mut run = 0;
    for c in words.chars() {
        run = if c.is_whitespace() { 0 } else { run + 1 };
        if run > RUN && may_break_before(c) {
            safe.push('\u{200b}');
            run = 1;
        }
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\t' | '\n' => safe.push(c),
            '\r' => {}
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => safe.push('\u{fffd}'),
            c => safe.push(c),
        }
    }
    safe
}

/// The same without breaks, for attributes and headings.
fn escaped(words: &str) -> String {
    breakable(words).replace('\u{200b}', "")
}
