//! What instantaneous and one-zero recording would have given, reckoned from a continuous record, and how
//! far apart samples may lie.

use super::record::{Missing, Record};
use crate::model::{Behaviour, BehaviourId, Kind, Role, samples};
use crate::numeric::{Undefined, quantile, rank};
use crate::time::{Micros, Span, Spans};

/// Sample intervals that are tried, in seconds.
pub const INTERVALS_S: [i64; 8] = [1, 2, 5, 10, 15, 30, 60, 120];
/// Largest acceptable error of a share of time: three percentage points (our default) …
pub const ABSOLUTE: f64 = 0.03;
/// … or this share of it (our default) …
pub const RELATIVE: f64 = 0.10;
/// … for behaviours that take more than this share of the time.
pub const COMMON: f64 = 0.05;
/// Starts of sampling that are tried, evenly spaced over an interval.
pub const STARTS: i64 = 10;

/// Points at one distance, and the intervals between them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grid {
    from: Micros,
    every: Micros,
    points: i64,
    count: i64,
}

impl Grid {
    /// Every point of a window, the first `offset` after its start, and every whole interval; a last
    /// partial one is dropped.
    ///
    /// # Errors
    /// An interval or offset that makes no sense, or a window shorter than one interval.
    pub fn try_new(window: Span, every: Micros, offset: Micros) -> Result<Self, Undefined> {
        let (points, count) = samples::counts(window, every, offset).ok_or(Undefined::OutOfRange)?;
        let from = window.from + offset;
        if count > 0 { Ok(Self { from, every, points, count }) } else { Err(Undefined::TooFew) }
    }

    /// Whole intervals.
    #[must_use]
    pub fn count(&self) -> u32 {
        u32::try_from(self.count).unwrap_or(u32::MAX)
    }

    /// First point at or after a moment.
    fn first_from(&self, at: Micros) -> i64 {
        let since = at - self.from;
        (since.0.div_euclid(self.every.0) + i64::from(since.0.rem_euclid(self.every.0) > 0))
            .clamp(0, self.points)
    }

    /// Interval that holds a moment; at most one before the first or one after the last.
    fn holding(&self, at: Micros) -> i64 {
        (at - self.from).0.div_euclid(self.every.0).clamp(-1, self.count)
    }

    fn sum(spans: &Spans, value: impl Fn(&Span) -> i64) -> u32 {
        u32::try_from(spans.iter().map(value).sum::<i64>()).unwrap_or(u32::MAX)
    }

    /// Points at which one of the spans holds: instantaneous recording.
    #[must_use]
    pub fn held_at_points(&self, spans: &Spans) -> u32 {
        Self::sum(spans, |span| self.first_from(span.to) - self.first_from(span.from))
    }

    /// Whole intervals at whose end one of the spans holds.
    #[must_use]
    pub fn held_at_ends(&self, spans: &Spans) -> u32 {
        let ends = Self { from: self.from + self.every, points: self.count, ..*self };
        ends.held_at_points(spans)
    }

    /// Whole intervals that share any time with the spans: one-zero recording.
    #[must_use]
    pub fn touched(&self, spans: &Spans) -> u32 {
        let (mut next, mut touched) = (0, 0);
        for span in spans {
            // Two spans may touch one interval: it counts once.
            let first = self.holding(span.from).max(next);
            let after = self.first_from(span.to).min(self.count);
            touched += (after - first).max(0);
            next = next.max(after);
        }
        u32::try_from(touched).unwrap_or(u32::MAX)
    }

    /// Whole intervals that lie in one of the spans from start to end.
    #[must_use]
    pub fn filled(&self, spans: &Spans) -> u32 {
        Self::sum(spans, |span| (self.holding(span.to) - self.first_from(span.from)).max(0))
    }
}

/// A behaviour's spans and the time they are held against.
struct Watched {
    spans: Spans,
    visible: Spans,
    window: Span,
}

impl Watched {
    fn of(record: &Record<'_>, behaviour: &Behaviour) -> Result<Self, Missing> {
        record.is_continuous()?;
        if behaviour.kind == Kind::Event {
            return Err(Missing::NoDuration);
        }
        if !record.coding.is_done(&behaviour.id) {
            return Err(Missing::PassNotDone);
        }
        let visible = record.visible()?.clone();
        if visible.is_empty() || behaviour.has_role(Role::Excluded) {
            return Err(Missing::NeverVisible);
        }
        // What is not cut at out of sight counts only where the animal was seen, like everything else.
        let spans: Spans = record.bouts(behaviour).into_iter().map(|bout| bout.span).collect();
        Ok(Self { spans: spans.intersection(&visible), visible, window: record.window() })
    }

    fn share(&self) -> f64 {
        self.spans.total().seconds() / self.visible.total().seconds()
    }

    fn thinned(&self, every: Micros, offset: Micros) -> Result<Thinned, Undefined> {
        let grid = Grid::try_new(self.window, every, offset)?;
        let points = grid.held_at_points(&self.visible);
        if points == 0 {
            return Err(Undefined::TooFew);
        }
        Ok(Thinned {
            every,
            share: self.share(),
            points,
            hits: grid.held_at_points(&self.spans),
            intervals: grid.touched(&self.visible),
            touched: grid.touched(&self.spans),
            filled: grid.filled(&self.spans),
        })
    }
}

/// A continuous record as sampling would have seen it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thinned {
    /// Time from one sample to the next.
    pub every: Micros,
    /// Share of visible time it really took.
    pub share: f64,
    /// Sample points at which the animal was visible.
    pub points: u32,
    /// Those of them at which the behaviour held.
    pub hits: u32,
    /// Intervals with any visible time.
    pub intervals: u32,
    /// Those of them in which it held at all.
    pub touched: u32,
    /// Those of them in which it held throughout.
    pub filled: u32,
}

impl Thinned {
    /// Instantaneous recording: share of visible points.
    #[must_use]
    pub fn instantaneous(&self) -> f64 {
        f64::from(self.hits) / f64::from(self.points.max(1))
    }

    /// One-zero recording: share of intervals in which it occurred. No share of time.
    #[must_use]
    pub fn one_zero(&self) -> f64 {
        f64::from(self.touched) / f64::from(self.intervals.max(1))
    }

    /// Whole-interval recording: share of intervals it filled.
    #[must_use]
    pub fn whole_interval(&self) -> f64 {
        f64::from(self.filled) / f64::from(self.intervals.max(1))
    }

    /// What instantaneous recording misses the true share by; positive: too much.
    #[must_use]
    pub fn error(&self) -> f64 {
        self.instantaneous() - self.share
    }

    /// What one-zero recording read as a share of time misses it by.
    #[must_use]
    pub fn one_zero_error(&self) -> f64 {
        self.one_zero() - self.share
    }
}

/// One state of one record, sampled every `every`, first at `offset` after the window's start.
///
/// # Errors
/// An event, a pass not done, visible time not coded, a record that is itself sampled, or an interval
/// longer than the record.
pub fn thin(
    record: &Record<'_>,
    behaviour: &Behaviour,
    every: Micros,
    offset: Micros,
) -> Result<Thinned, Missing> {
    Ok(Watched::of(record, behaviour)?.thinned(every, offset)?)
}

/// How well one interval would have served one state, over the sessions given.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// The interval.
    pub every: Micros,
    /// Sampling from the window's start, one a session.
    pub sessions: Vec<Thinned>,
    /// Mean size of the error of the share of time over sessions and ten evenly spaced starts: one lucky
    /// start proves nothing.
    pub typical_error: f64,
    /// The largest of these errors.
    pub largest_error: f64,
    /// Mean error of one-zero recording read as a share of time, sampling from the window's start.
    pub one_zero_bias: f64,
    /// Correlation of the sampled shares with the true ones over sessions, sampling from the window's start
    /// (Martin & Bateson, from memory). It hides bias: never alone.
    pub correlation: Result<f64, Undefined>,
    /// Whether the typical error is small enough.
    pub verdict: Verdict,
}

/// Whether an error is acceptable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// At most three percentage points, or a tenth of a share above 5 %.
    Acceptable,
    /// More.
    TooCoarse,
}

/// A state's errors at each interval, and the longest that will do.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The state.
    pub behaviour: BehaviourId,
    /// Mean over sessions of its true share of visible time.
    pub share: f64,
    /// By rising interval, up to the longest that every session is long enough for.
    pub trials: Vec<Trial>,
}

impl Choice {
    /// Of a state in records of different sessions. Those in which it can't be had are left out.
    ///
    /// # Errors
    /// When it can't be had in any, or never occurred.
    pub fn of(records: &[&Record<'_>], behaviour: &BehaviourId) -> Result<Self, Missing> {
        let mut why = Missing::None;
        let mut watched = Vec::new();
        for record in records {
            let own = record.ethogram.behaviour(behaviour).ok_or(Missing::NotInEthogram);
            match own.and_then(|own| Watched::of(record, own)) {
                Ok(own) => watched.push(own),
                Err(missing) => why = missing,
            }
        }
        let shares: Vec<f64> = watched.iter().map(Watched::share).collect();
        let share = quantile::mean(&shares).ok_or(why)?;
        if share <= 0.0 {
            return Err(Missing::None);
        }
        let trials = INTERVALS_S
            .iter()
            .map_while(|seconds| Trial::of(&watched, share, Micros::from_whole_seconds(*seconds)))
            .collect();
        Ok(Self { behaviour: behaviour.clone(), share, trials })
    }

    /// The longest interval that is acceptable together with every shorter one.
    ///
    /// # Errors
    /// When even the shortest is too coarse.
    pub fn longest(&self) -> Result<Micros, Missing> {
        let is_fine = |trial: &&Trial| trial.verdict == Verdict::Acceptable;
        self.trials.iter().take_while(is_fine).last().map(|trial| trial.every).ok_or(Missing::NoInterval)
    }
}

/// The longest interval acceptable for every state that occurred.
///
/// # Errors
/// When none occurred, or one of them needs a shorter interval than was tried.
pub fn longest(choices: &[Choice]) -> Result<Micros, Missing> {
    let all = choices.iter().map(Choice::longest).collect::<Result<Vec<_>, _>>()?;
    all.into_iter().min().ok_or(Missing::None)
}

impl Trial {
    fn of(watched: &[Watched], share: f64, every: Micros) -> Option<Self> {
        let sessions: Vec<Thinned> =
            watched.iter().map(|own| own.thinned(every, Micros::ZERO).ok()).collect::<Option<_>>()?;
        let starts = (0..STARTS).map(|start| Micros(every.0 * start / STARTS));
        let errors: Vec<f64> = starts
            .flat_map(|offset| watched.iter().filter_map(move |own| own.thinned(every, offset).ok()))
            .map(|thinned| thinned.error().abs())
            .collect();
        let typical_error = quantile::mean(&errors)?;
        let is_close = typical_error <= ABSOLUTE || (share > COMMON && typical_error <= RELATIVE * share);
        let of = |value: fn(&Thinned) -> f64| sessions.iter().map(value).collect::<Vec<f64>>();
        Some(Self {
            every,
            typical_error,
            largest_error: quantile::of(&errors, 1.0)?,
            one_zero_bias: quantile::mean(&of(Thinned::one_zero_error))?,
            correlation: if sessions.len() < 3 {
                Err(Undefined::TooFew)
            } else {
                rank::pearson(&of(Thinned::instantaneous), &of(|own| own.share))
            },
            verdict: if is_close { Verdict::Acceptable } else { Verdict::TooCoarse },
            sessions,
        })
    }
}

/// What sampling is expected to give of a state whose bouts and gaps are exponential: the size of the bias
/// alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// Share of time: bout/(bout + gap). Instantaneous recording gives the same.
    pub share: f64,
    /// Bouts begun in a unit of time.
    pub rate: f64,
    /// One-zero recording: share + (1 − share)(1 − exp(−interval/gap)).
    pub one_zero: f64,
    /// Whole-interval recording: share · exp(−interval/bout).
    pub whole_interval: f64,
}

impl Expectation {
    /// Mean bout, mean gap and interval in one unit (Rogosa & Ghandour 1991, J Educ Stat 16:157–252, from
    /// memory).
    ///
    /// # Errors
    /// A length that is not positive.
    pub fn of(bout: f64, gap: f64, interval: f64) -> Result<Self, Undefined> {
        if [bout, gap, interval].iter().any(|length| !(length.is_finite() && *length > 0.0)) {
            return Err(Undefined::OutOfRange);
        }
        let share = bout / (bout + gap);
        Ok(Self {
            share,
            rate: 1.0 / (bout + gap),
            one_zero: share + (1.0 - share) * (1.0 - (-interval / gap).exp()),
            whole_interval: share * (-interval / bout).exp(),
        })
    }
}
