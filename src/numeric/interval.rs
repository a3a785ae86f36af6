//! Intervals for shares and rates.

use std::sync::OnceLock;

use statrs::distribution::{Beta, Binomial, ChiSquared, ContinuousCDF as _, Discrete as _, Normal};

use super::Undefined;

/// 97.5 % point of the standard normal distribution.
pub const Z95: f64 = 1.959_963_984_540_054;

/// How sure an interval is to be, as a share between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Confidence {
    share: f64,
    z: f64,
}

impl Confidence {
    /// 95 %.
    pub const P95: Self = Self { share: 0.95, z: Z95 };

    /// `None` unless it lies between 0 and 1.
    #[must_use]
    pub fn try_new(share: f64) -> Option<Self> {
        (share > 0.0 && share < 1.0)
            .then(|| Self { share, z: Normal::standard().inverse_cdf(0.5 + share / 2.0) })
    }

    /// Point of the standard normal distribution that leaves half of the rest above it.
    #[must_use]
    pub const fn z(self) -> f64 {
        self.z
    }

    /// Share of cases below the lower and below the upper limit.
    #[must_use]
    pub fn tails(self) -> (f64, f64) {
        ((1.0 - self.share) / 2.0, 0.5 + self.share / 2.0)
    }
}

/// Wilson's score interval for `k` of `n`, 95 %, without continuity correction (Wilson 1927, J Am
/// Stat Assoc 22:209–212). `None` for `n = 0` or `k > n`. At `k = 0` and `k = n` the outer limit is
/// exactly 0 or 1.
#[must_use]
pub fn wilson(k: u32, n: u32) -> Option<(f64, f64)> {
    if n == 0 || k > n {
        return None;
    }
    let (share, count) = (f64::from(k) / f64::from(n), f64::from(n));
    let z2 = Z95 * Z95;
    let below = 1.0 + z2 / count;
    let centre = (share + z2 / (2.0 * count)) / below;
    let half = Z95 * (share * (1.0 - share) / count + z2 / (4.0 * count * count)).sqrt() / below;
    let low = if k == 0 { 0.0 } else { centre - half };
    let high = if k == n { 1.0 } else { centre + half };
    Some((low, high))
}

/// Clopper & Pearson's exact interval for `k` of `n` (1934, Biometrika 26:404–413): wider than Wilson's, never
/// below its promise. `None` for `n = 0` or `k > n`.
#[must_use]
pub fn clopper_pearson(k: u32, n: u32, confidence: Confidence) -> Option<(f64, f64)> {
    if n == 0 || k > n {
        return None;
    }
    let (below, above) = confidence.tails();
    let (hits, rest) = (f64::from(k), f64::from(n - k));
    let low = if k == 0 { 0.0 } else { Beta::new(hits, rest + 1.0).ok()?.inverse_cdf(below) };
    let high = if k == n { 1.0 } else { Beta::new(hits + 1.0, rest).ok()?.inverse_cdf(above) };
    Some((low, high))
}

/// One rate over another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateRatio {
    /// First rate over second; `None` (no bound) when the second has no event.
    pub ratio: Option<f64>,
    /// Exact limits; an upper one of `None` has no bound.
    pub interval: (f64, Option<f64>),
    /// Two-sided p-value: all splits of the events no more likely than this one, if the rates were the same.
    pub p: f64,
}

/// Splits whose probabilities differ by less than this share are equally likely: only rounding parts them.
const AS_LIKELY: f64 = 1e-7;

/// Ratio of two rates, `counts` events in `times`, given how many events there were in all: the first
/// count is then binomial (Przyborowski & Wilenski 1940, Biometrika 31:313–323). Events that come in
/// clusters break its assumption.
///
/// # Errors
/// A time that is not positive, or no event at all.
pub fn rate_ratio(
    counts: (u32, u32),
    times: (f64, f64),
    confidence: Confidence,
) -> Result<RateRatio, Undefined> {
    if [times.0, times.1].iter().any(|time| !(time.is_finite() && *time > 0.0)) {
        return Err(Undefined::NoTime);
    }
    let all = counts.0.checked_add(counts.1).ok_or(Undefined::OutOfRange)?;
    let (low, high) = clopper_pearson(counts.0, all, confidence).ok_or(Undefined::NoEvents)?;
    let odds = |share: f64| (share < 1.0).then(|| share / (1.0 - share) * times.1 / times.0);
    let share = times.0 / (times.0 + times.1);
    let splits = Binomial::new(share, u64::from(all)).map_err(|_| Undefined::OutOfRange)?;
    let own = splits.pmf(u64::from(counts.0)) * (1.0 + AS_LIKELY);
    let p: f64 = (0..=u64::from(all)).map(|split| splits.pmf(split)).filter(|other| *other <= own).sum();
    Ok(RateRatio {
        ratio: (counts.1 > 0).then(|| f64::from(counts.0) / times.0 / (f64::from(counts.1) / times.1)),
        // The lower limit of a share is never 1.
        interval: (odds(low).ok_or(Undefined::OutOfRange)?, odds(high)),
        p: p.min(1.0),
    })
}

/// What [`limits`] finds, kept: the same small counts are asked for again and again, and a quantile takes a search.
static KNOWN: [OnceLock<Option<(f64, f64)>>; 256] = [const { OnceLock::new() }; 256];

/// Garwood's exact interval for a rate: `count` events in `time` units, 95 % (Garwood 1936,
/// Biometrika 28:437–442). `None` without time. Bouts that come in clusters break its assumption.
#[must_use]
pub fn garwood(count: u32, time: f64) -> Option<(f64, f64)> {
    if !(time > 0.0 && time.is_finite()) {
        return None;
    }
    let known = usize::try_from(count).ok().and_then(|place| KNOWN.get(place));
    let (low, high) = known.map_or_else(|| limits(count), |own| *own.get_or_init(|| limits(count)))?;
    Some((low / time, high / time))
}

/// The means under which as many events or more, and as many or fewer, come in 2.5 % of all cases.
fn limits(count: u32) -> Option<(f64, f64)> {
    let point = |freedom: f64, p: f64| ChiSquared::new(freedom).ok().map(|d| d.inverse_cdf(p) / 2.0);
    let low = if count == 0 { 0.0 } else { point(2.0 * f64::from(count), 0.025)? };
    Some((low, point(2.0 * f64::from(count) + 2.0, 0.975)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clopper_pearson_where_all_or_none_hit() {
        // Its own formula there: the lower limit is the n-th root of 2.5 %.
        let (low, high) = clopper_pearson(10, 10, Confidence::P95).unwrap();
        assert!((low - 0.025_f64.powf(0.1)).abs() < 1e-9 && high >= 1.0, "{low} {high}");
        let (low, high) = clopper_pearson(0, 10, Confidence::P95).unwrap();
        assert!((high - (1.0 - 0.025_f64.powf(0.1))).abs() < 1e-9 && low <= 0.0, "{low} {high}");
        assert_eq!(
            (clopper_pearson(11, 10, Confidence::P95), clopper_pearson(0, 0, Confidence::P95)),
            (None, None)
        );
    }

    #[test]
    fn wilson_as_published() {
        // Newcombe 1998, Stat Med 17:857-872, table I, method 3: 81/263, 15/148, 0/20, 1/29.
        for (k, n, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let (found_low, found_high) = wilson(k, n).unwrap();
            assert!((found_low - low).abs() < 5e-5 && (found_high - high).abs() < 5e-5, "{k}/{n}");
        }
        assert_eq!(wilson(0, 0), None);
        assert_eq!(wilson(5, 5).unwrap().1, 1.0);
    }

    #[test]
    fn a_rate_ratio_has_its_edges() {
        let none = rate_ratio((3, 0), (2.0, 4.0), Confidence::P95).unwrap();
        assert_eq!((none.ratio, none.interval.1), (None, None));
        assert!(
            none.interval.0 > 0.0 && (none.p - 1.0 / 27.0).abs() < 1e-12,
            "all three in a third of the time"
        );
        let first = rate_ratio((0, 3), (2.0, 4.0), Confidence::P95).unwrap();
        assert_eq!((first.ratio, first.interval.0), (Some(0.0), 0.0));
        assert_eq!(rate_ratio((0, 0), (2.0, 4.0), Confidence::P95), Err(Undefined::NoEvents));
        assert_eq!(rate_ratio((1, 1), (0.0, 4.0), Confidence::P95), Err(Undefined::NoTime));
        assert_eq!(Confidence::try_new(1.0), None);
        assert!((Confidence::try_new(0.95).unwrap().z() - Z95).abs() < 1e-12);
    }

    #[test]
    fn garwood_for_no_event_and_for_two() {
        // −ln(0.025) = 3.6889 for no event (Garwood 1936); two events: 0.2422 and 7.2247 (its table).
        assert!((garwood(0, 1.0).unwrap().1 - 3.688_879).abs() < 1e-5);
        let (low, high) = garwood(2, 1.0).unwrap();
        assert!((low - 0.2422).abs() < 5e-5 && (high - 7.2247).abs() < 5e-5, "{low} {high}");
        assert_eq!(garwood(1, 0.0), None);
    }
}
