//! The cumulative record: successes and food over a session's time.

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, clock, count, effort, plural, whose};
use super::shapes::{Area, Dash, Stroke, Style};
use crate::measures::presentations::{self, Latency, Outcome};
use crate::measures::record::Record;
use crate::model::Role;
use crate::time::Micros;

/// Height of the plot.
const HEIGHT: f64 = 220.0;
const LEFT: f64 = 64.0;
/// Room for the names at the ends of the lines.
const ENDS: f64 = 132.0;

/// Successes and deliveries of food of a session, added up over its time. A step leads to its moment.
#[must_use]
pub fn cumulative(record: &Record<'_>, look: &Look) -> Chart {
    let title = format!("{}: successes and food", whose(record));
    let mut missing = Vec::new();
    if !record.is_coded(Role::Cue) {
        missing.push("successes: the pass that holds the cue is not done");
    }
    if !record.is_coded(Role::Food) {
        missing.push("food: its pass is not done");
    }
    let found = if record.is_coded(Role::Cue) { presentations::of(record) } else { Vec::new() };
    let mut successes: Vec<Micros> = found
        .iter()
        .filter(|own| matches!(own.outcome, Outcome::Success | Outcome::SuccessPrompted))
        .map(|own| match own.success {
            Latency::Reached(time) => own.cue + time,
            _ => own.end,
        })
        .collect();
    successes.sort_unstable();
    let food: Vec<Micros> = if record.is_coded(Role::Food) {
        record.role_onsets(Role::Food).into_iter().map(|(at, _)| at).collect()
    } else {
        Vec::new()
    };
    if successes.is_empty() && food.is_empty() {
        let why = if missing.is_empty() {
            format!("Neither a success nor food in {}.", plural(found.len(), "presentation"))
        } else {
            format!("Nothing to add up ({}).", missing.join("; "))
        };
        return Page::empty(look, &title, &why);
    }
    let mut caption = format!(
        "{} (n {}) and {} of food; ticks below: cues. {}.",
        plural(successes.len(), "success").replace("successs", "successes"),
        plural(found.len(), "presentation"),
        if food.len() == 1 { "1 delivery".to_owned() } else { format!("{} deliveries", food.len()) },
        effort(record)
    );
    if !missing.is_empty() {
        caption = format!("{caption} Not known: {}.", missing.join("; "));
    }
    let mut page = Page::new(look, &title, &caption);
    let plot = Area::new(LEFT, page.top + 4.0, page.canvas.width() - LEFT - ENDS - MARGIN, HEIGHT);
    let (from, to) = (record.window().from.seconds(), record.window().to.seconds());
    let most = count(successes.len().max(food.len()));
    let x = Axis {
        title: "session time, min:s",
        range: (from, to),
        ticks: axes::time_ticks(from, to, 9),
        label: &clock,
    };
    let whole = axes::ticks(0.0, most, 6).into_iter().filter(|tick| tick.fract().abs() < 1e-9).collect();
    let y = Axis {
        title: "count so far",
        range: (0.0, most * 1.08),
        ticks: whole,
        label: &|n| format!("{n:.0}"),
    };
    let frame = axes::draw(&mut page.canvas, plot, &x, &y, BELOW);
    for own in &found {
        let at = frame.x(own.cue.seconds());
        page.canvas.line((at, plot.bottom() - 7.0), (at, plot.bottom()), Stroke::solid(look.quiet, 1.5));
        let words =
            format!("Presentation {}, cue at {}: {}", own.number, own.cue.clock(), own.outcome.words());
        page.canvas.hit(
            Area::new(at - 1.0, plot.bottom() - 9.0, 2.0, 9.0),
            &record.session.id,
            own.cue,
            words,
        );
    }
    let end = |what: &str, n: usize| format!("{what}, {n}");
    let lines = [
        (&food, "Food", end("food", food.len()), Stroke::dashed(look.quiet, 2.0, Dash::Long)),
        (&successes, "Success", end("success", successes.len()), Stroke::solid(look.text, 2.2)),
    ];
    let is_level = food.len() == successes.len();
    for (i, (moments, what, end, stroke)) in lines.into_iter().enumerate() {
        if moments.is_empty() {
            continue;
        }
        draw_line(&mut page, record, &frame, (moments, what), stroke);
        // Two lines that end at the same height are named one above the other.
        let shift = match (is_level, i) {
            (true, 0) => 10.0,
            (true, _) => -8.0,
            (false, _) => 0.0,
        };
        let (right, height) = (plot.right() + 8.0, frame.y(count(moments.len())) + shift);
        page.canvas.line((right, height), (right + 20.0, height), stroke);
        page.canvas.text(right + 26.0, height, &end, Style::label(look.text));
    }
    page.canvas.grow(plot.bottom() + BELOW + MARGIN / 2.0);
    page.finish()
}

fn draw_line(
    page: &mut Page,
    record: &Record<'_>,
    frame: &Frame,
    (moments, what): (&[Micros], &str),
    stroke: Stroke,
) {
    let mut points = vec![(frame.plot.x, frame.y(0.0))];
    for (i, at) in moments.iter().enumerate() {
        let x = frame.x(at.seconds());
        points.push((x, frame.y(count(i))));
        points.push((x, frame.y(count(i + 1))));
        let area = Area::new(x - 2.0, frame.y(count(i + 1)), 4.0, frame.y(count(i)) - frame.y(count(i + 1)));
        let words = format!("{what} {} of {} at {}", i + 1, moments.len(), at.clock());
        page.canvas.hit(area, &record.session.id, *at, words);
    }
    points.push((frame.plot.right(), frame.y(count(moments.len()))));
    page.canvas.path(&points, stroke);
}
