//! Reaction lag: how long after a change on the film a person presses a key while it runs.
//!
//! The program draws a clip on which a target changes at moments nobody can foresee; the presses are
//! held against them. What is measured is the whole way from the picture to the key, of this person on
//! this computer: that is what marks placed live are late by (rule 8).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use crate::numeric::quantile;
use crate::time::Micros;

/// Length of the clip.
pub const LENGTH: Micros = Micros::from_whole_seconds(120);
/// Pictures a second: a change is seen at most one picture late.
pub const PICTURES_PER_SECOND: i64 = 50;
/// Shortest and longest wait for the next change.
const WAIT: (Micros, Micros) = (Micros::from_millis(2_500), Micros::from_millis(6_500));
/// Before the first change, and after the last.
const CALM: Micros = Micros::from_whole_seconds(3);
/// A press sooner than this after a change was no reaction to it (common practice in reaction-time
/// research; Whelan 2008, Psychol Rec 58:475–482, from memory).
pub const SOONEST: Micros = Micros::from_millis(100);
/// A press later than this after a change missed it (our default).
pub const LATEST: Micros = Micros::from_millis(1_500);
/// Fewest answered changes a lag is taken from (`trade.md` §9: ten known onsets).
pub const FEWEST: u32 = 10;
/// Largest share of misses, and of presses that were none, among all changes (our default).
const LARGEST_SHARE: f64 = 0.25;
/// Largest spread, first to third quartile (our default).
const LARGEST_SPREAD: Micros = Micros::from_millis(250);

/// Moments at which the target changes, each on a picture; the same for a seed everywhere.
#[must_use]
pub fn moments(seed: u64) -> Vec<Micros> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let picture = 1_000_000 / PICTURES_PER_SECOND;
    let choices = u64::try_from((WAIT.1 - WAIT.0).0 / picture).unwrap_or(0) + 1;
    let mut all = Vec::new();
    let mut at = CALM;
    while at < LENGTH - CALM {
        all.push(at);
        let wait = i64::try_from(random.next_u64() % choices).unwrap_or(0) * picture;
        at = at + WAIT.0 + Micros(wait);
    }
    all
}

/// What the presses came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Changes that were shown.
    pub shown: u32,
    /// From each change that was answered to its press, in order of time.
    pub lags: Vec<Micros>,
    /// Changes without a press in time.
    pub misses: u32,
    /// Presses before there was anything to react to, and further ones after it was answered.
    pub early: u32,
}

/// Why a lag is not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TooPoor {
    /// Too few changes were answered.
    #[error("only {n} of the changes were answered; at least {FEWEST} are needed")]
    TooFew {
        /// Answered.
        n: u32,
    },
    /// Too many were missed.
    #[error("{misses} of {shown} changes were missed, more than a quarter")]
    Missed {
        /// Missed.
        misses: u32,
        /// Shown.
        shown: u32,
    },
    /// Too many presses had nothing to react to.
    #[error("{early} presses came before a change or beside it, more than a quarter of {shown}")]
    Early {
        /// Presses.
        early: u32,
        /// Changes.
        shown: u32,
    },
    /// The lags differ too much for one number to stand for them.
    #[error("the lags differ too much among themselves: half of them span {spread_ms} ms, more than 250")]
    Spread {
        /// First to third quartile, in milliseconds.
        spread_ms: i64,
    },
}

/// A lag that can be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lag {
    /// Median (type 7).
    pub median: Micros,
    /// First to third quartile (type 7).
    pub iqr: Micros,
    /// Median distance from the median.
    pub mad: Micros,
    /// Changes answered.
    pub n: u32,
    /// Changes missed.
    pub misses: u32,
    /// Presses that answered none.
    pub early: u32,
}

/// Holds presses against the changes seen so far (those before `seen_until` minus [`LATEST`] are
/// decided). Each change takes the first press within [`SOONEST`] and [`LATEST`] after it and before the
/// next change.
#[must_use]
pub fn measure(changes: &[Micros], presses: &[Micros], seen_until: Micros) -> Measured {
    let mut presses = presses.to_vec();
    presses.sort_unstable();
    let mut measured = Measured { shown: 0, lags: Vec::new(), misses: 0, early: 0 };
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let mut used = 0;
    for (n, change) in changes.iter().enumerate() {
        let next = changes.get(n + 1).copied().unwrap_or(Micros::MAX);
        let until = (*change + LATEST).min(next);
        let answer = presses.iter().copied().find(|own| *change + SOONEST <= *own && *own <= until);
        match answer {
            Some(press) => {
                measured.shown += 1;
                measured.lags.push(press - *change);
                used += 1;
            }
            None if until < seen_until => {
                measured.shown += 1;
                measured.misses += 1;
            }
            // It may still be answered, or was never shown.
            None => {}
        }
    }
    measured.early = count(presses.len()) - used;
    measured
}

impl Measured {
    /// The lag, if the presses are good enough for one.
    ///
    /// # Errors
    /// Why they are not.
    pub fn lag(&self) -> Result<Lag, TooPoor> {
        let n = u32::try_from(self.lags.len()).unwrap_or(u32::MAX);
        if n < FEWEST {
            return Err(TooPoor::TooFew { n });
        }
        let shown = f64::from(self.shown);
        if f64::from(self.misses) > LARGEST_SHARE * shown {
            return Err(TooPoor::Missed { misses: self.misses, shown: self.shown });
        }
        if f64::from(self.early) > LARGEST_SHARE * shown {
            return Err(TooPoor::Early { early: self.early, shown: self.shown });
        }
        let seconds: Vec<f64> = self.lags.iter().map(|lag| lag.seconds()).collect();
        let of = |values: &[f64], q| {
            let value = quantile::of(values, q).and_then(Micros::from_seconds);
            // To whole milliseconds: a picture is twenty of them.
            value.map_or(Micros::ZERO, |value| Micros((value.0 + 500).div_euclid(1_000) * 1_000))
        };
        let median = quantile::of(&seconds, 0.5).unwrap_or_default();
        let distances: Vec<f64> = seconds.iter().map(|own| (own - median).abs()).collect();
        let iqr = of(&seconds, 0.75) - of(&seconds, 0.25);
        if iqr > LARGEST_SPREAD {
            return Err(TooPoor::Spread { spread_ms: iqr.0 / 1_000 });
        }
        Ok(Lag {
            median: of(&seconds, 0.5),
            iqr,
            mad: of(&distances, 0.5),
            n,
            misses: self.misses,
            early: self.early,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(millis: i64) -> Micros {
        Micros::from_millis(millis)
    }

    #[test]
    fn changes_lie_on_pictures_and_can_not_be_foreseen() {
        let all = moments(5);
        assert_eq!(all, moments(5));
        assert_ne!(all, moments(6));
        assert!((20..=40).contains(&all.len()), "{}", all.len());
        assert!(all.iter().all(|at| at.0 % (1_000_000 / PICTURES_PER_SECOND) == 0));
        let waits: Vec<Micros> = all.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(waits.iter().all(|wait| (WAIT.0..=WAIT.1).contains(wait)));
        let mut different = waits.clone();
        different.sort_unstable();
        different.dedup();
        assert!(different.len() > waits.len() / 2, "no rhythm to learn");
        assert!(all.last().is_some_and(|last| *last < LENGTH - CALM));
    }

    #[test]
    fn presses_are_held_against_the_changes() {
        let changes: Vec<Micros> = (1..=12).map(|n| ms(n * 4_000)).collect();
        // The lags 200, 210 … 310 ms: median 255, quartiles 227.5 and 282.5 (type 7), distances 5, 5, 15 … .
        let presses: Vec<Micros> = (1..=12).map(|n| ms(n * 4_000 + 190 + n * 10)).collect();
        let measured = measure(&changes, &presses, ms(60_000));
        let lag = measured.lag().unwrap();
        assert_eq!(lag.median, ms(255));
        assert_eq!(lag.iqr, ms(283) - ms(228));
        assert_eq!(lag.mad, ms(30));
        assert_eq!((lag.n, lag.misses, lag.early), (12, 0, 0));
    }

    #[test]
    fn early_late_double_and_missing_presses_are_told_apart() {
        let changes = [ms(4_000), ms(8_000), ms(12_000), ms(16_000)];
        let presses = [
            ms(3_900),  // before there was anything
            ms(4_050),  // too soon to be a reaction
            ms(4_300),  // the answer
            ms(4_400),  // once more
            ms(9_501),  // too late: a miss and a press for nothing
            ms(12_100), // just soon enough
        ];
        let measured = measure(&changes, &presses, ms(20_000));
        assert_eq!(measured.lags, [ms(300), ms(100)]);
        assert_eq!((measured.shown, measured.misses, measured.early), (4, 2, 4));
        // The third has just been shown, the fourth not yet: neither is missed.
        let running = measure(&changes, &presses[..3], ms(8_900));
        assert_eq!((running.shown, running.misses), (1, 0));
    }

    #[test]
    fn what_is_too_poor_is_not_kept() {
        let changes: Vec<Micros> = (1..=20).map(|n| ms(n * 4_000)).collect();
        let all = ms(100_000);
        let answered = |n: usize| -> Vec<Micros> { changes.iter().take(n).map(|at| *at + ms(240)).collect() };
        assert_eq!(measure(&changes, &answered(9), all).lag(), Err(TooPoor::TooFew { n: 9 }));
        assert_eq!(
            measure(&changes, &answered(14), all).lag(),
            Err(TooPoor::Missed { misses: 6, shown: 20 })
        );
        assert!(measure(&changes, &answered(15), all).lag().is_ok());
        // Hammering on the key answers everything and means nothing.
        let hammered: Vec<Micros> = (0..900).map(|n| ms(n * 100)).collect();
        assert!(matches!(measure(&changes, &hammered, all).lag(), Err(TooPoor::Early { .. })));
        let scattered: Vec<Micros> =
            changes.iter().enumerate().map(|(n, at)| *at + ms(if n % 2 == 0 { 200 } else { 900 })).collect();
        assert_eq!(measure(&changes, &scattered, all).lag(), Err(TooPoor::Spread { spread_ms: 700 }));
        assert_eq!(measure(&changes, &[], all).lag(), Err(TooPoor::TooFew { n: 0 }));
        assert_eq!(measure(&[], &[], all), Measured { shown: 0, lags: vec![], misses: 0, early: 0 });
    }
}
