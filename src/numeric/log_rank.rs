//! The log-rank comparison of curves (Mantel 1966, Cancer Chemother Rep 50:163–170; Peto & Peto 1972,
//! J R Stat Soc A 135:185–207).
//!
//! It takes the cases for independent. Repeated trials of one animal are not: there it describes
//! how far the curves lie apart and tests nothing.

use statrs::distribution::{ChiSquared, ContinuousCDF as _};

use super::product_limit::{Ending, Time};
use super::{Undefined, linear};

/// Observed against expected, group by group.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// Cases that reached it.
    pub observed: Vec<f64>,
    /// Cases that would have, if all groups shared one curve: Σ d·n_g/n.
    pub expected: Vec<f64>,
    /// Variances and covariances of observed − expected: Σ d(n−d)/(n−1)·(n_g/n)(δ − n_h/n).
    pub variance: Vec<Vec<f64>>,
    /// (O − E)'V⁻¹(O − E) over all groups but the last.
    pub chi2: f64,
    /// Groups less one.
    pub df: usize,
    /// Upper tail of chi-squared: descriptive where cases depend on each other.
    pub p: f64,
}

impl LogRank {
    /// Of two or more groups.
    ///
    /// # Errors
    /// Fewer than two groups or an empty one; no case that reached it; groups that can't be told apart
    /// because only one was ever at risk.
    #[allow(clippy::cast_precision_loss)] // Counts of cases.
    pub fn of(groups: &[&[Time]]) -> Result<Self, Undefined> {
        if groups.len() < 2 || groups.iter().any(|group| group.is_empty()) {
            return Err(Undefined::TooFew);
        }
        let is_reached = |time: &&Time| time.ending == Ending::Reached;
        let mut moments: Vec<f64> =
            groups.iter().flat_map(|group| group.iter()).filter(is_reached).map(|time| time.length).collect();
        moments.sort_by(f64::total_cmp);
        moments.dedup_by(|a, b| a.total_cmp(b).is_eq());
        if moments.is_empty() {
            return Err(Undefined::NoEvents);
        }
        let size = groups.len();
        let (mut observed, mut expected) = (vec![0.0; size], vec![0.0; size]);
        let mut variance = vec![vec![0.0; size]; size];
        for moment in moments {
            let at_risk: Vec<f64> = groups
                .iter()
                .map(|group| {
                    group.iter().filter(|time| time.length.total_cmp(&moment).is_ge()).count() as f64
                })
                .collect();
            let reached: Vec<f64> = groups
                .iter()
                .map(|group| {
                    group
                        .iter()
                        .filter(is_reached)
                        .filter(|time| time.length.total_cmp(&moment).is_eq())
                        .count() as f64
                })
                .collect();
            let (n, d): (f64, f64) = (at_risk.iter().sum(), reached.iter().sum());
            for (sum, own) in observed.iter_mut().zip(&reached) {
                *sum += own;
            }
            for (sum, own) in expected.iter_mut().zip(&at_risk) {
                *sum += d * own / n;
            }
            // The last case alone has no choice of group.
            let scale = if n > 1.0 { d * (n - d) / (n - 1.0) } else { 0.0 };
            for (i, (row, own)) in variance.iter_mut().zip(&at_risk).enumerate() {
                for (j, (cell, other)) in row.iter_mut().zip(&at_risk).enumerate() {
                    let same = if i == j { 1.0 } else { 0.0 };
                    *cell += scale * own / n * (same - other / n);
                }
            }
        }
        // One group follows from the others.
        let df = size - 1;
        let kept: Vec<Vec<f64>> =
            variance.iter().take(df).map(|row| row.iter().take(df).copied().collect()).collect();
        let inverted = linear::inverse(&kept).map_err(|_| Undefined::NoVariation)?;
        let apart: Vec<f64> = observed.iter().zip(&expected).take(df).map(|(o, e)| o - e).collect();
        let chi2: f64 = inverted
            .iter()
            .zip(&apart)
            .map(|(row, own)| own * row.iter().zip(&apart).map(|(cell, other)| cell * other).sum::<f64>())
            .sum();
        let distribution = ChiSquared::new(df as f64).map_err(|_| Undefined::OutOfRange)?;
        Ok(Self { observed, expected, variance, chi2, df, p: distribution.sf(chi2) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn times(lengths: &[f64], ending: Ending) -> Vec<Time> {
        lengths.iter().map(|length| Time { length: *length, ending }).collect()
    }

    #[test]
    fn what_was_never_reached_is_not_compared() {
        let censored = times(&[30.0; 4], Ending::Censored);
        let reached = times(&[1.0, 2.0, 3.0], Ending::Reached);
        assert_eq!(LogRank::of(&[&censored, &censored]), Err(Undefined::NoEvents));
        assert_eq!(LogRank::of(&[&reached]), Err(Undefined::TooFew));
        assert_eq!(LogRank::of(&[&reached, &[]]), Err(Undefined::TooFew));
        let gone = times(&[0.5], Ending::Censored);
        assert_eq!(
            LogRank::of(&[&reached, &gone]),
            Err(Undefined::NoVariation),
            "nobody of the second is left"
        );
    }

    #[test]
    fn three_alike_groups_do_not_differ() {
        let group = times(&[1.0, 2.0, 4.0], Ending::Reached);
        let found = LogRank::of(&[&group, &group, &group]).unwrap();
        assert_eq!(found.df, 2);
        assert!(found.chi2.abs() < 1e-12 && (found.p - 1.0).abs() < 1e-12, "{found:?}");
    }
}
