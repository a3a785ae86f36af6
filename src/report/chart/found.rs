//! A coding by samples: at which points, or in which intervals, each behaviour was found.

use std::collections::BTreeSet;

use super::Chart;
use super::axes::{self, Axis};
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, clock, count, whose};
use super::raster::{NAMES, ROW};
use super::shapes::{Anchor, Area, Stroke, Style};
use crate::measures::record::Record;
use crate::measures::recorded::{Recorded, numbers_of};
use crate::model::samples::{Form, Sample};
use crate::model::{Behaviour, Role};

/// A row for each behaviour that was asked for, over session time. A low tick: answered, and not found;
/// a high one: found, and leads to its picture; none: not answered, or nobody could see.
#[must_use]
pub fn found(record: &Record<'_>, look: &Look) -> Chart {
    let title = format!("{}: the samples", whose(record));
    let recorded = match Recorded::of(record) {
        Ok(recorded) => recorded,
        Err(why) => return Page::empty(look, &title, &format!("Nothing to draw: {why}.")),
    };
    if recorded.answered == 0 {
        return Page::empty(look, &title, "No sample is answered yet: open the coding and answer some.");
    }
    let form = recorded.samples.form();
    let each = form.word();
    let with_film = recorded.samples.count() - recorded.in_gaps;
    let caption = format!(
        "{} of {with_film} {}s answered, {} of them out of sight. High: found in this {each}; low: answered, not found; \
         nothing: out of sight or not answered.",
        recorded.answered, each, recorded.out_of_sight
    );
    let asked: Vec<&Behaviour> = record
        .ethogram
        .behaviours
        .iter()
        .filter(|own| record.coding.passes.iter().any(|pass| pass.behaviours.contains(&own.id)))
        .collect();
    let mut page = Page::new(look, &title, &caption);
    let width = page.canvas.width() - NAMES - MARGIN - COUNTS;
    let plot = Area::new(NAMES, page.top, width, count(asked.len()) * ROW + 4.0);
    let (from, to) = (record.window().from.seconds(), record.window().to.seconds());
    let axis = Axis {
        title: "session time, min:s",
        range: (from, to),
        ticks: axes::time_ticks(from, to, 10),
        label: &clock,
    };
    let frame = axes::draw(&mut page.canvas, plot, &axis, &Axis::bare(0.0, 1.0), BELOW);
    for (i, behaviour) in asked.into_iter().enumerate() {
        let y = plot.y + 2.0 + count(i) * ROW;
        let name = Style::label(look.text).anchored(Anchor::End);
        let _ = page.canvas.text_within(
            plot.x - 12.0,
            y + ROW / 2.0,
            &behaviour.name,
            name,
            NAMES - MARGIN - 12.0,
        );
        let numbers: BTreeSet<u32> = numbers_of(record, behaviour).collect();
        let is_hidden = behaviour.has_role(Role::Excluded);
        for sample in recorded.samples.iter() {
            let x = frame.x(sample.span.from.seconds());
            // A mark of a sample that nobody has finished is no answer yet.
            let is_found = numbers.contains(&sample.number) && is_answered(record, sample.number);
            let wide = if form == Form::Point { 3.0 } else { frame.x(sample.span.to.seconds()) - x - 1.0 };
            let left = if form == Form::Point { x - 1.5 } else { x };
            let area = Area::new(left, y + 3.0, wide.max(1.0), ROW - 6.0);
            if is_found {
                page.canvas.bar(area, look.of(record.ethogram, behaviour));
                page.canvas.hit(area, &record.session.id, sample.span.from, words(sample, behaviour, each));
            } else if recorded.visible.contains(&sample.number) && !is_hidden {
                let low = y + ROW - 5.0;
                page.canvas.line((left, low), (left + wide.max(1.0), low), Stroke::solid(look.quiet, 2.0));
            }
        }
        let counts = if is_hidden {
            format!("{} of {}", recorded.out_of_sight, recorded.answered)
        } else {
            match recorded.so_far(record, behaviour) {
                Ok(found) => format!("{} of {}", found.hits, found.of),
                Err(_) => "—".to_owned(),
            }
        };
        let style = Style::label(look.quiet).anchored(Anchor::End);
        page.canvas.text(page.canvas.width() - MARGIN, y + ROW / 2.0, &counts, style);
    }
    page.canvas.grow(plot.bottom() + BELOW + 12.0);
    page.finish()
}

/// Room for the counts on the right.
const COUNTS: f64 = 84.0;

fn words(sample: Sample, behaviour: &Behaviour, each: &str) -> String {
    format!("{each} {} at {}: {}", sample.number, sample.span.from.clock(), behaviour.name)
}

fn is_answered(record: &Record<'_>, number: u32) -> bool {
    record.coding.passes.iter().any(|pass| pass.answered.contains(number))
}
