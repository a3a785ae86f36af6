//! Each coder's agreement over time: with references, with other coders, with themselves.

use chrono::{DateTime, FixedOffset, TimeDelta};

use super::Chart;
use super::axes::{self, Axis};
use super::letters::Font;
use super::look::Look;
use super::page::{BELOW, MARGIN, Page, Sample, plural};
use super::shapes::{Anchor, Area, BODY, Dash, Glyph, Stroke, Style};
use crate::agreement::training::{Against, Point, Training};
use crate::model::SessionId;
use crate::time::Micros;

/// Height of a coder's plot, and between two.
const HEIGHT: f64 = 120.0;
const BETWEEN: f64 = 40.0;
/// Room for the labels of the upright axis.
const LEFT: f64 = 68.0;
/// Two points of one day stand this far apart.
const APART: f64 = 12.0;

/// Kappa of one set over time, a panel a coder; days run to scale. Points without a day are counted in
/// the caption.
#[must_use]
pub fn coders(found: &Training, set: &str, name: &str, look: &Look) -> Chart {
    let title = format!("{name}: each coder over time");
    let own: Vec<&Point> = found.points.iter().filter(|point| point.set == set).collect();
    let dated: Vec<(&Point, DateTime<FixedOffset>)> =
        own.iter().filter_map(|point| Some((*point, point.day?))).collect();
    let (Some(first), Some(last)) =
        (dated.iter().map(|own| own.1).min(), dated.iter().map(|own| own.1).max())
    else {
        let missing = if own.is_empty() {
            "No kappa yet: a second coding, a reference coding or a repeat is needed."
        } else {
            "The days of these sessions are not known, so nothing can be drawn over time."
        };
        return Page::empty(look, &title, missing);
    };
    let mut names: Vec<&str> = dated.iter().map(|(point, _)| point.coder.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let mut caption = format!(
        "Kappa with limits of 95 % where there are any; {} of {}. Two coders: the day filmed; a reference or a repeat: the day coded.",
        plural(dated.len(), "comparison"),
        plural(names.len(), "coder")
    );
    if dated.len() < own.len() {
        caption = format!("{caption} Without a day, not shown: {}.", own.len() - dated.len());
    }
    let mut page = Page::new(look, &title, &caption);
    let width = page.canvas.width() - LEFT - MARGIN;
    let days = days_between(first, last).max(1.0);
    let margin = days * 0.06;
    let lowest = dated.iter().flat_map(|(point, _)| [Some(point.kappa), point.ci95.map(|ci| ci[0])]);
    let lowest = lowest.flatten().filter(|value| value.is_finite()).fold(0.0, f64::min);
    let low = (lowest / 0.2).floor() * 0.2;
    let label = |at: f64| day_label(first, at);
    let mut top = page.top + 24.0;
    for (i, coder) in names.iter().enumerate() {
        let is_last = i + 1 == names.len();
        let plot = Area::new(LEFT, top, width, HEIGHT);
        let mut ticks = axes::ticks(0.0, days, 6);
        // A tick in the middle of a day would name a day twice.
        ticks.retain(|at| (at - at.round()).abs() < 1e-6);
        let x = Axis { title: "", range: (-margin, days + margin), ticks, label: &label };
        let y = Axis {
            title: "kappa",
            range: (low - 0.05, 1.05),
            ticks: axes::ticks(low, 1.0, 5),
            label: &|at| format!("{at:.1}").replace('-', "−"),
        };
        let frame = axes::draw(&mut page.canvas, plot, &x, &y, 28.0);
        let heading = Style { font: Font::Medium, size: BODY, colour: look.text, anchor: Anchor::Start };
        page.canvas.text(plot.x, plot.y - 12.0, coder, heading);
        let bar = frame.y(found.criterion.set_kappa);
        let dashed = Stroke::dashed(look.quiet, 1.5, Dash::Long);
        page.canvas.line((plot.x, bar), (plot.right(), bar), dashed);
        let mut before = f64::NEG_INFINITY;
        let mine = dated.iter().filter(|(point, _)| point.coder == *coder);
        for (point, day) in mine {
            let x = frame.x(days_between(first, *day)).max(before + APART);
            before = x;
            draw_point(&mut page, point, x, (frame.y(point.kappa), |value| frame.y(value)), plot);
        }
        top += HEIGHT + if is_last { BELOW } else { BETWEEN + 14.0 };
    }
    let mut legend = vec![(
        Sample::Line(Stroke::dashed(look.quiet, 1.5, Dash::Long)),
        format!("criterion, {:.2}", found.criterion.set_kappa),
    )];
    for against in [Against::Reference, Against::Coder, Against::Themselves] {
        if dated.iter().any(|(point, _)| point.against == against) {
            legend.push((Sample::Glyph(glyph(against)), words(against).to_owned()));
        }
    }
    let _ = page.legend(MARGIN, top, &legend);
    page.finish()
}

fn draw_point(page: &mut Page, point: &Point, x: f64, (y, scale): (f64, impl Fn(f64) -> f64), plot: Area) {
    let look = page.canvas.look;
    if let Some([low, high]) = point.ci95 {
        let (low, high) = (scale(low.max(-1.0)), scale(high.min(1.0)));
        let stroke = Stroke::solid(look.text, 1.5);
        page.canvas.line((x, low), (x, high), stroke);
        for end in [low, high] {
            page.canvas.line((x - 4.0, end), (x + 4.0, end), stroke);
        }
    }
    page.canvas.glyph(x, y, glyph(point.against), 10.0, look.text);
    let limits = point.ci95.map_or_else(String::new, |[low, high]| format!(" [{low:.2}, {high:.2}]"));
    let said = format!(
        "{}, session {}, {}: kappa {:.2}{limits}",
        point.coder,
        point.session,
        words(point.against),
        point.kappa
    );
    let area = Area::new(x - 8.0, plot.y, 16.0, plot.height);
    page.canvas.hit(area, &SessionId::from(point.session.as_str()), Micros::ZERO, said);
}

fn glyph(against: Against) -> Glyph {
    match against {
        Against::Reference => Glyph::Diamond,
        Against::Coder => Glyph::Disc,
        Against::Themselves => Glyph::Ring,
    }
}

fn words(against: Against) -> &'static str {
    match against {
        Against::Reference => "with a reference coding",
        Against::Coder => "with another coder",
        Against::Themselves => "with themselves",
    }
}

#[allow(clippy::cast_precision_loss)] // Days of a study.
fn days_between(first: DateTime<FixedOffset>, day: DateTime<FixedOffset>) -> f64 {
    (day.date_naive() - first.date_naive()).num_days() as f64
}

#[allow(clippy::cast_possible_truncation)] // Days of a study.
fn day_label(first: DateTime<FixedOffset>, at: f64) -> String {
    first
        .checked_add_signed(TimeDelta::days(at.round() as i64))
        .map_or_else(String::new, |day| day.format("%-d %b %Y").to_string())
}
