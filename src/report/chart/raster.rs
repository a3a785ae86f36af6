//! The raster of a session: everything coded, over its time.

use std::collections::BTreeSet;

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::look::{Look, Pattern, ink_on};
use super::page::{BELOW, MARGIN, Page, Sample, clock, count, effort, plural, whose};
use super::shapes::{Anchor, Area, Dash, Stroke, Style};
use crate::measures::record::{Bout, Record};
use crate::model::{Behaviour, Kind, MarkId, Role, Set};
use crate::time::{Micros, Span};

/// Room for the names of rows.
pub(super) const NAMES: f64 = 168.0;
/// Height of a row.
pub(super) const ROW: f64 = 24.0;

/// A row of the session's raster.
struct Row<'a> {
    name: String,
    states: Vec<(&'a Behaviour, Bout)>,
    events: Vec<(&'a Behaviour, Micros, bool)>,
}

/// A session: a row for each set and behaviour, over session time. A part leads to where it begins.
#[must_use]
pub fn session_raster(record: &Record<'_>, look: &Look) -> Chart {
    let title = format!("{}: the session", whose(record));
    let unsure: BTreeSet<MarkId> =
        record.coding.marks.iter().filter(|mark| mark.unsure).map(|mark| mark.id).collect();
    let rows = rows_of(record, &unsure);
    let marks: usize = rows.iter().map(|row| row.states.len() + row.events.len()).sum();
    if marks == 0 {
        let missing = match not_done(record) {
            Some(names) => {
                format!("Nothing to draw: no pass is done that holds a mark ({names}). Set a pass to done.")
            }
            None => "Nothing was coded in this session.".to_owned(),
        };
        return Page::empty(look, &title, &missing);
    }
    let states: usize = rows.iter().map(|row| row.states.len()).sum();
    let mut caption = format!(
        "{}. {} of states, {}. A gap in the tracks: out of sight.",
        effort(record),
        plural(states, "bout"),
        plural(marks - states, "event")
    );
    if !unsure.is_empty() {
        caption.push_str(" Dotted or with broad hatching: unsure.");
    }
    if let Some(names) = not_done(record) {
        caption = format!("{caption} Not coded, pass not done: {names}.");
    }
    let mut page = Page::new(look, &title, &caption);
    let plot = Area::new(
        NAMES,
        page.top,
        page.canvas.width() - NAMES - MARGIN - 44.0,
        count(rows.len()) * ROW + 4.0,
    );
    let frame = time_axis(&mut page, plot, record.window());
    for (i, row) in rows.iter().enumerate() {
        let y = plot.y + 2.0 + count(i) * ROW;
        draw_row(&mut page, record, &frame, (row, &unsure), y);
    }
    let used = states_used(look, record, &rows);
    let below = page.legend(MARGIN, plot.bottom() + BELOW + 12.0, &used);
    page.canvas.grow(below);
    page.finish()
}

fn time_axis(page: &mut Page, plot: Area, window: Span) -> Frame {
    let (from, to) = (window.from.seconds(), window.to.seconds());
    let axis = Axis {
        title: "session time, min:s",
        range: (from, to),
        ticks: axes::time_ticks(from, to, 10),
        label: &clock,
    };
    axes::draw(&mut page.canvas, plot, &axis, &Axis::bare(0.0, 1.0), BELOW)
}

fn rows_of<'a>(record: &'a Record<'_>, unsure: &BTreeSet<MarkId>) -> Vec<Row<'a>> {
    let ethogram = record.ethogram;
    let bouts =
        |behaviour: &'a Behaviour| record.bouts(behaviour).into_iter().map(move |bout| (behaviour, bout));
    let mut rows = Vec::new();
    for set in &ethogram.sets {
        let mut states: Vec<(&Behaviour, Bout)> = ethogram.states_of(&set.id).flat_map(bouts).collect();
        states.sort_by_key(|(_, bout)| bout.span);
        rows.push(Row { name: set.name.clone(), states, events: Vec::new() });
    }
    for behaviour in &ethogram.behaviours {
        let level = behaviour.concern_in(record.animal()).map(|rule| rule.level).max().unwrap_or_default();
        let mut row = Row { name: behaviour.name.clone(), states: Vec::new(), events: Vec::new() };
        if !level.word().is_empty() {
            row.name = format!("{} · {}", row.name, level.word());
        }
        match behaviour.kind {
            Kind::State if behaviour.set.is_none() => row.states = bouts(behaviour).collect(),
            Kind::State => {}
            Kind::Event => {
                row.events = record
                    .onsets(behaviour)
                    .into_iter()
                    .map(|(at, id)| (behaviour, at, unsure.contains(&id)))
                    .collect();
            }
        }
        if !row.states.is_empty() || !row.events.is_empty() {
            rows.push(row);
        }
    }
    rows
}

/// Names of what no done pass holds.
fn not_done(record: &Record<'_>) -> Option<String> {
    if record.is_live() {
        return None;
    }
    let names: Vec<&str> = record
        .ethogram
        .behaviours
        .iter()
        .filter(|behaviour| !record.coding.is_done(&behaviour.id))
        .map(|behaviour| behaviour.name.as_str())
        .collect();
    (!names.is_empty()).then(|| names.join(", "))
}

fn draw_row(
    page: &mut Page,
    record: &Record<'_>,
    frame: &Frame,
    (row, unsure): (&Row<'_>, &BTreeSet<MarkId>),
    y: f64,
) {
    let look = page.canvas.look;
    let plot = frame.plot;
    let name = Style::label(look.text).anchored(Anchor::End);
    let _ = page.canvas.text_within(plot.x - 12.0, y + ROW / 2.0, &row.name, name, NAMES - MARGIN - 12.0);
    let of_animal = row.states.iter().map(|(own, _)| *own).chain(row.events.iter().map(|(own, _, _)| *own));
    let holds_unseen = row.states.iter().any(|(own, _)| own.has_role(Role::Excluded));
    let is_cut = of_animal.into_iter().any(|own| own.who == crate::model::Actor::Animal) && !holds_unseen;
    let track = |span: Span| {
        Area::new(
            frame.x(span.from.seconds()),
            y + 3.0,
            frame.x(span.to.seconds()) - frame.x(span.from.seconds()),
            ROW - 6.0,
        )
    };
    if is_cut {
        for span in record.visible_so_far() {
            page.canvas.rect(track(*span), Some(look.raised), None, 0.0);
        }
    } else {
        page.canvas.rect(track(record.window()), Some(look.raised), None, 0.0);
    }
    for (behaviour, bout) in &row.states {
        let area = track(bout.span);
        let fill = look.of(record.ethogram, behaviour);
        page.canvas.bar(area, fill);
        if unsure.contains(&bout.mark) {
            page.canvas.pattern(area, Pattern::Broad, ink_on(fill.colour));
        }
        // A row of one state bears its name already.
        if behaviour.set.is_some() {
            page.label_in(area, fill, &[behaviour.name.clone(), key(behaviour)]);
        }
        let words = format!(
            "{}: {} to {}, {:.1} s",
            behaviour.name,
            bout.span.from.clock(),
            bout.span.to.clock(),
            bout.span.length().seconds()
        );
        page.canvas.hit(area, &record.session.id, bout.span.from, words);
    }
    for (behaviour, at, is_unsure) in &row.events {
        let x = frame.x(at.seconds());
        let dash = if *is_unsure { Dash::Short } else { Dash::Solid };
        let stroke = Stroke::dashed(look.text, 2.0, dash);
        page.canvas.line((x, y + 4.0), (x, y + ROW - 4.0), stroke);
        let sure = if *is_unsure { ", unsure" } else { "" };
        let words = format!("{} at {}{sure}", behaviour.name, at.clock());
        let area = Area::new(x - 1.0, y + 3.0, 2.0, ROW - 6.0);
        page.canvas.hit(area, &record.session.id, *at, words);
    }
    let n = row.states.len() + row.events.len();
    let style = Style::label(look.quiet).anchored(Anchor::End);
    page.canvas.text(page.canvas.width() - MARGIN, y + ROW / 2.0, &format!("n {n}"), style);
}

/// The key a state is coded with, as it stands on its cap.
pub(super) fn key(behaviour: &Behaviour) -> String {
    behaviour.key.map(|key| key.to_uppercase().to_string()).unwrap_or_default()
}

/// A state in a legend: its key, its name.
pub(super) fn entry(look: &Look, record: &Record<'_>, behaviour: &Behaviour) -> (Sample, String) {
    let name = format!("{} {}", key(behaviour), behaviour.name);
    (Sample::Fill(look.of(record.ethogram, behaviour)), name.trim().to_owned())
}

fn states_used(look: &Look, record: &Record<'_>, rows: &[Row<'_>]) -> Vec<(Sample, String)> {
    let is_used = |behaviour: &&Behaviour| {
        behaviour.set.is_some()
            && rows.iter().flat_map(|row| &row.states).any(|(own, _)| own.id == behaviour.id)
    };
    let used = record.ethogram.behaviours.iter().filter(is_used);
    used.map(|behaviour| entry(look, record, behaviour)).collect()
}

/// The set that tells what the animal does: the first that does not hold out of sight.
pub(super) fn activity<'a>(record: &Record<'a>) -> Option<&'a Set> {
    let visibility = record.ethogram.visibility_set();
    record.ethogram.sets.iter().find(|set| Some(&set.id) != visibility)
}
