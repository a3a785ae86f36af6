//! Time as exact integers.
//!
//! Everything that is compared, stored or looked up is a whole number: microseconds from the
//! session's start ([`Micros`]) or ticks of a stream's own time base ([`TimeBase`]). A float
//! appears only at the edge: in a file's `…_s` fields, in printed seconds, in a statistic.
//! Conversion rounds once, half away from zero, and reports overflow instead of wrapping.

use std::fmt;
use std::ops::{Add, Neg, Sub};
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Microseconds in a second.
const PER_SECOND: i64 = 1_000_000;

/// A moment of a session, or a difference of two: whole microseconds.
///
/// Sums saturate: a session of 292,000 years is a damaged file, not a reason to stop.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct Micros(pub i64);

impl Micros {
    /// The session's start.
    pub const ZERO: Self = Self(0);
    /// The last moment that can be written.
    pub const MAX: Self = Self(i64::MAX);

    /// Whole seconds.
    #[must_use]
    pub const fn from_whole_seconds(seconds: i64) -> Self {
        Self(seconds.saturating_mul(PER_SECOND))
    }

    /// Whole milliseconds.
    #[must_use]
    pub const fn from_millis(millis: i64) -> Self {
        Self(millis.saturating_mul(1_000))
    }

    /// Seconds as a float, rounded half away from zero; `None` when it is no finite number or
    /// does not fit.
    #[must_use]
    pub fn from_seconds(seconds: f64) -> Option<Self> {
        let scaled = (seconds * 1e6).round();
        // 2^63 is exactly representable; anything at or past it does not fit an i64.
        if !scaled.is_finite() || scaled.abs() >= 9_223_372_036_854_775_808.0 {
            return None;
        }
        #[allow(clippy::cast_possible_truncation)] // The range was checked above.
        Some(Self(scaled as i64))
    }

    /// Seconds, for statistics and drawing.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // Exact below 2^53 µs, which is 285 years.
    pub fn seconds(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// Distance from another moment, never negative.
    #[must_use]
    pub const fn distance(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0).saturating_abs())
    }

    /// As people read a position: `m:ss.mmm`, with hours in front when there are any.
    #[must_use]
    pub fn clock(self) -> String {
        let sign = if self.0 < 0 { "-" } else { "" };
        // Truncated, not rounded: a clock that shows 1:00.000 at 59.9996 s is ahead of the film.
        let millis = self.0.unsigned_abs() / 1_000;
        let (hours, rest) = (millis / 3_600_000, millis % 3_600_000);
        let (minutes, rest) = (rest / 60_000, rest % 60_000);
        let (seconds, millis) = (rest / 1_000, rest % 1_000);
        if hours > 0 {
            format!("{sign}{hours}:{minutes:02}:{seconds:02}.{millis:03}")
        } else {
            format!("{sign}{minutes}:{seconds:02}.{millis:03}")
        }
    }
}

impl fmt::Display for Micros {
    /// Seconds with six decimals, printed from the integer.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let value = self.0.unsigned_abs();
        write!(f, "{sign}{}.{:06}", value / 1_000_000, value % 1_000_000)
    }
}

impl FromStr for Micros {
    type Err = ParseTimeError;

    /// `83.5`, `1:23.5` or `0:01:23.5`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let fail = || ParseTimeError(text.to_owned());
        let trimmed = text.trim();
        let (sign, body) = match trimmed.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, trimmed),
        };
        let mut parts = body.rsplit(':');
        let seconds = parts.next().ok_or_else(fail)?;
        let (whole, fraction) = seconds.split_once('.').unwrap_or((seconds, ""));
        let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || (!fraction.is_empty() && !digits(fraction)) {
            return Err(fail());
        }
        let mut micros =
            whole.parse::<i64>().ok().and_then(|s| s.checked_mul(PER_SECOND)).ok_or_else(fail)?;
        let mut padded: String = fraction.chars().take(6).collect();
        while padded.len() < 6 {
            padded.push('0');
        }
        micros += padded.parse::<i64>().map_err(|_| fail())?;
        // The digit after the sixth decides the rounding, half away from zero.
        if fraction.as_bytes().get(6).is_some_and(|digit| *digit >= b'5') {
            micros += 1;
        }
        let mut unit = 60 * PER_SECOND;
        for part in parts {
            if !digits(part) || unit > 3_600 * PER_SECOND {
                return Err(fail());
            }
            let value = part.parse::<i64>().ok().and_then(|v| v.checked_mul(unit)).ok_or_else(fail)?;
            micros = micros.checked_add(value).ok_or_else(fail)?;
            unit *= 60;
        }
        Ok(Self(sign * micros))
    }
}

/// A text that is no time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is no time: write seconds (83.5) or minutes and seconds (1:23.5)")]
pub struct ParseTimeError(String);

/// A length of time as the files write it: a number of seconds under a key ending in `_s`.
///
/// Kept as whole microseconds, so that `0.1` read and written again stays `0.1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Seconds(pub Micros);

impl Seconds {
    /// Whole seconds.
    #[must_use]
    pub const fn whole(seconds: i64) -> Self {
        Self(Micros::from_whole_seconds(seconds))
    }

    /// Whole milliseconds.
    #[must_use]
    pub const fn from_millis(millis: i64) -> Self {
        Self(Micros::from_millis(millis))
    }

    /// The same length in microseconds.
    #[must_use]
    pub const fn micros(self) -> Micros {
        self.0
    }
}

impl Serialize for Seconds {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0.0 % PER_SECOND == 0 {
            serializer.serialize_i64(self.0.0 / PER_SECOND)
        } else {
            serializer.serialize_f64(self.0.seconds())
        }
    }
}

impl<'de> Deserialize<'de> for Seconds {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let seconds = f64::deserialize(deserializer)?;
        Micros::from_seconds(seconds).map(Self).ok_or_else(|| {
            serde::de::Error::custom(format_args!("{seconds} is no length of time in seconds"))
        })
    }
}

impl JsonSchema for Seconds {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Seconds".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "number", "description": "A length of time in seconds." })
    }
}

impl Add for Micros {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Micros {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for Micros {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

impl std::iter::Sum for Micros {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, Add::add)
    }
}

/// A frame's place among the shown frames of its clip, from 0.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct FrameNumber(pub u32);

impl fmt::Display for FrameNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

/// Seconds a tick of a stream lasts, as a fraction; both parts positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct TimeBase {
    num: i32,
    den: i32,
}

impl TimeBase {
    /// One tick is one microsecond.
    pub const MICROS: Self = Self { num: 1, den: 1_000_000 };

    /// `None` unless both parts are positive.
    #[must_use]
    pub const fn try_new(num: i32, den: i32) -> Option<Self> {
        if num > 0 && den > 0 { Some(Self { num, den }) } else { None }
    }

    /// Upper part of the fraction.
    #[must_use]
    pub const fn num(self) -> i32 {
        self.num
    }

    /// Lower part of the fraction.
    #[must_use]
    pub const fn den(self) -> i32 {
        self.den
    }

    /// Ticks to microseconds, rounded once, half away from zero.
    #[must_use]
    pub fn micros(self, ticks: i64) -> Option<Micros> {
        ClipClock::default().session_time(ticks, self)
    }
}

/// How a clip's own time lies on the session's clock (rule 1).
///
/// Drift and real-time factor are kept as integers so that one division rounds exactly once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ClipClock {
    offset: Micros,
    drift_ppb: i64,
    factor_milli: i64,
}

impl Default for ClipClock {
    fn default() -> Self {
        Self { offset: Micros::ZERO, drift_ppb: 0, factor_milli: 1_000 }
    }
}

impl ClipClock {
    /// `drift` is kept to parts in 10⁹, `real_time_factor` to thousandths; `None` when either is
    /// no sensible number (factor not positive, clock more than twice off).
    #[must_use]
    pub fn try_new(offset: Micros, drift: f64, real_time_factor: f64) -> Option<Self> {
        if !drift.is_finite() || drift.abs() >= 0.5 {
            return None;
        }
        if !(0.001..=100_000.0).contains(&real_time_factor) {
            return None;
        }
        #[allow(clippy::cast_possible_truncation)] // Both ranges were checked above.
        Some(Self {
            offset,
            drift_ppb: (drift * 1e9).round() as i64,
            factor_milli: (real_time_factor * 1e3).round() as i64,
        })
    }

    /// Where the clip's first picture lies in the session.
    #[must_use]
    pub const fn offset(self) -> Micros {
        self.offset
    }

    /// Session time of `ticks` after the clip's first shown picture.
    #[must_use]
    pub fn session_time(self, ticks: i64, base: TimeBase) -> Option<Micros> {
        let above = i128::from(ticks)
            .checked_mul(i128::from(base.num))?
            .checked_mul(i128::from(PER_SECOND))?
            .checked_mul(i128::from(1_000_000_000 + self.drift_ppb))?
            .checked_mul(1_000)?;
        let below = i128::from(base.den) * 1_000_000_000 * i128::from(self.factor_milli);
        let since = i64::try_from(divide_rounding(above, below)?).ok()?;
        Some(Micros(self.offset.0.checked_add(since)?))
    }

    /// Clip time (µs after its first shown picture, as the file plays) of a session time.
    #[must_use]
    pub fn clip_time(self, session: Micros) -> Option<Micros> {
        let above = i128::from(session.0.checked_sub(self.offset.0)?)
            .checked_mul(1_000_000_000)?
            .checked_mul(i128::from(self.factor_milli))?;
        let below = i128::from(1_000_000_000 + self.drift_ppb) * 1_000;
        Some(Micros(i64::try_from(divide_rounding(above, below)?).ok()?))
    }
}

/// Half away from zero; `below` positive.
fn divide_rounding(above: i128, below: i128) -> Option<i128> {
    let twice = above.checked_mul(2)?;
    let half = if above < 0 { -below } else { below };
    twice.checked_add(half)?.checked_div(below.checked_mul(2)?)
}

/// A stretch of session time, half open: `from` belongs to it, `to` does not. Never reversed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub struct Span {
    /// First moment.
    pub from: Micros,
    /// First moment after it.
    pub to: Micros,
}

impl Span {
    /// `None` when `to` lies before `from`.
    #[must_use]
    pub const fn try_new(from: Micros, to: Micros) -> Option<Self> {
        if from.0 <= to.0 { Some(Self { from, to }) } else { None }
    }

    /// The two moments, whichever comes first.
    #[must_use]
    pub const fn between(a: Micros, b: Micros) -> Self {
        if a.0 <= b.0 { Self { from: a, to: b } } else { Self { from: b, to: a } }
    }

    /// How long it lasts.
    #[must_use]
    pub fn length(self) -> Micros {
        self.to - self.from
    }

    /// No time lies in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.from.0 >= self.to.0
    }

    /// Whether the moment lies in it.
    #[must_use]
    pub const fn contains(self, at: Micros) -> bool {
        self.from.0 <= at.0 && at.0 < self.to.0
    }

    /// The time in both, if there is any.
    #[must_use]
    pub fn intersection(self, other: Self) -> Option<Self> {
        let both = Self { from: self.from.max(other.from), to: self.to.min(other.to) };
        (both.from < both.to).then_some(both)
    }
}

/// Time as sorted, disjoint, non-empty spans that do not touch.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spans(Vec<Span>);

impl Spans {
    /// The union of any spans, in any order.
    #[must_use]
    pub fn union_of(spans: impl IntoIterator<Item = Span>) -> Self {
        let mut all: Vec<Span> = spans.into_iter().filter(|span| !span.is_empty()).collect();
        all.sort_unstable();
        let mut merged: Vec<Span> = Vec::with_capacity(all.len());
        for span in all {
            match merged.last_mut() {
                Some(last) if span.from <= last.to => last.to = last.to.max(span.to),
                _ => merged.push(span),
            }
        }
        Self(merged)
    }

    /// The time in both.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        let (mut left, mut right) = (self.0.iter().peekable(), other.0.iter().peekable());
        let mut both = Vec::new();
        while let (Some(a), Some(b)) = (left.peek(), right.peek()) {
            both.extend(a.intersection(**b));
            if a.to <= b.to {
                let _ = left.next();
            } else {
                let _ = right.next();
            }
        }
        Self(both)
    }

    /// The time of this one that is not in the other.
    #[must_use]
    pub fn without(&self, other: &Self) -> Self {
        let mut rest = Vec::new();
        // Cuts before a span's start can never matter again: both lists are sorted.
        let mut cuts = other.0.as_slice();
        for span in &self.0 {
            while let [first, tail @ ..] = cuts {
                if first.to > span.from {
                    break;
                }
                cuts = tail;
            }
            let mut from = span.from;
            for cut in cuts {
                if cut.from >= span.to {
                    break;
                }
                if cut.from > from {
                    rest.push(Span { from, to: cut.from });
                }
                from = from.max(cut.to);
            }
            if from < span.to {
                rest.push(Span { from, to: span.to });
            }
        }
        Self(rest)
    }

    /// All of it together.
    #[must_use]
    pub fn total(&self) -> Micros {
        self.0.iter().map(|span| span.length()).sum()
    }

    /// In order.
    pub fn iter(&self) -> std::slice::Iter<'_, Span> {
        self.0.iter()
    }

    /// In order.
    #[must_use]
    pub fn as_slice(&self) -> &[Span] {
        &self.0
    }

    /// Whether the moment lies in one of them; cost grows with the logarithm of their number.
    #[must_use]
    pub fn contains(&self, at: Micros) -> bool {
        let after = self.0.partition_point(|span| span.from <= at);
        after.checked_sub(1).and_then(|i| self.0.get(i)).is_some_and(|span| span.contains(at))
    }

    /// No time at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl From<Span> for Spans {
    fn from(span: Span) -> Self {
        Self::union_of([span])
    }
}

impl FromIterator<Span> for Spans {
    fn from_iter<I: IntoIterator<Item = Span>>(iter: I) -> Self {
        Self::union_of(iter)
    }
}

impl<'a> IntoIterator for &'a Spans {
    type Item = &'a Span;
    type IntoIter = std::slice::Iter<'a, Span>;
    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(from: i64, to: i64) -> Span {
        Span { from: Micros(from), to: Micros(to) }
    }

    #[test]
    fn rule_1_rounds_once_half_away_from_zero() {
        let thirds = TimeBase::try_new(1, 3).unwrap();
        assert_eq!(thirds.micros(1), Some(Micros(333_333)));
        assert_eq!(thirds.micros(2), Some(Micros(666_667)));
        let halves = TimeBase::try_new(1, 2_000_000).unwrap();
        assert_eq!(halves.micros(1), Some(Micros(1)));
        assert_eq!(halves.micros(-1), Some(Micros(-1)));
        // Two roundings would give offset + round(round(x) / 8); one gives this.
        let slow = ClipClock::try_new(Micros(10), 0.0, 8.0).unwrap();
        assert_eq!(slow.session_time(1_001, TimeBase::MICROS), Some(Micros(135)));
        let drifting = ClipClock::try_new(Micros::ZERO, 1e-4, 1.0).unwrap();
        assert_eq!(drifting.session_time(1_000_000, TimeBase::MICROS), Some(Micros(1_000_100)));
    }

    #[test]
    fn a_clip_clock_goes_there_and_back() {
        let clock = ClipClock::try_new(Micros(1_840_000), -2.5e-5, 4.0).unwrap();
        for at in [0, 1, 999, 123_456_789, 7_200_000_000] {
            let session = clock.session_time(at, TimeBase::MICROS).unwrap();
            let back = clock.clip_time(session).unwrap();
            assert!((back.0 - at).abs() <= 4, "{at} came back as {back:?}");
        }
    }

    #[test]
    fn hours_of_ticks_do_not_overflow() {
        let fine = TimeBase::try_new(1, 1_000_000_000).unwrap();
        assert_eq!(fine.micros(86_400_000_000_000), Some(Micros(86_400_000_000)));
        assert_eq!(ClipClock::try_new(Micros::ZERO, 0.0, 0.0), None);
    }

    #[test]
    fn times_print_and_parse() {
        assert_eq!(Micros(1_500_000).to_string(), "1.500000");
        assert_eq!(Micros(-1).to_string(), "-0.000001");
        assert_eq!(Micros(83_500_000).clock(), "1:23.500");
        assert_eq!(Micros(59_999_900).clock(), "0:59.999");
        assert_eq!("1:23.5".parse(), Ok(Micros(83_500_000)));
        assert_eq!("1:00:00".parse(), Ok(Micros(3_600_000_000)));
        assert_eq!("0.0000005".parse(), Ok(Micros(1)));
        assert!("12,5".parse::<Micros>().is_err());
        assert!("".parse::<Micros>().is_err());
    }

    #[test]
    fn spans_are_a_set_of_moments() {
        let a = Spans::union_of([span(10, 20), span(0, 5), span(18, 30), span(5, 7), span(40, 40)]);
        assert_eq!(a.as_slice(), [span(0, 7), span(10, 30)]);
        let b = Spans::union_of([span(6, 12), span(15, 16), span(29, 50)]);
        assert_eq!(a.intersection(&b).as_slice(), [span(6, 7), span(10, 12), span(15, 16), span(29, 30)]);
        assert_eq!(a.without(&b).as_slice(), [span(0, 6), span(12, 15), span(16, 29)]);
        assert_eq!(a.without(&b).total() + a.intersection(&b).total(), a.total());
        assert!(a.contains(Micros(29)) && !a.contains(Micros(30)) && !a.contains(Micros(8)));
    }
}
