//! Concern over a session: what was at watch and at stop, and how soon the handler backed off.

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::letters::Font;
use super::look::{Fill, Look, Pattern, ink_on};
use super::page::{BELOW, LINE, MARGIN, Page, Sample, clock, count, effort, plural, whose};
use super::shapes::{Anchor, Area, Stroke, Style};
use crate::measures::concern::{BackOff, Concern, Incident};
use crate::measures::presentations::Presentation;
use crate::measures::record::{Missing, Record};
use crate::model::Level;
use crate::time::Spans;

/// Room for names of rows.
const NAMES: f64 = 116.0;
/// Height of a row.
const ROW: f64 = 30.0;
/// Rows, from above.
const ROWS: [&str; 4] = ["presentations", "stop", "watch", "back-off"];
/// Stop incidents told in words below the strip.
const TOLD: usize = 12;

/// Concern of a session over its time. `found`: what [`crate::measures::concern::of`] makes of it, or
/// why it can't be known. A part leads to the incident's start.
#[must_use]
pub fn concern(
    record: &Record<'_>,
    presentations: &[Presentation],
    found: &Result<Concern, Missing>,
    look: &Look,
) -> Chart {
    let title = format!("{}: concern", whose(record));
    let concern = match found {
        Ok(concern) => concern,
        Err(why) => {
            let missing = format!("Concern is not known: {why}. Not coded is not the same as not seen.");
            return Page::empty(look, &title, &missing);
        }
    };
    let (watch, stop) = (concern.watch.total().seconds(), concern.stop.total().seconds());
    let target = record.study.targets.back_off_s.micros().seconds();
    let mut caption = format!(
        "{}. Watch: {}, {watch:.1} s; stop: {}, {stop:.1} s. House target: back off within {target:.0} s.",
        effort(record),
        plural(concern.watch_incidents.len(), "incident"),
        plural(concern.stop_incidents.len(), "incident")
    );
    if concern.stop_incidents.is_empty() && concern.watch_incidents.is_empty() {
        caption = format!("{caption} None seen is no proof of none.");
    }
    let mut page = Page::new(look, &title, &caption);
    let plot =
        Area::new(NAMES, page.top, page.canvas.width() - NAMES - MARGIN, count(ROWS.len()) * ROW + 4.0);
    let (from, to) = (record.window().from.seconds(), record.window().to.seconds());
    let axis = Axis {
        title: "session time, min:s",
        range: (from, to),
        ticks: axes::time_ticks(from, to, 10),
        label: &clock,
    };
    let frame = axes::draw(&mut page.canvas, plot, &axis, &Axis::bare(0.0, 1.0), BELOW);
    for (i, name) in ROWS.iter().enumerate() {
        let y = plot.y + 2.0 + count(i) * ROW;
        let style = Style::label(look.text).anchored(Anchor::End);
        page.canvas.text(NAMES - 12.0, y + ROW / 2.0, name, style);
        for span in record.visible_so_far() {
            let x = frame.x(span.from.seconds());
            let area = Area::new(x, y + 4.0, frame.x(span.to.seconds()) - x, ROW - 8.0);
            page.canvas.rect(area, Some(look.raised), None, 0.0);
        }
    }
    draw_presentations(&mut page, record, presentations, &frame);
    draw_level(&mut page, record, &frame, Level::Stop, &concern.stop, &concern.stop_incidents);
    draw_level(&mut page, record, &frame, Level::Watch, &concern.watch, &concern.watch_incidents);
    draw_back_offs(&mut page, record, &frame, concern);
    let below = legend(&mut page, plot.bottom() + BELOW + 12.0);
    tell(&mut page, record, concern, below + 8.0);
    page.finish()
}

fn row(frame: &Frame, n: usize) -> f64 {
    frame.plot.y + 2.0 + count(n) * ROW
}

fn draw_presentations(page: &mut Page, record: &Record<'_>, all: &[Presentation], frame: &Frame) {
    let look = page.canvas.look;
    let y = row(frame, 0);
    for own in all {
        let x = frame.x(own.cue.seconds());
        let area = Area::new(x, y + 7.0, frame.x(own.end.seconds()) - x, ROW - 14.0);
        let edge = Some(Stroke::solid(look.quiet, 1.0));
        page.canvas.rect(area, Some(look.panel), edge, 0.0);
        let style = Style::label(look.text).anchored(Anchor::Middle);
        let number = own.number.to_string();
        if page.canvas.text_width(&number, style) + 4.0 <= area.width {
            page.canvas.text(area.x + area.width / 2.0, area.middle(), &number, style);
        }
        let words =
            format!("Presentation {}, cue at {}: {}", own.number, own.cue.clock(), own.outcome.words());
        page.canvas.hit(area, &record.session.id, own.cue, words);
    }
}

/// How a level is drawn: by its pattern, in the colours of text.
fn fill_of(look: &Look, level: Level) -> Fill {
    match level {
        Level::Stop => Fill { colour: look.panel, pattern: Pattern::Cross },
        _ => Fill { colour: look.panel, pattern: Pattern::Hatch },
    }
}

fn draw_level(
    page: &mut Page,
    record: &Record<'_>,
    frame: &Frame,
    level: Level,
    spans: &Spans,
    incidents: &[Incident],
) {
    let look = page.canvas.look;
    let y = row(frame, if level == Level::Stop { 1 } else { 2 });
    let fill = fill_of(&look, level);
    let across = |from: f64, to: f64| {
        // A second of a long session is less than a pixel: it is shown all the same.
        Area::new(frame.x(from), y + 4.0, (frame.x(to) - frame.x(from)).max(3.0), ROW - 8.0)
    };
    for span in spans {
        let area = across(span.from.seconds(), span.to.seconds());
        page.canvas.rect(area, Some(fill.colour), None, 0.0);
        page.canvas.pattern(area, fill.pattern, ink_on(fill.colour));
        let edge = Stroke::solid(look.text, 1.2);
        page.canvas.rect(area, None, Some(edge), 0.0);
    }
    let mut last = f64::MIN;
    for incident in incidents {
        let (from, to) = (incident.span.from.seconds(), incident.span.to.seconds());
        let x = frame.x(from);
        // Of thousands only as many as can be told apart.
        if incident.events_only && x - last > 0.5 {
            last = x;
            page.canvas.line((x, y + 4.0), (x, y + ROW - 4.0), Stroke::solid(look.text, 2.5));
        }
        let words = format!(
            "{} at {}: {}, {}",
            level.word(),
            incident.span.from.clock(),
            name_of(record, incident),
            back_off_words(record, incident)
        );
        page.canvas.hit(across(from, to), &record.session.id, incident.span.from, words);
    }
}

fn name_of(record: &Record<'_>, incident: &Incident) -> String {
    let behaviour = record.ethogram.behaviour(&incident.behaviour);
    behaviour.map_or_else(|| incident.behaviour.to_string(), |own| own.name.clone())
}

fn back_off_words(record: &Record<'_>, incident: &Incident) -> String {
    let target = record.study.targets.back_off_s.micros();
    match incident.back_off {
        BackOff::After(time) => {
            let held = if time <= target { "within" } else { "over" };
            format!("backed off after {:.1} s, {held} the target", time.seconds())
        }
        BackOff::StoppedByItself(time) => format!("stopped by itself after {:.1} s", time.seconds()),
        BackOff::NotSeen(time) => format!("no back-off within {:.1} s", time.seconds()),
        BackOff::NotCoded => "back-offs not coded to their end".to_owned(),
    }
}

/// From the start of an incident to the moment at which the handler backed off.
fn draw_back_offs(page: &mut Page, record: &Record<'_>, frame: &Frame, concern: &Concern) {
    let look = page.canvas.look;
    let y = row(frame, 3) + ROW / 2.0;
    let mut all: Vec<&Incident> = concern.stop_incidents.iter().chain(&concern.watch_incidents).collect();
    all.sort_by_key(|incident| incident.span.from);
    let mut free_from = f64::MIN;
    for incident in all {
        let BackOff::After(time) = incident.back_off else { continue };
        let at = incident.span.from + time;
        let (from, to) = (frame.x(incident.span.from.seconds()), frame.x(at.seconds()));
        page.canvas.line((from, y), (to, y), Stroke::solid(look.text, 2.0));
        let tip = [(to - 4.0, y - 8.0), (to + 4.0, y - 8.0), (to, y + 1.0)];
        page.canvas.shape(&tip, Some(look.text), None);
        let words = format!("Backs off at {}, {:.1} s after the start", at.clock(), time.seconds());
        page.canvas.hit(Area::new(from, y - 8.0, to - from, 14.0), &record.session.id, at, words);
        let label = format!("{:.1} s", time.seconds());
        let style = Style::label(look.text);
        let end = to + 8.0 + page.canvas.text_width(&label, style);
        if to + 8.0 > free_from && end <= frame.plot.right() {
            page.canvas.text(to + 8.0, y, &label, style);
            free_from = end + 4.0;
        }
    }
}

fn legend(page: &mut Page, y: f64) -> f64 {
    let look = page.canvas.look;
    let entries = [
        (Sample::Fill(fill_of(&look, Level::Stop)), "stop".to_owned()),
        (Sample::Fill(fill_of(&look, Level::Watch)), "watch".to_owned()),
        (Sample::Tick, "an event alone".to_owned()),
        (Sample::Line(Stroke::solid(look.text, 2.0)), "from an incident's start to the back-off".to_owned()),
    ];
    page.legend(MARGIN, y, &entries)
}

/// Stop incidents in words, each on its line.
fn tell(page: &mut Page, record: &Record<'_>, concern: &Concern, top: f64) {
    let look = page.canvas.look;
    let width = page.canvas.width() - 2.0 * MARGIN;
    let mut y = top + LINE / 2.0;
    let mono = Style::label(look.text).set_in(Font::Mono);
    let style = Style::label(look.text);
    for incident in concern.stop_incidents.iter().take(TOLD) {
        let context = match incident.presentation {
            Some(number) => format!("in presentation {number}"),
            None => "between presentations".to_owned(),
        };
        let warning = incident
            .warning
            .map_or_else(|| "no warning".to_owned(), |time| format!("{:.1} s of warning", time.seconds()));
        let words = format!(
            "stop: {}, {context}; {}; {warning}",
            name_of(record, incident),
            back_off_words(record, incident)
        );
        page.canvas.text(MARGIN, y, &clock(incident.span.from.seconds()), mono);
        let top = y - LINE / 2.0;
        for line in page.canvas.lines(&words, style, width - 66.0) {
            page.canvas.text(MARGIN + 66.0, y, &line, style);
            y += LINE;
        }
        let area = Area::new(MARGIN, top, width, y - LINE / 2.0 - top);
        page.canvas.hit(area, &record.session.id, incident.span.from, words);
        y += 2.0;
    }
    let rest = concern.stop_incidents.len().saturating_sub(TOLD);
    if rest > 0 {
        page.canvas.text(MARGIN, y, &format!("and {rest} more"), Style::label(look.quiet));
        y += LINE;
    }
    if !concern.continued_after_stop.is_empty() {
        let cues: Vec<String> = concern.continued_after_stop.iter().map(|at| clock(at.seconds())).collect();
        let text = format!("Went on after stop, against the plan: cue at {}", cues.join(", "));
        for line in page.canvas.lines(&text, style, width) {
            page.canvas.text(MARGIN, y, &line, style);
            y += LINE;
        }
    }
    page.canvas.grow(y + 4.0);
}
