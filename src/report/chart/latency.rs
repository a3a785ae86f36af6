//! Latencies from the cue, as step curves of the product limit (Kaplan & Meier 1958).

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::letters::Font;
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, Sample, animals, count, percent, plural};
use super::shapes::{Anchor, Area, BODY, Dash, Glyph, Stroke, Style};
use crate::measures::presentations::{self, Latency, Outcome, Presentation};
use crate::measures::record::Record;
use crate::measures::summary::curve;
use crate::model::{Role, SessionId};
use crate::numeric::product_limit::Curve;
use crate::time::Micros;

/// Height of a curve's plot.
const HEIGHT: f64 = 230.0;
/// Room for the labels of the upright axis, and between panels.
const LEFT: f64 = 68.0;
const BETWEEN: f64 = 20.0;

type Which = fn(&Presentation) -> Latency;
const PANELS: [(&str, Which); 3] =
    [("orient", |own| own.orient), ("first approach", |own| own.approach), ("contact", |own| own.contact)];

/// Latency curves of presentations of sessions: to orient, to the first approach, to contact. What
/// was not reached is censored; each case leads to the picture on which it ended.
#[must_use]
pub fn latencies(records: &[Record<'_>], look: &Look) -> Chart {
    let title = format!("{}: time from the cue", animals(records));
    let mut cases: Vec<(&SessionId, Presentation)> = Vec::new();
    let mut not_coded = 0;
    for record in records {
        if record.is_coded(Role::Cue) {
            cases.extend(presentations::of(record).into_iter().map(|own| (&record.session.id, own)));
        } else {
            not_coded += 1;
        }
    }
    let longest = cases.iter().map(|(_, own)| own.span().length().seconds()).fold(0.0, f64::max);
    if cases.is_empty() || longest <= 0.0 {
        let missing = match (records.len(), not_coded) {
            (0, _) => "No session is chosen, or none has a primary coding yet.",
            (_, 0) => "No presentation: no cue was coded.",
            _ => "The pass that holds the cue is not done: no latency is known.",
        };
        return Page::empty(look, &title, missing);
    }
    let mut caption = format!(
        "{} of {}; product limit, median with log–log limits of 95 %; 100 %: all of them still waiting. Presentations are not independent of each other.",
        plural(cases.len(), "presentation"),
        plural(records.len() - not_coded, "session")
    );
    if not_coded > 0 {
        caption = format!("{caption} Left out, cue not coded to its end: {}.", plural(not_coded, "session"));
    }
    let mut page = Page::new(look, &title, &caption);
    let width = (page.canvas.width() - LEFT - MARGIN - 2.0 * BETWEEN) / 3.0;
    let top = page.top + 66.0;
    let mut endings = Vec::new();
    for (i, (name, which)) in PANELS.into_iter().enumerate() {
        let plot = Area::new(LEFT + count(i) * (width + BETWEEN), top, width, HEIGHT);
        let title = if i == 0 { "share still waiting" } else { "" };
        let labels = |share: f64| if i == 0 { percent(share) } else { String::new() };
        let y = Axis { title, range: (0.0, 1.0), ticks: vec![0.0, 0.25, 0.5, 0.75, 1.0], label: &labels };
        let x = Axis {
            title: "seconds from the cue",
            range: (0.0, longest * 1.04),
            ticks: axes::time_ticks(0.0, longest * 1.04, 5),
            label: &|seconds| format!("{seconds:.0}"),
        };
        let frame = axes::draw(&mut page.canvas, plot, &x, &y, BELOW);
        draw_curve(&mut page, &frame, &cases, (name, which), &mut endings);
    }
    let stroke = Stroke::solid(look.text, 2.0);
    let dashed = Stroke::dashed(look.quiet, 1.5, Dash::Short);
    let mut legend = vec![
        (Sample::Line(stroke), "still waiting".to_owned()),
        (Sample::Tick, "not reached, watched until then".to_owned()),
        (Sample::Line(dashed), "median".to_owned()),
    ];
    if endings.contains(&Outcome::Aborted) {
        legend.push((Sample::Glyph(Glyph::Cross), "aborted by the handler".to_owned()));
    }
    if endings.contains(&Outcome::Void) {
        legend.push((Sample::Glyph(Glyph::Ring), "void".to_owned()));
    }
    let _ = page.legend(MARGIN, top + HEIGHT + BELOW + 12.0, &legend);
    page.finish()
}

fn draw_curve(
    page: &mut Page,
    frame: &Frame,
    cases: &[(&SessionId, Presentation)],
    (name, which): (&str, Which),
    endings: &mut Vec<Outcome>,
) {
    let look = page.canvas.look;
    let plot = frame.plot;
    let heading = Style { font: Font::Medium, size: BODY, colour: look.text, anchor: Anchor::Start };
    page.canvas.text(plot.x, plot.y - 56.0, name, heading);
    let quiet = Style::label(look.quiet);
    if cases.iter().any(|(_, own)| which(own) == Latency::NotCoded) {
        page.canvas.text(plot.x, plot.y - 36.0, "—: pass not done", quiet);
        return;
    }
    let (curve, n, reached) = curve(cases.iter().map(|(_, own)| own), which);
    let median = curve.median().at;
    let limit = |limit: Option<f64>| limit.map_or_else(|| "—".to_owned(), |at| format!("{at:.1}"));
    let found = median.map_or_else(
        || "median not reached".to_owned(),
        |at| {
            let (low, high) = curve.median().ci95;
            format!("median {at:.1} s [{}, {}]", limit(low), limit(high))
        },
    );
    let left_out = cases.len() - n as usize;
    let rest = if left_out > 0 { format!(", {left_out} under way before") } else { String::new() };
    let head = format!("{reached} of {n} reached{rest}");
    let _ = page.canvas.text_within(plot.x, plot.y - 36.0, &head, quiet, plot.width + BETWEEN - 6.0);
    let _ = page.canvas.text_within(plot.x, plot.y - 16.0, &found, quiet, plot.width + BETWEEN - 6.0);
    if let Some(median) = median {
        let dashed = Stroke::dashed(look.quiet, 1.5, Dash::Short);
        let (x, y) = (frame.x(median), frame.y(0.5));
        page.canvas.path(&[(plot.x, y), (x, y), (x, plot.bottom())], dashed);
    }
    let mut points = vec![(frame.x(0.0), frame.y(1.0))];
    let mut survival = 1.0;
    for step in curve.steps() {
        points.push((frame.x(step.at), frame.y(survival)));
        points.push((frame.x(step.at), frame.y(step.survival)));
        survival = step.survival;
    }
    page.canvas.path(&points, Stroke::solid(look.text, 2.0));
    draw_cases(page, frame, &curve, cases, which, endings);
}

/// Marks on the curve: each case where it ended.
fn draw_cases(
    page: &mut Page,
    frame: &Frame,
    curve: &Curve,
    cases: &[(&SessionId, Presentation)],
    which: Which,
    endings: &mut Vec<Outcome>,
) {
    let look = page.canvas.look;
    let mut ticks: Vec<(f64, f64, usize)> = Vec::new();
    for (session, own) in cases {
        let latency = which(own);
        let (length, is_reached) = match latency {
            Latency::Reached(time) => (time, true),
            Latency::Already => (Micros::ZERO, true),
            Latency::Censored(time) => (time, false),
            Latency::LeftOut | Latency::NotCoded => continue,
        };
        let at = length.seconds();
        let survival =
            curve.steps().iter().take_while(|step| step.at <= at).last().map_or(1.0, |step| step.survival);
        let (x, y) = (frame.x(at), frame.y(survival));
        if !is_reached {
            endings.push(own.outcome);
            match own.outcome {
                Outcome::Aborted => page.canvas.glyph(x, y, Glyph::Cross, 10.0, look.text),
                Outcome::Void => page.canvas.glyph(x, y, Glyph::Ring, 10.0, look.text),
                _ => {
                    match ticks.iter_mut().find(|(px, py, _)| (*px - x).abs() < 0.5 && (*py - y).abs() < 0.5)
                    {
                        Some((_, _, n)) => *n += 1,
                        None => ticks.push((x, y, 1)),
                    }
                }
            }
        }
        let words = format!(
            "Session {session}, presentation {}: {} {at:.2} s ({})",
            own.number,
            if is_reached { "reached after" } else { "not reached, watched for" },
            own.outcome.words()
        );
        page.canvas.hit(Area::around(x, y, 11.0), session, own.cue + length, words);
    }
    for (x, y, n) in ticks {
        page.canvas.line((x, y - 6.0), (x, y + 6.0), Stroke::solid(look.text, 1.8));
        if n > 1 {
            let style = Style::label(look.quiet).anchored(Anchor::End);
            page.canvas.text((x + 6.0).min(frame.plot.right()), y - 15.0, &format!("{n}×"), style);
        }
    }
}
