//! How well two coders agree: a dot with its interval for each set, behaviour and event, on one axis.

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::letters::Font;
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, Sample};
use super::shapes::{Anchor, Area, BODY, Glyph, Stroke, Style};
use crate::agreement::differences::{Apart, Place};
use crate::agreement::pair::{EventAgreement, PairAgreement, SetAgreement};
use crate::model::{Kind, SessionId};
use crate::time::Micros;

/// Height of a row.
const ROW: f64 = 24.0;
/// Room for the three columns to the right of the axis.
const COLUMN: f64 = 86.0;
/// What a row is too short for.
const GAP: f64 = 10.0;

/// A row of the chart.
struct Row {
    name: String,
    /// A heading has no value of its own.
    kind: RowKind,
    value: Result<f64, String>,
    ci95: Option<[f64; 2]>,
    /// What stands to the right.
    columns: [String; 3],
    /// The longest difference about it.
    lead: Option<Micros>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum RowKind {
    Set,
    Behaviour,
    /// Column headings of the moments.
    Heading,
    Moments,
}

/// Kappas of a pair with their intervals, observed agreement and margins; below them agreement on
/// moments with its counts. `name` gives what people call an id.
#[must_use]
pub fn agreement(found: &PairAgreement, name: &dyn Fn(&str) -> String, look: &Look) -> Chart {
    let title = format!("Session {}: {} with {}", found.session, found.first_by, found.second_by);
    if let Some(why) = &found.why {
        return Page::empty(look, &title, &format!("These two are not compared: {why}."));
    }
    let mut rows: Vec<Row> = Vec::new();
    for set in found.sets.iter().chain(&found.states) {
        rows.extend(of_set(found, set, name));
    }
    let moments: Vec<Row> = found.events.iter().filter_map(|own| of_moments(found, own, name)).collect();
    if !moments.is_empty() {
        rows.push(Row {
            name: "Moments".to_owned(),
            kind: RowKind::Heading,
            value: Err(String::new()),
            ci95: None,
            columns: ["both", "only first", "only second"].map(str::to_owned),
            lead: None,
        });
        rows.extend(moments);
    }
    if rows.is_empty() {
        return Page::empty(look, &title, "Neither record holds anything that could be compared.");
    }
    let caption = format!(
        "Both cover {:.0} s; the animal is visible to both for {:.0} s. Kappa with limits of 95 % (bootstrap over blocks of 60 s); 0: no more than chance. Withheld under 10 s, counts under 5 say little.",
        found.window_s,
        found.visible_to_both_s.unwrap_or_default()
    );
    let mut page = Page::new(look, &title, &caption);
    draw(&mut page, &rows, &SessionId::from(found.session.as_str()));
    page.finish()
}

/// The longest difference of a set, or about one of its states: the list has them by length.
fn longest(found: &PairAgreement, set: &str, about: Option<&str>) -> Option<Micros> {
    let is_in = |own: &&Apart| match (&own.place, about) {
        (Place::Set(id) | Place::State(id), about) if id == set => {
            about.is_none_or(|id| own.first.as_deref() == Some(id) || own.second.as_deref() == Some(id))
        }
        _ => false,
    };
    Some(found.differences.list.iter().find(is_in)?.span.from)
}

fn of_set(found: &PairAgreement, set: &SetAgreement, name: &dyn Fn(&str) -> String) -> Vec<Row> {
    let occurs = |first: f64, second: f64| first > 0.0 || second > 0.0;
    let seen: Vec<_> = set.behaviours.iter().filter(|own| occurs(own.first_s, own.second_s)).collect();
    if seen.is_empty() && set.why.is_none() {
        return Vec::new();
    }
    let share =
        |value: Option<f64>| value.map_or_else(|| "—".to_owned(), |share| format!("{:.1} %", share * 100.0));
    let seconds = |value: f64| format!("{value:.1}");
    let because = |value: Option<f64>, why: &Option<String>| {
        value.ok_or_else(|| why.clone().unwrap_or_else(|| "not defined".to_owned()))
    };
    let alone = set.behaviours.len() < 2;
    let columns = match seen.as_slice() {
        [only] if alone => [share(set.observed), seconds(only.first_s), seconds(only.second_s)],
        _ if set.compared_s > 0.0 => {
            [share(set.observed), String::new(), format!("of {:.1}", set.compared_s)]
        }
        _ => [share(set.observed), String::new(), String::new()],
    };
    let mut rows = vec![Row {
        name: name(&set.set),
        kind: RowKind::Set,
        value: because(set.kappa, &set.why),
        ci95: set.ci95,
        columns,
        lead: longest(found, &set.set, None),
    }];
    for own in seen.iter().filter(|_| !alone) {
        rows.push(Row {
            name: name(&own.id),
            kind: RowKind::Behaviour,
            value: because(own.kappa, &own.why),
            ci95: own.ci95,
            columns: [share(own.observed), seconds(own.first_s), seconds(own.second_s)],
            lead: longest(found, &set.set, Some(&own.id)),
        });
    }
    rows
}

fn of_moments(found: &PairAgreement, own: &EventAgreement, name: &dyn Fn(&str) -> String) -> Option<Row> {
    let (both, first, second) = (own.matched?, own.only_first?, own.only_second?);
    let agreement = own.agreement?;
    let few = if own.few { " (few)" } else { "" };
    Some(Row {
        name: format!("{}{few}", name(&own.behaviour)),
        kind: RowKind::Moments,
        value: Ok(agreement),
        ci95: None,
        columns: [both, first, second].map(|n| n.to_string()),
        lead: found
            .differences
            .list
            .iter()
            .filter(|apart| {
                !matches!(apart.place, Place::Set(_) | Place::State(_)) || own.kind == Kind::State
            })
            .find(|apart| [&apart.first, &apart.second].into_iter().flatten().any(|id| *id == own.behaviour))
            .map(|apart| apart.span.from),
    })
}

#[allow(clippy::cast_precision_loss)] // Some dozens of rows.
fn draw(page: &mut Page, rows: &[Row], session: &SessionId) {
    let look = page.canvas.look;
    let body = Style::label(look.text);
    let widest = rows.iter().map(|own| page.canvas.text_width(&own.name, body)).fold(0.0, f64::max);
    let left = (MARGIN + 14.0 + widest + 14.0).min(page.canvas.width() * 0.32);
    let right = page.canvas.width() - MARGIN - 3.0 * COLUMN;
    let top = page.top + ROW;
    let plot = Area::new(left, top, right - left - 18.0, rows.len() as f64 * ROW);
    let lowest = rows
        .iter()
        .flat_map(|own| own.ci95.map(|[low, _]| low).into_iter().chain(own.value.as_ref().ok().copied()));
    // Below 0 as far as there is anything, in steps of 0.2; never without the 0.
    let lowest = lowest.filter(|value| value.is_finite()).fold(0.0, f64::min);
    let from = (lowest / 0.2).floor() * 0.2;
    for (i, own) in rows.iter().enumerate() {
        if matches!(own.kind, RowKind::Set | RowKind::Heading) {
            let track = Area::new(MARGIN, top + i as f64 * ROW, page.canvas.width() - 2.0 * MARGIN, ROW);
            page.canvas.rect(track, Some(look.raised), None, 0.0);
        }
    }
    let x = Axis {
        title: "kappa; of moments the share in pairs",
        range: (from - 0.03, 1.03),
        ticks: (0..=10).map(|step| from + f64::from(step) * 0.2).take_while(|at| *at < 1.01).collect(),
        label: &|at| format!("{:.1}", if at.abs() < 0.05 { 0.0 } else { at }).replace('-', "−"),
    };
    let frame = axes::draw(&mut page.canvas, plot, &x, &Axis::bare(0.0, 1.0), BELOW);
    let zero = frame.x(0.0);
    page.canvas.line((zero, plot.y), (zero, plot.bottom()), Stroke::solid(look.quiet, 1.0));
    let heads = ["observed", "first, s", "second, s"].map(str::to_owned);
    columns(page, &heads, right, top - ROW / 2.0, look.quiet, Font::Regular);
    for (i, own) in rows.iter().enumerate() {
        row(page, &frame, own, (left, right, top + (i as f64 + 0.5) * ROW));
        if let Some(at) = own.lead {
            let area = Area::new(MARGIN, top + i as f64 * ROW, page.canvas.width() - 2.0 * MARGIN, ROW);
            let words = format!("{}: the longest difference is at {}", own.name, at.clock());
            page.canvas.hit(area, session, at, words);
        }
    }
    let legend = [
        (Sample::Glyph(Glyph::Diamond), "a whole set".to_owned()),
        (Sample::Glyph(Glyph::Disc), "a state against the others of its set".to_owned()),
        (Sample::Glyph(Glyph::Ring), "moments: both/(both + only first + only second)".to_owned()),
    ];
    let _ = page.legend(MARGIN, plot.bottom() + BELOW + 8.0, &legend);
}

fn columns(page: &mut Page, cells: &[String; 3], from: f64, y: f64, colour: super::Colour, font: Font) {
    let style = Style::label(colour).anchored(Anchor::End).set_in(font);
    let mut end = from;
    for cell in cells {
        end += COLUMN;
        page.canvas.text(end, y, cell, style);
    }
}

fn row(page: &mut Page, frame: &Frame, own: &Row, (left, right, y): (f64, f64, f64)) {
    let look = page.canvas.look;
    let is_head = matches!(own.kind, RowKind::Set | RowKind::Heading);
    let indent = if is_head { 4.0 } else { 16.0 };
    let font = if is_head { Font::Medium } else { Font::Regular };
    let style = Style { font, size: BODY, colour: look.text, anchor: Anchor::Start };
    let _ = page.canvas.text_within(MARGIN + indent, y, &own.name, style, left - MARGIN - indent - GAP);
    let ink = if own.kind == RowKind::Heading { look.quiet } else { look.text };
    columns(page, &own.columns, right, y, ink, Font::Regular);
    let glyph = match own.kind {
        RowKind::Heading => return,
        RowKind::Set => Glyph::Diamond,
        RowKind::Behaviour => Glyph::Disc,
        RowKind::Moments => Glyph::Ring,
    };
    match &own.value {
        Ok(value) => {
            if let Some([low, high]) = own.ci95 {
                let (low, high) = (frame.x(low.max(-1.0)), frame.x(high.min(1.0)));
                let stroke = Stroke::solid(look.text, 1.5);
                page.canvas.line((low, y), (high, y), stroke);
                for end in [low, high] {
                    page.canvas.line((end, y - 4.0), (end, y + 4.0), stroke);
                }
            }
            page.canvas.glyph(frame.x(*value), y, glyph, 10.0, look.text);
        }
        Err(why) => {
            let from = frame.x(0.0) + 8.0;
            let words = format!("— {why}");
            let room = frame.plot.right() - from;
            // On a plate: lines of the grid would cross the words.
            let width = page.canvas.text_width(&words, Style::label(look.quiet)).min(room);
            let ground = if is_head { look.raised } else { look.panel };
            page.canvas.rect(Area::new(from - 2.0, y - 8.0, width + 4.0, 16.0), Some(ground), None, 0.0);
            let _ = page.canvas.text_within(from, y, &words, Style::label(look.quiet), room);
        }
    }
}
