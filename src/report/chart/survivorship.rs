//! Log-survivorship of bouts or of the gaps between them (Slater & Lester 1982; Sibly et al. 1990).

use std::fmt::Write as _;

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, Sample, percent, plural};
use super::shapes::{Anchor, Area, Dash, Glyph, Stroke, Style};
use crate::measures::record::Missing;
use crate::measures::survivorship::{Criterion, ENOUGH_GAPS};
use crate::model::SessionId;
use crate::numeric::mixture::Mixture;
use crate::numeric::product_limit::{Curve, Ending, Time};
use crate::time::Micros;

/// Height of the plot.
const HEIGHT: f64 = 280.0;
const LEFT: f64 = 76.0;
/// A length, and where it begins.
#[derive(Debug, Clone, PartialEq)]
pub struct Length {
    /// Seconds, and whether its end was seen.
    pub time: Time,
    /// Its session.
    pub session: SessionId,
    /// Its start.
    pub at: Micros,
}

/// Share of lengths that last longer, on a logarithmic scale, against length. `what`: of what, as the title has it.
/// `criterion`: of gaps, the one from which on a new bout begins, drawn as a line with the two processes it rests
/// on, or why there is none.
#[must_use]
pub fn survivorship(
    what: &str,
    lengths: &[Length],
    criterion: Option<Result<&Criterion, Missing>>,
    look: &Look,
) -> Chart {
    let title = format!("{what}: log survivorship");
    let times: Vec<Time> = lengths.iter().map(|own| own.time).collect();
    let complete = times.iter().filter(|time| time.ending == Ending::Reached).count();
    let longest = times.iter().map(|time| time.length).fold(0.0, f64::max);
    if complete < 2 || longest <= 0.0 || !longest.is_finite() {
        let missing = format!(
            "Too few: {complete} of {} seen to its end; a curve needs at least two, a criterion fifty.",
            plural(times.len(), "length")
        );
        return Page::empty(look, &title, &missing);
    }
    let curve = Curve::of(&times);
    let lowest =
        curve.steps().iter().map(|step| step.survival).filter(|share| *share > 1e-9).fold(1.0, f64::min);
    let caption = caption(times.len(), complete, criterion.as_ref());
    let criterion = criterion.and_then(Result::ok);
    let mut page = Page::new(look, &title, &caption);
    let plot = Area::new(LEFT, page.top + 4.0, page.canvas.width() - LEFT - MARGIN - 8.0, HEIGHT);
    let at = criterion.map(|own| own.criterion_s).filter(|at| at.is_finite() && *at > 0.0);
    let reach = longest.max(at.unwrap_or(0.0)) * 1.03;
    let floor = lowest.log10() - 0.08;
    let shares = [1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001];
    let y = Axis {
        title: "share lasting longer",
        range: (floor, 0.0),
        ticks: shares.iter().map(|share: &f64| share.log10()).filter(|log| *log >= floor).collect(),
        label: &|log| {
            let share = 10_f64.powf(log);
            if share < 0.0099 { format!("{:.1} %", share * 100.0) } else { percent(share) }
        },
    };
    let x = Axis {
        title: "length, s",
        range: (0.0, reach),
        ticks: axes::ticks(0.0, reach, 10),
        label: &|seconds| if reach < 5.0 { format!("{seconds:.1}") } else { format!("{seconds:.0}") },
    };
    let frame = axes::draw(&mut page.canvas, plot, &x, &y, BELOW);
    if let Some(at) = at {
        let x = frame.x(at);
        page.canvas.line((x, plot.y), (x, plot.bottom()), Stroke::dashed(look.text, 1.5, Dash::Long));
        let style = Style::label(look.text);
        let text = format!("criterion {at:.1} s");
        let is_right = x + 8.0 + page.canvas.text_width(&text, style) < plot.right();
        let (x, anchor) = if is_right { (x + 8.0, Anchor::Start) } else { (x - 8.0, Anchor::End) };
        page.canvas.text(x, plot.y + 12.0, &text, style.anchored(anchor));
    }
    let mut points = vec![(frame.x(0.0), frame.y(0.0))];
    let mut before: f64 = 1.0;
    for step in curve.steps() {
        points.push((frame.x(step.at), frame.y(before.log10())));
        if step.survival <= 1e-9 {
            break;
        }
        points.push((frame.x(step.at), frame.y(step.survival.log10())));
        before = step.survival;
    }
    page.canvas.path(&points, Stroke::solid(look.text, 1.8));
    let thin = Stroke::dashed(look.text, 1.2, Dash::Short);
    if let Some(processes) = criterion.map(|own| &own.processes) {
        page.canvas.path(&fitted(processes, reach, floor, &frame), thin);
    }
    let any_cut = marks(&mut page, &frame, &curve, lengths, look);
    let mut legend = vec![(Sample::Glyph(Glyph::Disc), "seen to its end".to_owned())];
    if any_cut {
        legend.push((Sample::Glyph(Glyph::Ring), "its end not seen".to_owned()));
    }
    if criterion.is_some() {
        legend.push((Sample::Line(thin), "two processes".to_owned()));
    }
    let _ = page.legend(MARGIN, plot.bottom() + BELOW + 12.0, &legend);
    page.finish()
}

/// What the curve is made of, and where a bout ends or why that is not known.
fn caption(n: usize, complete: usize, criterion: Option<&Result<&Criterion, Missing>>) -> String {
    let mut caption = format!(
        "n {}, {} cut at its end and taken as censored; product limit, the scale is logarithmic: one process \
         makes a straight line, two a bend.",
        n,
        n - complete
    );
    match criterion {
        Some(Ok(own)) => {
            let _ = write!(
                caption,
                " A gap of {:.1} s or more begins a new bout: there it is as likely a short as a long one; at the least {:.0} of {} gaps lie on its wrong side.",
                own.criterion_s, own.misassigned, own.n
            );
        }
        Some(Err(Missing::TooFew)) => {
            let _ = write!(
                caption,
                " No criterion for where a bout ends: {complete} whole gaps of the {ENOUGH_GAPS} it needs; set it beforehand, by definition."
            );
        }
        Some(Err(why)) => {
            let _ = write!(caption, " No criterion for where a bout ends: {why}.");
        }
        None => {}
    }
    caption
}

/// A mark for each length, that leads to the film; whether the end of any was not seen.
fn marks(page: &mut Page, frame: &Frame, curve: &Curve, lengths: &[Length], look: &Look) -> bool {
    let mut any_cut = false;
    for own in lengths {
        let upto = curve.steps().iter().take_while(|step| step.at <= own.time.length);
        // Where nobody is left the logarithm has no place: the last one stands at the step before.
        let share = upto.map(|step| step.survival).filter(|share| *share > 1e-9).fold(1.0, f64::min);
        let (x, y) = (frame.x(own.time.length), frame.y(share.log10()));
        let is_whole = own.time.ending == Ending::Reached;
        any_cut |= !is_whole;
        page.canvas.glyph(
            x,
            y,
            if is_whole { Glyph::Disc } else { Glyph::Ring },
            if is_whole { 6.5 } else { 12.0 },
            look.text,
        );
        let words = format!(
            "{:.1} s from {} in session {}{}",
            own.time.length,
            own.at.clock(),
            own.session,
            if is_whole { "" } else { ", its end not seen" }
        );
        page.canvas.hit(Area::around(x, y, 9.0), &own.session, own.at, words);
    }
    any_cut
}

/// The share that two processes let last longer, as far as the plot goes.
fn fitted(processes: &Mixture, reach: f64, floor: f64, frame: &Frame) -> Vec<(f64, f64)> {
    let all = processes.longer_than(0.0);
    let at = (0..=200).map(|step| reach * f64::from(step) / 200.0);
    at.map(|at| (at, (processes.longer_than(at) / all).log10()))
        .take_while(|(_, log)| *log >= floor)
        .map(|(at, log)| (frame.x(at), frame.y(log)))
        .collect()
}
