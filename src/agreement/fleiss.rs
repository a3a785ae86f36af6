//! Fleiss' kappa where every unit was rated by the same number of people, with the test of
//! independence and a kappa for each label.
//!
//! Kappa: Fleiss (1971, Psychol Bull 76:378–382). Errors under independence: Fleiss, Nee & Landis
//! (1979, Psychol Bull 86:974–977); those printed in 1971 are superseded. For an interval use
//! [`Ratings::inference`], never these. Conger's "exact" kappa needs to know who gave which label and
//! is another coefficient.

use super::kappa::NoKappa;
use super::multi_rater::{Chance, Ratings};
use super::weighted::Weights;

/// Fleiss' kappa.
#[derive(Debug, Clone, PartialEq)]
pub struct Fleiss {
    /// (observed − expected)/(1 − expected).
    pub kappa: f64,
    /// Mean agreement of the units.
    pub observed: f64,
    /// Σ p_j².
    pub expected: f64,
    /// Error of kappa if ratings were independent of units: for the test only.
    pub null_error: f64,
    /// kappa over that error.
    pub z: f64,
    /// Each label against all others.
    pub labels: Vec<Label>,
    /// Error of a label's kappa if ratings were independent of units: √(2/(N m(m − 1))).
    pub label_null_error: f64,
    /// Agreement on each unit: the share of pairs of people who gave one label.
    pub units: Vec<f64>,
}

/// One label against all others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Label {
    /// Share of all ratings.
    pub share: f64,
    /// 1 − Σ_i n_ij(m − n_ij)/(N m(m − 1) p_j(1 − p_j)); none for a label nobody or everybody used.
    pub kappa: Result<f64, NoKappa>,
}

impl Ratings {
    /// Fleiss' kappa; with N units, m people, q_j = 1 − p_j, its variance under independence is
    /// 2[(Σ p_j q_j)² − Σ p_j q_j (q_j − p_j)] / (N m(m − 1)(Σ p_j q_j)²).
    ///
    /// # Errors
    /// [`NoKappa::UnequalRaters`] unless each unit has the same number of ratings, two or more;
    /// [`NoKappa::NoVariation`] when one label was used throughout.
    pub fn fleiss(&self) -> Result<Fleiss, NoKappa> {
        let raters = self.units().first().ok_or(NoKappa::NothingCompared)?.raters();
        let unequal = |own: f64| (own - raters).abs() > 0.0;
        if raters < 2.0 || self.units().iter().any(|unit| unequal(unit.raters())) {
            return Err(NoKappa::UnequalRaters);
        }
        let found = self.coefficient(Chance::Margins, &Weights::Nominal)?;
        let pairs = found.rated * raters * (raters - 1.0);
        let sum = |over: &dyn Fn(f64) -> f64, label: usize| -> f64 {
            let own = |counts: &[f64]| over(counts.get(label).copied().unwrap_or(0.0));
            self.units().iter().map(|unit| unit.weight * own(&unit.counts)).sum()
        };
        let labels: Vec<Label> = (0..self.labels())
            .map(|label| {
                let share = sum(&|count| count, label) / (found.rated * raters);
                let apart = sum(&|count| count * (raters - count), label);
                let kappa = if share <= 0.0 {
                    Err(NoKappa::DidNotOccur)
                } else if share >= 1.0 {
                    Err(NoKappa::NoVariation)
                } else {
                    Ok(1.0 - apart / (pairs * share * (1.0 - share)))
                };
                Label { share, kappa }
            })
            .collect();
        let spread: f64 = labels.iter().map(|label| label.share * (1.0 - label.share)).sum();
        let skew: f64 =
            labels.iter().map(|label| label.share * (1.0 - label.share) * (1.0 - 2.0 * label.share)).sum();
        // Above 0 whenever two labels were used; rounding must not make it negative.
        let null_error = (2.0 / pairs * (spread * spread - skew)).max(0.0).sqrt() / spread;
        if null_error <= 0.0 {
            return Err(NoKappa::NoVariation);
        }
        let units = self
            .units()
            .iter()
            .map(|unit| {
                unit.counts.iter().map(|count| count * (count - 1.0)).sum::<f64>() / (raters * (raters - 1.0))
            })
            .collect();
        Ok(Fleiss {
            kappa: found.value,
            observed: found.observed,
            expected: found.expected,
            null_error,
            z: found.value / null_error,
            labels,
            label_null_error: (2.0 / pairs).sqrt(),
            units,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_have_reasons() {
        let of = |rows: &[Vec<u32>]| Ratings::from_counts(rows).unwrap().fleiss();
        assert_eq!(of(&[]), Err(NoKappa::NothingCompared));
        assert_eq!(of(&[vec![3, 0], vec![1, 1]]), Err(NoKappa::UnequalRaters));
        assert_eq!(of(&[vec![1, 0], vec![0, 1]]), Err(NoKappa::UnequalRaters));
        assert_eq!(of(&[vec![7, 0], vec![7, 0]]), Err(NoKappa::NoVariation));
        let found = of(&[vec![2, 2, 0], vec![3, 1, 0]]).unwrap();
        assert_eq!(found.labels[2].kappa, Err(NoKappa::DidNotOccur));
    }
}
