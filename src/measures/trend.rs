//! One animal over its sessions: a number a session, the plan step beside it, whether it moves.
//!
//! The session is the unit: never the second, the picture or the trial. Sessions of one animal are not
//! independent either, so p-values describe and decide nothing.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};

use super::quantity::{Quantity, Value, value};
use super::record::{Missing, Record};
use crate::model::{AnimalId, PlanId, SessionId};
use crate::numeric::bootstrap::{self, DRAWS};
use crate::numeric::interval::Confidence;
use crate::numeric::overlap::{Corrected, NonOverlap, Wanted};
use crate::numeric::quantile;
use crate::numeric::rank::level_out;
use crate::numeric::trend::{Distribution, Kendall, Ranks, Series, TheilSen};

/// A session on the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The session.
    pub session: SessionId,
    /// Wall clock of its start, if known.
    pub at: Option<DateTime<FixedOffset>>,
    /// The plan that was followed.
    pub plan: Option<PlanId>,
    /// Its step.
    pub step: Option<u32>,
    /// Revision of the ethogram it was coded under.
    pub revision: u32,
    /// The number, or why there is none.
    pub value: Result<Value, Missing>,
}

/// A quantity over the sessions of one animal, in order of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// What is followed.
    pub quantity: Quantity,
    /// The sessions, those without a value included.
    pub points: Vec<Point>,
}

/// A stretch of sessions at one step of one plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Phase {
    /// The plan.
    pub plan: Option<PlanId>,
    /// The step.
    pub step: Option<u32>,
    /// Its sessions.
    pub course: Course,
}

/// Courses of a quantity, one an animal: of each session the coding that counts (rule 14), the first of two
/// that say so, ordered by the wall clock, sessions without one last, by their names.
#[must_use]
pub fn courses(records: &[Record<'_>], quantity: &Quantity) -> BTreeMap<AnimalId, Course> {
    let mut by_animal: BTreeMap<AnimalId, BTreeMap<&SessionId, Point>> = BTreeMap::new();
    for record in records.iter().filter(|record| record.is_counted()) {
        let own = by_animal.entry(record.session.animal.clone()).or_default();
        let _ = own.entry(&record.session.id).or_insert_with(|| point(record, quantity));
    }
    by_animal
        .into_iter()
        .map(|(animal, points)| {
            let mut points: Vec<Point> = points.into_values().collect();
            points
                .sort_by(|a, b| (a.at.is_none(), a.at, &a.session).cmp(&(b.at.is_none(), b.at, &b.session)));
            (animal, Course { quantity: quantity.clone(), points })
        })
        .collect()
}

fn point(record: &Record<'_>, quantity: &Quantity) -> Point {
    Point {
        session: record.session.id.clone(),
        at: record.session.wall_clock(record.window().from),
        plan: record.session.plan.clone(),
        step: record.session.step,
        revision: record.ethogram.revision,
        value: value(record, quantity),
    }
}

/// What sessions amount to, the session as unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Sessions with a value.
    pub n: usize,
    /// Sessions without one.
    pub left_out: usize,
    /// Mean over sessions.
    pub mean: f64,
    /// Median over sessions.
    pub median: f64,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// How sure the mean is.
    pub spread: Spread,
}

/// How sure a mean over sessions is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// One session: its value alone.
    One,
    /// Two to four: lowest and highest value, no interval.
    Range,
    /// Five and more: percentile interval of the mean, 95 %, over resampled sessions.
    Bootstrap {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// Resamples drawn (B).
        draws: usize,
        /// Seed of the draws (ChaCha8).
        seed: u64,
    },
}

/// Sessions from which on an interval is computed.
pub const ENOUGH_FOR_INTERVAL: usize = 5;
/// Sessions below which there is no trend: no order of three can be told from chance.
pub const ENOUGH_FOR_TREND: usize = 4;
/// Sessions each of two phases needs to be compared (single-case practice, from memory).
pub const ENOUGH_FOR_PHASE: usize = 3;
/// Values closer than this share of the largest are equal: only rounding parts them.
const SLACK: f64 = 1e-12;

/// Along what sessions are laid out for a slope.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// Their order, from 1: change from one session to the next. A session without a value keeps its place.
    Order,
    /// Days since the first: change in a day. Every session needs a wall clock.
    Days,
}

/// A trend over sessions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Sessions with a value.
    pub n: usize,
    /// Sessions without one.
    pub left_out: usize,
    /// Along what.
    pub axis: Axis,
    /// Theil–Sen slope: change of the quantity from one session, or day, to the next.
    pub slope: f64,
    /// Value of the line at session 0, or on the first day.
    pub intercept: f64,
    /// Limits of the slope, 95 %, between ranks; `None`: unbounded on that side.
    pub slope_ci95: (Option<f64>, Option<f64>),
    /// Kendall's tau b with time.
    pub tau_b: f64,
    /// Mann–Kendall p-value, two-sided: descriptive, because sessions follow from each other.
    pub p: f64,
    /// By which distribution.
    pub by: Distribution,
}

impl Course {
    /// Values in order of time; sessions without one are left out.
    ///
    /// # Errors
    /// No session with a value: the reason of the first. A latency whose median was not reached in one of
    /// them: leaving out the sessions in which the animal did not come would make it look quick.
    pub fn values(&self) -> Result<Vec<f64>, Missing> {
        let missing = || self.points.iter().filter_map(|point| point.value.as_ref().err().copied());
        if let Some(why) = missing().find(|why| *why == Missing::MedianNotReached) {
            return Err(why);
        }
        let all: Vec<f64> =
            self.points.iter().filter_map(|point| point.value.as_ref().ok()).map(|own| own.value).collect();
        if all.is_empty() {
            return Err(missing().next().unwrap_or(Missing::None));
        }
        Ok(even(&all))
    }

    /// What the sessions amount to. `seed` is that of the study's draws.
    ///
    /// # Errors
    /// As [`Self::values`].
    pub fn level(&self, seed: u64) -> Result<Level, Missing> {
        let values = self.values()?;
        let mean = quantile::mean(&values).ok_or(Missing::None)?;
        let at = |q| quantile::of(&values, q).ok_or(Missing::None);
        let over = |places: &[usize]| {
            quantile::mean(&places.iter().filter_map(|place| values.get(*place)).copied().collect::<Vec<_>>())
        };
        let spread =
            match values.len() {
                0 | 1 => Spread::One,
                n if n < ENOUGH_FOR_INTERVAL => Spread::Range,
                n => bootstrap::percentile(n, seed, &over).map_or(Spread::Range, |interval| {
                    Spread::Bootstrap { low: interval.low, high: interval.high, draws: DRAWS, seed }
                }),
            };
        let left_out = self.points.len() - values.len();
        Ok(Level { n: values.len(), left_out, mean, median: at(0.5)?, low: at(0.0)?, high: at(1.0)?, spread })
    }

    /// Whether it moves. A change of step changes the task: look at [`Self::phases`] too.
    ///
    /// # Errors
    /// Fewer than four sessions with a value; no variation; a session without wall clock on a time axis; or as
    /// [`Self::values`].
    #[allow(clippy::cast_precision_loss)] // Seconds since the first session.
    pub fn trend(&self, axis: Axis) -> Result<Trend, Missing> {
        let y = self.values()?;
        if y.len() < ENOUGH_FOR_TREND {
            return Err(Missing::TooFew);
        }
        let series = match axis {
            Axis::Order => {
                let places = self.points.iter().zip(1_u32..).filter(|(point, _)| point.value.is_ok());
                Series::try_new(&places.map(|(_, place)| f64::from(place)).collect::<Vec<_>>(), &y)?
            }
            Axis::Days => {
                let with_value = self.points.iter().filter(|point| point.value.is_ok());
                let clocks: Option<Vec<_>> = with_value.map(|point| point.at).collect();
                let clocks = clocks.ok_or(Missing::NoClock)?;
                let first = *clocks.first().ok_or(Missing::TooFew)?;
                let days = |at: &DateTime<FixedOffset>| (*at - first).num_seconds() as f64 / 86_400.0;
                Series::try_new(&clocks.iter().map(days).collect::<Vec<_>>(), &y)?
            }
        };
        let kendall = Kendall::of(&series);
        let tau_b = kendall.tau_b()?;
        let line = TheilSen::of(&series)?;
        let (p, by) = kendall.p();
        Ok(Trend {
            n: y.len(),
            left_out: self.points.len() - y.len(),
            axis,
            slope: line.slope,
            intercept: line.intercept,
            slope_ci95: line.interval(Confidence::P95, Ranks::Interpolated),
            tau_b,
            p,
            by,
        })
    }

    /// Runs of sessions at one step of one plan, in order of time.
    #[must_use]
    pub fn phases(&self) -> Vec<Phase> {
        self.points
            .chunk_by(|a, b| (&a.plan, a.step) == (&b.plan, b.step))
            .filter_map(|points| {
                let first = points.first()?;
                let course = Course { quantity: self.quantity.clone(), points: points.to_vec() };
                Some(Phase { plan: first.plan.clone(), step: first.step, course })
            })
            .collect()
    }

    /// All sessions at each step of each plan, runs at one step joined.
    #[must_use]
    pub fn by_step(&self) -> BTreeMap<(Option<PlanId>, Option<u32>), Course> {
        let mut found: BTreeMap<(Option<PlanId>, Option<u32>), Course> = BTreeMap::new();
        for point in &self.points {
            let empty = || Course { quantity: self.quantity.clone(), points: Vec::new() };
            let course = found.entry((point.plan.clone(), point.step)).or_insert_with(empty);
            course.points.push(point.clone());
        }
        found
    }
}

/// Values that differ by rounding alone made equal.
fn even(values: &[f64]) -> Vec<f64> {
    let largest = values.iter().fold(0.0_f64, |largest, value| largest.max(value.abs()));
    level_out(values, SLACK * largest)
}

/// Two phases compared session by session: how far the later lies beyond the earlier, and the same with the
/// earlier one's trend taken off.
///
/// # Errors
/// Fewer than three sessions with a value in either, or as [`Course::values`].
pub fn compare(earlier: &Course, later: &Course, wanted: Wanted) -> Result<(NonOverlap, Corrected), Missing> {
    let (first, second) = (earlier.values()?, later.values()?);
    if first.len() < ENOUGH_FOR_PHASE || second.len() < ENOUGH_FOR_PHASE {
        return Err(Missing::TooFew);
    }
    let both = even(&first.iter().chain(&second).copied().collect::<Vec<_>>());
    let (first, second) = both.split_at(first.len().min(both.len()));
    Ok((NonOverlap::of(first, second, wanted)?, Corrected::of(first, second, wanted)?))
}
