//! Where a coding by samples looks: points at one distance, or intervals one after another, and which
//! of them have been answered.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::RecordingRule;
use crate::time::{Micros, Span};

/// Sample points or intervals, numbered from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Samples {
    first: Micros,
    every: Micros,
    count: u32,
    form: Form,
}

/// What a sample is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// A moment: instantaneous recording.
    Point,
    /// A stretch: one-zero recording.
    Interval,
}

impl Form {
    /// As people call one.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Interval => "interval",
        }
    }

    /// As people call several.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Point => "points",
            Self::Interval => "intervals",
        }
    }
}

/// One of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// Its number, from 1.
    pub number: u32,
    /// Its time; of a point its moment twice.
    pub span: Span,
}

/// How many points a window holds, the first `offset` after its start, and how many whole intervals
/// from there on; `None` when interval or offset make no sense.
#[must_use]
pub fn counts(window: Span, every: Micros, offset: Micros) -> Option<(i64, i64)> {
    if every <= Micros::ZERO || offset < Micros::ZERO {
        return None;
    }
    let length = (window.to - window.from - offset).0.max(0);
    let intervals = length / every.0;
    Some((intervals + i64::from(length % every.0 > 0), intervals))
}

impl Samples {
    /// Those of a rule in a window; `None` for continuous recording and for an interval or offset that
    /// makes no sense. A last partial interval is dropped; every point in the window counts.
    #[must_use]
    pub fn of(rule: RecordingRule, window: Span) -> Option<Self> {
        let (every, offset, form) = match rule {
            RecordingRule::Continuous => return None,
            RecordingRule::Instantaneous { every_s, offset_s } => {
                (every_s.micros(), offset_s.micros(), Form::Point)
            }
            RecordingRule::OneZero { every_s } => (every_s.micros(), Micros::ZERO, Form::Interval),
        };
        let (points, intervals) = counts(window, every, offset)?;
        let count = u32::try_from(if form == Form::Point { points } else { intervals }).ok()?;
        Some(Self { first: window.from + offset, every, count, form })
    }

    /// How many there are.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// What each is.
    #[must_use]
    pub const fn form(&self) -> Form {
        self.form
    }

    /// From one to the next.
    #[must_use]
    pub const fn every(&self) -> Micros {
        self.every
    }

    /// The sample of a number.
    #[must_use]
    pub fn get(&self, number: u32) -> Option<Sample> {
        if !(1..=self.count).contains(&number) {
            return None;
        }
        let from = self.first + Micros(self.every.0 * i64::from(number - 1));
        let to = if self.form == Form::Point { from } else { from + self.every };
        Some(Sample { number, span: Span { from, to } })
    }

    /// All of them, in order.
    pub fn iter(&self) -> impl Iterator<Item = Sample> + '_ {
        (1..=self.count).filter_map(|number| self.get(number))
    }

    /// Number of the interval that holds a moment, or of the last point at or before it; the first or
    /// last one outside. `None` when there is none at all.
    #[must_use]
    pub fn number_at(&self, at: Micros) -> Option<u32> {
        let last = i64::from(self.count.checked_sub(1)?);
        let place = (at - self.first).0.div_euclid(self.every.0).clamp(0, last);
        u32::try_from(place + 1).ok()
    }
}

/// Offset of the first point, drawn evenly from whole milliseconds below `every`: the same for a seed on
/// every machine (ChaCha8).
#[must_use]
pub fn random_offset(every: Micros, seed: u64) -> Micros {
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};
    let steps = u64::try_from(every.0 / 1_000).unwrap_or(0).max(1);
    // Of 2^64 values the remainder favours none by more than one in 10^12.
    let step = ChaCha8Rng::seed_from_u64(seed).next_u64() % steps;
    Micros::from_millis(i64::try_from(step).unwrap_or(0))
}

/// A set of sample numbers, kept as ranges: `[[1, 57], [60, 60]]`.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Numbers(Vec<[u32; 2]>);

impl Numbers {
    /// There is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether a number is in it.
    #[must_use]
    pub fn contains(&self, number: u32) -> bool {
        self.0.iter().any(|[first, last]| (*first..=*last).contains(&number))
    }

    /// All of them. Ranges written by hand may be in any order and overlap.
    #[must_use]
    pub fn sorted(&self) -> Vec<[u32; 2]> {
        let mut ranges: Vec<[u32; 2]> = self.0.iter().copied().filter(|[a, b]| a <= b).collect();
        ranges.sort_unstable();
        let mut joined: Vec<[u32; 2]> = Vec::with_capacity(ranges.len());
        for [first, last] in ranges {
            match joined.last_mut() {
                Some([_, end]) if first <= end.saturating_add(1) => *end = (*end).max(last),
                _ => joined.push([first, last]),
            }
        }
        joined
    }

    /// Puts a number in.
    pub fn insert(&mut self, number: u32) {
        self.0.push([number, number]);
        self.0 = self.sorted();
    }

    /// Takes a number out.
    pub fn remove(&mut self, number: u32) {
        let mut left = Vec::new();
        for [first, last] in self.sorted() {
            if !(first..=last).contains(&number) {
                left.push([first, last]);
                continue;
            }
            if first < number {
                left.push([first, number - 1]);
            }
            if number < last {
                left.push([number + 1, last]);
            }
        }
        self.0 = left;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Seconds;

    fn window(from: i64, to: i64) -> Span {
        Span { from: Micros::from_whole_seconds(from), to: Micros::from_whole_seconds(to) }
    }

    #[test]
    fn points_begin_at_the_offset_and_the_windows_end_is_outside() {
        let rule = RecordingRule::Instantaneous {
            every_s: Seconds::whole(10),
            offset_s: Seconds::from_millis(3_500),
        };
        let samples = Samples::of(rule, window(5, 45)).unwrap();
        let at: Vec<i64> = samples.iter().map(|own| own.span.from.0 / 1_000).collect();
        assert_eq!(at, [8_500, 18_500, 28_500, 38_500]);
        assert_eq!(samples.number_at(Micros::from_millis(18_499)), Some(1));
        assert_eq!(samples.number_at(Micros::from_millis(18_500)), Some(2));
        assert_eq!(samples.number_at(Micros::from_whole_seconds(900)), Some(4));
        assert_eq!(samples.get(5), None);
        let at_start =
            RecordingRule::Instantaneous { every_s: Seconds::whole(10), offset_s: Seconds::whole(0) };
        assert_eq!(Samples::of(at_start, window(0, 40)).unwrap().count(), 4, "a point at its end is outside");
        assert_eq!(Samples::of(at_start, window(0, 41)).unwrap().count(), 5);
    }

    #[test]
    fn intervals_are_whole_and_nonsense_gives_none() {
        let rule = RecordingRule::OneZero { every_s: Seconds::whole(15) };
        let samples = Samples::of(rule, window(0, 44)).unwrap();
        let spans: Vec<Span> = samples.iter().map(|own| own.span).collect();
        assert_eq!(spans, [window(0, 15), window(15, 30)]);
        assert_eq!(Samples::of(rule, window(0, 14)).unwrap().count(), 0);
        assert_eq!(Samples::of(rule, window(0, 14)).unwrap().number_at(Micros::ZERO), None);
        assert_eq!(Samples::of(RecordingRule::Continuous, window(0, 44)), None);
        assert_eq!(Samples::of(RecordingRule::OneZero { every_s: Seconds::whole(0) }, window(0, 44)), None);
    }

    #[test]
    fn a_random_offset_is_the_same_for_its_seed_and_lies_within_the_interval() {
        let every = Micros::from_whole_seconds(30);
        let offsets: Vec<Micros> = (0..400).map(|seed| random_offset(every, seed)).collect();
        assert!(offsets.iter().all(|own| (Micros::ZERO..every).contains(own)));
        assert_eq!(offsets, (0..400).map(|seed| random_offset(every, seed)).collect::<Vec<_>>());
        let early = offsets.iter().filter(|own| own.0 < every.0 / 2).count();
        assert!((150..250).contains(&early), "about half lie in its first half: {early}");
        assert_eq!(random_offset(Micros(5), 1), Micros::ZERO);
    }

    #[test]
    fn numbers_join_and_split() {
        let mut numbers = Numbers::default();
        for number in [3, 1, 2, 7, 2] {
            numbers.insert(number);
        }
        assert_eq!(serde_json::to_string(&numbers).unwrap(), "[[1,3],[7,7]]");
        numbers.remove(2);
        assert_eq!(numbers.sorted(), [[1, 1], [3, 3], [7, 7]]);
        numbers.remove(9);
        assert!(numbers.contains(7) && !numbers.contains(2));
        let by_hand: Numbers = serde_json::from_str("[[5,9],[1,6],[4,2]]").unwrap();
        assert_eq!(by_hand.sorted(), [[1, 9]]);
        assert!(by_hand.contains(8) && !by_hand.contains(10));
    }
}
