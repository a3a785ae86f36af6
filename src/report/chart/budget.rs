//! Time budgets: how the visible time of each session was spent.

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, Sample, animals, clock, count, day, percent, plural};
use super::raster::{activity, entry, key};
use super::shapes::{Anchor, Area, Dash, Stroke, Style};
use crate::measures::Record;
use crate::measures::record::Bout;
use crate::model::{Behaviour, Set, SetId};
use crate::time::Micros;

/// Room for sessions, and for what was seen of them.
const NAMES: f64 = 132.0;
const SEEN: f64 = 92.0;
/// Height of a session's row.
const ROW: f64 = 46.0;

/// Time budgets of sessions: a bar each, states of one set in the ethogram's order as shares of
/// visible time. `set`: none takes the first that does not hold out of sight. A part leads to its first bout.
#[must_use]
pub fn budget(records: &[Record<'_>], set: Option<&SetId>, look: &Look) -> Chart {
    let title = format!("{}: time budget", animals(records));
    let Some(first) = records.first() else {
        return Page::empty(look, "Time budget", "No session is chosen, or none has a primary coding yet.");
    };
    let of_record = |record: &Record<'_>| match set {
        Some(id) => record.ethogram.set(id).cloned(),
        None => activity(record).cloned(),
    };
    let Some(shown) = of_record(first) else {
        return Page::empty(look, &title, "The ethogram has no set of states a budget could be made of.");
    };
    let caption = format!(
        "{}, {}. Share of visible time (100 % = time in sight of the observed session), seconds, n bouts.",
        shown.name,
        plural(records.len(), "session")
    );
    let mut page = Page::new(look, &title, &caption);
    let plot = Area::new(
        NAMES,
        page.top,
        page.canvas.width() - NAMES - SEEN - MARGIN,
        count(records.len()) * ROW + 4.0,
    );
    let axis = Axis {
        title: "share of visible time",
        range: (0.0, 1.0),
        ticks: axes::ticks(0.0, 1.0, 5),
        label: &percent,
    };
    let frame = axes::draw(&mut page.canvas, plot, &axis, &Axis::bare(0.0, 1.0), BELOW);
    let mut legend: Vec<(String, (Sample, String))> = Vec::new();
    let mut is_part_empty = false;
    for (i, record) in records.iter().enumerate() {
        let y = plot.y + 2.0 + count(i) * ROW;
        is_part_empty |= draw_session(&mut page, record, of_record(record).as_ref(), &frame, y);
        for behaviour in of_record(record).iter().flat_map(|set| record.ethogram.states_of(&set.id)) {
            let is_known = legend.iter().any(|(id, _)| id == behaviour.id.as_str());
            if !is_known && !record.bouts(behaviour).is_empty() {
                legend.push((behaviour.id.to_string(), entry(look, record, behaviour)));
            }
        }
    }
    let mut entries: Vec<(Sample, String)> = legend.into_iter().map(|(_, entry)| entry).collect();
    if is_part_empty {
        entries.push((Sample::Hollow, "visible, no state coded".to_owned()));
    }
    let _ = page.legend(MARGIN, plot.bottom() + BELOW + 12.0, &entries);
    page.finish()
}

/// Draws a session's bar; whether some of its visible time has no state.
fn draw_session(page: &mut Page, record: &Record<'_>, set: Option<&Set>, frame: &Frame, y: f64) -> bool {
    let look = page.canvas.look;
    let middle = y + ROW / 2.0;
    let name = Style::label(look.text).anchored(Anchor::End);
    let quiet = Style::label(look.quiet);
    let step = record.session.step.map_or_else(|| "no plan step".to_owned(), |step| format!("step {step}"));
    let animal = record.animal().map_or(record.session.animal.as_str(), |own| own.name.as_str());
    let step = page.canvas.cut(&format!("{animal}, {step}"), quiet, NAMES - 12.0 - MARGIN);
    page.canvas.text(NAMES - 12.0, middle - 9.0, &day(record.session), name);
    page.canvas.text(NAMES - 12.0, middle + 9.0, &step, quiet.anchored(Anchor::End));
    let track = Area::new(frame.plot.x, middle - 14.0, frame.plot.width, 28.0);
    let states: Vec<&Behaviour> =
        set.map(|set| record.ethogram.states_of(&set.id).collect()).unwrap_or_default();
    let undone = states.iter().find(|own| !record.is_live() && !record.coding.is_done(&own.id));
    let visible = record.visible().map(|spans| spans.total().seconds());
    let missing = match (visible, undone) {
        (Err(why), _) => Some(format!("visible time not known: {why}")),
        (Ok(_), Some(own)) => Some(format!("no share: the pass that holds {} is not done", own.name)),
        (Ok(visible), None) if visible <= 0.0 => Some("no share: the animal was never visible".to_owned()),
        _ if states.is_empty() => Some("no share: this session's ethogram has no such set".to_owned()),
        _ => None,
    };
    let hollow = Some(Stroke::dashed(look.quiet, 1.0, Dash::Short));
    let inside = Area::new(track.x + 0.5, track.y + 0.5, track.width - 1.0, track.height - 1.0);
    page.canvas.rect(inside, Some(look.panel), hollow, 0.0);
    if let Some(missing) = missing {
        let _ = page.canvas.text_within(track.x + 10.0, middle, &missing, quiet, track.width - 20.0);
        page.canvas.hit(track, &record.session.id, record.window().from, missing);
        return false;
    }
    let visible = visible.unwrap_or_default();
    page.canvas.text(
        frame.plot.right() + 10.0,
        middle - 9.0,
        &format!("{visible:.0} s"),
        Style::label(look.text),
    );
    page.canvas.text(frame.plot.right() + 10.0, middle + 9.0, "visible", quiet);
    let mut share = 0.0;
    for behaviour in states {
        let bouts = record.bouts(behaviour);
        let Some(first) = bouts.first() else { continue };
        let seconds = bouts.iter().map(|bout: &Bout| bout.span.length()).sum::<Micros>().seconds();
        let own = seconds / visible;
        let area = Area::new(frame.x(share), track.y, frame.x(share + own) - frame.x(share), track.height);
        let fill = look.of(record.ethogram, behaviour);
        page.canvas.bar(area, fill);
        let part = percent(own);
        let labels = [
            format!("{part} · {seconds:.0} s · n {}", bouts.len()),
            format!("{part} · {seconds:.0} s"),
            part.clone(),
            key(behaviour),
        ];
        page.label_in(area, fill, &labels);
        let words = format!(
            "{}: {:.1} % of {} visible, {seconds:.1} s in {}; leads to the first",
            behaviour.name,
            own * 100.0,
            clock(visible),
            plural(bouts.len(), "bout")
        );
        page.canvas.hit(area, &record.session.id, first.span.from, words);
        share += own;
    }
    share < 0.999
}
