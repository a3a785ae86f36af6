//! Krippendorff's alpha: any number of people, values missing, four scales (Krippendorff 2011,
//! Computing Krippendorff's Alpha-Reliability; Content Analysis, 4th ed. 2019, ch. 12).
//!
//! It has no standard error in closed form: an interval comes from resampling units.

use super::kappa::NoKappa;
use super::multi_rater::{Ratings, Unit};

/// How far two labels c and k lie apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale<'a> {
    /// 0 or 1.
    Nominal,
    /// (Σ_{g=c..k} n_g − (n_c + n_k)/2)², labels in their order, n the pairable ratings of each.
    Ordinal,
    /// (c − k)² of the labels' values.
    Interval(&'a [f64]),
    /// ((c − k)/(c + k))² of the labels' values, not negative; 0 for two zeros.
    Ratio(&'a [f64]),
}

/// Alpha.
#[derive(Debug, Clone, PartialEq)]
pub struct Alpha {
    /// 1 − observed/expected.
    pub value: f64,
    /// Observed disagreement Σ o_ck δ_ck/n.
    pub observed: f64,
    /// Disagreement expected by chance Σ n_c n_k δ_ck/(n(n − 1)).
    pub expected: f64,
    /// Ratings n that could be paired: those of units with two or more.
    pub pairable: f64,
    /// o_ck = Σ over units of the pairs of a rating c with a rating k, over the unit's ratings − 1.
    pub coincidences: Vec<Vec<f64>>,
}

impl Ratings {
    /// Krippendorff's alpha; units with fewer than two ratings are left out. For a table of two
    /// coders too, in counts: n enters the formula.
    ///
    /// # Errors
    /// [`NoKappa::NothingCompared`] when no unit has two ratings; [`NoKappa::NoVariation`] when all
    /// pairable ratings are one value; [`NoKappa::ValuesDoNotFit`] when the scale's values do not fit.
    pub fn alpha(&self, scale: Scale<'_>) -> Result<Alpha, NoKappa> {
        if let Scale::Interval(values) | Scale::Ratio(values) = scale {
            let ratio = matches!(scale, Scale::Ratio(_));
            let fits = |value: &f64| value.is_finite() && (!ratio || *value >= 0.0);
            if values.len() != self.labels() || !values.iter().all(fits) {
                return Err(NoKappa::ValuesDoNotFit);
            }
        }
        let coincidences = self.coincidences();
        let totals: Vec<f64> = coincidences.iter().map(|row| row.iter().sum()).collect();
        let pairable: f64 = totals.iter().sum();
        // The smallest that can be paired is one unit with two ratings.
        if pairable <= 1.0 {
            return Err(NoKappa::NothingCompared);
        }
        let (mut observed, mut expected) = (0.0, 0.0);
        for (c, row) in coincidences.iter().enumerate() {
            for (k, together) in row.iter().enumerate() {
                let apart = distance(scale, &totals, c, k);
                let total = |label: usize| totals.get(label).copied().unwrap_or(0.0);
                observed += together * apart / pairable;
                expected += total(c) * total(k) * apart / (pairable * (pairable - 1.0));
            }
        }
        if !(observed.is_finite() && expected.is_finite()) {
            return Err(NoKappa::ValuesDoNotFit);
        }
        if expected <= 0.0 {
            return Err(NoKappa::NoVariation);
        }
        Ok(Alpha { value: 1.0 - observed / expected, observed, expected, pairable, coincidences })
    }

    fn coincidences(&self) -> Vec<Vec<f64>> {
        let mut found = vec![vec![0.0; self.labels()]; self.labels()];
        for unit in self.units().iter().filter(|unit| unit.raters() >= 2.0) {
            for (c, row) in found.iter_mut().enumerate() {
                for (k, cell) in row.iter_mut().enumerate() {
                    *cell += unit.weight * pairs(unit, c, k) / (unit.raters() - 1.0);
                }
            }
        }
        found
    }
}

/// Ordered pairs of a rating c and another rating k within a unit.
fn pairs(unit: &Unit, c: usize, k: usize) -> f64 {
    let count = |label: usize| unit.counts.get(label).copied().unwrap_or(0.0);
    count(c) * if c == k { count(k) - 1.0 } else { count(k) }
}

fn distance(scale: Scale<'_>, totals: &[f64], c: usize, k: usize) -> f64 {
    if c == k {
        return 0.0;
    }
    let at = |list: &[f64], place: usize| list.get(place).copied().unwrap_or(0.0);
    match scale {
        Scale::Nominal => 1.0,
        Scale::Ordinal => {
            let between: f64 = totals.iter().skip(c.min(k)).take(c.abs_diff(k) + 1).sum();
            (between - f64::midpoint(at(totals, c), at(totals, k))).powi(2)
        }
        Scale::Interval(values) => (at(values, c) - at(values, k)).powi(2),
        Scale::Ratio(values) => {
            let sum = at(values, c) + at(values, k);
            if sum > 0.0 { ((at(values, c) - at(values, k)) / sum).powi(2) } else { 0.0 }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratings(rows: &[[Option<usize>; 2]]) -> Ratings {
        Ratings::from_labels(&rows.iter().map(|row| row.to_vec()).collect::<Vec<_>>(), 2).unwrap()
    }

    #[test]
    fn edges_have_reasons() {
        let alone = ratings(&[[Some(0), None], [None, Some(1)]]);
        assert_eq!(alone.alpha(Scale::Nominal), Err(NoKappa::NothingCompared));
        let alike = ratings(&[[Some(1), Some(1)], [Some(1), Some(1)]]);
        for scale in [Scale::Nominal, Scale::Ordinal, Scale::Interval(&[0.0, 3.0])] {
            assert_eq!(alike.alpha(scale), Err(NoKappa::NoVariation));
        }
        let both = ratings(&[[Some(0), Some(1)], [Some(1), Some(1)]]);
        assert_eq!(both.alpha(Scale::Interval(&[0.0])), Err(NoKappa::ValuesDoNotFit));
        assert_eq!(both.alpha(Scale::Interval(&[0.0, f64::NAN])), Err(NoKappa::ValuesDoNotFit));
        assert_eq!(
            both.alpha(Scale::Interval(&[0.0, 1e200])),
            Err(NoKappa::ValuesDoNotFit),
            "squares overflow"
        );
        assert_eq!(both.alpha(Scale::Ratio(&[-1.0, 1.0])), Err(NoKappa::ValuesDoNotFit));
        // Two values that are one and the same do not vary.
        assert_eq!(both.alpha(Scale::Interval(&[2.0, 2.0])), Err(NoKappa::NoVariation));
        // With two labels every scale is the nominal one.
        let nominal = both.alpha(Scale::Nominal).unwrap().value;
        assert!((both.alpha(Scale::Interval(&[1.0, 5.0])).unwrap().value - nominal).abs() < 1e-12);
        assert!((both.alpha(Scale::Ratio(&[0.0, 5.0])).unwrap().value - nominal).abs() < 1e-12);
    }
}
