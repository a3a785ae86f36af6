//! Intervals for shares and rates.

use statrs::distribution::{ChiSquared, ContinuousCDF as _};

/// 97.5 % point of the standard normal distribution.
pub const Z95: f64 = 1.959_963_984_540_054;

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

/// Garwood's exact interval for a rate: `count` events in `time` units, 95 % (Garwood 1936,
/// Biometrika 28:437–442). `None` without time. Bouts that come in clusters break its assumption.
#[must_use]
pub fn garwood(count: u32, time: f64) -> Option<(f64, f64)> {
    if !(time > 0.0 && time.is_finite()) {
        return None;
    }
    let point = |freedom: f64, p: f64| ChiSquared::new(freedom).ok().map(|d| d.inverse_cdf(p) / 2.0);
    let low = if count == 0 { 0.0 } else { point(2.0 * f64::from(count), 0.025)? };
    let high = point(2.0 * f64::from(count) + 2.0, 0.975)?;
    Some((low / time, high / time))
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn garwood_for_no_event_and_for_two() {
        // −ln(0.025) = 3.6889 for no event (Garwood 1936); two events: 0.2422 and 7.2247 (its table).
        assert!((garwood(0, 1.0).unwrap().1 - 3.688_879).abs() < 1e-5);
        let (low, high) = garwood(2, 1.0).unwrap();
        assert!((low - 0.2422).abs() < 5e-5 && (high - 7.2247).abs() < 5e-5, "{low} {high}");
        assert_eq!(garwood(1, 0.0), None);
    }
}
