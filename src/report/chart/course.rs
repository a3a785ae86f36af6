//! Courses over sessions: a value each, the plan's steps, decisions and conditions on the same axis.

use super::Chart;
use super::axes::{self, Axis, Frame};
use super::look::Look;
use super::page::{MARGIN, Page, animals, count, percent, plural, short_day};
use super::shapes::{Anchor, Area, Dash, Glyph, Stroke, Style};
use crate::measures::trend::ENOUGH_FOR_INTERVAL;
use crate::measures::{Missing, Record, summary};
use crate::model::{Choice, Session};
use crate::numeric::interval::{Confidence, wilson};
use crate::numeric::trend::{Ranks, Series, TheilSen};
use crate::report::words::signed;
use crate::time::Micros;

/// Room for names of rows and labels of the axis.
const LEFT: f64 = 124.0;
/// Height of the plot, and of a row below it.
const HEIGHT: f64 = 240.0;
const ROW: f64 = 22.0;

/// A measure over sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading<'a> {
    /// Title of the chart.
    pub title: String,
    /// What stands behind it: n, denominators, kind of interval.
    pub caption: String,
    /// Title of the upright axis, with its unit.
    pub axis: String,
    /// What `label` of the occasions counts: names its row.
    pub counts: String,
    /// It is a share: drawn from 0 to 100 %.
    pub is_share: bool,
    /// The sessions, in order of time.
    pub occasions: Vec<Occasion<'a>>,
}

/// One session of a course.
#[derive(Debug, Clone, PartialEq)]
pub struct Occasion<'a> {
    /// The session.
    pub session: &'a Session,
    /// The value; why there is none.
    pub value: Result<f64, String>,
    /// Its interval or range.
    pub interval: Option<(f64, f64)>,
    /// Counts behind it, below the axis.
    pub label: String,
    /// What the plan's step asks, on the same scale.
    pub target: Option<f64>,
    /// Where it leads to.
    pub at: Micros,
}

/// Success of each session with Wilson's interval, the step's criterion, and what was decided.
#[must_use]
pub fn success(records: &[Record<'_>], look: &Look) -> Chart {
    let occasions = ordered(records)
        .into_iter()
        .map(|record| {
            let found = summary::coding(record).figures;
            let at = found.presentations.iter().flatten().next().map(|own| own.cue_s);
            let own = &found.success;
            let counts = own.k.zip(own.n).filter(|(_, n)| *n > 0);
            Occasion {
                session: record.session,
                value: counts
                    .map(|(k, n)| f64::from(k) / f64::from(n))
                    .ok_or_else(|| own.why.clone().unwrap_or_else(|| "no valid presentation".to_owned())),
                interval: counts.and_then(|(k, n)| wilson(k, n)),
                label: counts.map(|(k, n)| format!("{k}/{n}")).unwrap_or_default(),
                target: record
                    .step()
                    .map(|step| f64::from(step.criterion.k) / f64::from(step.criterion.n.max(1))),
                at: at.and_then(Micros::from_seconds).unwrap_or(record.window().from),
            }
        })
        .collect();
    let reading = Reading {
        title: format!("{}: success", animals(records)),
        caption: "Successes of valid presentations (void, aborted and prompted ones are not among them), with Wilson's \
                  interval of 95 %; presentations of one session are not independent. Dashed: the step's criterion."
            .to_owned(),
        axis: "share of valid presentations".to_owned(),
        counts: "success".to_owned(),
        is_share: true,
        occasions,
    };
    trend(&reading, look)
}

/// Share of approaches among approaches and retreats of each session, with both counts.
#[must_use]
pub fn approach(records: &[Record<'_>], look: &Look) -> Chart {
    let occasions = ordered(records)
        .into_iter()
        .map(|record| {
            let own = summary::coding(record).figures.approach;
            let counts = own.approaches.zip(own.retreats);
            let turns = [crate::model::Role::Approach, crate::model::Role::Retreat];
            let first = turns.into_iter().flat_map(|role| record.role_onsets(role)).map(|(at, _)| at).min();
            Occasion {
                session: record.session,
                value: own.share.ok_or_else(|| {
                    own.why.clone().unwrap_or_else(|| "neither approach nor retreat".to_owned())
                }),
                interval: None,
                label: counts.map(|(a, r)| format!("{a} A, {r} R")).unwrap_or_default(),
                target: None,
                at: first.unwrap_or(record.window().from),
            }
        })
        .collect();
    let reading = Reading {
        title: format!("{}: approach", animals(records)),
        caption: "A/(A+R): approaches (A) among approaches and retreats (R) of the whole session; 50 %: as many of each. \
                  A choice of direction, not a feeling."
            .to_owned(),
        axis: "share of approaches".to_owned(),
        counts: "counts".to_owned(),
        is_share: true,
        occasions,
    };
    trend(&reading, look)
}

/// Records in order of their sessions' clocks.
fn ordered<'r, 'a>(records: &'r [Record<'a>]) -> Vec<&'r Record<'a>> {
    let mut all: Vec<&Record<'_>> = records.iter().collect();
    all.sort_by(|a, b| (a.session.recorded_at, &a.session.id).cmp(&(b.session.recorded_at, &b.session.id)));
    all
}

/// Any measure over sessions. Each dot leads to its session.
#[must_use]
pub fn trend(reading: &Reading<'_>, look: &Look) -> Chart {
    let known: Vec<f64> =
        reading.occasions.iter().filter_map(|own| own.value.as_ref().ok().copied()).collect();
    if !known.iter().any(|value| value.is_finite()) {
        let why = reading.occasions.iter().find_map(|own| own.value.as_ref().err());
        let missing = match why {
            Some(why) => format!("No session has a value: {why}."),
            None => "No session is chosen, or none has a primary coding yet.".to_owned(),
        };
        return Page::empty(look, &reading.title, &missing);
    }
    let mut caption = format!(
        "{}, in order of time and not to scale. {}",
        plural(reading.occasions.len(), "session"),
        reading.caption
    );
    let without = reading.occasions.len() - known.len();
    if without > 0 {
        caption = format!("{caption} Without a value (—): {without}.");
    }
    if known.len() < 5 {
        caption = format!("{caption} Under 5 sessions: each is shown, nothing is estimated over them.");
    }
    let line = slope(reading);
    if let Some(line) = &line {
        let scale = if reading.is_share { 100.0 } else { 1.0 };
        let limit = |value: Option<f64>| {
            value.map_or_else(|| "unbounded".to_owned(), |value| signed(Some(value * scale), 2))
        };
        let unit = if reading.is_share { " points" } else { "" };
        let (low, high) = line.interval(Confidence::P95, Ranks::Interpolated);
        caption = format!(
            "{caption} Dotted: Theil–Sen line, {}{unit} a session [{}, {}], thin: its limits; a change of step changes \
             the task.",
            signed(Some(line.slope * scale), 2),
            limit(low),
            limit(high)
        );
    }
    let mut page = Page::new(look, &reading.title, &caption);
    let n = count(reading.occasions.len());
    let plot = Area::new(LEFT, page.top + 22.0, page.canvas.width() - LEFT - MARGIN, HEIGHT);
    let (low, high) = if reading.is_share { (0.0, 1.0) } else { range_of(reading) };
    let reach = high + (high - low) * 0.05;
    let label = |value: f64| {
        if reading.is_share {
            percent(value)
        } else if high - low < 5.0 {
            format!("{value:.1}")
        } else {
            format!("{value:.0}")
        }
    };
    let y = Axis {
        title: &reading.axis,
        range: (low - (high - low) * 0.04, reach),
        ticks: axes::ticks(low, high, 5),
        label: &label,
    };
    bands(&mut page, reading, plot);
    let frame = axes::draw(&mut page.canvas, plot, &Axis::bare(0.0, n), &y, 2.0);
    draw_targets(&mut page, reading, &frame);
    if let Some(line) = &line {
        draw_line(&mut page, line, &frame, n, (y.range.0, y.range.1));
    }
    draw_readings(&mut page, reading, &frame);
    rows(&mut page, reading, &frame);
    page.finish()
}

/// The line through the sessions, their order as the axis, once there are enough for an interval. A latency
/// that was not reached in one of them has none: leaving that session out would make the animal look quick.
fn slope(reading: &Reading<'_>) -> Option<TheilSen> {
    let not_reached = Missing::MedianNotReached.to_string();
    let is_one = reading.occasions.windows(2).all(|pair| match pair {
        [a, b] => a.session.animal == b.session.animal,
        _ => true,
    });
    if !is_one || reading.occasions.iter().any(|own| own.value.as_ref().err() == Some(&not_reached)) {
        return None;
    }
    let (x, y): (Vec<f64>, Vec<f64>) = reading
        .occasions
        .iter()
        .enumerate()
        .filter_map(|(i, own)| Some((count(i) + 1.0, own.value.as_ref().ok().copied()?)))
        .unzip();
    if x.len() < ENOUGH_FOR_INTERVAL {
        return None;
    }
    TheilSen::of(&Series::try_new(&x, &y).ok()?).ok()
}

/// The line, and through its middle the lines of the limits, as far as they lie in the plot.
fn draw_line(page: &mut Page, line: &TheilSen, frame: &Frame, n: f64, (low, high): (f64, f64)) {
    let quiet = page.canvas.look.quiet;
    let middle = f64::midpoint(n, 1.0);
    let at_middle = line.intercept + line.slope * middle;
    let (least, most) = line.interval(Confidence::P95, Ranks::Interpolated);
    let lines = [(least, 0.75), (most, 0.75), (Some(line.slope), 2.0)];
    for (slope, width) in lines.into_iter().filter_map(|(slope, width)| Some((slope?, width))) {
        let value = |x: f64| at_middle + slope * (x - middle);
        let steps = 200;
        let inside: Vec<(f64, f64)> = (0..=steps)
            .map(|step| 1.0 + (n - 1.0) * f64::from(step) / f64::from(steps))
            .filter(|x| (low..=high).contains(&value(*x)))
            .map(|x| (frame.x(x - 0.5), frame.y(value(x))))
            .collect();
        if let [first, .., last] = inside.as_slice() {
            page.canvas.line(*first, *last, Stroke::dashed(quiet, width, Dash::Short));
        }
    }
}

/// From the lowest to the highest of values and intervals, and 0 when it is near.
fn range_of(reading: &Reading<'_>) -> (f64, f64) {
    let mut low = f64::INFINITY;
    let mut high = f64::NEG_INFINITY;
    for own in &reading.occasions {
        let ends = own.interval.map(|(a, b)| [a, b]);
        let value = own.value.as_ref().ok().copied();
        for value in ends.into_iter().flatten().chain(value).chain(own.target) {
            if value.is_finite() {
                low = low.min(value);
                high = high.max(value);
            }
        }
    }
    if low > 0.0 && low < high * 0.6 {
        low = 0.0;
    }
    if high <= low { (low - 1.0, high + 1.0) } else { (low, high) }
}

/// Runs of sessions with the same plan and step: from, to, step.
fn steps(reading: &Reading<'_>) -> Vec<(usize, usize, Option<u32>)> {
    let mut runs = Vec::new();
    let mut from = 0;
    for group in reading
        .occasions
        .chunk_by(|a, b| a.session.step == b.session.step && a.session.plan == b.session.plan)
    {
        runs.push((from, from + group.len(), group.first().and_then(|own| own.session.step)));
        from += group.len();
    }
    runs
}

fn bands(page: &mut Page, reading: &Reading<'_>, plot: Area) {
    let look = page.canvas.look;
    let width = plot.width / count(reading.occasions.len());
    for (i, (from, to, step)) in steps(reading).into_iter().enumerate() {
        let area = Area::new(
            plot.x + count(from) * width,
            plot.y - 20.0,
            count(to - from) * width,
            plot.height + 20.0,
        );
        if i % 2 == 0 {
            page.canvas.rect(area, Some(look.raised), None, 0.0);
        }
        if i > 0 {
            page.canvas.line((area.x, area.y), (area.x, area.bottom()), Stroke::solid(look.quiet, 1.0));
        }
        let words = step.map_or_else(|| "no step".to_owned(), |step| format!("step {step}"));
        let style = Style::label(look.quiet);
        let _ = page.canvas.text_within(area.x + 8.0, plot.y - 9.0, &words, style, area.width - 10.0);
    }
}

fn draw_targets(page: &mut Page, reading: &Reading<'_>, frame: &Frame) {
    let stroke = Stroke::dashed(page.canvas.look.quiet, 1.5, Dash::Long);
    for (i, own) in reading.occasions.iter().enumerate() {
        if let Some(target) = own.target {
            let y = frame.y(target);
            page.canvas.line((frame.x(count(i)), y), (frame.x(count(i + 1)), y), stroke);
        }
    }
}

fn draw_readings(page: &mut Page, reading: &Reading<'_>, frame: &Frame) {
    let look = page.canvas.look;
    let column = frame.plot.width / count(reading.occasions.len());
    let mut line: Vec<(f64, f64)> = Vec::new();
    let mut before: Option<&Session> = None;
    let quiet = Stroke::solid(look.quiet, 1.0);
    for (i, own) in reading.occasions.iter().enumerate() {
        let x = frame.x(count(i) + 0.5);
        // A change of step or animal breaks the line: what was asked is another thing.
        let goes_on = before.is_some_and(|other| {
            other.step == own.session.step
                && other.plan == own.session.plan
                && other.animal == own.session.animal
        });
        if !goes_on || own.value.is_err() {
            page.canvas.path(&std::mem::take(&mut line), quiet);
        }
        before = Some(own.session);
        if let Ok(value) = own.value {
            line.push((x, frame.y(value)));
        }
    }
    page.canvas.path(&line, quiet);
    for (i, own) in reading.occasions.iter().enumerate() {
        let x = frame.x(count(i) + 0.5);
        let all = Area::new(frame.x(count(i)), frame.plot.y, column, frame.plot.height);
        let Ok(value) = own.value else {
            let style = Style::label(look.quiet).anchored(Anchor::Middle);
            let why = own.value.as_ref().err().map_or("", String::as_str);
            let full = format!("— {why}");
            let fits = page.canvas.text_width(&full, style) <= column - 8.0;
            page.canvas.text(x, frame.plot.middle(), if fits { &full } else { "—" }, style);
            let words = format!("Session {}: no value, {why}", own.session.id);
            page.canvas.hit(all, &own.session.id, own.at, words);
            continue;
        };
        let y = frame.y(value);
        if let Some((low, high)) = own.interval {
            let (low, high) = (frame.y(low), frame.y(high));
            let stroke = Stroke::solid(look.text, 1.5);
            page.canvas.line((x, low), (x, high), stroke);
            for end in [low, high] {
                page.canvas.line((x - 5.0, end), (x + 5.0, end), stroke);
            }
        }
        page.canvas.glyph(x, y, Glyph::Disc, 10.0, look.text);
        let shown = if reading.is_share { format!("{:.0} %", value * 100.0) } else { format!("{value:.2}") };
        let range = match own.interval {
            Some((low, high)) if reading.is_share => format!(" [{:.0}, {:.0} %]", low * 100.0, high * 100.0),
            Some((low, high)) => format!(" [{low:.2}, {high:.2}]"),
            None => String::new(),
        };
        let words = format!("Session {}: {shown}{range} {}", own.session.id, own.label).trim_end().to_owned();
        page.canvas.hit(all, &own.session.id, own.at, words);
    }
}

/// Days, decisions and conditions below the plot. A row nobody filled in is left out.
fn rows(page: &mut Page, reading: &Reading<'_>, frame: &Frame) {
    let of = |cell: &dyn Fn(&Session) -> Vec<String>| -> Vec<Vec<String>> {
        reading.occasions.iter().map(|own| cell(own.session)).collect()
    };
    let number = |value: Option<f64>| value.map(|value| format!("{value}")).into_iter().collect();
    let words =
        |own: &Occasion<'_>| Some(own.label.clone()).filter(|text| !text.is_empty()).into_iter().collect();
    let labels: Vec<Vec<String>> = reading.occasions.iter().map(words).collect();
    let table = [
        (reading.counts.as_str(), labels),
        ("day", of(&|session| vec![short_day(session)])),
        ("decision", of(&|session| session.decision.as_ref().map(decision).unwrap_or_default())),
        ("air, °C", of(&|session| number(session.facts.air_c))),
        ("basking, °C", of(&|session| number(session.facts.basking_c))),
        ("days since fed", of(&|session| number(session.facts.days_since_fed))),
    ];
    let look = page.canvas.look;
    let mut y = frame.plot.bottom() + 8.0 + ROW / 2.0;
    let mut is_thinned = false;
    for (name, cells) in &table {
        if cells.iter().all(Vec::is_empty) {
            continue;
        }
        let head = Style::label(look.quiet).anchored(Anchor::End);
        page.canvas.text(LEFT - 10.0, y, name, head);
        is_thinned |= draw_cells(page, frame, cells, y);
        y += ROW;
    }
    if is_thinned {
        let words = "Where a row has no room for each session, a value is written where it changes.";
        page.canvas.text(MARGIN, y + 4.0, words, Style::label(look.quiet));
        y += ROW + 4.0;
    }
    page.canvas.grow(y - ROW / 2.0 + MARGIN / 2.0);
}

/// One row; whether there was no room for every cell. Then a value is written where it changes, as far as there is
/// room.
fn draw_cells(page: &mut Page, frame: &Frame, cells: &[Vec<String>], y: f64) -> bool {
    let look = page.canvas.look;
    let width = frame.plot.width / count(cells.len());
    let style = Style::label(look.text).anchored(Anchor::Middle);
    let size = |page: &Page, text: &str| page.canvas.text_width(text, style);
    let has_room = |page: &Page, text: &str| size(page, text) <= width - 6.0;
    // One form for the whole row: the first that fits everywhere, else the shortest.
    let forms = cells.iter().map(Vec::len).max().unwrap_or(0);
    let form = |words: &[String], n: usize| words.get(n.min(words.len().saturating_sub(1))).cloned();
    let fits = |page: &Page, n: usize| {
        cells.iter().filter_map(|words| form(words, n)).all(|text| has_room(page, &text))
    };
    let chosen = (0..forms).find(|n| fits(page, *n));
    let mut free_from = frame.plot.x;
    let mut before: Option<String> = None;
    for (i, words) in cells.iter().enumerate() {
        let x = frame.x(count(i) + 0.5);
        let own = form(words, chosen.unwrap_or(forms));
        if chosen.is_some() {
            let (text, colour) = own.map_or(("—".to_owned(), look.quiet), |text| (text, look.text));
            page.canvas.text(x, y, &text, Style { colour, ..style });
            continue;
        }
        let text = own.clone().unwrap_or_else(|| "—".to_owned());
        let half = size(page, &text) / 2.0;
        let x = x.clamp(frame.plot.x + half, (page.canvas.width() - 4.0 - half).max(frame.plot.x + half));
        if before.as_ref() != Some(&text) && x - half >= free_from {
            page.canvas.text(x, y, &text, style);
            free_from = x + half + 8.0;
            before = Some(text);
        }
    }
    chosen.is_none() && forms > 0
}

/// A decision in words, the longest form first.
fn decision(own: &crate::model::Decision) -> Vec<String> {
    let to = own.to_step.map(|step| format!(" to {step}")).unwrap_or_default();
    let short = own.to_step.map(|step| step.to_string()).unwrap_or_default();
    match own.choice {
        Choice::Advance => vec![format!("advance{to}"), format!("↑ {short}")],
        Choice::Stay => vec!["stay".to_owned(), "=".to_owned()],
        Choice::StepBack => vec![format!("step back{to}"), format!("↓ {short}")],
        Choice::Pause => vec!["pause".to_owned(), "‖".to_owned()],
        Choice::Refer => vec!["refer".to_owned(), "!".to_owned()],
    }
}
