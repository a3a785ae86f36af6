//! Agreement of counts in intervals: how often each of two people scored in each of them.
//!
//! Simple shares that take no account of chance; still asked for where behaviour is counted
//! (Mudford, Martin, Hui & Taylor 2009, J Appl Behav Anal 42, and the textbooks of the trade;
//! definitions from memory). Intervals are half open from the window's start and a last partial one is
//! dropped, as in rule 28.

use std::fmt;

use crate::time::{Micros, Span};

/// Counts of two people in the same intervals.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counts {
    pairs: Vec<(u32, u32)>,
}

/// Why there is no share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoShare {
    /// There is no whole interval.
    NoIntervals,
    /// Neither scored anything.
    DidNotOccur,
    /// Both scored in every interval: none is left in which either did not.
    AlwaysScored,
}

impl fmt::Display for NoShare {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoIntervals => "no whole interval",
            Self::DidNotOccur => "did not occur",
            Self::AlwaysScored => "both scored in every interval",
        })
    }
}

/// How often the moments fall into each whole interval of this length; moments in any order, those
/// outside the whole intervals left out. Empty for a length of 0.
#[must_use]
pub fn in_intervals(moments: &[Micros], window: Span, length: Micros) -> Vec<u32> {
    if length <= Micros::ZERO {
        return Vec::new();
    }
    let whole = usize::try_from(window.length().0 / length.0).unwrap_or(0);
    let mut counts = vec![0_u32; whole];
    for moment in moments.iter().filter(|moment| window.contains(**moment)) {
        let place = usize::try_from((*moment - window.from).0 / length.0).ok();
        if let Some(count) = place.and_then(|place| counts.get_mut(place)) {
            *count = count.saturating_add(1);
        }
    }
    counts
}

impl Counts {
    /// `None` when the lists differ in length.
    #[must_use]
    pub fn try_new(first: &[u32], second: &[u32]) -> Option<Self> {
        (first.len() == second.len())
            .then(|| Self { pairs: first.iter().copied().zip(second.iter().copied()).collect() })
    }

    /// Smaller total over larger total. Says nothing of when.
    ///
    /// # Errors
    /// Without intervals, or when neither scored.
    pub fn total(&self) -> Result<f64, NoShare> {
        self.some()?;
        let total =
            |of: fn(&(u32, u32)) -> u32| self.pairs.iter().map(|pair| u64::from(of(pair))).sum::<u64>();
        ratio(total(|pair| pair.0), total(|pair| pair.1)).ok_or(NoShare::DidNotOccur)
    }

    /// Mean over the intervals of smaller count over larger count; an interval in which neither scored
    /// counts 1.
    ///
    /// # Errors
    /// Without intervals.
    pub fn block_by_block(&self) -> Result<f64, NoShare> {
        self.some()?;
        let each = |(a, b): &(u32, u32)| ratio(u64::from(*a), u64::from(*b)).unwrap_or(1.0);
        Ok(self.pairs.iter().map(each).sum::<f64>() / count(self.pairs.len()))
    }

    /// Share of intervals with the same count.
    ///
    /// # Errors
    /// Without intervals.
    pub fn exact(&self) -> Result<f64, NoShare> {
        self.share(|_| true, |(a, b)| a == b).ok_or(NoShare::NoIntervals)
    }

    /// Share of intervals in which both scored or neither did.
    ///
    /// # Errors
    /// Without intervals.
    pub fn interval_by_interval(&self) -> Result<f64, NoShare> {
        self.share(|_| true, |(a, b)| (a > 0) == (b > 0)).ok_or(NoShare::NoIntervals)
    }

    /// Of the intervals in which either scored, the share in which both did: for what is rare.
    ///
    /// # Errors
    /// Without intervals, or when neither scored.
    pub fn scored(&self) -> Result<f64, NoShare> {
        self.some()?;
        self.share(|(a, b)| a > 0 || b > 0, |(a, b)| a > 0 && b > 0).ok_or(NoShare::DidNotOccur)
    }

    /// Of the intervals in which either did not score, the share in which neither did: for what is
    /// frequent.
    ///
    /// # Errors
    /// Without intervals, or when both scored in every one.
    pub fn unscored(&self) -> Result<f64, NoShare> {
        self.some()?;
        self.share(|(a, b)| a == 0 || b == 0, |(a, b)| a == 0 && b == 0).ok_or(NoShare::AlwaysScored)
    }

    fn some(&self) -> Result<(), NoShare> {
        if self.pairs.is_empty() { Err(NoShare::NoIntervals) } else { Ok(()) }
    }

    fn share(&self, among: impl Fn((u32, u32)) -> bool, agree: impl Fn((u32, u32)) -> bool) -> Option<f64> {
        let all = self.pairs.iter().filter(|pair| among(**pair)).count();
        let alike = self.pairs.iter().filter(|pair| among(**pair) && agree(**pair)).count();
        (all > 0).then(|| count(alike) / count(all))
    }
}

/// Smaller over larger; `None` for two zeros.
#[allow(clippy::cast_precision_loss)] // Counts of events, far below 2^53.
fn ratio(a: u64, b: u64) -> Option<f64> {
    (a.max(b) > 0).then(|| a.min(b) as f64 / a.max(b) as f64)
}

#[allow(clippy::cast_precision_loss)] // Intervals of a session, far below 2^53.
fn count(intervals: usize) -> f64 {
    intervals as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_are_half_open_and_a_partial_one_is_dropped() {
        let moments: Vec<Micros> = [5, 10, 19, 20, 34, 35, 4].into_iter().map(Micros).collect();
        let window = Span::between(Micros(5), Micros(38));
        assert_eq!(in_intervals(&moments, window, Micros(10)), [2, 2, 1]);
        assert!(in_intervals(&moments, window, Micros(40)).is_empty());
        assert!(in_intervals(&moments, window, Micros(0)).is_empty());
    }

    #[test]
    fn edges_have_reasons() {
        let of = |a: &[u32], b: &[u32]| Counts::try_new(a, b).unwrap();
        let none = of(&[], &[]);
        for share in [none.total(), none.block_by_block(), none.exact(), none.interval_by_interval()] {
            assert_eq!(share, Err(NoShare::NoIntervals));
        }
        assert_eq!((none.scored(), none.unscored()), (Err(NoShare::NoIntervals), Err(NoShare::NoIntervals)));
        let silent = of(&[0, 0], &[0, 0]);
        assert_eq!((silent.total(), silent.scored()), (Err(NoShare::DidNotOccur), Err(NoShare::DidNotOccur)));
        assert_eq!((silent.block_by_block(), silent.unscored()), (Ok(1.0), Ok(1.0)));
        assert_eq!(of(&[1, 2], &[3, 1]).unscored(), Err(NoShare::AlwaysScored));
        assert_eq!(of(&[0, 2], &[0, 0]).total(), Ok(0.0));
        assert_eq!(Counts::try_new(&[1], &[]), None);
    }
}
