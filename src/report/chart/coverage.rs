//! The calendar of sessions: which days were filmed, and what became of the film.

use std::collections::BTreeMap;

use chrono::{Datelike as _, Days, NaiveDate};

use super::Chart;
use super::look::Look;
use super::page::{LINE, MARGIN, Page, Sample, count, plural};
use super::shapes::{Anchor, Area, Glyph, Style};
use crate::model::Session;
use crate::time::Micros;

/// What became of a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Coverage {
    /// Filmed; no pass of a primary coding is done.
    Filmed,
    /// Coded by one person.
    Coded,
    /// Coded by two or more.
    CodedTwice,
    /// Left out of the numbers.
    LeftOut,
}

impl Coverage {
    const ALL: [Self; 4] = [Self::Filmed, Self::Coded, Self::CodedTwice, Self::LeftOut];

    const fn words(self) -> &'static str {
        match self {
            Self::Filmed => "filmed, not coded or no pass done",
            Self::Coded => "coded",
            Self::CodedTwice => "coded by two",
            Self::LeftOut => "left out",
        }
    }

    const fn glyph(self) -> Glyph {
        match self {
            Self::Filmed => Glyph::Ring,
            Self::Coded => Glyph::Disc,
            Self::CodedTwice => Glyph::Square,
            Self::LeftOut => Glyph::Cross,
        }
    }
}

/// A session of the calendar.
#[derive(Debug, Clone)]
pub struct Covered<'a> {
    /// The session.
    pub session: &'a Session,
    /// Its animal, as people call it.
    pub animal: String,
    /// What became of it.
    pub coverage: Coverage,
}

/// Weeks in one strip: a year.
const LONGEST: u64 = 53;
/// Strips drawn; of more the latest.
const MOST: usize = 18;
/// Sessions drawn of one day.
const A_DAY: usize = 4;
/// Room for the names of weekdays.
const NAMES: f64 = 56.0;
const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// The days of an animal in one row of weeks.
struct Strip<'a> {
    heading: String,
    from: NaiveDate,
    to: NaiveDate,
    days: BTreeMap<NaiveDate, Vec<&'a Covered<'a>>>,
}

/// A calendar a animal, a column a week; a longer time than a year has a strip for each. A mark leads to
/// its session.
#[must_use]
pub fn coverage(sessions: &[Covered<'_>], look: &Look) -> Chart {
    let title = "Sessions by day";
    let day_of = |own: &Covered<'_>| Some(own.session.wall_clock(Micros::ZERO)?.date_naive());
    let dated: Vec<(NaiveDate, &Covered<'_>)> =
        sessions.iter().filter_map(|own| Some((day_of(own)?, own))).collect();
    let days = || dated.iter().map(|(day, _)| *day);
    let (Some(first), Some(last)) = (days().min(), days().max()) else {
        let why = if sessions.is_empty() {
            "There is no session in the period."
        } else {
            "No session has a date, so that none can stand on a calendar."
        };
        return Page::empty(look, title, why);
    };
    let mut strips = strips(&dated, first, last);
    let left = strips.len().saturating_sub(MOST);
    let mut caption = format!("{}, {first} to {last}", plural(sessions.len(), "session"));
    for coverage in Coverage::ALL {
        let n = sessions.iter().filter(|own| own.coverage == coverage).count();
        if n > 0 {
            caption = format!("{caption}; {n} {}", coverage.words());
        }
    }
    caption.push('.');
    let without = sessions.len() - dated.len();
    if without > 0 {
        caption = format!("{caption} {} without a date: not drawn.", plural(without, "session"));
    }
    if left > 0 {
        caption = format!("{caption} The last {MOST} of {} rows are drawn.", strips.len());
    }
    if strips.iter().any(|strip| strip.days.values().any(|own| own.len() > A_DAY)) {
        caption = format!("{caption} Of a day with more than {A_DAY} sessions {A_DAY} are drawn.");
    }
    let mut page = Page::new(look, title, &caption);
    // Days are of one size in all strips.
    let columns = strips.iter().map(|strip| weeks(strip.from, strip.to)).max().unwrap_or(1);
    #[allow(clippy::cast_precision_loss)] // A year of weeks.
    let room = (page.canvas.width() - MARGIN * 2.0 - NAMES) / columns as f64;
    let cell = room.clamp(8.0, 24.0).floor();
    let mut y = page.top;
    for strip in strips.drain(left..) {
        y = draw(&mut page, &strip, cell, y) + 14.0;
    }
    let is_there = |coverage: &Coverage| sessions.iter().any(|own| own.coverage == *coverage);
    let legend: Vec<(Sample, String)> = Coverage::ALL
        .into_iter()
        .filter(is_there)
        .map(|own| (Sample::Glyph(own.glyph()), own.words().to_owned()))
        .collect();
    let _ = page.legend(MARGIN, y, &legend);
    page.finish()
}

fn strips<'a>(dated: &[(NaiveDate, &'a Covered<'a>)], first: NaiveDate, last: NaiveDate) -> Vec<Strip<'a>> {
    let weeks = weeks(first, last);
    let spans: Vec<(NaiveDate, NaiveDate)> = if weeks <= LONGEST {
        vec![(first, last)]
    } else {
        let ends =
            |year| Some((NaiveDate::from_ymd_opt(year, 1, 1)?, NaiveDate::from_ymd_opt(year, 12, 31)?));
        let years = (first.year()..=last.year()).filter_map(ends);
        years.map(|(from, to)| (from.max(first), to.min(last))).collect()
    };
    let mut animals: Vec<&str> = Vec::new();
    for (_, own) in dated {
        if !animals.contains(&own.animal.as_str()) {
            animals.push(&own.animal);
        }
    }
    let mut strips = Vec::new();
    for (from, to) in &spans {
        for animal in &animals {
            let mut days: BTreeMap<NaiveDate, Vec<&Covered<'_>>> = BTreeMap::new();
            for (day, own) in
                dated.iter().filter(|(day, own)| own.animal == *animal && (from..=to).contains(&day))
            {
                days.entry(*day).or_default().push(own);
            }
            if days.is_empty() {
                continue;
            }
            let year = if spans.len() > 1 { format!(", {}", from.year()) } else { String::new() };
            let n = days.values().map(Vec::len).sum();
            let heading = format!("{animal}{year}: {}", plural(n, "session"));
            strips.push(Strip { heading, from: *from, to: *to, days });
        }
    }
    strips
}

fn monday(day: NaiveDate) -> NaiveDate {
    day.week(chrono::Weekday::Mon).checked_first_day().unwrap_or(day)
}

/// Columns from the week of one day to that of another.
fn weeks(from: NaiveDate, to: NaiveDate) -> u64 {
    u64::try_from((monday(to) - monday(from)).num_weeks()).unwrap_or(0) + 1
}

/// Draws a strip; where it ends.
fn draw(page: &mut Page, strip: &Strip<'_>, cell: f64, y: f64) -> f64 {
    let look = page.canvas.look;
    page.canvas.text(MARGIN, y + LINE / 2.0, &strip.heading, Style::label(look.text));
    let columns = weeks(strip.from, strip.to);
    let (left, top) = (MARGIN + NAMES, y + 2.0 * LINE + 2.0);
    let quiet = Style::label(look.quiet);
    // Where the rows are narrower than the letters every third name stands.
    let every = if cell < 16.0 { 3 } else { 1 };
    for (row, name) in WEEKDAYS.iter().enumerate().step_by(every) {
        page.canvas.text(left - 8.0, top + (count(row) + 0.5) * cell, name, quiet.anchored(Anchor::End));
    }
    let begin = monday(strip.from);
    let mut free_from = f64::MIN;
    for week in 0..columns {
        let days = (0..7).filter_map(|day| begin.checked_add_days(Days::new(week * 7 + day)));
        for day in days.filter(|day| (strip.from..=strip.to).contains(day)) {
            #[allow(clippy::cast_precision_loss)] // A year of weeks.
            let x = left + week as f64 * cell;
            let row = f64::from(day.weekday().num_days_from_monday());
            let area = Area::new(x, top + row * cell, cell - 2.0, cell - 2.0);
            page.canvas.rect(area, Some(look.raised), None, 2.0);
            let is_named = day == strip.from || day.day() == 1;
            let name =
                day.format(if day.month() == 1 || day == strip.from { "%b %Y" } else { "%b" }).to_string();
            if is_named && x >= free_from {
                page.canvas.text(x, y + 1.5 * LINE, &name, quiet);
                free_from = x + page.canvas.text_width(&name, quiet) + 10.0;
            }
            mark(page, strip.days.get(&day).map(Vec::as_slice).unwrap_or_default(), area);
        }
    }
    top + 7.0 * cell
}

fn mark(page: &mut Page, sessions: &[&Covered<'_>], area: Area) {
    let ink = page.canvas.look.text;
    let n = sessions.len().min(A_DAY);
    for (i, own) in sessions.iter().take(A_DAY).enumerate() {
        let part =
            Area { x: area.x + area.width / count(n) * count(i), width: area.width / count(n), ..area };
        let size = (part.width.min(area.height) * 0.72).max(3.0);
        page.canvas.glyph(part.x + part.width / 2.0, part.middle(), own.coverage.glyph(), size, ink);
        let words = format!("{}, session {}: {}", own.animal, own.session.id, own.coverage.words());
        page.canvas.hit(part, &own.session.id, Micros::ZERO, words);
    }
}
