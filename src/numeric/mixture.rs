//! Waiting times as a mixture of two exponential processes, one fast and one slow.

use super::Undefined;

/// One process.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Process {
    /// How many of the waiting times belong to it; no whole number when estimated.
    pub n: f64,
    /// Its rate: one over its mean waiting time.
    pub rate: f64,
}

/// Two processes that together explain waiting times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixture {
    /// The one with short waiting times.
    pub fast: Process,
    /// The one with long ones.
    pub slow: Process,
}

/// Rounds of estimation.
const ROUNDS: usize = 20_000;
/// Estimation stops when the log-likelihood rises by less than this.
const CLOSE: f64 = 1e-11;

impl Mixture {
    /// By greatest likelihood, found by expectation–maximisation (Dempster, Laird & Rubin 1977, J R Stat Soc B
    /// 39:1–38) from the means of the shorter and the longer half. Deterministic.
    ///
    /// Two processes have to be worth their two extra numbers: their Bayesian information criterion (Schwarz
    /// 1978, Ann Stat 6:461–464) must be below that of one.
    ///
    /// # Errors
    /// Fewer than four times; one that is negative or not finite; a shorter half without any length; or one
    /// process is enough.
    #[allow(clippy::cast_precision_loss)] // A count of times.
    pub fn of(times: &[f64]) -> Result<Self, Undefined> {
        if times.iter().any(|time| !(time.is_finite() && *time >= 0.0)) {
            return Err(Undefined::OutOfRange);
        }
        if times.len() < 4 {
            return Err(Undefined::TooFew);
        }
        let mut ordered = times.to_vec();
        ordered.sort_by(f64::total_cmp);
        let count = ordered.len() as f64;
        let (short, long) = ordered.split_at(ordered.len() / 2);
        if short.iter().sum::<f64>() <= 0.0 {
            return Err(Undefined::NotEstimable);
        }
        let rate = |times: &[f64]| times.len() as f64 / times.iter().sum::<f64>();
        let (mut share, mut fast, mut slow) = (0.5, rate(short), rate(long));
        let mut before = f64::NEG_INFINITY;
        for _ in 0..ROUNDS {
            let (mut weight, mut fast_time, mut slow_time, mut likelihood) = (0.0, 0.0, 0.0, 0.0);
            for time in &ordered {
                let a = share * fast * (-fast * time).exp();
                let b = (1.0 - share) * slow * (-slow * time).exp();
                // Far out both may vanish: then the slow one holds it.
                let own = if a + b > 0.0 { a / (a + b) } else { 0.0 };
                weight += own;
                fast_time += own * time;
                slow_time += (1.0 - own) * time;
                likelihood += (a + b).max(f64::MIN_POSITIVE).ln();
            }
            if !(fast_time > 0.0 && slow_time > 0.0) || likelihood - before < CLOSE {
                before = before.max(likelihood);
                break;
            }
            before = likelihood;
            share = weight / count;
            fast = weight / fast_time;
            slow = (count - weight) / slow_time;
        }
        let single = rate(&ordered);
        let alone = count * (single.ln() - 1.0);
        // Three numbers against one; each costs ln n.
        let is_worth_it = 2.0 * (before - alone) > 2.0 * count.ln();
        if !is_worth_it || fast <= slow {
            return Err(Undefined::OneProcess);
        }
        Ok(Self {
            fast: Process { n: share * count, rate: fast },
            slow: Process { n: (1.0 - share) * count, rate: slow },
        })
    }

    /// Waiting times expected to be longer than `time`: what the log-survivorship points scatter about.
    #[must_use]
    pub fn longer_than(&self, time: f64) -> f64 {
        let of = |process: Process| process.n * (-process.rate * time).exp();
        of(self.fast) + of(self.slow)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_of_two_processes() {
        let of = |n, rate| Process { n, rate };
        let both = Mixture { fast: of(48.0, 0.25), slow: of(14.0, 0.012) };
        assert!((both.longer_than(0.0) - 62.0).abs() < 1e-12);
        // 48 exp(−0.5) + 14 exp(−0.024), by Python.
        assert!((both.longer_than(2.0) - 42.781_471_602_817_135).abs() < 1e-12);
    }

    /// Evenly spaced quantiles of an exponential distribution.
    fn exponential(n: u32, rate: f64) -> Vec<f64> {
        (0..n).map(|i| -(1.0 - (f64::from(i) + 0.5) / f64::from(n)).ln() / rate).collect()
    }

    #[test]
    fn two_processes_are_told_apart() {
        let times = [exponential(120, 0.5), exponential(40, 0.01)].concat();
        let found = Mixture::of(&times).unwrap();
        // The same likelihood searched coordinate by coordinate (standard Python alone).
        for (own, n, rate) in
            [(found.fast, 120.038_107, 0.498_818_37), (found.slow, 39.961_893, 0.010_080_926_6)]
        {
            assert!((own.n - n).abs() < 1e-4 && (own.rate / rate - 1.0).abs() < 1e-5, "{found:?}");
        }
        assert!((found.longer_than(0.0) - 160.0).abs() < 1e-9);
    }

    #[test]
    fn one_process_is_not_two() {
        assert_eq!(Mixture::of(&exponential(200, 0.1)), Err(Undefined::OneProcess));
        assert_eq!(Mixture::of(&[2.0; 60]), Err(Undefined::OneProcess), "all alike");
        assert_eq!(Mixture::of(&[1.0, 2.0, 3.0]), Err(Undefined::TooFew));
        assert_eq!(Mixture::of(&[0.0, 0.0, 3.0, 4.0]), Err(Undefined::NotEstimable));
        assert_eq!(Mixture::of(&[1.0, 2.0, 3.0, -1.0]), Err(Undefined::OutOfRange));
    }
}
