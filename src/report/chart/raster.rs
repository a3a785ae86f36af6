//! Rasters: everything coded over a session's time, and around each cue.

use super::axes::{self, Axis, Frame};
use super::canvas::{Anchor, Area, Dash, Glyph, Stroke, Style};
use super::look::{Fill, Look, Pattern, ink_on};
use super::page::{BELOW, MARGIN, Page, Sample, clock, count, effort, plural, whose};
use super::{Chart, letters::Font};
use crate::measures::presentations::{self, Presentation};
use crate::measures::record::{Bout, Record};
use crate::model::{Behaviour, Kind, Role, Set};
use crate::time::{Micros, Span};

/// Room for the names of rows.
const NAMES: f64 = 168.0;
/// Height of a row.
const ROW: f64 = 24.0;
/// How much is shown before a cue.
const BEFORE: Micros = Micros::from_whole_seconds(5);

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
    let rows = rows_of(record);
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
        draw_row(&mut page, record, &frame, row, y);
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

fn rows_of<'a>(record: &'a Record<'_>) -> Vec<Row<'a>> {
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
                let unsure = |id| record.coding.mark(id).is_some_and(|mark| mark.unsure);
                row.events = record
                    .onsets(behaviour)
                    .into_iter()
                    .map(|(at, id)| (behaviour, at, unsure(id)))
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

fn draw_row(page: &mut Page, record: &Record<'_>, frame: &Frame, row: &Row<'_>, y: f64) {
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
        if record.coding.mark(bout.mark).is_some_and(|mark| mark.unsure) {
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
    for (behaviour, at, unsure) in &row.events {
        let x = frame.x(at.seconds());
        let dash = if *unsure { Dash::Short } else { Dash::Solid };
        let stroke = Stroke::dashed(look.text, 2.0, dash);
        page.canvas.line((x, y + 4.0), (x, y + ROW - 4.0), stroke);
        let sure = if *unsure { ", unsure" } else { "" };
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

/// Events drawn around a cue, by role.
const AROUND: [(Role, Glyph, &str); 5] = [
    (Role::Orient, Glyph::Ring, "orient"),
    (Role::Approach, Glyph::Towards, "approach"),
    (Role::Retreat, Glyph::Away, "retreat"),
    (Role::Contact, Glyph::Diamond, "contact"),
    (Role::Food, Glyph::Square, "food"),
];
/// Height of a presentation's row.
const CUE_ROW: f64 = 38.0;
/// Room for the outcome.
const OUTCOME: f64 = 128.0;

/// A session around its cues: a row for each presentation, from five seconds before the cue to its end.
#[must_use]
pub fn cue_raster(record: &Record<'_>, look: &Look) -> Chart {
    let title = format!("{}: around each cue", whose(record));
    if !record.is_coded(Role::Cue) {
        return Page::empty(
            look,
            &title,
            "The pass that holds the cue is not done: no presentation is known.",
        );
    }
    let found = presentations::of(record);
    let Some(longest) = found.iter().map(|own| own.span().length()).max() else {
        return Page::empty(look, &title, "No presentation: no cue was coded in this session.");
    };
    let set = activity(record);
    let caption = format!(
        "{}, numbered; bar: {}; upright line: its end. {}.",
        plural(found.len(), "presentation"),
        set.map_or_else(|| "its time".to_owned(), |set| set.name.to_lowercase()),
        effort(record)
    );
    let mut page = Page::new(look, &title, &caption);
    let names = 104.0;
    let plot = Area::new(
        names,
        page.top,
        page.canvas.width() - names - OUTCOME - MARGIN,
        count(found.len()) * CUE_ROW + 4.0,
    );
    // A little beyond the end, so that its line is seen.
    let (from, to) = (-BEFORE.seconds(), longest.seconds() * 1.01 + 0.5);
    let axis = Axis {
        title: "seconds from the cue",
        range: (from, to),
        ticks: axes::time_ticks(from, to, 12),
        label: &|seconds| format!("{seconds:.0}"),
    };
    let frame = axes::draw(&mut page.canvas, plot, &axis, &Axis::bare(0.0, 1.0), BELOW);
    let states = set.map(|set| record.ethogram.states_of(&set.id).collect()).unwrap_or_default();
    for (i, own) in found.iter().enumerate() {
        draw_presentation(&mut page, record, &frame, (own, &states), plot.y + 2.0 + count(i) * CUE_ROW);
    }
    let zero = frame.x(0.0);
    page.canvas.line((zero, plot.y), (zero, plot.bottom()), Stroke::solid(look.text, 1.5));
    let has_any = |role: Role| record.ethogram.with_role(role).next().is_some();
    let marks = AROUND.iter().filter(|(role, _, _)| has_any(*role));
    let marks: Vec<(Sample, String)> =
        marks.map(|(_, glyph, name)| (Sample::Glyph(*glyph), (*name).to_owned())).collect();
    let below = page.legend(MARGIN, plot.bottom() + BELOW + 12.0, &marks);
    let is_shown = |behaviour: &&&Behaviour| {
        let near = |bout: &Bout| found.iter().any(|own| bout.span.intersection(around(own)).is_some());
        record.bouts(behaviour).iter().any(near)
    };
    let mut fills: Vec<(Sample, String)> =
        states.iter().filter(is_shown).map(|own| entry(look, record, own)).collect();
    if found.iter().any(|own| record.excluded().iter().any(|span| span.intersection(around(own)).is_some())) {
        fills.push((Sample::Fill(look.unseen()), "out of sight".to_owned()));
    }
    let _ = page.legend(MARGIN, below, &fills);
    page.finish()
}

/// What is shown of a presentation.
fn around(own: &Presentation) -> Span {
    Span::between(own.cue - BEFORE, own.end)
}

fn draw_presentation(
    page: &mut Page,
    record: &Record<'_>,
    frame: &Frame,
    (own, states): (&Presentation, &Vec<&Behaviour>),
    y: f64,
) {
    let look = page.canvas.look;
    let middle = y + CUE_ROW / 2.0;
    let session = &record.session.id;
    let x = |at: Micros| frame.x((at - own.cue).seconds());
    let words = format!("Presentation {}, cue at {}: {}", own.number, own.cue.clock(), own.outcome.words());
    let row = Area::new(MARGIN, y, page.canvas.width() - 2.0 * MARGIN, CUE_ROW);
    page.canvas.hit(row, session, own.cue, words);
    let name = Style::label(look.text).anchored(Anchor::End);
    page.canvas.text(MARGIN + 22.0, middle, &own.number.to_string(), name);
    let mono = Style::label(look.quiet).set_in(Font::Mono).anchored(Anchor::End);
    page.canvas.text(frame.plot.x - 12.0, middle, &clock(own.cue.seconds()), mono);
    let bar = |page: &mut Page, span: Span, fill: Fill, letter: String, words: String| {
        let Some(span) = span.intersection(around(own)) else { return };
        let area = Area::new(x(span.from), middle, x(span.to) - x(span.from), 16.0);
        page.canvas.bar(area, fill);
        page.label_in(area, fill, &[letter]);
        page.canvas.hit(area, session, span.from, words);
    };
    for behaviour in states {
        for bout in record.bouts(behaviour) {
            let words = format!("{} from {}", behaviour.name, bout.span.from.clock());
            bar(page, bout.span, look.of(record.ethogram, behaviour), key(behaviour), words);
        }
    }
    for span in record.excluded() {
        bar(page, *span, look.unseen(), String::new(), format!("Out of sight from {}", span.from.clock()));
    }
    page.canvas.line((x(own.end), middle - 2.0), (x(own.end), middle + 18.0), Stroke::solid(look.text, 2.0));
    for (role, glyph, what) in AROUND {
        for (at, _) in record.role_onsets(role) {
            // Food may come a moment after the presentation has ended in success.
            let until = own.end + if role == Role::Food { BEFORE } else { Micros::ZERO };
            if at < own.cue - BEFORE || at > until || x(at) > frame.plot.right() {
                continue;
            }
            page.canvas.glyph(x(at), middle - 8.0, glyph, 9.0, look.text);
            let words = format!(
                "Presentation {}: {what} {:+.2} s from the cue, at {}",
                own.number,
                (at - own.cue).seconds(),
                at.clock()
            );
            page.canvas.hit(Area::around(x(at), middle - 8.0, 9.0), session, at, words);
        }
    }
    let outcome = match &own.reason {
        Some(reason) => format!("{}: {reason}", own.outcome.words()),
        None => own.outcome.words().to_owned(),
    };
    let style = Style::label(look.text);
    let _ = page.canvas.text_within(frame.plot.right() + 10.0, middle, &outcome, style, OUTCOME - 10.0);
}
