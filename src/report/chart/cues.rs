//! The raster aligned to cues: what happened around each presentation.

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::letters::Font;
use super::look::{Fill, Look};
use super::page::{BELOW, MARGIN, Page, Sample, clock, count, effort, plural, whose};
use super::raster::{activity, entry, key};
use super::shapes::{Anchor, Area, Glyph, Stroke, Style};
use crate::measures::presentations::{self, Presentation};
use crate::measures::record::{Bout, Record};
use crate::model::{Behaviour, Role};
use crate::time::{Micros, Span};

/// How much is shown before a cue.
const BEFORE: Micros = Micros::from_whole_seconds(5);
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
    let states = set.into_iter().flat_map(|set| record.ethogram.states_of(&set.id));
    let around_cues = Around {
        states: states.map(|behaviour| (behaviour, record.bouts(behaviour))).collect(),
        events: AROUND.map(|(role, glyph, what)| {
            (role, glyph, what, record.role_onsets(role).into_iter().map(|(at, _)| at).collect())
        }),
    };
    for (i, own) in found.iter().enumerate() {
        draw_presentation(&mut page, record, &frame, (own, &around_cues), plot.y + 2.0 + count(i) * CUE_ROW);
    }
    let zero = frame.x(0.0);
    page.canvas.line((zero, plot.y), (zero, plot.bottom()), Stroke::solid(look.text, 1.5));
    let has_any = |role: Role| record.ethogram.with_role(role).next().is_some();
    let marks = AROUND.iter().filter(|(role, _, _)| has_any(*role));
    let marks: Vec<(Sample, String)> =
        marks.map(|(_, glyph, name)| (Sample::Glyph(*glyph), (*name).to_owned())).collect();
    let below = page.legend(MARGIN, plot.bottom() + BELOW + 12.0, &marks);
    let is_shown = |bouts: &[Bout]| {
        found.iter().any(|own| bouts.iter().any(|bout| bout.span.intersection(around(own)).is_some()))
    };
    let shown = around_cues.states.iter().filter(|(_, bouts)| is_shown(bouts));
    let mut fills: Vec<(Sample, String)> = shown.map(|(own, _)| entry(look, record, own)).collect();
    if found.iter().any(|own| record.excluded().iter().any(|span| span.intersection(around(own)).is_some())) {
        fills.push((Sample::Fill(look.unseen()), "out of sight".to_owned()));
    }
    let _ = page.legend(MARGIN, below, &fills);
    page.finish()
}

/// What is drawn around cues, found once.
struct Around<'a> {
    states: Vec<(&'a Behaviour, Vec<Bout>)>,
    events: [(Role, Glyph, &'static str, Vec<Micros>); 5],
}

/// What is shown of a presentation.
fn around(own: &Presentation) -> Span {
    Span::between(own.cue - BEFORE, own.end)
}

fn draw_presentation(
    page: &mut Page,
    record: &Record<'_>,
    frame: &Frame,
    (own, shown): (&Presentation, &Around<'_>),
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
    let bar = |page: &mut Page, span: Span, fill: Fill, letter: String, name: &str| {
        let Some(span) = span.intersection(around(own)) else { return };
        let words = format!("{name} from {}", span.from.clock());
        let area = Area::new(x(span.from), middle, x(span.to) - x(span.from), 16.0);
        page.canvas.bar(area, fill);
        page.label_in(area, fill, &[letter]);
        page.canvas.hit(area, session, span.from, words);
    };
    for (behaviour, bouts) in &shown.states {
        let fill = look.of(record.ethogram, behaviour);
        for bout in bouts {
            bar(page, bout.span, fill, key(behaviour), &behaviour.name);
        }
    }
    for span in record.excluded() {
        bar(page, *span, look.unseen(), String::new(), "Out of sight");
    }
    page.canvas.line((x(own.end), middle - 2.0), (x(own.end), middle + 18.0), Stroke::solid(look.text, 2.0));
    for (role, glyph, what, moments) in &shown.events {
        for at in moments.iter().copied() {
            // Food may come a moment after the presentation has ended in success.
            let until = own.end + if *role == Role::Food { BEFORE } else { Micros::ZERO };
            if at < own.cue - BEFORE || at > until || x(at) > frame.plot.right() {
                continue;
            }
            page.canvas.glyph(x(at), middle - 8.0, *glyph, 9.0, look.text);
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
