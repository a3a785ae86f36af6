//! How far the values of a second phase lie beyond those of the first: non-overlap of all pairs, Tau-U
//! and tau with the first phase's trend taken off.

use super::Undefined;
use super::rank::{level_out, tie_sizes};
use super::trend::{Series, TheilSen};

/// Which way is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// More.
    Increase,
    /// Less.
    Decrease,
}

/// Two phases compared value by value. Each number is positive where the second phase is better.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NonOverlap {
    /// Values of the first phase.
    pub first: usize,
    /// Values of the second phase.
    pub second: usize,
    /// Pairs across the phases that are better, less those that are worse.
    pub s_between: i64,
    /// The same within the first phase, in order of time: its trend.
    pub s_first: i64,
    /// The same within the second phase.
    pub s_second: i64,
    /// Share of pairs across the phases that are better, equal ones as half (Parker & Vannest 2009,
    /// Behav Ther 40:357–367).
    pub nap: f64,
    /// `s_between` over all pairs across: 2·NAP − 1, without a correction for ties.
    pub tau: f64,
    /// (`s_between` − `s_first`) over all pairs across (Parker, Vannest, Davis & Sauber 2011, Behav Ther
    /// 42:284–299): the first phase's trend taken off. Not bounded by 1.
    pub tau_u: f64,
    /// The same with the second phase's trend added.
    pub tau_u_with_trend: f64,
}

impl NonOverlap {
    /// Of two phases in order of time.
    ///
    /// # Errors
    /// An empty phase, or a value that is no finite number.
    #[allow(clippy::cast_precision_loss)] // Counts of pairs.
    pub fn of(first: &[f64], second: &[f64], wanted: Wanted) -> Result<Self, Undefined> {
        let (first, second) = (turned(first, wanted)?, turned(second, wanted)?);
        let s_between = between(&first, &second);
        let (s_first, s_second) = (within(&first), within(&second));
        let pairs = (first.len() * second.len()) as f64;
        Ok(Self {
            first: first.len(),
            second: second.len(),
            s_between,
            s_first,
            s_second,
            nap: f64::midpoint(s_between as f64 / pairs, 1.0),
            tau: s_between as f64 / pairs,
            tau_u: (s_between - s_first) as f64 / pairs,
            tau_u_with_trend: (s_between - s_first + s_second) as f64 / pairs,
        })
    }
}

/// Tau of what is left of both phases when the first phase's line, drawn on, is taken off (Tarlow 2017,
/// Behav Modif 41:427–467, from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corrected {
    /// Theil–Sen slope of the first phase, for one value to the next.
    pub slope: f64,
    /// Median of its values less slope · place, places from 1.
    pub intercept: f64,
    /// Pairs of residuals across the phases that are better, less those that are worse.
    pub s: i64,
    /// `s` over all pairs across.
    pub tau: f64,
    /// Kendall's tau b of the residuals with the phase (0, 1): corrected for ties, another number.
    pub tau_b: Result<f64, Undefined>,
}

/// Residuals closer than this share of the largest value are equal: only rounding parts them.
const SLACK: f64 = 1e-9;

impl Corrected {
    /// Of two phases in order of time.
    ///
    /// # Errors
    /// Fewer than two values in the first phase, none in the second, or a value that is no finite number.
    #[allow(clippy::cast_precision_loss)] // Counts of pairs.
    pub fn of(first: &[f64], second: &[f64], wanted: Wanted) -> Result<Self, Undefined> {
        let (better_first, better_second) = (turned(first, wanted)?, turned(second, wanted)?);
        let line = TheilSen::of(&Series::in_order(&better_first)?)?;
        let all: Vec<f64> = better_first.iter().chain(&better_second).copied().collect();
        let residuals: Vec<f64> =
            all.iter().zip(1_u32..).map(|(y, place)| y - line.slope * f64::from(place)).collect();
        let largest = all.iter().chain(&residuals).map(|value| value.abs()).fold(f64::MIN_POSITIVE, f64::max);
        let residuals = level_out(&residuals, SLACK * largest);
        let (before, after) = residuals.split_at(better_first.len().min(residuals.len()));
        let s = between(before, after);
        let across = (before.len() * after.len()) as f64;
        let all_pairs = pairs(residuals.len());
        let tied: f64 = tie_sizes(&residuals).into_iter().map(pairs).sum();
        // Pairs that differ in phase are exactly those across.
        let below = (all_pairs - tied) * across;
        let back = if wanted == Wanted::Increase { 1.0 } else { -1.0 };
        Ok(Self {
            slope: back * line.slope,
            intercept: back * line.intercept_of_residuals,
            s,
            tau: s as f64 / across,
            tau_b: if below > 0.0 { Ok(s as f64 / below.sqrt()) } else { Err(Undefined::NoVariation) },
        })
    }
}

#[allow(clippy::cast_precision_loss)] // A count of values.
fn pairs(n: usize) -> f64 {
    n as f64 * (n as f64 - 1.0) / 2.0
}

/// The values so that more is better.
fn turned(values: &[f64], wanted: Wanted) -> Result<Vec<f64>, Undefined> {
    if values.is_empty() {
        return Err(Undefined::TooFew);
    }
    if values.iter().any(|value| !value.is_finite()) {
        return Err(Undefined::OutOfRange);
    }
    Ok(match wanted {
        Wanted::Increase => values.to_vec(),
        Wanted::Decrease => values.iter().map(|value| -value).collect(),
    })
}

fn sign(from: f64, to: f64) -> i64 {
    i64::from(to > from) - i64::from(to < from)
}

fn between(first: &[f64], second: &[f64]) -> i64 {
    first.iter().flat_map(|a| second.iter().map(|b| sign(*a, *b))).sum()
}

fn within(values: &[f64]) -> i64 {
    values.iter().enumerate().flat_map(|(i, a)| values.iter().skip(i + 1).map(|b| sign(*a, *b))).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn less_is_better_turns_every_sign() {
        let (a, b) = ([4.0, 3.0, 5.0, 3.0], [2.0, 3.0, 1.0]);
        let less = NonOverlap::of(&a, &b, Wanted::Decrease).unwrap();
        let more = NonOverlap::of(&a, &b, Wanted::Increase).unwrap();
        assert_eq!((less.s_between, less.s_first), (-more.s_between, -more.s_first));
        assert!((less.nap + more.nap - 1.0).abs() < 1e-15);
        let less = Corrected::of(&a, &b, Wanted::Decrease).unwrap();
        let more = Corrected::of(&a, &b, Wanted::Increase).unwrap();
        assert_eq!((less.slope, less.s), (more.slope, -more.s), "the line is that of the values as they are");
    }

    #[test]
    fn an_empty_phase_has_no_pairs() {
        assert_eq!(NonOverlap::of(&[], &[1.0], Wanted::Increase).unwrap_err(), Undefined::TooFew);
        assert_eq!(Corrected::of(&[1.0], &[1.0], Wanted::Increase).unwrap_err(), Undefined::TooFew);
        assert_eq!(NonOverlap::of(&[f64::NAN], &[1.0], Wanted::Increase).unwrap_err(), Undefined::OutOfRange);
        let flat = Corrected::of(&[1.0, 2.0], &[3.0], Wanted::Increase).unwrap();
        assert_eq!(
            (flat.s, flat.tau_b),
            (0, Err(Undefined::NoVariation)),
            "all lie on the first phase's line"
        );
    }
}
